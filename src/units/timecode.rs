//! SMPTE timecode: labels of frames counted from zero (SMPTE ST 12-1).
//!
//! `hh:mm:ss:ff` counts every frame. At 30000/1001 and 60000/1001 the label `hh:mm:ss;ff` is *drop-frame*: numbers 00
//! and 01 (00 to 03 at 60000/1001) are left out at the start of each minute not divisible by ten, so that labels keep
//! up with the clock. No frame is dropped, only its number.
//!
//! ## Decisions
//!
//! - A timecode with ':' counts every frame; with ';' it is drop-frame, at 30000/1001 and 60000/1001 only.

use super::FrameRate;

/// Seconds in an hour, frames aside.
const HOUR: u64 = 3600;

/// How labels run at a rate.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Counting {
    /// Frames a labelled second has.
    nominal: u64,
    /// Numbers left out a minute where drop-frame is used; 0 where the rate has none.
    dropped: u64,
}

impl Counting {
    /// How labels run at a whole rate or one of its 1000/1001 kin; none at others.
    fn of(rate: FrameRate) -> Option<Self> {
        let (numerator, denominator) = (u64::from(rate.numerator()), u64::from(rate.denominator()));
        match denominator {
            1 => Some(Self { nominal: numerator, dropped: 0 }),
            1001 if numerator % 1000 == 0 => {
                let nominal = numerator / 1000;
                let dropped = match nominal {
                    30 => 2,
                    60 => 4,
                    _ => 0,
                };
                Some(Self { nominal, dropped })
            }
            _ => None,
        }
    }
}

/// The label of frame `frames` (from 0): drop-frame, with `;`, where the rate has it, else `hh:mm:ss:ff`. Hours go on
/// past 23.
///
/// At a rate that is neither whole nor one of the 1000/1001 kin, frames are counted within each labelled second of the
/// next whole rate.
#[must_use]
pub fn timecode(frames: u64, rate: FrameRate) -> String {
    let Counting { nominal, dropped } = Counting::of(rate)
        .unwrap_or(Counting { nominal: u64::from(rate.numerator().div_ceil(rate.denominator())), dropped: 0 });
    let number = if dropped == 0 {
        frames
    } else {
        let minute = 60 * nominal - dropped;
        let ten_minutes = 10 * minute + dropped;
        let (tens, rest) = (frames / ten_minutes, frames % ten_minutes);
        // The first minute of ten keeps all its numbers.
        let minutes = rest.saturating_sub(dropped) / minute;
        frames + dropped * (9 * tens + minutes)
    };
    let (seconds, frame) = (number / nominal, number % nominal);
    let mark = if dropped == 0 { ':' } else { ';' };
    format!("{:02}:{:02}:{:02}{mark}{frame:02}", seconds / HOUR, seconds / 60 % 60, seconds % 60)
}

/// The label of the frame that is on screen at a time of day, as a clock shows it: drop-frame where the rate has it, and
/// elsewhere whole seconds of the next whole rate. None at a rate that is neither whole nor one of the 1000/1001 kin.
///
/// `second` counts from midnight.
#[must_use]
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, clippy::cast_precision_loss, reason = "a day")]
pub fn clock_timecode(second: f64, rate: FrameRate) -> Option<String> {
    let Counting { nominal, dropped } = Counting::of(rate)?;
    let second = second.rem_euclid(24.0 * 3600.0);
    if dropped > 0 {
        return Some(timecode(
            (second * f64::from(rate.numerator()) / f64::from(rate.denominator())).round() as u64,
            rate,
        ));
    }
    let number = (second * nominal as f64).floor() as u64;
    let (seconds, frame) = (number / nominal, number % nominal);
    Some(format!("{:02}:{:02}:{:02}:{frame:02}", seconds / HOUR, seconds / 60 % 60, seconds % 60))
}

/// The frame (from 0) a label names: `hh:mm:ss:ff`, or `hh:mm:ss;ff` for drop-frame.
///
/// # Errors
/// In one line, what is wrong and what is allowed: not four numbers, a number out of its range, a rate that has no
/// timecode, drop-frame at a rate that has none, or a label drop-frame leaves out.
pub fn parse_timecode(text: &str, rate: FrameRate) -> Result<u64, String> {
    let Some(Counting { nominal, dropped }) = Counting::of(rate) else {
        return Err(format!("timecode needs a whole frame rate or one over 1001; {rate} is neither"));
    };
    let drop_frame = text.contains(';');
    let split = text.rsplit_once(if drop_frame { ';' } else { ':' });
    let fields: Vec<&str> = split.map_or_else(Vec::new, |(clock, frame)| clock.split(':').chain([frame]).collect());
    let numbers: Vec<u64> = fields
        .iter()
        .filter(|field| (1..=3).contains(&field.len()) && field.bytes().all(|byte| byte.is_ascii_digit()))
        .filter_map(|field| field.parse().ok())
        .collect();
    let ([hours, minutes, seconds, frame], 4) = (&numbers[..], fields.len()) else {
        return Err(format!("a timecode is \"hh:mm:ss:ff\"; seen {text:?}"));
    };
    for (name, value, most) in
        [("hours", *hours, 23), ("minutes", *minutes, 59), ("seconds", *seconds, 59), ("frames", *frame, nominal - 1)]
    {
        if value > most {
            return Err(format!(
                "the {name} of a timecode at {rate} run from 00 to {most:02}; seen {value:02} in {text:?}"
            ));
        }
    }
    let number = ((hours * 60 + minutes) * 60 + seconds) * nominal + frame;
    if !drop_frame {
        return Ok(number);
    }
    if dropped == 0 {
        return Err(format!(
            "';' means drop-frame, which only 30000/1001 and 60000/1001 have; at {rate} write \"hh:mm:ss:ff\""
        ));
    }
    let minutes_gone = hours * 60 + minutes;
    if minutes % 10 != 0 && *seconds == 0 && *frame < dropped {
        return Err(format!(
            "drop-frame leaves out {text:?}; the next label is {hours:02}:{minutes:02}:00;{dropped:02}"
        ));
    }
    Ok(number - dropped * (minutes_gone - minutes_gone / 10))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rate(text: &str) -> FrameRate {
        text.parse().unwrap()
    }

    /// The pairs on which Python's `timecode` 1.5.1 and npm's `smpte-timecode` 1.3.6 agree.
    const AT_29_97: [(u64, &str); 10] = [
        (0, "00:00:00;00"),
        (1799, "00:00:59;29"),
        (1800, "00:01:00;02"),
        (17981, "00:09:59;29"),
        (17982, "00:10:00;00"),
        (19781, "00:10:59;29"),
        (19782, "00:11:00;02"),
        (107_892, "01:00:00;00"),
        (2_571_426, "23:50:00;00"),
        (2_589_407, "23:59:59;29"),
    ];
    const AT_59_94: [(u64, &str); 10] = [
        (0, "00:00:00;00"),
        (3599, "00:00:59;59"),
        (3600, "00:01:00;04"),
        (35963, "00:09:59;59"),
        (35964, "00:10:00;00"),
        (39563, "00:10:59;59"),
        (39564, "00:11:00;04"),
        (215_784, "01:00:00;00"),
        (5_142_852, "23:50:00;00"),
        (5_178_815, "23:59:59;59"),
    ];

    #[test]
    fn drop_frame_labels_agree_with_two_published_libraries() {
        for (rate, pairs) in [(rate("30000/1001"), AT_29_97), (rate("60000/1001"), AT_59_94)] {
            for (frames, label) in pairs {
                assert_eq!(timecode(frames, rate), label);
                assert_eq!(parse_timecode(label, rate), Ok(frames));
            }
        }
    }

    #[test]
    fn every_frame_of_a_day_has_one_label_and_gets_its_number_back() {
        for (rate, day) in [(rate("30000/1001"), 2_589_408_u64), (rate("25"), 2_160_000)] {
            for frames in (0..day).step_by(7).chain([day - 1]) {
                assert_eq!(parse_timecode(&timecode(frames, rate), rate), Ok(frames));
            }
        }
    }

    #[test]
    fn labels_that_drop_frame_leaves_out_are_refused_by_naming_the_next() {
        for label in ["00:01:00;00", "00:01:00;01", "23:59:00;01"] {
            let refused = parse_timecode(label, rate("30000/1001")).unwrap_err();
            assert!(refused.contains("leaves out") && refused.contains(";02"), "{refused}");
        }
        assert!(parse_timecode("00:01:00;03", rate("60000/1001")).is_err());
        assert_eq!(parse_timecode("00:10:00;00", rate("30000/1001")), Ok(17982));
    }

    #[test]
    fn a_colon_counts_every_frame_at_a_broadcast_rate_too() {
        assert_eq!(parse_timecode("00:01:00:00", rate("30000/1001")), Ok(1800));
        assert_eq!(parse_timecode("00:00:03:12", rate("24")), Ok(84));
        assert_eq!(parse_timecode("01:00:00:00", rate("24000/1001")), Ok(86_400));
        assert_eq!(timecode(86_400, rate("24000/1001")), "01:00:00:00");
        assert_eq!(timecode(84, rate("24")), "00:00:03:12");
    }

    #[test]
    fn a_clock_is_kept_up_with_at_every_rate() {
        let label = |second: f64, at: &str| clock_timecode(second, rate(at));
        let noon = 12.0 * 3600.0;
        for at in ["24", "25", "24000/1001", "30"] {
            assert_eq!(label(noon, at).as_deref(), Some("12:00:00:00"), "{at}");
        }
        assert_eq!(label(noon + 0.5, "25").as_deref(), Some("12:00:00:12"));
        // Drop-frame is 2.589 frames a day behind the clock at the most (SMPTE ST 12-1).
        assert_eq!(label(noon, "30000/1001").as_deref(), Some("12:00:00;01"));
        assert_eq!(label(24.0 * 3600.0 + 60.0, "25").as_deref(), Some("00:01:00:00"));
        assert_eq!(label(0.0, "5/2"), None);
    }

    #[test]
    fn what_is_no_timecode_is_refused_with_the_range_allowed() {
        for (label, at, said) in [
            ("00:00:00:24", "24", "from 00 to 23"),
            ("00:60:00:00", "24", "from 00 to 59"),
            ("24:00:00:00", "24", "from 00 to 23"),
            ("00:00:00;00", "25", "drop-frame"),
            ("00:00:00;00", "24000/1001", "drop-frame"),
            ("00:00:00:00", "25/2", "neither"),
            ("12:00", "24", "hh:mm:ss:ff"),
            ("", "24", "hh:mm:ss:ff"),
            ("00:00:-1:00", "24", "hh:mm:ss:ff"),
            ("00:00:00:00:00", "24", "hh:mm:ss:ff"),
            ("00;00;00;00", "30000/1001", "hh:mm:ss:ff"),
            ("0x:00:00:00", "24", "hh:mm:ss:ff"),
        ] {
            let refused = parse_timecode(label, rate(at)).unwrap_err();
            assert!(refused.contains(said), "{label} at {at}: {refused}");
        }
    }
}
