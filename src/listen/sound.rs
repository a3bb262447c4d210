//! Sound, heard as it streams by: what is kept of it are envelopes, 128 frames a second or a little
//! off, and a thin copy for pitch.

use std::ops::Range;

use crate::pcm::SampleRate;

use super::filter::{Decimator, LowBand};
use super::spectrum::{Flux, Mels, Spectrum, Strikes, decibels};
use super::units::{index, mean, real, single, sum_of_pairs};

/// Samples of a spectrum, 43 to 64 ms, and half as many of a sound of few samples a second.
const N_FFT: usize = 1024;
const FEW: f64 = 15_000.0;
/// Frames a second that are aimed at.
const FRAMES_A_SECOND: f64 = 128.0;
/// Frames against which the rise is taken.
const LAG: usize = 2;
/// Bands to each side that a rise is held against.
const REACH: usize = 1;
/// Decibels under the loudest band so far below which nothing is heard.
const DEPTH: f64 = 60.0;
/// The low band ends here, in hertz: the basses of a guitar.
const LOW: f64 = 160.0;
/// Where noise is heard, in hertz, nails, knocks and claps, and over how many neighbouring bins.
const NOISE: (f64, f64) = (1500.0, 8000.0);
const NEIGHBOURS: usize = 8;
/// The thin copy for pitch keeps at most one sample of so many, and where there are enough so many a second.
const MOST_THIN: usize = 4;
const LEAST_THIN: f64 = 4_000.0;

/// What is kept of a sound.
#[derive(Clone, Debug, Default)]
pub struct Sound {
    /// Frames a second.
    pub(super) rate: f64,
    /// One row a frame.
    pub(super) frames: Vec<Frame>,
    /// Samples up to two kilohertz or more, for pitch.
    pub(super) thin: Vec<f32>,
    /// Samples a second of the thin copy.
    pub(super) thin_rate: f64,
}

/// A frame of envelopes; levels are decibels against full scale, no less than -100.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Frame {
    /// The mean rise over all bands in decibels.
    pub(super) rise: f32,
    /// The power from this frame to the next: whole, low band.
    pub(super) power: [f32; 2],
    /// The centre of the spectrum in octaves over 100 Hz.
    pub(super) bright: f32,
    /// How hard it is struck: spectral flux, the sum over all bins by how much their magnitude rises.
    pub(super) flux: f32,
    /// The magnitude that noise has between the partials of what rings.
    pub(super) noise: f32,
}

impl Sound {
    /// How long it is, in seconds.
    pub fn seconds(&self) -> f64 {
        if self.rate > 0.0 {
            real(self.frames.len()) / self.rate
        } else {
            0.0
        }
    }

    /// How loud it is from one time until another, in decibels against others of its own passages: the
    /// mean power of what is no pause, by the gates of ITU-R BS.1770-4 but without its filter. `None`
    /// of silence.
    pub fn level(&self, from: f64, until: f64) -> Option<f64> {
        let power = |block: &[Frame]| {
            let powers = block.iter().map(|frame| f64::from(frame.power[0]));
            powers.sum::<f64>() / real(block.len())
        };
        let a_block = index(0.4 * self.rate).max(1);
        let blocks = self.between(from, until).chunks(a_block).map(power);
        let heard: Vec<f64> = blocks.filter(|power| *power > 1e-7).collect();
        let gate = 0.1 * mean(&heard);
        let loud: Vec<f64> = heard.into_iter().filter(|power| *power >= gate).collect();
        (!loud.is_empty()).then(|| 10.0 * mean(&loud).log10())
    }

    /// The frame at `seconds`.
    pub(super) fn frame_at(&self, seconds: f64) -> usize {
        index((seconds * self.rate).round()).min(self.frames.len())
    }

    /// The frames from one time until another.
    pub(super) fn between(&self, from: f64, until: f64) -> &[Frame] {
        let (from, until) = (self.frame_at(from), self.frame_at(until));
        self.frames.get(from..until.max(from)).unwrap_or_default()
    }

    /// The mean power in a band from one time until another; the frames at either end count by how much
    /// of them lies between, so that nothing hangs on where frames happen to begin.
    pub(super) fn power(&self, from: f64, until: f64, band: usize) -> f64 {
        let n = real(self.frames.len());
        let [from, until] = [from, until].map(|time| (time * self.rate).clamp(0.0, n));
        let whole = index(from)..index(until.ceil()).min(self.frames.len());
        let inside = |frame: usize| {
            let begins = real(frame);
            (until.min(begins + 1.0) - from.max(begins)).max(0.0)
        };
        let parts = whole.map(|frame| inside(frame) * f64::from(self.frames[frame].power[band]));
        parts.sum::<f64>() / (until - from).max(1e-9)
    }
}

/// Hears mono samples one part after the other.
pub struct Ear {
    thinner: Decimator,
    thinnest: Decimator,
    samples: Vec<f32>,
    /// Samples of `samples` that were already measured for power.
    measured: usize,
    hop: usize,
    /// Samples of a spectrum.
    n_fft: usize,
    spectrum: Spectrum,
    mels: Mels,
    flux: Flux,
    loudest: f64,
    low_band: LowBand,
    strikes: Strikes,
    /// The hertz of each bin of a spectrum.
    bins: Vec<f32>,
    /// The bins in which noise is heard.
    noisy: Range<usize>,
    measures: Vec<Measures>,
    powers: Vec<[f32; 2]>,
    thin: Vec<f32>,
    thin_rate: f64,
    rate: f64,
}

impl Ear {
    /// For samples at `rate`.
    pub fn new(rate: SampleRate) -> Self {
        // One sample of so many that 16,000 to 24,000 a second are left, where there are as many.
        let factor = usize::try_from(rate.hz() / 20_000).unwrap_or(1).max(1);
        let rate = f64::from(rate.hz()) / real(factor);
        let n_fft = if rate < FEW { N_FFT / 2 } else { N_FFT };
        let thin = index(rate / LEAST_THIN).clamp(1, MOST_THIN);
        let bin = |hertz: f64| index(hertz.min(0.4 * rate) * real(n_fft) / rate);
        Self {
            thinner: Decimator::new(factor),
            thinnest: Decimator::new(thin),
            thin_rate: rate / real(thin),
            // A frame is centred on its time, so that silence stands before the first.
            samples: vec![0.0; n_fft / 2],
            measured: n_fft / 2,
            n_fft,
            hop: index((rate / FRAMES_A_SECOND).round()).max(1),
            spectrum: Spectrum::new(n_fft),
            mels: Mels::new(n_fft, rate),
            flux: Flux::new(LAG, REACH),
            loudest: -100.0,
            low_band: LowBand::new(LOW.min(0.4 * rate), rate),
            strikes: Strikes::new(LAG),
            bins: (0..=n_fft / 2)
                .map(|bin| single(real(bin) * rate / real(n_fft)))
                .collect(),
            noisy: bin(NOISE.0)..bin(NOISE.1),
            measures: Vec::new(),
            powers: Vec::new(),
            thin: Vec::new(),
            rate,
        }
    }

    /// Hears the next samples of one channel; what is no number is silence.
    pub fn hear(&mut self, mono: &[f32]) {
        let sound = |x: &f32| {
            if x.is_finite() {
                x.clamp(-8.0, 8.0)
            } else {
                0.0
            }
        };
        for part in mono.chunks(1 << 14) {
            let part: Vec<f32> = part.iter().map(sound).collect();
            let mut fresh = Vec::new();
            self.thinner.push(&part, &mut fresh);
            self.take(&fresh);
        }
    }

    /// What was heard.
    pub fn finish(mut self) -> Sound {
        let mut rest = Vec::new();
        self.thinner.finish(&mut rest);
        self.take(&rest);
        self.thinnest.finish(&mut self.thin);
        self.samples.extend(vec![0.0; self.n_fft]);
        self.measure();
        let rate = self.rate / real(self.hop);
        Sound {
            rate,
            frames: frames((&self.measures, &self.powers), (self.n_fft, self.hop)),
            thin: self.thin,
            thin_rate: self.thin_rate,
        }
    }

    fn take(&mut self, fresh: &[f32]) {
        self.thinnest.push(fresh, &mut self.thin);
        self.samples.extend_from_slice(fresh);
        self.measure();
    }

    fn measure(&mut self) {
        while let Some(part) = self.samples.get(self.measured..self.measured + self.hop) {
            let mut sums = [0.0; 2];
            for sample in part {
                let x = f64::from(*sample);
                let low = self.low_band.next(x);
                sums = [sums[0] + x * x, sums[1] + low * low];
            }
            let share = 1.0 / real(self.hop);
            self.powers.push(sums.map(|sum| single(sum * share)));
            self.measured += self.hop;
        }
        let mut from = 0;
        while let Some(window) = self.samples.get(from..from + self.n_fft) {
            let powers = self.spectrum.powers(window);
            let bands = self.mels.of(powers).map(decibels);
            self.loudest = bands.iter().fold(self.loudest, |most, db| most.max(*db));
            let rise = self.flux.next(bands, self.loudest - DEPTH);
            let magnitudes: Vec<f32> = powers.iter().map(|power| power.sqrt()).collect();
            self.measures.push(Measures {
                rise: single(rise),
                bright: brightness(&magnitudes, &self.bins),
                flux: self.strikes.next(&magnitudes),
                noise: noise(magnitudes.get(self.noisy.clone()).unwrap_or_default()),
            });
            from += self.hop;
        }
        self.samples.drain(..from);
        self.measured -= from;
    }
}

/// The centre of the magnitudes of these bins in octaves over 100 Hz.
fn brightness(magnitudes: &[f32], bins: &[f32]) -> f32 {
    let sum = 1e-9 + sum_of_pairs(magnitudes, bins, |magnitude, _| magnitude);
    let moment = sum_of_pairs(magnitudes, bins, |magnitude, hertz| magnitude * hertz);
    (1.0 + moment / sum / 100.0).log2()
}

/// What is left of these magnitudes where the least of neighbouring bins is taken, on the mean: a knock fills
/// all of them, partials stand out of them (as the smoothing over bins by which FitzGerald 2010 tells
/// percussive from harmonic sound, the least being quicker than the median).
fn noise(magnitudes: &[f32]) -> f32 {
    let (groups, _) = magnitudes.as_chunks::<NEIGHBOURS>();
    let least = |group: &[f32; NEIGHBOURS]| group.iter().copied().fold(f32::INFINITY, f32::min);
    groups.iter().map(least).sum::<f32>() / single(real(groups.len().max(1)))
}

/// What is measured of one spectrum.
#[derive(Clone, Copy, Debug, Default)]
struct Measures {
    rise: f32,
    bright: f32,
    flux: f32,
    noise: f32,
}

/// The rise of a spectrum shows as soon as its window reaches an onset, half a window before, and
/// until the frames that it is held against have reached it too; so a frame takes the rise that was
/// found half a window less the lag earlier.
fn frames(
    (measures, powers): (&[Measures], &[[f32; 2]]),
    (n_fft, hop): (usize, usize),
) -> Vec<Frame> {
    let early = index((real(n_fft / 2) / real(hop)).round()).saturating_sub(LAG);
    let at = |t: usize| measures.get(t).copied().unwrap_or_default();
    let frame = |(t, power): (usize, &[f32; 2])| {
        let risen = t.checked_sub(early).map(at).unwrap_or_default();
        Frame {
            rise: risen.rise,
            power: *power,
            bright: at(t).bright,
            flux: risen.flux,
            noise: at(t).noise,
        }
    };
    powers.iter().enumerate().map(frame).collect()
}
