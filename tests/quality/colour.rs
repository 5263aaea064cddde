//! Right colours and no banding.

use moxcms::ColorProfile;
use stillpath::geom::Window;
use stillpath::picture::{Model, Picture, Profile, Siting};
use stillpath::sample::Painter;
use stillpath::shot::Sharpness;
use stillpath::units::Size;

use crate::stills::{Chroma, Field, Noise, flat, grey16, paint_rgb, paint_yuv, picture, plane};

const SIZE: Size = Size { width: 64, height: 48 };

/// R'G'B' as fractions, and 8-bit codes of BT.709 limited range, 100 % and 75 %: ITU-R BT.709-6 evaluated in exact
/// fractions, equal to colour-science 0.4.7 `RGB_to_YCbCr(…, out_legal=True, out_int=True)`.
const BARS: [([f64; 3], [u8; 3], [u8; 3]); 8] = [
    ([1.0, 1.0, 1.0], [235, 128, 128], [180, 128, 128]),
    ([1.0, 1.0, 0.0], [219, 16, 138], [168, 44, 136]),
    ([0.0, 1.0, 1.0], [188, 154, 16], [145, 147, 44]),
    ([0.0, 1.0, 0.0], [173, 42, 26], [133, 63, 52]),
    ([1.0, 0.0, 1.0], [78, 214, 230], [63, 193, 204]),
    ([1.0, 0.0, 0.0], [63, 102, 240], [51, 109, 212]),
    ([0.0, 0.0, 1.0], [32, 240, 118], [28, 212, 120]),
    ([0.0, 0.0, 0.0], [16, 128, 128], [16, 128, 128]),
];

/// The same bars as JFIF has them (full range, BT.601-7's matrix), rounded to 8 bits as a JPEG's samples are.
fn jfif(rgb: [f64; 3]) -> [u8; 3] {
    let [red, green, blue] = rgb.map(|value| 255.0 * value);
    let luma = 0.299 * red + 0.587 * green + 0.114 * blue;
    [luma, 128.0 + (blue - luma) / 1.772, 128.0 + (red - luma) / 1.402]
        .map(|value| value.round().clamp(0.0, 255.0) as u8)
}

/// The furthest any pixel is from a colour, in codes.
fn furthest(fields: &[Field; 3], wanted: [f64; 3]) -> f64 {
    let away = fields
        .iter()
        .zip(wanted)
        .flat_map(|(field, wanted)| field.values.iter().map(move |seen| (seen - wanted).abs()));
    away.fold(0.0, f64::max)
}

fn window() -> Window {
    Window::new(3.3, 2.1, 50.0, 37.5)
}

#[test]
fn colour_bars_come_out_as_bt_709_within_a_code() {
    let size = Size::new(32, 24);
    let mut painter = Painter::new();
    let mut paint = |still: &Picture| paint_yuv(&mut painter, still, window(), Sharpness::Even, size);
    for (rgb, full, three_quarters) in BARS {
        for (level, codes) in [(1.0, full), (0.75, three_quarters)] {
            let (rgb, wanted) = (rgb.map(|value| value * level), codes.map(f64::from));
            let eight = flat(Model::Rgb, &rgb.map(|value| (255.0 * value).round() as u8), Chroma::Full, SIZE);
            let planes = rgb.map(|value| plane(&Field::new(SIZE, 65_535.0 * value), true, Siting::FULL));
            let sixteen = picture(Model::Rgb, planes.to_vec());
            let jpegs = [Chroma::Full, Chroma::Half, Chroma::Quarter]
                .map(|chroma| flat(Model::YCbCr601, &jfif(rgb), chroma, SIZE));
            let seen = [&eight, &sixteen, &jpegs[0], &jpegs[1], &jpegs[2]].map(|still| furthest(&paint(still), wanted));
            println!(
                "bar {rgb:?}: R'G'B' 8 and 16 bits {:.0}, {:.0}; JPEG 4:4:4, 4:2:2, 4:2:0 {:.0}, {:.0}, {:.0}",
                seen[0], seen[1], seen[2], seen[3], seen[4]
            );
            assert!(seen.iter().all(|&away| away <= 1.0), "{rgb:?}: {seen:?}");
        }
    }
}

#[test]
fn white_and_black_are_exact() {
    let mut painter = Painter::new();
    for (value, code) in [(255, 235.0), (0, 16.0)] {
        for still in [
            flat(Model::Grey, &[value], Chroma::Full, SIZE),
            flat(Model::Rgb, &[value; 3], Chroma::Full, SIZE),
            flat(Model::YCbCr601, &[value, 128, 128], Chroma::Quarter, SIZE),
        ] {
            let seen = paint_yuv(&mut painter, &still, window(), Sharpness::Even, Size::new(32, 24));
            assert_eq!(furthest(&seen, [code, 128.0, 128.0]), 0.0, "{:?} {value}", still.model);
        }
    }
}

/// 8-bit R'G'B' in; to sRGB from Adobe RGB (1998); to sRGB from Display P3: exact from the primaries (D65, transfer
/// functions of IEC 61966-2-1 and γ = 563/256), lcms 2.19 the same but for one code.
const PATCHES: [([u8; 3], [u8; 3], [u8; 3]); 6] = [
    ([128, 128, 128], [129, 129, 129], [128, 128, 128]),
    ([51, 102, 153], [0, 102, 156], [27, 104, 157]),
    ([204, 77, 26], [235, 76, 12], [221, 64, 0]),
    ([128, 64, 200], [146, 62, 205], [138, 59, 207]),
    ([200, 160, 120], [215, 161, 119], [208, 158, 114]),
    ([100, 150, 100], [66, 151, 97], [83, 152, 95]),
];

#[test]
fn wide_gamut_stills_are_converted_within_a_code() {
    let embedded = |profile: ColorProfile| Profile::Icc(profile.encode().unwrap().into());
    let profiles = [
        ("Adobe RGB by EXIF", Profile::AdobeRgb, true),
        ("Adobe RGB embedded", embedded(ColorProfile::new_adobe_rgb()), true),
        ("Display P3 embedded", embedded(ColorProfile::new_display_p3()), false),
    ];
    let mut painter = Painter::new();
    for (name, profile, adobe) in profiles {
        for (rgb, from_adobe, from_p3) in PATCHES {
            let wanted = if adobe { from_adobe } else { from_p3 }.map(f64::from);
            let still = Picture { profile: profile.clone(), ..flat(Model::Rgb, &rgb, Chroma::Full, SIZE) };
            let seen = paint_rgb(&mut painter, &still, window(), Sharpness::Even, Size::new(32, 24));
            let seen =
                seen.map(|field| Field { values: field.values.iter().map(|value| value / 257.0).collect(), ..field });
            // The sixteen-bit frame shows the parts of a code that the table's whole ones leave out.
            let away = furthest(&seen, wanted);
            println!(
                "{name} {rgb:?}: {:.2?}, at most {away:.2} from {wanted:?}",
                [seen[0].at(5, 5), seen[1].at(5, 5), seen[2].at(5, 5)]
            );
            assert!(away <= 1.0, "{name} {rgb:?}: {away}");
        }
    }
}

#[test]
fn a_jpeg_with_a_profile_is_converted_too() {
    // The Adobe RGB patches as JFIF codes them: its rounding to 8 bits costs up to a code, which the profile stretches.
    let mut painter = Painter::new();
    for (rgb, wanted, _) in PATCHES {
        let codes = jfif(rgb.map(|value| f64::from(value) / 255.0));
        let still = Picture { profile: Profile::AdobeRgb, ..flat(Model::YCbCr601, &codes, Chroma::Quarter, SIZE) };
        let seen = paint_rgb(&mut painter, &still, window(), Sharpness::Even, Size::new(32, 24));
        let seen =
            seen.map(|field| Field { values: field.values.iter().map(|value| value / 257.0).collect(), ..field });
        let clipped = wanted.contains(&0);
        let away = furthest(&seen, wanted.map(f64::from));
        println!("JPEG in Adobe RGB {rgb:?}: at most {away:.2} from {wanted:?}");
        assert!(away <= 2.0 || clipped && away <= 4.0, "{rgb:?}: {away}");
    }
}

/// The longest run of one code along any row, and the mean over the rows of each one's longest.
fn longest_runs(field: &Field) -> (usize, f64) {
    let longest = |row: &[f64]| row.chunk_by(|a, b| a == b).map(<[f64]>::len).max().unwrap_or(0);
    let runs: Vec<usize> = field.values.chunks(field.width).map(longest).collect();
    (runs.iter().copied().max().unwrap_or(0), runs.iter().sum::<usize>() as f64 / runs.len() as f64)
}

#[test]
fn a_faint_sky_ramp_shows_no_bands() {
    // 2 % of contrast over 1280 pixels: 4.4 codes.
    let size = Size::new(1280, 720);
    let value = |x: f64| 0.70 + 0.02 * x / 1280.0;
    let still = grey16(&Field::from_fn(size, |x, _| 65_535.0 * value(x as f64 + 0.5)));
    let [luma, ..] = paint_yuv(&mut Painter::new(), &still, Window::whole(size), Sharpness::Even, size);
    let mut noise = Noise(11);
    let ideal = Field { values: Vec::new(), ..luma };
    let code = |x: usize| 16.0 + 219.0 * value(x as f64 + 0.5);
    let ideal =
        Field { values: (0..luma.values.len()).map(|at| (code(at % 1280) + noise.unit()).floor()).collect(), ..ideal };
    let undithered = Field { values: (0..1280).map(|x| code(x).round()).collect(), height: 1, ..luma };
    // The ideal: thresholds independent and even over one code, which leave no error that goes with the picture (S. P.
    // Lipshitz et al., "Quantization and dither: a theoretical survey", J. Audio Eng. Soc. 40(5), 1992). Being chance,
    // its worst of 720 rows is long; the mean row has no such luck.
    let [seen, ideal, undithered] = [&luma, &ideal, &undithered].map(longest_runs);
    println!(
        "sky ramp: longest flat run {} px, of a row {:.1} in the mean; white noise as dither {}, {:.1}; undithered {}",
        seen.0, seen.1, ideal.0, ideal.1, undithered.0
    );
    assert!(seen.0 <= 3 * ideal.0 && undithered.0 > 2 * seen.0);
    assert!(seen.1 <= 1.5 * ideal.1);
    // And the ramp is still the ramp: the mean of every tile of thresholds is that of its values.
    let tiles = (0..20).map(|tile| {
        let columns = 64 * tile..64 * (tile + 1);
        let must = columns.clone().map(code).sum::<f64>() / 64.0;
        columns.map(|x| (0..704).map(|y| luma.at(x, y)).sum::<f64>() / 704.0).sum::<f64>() / 64.0 - must
    });
    let worst = tiles.map(f64::abs).fold(0.0, f64::max);
    println!("sky ramp: a tile's mean is off by at most {worst:.4} codes");
    assert!(worst < 0.01);
}
