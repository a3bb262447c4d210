//! What hands are asked to do with a phrase, what they did, and how that is told.
//!
//! Read [`Asked`] first: parts, each a layer for one hand in some cycles, under claps that lead and a
//! course of the sound. [`Played`] is what was made of a part, judged by [`judge`](super::judge). The
//! kinds of question that are clapped only say which parts they ask.

mod along;
mod differs;
mod played;
mod rows;
mod sound;
mod tight;
mod told;

pub use along::{Along, ToClap};
pub(super) use differs::what_was_missed;
pub(super) use played::{Played, answer, played, timing};
pub(super) use rows::rows;
pub(super) use sound::{both, model_taps, own_claps, right_claps, sounding};
pub(super) use tight::what_was_done;
pub(super) use told::{verdict_words, what_was_asked, what_was_silent};

use super::judge::{Lead, Place};
use super::tap::Hand;
use super::{Answer, Course, Guide};
use crate::phrase::Touch;
use crate::rhythm::{Layer, Pulse};

/// What is known of the set-up and of the person before the taps are looked at.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Hands {
    /// The delay of the set-up was measured and taken off the taps.
    Tuned(Habit),
    /// It was not, or wanders: only what is clapped is judged, and never its timing.
    Untuned,
    /// Nothing is heard, so that there is no delay, and no timing to be judged.
    Unheard,
}

/// A person's own steady lead, as past sittings showed it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Habit {
    /// By how many milliseconds taps lie after what they clap; negative is early.
    pub lead_ms: i32,
    /// From how many questions that is known.
    pub n: u32,
}

impl Habit {
    /// The habit that these leads in milliseconds show, of the questions asked last: their median.
    pub fn of(leads_ms: &[i32]) -> Self {
        let mut sorted = leads_ms.to_vec();
        sorted.sort_unstable();
        Self {
            lead_ms: sorted.get(sorted.len() / 2).copied().unwrap_or(0),
            n: u32::try_from(sorted.len()).unwrap_or(u32::MAX),
        }
    }

    /// What it makes of a lead that is not known otherwise. One question says where somebody's taps
    /// lie within 30 ms or so, and many say it within 10 (common practice, no source).
    fn lead(self) -> Lead {
        let n = f64::from(self.n);
        // The mean of what was seen and of the tune-up, which counts as much as three questions.
        const AS_MANY: f64 = 3.0;
        let seen = f64::from(self.lead_ms) * 1_000.0 * n / (n + AS_MANY);
        Lead {
            micros: Lead::TUNED.micros + seen,
            spread: (Lead::TUNED.spread / (1.0 + n).sqrt()).max(15_000.0),
            contra: 0.0,
        }
    }
}

impl Hands {
    fn lead(self) -> Lead {
        match self {
            Self::Tuned(habit) => habit.lead(),
            Self::Untuned => Lead::UNKNOWN,
            // No way of a sound is in it. Where half a pulse is as short as a lead, claps are on the
            // count rather than between.
            Self::Unheard => Lead {
                micros: -20_000.0,
                spread: 30_000.0,
                contra: 1.0,
            },
        }
    }
}

/// What is asked of hands.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Asked {
    /// What each hand is to do when. Parts of one slot are one thing to get right.
    pub(super) parts: Vec<Part>,
    /// In which cycles claps lead.
    pub(super) guide: Guide,
    /// How the sound goes on.
    pub(super) course: Course,
    /// What calls for a change, and when.
    pub(super) call: Option<Called>,
}

/// A call for a change.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Called {
    /// The cycle in which it calls.
    pub(super) cycle: i64,
    pub(super) by: Caller,
}

/// What calls.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Caller {
    /// A bell on the first count.
    Bell,
    /// The guitar, which closes on this pulse, is silent for a cycle and begins again.
    Close(Pulse),
}

impl Asked {
    /// The right answer.
    pub(super) fn truth(&self) -> Answer {
        let slot = |slot| self.parts.iter().find(|part| part.slot == slot)?.layer;
        if self.parts.iter().any(|part| part.slot > 0) {
            Answer::Pair([slot(0), slot(1)])
        } else {
            Answer::Hands(slot(0))
        }
    }
}

/// A layer for one hand.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Part {
    /// Which answer it belongs to, from 0.
    pub(super) slot: usize,
    pub(super) hand: Hand,
    /// What it strikes; `None` where it rests.
    pub(super) layer: Option<Layer>,
    pub(super) place: Place,
    /// It is asked from this cycle on, and before that one.
    pub(super) asked: (i64, i64),
    /// It is judged from this cycle on, and before that one: joining in, and going over to something
    /// else, may take a cycle.
    pub(super) judged: (i64, i64),
}

impl Part {
    /// A layer in all cycles before the `end`, on its pulses.
    pub(super) fn whole(slot: usize, hand: Hand, layer: Layer, end: i64) -> Self {
        Self {
            slot,
            hand,
            layer: Some(layer),
            place: Place::On,
            asked: (0, end),
            judged: (1, end),
        }
    }

    /// The same up to the change that a bell in cycle `call` asks for, at the next first count.
    pub(super) fn until(self, call: i64) -> Self {
        Self {
            asked: (self.asked.0, call + 1),
            judged: (self.judged.0, call + 1),
            ..self
        }
    }

    /// The same from that change on.
    pub(super) fn after(self, call: i64) -> Self {
        Self {
            asked: (call + 1, self.asked.1),
            judged: (call + 2, self.judged.1),
            ..self
        }
    }
}

/// How the claps of a hand sound, so that two can be told apart.
fn touch(hand: Hand) -> Touch {
    match hand {
        Hand::Either | Hand::Left => Touch::Sorda,
        Hand::Right => Touch::Clara,
    }
}
