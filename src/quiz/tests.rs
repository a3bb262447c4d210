//! A sitting without clock, sound or store: events in, effects out.

use super::hands::Asked;
use super::judge::Place;
use super::*;
use crate::label::Label;
use crate::phrase::{Bell, Entry, Family, Level, Phrase, Recipe, RecipeParts, Row, Turning};
use crate::rhythm::{Counting, Cycle, Feel, Layer, Pulse, PulseMap, TICKS_PER_PULSE, Tick};
use crate::world::{Day, Moment, Seed, Stamp};

fn recipe_parts(feels: &[Feel], entries: &[Entry]) -> RecipeParts {
    RecipeParts {
        patterns: vec![crate::rhythm::Pattern::SIX],
        families: vec![Family::BassStrums, Family::Arpeggio],
        feels: feels.to_vec(),
        tempo: (120, 200),
        pacing: crate::phrase::Pacing::Steady,
        rival: crate::phrase::Rival::None,
        cycles: (4, 4),
        entries: entries.to_vec(),
        bell: Bell::None,
    }
}

fn recipe(feels: &[Feel], entries: &[Entry]) -> Recipe {
    Recipe::new(recipe_parts(feels, entries)).expect("a possible recipe")
}

fn long_recipe(feels: &[Feel]) -> Recipe {
    let parts = RecipeParts {
        cycles: (8, 9),
        ..recipe_parts(feels, &[Entry::One])
    };
    Recipe::new(parts).expect("a possible recipe")
}

fn layer(counts: &str) -> Layer {
    Layer::from_counts(Cycle::SIX, counts).expect("a layer of six")
}

/// One layer is clapped, on its pulses, to the end.
fn clap(counts: &str, guide: Guide) -> Form {
    Form::Clap {
        layers: vec![layer(counts)],
        place: Place::On,
        guide,
        course: Course::Whole,
        call: Call::None,
    }
}

fn forms() -> Vec<(Form, Recipe)> {
    let clappings = |texts: &[&str]| texts.iter().map(|text| layer(text)).collect();
    vec![
        (
            Form::NameFeel,
            recipe(&Feel::OPEN, &[Entry::One, Entry::Pickup]),
        ),
        (
            Form::FindStart(By::Count),
            recipe(&[Feel::Threes, Feel::Twos], &Entry::ALL),
        ),
        (
            Form::FindStart(By::Taps),
            recipe(&[Feel::Threes, Feel::Twos], &Entry::ALL),
        ),
        (
            Form::FitClapping {
                clappings: clappings(&["1-4", "1-3-5", "2-5", "2-4-6"]),
                to: Fits::Guitar,
            },
            recipe(&[Feel::Threes, Feel::Twos], &[Entry::One]),
        ),
        (
            Form::FitClapping {
                clappings: clappings(&["1-4-5", "1-4-6", "1-4"]),
                to: Fits::Knocks,
            },
            recipe(&[Feel::Threes], &[Entry::One]),
        ),
        (
            Form::Clap {
                layers: clappings(&["1-4", "1-3-5", "1-4-5"]),
                place: Place::On,
                guide: Guide::First,
                course: Course::Whole,
                call: Call::None,
            },
            recipe(&[Feel::Threes, Feel::Twos], &Entry::ALL),
        ),
        (
            Form::Clap {
                layers: clappings(&["1-4", "1-2-3-4-5-6"]),
                place: Place::Contra,
                guide: Guide::First,
                course: Course::Silent(1),
                call: Call::None,
            },
            recipe(&[Feel::Threes], &[Entry::One]),
        ),
        (
            Form::Clap {
                layers: clappings(&["1-4", "1-3-5"]),
                place: Place::On,
                guide: Guide::Every,
                course: Course::Whole,
                call: Call::Bell,
            },
            long_recipe(&[Feel::Both]),
        ),
        (
            Form::MarkAccents {
                patterns: clappings(&["1-4", "1-3-5"]),
                of: Fits::Guitar,
            },
            recipe(&[Feel::Threes, Feel::Twos], &[Entry::One]),
        ),
        (
            Form::MarkAccents {
                patterns: clappings(&["1-4", "1-4-5", "3-5", "1-3-4-5"]),
                of: Fits::Knocks,
            },
            recipe(&[Feel::Threes], &[Entry::One]),
        ),
        (Form::NameVoice, recipe(&[Feel::Both], &Entry::ALL)),
        (
            Form::NameClapping(clappings(&["1-4", "1-4-5", "1-3-5", "1-4-6", "3-5"])),
            recipe(&[Feel::Threes, Feel::Twos], &[Entry::One]),
        ),
        (Form::CatchTurn(Turning::Once), long_recipe(&[Feel::InTurn])),
        (Form::WhoseStroke, recipe(&[Feel::Both], &Entry::ALL)),
        (
            Form::TwoHands {
                layers: [layer("1-4"), layer("1-3-5")],
                guide: Guide::Half,
                call: Call::None,
            },
            recipe(&[Feel::Both], &[Entry::One]),
        ),
        (
            Form::TwoHands {
                layers: [layer("1-4"), layer("1-3-5")],
                guide: Guide::First,
                call: Call::Bell,
            },
            long_recipe(&[Feel::Either, Feel::Both]),
        ),
    ]
}

fn ask(form: &Form, recipe: &Recipe, seed: u64) -> Question {
    Question::ask(form, recipe, Level::of_tenths(50), &[], Seed(seed)).expect("a question")
}

const TUNED: Hands = Hands::Tuned(Habit { lead_ms: 0, n: 0 });

/// What a learner who knows the truth would give.
fn knowing(question: &Question) -> Given {
    let phrase = question.phrase();
    if let Some(asked) = question.asked() {
        return Given::Taps(as_asked(phrase, asked), TUNED);
    }
    match question.truth() {
        Answer::Start(_) if question.is_tapped() => {
            let taps = (1..5).map(|cycle| tap(phrase, cycle * 6 * TICKS_PER_PULSE));
            Given::Taps(taps.collect(), Hands::Untuned)
        }
        Answer::Marks(Some(layer)) => Given::Marks(layer.pulses().map(|p| p.idx()).collect()),
        truth => {
            let answers = |idx: &usize| {
                question
                    .judge(&Given::Choice(*idx))
                    .is_some_and(|verdict| verdict.answer == truth)
            };
            Given::Choice(
                (0..9)
                    .find(answers)
                    .expect("the truth is among the choices"),
            )
        }
    }
}

/// Taps that do all that is asked, by hands that lead by 25 ms.
fn as_asked(phrase: &Phrase, asked: &Asked) -> Vec<Tap> {
    let mut taps = Vec::new();
    for part in &asked.parts {
        for cycle in part.asked.0..part.asked.1 {
            for pulse in part.layer.iter().flat_map(|layer| layer.pulses()) {
                let half = if part.place == Place::Contra { 120 } else { 0 };
                let tick = (cycle * 6 + pulse.idx() as i64) * TICKS_PER_PULSE + half;
                taps.push(Tap {
                    hand: part.hand,
                    ..tap(phrase, tick)
                });
            }
        }
    }
    taps.sort_by_key(|tap| tap.micros);
    taps
}

fn tap(phrase: &Phrase, tick: i64) -> Tap {
    let map = PulseMap::of(phrase.pace.clone(), 0);
    Tap::at(map.micros_at(Tick(tick)) - 25_000)
}

/// Claps of a layer in each cycle, so many pulses late, by hands that lead by 25 ms.
fn clapping(phrase: &Phrase, layer: impl Fn(i64) -> Layer, late: i64) -> Vec<Tap> {
    let n = phrase.cycle.n_pulses() as i64;
    let taps = (0..i64::from(phrase.n_cycles)).flat_map(|cycle| {
        let pulses = layer(cycle).pulses();
        pulses
            .map(move |pulse| cycle * n + pulse.idx() as i64 + late)
            .collect::<Vec<i64>>()
    });
    taps.map(|pulse| tap(phrase, pulse * TICKS_PER_PULSE))
        .collect()
}

#[test]
fn hands_are_told_what_they_did() {
    let form = clap("1-4", Guide::Half);
    // The guitar goes against the hands.
    let recipe = recipe(&[Feel::Twos], &[Entry::One]);
    for seed in 0..30 {
        let question = ask(&form, &recipe, seed);
        let phrase = question.phrase();
        let guide = question.sounds();
        let guided: Vec<i64> = (0..4)
            .map(|cycle| {
                let claps = guide[0]
                    .notes
                    .iter()
                    .filter(|n| n.voice == crate::phrase::Voice::Claps);
                claps.filter(|n| n.at.pulse_idx() / 6 == cycle).count() as i64
            })
            .collect();
        assert_eq!(guided, [2, 2, 0, 0]);
        let told = |taps: Vec<Tap>| {
            let given = Given::Taps(taps, TUNED);
            let verdict = question.judge(&given).expect("taps answer it");
            let right = verdict.right;
            (
                right,
                Reveal::of(&question, verdict, &given, Counting::FromOne),
            )
        };
        let (right, reveal) = told(clapping(phrase, |_| layer("1-4"), 0));
        assert!(right, "{}", reveal.verdict);
        assert_eq!(reveal.verdict, "Right: claps on 1 and 4, held to the end.");
        assert!(
            reveal.reason.contains("of a pulse, within a master's 6 %"),
            "{}",
            reveal.reason
        );
        // A steady lead is never called early.
        assert!(!reveal.reason.contains("early"), "{}", reveal.reason);
        let marks = |idx: usize| reveal.you[idx].marks(2).iter().collect::<String>();
        assert_eq!([marks(0), marks(1)], ["3..3..", "o..o.."]);
        assert!(reveal.together.is_some());
        let (right, reveal) = told(clapping(phrase, |_| layer("1-4"), 1));
        assert!(!right);
        assert_eq!(
            reveal.verdict,
            "Not this time: claps on 1 and 4 were asked. \
             You clapped on 2 and 5, one pulse late, to the end."
        );
        let slides = |cycle: i64| {
            if cycle < 2 {
                layer("1-4")
            } else {
                layer("1-3-5")
            }
        };
        let (right, reveal) = told(clapping(phrase, slides, 0));
        assert!(!right);
        assert_eq!(
            reveal.verdict,
            "Not this time: claps on 1 and 4 were asked. \
             You began on 1 and 4 and ended on 1, 3 and 5 from cycle 3."
        );
        let (right, reveal) = told(Vec::new());
        assert!(!right && reveal.as_answered.is_none());
        assert!(
            reveal
                .verdict
                .ends_with("You did not clap from cycle 2 on.")
        );
    }
}

#[test]
fn the_sound_rises_or_falls_silent_under_the_hands() {
    let recipe = recipe(&[Feel::Twos], &[Entry::One]);
    let sound = |course| {
        let form = Form::Clap {
            layers: vec![layer("1-4")],
            place: Place::On,
            guide: Guide::Every,
            course,
            call: Call::None,
        };
        ask(&form, &recipe, 9).sounds().remove(0)
    };
    let whole = sound(Course::Whole);
    let silent = sound(Course::Silent(1));
    let in_cycle = |phrase: &Phrase, cycle: i64| {
        let notes = phrase.notes.iter().copied();
        notes
            .filter(|note| note.at.pulse_idx().div_euclid(6) == cycle)
            .collect::<Vec<_>>()
    };
    assert!(in_cycle(&silent, 2).is_empty());
    for cycle in [0, 1, 3] {
        assert_eq!(in_cycle(&silent, cycle), in_cycle(&whole, cycle));
    }
    // From 9 dB below itself, in steps of 3 dB, to itself; the guide stays.
    let rising = sound(Course::Rising);
    for (rising, whole) in rising.notes.iter().zip(&whole.notes) {
        let cycle = i16::try_from(whole.at.pulse_idx().div_euclid(6)).unwrap();
        let softer = if whole.voice.is_strings() {
            90 - 30 * cycle
        } else {
            0
        };
        assert_eq!(rising.loudness.0, whole.loudness.0 - softer);
    }
}

#[test]
fn what_is_clapped_is_judged_when_the_sound_ends() {
    let form = clap("1-3-5", Guide::Every);
    let (mut sitting, question) = opened(&form, &recipe(&[Feel::Twos], &[Entry::One]), 5);
    let Given::Taps(taps, _) = knowing(&question) else {
        panic!("taps");
    };
    for tap in taps {
        assert_eq!(sitting.handle(Event::Tap(tap), &now(2_000)), []);
    }
    // Silenced half-way it is asked for again, and nothing is judged.
    let mut hushed = sitting.clone();
    assert_eq!(hushed.handle(Event::Hushed, &now(10_000)), []);
    assert!(matches!(hushed.stage(), Stage::Open(open) if open.taps.kept().is_empty()));
    let effects = sitting.handle(Event::Ended, &now(20_000));
    let attempt = recorded(&effects);
    assert!(attempt.right && attempt.answer == Answer::Hands(Some(layer("1-3-5"))));
    assert_eq!(attempt.taps.len(), 12);
}

#[test]
fn the_truth_given_as_the_answer_is_right_in_every_kind() {
    for (form, recipe) in forms() {
        for seed in 0..60 {
            let question = ask(&form, &recipe, seed);
            let verdict = question.judge(&knowing(&question)).expect("an answer");
            assert!(verdict.right, "{form:?} {seed}: {verdict:?}");
            assert_eq!(verdict.answer, question.truth());
        }
    }
}

#[test]
fn every_other_choice_is_wrong() {
    for (form, recipe) in forms()
        .into_iter()
        .filter(|(form, recipe)| form.alternatives(recipe) > 0)
        // Marks are no choices, and of cycles three are right.
        .filter(|(form, _)| !matches!(form, Form::MarkAccents { .. } | Form::CatchTurn(_)))
    {
        for seed in 0..40 {
            let question = ask(&form, &recipe, seed);
            let n_choices = question.choices(Counting::FromOne).len();
            assert_eq!(n_choices, usize::from(form.alternatives(&recipe)));
            let judged = (0..n_choices).map(|idx| question.judge(&Given::Choice(idx)));
            let n_right = judged
                .map(Option::unwrap)
                .filter(|verdict| verdict.right)
                .count();
            assert_eq!(n_right, 1, "{form:?}");
            assert_eq!(question.judge(&Given::Choice(n_choices)), None);
            assert_eq!(
                question.judge(&Given::Taps(vec![Tap::at(0)], Hands::Untuned)),
                None
            );
        }
    }
}

#[test]
fn no_truth_comes_four_times_running() {
    let (form, recipe) = forms().remove(0);
    let mut lately = Vec::new();
    for seed in 0..300 {
        let question =
            Question::ask(&form, &recipe, Level::of_tenths(50), &lately, Seed(seed)).unwrap();
        lately.push(question.truth());
    }
    assert!(
        lately
            .windows(4)
            .all(|run| run.iter().any(|truth| *truth != run[0]))
    );
}

#[test]
fn a_reveal_explains_what_was_there_and_what_was_answered() {
    for (form, recipe) in forms() {
        for seed in 0..40 {
            let question = ask(&form, &recipe, seed);
            for idx in 0..5 {
                let given = Given::Choice(idx);
                let Some(verdict) = question.judge(&given) else {
                    continue;
                };
                let reveal = Reveal::of(&question, verdict, &given, Counting::FromOne);
                let opening = match verdict {
                    Verdict { right: false, .. } => "Not this time: ",
                    Verdict { answer, .. } if answer == question.truth() => "Right: ",
                    _ => "Right, near enough: ",
                };
                assert!(reveal.verdict.starts_with(opening), "{}", reveal.verdict);
                assert!(
                    reveal.reason.len() > 20 && reveal.reason.ends_with('.'),
                    "{}",
                    reveal.reason
                );
                assert!(!reveal.reason.contains(" ."), "{}", reveal.reason);
                assert_eq!(reveal.counts, ["1", "2", "3", "4", "5", "6"]);
                // Claps that are to be named and a bell that asks have rows of their own.
                let beside = match question.kind() {
                    Kind::NameClapping | Kind::WhoseStroke => 1,
                    _ => 0,
                };
                let n_voices = question.phrase().voices().len();
                assert_eq!(reveal.rows.len(), n_voices + beside);
                assert!(
                    reveal
                        .rows
                        .iter()
                        .flat_map(|row| &row.cycles)
                        .all(|c| c.len() == 6)
                );
                assert!(reveal.as_answered.is_none() || !verdict.right);
            }
        }
    }
}

#[test]
fn agreeing_cues_are_named_each_once() {
    let parts = RecipeParts {
        families: vec![Family::Plain],
        ..recipe_parts(&[Feel::Threes, Feel::Twos], &[Entry::One])
    };
    let recipe = Recipe::new(parts).expect("a possible recipe");
    for seed in 0..60 {
        let question = Question::ask(
            &Form::NameFeel,
            &recipe,
            Level::of_tenths(80),
            &[],
            Seed(seed),
        )
        .unwrap();
        let given = Given::Choice(0);
        let verdict = question.judge(&given).expect("an answer");
        let reason = Reveal::of(&question, verdict, &given, Counting::FromOne).reason;
        assert!(reason.contains("he new chords came on"), "{reason}");
        assert!(reason.contains("the low notes came on"), "{reason}");
        let clauses: Vec<&str> = reason.split("; ").collect();
        assert_eq!(clauses.len(), 2, "{reason}");
    }
}

#[test]
fn the_grid_marks_threes_with_3_and_twos_with_2() {
    let recipe = recipe(&[Feel::Twos], &[Entry::One]);
    let question = ask(&Form::NameFeel, &recipe, 3);
    let verdict = Verdict {
        answer: Answer::Feel(Feel::Threes),
        right: false,
    };
    let reveal = Reveal::of(&question, verdict, &Given::Choice(0), Counting::FromLast);
    let bass = reveal
        .rows
        .iter()
        .find(|row| row.name == "bass")
        .expect("a bass");
    assert_eq!(bass.marks(0).iter().collect::<String>(), "2.2.2.");
    let you = reveal.you.first().expect("a wrong answer is laid over it");
    assert_eq!(you.marks(0).iter().collect::<String>(), "3..3..");
    assert_eq!(reveal.counts, ["6", "1", "2", "3", "4", "5"]);
    assert_eq!(
        reveal.verdict,
        "Not this time: in twos. Your answer was: in threes."
    );
}

fn now(millis: u64) -> Now {
    Now {
        stamp: Stamp(millis * 1000),
        at: Moment(1_000_000 + i64::try_from(millis).unwrap()),
        wall: Moment(1_000_000 + i64::try_from(millis).unwrap()),
        offset_min: 60,
        day: Day(20_000),
    }
}

fn ticket(form: &Form, recipe: &Recipe) -> Ticket {
    let label = |text| Label::new(text).expect("a label");
    Ticket {
        skill: Skill("deck/exercise".into()),
        title: label("An exercise"),
        line: label("Listen."),
        repairs: Repairs {
            any: None,
            of: std::collections::BTreeMap::new(),
        },
        counting: Counting::FromOne,
        why: "new".to_owned(),
        criterion: Level::of_tenths(50),
        level: Level::of_tenths(50),
        alternatives: form.alternatives(recipe),
        block: 1,
        phase: Phase::Adaptive,
        place: (1, 6),
    }
}

/// A sitting with a question of this form open and heard from 1 s on.
fn opened(form: &Form, recipe: &Recipe, seed: u64) -> (Sitting, Question) {
    let mut sitting = Sitting::new(7, 3, Hands::Untuned, &now(0));
    assert_eq!(sitting.handle(Event::Onward, &now(0)), [Effect::WantNext]);
    let question = ask(form, recipe, seed);
    let next = Event::Next(Box::new((question.clone(), ticket(form, recipe))));
    let effects = sitting.handle(next, &now(500));
    assert!(matches!(effects.as_slice(), [Effect::Play(..)]));
    assert_eq!(
        sitting.handle(Event::Started(Stamp(1_000_000)), &now(1_000)),
        []
    );
    (sitting, question)
}

fn recorded(effects: &[Effect]) -> &Attempt {
    match effects {
        [Effect::Silence, Effect::Record(attempt)] => attempt,
        other => panic!("nothing was recorded: {other:?}"),
    }
}

#[test]
fn an_answer_is_recorded_with_what_was_heard() {
    let (form, recipe) = forms().remove(0);
    let (mut sitting, question) = opened(&form, &recipe, 11);
    let Given::Choice(idx) = knowing(&question) else {
        panic!("a choice")
    };
    let effects = sitting.handle(Event::Choose(idx), &now(9_000));
    let attempt = recorded(&effects);
    let cycle_ms = 6.0 * 60_000.0 / question.phrase().tempo().pulses_a_minute();
    assert_eq!(
        attempt.id,
        AttemptId {
            install: 7,
            sitting: 3,
            number: 1
        }
    );
    assert!(attempt.right && attempt.answer == question.truth());
    assert_eq!(attempt.heard_tenths, (8_000.0 / cycle_ms * 10.0) as u32);
    assert_eq!(attempt.answer_ms, (8_000.0 - cycle_ms) as u32);
    assert_eq!((attempt.replays, attempt.since_start_ms), (0, 9_000));
    assert_eq!(attempt.phrase, question.measured().line());
    assert!(matches!(sitting.stage(), Stage::Shown(shown) if !shown.saved));
    assert_eq!(sitting.handle(Event::Saved, &now(9_001)), []);
    assert!(matches!(sitting.stage(), Stage::Shown(shown) if shown.saved));
    assert_eq!(sitting.tallies()[0].n_right, 1);
}

#[test]
fn replays_are_counted_and_a_broken_sound_is_not() {
    let (form, recipe) = forms().remove(0);
    let (mut sitting, _) = opened(&form, &recipe, 4);
    assert!(matches!(
        sitting.handle(Event::Again, &now(2_000)).as_slice(),
        [Effect::Play(..)]
    ));
    assert!(matches!(
        sitting.handle(Event::Spoiled, &now(3_000)).as_slice(),
        [Effect::Play(..)]
    ));
    sitting.handle(Event::Started(Stamp(4_000_000)), &now(4_000));
    let effects = sitting.handle(Event::Choose(0), &now(5_000));
    let attempt = recorded(&effects);
    assert_eq!(attempt.replays, 1);
    // Only what was heard since it was played whole counts.
    let cycle_ms = 6.0 * 60_000.0 / attempt.tempo.pulses_a_minute();
    assert_eq!(attempt.heard_tenths, (1_000.0 / cycle_ms * 10.0) as u32);
}

#[test]
fn a_sound_that_keeps_breaking_brings_another_question() {
    let (form, recipe) = forms().remove(0);
    let (mut sitting, _) = opened(&form, &recipe, 4);
    for _ in 0..3 {
        sitting.handle(Event::Spoiled, &now(2_000));
    }
    let effects = sitting.handle(Event::Spoiled, &now(2_000));
    assert_eq!(
        effects,
        [Effect::Silence, Effect::PassOver, Effect::WantNext]
    );
}

#[test]
fn taps_settle_a_tapped_question_and_held_keys_do_not_count() {
    let (form, recipe) = forms().remove(2);
    let (mut sitting, question) = opened(&form, &recipe, 5);
    let Given::Taps(taps, _) = knowing(&question) else {
        panic!("taps")
    };
    let mut effects = Vec::new();
    for tap in taps {
        assert_eq!(effects, []);
        effects = sitting.handle(Event::Tap(tap), &now(3_000));
        if effects.is_empty() {
            // The key repeats itself.
            assert_eq!(
                sitting.handle(Event::Tap(Tap::at(tap.micros + 30_000)), &now(3_030)),
                []
            );
        }
    }
    let attempt = recorded(&effects);
    assert!(attempt.right);
    assert_eq!((attempt.alternatives, attempt.taps.len()), (0, 4));
}

#[test]
fn skipping_leaves_no_trace() {
    let (form, recipe) = forms().remove(1);
    let (mut sitting, _) = opened(&form, &recipe, 6);
    assert_eq!(
        sitting.handle(Event::Skip, &now(2_000)),
        [Effect::Silence, Effect::PassOver, Effect::WantNext]
    );
    assert!(sitting.tallies().is_empty());
}

#[test]
fn a_dispute_sets_the_phrase_aside_once() {
    let (form, recipe) = forms().remove(0);
    let (mut sitting, _) = opened(&form, &recipe, 8);
    sitting.handle(Event::Choose(0), &now(4_000));
    let effects = sitting.handle(Event::Dispute, &now(5_000));
    assert!(matches!(effects.as_slice(), [Effect::SetAside(_)]));
    assert_eq!(sitting.handle(Event::Dispute, &now(5_100)), []);
}

#[test]
fn what_cannot_happen_does_nothing() {
    let mut sitting = Sitting::new(7, 1, Hands::Untuned, &now(0));
    for event in [
        Event::Choose(0),
        Event::Tap(Tap::at(0)),
        Event::Saved,
        Event::Dispute,
        Event::Ended,
    ] {
        assert_eq!(sitting.handle(event, &now(1)), []);
        assert_eq!(sitting.stage(), &Stage::Ready);
    }
    assert_eq!(sitting.handle(Event::Leave, &now(2)), [Effect::Silence]);
    assert_eq!(sitting.handle(Event::Onward, &now(3)), []);
    assert_eq!(sitting.stage(), &Stage::Over);
}

/// What is told of taps to a question.
fn told(question: &Question, taps: Vec<Tap>, hands: Hands) -> (bool, Reveal) {
    let given = Given::Taps(taps, hands);
    let verdict = question.judge(&given).expect("taps answer it");
    let reveal = Reveal::of(question, verdict, &given, Counting::FromOne);
    (verdict.right, reveal)
}

#[test]
fn two_hands_are_told_apart() {
    let form = Form::TwoHands {
        layers: [layer("1-4"), layer("1-3-5")],
        guide: Guide::Half,
        call: Call::None,
    };
    let recipe = recipe(&[Feel::Both], &[Entry::One]);
    let mut lefts = std::collections::BTreeSet::new();
    for seed in 0..20 {
        let question = ask(&form, &recipe, seed);
        let Answer::Pair([Some(left), Some(right)]) = question.truth() else {
            panic!("two layers");
        };
        lefts.insert(left);
        let hand = |layer| Counting::FromOne.list(layer);
        let (said, expected) = (
            Reveal::told(&question, Counting::FromOne).verdict,
            format!(
                "Left hand claps on {}, right hand claps on {}.",
                hand(left),
                hand(right)
            ),
        );
        assert_eq!(said, expected);
        let Given::Taps(taps, _) = knowing(&question) else {
            panic!("taps");
        };
        let (is_right, reveal) = told(&question, taps.clone(), TUNED);
        assert!(is_right, "{}", reveal.verdict);
        assert_eq!(reveal.you.len(), 4);
        let (sound, guide) = (question.sounds().remove(0), |touch| {
            question.sounds()[0]
                .notes
                .iter()
                .filter(|n| n.touch == touch)
                .count()
        });
        assert!(sound.notes.len() > question.phrase().notes.len());
        assert_eq!(guide(crate::phrase::Touch::Sorda), 2 * left.n_onsets());
        assert_eq!(guide(crate::phrase::Touch::Clara), 2 * right.n_onsets());
        // The hands exchanged: the joined rhythm is the same.
        let exchanged = taps.iter().map(|tap| Tap {
            hand: if tap.hand == Hand::Left {
                Hand::Right
            } else {
                Hand::Left
            },
            ..*tap
        });
        let (is_right, reveal) = told(&question, exchanged.collect(), TUNED);
        assert!(!is_right);
        assert_eq!(
            reveal
                .verdict
                .matches("which is for the other hand")
                .count(),
            2
        );
        // One hand does it all.
        let joined = taps.iter().map(|tap| Tap {
            hand: Hand::Left,
            ..*tap
        });
        let mut joined: Vec<Tap> = joined.collect();
        joined.dedup_by_key(|tap| tap.micros);
        let (is_right, reveal) = told(&question, joined, TUNED);
        assert!(!is_right);
        assert!(
            reveal
                .verdict
                .contains("The left hand clapped on 1, 3, 4 and 5, both layers at once")
        );
        assert!(
            reveal
                .verdict
                .contains("The right hand did not clap from cycle 2 on."),
            "{}",
            reveal.verdict
        );
    }
    assert_eq!(lefts.len(), 2, "both assignments are asked");
}

#[test]
fn a_bell_calls_for_another_layer_or_for_a_rest() {
    let switch = Form::Clap {
        layers: vec![layer("1-4"), layer("1-3-5")],
        place: Place::On,
        guide: Guide::None,
        course: Course::Whole,
        call: Call::Bell,
    };
    for seed in 0..20 {
        let question = ask(&switch, &long_recipe(&[Feel::Both]), seed);
        let asked = question.asked().expect("hands").clone();
        let call = asked.call.expect("a call").cycle;
        let bells = question.sounds()[0].only(crate::phrase::Voice::Bell).notes;
        assert_eq!(
            bells.iter().map(|n| n.at.pulse_idx()).collect::<Vec<_>>(),
            [6 * call]
        );
        let [before, after] = [&asked.parts[0], &asked.parts[1]].map(|part| part.layer.unwrap());
        assert_ne!(before, after);
        let phrase = question.phrase();
        // A cycle late in going over is soon enough, two are not, nor is staying.
        let from = |change: i64| {
            clapping(
                phrase,
                |cycle| if cycle < change { before } else { after },
                0,
            )
        };
        assert!(told(&question, from(call + 1), TUNED).0);
        assert!(told(&question, from(call + 2), TUNED).0);
        let (is_right, reveal) = told(&question, from(99), TUNED);
        assert!(!is_right);
        assert!(
            reveal.verdict.contains("After the bell you clapped"),
            "{}",
            reveal.verdict
        );
        assert!(
            !reveal.verdict.contains("Before the bell you"),
            "{}",
            reveal.verdict
        );
        assert!(!told(&question, from(call + 4), TUNED).0);
    }
    let rest = Form::TwoHands {
        layers: [layer("1-4"), layer("1-3-5")],
        guide: Guide::None,
        call: Call::Bell,
    };
    for seed in 0..20 {
        let question = ask(&rest, &long_recipe(&[Feel::Both]), seed);
        let mut asked = question.asked().expect("hands").clone();
        let rests = asked.parts[2].hand;
        assert!(
            question
                .asks(Counting::FromOne)
                .contains(&format!("the {} rests", rests.words()))
        );
        assert!(told(&question, as_asked(question.phrase(), &asked), TUNED).0);
        // The hand that was to rest goes on.
        for part in &mut asked.parts {
            part.asked.1 = i64::from(question.phrase().n_cycles);
        }
        let (is_right, reveal) = told(&question, as_asked(question.phrase(), &asked), TUNED);
        assert!(!is_right);
        let said = format!("The {} went on after the bell.", rests.words());
        assert!(reveal.verdict.contains(&said), "{}", reveal.verdict);
    }
}

#[test]
fn hands_stop_with_the_close_of_the_guitar_and_go_on_with_it() {
    let form = Form::Clap {
        layers: vec![twelve("1-4-7-9-11")],
        place: Place::On,
        guide: Guide::First,
        course: Course::Whole,
        call: Call::Close,
    };
    for seed in 0..20 {
        let question = ask(&form, &wheel_recipe(), seed);
        let asked = question.asked().expect("hands").clone();
        let close = asked.call.expect("a call").cycle;
        let phrase = question.phrase();
        let sound = &question.sounds()[0];
        let at = |pulse: i64| {
            sound
                .notes
                .iter()
                .filter(move |n| n.at.pulse_idx() == pulse)
        };
        let silence = 12 * close + 11..12 * (close + 2);
        assert!(
            silence.clone().all(|pulse| at(pulse).count() == 0),
            "silent after its close"
        );
        assert!(at(12 * (close + 2)).count() > 0, "and begins again");
        assert!(
            at(12 * close + 10).all(|note| note.length.0 > 4 * 240),
            "the close rings"
        );

        let layer = asked.parts[0].layer.expect("a layer");
        let whole = |cycle: i64| cycle == close + 1;
        let taps = |rests: &dyn Fn(i64) -> bool, late: i64| {
            let all = clapping(phrase, |_| layer, 0);
            let map = PulseMap::of(phrase.pace.clone(), 0);
            let cycle = |tap: &Tap| map.tick_at(tap.micros + 30_000).pulse_idx().div_euclid(12);
            let kept = all.into_iter().filter(|tap| !rests(cycle(tap)));
            kept.map(|tap| match cycle(&tap) > close {
                true => Tap {
                    micros: tap.micros + late,
                    ..tap
                },
                false => tap,
            })
            .collect::<Vec<Tap>>()
        };
        let (is_right, reveal) = told(&question, taps(&whole, 0), TUNED);
        assert!(is_right, "{}", reveal.verdict);
        let drawn = reveal.rows.iter().any(|row| {
            let marks = row.marks(usize::try_from(close + 1).expect("a cycle"));
            marks.iter().any(|mark| *mark != '.')
        });
        assert!(!drawn, "the guitar rests in the grid as well");
        assert!(
            reveal.verdict.contains("a stop at the close"),
            "{}",
            reveal.verdict
        );
        let (is_right, reveal) = told(&question, taps(&|_| false, 0), TUNED);
        assert!(!is_right);
        assert!(
            reveal
                .verdict
                .contains("clapped on while the guitar rested"),
            "{}",
            reveal.verdict
        );
        assert!(
            reveal.verdict.contains("The guitar closed in cycle"),
            "{}",
            reveal.verdict
        );
        // In again three pulses late: the right strokes from a wrong start.
        let pulse = 6_000_000_000 / i64::from(phrase.tempo().hundredths());
        let (is_right, reveal) = told(&question, taps(&whole, 3 * pulse), TUNED);
        assert!(!is_right);
        assert!(
            reveal.verdict.contains("After the close you clapped"),
            "{}",
            reveal.verdict
        );
    }
}

fn twelve(counts: &str) -> Layer {
    let cycle = Cycle::new(12).expect("twelve");
    let pulses = counts
        .split('-')
        .map(|count| count.parse::<i64>().expect("a count") - 1);
    Layer::of(cycle, &pulses.collect::<Vec<_>>()).expect("a layer")
}

fn wheel_recipe() -> Recipe {
    let parts = RecipeParts {
        patterns: vec![crate::rhythm::Pattern::from_id("guajira").expect("a pattern")],
        families: vec![Family::BassStrums],
        tempo: (140, 200),
        cycles: (8, 8),
        ..recipe_parts(&[Feel::Mixed], &[Entry::One])
    };
    Recipe::new(parts).expect("a possible recipe")
}

/// Threes clapped on through two cycles of silence.
fn clap_through_silence() -> Form {
    Form::Clap {
        layers: vec![layer("1-4")],
        place: Place::On,
        guide: Guide::First,
        course: Course::Silent(2),
        call: Call::None,
    }
}

#[test]
fn who_comes_back_in_another_place_has_not_kept_the_cycle() {
    let form = clap_through_silence();
    let parts = RecipeParts {
        cycles: (6, 6),
        ..recipe_parts(&[Feel::Threes], &[Entry::One])
    };
    let recipe = Recipe::new(parts).expect("a possible recipe");
    for seed in 0..20 {
        let question = ask(&form, &recipe, seed);
        let phrase = question.phrase();
        // From the third cycle on slower or faster by so much a cycle.
        let wandering = |share: f64| -> Vec<Tap> {
            let pulse = 6e9 / f64::from(phrase.tempo().hundredths());
            let taps = clapping(phrase, |_| layer("1-4"), 0).into_iter();
            let silent = |cycle: f64| (cycle - 2.0).clamp(0.0, 2.0);
            taps.map(|tap| {
                let cycle = tap.micros as f64 / pulse / 6.0;
                Tap::at(tap.micros + (silent(cycle) * share * pulse) as i64)
            })
            .collect()
        };
        assert!(told(&question, wandering(0.0), TUNED).0);
        assert!(told(&question, wandering(0.05), TUNED).0);
        let (is_right, reveal) = told(&question, wandering(0.2), TUNED);
        assert!(!is_right, "{}", reveal.verdict);
        assert!(
            reveal.verdict.contains("When the sound came back you were"),
            "{}",
            reveal.verdict
        );
    }
}

#[test]
fn timing_is_kept_where_the_set_up_is_known_and_the_usual_lead_is_learnt() {
    let (form, recipe) = forms().remove(5);
    let question = ask(&form, &recipe, 3);
    let taps = knowing(&question);
    let Given::Taps(micros, _) = &taps else {
        panic!("taps");
    };
    let timing = question.timing(&taps).expect("a tuned set-up");
    assert_eq!((timing.lead_ms, timing.spread_tenths), (-25, 0));
    assert_eq!(
        question.timing(&Given::Taps(micros.clone(), Hands::Untuned)),
        None
    );
    let reason = |hands| told(&question, micros.clone(), hands).1.reason;
    assert!(
        reason(TUNED).contains("steadily 25 ms ahead of your usual place"),
        "{}",
        reason(TUNED)
    );
    let habit = Habit::of(&[-24, -60, -26, 10, -25]);
    assert_eq!(habit, Habit { lead_ms: -25, n: 5 });
    assert!(!reason(Hands::Tuned(habit)).contains("usual place"));
    let untuned = reason(Hands::Untuned);
    assert!(
        untuned.contains("strokes struck from the second cycle on; timing is not judged"),
        "{untuned}"
    );
    assert!(!untuned.contains("spread"), "{untuned}");
}

#[test]
fn whose_stroke_is_asked_evenly_of_the_four_answers() {
    let recipe = recipe(&[Feel::Both], &[Entry::One]);
    let mut counts = std::collections::BTreeMap::new();
    for seed in 0..400 {
        let question = ask(&Form::WhoseStroke, &recipe, seed);
        let Answer::Owner(owner) = question.truth() else {
            panic!("an owner");
        };
        *counts.entry(owner.id()).or_insert(0) += 1;
        let bells = question.sounds()[0].only(crate::phrase::Voice::Bell).notes;
        let places: Vec<i64> = bells
            .iter()
            .map(|n| n.at.pulse_idx().rem_euclid(6))
            .collect();
        assert!(places.len() >= 3 && places.windows(2).all(|pair| pair[0] == pair[1]));
        // By the table of the joined pattern: both on 1, threes on 4, twos on 3 and 5.
        let expected = ["both", "neither", "twos", "threes", "twos", "neither"];
        assert_eq!(owner.id(), expected[places[0] as usize]);
    }
    // A quarter of 400, within four standard deviations.
    assert!(
        counts.values().all(|n| (66..=134).contains(n)),
        "{counts:?}"
    );
}

#[test]
fn marks_are_told_apart_by_what_is_missing_and_what_is_too_many() {
    let form = Form::MarkAccents {
        patterns: vec![layer("3-5"), layer("1-4")],
        of: Fits::Knocks,
    };
    let recipe = recipe(&[Feel::Threes], &[Entry::One]);
    let question = (0..20)
        .map(|seed| ask(&form, &recipe, seed))
        .find(|question| question.truth() == Answer::Marks(Some(layer("3-5"))))
        .expect("one in two");
    let told = |marks: Vec<usize>| {
        let given = Given::Marks(marks);
        let verdict = question.judge(&given).expect("marks answer it");
        let reveal = Reveal::of(&question, verdict, &given, Counting::FromOne);
        (verdict.right, reveal.verdict)
    };
    assert_eq!(
        told(vec![2, 4]),
        (true, "Right: accents on 3 and 5.".to_owned())
    );
    assert_eq!(
        told(vec![0, 2]),
        (
            false,
            "Not this time: accents on 3 and 5. You marked on 1 and 3: 5 missing, 1 too many."
                .to_owned()
        )
    );
    assert_eq!(
        told(Vec::new()),
        (
            false,
            "Not this time: accents on 3 and 5. You marked none: 3 and 5 missing.".to_owned()
        )
    );
}

#[test]
fn a_turn_is_caught_within_one_cycle_and_now_and_then_there_is_none() {
    let recipe = long_recipe(&[Feel::InTurn]);
    let (mut steady, mut places) = (0, std::collections::BTreeSet::new());
    for seed in 0..200 {
        let question = ask(&Form::CatchTurn(Turning::Once), &recipe, seed);
        let right = |idx: usize| question.judge(&Given::Choice(idx)).is_some_and(|v| v.right);
        let Answer::Turn(truth) = question.truth() else {
            panic!("a turn");
        };
        let rights: Vec<usize> = (0..9).filter(|idx| right(*idx)).collect();
        match truth {
            None => {
                steady += 1;
                assert_eq!(rights, [0]);
            }
            Some(at) => {
                let at = usize::from(at);
                places.insert(at);
                assert_eq!(rights, [at - 1, at, at + 1]);
                // As the accents were measured, and not only as it was asked for.
                let sides = [layer("1-4"), layer("1-3-5")].map(Some);
                let is_told = |row: &&Row| {
                    let mut stated = row.cycles.iter().map(Row::standing_out);
                    stated.all(|layer| sides.contains(&layer))
                };
                let rows = question.measured().rows();
                let row = rows.iter().find(is_told).expect("a voice that turns");
                let stated = |cycle: usize| Row::standing_out(&row.cycles[cycle]);
                assert_ne!(stated(at - 1), stated(at));
                assert_eq!(stated(at - 2), stated(at - 1));
                assert_eq!(stated(at), stated(at + 1));
            }
        }
    }
    // A fifth of 200, less those that would follow each other, within four standard deviations.
    assert!((18..=62).contains(&steady), "{steady}");
    assert_eq!(places.into_iter().collect::<Vec<_>>(), [2, 3, 4, 5, 6]);
}

#[test]
fn a_hemiola_is_one_cycle_of_twos_within_threes_and_only_that_cycle_is_right() {
    let recipe = long_recipe(&[Feel::InTurn]);
    let form = Form::CatchTurn(Turning::Hemiola);
    let (mut steady, mut places) = (0, std::collections::BTreeSet::new());
    for seed in 0..150 {
        let question = ask(&form, &recipe, seed);
        let right = |idx: usize| question.judge(&Given::Choice(idx)).is_some_and(|v| v.right);
        let rights: Vec<usize> = (0..9).filter(|idx| right(*idx)).collect();
        let rows = question.measured().rows().iter();
        let stated = |row: &Row| -> Vec<Option<Layer>> {
            row.cycles.iter().map(Row::standing_out).collect()
        };
        let [threes, twos] = [layer("1-4"), layer("1-3-5")].map(Some);
        let twos_in = |cycles: &Vec<Option<Layer>>| -> Vec<usize> {
            (0..cycles.len())
                .filter(|idx| cycles[*idx] == twos)
                .collect()
        };
        let is_side =
            |cycles: &Vec<Option<Layer>>| cycles.iter().all(|layer| [threes, twos].contains(layer));
        let told = rows.map(stated).find(is_side);
        match question.truth() {
            Answer::Turn(None) => {
                steady += 1;
                assert_eq!(rights, [0]);
                assert_eq!(question.phrase().feel, Feel::Threes);
            }
            Answer::Turn(Some(at)) => {
                let at = usize::from(at);
                assert_eq!(rights, [at]);
                assert_eq!(twos_in(&told.expect("a voice that turns")), [at]);
                places.insert(at);
            }
            other => panic!("{other:?}"),
        }
        let words = question.choices(Counting::FromOne);
        assert_eq!(words[2], "in cycle 3");
    }
    assert!((20..=80).contains(&steady), "{steady}");
    assert_eq!(places.into_iter().collect::<Vec<_>>(), [2, 3, 4, 5, 6]);
}

#[test]
fn the_voice_that_is_named_does_what_is_said_and_another_does_the_other() {
    let recipe = recipe(&[Feel::Both], &[Entry::One]);
    let (mut voices, mut threes) = (std::collections::BTreeSet::new(), 0);
    for seed in 0..200 {
        let question = ask(&Form::NameVoice, &recipe, seed);
        let asks = question.asks(Counting::FromOne);
        voices.insert(asks.clone());
        let truth = question.truth();
        threes += u32::from(truth == Answer::Feel(Feel::Threes));
        let layers: std::collections::BTreeSet<Layer> = question
            .measured()
            .rows()
            .iter()
            .filter_map(Row::layer)
            .collect();
        assert!(layers.contains(&layer("1-4")) && layers.contains(&layer("1-3-5")));
        let knocks = question
            .measured()
            .rows()
            .iter()
            .find(|row| row.cue.words().contains("knock"));
        if asks.contains("knocks") {
            let of_knocks = knocks.and_then(Row::layer).expect("they mark a layer");
            let feel = if of_knocks == layer("1-4") {
                Feel::Threes
            } else {
                Feel::Twos
            };
            assert_eq!(truth, Answer::Feel(feel));
        }
    }
    assert!(voices.len() >= 2, "{voices:?}");
    // Half of 200, within four standard deviations.
    assert!((72..=128).contains(&threes), "{threes}");
}

#[test]
fn claps_that_are_to_be_named_are_the_softer_the_harder_it_is() {
    let recipe = recipe(&[Feel::Threes], &[Entry::One]);
    let form = Form::NameClapping(vec![layer("1-4"), layer("1-4-5")]);
    let loudest = |tenths: i16| {
        let level = Level::of_tenths(tenths);
        let question = Question::ask(&form, &recipe, level, &[], Seed(5)).expect("a question");
        let sound = question.sounds().remove(0);
        let claps = sound.only(crate::phrase::Voice::Claps).notes;
        claps
            .iter()
            .map(|note| note.loudness.0)
            .max()
            .expect("claps")
    };
    assert_eq!(
        [loudest(100), loudest(80), loudest(50), loudest(20)],
        [0, 0, -30, -60]
    );
}

/// The likely wrong answer to one, four and five: the sixth in place of the fifth.
#[test]
fn what_was_clapped_is_held_against_what_was_asked() {
    let form = clap("1-4-5", Guide::None);
    let question = ask(&form, &recipe(&[Feel::Threes], &[Entry::One]), 4);
    let taps = clapping(question.phrase(), |_| layer("1-4-6"), 0);
    let (is_right, reveal) = told(&question, taps, TUNED);
    assert!(!is_right);
    let said = &reveal.verdict;
    assert!(said.contains("You clapped on 1, 4 and 6"), "{said}");
    assert!(!said.contains("never on 2"), "{said}");
}

/// Each way in which hands go wrong is told, and named for its repair.
#[test]
fn what_hands_missed_is_named() {
    let form = clap("1-4", Guide::None);
    let mut parts = recipe_parts(&[Feel::Threes], &[Entry::One]);
    parts.cycles = (8, 8);
    let eight = Recipe::new(parts).expect("a possible recipe");
    let question = ask(&form, &eight, 4);
    let phrase = question.phrase();
    let taps = |counts: &str| clapping(phrase, |_| layer(counts), 0);
    let check = |taps: Vec<Tap>, miss: Miss, said: &str| {
        let (is_right, reveal) = told(&question, taps, TUNED);
        assert!(!is_right);
        assert_eq!(reveal.miss, Some(miss), "{}", reveal.verdict);
        assert!(reveal.verdict.ends_with(said), "{}", reveal.verdict);
    };
    let (is_right, reveal) = told(&question, taps("1-4"), TUNED);
    assert!(is_right && reveal.miss.is_none());
    let turned = "You clapped on 2 and 5, one pulse late, to the end.";
    check(taps("2-5"), Miss::Turned, turned);
    check(taps("1-3-5"), Miss::Other, "on 1, 3 and 5, to the end.");
    check(
        taps("1-3-4-5"),
        Miss::Joined,
        "both layers at once, to the end.",
    );
    check(taps("1"), Miss::Gaps, "You clapped on 1 and never on 4.");
    check(Vec::new(), Miss::Lost, "You did not clap from cycle 2 on.");
    let slid = |cycle: i64| layer(if cycle < 4 { "1-4" } else { "1-3-5" });
    let slid = clapping(phrase, slid, 0);
    check(slid, Miss::Slid, "ended on 1, 3 and 5 from cycle 5.");
    let cycle_micros = 6 * 60_000_000 / i64::from(phrase.tempo().hundredths()) * 100;
    let mut stopped = taps("1-4");
    stopped.retain(|tap| tap.micros < 4 * cycle_micros - 100_000);
    let said = "You clapped on 1 and 4. From cycle 5 on there was no clap any more.";
    check(stopped, Miss::Stopped, said);
    let whole = clapping(phrase, |_| layer("1-2-3-4-5-6"), 0);
    check(whole, Miss::Extra, "on 1, 2, 3, 4, 5 and 6, to the end.");
    let cycle_of = |tap: &Tap| (tap.micros + 100_000) / cycle_micros;
    let mut paused = taps("1-4");
    paused.retain(|tap| !(3..5).contains(&cycle_of(tap)));
    let said = "You clapped on 1 and 4. In cycles 4 to 5 there was no clap.";
    check(paused, Miss::Paused, said);
    let slower = taps("1-4").into_iter();
    let slower = slower.map(|tap| Tap::at(tap.micros * 100 / 88));
    let slower = slower.filter(|tap| tap.micros < 8 * cycle_micros - 100_000);
    let said = "in a tempo of their own, 12 % slower than what sounded.";
    check(slower.collect(), Miss::Drifted, said);
}

/// In a silence hands may rest, or go on and stop later: the one is not told as the other.
#[test]
fn who_rests_in_the_silence_is_told_so() {
    let form = clap_through_silence();
    let mut parts = recipe_parts(&[Feel::Either], &[Entry::One]);
    parts.cycles = (8, 8);
    parts.families = vec![crate::phrase::Family::BassStrums];
    let question = ask(&form, &Recipe::new(parts).expect("a possible recipe"), 4);
    let phrase = question.phrase();
    let cycle_micros = 6 * 60_000_000 / i64::from(phrase.tempo().hundredths()) * 100;
    let cycle_of = |tap: &Tap| (tap.micros + 100_000) / cycle_micros;
    let taps = |counts: &str, until: i64, rests: std::ops::Range<i64>| {
        let mut taps = clapping(phrase, |_| layer(counts), 0);
        taps.retain(|tap| cycle_of(tap) < until && !rests.contains(&cycle_of(tap)));
        told(&question, taps, TUNED).1
    };
    let rested = taps("1-4", 8, 2..4);
    assert_eq!(rested.miss, Some(Miss::Paused), "{}", rested.verdict);
    let said = "In cycles 3 to 4 there was no clap.";
    assert!(rested.verdict.contains(said), "{}", rested.verdict);
    let stopped = taps("1-4", 5, 0..0);
    assert_eq!(stopped.miss, Some(Miss::Stopped), "{}", stopped.verdict);
    // Something else was in no place that could be right.
    let other = taps("1-3-5", 8, 0..0);
    assert!(!other.verdict.contains("in place"), "{}", other.verdict);
}

/// Both hands a count late are told so, each against what it was asked.
#[test]
fn two_hands_from_a_wrong_count_are_told_so() {
    let form = Form::TwoHands {
        layers: [layer("1-4"), layer("1-3-5")],
        guide: Guide::Half,
        call: Call::None,
    };
    let question = ask(&form, &recipe(&[Feel::Both], &[Entry::One]), 3);
    let Given::Taps(taps, _) = knowing(&question) else {
        panic!("taps");
    };
    let pulse = 60_000_000 / i64::from(question.phrase().tempo().hundredths()) * 100;
    let late = taps.iter().map(|tap| Tap {
        micros: tap.micros + pulse,
        ..*tap
    });
    for hands in [TUNED, Hands::Untuned, Hands::Unheard] {
        let (is_right, reveal) = told(&question, late.clone().collect(), hands);
        assert!(!is_right);
        let n = reveal.verdict.matches("one pulse late").count();
        assert_eq!(
            (reveal.miss, n),
            (Some(Miss::Turned), 2),
            "{}",
            reveal.verdict
        );
        assert!(
            !reveal.reason.contains("strokes struck"),
            "{}",
            reveal.reason
        );
    }
}

/// Each way in which a choice goes wrong is named for its repair.
#[test]
fn what_a_choice_missed_is_named() {
    let mut seen = std::collections::BTreeSet::new();
    for (form, recipe) in forms() {
        let likely = Miss::of_kind(form.kind());
        for seed in 0..40 {
            let question = ask(&form, &recipe, seed);
            let n = question.choices(Counting::FromOne).len();
            let marks = ["1-4", "1", "2-5", "1-3-4-5", "2-3"].map(|counts| {
                let pulses = layer(counts).pulses().map(Pulse::idx);
                Given::Marks(pulses.collect())
            });
            let given = (0..n).map(Given::Choice);
            for given in given.chain(marks) {
                let Some(verdict) = question.judge(&given) else {
                    continue;
                };
                let reveal = Reveal::of(&question, verdict, &given, Counting::FromOne);
                assert_eq!(reveal.miss.is_none(), verdict.right);
                let is_likely = reveal.miss.is_none_or(|miss| likely.contains(&miss));
                assert!(is_likely, "{:?} of {:?}", reveal.miss, form.kind());
                seen.extend(reveal.miss.map(|miss| (form.kind(), miss)));
            }
        }
    }
    // Whoever chooses may miss in every way that a deck may repair.
    let chosen = [
        Kind::NameFeel,
        Kind::FitClapping,
        Kind::MarkAccents,
        Kind::CatchTurn,
        Kind::WhoseStroke,
        Kind::NameVoice,
    ];
    for kind in chosen {
        for miss in Miss::of_kind(kind) {
            assert!(seen.contains(&(kind, *miss)), "{miss:?} of {kind:?}");
        }
    }
}

#[test]
fn what_was_left_out_is_not_named_as_clapped() {
    let form = clap("1-4", Guide::None);
    let question = ask(&form, &recipe(&[Feel::Threes], &[Entry::One]), 4);
    let phrase = question.phrase();
    let (is_right, reveal) = told(&question, clapping(phrase, |_| layer("1"), 0), TUNED);
    assert!(!is_right);
    assert!(
        reveal.verdict.ends_with("You clapped on 1 and never on 4."),
        "{}",
        reveal.verdict
    );
    // Nothing is heard: there is no delay, so that half a pulse late is half-way after the count.
    let half = clapping(phrase, |_| layer("1-4"), 0)
        .into_iter()
        .map(|tap| {
            let pulse = 6_000_000_000 / i64::from(phrase.tempo().hundredths());
            Tap::at(tap.micros + pulse / 2)
        });
    let (is_right, reveal) = told(&question, half.collect(), Hands::Unheard);
    assert!(!is_right, "{}", reveal.verdict);
    assert!(
        reveal.verdict.contains("half-way after 1 and 4"),
        "{}",
        reveal.verdict
    );
}
