//! A sitting without clock, sound or store: events in, effects out.

use super::*;
use crate::label::Label;
use crate::phrase::{Bell, Entry, Family, Level, Recipe, RecipeParts};
use crate::rhythm::{Counting, Cycle, Feel, Layer};
use crate::world::{Day, Moment, Seed, Stamp};

fn recipe_parts(feels: &[Feel], entries: &[Entry]) -> RecipeParts {
    RecipeParts {
        pattern: crate::rhythm::Pattern::SIX,
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

fn layer(counts: &str) -> Layer {
    Layer::from_counts(Cycle::SIX, counts).expect("a layer of six")
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
                guide: Guide::First,
                course: Course::Whole,
            },
            recipe(&[Feel::Threes, Feel::Twos], &Entry::ALL),
        ),
    ]
}

fn ask(form: &Form, recipe: &Recipe, seed: u64) -> Question {
    Question::ask(form, recipe, Level::of_tenths(50), &[], Seed(seed)).expect("a question")
}

/// What a learner who knows the truth would give.
fn knowing(question: &Question) -> Given {
    let phrase = question.phrase();
    let pulse_micros = 6_000_000_000 / i64::from(phrase.tempo().hundredths());
    match question.truth() {
        Answer::Start(_) if question.is_tapped() => Given::Taps(
            (1..5)
                .map(|cycle| cycle * 6 * pulse_micros - 25_000)
                .collect(),
            Hands::Untuned,
        ),
        Answer::Hands(Some(layer)) => Given::Taps(clapping(phrase, |_| layer, 0), Hands::Tuned),
        truth => {
            let answers = |idx: &usize| {
                question
                    .judge(&Given::Choice(*idx))
                    .is_some_and(|verdict| verdict.answer == truth)
            };
            Given::Choice(
                (0..6)
                    .find(answers)
                    .expect("the truth is among the choices"),
            )
        }
    }
}

/// Claps of a layer in each cycle, so many pulses late, by hands that lead by 25 ms.
fn clapping(phrase: &crate::phrase::Phrase, layer: impl Fn(i64) -> Layer, late: i64) -> Vec<i64> {
    let pulse_micros = 6_000_000_000 / i64::from(phrase.tempo().hundredths());
    let taps = (0..i64::from(phrase.n_cycles)).flat_map(|cycle| {
        let pulses = layer(cycle).pulses();
        pulses
            .map(move |pulse| cycle * 6 + pulse.idx() as i64 + late)
            .collect::<Vec<i64>>()
    });
    taps.map(|pulse| pulse * pulse_micros - 25_000).collect()
}

#[test]
fn hands_are_told_what_they_did() {
    let form = Form::Clap {
        layers: vec![layer("1-4")],
        guide: Guide::Half,
        course: Course::Whole,
    };
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
        let told = |taps: Vec<i64>| {
            let given = Given::Taps(taps, Hands::Tuned);
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
        assert!(reveal.reason.contains("of the gap"), "{}", reveal.reason);
        let you = reveal.you.expect("a row of claps");
        assert_eq!(you.marks(2).iter().collect::<String>(), "o..o..");
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
                .ends_with("too few to say what they clapped.")
        );
    }
}

#[test]
fn the_sound_rises_or_falls_silent_under_the_hands() {
    let recipe = recipe(&[Feel::Twos], &[Entry::One]);
    let sound = |course| {
        let form = Form::Clap {
            layers: vec![layer("1-4")],
            guide: Guide::Every,
            course,
        };
        ask(&form, &recipe, 9).sounds().remove(0)
    };
    let whole = sound(Course::Whole);
    let silent = sound(Course::Silent(1));
    let in_cycle = |phrase: &crate::phrase::Phrase, cycle: i64| {
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
    let form = Form::Clap {
        layers: vec![layer("1-3-5")],
        guide: Guide::Every,
        course: Course::Whole,
    };
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
    assert!(matches!(hushed.stage(), Stage::Open(open) if open.taps.is_empty()));
    let effects = sitting.handle(Event::Ended, &now(20_000));
    let attempt = recorded(&effects);
    assert!(attempt.right && attempt.answer == Answer::Hands(Some(layer("1-3-5"))));
    assert_eq!(attempt.taps_ms.len(), 12);
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
            assert_eq!(question.judge(&Given::Taps(vec![0], Hands::Untuned)), None);
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
                let opening = if verdict.right {
                    "Right: "
                } else {
                    "Not this time: "
                };
                assert!(reveal.verdict.starts_with(opening), "{}", reveal.verdict);
                assert!(
                    reveal.reason.len() > 20 && reveal.reason.ends_with('.'),
                    "{}",
                    reveal.reason
                );
                assert!(!reveal.reason.contains(" ."), "{}", reveal.reason);
                assert_eq!(reveal.counts, ["1", "2", "3", "4", "5", "6"]);
                assert_eq!(reveal.rows.len(), question.phrase().voices().len());
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
    let you = reveal.you.expect("a wrong answer is laid over it");
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
        repair: None,
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
    let mut sitting = Sitting::new(7, 3, Counting::FromOne, Hands::Untuned, &now(0));
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
            assert_eq!(sitting.handle(Event::Tap(tap + 30_000), &now(3_030)), []);
        }
    }
    let attempt = recorded(&effects);
    assert!(attempt.right);
    assert_eq!((attempt.alternatives, attempt.taps_ms.len()), (0, 4));
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
    let mut sitting = Sitting::new(7, 1, Counting::FromOne, Hands::Untuned, &now(0));
    for event in [
        Event::Choose(0),
        Event::Tap(0),
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
