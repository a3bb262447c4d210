//! One answered question, as it is kept for ever.
//!
//! An [`Attempt`] is never changed after it is written, and it reads without the generator that made
//! its phrase: the phrase stands in it in one line.

use std::fmt;

use crate::phrase::Level;
use crate::rhythm::{Feel, Layer, Tempo};
use crate::world::{Day, Moment, Seed};

use super::{Hand, Kind, Owner};

/// What is scheduled: one learner's memory of one exercise. `deck/exercise`.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Skill(pub Box<str>);

impl fmt::Display for Skill {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&self.0)
    }
}

/// Names one attempt for good: merging logs is set union over these.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct AttemptId {
    /// The store in which it was made, a random number drawn when that store was.
    pub install: u64,
    /// The sitting, numbered from 1 in that store.
    pub sitting: u32,
    /// Its place in the sitting, from 1.
    pub number: u32,
}

/// Which part of a block a question belongs to.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Phase {
    /// At the exercise's own criterion level: what the memory is judged by.
    Probe,
    /// At the level where the learner is right about five times in six.
    Adaptive,
    /// More of what is not due, to fill the time.
    Fill,
}

/// What was true of a question, or what was answered to it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Answer {
    /// The feel.
    Feel(Feel),
    /// The pulse of the phrase's frame, from 0, that is the start of the cycle or on which it came
    /// in; `None` when taps pointed to no pulse.
    Start(Option<u8>),
    /// The clapping.
    Clapping(Layer),
    /// The layer that hands clapped to the end; `None` where they held none.
    Hands(Option<Layer>),
    /// The same for the left hand and the right, or for before a call and after it.
    Pair([Option<Layer>; 2]),
    /// Whose stroke it was.
    Owner(Owner),
    /// The counts that were marked; `None` where none was.
    Marks(Option<Layer>),
    /// The cycle from 0 in which it turned; `None` where it did not.
    Turn(Option<u8>),
}

/// A tap as it is kept.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct KeptTap {
    /// Milliseconds from tick zero, as played.
    pub ms: i32,
    /// With which hand.
    pub hand: Hand,
}

/// How taps lay, where that could be measured.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct KeptTiming {
    /// By how many milliseconds they lay after what they struck on the mean; negative is early.
    pub lead_ms: i32,
    /// Their spread around it, in tenths of a millisecond.
    pub spread_tenths: u32,
    /// A pulse, in milliseconds.
    pub pulse_ms: u32,
    /// How many taps.
    pub n: u32,
}

impl KeptTiming {
    /// The spread as a share of a pulse.
    pub fn of_pulse(self) -> f64 {
        f64::from(self.spread_tenths) / 10.0 / f64::from(self.pulse_ms.max(1))
    }
}

/// One answered question.
#[derive(Clone, Debug, PartialEq)]
pub struct Attempt {
    /// Its name.
    pub id: AttemptId,
    /// What was practised.
    pub skill: Skill,
    /// The kind of question.
    pub kind: Kind,
    /// When it was answered; never earlier than the attempt before it in the same store.
    pub at: Moment,
    /// When it was answered by the wall clock, as it stood.
    pub wall: Moment,
    /// Milliseconds since the sitting began, by a clock that never goes back.
    pub since_start_ms: u32,
    /// Minutes by which local time was ahead of UTC.
    pub offset_min: i32,
    /// The learning day, kept and never derived again.
    pub day: Day,
    /// The block of the sitting, from 1.
    pub block: u32,
    /// Which part of the block.
    pub phase: Phase,
    /// How strong the cues were.
    pub level: Level,
    /// The level at which the exercise counts as learnt, as it stood then.
    pub criterion: Level,
    /// How fast the phrase went.
    pub tempo: Tempo,
    /// How many answers were offered; 0 where the answer was tapped.
    pub alternatives: u8,
    /// What was true.
    pub truth: Answer,
    /// What was answered.
    pub answer: Answer,
    /// Whether that is right.
    pub right: bool,
    /// Cycles heard until the answer, in tenths.
    pub heard_tenths: u32,
    /// Milliseconds from the end of the first cycle to the answer; 0 when it came sooner.
    pub answer_ms: u32,
    /// How often the phrase was asked for again.
    pub replays: u8,
    /// The taps; empty where nothing was tapped.
    pub taps: Vec<KeptTap>,
    /// How they lay; `None` where the delay of the set-up was not known, or nothing was clapped.
    pub timing: Option<KeptTiming>,
    /// What the phrase was made from.
    pub seed: Seed,
    /// The version of the generator that made it.
    pub generator: u32,
    /// The phrase written out in one line.
    pub phrase: String,
}
