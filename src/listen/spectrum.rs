//! Spectra and mel bands (`realfft`), and how bands and bins rise from frame to frame.

use std::collections::VecDeque;
use std::f64::consts::TAU;
use std::sync::Arc;

use realfft::num_complex::Complex;
use realfft::{RealFftPlanner, RealToComplex};

use super::units::{real, single, sum_of_pairs};

/// The periodic Hann window of `n` samples. Its cosine is turned on from sample to sample, and set
/// right every so often, since windows of many lengths are asked for.
pub(super) fn hann(n: usize) -> Vec<f64> {
    const SET_RIGHT: usize = 64;
    let turn = TAU / real(n);
    let (sin, cos) = turn.sin_cos();
    let mut at = (0.0, 1.0);
    let next = |k: usize| {
        if k.is_multiple_of(SET_RIGHT) {
            at = (turn * real(k)).sin_cos();
        }
        let weight = 0.5 - 0.5 * at.1;
        at = (at.0 * cos + at.1 * sin, at.1 * cos - at.0 * sin);
        weight
    };
    (0..n).map(next).collect()
}

fn window(n: usize) -> Vec<f32> {
    hann(n).into_iter().map(single).collect()
}

/// Powers of the bins of frames of one length, under a Hann window. In single precision: what it adds
/// lies 130 dB below the strongest bin, and it is twice as fast.
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
            window: window(n),
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
        let short = (frame.len() < n).then(|| window(frame.len().max(1)));
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
                side.max(0.0) * 2.0 / (high - low)
            };
            let weights: Vec<f64> = (0..=n / 2).map(weight).collect();
            let from = weights.iter().position(|w| *w > 0.0).unwrap_or(0);
            let kept = weights[from..].iter().take_while(|w| **w > 0.0);
            (from, kept.copied().map(single).collect())
        };
        Self {
            bands: (0..N_MELS).map(band).collect(),
        }
    }

    /// The bands of a spectrum of powers.
    pub(super) fn of(&self, powers: &[f32]) -> [f64; N_MELS] {
        let mut found = [0.0; N_MELS];
        for (to, (from, weights)) in found.iter_mut().zip(&self.bands) {
            let bins = powers.get(*from..).unwrap_or_default();
            let bins = bins.get(..weights.len()).unwrap_or_default();
            *to = f64::from(sum_of_pairs(bins, weights, |power, weight| power * weight));
        }
        found
    }
}

/// The mean rise of the bands in decibels against a frame some frames before, each band against the
/// strongest of itself and its neighbours there, so that vibrato is no onset (Böck and Widmer 2013).
#[derive(Debug)]
pub(super) struct Flux {
    reach: usize,
    past: Past<[f64; N_MELS]>,
}

impl Flux {
    /// Against `lag` frames before, and `reach` bands to each side.
    pub(super) fn new(lag: usize, reach: usize) -> Self {
        Self {
            reach,
            past: Past::new(lag),
        }
    }

    /// The rise into the frame with these bands in decibels, of which none counts below `floor`;
    /// 0 as long as there is none to compare it with.
    pub(super) fn next(&mut self, decibels: [f64; N_MELS], floor: f64) -> f64 {
        let old = self.past.then(decibels);
        old.map_or(0.0, |old| self.rise(&old, &decibels, floor))
    }

    fn rise(&self, old: &[f64; N_MELS], new: &[f64; N_MELS], floor: f64) -> f64 {
        let mut sum = 0.0;
        for (k, now) in new.iter().enumerate() {
            let around = &old[k.saturating_sub(self.reach)..(k + self.reach + 1).min(N_MELS)];
            let before = around.iter().fold(floor, |most, db| most.max(*db));
            sum += (now.max(floor) - before).max(0.0);
        }
        sum / real(N_MELS)
    }
}

/// Spectral flux of magnitudes, half-wave rectified (Dixon 2006): what rings on adds nothing to it, so
/// that it tells how hard a stroke was among strings that still sound.
pub(super) struct Strikes {
    past: Past<Vec<f32>>,
}

impl Strikes {
    /// Against `lag` frames before.
    pub(super) fn new(lag: usize) -> Self {
        Self {
            past: Past::new(lag),
        }
    }

    /// By how much the magnitudes of the next frame rise, added up; 0 as long as there is none to compare
    /// it with.
    pub(super) fn next(&mut self, magnitudes: &[f32]) -> f32 {
        let old = self.past.then(magnitudes.to_vec()).unwrap_or_default();
        sum_of_pairs(magnitudes, &old, |now, before| (now - before).max(0.0))
    }
}

/// What was, for as many frames as something is held against.
#[derive(Debug)]
struct Past<T> {
    lag: usize,
    frames: VecDeque<T>,
}

impl<T> Past<T> {
    fn new(lag: usize) -> Self {
        Self {
            lag,
            frames: VecDeque::new(),
        }
    }

    /// The frame that lies so many before the one that comes now, where there is one.
    fn then(&mut self, now: T) -> Option<T> {
        self.frames.push_back(now);
        (self.frames.len() > self.lag).then(|| self.frames.pop_front())?
    }
}

/// Decibels of a power, no less than -100.
pub(super) fn decibels(power: f64) -> f64 {
    10.0 * power.max(1e-10).log10()
}

#[cfg(test)]
mod tests {
    //! Values of librosa 0.11, scipy 1.17 and numpy 2.4, recomputed in numpy; formulas and tolerances
    //! stand in the fixture.

    use super::*;
    use serde_json::Value;

    fn fixture() -> Value {
        let text = include_str!("../../tests/reference/fixtures/audio_analysis.json");
        serde_json::from_str(text).expect("the fixture is JSON")
    }

    fn numbers(value: &Value) -> Vec<f64> {
        let list = value.as_array().expect("a list");
        list.iter().map(|x| x.as_f64().expect("a number")).collect()
    }

    /// 24 clicks 0.2 s apart at 16 kHz, every third or second of them strong.
    fn clicks(period: usize) -> Vec<f32> {
        let mut samples = vec![0.0; 24 * 3200];
        for k in 0..24 {
            let strong = if k % period == 0 { 1.0 } else { 0.3 };
            for m in 0..1600 {
                let m_real = real(m);
                let wave = (TAU * 880.0 * m_real / 16_000.0).sin();
                samples[k * 3200 + m] += single(strong * (-m_real / 400.0).exp() * wave);
            }
        }
        samples
    }

    fn bands(samples: &[f32]) -> Vec<[f64; N_MELS]> {
        let mut padded = vec![0.0; 512];
        padded.extend_from_slice(samples);
        padded.extend([0.0; 512]);
        let (mut spectrum, mels) = (Spectrum::new(1024), Mels::new(1024, 16_000.0));
        let windows = padded.windows(1024).step_by(160);
        windows
            .map(|window| mels.of(spectrum.powers(window)))
            .collect()
    }

    #[test]
    fn strikes_are_what_rises_against_two_frames_before() {
        // By hand: nothing before it; 1 + 2; what falls adds nothing.
        let mut strikes = Strikes::new(2);
        let frames = [[1.0, 0.0], [5.0, 5.0], [2.0, 2.0], [1.0, 6.0]];
        assert_eq!(
            frames.map(|frame| strikes.next(&frame)),
            [0.0, 0.0, 3.0, 1.0]
        );
    }

    #[test]
    fn window_and_spectrum() {
        let known = fixture();
        let window = hann(512);
        let first = numbers(&known["hann_periodic_512"]["first_5"]);
        for (found, expected) in window.iter().zip(first) {
            assert!((found - expected).abs() < 1e-9);
        }
        let frame: Vec<f32> = (0..512)
            .map(|n| {
                let t = TAU * real(n) / 16_000.0;
                single(0.5 * (1000.0 * t).sin() + 0.25 * (3100.0 * t + 0.3).cos())
            })
            .collect();
        let mut spectrum = Spectrum::new(512);
        let powers = spectrum.powers(&frame).to_vec();
        let fft = &known["fft_frame512_hann"];
        let (re, im) = (numbers(&fft["re"]), numbers(&fft["im"]));
        for (k, bin) in numbers(&fft["bins"]).iter().enumerate() {
            let expected = re[k].hypot(im[k]);
            let found = f64::from(powers[*bin as usize]).sqrt();
            // The samples are single precision here, double there.
            assert!((found - expected).abs() < 1e-5, "{bin}: {found} {expected}");
        }
    }

    #[test]
    fn mel_bands() {
        let known = fixture();
        let found = bands(&clicks(3))[2];
        let expected = numbers(&known["stft"]["mel_col_2"]);
        assert_eq!(expected.len(), N_MELS);
        for (found, expected) in found.iter().zip(expected) {
            let off = (found / expected - 1.0).abs();
            assert!(off < 1e-5, "{found} {expected}");
        }
    }

    #[test]
    fn onset_strength() {
        let rows = fixture()["onset_env"]["rows"]
            .as_array()
            .expect("rows")
            .clone();
        assert_eq!(rows.len(), 4);
        for row in rows {
            let period = if row["signal"].as_str().expect("a name").starts_with('A') {
                3
            } else {
                2
            };
            let lag = row["lag"].as_u64().expect("a number") as usize;
            let reach = row["max_size"].as_u64().expect("a number") as usize / 2;
            let decibels: Vec<[f64; N_MELS]> = bands(&clicks(period))
                .iter()
                .map(|row| row.map(decibels))
                .collect();
            let loudest = decibels
                .iter()
                .flatten()
                .fold(-100.0, |most: f64, db| most.max(*db));
            let mut flux = Flux::new(lag, reach);
            let rises = decibels.iter().map(|row| flux.next(*row, loudest - 80.0));
            // The values there are moved by half a window; the frames before the lag are among them.
            let mut found = vec![0.0; 1024 / (2 * 160)];
            found.extend(rises);
            for (at, expected) in numbers(&row["first_120"]).iter().enumerate() {
                let off = (found[at] - expected).abs();
                assert!(
                    off < 1e-4,
                    "period {period} lag {lag} frame {at}: {} {expected}",
                    found[at]
                );
            }
        }
    }
}
