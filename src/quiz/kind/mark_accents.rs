//! *Mark the accents.* The phrase goes by; set the counts that are accented on a cycle without marks.
//!
//! Right is the exact set. The likely wrong answers: the first count is set because counting begins
//! there, and the third is missed where both layers sound.

use crate::phrase::{Level, NoPhrase, Purpose, Recipe, Voice, Wanted, make};
use crate::rhythm::{Counting, Layer};
use crate::world::Seed;

use super::fit_clapping::draw_truth;
use crate::quiz::question::{Question, Task};
use crate::quiz::reveal::on_counts;
use crate::quiz::{Answer, Fits};

pub(in crate::quiz) fn ask(
    recipe: &Recipe,
    level: Level,
    patterns: &[Layer],
    of: Fits,
    lately: &[Answer],
    seed: Seed,
) -> Result<Question, NoPhrase> {
    let mut dice = seed.child("accents", 0).dice();
    let as_answer = |layer| Answer::Marks(Some(layer));
    let (feel, truth) = draw_truth(recipe, (patterns, of), lately, as_answer, &mut dice);
    let others = patterns.iter().copied().filter(|layer| *layer != truth);
    let purpose = match of {
        Fits::Guitar => Purpose::NameFeel,
        Fits::Knocks => Purpose::FitClapping {
            truth,
            others: others.collect(),
            voice: Some(Voice::Strike),
        },
    };
    let wanted = Wanted {
        feel,
        level,
        knocks: (of == Fits::Knocks).then_some(truth),
        purpose,
    };
    let measured = make(recipe, &wanted, seed)?;
    Ok(Question::made(measured, Task::MarkAccents { truth, of }))
}

/// What is missing from the marks that were set, and what is too many.
pub(in crate::quiz) fn differences(
    truth: Layer,
    marked: Option<Layer>,
    counting: Counting,
) -> String {
    let only = |of: Option<Layer>, without: Option<Layer>| {
        let pulses = of.into_iter().flat_map(Layer::pulses);
        let left = pulses.filter(|pulse| without.is_none_or(|other| !other.contains(*pulse)));
        Layer::on(truth.cycle(), left).ok()
    };
    let missing =
        only(Some(truth), marked).map(|layer| format!("{} missing", counting.list(layer)));
    let extra = only(marked, Some(truth)).map(|layer| format!("{} too many", counting.list(layer)));
    let parts: Vec<String> = missing.into_iter().chain(extra).collect();
    let said = marked.map_or_else(|| "none".to_owned(), |layer| on_counts(layer, counting));
    format!("You marked {said}: {}.", parts.join(", "))
}
