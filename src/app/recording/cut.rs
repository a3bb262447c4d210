//! A passage as it is in the recording, stretched as far as it is wanted.
//!
//! Read [`Cut`] first. Of a long passage only the beginning is decoded at first, so that it can sound
//! at once; the whole follows when more is wanted.

use std::sync::Arc;

use super::{Open, Passage};
use crate::listen::Sound;
use crate::pcm::decode::{self, DecodeError};
use crate::pcm::{Frame, Pcm, SampleRate, Speed, Stretching, resampled};
use crate::sound::passage_gain;

/// Seconds that are decoded at first.
const BEGINNING: f64 = 8.0;
/// Seconds at the end of the beginning that are not played, since stretching looks ahead.
const LOOKED_AHEAD: f64 = 2.0;
/// The most by which a passage is told to differ from its beginning, in decibels.
const MOST_OTHER: f64 = 20.0;

/// A passage as it is in the recording, and how much of it is stretched.
pub(super) struct Cut {
    open: Open,
    /// From where and for how long, in seconds.
    span: (f64, f64),
    /// The whole, or its beginning.
    sound: Arc<Pcm>,
    is_whole: bool,
    gain: f32,
    speed: Speed,
    stretching: Stretching<Arc<Pcm>>,
    /// What came of it so far, interleaved.
    stretched: Vec<f32>,
}

impl Cut {
    pub(super) fn of(passage: &Passage, rate: SampleRate) -> Result<Self, DecodeError> {
        let span = (passage.begins(), passage.seconds());
        let heard = passage.heard.as_ref();
        // Without knowing how loud the rest is, the whole has to be measured.
        let heard = heard.filter(|_| span.1 > 2.0 * BEGINNING);
        let n_seconds = heard.map_or(span.1, |_| BEGINNING);
        let sound = Arc::new(cut((passage.open)()?, span.0, n_seconds, rate)?);
        let other = heard.map_or(1.0, |heard| as_loud_as_beginning(heard, span));
        Ok(Self {
            open: Arc::clone(&passage.open),
            span,
            is_whole: heard.is_none(),
            gain: passage_gain(&sound) * other,
            speed: passage.speed,
            stretching: Stretching::new(Arc::clone(&sound), passage.speed),
            sound,
            stretched: Vec::new(),
        })
    }

    pub(super) fn is_of(&self, passage: &Passage, rate: SampleRate) -> bool {
        Arc::ptr_eq(&self.open, &passage.open)
            && self.span == (passage.begins(), passage.seconds())
            && self.sound.rate() == rate
    }

    /// The same, at a speed.
    pub(super) fn at(self, speed: Speed) -> Self {
        if self.speed == speed {
            return self;
        }
        Self {
            speed,
            stretching: Stretching::new(Arc::clone(&self.sound), speed),
            stretched: Vec::new(),
            ..self
        }
    }

    /// The factor that brings it to the common loudness.
    pub(super) fn gain(&self) -> f32 {
        self.gain
    }

    /// What is stretched, interleaved.
    pub(super) fn stretched(&self) -> &[f32] {
        &self.stretched
    }

    pub(super) fn has(&self, n_frames: usize) -> bool {
        self.stretched.len() >= 2 * n_frames
    }

    /// Stretches until so many frames are there, or all.
    pub(super) fn stretch_to(&mut self, n_frames: usize) -> Result<(), DecodeError> {
        if !self.is_whole && n_frames > self.n_of_beginning() {
            self.take_whole()?;
        }
        while !self.has(n_frames) {
            let Some(chunk) = self.stretching.next() else {
                break;
            };
            self.stretched.extend_from_slice(chunk.samples());
        }
        Ok(())
    }

    /// How many stretched frames the beginning is good for.
    fn n_of_beginning(&self) -> usize {
        let rate = self.sound.rate();
        let until = Frame(i64::try_from(frames(BEGINNING - LOOKED_AHEAD, rate)).unwrap_or(0));
        usize::try_from(self.speed.later(until).0).unwrap_or(0)
    }

    /// Decodes the whole; its stretching begins anew and comes to the same.
    fn take_whole(&mut self) -> Result<(), DecodeError> {
        let (from, seconds) = self.span;
        self.sound = Arc::new(cut((self.open)()?, from, seconds, self.sound.rate())?);
        self.stretching = Stretching::new(Arc::clone(&self.sound), self.speed);
        self.stretched = Vec::new();
        self.is_whole = true;
        Ok(())
    }
}

/// The factor that makes a passage as loud as its beginning is.
fn as_loud_as_beginning(heard: &Sound, (from, seconds): (f64, f64)) -> f32 {
    let beginning = heard.level(from, from + BEGINNING);
    let whole = heard.level(from, from + seconds);
    let decibels = whole.zip(beginning).map_or(0.0, |(w, b)| b - w);
    let decibels = decibels.clamp(-MOST_OTHER, MOST_OTHER);
    #[expect(
        clippy::cast_possible_truncation,
        reason = "a gain in single precision"
    )]
    let factor = 10.0_f64.powf(decibels / 20.0) as f32;
    factor
}

/// So many seconds of a recording from a time on, in stereo at `rate`.
pub(in crate::app) fn cut(
    mut recording: decode::Recording,
    from: f64,
    seconds: f64,
    rate: SampleRate,
) -> Result<Pcm, DecodeError> {
    recording.seek(from)?;
    let own_rate = recording.rate();
    let wanted = 2 * frames(seconds, own_rate);
    let mut samples = Vec::with_capacity(wanted);
    while samples.len() < wanted {
        let Some(block) = recording.next_block() else {
            break;
        };
        match recording.n_channels() {
            2 => samples.extend(block),
            _ => samples.extend(block.iter().flat_map(|x| [*x, *x])),
        }
    }
    samples.truncate(wanted);
    Ok(resampled(&Pcm::stereo(own_rate, samples), rate))
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "frames of a passage"
)]
fn frames(seconds: f64, rate: SampleRate) -> usize {
    (seconds * f64::from(rate.hz())).round().max(0.0) as usize
}
