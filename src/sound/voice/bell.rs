//! A small bell that marks a count for the learner.

use super::partial::ring;
use crate::pcm::SampleRate;
use crate::phrase::Pitch;
use crate::sound::units::{frames, real, single};

/// The partials of a struck bar, free at both ends, as (ratio, share): its shapes have the
/// frequencies 1 : 2.756 : 5.404 (Rayleigh, "The theory of sound", 1877, § 170).
const PARTIALS: [(f64, f32); 3] = [(1.0, 1.0), (2.756, 0.35), (5.404, 0.12)];
/// Seconds that a bell lasts, and in which its lowest partial fades to a third.
const LENGTH: f64 = 0.5;
const FADE: f64 = 0.11;

/// One stroke on a bell tuned to `pitch`.
pub(super) fn strike(pitch: Pitch, rate: SampleRate) -> Vec<f32> {
    let hz = 440.0 * 2.0_f64.powf((f64::from(pitch.0) - 69.0) / 12.0);
    let mut samples = vec![0.0; frames(LENGTH, rate)];
    for (ratio, share) in PARTIALS {
        // What the rate cannot carry is left out, as it would come back at a wrong pitch.
        if hz * ratio < 0.45 * f64::from(rate.hz()) {
            ring(&mut samples, hz * ratio, FADE / ratio.sqrt(), share, rate);
        }
    }
    let last = real(samples.len().max(1));
    for (n, sample) in samples.iter_mut().enumerate() {
        *sample *= single(1.0 - real(n) / last);
    }
    samples
}
