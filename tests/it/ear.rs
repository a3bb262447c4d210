//! A listener that knows nothing of how phrases are made. It hears when energy rises, how evenly
//! that comes, and how much of it lies low.
//!
//! The pulse is found as is common practice in the analysis of music: autocorrelation of an envelope
//! of onsets. Times are frames at [`RATE`], energies any unit, levels decibels.

/// Frames a second of everything that is listened to.
pub(crate) const RATE: f64 = 48_000.0;

/// Frames in a step of the envelope: five milliseconds.
const HOP: usize = 240;
/// The slowest and the fastest pulse that is looked for, in pulses a minute.
const PULSES: (f64, f64) = (100.0, 260.0);
/// Below this the low band lies, which bass strings fill and the higher ones leave alone, in hertz.
const LOW: f64 = 200.0;

/// A stretch of even pulses.
pub(crate) struct Heard {
    /// Frames from one pulse to the next.
    pulse: f64,
    /// The energy in the low band that each pulse brings.
    low: Vec<f64>,
}

impl Heard {
    /// Listens to one channel; `None` when nothing comes evenly.
    pub(crate) fn of(samples: &[f64]) -> Option<Self> {
        let onsets = onsets(samples);
        let (phase, step) = grid(&onsets, rough_pulse(&onsets)?);
        let begins = samples.iter().position(|sample| sample.abs() > 5e-4)?;
        let at = |idx: f64| phase + idx * step;
        // Where it begins, to the nearest pulse, and the last pulse on which something was struck.
        let skipped = ((real(begins) / real(HOP) - phase) / step).round();
        let n_steps = ((real(onsets.len()) - at(skipped)) / step).floor();
        let strength = |idx: f64| around(&onsets, at(skipped + idx));
        let struck = 0.1 * onsets.iter().copied().fold(0.0, f64::max);
        let n_pulses = (0..whole(n_steps)).rfind(|idx| strength(real(*idx)) > struck)? + 1;
        let (first, pulse) = (at(skipped) * real(HOP), step * real(HOP));
        let low = |idx| low_rise(samples, first + real(idx) * pulse, pulse);
        Some(Self {
            pulse,
            low: (0..n_pulses).map(low).collect(),
        })
    }

    /// How many pulses went by, from the first stroke to the last.
    pub(crate) fn n_pulses(&self) -> usize {
        self.low.len()
    }

    /// Pulses a minute.
    pub(crate) fn tempo(&self) -> f64 {
        60.0 * RATE / self.pulse
    }

    /// The mean energy in the low band that comes new on these places of a cycle of six, in decibels.
    /// The first cycle, in which the sound still rises, is left out.
    pub(crate) fn low_on(&self, wanted: impl Fn(usize) -> bool) -> f64 {
        let pulses = self.low.iter().enumerate().skip(6);
        let chosen = pulses.filter(|(idx, _)| wanted(idx % 6));
        let chosen: Vec<f64> = chosen.map(|(_, energy)| *energy).collect();
        // Where nothing low comes in at all, as far below as samples of 16 bits go.
        let mean = chosen.iter().sum::<f64>() / real(chosen.len());
        10.0 * (mean + 1e-10).log10()
    }
}

/// How loud a block is at one frequency, in decibels: 0 is a sine of full amplitude.
pub(crate) fn loudness_at(hz: f64, block: &[f64]) -> f64 {
    let mut sums = (0.0, 0.0);
    for (idx, sample) in block.iter().enumerate() {
        let (sin, cos) = (std::f64::consts::TAU * hz * real(idx) / RATE).sin_cos();
        sums = (sums.0 + sample * cos, sums.1 + sample * sin);
    }
    20.0 * (2.0 * sums.0.hypot(sums.1) / real(block.len().max(1))).log10()
}

/// How much louder it gets, step by step, in logarithms. Differences from frame to frame are taken,
/// so that high strokes are not drowned in low strings that ring on.
fn onsets(samples: &[f64]) -> Vec<f64> {
    let bright: Vec<f64> = samples.windows(2).map(|pair| pair[1] - pair[0]).collect();
    let energy = |hop: &[f64]| hop.iter().map(|x| x * x).sum();
    let energies: Vec<f64> = bright.chunks(HOP).map(energy).collect();
    let smooth: Vec<f64> = energies.windows(2).map(|pair| pair[0] + pair[1]).collect();
    let floor = 1e-4 * smooth.iter().copied().fold(0.0, f64::max) + f64::MIN_POSITIVE;
    let rise = |window: &[f64]| ((window[3] + floor) / (window[0] + floor)).ln().max(0.0);
    let mut onsets = vec![0.0; 3];
    onsets.extend(smooth.windows(4).map(rise));
    onsets
}

/// Steps from pulse to pulse: the shortest distance at which, and at whose multiples, the envelope
/// is like itself.
fn rough_pulse(onsets: &[f64]) -> Option<usize> {
    let mean = onsets.iter().sum::<f64>() / real(onsets.len().max(1));
    let centred: Vec<f64> = onsets.iter().map(|x| x - mean).collect();
    let alike = |lag: usize| {
        let pairs = centred.iter().zip(centred.iter().skip(lag));
        pairs.map(|(a, b)| a * b).sum::<f64>()
    };
    // One step to either side, since the distance is seldom whole.
    let near = |lag: usize| (lag - 1..=lag + 1).map(alike).fold(f64::MIN, f64::max);
    let comb = |lag: usize| (1..=4).map(|n| near(n * lag)).sum::<f64>();
    let steps = |pulses: f64| whole(60.0 * RATE / pulses / real(HOP));
    let lags = steps(PULSES.1)..=steps(PULSES.0);
    let combs: Vec<(usize, f64)> = lags.map(|lag| (lag, comb(lag))).collect();
    let best = combs.iter().map(|(_, comb)| *comb).fold(0.0, f64::max);
    let first = combs
        .iter()
        .position(|(_, comb)| *comb > 0.0 && *comb > 0.7 * best)?;
    // The top of the hill whose foot that is.
    let hill = combs.iter().skip(first).take(5);
    hill.max_by(|a, b| a.1.total_cmp(&b.1)).map(|(lag, _)| *lag)
}

/// The first step and the distance of the even grid that meets most onsets.
fn grid(onsets: &[f64], rough: usize) -> (f64, f64) {
    let met = |phase: f64, step: f64| {
        let n = whole((real(onsets.len()) - phase) / step);
        (0..n)
            .map(|idx| around(onsets, phase + real(idx) * step))
            .sum::<f64>()
    };
    let mut best = (0.0, real(rough));
    let mut most = f64::MIN;
    for tenth in -30..=30 {
        let step = real(rough) + f64::from(tenth) / 20.0;
        for phase in 0..rough {
            let sum = met(real(phase), step);
            if sum > most {
                (most, best) = (sum, (real(phase), step));
            }
        }
    }
    best
}

/// The strength of an onset near a step.
fn around(onsets: &[f64], step: f64) -> f64 {
    let at = whole(step.round());
    let near = onsets.iter().skip(at.saturating_sub(1)).take(3);
    near.copied().fold(0.0, f64::max)
}

/// By how much the energy below [`LOW`] is greater in the half of a pulse after its stroke than in
/// that before it: a low string rings on through the strokes that follow.
fn low_rise(samples: &[f64], stroke: f64, pulse: f64) -> f64 {
    let energy = |first: f64| {
        let window = samples.iter().skip(whole(first)).take(whole(pulse / 2.0));
        low_energy(&window.copied().collect::<Vec<f64>>())
    };
    let before = if stroke > pulse {
        energy(stroke - 0.55 * pulse)
    } else {
        0.0
    };
    (energy(stroke) - before).max(0.0)
}

/// The energy of a window below [`LOW`], by the discrete Fourier transform with Hann's window.
fn low_energy(window: &[f64]) -> f64 {
    let n = real(window.len().max(1));
    let bin = |hz: f64| {
        let mut sums = (0.0, 0.0);
        for (idx, sample) in window.iter().enumerate() {
            let turn = std::f64::consts::TAU * real(idx);
            let weighed = sample * (0.5 - 0.5 * (turn / n).cos());
            let (sin, cos) = (turn * hz / RATE).sin_cos();
            sums = (sums.0 + weighed * cos, sums.1 + weighed * sin);
        }
        sums.0 * sums.0 + sums.1 * sums.1
    };
    let bins = (8..)
        .map(|n| 10.0 * f64::from(n))
        .take_while(|hz| *hz < LOW);
    bins.map(bin).sum::<f64>() / (n * n)
}

#[expect(clippy::cast_precision_loss, reason = "frames of a few seconds")]
fn real(n: usize) -> f64 {
    n as f64
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "frames of a few seconds, cut at zero"
)]
fn whole(x: f64) -> usize {
    x.max(0.0) as usize
}
