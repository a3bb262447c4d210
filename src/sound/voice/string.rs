//! A plucked string: extended Karplus-Strong.
//!
//! A pluck runs round a loop that is as long as a period: a delay, a one-pole damping filter and a
//! first-order all-pass (Karplus and Strong 1983; Jaffe and Smith 1983). The all-pass makes up the
//! fraction of a sample, exactly at the fundamental, so that tuning is within hundredths of a cent;
//! being longer than that fraction it also delays high overtones less, as a stiff string does.
//!
//! How soon overtones fade and how far they are stretched follows ranges measured on two real
//! guitars (`tests/reference/fixtures/real_sounds.json`), at the end of them where nylon lies.

use std::f64::consts::TAU;

use super::Stroke;
use super::hand::{self, Hand};
use crate::pcm::SampleRate;
use crate::phrase::{Pitch, Touch};
use crate::sound::units::{count, factor, frames, real, single};

/// Seconds in which a finger stops a string: short, and long enough not to click.
const STOP: f64 = 0.02;
/// The open strings in the usual tuning, from the lowest.
const OPEN: [u8; 6] = [40, 45, 50, 55, 59, 64];
/// Seconds that a string sounds which the hand stops as it strikes.
const STOPPED: f64 = 0.12;

/// The pluck of `stroke` on a string tuned to `pitch`, until it is stopped or has faded.
pub(super) fn pluck(stroke: Stroke, pitch: Pitch, rate: SampleRate) -> Vec<f32> {
    let hz = frequency(pitch, rate);
    let (open, fret) = usual_string(pitch);
    let is_stopped = stroke.touch == Touch::Stopped;
    let string = if is_stopped {
        Losses::under_the_hand()
    } else {
        Losses::ringing(frequency(open, rate), fret)
    };
    let n_stop = frames(STOP, rate);
    let n_frames = if is_stopped {
        frames(STOPPED, rate)
    } else {
        (stroke.n_held + n_stop).min(frames(1.3 * string.t60, rate))
    };
    let hand = Hand::of(stroke.touch);
    let mut samples = hand.pluck((hz, fret), stroke.noise, rate, n_frames);
    Loop::tuned(hz, string, rate).run(&mut samples);
    if is_stopped {
        hand::slap(&mut samples, stroke.noise, rate);
    }
    stop(&mut samples, n_stop);
    samples
}

/// The frequency of `pitch` in equal temperament with A at 440 Hz (ISO 16:1975), held to what the
/// loop can carry at this rate.
fn frequency(pitch: Pitch, rate: SampleRate) -> f64 {
    let hz = 440.0 * 2.0_f64.powf((f64::from(pitch.0) - 69.0) / 12.0);
    hz.min(f64::from(rate.hz()) / 12.0).max(1e-3)
}

/// The open string on which `pitch` is usually played, the highest that reaches it, and the fret.
fn usual_string(pitch: Pitch) -> (Pitch, f64) {
    let reaches = |open: &u8| *open <= pitch.0;
    let open = OPEN.into_iter().rev().find(reaches).unwrap_or(pitch.0);
    // No guitar has more frets.
    (Pitch(open), f64::from(pitch.0 - open).min(24.0))
}

/// How a string loses what the hand gave it.
#[derive(Clone, Copy, Debug)]
struct Losses {
    /// Seconds in which the fundamental fades by 60 dB.
    t60: f64,
    /// How much sooner overtones fade: the loss in each period grows with this and with the square
    /// of their frequency.
    damping: f64,
    /// The coefficient B by which stiffness stretches overtones, `n·f·√(1 + B·n²)` (Fletcher 1964).
    stiffness: f64,
}

impl Losses {
    /// Of the string that is tuned to `open` hertz, stopped at `fret`. Thick wound strings ring longer,
    /// and lose more of their overtones to the friction of the winding.
    fn ringing(open: f64, fret: f64) -> Self {
        let thin = open / 82.4;
        // Decibels a second. The finger on the fret takes its share.
        let rate = 7.0 * thin.powf(0.36) * (1.0 + 0.03 * fret);
        // The loop is gone through as often as the string is high.
        let short = 2.0_f64.powf(fret / 12.0);
        Self {
            t60: 60.0 / rate,
            damping: 0.75 * thin.powf(-2.0) / short,
            // Stiffness weighs more on a short string.
            stiffness: 3.5e-5 * short * short,
        }
    }

    /// Of a string on which the hand lies. What still sounds is gone before a pitch is heard.
    fn under_the_hand() -> Self {
        Self {
            t60: 0.045,
            damping: 3.0,
            stiffness: 0.0,
        }
    }
}

/// The pole whose low-pass takes `4.34 · damping · w²` decibels from a tone of `w` radians a sample:
/// the solution of `p / (1 - p)² = damping`.
fn pole(damping: f64) -> f64 {
    let half = 1.0 + 0.5 / damping;
    half - (half * half - 1.0).sqrt()
}

/// The delay of the all-pass, in samples, that stretches overtones as stiffness does, in a loop of
/// `period` samples. Its phase delay falls as `(d³ - d) w² / 12`; that this makes `f·B·n²/2` of the
/// overtones gives `d³ - d = B·period³ / 6.58`.
fn stretching(stiffness: f64, period: f64) -> f64 {
    let cube = stiffness * period.powi(3) / (TAU * TAU / 6.0);
    // Newton's steps from above; all-passes are well behaved for delays of 0.8 samples and more.
    let mut d = 1.0 + cube.cbrt();
    for _ in 0..8 {
        d -= (d.powi(3) - d - cube) / (3.0 * d * d - 1.0);
    }
    d.clamp(0.8, (0.25 * period).max(0.8))
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
    /// The loop whose delays sum to a period of `hz`, on a string that loses so much.
    fn tuned(hz: f64, string: Losses, rate: SampleRate) -> Self {
        let rate = f64::from(rate.hz());
        let w = TAU * hz / rate;
        let damping = pole(string.damping);
        let (re, im) = (1.0 - damping * w.cos(), damping * w.sin());
        let rest = rate / hz - im.atan2(re) / w;
        let least = stretching(string.stiffness, rate / hz) - 0.5;
        let delay = (rest - least).floor().max(1.0);
        let fraction = rest - delay;
        let allpass = (w * (1.0 - fraction) / 2.0).sin() / (w * (1.0 + fraction) / 2.0).sin();
        let gain = factor(-60.0 / (string.t60 * hz)) * re.hypot(im) / (1.0 - damping);
        Self {
            delay: count(delay).max(1),
            damping: single(damping),
            allpass: single(allpass),
            gain: single(gain.min(0.999_99)),
        }
    }

    /// Lets `samples`, which holds the pluck, go round.
    fn run(self, samples: &mut [f32]) {
        // Low-pass and all-pass in one recursion of second order.
        let (p, a) = (self.damping, self.allpass);
        let (now, then) = (self.gain * (1.0 - p) * a, self.gain * (1.0 - p));
        let (back, further) = (p - a, p * a);
        let (mut x1, mut y1, mut y2) = (0.0, 0.0, 0.0);
        let mut done = self.delay;
        while done < samples.len() {
            let (past, future) = samples.split_at_mut(done);
            let source = &past[done - self.delay..];
            for (sample, &x) in future.iter_mut().zip(source) {
                // Each output waits for the last: what does not is computed apart.
                let ready = now * x + then * x1 + further * y2;
                x1 = x;
                (y2, y1) = (y1, ready + back * y1);
                *sample += y1;
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
    fn the_loop_is_a_delay_a_low_pass_and_no_more() {
        // y[n] = (y[n-4] + y[n-1]) / 2 of a unit impulse, by hand.
        let expected = [
            1.0,
            0.0,
            0.0,
            0.0,
            0.5,
            0.25,
            0.125,
            0.0625,
            0.281_25,
            0.265_625,
            0.195_312_5,
            0.128_906_25,
        ];
        // An all-pass of coefficient 0 is a delay of one sample.
        let plain = Loop {
            delay: 3,
            damping: 0.5,
            allpass: 0.0,
            gain: 1.0,
        };
        let mut samples = [0.0; 12];
        samples[0] = 1.0;
        plain.run(&mut samples);
        assert_eq!(samples, expected);
    }

    /// How many samples a tone of `w` radians a sample takes once round.
    fn period(tuned: Loop, w: f64) -> f64 {
        let (a, p) = (f64::from(tuned.allpass), f64::from(tuned.damping));
        // The phase delays of (a + z⁻¹) / (1 + a z⁻¹) and of (1 - p) / (1 - p z⁻¹).
        let stretched = (w.sin()).atan2(a + w.cos()) - (a * w.sin()).atan2(1.0 + a * w.cos());
        let damped = (p * w.sin()).atan2(1.0 - p * w.cos());
        real(tuned.delay) + (stretched + damped) / w
    }

    fn tuned(pitch: u8) -> (f64, Loop) {
        let rate = SampleRate::HZ_48000;
        let (open, fret) = usual_string(Pitch(pitch));
        let hz = frequency(Pitch(pitch), rate);
        let string = Losses::ringing(frequency(open, rate), fret);
        (hz, Loop::tuned(hz, string, rate))
    }

    #[test]
    fn the_loop_is_exact_at_the_fundamental() {
        for pitch in 40..=88 {
            let (hz, tuned) = tuned(pitch);
            let period = period(tuned, TAU * hz / 48_000.0);
            let cents = 1_200.0 * (period * hz / 48_000.0).log2();
            assert!(cents.abs() < 0.02, "{pitch}: {cents}");
        }
    }

    #[test]
    fn overtones_are_stretched_as_by_stiffness() {
        // f_n = n f √(1 + B n²), Fletcher 1964, for open strings.
        for pitch in OPEN {
            let (hz, tuned) = tuned(pitch);
            let n = 8.0;
            let mut overtone = n * hz;
            for _ in 0..20 {
                overtone = n * 48_000.0 / period(tuned, TAU * overtone / 48_000.0);
            }
            let b = ((overtone / (n * hz)).powi(2) - 1.0) / (n * n - 1.0);
            assert!((2e-5..5e-5).contains(&b), "{pitch}: {b}");
        }
    }

    #[test]
    fn a_pitch_is_played_on_the_thinnest_string_that_has_it() {
        for (pitch, open, fret) in [(40, 40, 0.0), (44, 40, 4.0), (45, 45, 0.0), (76, 64, 12.0)] {
            assert_eq!(usual_string(Pitch(pitch)), (Pitch(open), fret));
        }
    }
}
