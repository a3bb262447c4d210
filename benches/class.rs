//! How fast a class comes in, how fast its teacher finds their way in it, and how fast its report is made.
//!
//! `cargo bench --bench class` collects 40 learners with 10,000 attempts each (4 s and under 200 MB are
//! wanted) and the same files once more, puts learners on lists of groups of 25, asks for what teachers ask, and
//! makes the report of all (1 s);
//! `cargo bench --bench class -- 1000` takes 1,000 learners, and `-- 2000 1000` 2,000 with 1,000 attempts each. Files
//! and store lie in `TMPDIR`, which must be on a real disk for the times to mean anything. With the feature `school`
//! and `CONTRAPALMA_CLASS_STORE=postgres://…` the store is an empty database on that server.

#![expect(clippy::print_stdout, reason = "a bench says what it measured")]

use std::error::Error;
use std::fs;
use std::path::{Path, PathBuf};

use contrapalma::app::Course;
use contrapalma::app::class::{Whose, class_report, syllabus};
use contrapalma::class::hand_in::{Doubt, Header, LearnerId, Machine, Reading, Writer};
use contrapalma::class::roster::Line;
use contrapalma::deck::{self, Deck};
use contrapalma::label::Label;
use contrapalma::phrase::Level;
use contrapalma::quiz::{Answer, Attempt, AttemptId, Hand, KeptTap, Kind, Phase, Skill};
use contrapalma::report::class::{csv, html, json, text};
use contrapalma::rhythm::{Cycle, Feel, Tempo};
use contrapalma::store::{ClassStore, Kin};
use contrapalma::world::{Clock as _, Day, Env, Moment, Seed, SystemClock};

/// Exercises of the path, as many as a learner has after some months.
const HEARD: [&str; 30] = [
    "plain",
    "bass",
    "chords",
    "long-notes",
    "knocks",
    "shapes",
    "any-cue",
    "start-count",
    "count-six",
    "which-clapping",
    "which-knocks",
    "whose-stroke",
    "voices",
    "turn",
    "one-turn-both",
    "hemiola",
    "accents-guitar",
    "accents-knocks",
    "fifth",
    "fifth-light",
    "palmas-apart",
    "twelve-start",
    "wheel-from-one",
    "wheel-from-eight",
    "bell-four",
    "cousin",
    "seven",
    "turn-chords",
    "start-taps",
    "count-six-alone",
];
const CLAPPED: [&str; 14] = [
    "keep-pulse",
    "clap-threes",
    "clap-twos",
    "clap-145",
    "threes-against",
    "twos-against",
    "gap-of-one",
    "gap-of-four",
    "gap-of-eight",
    "palmas-twelve",
    "twelve-threes-twos",
    "bell-six",
    "five",
    "contra",
];
const DAY_MS: i64 = 86_400_000;
const NOW: Moment = Moment(20_500 * DAY_MS);

fn main() -> Result<(), Box<dyn Error>> {
    // Cargo adds `--bench` to what it was given.
    let mut asked = std::env::args()
        .skip(1)
        .filter_map(|arg| arg.parse::<u32>().ok());
    let n_learners = u64::from(asked.next().unwrap_or(40));
    let n_attempts = asked.next().unwrap_or(10_000);
    let folder = tempfile::tempdir()?;
    let clock = SystemClock::start();
    let mut files = Vec::new();
    let mut n_bytes = 0;
    for learner in 1..=n_learners {
        let path = folder.path().join(format!("{learner}.gz"));
        let bytes = hand_in(learner, n_attempts, NOW.0)?;
        n_bytes += bytes.len();
        fs::write(&path, bytes)?;
        files.push(path);
    }
    let ms_since = |from| clock.stamp().since(from) / 1_000;
    println!(
        "{n_learners} files of {} bytes on the mean",
        n_bytes / files.len().max(1)
    );
    let server = Env::from_system().class_store;
    let mut store = match server.as_deref().and_then(Path::to_str) {
        Some(url) => ClassStore::connect(url)?,
        None => ClassStore::open(&folder.path().join("class.db"))?,
    };
    let began = clock.stamp();
    let (n_new, _) = collect(&mut store, &files)?;
    println!("collected: {n_new} new attempts in {} ms", ms_since(began));
    let began = clock.stamp();
    let (_, n_known) = collect(&mut store, &files)?;
    println!(
        "once more: {n_known} known attempts in {} ms",
        ms_since(began)
    );
    // What every file holds, in files that are not the same.
    let began = clock.stamp();
    for learner in 1..=n_learners.min(40) {
        let file = hand_in(learner, n_attempts, NOW.0 + 1)?;
        store.collect(Reading::new(&file, NOW)?, Kin::Two)?;
    }
    println!(
        "other files of the same, made and collected: {} ms",
        ms_since(began)
    );
    ask(&mut store, n_learners, &clock)?;
    report(&store, &clock)?;
    if let Some(peak) = peak_memory() {
        println!("most memory: {peak}");
    }
    Ok(())
}

/// Who is on the lists, who handed in, who is in which group, and what is doubted: a phrase by each.
fn ask(store: &mut ClassStore, n_learners: u64, clock: &SystemClock) -> Result<(), Box<dyn Error>> {
    /// Learners of a group.
    const GROUP: u64 = 25;
    let line = |learner: u64| {
        Ok(Line {
            name: Label::new(&name(learner))?,
            group: Some(Label::new(&format!("group {}", learner / GROUP))?),
        })
    };
    let lines: Result<Vec<Line>, Box<dyn Error>> = (1..=n_learners).map(line).collect();
    let lines = lines?;
    let (n_listed, listing) = timed(clock, || store.list(&lines));
    let (learners, enrolled) = timed(clock, || store.learners());
    let (roster, grouped) = timed(clock, || store.roster());
    let (disputes, doubted) = timed(clock, || store.disputes());
    println!(
        "{} names listed in {listing} ms; {} learners in {enrolled}, {} groups in {grouped}, {} doubts in {doubted} ms",
        n_listed?,
        learners?.len(),
        roster?.groups().count(),
        disputes?.len()
    );
    Ok(())
}

/// What `what` gives, and in how many milliseconds.
fn timed<T>(clock: &SystemClock, what: impl FnOnce() -> T) -> (T, u64) {
    let began = clock.stamp();
    let done = what();
    (done, clock.stamp().since(began) / 1_000)
}

/// The report of all of them in all forms, against every deck that comes with the program.
fn report(store: &ClassStore, clock: &SystemClock) -> Result<(), Box<dyn Error>> {
    let began = clock.stamp();
    let decks: Vec<Deck> = deck::built_in_ids()
        .filter_map(deck::built_in_named)
        .collect();
    let path = deck::built_in_named("path").ok_or("the path comes with the program")?;
    let known = syllabus(&Course::new(path), &decks);
    let report = class_report(store, &Whose::All, &known, (Day(20_500), "path"))?;
    let reckoned = clock.stamp();
    let n_bytes: usize = [html, csv, json, text]
        .iter()
        .map(|form| form(&report).len())
        .sum();
    println!(
        "report: {} ms, and {} ms for {n_bytes} bytes of HTML, CSV, JSON and text",
        reckoned.since(began) / 1_000,
        clock.stamp().since(reckoned) / 1_000
    );
    Ok(())
}

fn collect(store: &mut ClassStore, files: &[PathBuf]) -> Result<(u64, u64), Box<dyn Error>> {
    let (mut n_new, mut n_known) = (0, 0);
    for path in files {
        let bytes = fs::read(path)?;
        let collected = store.collect(Reading::new(&bytes, NOW)?, Kin::Two)?;
        n_new += collected.n_new;
        n_known += collected.n_known;
    }
    Ok((n_new, n_known))
}

/// What Linux says of this process.
fn peak_memory() -> Option<String> {
    let status = fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find(|line| line.starts_with("VmHWM:"))?;
    Some(line.trim_start_matches("VmHWM:").trim().to_owned())
}

fn hand_in(learner: u64, n_attempts: u32, made: i64) -> Result<Vec<u8>, Box<dyn Error>> {
    let install = Seed(learner).child("install", 0).0;
    let header = Header {
        program: Label::new("0.1.0")?,
        learner: LearnerId(learner),
        also: vec![],
        name: Label::new(&name(learner))?,
        machines: vec![Machine {
            install,
            n_made: u64::from(n_attempts),
        }],
        decks: vec![Label::new("path")?],
        days: None,
        n_attempts: u64::from(n_attempts),
        n_disputes: 1,
        made: Moment(made),
    };
    let mut writer = Writer::new(Vec::new(), header)?;
    for number in 0..n_attempts {
        writer.attempt(&attempt(install, number)?)?;
    }
    let first = attempt(install, 0)?;
    writer.dispute(&Doubt {
        attempt: first.id,
        at: first.at,
        note: None,
    })?;
    Ok(writer.finish()?)
}

fn name(learner: u64) -> String {
    format!("learner {learner}")
}

/// Practice of 60 questions a day, two in five of them with 18 taps.
fn attempt(install: u64, number: u32) -> Result<Attempt, Box<dyn Error>> {
    let mut dice = Seed(install).child("attempt", u64::from(number)).dice();
    let (day, place) = (number / 60, number % 60);
    let at =
        (20_000 + i64::from(day)) * DAY_MS + i64::from(place) * 15_000 + dice.between(0, 3_000);
    let feels = [Feel::Threes, Feel::Twos];
    let (truth, answer) = (feels[dice.below(2)], feels[dice.below(2)]);
    let n_taps = if dice.below(5) < 2 { 18 } else { 0 };
    let layer = |feel| {
        if feel == truth {
            Feel::layer(truth, Cycle::SIX)
        } else {
            None
        }
    };
    let turn = usize::try_from(number / 5)?;
    let (skill, kind, alternatives, truth, answer) = if n_taps > 0 {
        let hands = [truth, answer].map(|feel| Answer::Hands(layer(feel)));
        (
            CLAPPED[turn % CLAPPED.len()],
            Kind::Clap,
            0,
            hands[0],
            hands[1],
        )
    } else {
        let heard = [truth, answer].map(Answer::Feel);
        (
            HEARD[turn % HEARD.len()],
            Kind::NameFeel,
            2,
            heard[0],
            heard[1],
        )
    };
    let tap = |n: i32| {
        let ms = 680 * n + i32::try_from(dice.between(-40, 40))?;
        Ok(KeptTap {
            ms,
            hand: Hand::Either,
        })
    };
    let taps = (0..n_taps)
        .map(tap)
        .collect::<Result<_, Box<dyn Error>>>()?;
    Ok(Attempt {
        id: AttemptId {
            install,
            sitting: 1 + day,
            number: 1 + place,
        },
        skill: Skill(format!("path/{skill}").into()),
        kind,
        at: Moment(at),
        wall: Moment(at),
        since_start_ms: place * 15_000,
        offset_min: 60,
        day: Day(20_000 + i32::try_from(day)?),
        block: 1 + place / 5,
        phase: Phase::Adaptive,
        level: Level::of_tenths(60),
        criterion: Level::of_tenths(40),
        tempo: Tempo::of_hundredths(17_650)?,
        alternatives,
        truth,
        answer,
        right: truth == answer,
        heard_tenths: 23,
        answer_ms: 1_834,
        replays: 0,
        taps,
        timing: None,
        seed: Seed(u64::from(number)).child("phrase", install),
        generator: 2,
        phrase: String::new(),
    })
}
