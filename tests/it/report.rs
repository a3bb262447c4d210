//! The teacher's path, by the built program alone: a deck is written and checked, learners practise it
//! and hand in, the teacher collects, reads the report in all its forms and hears the worst moments.

use std::fs;
use std::path::PathBuf;

use serde_json::Value;

use crate::program::{Ended, Home, run};
use crate::school::url_of;

const DECK: &str = r#"
format = 1
id = "tuesday-group"
title = "Tuesday group"
order = "free"

[[exercise]]
id = "low-notes"
title = "By the low notes"
asks = "name-feel"
line = "Listen to the low notes."
families = ["bass-strums", "arpeggio"]
feels = ["threes", "twos"]
tempo = [120, 220]
cycles = [3, 4]
level = { easiest = 8, criterion = 5, hardest = 2 }

[[exercise]]
id = "came-in"
title = "Where did it come in?"
asks = "find-start"
by = "count"
line = "It may come in on any count."
families = ["plain"]
feels = ["threes", "twos"]
entry = ["any"]
tempo = [120, 180]
cycles = [3, 3]
level = { easiest = 8, criterion = 5, hardest = 3 }

[[exercise]]
id = "hold"
title = "Hold the threes"
asks = "clap"
line = "Clap {1-4} to the end."
families = ["plain"]
feels = ["threes"]
clappings = ["1-4"]
guide = "first"
tempo = [120, 180]
cycles = [4, 4]
level = { easiest = 8, criterion = 5, hardest = 3 }
"#;

/// A name that wants to be markup and more.
const HOSTILE: &str = "=A1<script>alert(1)</script>";

#[track_caller]
fn done(home: &Home, args: &str, input: &str, code: i32) -> Ended {
    let ended = run(home.program(args), input);
    assert_eq!(ended.code, code, "{args}: {}{}", ended.out, ended.err);
    ended
}

/// A learner who always gives the first answer, and taps once where claps are asked; what was read, and
/// the hand-in.
fn practised(name: &str, seed: u32) -> (String, Vec<u8>) {
    let home = Home::new();
    home.write("deck.toml", DECK);
    let sit = format!("sit --plain --silent --seed {seed} --questions 12 --deck deck.toml");
    // Every question takes what fits it: a number, or a tap and that the taps are done.
    let read = done(&home, &sit, &"1\n\nd\n\n".repeat(40), 0).out;
    done(&home, &format!("hand-in --name {name} --to sent.gz"), "", 0);
    let sent = fs::read(home.file("sent.gz")).expect("a hand-in");
    (read, sent)
}

/// What the learner read after each answer: the name of the attempt is a line of its own.
fn verdicts(read: &str) -> Vec<&str> {
    let is_verdict = |line: &&str| line.starts_with("Right: ") || line.starts_with("Not this time");
    read.lines().filter(is_verdict).collect()
}

#[test]
fn a_deck_that_was_set_is_known_without_its_file() {
    let teacher = Home::new();
    teacher.write("deck.toml", DECK);
    let set = "class assign deck.toml --to tuesday --due 2026-03-08 --goal days=1";
    done(&teacher, "class group tuesday --new", "", 0);
    done(&teacher, set, "", 0);
    fs::remove_file(teacher.file("deck.toml")).expect("a file");
    teacher.write("anna.gz", practised("Anna", 5).1);
    done(&teacher, "class collect anna.gz", "", 0);
    let text = done(&teacher, "class report", "", 0).out;
    assert!(text.contains("By the low notes"), "{text}");
    assert!(!text.contains("tuesday-group/low-notes"), "{text}");
    done(&teacher, "class report --moments sounds", "", 0);
    let told = fs::read_to_string(teacher.file("sounds/moments.txt")).expect("a file");
    assert!(!told.contains("no deck that is here"), "{told}");
}

#[test]
fn from_writing_a_deck_to_hearing_a_mistake() {
    let teacher = Home::new();
    teacher.write("deck.toml", DECK);
    done(&teacher, "decks check deck.toml", "", 0);
    // On a server there is a store as soon as somebody looks for it.
    if url_of(&teacher.data()).is_none() {
        let ended = done(&teacher, "class report", "", 4);
        assert!(ended.err.contains("class collect"), "{}", ended.err);
    }
    let (anna, sent) = practised("Anna", 5);
    teacher.write("anna.gz", sent);
    let (other, sent) = practised(HOSTILE, 6);
    teacher.write("other.gz", sent);
    let collected = done(&teacher, "class collect anna.gz other.gz --json", "", 0).out;
    let collected: Vec<Value> = collected
        .lines()
        .map(|line| serde_json::from_str(line).expect("an object a line"))
        .collect();
    assert_eq!(collected[0]["new"], 12);
    assert_eq!(collected[1]["name"], HOSTILE);
    let again = done(&teacher, "class collect anna.gz other.gz --csv", "", 0).out;
    let second = again.lines().nth(2).expect("a head and two rows");
    assert!(
        second.contains(",\"'=A1<script>alert(1)</script>\",0,12,0,"),
        "{again}"
    );

    let text = done(&teacher, "class report --deck deck.toml", "", 0).out;
    for words in [
        "2 learners, by name",
        "Anna",
        HOSTILE,
        "By the low notes",
        "Firm: an exercise that is known so well",
    ] {
        assert!(text.contains(words), "{words}: {text}");
    }
    assert!(
        text.lines().all(|line| line.chars().count() <= 80),
        "{text}"
    );
    let one = done(
        &teacher,
        "class report --deck deck.toml --learner anna",
        "",
        0,
    )
    .out;
    assert!(
        one.contains("1 learner,") && !one.contains("script"),
        "{one}"
    );
    let none = done(&teacher, "class report --learner Zoe", "", 1);
    assert!(
        none.err.contains("no learner is called \"Zoe\""),
        "{}",
        none.err
    );

    let object = done(&teacher, "class report --deck deck.toml --json -", "", 0).out;
    let object: Value = serde_json::from_str(&object).expect("it is JSON");
    for (learner, read) in object["learners"]
        .as_array()
        .expect("two")
        .iter()
        .zip([&other, &anna])
    {
        let verdicts = verdicts(read);
        let right = verdicts
            .iter()
            .filter(|line| line.starts_with("Right: "))
            .count();
        assert_eq!(learner["whole"]["answers"], 12);
        assert_eq!(learner["whole"]["right"], right, "{learner}");
    }
    let sheet = done(&teacher, "class report --deck deck.toml --csv -", "", 0).out;
    assert!(
        sheet.contains(",\"'=A1<script>alert(1)</script>\","),
        "{sheet}"
    );
    hear(&teacher, &anna, &other);
}

/// The moments are the questions that were missed: what is told of each is what the learner read.
#[track_caller]
fn hear(teacher: &Home, anna: &str, other: &str) {
    let args = "class report --deck deck.toml --html class.html --moments sounds/week";
    done(teacher, args, "", 0);
    let page = fs::read_to_string(teacher.file("class.html")).expect("a page");
    assert!(!page.contains("<script"), "{page}");
    assert!(page.contains("<dt>Heard from</dt>"), "{page}");
    let lines = fs::read_to_string(teacher.file("sounds/week/moments.txt")).expect("lines");
    let mut n_heard = 0;
    for line in lines.lines() {
        let (file, told) = line.split_once(": ").expect("a file and what is told");
        let read = if file.starts_with("anna-") {
            anna
        } else {
            other
        };
        let verdict = told.find("Not this time").map(|at| &told[at..]);
        let verdict = verdict.expect("every moment is a miss");
        let is_read = |known: &&str| verdict.starts_with(*known);
        assert!(verdicts(read).iter().any(is_read), "{line}");
        assert!(
            page.contains(&format!("href=\"sounds/week/{file}\"")),
            "{file}: {page}"
        );
        check_sound(teacher.file("sounds/week").join(file));
        n_heard += 1;
    }
    assert!(n_heard >= 4, "{lines}");
    let again = done(teacher, args, "", 2);
    assert!(
        again.err.contains("expected an empty folder"),
        "{}",
        again.err
    );
    // Without the deck it is said why not.
    let unknown = done(
        teacher,
        "class report --learner Anna --moments other --json -",
        "",
        0,
    );
    assert!(
        unknown
            .out
            .contains("no deck that is here has this exercise"),
        "{}",
        unknown.out
    );
    assert_eq!(
        fs::read_dir(teacher.file("other"))
            .expect("a folder")
            .count(),
        1
    );
}

/// A sound that lasts some seconds and is not silent.
#[track_caller]
fn check_sound(path: PathBuf) {
    let mut reader = hound::WavReader::open(path).expect("a WAV file");
    let seconds = f64::from(reader.duration()) / f64::from(reader.spec().sample_rate);
    let loudest = reader
        .samples::<i16>()
        .map(|sample| sample.expect("a sample").unsigned_abs())
        .max();
    assert!((4.0..120.0).contains(&seconds), "{seconds}");
    assert!(loudest > Some(3_000), "{loudest:?}");
}

#[test]
fn a_report_is_written_over_a_report_and_over_nothing_else() {
    let teacher = Home::new();
    teacher.write("anna.gz", practised("Anna", 5).1);
    done(&teacher, "class collect anna.gz", "", 0);
    let forms = [("html", "HTML"), ("csv", "CSV"), ("json", "JSON")];
    for (option, form) in forms {
        let notes = teacher.write("notes.txt", "what I must not forget\n");
        let onto_notes = format!("class report --{option} notes.txt");
        let ended = done(&teacher, &onto_notes, "", 2);
        let says = format!("notes.txt: found a file that is no class report in {form}");
        assert!(ended.err.contains(&says), "{}", ended.err);
        let kept = fs::read_to_string(&notes).expect("the notes");
        assert_eq!(kept, "what I must not forget\n");
        // Not over a report in another form, once over the notes where that is wished, then again.
        done(&teacher, &format!("{onto_notes} --replace"), "", 0);
        done(&teacher, &onto_notes, "", 0);
        for (other, _) in forms.iter().filter(|(other, _)| *other != option) {
            done(
                &teacher,
                &format!("class report --{other} notes.txt"),
                "",
                2,
            );
        }
        // A file with nothing in it has nothing to lose.
        teacher.write("empty", "");
        done(&teacher, &format!("class report --{option} empty"), "", 0);
    }
}
