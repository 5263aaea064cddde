//! Small grey pictures as trackers read them: halved again and again, and read anywhere in between.

use kurbo::Point;

/// Halvings that are kept beside the picture itself.
const LEVELS: usize = 6;

/// A small picture, in logarithms of its light, so that a change of exposure is a step that is the same everywhere.
#[derive(Debug, Clone)]
pub struct Small {
    /// Its light: the picture, then halves of the one before.
    levels: Vec<Level>,
    /// How much redder and bluer than green it is, the same way; none in grey pictures.
    tints: Option<[Vec<Level>; 2]>,
}

#[derive(Debug, Clone)]
struct Level {
    width: usize,
    height: usize,
    values: Vec<f32>,
}

/// Added to codes before their logarithm is taken: below it noise counts for less.
const FLOOR: f32 = 16.0;

impl Small {
    /// From rows of grey codes, 0 to 255, `stride` apart; `width` and `height` are at least 1 and lie within `samples`.
    #[must_use]
    pub fn grey(samples: &[u8], stride: usize, width: usize, height: usize) -> Self {
        let logs = logs();
        let rows = samples.chunks(stride.max(1)).take(height);
        let values = rows.flat_map(|row| row[..width].iter().map(|code| logs[usize::from(*code)])).collect();
        Self { levels: halves(Level { width, height, values }), tints: None }
    }

    /// From planes of red, green and blue codes, 0 to 255, each as in [`Small::grey`].
    #[must_use]
    pub fn colour(planes: [&[u8]; 3], stride: usize, width: usize, height: usize) -> Self {
        let logs = logs();
        let mut found: [Vec<f32>; 3] = std::array::from_fn(|_| Vec::with_capacity(width * height));
        for row in 0..height {
            let line = planes.map(|plane| &plane[row * stride..][..width]);
            for at in 0..width {
                let [red, green, blue] = line.map(|line| line[at]);
                let light = 0.299 * f32::from(red) + 0.587 * f32::from(green) + 0.114 * f32::from(blue);
                let own = logs[usize::from(green)];
                found[0].push(logs[(light + 0.5) as usize]);
                found[1].push(logs[usize::from(red)] - own);
                found[2].push(logs[usize::from(blue)] - own);
            }
        }
        let [light, red, blue] = found.map(|values| Level { width, height, values });
        Self { levels: halves(light), tints: Some([halves(red), halves(blue)]) }
    }

    /// Samples across.
    #[must_use]
    pub fn width(&self) -> usize {
        self.levels[0].width
    }

    /// Rows of samples.
    #[must_use]
    pub fn height(&self) -> usize {
        self.levels[0].height
    }

    /// A grid of `columns` by `rows` values around a point, `step` samples apart; beyond the picture its edge goes on.
    pub(super) fn grid(&self, centre: Point, step: f64, columns: usize, rows: usize) -> Vec<f32> {
        grid(&self.levels, centre, step, columns, rows)
    }

    /// The same of its tints; none in a grey picture.
    pub(super) fn tints(&self, centre: Point, step: f64, columns: usize, rows: usize) -> Option<[Vec<f32>; 2]> {
        let [red, blue] = self.tints.as_ref()?;
        Some([grid(red, centre, step, columns, rows), grid(blue, centre, step, columns, rows)])
    }
}

fn grid(levels: &[Level], centre: Point, step: f64, columns: usize, rows: usize) -> Vec<f32> {
    let mut level = 0;
    let mut scale = 1.0;
    while level + 1 < levels.len() && step / scale >= 2.0 {
        level += 1;
        scale *= 2.0;
    }
    let of = &levels[level];
    let mut values = Vec::with_capacity(columns * rows);
    let place = |index: usize, count: usize, middle: f64| {
        (middle + (index as f64 - (count as f64 - 1.0) / 2.0) * step) / scale - 0.5
    };
    let across: Vec<(usize, usize, f32)> =
        (0..columns).map(|column| between(place(column, columns, centre.x), of.width)).collect();
    for row in 0..rows {
        let (above, below, down) = between(place(row, rows, centre.y), of.height);
        let (above, below) = (&of.values[above * of.width..], &of.values[below * of.width..]);
        for (left, right, along) in &across {
            let mix = |line: &[f32]| line[*left] + (line[*right] - line[*left]) * along;
            let (above, below) = (mix(above), mix(below));
            values.push(above + (below - above) * down);
        }
    }
    values
}

/// The logarithms of codes.
fn logs() -> Vec<f32> {
    (0..=u8::MAX).map(|code| (f32::from(code) + FLOOR).ln()).collect()
}

/// A picture, and halves of it.
fn halves(whole: Level) -> Vec<Level> {
    let mut levels = vec![whole];
    while levels.len() <= LEVELS {
        let last = &levels[levels.len() - 1];
        if last.width < 4 || last.height < 4 {
            break;
        }
        levels.push(last.halved());
    }
    levels
}

impl Level {
    /// Means of two by two; an odd last row or column is left out.
    fn halved(&self) -> Self {
        let (width, height) = (self.width / 2, self.height / 2);
        let mut values = Vec::with_capacity(width * height);
        for row in 0..height {
            let above = &self.values[2 * row * self.width..][..self.width];
            let below = &self.values[(2 * row + 1) * self.width..][..self.width];
            let pairs = above.chunks_exact(2).zip(below.chunks_exact(2));
            values.extend(pairs.map(|(above, below)| (above[0] + above[1] + below[0] + below[1]) / 4.0));
        }
        Self { width, height, values }
    }
}

/// The samples on both sides of a place, and how far it is from the first to the second.
fn between(place: f64, count: usize) -> (usize, usize, f32) {
    let place = place.clamp(0.0, (count - 1) as f64);
    let first = place as usize;
    (first, (first + 1).min(count - 1), (place - first as f64) as f32)
}
