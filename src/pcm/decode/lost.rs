//! What a recording lost, and why there may be none at all.

use std::fmt;
use std::io;

/// Why nothing can be heard of a recording.
#[derive(Debug, thiserror::Error)]
pub enum DecodeError {
    /// There is not a byte in it.
    #[error("the file is empty")]
    Empty,
    /// It is no recording of a kind that is known here.
    #[error("no recording: WAV, AIFF, FLAC, MP3, Ogg Vorbis, or AAC or ALAC in MP4 was expected")]
    Unknown,
    /// It is of a kind that is known, in a variety that is not.
    #[error("a variety of recording that cannot be read ({0})")]
    Variety(&'static str),
    /// Its sound is coded in a way that is not known.
    #[error(
        "a recording whose sound is coded in a way that is not read; save it as WAV with plain \
         samples (PCM), or as FLAC"
    )]
    Coding,
    /// It has more than two channels in AAC, of which only one and two are read.
    #[error(
        "a recording of more than two channels in AAC, which are not read; save it with two, or as \
         WAV, FLAC, or ALAC in MP4"
    )]
    Channels,
    /// It is cut off before the index without which nothing of it can be found.
    #[error(
        "the recording is cut off, and with its end its index is missing, so that nothing can be heard"
    )]
    NoIndex,
    /// It is too damaged for anything to be heard.
    #[error("the recording is so damaged that nothing of it can be heard")]
    Damaged,
    /// It is whole and holds no sound.
    #[error("a recording without a sound in it")]
    NoFrames,
    /// Its rate is outside of [`RATES`](super::RATES).
    #[error("a recording of {hz} Hz; 8000 to 192000 Hz are read")]
    Rate {
        /// Frames a second.
        hz: u32,
    },
    /// It claims sizes that no recording has.
    #[error("the recording claims impossible sizes, so it is damaged")]
    Claims,
    /// It could not be read from where it lies.
    #[error("it could not be read: {0}")]
    Unreadable(#[from] io::Error),
}

/// Why a recording was over before its end.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum End {
    /// The file is shorter than it says.
    CutOff,
    /// Nothing could be made of what follows.
    Damaged,
    /// What follows could not be read from where it lies.
    Unreadable,
    /// What follows is later than [`LONGEST_SECONDS`](super::LONGEST_SECONDS).
    TooLong,
}

/// Whether a recording was read to its end.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Rest {
    /// As far as it goes.
    #[default]
    Read,
    /// It was given up: too damaged, too long, or not to be read from where it lies.
    GivenUp,
}

/// What of a recording could not be heard, as far as it was read.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Lost {
    /// Damaged or missing parts that were passed over; each is silent for as long as it would have
    /// sounded, where that is known.
    pub packets: u32,
    /// When the first of them would have sounded, in seconds.
    pub first: Option<f64>,
    /// Frames of silence that stand for them.
    pub silenced: u64,
    /// Samples that were no finite numbers, which are silent.
    pub samples: u64,
    /// Whether the rest was given up.
    pub rest: Rest,
    /// Why and at which second it was over too early.
    pub ended: Option<(End, f64)>,
}

impl Lost {
    /// Whether all was heard.
    pub fn is_nothing(&self) -> bool {
        *self == Self::default()
    }
}

/// One sentence for whoever recorded it, without a full stop; empty when nothing was lost.
impl fmt::Display for Lost {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut parts = Vec::new();
        if self.packets > 0 {
            let parts_of = if self.packets == 1 { "part" } else { "parts" };
            let at = self.first.unwrap_or(0.0);
            let from = if self.packets == 1 { "at" } else { "from" };
            let n = self.packets;
            parts.push(format!(
                "{n} damaged {parts_of} {from} second {at:.1} passed over"
            ));
        }
        if self.samples > 0 {
            let what = match self.samples {
                1 => "1 sample that is no number".to_owned(),
                n => format!("{n} samples that are no numbers"),
            };
            parts.push(format!("{what} made silent"));
        }
        if let Some((end, at)) = self.ended {
            let why = match end {
                End::CutOff => "the file is cut off",
                End::Damaged => "the rest is damaged",
                End::Unreadable => "the rest could not be read",
                End::TooLong => "the rest is not read",
            };
            parts.push(format!("it ends at second {at:.1} since {why}"));
        }
        f.write_str(&parts.join(", "))
    }
}
