//! From values to pixels along one axis, and the round values to write beside it.

/// An axis: values from `from` to `to` fall on pixels from `first` to `last`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Scale {
    /// The value at `first`.
    pub(crate) from: f64,
    /// The value at `last`.
    pub(crate) to: f64,
    /// Pixel of `from`.
    pub(crate) first: f64,
    /// Pixel of `to`.
    pub(crate) last: f64,
    /// Whether equal ratios, and not equal differences, are equal lengths.
    pub(crate) ratio: bool,
}

impl Scale {
    /// Where a value lies.
    pub(crate) fn at(self, value: f64) -> f64 {
        let (from, to, value) =
            if self.ratio { (self.from.ln(), self.to.ln(), value.ln()) } else { (self.from, self.to, value) };
        let part = if to == from { 0.5 } else { (value - from) / (to - from) };
        self.first + (self.last - self.first) * part
    }

    /// Pixels between both ends.
    pub(crate) fn length(self) -> f64 {
        (self.last - self.first).abs()
    }

    /// At most `most` round values on it, evenly apart.
    pub(crate) fn ticks(self, most: f64) -> Vec<f64> {
        let (low, high) = (self.from.min(self.to), self.from.max(self.to));
        if self.ratio && high / low > 3.0 {
            let steps: &[f64] = match high / low {
                ratio if ratio < 30.0 => &[1.0, 1.5, 2.0, 3.0, 5.0, 7.0],
                ratio if ratio < 300.0 => &[1.0, 3.0],
                _ => &[1.0],
            };
            let mut ticks: Vec<f64> = Vec::new();
            let mut decade = 10_f64.powf(low.log10().floor());
            while decade <= high {
                ticks.extend(steps.iter().map(|step| step * decade).filter(|tick| (low..=high).contains(tick)));
                decade *= 10.0;
            }
            let apart = self.length() / most;
            let mut kept: Vec<f64> = Vec::new();
            for tick in ticks {
                if kept.last().is_none_or(|last| (self.at(*last) - self.at(tick)).abs() >= apart * 0.7) {
                    kept.push(tick);
                }
            }
            return kept;
        }
        let step = round_step((high - low) / most);
        let first = (low / step - 1e-9).ceil();
        let mut ticks = Vec::new();
        let mut number = first;
        while number * step <= high + 1e-9 * step && ticks.len() < 1000 {
            ticks.push(number * step);
            number += 1.0;
        }
        ticks
    }
}

/// The next of 1, 2, 5 and their tenfolds that is no smaller.
pub(crate) fn round_step(least: f64) -> f64 {
    if least.is_nan() || least <= 0.0 || least.is_infinite() {
        return 1.0;
    }
    let decade = 10_f64.powf(least.log10().floor());
    let step = [1.0, 2.0, 5.0, 10.0].into_iter().find(|step| step * decade >= least * (1.0 - 1e-9));
    step.unwrap_or(10.0) * decade
}

/// The next round number of seconds that is no smaller: as [`round_step`] below a minute, parts of hours above.
pub(crate) fn round_seconds(least: f64) -> f64 {
    let long = [60.0, 120.0, 300.0, 600.0, 1200.0, 1800.0, 3600.0, 7200.0, 14_400.0, 21_600.0];
    if least <= 0.5 * 60.0 {
        let step = round_step(least);
        return if step > 20.0 { 30.0 } else { step };
    }
    long.into_iter().find(|step| *step >= least).unwrap_or(86_400.0)
}

/// A figure with as many decimals as neighbours `step` apart need.
pub(crate) fn figure(value: f64, step: f64) -> String {
    let decimals = (-step.log10()).ceil().clamp(0.0, 6.0);
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "0 to 6")]
    let text = format!("{value:.*}", decimals as usize);
    let text = if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text };
    if text == "-0" { "0".into() } else { text }
}

/// From one local time to another, in minutes: the date of the second only where it is another.
pub(crate) fn span(from: jiff::civil::DateTime, to: jiff::civil::DateTime) -> String {
    let (from_text, to_text) = (from.strftime("%Y-%m-%d %H:%M").to_string(), to.strftime("%Y-%m-%d %H:%M").to_string());
    match from.date() == to.date() {
        true if from_text == to_text => from_text,
        true => format!("{from_text} to {}", to.strftime("%H:%M")),
        false => format!("{from_text} to {to_text}"),
    }
}

/// A figure as a person writes it: four places that say something, no more.
pub(crate) fn short(value: f64) -> String {
    if !value.is_finite() {
        return "–".into();
    }
    let magnitude = value.abs().max(1e-9).log10().floor();
    figure(value, 10_f64.powf((magnitude - 3.0).max(-3.0)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_are_round_and_inside() {
        let scale = Scale { from: 0.0, to: 20.0, first: 0.0, last: 500.0, ratio: false };
        assert_eq!(scale.ticks(5.0), [0.0, 5.0, 10.0, 15.0, 20.0]);
        let scale = Scale { from: 0.97, to: 1.31, first: 100.0, last: 0.0, ratio: true };
        assert!(scale.ticks(4.0).iter().all(|tick| (0.97..=1.31).contains(tick)));
        let scale = Scale { from: 1.0, to: 40.0, first: 100.0, last: 0.0, ratio: true };
        assert_eq!(scale.ticks(4.0), [1.0, 3.0, 10.0, 30.0]);
    }

    #[test]
    fn a_scale_of_ratios_puts_equal_ratios_equally_far_apart() {
        let scale = Scale { from: 1.0, to: 4.0, first: 100.0, last: 0.0, ratio: true };
        assert!((scale.at(2.0) - 50.0).abs() < 1e-12);
    }

    #[test]
    fn a_span_of_time_says_each_part_once() {
        let at = |day, hour, second| jiff::civil::date(2031, 5, day).at(hour, 30, second, 0);
        assert_eq!(span(at(4, 6, 0), at(4, 6, 20)), "2031-05-04 06:30");
        assert_eq!(span(at(4, 6, 0), at(4, 9, 0)), "2031-05-04 06:30 to 09:30");
        assert_eq!(span(at(4, 6, 0), at(5, 9, 0)), "2031-05-04 06:30 to 2031-05-05 09:30");
    }

    #[test]
    fn figures_say_as_much_as_they_must() {
        assert_eq!(
            [figure(0.5, 0.1), figure(2.0, 0.5), figure(-0.0, 1.0), figure(1200.0, 100.0)],
            ["0.5", "2", "0", "1200"]
        );
        assert_eq!(
            [short(11.428_57), short(1.25), short(0.012_345), short(1234.6)],
            ["11.43", "1.25", "0.012", "1235"]
        );
        assert_eq!([round_seconds(0.3), round_seconds(22.0), round_seconds(70.0)], [0.5, 30.0, 120.0]);
    }
}
