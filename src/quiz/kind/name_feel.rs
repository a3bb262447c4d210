//! *Name the feel.* The phrase alone; the answer is one of the feels in play.
//!
//! Right is the feel that the accent model measured. Two feels are not told apart by speed, loudness
//! or number of notes; the generator sees to that.

use crate::phrase::{Level, NoPhrase, Purpose, Recipe, Row, Wanted, make};
use crate::rhythm::{Counting, Feel, Layer, Pulse};
use crate::world::Seed;

use crate::quiz::Answer;
use crate::quiz::question::{Question, Task, without_a_run};
use crate::quiz::reveal::{on_counts, sentence};

pub(in crate::quiz) fn ask(
    recipe: &Recipe,
    level: Level,
    lately: &[Answer],
    seed: Seed,
) -> Result<Question, NoPhrase> {
    let mut dice = seed.child("feel", 0).dice();
    let open = without_a_run(recipe.feels(), lately, Answer::Feel);
    let feel = *dice.pick(&open).expect("a recipe has a feel");
    let wanted = Wanted {
        feel,
        level,
        knocks: None,
        purpose: Purpose::NameFeel,
    };
    let measured = make(recipe, &wanted, seed)?;
    // Answers keep their order from question to question, so that a finger learns its place.
    let choices = Feel::OPEN
        .into_iter()
        .filter(|feel| recipe.feels().contains(feel))
        .collect();
    Ok(Question::made(measured, Task::NameFeel { choices }))
}

/// The claps that state a feel, cycle by cycle; empty when nothing is to be clapped.
pub(in crate::quiz) fn claps(question: &Question, feel: Feel) -> Vec<Layer> {
    let phrase = question.phrase();
    let (threes, twos) = (Layer::every(phrase.cycle, 3), Layer::every(phrase.cycle, 2));
    match feel {
        Feel::Threes => vec![threes],
        Feel::Twos => vec![twos],
        Feel::Both => threes.union(twos).into_iter().collect(),
        Feel::InTurn => marked(question)
            .or_else(|| turning(question).map(|(_, layers)| layers))
            .unwrap_or_else(|| {
                // Said of a phrase that does not turn: as it would be if it did, and first as it is not.
                let sides = match phrase.feel {
                    Feel::Threes => [twos, threes],
                    _ => [threes, twos],
                };
                let half = usize::try_from(phrase.n_cycles / 2).unwrap_or(1);
                let cycles = usize::try_from(phrase.n_cycles).unwrap_or(2);
                (0..cycles)
                    .map(|idx| sides[usize::from(idx >= half)])
                    .collect()
            }),
        Feel::Either | Feel::Mixed => Vec::new(),
    }
}

/// The layers that a person marked in a recording, cycle by cycle, where they turn.
fn marked(question: &Question) -> Option<Vec<Layer>> {
    let passage = question.passage()?;
    passage.turns_in().and_then(|_| passage.layers())
}

/// The voice that turns from one layer to the other, with its layer in each cycle.
fn turning(question: &Question) -> Option<(&Row, Vec<Layer>)> {
    let by_cycle =
        |row: &Row| -> Option<Vec<Layer>> { row.cycles.iter().map(Row::standing_out).collect() };
    let rows = question.measured().rows().iter();
    let mut layers = rows.filter_map(|row| Some((row, by_cycle(row)?)));
    layers.find(|(_, layers)| layers.windows(2).any(|pair| pair[0] != pair[1]))
}

/// What gave the feel away.
pub(in crate::quiz) fn reason(question: &Question, counting: Counting) -> String {
    match question.phrase().feel {
        Feel::Either => nothing_decides(question, counting),
        Feel::InTurn => turn_in_words(question, counting),
        Feel::Threes | Feel::Twos | Feel::Both | Feel::Mixed => speaking_voices(question, counting),
    }
}

fn nothing_decides(question: &Question, counting: Counting) -> String {
    let cycle = question.phrase().cycle;
    let (threes, twos) = (Layer::every(cycle, 3), Layer::every(cycle, 2));
    let decides = |pulse: &Pulse| threes.contains(*pulse) != twos.contains(*pulse);
    let deciding = Layer::on(cycle, cycle.pulses().filter(decides)).expect("pulses of the cycle");
    format!(
        "Nothing stands out on {} more than on the others, so either reading fits.",
        counting.list(deciding)
    )
}

fn turn_in_words(question: &Question, counting: Counting) -> String {
    let Some((row, layers)) = turning(question) else {
        return String::new();
    };
    let cue = row.cue.words();
    let mut parts: Vec<String> = Vec::new();
    for (idx, layer) in layers.iter().enumerate() {
        let on = on_counts(*layer, counting);
        let changed = layers.get(idx.wrapping_sub(1)) != Some(layer);
        match idx {
            0 => parts.push(on),
            idx if changed => parts.push(format!("from cycle {} {on}", idx + 1)),
            _ => {}
        }
    }
    sentence(&format!("{cue} came {}", parts.join(", then ")))
}

fn speaking_voices(question: &Question, counting: Counting) -> String {
    let mut parts = Vec::new();
    for row in question.measured().rows() {
        // A voice that marks the first count alone says nothing about the grouping.
        let layer = row.layer().filter(|layer| layer.n_onsets() > 1);
        if let Some(layer) = layer {
            let part = format!("{} came {}", row.cue.words(), on_counts(layer, counting));
            // What two voices do alike is said once.
            if !parts.contains(&part) {
                parts.push(part);
            }
        }
    }
    sentence(&parts.join("; "))
}
