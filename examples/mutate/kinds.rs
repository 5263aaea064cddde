//! Readers of bytes that nobody vouches for, each with real files to spoil: what a case is, and what comes of it.
//!
//! A case is told by its kind, the seed and its number alone, so that one that fails can be run again.

use std::path::{Path, PathBuf};
use std::process::Command;

use stillpath::decode::{Decoder, Want, header};
use stillpath::ffi::jpeg::{Coding, Colour, Encoding, encode};
use stillpath::level;
use stillpath::receipt::{FilePath, Receipt};
use stillpath::register;
use stillpath::script;
use stillpath::units::Size;

/// What is read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Kind {
    /// JPEGs: header and tags.
    Jpeg,
    /// JPEGs: the picture too, through libjpeg.
    JpegPicture,
    /// HEIC and AVIF: the container.
    Heif,
    /// HEIC and AVIF: the picture too, through FFmpeg.
    HeifPicture,
    /// EXIF blocks within JPEGs: what the survey reads of them.
    Exif,
    /// ICC profiles within JPEGs.
    Icc,
    /// Tables of gains and of stands.
    Table,
    /// Receipts, sealed anew after they were spoilt, so that more than their hash is looked at.
    Receipt,
    /// Lua scripts.
    Script,
}

impl Kind {
    pub(crate) const ALL: [(&'static str, Self); 9] = [
        ("jpeg", Self::Jpeg),
        ("jpeg-picture", Self::JpegPicture),
        ("heif", Self::Heif),
        ("heif-picture", Self::HeifPicture),
        ("exif", Self::Exif),
        ("icc", Self::Icc),
        ("table", Self::Table),
        ("receipt", Self::Receipt),
        ("script", Self::Script),
    ];
}

/// SplitMix64 (Steele, Lea, Flood 2014, doi:10.1145/2660193.2660195).
pub(crate) struct Random(pub(crate) u64);

impl Random {
    pub(crate) fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut mixed = self.0;
        mixed = (mixed ^ mixed >> 30).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        mixed = (mixed ^ mixed >> 27).wrapping_mul(0x94D0_49BB_1331_11EB);
        mixed ^ mixed >> 31
    }

    /// A number below `end`, or 0.
    pub(crate) fn below(&mut self, end: usize) -> usize {
        usize::try_from(self.next() % (end.max(1) as u64)).unwrap_or(0)
    }
}

/// Spoils `bytes` within `part` in one to eight ways.
pub(crate) fn spoil(bytes: &mut Vec<u8>, part: std::ops::Range<usize>, other: &[u8], random: &mut Random) {
    let grown = bytes.len() - part.end;
    for _ in 0..=random.below(8) {
        let end = bytes.len().saturating_sub(grown);
        let at = part.start + random.below(end.saturating_sub(part.start));
        let long = 1 + random.below(8.min(end.saturating_sub(at)).max(1));
        let until = (at + long).min(end).max(at);
        let number = [0, 1, 0x7F, 0x80, 0xFF, 0x7FFF_FFFF, 0x8000_0000, 0xFFFF_FFFF, u64::MAX, 1 << 63, random.next()]
            [random.below(11)];
        match random.below(9) {
            0 | 1 if at < end => bytes[at] ^= 1 << random.below(8),
            2 if at < end => bytes[at] = u8::try_from(random.below(256)).unwrap_or(0),
            3 if until > at => bytes[at..until].copy_from_slice(&number.to_be_bytes()[8 - (until - at)..]),
            4 if until > at => bytes[at..until].copy_from_slice(&number.to_le_bytes()[..until - at]),
            5 => drop(bytes.drain(at..until)),
            6 => {
                let copied = bytes[at..(at + random.below(64)).min(end).max(at)].to_vec();
                bytes.splice(at..at, copied);
            }
            7 => {
                let from = random.below(other.len());
                bytes.splice(at..until, other[from..(from + random.below(64)).min(other.len())].iter().copied());
            }
            _ if random.below(8) == 0 => bytes.truncate(at),
            _ => {}
        }
        if bytes.len() < grown + part.start {
            break;
        }
    }
}

/// A file to spoil, and the part of it that is spoilt.
struct Seed {
    bytes: Vec<u8>,
    part: std::ops::Range<usize>,
    /// Where the two bytes are that say how long it is, where such are kept true.
    length_at: Option<usize>,
}

/// The files of a kind, and a place to put spoilt ones.
pub(crate) struct Bench {
    kind: Kind,
    seeds: Vec<Seed>,
    folder: tempfile::TempDir,
    decoder: Decoder,
}

impl Bench {
    /// Makes the files of a kind. HEIC and AVIF are made by `heif-enc` and `avifenc`.
    pub(crate) fn new(kind: Kind) -> Self {
        let memory = Path::new("/dev/shm");
        let named = || tempfile::Builder::new().prefix("mutate-").tempdir_in(memory);
        let folder = named().or_else(|_| tempfile::tempdir()).expect("a folder");
        let whole = |bytes: Vec<u8>| Seed { part: 0..bytes.len(), bytes, length_at: None };
        let seeds = match kind {
            Kind::Jpeg | Kind::JpegPicture => jpegs().into_iter().map(whole).collect(),
            Kind::Heif | Kind::HeifPicture => heifs(folder.path()).into_iter().map(whole).collect(),
            Kind::Exif => within(jpegs(), b"Exif\0\0"),
            Kind::Icc => within(jpegs(), b"ICC_PROFILE\0\x01\x01"),
            Kind::Table => TABLES.iter().map(|text| whole(text.as_bytes().to_vec())).collect(),
            Kind::Receipt => vec![whole(RECEIPT.as_bytes().to_vec())],
            Kind::Script => SCRIPTS.iter().map(|text| whole(text.as_bytes().to_vec())).collect(),
        };
        Self { kind, seeds, folder, decoder: Decoder::new() }
    }

    /// The bytes of a case.
    pub(crate) fn case(&self, seed: u64, number: u64) -> Vec<u8> {
        let mut random = Random(seed ^ number.wrapping_mul(0xD6E8_FEB8_6659_FD93));
        random.next();
        let of = &self.seeds[random.below(self.seeds.len())];
        let other = &self.seeds[random.below(self.seeds.len())];
        let mut bytes = of.bytes.clone();
        spoil(&mut bytes, of.part.clone(), &other.bytes, &mut random);
        if let Some(at) = of.length_at {
            let length = (of.part.end - at + bytes.len()).saturating_sub(of.bytes.len());
            bytes[at..at + 2].copy_from_slice(&u16::try_from(length).unwrap_or(u16::MAX).to_be_bytes());
        }
        bytes
    }

    /// The files themselves.
    pub(crate) fn whole(&self) -> Vec<Vec<u8>> {
        self.seeds.iter().map(|seed| seed.bytes.clone()).collect()
    }

    /// Reads the bytes of a case: whether they were taken for whole, in a word. Whatever they are, this comes back.
    pub(crate) fn read(&mut self, bytes: &[u8]) -> &'static str {
        match self.kind {
            Kind::Jpeg | Kind::Heif | Kind::Exif => self.picture(bytes, false),
            Kind::JpegPicture | Kind::HeifPicture | Kind::Icc => self.picture(bytes, true),
            Kind::Table => {
                let text = String::from_utf8_lossy(bytes);
                let (gains, stands) = (level::Curve::from_csv(&text), register::Table::from_csv(&text));
                // What was read is written as it is read.
                if let Ok(gains) = &gains {
                    assert_eq!(
                        level::Curve::from_csv(&gains.to_csv()).map(|read| read.lines.len()),
                        Ok(gains.lines.len())
                    );
                }
                if let Ok(stands) = &stands {
                    assert_eq!(
                        register::Table::from_csv(&stands.to_csv()).map(|read| read.lines.len()),
                        Ok(stands.lines.len())
                    );
                }
                if gains.is_ok() || stands.is_ok() { "read" } else { "refused" }
            }
            Kind::Receipt => {
                let text = String::from_utf8_lossy(bytes);
                let _edited = Receipt::from_json(&text);
                let Ok(receipt) = serde_json::from_str::<Receipt>(&text) else { return "refused" };
                let paths: Vec<FilePath> = receipt.deliveries.iter().map(|delivery| delivery.path.clone()).collect();
                assert!(paths.iter().filter_map(FilePath::beside).all(|path| path.components().count() == 1));
                match Receipt::from_json(&receipt.sealed().1) {
                    Ok(_) => "read",
                    Err(_) => "refused",
                }
            }
            Kind::Script => {
                let path = self.put("case.lua", bytes);
                let read =
                    script::run(&script::Request { path, settings: Vec::new(), user_moves: None, user_purposes: None });
                if read.is_ok() { "read" } else { "refused" }
            }
        }
    }

    fn put(&self, name: &str, bytes: &[u8]) -> PathBuf {
        let path = self.folder.path().join(name);
        std::fs::write(&path, bytes).expect("room for a case");
        path
    }

    fn picture(&mut self, bytes: &[u8], decoded: bool) -> &'static str {
        let path = self.put("case", bytes);
        let Ok(header) = header::read(&path) else { return "refused" };
        if !decoded || header.stored.pixels() > 1 << 20 {
            return "read";
        }
        let still = header.still(&path);
        let rows = 0..still.orientation.upright(still.stored).height;
        match self.decoder.decode(&still, Want::rows(rows), None) {
            Ok(_) => "read",
            // A panic on the way is caught there, and is a fault all the same.
            Err(damage) if damage.to_string().contains("gave up in the middle") => "given up",
            Err(_) => "refused",
        }
    }
}

/// Where a mark is in each file that has it, to the end of the segment that it begins.
fn within(files: Vec<Vec<u8>>, mark: &[u8]) -> Vec<Seed> {
    let part = |bytes: &[u8]| {
        let at = bytes.windows(mark.len()).position(|window| window == mark)?;
        let length = usize::from(u16::from_be_bytes([bytes[at - 2], bytes[at - 1]]));
        Some((at + mark.len()..at - 2 + length, at - 2))
    };
    let seed = |bytes: Vec<u8>| {
        let (part, length_at) = part(&bytes)?;
        Some(Seed { bytes, part, length_at: Some(length_at) })
    };
    files.into_iter().filter_map(seed).collect()
}

const SIZE: Size = Size { width: 48, height: 40 };

/// JPEGs of every coding, with tags and a profile.
fn jpegs() -> Vec<Vec<u8>> {
    let exif = [b"Exif\0\0".as_slice(), &exif()].concat();
    let icc = moxcms::ColorProfile::new_display_p3().encode().expect("a profile");
    let icc = [b"ICC_PROFILE\0\x01\x01".as_slice(), &icc].concat();
    let markers: [(u8, &[u8]); 2] = [(0xE1, &exif), (0xE2, &icc)];
    // A profile is tried out before it is used, which takes longer than all else: one kind has it.
    let of = |colour: Colour| if colour == Colour::YCbCr { &markers[..] } else { &markers[..1] };
    let one = |colour: Colour, coding: Coding, subsampling: (u8, u8), restart_rows: u16| {
        let given = match colour {
            Colour::Grey => 1,
            Colour::Cmyk | Colour::Ycck => 4,
            Colour::YCbCr | Colour::Rgb => 3,
        };
        let mut random = Random(7);
        let codes = (0..SIZE.width * SIZE.height * given)
            .map(|at| (at / 7 % 200).to_le_bytes()[0] ^ (random.next() & 7).to_le_bytes()[0]);
        let encoding = Encoding { quality: 80, colour, subsampling, coding, restart_rows, markers: of(colour) };
        encode(&codes.collect::<Vec<u8>>(), SIZE, &encoding)
    };
    vec![
        one(Colour::YCbCr, Coding::Baseline, (2, 2), 0),
        one(Colour::YCbCr, Coding::Baseline, (2, 1), 1),
        one(Colour::YCbCr, Coding::Progressive, (2, 2), 0),
        one(Colour::YCbCr, Coding::Separate, (4, 1), 0),
        one(Colour::Rgb, Coding::Baseline, (1, 1), 0),
        one(Colour::Grey, Coding::Progressive, (1, 1), 0),
        one(Colour::Cmyk, Coding::Baseline, (1, 1), 0),
        one(Colour::Ycck, Coding::Progressive, (2, 2), 0),
    ]
}

/// An EXIF block with what a camera writes.
fn exif() -> Vec<u8> {
    use exif::{Field, In, Rational, Tag, Value};
    let field = |tag, value| Field { tag, ifd_num: In::PRIMARY, value };
    let text = |tag, text: &str| field(tag, Value::Ascii(vec![text.as_bytes().to_vec()]));
    let ratio = |tag, num, denom| field(tag, Value::Rational(vec![Rational { num, denom }]));
    let fields = [
        field(Tag::Orientation, Value::Short(vec![6])),
        text(Tag::DateTime, "2031:09:12 20:31:04"),
        text(Tag::DateTimeOriginal, "2031:09:12 20:31:04"),
        text(Tag::SubSecTimeOriginal, "37"),
        text(Tag::OffsetTimeOriginal, "+01:00"),
        ratio(Tag::ExposureTime, 1, 250),
        ratio(Tag::FNumber, 56, 10),
        ratio(Tag::FocalLength, 35, 1),
        field(Tag::PhotographicSensitivity, Value::Short(vec![400])),
        field(Tag::ColorSpace, Value::Short(vec![0xFFFF])),
        text(Tag::InteroperabilityIndex, "R03"),
        field(Tag::YCbCrPositioning, Value::Short(vec![2])),
    ];
    let mut writer = exif::experimental::Writer::new();
    fields.iter().for_each(|field| writer.push_field(field));
    let mut block = std::io::Cursor::new(Vec::new());
    writer.write(&mut block, false).expect("fields that can be written");
    block.into_inner()
}

/// A HEIC and AVIFs.
fn heifs(folder: &Path) -> Vec<Vec<u8>> {
    let png = folder.join("scene.png");
    let codes: Vec<u8> = (0..64 * 64 * 3_u32).map(|at| (at / 5 % 251).to_le_bytes()[0]).collect();
    image::save_buffer(&png, &codes, 64, 64, image::ExtendedColorType::Rgb8).expect("room for a picture");
    let made = |program: &str, arguments: &[&str], name: &str| {
        let to = folder.join(name);
        let ran = Command::new(program).args(arguments).arg(&png).arg("-o").arg(&to).output();
        let ran = ran.unwrap_or_else(|error| panic!("{program} is needed ({error}): sh scripts/test installs it"));
        assert!(ran.status.success(), "{program}: {}", String::from_utf8_lossy(&ran.stderr));
        std::fs::read(&to).expect("what it made")
    };
    vec![
        made("heif-enc", &["-p", "preset=ultrafast"], "a.heic"),
        made("avifenc", &["-s", "9"], "a.avif"),
        made("avifenc", &["-s", "9", "--irot", "1", "--imir", "0", "-d", "10"], "b.avif"),
    ]
}

const TABLES: [&str; 3] = [
    "still,red,green,blue,level,target,name\n1,1.012346,0.970000,1.000000,,,TIDE9941\n2,1,1,1,1.5,1.25,a, b\n3,1.02\n",
    "still,x,y,turn,name\n1,0.0000,0.0000,0.000000,TIDE9941\n2,5.8150,-3.8570,0.010000,TIDE9942\n\n4,1,2\n",
    "\u{feff}still,red\r\n3, 1.02\r\n\r\n4,1,1,0.9\r\n",
];

const RECEIPT: &str = include_str!("receipt.json");

const SCRIPTS: [&str; 3] = [
    include_str!("../harbour/harbour.lua"),
    include_str!("../push_in/push_in.lua"),
    include_str!("../two_shapes/two_shapes.lua"),
];
