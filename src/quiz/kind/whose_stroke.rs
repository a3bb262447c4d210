//! *Whose stroke was that?* Threes and twos sound together, and a bell marks one pulse from the second
//! cycle on: is it a stroke of the threes, of the twos, of both or of neither?
//!
//! Right is what the layers have on that pulse. The likely wrong answers: the stroke on five is given
//! to the threes, since the claps on one, four and five have it, and the first count to one layer.

use crate::phrase::{Level, Loudness, NoPhrase, Note, Phrase, Purpose, Recipe, Touch, Voice};
use crate::phrase::{Wanted, make};
use crate::rhythm::{Counting, Layer, Pulse, Tick, Ticks};
use crate::world::Seed;

use crate::quiz::question::{Question, Task, without_a_run};
use crate::quiz::reveal::{on_counts, sentence};
use crate::quiz::{Answer, Owner};

pub(in crate::quiz) fn ask(
    recipe: &Recipe,
    level: Level,
    lately: &[Answer],
    seed: Seed,
) -> Result<Question, NoPhrase> {
    let mut dice = seed.child("stroke", 0).dice();
    let wanted = Wanted {
        feel: *dice.pick(recipe.feels()).expect("a recipe has a feel"),
        level,
        knocks: None,
        purpose: Purpose::NameFeel,
    };
    let measured = make(recipe, &wanted, seed)?;
    let phrase = measured.phrase();
    // Each answer is as likely as the others, however many pulses it has.
    let open = without_a_run(&Owner::ALL, lately, Answer::Owner);
    let owned = |of: Owner| move |pulse: &Pulse| owner(*pulse, phrase) == of;
    let of = dice.pick(&open).copied().unwrap_or(Owner::Both);
    let pulses: Vec<Pulse> = phrase.cycle.pulses().filter(owned(of)).collect();
    let pulse = dice.pick(&pulses).copied();
    let pulse = pulse.unwrap_or_else(|| phrase.cycle.first());
    Ok(Question::made(measured, Task::WhoseStroke { pulse }))
}

/// Whose stroke falls on a pulse.
pub(in crate::quiz) fn owner(pulse: Pulse, phrase: &Phrase) -> Owner {
    let [threes, twos] = [3, 2].map(|every| Layer::every(phrase.cycle, every).contains(pulse));
    match (threes, twos) {
        (true, true) => Owner::Both,
        (true, false) => Owner::Threes,
        (false, true) => Owner::Twos,
        (false, false) => Owner::Neither,
    }
}

/// The phrase with the bell on a pulse of every cycle but the first, in which the ear finds the layers.
pub(in crate::quiz) fn sound(phrase: &Phrase, pulse: Pulse) -> Phrase {
    let n = i64::try_from(phrase.cycle.n_pulses()).unwrap_or(1);
    let place = i64::try_from(pulse.idx()).unwrap_or(0);
    let within = phrase.begins()..phrase.ends();
    let bells = (1..=i64::from(phrase.n_cycles)).map(|cycle| Tick::of_pulse(cycle * n + place));
    let mut sound = phrase.clone();
    sound
        .notes
        .extend(bells.filter(|at| within.contains(at)).map(bell));
    sound
        .notes
        .sort_by_key(|note| (note.at, note.delay, note.voice, note.pitch));
    sound
}

fn bell(at: Tick) -> Note {
    Note {
        at,
        delay: 0,
        length: Ticks(240),
        voice: Voice::Bell,
        pitch: None,
        loudness: Loudness(0),
        touch: Touch::Bell,
    }
}

/// The claps that state an answer.
pub(in crate::quiz) fn claps(question: &Question, answer: Owner) -> Vec<Layer> {
    let cycle = question.phrase().cycle;
    let [threes, twos] = [3, 2].map(|every| Layer::every(cycle, every));
    match answer {
        Owner::Threes => vec![threes],
        Owner::Twos => vec![twos],
        Owner::Both => threes.union(twos).into_iter().collect(),
        Owner::Neither => Vec::new(),
    }
}

/// Where the bell rang, and where the layers fall.
pub(in crate::quiz) fn reason(question: &Question, pulse: Pulse, counting: Counting) -> String {
    let cycle = question.phrase().cycle;
    let [threes, twos] = [3, 2].map(|every| on_counts(Layer::every(cycle, every), counting));
    sentence(&format!(
        "the bell rang on {}; the threes fall {threes}, the twos {twos}",
        counting.name(cycle, pulse)
    ))
}
