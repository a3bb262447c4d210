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

/// The low and the high band side by side, each through two equal second-order sections in a row:
/// 24 dB an octave (coefficients after Bristow-Johnson's collection of filter formulas, from memory).
#[derive(Clone, Debug)]
pub(super) struct Bands {
    b: [Lanes; 3],
    a: [Lanes; 2],
    past: [[Lanes; 2]; 2],
}

/// One value for the low band and one for the high.
type Lanes = [f64; 2];

impl Bands {
    /// What is below `low` hertz, and what is above `high`.
    pub(super) fn new(low: f64, high: f64, rate: f64) -> Self {
        let below = coefficients(low, rate, |cos| {
            [0.5 * (1.0 - cos), 1.0 - cos, 0.5 * (1.0 - cos)]
        });
        let above = coefficients(high, rate, |cos| {
            [0.5 * (1.0 + cos), -1.0 - cos, 0.5 * (1.0 + cos)]
        });
        Self {
            b: array::from_fn(|k| [below.0[k], above.0[k]]),
            a: array::from_fn(|k| [below.1[k], above.1[k]]),
            past: [[[0.0; 2]; 2]; 2],
        }
    }

    /// The next sample through both.
    pub(super) fn next(&mut self, sample: f64) -> Lanes {
        let (a, b) = (&self.a, &self.b);
        let mut x = [sample; 2];
        for past in &mut self.past {
            let y: Lanes = array::from_fn(|k| b[0][k] * x[k] + past[0][k]);
            // The tiny offset that is added and taken away keeps silence out of the slow numbers.
            past[0] = array::from_fn(|k| (b[1][k] * x[k] + past[1][k] + 1e-25) - a[0][k] * y[k]);
            past[1] = array::from_fn(|k| b[2][k] * x[k] - a[1][k] * y[k]);
            x = y;
        }
        x
    }
}

/// The coefficients of a section with its edge at `hertz`, those of the input by the cosine there.
fn coefficients(hertz: f64, rate: f64, b: impl Fn(f64) -> [f64; 3]) -> ([f64; 3], [f64; 2]) {
    let (sin, cos) = (TAU * hertz / rate).sin_cos();
    let alpha = sin * 0.5_f64.sqrt();
    let a0 = 1.0 + alpha;
    (
        b(cos).map(|b| b / a0),
        [-2.0 * cos / a0, (1.0 - alpha) / a0],
    )
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
        let mut bands = Bands::new(500.0, 500.0, 8000.0);
        let out: Vec<[f64; 2]> = sine(500.0, 8000.0, 8000)
            .iter()
            .map(|x| bands.next(f64::from(*x)))
            .collect();
        for band in [0, 1] {
            let gain = rms(out[4000..].iter().map(|x| x[band])) / 0.5_f64.sqrt();
            assert!((gain - 0.5).abs() < 0.002, "{gain}");
        }
    }
}
