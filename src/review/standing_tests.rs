use proptest::prelude::*;

use super::*;
use crate::quiz::{Answer, Phase, Skill};
use crate::review::{Arrival, Learner};
use crate::rhythm::{Feel, Tempo};

/// A right answer to an adaptive phrase, the `number`-th of the first sitting, on day 0.
pub(crate) fn attempt(number: u32) -> Attempt {
    Attempt {
        id: AttemptId {
            install: 1,
            sitting: 1,
            number,
        },
        skill: Skill("deck/one".into()),
        kind: Kind::NameFeel,
        at: Moment(i64::from(number) * 15_000),
        wall: Moment(i64::from(number) * 15_000),
        since_start_ms: number * 15_000,
        offset_min: 0,
        day: Day(0),
        block: 1,
        phase: Phase::Adaptive,
        level: Level::of_tenths(60),
        criterion: Level::of_tenths(60),
        tempo: Tempo::of_pulses_a_minute(180).expect("in range"),
        alternatives: 3,
        truth: Answer::Feel(Feel::Threes),
        answer: Answer::Feel(Feel::Threes),
        right: true,
        heard_tenths: 15,
        answer_ms: 800,
        replays: 0,
        taps: Vec::new(),
        timing: None,
        seed: Seed(1),
        generator: 1,
        phrase: String::new(),
    }
}

/// `n` attempts at a few skills over weeks, in the order of the log, with two stores in between each
/// other and several blocks a day.
pub(in crate::review) fn history(seed: u64, n: u32) -> Vec<Attempt> {
    let mut dice = Seed(seed).dice();
    let mut attempts: Vec<Attempt> = (1..=n)
        .map(|number| {
            let day = number / 12;
            let skill = dice.below(3);
            Attempt {
                id: AttemptId {
                    install: 1 + u64::from(dice.one_in(4)),
                    sitting: day,
                    number,
                },
                skill: Skill(format!("deck/{skill}").into()),
                kind: Kind::ALL[skill % 2],
                day: Day(i32::try_from(day * 2).expect("small")),
                block: 1 + number / 4,
                phase: if dice.one_in(3) {
                    Phase::Probe
                } else {
                    Phase::Adaptive
                },
                level: Level::of_tenths(i16::try_from(dice.between(15, 120)).expect("small")),
                right: !dice.one_in(3),
                replays: u8::from(dice.one_in(5)),
                ..attempt(number)
            }
        })
        .collect();
    attempts.sort_by_key(Order::of);
    attempts
}

/// A block of one day with these answers, at the criterion; the first two are probes.
fn block(day: i32, block: u32, answers: &str) -> Vec<Attempt> {
    (1..)
        .zip(answers.chars())
        .map(|(number, answer)| Attempt {
            day: Day(day),
            block,
            phase: if number <= 2 {
                Phase::Probe
            } else {
                Phase::Adaptive
            },
            right: answer == 'r',
            at: Moment(i64::from(day) * 86_400_000 + i64::from(block * 100 + number) * 1000),
            ..attempt(block * 100 + number)
        })
        .collect()
}

fn standing_after(blocks: &[Vec<Attempt>]) -> Standing {
    let learner = Learner::replay(blocks.iter().flatten());
    let standing = learner.standing(&Skill("deck/one".into()));
    standing.expect("it was practised").clone()
}

#[test]
fn a_day_makes_one_event_from_its_first_block() {
    let once = standing_after(&[block(0, 1, "rrrrrr")]);
    let twice = standing_after(&[block(0, 1, "rrrrrr"), block(0, 2, "wwwwww")]);
    assert_eq!(once.memory(), twice.memory());
    assert!(twice.threshold().mean() > once.threshold().mean());
    assert_eq!(twice.answered(), 12);
}

#[test]
fn of_two_first_blocks_the_earlier_counts() {
    // Two stores, merged: both practised the skill first on day 0. The lower (time, id) wins.
    let mine = block(0, 1, "rrrrrr");
    let theirs: Vec<Attempt> = block(0, 1, "wwwwww")
        .into_iter()
        .map(|attempt| Attempt {
            id: AttemptId {
                install: 2,
                ..attempt.id
            },
            ..attempt
        })
        .collect();
    let one_way = standing_after(&[mine.clone(), theirs.clone()]);
    let other_way = standing_after(&[theirs.clone(), mine.clone()]);
    assert_eq!(one_way, other_way);
    assert_eq!(one_way.today.block, BlockId::of(&mine[0]));
    assert_eq!(one_way.today.answered, 6);
}

#[test]
fn the_event_comes_from_the_memory_before_the_day() {
    let days = [block(0, 1, "rrrrrr"), block(2, 2, "rr")];
    let standing = standing_after(&days);
    let first = standing_after(&days[..1]).memory();
    assert_eq!(standing.before, Some(first));
    assert_eq!(
        standing.memory(),
        Memory::step(Some(first), standing.recall(), Day(2))
    );
}

#[test]
fn four_losses_of_six_are_failure_and_start_again_easier() {
    let lost = "wwwwww";
    let mut days = vec![block(0, 1, "rrrrrr")];
    for day in 1..=3 {
        days.push(block(day, 1, lost));
    }
    assert!(!standing_after(&days).is_failing());
    days.push(block(4, 1, lost));
    let failing = standing_after(&days);
    assert!(failing.is_failing());
    assert_eq!(failing.rests_until(), Day(8));
    let mean = failing.threshold().mean();
    days.push(block(8, 1, "r"));
    let again = standing_after(&days);
    assert!(!again.is_failing());
    assert_eq!(again.recalls, []);
    // What is known of the level is kept.
    let moved = again.threshold().mean() - mean;
    assert!(
        (-3.0..0.5).contains(&moved),
        "one right answer moved it by {moved}"
    );
}

#[test]
fn a_skill_that_begins_again_is_asked_more_easily_for_a_day() {
    let mut standing = standing_after(&[block(0, 1, "rrrrrr")]);
    standing.recall = Recall::Lost;
    standing.recalls = vec![Recall::Lost; 3];
    let placed = |standing: &Standing| {
        let level = standing.place(Level::WEAKEST, Level::STRONGEST, Seed(3));
        level.decibels()
    };
    let mut on = |day, answers: &str| {
        for attempt in block(day, 1, answers) {
            standing.take(&attempt);
        }
        standing.settle();
        let plain = standing
            .threshold()
            .place(0.0, Level::WEAKEST, Level::STRONGEST, Seed(3));
        placed(&standing) - plain.decibels()
    };
    assert!((on(8, "r") - 4.0).abs() < 1e-9, "through the day");
    assert!((on(8, "r") - 4.0).abs() < 1e-9, "through the day");
    assert!(on(9, "r").abs() < 1e-9, "and not after it");
}

#[test]
fn a_failing_skill_is_placed_easier() {
    let mut standing = standing_after(&[block(0, 1, "rrrrrr")]);
    let place = |standing: &Standing| {
        let level = standing.place(Level::WEAKEST, Level::STRONGEST, Seed(3));
        level.decibels()
    };
    let before = place(&standing);
    standing.recall = Recall::Lost;
    standing.recalls = vec![Recall::Lost; 3];
    assert!((place(&standing) - before - 4.0).abs() < 1e-9);
}

#[test]
fn two_good_days_make_a_skill_firm() {
    let good = "rrrr";
    // The criterion itself is out of reach of the level rule here: only days count.
    let one = standing_after(&[block(0, 1, good)]);
    assert!(!one.is_firm(), "four phrases are not enough for the level");
    let days: Vec<_> = (0..2).map(|day| block(day, 1, good)).collect();
    assert!(standing_after(&days).is_firm());
    let bad: Vec<_> = (0..3).map(|day| block(day, 1, "wwwrww")).collect();
    assert!(!standing_after(&bad).is_firm());
}

#[test]
fn a_new_skill_begins_near_its_siblings() {
    let mut learner = Learner::new();
    assert!((learner.start(Kind::NameFeel, 3).mean() - 6.0).abs() < 0.2);
    for attempt in block(0, 1, "rrrrrr") {
        assert_eq!(learner.learn(&attempt), Arrival::Next);
    }
    let sibling = learner
        .standings()
        .map(|(_, s)| s.threshold().mean())
        .sum::<f64>();
    let start = learner.start(Kind::NameFeel, 3).mean();
    assert!(
        (start - sibling - 1.0).abs() < 0.1,
        "{start} after {sibling}"
    );
    // Another kind has no siblings.
    assert!((learner.start(Kind::FindStart, 6).mean() - 6.0).abs() < 0.2);
}

#[test]
fn a_late_attempt_is_told() {
    let mut learner = Learner::new();
    assert_eq!(learner.learn(&block(3, 1, "r")[0]), Arrival::Next);
    assert_eq!(learner.learn(&block(1, 1, "r")[0]), Arrival::Late);
    let (_, arrival) = Learner::replay_in_order([&block(3, 1, "r")[0], &block(1, 1, "r")[0]]);
    assert_eq!(arrival, Arrival::Late);
    let standing = learner.standings().next().expect("one skill").1;
    assert_eq!(standing.memory().last_day(), Day(3));
    assert_eq!(standing.answered(), 2);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(12))]

    #[test]
    fn replay_of_any_prefix_equals_learning_one_by_one(seed: u64, n in 1_u32..120) {
        let attempts = history(seed, n);
        let mut learner = Learner::new();
        for (n, attempt) in attempts.iter().enumerate() {
            prop_assert_eq!(learner.learn(attempt), Arrival::Next);
            // The log may come out of a store or a merge in any order.
            let mut prefix: Vec<&Attempt> = attempts[..=n].iter().collect();
            Seed(seed).child("order", 0).dice().shuffle(&mut prefix);
            prop_assert_eq!(&Learner::replay(prefix), &learner);
        }
    }
}
