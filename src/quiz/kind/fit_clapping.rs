//! *Which clapping fits?* The same phrase under two to four clappings, in an order drawn at random.
//!
//! Right is the clapping whose strokes agree best with the accents that the question names; every
//! rival was measured to agree worse by a margin.

use crate::phrase::{Level, NoPhrase, Phrase, Purpose, Recipe, Touch, Voice, Wanted, make};
use crate::rhythm::{Counting, Feel, Layer};
use crate::world::{Dice, Seed};

use crate::quiz::question::{Question, Task, without_a_run};
use crate::quiz::reveal::{on_counts, sentence};
use crate::quiz::{Answer, Fits};

/// The most clappings that are offered at once.
pub(in crate::quiz) const MOST_OFFERED: usize = 3;

pub(in crate::quiz) fn ask(
    recipe: &Recipe,
    level: Level,
    clappings: &[Layer],
    to: Fits,
    lately: &[Answer],
    seed: Seed,
) -> Result<Question, NoPhrase> {
    let mut dice = seed.child("clapping", 0).dice();
    let (feel, truth) = draw_truth(recipe, (clappings, to), lately, Answer::Clapping, &mut dice);
    let mut others: Vec<Layer> = clappings
        .iter()
        .copied()
        .filter(|layer| *layer != truth)
        .collect();
    dice.shuffle(&mut others);
    others.truncate(MOST_OFFERED - 1);
    let wanted = Wanted {
        feel,
        level,
        knocks: (to == Fits::Knocks).then_some(truth),
        purpose: Purpose::FitClapping {
            truth,
            others: others.clone(),
            voice: (to == Fits::Knocks).then_some(Voice::Strike),
        },
    };
    let measured = make(recipe, &wanted, seed)?;
    let mut choices = others;
    choices.push(truth);
    dice.shuffle(&mut choices);
    Ok(Question::made(
        measured,
        Task::FitClapping { choices, truth, to },
    ))
}

/// A feel of the recipe, and the layer among `clappings` that the guitar or the knocks mark with it.
pub(in crate::quiz) fn draw_truth(
    recipe: &Recipe,
    (clappings, to): (&[Layer], Fits),
    lately: &[Answer],
    as_answer: impl Fn(Layer) -> Answer,
    dice: &mut Dice,
) -> (Feel, Layer) {
    let pattern = recipe.pattern();
    let cycle = pattern.cycle();
    let threes = Layer::every(cycle, 3);
    if to == Fits::Knocks {
        let open = without_a_run(clappings, lately, as_answer);
        let feel = *dice.pick(recipe.feels()).expect("a recipe has a feel");
        return (feel, *dice.pick(&open).unwrap_or(&threes));
    }
    let stated: Vec<Layer> = recipe
        .feels()
        .iter()
        .filter_map(|feel| pattern.claps(*feel))
        .collect();
    let open = without_a_run(&stated, lately, as_answer);
    let truth = *dice.pick(&open).unwrap_or(&threes);
    let states = |feel: &&Feel| pattern.claps(**feel) == Some(truth);
    let feel = recipe.feels().iter().find(states).copied();
    (feel.unwrap_or(Feel::Threes), truth)
}

pub(in crate::quiz) fn choices(n: usize) -> Vec<String> {
    const ORDINALS: [&str; 4] = ["the first", "the second", "the third", "the fourth"];
    ORDINALS.into_iter().take(n).map(str::to_owned).collect()
}

/// The phrase under each clapping.
pub(in crate::quiz) fn sounds(phrase: &Phrase, choices: &[Layer]) -> Vec<Phrase> {
    choices
        .iter()
        .map(|layer| phrase.clapped(&[*layer], Touch::Sorda))
        .collect()
}

/// What the clapping was to agree with.
pub(in crate::quiz) fn reason(question: &Question, to: Fits, counting: Counting) -> String {
    let asked = |voice: Voice| match to {
        Fits::Knocks => voice == Voice::Strike,
        Fits::Guitar => voice.is_strings(),
    };
    let rows = question
        .measured()
        .rows()
        .iter()
        .filter(|row| asked(row.voice));
    let stated = rows.filter_map(|row| Some((row.cue, row.layer()?)));
    let parts: Vec<String> = stated
        .filter(|(_, layer)| layer.n_onsets() > 1)
        .map(|(cue, layer)| format!("{} came {}", cue.words(), on_counts(layer, counting)))
        .collect();
    sentence(&parts.join("; "))
}
