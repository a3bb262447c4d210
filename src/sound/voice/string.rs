//! A plucked string: extended Karplus-Strong.
//!
//! A short pluck runs round a loop that is as long as a period: a delay, a one-zero damping filter
//! and a first-order all-pass that makes up the fraction of a sample (Karplus and Strong 1983; Jaffe
//! and Smith 1983). The all-pass coefficient is the one that is exact in phase at the fundamental,
//! so that tuning is within hundredths of a cent.

use std::f64::consts::TAU;

use super::{Noise, Stroke};
use crate::pcm::SampleRate;
use crate::phrase::{Pitch, Touch};
use crate::sound::units::{count, factor, frames, real, single};

/// Seconds in which a finger stops a string: short, and long enough not to click.
const STOP: f64 = 0.02;

/// The pluck of `stroke` on a string tuned to `pitch`, until it is stopped or has faded.
pub(super) fn pluck(stroke: Stroke, pitch: Pitch, rate: SampleRate) -> Vec<f32> {
    let hz = frequency(pitch, rate);
    let hand = Hand::of(stroke.touch);
    let t60 = fading(hz);
    let n_stop = frames(STOP, rate);
    let n_frames = (stroke.n_held + n_stop).min(frames(1.3 * t60, rate));
    let mut samples = hand.pluck(hz, stroke.noise, rate, n_frames);
    Loop::tuned(hz, t60, hand.damping, rate).run(&mut samples);
    stop(&mut samples, n_stop);
    samples
}

/// The frequency of `pitch` in equal temperament with A at 440 Hz (ISO 16:1975), held to what the
/// loop can carry at this rate.
fn frequency(pitch: Pitch, rate: SampleRate) -> f64 {
    let hz = 440.0 * 2.0_f64.powf((f64::from(pitch.0) - 69.0) / 12.0);
    hz.min(f64::from(rate.hz()) / 12.0).max(1e-3)
}

/// Seconds in which the fundamental fades by 60 dB: thick strings ring longer. A starting value, not yet judged by ear, for
/// nylon: 3.6 s at the lowest E, 1.6 s at the highest open string.
fn fading(hz: f64) -> f64 {
    3.6 * (82.4 / hz).powf(0.58)
}

/// How a hand plucks: where, how brightly, and how dark the string then rings.
#[derive(Clone, Copy, Debug)]
struct Hand {
    /// Where the string is plucked, as a part of its length from the bridge. Its overtones with a
    /// node there are missing.
    place: f64,
    /// Hertz above which the pluck holds less and less.
    brightness: f64,
    /// The share of noise in the pluck: skin is soft, a nail scrapes.
    scrape: f32,
    /// How much of each sample the loop takes from its neighbour, 0 to 0.5: high overtones fade
    /// sooner the more it is.
    damping: f64,
}

impl Hand {
    fn of(touch: Touch) -> Self {
        let (place, brightness, scrape, damping) = match touch {
            Touch::Thumb => (0.31, 650.0, 0.08, 0.50),
            Touch::Down => (0.22, 1_700.0, 0.15, 0.42),
            Touch::Up => (0.16, 2_600.0, 0.15, 0.36),
            Touch::Roll => (0.15, 2_900.0, 0.20, 0.36),
            _ => (0.18, 2_200.0, 0.12, 0.38),
        };
        Self {
            place,
            brightness,
            scrape,
            damping,
        }
    }

    /// The pluck alone, in a row of `n_frames`: a two-pole pulse with some noise, less its echo from
    /// the bridge.
    fn pluck(self, hz: f64, noise: Noise, rate: SampleRate, n_frames: usize) -> Vec<f32> {
        let rate_hz = f64::from(rate.hz());
        let n_echo = count(self.place * rate_hz / hz).max(1);
        let n_pulse = frames(0.006, rate);
        let pulse = self.pulse(noise, rate, n_pulse);
        let mut samples = vec![0.0; n_frames];
        for (sample, x) in samples.iter_mut().zip(&pulse) {
            *sample += x;
        }
        for (sample, x) in samples.iter_mut().skip(n_echo).zip(&pulse) {
            *sample -= x;
        }
        samples
    }

    fn pulse(self, mut noise: Noise, rate: SampleRate, n_frames: usize) -> Vec<f32> {
        let pole = single((-TAU * self.brightness / f64::from(rate.hz())).exp());
        let fade = single((-5.0 / real(n_frames.max(1))).exp());
        let (mut first, mut second, mut scrape) = (0.0, 0.0, self.scrape);
        let mut last_grain = 0.0;
        (0..n_frames)
            .map(|n| {
                // The difference of grains has no low tones, so that chance does not change how
                // strongly the string is set moving.
                let grain = noise.next();
                let scraped = scrape * (grain - last_grain);
                last_grain = grain;
                let click = if n == 0 { 1.0 } else { scraped };
                scrape *= fade;
                first = click + pole * first;
                second = first + pole * second;
                second
            })
            .collect()
    }
}

/// One period of a string: `y[n] += gain · allpass(damping(y[n - delay]))`.
#[derive(Clone, Copy, Debug)]
struct Loop {
    delay: usize,
    damping: f32,
    allpass: f32,
    gain: f32,
}

impl Loop {
    /// The loop whose delays sum to a period of `hz` and whose gain makes it fade in `t60` seconds.
    fn tuned(hz: f64, t60: f64, damping: f64, rate: SampleRate) -> Self {
        let rate = f64::from(rate.hz());
        let w = TAU * hz / rate;
        let (re, im) = (1.0 - damping + damping * w.cos(), damping * w.sin());
        let rest = rate / hz - im.atan2(re) / w;
        // The all-pass is well behaved for delays of 0.3 to 1.3 samples.
        let delay = (rest - 0.3).floor();
        let fraction = rest - delay;
        let allpass = (w * (1.0 - fraction) / 2.0).sin() / (w * (1.0 + fraction) / 2.0).sin();
        let gain = factor(-60.0 / (t60 * hz)) / re.hypot(im);
        Self {
            delay: count(delay).max(1),
            damping: single(damping),
            allpass: single(allpass),
            gain: single(gain.min(0.999_99)),
        }
    }

    /// Lets `samples`, which holds the pluck, go round.
    fn run(self, samples: &mut [f32]) {
        let (mut before, mut last_in, mut last_out) = (0.0, 0.0, 0.0);
        let mut done = self.delay;
        while done < samples.len() {
            let (past, future) = samples.split_at_mut(done);
            let source = &past[done - self.delay..];
            for (y, &x) in future.iter_mut().zip(source) {
                let damped = x + self.damping * (before - x);
                before = x;
                // Each output waits for the last: what does not is computed apart.
                let ready = self.allpass * damped + last_in;
                last_out = ready - self.allpass * last_out;
                last_in = damped;
                *y += self.gain * last_out;
            }
            done += self.delay;
        }
    }
}

/// Fades the last `n_stop` samples to nothing, along a smooth step.
fn stop(samples: &mut [f32], n_stop: usize) {
    let start = samples.len().saturating_sub(n_stop);
    let tail = &mut samples[start..];
    let step = single(1.0 / real(tail.len().max(1)));
    let mut left = 1.0;
    for sample in tail {
        left = f32::max(left - step, 0.0);
        *sample *= left * left * (3.0 - 2.0 * left);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_loop_is_that_of_karplus_and_strong() {
        // Karplus and Strong 1983: y[n] = (y[n-4] + y[n-5]) / 2 of a unit impulse, by hand.
        let expected = [
            1.0, 0.0, 0.0, 0.0, 0.5, 0.5, 0.0, 0.0, 0.25, 0.5, 0.25, 0.0, 0.125, 0.375, 0.375,
            0.125, 0.0625, 0.25, 0.375, 0.25,
        ];
        // An all-pass of coefficient 0 is a delay of one sample.
        let plain = Loop {
            delay: 3,
            damping: 0.5,
            allpass: 0.0,
            gain: 1.0,
        };
        let mut samples = [0.0; 20];
        samples[0] = 1.0;
        plain.run(&mut samples);
        assert_eq!(samples, expected);
    }

    #[test]
    fn the_all_pass_is_exact_at_the_fundamental() {
        // For the delay that is left to it, after Jaffe and Smith 1983: A at 110 Hz and 48 kHz
        // needs 436.3636 samples, 0.5 of them in the damping.
        let tuned = Loop::tuned(110.0, 3.0, 0.5, SampleRate::HZ_48000);
        let w = TAU * 110.0 / 48_000.0;
        let a = f64::from(tuned.allpass);
        // The phase delay of (a + z⁻¹) / (1 + a z⁻¹).
        let phase = (w.sin()).atan2(a + w.cos()) - (a * w.sin()).atan2(1.0 + a * w.cos());
        let period = real(tuned.delay) + 0.5 + phase / w;
        assert!((period - 48_000.0 / 110.0).abs() < 1e-4, "{period}");
    }
}
