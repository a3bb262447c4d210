//! Filters in time: halving the rate several times over, and the low band.

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
    /// What waits, dealt out: row p holds every sample that lies p behind a multiple of the factor.
    rows: Vec<Vec<f32>>,
}

/// Taps to each side of the middle, per unit of the factor.
const REACH: usize = 12;
/// Output samples that are made side by side: one after the other, each would wait for its sums.
const AT_ONCE: usize = 32;

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
            rows: vec![Vec::new(); factor],
        }
    }

    /// What `samples` add to the output.
    pub(super) fn push(&mut self, samples: &[f32], out: &mut Vec<f32>) {
        if self.factor == 1 {
            out.extend_from_slice(samples);
            return;
        }
        self.waiting.extend_from_slice(samples);
        let n_new =
            (self.waiting.len() + self.factor).saturating_sub(self.taps.len()) / self.factor;
        self.deal_out();
        let n_out = out.len() + n_new;
        for from in (0..n_new).step_by(AT_ONCE) {
            out.extend(self.outputs(from));
        }
        out.truncate(n_out);
        self.waiting.drain(..n_new * self.factor);
    }

    /// Silence behind each row lets the last outputs be made like all others, some of them for nothing.
    fn deal_out(&mut self) {
        for (p, row) in self.rows.iter_mut().enumerate() {
            row.clear();
            row.extend(self.waiting.iter().skip(p).step_by(self.factor));
            row.extend([0.0; AT_ONCE]);
        }
    }

    fn outputs(&self, from: usize) -> [f32; AT_ONCE] {
        let mut sums = [0.0; AT_ONCE];
        for (p, row) in self.rows.iter().enumerate() {
            let taps = self.taps.iter().skip(p).step_by(self.factor);
            let samples = row.get(from..).unwrap_or_default().windows(AT_ONCE);
            let samples = samples.filter_map(<[f32]>::first_chunk::<AT_ONCE>);
            for (tap, samples) in taps.zip(samples) {
                sums = array::from_fn(|k| sums[k] + tap * samples[k]);
            }
        }
        sums
    }

    /// What is left when nothing more comes.
    pub(super) fn finish(&mut self, out: &mut Vec<f32>) {
        let rest = vec![0.0; REACH * self.factor];
        if self.factor > 1 {
            self.push(&rest, out);
        }
    }
}

/// The low band, through two equal second-order sections in a row: 24 dB an octave (coefficients after
/// Bristow-Johnson's collection of filter formulas, from memory).
#[derive(Clone, Debug)]
pub(super) struct LowBand {
    b: [f64; 3],
    a: [f64; 2],
    past: [[f64; 2]; 2],
}

impl LowBand {
    /// What is below `hertz`, of `rate` samples a second.
    pub(super) fn new(hertz: f64, rate: f64) -> Self {
        let (sin, cos) = (TAU * hertz / rate).sin_cos();
        let alpha = sin * 0.5_f64.sqrt();
        let a0 = 1.0 + alpha;
        let b = 0.5 * (1.0 - cos);
        Self {
            b: [b, 2.0 * b, b].map(|b| b / a0),
            a: [-2.0 * cos / a0, (1.0 - alpha) / a0],
            past: [[0.0; 2]; 2],
        }
    }

    /// The next sample through it.
    pub(super) fn next(&mut self, sample: f64) -> f64 {
        let (a, b) = (&self.a, &self.b);
        let mut x = sample;
        for past in &mut self.past {
            let y = b[0] * x + past[0];
            // The tiny offset that is added and taken away keeps silence out of the slow numbers.
            *past = [(b[1] * x + past[1] + 1e-25) - a[0] * y, b[2] * x - a[1] * y];
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
    fn the_low_band_halves_power_at_each_section_at_its_edge() {
        // Each section of quality 0.7071 has -3.01 dB at its edge, so that two have -6.02.
        let mut low = LowBand::new(500.0, 8000.0);
        let out = sine(500.0, 8000.0, 8000);
        let out: Vec<f64> = out.iter().map(|x| low.next(f64::from(*x))).collect();
        let gain = rms(out[4000..].iter().copied()) / 0.5_f64.sqrt();
        assert!((gain - 0.5).abs() < 0.002, "{gain}");
    }
}
