//! *Clap a layer* along with the phrase, to its end, until a bell calls for another one, or until the
//! guitar closes.
//!
//! The guitar may carry the same layer or the opposite one; claps of a guide lead in and leave. The
//! likely wrong answer is to slide over to what the guitar does.

use crate::phrase::{Level, NoPhrase, Purpose, Recipe, Wanted, make};
use crate::rhythm::{Layer, Pattern};
use crate::world::{Dice, Seed};

use crate::quiz::hands::{Asked, Called, Caller, Part};
use crate::quiz::judge::Place;
use crate::quiz::question::{Question, Task, without_a_run};
use crate::quiz::tap::Hand;
use crate::quiz::{Answer, Call, Course, Guide};

/// What is asked for besides the phrase.
#[derive(Clone, Copy, Debug)]
pub(in crate::quiz) struct Terms<'a> {
    pub(in crate::quiz) layers: &'a [Layer],
    pub(in crate::quiz) place: Place,
    pub(in crate::quiz) guide: Guide,
    pub(in crate::quiz) course: Course,
    pub(in crate::quiz) call: Call,
}

pub(in crate::quiz) fn ask(
    recipe: &Recipe,
    level: Level,
    terms: Terms<'_>,
    lately: &[Answer],
    seed: Seed,
) -> Result<Question, NoPhrase> {
    let mut dice = seed.child("layer", 0).dice();
    let cycle = recipe.pattern().cycle();
    let open = without_a_run(terms.layers, lately, |layer| Answer::Hands(Some(layer)));
    let layer = dice.pick(&open).copied();
    let layer = layer.unwrap_or_else(|| Layer::every(cycle, cycle.n_pulses()));
    let wanted = Wanted {
        feel: *dice.pick(recipe.feels()).expect("a recipe has a feel"),
        level,
        knocks: None,
        purpose: Purpose::NameFeel,
    };
    let measured = make(recipe, &wanted, seed)?;
    let n_cycles = i64::from(measured.phrase().n_cycles);
    let whole = |slot, layer| Part {
        place: terms.place,
        ..Part::whole(slot, Hand::Either, layer, n_cycles)
    };
    let mut dice = seed.child("call", 0).dice();
    let cycle = call(terms.call, n_cycles, &mut dice);
    let (parts, call) = match cycle {
        Some(cycle) => called(&terms, recipe.pattern(), whole(0, layer), cycle, &mut dice),
        None => (vec![whole(0, layer)], None),
    };
    let asked = Asked {
        parts,
        guide: terms.guide,
        course: terms.course,
        call,
    };
    let task = Task::Clap(asked);
    Ok(Question::made(measured, task))
}

/// The parts before and after a call in this cycle, and what calls; one part where nothing can.
fn called(
    terms: &Terms<'_>,
    pattern: Pattern,
    part: Part,
    cycle: i64,
    dice: &mut Dice,
) -> (Vec<Part>, Option<Called>) {
    let rest = Part {
        layer: None,
        ..part.after(cycle)
    };
    let bell = Some(Called {
        cycle,
        by: Caller::Bell,
    });
    let other = part
        .layer
        .and_then(|layer| other_than(layer, terms.layers, dice));
    match (terms.call, other, pattern.close()) {
        (Call::Bell, Some(other), _) => {
            let next = Part {
                slot: 1,
                layer: Some(other),
                ..part.after(cycle)
            };
            (vec![part.until(cycle), next], bell)
        }
        (Call::Stop, ..) => (vec![part.until(cycle), rest], bell),
        (Call::Close, _, Some(pulse)) => {
            // The rest lasts a cycle, and all of it is one.
            let rest = rest.until(cycle + 1);
            let rest = Part {
                judged: rest.asked,
                ..rest
            };
            let by = Caller::Close(pulse);
            let parts = vec![part.until(cycle), rest, part.after(cycle + 1)];
            (parts, Some(Called { cycle, by }))
        }
        _ => (vec![part], None),
    }
}

fn other_than(layer: Layer, layers: &[Layer], dice: &mut Dice) -> Option<Layer> {
    let others: Vec<Layer> = layers.iter().copied().filter(|l| *l != layer).collect();
    dice.pick(&others).copied()
}

/// Cycles that are left after a call, so that what it asks for shows.
const AFTER_CALL: i64 = 4;

/// The cycle in which a bell calls: not before three were clapped, and early enough.
pub(in crate::quiz) fn call(call: Call, n_cycles: i64, dice: &mut Dice) -> Option<i64> {
    let last = n_cycles - AFTER_CALL - 1;
    (call != Call::None && last >= 2).then(|| dice.between(2, last))
}
