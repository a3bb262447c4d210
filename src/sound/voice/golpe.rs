//! The knock on the guitar's top: with the nail, a click and the wood under it; with the flesh, the
//! wood alone.

use super::Noise;
use super::partial::ring;
use crate::pcm::SampleRate;
use crate::sound::filter::Biquad;
use crate::sound::units::{frames, single};

/// What knocks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Finger {
    /// The nail, hard and quick.
    Nail,
    /// The flesh, which lies on the wood for longer and shakes only what is slow.
    Flesh,
}

/// The wood's shapes as (hertz, seconds in which it fades to a third, share for the nail, share for
/// the flesh). Higher and much shorter than a bass note, so that a knock is never taken for one.
const MODES: [(f64, f64, f32, f32); 5] = [
    (168.0, 0.022, 0.5, 0.8),
    (271.0, 0.018, 0.8, 0.45),
    (430.0, 0.014, 0.7, 0.14),
    (690.0, 0.009, 0.5, 0.03),
    (1_150.0, 0.006, 0.4, 0.0),
];
/// Seconds that a knock lasts.
const LENGTH: f64 = 0.14;

/// One knock.
pub(super) fn knock(finger: Finger, mut noise: Noise, rate: SampleRate) -> Vec<f32> {
    let mut samples = touch(finger, &mut noise, rate);
    for (hz, seconds, nail, flesh) in MODES {
        // No two knocks fall on quite the same spot.
        let hz = hz * noise.between(0.985, 1.015);
        let share = match finger {
            Finger::Nail => nail,
            Finger::Flesh => flesh,
        };
        ring(&mut samples, hz, seconds, share, rate);
    }
    samples
}

/// What the finger itself is heard to do: the click of a nail, the pat of flesh.
fn touch(finger: Finger, noise: &mut Noise, rate: SampleRate) -> Vec<f32> {
    let (hz, seconds, strength) = match finger {
        Finger::Nail => (1_700.0, 0.005, 0.9),
        Finger::Flesh => (320.0, 0.008, 0.8),
    };
    let mut band = Biquad::band(hz, 0.7, rate);
    let fade = single((-1.0 / (seconds * f64::from(rate.hz()))).exp());
    let mut loud = strength;
    (0..frames(LENGTH, rate))
        .map(|n| {
            let grain = if n == 0 { 1.0 } else { noise.next() };
            loud *= fade;
            band.next(loud * grain)
        })
        .collect()
}
