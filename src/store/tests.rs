//! Tests that look under the surface: at rows, at the forms, at the file's bytes.

use std::collections::HashMap;
use std::fs;
use std::path::Path;

use proptest::prelude::*;
use rusqlite::Connection;
use rusqlite::config::DbConfig;
use rusqlite::types::Value;
use rusqlite_migration::M;
use tempfile::TempDir;

use crate::label::{ContentHash, Label};
use crate::mark::{By, Mark, Marked, Sections, Stretch, Sure};
use crate::phrase::Level;
use crate::quiz::judge::Delay;
use crate::quiz::passage::Passage;
use crate::quiz::{
    Answer, Attempt, AttemptId, Hand, KeptTap, KeptTiming, Kind, Owner, Phase, Skill,
};
use crate::rhythm::{Counting, Cycle, Feel, Layer, Tempo};
use crate::world::{Day, Moment, Seed};

use super::open::{self, Forms};
use super::{KeptPulses, KnownRecording, Listened, Settings, Store, StoreError, record};

const FIRST_FORM: &str = include_str!("../../migrations/001-practice.sql");
const SECOND_FORM: &str = include_str!("../../migrations/002-hands.sql");
const THIRD_FORM: &str = include_str!("../../migrations/003-listened.sql");
const FOURTH_FORM: &str = include_str!("../../migrations/004-recordings.sql");
const FIFTH_FORM: &str = include_str!("../../migrations/005-assignments.sql");
const SIXTH_FORM: &str = include_str!("../../migrations/006-taken-back.sql");
const SEVENTH_FORM: &str = include_str!("../../migrations/007-unsaid.sql");
const KEPT_FIRST_FORM: &str = include_str!("../../tests/data/schema-1.sql");

fn folder() -> TempDir {
    tempfile::tempdir().expect("a folder for a test")
}

fn store() -> Store {
    Store::in_memory(Seed(1), Moment(0)).expect("a store in memory")
}

fn open(dir: &Path) -> Result<Store, StoreError> {
    Store::open(dir, Seed(1), Moment(0))
}

/// A plain attempt, the `number`-th of the first sitting.
fn attempt(number: u32) -> Attempt {
    Attempt {
        id: AttemptId {
            install: 7,
            sitting: 1,
            number,
        },
        skill: Skill("first/threes".into()),
        kind: Kind::NameFeel,
        at: Moment(1_000 + i64::from(number)),
        wall: Moment(1_000),
        since_start_ms: 12_000,
        offset_min: 60,
        day: Day(20_000),
        block: 1,
        phase: Phase::Adaptive,
        level: Level::of_tenths(60),
        criterion: Level::of_tenths(40),
        tempo: Tempo::of_hundredths(18_000).expect("in range"),
        alternatives: 2,
        truth: Answer::Feel(Feel::Threes),
        answer: Answer::Feel(Feel::Twos),
        right: false,
        heard_tenths: 21,
        answer_ms: 2_300,
        replays: 1,
        taps: vec![],
        timing: None,
        seed: Seed(u64::MAX),
        generator: 1,
        phrase: "six 180 | bass 0 40".to_owned(),
    }
}

fn read_all(store: &Store) -> Vec<Attempt> {
    let mut attempts = Vec::new();
    store
        .attempts(|attempt| attempts.push(attempt))
        .expect("a log that can be read");
    attempts
}

/// The bytes of every file in `dir` by name, save the lock, which means nothing.
fn bytes_of(dir: &Path) -> Vec<(String, Vec<u8>)> {
    let mut files: Vec<_> = fs::read_dir(dir)
        .expect("a folder")
        .map(|entry| entry.expect("an entry"))
        .map(|entry| {
            let name = entry.file_name().to_string_lossy().into_owned();
            (name, fs::read(entry.path()).expect("a file"))
        })
        // The lock, and the index of the write-ahead log, which is rebuilt by whoever reads it.
        .filter(|(name, _)| name != "practice.lock" && name != "practice.db-shm")
        .collect();
    files.sort();
    files
}

fn layers() -> impl Strategy<Value = Layer> {
    (2_i64..=48).prop_flat_map(|n_pulses| {
        proptest::collection::vec(0..n_pulses, 1..8).prop_map(move |pulses| {
            let cycle = Cycle::new(n_pulses).expect("in range");
            Layer::of(cycle, &pulses).expect("pulses of the cycle")
        })
    })
}

fn answers() -> impl Strategy<Value = Answer> {
    prop_oneof![
        proptest::sample::select(Feel::ALL.to_vec()).prop_map(Answer::Feel),
        any::<Option<u8>>().prop_map(Answer::Start),
        layers().prop_map(Answer::Clapping),
        proptest::option::of(layers()).prop_map(Answer::Hands),
        proptest::array::uniform2(proptest::option::of(layers())).prop_map(Answer::Pair),
        proptest::sample::select(Owner::ALL.to_vec()).prop_map(Answer::Owner),
        proptest::option::of(layers()).prop_map(Answer::Marks),
        any::<Option<u8>>().prop_map(Answer::Turn),
    ]
}

fn taps() -> impl Strategy<Value = KeptTap> {
    let hand = proptest::sample::select(Hand::ALL.to_vec());
    (any::<i32>(), hand).prop_map(|(ms, hand)| KeptTap { ms, hand })
}

fn timings() -> impl Strategy<Value = KeptTiming> {
    any::<(i32, u32, u32, u32)>().prop_map(|(lead_ms, spread_tenths, pulse_ms, n)| KeptTiming {
        lead_ms,
        spread_tenths,
        pulse_ms,
        n,
    })
}

/// Any attempt that can be built, its name aside.
fn attempts() -> impl Strategy<Value = Attempt> {
    let what = (
        any::<String>(),
        proptest::sample::select(Kind::ALL.to_vec()),
        proptest::sample::select(vec![Phase::Probe, Phase::Adaptive, Phase::Fill]),
        answers(),
        answers(),
        any::<(bool, u8, u8)>(),
    );
    let when = (
        any::<(i64, i64, u32, i32, u32)>(),
        -1440..=1440,
        any::<(u32, u32)>(),
    );
    let how = (
        any::<(i16, i16)>(),
        2_000_u32..=60_000,
        proptest::collection::vec(taps(), 0..20),
        any::<(u64, u32)>(),
        any::<String>(),
        proptest::option::of(timings()),
    );
    (what, when, how).prop_map(|(what, when, how)| Attempt {
        id: attempt(1).id,
        skill: Skill(what.0.into()),
        kind: what.1,
        phase: what.2,
        truth: what.3,
        answer: what.4,
        right: what.5.0,
        alternatives: what.5.1,
        replays: what.5.2,
        at: Moment(when.0.0),
        wall: Moment(when.0.1),
        since_start_ms: when.0.2,
        day: Day(when.0.3),
        block: when.0.4,
        offset_min: when.1,
        heard_tenths: when.2.0,
        answer_ms: when.2.1,
        level: Level::of_tenths(how.0.0),
        criterion: Level::of_tenths(how.0.1),
        tempo: Tempo::of_hundredths(how.1).expect("in range"),
        taps: how.2,
        timing: how.5,
        seed: Seed(how.3.0),
        generator: how.3.1,
        phrase: how.4,
    })
}

fn values() -> impl Strategy<Value = Value> {
    prop_oneof![
        Just(Value::Null),
        any::<i64>().prop_map(Value::Integer),
        (-3_i64..300).prop_map(Value::Integer),
        any::<f64>().prop_map(Value::Real),
        any::<String>().prop_map(Value::Text),
        "(feel|start|clapping) [a-z0-9x.?]{0,6}".prop_map(Value::Text),
        any::<Vec<u8>>().prop_map(Value::Blob),
    ]
}

proptest! {
    #[test]
    fn what_is_written_is_read(
        attempts in proptest::collection::vec((attempts(), any::<u64>(), any::<u32>()), 1..12)
    ) {
        let mut store = store();
        let mut expected = Vec::new();
        for (number, (mut attempt, install, sitting)) in (1..).zip(attempts) {
            attempt.id = AttemptId { install, sitting, number };
            store.append(&attempt, None).expect("an append");
            expected.push(attempt);
        }
        expected.sort_by_key(|attempt| (attempt.day, attempt.at, attempt.id));
        prop_assert_eq!(read_all(&store), expected);
    }

    #[test]
    fn any_row_is_read_or_refused(
        row in proptest::collection::vec(values(), record::COLUMNS.len())
    ) {
        let conn = Connection::open_in_memory().expect("a database in memory");
        let places: Vec<String> = (1..=row.len()).map(|n| format!("?{n}")).collect();
        let sql = format!("SELECT {}", places.join(", "));
        let outcome = conn.query_row(&sql, rusqlite::params_from_iter(row), |row| {
            Ok(record::read(row).is_ok())
        });
        // Of 26 columns of chance, one at least means nothing: not one such row is an attempt.
        prop_assert_eq!(outcome, Ok(false));
    }

    #[test]
    fn one_altered_column_is_named(column in 0..record::COLUMNS.len(), value in values()) {
        let mut store = store();
        store.append(&attempt(1), None).expect("an append");
        let columns: Vec<&str> = (0..)
            .zip(record::COLUMNS)
            .map(|(idx, name)| if idx == column { "?1" } else { name })
            .collect();
        let sql = format!("SELECT {} FROM attempt", columns.join(", "));
        let outcome = store.conn.query_row(&sql, [&value], |row| Ok(record::read(row)));
        match outcome.expect("one row") {
            Ok(_) => prop_assert!(!matches!(value, Value::Null | Value::Real(_) | Value::Blob(_))),
            Err(unreadable) => prop_assert_eq!(unreadable.0, record::COLUMNS[column]),
        }
    }
}

#[test]
fn an_unreadable_row_is_named() {
    let mut store = store();
    for number in 1..=3 {
        store.append(&attempt(number), None).expect("an append");
    }
    store
        .conn
        .execute_batch(
            "DROP TRIGGER attempt_is_never_changed;
             UPDATE attempt SET truth = 'feel sevens' WHERE \"row\" = 2;",
        )
        .expect("an alteration");
    let mut seen = 0;
    let error = store
        .attempts(|_| seen += 1)
        .expect_err("an unreadable row");
    assert_eq!(
        error.to_string(),
        ":memory: is damaged: row 2 of the table attempt has no readable truth"
    );
    assert_eq!(seen, 1);
    assert_eq!(store.check(), Err(error));
}

#[track_caller]
fn check_refused(store: &Store, sql: &str, why: &str) {
    let error = store.conn.execute_batch(sql).expect_err(sql);
    assert!(error.to_string().contains(why), "{sql}: {error}");
}

#[test]
fn a_passage_is_doubted_as_it_stands_and_until_whoever_cut_it_says_the_same_again() {
    let mut store = store();
    let [threes, twos] = ["3333", "2222"].map(crate::quiz::passage::tests::passage);
    let skill = Skill("own/feel".into());
    let asked = |number: u32| Attempt {
        skill: skill.clone(),
        seed: threes.seed(),
        phrase: threes.line(),
        ..attempt(number)
    };
    for number in [1, 2] {
        store.append(&asked(number), None).expect("an append");
    }
    let is_aside = |store: &Store, passage: &Passage| {
        let aside = store.is_passage_disputed(&skill, passage, 1);
        aside.expect("it can be read")
    };
    // The same place, cut anew with other marks: of that nobody spoke.
    let relabelled = threes.with_marks_of(&twos);
    assert_eq!(relabelled.seed(), threes.seed());
    assert!(!is_aside(&store, &threes));
    let doubted = store.dispute(&asked(1), Moment(5), None);
    doubted.expect("a dispute");
    assert!(is_aside(&store, &threes) && !is_aside(&store, &relabelled));
    let upheld = store.uphold_passage(&skill, &threes, (1, Moment(6)));
    upheld.expect("it is written");
    assert!(!is_aside(&store, &threes));
    // A doubt that comes later is a new one.
    let doubted = store.dispute(&asked(2), Moment(7), None);
    doubted.expect("a dispute");
    assert!(is_aside(&store, &threes));
}

#[test]
fn the_log_only_grows() {
    let mut store = store();
    store.append(&attempt(1), None).expect("an append");
    store
        .dispute(&attempt(1), Moment(5), None)
        .expect("a dispute");
    check_refused(&store, "UPDATE attempt SET \"right\" = 1", "never changed");
    check_refused(&store, "DELETE FROM attempt", "never removed");
    check_refused(
        &store,
        "INSERT OR REPLACE INTO attempt SELECT * FROM attempt",
        "never replaced",
    );
    check_refused(&store, "UPDATE dispute SET note = 'x'", "never changed");
    check_refused(&store, "DELETE FROM dispute", "never removed");
    check_refused(
        &store,
        "INSERT OR REPLACE INTO dispute SELECT * FROM dispute",
        "never replaced",
    );
    assert_eq!(read_all(&store), [attempt(1)]);
}

#[test]
fn a_removed_row_is_missed() {
    let mut store = store();
    for number in 1..=3 {
        store.append(&attempt(number), None).expect("an append");
    }
    assert_eq!(store.check(), Ok(3));
    store
        .conn
        .execute_batch(
            "DROP TRIGGER attempt_is_never_removed; DELETE FROM attempt WHERE \"row\" = 2;",
        )
        .expect("an alteration");
    assert!(matches!(store.check(), Err(StoreError::Damaged { .. })));
}

#[test]
fn values_out_of_range_stay_out() {
    let mut store = store();
    let mut strange = attempt(1);
    strange.offset_min = 5_000;
    let outcome = store.append(&strange, None);
    assert!(
        matches!(outcome, Err(StoreError::Other { .. })),
        "{outcome:?}"
    );
    assert_eq!(store.check(), Ok(0));
}

#[test]
fn a_full_disk_takes_nothing_and_loses_nothing() {
    let dir = folder();
    let mut store = open(dir.path()).expect("a store");
    store.append(&attempt(1), None).expect("an append");
    let pages: i64 = store
        .conn
        .pragma_query_value(None, "page_count", |row| row.get(0))
        .expect("a number of pages");
    let set_limit = |store: &Store, limit: i64| {
        store
            .conn
            .pragma_update_and_check(None, "max_page_count", limit, |row| row.get::<_, i64>(0))
            .expect("a limit");
    };
    set_limit(&store, pages);
    let mut long = attempt(2);
    long.phrase = "x".repeat(100_000);
    let path = store.path().to_owned();
    assert_eq!(store.append(&long, None), Err(StoreError::Full { path }));
    assert_eq!(read_all(&store), [attempt(1)]);
    set_limit(&store, 1_000_000);
    store
        .append(&long, None)
        .expect("an append after room was made");
    assert_eq!(store.check(), Ok(2));
}

#[test]
fn every_output_has_a_delay_of_its_own() {
    let mut store = store();
    let delay = |micros| Delay {
        micros,
        spread: 21_000.0,
        n: 18,
    };
    assert_eq!(store.delay("a card"), Ok(None));
    store.save_delay("a card", delay(84_000.0)).expect("room");
    store
        .save_delay("an \"odd\" one; ü", delay(-30_000.0))
        .expect("room");
    store.save_delay("a card", delay(92_000.0)).expect("room");
    assert_eq!(store.delay("a card"), Ok(Some(delay(92_000.0))));
    assert_eq!(store.delay("an \"odd\" one; ü"), Ok(Some(delay(-30_000.0))));
    assert_eq!(store.settings(), Ok(Settings::default()));
    for text in ["", "1", "1 2", "x 2 3", "9999999 1 1", "1 -1 1", "1 1 -1"] {
        let sql = "UPDATE setting SET value = ?1 WHERE name = 'delay_of a card'";
        store
            .conn
            .execute(sql, [text])
            .expect("a setting may change");
        assert!(
            matches!(store.delay("a card"), Err(StoreError::Damaged { .. })),
            "{text:?}"
        );
    }
}

#[test]
fn a_store_that_turns_read_only_says_so() {
    let mut store = store();
    store
        .conn
        .pragma_update(None, "query_only", true)
        .expect("a switch");
    let path = store.path().to_owned();
    let refused = Err(StoreError::ReadOnly { path });
    assert_eq!(store.append(&attempt(1), None), refused);
    assert_eq!(store.begin_sitting(Moment(1)).map(|_| ()), refused);
    assert_eq!(store.save_settings(Settings::default()), refused);
}

#[test]
fn a_foreign_writer_is_waited_for_then_named() {
    let dir = folder();
    let mut store = open(dir.path()).expect("a store");
    store
        .conn
        .busy_timeout(std::time::Duration::ZERO)
        .expect("a switch");
    let other = Connection::open(store.path()).expect("a second connection");
    other.execute_batch("BEGIN IMMEDIATE").expect("a lock");
    let path = store.path().to_owned();
    assert_eq!(
        store.append(&attempt(1), None),
        Err(StoreError::InUse { path })
    );
    other.execute_batch("ROLLBACK").expect("an end");
    store.append(&attempt(1), None).expect("an append");
}

#[test]
fn every_commit_is_synchronised() {
    let dir = folder();
    let store = open(dir.path()).expect("a store");
    let number = |name: &str| {
        store
            .conn
            .pragma_query_value(None, name, |row| row.get::<_, i64>(0))
            .expect("a number")
    };
    // 2 is FULL (sqlite.org/pragma.html#pragma_synchronous).
    assert_eq!(number("synchronous"), 2);
    assert_eq!(number("foreign_keys"), 1);
    let mode: String = store
        .conn
        .pragma_query_value(None, "journal_mode", |row| row.get(0))
        .expect("a mode");
    assert_eq!(mode, "wal");
}

fn schema(conn: &Connection) -> Vec<String> {
    let mut statement = conn
        .prepare("SELECT sql FROM sqlite_schema WHERE sql IS NOT NULL ORDER BY type, name")
        .expect("a query");
    let rows = statement
        .query_map([], |row| row.get(0))
        .expect("a schema")
        .collect::<Result<_, _>>();
    rows.expect("texts")
}

#[test]
fn the_first_form_is_as_it_was_released() {
    let of = |sql: &str| {
        let conn = Connection::open_in_memory().expect("a database in memory");
        conn.execute_batch(sql).expect("valid SQL");
        schema(&conn)
    };
    assert_eq!(of(FIRST_FORM), of(KEPT_FIRST_FORM));
}

fn next_form(step: &'static str) -> Forms {
    Forms::of(vec![
        M::up(FIRST_FORM),
        M::up(SECOND_FORM),
        M::up(THIRD_FORM),
        M::up(FOURTH_FORM),
        M::up(FIFTH_FORM),
        M::up(SIXTH_FORM),
        M::up(SEVENTH_FORM),
        M::up(step),
    ])
}

#[test]
fn an_older_form_is_copied_then_raised() {
    let dir = folder();
    let mut store = open(dir.path()).expect("a store");
    store.append(&attempt(1), None).expect("an append");
    drop(store);
    let forms = next_form("ALTER TABLE attempt ADD COLUMN aside TEXT");
    let raised = open::open(dir.path(), Seed(2), Moment(1), &forms).expect("a raised store");
    assert_eq!(read_all(&raised), [attempt(1)]);
    drop(raised);

    let names: Vec<String> = bytes_of(dir.path())
        .into_iter()
        .map(|file| file.0)
        .collect();
    assert_eq!(names, ["practice.db", "practice.db.before-008"]);
    assert!(matches!(
        open(dir.path()),
        Err(StoreError::Newer {
            found: 8,
            known: 7,
            ..
        })
    ));
    // The copy, put in its place, is the old store.
    let [db, copy] = ["practice.db", "practice.db.before-008"].map(|name| dir.path().join(name));
    fs::rename(copy, db).expect("a renaming");
    let back = open(dir.path()).expect("the old store");
    assert_eq!(read_all(&back), [attempt(1)]);
    assert_eq!(back.check(), Ok(1));
}

#[test]
fn a_step_that_fails_leaves_the_older_form() {
    let dir = folder();
    let mut store = open(dir.path()).expect("a store");
    store.append(&attempt(1), None).expect("an append");
    drop(store);
    let forms = next_form("ALTER TABLE attempt ADD COLUMN aside TEXT; SELECT no_such_thing;");
    open::open(dir.path(), Seed(2), Moment(1), &forms).expect_err("a failing step");
    let store = open(dir.path()).expect("the store as it was");
    assert_eq!(read_all(&store), [attempt(1)]);
    assert_eq!(store.check(), Ok(1));
}

#[test]
fn a_newer_form_in_the_write_ahead_log_is_refused_untouched() {
    let dir = folder();
    // Closed once, so that the newest form stands in the file itself.
    drop(open(dir.path()).expect("a store"));
    let store = open(dir.path()).expect("the store again");
    let no_copy_back = DbConfig::SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE;
    store
        .conn
        .set_db_config(no_copy_back, true)
        .expect("a switch");
    store
        .conn
        .pragma_update(None, "user_version", 9)
        .expect("a form");
    drop(store);
    let before = bytes_of(dir.path());
    assert!(matches!(before.as_slice(), [(_, db), (_, wal)] if db[63] == 7 && !wal.is_empty()));
    assert!(matches!(
        open(dir.path()),
        Err(StoreError::Newer {
            found: 9,
            known: 7,
            ..
        })
    ));
    assert_eq!(bytes_of(dir.path()), before);
}

#[test]
fn another_programs_database_is_refused_untouched() {
    for (sql, form) in [
        ("CREATE TABLE tune (name TEXT)", 0),
        ("CREATE TABLE t (a)", 1),
    ] {
        let dir = folder();
        let other = Connection::open(dir.path().join("practice.db")).expect("a database");
        other.execute_batch(sql).expect("a table");
        other
            .pragma_update(None, "user_version", form)
            .expect("a form");
        drop(other);
        let before = bytes_of(dir.path());
        let error = open(dir.path()).expect_err("a foreign database");
        assert!(
            error.to_string().ends_with("it is not a practice store"),
            "{error}"
        );
        assert_eq!(bytes_of(dir.path()), before);
    }
}

#[test]
fn a_kept_store_of_the_first_form_is_read() {
    let dir = folder();
    let old = Connection::open(dir.path().join("practice.db")).expect("a database");
    old.execute_batch(KEPT_FIRST_FORM).expect("valid SQL");
    drop(old);
    let store = open(dir.path()).expect("an old store");
    assert_eq!(store.install(), 7);
    assert_eq!(store.check(), Ok(3));
    let found = read_all(&store);
    let [feel, start, clapping] = found.as_slice() else {
        panic!("three attempts");
    };
    assert_eq!(*feel, attempt(1));
    assert_eq!(start.truth, Answer::Start(Some(3)));
    assert_eq!(start.answer, Answer::Start(None));
    let ms: Vec<i32> = start.taps.iter().map(|tap| tap.ms).collect();
    assert_eq!(ms, [-12, 330, 671]);
    assert!(found.iter().all(|attempt| attempt.timing.is_none()));
    assert_eq!(start.phase, Phase::Probe);
    assert_eq!(
        clapping.truth,
        Answer::Clapping("x..xx.".parse().expect("a layer"))
    );
    assert_eq!(clapping.id.install, u64::MAX);
    assert_eq!(
        store.settings(),
        Ok(Settings {
            counting: Some(Counting::UnDos),
            cautioned: Some(Moment(1_700_000_000_000)),
        })
    );
    let notes: Vec<_> = store
        .disputes()
        .expect("disputes")
        .into_iter()
        .map(|dispute| dispute.note.expect("a note").to_string())
        .collect();
    assert_eq!(notes, ["both at once, I think"]);
}

#[test]
fn leads_of_the_attempts_that_were_timed_last_come_newest_first() {
    let mut store = Store::in_memory(Seed(3), Moment(0)).expect("a store");
    for number in 1..=60 {
        let timing = (number % 2 == 0).then_some(KeptTiming {
            lead_ms: -i32::try_from(number).expect("small"),
            spread_tenths: 200,
            pulse_ms: 400,
            n: 12,
        });
        let attempt = Attempt {
            timing,
            ..attempt(number)
        };
        store.append(&attempt, None).expect("an append");
    }
    let leads = store.recent_leads().expect("leads");
    assert_eq!(leads.len(), 24);
    assert_eq!(leads[..3], [-60, -58, -56]);
    let spreads = store.recent_spreads().expect("spreads");
    let spread = spreads.get(&attempt(1).skill).expect("of the only skill");
    assert!((spread - 0.05).abs() < 1e-9, "{spread}");
}

#[test]
fn what_was_listened_to_is_kept_and_is_no_attempt() {
    let mut store = Store::in_memory(Seed(3), Moment(0)).expect("a store");
    let listened = Listened {
        skill: attempt(1).skill,
        at: Moment(7),
        day: Day(3),
        seed: Seed(9),
        generator: 2,
    };
    store.keep_listened(&listened).expect("kept");
    store.keep_listened(&listened).expect("kept again");
    let counted = HashMap::from([(listened.skill.clone(), 2)]);
    assert_eq!(store.n_listened(), Ok(counted));
    assert_eq!(read_all(&store), []);
    let changed = store.conn.execute("DELETE FROM listened", []);
    assert!(changed.is_err_and(|error| error.to_string().contains("never removed")));
}

fn content(text: &str) -> ContentHash {
    ContentHash::of(text.as_bytes()).expect("memory can be read")
}

fn marked(from: f64, until: f64, mark: Mark, sure: Sure) -> Marked {
    let stretch = Stretch::new(from, until).expect("a stretch");
    Marked {
        stretch,
        mark,
        sure,
    }
}

#[test]
fn what_is_said_of_a_recording_is_there_again_from_its_new_place() {
    let dir = folder();
    let known = content("a solo");
    let pulses = KeptPulses {
        cycle: Cycle::new(12).expect("in range"),
        times: vec![0.5, 0.75, 1.125],
    };
    let sections = Sections::new(vec![12.5, 30.0]).expect("rising");
    let ana = By::Other(Label::new("Ana").expect("a name"));
    let mut store = open(dir.path()).expect("a store");
    assert_eq!(store.recording(known), Ok(None));
    let meet = |store: &mut Store, name: &str, place: &str, at| {
        let met = store.meet_recording(known, name, Some(Path::new(place)), Moment(at));
        met.expect("kept");
    };
    meet(&mut store, "solo.wav", "/old/solo.wav", 1);
    store.save_pulses(known, &pulses).expect("kept");
    store.save_sections(known, &sections).expect("kept");
    let said = [
        marked(0.0, 12.5, Mark::Threes, Sure::Guess),
        marked(0.0, 12.5, Mark::Twos, Sure::Sure),
    ];
    store.mark(known, &By::Own, &said, Moment(2)).expect("kept");
    let hers = [marked(0.0, 30.0, Mark::CannotSay, Sure::Fairly)];
    store.mark(known, &ana, &hers, Moment(3)).expect("kept");
    drop(store);

    let mut store = open(dir.path()).expect("the store again");
    meet(&mut store, "better.wav", "/new/better.wav", 9);
    let found = KnownRecording {
        name: "better.wav".to_owned(),
        place: Some("/new/better.wav".into()),
        pulses,
        sections,
    };
    assert_eq!(store.recording(known), Ok(Some(found)));
    let marks = store.marks(known).expect("marks");
    assert_eq!(marks[&By::Own].all(), &said[1..], "the latest counts");
    assert_eq!(marks[&ana].all(), hers);
    assert_eq!(store.marks(content("another")), Ok(Default::default()));
}

#[test]
fn what_was_said_can_be_taken_back_and_what_was_said_before_stands_again() {
    let dir = folder();
    let mut store = open(dir.path()).expect("a store");
    let known = content("a solo");
    let met = store.meet_recording(known, "a", None, Moment(1));
    met.expect("kept");
    let before = marked(1.0, 3.0, Mark::Twos, Sure::Sure);
    let over = marked(0.0, 4.0, Mark::Threes, Sure::Fairly);
    for said in [before, over] {
        let kept = store.mark(known, &By::Own, &[said], Moment(2));
        kept.expect("kept");
    }
    let back = store.unsay(known, over.stretch, &[before], Moment(3));
    back.expect("kept");
    assert_eq!(store.marks(known).expect("marks")[&By::Own].all(), [before]);
    let back = store.unsay(known, before.stretch, &[], Moment(4));
    back.expect("kept");
    drop(store);
    let store = open(dir.path()).expect("the store again");
    assert_eq!(store.marks(known), Ok(Default::default()));
}

#[test]
fn marks_only_grow_and_are_of_recordings_that_were_opened() {
    let mut store = store();
    let said = [marked(0.0, 1.0, Mark::Both, Sure::Sure)];
    let outcome = store.mark(content("unknown"), &By::Own, &said, Moment(1));
    assert!(
        matches!(outcome, Err(StoreError::Other { .. })),
        "{outcome:?}"
    );
    let known = content("a solo");
    store
        .meet_recording(known, "a", None, Moment(1))
        .expect("kept");
    store.mark(known, &By::Own, &said, Moment(1)).expect("kept");
    for (sql, why) in [
        ("UPDATE recording_mark SET mark = 'twos'", "never changed"),
        ("DELETE FROM recording_mark", "never removed"),
        (
            "INSERT OR REPLACE INTO recording_mark SELECT * FROM recording_mark",
            "never replaced",
        ),
    ] {
        check_refused(&store, sql, why);
    }
    assert_eq!(store.marks(known).expect("marks")[&By::Own].all(), said);
}

#[test]
fn an_unreadable_row_of_a_recording_is_named() {
    for (column, value) in [
        ("by_name", "'a\u{7}'"),
        ("from_s", "-1.0"),
        ("until_s", "9e999"),
        ("mark", "'fours'"),
        ("sure", "'very'"),
    ] {
        let mut store = store();
        let known = content("a solo");
        store
            .meet_recording(known, "a", None, Moment(1))
            .expect("kept");
        let said = [marked(0.0, 1.0, Mark::Both, Sure::Sure); 2];
        store.mark(known, &By::Own, &said, Moment(1)).expect("kept");
        let sql = format!(
            "DROP TRIGGER mark_is_never_changed;
             UPDATE recording_mark SET {column} = {value} WHERE \"row\" = 2;"
        );
        store.conn.execute_batch(&sql).expect("an alteration");
        let error = store.marks(known).expect_err(column).to_string();
        let said = "is damaged: row 2 of the table recording_mark has no readable ";
        assert!(error.contains(said), "{error}");
    }
    for (column, value) in [
        ("pulses_s", "1 soon"),
        ("pulses_s", "2 1"),
        ("sections_s", "NaN"),
    ] {
        let mut store = store();
        let known = content("a solo");
        store
            .meet_recording(known, "a", None, Moment(1))
            .expect("kept");
        let sql = format!("UPDATE recording SET {column} = '{value}'");
        store.conn.execute_batch(&sql).expect("an alteration");
        let error = store.recording(known).expect_err(column).to_string();
        assert!(
            error.ends_with(&format!("recording has no readable {column}")),
            "{error}"
        );
    }
}

#[test]
fn a_kept_store_of_the_first_form_takes_marks() {
    let dir = folder();
    let old = Connection::open(dir.path().join("practice.db")).expect("a database");
    old.execute_batch(KEPT_FIRST_FORM).expect("valid SQL");
    drop(old);
    let mut store = open(dir.path()).expect("an old store");
    let known = content("a solo");
    store
        .meet_recording(known, "a", None, Moment(1))
        .expect("kept");
    let said = [marked(0.0, 1.0, Mark::Both, Sure::Sure)];
    store.mark(known, &By::Own, &said, Moment(1)).expect("kept");
    assert_eq!(store.marks(known).expect("marks")[&By::Own].all(), said);
    assert_eq!(read_all(&store).len(), 3);
}
