//! *Name the clapping.* Somebody claps along with the guitar: on which counts?
//!
//! Right is what is clapped. Claps are the softer the harder the level, so that they have to be heard
//! out of the guitar. The lesson is the stroke on five: the likely wrong answers have a neighbour of
//! it, or none.

use crate::phrase::{Level, NoPhrase, Phrase, Purpose, Recipe, Touch, Voice, Wanted, make};
use crate::rhythm::{Counting, Layer};
use crate::world::Seed;

use crate::quiz::Answer;
use crate::quiz::question::{Question, Task, without_a_run};
use crate::quiz::reveal::{on_counts, sentence};

/// The most clappings that are offered at once.
pub(in crate::quiz) const MOST_OFFERED: usize = 6;
/// The level at which claps are as loud as they are elsewhere, in tenths of a decibel.
const FULL_TENTHS: i16 = 80;

pub(in crate::quiz) fn ask(
    recipe: &Recipe,
    level: Level,
    clappings: &[Layer],
    lately: &[Answer],
    seed: Seed,
) -> Result<Question, NoPhrase> {
    let mut dice = seed.child("clapping", 0).dice();
    let open = without_a_run(clappings, lately, Answer::Clapping);
    let truth = dice.pick(&open).copied();
    let truth = truth.unwrap_or_else(|| Layer::every(recipe.pattern().cycle(), 3));
    let wanted = Wanted {
        feel: *dice.pick(recipe.feels()).expect("a recipe has a feel"),
        // The guitar is no riddle here: it states its feel however soft the claps are.
        level: Level::of_tenths(FULL_TENTHS),
        knocks: None,
        purpose: Purpose::NameFeel,
    };
    let measured = make(recipe, &wanted, seed)?.at_level(level);
    // Answers keep their order from question to question, so that a finger learns its place.
    let choices = clappings.iter().copied().take(MOST_OFFERED).collect();
    Ok(Question::made(
        measured,
        Task::NameClapping { choices, truth },
    ))
}

/// The phrase under the claps, softer by as much as the level is below the full one.
pub(in crate::quiz) fn sound(phrase: &Phrase, truth: Layer, level: Level) -> Phrase {
    let mut sound = phrase.clapped(&[truth], Touch::Sorda);
    let softer = FULL_TENTHS.saturating_sub(level.tenths()).max(0);
    let claps = sound
        .notes
        .iter_mut()
        .filter(|note| note.voice == Voice::Claps);
    claps.for_each(|clap| clap.loudness.0 -= softer);
    sound
}

/// Where the claps came.
pub(in crate::quiz) fn reason(truth: Layer, counting: Counting) -> String {
    let cycle = truth.cycle();
    let [threes, twos] = [3, 2].map(|every| Layer::every(cycle, every));
    let came = sentence(&format!("the claps came {}", on_counts(truth, counting)));
    let five = truth
        .pulses()
        .filter(|pulse| twos.contains(*pulse) && !threes.contains(*pulse));
    match Layer::on(cycle, five).ok().filter(|_| truth != twos) {
        Some(five) => {
            let (strokes, are) = match five.n_onsets() {
                1 => ("stroke", "is one"),
                _ => ("strokes", "are"),
            };
            let on = on_counts(five, counting);
            format!("{came} The {strokes} {on} {are} of the twos.")
        }
        None => came,
    }
}
