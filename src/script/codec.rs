//! What a delivery is written as: `codec`, `quality` and `most`.
//!
//! ## Decisions
//!
//! - `quality` is one scale for all codecs; the table form of `codec` carries what each knows beside it.

use mlua::Value;

use super::fields::{CODEC, QUALITY, SCALE};
use super::form::Wants;
use super::reader::Reader;
use super::value::{plain_number, seen};
use crate::diag::{self, Diagnostic};
use crate::shot::{Av1, Codec, DEFAULT_QUALITY, Ffv1, H264, Hevc, Jpeg, Png, Prores, ProresProfile, Samples};

/// What each codec can be told in the table form.
const KNOWS: [(&str, &[&str]); 9] = [
    ("h264", &["crf", "preset", "tune"]),
    ("hevc", &["crf", "preset"]),
    ("av1", &["crf", "preset"]),
    ("prores", &["profile"]),
    ("dnxhr", &[]),
    ("ffv1", &["samples"]),
    ("png", &["depth"]),
    ("tiff", &[]),
    ("jpeg", &["quality"]),
];

/// The codecs of masters.
const OF_MASTERS: [&str; 2] = ["ffv1", "hevc"];
/// Those that `quality` has no say in.
const WITHOUT_QUALITY: [&str; 4] = ["png", "tiff", "ffv1", "dnxhr"];
/// Those whose bits a second can be capped.
const CAPPED: [&str; 3] = ["h264", "hevc", "av1"];

/// What is said of one codec: its name, and the table in which more is said.
struct Said {
    name: String,
    own: Option<Reader>,
}

/// The codec of a delivery.
pub(super) fn codec(reader: &Reader, every_still: bool) -> Codec {
    let said = said(reader, if every_still { "ffv1" } else { "h264" });
    let name = said.name.as_str();
    if every_still && !OF_MASTERS.contains(&name) {
        reader.mistake(
            Diagnostic::mistake(format!("codec = {name:?} is not for masters"))
                .word(name)
                .help("write codec = \"ffv1\" or \"hevc\""),
        );
    }
    does_it_know(reader, &said, every_still);
    let most = most(reader, name, every_still);
    let size = size(reader, &said, every_still);
    let quality = Quality::of(reader, name);
    let scale = quality.scale.unwrap_or(DEFAULT_QUALITY);
    let own = said.own.as_ref();
    let crf = own.and_then(|own| own.number("crf")).or(quality.crf);
    // SVT-AV1's are numbers.
    let preset = own.filter(|_| name != "av1").and_then(|own| own.text("preset")).or(quality.preset);
    let tune = own.and_then(|own| own.text("tune")).or(quality.tune);
    let made = match name {
        "hevc" => {
            let usual = Hevc::from_quality(scale);
            let (crf, preset) = (crf.unwrap_or(usual.crf), preset.unwrap_or(usual.preset));
            Codec::Hevc(Hevc { crf, preset, most, size })
        }
        "av1" => av1(reader, own, Av1 { most, size, ..Av1::from_quality(scale) }, crf),
        "prores" => {
            let profile = named(own, "profile", &ProresProfile::NAMES);
            Codec::Prores(profile.map_or_else(|| Prores::from_quality(scale), |profile| Prores { profile }))
        }
        "dnxhr" => Codec::Dnxhr,
        "ffv1" if every_still => Codec::MASTER,
        "ffv1" => {
            let samples = named(own, "samples", &Samples::NAMES);
            Codec::Ffv1(Ffv1 { samples: samples.unwrap_or(Samples::Half) })
        }
        "png" => Codec::Png(Png { depth: own.and_then(depth).unwrap_or(16) }),
        "tiff" => Codec::Tiff,
        "jpeg" => {
            let quality = own.and_then(|own| own.whole("quality")).and_then(|quality| u8::try_from(quality).ok());
            Codec::Jpeg(quality.map_or_else(|| Jpeg::from_quality(scale), |quality| Jpeg { quality }))
        }
        _ => {
            let usual = H264::from_quality(scale);
            let (crf, preset) = (crf.unwrap_or(usual.crf), preset.unwrap_or(usual.preset));
            Codec::H264(H264 { crf, preset, tune, most, size })
        }
    };
    if own.is_some_and(Reader::is_broken) {
        reader.set_broken();
    }
    made
}

/// The codec's name, as a word or as the first of a table.
fn said(reader: &Reader, usual: &str) -> Said {
    let usual = || Said { name: usual.to_owned(), own: None };
    match reader.raw("codec") {
        Value::Nil => usual(),
        Value::Table(table) => {
            let own = reader.inner(&CODEC, table);
            let first = own.items().into_iter().next();
            let name = first.and_then(|(_, value)| own.text_of("delivery.codec[1] (its name)", CODEC_NAME, &value));
            match name {
                Some(name) => Said { name, own: Some(own) },
                None => {
                    reader.set_broken();
                    usual()
                }
            }
        }
        value => match reader.text_of("delivery.codec", CODEC_NAME, &value) {
            Some(name) => Said { name, own: None },
            None => usual(),
        },
    }
}

const CODEC_NAME: Wants = Wants::Choice(&Codec::NAMES);

/// Refuses what a codec's table says that the codec has no use for.
fn does_it_know(reader: &Reader, said: &Said, every_still: bool) {
    let Some(own) = &said.own else { return };
    let knows = KNOWS.into_iter().find(|(name, _)| *name == said.name).map_or(&[][..], |(_, knows)| knows);
    for field in CODEC.names() {
        let of_stills = field == "samples" && every_still;
        if !own.has(field) || knows.contains(&field) && !of_stills {
            continue;
        }
        let name = &said.name;
        let words = if of_stills {
            "delivery.codec.samples does not go with every = \"still\": a master has its stills' samples".to_owned()
        } else {
            format!("delivery.codec.{field} does not go with {name:?}")
        };
        let takes = match knows {
            [] => format!("leave {field} out; {name:?} takes nothing more"),
            _ if of_stills => format!("leave {field} out"),
            knows => format!("leave {field} out; {name:?} takes {}", knows.join(", ")),
        };
        reader.mistake(Diagnostic::mistake(words).word(field).help(takes));
    }
}

/// The value that one of a codec's words stands for.
fn named<T: Copy>(own: Option<&Reader>, field: &str, names: &[(&str, T)]) -> Option<T> {
    let own = own?;
    let word = own.text(field)?;
    let found = names.iter().find(|(name, _)| *name == word).map(|(_, value)| *value);
    if found.is_none() {
        let names: Vec<String> = names.iter().map(|(name, _)| format!("{name:?}")).collect();
        own.mistake(
            Diagnostic::mistake(format!("delivery.codec.{field} must be {}; seen {word:?}", names.join(" or ")))
                .word(&word),
        );
    }
    found
}

/// Bits of a sample of PNG.
fn depth(own: &Reader) -> Option<u8> {
    match own.whole("depth")? {
        8 => Some(8),
        16 => Some(16),
        other => {
            let words = format!("delivery.codec.depth must be 8 or 16; seen {other}");
            own.mistake(Diagnostic::mistake(words).word("depth"));
            None
        }
    }
}

/// SVT-AV1 counts its presets, and its rate factor in whole numbers.
fn av1(reader: &Reader, own: Option<&Reader>, usual: Av1, crf: Option<f64>) -> Codec {
    let refused = |what: &str, value: String, most: u8| {
        let words =
            format!("{what} of av1 must be a whole number from {} to {most}; seen {value}", u8::from(what == "crf"));
        reader.mistake(Diagnostic::mistake(words).word(what));
    };
    let crf = crf.map(|crf| {
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "within 1 to 63")]
        let whole = crf as u8;
        if f64::from(whole) != crf || !(1..=63).contains(&whole) {
            refused("crf", diag::number(crf), 63);
        }
        whole
    });
    let preset = own.map_or(Value::Nil, |own| own.raw("preset"));
    let preset = match (&preset, plain_number(&preset)) {
        (Value::Nil, _) => None,
        (_, Some(number)) if (0.0..=f64::from(Av1::LAST_PRESET)).contains(&number) && number.fract() == 0.0 => {
            #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "0 to 13")]
            let preset = number as u8;
            Some(preset)
        }
        (value, _) => {
            refused("preset", seen(value), Av1::LAST_PRESET);
            None
        }
    };
    Codec::Av1(Av1 { crf: crf.unwrap_or(usual.crf), preset: preset.unwrap_or(usual.preset), ..usual })
}

/// What `quality` says: our one scale, or what encoders have in common.
#[derive(Default)]
struct Quality {
    scale: Option<f64>,
    crf: Option<f64>,
    preset: Option<String>,
    tune: Option<String>,
}

impl Quality {
    fn of(reader: &Reader, name: &str) -> Self {
        let value = reader.raw("quality");
        if !value.is_nil() && WITHOUT_QUALITY.contains(&name) {
            let why = if name == "dnxhr" { "it is always of one size" } else { "it loses nothing" };
            let words = format!("delivery.quality does not go with codec = {name:?}: {why}");
            reader.mistake(Diagnostic::mistake(words).word("quality"));
            return Self::default();
        }
        match &value {
            Value::Nil => Self::default(),
            Value::Table(table) if CAPPED.contains(&name) => {
                let own = reader.inner(&QUALITY, table.clone());
                let quality =
                    Self { scale: None, crf: own.number("crf"), preset: own.text("preset"), tune: own.text("tune") };
                let others = ["preset", "tune"];
                for field in if name == "h264" {
                    &[][..]
                } else if name == "hevc" {
                    &others[1..]
                } else {
                    &others
                } {
                    if own.has(field) {
                        let words = format!("delivery.quality.{field} does not go with codec = {name:?}");
                        reader.mistake(Diagnostic::mistake(words).word(*field));
                    }
                }
                if own.is_broken() {
                    reader.set_broken();
                }
                quality
            }
            Value::Table(_) => {
                let words = format!("delivery.quality with codec = {name:?} must be a number from 0 to 100");
                reader.mistake(Diagnostic::mistake(words).word("quality"));
                Self::default()
            }
            other if plain_number(other).is_some() => {
                Self { scale: reader.number_of("delivery.quality", SCALE, other), ..Self::default() }
            }
            _ => {
                reader.refuse("quality", None);
                Self::default()
            }
        }
    }
}

/// The most bits a second.
fn most(reader: &Reader, name: &str, every_still: bool) -> Option<u64> {
    let most = reader.bits("most")?;
    if !CAPPED.contains(&name) || every_still {
        let what = if every_still { "every = \"still\"".to_owned() } else { format!("codec = {name:?}") };
        reader.mistake(
            Diagnostic::mistake(format!("delivery.most does not go with {what}: it takes as many bits as it needs"))
                .word("most")
                .help(format!("leave most out; {} can be capped", CAPPED.map(|name| format!("{name:?}")).join(", "))),
        );
        return None;
    }
    Some(most)
}

/// Bytes that the finished file may have.
fn size(reader: &Reader, said: &Said, every_still: bool) -> Option<u64> {
    let size = reader.bytes("size")?;
    let name = said.name.as_str();
    let refused = |words: String, help: String| {
        reader.mistake_in("size", Diagnostic::mistake(words).word("size").help(help));
        None
    };
    if !CAPPED.contains(&name) || every_still {
        let what = if every_still { "every = \"still\"".to_owned() } else { format!("codec = {name:?}") };
        return refused(
            format!("delivery.size does not go with {what}: how large it gets follows from its frames"),
            format!("leave size out; {} can be given one", CAPPED.map(|name| format!("{name:?}")).join(", ")),
        );
    }
    let is_number = plain_number(&reader.raw("quality")).is_some();
    let in_table = match reader.raw("quality") {
        Value::Table(table) => !table.raw_get::<Value>("crf").unwrap_or(Value::Nil).is_nil(),
        _ => false,
    };
    let own = said.own.as_ref().is_some_and(|own| own.has("crf"));
    if is_number || in_table || own {
        let other = if own || in_table { "crf" } else { "quality" };
        return refused(
            format!("use either size or {other}: the quality is what makes a file of a size"),
            format!("leave size out, or leave {other} out"),
        );
    }
    Some(size)
}
