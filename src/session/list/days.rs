//! On which days stills were taken, by as few headers as it takes.

use std::collections::BTreeMap;

use jiff::civil::Date;

/// Stills that are looked at in any case, evenly over the shoot.
const EVENLY: usize = 16;
/// Headers that are read of one shoot, at most.
pub(super) const MOST_READ: usize = 3000;

/// Stills by day.
#[derive(Debug, Default, PartialEq)]
pub(super) struct Days {
    /// How many were taken on each day.
    pub(super) dated: BTreeMap<Date, usize>,
    /// How many tell no day.
    pub(super) undated: usize,
    /// Whether so many days follow one another that not all were looked for.
    pub(super) is_cut_short: bool,
}

/// The days of `count` stills in order; `day` reads one's, and is asked once for each.
pub(super) fn days(count: usize, day: impl FnMut(usize) -> Option<Date>) -> Days {
    let mut halving = Halving { day, known: BTreeMap::new(), turns: Vec::new(), is_cut_short: false };
    if count == 0 {
        return Days::default();
    }
    let places: Vec<usize> = (0..=EVENLY).map(|part| (count - 1) * part / EVENLY).collect();
    for pair in places.windows(2).filter(|pair| pair[0] < pair[1]) {
        halving.between(pair[0], pair[1]);
    }
    let mut days = Days { is_cut_short: halving.is_cut_short, ..Days::default() };
    let mut turns = halving.turns.clone();
    turns.push(count);
    let mut from = 0;
    for until in turns {
        match halving.of(from) {
            Some(date) => *days.dated.entry(date).or_default() += until - from,
            None => days.undated += until - from,
        }
        from = until;
    }
    days
}

struct Halving<F> {
    day: F,
    known: BTreeMap<usize, Option<Date>>,
    /// Where another day begins.
    turns: Vec<usize>,
    is_cut_short: bool,
}

impl<F: FnMut(usize) -> Option<Date>> Halving<F> {
    fn of(&mut self, place: usize) -> Option<Date> {
        if let Some(known) = self.known.get(&place) {
            return *known;
        }
        let day = (self.day)(place);
        self.known.insert(place, day);
        day
    }

    fn between(&mut self, from: usize, to: usize) {
        if self.of(from) == self.of(to) {
            return;
        }
        if to - from == 1 {
            return self.turns.push(to);
        }
        if self.known.len() >= MOST_READ {
            self.is_cut_short = true;
            return self.turns.push(to);
        }
        let middle = usize::midpoint(from, to);
        self.between(from, middle);
        self.between(middle, to);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn date(day: usize) -> Date {
        jiff::civil::date(2026, 5, 1).saturating_add(jiff::Span::new().days(i64::try_from(day).unwrap()))
    }

    #[test]
    fn days_are_counted_as_if_every_header_had_been_read() {
        for (count, a_day) in [(1, 1), (2, 1), (17, 3), (100, 100), (100_000, 2880), (1000, 7)] {
            let mut read = 0;
            let seen = days(count, |still| {
                read += 1;
                Some(date(still / a_day))
            });
            let mut due: BTreeMap<Date, usize> = BTreeMap::new();
            (0..count).for_each(|still| *due.entry(date(still / a_day)).or_default() += 1);
            assert_eq!(seen, Days { dated: due, undated: 0, is_cut_short: false }, "{count} stills, {a_day} a day");
            assert!(read <= 20 * (count / a_day + 1) + 17, "{read} of {count} headers were read");
        }
        assert_eq!(days(0, |_| None), Days::default());
    }

    #[test]
    fn stills_without_a_day_are_counted_and_no_more_headers_are_read_than_allowed() {
        let seen = days(50, |still| (still < 20).then(|| date(0)));
        assert_eq!((seen.dated[&date(0)], seen.undated), (20, 30));
        let mut read = 0;
        let seen = days(100_000, |still| {
            read += 1;
            Some(date(still % 9000))
        });
        assert!(seen.is_cut_short && read < MOST_READ + 100, "{read}");
        assert_eq!(seen.dated.values().sum::<usize>(), 100_000);
    }
}
