//! The wooden body that the strings shake.
//!
//! A few fixed resonances are what makes strings of any pitch sound like one instrument: the air in
//! the hole near 100 Hz, the top near 200 Hz and its higher shapes (Fletcher and Rossing, "The
//! physics of musical instruments", 1998, chapter 9, for the first two; the rest our own starting values, not yet judged by ear).

use super::filter::Bands;
use crate::pcm::SampleRate;

/// Resonances as (hertz, sharpness, share against the dry string).
const MODES: [(f64, f64, f64); 8] = [
    (102.0, 9.0, 0.75),
    (201.0, 11.0, 0.80),
    (288.0, 10.0, 0.45),
    (412.0, 12.0, 0.55),
    (560.0, 10.0, 0.30),
    (745.0, 9.0, 0.30),
    (1_020.0, 6.0, 0.22),
    (2_350.0, 1.6, 0.18),
];

/// The resonances of the body, running.
#[derive(Clone, Copy, Debug)]
pub(in crate::sound) struct Body(Bands<8>);

impl Body {
    /// A body at rest.
    pub(in crate::sound) fn new(rate: SampleRate) -> Self {
        Self(Bands::new(MODES, rate))
    }

    /// What the body adds to the string `x`.
    #[inline]
    pub(in crate::sound) fn next(&mut self, x: f32) -> f32 {
        self.0.next(x)
    }
}
