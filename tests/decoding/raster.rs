//! PNG, TIFF and WebP: depth kept, alpha on black, damage named.

use std::io::Cursor;

use image::{DynamicImage, ExtendedColorType, ImageEncoder, ImageFormat};
use moxcms::ColorProfile;
use png::{BitDepth, ColorType, Encoder, SrgbRenderingIntent};
use stillpath::decode::{Decoder, Want, test_decode};
use stillpath::picture::{Model, Picture, Profile, Samples};
use stillpath::shoot::{Damage, Format};
use stillpath::units::Size;

use super::{Folder, patched, scene};

const SIZE: Size = Size { width: 23, height: 17 };
const PIXELS: usize = 23 * 17;

fn decode(format: Format, size: Size, bytes: &[u8]) -> (Result<Picture, Damage>, Vec<String>) {
    let folder = Folder::new();
    let still = folder.still("still", format, size, bytes);
    let mut decoder = Decoder::new();
    let result = decoder.decode(&still, Want::rows(0..size.height), None);
    (result, decoder.remarks().to_vec())
}

fn whole(format: Format, bytes: &[u8]) -> Picture {
    decode(format, SIZE, bytes).0.unwrap()
}

/// A PNG of `SIZE` whose header `set` completes.
fn png(colour: ColorType, depth: BitDepth, data: &[u8], set: impl FnOnce(&mut Encoder<'_, &mut Vec<u8>>)) -> Vec<u8> {
    let mut file = Vec::new();
    let mut encoder = Encoder::new(&mut file, SIZE.width, SIZE.height);
    encoder.set_color(colour);
    encoder.set_depth(depth);
    set(&mut encoder);
    encoder.write_header().unwrap().write_image_data(data).unwrap();
    file
}

/// Every `step`-th of interleaved samples from `first` on.
fn every<T: Copy>(samples: &[T], first: usize, step: usize) -> Vec<T> {
    samples.iter().skip(first).step_by(step).copied().collect()
}

fn assert_eight(picture: &Picture, expected: &[u8], channels: usize) {
    assert_eq!(picture.model, if channels == 1 { Model::Grey } else { Model::Rgb });
    assert_eq!(picture.planes.len(), channels);
    for (channel, plane) in picture.planes.iter().enumerate() {
        let Samples::Eight(seen) = &plane.samples else { panic!("not 8 bits") };
        assert_eq!(*seen, every(expected, channel, channels), "channel {channel}");
    }
}

fn assert_sixteen(picture: &Picture, expected: &[u16], channels: usize) {
    assert_eq!(picture.planes.len(), channels);
    for (channel, plane) in picture.planes.iter().enumerate() {
        let Samples::Sixteen(seen) = &plane.samples else { panic!("not 16 bits") };
        assert_eq!(*seen, every(expected, channel, channels), "channel {channel}");
    }
}

/// 16-bit samples that 8 bits could not hold.
fn deep(channels: u32) -> Vec<u16> {
    let shallow = scene(SIZE, channels);
    shallow.iter().enumerate().map(|(at, high)| u16::from(*high) * 256 + u16::try_from(at % 251).unwrap()).collect()
}

#[test]
fn an_8_bit_png_keeps_every_code_interlaced_or_not() {
    let rgb = scene(SIZE, 3);
    assert_eight(&whole(Format::Png, &png(ColorType::Rgb, BitDepth::Eight, &rgb, |_| ())), &rgb, 3);
    let grey = scene(SIZE, 1);
    assert_eight(&whole(Format::Png, &png(ColorType::Grayscale, BitDepth::Eight, &grey, |_| ())), &grey, 1);
    assert_eight(&whole(Format::Png, &interlaced(&grey)), &grey, 1);
}

/// An interlaced grey PNG of `SIZE`: the seven passes of PNG 3rd edition, 8.2, each row without a filter.
fn interlaced(grey: &[u8]) -> Vec<u8> {
    let (width, height) = (SIZE.width as usize, SIZE.height as usize);
    let mut data = Vec::new();
    for (x, y, step_x, step_y) in
        [(0, 0, 8, 8), (4, 0, 8, 8), (0, 4, 4, 8), (2, 0, 4, 4), (0, 2, 2, 4), (1, 0, 2, 2), (0, 1, 1, 2)]
    {
        for row in (y..height).step_by(step_y) {
            data.push(0);
            data.extend((x..width).step_by(step_x).map(|column| grey[row * width + column]));
        }
    }
    let mut header = [0; 13];
    header[..4].copy_from_slice(&SIZE.width.to_be_bytes());
    header[4..8].copy_from_slice(&SIZE.height.to_be_bytes());
    header[8..].copy_from_slice(&[8, 0, 0, 0, 1]);
    let mut file = b"\x89PNG\r\n\x1a\n".to_vec();
    for (kind, body) in [(b"IHDR", header.to_vec()), (b"IDAT", stored_zlib(&data)), (b"IEND", vec![])] {
        chunk(&mut file, kind, &body);
    }
    file
}

/// A chunk with its checksum (PNG 3rd edition, annex D: CRC-32 with the polynomial 0xEDB88320).
fn chunk(file: &mut Vec<u8>, kind: &[u8; 4], body: &[u8]) {
    file.extend_from_slice(&u32::try_from(body.len()).unwrap().to_be_bytes());
    let checked = [kind, body].concat();
    let crc = checked.iter().fold(u32::MAX, |crc, byte| {
        (0..8).fold(crc ^ u32::from(*byte), |crc, _| if crc & 1 == 1 { (crc >> 1) ^ 0xEDB8_8320 } else { crc >> 1 })
    });
    file.extend_from_slice(&checked);
    file.extend_from_slice(&(!crc).to_be_bytes());
}

/// Zlib data of one stored block (RFC 1950, RFC 1951).
fn stored_zlib(data: &[u8]) -> Vec<u8> {
    let length = u16::try_from(data.len()).unwrap();
    let (mut a, mut b) = (1_u32, 0_u32);
    for byte in data {
        a = (a + u32::from(*byte)) % 65_521;
        b = (b + a) % 65_521;
    }
    [&[0x78, 0x01, 1][..], &length.to_le_bytes(), &(!length).to_le_bytes(), data, &((b << 16) | a).to_be_bytes()]
        .concat()
}

#[test]
fn sixteen_bits_stay_sixteen_in_png_and_tiff() {
    for (channels, colour) in [(1, ColorType::Grayscale), (3, ColorType::Rgb)] {
        let samples = deep(channels);
        let bytes: Vec<u8> = samples.iter().flat_map(|sample| sample.to_be_bytes()).collect();
        let file = png(colour, BitDepth::Sixteen, &bytes, |_| ());
        assert_sixteen(&whole(Format::Png, &file), &samples, channels as usize);
        let image = match channels {
            1 => DynamicImage::ImageLuma16(
                image::ImageBuffer::from_raw(SIZE.width, SIZE.height, samples.clone()).unwrap(),
            ),
            _ => DynamicImage::ImageRgb16(
                image::ImageBuffer::from_raw(SIZE.width, SIZE.height, samples.clone()).unwrap(),
            ),
        };
        assert_sixteen(&whole(Format::Tiff, &written(&image, ImageFormat::Tiff)), &samples, channels as usize);
    }
}

fn written(image: &DynamicImage, format: ImageFormat) -> Vec<u8> {
    let mut file = Cursor::new(Vec::new());
    image.write_to(&mut file, format).unwrap();
    file.into_inner()
}

#[test]
fn tiff_and_lossless_webp_keep_every_code() {
    let rgb = scene(SIZE, 3);
    let image = DynamicImage::ImageRgb8(image::ImageBuffer::from_raw(SIZE.width, SIZE.height, rgb.clone()).unwrap());
    assert_eight(&whole(Format::Tiff, &written(&image, ImageFormat::Tiff)), &rgb, 3);
    assert_eight(&whole(Format::Webp, &written(&image, ImageFormat::WebP)), &rgb, 3);
}

#[test]
fn palettes_and_few_bits_become_full_codes() {
    let indices: Vec<u8> =
        (0..SIZE.height).flat_map(|y| (0..SIZE.width).map(move |x| u8::try_from((x + y) % 3).unwrap())).collect();
    let palette = [10, 20, 30, 40, 50, 60, 70, 80, 90];
    let file = png(ColorType::Indexed, BitDepth::Eight, &indices, |encoder| encoder.set_palette(palette.to_vec()));
    let expected: Vec<u8> = indices.iter().flat_map(|index| palette[usize::from(*index) * 3..][..3].to_vec()).collect();
    assert_eight(&whole(Format::Png, &file), &expected, 3);
    // One bit a pixel: black or white, rows padded to whole bytes.
    let bits = [0b1010_1010, 0b1010_1010, 0b1010_1010].repeat(SIZE.height as usize);
    let expected: Vec<u8> = (0..SIZE.pixels()).map(|at| if (at % 23).is_multiple_of(2) { 255 } else { 0 }).collect();
    assert_eight(&whole(Format::Png, &png(ColorType::Grayscale, BitDepth::One, &bits, |_| ())), &expected, 1);
}

#[test]
fn transparent_parts_are_shown_on_black_and_said_to_be() {
    let pixels: Vec<u8> = [[200, 100, 50, 255], [200, 100, 50, 128], [200, 100, 50, 0]].concat();
    let rgba: Vec<u8> = pixels.iter().copied().cycle().take(PIXELS * 4).collect();
    let expected: Vec<u8> = [200, 100, 50, 100, 50, 25, 0, 0, 0].into_iter().cycle().take(PIXELS * 3).collect();
    let srgb = |encoder: &mut Encoder<'_, &mut Vec<u8>>| encoder.set_source_srgb(SrgbRenderingIntent::Perceptual);
    let (picture, remarks) = decode(Format::Png, SIZE, &png(ColorType::Rgba, BitDepth::Eight, &rgba, srgb));
    assert_eight(&picture.unwrap(), &expected, 3);
    assert_eq!(remarks, ["transparent parts are shown on black"]);
    // Alpha that hides nothing is not worth a word.
    let opaque: Vec<u8> = scene(SIZE, 3).chunks(3).flat_map(|rgb| [rgb[0], rgb[1], rgb[2], 255]).collect();
    let (picture, remarks) = decode(Format::Png, SIZE, &png(ColorType::Rgba, BitDepth::Eight, &opaque, srgb));
    assert_eight(&picture.unwrap(), &scene(SIZE, 3), 3);
    assert!(remarks.is_empty(), "{remarks:?}");
}

#[test]
fn a_png_cut_short_gives_the_rows_that_came() {
    // Stored, not compressed, so that every row's place in the file is known: 54 bytes a row.
    let (width, rgb) = (SIZE.width as usize * 3, scene(SIZE, 3));
    let data: Vec<u8> = rgb.chunks(width).flat_map(|row| [&[0], row].concat()).collect();
    let mut header = [0; 13];
    header[..4].copy_from_slice(&SIZE.width.to_be_bytes());
    header[4..8].copy_from_slice(&SIZE.height.to_be_bytes());
    header[8..].copy_from_slice(&[8, 2, 0, 0, 0]);
    let mut file = b"\x89PNG\r\n\x1a\n".to_vec();
    chunk(&mut file, b"IHDR", &header);
    chunk(&mut file, b"IDAT", &stored_zlib(&data));
    let data_start = 8 + 25 + 8 + 7;
    assert_eq!(file[data_start..][..70], data[..70]);
    for rows in [1, 5, 16] {
        let end = data_start + rows * (width + 1) + 20;
        let Err(Damage::CutShort { decoded, due: 17 }) = decode(Format::Png, SIZE, &file[..end]).0 else { panic!() };
        assert!(decoded as usize <= rows, "{decoded} of {rows}");
    }
    // Without its end chunk it lacks nothing that is seen.
    assert_eight(&whole(Format::Png, &file), &rgb, 3);
}

#[test]
fn a_png_with_a_wrong_checksum_is_damage() {
    let file = png(ColorType::Rgb, BitDepth::Eight, &scene(SIZE, 3), |_| ());
    let middle = file.len() / 2;
    let damage = decode(Format::Png, SIZE, &patched(&file, middle, &[!file[middle]])).0.unwrap_err();
    assert!(matches!(damage, Damage::Corrupt(_)), "{damage}");
}

#[test]
fn a_tiff_or_webp_cut_short_is_damage() {
    let image = DynamicImage::ImageRgb8(image::ImageBuffer::from_raw(SIZE.width, SIZE.height, scene(SIZE, 3)).unwrap());
    for (format, as_image) in [(Format::Tiff, ImageFormat::Tiff), (Format::Webp, ImageFormat::WebP)] {
        let file = written(&image, as_image);
        for end in [13, file.len() / 3, file.len() * 2 / 3] {
            let damage = decode(format, SIZE, &file[..end]).0.unwrap_err();
            assert!(matches!(damage, Damage::Corrupt(_) | Damage::CutShort { .. }), "{format:?} at {end}: {damage}");
        }
    }
}

#[test]
fn a_png_that_promises_too_much_is_refused() {
    let mut file = b"\x89PNG\r\n\x1a\n".to_vec();
    let side = 100_000_u32.to_be_bytes();
    chunk(&mut file, b"IHDR", &[&side[..], &side, &[8, 2, 0, 0, 0]].concat());
    let folder = Folder::new();
    let still = folder.still("still.png", Format::Png, Size::new(100_000, 100_000), &file);
    assert_eq!(test_decode(&still), Err(Damage::TooLarge("100000x100000".into())));
}

#[test]
fn profiles_in_png_webp_and_tiff_are_handed_on() {
    let icc = ColorProfile::new_display_p3().encode().unwrap();
    // iCCP: a name, the method 0, zlib data (PNG 3rd edition, 11.3.2.3), before the picture data.
    let plain = png(ColorType::Rgb, BitDepth::Eight, &scene(SIZE, 3), |_| ());
    let mut file = plain[..33].to_vec();
    chunk(&mut file, b"iCCP", &[b"P3\0\0", stored_zlib(&icc).as_slice()].concat());
    file.extend_from_slice(&plain[33..]);
    assert_eq!(whole(Format::Png, &file).profile, Profile::Icc(icc.as_slice().into()));

    let mut webp = Vec::new();
    let mut encoder = image::codecs::webp::WebPEncoder::new_lossless(&mut webp);
    encoder.set_icc_profile(icc.clone()).unwrap();
    encoder.encode(&scene(SIZE, 3), SIZE.width, SIZE.height, ExtendedColorType::Rgb8).unwrap();
    assert_eq!(whole(Format::Webp, &webp).profile, Profile::Icc(icc.as_slice().into()));

    let mut tiff = Cursor::new(Vec::new());
    let mut encoder = image::codecs::tiff::TiffEncoder::new(&mut tiff);
    encoder.set_icc_profile(icc.clone()).unwrap();
    encoder.write_image(&scene(SIZE, 3), SIZE.width, SIZE.height, ExtendedColorType::Rgb8).unwrap();
    assert_eq!(whole(Format::Tiff, tiff.get_ref()).profile, Profile::Icc(icc.as_slice().into()));
}

#[test]
fn high_dynamic_range_is_refused_rather_than_squashed() {
    let plain = png(ColorType::Rgb, BitDepth::Eight, &scene(SIZE, 3), |_| ());
    // cICP: primaries, transfer, matrix, full range (PNG 3rd edition, 11.3.2.6); 9 and 16 are BT.2020 and PQ (H.273).
    for (points, refused) in [([9, 16, 0, 1], true), ([9, 18, 0, 1], true), ([1, 13, 0, 1], false)] {
        let mut file = plain[..33].to_vec();
        chunk(&mut file, b"cICP", &points);
        file.extend_from_slice(&plain[33..]);
        match decode(Format::Png, SIZE, &file).0 {
            Ok(picture) => assert!(!refused && picture.profile == Profile::Srgb, "{points:?}"),
            Err(damage) => assert!(refused && matches!(damage, Damage::Unsupported(_)), "{points:?}: {damage}"),
        }
    }
}
