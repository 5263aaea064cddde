//! Links between pairs of stills to one stand a still.
//!
//! What links say is settled by weighted least squares over all of them, solved by conjugate gradients: first the
//! turns, then the shifts, each link's own turn given. Links that contradict the rest lose their weight (Geman and
//! McClure's function, its scale brought down step by step), so that one still in which most of the picture moved pulls
//! no other along.

use kurbo::Vec2;

use super::Pose;
use crate::geom::turned;

/// Scales that contradictions are judged by, one after the other, in steps of the small pictures.
const SCALES: [f64; 4] = [4.0, 1.0, 0.3, 0.15];
/// A link that contradicts the settled stands by more, in the same unit, is not believed.
const BELIEVED: f64 = 0.6;

/// A link as it was voted: the later still against the earlier one.
#[derive(Debug, Clone, Copy)]
pub(super) struct Tie {
    pub(super) earlier: usize,
    pub(super) later: usize,
    pub(super) stand: Pose,
    /// How much it counts, without a unit.
    pub(super) weight: f64,
}

/// Stills that hang together.
#[derive(Debug, Clone)]
pub(super) struct Group {
    /// Their slots, in order.
    pub(super) slots: Vec<usize>,
    /// How each stands against the first, in pixels and degrees.
    pub(super) stands: Vec<Pose>,
    /// Whether any link that leads to it agrees with the rest.
    pub(super) sure: Vec<bool>,
}

/// Settles `count` slots' ties. `lever` is the pixels that a still's corner goes by for a degree, `step` pixels of the
/// still to a sample.
pub(super) fn adjust(count: usize, ties: &[Tie], lever: f64, step: f64) -> Vec<Group> {
    let roots = roots(count, ties);
    let mut turns = Unknowns::new(count, 1);
    let mut shifts = Unknowns::new(count, 2);
    let mut weights: Vec<f64> = ties.iter().map(|tie| tie.weight).collect();
    let mut apart = vec![0.0; ties.len()];
    for scale in std::iter::once(f64::INFINITY).chain(SCALES.map(|scale| scale * step)) {
        for ((weight, tie), apart) in weights.iter_mut().zip(ties).zip(&apart) {
            *weight = tie.weight / (1.0 + (*apart / scale).powi(2)).powi(2);
        }
        turns.solve(&roots, ties, &weights, |tie| vec![tie.stand.turn]);
        shifts.solve(&roots, ties, &weights, |tie| vec![tie.stand.x, tie.stand.y]);
        for (apart, tie) in apart.iter_mut().zip(ties) {
            let turn = turns.apart(tie, &[tie.stand.turn]);
            let shift = shifts.apart(tie, &[tie.stand.x, tie.stand.y]);
            *apart = turn[0].abs() * lever + shift[0].hypot(shift[1]);
        }
    }
    let mut sure = vec![false; count];
    for (tie, apart) in ties.iter().zip(&apart) {
        let agrees = *apart < BELIEVED * step;
        for slot in [tie.earlier, tie.later] {
            sure[slot] |= agrees;
        }
    }
    let mut groups: Vec<Group> = Vec::new();
    let mut of_root: Vec<Option<usize>> = vec![None; count];
    for slot in 0..count {
        let Some(root) = roots[slot] else { continue };
        let at = *of_root[root].get_or_insert(groups.len());
        if at == groups.len() {
            groups.push(Group { slots: Vec::new(), stands: Vec::new(), sure: Vec::new() });
        }
        groups[at].slots.push(slot);
        groups[at].sure.push(sure[slot]);
        let stand = Pose { x: shifts.values[2 * slot], y: shifts.values[2 * slot + 1], turn: turns.values[slot] };
        groups[at].stands.push(stand);
    }
    groups
}

/// By slot, the first slot that it hangs together with; none where no tie leads to it.
fn roots(count: usize, ties: &[Tie]) -> Vec<Option<usize>> {
    let mut above: Vec<usize> = (0..count).collect();
    fn top(above: &mut [usize], mut slot: usize) -> usize {
        while above[slot] != slot {
            above[slot] = above[above[slot]];
            slot = above[slot];
        }
        slot
    }
    let mut tied = vec![false; count];
    for tie in ties {
        let (one, other) = (top(&mut above, tie.earlier), top(&mut above, tie.later));
        above[one.max(other)] = one.min(other);
        (tied[tie.earlier], tied[tie.later]) = (true, true);
    }
    (0..count).map(|slot| tied[slot].then(|| top(&mut above, slot))).collect()
}

/// Unknowns of one kind: turns, or shifts of two parts.
struct Unknowns {
    parts: usize,
    values: Vec<f64>,
}

impl Unknowns {
    fn new(count: usize, parts: usize) -> Self {
        Self { parts, values: vec![0.0; count * parts] }
    }

    /// A tie's later still as its earlier one would have it, taken from the later one's own.
    fn difference(&self, values: &[f64], tie: &Tie) -> Vec<f64> {
        let of = |slot: usize| &values[slot * self.parts..(slot + 1) * self.parts];
        let (earlier, later) = (of(tie.earlier), of(tie.later));
        match *earlier {
            [x, y] => {
                let carried = turned(Vec2::new(x, y), tie.stand.turn);
                vec![later[0] - carried.x, later[1] - carried.y]
            }
            _ => vec![later[0] - earlier[0]],
        }
    }

    fn apart(&self, tie: &Tie, due: &[f64]) -> Vec<f64> {
        self.difference(&self.values, tie).iter().zip(due).map(|(is, due)| is - due).collect()
    }

    /// Adds a tie's `force` to both its ends, as the transposed difference does.
    fn pull(&self, sums: &mut [f64], tie: &Tie, force: &[f64]) {
        let carried = match *force {
            [x, y] => {
                let back = turned(Vec2::new(x, y), -tie.stand.turn);
                [back.x, back.y]
            }
            _ => [force[0], 0.0],
        };
        for part in 0..self.parts {
            sums[tie.later * self.parts + part] += force[part];
            sums[tie.earlier * self.parts + part] -= carried[part];
        }
    }

    /// Least squares over the ties; the first still of each group is where it is.
    fn solve(&mut self, roots: &[Option<usize>], ties: &[Tie], weights: &[f64], due: impl Fn(&Tie) -> Vec<f64>) {
        let parts = self.parts;
        let fixed = |sums: &mut [f64]| {
            for (slot, root) in roots.iter().enumerate() {
                if root.is_none_or(|root| root == slot) {
                    sums[slot * parts..(slot + 1) * parts].fill(0.0);
                }
            }
        };
        let mut diagonal = vec![1e-12; self.values.len()];
        let mut left = vec![0.0; self.values.len()];
        for (tie, weight) in ties.iter().zip(weights) {
            let apart = self.apart(tie, &due(tie));
            self.pull(&mut left, tie, &apart.iter().map(|apart| -weight * apart).collect::<Vec<f64>>());
            for slot in [tie.earlier, tie.later] {
                diagonal[slot * parts..(slot + 1) * parts].iter_mut().for_each(|sum| *sum += weight);
            }
        }
        fixed(&mut left);
        let eased = |left: &[f64]| -> Vec<f64> { left.iter().zip(&diagonal).map(|(left, by)| left / by).collect() };
        let dot = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| a * b).sum::<f64>();
        let mut way = eased(&left);
        let mut size = dot(&left, &way);
        let enough = size * 1e-16;
        for _ in 0..2000 {
            if size <= enough.max(1e-24) {
                break;
            }
            let mut pulled = vec![0.0; left.len()];
            for (tie, weight) in ties.iter().zip(weights) {
                let apart = self.difference(&way, tie);
                self.pull(&mut pulled, tie, &apart.iter().map(|apart| weight * apart).collect::<Vec<f64>>());
            }
            fixed(&mut pulled);
            let far = size / dot(&way, &pulled).max(f64::MIN_POSITIVE);
            for at in 0..left.len() {
                self.values[at] += far * way[at];
                left[at] -= far * pulled[at];
            }
            let easier = eased(&left);
            let next = dot(&left, &easier);
            let on = next / size;
            size = next;
            for (way, easier) in way.iter_mut().zip(easier) {
                *way = easier + on * *way;
            }
        }
    }
}
