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
    /// The first cycle after that in which claps led, from 0, in which hands clapped; the first of all of
    /// those where they did not.
    pub begins: usize,
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
        let rows = rows(phrase, &asked, taps, &played);
        let made = rows.get(asked.parts.len()..).unwrap_or_default();
        let is_clapped = |cycle: &usize| {
            let mut marks = made.iter().flat_map(|row| row.marks(*cycle));
            marks.any(|mark| *mark != '.')
        };
        let n_cycles = usize::try_from(phrase.n_cycles).unwrap_or(0);
        let begins = (1..n_cycles).find(is_clapped).unwrap_or(1);
        Self {
            right,
            verdict: verdict_words(right, &asked, &played, counting),
            timing: what_was_done(&played, hands),
            counts: pulses
                .map(|pulse| counting.name(phrase.cycle, pulse))
                .collect(),
            rows,
            begins,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rhythm::{Cycle, Feel, Tempo};

    #[test]
    fn what_is_said_is_seen_in_the_cycle_that_is_looked_at_first() {
        let phrase = Phrase {
            cycle: Cycle::SIX,
            pace: Tempo::of_pulses_a_minute(200).expect("in range").into(),
            n_cycles: 8,
            entry: 0,
            feel: Feel::Either,
            notes: Vec::new(),
        };
        let layer = Layer::every(Cycle::SIX, 3);
        let along = |pulses: &[i64]| {
            let taps = pulses.iter().map(|pulse| Tap::at(300_000 * pulse));
            let taps: Vec<Tap> = taps.collect();
            let to_clap = ToClap::One(layer);
            Along::of(&phrase, to_clap, &taps, Hands::Untuned, Counting::FromOne)
        };
        let of_first = |along: &Along| {
            let you = along.rows.last().expect("a row");
            (
                along.begins,
                you.marks(along.begins).iter().collect::<String>(),
            )
        };
        // From the last pulse of the third cycle on, on 3 and 6.
        let late: Vec<i64> = (0..9).map(|nth| 17 + 3 * nth).collect();
        let late = along(&late);
        assert!(
            late.verdict.contains("You clapped on 3 and 6"),
            "{}",
            late.verdict
        );
        assert_eq!(of_first(&late), (2, ".....o".to_owned()));
        // In the first claps lead, whether hands join in or not.
        let all: Vec<i64> = (0..16).map(|nth| 3 * nth).collect();
        assert_eq!(of_first(&along(&all)), (1, "o..o..".to_owned()));
        assert_eq!(along(&[0, 3]).begins, 1);
        assert_eq!(along(&[]).begins, 1);
    }
}
