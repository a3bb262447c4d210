//! How long review takes: the whole log again, and the next question among many skills.

use contrapalma::phrase::Level;
use contrapalma::quiz::{Answer, Attempt, AttemptId, Kind, Phase, Skill};
use contrapalma::review::plan::{Candidate, Candidates, Chooser, Limit, Plan, Terms};
use contrapalma::review::{Arrival, Learner, Standing, Threshold};
use contrapalma::rhythm::{Feel, Tempo};
use contrapalma::world::{Day, Moment, Seed};
use divan::Bencher;

fn main() {
    divan::main();
}

/// `n` attempts over `n_skills` skills, in blocks of four, some 400 attempts a day.
fn log(n: u32, n_skills: usize) -> Vec<Attempt> {
    let mut dice = Seed(1).dice();
    let mut skill = 0;
    (1..=n)
        .map(|number| {
            if number % 4 == 1 {
                skill = dice.below(n_skills);
            }
            attempt(number, skill, i32::try_from(number / 400).unwrap_or(0))
        })
        .collect()
}

fn attempt(number: u32, skill: usize, day: i32) -> Attempt {
    let at = Moment(i64::from(day) * 86_400_000 + i64::from(number % 400) * 15_000);
    Attempt {
        id: AttemptId {
            install: 1,
            sitting: 1,
            number,
        },
        skill: skill_named(skill),
        kind: Kind::ALL[skill % Kind::ALL.len()],
        at,
        wall: at,
        since_start_ms: 0,
        offset_min: 60,
        day: Day(day),
        block: number.div_ceil(4),
        phase: if number % 4 < 2 {
            Phase::Adaptive
        } else {
            Phase::Probe
        },
        level: Level::of_tenths(i16::try_from(20 + number % 90).unwrap_or(0)),
        criterion: Level::of_tenths(60),
        tempo: Tempo::of_hundredths(18_000).expect("180 pulses a minute are in range"),
        alternatives: 3,
        truth: Answer::Feel(Feel::Threes),
        answer: Answer::Feel(Feel::Threes),
        right: !number.is_multiple_of(6),
        heard_tenths: 20,
        answer_ms: 900,
        replays: 0,
        taps: Vec::new(),
        timing: None,
        seed: Seed(u64::from(number)),
        generator: 1,
        phrase: String::new(),
    }
}

fn skill_named(number: usize) -> Skill {
    Skill(format!("deck/exercise-{number:06}").into())
}

#[divan::bench(sample_count = 5, sample_size = 1)]
fn replay_a_million_attempts_over_500_skills(bencher: Bencher<'_, '_>) {
    let log = log(1_000_000, 500);
    bencher.bench_local(|| Learner::replay(&log));
}

#[divan::bench(sample_count = 5, sample_size = 1)]
fn learn_a_million_attempts_one_by_one(bencher: Bencher<'_, '_>) {
    let log = log(1_000_000, 500);
    bencher.bench_local(|| {
        let mut learner = Learner::new();
        for attempt in &log {
            let _: Arrival = learner.learn(attempt);
        }
        learner
    });
}

#[divan::bench(sample_count = 5, sample_size = 1)]
fn learn_a_million_answers(bencher: Bencher<'_, '_>) {
    bencher.bench_local(|| {
        let mut threshold = Threshold::new(3, 6.0, 6.0);
        for n in 0..1_000_000_u32 {
            let level = Level::of_tenths(i16::try_from(20 + n % 90).unwrap_or(0));
            threshold.learn(level, !n.is_multiple_of(6));
        }
        threshold
    });
}

/// A hundred thousand practised skills, most of them due, and their candidates.
fn many() -> (Learner, Candidates) {
    const N: usize = 100_000;
    let standing = |number: usize| {
        let mut learner = Learner::new();
        let day = i32::try_from(number % 30).unwrap_or(0);
        let _: Arrival = learner.learn(&attempt(1, number, day));
        let bytes = learner.standings().next().map(|(_, s)| s.encode());
        bytes.and_then(|bytes| Standing::decode(&bytes))
    };
    let learner = Learner::from_standings(
        (0..N).filter_map(|number| Some((skill_named(number), standing(number)?))),
    );
    let candidate = |number: usize| Candidate {
        skill: skill_named(number),
        kind: Kind::ALL[number % Kind::ALL.len()],
        needs: number.checked_sub(1).into_iter().collect(),
        criterion: Level::of_tenths(60),
        easiest: Level::STRONGEST,
        hardest: Level::WEAKEST,
        alternatives: 3,
    };
    (learner, (0..N).map(candidate).collect())
}

const TERMS: Terms = Terms {
    day: Day(40),
    seed: Seed(5),
    limit: Limit::Questions(u32::MAX),
    chooser: Chooser::Forgetting,
    new_a_day: contrapalma::review::plan::NEW_A_DAY,
    blocks_of_a_skill: contrapalma::review::plan::BLOCKS_OF_A_SKILL,
};

#[divan::bench(sample_count = 5, sample_size = 1)]
fn begin_a_plan_among_100_000_skills(bencher: Bencher<'_, '_>) {
    let (learner, candidates) = many();
    bencher
        .with_inputs(|| candidates.clone())
        .bench_local_values(|candidates| Plan::begin(&learner, candidates, TERMS));
}

/// Nobody answers, so that every block is run to its end and a new one is picked every sixth time.
#[divan::bench(sample_count = 20, sample_size = 6)]
fn next_question_among_100_000_skills(bencher: Bencher<'_, '_>) {
    let (learner, candidates) = many();
    let mut plan = Plan::begin(&learner, candidates, TERMS);
    bencher.bench_local(|| plan.next(&learner, 0));
}
