//! Hands along with something that sounds, outside of any sitting: judged as on phrases, and not kept.

use super::{Asked, Hands, Part, answer, played, rows, verdict_words, what_was_done};
use crate::phrase::Phrase;
use crate::quiz::tap::{Hand, Tap};
use crate::quiz::{Course, GridRow, Guide};
use crate::rhythm::{Counting, Layer};

/// What came of hands that were to clap a layer.
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
    /// cycle, and from the second on the layer was to be held.
    pub fn of(
        phrase: &Phrase,
        layer: Layer,
        taps: &[Tap],
        hands: Hands,
        counting: Counting,
    ) -> Self {
        let whole = Part::whole(0, Hand::Either, layer, i64::from(phrase.n_cycles));
        let asked = Asked {
            parts: vec![whole],
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
