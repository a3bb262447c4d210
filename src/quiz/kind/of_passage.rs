//! Questions about passages of recordings: the truth is what a person marked.
//!
//! The kinds that need no measure can be asked: name the feel, find the start, which clapping fits, clap,
//! catch the turn. A recording makes no levels: it is as hard as it is.

use std::ops::RangeInclusive;
use std::sync::Arc;

use crate::phrase::{Level, Measured, Phrase, Turning};
use crate::rhythm::{Feel, Layer};
use crate::world::{Dice, Seed};

use super::{Call, Course, Fits, Form, fit_clapping};
use crate::quiz::Answer;
use crate::quiz::hands::{Asked, Part};
use crate::quiz::passage::Passage;
use crate::quiz::question::{Question, Task, without_a_run};
use crate::quiz::tap::Hand;

/// Cycles of a passage in which a turn is caught. It turns neither in the first two nor in the last, and
/// the cycle beside the right one is right too: in six cycles the fourth would be right wherever it
/// turns, in fewer any would. Nine is the most, a key for each.
pub(in crate::quiz) const TURNING: RangeInclusive<usize> = 7..=9;
/// The fewest cycles of a passage that comes in anywhere, and of one that is clapped.
const LEAST_ENTERED: usize = 3;
const LEAST_CLAPPED: usize = 4;

/// Whether a form can be asked of passages at all: what needs a measure cannot.
pub(in crate::quiz) fn is_possible(form: &Form) -> bool {
    match form {
        Form::NameFeel | Form::FindStart(_) => true,
        Form::FitClapping { to, .. } => *to == Fits::Guitar,
        Form::Clap { course, call, .. } => *course == Course::Whole && *call == Call::None,
        Form::CatchTurn(turning) => *turning == Turning::Once,
        _ => false,
    }
}

/// Whether a form can be asked of a passage.
pub(in crate::quiz) fn fits(form: &Form, passage: &Passage) -> bool {
    let n_cycles = passage.n_cycles();
    let is_marked = passage.feel().is_some();
    let is_fit = match form {
        Form::FindStart(_) => n_cycles >= LEAST_ENTERED,
        Form::FitClapping { clappings, .. } => {
            one_layer(passage).is_some_and(|layer| clappings.contains(&layer))
        }
        Form::Clap { layers, .. } => {
            let is_of_cycle = layers.iter().all(|layer| layer.cycle() == passage.cycle());
            n_cycles >= LEAST_CLAPPED && is_of_cycle
        }
        Form::CatchTurn(_) => {
            TURNING.contains(&n_cycles) && is_marked && passage.feel() != Some(Feel::Both)
        }
        _ => is_marked,
    };
    is_possible(form) && is_fit
}

/// The feels that passages have, in the order in which they are offered.
pub(in crate::quiz) fn feels(passages: &[Arc<Passage>]) -> Vec<Feel> {
    let is_there = |feel: &Feel| passages.iter().any(|passage| passage.feel() == Some(*feel));
    Feel::OPEN.into_iter().filter(is_there).collect()
}

pub(in crate::quiz) fn ask(
    form: &Form,
    passage: &Arc<Passage>,
    passages: &[Arc<Passage>],
    lately: &[Answer],
    seed: Seed,
) -> Option<Question> {
    if !fits(form, passage) {
        return None;
    }
    let mut dice = seed.child("passage", 0).dice();
    let mut phrase = phrase(passage);
    let task = match form {
        Form::NameFeel => Task::NameFeel {
            choices: feels(passages),
        },
        Form::FindStart(by) => {
            enter_anywhere(&mut phrase, &mut dice);
            Task::FindStart { by: *by }
        }
        Form::FitClapping { clappings, to } => {
            let truth = one_layer(passage)?;
            let choices = choices(clappings, truth, &mut dice);
            let to = *to;
            Task::FitClapping { choices, truth, to }
        }
        Form::Clap {
            layers,
            place,
            guide,
            course,
            call: _,
        } => {
            let open = without_a_run(layers, lately, |layer| Answer::Hands(Some(layer)));
            let layer = *dice.pick(&open)?;
            let whole = Part::whole(0, Hand::Either, layer, i64::from(phrase.n_cycles));
            Task::Clap(Asked {
                parts: vec![Part {
                    place: *place,
                    ..whole
                }],
                guide: *guide,
                course: *course,
                call: None,
            })
        }
        Form::CatchTurn(turning) => Task::CatchTurn {
            truth: passage.turns_in().and_then(|at| u8::try_from(at).ok()),
            turning: *turning,
        },
        _ => return None,
    };
    Some(Question {
        measured: Measured::by_ear(phrase, Level::STRONGEST, passage.seed()),
        task,
        passage: Some(Arc::clone(passage)),
    })
}

/// The passage as a phrase without notes.
fn phrase(passage: &Passage) -> Phrase {
    Phrase {
        cycle: passage.cycle(),
        pace: passage.pace(),
        n_cycles: u32::try_from(passage.n_cycles()).expect("a passage has few cycles"),
        entry: 0,
        feel: passage.feel().unwrap_or(Feel::Either),
        notes: Vec::new(),
    }
}

/// It begins on any pulse of its first cycle, and ends as much after its last cycle but one.
fn enter_anywhere(phrase: &mut Phrase, dice: &mut Dice) {
    let last = i64::try_from(phrase.cycle.n_pulses()).unwrap_or(1) - 1;
    phrase.entry = dice.between(0, last);
    phrase.n_cycles -= 1;
}

/// The one layer that claps it.
fn one_layer(passage: &Passage) -> Option<Layer> {
    match passage.feel()? {
        Feel::Threes | Feel::Twos => passage.layers()?.first().copied(),
        _ => None,
    }
}

/// How many clappings are offered at once.
pub(in crate::quiz) fn n_offered(clappings: &[Layer]) -> usize {
    clappings.len().min(fit_clapping::MOST_OFFERED)
}

/// The right clapping among others, in any order.
fn choices(clappings: &[Layer], truth: Layer, dice: &mut Dice) -> Vec<Layer> {
    let others = clappings.iter().copied().filter(|layer| *layer != truth);
    let mut others: Vec<Layer> = others.collect();
    dice.shuffle(&mut others);
    others.truncate(fit_clapping::MOST_OFFERED - 1);
    others.push(truth);
    dice.shuffle(&mut others);
    others
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quiz::judge::Place;
    use crate::quiz::passage::tests::passage;
    use crate::quiz::{By, Given, Guide, Hands, Material, Reveal, Tap, Verdict};
    use crate::rhythm::{Counting, Cycle, PulseMap, Tick};

    fn pool() -> Vec<Arc<Passage>> {
        let marks = [
            "3333", "2222", "bbbb", "3332222", "3.3", "22", "2222222", "333322",
        ];
        marks.map(|marks| Arc::new(passage(marks))).to_vec()
    }

    fn layer(pulses: &[i64]) -> Layer {
        Layer::of(Cycle::SIX, pulses).expect("a layer")
    }

    fn clap() -> Form {
        Form::Clap {
            layers: vec![layer(&[0, 3]), layer(&[0, 2, 4])],
            place: Place::On,
            guide: Guide::First,
            course: Course::Whole,
            call: Call::None,
        }
    }

    fn fit() -> Form {
        Form::FitClapping {
            clappings: vec![layer(&[0, 3]), layer(&[0, 2, 4]), layer(&[1, 4])],
            to: Fits::Guitar,
        }
    }

    #[track_caller]
    fn material(form: &Form) -> Vec<Arc<Passage>> {
        let material = Material::cut(form, &pool(), Cycle::SIX).expect("passages that fit");
        material.passages().to_vec()
    }

    /// What the truth of a question is given as.
    fn truth(question: &Question) -> Given {
        let choice = |idx: usize| Given::Choice(idx);
        match (&question.task, question.truth()) {
            (Task::NameFeel { choices }, Answer::Feel(feel)) => choice(
                choices
                    .iter()
                    .position(|one| *one == feel)
                    .expect("offered"),
            ),
            (Task::FitClapping { choices, .. }, Answer::Clapping(layer)) => choice(
                choices
                    .iter()
                    .position(|one| *one == layer)
                    .expect("offered"),
            ),
            (Task::FindStart { by: By::Count }, Answer::Start(Some(pulse))) => {
                choice(usize::from(pulse))
            }
            (Task::FindStart { by: By::Taps }, Answer::Start(Some(pulse))) => {
                let phrase = question.phrase();
                let map = PulseMap::of(phrase.pace.clone(), 0);
                let begins = (1..=4).map(|cycle| 6 * cycle + i64::from(pulse));
                let n_pulses = 6 * i64::from(phrase.n_cycles);
                // The sound goes round: what lies behind its end is heard again from its beginning.
                let round = map.micros_at(phrase.ends()) - map.micros_at(phrase.begins());
                let micros = begins.map(|at| {
                    let n_rounds = (at - phrase.entry).div_euclid(n_pulses);
                    map.micros_at(Tick::of_pulse(at - n_rounds * n_pulses)) + n_rounds * round
                });
                Given::Taps(micros.map(Tap::at).collect(), Hands::Unheard)
            }
            (Task::CatchTurn { .. }, Answer::Turn(at)) => choice(at.map_or(0, usize::from)),
            (Task::Clap(_), Answer::Hands(Some(layer))) => {
                let phrase = question.phrase();
                let map = PulseMap::of(phrase.pace.clone(), 0);
                let pulses = 0..i64::from(phrase.n_cycles) * 6;
                let claps = pulses.filter(|idx| layer.contains(phrase.cycle.pulse_at(*idx)));
                let taps = claps.map(|idx| Tap::at(map.micros_at(Tick::of_pulse(idx))));
                Given::Taps(taps.collect(), Hands::Unheard)
            }
            other => panic!("{other:?}"),
        }
    }

    #[test]
    fn the_truth_is_right_in_every_kind_that_can_be_asked() {
        let forms = [
            Form::NameFeel,
            Form::FindStart(By::Count),
            Form::FindStart(By::Taps),
            fit(),
            clap(),
            Form::CatchTurn(Turning::Once),
        ];
        for form in &forms {
            let passages = material(form);
            for (n, passage) in (0..).zip(&passages) {
                let asked = Question::of_passage(form, passage, &passages, &[], Seed(n));
                let question = asked.expect("it fits");
                let given = truth(&question);
                let verdict = question.judge(&given).expect("an answer");
                assert!(verdict.right, "{form:?} of {}", passage.line());
                let reveal = Reveal::of(&question, verdict, &given, Counting::FromOne);
                assert!(reveal.verdict.starts_with("Right: "), "{}", reveal.verdict);
                let by = match form {
                    Form::FindStart(_) => "as it was cut",
                    _ => "by ear",
                };
                assert!(reveal.reason.contains(by), "{}", reveal.reason);
                assert!(question.passage().is_some());
                assert_eq!(question.measured().seed(), passage.seed());
            }
        }
    }

    #[test]
    fn each_kind_takes_the_passages_in_which_it_has_an_answer() {
        let marks = |form: &Form| -> Vec<String> {
            let line = |passage: &Arc<Passage>| {
                let line = passage.line();
                line.rsplit(' ').next().unwrap_or_default().to_owned()
            };
            material(form).iter().map(line).collect()
        };
        assert_eq!(
            marks(&Form::NameFeel),
            ["3333", "2222", "bbbb", "3332222", "22", "2222222", "333322"]
        );
        assert_eq!(marks(&fit()), ["3333", "2222", "22", "2222222"]);
        assert_eq!(
            marks(&clap()),
            ["3333", "2222", "bbbb", "3332222", "2222222", "333322"]
        );
        assert_eq!(
            marks(&Form::CatchTurn(Turning::Once)),
            ["3332222", "2222222"]
        );
        assert_eq!(
            marks(&Form::FindStart(By::Count)),
            [
                "3333", "2222", "bbbb", "3332222", "3.3", "2222222", "333322"
            ]
        );
        // One answer for all is no question, and nothing of another cycle is one.
        let one_sided = [Arc::new(passage("33")), Arc::new(passage("333"))];
        assert_eq!(Material::cut(&Form::NameFeel, &one_sided, Cycle::SIX), None);
        assert_eq!(Material::cut(&Form::NameFeel, &pool(), Cycle::TWELVE), None);
        assert_eq!(Material::cut(&Form::WhoseStroke, &pool(), Cycle::SIX), None);
    }

    #[test]
    fn no_answer_is_right_wherever_a_turn_comes() {
        let form = Form::CatchTurn(Turning::Once);
        for n in TURNING {
            let turned = (2..=n - 2).map(|at| {
                let marks = "3".repeat(at) + &"2".repeat(n - at);
                Arc::new(passage(&marks))
            });
            let passages: Vec<Arc<Passage>> = turned.collect();
            let is_right = |choice: usize, passage: &Arc<Passage>| {
                let asked = Question::of_passage(&form, passage, &passages, &[], Seed(1));
                let verdict = asked.expect("it fits").judge(&Given::Choice(choice));
                verdict.expect("an answer").right
            };
            for choice in 0..n {
                let always = passages.iter().all(|passage| is_right(choice, passage));
                assert!(!always, "{choice} of {n}");
            }
        }
    }

    #[test]
    fn a_passage_comes_in_anywhere_when_its_start_is_to_be_found() {
        let form = Form::FindStart(By::Count);
        let passages = material(&form);
        let entries: std::collections::BTreeSet<i64> = (0..60)
            .map(|seed| {
                let asked = Question::of_passage(&form, &passages[0], &passages, &[], Seed(seed));
                let question = asked.expect("it fits");
                assert_eq!(
                    question.phrase().n_cycles,
                    3,
                    "a cycle is left to come in from"
                );
                question.phrase().entry
            })
            .collect();
        assert_eq!(entries.into_iter().collect::<Vec<_>>(), [0, 1, 2, 3, 4, 5]);
    }

    #[test]
    fn in_turn_said_of_a_passage_that_does_not_turn_is_shown_as_it_would_be() {
        let passages = material(&Form::NameFeel);
        let of = |nth: usize| {
            let passage = &passages[nth];
            let asked = Question::of_passage(&Form::NameFeel, passage, &passages, &[], Seed(1));
            let question = asked.expect("it fits");
            let verdict = Verdict {
                answer: Answer::Feel(Feel::InTurn),
                right: false,
            };
            let reveal = Reveal::of(&question, verdict, &Given::Choice(0), Counting::FromOne);
            let you = reveal.you.first().expect("a row").clone();
            let marks = |cycle: usize| you.marks(cycle).iter().collect::<String>();
            ([marks(0), marks(1), marks(2), marks(3)], you.aside.clone())
        };
        let (threes, twos) = ("3..3..".to_owned(), "2.2.2.".to_owned());
        // Marked 3333: its first cycles would be the others.
        let turned = [&twos, &twos, &threes, &threes].map(Clone::clone);
        assert_eq!(of(0), (turned, "then threes, from cycle 3".to_owned()));
        let turned = [&threes, &threes, &twos, &twos].map(Clone::clone);
        assert_eq!(of(1), (turned, "then twos, from cycle 3".to_owned()));
    }

    #[test]
    fn what_was_answered_is_told_beside_what_was_marked() {
        let passages = material(&Form::NameFeel);
        let asked = Question::of_passage(&Form::NameFeel, &passages[3], &passages, &[], Seed(1));
        let question = asked.expect("it fits");
        let verdict = Verdict {
            answer: Answer::Feel(Feel::Twos),
            right: false,
        };
        let reveal = Reveal::of(&question, verdict, &Given::Choice(1), Counting::FromOne);
        let marked = reveal.rows.iter().find(|row| row.name == "marked");
        let marked = marked.expect("a row of marks");
        assert_eq!(marked.marks(0), ['3', '.', '.', '3', '.', '.']);
        assert_eq!(marked.marks(4), ['2', '.', '2', '.', '2', '.']);
        // Its claps turn where it was marked to turn.
        let claps = |cycle: i64| {
            let notes = reveal.as_it_is.notes.iter();
            let pulses = notes.map(|note| note.at.pulse_idx() - 6 * cycle);
            pulses
                .filter(|pulse| (0..6).contains(pulse))
                .collect::<Vec<i64>>()
        };
        assert_eq!((claps(2), claps(3)), (vec![0, 3], vec![0, 2, 4]));
    }
}
