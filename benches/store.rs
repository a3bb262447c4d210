//! How fast the store appends, opens and reads.
//!
//! `cargo bench --bench store`. Aims: an attempt is on the disk within 10 ms (median); a million
//! attempts are read in about a second. Temporary files go to `TMPDIR`, which must lie on a real
//! disk for the first to mean anything.

use std::path::{Path, PathBuf};
use std::sync::{LazyLock, OnceLock};

use contrapalma::phrase::Level;
use contrapalma::quiz::{Answer, Attempt, AttemptId, Kind, Phase, Skill};
use contrapalma::rhythm::{Feel, Tempo};
use contrapalma::store::Store;
use contrapalma::world::{Day, Moment, Seed};
use divan::Bencher;

fn main() {
    // Held here, since a static is never dropped and would leave its files behind.
    let dir = tempfile::tempdir().expect("a folder");
    DIR.set(dir.path().to_owned()).expect("set once");
    divan::main();
}

static DIR: OnceLock<PathBuf> = OnceLock::new();

const MILLION: u32 = 1_000_000;

/// A phrase of two cycles as long as the generator's usual ones.
const PHRASE: &str = "six 180 2 0 threes | b0:40 b3:40 b6:40 b9:40 | c0:52,57,60 c3:52,57,60 c6:52,57,60 \
     c9:52,57,60 | l0:64 l1:65 l2:67 l3:68 l4:67 l5:65 l6:64 l7:62 l8:60 l9:64";

fn attempt(install: u64, number: u32) -> Attempt {
    let steps = i64::from(number);
    Attempt {
        id: AttemptId {
            install,
            sitting: 1 + number / 60,
            number: 1 + number % 60,
        },
        // Blocks of five phrases, as practice has them.
        skill: Skill(format!("first/skill-{}", number / 5 % 500).into()),
        kind: Kind::NameFeel,
        at: Moment(1_700_000_000_000 + steps * 15_000),
        wall: Moment(1_700_000_000_000 + steps * 15_000),
        since_start_ms: number % 60 * 15_000,
        offset_min: 60,
        day: Day(19_000 + i32::try_from(number / 120).expect("a few thousand days")),
        block: 1 + number % 60 / 5,
        phase: Phase::Adaptive,
        level: Level::of_tenths(60),
        criterion: Level::of_tenths(40),
        tempo: Tempo::of_hundredths(17_650).expect("in range"),
        alternatives: 2,
        truth: Answer::Feel(Feel::Threes),
        answer: Answer::Feel(Feel::Twos),
        right: false,
        heard_tenths: 23,
        answer_ms: 1_834,
        replays: 0,
        taps: vec![],
        timing: None,
        seed: Seed(u64::from(number)).child("phrase", 0),
        generator: 1,
        phrase: PHRASE.to_owned(),
    }
}

/// The folder of a store of a million attempts, made when it is first wanted.
static LARGE: LazyLock<PathBuf> = LazyLock::new(|| {
    let dir = DIR.get().expect("set by main").join("large");
    let mut store = open(&dir);
    let install = store.install();
    store
        .merge((0..MILLION).map(|number| attempt(install, number)))
        .expect("a million attempts");
    dir
});

fn open(dir: &Path) -> Store {
    Store::open(dir, Seed(1), Moment(0)).expect("a store")
}

fn open_large() -> Store {
    open(&LARGE)
}

#[divan::bench(sample_count = 300, sample_size = 1)]
fn append_durably(bencher: Bencher<'_, '_>) {
    let dir = tempfile::tempdir().expect("a folder");
    let mut store = open(dir.path());
    store.rebuild_cache(1, []).expect("an empty cache");
    let mut number = 0;
    bencher.bench_local(|| {
        number += 1;
        let next = attempt(7, number);
        let cache = (&next.skill, Some(next.day), [0_u8; 2_000].as_slice());
        store.append(&next, Some(cache)).expect("an append");
    });
}

#[divan::bench(sample_count = 100, sample_size = 1)]
fn append_to_a_million(bencher: Bencher<'_, '_>) {
    let mut store = open_large();
    // A sitting that no attempt of the million has, and another in each run.
    let sitting = store.begin_sitting(Moment(0)).expect("a sitting");
    let mut number = 0;
    bencher.bench_local(|| {
        number += 1;
        let mut next = attempt(store.install(), MILLION + number);
        next.id.sitting = sitting;
        next.id.number = number;
        store.append(&next, None).expect("an append");
    });
}

#[divan::bench(sample_count = 5, sample_size = 1)]
fn read_a_million(bencher: Bencher<'_, '_>) {
    let store = open_large();
    bencher.bench_local(|| {
        let mut right = 0_u32;
        store
            .attempts(|attempt| right += u32::from(attempt.right))
            .expect("a log that can be read");
        right
    });
}

/// From the file to what the learner knows, in blocks of five phrases, as practice has them: 2 s are
/// wanted. A log in which every attempt is its skill's only one of the day takes more than twice as
/// long, since each then moves the memory as well as the level.
#[divan::bench(sample_count = 5, sample_size = 1)]
fn replay_a_million(bencher: Bencher<'_, '_>) {
    let store = open_large();
    bencher.bench_local(|| contrapalma::app::replayed(&store).expect("a log that can be read"));
}

#[divan::bench(sample_count = 5, sample_size = 1)]
fn open_a_million(bencher: Bencher<'_, '_>) {
    LazyLock::force(&LARGE);
    bencher.bench_local(open_large);
}

#[divan::bench(sample_count = 20, sample_size = 1)]
fn a_fortnight_of_a_million(bencher: Bencher<'_, '_>) {
    let store = open_large();
    bencher.bench_local(|| store.counts_by_day(Day(19_000 + 8_000), 14));
}
