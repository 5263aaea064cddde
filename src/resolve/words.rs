//! How figures, ranges of frames and lists are written in this step's messages.

use crate::diag::Diagnostic;

/// A number as a person writes it: three decimals at most, none that say nothing.
pub(super) fn figure(value: f64) -> String {
    if !value.is_finite() {
        return format!("{value}");
    }
    if value != 0.0 && !(0.001..1e15).contains(&value.abs()) {
        return crate::diag::number(value);
    }
    trimmed(&format!("{value:.3}"))
}

/// As [`figure`], rounded towards zero so that it does not exceed a limit.
pub(super) fn figure_below(value: f64) -> String {
    figure((value * 1000.0 + 1e-6).floor() / 1000.0)
}

/// As [`figure`], rounded away from zero so that it does not fall below a limit.
pub(super) fn figure_above(value: f64) -> String {
    // Nothing is written without a sign.
    figure((value * 1000.0 - 1e-6).ceil() / 1000.0 + 0.0)
}

fn trimmed(text: &str) -> String {
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// `a`, `a and b`, `a, b and c`.
pub(super) fn list(items: &[String]) -> String {
    match items {
        [] => String::new(),
        [one] => one.clone(),
        [firsts @ .., last] => format!("{} and {last}", firsts.join(", ")),
    }
}

/// `one` or `many` by a count, with the count: `1 still`, `2 stills`.
pub(super) fn count(number: usize, noun: &str) -> String {
    if number == 1 { format!("1 {noun}") } else { format!("{number} {noun}s") }
}

/// Adds a mistake that several deliveries share: it is said once.
pub(super) fn once(mistake: Diagnostic, mistakes: &mut Vec<Diagnostic>) {
    if !mistakes.contains(&mistake) {
        mistakes.push(mistake);
    }
}

/// Runs of neighbouring numbers, first and last of each.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct Ranges(Vec<(usize, usize)>);

impl Ranges {
    /// Adds a number no lower than any before it.
    pub(super) fn add(&mut self, number: usize) {
        match self.0.last_mut() {
            Some(last) if number <= last.1 + 1 => last.1 = last.1.max(number),
            _ => self.0.push((number, number)),
        }
    }

    /// Adds all the numbers from one to another.
    pub(super) fn add_run(&mut self, first: usize, last: usize) {
        self.add(first);
        if let Some(run) = self.0.last_mut() {
            run.1 = run.1.max(last);
        }
    }

    /// First and last number of each run.
    pub(super) fn runs(&self) -> &[(usize, usize)] {
        &self.0
    }

    pub(super) fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// How many numbers are in them.
    pub(super) fn len(&self) -> usize {
        self.0.iter().map(|(first, last)| last - first + 1).sum()
    }

    /// The runs, each as `name` writes it.
    pub(super) fn named(&self, name: impl Fn(usize) -> String) -> String {
        const SHOWN: usize = 4;
        let mut runs: Vec<String> = self
            .0
            .iter()
            .take(SHOWN)
            .map(
                |(first, last)| {
                    if first == last { name(*first) } else { format!("{} to {}", name(*first), name(*last)) }
                },
            )
            .collect();
        if self.0.len() > SHOWN {
            let more = self.0.len() - SHOWN;
            runs.push(format!("{more} more {}", if more == 1 { "stretch" } else { "stretches" }));
        }
        list(&runs)
    }

    /// `frame 12`, `frames 12 to 48 and 60`.
    pub(super) fn frames(&self) -> String {
        let noun = if self.len() == 1 { "frame" } else { "frames" };
        format!("{noun} {}", self.named(|frame| frame.to_string()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn figures_carry_no_decimals_that_say_nothing() {
        assert_eq!([figure(20.0), figure(0.125), figure(1.0 / 3.0), figure(0.0)], ["20", "0.125", "0.333", "0"]);
        assert_eq!((figure_below(1.0 / 3.0), figure_above(1.0 / 3.0)), ("0.333".into(), "0.334".into()));
        assert_eq!((figure(1e300), figure(1e-9)), ("1e300".into(), "1e-9".into()));
    }

    #[test]
    fn neighbouring_frames_are_named_as_one_range() {
        let mut ranges = Ranges::default();
        for frame in [3, 4, 5, 9, 12, 13] {
            ranges.add(frame);
        }
        assert_eq!(ranges.frames(), "frames 3 to 5, 9 and 12 to 13");
        for frame in [20, 30, 40] {
            ranges.add(frame);
        }
        assert_eq!(ranges.frames(), "frames 3 to 5, 9, 12 to 13, 20 and 2 more stretches");
    }
}
