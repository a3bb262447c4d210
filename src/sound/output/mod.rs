//! The way out: playing sound and knowing what is heard when.
//!
//! Read [`Output`] first. Two things implement it: [`SilentOutput`], and with the cargo feature
//! `playback` the default sound device. Both take the same orders and keep the same time, so that
//! the program runs alike without a device.
//!
//! Positions are frames since a play's first frame, moments are stamps of the program's clock at
//! which a frame is *heard*, not when it was handed over.

#[cfg(feature = "playback")]
mod heard;
mod silent;

#[cfg(feature = "playback")]
pub(in crate::sound) use heard::HeardClock;
pub use silent::SilentOutput;

use std::sync::Arc;

use crate::pcm::{Frame, Frames, Growing, Pcm, SampleRate};
use crate::world::Stamp;

/// A sound as it is handed over.
#[derive(Clone, Debug)]
pub enum Samples {
    /// All of it is there.
    Whole(Arc<Pcm>),
    /// It can be heard while the rest is made.
    Growing(Arc<Growing>),
}

impl From<Arc<Pcm>> for Samples {
    fn from(pcm: Arc<Pcm>) -> Self {
        Self::Whole(pcm)
    }
}

impl Samples {
    /// Frames a second.
    pub fn rate(&self) -> SampleRate {
        match self {
            Self::Whole(pcm) => pcm.rate(),
            Self::Growing(growing) => growing.rate(),
        }
    }

    /// How long it is.
    pub fn n_frames(&self) -> Frames {
        match self {
            Self::Whole(pcm) => pcm.n_frames(),
            Self::Growing(growing) => growing.n_frames(),
        }
    }

    /// Left and right of a frame, of one channel on both sides; silent where there is none.
    #[cfg(feature = "playback")]
    pub(in crate::sound) fn frame(&self, frame: usize) -> [f32; 2] {
        match self {
            Self::Whole(pcm) => {
                let channels = usize::from(pcm.channels());
                let sample = |at| pcm.samples().get(at).copied().unwrap_or(0.0);
                let at = frame * channels;
                [sample(at), sample(at + usize::from(channels > 1))]
            }
            Self::Growing(growing) => growing.frame(frame),
        }
    }
}

/// How a sound begins.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Onset {
    /// As loud as it is.
    AtOnce,
    /// From quiet, within a second and a half: for the first sound of a sitting, so that a level set
    /// too high is noticed before it hurts.
    Rising,
}

/// What happens at the end of a sound.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Loop {
    /// It ends.
    Once,
    /// It begins again without a gap, until it is stopped.
    Round,
}

/// One order to play. A later one has a greater number.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct PlayId(pub u64);

/// How far a play has come.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Progress {
    /// Its first frame is not yet heard.
    Coming,
    /// It is heard.
    Sounding,
    /// It has come to its end or was stopped or replaced.
    Over,
}

/// Which frame of a play is heard at a moment.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Position {
    /// The play.
    pub play: PlayId,
    /// The frame heard, counted from the play's first and on through all rounds of a loop; negative
    /// before it.
    pub frame: Frame,
    /// When the play's first frame is heard, as the present second of the device tells it: this moves
    /// by fractions of a millisecond, and by as much as the device stands still.
    pub began: Stamp,
    /// How far it has come.
    pub progress: Progress,
}

/// How well an output keeps up. Compare two of them to learn what happened between.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub struct Health {
    /// How often the device ran dry, so that sound came late: a question that was asked meanwhile is
    /// spoilt.
    pub n_underruns: u64,
    /// Whether the device went away for good.
    pub lost: bool,
}

/// Why a sound is not played.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Refused {
    /// It has another rate than the output.
    #[error("sound at {found} frames a second for an output at {wanted}")]
    Rate {
        /// The rate of the output.
        wanted: u32,
        /// The rate of the sound.
        found: u32,
    },
    /// The device takes no more orders.
    #[error("the sound device does not answer")]
    Stuck,
}

/// There is no sound device that can be used.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("no sound device: {reason}")]
pub struct NoDevice {
    /// Why, in plain words.
    pub reason: String,
}

/// Plays one sound at a time and says which frame of it is heard when.
pub trait Output {
    /// What it is called, for people.
    fn name(&self) -> &str;

    /// Whether anything can be heard of it.
    fn is_heard(&self) -> bool {
        true
    }

    /// The rate that sound must have to be played here.
    fn rate(&self) -> SampleRate;

    /// Plays `sound` from its first frame, as soon as can be, in place of what sounds. Of more than two
    /// channels the first two are heard. Of a loop only the first round can rise.
    ///
    /// # Errors
    /// When the sound has another rate, or the device takes no orders.
    fn play(&mut self, sound: Samples, onset: Onset, repeat: Loop) -> Result<PlayId, Refused>;

    /// Plays `sound` in place of what sounds, without a gap, as soon as that comes to the end of one of
    /// its `parts` equal parts; from the same place when both are equally long, else from its first
    /// frame. At once when nothing sounds. Of several that were to follow the last is played.
    ///
    /// # Errors
    /// When the sound has another rate, or the device takes no orders.
    fn follow(&mut self, sound: Samples, repeat: Loop, parts: u32) -> Result<PlayId, Refused>;

    /// Ends what sounds within a few milliseconds.
    fn stop(&mut self);

    /// Which frame of the latest play is heard at `at`: now, or the moment of a tap of the last
    /// second or so. `None` before anything was played, and until the device has said when it will
    /// be heard.
    fn position(&mut self, at: Stamp) -> Option<Position>;

    /// How well it keeps up.
    fn health(&mut self) -> Health;
}

/// Refuses sound of another rate than `wanted`.
pub(in crate::sound) fn check_rate(sound: &Samples, wanted: SampleRate) -> Result<(), Refused> {
    if sound.rate() == wanted {
        Ok(())
    } else {
        Err(Refused::Rate {
            wanted: wanted.hz(),
            found: sound.rate().hz(),
        })
    }
}

/// A play as the side that gives orders remembers it.
#[derive(Clone, Copy, Debug)]
pub(in crate::sound) struct Playing {
    pub(in crate::sound) play: PlayId,
    pub(in crate::sound) n_frames: u64,
    repeat: Loop,
    /// Whether it was stopped.
    pub(in crate::sound) stopped: bool,
}

impl Playing {
    pub(in crate::sound) fn of(play: PlayId, sound: &Samples, repeat: Loop) -> Self {
        Self {
            play,
            n_frames: sound.n_frames().0,
            repeat,
            stopped: false,
        }
    }

    pub(in crate::sound) fn progress(&self, frame: Frame) -> Progress {
        let ended = self.repeat == Loop::Once
            && u64::try_from(frame.0).is_ok_and(|frame| frame >= self.n_frames);
        if self.stopped || ended || self.n_frames == 0 {
            Progress::Over
        } else if frame < Frame(0) {
            Progress::Coming
        } else {
            Progress::Sounding
        }
    }
}
