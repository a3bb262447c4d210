//! Hand claps by a few people, dull or bright.
//!
//! A clap is a burst of air shaped by the hollow between the hands: cupped hands (sordas) ring low
//! and dull, fingers on the palm (claras) high and short. Repp (1987, "The sound of two hands
//! clapping") found the peak of the spectrum between about 0.75 and 2 kHz by the position of the
//! hands; the bands here follow that, the rest are our own starting values, not yet judged by ear.

use super::Noise;
use crate::pcm::SampleRate;
use crate::sound::filter::Biquad;
use crate::sound::units::{count, frames, single};

/// How the hands meet.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Kind {
    /// Cupped.
    Sorda,
    /// Fingers on the palm.
    Clara,
}

/// How many people clap together.
const PEOPLE: usize = 3;
/// Seconds within which all have clapped: too close to be heard one by one.
const SPREAD: f64 = 0.0036;
/// Seconds that a clap lasts.
const LENGTH: f64 = 0.13;

/// One clap of all people; the first of them claps on the first sample.
pub(super) fn clap(kind: Kind, mut noise: Noise, rate: SampleRate) -> Vec<f32> {
    let mut samples = vec![0.0; frames(LENGTH, rate)];
    for person in 0..PEOPLE {
        let late = match person {
            0 => 0.0,
            _ => noise.between(0.15, 1.0) * SPREAD,
        };
        let n_late = count(late * f64::from(rate.hz()));
        if let Some(rest) = samples.get_mut(n_late..) {
            one(kind, &mut noise, rest, rate);
        }
    }
    samples
}

/// Adds the clap of one person.
fn one(kind: Kind, noise: &mut Noise, samples: &mut [f32], rate: SampleRate) {
    let (hz, q, seconds) = match kind {
        Kind::Sorda => (noise.between(680.0, 930.0), 1.5, 0.016),
        Kind::Clara => (noise.between(1_600.0, 2_500.0), 1.1, 0.011),
    };
    let mut hollow = Biquad::band(hz, q, rate);
    let mut skin = Biquad::band(1.25 * hz, 0.8 * q, rate);
    let fade = single((-1.0 / (seconds * f64::from(rate.hz()))).exp());
    // People clap a little more or less strongly.
    let mut loud = single(noise.between(0.7, 1.0));
    for (n, sample) in samples.iter_mut().enumerate() {
        let grain = if n == 0 { 1.0 } else { noise.next() };
        *sample += skin.next(hollow.next(loud * grain));
        loud *= fade;
    }
}
