//! Eases as scripts name them, and the canonical form of `linear { … }`.

use crate::curve::ease::{Ease, Jump};

/// The jump keywords of `steps`, as CSS writes them.
pub(super) const JUMPS: [&str; 6] = ["jump-start", "jump-end", "jump-none", "jump-both", "start", "end"];

/// The ease of a CSS keyword. Values: CSS Easing Functions Level 1, section 2.2 and 2.3.
pub(super) fn keyword(name: &str) -> Option<Ease> {
    let bezier = |x1, y1, x2, y2| Ease::CubicBezier { x1, y1, x2, y2 };
    Some(match name {
        "linear" => Ease::Linear,
        "ease" => bezier(0.25, 0.1, 0.25, 1.0),
        "ease-in" => bezier(0.42, 0.0, 1.0, 1.0),
        "ease-out" => bezier(0.0, 0.0, 0.58, 1.0),
        "ease-in-out" => bezier(0.42, 0.0, 0.58, 1.0),
        "step-start" => Ease::Steps { count: 1, jump: Jump::Start },
        "step-end" => Ease::Steps { count: 1, jump: Jump::End },
        _ => return None,
    })
}

/// The jump of a keyword.
pub(super) fn jump(name: &str) -> Option<Jump> {
    Some(match name {
        "jump-start" | "start" => Jump::Start,
        "jump-end" | "end" => Jump::End,
        "jump-none" => Jump::None,
        "jump-both" => Jump::Both,
        _ => return None,
    })
}

/// A stop of `linear { … }`: an output, and where it is reached if that is said.
pub(super) type Stop = (f64, Option<f64>);

/// The points (input, output) that stops come to: CSS Easing Functions Level 2, "create a linear easing function".
/// Inputs never go back; a missing first is 0, a missing last the larger of 1 and what came before; runs of missing ones
/// are spread evenly. Needs at least two stops.
pub(super) fn canonical(stops: &[Stop]) -> Vec<(f64, f64)> {
    let mut largest = f64::NEG_INFINITY;
    let mut inputs: Vec<Option<f64>> = Vec::with_capacity(stops.len());
    for (index, (_, input)) in stops.iter().enumerate() {
        let known = match input {
            Some(input) => Some(input.max(largest)),
            None if index == 0 => Some(0.0),
            None if index + 1 == stops.len() => Some(largest.max(1.0)),
            None => None,
        };
        if let Some(known) = known {
            largest = known;
        }
        inputs.push(known);
    }
    let mut points: Vec<(f64, f64)> = Vec::with_capacity(stops.len());
    let mut index = 0;
    while index < stops.len() {
        if let Some(input) = inputs[index] {
            points.push((input, stops[index].0));
            index += 1;
            continue;
        }
        let run = inputs[index..].iter().take_while(|input| input.is_none()).count();
        let before = points.last().map_or(0.0, |point| point.0);
        let after = inputs.get(index + run).copied().flatten().unwrap_or(before);
        for step in 0..run {
            #[expect(clippy::cast_precision_loss, reason = "a script's stops are few")]
            let share = (step + 1) as f64 / (run + 1) as f64;
            points.push((before + (after - before) * share, stops[index + step].0));
        }
        index += run;
    }
    points
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_keyword_is_known() {
        for name in Ease::KEYWORDS {
            assert!(keyword(name).is_some(), "{name}");
        }
        assert_eq!(keyword("bounce"), None);
    }

    #[test]
    fn stops_take_the_canonical_form_that_css_gives_them() {
        // CSS Easing Functions Level 2 (Working Draft 2024-08-29), serialisation: linear(0 20%, 0.5 10%, 1) is
        // "0 20%, 0.5 20%, 1 100%".
        let points = canonical(&[(0.0, Some(0.2)), (0.5, Some(0.1)), (1.0, None)]);
        assert_eq!(points, [(0.2, 0.0), (0.2, 0.5), (1.0, 1.0)]);
    }

    #[test]
    fn stops_without_inputs_are_spread_evenly() {
        assert_eq!(canonical(&[(0.0, None), (1.5, None), (1.0, None)]), [(0.0, 0.0), (0.5, 1.5), (1.0, 1.0)]);
        let points = canonical(&[(0.0, Some(0.0)), (1.0, None), (2.0, None), (3.0, Some(0.9)), (4.0, None)]);
        let inputs: Vec<f64> = points.iter().map(|point| point.0).collect();
        for (seen, due) in inputs.iter().zip([0.0, 0.3, 0.6, 0.9, 1.0]) {
            assert!((seen - due).abs() < 1e-12, "{inputs:?}");
        }
    }

    #[test]
    fn a_last_stop_without_input_follows_one_beyond_the_end() {
        assert_eq!(canonical(&[(0.0, None), (1.0, Some(1.5)), (2.0, None)])[2].0, 1.5);
    }
}
