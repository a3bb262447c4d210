//! Filters in time: halving the rate several times over, and the low and the high band.

use std::array;
use std::f64::consts::{PI, TAU};

use super::units::{real, single};

/// Keeps one sample of so many, after taking out what the lower rate cannot hold (a sinc under a
/// Hann window). Output sample k lies at input sample k times the factor: there is no delay.
#[derive(Debug)]
pub(super) struct Decimator {
    factor: usize,
    taps: Vec<f32>,
    waiting: Vec<f32>,
}

/// Taps to each side of the middle, per unit of the factor.
const REACH: usize = 12;

impl Decimator {
    pub(super) fn new(factor: usize) -> Self {
        let reach = REACH * factor;
        let cutoff = 0.45 / real(factor);
        let tap = |n: usize| {
            let x = real(n) - real(reach);
            let sinc = if n == reach {
                2.0 * cutoff
            } else {
                (TAU * cutoff * x).sin() / (PI * x)
            };
            sinc * 0.5 * (1.0 + (PI * x / real(reach + 1)).cos())
        };
        let taps: Vec<f64> = (0..=2 * reach).map(tap).collect();
        let sum: f64 = taps.iter().sum();
        Self {
            factor,
            taps: taps.iter().map(|tap| single(tap / sum)).collect(),
            waiting: vec![0.0; reach],
        }
    }

    /// What `samples` add to the output.
    pub(super) fn push(&mut self, samples: &[f32], out: &mut Vec<f32>) {
        if self.factor == 1 {
            out.extend_from_slice(samples);
            return;
        }
        self.waiting.extend_from_slice(samples);
        let mut from = 0;
        while let Some(window) = self.waiting.get(from..from + self.taps.len()) {
            out.push(dot(window, &self.taps));
            from += self.factor;
        }
        self.waiting.drain(..from.min(self.waiting.len()));
    }

    /// What is left when nothing more comes.
    pub(super) fn finish(&mut self, out: &mut Vec<f32>) {
        let rest = vec![0.0; REACH * self.factor];
        if self.factor > 1 {
            self.push(&rest, out);
        }
    }
}

/// The sum of products of two rows of one length, in sixteen sums at once: one sum would have to wait
/// for each addition, and is five times as slow.
fn dot(a: &[f32], b: &[f32]) -> f32 {
    let ((a, a_rest), (b, b_rest)) = (a.as_chunks::<16>(), b.as_chunks::<16>());
    let mut sums = [0.0; 16];
    for (a, b) in a.iter().zip(b) {
        sums = array::from_fn(|k| sums[k] + a[k] * b[k]);
    }
    let rest = a_rest.iter().zip(b_rest).map(|(a, b)| a * b);
    sums.iter().sum::<f32>() + rest.sum::<f32>()
}

/// Two equal second-order sections in a row: 24 dB an octave (coefficients after Bristow-Johnson's
/// collection of filter formulas, from memory).
#[derive(Clone, Debug)]
pub(super) struct Band {
    b: [f64; 3],
    a: [f64; 2],
    past: [[f64; 2]; 2],
}

impl Band {
    /// Lets through what is below `hertz`.
    pub(super) fn below(hertz: f64, rate: f64) -> Self {
        let cos = (TAU * hertz / rate).cos();
        Self::of(
            hertz,
            rate,
            [0.5 * (1.0 - cos), 1.0 - cos, 0.5 * (1.0 - cos)],
        )
    }

    /// Lets through what is above `hertz`.
    pub(super) fn above(hertz: f64, rate: f64) -> Self {
        let cos = (TAU * hertz / rate).cos();
        Self::of(
            hertz,
            rate,
            [0.5 * (1.0 + cos), -1.0 - cos, 0.5 * (1.0 + cos)],
        )
    }

    fn of(hertz: f64, rate: f64, b: [f64; 3]) -> Self {
        let (sin, cos) = (TAU * hertz / rate).sin_cos();
        let alpha = sin * 0.5_f64.sqrt();
        let a0 = 1.0 + alpha;
        Self {
            b: b.map(|b| b / a0),
            a: [-2.0 * cos / a0, (1.0 - alpha) / a0],
            past: [[0.0; 2]; 2],
        }
    }

    /// The next sample through it.
    pub(super) fn next(&mut self, sample: f64) -> f64 {
        let mut x = sample;
        for past in &mut self.past {
            let y = self.b[0] * x + past[0];
            // The tiny offset that is added and taken away keeps silence out of the slow numbers.
            past[0] = self.b[1] * x - self.a[0] * y + past[1] + 1e-25;
            past[1] = self.b[2] * x - self.a[1] * y;
            x = y;
        }
        x
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sine(hertz: f64, rate: f64, n: usize) -> Vec<f32> {
        (0..n)
            .map(|n| single((TAU * hertz * real(n) / rate).sin()))
            .collect()
    }

    fn rms(samples: impl Iterator<Item = f64>) -> f64 {
        let squares: Vec<f64> = samples.map(|x| x * x).collect();
        super::super::units::mean(&squares).sqrt()
    }

    #[test]
    fn what_the_lower_rate_holds_stays_and_the_rest_goes() {
        for (hertz, least, most) in [(1000.0, 0.69, 0.72), (15_000.0, 0.0, 0.002)] {
            let mut out = Vec::new();
            let mut decimator = Decimator::new(2);
            for part in sine(hertz, 44_100.0, 8820).chunks(77) {
                decimator.push(part, &mut out);
            }
            decimator.finish(&mut out);
            assert_eq!(out.len(), 4410);
            let middle = out[400..4000].iter().map(|x| f64::from(*x));
            let level = rms(middle);
            assert!((least..most).contains(&level), "{hertz}: {level}");
        }
    }

    #[test]
    fn a_band_halves_power_at_each_section_at_its_edge() {
        // Each section of quality 0.7071 has -3.01 dB at its edge, so that two have -6.02.
        for mut band in [Band::below(500.0, 8000.0), Band::above(500.0, 8000.0)] {
            let out: Vec<f64> = sine(500.0, 8000.0, 8000)
                .iter()
                .map(|x| band.next(f64::from(*x)))
                .collect();
            let gain = rms(out[4000..].iter().copied()) / 0.5_f64.sqrt();
            assert!((gain - 0.5).abs() < 0.002, "{gain}");
        }
    }
}
