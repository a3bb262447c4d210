//! *Two hands.* The threes with one key and the twos with the other, together; then, when a bell
//! calls, one hand rests and the other goes on.
//!
//! Which hand has which is drawn. The likely wrong answers: the joined rhythm is right but the hands
//! are exchanged, or the strokes on three, four and five are squeezed together evenly.

use crate::phrase::{Level, NoPhrase, Purpose, Recipe, Wanted, make};
use crate::rhythm::Layer;
use crate::world::Seed;

use super::clap_layer::call;
use crate::quiz::hands::{Asked, Called, Caller, Part};
use crate::quiz::question::{Question, Task, without_a_run};
use crate::quiz::tap::Hand;
use crate::quiz::{Answer, Call, Course, Guide};

pub(in crate::quiz) fn ask(
    recipe: &Recipe,
    level: Level,
    [one, other]: [Layer; 2],
    (guide, calls): (Guide, Call),
    lately: &[Answer],
    seed: Seed,
) -> Result<Question, NoPhrase> {
    let mut dice = seed.child("hands", 0).dice();
    let both = [(one, other), (other, one)];
    let open = without_a_run(&both, lately, |(left, right)| {
        Answer::Pair([Some(left), Some(right)])
    });
    let (left, right) = dice.pick(&open).copied().unwrap_or((one, other));
    let wanted = Wanted {
        feel: *dice.pick(recipe.feels()).expect("a recipe has a feel"),
        level,
        knocks: None,
        purpose: Purpose::NameFeel,
    };
    let measured = make(recipe, &wanted, seed)?;
    let n_cycles = i64::from(measured.phrase().n_cycles);
    let whole = [
        Part::whole(0, Hand::Left, left, n_cycles),
        Part::whole(1, Hand::Right, right, n_cycles),
    ];
    let call = call(calls, n_cycles, &mut dice);
    let rests = dice.below(2);
    let parts = match call {
        None => whole.to_vec(),
        Some(call) => with_rest(whole, rests, call),
    };
    let asked = Asked {
        parts,
        guide,
        course: Course::Whole,
        call: call.map(|cycle| Called {
            cycle,
            by: Caller::Bell,
        }),
    };
    let task = Task::TwoHands(asked);
    Ok(Question::made(measured, task))
}

/// Both hands, of which one rests from the change on that a bell in cycle `call` asks for.
fn with_rest(mut whole: [Part; 2], rests: usize, call: i64) -> Vec<Part> {
    let idx = rests.min(1);
    let resting = Part {
        layer: None,
        ..whole[idx].after(call)
    };
    whole[idx] = whole[idx].until(call);
    let mut parts = whole.to_vec();
    parts.push(resting);
    parts
}
