//! The store as its callers see it: whole folders, damaged files, killed programs.

use std::fs;
use std::io::{BufRead as _, BufReader, Write as _};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::mpsc::{self, Receiver};
use std::time::Duration;

use contrapalma::label::Label;
use contrapalma::phrase::Level;
use contrapalma::quiz::{Answer, Attempt, AttemptId, Kind, Phase, Skill};
use contrapalma::rhythm::{Counting, Feel, Tempo};
use contrapalma::store::{Merged, Settings, Store, StoreError};
use contrapalma::world::{Day, Moment, Seed};
use tempfile::TempDir;

fn folder() -> TempDir {
    tempfile::tempdir().expect("a folder for a test")
}

fn open(dir: &Path) -> Result<Store, StoreError> {
    Store::open(dir, Seed(1), Moment(1_000))
}

fn attempt(store: &Store, sitting: u32, number: u32) -> Attempt {
    let id = AttemptId {
        install: store.install(),
        sitting,
        number,
    };
    Attempt {
        id,
        skill: Skill(format!("first/skill-{}", number % 3).into()),
        kind: Kind::NameFeel,
        at: Moment(i64::from(sitting) * 1_000_000 + i64::from(number)),
        wall: Moment(0),
        since_start_ms: number,
        offset_min: 0,
        day: Day(20_000 + i32::try_from(sitting).expect("few sittings")),
        block: 1,
        phase: Phase::Fill,
        level: Level::of_tenths(60),
        criterion: Level::of_tenths(40),
        tempo: Tempo::of_pulses_a_minute(180).expect("in range"),
        alternatives: 2,
        truth: Answer::Feel(Feel::Threes),
        answer: Answer::Feel(Feel::Threes),
        right: true,
        heard_tenths: 20,
        answer_ms: 900,
        replays: 0,
        taps: vec![],
        timing: None,
        seed: Seed(u64::from(number)),
        generator: 1,
        phrase: "six 180 | bass 0 40 | bass 3 40".to_owned(),
    }
}

fn filled(dir: &Path, n: u32) -> PathBuf {
    let mut store = open(dir).expect("a store");
    let attempts: Vec<Attempt> = (1..=n).map(|number| attempt(&store, 1, number)).collect();
    store.merge(attempts).expect("a merge");
    store.path().to_owned()
}

fn ids(store: &Store) -> Vec<AttemptId> {
    let mut ids = Vec::new();
    store
        .attempts(|attempt| ids.push(attempt.id))
        .expect("a log that can be read");
    ids
}

#[test]
fn what_was_kept_is_there_after_closing() {
    let dir = folder();
    let path = dir.path().join("made/on/the/way");
    let mut store = open(&path).expect("a store");
    assert_eq!(store.last_at(), Ok(None));
    assert_eq!(store.begin_sitting(Moment(1)), Ok(1));
    let first = attempt(&store, 1, 1);
    store.append(&first, None).expect("an append");
    let note = Label::new("sounds like both").expect("a label");
    store
        .dispute(&first, Moment(9), Some(&note))
        .expect("a dispute");
    let settings = Settings {
        counting: Some(Counting::FromLast),
        cautioned: None,
    };
    store.save_settings(settings).expect("settings");
    let install = store.install();
    drop(store);

    let mut store = Store::open(&path, Seed(2), Moment(5)).expect("the store again");
    assert_eq!(
        store.install(),
        install,
        "the number is drawn once, whatever the seed"
    );
    assert_eq!(ids(&store), [first.id]);
    assert_eq!(store.settings(), Ok(settings));
    assert_eq!(store.last_at(), Ok(Some(first.at)));
    assert_eq!(
        store.is_disputed(&first.skill, first.seed, first.generator),
        Ok(true)
    );
    assert_eq!(
        store.is_disputed(&first.skill, first.seed, first.generator + 1),
        Ok(false)
    );
    assert_eq!(store.begin_sitting(Moment(2)), Ok(2));
    assert_eq!(store.check(), Ok(1));
}

#[test]
fn a_sitting_never_has_the_number_of_attempts_that_are_here() {
    let mut store = Store::in_memory(Seed(1), Moment(0)).expect("a store");
    let brought_back = attempt(&store, 41, 1);
    store.merge([brought_back]).expect("a merge");
    assert_eq!(store.begin_sitting(Moment(1)), Ok(42));
}

#[test]
fn the_same_attempt_twice_is_one_and_another_of_its_name_is_refused() {
    let mut store = Store::in_memory(Seed(1), Moment(0)).expect("a store");
    let [first, second] = [1, 2].map(|number| attempt(&store, 1, number));
    store.append(&first, None).expect("an append");
    store.append(&first, None).expect("the same again");
    let mut other = first.clone();
    other.answer_ms += 1;
    let differs = StoreError::Differs {
        path: store.path().to_owned(),
        id: first.id,
    };
    assert_eq!(store.append(&other, None), Err(differs.clone()));
    assert_eq!(
        store.merge([first.clone(), second.clone()]),
        Ok(Merged { new: 1, known: 1 })
    );
    // All or none: the new one before the refused one is not kept either.
    let third = attempt(&store, 1, 3);
    assert_eq!(store.merge([third, other]), Err(differs));
    assert_eq!(ids(&store), [first.id, second.id]);
}

#[test]
fn logs_join_to_the_same_in_any_order() {
    let make = || Store::in_memory(Seed(1), Moment(0)).expect("a store");
    let (mut one, mut two) = (make(), make());
    let mut all: Vec<Attempt> = (1..=20).map(|n| attempt(&one, 1 + n % 3, n)).collect();
    for (install, attempt) in [0, 5, u64::MAX, 1 << 63].into_iter().cycle().zip(&mut all) {
        attempt.id.install = install;
    }
    one.merge(all.clone()).expect("a merge");
    all.reverse();
    let (late, early) = all.split_at(7);
    two.merge(late.to_vec()).expect("a merge");
    two.merge(early.to_vec()).expect("a merge");
    two.merge(all.clone()).expect("a merge");
    all.sort_by_key(|attempt| (attempt.day, attempt.at, attempt.id));
    let expected: Vec<AttemptId> = all.iter().map(|attempt| attempt.id).collect();
    assert_eq!(ids(&one), expected);
    assert_eq!(ids(&two), expected);
}

#[test]
fn a_skill_and_a_day_are_found_alone() {
    let dir = folder();
    filled(dir.path(), 9);
    let mut store = open(dir.path()).expect("a store");
    for number in 1..=2 {
        let later = attempt(&store, 3, number);
        store.append(&later, None).expect("an append");
    }
    let mut found = Vec::new();
    store
        .attempts_of(&Skill("first/skill-1".into()), |attempt| {
            found.push((attempt.id.sitting, attempt.id.number));
        })
        .expect("a log that can be read");
    assert_eq!(found, [(1, 1), (1, 4), (1, 7), (3, 1)]);
    let days = store.counts_by_day(Day(20_003), 4).expect("counts");
    assert_eq!(
        days,
        [
            (Day(20_000), 0),
            (Day(20_001), 9),
            (Day(20_002), 0),
            (Day(20_003), 2)
        ]
    );
}

#[test]
fn the_cache_counts_only_while_it_covers_the_whole_log() {
    let dir = folder();
    let mut store = open(dir.path()).expect("a store");
    let skill = Skill("first/skill-1".into());
    let cached = |bytes: &[u8]| Ok(Some(vec![(skill.clone(), bytes.to_vec())]));
    assert_eq!(store.load_cache(1), Ok(None));
    store.rebuild_cache(1, []).expect("an empty cache");
    assert_eq!(store.load_cache(1), Ok(Some(vec![])));
    let [first, second, third] = [1, 2, 3].map(|number| attempt(&store, 1, number));
    store
        .append(&first, Some((&skill, Some(Day(3)), b"one")))
        .expect("an append");
    assert_eq!(store.load_cache(1), cached(b"one"));
    // The same attempt again teaches nothing again.
    store
        .append(&first, Some((&skill, None, b"twice")))
        .expect("the same again");
    assert_eq!(store.load_cache(1), cached(b"one"));
    drop(store);

    let mut store = open(dir.path()).expect("the store again");
    assert_eq!(store.load_cache(1), cached(b"one"));
    assert_eq!(store.load_cache(2), Ok(None), "made by other rules");
    // Behind the log, it stays behind, also when the next attempt brings its share.
    store.append(&second, None).expect("an append");
    store
        .append(&third, Some((&skill, None, b"three")))
        .expect("an append");
    assert_eq!(store.load_cache(1), Ok(None));
    store
        .rebuild_cache(2, [(skill.clone(), None, b"all".to_vec())])
        .expect("a new cache");
    assert_eq!(store.load_cache(2), cached(b"all"));
    let elsewhere = attempt(&store, 9, 1);
    store.merge([elsewhere]).expect("a merge");
    assert_eq!(store.load_cache(2), Ok(None));
}

#[test]
fn an_attempt_that_is_not_here_cannot_be_disputed() {
    let mut store = Store::in_memory(Seed(1), Moment(0)).expect("a store");
    let stranger = attempt(&store, 1, 1);
    let outcome = store.dispute(&stranger, Moment(1), None);
    assert!(
        matches!(outcome, Err(StoreError::Other { .. })),
        "{outcome:?}"
    );
    assert_eq!(store.disputes(), Ok(vec![]));
}

#[test]
fn a_newer_store_is_refused_untouched() {
    let dir = folder();
    let path = filled(dir.path(), 3);
    let mut bytes = fs::read(&path).expect("a file");
    // The form stands at offset 60, highest byte first (sqlite.org/fileformat2.html).
    bytes[60..64].copy_from_slice(&8_i32.to_be_bytes());
    fs::write(&path, &bytes).expect("a file");
    let newer = StoreError::Newer {
        path: path.clone(),
        found: 8,
        known: 7,
    };
    assert_eq!(open(dir.path()).map(|_| ()), Err(newer));
    assert_eq!(fs::read(&path).expect("a file"), bytes);
}

#[track_caller]
fn check_damaged(dir: &Path, path: &Path, bytes: &[u8]) {
    fs::write(path, bytes).expect("a file");
    let outcome = open(dir).map(|store| store.check());
    assert!(
        matches!(outcome, Err(StoreError::Damaged { .. })),
        "{outcome:?}"
    );
    assert!(
        fs::read(path).expect("a file") == bytes,
        "the file was changed"
    );
}

#[test]
fn a_damaged_file_is_refused_untouched() {
    let dir = folder();
    let path = filled(dir.path(), 300);
    let whole = fs::read(&path).expect("a file");
    let page = usize::from(u16::from_be_bytes([whole[16], whole[17]]));
    assert!(whole.len() / page > 20, "many pages");

    check_damaged(dir.path(), &path, b"not a database");
    check_damaged(dir.path(), &path, &[0; 5_000]);
    check_damaged(dir.path(), &path, &whole[..50]);
    check_damaged(dir.path(), &path, &whole[..page * 3]);
    check_damaged(dir.path(), &path, &whole[..whole.len() - page]);
    for start in (0..whole.len()).step_by(page) {
        let mut flipped = whole.clone();
        flipped[start..start + page]
            .iter_mut()
            .for_each(|byte| *byte ^= 0xff);
        check_damaged(dir.path(), &path, &flipped);
    }

    fs::write(&path, &whole).expect("a file");
    let store = open(dir.path()).expect("the whole file");
    assert_eq!(store.check(), Ok(300));
}

#[test]
fn no_altered_byte_makes_the_store_panic_or_lose_count() {
    let dir = folder();
    let path = filled(dir.path(), 40);
    let whole = fs::read(&path).expect("a file");
    let mut dice = Seed(3).dice();
    // Every byte of the header, then bytes anywhere.
    let places: Vec<usize> = (0..100)
        .chain((0..150).map(|_| dice.below(whole.len())))
        .collect();
    let mut dice = Seed(4).dice();
    for at in places {
        let mut altered = whole.clone();
        altered[at] ^= 1 << dice.below(8);
        fs::write(&path, &altered).expect("a file");
        match open(dir.path()).and_then(|store| store.check()) {
            // In a text, or in bytes that nothing uses.
            Ok(count) => assert_eq!(count, 40, "byte {at}"),
            Err(StoreError::Damaged { .. } | StoreError::Newer { .. }) => {}
            Err(other) => panic!("byte {at}: {other:?}"),
        }
        for left in ["practice.db-wal", "practice.db-shm"] {
            fs::remove_file(dir.path().join(left)).ok();
        }
    }
}

#[test]
fn a_path_through_a_file_cannot_be_reached() {
    let dir = folder();
    let file = dir.path().join("file");
    fs::write(&file, "text").expect("a file");
    for path in [file.clone(), file.join("below")] {
        let outcome = open(&path).map(|_| ());
        assert!(
            matches!(&outcome, Err(StoreError::Unreachable { path: named, .. }) if *named == path),
            "{outcome:?}"
        );
    }
    fs::create_dir(dir.path().join("practice.db")).expect("a folder");
    let outcome = open(dir.path()).map(|_| ());
    assert!(
        matches!(outcome, Err(StoreError::Unreachable { .. })),
        "{outcome:?}"
    );
}

/// The system's own folder, in which nobody can make one, not even root.
#[cfg(target_os = "linux")]
#[test]
fn a_folder_that_may_not_be_written_says_so() {
    let path = PathBuf::from("/sys/kernel/contrapalma");
    let read_only = StoreError::ReadOnly { path: path.clone() };
    assert_eq!(open(&path).map(|_| ()), Err(read_only));
}

/// Permissions bind everyone but root: whoever runs this, the store agrees with the system.
#[cfg(unix)]
#[test]
fn a_file_that_may_not_be_written_says_so() {
    use std::os::unix::fs::PermissionsExt as _;
    let dir = folder();
    let path = filled(dir.path(), 3);
    let set = |path: &Path, mode| {
        fs::set_permissions(path, fs::Permissions::from_mode(mode)).expect("new permissions");
    };
    set(&path, 0o400);
    let is_bound = fs::OpenOptions::new().append(true).open(&path).is_err();
    let expected = if is_bound {
        Err(StoreError::ReadOnly { path: path.clone() })
    } else {
        Ok(3)
    };
    let counted = || open(dir.path()).and_then(|store| store.check());
    assert_eq!(counted(), expected);

    // The folder alone: the file may be written, but no log beside it.
    set(&path, 0o600);
    set(dir.path(), 0o500);
    let outcome = counted();
    set(dir.path(), 0o700);
    assert_eq!(
        matches!(outcome, Err(StoreError::ReadOnly { .. })),
        is_bound,
        "{outcome:?}"
    );
    assert_eq!(counted(), Ok(3));
}

#[cfg(unix)]
#[test]
fn folder_and_file_are_for_the_user_alone() {
    use std::os::unix::fs::PermissionsExt as _;
    let dir = folder();
    let inside = dir.path().join("data");
    let store = open(&inside).expect("a store");
    let mode = |path: &Path| {
        let metadata = fs::metadata(path).expect("a file");
        metadata.permissions().mode() & 0o777
    };
    assert_eq!(mode(&inside), 0o700);
    assert_eq!(mode(store.path()), 0o600);
}

#[test]
fn one_program_at_a_time() {
    let dir = folder();
    let store = open(dir.path()).expect("a store");
    let path = dir.path().to_owned();
    let in_use = Err(StoreError::InUse { path });
    assert_eq!(open(dir.path()).map(|_| ()), in_use);
    drop(store);
    open(dir.path()).expect("the store once it is free");
}

/// Another program that appends to a store without end and says what it saved.
struct Appender {
    child: Child,
    saved: Receiver<AttemptId>,
}

impl Appender {
    /// This test program once more, in the part of `appends_until_it_is_killed`.
    fn start(dir: &Path) -> Self {
        let program = std::env::current_exe().expect("this program");
        let mut child = Command::new(program)
            .args(["--exact", "store::appends_until_it_is_killed"])
            .args(["--ignored", "--nocapture", "--test-threads=1"])
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("a second program");
        let mut input = child.stdin.take().expect("its input");
        writeln!(input, "{}", dir.display()).expect("a line of input");
        let output = BufReader::new(child.stdout.take().expect("its output"));
        let (sender, saved) = mpsc::channel();
        std::thread::spawn(move || {
            // The reader ends with the program; a last line that was cut off is no promise.
            for id in output
                .lines()
                .map_while(Result::ok)
                .filter_map(|line| saved_id(&line))
            {
                if sender.send(id).is_err() {
                    return;
                }
            }
        });
        Self { child, saved }
    }

    /// Kills it where it stands, without a word to it, and returns what else it had saved.
    fn kill(mut self) -> Vec<AttemptId> {
        self.child.kill().expect("a kill");
        self.child.wait().expect("its end");
        self.saved.iter().collect()
    }
}

/// Reads `saved INSTALL SITTING NUMBER.`, wherever it stands in the line.
fn saved_id(line: &str) -> Option<AttemptId> {
    let (_, text) = line.split_once("saved ")?;
    let mut words = text.strip_suffix('.')?.split(' ');
    Some(AttemptId {
        install: words.next()?.parse().ok()?,
        sitting: words.next()?.parse().ok()?,
        number: words.next()?.parse().ok()?,
    })
}

#[test]
#[ignore = "the part of the second program in the test below"]
fn appends_until_it_is_killed() {
    let mut line = String::new();
    std::io::stdin().read_line(&mut line).expect("a folder");
    if line.is_empty() {
        return;
    }
    let mut store = open(Path::new(line.trim())).expect("a store");
    store.load_cache(1).expect("a cache or none");
    let sitting = store.begin_sitting(Moment(0)).expect("a sitting");
    let mut output = std::io::stdout();
    for number in 1.. {
        let next = attempt(&store, sitting, number);
        let cache = (&next.skill, Some(next.day), b"memory".as_slice());
        store.append(&next, Some(cache)).expect("an append");
        let install = next.id.install;
        if writeln!(output, "saved {install} {sitting} {number}.").is_err() {
            return;
        }
    }
}

#[test]
fn what_was_said_to_be_saved_survives_a_kill() {
    let dir = folder();
    let mut store = open(dir.path()).expect("a store");
    store.rebuild_cache(1, []).expect("an empty cache");
    drop(store);
    let mut dice = Seed(20).dice();
    let mut promised = 0;
    for round in 1..=20 {
        let appender = Appender::start(dir.path());
        let n_wanted = 1 + dice.below(30);
        let mut saved: Vec<AttemptId> = appender.saved.iter().take(n_wanted).collect();
        assert_eq!(saved.len(), n_wanted, "the second program ended by itself");
        if round == 1 {
            let in_use = open(dir.path()).expect_err("a store in use");
            assert!(matches!(in_use, StoreError::InUse { .. }), "{in_use:?}");
        }
        // Some part of an append longer, so that the kill falls anywhere within one.
        let micros = u64::try_from(dice.below(4_000)).expect("a small number");
        if let Ok(id) = appender.saved.recv_timeout(Duration::from_micros(micros)) {
            saved.push(id);
        }
        saved.extend(appender.kill());
        promised += saved.len();

        let mut store = open(dir.path()).expect("the store after a kill");
        let kept = ids(&store);
        let lost: Vec<_> = saved.iter().filter(|id| !kept.contains(id)).collect();
        assert!(lost.is_empty(), "round {round}: {lost:?}");
        // At most the attempt that was being written is there without having been spoken of.
        assert!((promised..=promised + round).contains(&kept.len()));
        let n_kept = u64::try_from(kept.len()).expect("few");
        assert_eq!(store.check(), Ok(n_kept), "round {round}");
        assert!(
            store.load_cache(1).expect("a cache").is_some(),
            "round {round}: attempt and cache are written together"
        );
    }
}
