//! When frames are shown, held against an exact rate.

use super::look::Place;

/// How times are not those of an even rate from 0 on.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Uneven {
    /// All times are as far too late as the first: so many seconds' worth of frames, times 1000.
    Late {
        /// Thousandths of a frame.
        thousandths: i64,
    },
    /// Frames are shown at times of frames, and at some of these nothing comes.
    Gaps {
        /// The first frame due at whose time none comes.
        first: u64,
        /// How many there are.
        count: u64,
    },
    /// A frame is shown at another time.
    Varies {
        /// Which.
        place: u64,
        /// When it is shown, in microseconds.
        shown: i64,
        /// When it is due.
        due: i64,
    },
    /// A frame comes without a time.
    Untold {
        /// Which.
        place: u64,
    },
}

/// Says how times are uneven, at a rate and with ticks of so many seconds, each as numerator and denominator. Where a
/// frame is no whole number of ticks, each has to be less than a tick from its time.
pub(super) fn uneven(places: &[Place], rate: (u32, u32), time_base: (u32, u32)) -> Option<Uneven> {
    // In units of a second / (rate's numerator × base's denominator): a tick is `tick` of them, a frame `frame`.
    let tick = i128::from(time_base.0) * i128::from(rate.0);
    let frame = i128::from(rate.1) * i128::from(time_base.1);
    let slack = if frame % tick == 0 { 0 } else { tick - 1 };
    let mut times = Vec::with_capacity(places.len());
    for (index, place) in (0..).zip(places) {
        match place.shown {
            Some(shown) => times.push(i128::from(shown) * tick),
            None => return Some(Uneven::Untold { place: index }),
        }
    }
    let due = |index: usize| frame * index as i128;
    let off = (0..times.len()).find(|index| (times[*index] - due(*index)).abs() > slack)?;
    let first = times[0];
    let narrow = |wide: i128| i64::try_from(wide).unwrap_or(i64::MAX);
    if off == 0 && times.iter().enumerate().all(|(index, time)| (time - first - due(index)).abs() <= 2 * slack) {
        return Some(Uneven::Late { thousandths: narrow(1000 * first / frame) });
    }
    let on_grid = times.iter().map(|time| ((time + frame / 2).div_euclid(frame), time));
    let grid: Option<Vec<i128>> =
        on_grid.map(|(index, time)| ((time - index * frame).abs() <= slack).then_some(index)).collect();
    if let Some(grid) =
        grid.filter(|grid| 2 * slack < frame && grid.windows(2).all(|pair| pair[0] < pair[1]) && grid[0] >= 0)
    {
        let last = *grid.last().unwrap_or(&0);
        let count = u64::try_from(last + 1).unwrap_or(u64::MAX).saturating_sub(grid.len() as u64);
        return Some(Uneven::Gaps { first: off as u64, count });
    }
    let micros = |time: i128| narrow(time * 1_000_000 / (i128::from(rate.0) * i128::from(time_base.1)));
    Some(Uneven::Varies { place: off as u64, shown: micros(times[off]), due: micros(due(off)) })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn told(ticks: &[i64], rate: (u32, u32), time_base: (u32, u32)) -> Option<Uneven> {
        let places: Vec<Place> = ticks.iter().map(|tick| Place::at(Some(*tick))).collect();
        uneven(&places, rate, time_base)
    }

    #[test]
    fn even_times_are_even_to_the_tick_or_to_what_the_ticks_can_tell() {
        assert_eq!(told(&[0, 1000, 2000], (24, 1), (1, 24_000)), None);
        assert_eq!(told(&[0, 1001, 2002], (30_000, 1001), (1, 30_000)), None);
        assert_eq!(told(&[0, 42, 83, 125], (24, 1), (1, 1000)), None);
        assert_eq!(told(&[], (24, 1), (1, 1000)), None);
    }

    #[test]
    fn each_kind_of_unevenness_has_its_name() {
        let at_24 = |ticks: &[i64]| told(ticks, (24, 1), (1, 24_000));
        assert_eq!(at_24(&[1000, 2000, 3000]), Some(Uneven::Late { thousandths: 1000 }));
        assert_eq!(at_24(&[0, 1000, 3000, 4000]), Some(Uneven::Gaps { first: 2, count: 1 }));
        assert_eq!(at_24(&[0, 1000, 2001]), Some(Uneven::Varies { place: 2, shown: 83_375, due: 83_333 }));
        assert_eq!(at_24(&[0, 500, 1000]), Some(Uneven::Varies { place: 1, shown: 20_833, due: 41_666 }));
        assert_eq!(
            told(&[0, 44, 83], (24, 1), (1, 1000)),
            Some(Uneven::Varies { place: 1, shown: 44_000, due: 41_666 })
        );
        assert_eq!(uneven(&[Place::at(None)], (24, 1), (1, 24_000)), Some(Uneven::Untold { place: 0 }));
        // Hostile ticks do no harm.
        assert!(at_24(&[i64::MIN + 1, i64::MAX]).is_some());
    }
}
