//! *Catch the turn.* A phrase passes from one feel to the other, or does not: in which cycle?
//!
//! Where it stays turned, right is the cycle or the one beside it, and the likely wrong answer is two
//! cycles and more late, since a reading is kept once it is there. Where it turns for one cycle alone
//! (hemiola), right is that cycle, and the likely wrong answer the one after: it is noticed when it has
//! gone.

use crate::phrase::{Level, NoPhrase, Phrase, Purpose, Recipe, Turning, Wanted, make};
use crate::rhythm::{Counting, Feel, Layer};
use crate::world::Seed;

use super::name_feel;
use crate::quiz::Answer;
use crate::quiz::question::{Question, Task};

/// In one of so many questions nothing turns.
const NO_TURN_IN: usize = 5;
const NO_HEMIOLA_IN: usize = 3;
/// A reading needs so many cycles to be there, and to be given up.
const LEAST_A_SIDE: i64 = 2;

pub(in crate::quiz) fn ask(
    recipe: &Recipe,
    level: Level,
    turning: Turning,
    (lately, seed): (&[Answer], Seed),
) -> Result<Question, NoPhrase> {
    let mut dice = seed.child("turn", 0).dice();
    let (one_in, sides): (usize, &[Feel]) = match turning {
        Turning::Once => (NO_TURN_IN, &[Feel::Threes, Feel::Twos]),
        Turning::Hemiola => (NO_HEMIOLA_IN, &[Feel::Threes]),
    };
    let steady = dice.one_in(one_in) && lately.last() != Some(&Answer::Turn(None));
    let (fewest, _) = recipe.cycles();
    let last = i64::from(fewest) - LEAST_A_SIDE;
    let at = u8::try_from(dice.between(LEAST_A_SIDE, last)).unwrap_or(2);
    let feel = if steady {
        *dice.pick(sides).expect("a feel")
    } else {
        Feel::InTurn
    };
    let wanted = Wanted {
        feel,
        level,
        knocks: None,
        purpose: if steady {
            Purpose::NameFeel
        } else {
            Purpose::CatchTurn { at, turning }
        },
    };
    let measured = make(recipe, &wanted, seed)?;
    let truth = (!steady).then_some(at);
    Ok(Question::made(measured, Task::CatchTurn { truth, turning }))
}

/// What is offered: that it does not turn, and every cycle but the first.
pub(in crate::quiz) fn choices(phrase: &Phrase, turning: Turning) -> Vec<String> {
    let (none, at) = match turning {
        Turning::Once => ("it does not turn", "from cycle"),
        Turning::Hemiola => ("they do not come", "in cycle"),
    };
    let turns = (2..=phrase.n_cycles).map(|cycle| format!("{at} {cycle}"));
    std::iter::once(none.to_owned()).chain(turns).collect()
}

/// What a choice says.
pub(in crate::quiz) fn chosen(phrase: &Phrase, idx: usize) -> Option<Answer> {
    let idx = u8::try_from(idx).ok()?;
    let n_cycles = u8::try_from(phrase.n_cycles).unwrap_or(u8::MAX);
    match idx {
        0 => Some(Answer::Turn(None)),
        idx if idx < n_cycles => Some(Answer::Turn(Some(idx))),
        _ => None,
    }
}

/// Whether an answer is near enough.
pub(in crate::quiz) fn is_right(truth: Option<u8>, turning: Turning, answer: Answer) -> bool {
    let within = match turning {
        Turning::Once => 1,
        Turning::Hemiola => 0,
    };
    match (truth, answer) {
        (Some(truth), Answer::Turn(Some(said))) => truth.abs_diff(said) <= within,
        (truth, Answer::Turn(said)) => truth == said,
        _ => false,
    }
}

/// The claps of a turn in a cycle, from the side on which the phrase begins.
pub(in crate::quiz) fn claps(question: &Question, at: Option<u8>, turning: Turning) -> Vec<Layer> {
    let phrase = question.phrase();
    let own = name_feel::claps(question, phrase.feel);
    let Some(first) = own.first().copied() else {
        return Vec::new();
    };
    let [threes, twos] = [3, 2].map(|every| Layer::every(phrase.cycle, every));
    let other = if first == threes { twos } else { threes };
    let n_cycles = u8::try_from(phrase.n_cycles).unwrap_or(u8::MAX);
    let layer = |cycle: u8| match at {
        Some(at) if cycle == at || (cycle > at && turning == Turning::Once) => other,
        _ => first,
    };
    (0..n_cycles).map(layer).collect()
}

/// In words.
pub(in crate::quiz) fn words(at: Option<u8>, turning: Turning) -> String {
    match (at, turning) {
        (Some(at), Turning::Once) => format!("it turned in cycle {}", u32::from(at) + 1),
        (Some(at), Turning::Hemiola) => format!("three twos came in cycle {}", u32::from(at) + 1),
        (None, Turning::Once) => "it did not turn".to_owned(),
        (None, Turning::Hemiola) => "no three twos came".to_owned(),
    }
}

/// What gave it away.
pub(in crate::quiz) fn reason(question: &Question, counting: Counting) -> String {
    name_feel::reason(question, counting)
}
