//! Learners, groups and assignments, from the teacher to the learner and back.

use std::collections::BTreeSet;
use std::fs;
use std::path::Path;

use contrapalma::class::hand_in::{Doubt, Header, LearnerId, Machine, Reading, Writer};
use contrapalma::class::judgement::{Judgement, PhraseId, Ruling};
use contrapalma::class::roster::{Line, Meant};
use contrapalma::label::Label;
use contrapalma::phrase::Level;
use contrapalma::quiz::{Answer, Attempt, AttemptId, Kind, Phase, Skill};
use contrapalma::rhythm::{Feel, Tempo};
use contrapalma::store::{ClassStore, Kin, LiveMark, Store};
use contrapalma::world::{Day, Moment, Seed};
use proptest::prelude::*;
use tempfile::TempDir;

use crate::program::{Ended, Home, kept_in, run};
use crate::school::class_in;

const DAY_MS: i64 = 86_400_000;
const NOW: Moment = Moment(20_500 * DAY_MS);
const DECK: &str =
    "format = 1\nid = \"mine\"\ntitle = \"Mine\"\ntakes = [\"path/plain\", \"path/bass\"]\n";
const SET: &str = "[assignment]\nid = \"week-2\"\nfrom = 2026-03-02\ndue = 2026-03-08\ngoal = { firm = 1, days = 3 }\n";

fn label(text: &str) -> Label {
    Label::new(text).expect("a label")
}

/// Runs a line with these words; what is printed may not drive a terminal.
#[track_caller]
fn done(home: &Home, args: &[&str], code: i32, says: &[&str]) -> Ended {
    let mut command = home.program("");
    command.args(args);
    let ended = run(command, "");
    let text = format!("{}{}", ended.out, ended.err);
    assert_eq!(ended.code, code, "{args:?}: {text}");
    for words in says {
        assert!(text.contains(words), "{args:?}: {words:?} in\n{text}");
    }
    let drives = |c: char| c.is_control() && c != '\n';
    assert!(!text.contains(drives), "{text:?}");
    ended
}

/// The same, the words separated by blanks.
#[track_caller]
fn line(home: &Home, args: &str, code: i32, says: &[&str]) -> Ended {
    done(
        home,
        &args.split_whitespace().collect::<Vec<_>>(),
        code,
        says,
    )
}

/// Answers two questions.
#[track_caller]
fn practise(home: &Home, args: &str, input: &str) -> String {
    let ended = run(home.sitting(args), input);
    assert_eq!(ended.code, 0, "{}", ended.err);
    ended.out
}

#[test]
fn from_the_teacher_to_learners_on_one_machine_and_back() {
    let (teacher, room) = (Home::new(), Home::new());
    teacher.write("week.toml", DECK);
    teacher.write(
        "class.csv",
        "name;group\r\nAnna;Tuesday\r\nBen;Tuesday\r\nCleo;\r\n",
    );
    line(
        &teacher,
        "class roster class.csv",
        0,
        &["3 lines, 3 new", "3 of all lists"],
    );
    line(&teacher, "class roster class.csv", 0, &["3 lines, 0 new"]);
    let set = [
        "class",
        "assign",
        "week.toml",
        "--to",
        "Tuesday",
        "--due",
        "2026-03-08",
        "--goal",
        "firm=1,minutes=20,days=3",
        "--line",
        "Hum \"the\" low notes.",
        "--write",
        "out.toml",
    ];
    done(
        &teacher,
        &set,
        0,
        &[
            "1: Mine, for Tuesday, from 2026-03-02 to 2026-03-08",
            "out.toml",
        ],
    );
    // It is never written over what is there.
    line(
        &teacher,
        "class hand-out 1 --to out.toml",
        2,
        &["out.toml", "nothing was changed"],
    );
    let file = fs::read(teacher.file("out.toml")).expect("a file");
    room.write("out.toml", file);
    for name in ["Anna", "ben"] {
        done(
            &room,
            &["assignment", "out.toml", "--as", name],
            0,
            &["mine: Mine: installed", "first screen"],
        );
    }
    line(&room, "keep learners", 0, &["anna\nben\n"]);
    let told = practise(&room, "--questions 2 --as Anna", "1\n\n2\n");
    for says in [
        "Anna. Monday, 2 March.",
        "Set for you: Mine, due Sunday, 8 March.",
        "Hum \"the\" low notes.",
        "So far 0 of 1 skill firm, 0 of 20 minutes, 0 of 3 days.",
    ] {
        assert!(told.contains(says), "{says:?} in\n{told}");
    }
    let again = practise(&room, "--questions 1 --as anna", "1\n");
    assert!(again.contains("0 of 20 minutes, 1 of 3 days."), "{again}");
    practise(&room, "--questions 1 --as ben", "1\n");
    // Each has a log of their own, and nobody else has one.
    let learners = room.data().join("learners");
    assert_eq!(kept_in(&learners.join("anna")).len(), 3);
    assert_eq!(kept_in(&learners.join("ben")).len(), 1);
    assert!(!room.data().join("practice.db").exists());
    for name in ["anna", "ben"] {
        line(
            &room,
            &format!("hand-in --as {name} --to {name}.gz"),
            0,
            &["attempt"],
        );
        teacher.write(
            &format!("{name}.gz"),
            fs::read(room.file(&format!("{name}.gz"))).expect("a hand-in"),
        );
    }
    // The names with which they began: Anna as she wrote it, ben too.
    line(&teacher, "class collect .", 0, &["Anna (", "ben ("]);
    let listed = line(&teacher, "class learners --group Tuesday --json", 0, &[]);
    let rows: Vec<&str> = listed.out.lines().collect();
    assert_eq!(rows.len(), 2, "{rows:#?}");
    assert!(rows[0].contains("\"name\":\"Anna\"") && rows[0].contains("\"attempts\":3"));
    assert!(
        rows[1].contains("\"name\":\"ben\"") && rows[1].contains("\"attempts\":1"),
        "{rows:#?}"
    );
    // Ben did not capitalise his name, and yet the list means him; the teacher writes it as it is.
    line(&teacher, "class call ben Ben", 0, &["is called Ben"]);
    let listed = line(&teacher, "class learners --csv", 0, &[]);
    assert!(listed.out.contains("\"Ben\","), "{}", listed.out);
    assert!(listed.out.contains("\"ben\""), "{}", listed.out);
    assert!(
        listed
            .out
            .contains("\"Cleo\",\"not handed in yet\",\"no group\""),
        "{}",
        listed.out
    );
    line(&teacher, "class group", 0, &["Tuesday  2         0"]);
    line(
        &teacher,
        "class group Tuesday --out Ben",
        0,
        &["Tuesday: 1 learner"],
    );
    line(
        &teacher,
        "class group Tuesday --put Ben",
        0,
        &["Tuesday: 2 learners"],
    );
    line(
        &teacher,
        "class group Tuesday --put Dora",
        2,
        &["no learner has this number or name"],
    );
    line(&teacher, "class withdraw 1", 0, &["1: withdrawn"]);
    line(
        &teacher,
        "class withdraw 1",
        2,
        &["nothing of this number is set"],
    );
    line(
        &teacher,
        "class hand-out 2 --to more.toml",
        2,
        &["nothing of this number is set"],
    );
    line(&teacher, "class assignments", 0, &["Nothing is set."]);
    line(&teacher, "class assignments --all", 0, &["withdrawn"]);
    check_that_it_is_taken_back(&teacher, &room);
    let id = line(&room, "assignment --as ben", 0, &[]).out;
    let id = id.split(' ').next().expect("a name").to_owned();
    line(
        &room,
        &format!("assignment --as ben --put-away {id}"),
        0,
        &["put away"],
    );
    line(
        &room,
        &format!("assignment --as ben --put-away {id}"),
        2,
        &["nothing of this name is set"],
    );
    line(&room, "assignment --as ben", 0, &["Nothing is set."]);
    line(
        &teacher,
        "class group Tuesday --disband",
        0,
        &["taken away"],
    );
    line(&teacher, "class group", 0, &["No groups"]);
}

/// The first thing that was set was withdrawn: its own file says so to Anna, the next one to Ben.
fn check_that_it_is_taken_back(teacher: &Home, room: &Home) {
    let was_set = ["Mine, from 2026-03-02 to 2026-03-08"];
    line(room, "assignment --as Anna", 0, &was_set);
    line(
        teacher,
        "class hand-out 1 --to back.toml",
        0,
        &["for Tuesday, and says that it is taken back"],
    );
    let set =
        "class assign week.toml --to Tuesday --due 2026-03-15 --goal days=2 --write next.toml";
    let next = line(teacher, set, 0, &["2: Mine, for Tuesday"]);
    assert!(!next.out.contains("taken back"), "{}", next.out);
    for file in ["back.toml", "next.toml"] {
        room.write(file, fs::read(teacher.file(file)).expect("a file"));
    }
    let gone = "Taken back, and not on the first screen any more: ";
    line(
        room,
        "assignment back.toml --as Anna",
        0,
        &["your teacher took it back", gone, was_set[0]],
    );
    // The file of before, opened late, does not bring it back.
    let late = line(room, "assignment out.toml --as Anna", 0, &["took it back"]);
    assert!(!late.out.contains(gone), "{}", late.out);
    line(room, "assignment --as Anna", 0, &["Nothing is set."]);
    let told = practise(room, "--questions 1 --as Anna", "1\n");
    assert!(!told.contains("Set for you"), "{told}");
    line(
        room,
        "assignment next.toml --as ben",
        0,
        &["first screen now", gone, was_set[0]],
    );
    let kept = line(room, "assignment --as ben", 0, &["to 2026-03-15: 2 days"]);
    assert_eq!(kept.out.lines().count(), 1, "{}", kept.out);
    // An earlier order of the same files comes to the same.
    line(room, "assignment back.toml --as Dora", 0, &["took it back"]);
    line(room, "assignment out.toml --as Dora", 0, &["took it back"]);
    line(room, "assignment --as Dora", 0, &["Nothing is set."]);
}

#[test]
fn whoever_is_new_on_a_machine_is_greeted_beside_those_who_are_known() {
    let room = Home::new();
    let first = "Ana Ruiz: a new learner begins here; nobody else practises here by --as\n";
    let mut sitting = room.sitting("--questions 1");
    sitting.args(["--as", "Ana Ruiz"]);
    let told = run(sitting, "1\n");
    assert_eq!((told.code, told.err.as_str()), (0, first));
    let told = run(room.sitting("--questions 1 --as Anna"), "1\n");
    let second = "Anna: a new learner begins here; known here by --as: ana ruiz\n";
    assert_eq!((told.code, told.err.as_str()), (0, second));
    // Not those who are known, however they write themselves, and not who only looks.
    for args in ["--questions 1 --as anna", "--questions 1"] {
        assert_eq!(run(room.sitting(args), "1\n").err, "", "{args}");
    }
    let looked = line(&room, "keep learners --as Ben", 0, &["ana ruiz\nanna\n"]);
    assert_eq!(looked.err, "");
}

#[test]
fn a_live_mark_is_kept_by_learner_skill_and_day() {
    let home = Home::new();
    practise(&home, "--questions 1", "1\n");
    line(&home, "hand-in --name Anna --to a.gz", 0, &[]);
    line(&home, "class collect a.gz", 0, &[]);
    let heard = [
        "class",
        "heard",
        "Anna",
        "path/bass",
        "--note",
        "clean, <b>slow</b>",
    ];
    done(&home, &heard, 0, &["path/bass: heard live on 2026-03-02"]);
    line(
        &home,
        "class heard Anna path/bass --on 2026-03-01",
        0,
        &["2026-03-01"],
    );
    line(
        &home,
        "class heard Anna path/bass --on 2026-03-03",
        2,
        &["a day to come"],
    );
    line(
        &home,
        "class heard Anna ../bass",
        2,
        &["a skill such as path/bass"],
    );
    let listed = line(&home, "class heard --csv", 0, &[]).out;
    assert_eq!(listed.lines().count(), 3, "{listed}");
    assert!(
        listed.contains("\"path/bass\",\"2026-03-02\",\"clean, <b>slow</b>\""),
        "{listed}"
    );
    line(
        &home,
        "class heard Anna path/bass --take-back",
        0,
        &["taken back"],
    );
    line(
        &home,
        "class heard Anna path/bass --take-back",
        2,
        &["no live mark of 2026-03-02"],
    );
    assert_eq!(
        line(&home, "class heard Anna --csv", 0, &[])
            .out
            .lines()
            .count(),
        2
    );
}

/// The phrase of the first attempt in a store.
fn first_phrase(dir: &Path) -> Attempt {
    let store = Store::open(dir, Seed(0), Moment(0)).expect("a store");
    let mut attempts = Vec::new();
    store
        .attempts(|attempt| attempts.push(attempt))
        .expect("a log");
    attempts.swap_remove(0)
}

#[test]
fn what_was_withdrawn_is_never_asked_again() {
    // The same seed and empty log ask the same phrase first.
    let asks = |prepare: &dyn Fn(&Home)| {
        let home = Home::new();
        prepare(&home);
        practise(&home, "--deck mine.toml --questions 1", "1\n");
        first_phrase(&home.data())
    };
    let deck = |home: &Home| drop(home.write("mine.toml", DECK));
    let first = asks(&deck);
    let again = asks(&deck);
    assert_eq!((first.seed, &first.skill), (again.seed, &again.skill));
    for (list, answer, is_asked) in [
        ("withdrawn", "", false),
        ("overruled", ": feel both", false),
        ("upheld", "", true),
    ] {
        let phrase = PhraseId::of(&first);
        let judged = format!(
            "{DECK}{SET}[judged]\nas-of = \"2026-03-02T07:00:00Z\"\n{list} = [\"{phrase}{answer}\"]\n"
        );
        let other = asks(&|home| {
            deck(home);
            home.write("set.toml", &judged);
            line(home, "assignment set.toml --seed 5", 0, &["one phrase"]);
        });
        assert_eq!(other.seed == first.seed, is_asked, "{list}");
    }
}

/// The phrase of a doubt as a sound, with what was said of it.
#[track_caller]
fn check_that_it_is_heard(teacher: &Home, name: &str) {
    let hear = format!("class disputes --hear {name} --wav doubt.wav");
    let says = [
        "doubt.wav: ",
        "label feel ",
        "answered feel ",
        "as it was asked",
    ];
    line(teacher, &hear, 0, &says);
    let sound = fs::read(teacher.file("doubt.wav")).expect("a sound");
    let mut reader = hound::WavReader::new(sound.as_slice()).expect("a WAV file");
    let seconds = f64::from(reader.duration()) / f64::from(reader.spec().sample_rate);
    let loudest = reader
        .samples::<i16>()
        .map(|sample| sample.expect("a sample").unsigned_abs())
        .max();
    assert!((4.0..120.0).contains(&seconds), "{seconds}");
    assert!(loudest > Some(3_000), "{loudest:?}");
    line(teacher, &hear, 2, &["doubt.wav: found a file"]);
    let other = "class disputes --hear 0000000000000001-1-1 --wav other.wav";
    line(
        teacher,
        other,
        2,
        &["no doubt about an attempt of this name"],
    );
}

#[test]
fn what_is_withdrawn_without_a_doubt_is_listed() {
    let (learner, teacher) = (Home::new(), Home::new());
    practise(&learner, "--questions 1", "1\n\n");
    let first = first_phrase(&learner.data());
    hand_over(&learner, "Anna", &teacher);
    let id = first.id;
    let judge = format!(
        "class judge {:016x}-{}-{} --withdrawn",
        id.install, id.sitting, id.number
    );
    line(&teacher, &judge, 0, &["withdrawn"]);
    line(&teacher, "class disputes", 0, &["Nothing is to be judged."]);
    let seed = first.seed.0.to_string();
    let says = ["withdrawn", &seed, &*first.skill.0];
    line(&teacher, "class disputes --all", 0, &says);
}

/// What was practised goes to the teacher, under this name.
#[track_caller]
fn hand_over(learner: &Home, name: &str, teacher: &Home) {
    done(
        learner,
        &["hand-in", "--all", "--name", name, "--to", "a.gz"],
        0,
        &[],
    );
    teacher.write("a.gz", fs::read(learner.file("a.gz")).expect("a hand-in"));
    line(teacher, "class collect a.gz", 0, &["new attempt"]);
}

#[test]
fn whoever_is_called_otherwise_stays_in_the_groups_of_lists() {
    let (learner, teacher) = (Home::new(), Home::new());
    practise(&learner, "--questions 1", "1\n\n");
    hand_over(&learner, "Óscar", &teacher);
    teacher.write("class.csv", "name,group\nóscar,Tuesday\nAnna,TUESDAY\n");
    let says = [
        "2 lines, 2 new; 1 of all lists has not",
        "0 stand for several",
    ];
    line(&teacher, "class roster class.csv", 0, &says);
    line(
        &teacher,
        "class group tuesday",
        0,
        &["Tuesday: 1 learner\n"],
    );
    let call = done(
        &teacher,
        &["class", "call", "ÓSCAR", "The Ó"],
        0,
        &["The Ó"],
    );
    assert_eq!(call.err, "");
    line(
        &teacher,
        "class group Tuesday",
        0,
        &["Tuesday: 1 learner\n"],
    );
    line(&teacher, "class learners --group tUESDAY", 0, &["The Ó"]);
    line(&teacher, "class report --group tuesday", 0, &["The Ó"]);
    // By either name he is himself, and there is one group however it is written.
    done(
        &teacher,
        &["class", "group", "TUESDAY", "--put", "óscar"],
        0,
        &["1 learner\n"],
    );
    line(&teacher, "class group", 0, &["Tuesday  1         1"]);
    done(
        &teacher,
        &["class", "group", "TUESDAY", "--out", "the ó"],
        0,
        &["0 learners"],
    );
}

#[test]
fn a_slip_makes_no_group_no_skill_and_no_store() {
    let (learner, teacher) = (Home::new(), Home::new());
    practise(&learner, "--questions 1", "1\n\n");
    hand_over(&learner, "Anna", &teacher);
    let named = ["no group is called \"Tuseday\"", "there are Tuesday"];
    line(
        &teacher,
        "class group Tuesday",
        2,
        &["no group is called", "--new"],
    );
    line(
        &teacher,
        "class group Tuesday --new",
        0,
        &["0 learners, a new group"],
    );
    for args in ["class group Tuseday", "class group Tuseday --disband"] {
        line(&teacher, args, 2, &named);
    }
    line(&teacher, "class group Tuseday --out Anna", 2, &named);
    line(&teacher, "class learners --group Tuseday", 2, &named);
    line(&teacher, "class report --group Tuseday", 1, &named);
    let groups = line(&teacher, "class group --csv", 0, &["Tuesday"]);
    assert_eq!(groups.out.lines().count(), 2, "{}", groups.out);

    let says = [
        "path/nope: no deck that is here has this skill",
        "decks show path",
    ];
    line(&teacher, "class heard Anna path/nope", 2, &says);
    line(&teacher, "class heard Anna nope/x", 2, &["decks list"]);
    line(&teacher, "class heard Anna path/bass", 0, &["heard live"]);

    let says = ["none.db: there is no class store yet"];
    for what in ["learners", "group", "assignments", "disputes", "heard"] {
        line(
            &teacher,
            &format!("class {what} --class-store none.db"),
            4,
            &says,
        );
    }
    assert!(!teacher.file("none.db").exists());
}

#[test]
fn what_is_wrong_with_an_assignment_is_said_before_it_is_set() {
    let teacher = Home::new();
    teacher.write("week.toml", DECK);
    teacher.write("there.toml", "somebody's");
    line(&teacher, "class group Tuesday --new", 0, &[]);
    let set = |rest: &str, code, says: &[&str]| {
        line(
            &teacher,
            &format!("class assign week.toml --to tuesday {rest}"),
            code,
            says,
        )
    };
    let fine = "--due 2026-03-08 --goal firm=2";
    set(
        &format!("{fine} --write there.toml"),
        2,
        &["nothing was changed"],
    );
    set(
        &format!("{fine} --write no/folder.toml"),
        4,
        &["no/folder.toml"],
    );
    for (options, says) in [
        (
            "--due 2025-12-06 --goal days=1",
            "--due 2025-12-06: found a day",
        ),
        (
            "--due 2026-03-08 --goal firm=99",
            "--goal firm=99: found more skills",
        ),
    ] {
        let ended = set(options, 2, &[says, "nothing was set"]);
        assert!(!ended.err.contains("line "), "{}", ended.err);
    }
    let ended = done(
        &teacher,
        &[
            "class",
            "assign",
            "week.toml",
            "--to",
            "Tuesday",
            "--due",
            "2026-03-08",
            "--goal",
            "days=1",
            "--line",
            " ",
        ],
        2,
        &["a short text on one line was expected"],
    );
    assert!(!ended.err.contains("a name"), "{}", ended.err);
    line(
        &teacher,
        "class hand-out x --to a.toml",
        2,
        &["a number from 1 on was expected"],
    );
    line(&teacher, "class assignments", 0, &["Nothing is set."]);
    set(
        &format!("{fine} --write new.toml"),
        0,
        &["1: Mine, for Tuesday", "new.toml: for Tuesday"],
    );
}

#[test]
fn an_assignment_says_for_whom_it_is_and_late_it_chooses_no_deck() {
    let (teacher, room) = (Home::new(), Home::new());
    teacher.write("week.toml", DECK);
    line(&teacher, "class group Anna --new", 0, &[]);
    let set = "class assign week.toml --to Anna --goal days=1 --write";
    line(
        &teacher,
        &format!("{set} now.toml --due 2026-03-08"),
        0,
        &[],
    );
    line(
        &teacher,
        &format!("{set} late.toml --from 2026-02-01 --due 2026-02-08"),
        0,
        &[],
    );
    for file in ["now.toml", "late.toml"] {
        room.write(file, fs::read(teacher.file(file)).expect("a file"));
    }
    let chosen = |name: &str| {
        let dir = room.data().join("learners").join(name);
        let store = Store::open(&dir, Seed(0), Moment(0)).expect("a store");
        store.deck().expect("read")
    };
    let says = ["It was set for Anna.", "due before today"];
    line(&room, "assignment late.toml --as ben", 0, &says);
    assert_eq!(chosen("ben"), None);
    line(
        &room,
        "assignment now.toml --as ben",
        0,
        &["It was set for Anna."],
    );
    assert_eq!(chosen("ben").as_deref(), Some("mine"));
}

#[test]
fn a_doubt_is_judged_and_the_learner_hears_of_it() {
    let (learner, teacher) = (Home::new(), Home::new());
    practise(&learner, "--questions 1", "1\nx\n\n");
    let first = first_phrase(&learner.data());
    let aside = || {
        let store = Store::open(&learner.data(), Seed(0), Moment(0)).expect("a store");
        store
            .is_disputed(&first.skill, first.seed, first.generator)
            .expect("read")
    };
    assert!(aside());
    line(&learner, "hand-in --name Anna --to a.gz", 0, &[]);
    teacher.write("a.gz", fs::read(learner.file("a.gz")).expect("a hand-in"));
    line(&teacher, "class collect a.gz", 0, &["1 new"]);
    let listed = line(&teacher, "class disputes --json", 0, &["\"name\":\"Anna\""]).out;
    let id = first.id;
    let name = format!("{:016x}-{}-{}", id.install, id.sitting, id.number);
    assert!(
        listed.contains(&name) && listed.contains(&first.seed.0.to_string()),
        "{listed}"
    );
    let judge = |how: &str, code, says| {
        line(
            &teacher,
            &format!("class judge {name} {how}"),
            code,
            &[says],
        )
    };
    judge("", 2, "required");
    judge("--upheld --withdrawn", 2, "cannot be used with");
    judge(
        "--overruled tango",
        2,
        "found no answer of the kind of \"feel ",
    );
    judge(
        &format!("--overruled {}", first.truth.to_text().replace("feel ", "")),
        2,
        "found the label",
    );
    line(
        &teacher,
        "class judge 0000000000000001-1-1 --upheld",
        2,
        &["no attempt of this name"],
    );
    line(
        &teacher,
        "class judge 1-1-1 --upheld",
        2,
        &["an attempt such as"],
    );
    check_that_it_is_heard(&teacher, &name);
    judge("--overruled both", 0, "overruled: feel both");
    line(&teacher, "class disputes", 0, &["Nothing is to be judged."]);
    line(
        &teacher,
        "class disputes --all",
        0,
        &["overruled: feel both"],
    );
    // What counts in the class is the right answer; what was handed in stays as it was.
    let class = || {
        let store = class_in(&teacher.data());
        let mut attempts = Vec::new();
        let who = store.learners().expect("learners")[0].learner;
        store
            .attempts(who, |attempt| attempts.push(attempt))
            .expect("attempts");
        attempts
    };
    let as_judged = &class()[0];
    assert_eq!(
        (as_judged.truth, as_judged.right),
        (Answer::Feel(Feel::Both), false)
    );
    line(
        &teacher,
        "class collect a.gz",
        0,
        &["0 new attempts, 1 already known"],
    );
    // And the learner's own memory is reckoned by it, from the next assignment on.
    let set = "class assign check --to Anna --due 2026-03-09 --goal days=2 --write b.toml";
    line(&teacher, set, 0, &["b.toml"]);
    learner.write("b.toml", fs::read(teacher.file("b.toml")).expect("a file"));
    line(
        &learner,
        "assignment b.toml",
        0,
        &["it comes with the program", "one phrase"],
    );
    assert!(aside());
    let store = Store::open(&learner.data(), Seed(0), Moment(0)).expect("a store");
    let mut answers = Vec::new();
    store
        .answers(|attempt| answers.push(attempt))
        .expect("a log");
    assert_eq!(
        (answers[0].truth, answers[0].right),
        (Answer::Feel(Feel::Both), false)
    );
    drop(store);
    judge("--upheld", 0, "upheld");
    line(&teacher, "class hand-out 1 --to c.toml", 0, &["c.toml"]);
    let later = fs::read_to_string(teacher.file("c.toml")).expect("a file");
    // A file that is opened after a later one takes nothing back.
    learner.write(
        "c.toml",
        later.replace("as-of = \"2026-03-02T", "as-of = \"2026-03-03T"),
    );
    for file in ["c.toml", "b.toml"] {
        line(&learner, &format!("assignment {file}"), 0, &[]);
        assert!(!aside(), "{file}");
    }
    judge("--withdrawn", 0, "withdrawn");
    assert_eq!(class(), []);
    assert_eq!(learner.kept().len(), 1);
}

/// A file that is refused with these words, and that changes nothing.
#[track_caller]
fn check_refused(bytes: impl AsRef<[u8]>, code: i32, says: &[&str]) {
    let home = Home::new();
    home.write("set.toml", format!("{DECK}{SET}"));
    line(&home, "assignment set.toml", 0, &[]);
    home.write("bad.toml", bytes);
    let before = home.files();
    line(&home, "assignment bad.toml", code, says);
    let after = home.files();
    let of_data = |files: &[(std::path::PathBuf, Vec<u8>)]| {
        let kept = files
            .iter()
            .filter(|(path, _)| path.extension().is_none_or(|e| e != "log"));
        kept.cloned().collect::<Vec<_>>()
    };
    assert!(of_data(&before) == of_data(&after), "something was changed");
}

#[test]
fn files_of_strangers_are_refused_whole() {
    let with = |old: &str, new: &str| format!("{DECK}{SET}").replace(old, new);
    check_refused(
        with("takes", "takse"),
        1,
        &["line 4, column 1", "nothing was changed"],
    );
    check_refused(
        with("\"week-2\"", "\"../../week\""),
        1,
        &["line 6, column 6", "found \"../../week\""],
    );
    check_refused(
        with("id = \"mine\"", "id = \"../mine\""),
        1,
        &["line 2, column 6"],
    );
    check_refused(
        with("id = \"mine\"", "id = \"own\""),
        1,
        &["under which your own recordings are kept"],
    );
    check_refused(
        with("id = \"mine\"", "id = \"path\""),
        1,
        &["comes with the program"],
    );
    check_refused(with("due", "line = \"\\u001b[2J\"\ndue"), 1, &["U+001B"]);
    check_refused(with("firm = 1", "firm = 3"), 1, &["at most 2"]);
    check_refused(DECK, 1, &["an assignment under [assignment]"]);
    check_refused(
        format!("{DECK}{SET}# {}", "x".repeat(256 << 10)),
        3,
        &["more than 262144 bytes"],
    );
    check_refused(b"format = 1\n# \xff\n", 3, &["byte 14 is no UTF-8"]);
    check_refused("\0\0\0", 1, &["line 1"]);
}

#[test]
fn names_lead_nowhere_and_are_shown_harmlessly() {
    let home = Home::new();
    for name in ["../../out", "/etc/passwd", "<script>", "=1+1", "a\u{202e}b"] {
        let mut command = home.program("hand-in");
        command.args(["--as", name]);
        let ended = run(command, "");
        let is_label = !name.contains('\u{202e}');
        assert_eq!(
            ended.code,
            if is_label { 1 } else { 2 },
            "{name}: {}",
            ended.err
        );
    }
    let places: BTreeSet<String> = home
        .files()
        .into_iter()
        .filter_map(|(path, _)| {
            let rest = path
                .strip_prefix(home.path())
                .expect("below home")
                .to_owned();
            rest.components()
                .nth(4)
                .map(|part| part.as_os_str().to_string_lossy().into_owned())
        })
        .collect();
    let expected = [
        "_2e_2e_2f_2e_2e_2fout",
        "_2fetc_2fpasswd",
        "_3cscript_3e",
        "_3d1_2b1",
    ];
    assert_eq!(places, expected.map(str::to_owned).into());
    home.write("class.csv", "name,group\n=1+1,<b>\n../x,@sum\n");
    line(&home, "class roster class.csv", 0, &["2 new"]);
    let csv = line(&home, "class learners --csv", 0, &[]).out;
    assert!(
        csv.contains("\"'=1+1\",") && csv.contains("\"'@sum\""),
        "{csv}"
    );
    home.write("class.csv", "name,group\nAnna\nBen,\u{1b}[2J\n\n");
    let before = home.files();
    let faults = [
        "class.csv: line 2: found 1 fields",
        "class.csv: line 3: found the character U+001B",
    ];
    line(&home, "class roster class.csv", 3, &faults);
    home.write("class.csv", "x".repeat(2 << 20));
    line(
        &home,
        "class roster class.csv",
        3,
        &["more than 1048576 bytes"],
    );
    home.write("class.csv", "name,group\nAnna\nBen,\u{1b}[2J\n\n");
    assert!(before == home.files());
}

fn attempt(install: u64, number: u32) -> Attempt {
    let at = 20_000 * DAY_MS + i64::from(number) * 60_000;
    let truth = if number.is_multiple_of(2) {
        Feel::Threes
    } else {
        Feel::Twos
    };
    Attempt {
        id: AttemptId {
            install,
            sitting: 1,
            number,
        },
        skill: Skill("path/bass".into()),
        kind: Kind::NameFeel,
        at: Moment(at),
        wall: Moment(at),
        since_start_ms: number * 60_000,
        offset_min: 0,
        day: Day(20_000),
        block: 1,
        phase: Phase::Probe,
        level: Level::of_tenths(50),
        criterion: Level::of_tenths(50),
        tempo: Tempo::of_pulses_a_minute(150).expect("in range"),
        alternatives: 2,
        truth: Answer::Feel(truth),
        answer: Answer::Feel(Feel::Twos),
        right: truth == Feel::Twos,
        heard_tenths: 20,
        answer_ms: 900,
        replays: 0,
        taps: vec![],
        timing: None,
        seed: Seed(u64::from(number)),
        generator: 2,
        phrase: String::new(),
    }
}

/// A hand-in of a learner with a machine of their own, who doubts the first of their phrases.
fn hand_in(learner: u64, name: &str, numbers: &[u32]) -> Vec<u8> {
    let n = u64::try_from(numbers.len()).expect("few");
    let header = Header {
        program: label("0.1.0"),
        learner: LearnerId(learner),
        also: vec![],
        name: label(name),
        machines: vec![Machine {
            install: learner,
            n_made: n,
        }],
        decks: vec![label("path")],
        days: None,
        n_attempts: n,
        n_disputes: 1,
        made: Moment(1),
    };
    let mut writer = Writer::new(Vec::new(), header).expect("a writer");
    for number in numbers {
        writer.attempt(&attempt(learner, *number)).expect("written");
    }
    let first = attempt(learner, numbers[0]);
    writer
        .dispute(&Doubt {
            attempt: first.id,
            at: first.at,
            note: Some(label("hm")),
        })
        .expect("written");
    writer.finish().expect("a whole file")
}

fn collect(store: &mut ClassStore, file: &[u8]) {
    store
        .collect(Reading::new(file, NOW).expect("a hand-in"), Kin::Two)
        .expect("taken");
}

fn folder() -> TempDir {
    tempfile::tempdir().expect("a folder for a test")
}

/// Everything that a class store tells of attempts, groups and doubts.
fn told(store: &ClassStore) -> String {
    let mut told = format!(
        "{:?}{:?}",
        store.roster().expect("a roster"),
        store.disputes().expect("doubts")
    );
    for learner in store.learners().expect("learners") {
        store
            .attempts(learner.learner, |attempt| {
                told.push_str(&format!("{attempt:?}"));
            })
            .expect("attempts");
    }
    told
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(8))]

    #[test]
    fn judging_and_lists_may_come_before_or_after_hand_ins(
        one in proptest::collection::btree_set(1_u32..9, 1..6),
        two in proptest::collection::btree_set(1_u32..9, 1..6),
        rulings in proptest::collection::vec((1_u32..9, 0_u8..3), 0..6),
    ) {
        let of = |learner, name, numbers: &BTreeSet<u32>| {
            hand_in(learner, name, &numbers.iter().copied().collect::<Vec<_>>())
        };
        let files = [of(7, "Anna", &one), of(8, "Ben", &two)];
        let lines = [("Anna", "3a"), ("Ben", "3a"), ("Cleo", "3b")].map(|(name, group)| Line {
            name: label(name),
            group: Some(label(group)),
        });
        let judge = |store: &mut ClassStore| {
            for (number, ruling) in &rulings {
                let ruling = [Ruling::Upheld, Ruling::Withdrawn, Ruling::Overruled(Answer::Feel(Feel::Both))]
                    [usize::from(*ruling)];
                let phrase = PhraseId::of(&attempt(7, *number));
                let judgement = Judgement { phrase, ruling, at: NOW, note: None };
                store.judge(&judgement).expect("judged");
            }
        };
        let mut states = Vec::new();
        for is_first in [true, false] {
            let folder = folder();
            let mut store = class_in(folder.path());
            if is_first {
                judge(&mut store);
                store.list(&lines).expect("listed");
            }
            for file in if is_first { [&files[0], &files[1]] } else { [&files[1], &files[0]] } {
                collect(&mut store, file);
                collect(&mut store, file);
            }
            if !is_first {
                store.list(&lines).expect("listed");
                judge(&mut store);
            }
            let before = told(&store);
            drop(store);
            prop_assert_eq!(&told(&class_in(folder.path())), &before);
            states.push(before);
        }
        prop_assert_eq!(&states[0], &states[1]);
    }
}

#[test]
fn what_is_known_of_a_learner_stays_with_them_when_two_are_one() {
    let folder = folder();
    let mut store = class_in(folder.path());
    collect(&mut store, &hand_in(7, "Anna", &[1]));
    collect(&mut store, &hand_in(8, "Annie", &[1]));
    let (seven, eight) = (LearnerId(7), LearnerId(8));
    store
        .call(eight, Some(&label("Anna R.")), NOW)
        .expect("called");
    store
        .regroup(&label("3a"), &[eight], &[])
        .expect("in a group");
    let mark = LiveMark {
        learner: eight,
        skill: Skill("path/bass".into()),
        day: Day(1),
        note: None,
    };
    store.mark_live(&mark).expect("marked");
    // A hand-in of the eighth with the seventh's machine, which the teacher knows to be hers.
    let mut header = Reading::new(&hand_in(8, "Annie", &[1]), NOW)
        .expect("a hand-in")
        .header()
        .clone();
    (
        header.machines[0].install,
        header.n_attempts,
        header.n_disputes,
    ) = (7, 0, 0);
    let file = Writer::new(Vec::new(), header)
        .expect("a writer")
        .finish()
        .expect("a file");
    store
        .collect(Reading::new(&file, NOW).expect("a hand-in"), Kin::One)
        .expect("taken");
    let learners = store.learners().expect("learners");
    assert_eq!(learners.len(), 1);
    assert_eq!(
        (learners[0].learner, learners[0].name.as_str()),
        (seven, "Anna R.")
    );
    let roster = store.roster().expect("a roster");
    assert_eq!(roster.groups_of(seven), [label("3a")]);
    assert_eq!(roster.meant(&label("Anna R.")), Meant::One(seven));
    assert_eq!(store.live_marks().expect("marks")[0].learner, seven);
    store
        .regroup(&label("3a"), &[], &[seven])
        .expect("out again");
    assert_eq!(
        store.roster().expect("a roster").groups_of(seven),
        [] as [Label; 0]
    );
    store.call(seven, None, NOW).expect("called");
    assert_eq!(store.learners().expect("learners")[0].name.as_str(), "Anna");
}

#[test]
fn a_class_store_of_the_first_form_is_raised_and_copied() {
    let folder = folder();
    let path = folder.path().join("class.db");
    let old = rusqlite::Connection::open(&path).expect("a database");
    old.execute_batch(include_str!("../../migrations/class/001-class.sql"))
        .expect("the first form");
    old.execute_batch(
        "INSERT INTO learner (learner, name, named_ms) VALUES (-9223372036854775801, 'Anna', 1);
         PRAGMA user_version = 1;",
    )
    .expect("a learner");
    drop(old);
    let mut store = ClassStore::open(&path).expect("a class store");
    let learners = store.learners().expect("learners");
    assert_eq!(
        (learners[0].learner, learners[0].name.as_str()),
        (LearnerId(7), "Anna")
    );
    store
        .regroup(&label("3a"), &[LearnerId(7)], &[])
        .expect("in a group");
    assert!(folder.path().join("class.db.before-002").is_file());
}
