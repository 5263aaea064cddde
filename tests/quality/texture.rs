//! Textures: white noise, and the 1/f spectrum of photographs.

use rustfft::FftPlanner;
use rustfft::num_complex::Complex64;
use stillpath::units::Size;

use crate::stills::{Field, Noise};

/// White noise of 0 to 255.
pub(crate) fn white(size: Size, seed: u32) -> Field {
    let mut noise = Noise(seed);
    let mut field = Field::new(size, 0.0);
    field.values.iter_mut().for_each(|value| *value = f64::from(noise.byte()));
    field
}

/// Noise with amplitudes falling as 1/f, mean 0, variance 1, periodic.
pub(crate) fn photo_like(size: Size, seed: u32) -> Field {
    let (width, height) = (size.width as usize, size.height as usize);
    let mut noise = Noise(seed);
    let mut values: Vec<Complex64> = (0..width * height).map(|_| Complex64::new(noise.normal(), 0.0)).collect();
    both_ways(&mut values, width, height, false);
    let frequency = |index: usize, length: usize| index.min(length - index) as f64 / length as f64;
    for (at, value) in values.iter_mut().enumerate() {
        let radius = frequency(at % width, width).hypot(frequency(at / width, height));
        *value = if at == 0 { Complex64::default() } else { *value / radius.max(1.0 / width as f64) };
    }
    both_ways(&mut values, width, height, true);
    let variance = values.iter().map(|value| value.re * value.re).sum::<f64>() / values.len() as f64;
    let scale = variance.sqrt().recip();
    Field { width, height, values: values.iter().map(|value| value.re * scale).collect() }
}

fn both_ways(values: &mut [Complex64], width: usize, height: usize, back: bool) {
    let mut planner = FftPlanner::new();
    let mut plan = |length| if back { planner.plan_fft_inverse(length) } else { planner.plan_fft_forward(length) };
    let (across, down) = (plan(width), plan(height));
    values.chunks_exact_mut(width).for_each(|row| across.process(row));
    let mut column = vec![Complex64::default(); height];
    for x in 0..width {
        column.iter_mut().enumerate().for_each(|(y, value)| *value = values[y * width + x]);
        down.process(&mut column);
        column.iter().enumerate().for_each(|(y, value)| values[y * width + x] = *value);
    }
}
