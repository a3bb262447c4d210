//! Spectra and mel bands (`realfft`), and the rise of the bands from frame to frame.

use std::f64::consts::TAU;
use std::sync::Arc;

use realfft::num_complex::Complex;
use realfft::{RealFftPlanner, RealToComplex};

use super::units::{real, single};

/// The periodic Hann window of `n` samples.
pub(super) fn hann(n: usize) -> Vec<f32> {
    let at = |k: usize| single(0.5 - 0.5 * (TAU * real(k) / real(n)).cos());
    (0..n).map(at).collect()
}

/// Powers of the bins of frames of one length, under a Hann window.
pub(super) struct Spectrum {
    fft: Arc<dyn RealToComplex<f32>>,
    window: Vec<f32>,
    input: Vec<f32>,
    output: Vec<Complex<f32>>,
    scratch: Vec<Complex<f32>>,
    powers: Vec<f32>,
}

impl Spectrum {
    /// For frames of `n` samples.
    pub(super) fn new(n: usize) -> Self {
        let fft = RealFftPlanner::new().plan_fft_forward(n);
        Self {
            window: hann(n),
            input: fft.make_input_vec(),
            output: fft.make_output_vec(),
            scratch: fft.make_scratch_vec(),
            powers: vec![0.0; n / 2 + 1],
            fft,
        }
    }

    /// The powers of the bins of a frame; of a shorter one as if its window were as short and the
    /// rest silent.
    pub(super) fn powers(&mut self, frame: &[f32]) -> &[f32] {
        self.transform(frame);
        for (power, bin) in self.powers.iter_mut().zip(&self.output) {
            *power = bin.norm_sqr();
        }
        &self.powers
    }

    fn transform(&mut self, frame: &[f32]) {
        let n = self.input.len();
        let short = (frame.len() < n).then(|| hann(frame.len().max(1)));
        let window = short.as_ref().unwrap_or(&self.window);
        self.input.fill(0.0);
        for ((to, sample), weight) in self.input.iter_mut().zip(frame).zip(window) {
            *to = sample * weight;
        }
        self.fft
            .process_with_scratch(&mut self.input, &mut self.output, &mut self.scratch)
            .expect("buffers made by the plan itself");
    }
}

/// How many mel bands there are.
pub(super) const N_MELS: usize = 40;
/// Hertz of the lowest edge of the bands.
const LOWEST: f64 = 27.5;
/// Hertz of the highest edge of the bands.
const HIGHEST: f64 = 8000.0;

/// Mels of hertz after Slaney's Auditory Toolbox (1998): linear below 1 kHz, logarithmic above.
fn mel(hertz: f64) -> f64 {
    if hertz < 1000.0 {
        hertz * 3.0 / 200.0
    } else {
        15.0 + (hertz / 1000.0).ln() * 27.0 / 6.4_f64.ln()
    }
}

fn hertz(mel: f64) -> f64 {
    if mel < 15.0 {
        mel * 200.0 / 3.0
    } else {
        1000.0 * ((mel - 15.0) * 6.4_f64.ln() / 27.0).exp()
    }
}

/// Triangular bands of equal area, evenly spaced in mels.
#[derive(Debug)]
pub(super) struct Mels {
    /// For each band its first bin and the weights from there on.
    bands: Vec<(usize, Vec<f32>)>,
}

impl Mels {
    /// For spectra of `n` samples at `rate` samples a second.
    pub(super) fn new(n: usize, rate: f64) -> Self {
        let top = mel(HIGHEST.min(rate / 2.0));
        let bottom = mel(LOWEST);
        let edge = |k: usize| hertz(bottom + (top - bottom) * real(k) / real(N_MELS + 1));
        let band = |k: usize| {
            let (low, middle, high) = (edge(k), edge(k + 1), edge(k + 2));
            let weight = |bin: usize| {
                let at = real(bin) * rate / real(n);
                let side = ((at - low) / (middle - low)).min((high - at) / (high - middle));
                single(side.max(0.0) * 2.0 / (high - low))
            };
            let weights: Vec<f32> = (0..=n / 2).map(weight).collect();
            let from = weights.iter().position(|w| *w > 0.0).unwrap_or(0);
            let kept = weights[from..].iter().take_while(|w| **w > 0.0);
            (from, kept.copied().collect())
        };
        Self {
            bands: (0..N_MELS).map(band).collect(),
        }
    }

    /// The bands of a spectrum of powers.
    pub(super) fn of(&self, powers: &[f32]) -> [f32; N_MELS] {
        let mut found = [0.0; N_MELS];
        for (to, (from, weights)) in found.iter_mut().zip(&self.bands) {
            let bins = powers.get(*from..).unwrap_or_default();
            *to = bins.iter().zip(weights).map(|(p, w)| p * w).sum();
        }
        found
    }
}

/// The mean rise of the bands in decibels against a frame some frames before, each band against the
/// strongest of itself and its neighbours there, so that vibrato is no onset (Böck and Widmer 2013).
#[derive(Debug)]
pub(super) struct Flux {
    lag: usize,
    reach: usize,
    past: Vec<[f32; N_MELS]>,
}

impl Flux {
    /// Against `lag` frames before, and `reach` bands to each side.
    pub(super) fn new(lag: usize, reach: usize) -> Self {
        Self {
            lag,
            reach,
            past: Vec::new(),
        }
    }

    /// The rise into the frame with these bands in decibels, of which none counts below `floor`;
    /// 0 as long as there is none to compare it with.
    pub(super) fn next(&mut self, decibels: [f32; N_MELS], floor: f32) -> f32 {
        let rise = self.past.get(..1).filter(|_| self.past.len() >= self.lag);
        let rise = rise.map_or(0.0, |old| self.rise(&old[0], &decibels, floor));
        self.past.push(decibels);
        if self.past.len() > self.lag {
            self.past.remove(0);
        }
        rise
    }

    fn rise(&self, old: &[f32; N_MELS], new: &[f32; N_MELS], floor: f32) -> f32 {
        let mut sum = 0.0;
        for (k, now) in new.iter().enumerate() {
            let around = &old[k.saturating_sub(self.reach)..(k + self.reach + 1).min(N_MELS)];
            let before = around.iter().fold(floor, |most, db| most.max(*db));
            sum += (now.max(floor) - before).max(0.0);
        }
        sum / single(real(N_MELS))
    }
}

/// Decibels of a power, no less than -100.
pub(super) fn decibels(power: f32) -> f32 {
    10.0 * power.max(1e-10).log10()
}
