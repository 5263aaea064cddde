//! Deliveries that cannot be made, refused before the first frame; and frames that do not fit.

use stillpath::encode;
use stillpath::picture::{Frame, FrameKind};
use stillpath::shot::{Codec, H264};
use stillpath::units::{FrameRate, Size};
use stillpath::work::SinkError;

use super::{SMALL, h264, names_in};

fn refused(codec: &Codec, width: u32, height: u32, fps: &str) -> String {
    encode::preflight(codec, Size::new(width, height), fps.parse().unwrap()).unwrap_err()
}

#[test]
fn a_frame_h264_cannot_hold_is_refused_with_the_size_seen_and_the_sizes_allowed() {
    let codec = Codec::H264(H264::default());
    for (width, height, words) in [
        (1921, 1080, "a frame of 1921x1080 pixels: H.264 needs even sides, such as 1922x1080"),
        (1920, 1079, "a frame of 1920x1079 pixels: H.264 needs even sides, such as 1920x1080"),
        (0, 1080, "a frame of 0x1080 pixels: each side of an H.264 frame is 16 to 16384 pixels"),
        (64, 14, "a frame of 64x14 pixels: each side of an H.264 frame is 16 to 16384 pixels"),
        (16_386, 64, "a frame of 16386x64 pixels: each side of an H.264 frame is 16 to 16384 pixels"),
        (
            u32::MAX,
            u32::MAX,
            "a frame of 4294967295x4294967295 pixels: each side of an H.264 frame is 16 to 16384 pixels",
        ),
        (
            16_000,
            12_000,
            "a frame of 16000x12000 pixels is 750000 blocks of 16 x 16: H.264 takes up to 139264 and 1055 along one side",
        ),
    ] {
        assert_eq!(refused(&codec, width, height, "24"), words);
    }
    for (width, height) in [(16, 16), (1920, 1080), (1080, 1920), (1080, 1080), (3840, 2160)] {
        assert_eq!(
            encode::preflight(&codec, Size::new(width, height), "24".parse().unwrap()),
            Ok(()),
            "{width}x{height}"
        );
    }
}

#[test]
fn a_rate_h264_cannot_hold_is_refused_with_the_rate_seen_and_the_rates_allowed() {
    let codec = Codec::H264(H264::default());
    assert_eq!(
        refused(&codec, 8192, 4320, "240"),
        "8192x4320 at 240 frames a second is too fast for H.264: at this size up to 120.89"
    );
    assert_eq!(
        refused(&codec, 640, 480, "100000001/4000000"),
        "a frame rate of 100000001/4000000: H.264 takes fractions with numbers up to 1000000"
    );
    for rate in ["480", "1/100", "1000000/33333", "120000/1001"] {
        assert_eq!(encode::preflight(&codec, SMALL, rate.parse().unwrap()), Ok(()), "{rate}");
    }
}

#[test]
fn options_that_cannot_be_kept_are_refused() {
    let with = |crf: f64, preset: &str, tune: Option<&str>| {
        refused(
            &Codec::H264(H264 { crf, preset: preset.into(), tune: tune.map(Into::into), most: None, size: None }),
            640,
            480,
            "24",
        )
    };
    for crf in [0.5, -1.0, 51.5, f64::NAN, f64::INFINITY] {
        assert!(with(crf, "medium", None).contains("outside 1 to 51"), "{crf}");
    }
    assert_eq!(
        with(18.0, "quickest", None),
        "x264 has no preset 'quickest'; available: ultrafast, superfast, veryfast, faster, fast, medium, slow, slower, veryslow, placebo"
    );
    assert_eq!(
        with(18.0, "medium", Some("loud")),
        "x264 has no tune 'loud'; available: film, animation, grain, stillimage, fastdecode"
    );
}

#[test]
fn a_png_of_no_pixels_is_refused() {
    assert_eq!(
        refused(&Codec::PNG, 0, 10, "24"),
        "a frame of 0x10 pixels: each side of a PNG is 1 to 2147483647 pixels"
    );
    assert_eq!(encode::preflight(&Codec::PNG, Size::new(1921, 1079), FrameRate::new(24, 1).unwrap()), Ok(()));
}

#[test]
fn a_frame_of_another_kind_or_size_is_an_error_and_not_a_picture() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("clip.mp4");
    let mut sink = encode::open(&h264(SMALL, "24"), &path, 1).unwrap();
    assert!(sink.write(&Frame::new(FrameKind::Rgb16, SMALL)).is_err());
    assert!(sink.write(&Frame::new(FrameKind::Yuv420, Size::new(48, 64))).is_err());
    drop(sink);
    let sink = encode::open(&h264(SMALL, "24"), &path, 1).unwrap();
    assert!(matches!(sink.finish(), Err(SinkError::Encoder { .. })), "a file of no frames");
    assert!(names_in(folder.path()).is_empty());
}

#[test]
fn a_masters_frames_are_held_against_what_its_codec_holds() {
    let hevc = Codec::Hevc(stillpath::shot::Hevc::default());
    // ITU-T H.265 Table A.8, level 6.2: 35,651,584 luma samples, from memory.
    let said = of_master(&hevc, 8256, 5504, "24").unwrap_err();
    assert_eq!(
        said,
        "frames of 8256x5504 are 45.4 million pixels: HEVC takes up to 35.7 million, and sides of 64 to 16888"
    );
    assert!(of_master(&hevc, 48, 64, "24").unwrap_err().contains("sides of 64 to 16888"));
    assert!(
        of_master(&Codec::Hevc(stillpath::shot::Hevc { crf: 0.5, ..Default::default() }), 640, 480, "24")
            .unwrap_err()
            .contains("crf")
    );
    assert!(
        of_master(&Codec::MASTER, 20_000, 20_000, "24")
            .unwrap_err()
            .contains("frames of 20000x20000 are 400 million pixels: FFV1 takes about")
    );
    for (codec, width, height) in [(&hevc, 640, 481), (&Codec::MASTER, 8256, 5504), (&Codec::MASTER, 17, 33)] {
        assert_eq!(of_master(codec, width, height, "24"), Ok(()), "{width}x{height}");
    }
}

fn of_master(codec: &Codec, width: u32, height: u32, fps: &str) -> Result<(), String> {
    encode::preflight_master(codec, Size::new(width, height), fps.parse().unwrap())
}
