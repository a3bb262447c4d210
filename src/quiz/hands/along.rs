//! Hands along with something that sounds, outside of any sitting: judged as on phrases, and not kept.

use super::{Asked, Hands, Part, answer, played, rows, verdict_words, what_was_done};
use crate::phrase::Phrase;
use crate::quiz::tap::{Hand, Tap};
use crate::quiz::{Course, GridRow, Guide};
use crate::rhythm::{Counting, Layer};

/// What hands are to clap.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ToClap {
    /// A layer, with either hand.
    One(Layer),
    /// A layer with each hand, the left one first.
    Two([Layer; 2]),
}

impl ToClap {
    fn parts(self, n_cycles: i64) -> Vec<Part> {
        match self {
            Self::One(layer) => vec![Part::whole(0, Hand::Either, layer, n_cycles)],
            Self::Two([left, right]) => vec![
                Part::whole(0, Hand::Left, left, n_cycles),
                Part::whole(1, Hand::Right, right, n_cycles),
            ],
        }
    }
}

/// What came of hands that were to clap along.
#[derive(Clone, Debug, PartialEq)]
pub struct Along {
    /// Whether they held it to the end.
    pub right: bool,
    /// That in words, and what they did.
    pub verdict: String,
    /// How tight it was, or why that is not said.
    pub timing: String,
    /// The names of the counts.
    pub counts: Vec<String>,
    /// What was asked and what was clapped, cycle by cycle.
    pub rows: Vec<GridRow>,
}

impl Along {
    /// Judges taps in the time of `phrase`, of which only cycle and pace count: claps led in the first
    /// cycle, and from the second on it was to be held.
    pub fn of(
        phrase: &Phrase,
        to_clap: ToClap,
        taps: &[Tap],
        hands: Hands,
        counting: Counting,
    ) -> Self {
        let asked = Asked {
            parts: to_clap.parts(i64::from(phrase.n_cycles)),
            guide: Guide::First,
            course: Course::Whole,
            call: None,
        };
        let played = played(phrase, &asked, taps, hands);
        let right = answer(&played) == asked.truth();
        let pulses = phrase.cycle.pulses();
        Self {
            right,
            verdict: verdict_words(right, &asked, &played, counting),
            timing: what_was_done(&played, hands),
            counts: pulses
                .map(|pulse| counting.name(phrase.cycle, pulse))
                .collect(),
            rows: rows(phrase, &asked, taps, &played),
        }
    }
}
