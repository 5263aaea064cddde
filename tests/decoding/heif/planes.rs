//! Codes, depth, range, matrix, profile and siting.

use moxcms::ColorProfile;
use stillpath::decode::{Decoder, Want};
use stillpath::picture::{Coding, LumaWeights, Model, Profile, Siting};
use stillpath::shoot::Format;

use super::boxes::{Grid, nclx};
use super::{Folder, Y4m, assert_near, decoded, header_of, samples, still, text, tool};
use crate::decoding::scene;
use stillpath::units::Size;

const SIZE: Size = Size { width: 94, height: 62 };
/// One that `heif-enc` need not pad.
const EIGHTS: Size = Size { width: 96, height: 64 };

fn full(weights: LumaWeights, bits: u32) -> Model {
    Model::Video(Coding { weights, full_range: true, bits })
}

fn assert_planes(picture: &stillpath::picture::Picture, due: &Y4m, bits: u32, what: &str) {
    assert_eq!(picture.planes.len(), due.planes.len(), "{what}");
    for (plane, due) in due.planes.iter().enumerate() {
        let up = if bits > 8 { 16 - bits } else { 0 };
        let due: Vec<u16> = due.iter().map(|code| code << up).collect();
        assert!(samples(picture, plane) == due, "{what}: plane {plane} differs");
    }
}

#[test]
fn a_heic_has_the_codes_that_libde265_finds_and_full_range() {
    for size in [EIGHTS, Size::new(64, 64), Size::new(200, 72)] {
        let folder = Folder::new();
        let heic = folder.heic(size, &["-q", "80"]);
        let header = header_of(&heic);
        assert_eq!((header.format, header.stored), (Format::Heic, size));
        let picture = decoded(&heic);
        assert_planes(&picture, &folder.by_libde265(&heic, size, 8), 8, &size.to_string());
        assert_eq!(picture.model, full(LumaWeights::Bt601, 8));
        assert_eq!(picture.planes[1].siting, Siting { step_x: 2.0, step_y: 2.0, origin_x: 1.0, origin_y: 1.0 });
    }
    // Other sizes are coded larger and cut by a clean aperture.
    let folder = Folder::new();
    let heic = folder.heic(SIZE, &["-q", "80"]);
    let (picture, due) = (decoded(&heic), folder.by_libheif(&heic));
    assert_eq!((picture.size, due.size), (SIZE, SIZE));
    for plane in 0..3 {
        assert_near(&samples(&picture, plane), &due.planes[plane], &format!("padded: plane {plane}"));
    }
}

/// 16-bit samples that 8 bits could not hold.
fn deep(size: Size) -> Vec<u16> {
    let codes = scene(size, 3);
    codes.iter().enumerate().map(|(at, code)| u16::from(*code) * 256 + u16::try_from(at % 4 * 64).unwrap()).collect()
}

fn deep_png(folder: &Folder, size: Size) -> std::path::PathBuf {
    let png = folder.path().join("deep.png");
    image::ImageBuffer::<image::Rgb<u16>, _>::from_raw(size.width, size.height, deep(size))
        .unwrap()
        .save(&png)
        .unwrap();
    png
}

// Fault 34.
/// Fault 34: 16 bits, alpha.
#[test]
fn a_heic_of_10_bits_keeps_all_of_them() {
    let folder = Folder::new();
    let heic = folder.path().join("deep.heic");
    tool(
        "heif-enc",
        &["-b", "10", "-q", "80", "-p", "preset=ultrafast", text(&deep_png(&folder, EIGHTS)), "-o", text(&heic)],
    );
    let picture = decoded(&heic);
    assert_eq!(picture.model, full(LumaWeights::Bt601, 10));
    assert_planes(&picture, &folder.by_libde265(&heic, EIGHTS, 10), 10, "10 bits");
}

// ITU-T H.273: matrix 0 is G, B, R in that order; lossless, so the codes are the PNG's own.
#[test]
fn a_lossless_avif_of_rgb_gives_back_every_code_in_8_bits_and_in_10() {
    let folder = Folder::new();
    let picture = decoded(&folder.avif(SIZE, &["-l"]));
    assert_eq!(picture.model, Model::Rgb);
    let rgb = scene(SIZE, 3);
    for channel in 0..3 {
        let due: Vec<u16> = rgb.iter().skip(channel).step_by(3).map(|code| u16::from(*code)).collect();
        assert!(samples(&picture, channel) == due, "channel {channel}");
    }
    let avif = folder.path().join("deep.avif");
    tool("avifenc", &["-s", "9", "-l", "-d", "10", text(&deep_png(&folder, SIZE)), "-o", text(&avif)]);
    let picture = decoded(&avif);
    assert_eq!(picture.model, Model::Rgb);
    for channel in 0..3 {
        // avifenc rounds 16 bits to 10; of full range they are 16 again with their high bits in the low ones.
        for (seen, given) in samples(&picture, channel).iter().zip(deep(SIZE).iter().skip(channel).step_by(3)) {
            assert!(
                seen.abs_diff(*given) <= 64 && *seen == (seen >> 6 << 6) | (seen >> 10),
                "channel {channel}: {seen} of {given}"
            );
        }
    }
}

#[test]
fn an_avif_of_every_subsampling_and_depth_has_the_codes_that_libaom_finds() {
    for (kind, planes) in [("420", 3), ("422", 3), ("444", 3), ("400", 1)] {
        for bits in [8, 10, 12] {
            let folder = Folder::new();
            let avif = folder.avif(SIZE, &["-y", kind, "-d", &bits.to_string()]);
            let picture = decoded(&avif);
            let what = format!("{kind}, {bits} bits");
            assert_eq!((picture.planes.len(), picture.model), (planes, full(LumaWeights::Bt601, bits)), "{what}");
            assert_planes(&picture, &folder.by_libavif(&avif), bits, &what);
        }
    }
}

#[test]
fn range_and_matrix_are_those_of_the_container() {
    let folder = Folder::new();
    let avif = folder.avif(SIZE, &["-y", "420", "-r", "limited", "--cicp", "1/13/1"]);
    let limited = Model::Video(Coding { weights: LumaWeights::Bt709, full_range: false, bits: 8 });
    let picture = decoded(&avif);
    assert_eq!((picture.model, &picture.profile), (limited, &Profile::Srgb));
    assert_planes(&picture, &folder.by_libavif(&avif), 8, "limited");
    // The bitstream says BT.601 and full range; the container's word counts (ISO/IEC 23008-12, 6.5.5).
    let tile = folder.heic(Size::new(64, 64), &[]);
    let grid = Grid { columns: 1, rows: 1, width: 64, height: 64, tile: 64, ..Grid::default() };
    let heic = folder.path().join("grid.heic");
    let grid = Grid { properties: vec![nclx(1, 13, 1, false)], ..grid };
    std::fs::write(&heic, super::boxes::grid(&[tile], &grid)).unwrap();
    assert_eq!(decoded(&heic).model, limited);
}

#[test]
fn display_p3_comes_by_its_code_points_or_by_a_profile_and_a_profile_wins() {
    let p3 = ColorProfile::new_display_p3().encode().unwrap();
    let folder = Folder::new();
    let by_points = folder.avif(SIZE, &["--cicp", "12/13/6"]);
    assert!(matches!(decoded(&by_points).profile, Profile::Icc(_)));
    let icc = folder.path().join("p3.icc");
    std::fs::write(&icc, &p3).unwrap();
    let by_profile = folder.avif(SIZE, &["--icc", text(&icc), "--cicp", "1/13/6"]);
    assert_eq!(decoded(&by_profile).profile, Profile::Icc(p3.as_slice().into()));
    let named = header_of(&by_profile).settings.profile.unwrap();
    assert!(named.starts_with("ICC profile "), "{named}");
}

#[test]
fn high_dynamic_range_is_refused_by_the_header_and_not_squashed() {
    for points in ["9/16/9", "9/18/9", "1/16/1"] {
        let folder = Folder::new();
        let avif = folder.avif(SIZE, &["--cicp", points]);
        let refused = stillpath::decode::header::read(&avif).unwrap_err().damage.to_string();
        assert!(refused.contains("high dynamic range"), "{points}: {refused}");
    }
}

#[test]
fn transparency_is_not_obeyed_and_that_is_said() {
    let folder = Folder::new();
    let (png, heic) = (folder.path().join("clear.png"), folder.path().join("clear.heic"));
    let rgba = scene(SIZE, 4);
    image::save_buffer(&png, &rgba, SIZE.width, SIZE.height, image::ExtendedColorType::Rgba8).unwrap();
    tool("heif-enc", &[text(&png), "-o", text(&heic)]);
    let mut decoder = Decoder::new();
    decoder.decode(&still(&heic), Want::rows(0..SIZE.height), None).unwrap();
    assert!(
        decoder.remarks().iter().any(|remark| remark.contains("transparency is ignored")),
        "{:?}",
        decoder.remarks()
    );
}
