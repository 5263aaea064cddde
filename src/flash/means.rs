//! Means of cells in linear light, of a frame's samples.
//!
//! ## Decisions
//!
//! - Samples of a unit, a part of a cell (2 × 2 pixels of a frame of 1920 × 1080, 4 of which are a cell), are averaged as
//!   they are coded, and only then converted: a quarter of the work. Detail of single pixels comes out a little darker
//!   for it; patches of one colour do not, nor does what a cell is made of.

use super::grid::Grid;
use crate::picture::{Chroma, Frame, Pixels};

/// What samples mean.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Meaning {
    /// R', G', B', or grey alone, of full range.
    Rgb,
    /// Y', Cb, Cr.
    Video {
        /// Weights of R' and B' in Y'.
        weights: (f64, f64),
        /// Whether codes use the full range, or that of video (ITU-R BT.709-6, 4).
        full: bool,
    },
}

impl Meaning {
    /// What our own deliveries hold: ITU-R BT.709, limited range.
    pub const DELIVERED: Self = Self::Video { weights: (0.2126, 0.0722), full: false };
}

/// Rows of samples.
pub trait Source {
    /// Bits of a sample.
    fn depth(&self) -> u32;
    /// One component (grey) or three.
    fn components(&self) -> usize;
    /// Luma samples from one sample of a component to the next, across and down.
    fn spacing(&self, component: usize) -> (u32, u32);
    /// Adds a row of a component to the sums of its columns, which are none before the first row.
    fn add(&self, component: usize, row: u32, sums: &mut Vec<u32>);
    /// A row of a component, where its samples are bytes that lie side by side.
    fn bytes(&self, component: usize, row: u32) -> Option<&[u8]>;
}

/// Adds samples to the sums of their columns.
pub(super) fn add_to(sums: &mut Vec<u32>, samples: impl Iterator<Item = u32>) {
    if sums.is_empty() {
        sums.extend(samples);
    } else {
        sums.iter_mut().zip(samples).for_each(|(sum, sample)| *sum += sample);
    }
}

impl Source for Frame {
    fn depth(&self) -> u32 {
        match &self.pixels {
            Pixels::Yuv420 { .. } | Pixels::Rgb8(_) => 8,
            Pixels::Yuv10 { .. } => 10,
            Pixels::Rgb16(_) | Pixels::Planes(_) => 16,
        }
    }

    fn components(&self) -> usize {
        if matches!(self.pixels, Pixels::Planes(_)) { 0 } else { 3 }
    }

    fn spacing(&self, component: usize) -> (u32, u32) {
        match &self.pixels {
            _ if component == 0 => (1, 1),
            Pixels::Yuv420 { .. } => Chroma::Quarter.spacing(),
            Pixels::Yuv10 { chroma, .. } => chroma.spacing(),
            _ => (1, 1),
        }
    }

    fn add(&self, component: usize, row: u32, sums: &mut Vec<u32>) {
        let width = self.size.width.div_ceil(self.spacing(component).0) as usize;
        let from = row as usize * width;
        match &self.pixels {
            Pixels::Yuv420 { y, cb, cr } => {
                add_to(sums, [y, cb, cr][component][from..from + width].iter().map(|code| u32::from(*code)));
            }
            Pixels::Yuv10 { y, cb, cr, .. } => {
                add_to(sums, [y, cb, cr][component][from..from + width].iter().map(|code| u32::from(*code)));
            }
            Pixels::Rgb8(samples) => {
                let pixels = samples[3 * from..3 * (from + width)].as_chunks::<3>().0;
                add_to(sums, pixels.iter().map(|rgb| u32::from(rgb[component])));
            }
            Pixels::Rgb16(samples) => {
                let pixels = samples[3 * from..3 * (from + width)].as_chunks::<3>().0;
                add_to(sums, pixels.iter().map(|rgb| u32::from(rgb[component])));
            }
            Pixels::Planes(_) => (),
        }
    }

    fn bytes(&self, component: usize, row: u32) -> Option<&[u8]> {
        let Pixels::Yuv420 { y, cb, cr } = &self.pixels else { return None };
        let width = self.size.width.div_ceil(self.spacing(component).0) as usize;
        let from = row as usize * width;
        [y, cb, cr][component].get(from..from + width)
    }
}

/// A frame as means of its cells, row by row from the upper left one.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Cells {
    /// Linear red of sRGB's primaries, 0 to 1.
    pub red: Vec<f32>,
    /// Green.
    pub green: Vec<f32>,
    /// Blue.
    pub blue: Vec<f32>,
    /// Relative luminance, 0 to 1 (WCAG 2.2).
    pub luminance: Vec<f32>,
    /// Light of a display in cd/m²; empty where its white is not known.
    pub display: Vec<f32>,
}

/// Weights of linear R, G, B in relative luminance (WCAG 2.2).
const LUMINANCE: [f32; 3] = [0.2126, 0.7152, 0.0722];

impl Cells {
    /// Of linear R, G, B from 0 to 1; without the light of a display.
    #[must_use]
    pub fn of_linear(rgb: &[[f32; 3]]) -> Self {
        let plane = |index: usize| rgb.iter().map(|rgb| rgb[index]).collect();
        let mut cells = Self { red: plane(0), green: plane(1), blue: plane(2), ..Self::default() };
        cells.weigh();
        cells
    }

    fn reset(&mut self, count: usize, display: bool) {
        for plane in [&mut self.red, &mut self.green, &mut self.blue] {
            plane.clear();
            plane.resize(count, 0.0);
        }
        self.display.clear();
        self.display.resize(if display { count } else { 0 }, 0.0);
    }

    fn weigh(&mut self) {
        self.luminance.clear();
        let planes = self.red.iter().zip(&self.green).zip(&self.blue);
        let [of_red, of_green, of_blue] = LUMINANCE;
        self.luminance.extend(planes.map(|((red, green), blue)| of_red * red + of_green * green + of_blue * blue));
    }
}

/// Steps of the tables of light: every code of 8 bits is one of them.
const STEPS: usize = 255 * 16;

/// Entries of a table of light: one that is looked up by 12 bits needs no check.
const TABLE: usize = 1 << 12;
const _: () = assert!(STEPS < TABLE);

type Table = Box<[f32; TABLE]>;

/// Averages the samples of frames.
#[derive(Debug)]
pub struct Averager {
    grid: Grid,
    /// Linear light by R', G' or B'; and light of a display, with its white.
    linear: Table,
    display: Option<(Table, f32)>,
    /// By sample of a row, the sum of its column.
    sums: Vec<u32>,
    /// A row of units, by component; and its steps in the tables.
    units: [Vec<f32>; 3],
    steps: [Vec<u32>; 3],
    cells: Cells,
    /// By column of cells, units that are in a cell of a row of units.
    columns: Vec<f32>,
}

/// Linear light of an sRGB value (WCAG 2.2, relative luminance; IEC 61966-2-1).
fn linear(value: f64) -> f64 {
    if value <= 0.04045 { value / 12.92 } else { ((value + 0.055) / 1.055).powf(2.4) }
}

/// Light of a display by a value, with black at 0 and white at 1 (ITU-R BT.1886).
fn displayed(value: f64) -> f64 {
    value.powf(2.4)
}

#[expect(clippy::cast_possible_truncation, reason = "single precision is what means have")]
fn table(light: fn(f64) -> f64) -> Table {
    let mut table = Box::new([0.0; TABLE]);
    table.iter_mut().enumerate().for_each(|(step, entry)| *entry = light(step.min(STEPS) as f64 / STEPS as f64) as f32);
    table
}

impl Averager {
    /// For frames cut like this; `white` is a display's white in cd/m².
    #[must_use]
    pub fn new(grid: Grid, white: Option<f64>) -> Self {
        #[expect(clippy::cast_possible_truncation, reason = "single precision is what means have")]
        let display = white.map(|white| (table(displayed), white as f32));
        let mut columns = vec![0.0; grid.across];
        let per_cell = grid.cell / grid.unit;
        for unit in 0..grid.size.width.div_ceil(grid.unit) {
            columns[(unit / per_cell) as usize] += 1.0;
        }
        Self {
            grid,
            linear: table(linear),
            display,
            sums: Vec::new(),
            units: Default::default(),
            steps: Default::default(),
            cells: Cells::default(),
            columns,
        }
    }

    /// The means of a frame, whose size is the grid's.
    pub fn see(&mut self, source: &impl Source, meaning: Meaning) -> &Cells {
        let Grid { size, cell, unit, across, .. } = self.grid;
        self.cells.reset(self.grid.cells(), self.display.is_some());
        let (per_cell, rows) = (cell / unit, size.height.div_ceil(unit));
        let codes = Codes::of(meaning, source.depth());
        for row in 0..rows {
            for component in 0..source.components().min(3) {
                self.average(source, component, row);
            }
            codes.steps(&self.units, source.components() == 1, &mut self.steps);
            let at = (row / per_cell) as usize * across;
            self.add(at, per_cell as usize);
            if row + 1 == rows || (row + 1).is_multiple_of(per_cell) {
                #[expect(clippy::cast_precision_loss, reason = "a few rows")]
                let deep = (row % per_cell + 1) as f32;
                self.divide(at, deep);
            }
        }
        self.cells.weigh();
        &self.cells
    }

    /// Averages a component over a row of units.
    fn average(&mut self, source: &impl Source, component: usize, row: u32) {
        let Grid { size, unit, .. } = self.grid;
        let (across, down) = source.spacing(component);
        let first = row * unit / down;
        let last = ((row + 1) * unit / down).clamp(first + 1, size.height.div_ceil(down).max(first + 1));
        let count = size.width.div_ceil(unit) as usize;
        if quick(source, (component, first, last), (unit, across, count), &mut self.units[component]) {
            return;
        }
        self.sums.clear();
        (first..last).for_each(|line| source.add(component, line, &mut self.sums));
        let means = &mut self.units[component];
        means.clear();
        #[expect(clippy::cast_precision_loss, reason = "sums of a few codes of 16 bits")]
        let mean = |sum: u32, of: u32| sum as f32 / of as f32;
        let deep = last - first;
        if across > unit {
            let apart = (across / unit) as usize;
            means.extend((0..count).map(|at| mean(self.sums[at / apart], deep)));
            return;
        }
        match (unit / across) as usize {
            1 => means.extend(self.sums.iter().map(|sum| mean(*sum, deep))),
            2 if self.sums.len() == 2 * count => {
                means.extend(self.sums.as_chunks().0.iter().map(|[one, other]| mean(one + other, 2 * deep)));
            }
            wide => {
                #[expect(clippy::cast_possible_truncation, reason = "a few samples")]
                let of = |sums: &[u32]| mean(sums.iter().sum(), deep * sums.len() as u32);
                means.extend(self.sums.chunks(wide).map(of));
            }
        }
    }

    /// Adds the row of units in hand to the cells that begin at `at`.
    fn add(&mut self, at: usize, per_cell: usize) {
        let Cells { red, green, blue, display, .. } = &mut self.cells;
        let across = self.grid.across;
        for (plane, steps) in [red, green, blue].into_iter().zip(&self.steps) {
            gather(&self.linear, steps, per_cell, &mut plane[at..at + across], 1.0);
        }
        if let Some((table, white)) = &self.display {
            let cells = &mut display[at..at + across];
            for (weight, steps) in LUMINANCE.iter().zip(&self.steps) {
                let by = weight * white;
                gather(table, steps, per_cell, cells, by);
            }
        }
    }

    /// Makes means of the sums of a row of cells that begins at `at`, of so many rows of units.
    fn divide(&mut self, at: usize, deep: f32) {
        let Cells { red, green, blue, display, .. } = &mut self.cells;
        for plane in [red, green, blue, display].into_iter().filter(|plane| !plane.is_empty()) {
            let row = &mut plane[at..at + self.columns.len()];
            row.iter_mut().zip(&self.columns).for_each(|(sum, columns)| *sum /= columns * deep);
        }
    }
}

/// The means of a row of units of bytes that lie side by side, as [`Averager::average`] makes them: of squares of two
/// samples, or of single ones. Whether it is such a row.
fn quick(
    source: &impl Source,
    (component, first, last): (usize, u32, u32),
    (unit, across, count): (u32, u32, usize),
    means: &mut Vec<f32>,
) -> bool {
    if unit == across && last - first == 1 {
        let Some(row) = source.bytes(component, first).filter(|row| row.len() == count) else { return false };
        means.clear();
        means.extend(row.iter().map(|code| f32::from(*code)));
        return true;
    }
    if unit != 2 * across || last - first != 2 {
        return false;
    }
    let rows = source.bytes(component, first).zip(source.bytes(component, first + 1));
    let Some((upper, lower)) = rows.filter(|(upper, lower)| upper.len() == 2 * count && lower.len() == 2 * count)
    else {
        return false;
    };
    means.resize(count, 0.0);
    let squares = upper.as_chunks::<2>().0.iter().zip(lower.as_chunks::<2>().0);
    for (mean, (upper, lower)) in means.iter_mut().zip(squares) {
        let [a, b, c, d] = [u16::from(upper[0]), u16::from(upper[1]), u16::from(lower[0]), u16::from(lower[1])];
        *mean = f32::from(a + b + c + d) / 4.0;
    }
    true
}

/// Looks the light of units up, and hands on what those of a cell add up to.
fn gather(table: &[f32; TABLE], steps: &[u32], per_cell: usize, cells: &mut [f32], by: f32) {
    let light = |step: u32| table[step as usize & (TABLE - 1)];
    match per_cell {
        1 => cells.iter_mut().zip(steps).for_each(|(cell, step)| *cell += by * light(*step)),
        2 => {
            let (pairs, rest) = steps.as_chunks();
            let (whole, last) = cells.split_at_mut(pairs.len());
            whole.iter_mut().zip(pairs).for_each(|(cell, [one, other])| *cell += by * (light(*one) + light(*other)));
            last.iter_mut().zip(rest).for_each(|(cell, step)| *cell += by * light(*step));
        }
        _ => {
            let units = steps.chunks(per_cell);
            let sum = |steps: &[u32]| steps.iter().map(|step| light(*step)).sum::<f32>();
            cells.iter_mut().zip(units).for_each(|(cell, steps)| *cell += by * sum(steps));
        }
    }
}

/// From codes to R', G', B' from 0 to 1.
struct Codes {
    rgb: bool,
    /// What is taken from Y' and from the differences, and what a code is then.
    zero: [f32; 2],
    step: [f32; 2],
    /// R' by Cr, G' by Cb and by Cr, B' by Cb.
    by: [f32; 4],
}

impl Codes {
    #[expect(clippy::cast_possible_truncation, reason = "single precision is enough for 16 bits")]
    fn of(meaning: Meaning, depth: u32) -> Self {
        let most = ((1_u64 << depth) - 1) as f32;
        let scale = (1_u64 << depth.saturating_sub(8)) as f32;
        match meaning {
            Meaning::Rgb => Self { rgb: true, zero: [0.0; 2], step: [1.0 / most; 2], by: [0.0; 4] },
            Meaning::Video { weights: (red, blue), full } => {
                let green = 1.0 - red - blue;
                let (by_red, by_blue) = (2.0 * (1.0 - red), 2.0 * (1.0 - blue));
                let by = [by_red, -by_blue * blue / green, -by_red * red / green, by_blue].map(|by| by as f32);
                let (zero, step) = if full {
                    ([0.0, 128.0 * scale], [1.0 / most; 2])
                } else {
                    ([16.0 * scale, 128.0 * scale], [1.0 / (219.0 * scale), 1.0 / (224.0 * scale)])
                };
                Self { rgb: false, zero, step, by }
            }
        }
    }

    /// The steps in the tables of light of R', G' and B', of means of codes.
    fn steps(&self, units: &[Vec<f32>; 3], grey: bool, into: &mut [Vec<u32>; 3]) {
        /// Adding this to a number below 2^22 leaves it, rounded, in the lowest bits: quicker than a conversion.
        const ROUNDS: f32 = (1 << 23) as f32;
        let step = |value: f32| (value.clamp(0.0, 1.0) * STEPS as f32 + ROUNDS).to_bits();
        into.iter_mut().for_each(Vec::clear);
        let [first, second, third] = units;
        if self.rgb || grey {
            let plane = |index: usize| if grey { first } else { &units[index] };
            for (index, into) in into.iter_mut().enumerate() {
                into.extend(plane(index).iter().map(|code| step((code - self.zero[0]) * self.step[0])));
            }
            return;
        }
        let ([y0, c0], [y1, c1], [a, b, c, d]) = (self.zero, self.step, self.by);
        let all = first.iter().zip(second).zip(third);
        let all = all.map(|((y, cb), cr)| ((y - y0) * y1, (cb - c0) * c1, (cr - c0) * c1));
        let [red, green, blue] = into;
        red.extend(all.clone().map(|(y, _, cr)| step(y + a * cr)));
        green.extend(all.clone().map(|(y, cb, cr)| step(y + b * cb + c * cr)));
        blue.extend(all.map(|(y, cb, _)| step(y + d * cb)));
    }
}
