//! Hand-ins from one store to another: nothing is lost, nothing doubled, whatever the order.

use std::fs;
use std::path::PathBuf;

use contrapalma::app::replayed;
use contrapalma::class::hand_in::{Header, LearnerId, Machine, Reading, Writer};
use contrapalma::label::Label;
use contrapalma::phrase::Level;
use contrapalma::quiz::{Answer, Attempt, AttemptId, Hand, KeptTap, Kind, Phase, Skill};
use contrapalma::rhythm::{Feel, Tempo};
use contrapalma::store::{
    ClassStore, CollectError, Collected, Enrolled, Identity, Kin, Merged, Store, StoreError,
};
use contrapalma::world::{Day, Moment, Seed};
use proptest::prelude::*;
use tempfile::TempDir;

use crate::program::{Ended, Home, kept_in, run};
use crate::school::class_in;

const DAY_MS: i64 = 86_400_000;
pub(crate) const NOW: Moment = Moment(20_500 * DAY_MS);
const ORDERS: [[usize; 3]; 6] = [
    [0, 1, 2],
    [0, 2, 1],
    [1, 0, 2],
    [1, 2, 0],
    [2, 0, 1],
    [2, 1, 0],
];

pub(crate) fn folder() -> TempDir {
    tempfile::tempdir().expect("a folder for a test")
}

/// The attempt of this name; what it holds follows from the name.
fn attempt(install: u64, number: u32) -> Attempt {
    let mut dice = Seed(install).child("attempt", u64::from(number)).dice();
    let at = 20_000 * DAY_MS + i64::from(number) * 7 * 3_600_000 + dice.between(0, 9_000);
    let feel = [Feel::Threes, Feel::Twos];
    let truth = *dice.pick(&feel).expect("two");
    let answer = *dice.pick(&feel).expect("two");
    let tap = |ms| KeptTap {
        ms,
        hand: Hand::Left,
    };
    Attempt {
        id: AttemptId {
            install,
            sitting: 1 + number / 4,
            number: 1 + number % 4,
        },
        skill: Skill(format!("path/skill-{}", dice.below(5)).into()),
        kind: Kind::NameFeel,
        at: Moment(at),
        wall: Moment(at),
        since_start_ms: 9_000 * (number % 4),
        offset_min: 60,
        day: Day(i32::try_from(at / DAY_MS).expect("a day")),
        block: 1,
        phase: Phase::Probe,
        level: Level::of_tenths(50),
        criterion: Level::of_tenths(50),
        tempo: Tempo::of_pulses_a_minute(150).expect("in range"),
        alternatives: 2,
        truth: Answer::Feel(truth),
        answer: Answer::Feel(answer),
        right: truth == answer,
        heard_tenths: 20,
        answer_ms: 900,
        replays: 0,
        taps: [-4, 390].map(tap).to_vec(),
        timing: None,
        seed: Seed(u64::from(number)),
        generator: 2,
        phrase: String::new(),
    }
}

/// A hand-in of `learner` with these attempts, given as machine and number.
pub(crate) fn hand_in(learner: u64, made: i64, attempts: &[Attempt]) -> Vec<u8> {
    let label = |text: &str| Label::new(text).expect("a label");
    let mut installs: Vec<u64> = attempts.iter().map(|a| a.id.install).collect();
    installs.sort_unstable();
    installs.dedup();
    let header = Header {
        program: label("0.1.0"),
        learner: LearnerId(learner),
        also: vec![],
        name: label(&format!("learner {learner} of {made}")),
        machines: installs
            .into_iter()
            .map(|install| Machine {
                install,
                n_made: 12,
            })
            .collect(),
        decks: vec![label("path")],
        days: None,
        n_attempts: u64::try_from(attempts.len()).expect("few"),
        n_disputes: 0,
        made: Moment(made),
    };
    let mut writer = Writer::new(Vec::new(), header).expect("a writer");
    for attempt in attempts {
        writer.attempt(attempt).expect("an attempt is written");
    }
    writer.finish().expect("a whole file")
}

pub(crate) fn of(install: u64, numbers: &[u32]) -> Vec<Attempt> {
    numbers.iter().map(|n| attempt(install, *n)).collect()
}

pub(crate) fn collect(
    store: &mut ClassStore,
    file: &[u8],
    kin: Kin,
) -> Result<Collected, CollectError> {
    store.collect(Reading::new(file, NOW)?, kin)
}

/// Everything that a class store tells.
pub(crate) fn told(store: &ClassStore) -> Vec<(Enrolled, Vec<Attempt>)> {
    let learners = store.learners().expect("learners");
    let with_attempts = |learner: Enrolled| {
        let mut attempts = Vec::new();
        store
            .attempts(learner.learner, |attempt| attempts.push(attempt))
            .expect("attempts");
        (learner, attempts)
    };
    learners.into_iter().map(with_attempts).collect()
}

fn numbers() -> impl Strategy<Value = Vec<u32>> {
    proptest::collection::vec(0_u32..12, 0..9)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(12))]

    #[test]
    fn hand_ins_come_to_the_same_in_every_order_and_any_number_of_times(
        laptop in numbers(), both in numbers(), other in numbers(), again in 0_usize..3,
    ) {
        // One learner on machine 1, the same with machine 2 beside it, and another on machine 3.
        let mut two: Vec<Attempt> = of(1, &both);
        two.extend(of(2, &laptop));
        let files = [hand_in(10, 1, &of(1, &laptop)), hand_in(10, 2, &two), hand_in(20, 1, &of(3, &other))];
        let mut states = Vec::new();
        for order in ORDERS {
            let folder = folder();
            let mut store = class_in(folder.path());
            for idx in order.into_iter().chain([again]) {
                collect(&mut store, &files[idx], Kin::Two).expect("taken");
            }
            drop(store);
            states.push(told(&class_in(folder.path())));
        }
        let mut expected: Vec<Attempt> = of(1, &laptop);
        expected.extend(two);
        expected.sort_by_key(|a| (a.day, a.at, a.id));
        expected.dedup();
        prop_assert_eq!(states[0].len(), 2);
        prop_assert_eq!(&states[0][0].1, &expected);
        prop_assert_eq!(states[0][0].0.name.as_str(), "learner 10 of 2");
        for state in &states {
            prop_assert_eq!(state, &states[0]);
        }
    }

    #[test]
    fn machines_of_one_learner_come_to_the_same_memory(
        one in numbers(), two in numbers(), three in numbers(),
    ) {
        let files = [(1, one), (2, two), (1, three)].map(|(install, n)| hand_in(10, 1, &of(install, &n)));
        let mut memories = Vec::new();
        for order in ORDERS {
            let folder = folder();
            let mut store = Store::open(folder.path(), Seed(4), Moment(0)).expect("a store");
            store.rebuild_cache(1, []).expect("a cache of nothing");
            for idx in order.into_iter().chain([0]) {
                import(&mut store, &files[idx]).expect("written").expect("taken");
            }
            let n = store.check().expect("a sound store");
            // What was reckoned before is dropped as soon as something new came.
            prop_assert_eq!(store.load_cache(1).expect("read").is_none(), n > 0);
            memories.push(replayed(&store).expect("a log that can be read"));
        }
        for memory in &memories {
            prop_assert_eq!(memory, &memories[0]);
        }
    }
}

fn import(
    store: &mut Store,
    file: &[u8],
) -> Result<Result<Merged, contrapalma::class::hand_in::Refusal>, StoreError> {
    let reading = Reading::new(file, NOW).expect("a hand-in");
    store.merge_items(reading, &Identity::default())
}

#[test]
fn a_hand_in_of_what_is_here_with_its_phrase_is_known() {
    let mut store = Store::in_memory(Seed(4), Moment(0)).expect("a store");
    let mut with_phrase = attempt(1, 3);
    with_phrase.phrase = "cycle 6 ppm 150".to_owned();
    store.append(&with_phrase, None).expect("an append");
    let file = hand_in(10, 1, &of(1, &[3, 4]));
    let merged = import(&mut store, &file).expect("written");
    assert_eq!(merged, Ok(Merged { new: 1, known: 1 }));
    let mut kept = Vec::new();
    store.attempts(|attempt| kept.push(attempt)).expect("a log");
    assert_eq!(kept, [with_phrase, attempt(1, 4)]);
}

/// A file that a store with some attempts refuses, and that changes nothing.
#[track_caller]
fn check_refused(file: &[u8], says: &str) {
    let folder = folder();
    let mut store = class_in(folder.path());
    collect(&mut store, &hand_in(10, 1, &of(1, &[1, 2])), Kin::Two).expect("taken");
    let before = told(&store);
    let error = collect(&mut store, file, Kin::Two).expect_err(says);
    assert!(error.to_string().contains(says), "{error}");
    assert_eq!(told(&store), before);
}

#[test]
fn another_attempt_of_one_name_refuses_the_whole_file() {
    let mut attempts = of(1, &[3, 2, 4]);
    attempts[1].answer_ms += 1;
    check_refused(
        &hand_in(10, 2, &attempts),
        "attempt 3 of sitting 1 of installation 0000000000000001 is here already and is another one",
    );
}

#[test]
fn a_refused_line_takes_back_the_lines_before_it() {
    let mut attempts = of(1, &[5, 6, 7]);
    attempts[2].at = Moment(NOW.0 + 2 * DAY_MS);
    attempts[2].day = Day(20_502);
    check_refused(&hand_in(10, 2, &attempts), "which is in the future");
    // A learner who was not known does not become known by it.
    check_refused(&hand_in(30, 2, &attempts), "another learner");
    let mut attempts = of(8, &[5, 6, 7]);
    attempts[2].at = Moment(NOW.0 + 2 * DAY_MS);
    attempts[2].day = Day(20_502);
    check_refused(&hand_in(30, 2, &attempts), "which is in the future");
}

#[test]
fn every_cut_leaves_the_class_store_as_it_was() {
    let folder = folder();
    let mut store = class_in(folder.path());
    let file = hand_in(10, 2, &of(1, &[1, 2, 3]));
    for cut in 0..file.len() {
        collect(&mut store, &file[..cut], Kin::Two).expect_err("a cut file");
        assert_eq!(told(&store), [], "cut at {cut}");
    }
    let collected = collect(&mut store, &file, Kin::Two).expect("the whole file");
    assert_eq!((collected.n_new, collected.n_known), (3, 0));
    // Twelve were made on that machine, its header says.
    assert_eq!(collected.n_missing, 9);
}

#[test]
fn a_machine_of_two_learners_is_for_the_teacher_to_settle() {
    let theirs = hand_in(20, 1, &of(1, &[3]));
    check_refused(
        &theirs,
        "a machine of another learner, learner 10 of 1 (000000000000000a)",
    );
    let mut states = Vec::new();
    for order in [[10, 20], [20, 10]] {
        let folder = folder();
        let mut store = class_in(folder.path());
        for (learner, number) in order.into_iter().zip([1, 2]) {
            let file = hand_in(learner, 1, &of(1, &[number, 3]));
            collect(&mut store, &file, Kin::One).expect("taken");
        }
        let state = told(&store);
        let learners: Vec<_> = state.iter().map(|(learner, _)| learner.learner).collect();
        assert_eq!(learners, [LearnerId(10)]);
        states.push(state);
        // From then on both numbers are one learner without more words.
        let later = hand_in(20, 3, &of(1, &[9]));
        collect(&mut store, &later, Kin::Two).expect("taken");
        assert_eq!(told(&store).len(), 1);
    }
    assert_eq!(states[0], states[1]);
}

#[test]
fn a_practice_store_is_no_class_store() {
    let folder = folder();
    drop(Store::open(folder.path(), Seed(1), Moment(0)).expect("a store"));
    let error = ClassStore::open(&folder.path().join("practice.db")).expect_err("refused");
    assert!(
        error.to_string().ends_with("it is not a class store"),
        "{error}"
    );
    assert_eq!(kept_in(folder.path()), Vec::<String>::new());
}

/// A home in which two questions were answered, with `seed`.
fn practised(seed: u32) -> Home {
    let home = Home::new();
    let args = format!("sit --plain --silent --seed {seed} --questions 2");
    assert_eq!(run(home.program(&args), "1\n\n1\n").code, 0);
    home
}

#[track_caller]
fn done(home: &Home, args: &str, code: i32, says: &[&str]) -> Ended {
    let ended = run(home.program(args), "");
    let text = format!("{}{}", ended.out, ended.err);
    assert_eq!(ended.code, code, "{args}: {text}");
    for words in says {
        assert!(text.contains(words), "{args}: {words:?} in\n{text}");
    }
    assert!(
        !text.contains(|c: char| c.is_control() && c != '\n'),
        "{text:?}"
    );
    ended
}

fn sent(from: &Home, name: &str, to: &Home) -> PathBuf {
    let bytes = fs::read(from.file(name)).expect("a hand-in");
    to.write(name, bytes)
}

#[test]
fn from_the_learner_to_the_teacher() {
    let (learner, teacher) = (practised(5), Home::new());
    let name = "hand-in-anna-2026-03-02.jsonl.gz";
    done(
        &learner,
        "hand-in --name Anna",
        0,
        &["2 attempts of 2026-03-02 of Anna", name],
    );
    done(&learner, "hand-in", 1, &["Nothing to hand in", "--all"]);
    done(
        &learner,
        &format!("hand-in --to {name}"),
        1,
        &["Nothing to hand in"],
    );
    done(
        &learner,
        "hand-in --since 2026-03-03",
        1,
        &["Nothing to hand in"],
    );
    done(
        &learner,
        "hand-in --since yesterday",
        2,
        &["a date such as 2026-03-02"],
    );
    let whole = fs::read(sent(&learner, name, &teacher)).expect("a hand-in");
    for (file, cut) in [
        ("half.gz", whole.len() / 2),
        ("one-less.gz", whole.len() - 1),
    ] {
        teacher.write(file, &whole[..cut]);
        done(
            &teacher,
            &format!("class collect {file}"),
            1,
            &["refused: it is not whole"],
        );
    }
    let mut altered = whole.clone();
    altered[whole.len() / 3] ^= 1;
    teacher.write("altered.gz", altered);
    let says = [
        "altered.gz: refused: it was altered",
        "Anna",
        "2 new attempts, 0 already known",
        "3 refused",
    ];
    done(&teacher, "class collect .", 1, &says);
    done(
        &teacher,
        &format!("class collect {name}"),
        0,
        &["0 new attempts, 2 already known"],
    );
    done(
        &teacher,
        "class collect nowhere.gz",
        1,
        &["nowhere.gz", "No such file"],
    );
    // What was handed in before its time had come: two days earlier by the teacher's clock.
    let mut early = teacher.program(&format!("class collect {name} --class-store other.db"));
    early.env("CONTRAPALMA_NOW", "2026-02-28T00:00:00+00:00");
    let ended = run(early, "");
    assert_eq!(ended.code, 1, "{}", ended.err);
    assert!(
        ended.out.contains("which is in the future"),
        "{}",
        ended.out
    );
    assert!(told(&ClassStore::open(&teacher.file("other.db")).expect("a store")).is_empty());
}

#[test]
fn from_one_machine_to_the_other() {
    let (laptop, desk) = (practised(5), practised(6));
    let name = "hand-in-anna-2026-03-02.jsonl.gz";
    done(&laptop, "hand-in --name Anna", 0, &[name]);
    let whole = fs::read(sent(&laptop, name, &desk)).expect("a hand-in");
    desk.write("cut.gz", &whole[..whole.len() - 9]);
    done(
        &desk,
        "keep import cut.gz",
        1,
        &["cut.gz: it is not whole", "nothing was changed"],
    );
    assert_eq!(desk.kept().len(), 2);
    // Nothing travelled from the desk yet: it takes over who practises.
    for (new, known) in [(2, 0), (0, 2)] {
        let says = format!("{new} new attempts, {known} already known, of Anna");
        done(&desk, &format!("keep import {name}"), 0, &[&says]);
    }
    done(
        &desk,
        "hand-in --to desk.gz",
        0,
        &["4 attempts of 2026-03-02 of Anna"],
    );
    sent(&desk, "desk.gz", &laptop);
    done(
        &laptop,
        "keep import desk.gz",
        0,
        &["2 new attempts, 2 already known"],
    );
    let memory = |home: &Home| {
        let store = Store::open(&home.data(), Seed(0), Moment(0)).expect("a store");
        replayed(&store).expect("a log that can be read")
    };
    assert_eq!(memory(&laptop), memory(&desk));
    assert_eq!(laptop.kept(), desk.kept());
}

#[test]
fn a_hand_in_of_somebody_else_is_not_mine_unless_i_say_so() {
    let (one, two) = (practised(5), practised(6));
    done(&one, "hand-in --to one.gz --name Anna", 0, &["Anna"]);
    done(&two, "hand-in --to two.gz --name Ben", 0, &["Ben"]);
    sent(&one, "one.gz", &two);
    sent(&two, "two.gz", &one);
    let says = [
        "one.gz: it is of Anna (",
        "here practises Ben (",
        "--as-mine",
    ];
    done(&two, "keep import one.gz", 1, &says);
    assert_eq!(two.kept().len(), 2);
    done(
        &two,
        "keep import one.gz --as-mine",
        0,
        &["2 new attempts", "of Ben"],
    );
    done(
        &one,
        "keep import two.gz --as-mine",
        0,
        &["2 new attempts", "of Anna"],
    );
    // Both came to the same number, whatever the order.
    let ids = |home: &Home| {
        let store = Store::open(&home.data(), Seed(0), Moment(0)).expect("a store");
        store.identity().expect("an identity").ids
    };
    assert_eq!(ids(&one), ids(&two));
    assert_eq!(ids(&one).len(), 2);
}

#[test]
fn two_who_begin_with_one_seed_are_two() {
    let (anna, ben, teacher) = (practised(5), practised(5), Home::new());
    for (home, name) in [(&anna, "Anna"), (&ben, "Ben")] {
        let file = format!("{name}.gz");
        done(home, &format!("hand-in --name {name} --to {file}"), 0, &[]);
        sent(home, &file, &teacher);
    }
    let says = ["2 taken with 4 new attempts, 0 refused"];
    done(&teacher, "class collect Anna.gz Ben.gz", 0, &says);
    let listed = done(&teacher, "class learners --csv", 0, &["Anna", "Ben"]);
    assert_eq!(listed.out.lines().count(), 3, "{}", listed.out);
    // And yet the seed makes the same questions.
    let asked = |home: &Home| {
        let store = Store::open(&home.data(), Seed(0), Moment(0)).expect("a store");
        let mut seeds = Vec::new();
        store
            .attempts(|attempt| seeds.push(attempt.seed))
            .expect("a log");
        seeds
    };
    assert_eq!(asked(&anna), asked(&ben));
}

#[test]
fn all_is_written_over_a_hand_in_of_ones_own_and_over_nothing_else() {
    let (anna, ben) = (practised(5), practised(6));
    done(&anna, "hand-in --name Anna --to mine.gz", 0, &[]);
    done(&ben, "hand-in --name Ben --to his.gz", 0, &[]);
    sent(&ben, "his.gz", &anna);
    anna.write("notes.txt", "not to be lost");
    anna.write("empty", "");
    for file in ["notes.txt", "his.gz"] {
        let before = fs::read(anna.file(file)).expect("a file");
        let args = format!("hand-in --all --to {file}");
        done(&anna, &args, 2, &["no hand-in of yours", "--replace"]);
        assert_eq!(fs::read(anna.file(file)).expect("a file"), before, "{file}");
    }
    for file in ["mine.gz", "empty", "notes.txt --replace"] {
        let args = format!("hand-in --all --to {file}");
        done(&anna, &args, 0, &["2 attempts of 2026-03-02 of Anna"]);
    }
    let more = run(anna.sitting("--questions 1"), "1\n\nd\n\n".repeat(4));
    assert_eq!(more.code, 0, "{}", more.err);
    done(&anna, "hand-in --to mine.gz", 2, &["it is there already"]);
    let says = ["1 attempt of 2026-03-02 of Anna is in mine.gz"];
    done(&anna, "hand-in --to mine.gz --replace", 0, &says);
}

#[test]
fn a_name_is_kept_although_nothing_is_to_be_handed_in() {
    let learner = practised(5);
    done(
        &learner,
        "hand-in --to a.gz",
        0,
        &["hand-in --all --name NAME"],
    );
    let says = ["You are called Anna from now on", "Nothing to hand in"];
    done(&learner, "hand-in --name Anna", 1, &says);
    done(
        &learner,
        "hand-in --all --to b.gz",
        0,
        &["of Anna are in b.gz"],
    );
}

#[test]
fn what_was_passed_over_in_a_folder_is_named() {
    let (learner, teacher) = (practised(5), Home::new());
    done(&learner, "hand-in --name Anna --to a.gz", 0, &[]);
    fs::create_dir(teacher.file("in")).expect("a folder");
    fs::rename(sent(&learner, "a.gz", &teacher), teacher.file("in/A.GZ")).expect("renamed");
    for n in 1..=6 {
        teacher.write(&format!("in/note-{n}.txt"), "a note");
    }
    let says = [
        "1 taken with 2 new attempts, 0 refused; 6 other files passed over",
        "note-1.txt, note-2.txt, note-3.txt, note-4.txt, note-5.txt and 1 more",
    ];
    done(&teacher, "class collect in", 0, &says);
}
