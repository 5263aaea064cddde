//! An independent decoder of JPEG planes: FFmpeg's.

use std::sync::Once;

use ffmpeg_next::codec::{Id, context::Context};
use ffmpeg_next::{Packet, decoder, frame};

/// The planes as FFmpeg decodes them, rows without padding.
pub(crate) fn planes(jpeg: &[u8], sizes: &[(u32, u32)]) -> Vec<Vec<Vec<u8>>> {
    static INIT: Once = Once::new();
    INIT.call_once(|| {
        ffmpeg_next::init().unwrap();
        ffmpeg_next::log::set_level(ffmpeg_next::log::Level::Fatal);
    });
    let codec = decoder::find(Id::MJPEG).unwrap();
    let mut decoder = Context::new_with_codec(codec).decoder().video().unwrap();
    decoder.send_packet(&Packet::copy(jpeg)).unwrap();
    let mut frame = frame::Video::empty();
    decoder.receive_frame(&mut frame).unwrap();
    assert_eq!(frame.planes(), sizes.len(), "{:?}", frame.format());
    let mut planes = Vec::new();
    for (plane, (width, height)) in sizes.iter().enumerate() {
        let rows = frame.data(plane).chunks(frame.stride(plane)).take(*height as usize);
        planes.push(rows.map(|row| row[..*width as usize].to_vec()).collect());
    }
    planes
}
