//! Which stills of a source are chosen by their own clock.

use jiff::civil::{Date, Time};
use serde::Serialize;

use crate::diag::Placed;

/// Which stills are chosen by when they were taken, as that is written in them: no zone of time is looked at. All where
/// nothing is said.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct Chosen {
    /// The hours of the day.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub hours: Option<Placed<Hours>>,
    /// The days.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub days: Option<Placed<Days>>,
    /// Of what these leave, the stills nearest to the steps of a clock: seconds from one to the next, above 0.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub only: Option<Placed<f64>>,
}

impl Chosen {
    /// Whether all stills are.
    #[must_use]
    pub fn is_all(&self) -> bool {
        self.hours.is_none() && self.days.is_none() && self.only.is_none()
    }

    /// `hours 07:00 to 18:00, weekdays, the nearest to every 1h`; nothing where all are chosen.
    #[must_use]
    pub fn words(&self) -> String {
        let hours = self.hours.as_ref().map(|hours| hours.value.words()).map(|hours| format!("hours {hours}"));
        let days = self.days.as_ref().map(|days| days.value.words());
        let only = self.only.as_ref().map(|step| format!("the nearest to every {}", span(step.value)));
        hours.into_iter().chain(days).chain(only).collect::<Vec<_>>().join(", ")
    }
}

/// Hours of the day, both ends among them; over midnight where the first is the later one.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Hours {
    /// From when on.
    pub from: Time,
    /// Until when.
    pub to: Time,
}

impl Hours {
    /// Whether a time of the day lies in them.
    #[must_use]
    pub fn hold(&self, time: Time) -> bool {
        if self.from <= self.to { (self.from..=self.to).contains(&time) } else { time >= self.from || time <= self.to }
    }

    /// `07:00 to 18:00`.
    #[must_use]
    pub fn words(&self) -> String {
        let written = |time: Time| {
            let form = if time.second() == 0 && time.subsec_nanosecond() == 0 { "%H:%M" } else { "%H:%M:%S" };
            time.strftime(form).to_string()
        };
        format!("{} to {}", written(self.from), written(self.to))
    }
}

/// Days by the calendar.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Days {
    /// Monday to Friday.
    Weekdays,
    /// Saturday and Sunday.
    Weekends,
    /// These, each from its first day to its last, both among them.
    Dates(Vec<[Date; 2]>),
}

impl Days {
    /// The words for those that have one.
    pub const KEYWORDS: [&'static str; 2] = ["weekdays", "weekends"];

    /// Whether a day is one of them.
    #[must_use]
    pub fn hold(&self, day: Date) -> bool {
        let free = day.weekday().to_monday_zero_offset() >= 5;
        match self {
            Self::Weekdays => !free,
            Self::Weekends => free,
            Self::Dates(ranges) => ranges.iter().any(|[first, last]| (*first..=*last).contains(&day)),
        }
    }

    /// `weekdays`, or `2026-03-02, 2026-03-09 to 2026-03-13`.
    #[must_use]
    pub fn words(&self) -> String {
        const NAMED: usize = 4;
        let one = |[first, last]: &[Date; 2]| {
            if first == last { first.to_string() } else { format!("{first} to {last}") }
        };
        match self {
            Self::Weekdays => "weekdays".into(),
            Self::Weekends => "weekends".into(),
            Self::Dates(ranges) => {
                let mut named: Vec<String> = ranges.iter().take(NAMED).map(one).collect();
                if ranges.len() > NAMED {
                    named.push(format!("{} more", ranges.len() - NAMED));
                }
                named.join(", ")
            }
        }
    }
}

/// A length of time as scripts write it: `1h`, `10min`, `2.5s`.
#[must_use]
pub fn span(seconds: f64) -> String {
    let whole = |unit: f64| (seconds / unit).fract() == 0.0;
    if whole(3600.0) {
        format!("{}h", seconds / 3600.0)
    } else if whole(60.0) {
        format!("{}min", seconds / 60.0)
    } else {
        format!("{}s", crate::diag::number(seconds))
    }
}
