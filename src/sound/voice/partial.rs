//! Fading sines, of which knocks and bells are made.

use std::f64::consts::TAU;

use crate::pcm::SampleRate;
use crate::sound::units::single;

/// Adds to `samples` a sine of `hz` that starts from rest and fades to a third in `seconds`.
pub(super) fn ring(samples: &mut [f32], hz: f64, seconds: f64, share: f32, rate: SampleRate) {
    let rate = f64::from(rate.hz());
    // A second-order recursion costs two products a sample, where a sine would cost fifty.
    let r = (-1.0 / (seconds * rate)).exp();
    let w = TAU * hz / rate;
    let (a1, a2) = (single(2.0 * r * w.cos()), single(-r * r));
    let (mut y1, mut y2) = (0.0, single(-w.sin() / r));
    for sample in samples {
        let y = a1 * y1 + a2 * y2;
        (y2, y1) = (y1, y);
        *sample += share * y;
    }
}
