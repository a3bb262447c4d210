//! Marks of persons go out of the program and come in, and are told beside what is heard.

use std::fs;

use contrapalma::label::{ContentHash, Label};
use contrapalma::mark::{By, Mark, Marked, Stretch, Sure};
use contrapalma::store::Store;
use contrapalma::world::{Moment, Seed};
use serde_json::{Value, json};

use crate::program::{Ended, Home, run};
use crate::terminal::{Terminal, on_screen};

const HEAD: &str = "from,until,mark,confidence\n";

/// A home with a phrase of the program in `a.wav`, and the beginnings of its cycles in seconds.
fn with_recording() -> (Home, Vec<f64>) {
    let home = Home::new();
    let args = "phrase plain --deck path --feel twos --level 6 --seed 4 --wav a.wav --json a.json";
    assert_eq!(told(&home, args).code, 0);
    let known: Value = serde_json::from_slice(&fs::read(home.file("a.json")).expect("written"))
        .expect("it is JSON");
    let times = known["pulses"].as_array().expect("a list");
    let lines: String = times.iter().map(|time| format!("{time}\n")).collect();
    home.write("pulses.csv", lines);
    let starts = times.iter().step_by(6);
    let starts = starts
        .map(|time| time.as_f64().expect("a number"))
        .collect();
    (home, starts)
}

fn told(home: &Home, args: &str) -> Ended {
    run(home.program(args), "")
}

/// Waits until its pulses are the learner's.
fn until_no_proposal(terminal: &mut Terminal) {
    terminal.wait_until("the proposal is gone", |screen| {
        !screen.contents().contains("Pulses are found")
    });
}

/// Keeps what the learner says of `a.wav`, as the screen does.
fn say(home: &Home, said: &[(f64, f64, Mark)]) {
    let file = fs::File::open(home.file("a.wav")).expect("there");
    let content = ContentHash::of(file).expect("it can be read");
    let mut store = Store::open(&home.data(), Seed(1), Moment(1)).expect("the store opens");
    let met = store.meet_recording(content, "a.wav", None, Moment(1));
    met.expect("it is written");
    let marked = |&(from, until, mark): &(f64, f64, Mark)| Marked {
        stretch: Stretch::new(from, until).expect("rising"),
        mark,
        sure: Sure::Fairly,
    };
    let marks: Vec<Marked> = said.iter().map(marked).collect();
    let kept = store.mark(content, &By::Own, &marks, Moment(2));
    kept.expect("it is written");
}

/// How many rows of marks there are of the persons of `a.wav`, by name; the learner's is empty.
fn kept(home: &Home) -> Vec<(String, usize)> {
    let file = fs::File::open(home.file("a.wav")).expect("there");
    let content = ContentHash::of(file).expect("it can be read");
    let store = Store::open(&home.data(), Seed(1), Moment(1)).expect("the store opens");
    let marks = store.marks(content).expect("they can be read");
    let row = |(by, marks): (By, contrapalma::mark::Marks)| {
        let name = match by {
            By::Own => String::new(),
            By::Other(name) => Label::to_string(&name),
        };
        (name, marks.all().len())
    };
    marks.into_iter().map(row).collect()
}

fn object(home: &Home, args: &str) -> Value {
    let ended = told(home, args);
    assert_eq!((ended.code, ended.err.as_str()), (0, ""), "{args}");
    serde_json::from_str(&ended.out).expect("one object")
}

#[test]
fn a_known_recording_that_was_moved_is_met_again_where_it_is_told() {
    let (home, _) = with_recording();
    let file = fs::File::open(home.file("a.wav")).expect("there");
    let content = ContentHash::of(file).expect("it can be read");
    let place = || {
        let store = Store::open(&home.data(), Seed(1), Moment(1)).expect("the store opens");
        let known = store.recording(content).expect("it can be read");
        known.map(|known| (known.name, known.place))
    };
    // Nothing is kept of what is only looked at.
    assert_eq!(place(), None);
    assert_eq!(
        told(&home, "listen a.wav --pulses pulses.csv --text").code,
        0
    );
    assert_eq!(place(), None);
    let mut store = Store::open(&home.data(), Seed(1), Moment(1)).expect("the store opens");
    let met = store.meet_recording(content, "a.wav", Some(&home.file("a.wav")), Moment(1));
    met.expect("it is written");
    drop(store);
    // A copy is not taken for the file itself.
    fs::copy(home.file("a.wav"), home.file("copy.wav")).expect("copied");
    object(&home, "listen copy.wav --pulses pulses.csv --json");
    let before = ("a.wav".to_owned(), Some(home.file("a.wav")));
    assert_eq!(place(), Some(before));
    fs::remove_file(home.file("a.wav")).expect("there");
    object(&home, "listen copy.wav --pulses pulses.csv --json");
    let now = fs::canonicalize(home.file("copy.wav")).expect("there");
    assert_eq!(place(), Some(("copy.wav".to_owned(), Some(now))));
}

#[test]
fn marks_that_go_out_come_in_again_as_those_of_another() {
    let (home, _) = with_recording();
    say(
        &home,
        &[(0.0, 2.5, Mark::Threes), (2.5, 4.123_456, Mark::Twos)],
    );
    let out = told(&home, "listen a.wav --marks-out mine.csv");
    assert_eq!((out.code, out.err.as_str()), (0, ""));
    assert_eq!(out.out, "mine.csv: 2 marks of yours\n");
    let lines = "0.000,2.500,threes,fairly-sure\n2.500,4.123,twos,fairly-sure\n";
    let mine = format!("{HEAD}{lines}");
    assert_eq!(
        fs::read_to_string(home.file("mine.csv")).ok(),
        Some(mine.clone())
    );

    let heard = object(
        &home,
        "listen a.wav --json --pulses pulses.csv --marks mine.csv --by Lola",
    );
    let by_lola = json!({
        "from": 2.5, "until": 4.123, "mark": "twos", "confidence": "fairly-sure", "by": "Lola"
    });
    let marks = heard["marks"].as_array().expect("a list");
    assert_eq!((marks.len(), &marks[3]), (4, &by_lola));
    assert_eq!(marks[0]["by"], Value::Null);

    // The file may be called anything, and lie anywhere.
    fs::rename(home.file("a.wav"), home.file("b.wav")).expect("renamed");
    let theirs = told(&home, "listen b.wav --marks-out theirs.csv --by Lola");
    assert_eq!(theirs.code, 0, "{}", theirs.err);
    assert_eq!(fs::read_to_string(home.file("theirs.csv")).ok(), Some(mine));
}

#[test]
fn persons_are_told_beside_what_is_heard() {
    let (home, starts) = with_recording();
    let n = starts.len();
    // Up to the third cycle Lola and the learner differ; of the last Lola cannot say.
    let (third, last, end) = (starts[2], starts[n - 1], starts[n - 1] + 60.0);
    say(
        &home,
        &[(0.0, third, Mark::Threes), (third, end, Mark::Twos)],
    );
    home.write(
        "lola.csv",
        format!("{HEAD}0,{last},twos,sure\n{last},{end},cannot-say,guess\n"),
    );
    let args = "listen a.wav --text --pulses pulses.csv --marks lola.csv --by Lola";
    let text = told(&home, args);
    assert_eq!((text.code, text.err.as_str()), (0, ""));
    let own = format!("  33{}  you\n", "2".repeat(n - 2));
    let lola = format!("  {}?  Lola\n", "2".repeat(n - 1));
    assert!(text.out.contains(&format!("{own}{lola}")), "{}", text.out);
    let (same, both) = (n - 3, n - 1);
    let words = format!("you and Lola agree in {same} of {both} cycles; 1 that Lola cannot tell");
    assert!(text.out.contains(&words), "{}", text.out);

    let heard = object(&home, "listen a.wav --json --pulses pulses.csv");
    let pair = &heard["agreement"]["with_each_other"][0];
    assert_eq!(
        *pair,
        json!({
            "first": null, "second": "Lola", "same": same, "both": both,
            "first_cannot": 0, "second_cannot": 1, "kappa": null
        })
    );
    // Counted here from what is heard.
    let cycles = heard["cycles"].as_array().expect("a list");
    let leans: Vec<&str> = cycles
        .iter()
        .filter_map(|cycle| cycle["lean"].as_str())
        .collect();
    let spoken = |lean: &&&str| **lean != "unclear";
    let with_lola = &heard["agreement"]["with_analysis"][1];
    assert_eq!(with_lola["first"], "Lola");
    let heard_too = leans[..n - 1].iter().filter(spoken).count();
    let in_twos = leans[..n - 1]
        .iter()
        .filter(|lean| **lean == "twos")
        .count();
    assert!(in_twos > 0, "{leans:?}");
    assert_eq!(
        (&with_lola["same"], &with_lola["both"]),
        (&json!(in_twos), &json!(heard_too))
    );
}

#[test]
fn the_screen_shows_another_person_and_goes_to_the_next() {
    let (home, starts) = with_recording();
    let end = starts[starts.len() - 1] + 60.0;
    home.write("lola.csv", format!("{HEAD}0,{end},twos,sure\n"));
    home.write("ana.csv", format!("{HEAD}0,{end},both,guess\n"));
    let args = "listen a.wav --text --marks ana.csv --by Ana";
    assert_eq!(told(&home, args).code, 0);
    let args = "listen a.wav --silent --pulses pulses.csv --marks lola.csv --by Lola";
    let mut terminal = on_screen(home.path(), args);
    let n = starts.len();
    terminal.wait_for(&format!("Lola    {}", "2".repeat(n)));
    terminal.wait_for("Lola and the analysis in ");
    terminal.press("m");
    terminal.wait_for(&format!("Ana     {}", "b".repeat(n)));
    terminal.press("qq");
    assert_eq!(terminal.end(), 0);
}

#[test]
fn marks_behind_the_end_are_told_where_they_are_taken_in() {
    let (home, _) = with_recording();
    let late = "0,4,twos,sure\n3600,3601,twos,sure\n3661,3662,threes,sure\n";
    home.write("lola.csv", format!("{HEAD}{late}"));
    let is_said = |text: &str| {
        text.contains("2 marks of Lola lie behind its end at 0:")
            && text.contains("the first at 1:00:00")
    };
    for form in ["--json", "--csv", "--text"] {
        let ended = told(
            &home,
            &format!("listen a.wav {form} --marks lola.csv --by Lola"),
        );
        assert_eq!(ended.code, 0);
        assert!(is_said(&ended.err), "{form}: {}", ended.err);
        assert!(!ended.out.contains("behind its end"), "{}", ended.out);
    }
    let args = "listen a.wav --silent --marks lola.csv --by Lola";
    let mut terminal = on_screen(home.path(), args);
    terminal.wait_until("it is said", |screen| {
        is_said(&screen.contents().replace('\n', " "))
    });
    terminal.press("qq");
    assert_eq!(terminal.end(), 0);
    // Who looks at it later knows.
    assert_eq!(told(&home, "listen a.wav --text").err, "");
}

#[test]
fn without_marks_nothing_is_told_of_them_and_no_store_is_made() {
    let (home, _) = with_recording();
    let before = home.files();
    let heard = object(&home, "listen a.wav --json");
    assert_eq!((heard.get("marks"), heard.get("agreement")), (None, None));
    let none = told(&home, "listen a.wav --marks-out mine.csv");
    assert_eq!(none.code, 1);
    assert!(
        none.err.contains("a.wav: found no marks of yours"),
        "{}",
        none.err
    );
    assert!(home.files() == before, "nothing was written");
}

#[test]
fn pulses_that_were_set_on_the_screen_go_before_those_that_are_found() {
    let (home, _) = with_recording();
    let found = object(&home, "listen a.wav --json");
    assert_eq!(found["pulses_from"], "found");
    let mut terminal = on_screen(home.path(), "listen a.wav --silent");
    terminal.wait_for("Pulses are found, not set");
    terminal.press("1+");
    until_no_proposal(&mut terminal);
    terminal.press("qq");
    assert_eq!(terminal.end(), 0);

    // Wherever it lies, and however it is called.
    fs::rename(home.file("a.wav"), home.file("b.wav")).expect("renamed");
    let kept = object(&home, "listen b.wav --json");
    assert_eq!(
        (&kept["pulses_from"], &kept["cycle"]),
        (&json!("kept"), &json!(6))
    );
    let times = |told: &Value| -> Vec<f64> {
        let times = told["pulses"].as_array().expect("a list").iter();
        times.map(|time| time.as_f64().expect("a number")).collect()
    };
    // One pulse later and a hundredth of a second.
    let (before, after) = (times(&found), times(&kept));
    assert_eq!(after.len(), before.len() - 1);
    let moved = before[1..].iter().zip(&after).map(|(was, is)| is - was);
    assert!(
        moved.clone().all(|by| (by - 0.01).abs() < 0.0021),
        "{before:?} {after:?}"
    );
    let text = told(&home, "listen b.wav --text").out;
    assert!(text.contains("pulses as you set them"), "{text}");
    let csv = |args: &str| told(&home, args).out;
    assert_ne!(
        csv("listen b.wav --csv"),
        csv("listen b.wav --csv --pulses pulses.csv")
    );
    // What is asked for by name goes before it.
    for (args, from) in [
        ("listen b.wav --json --pulses pulses.csv", "given"),
        ("listen b.wav --json --tempo 180 --start 0", "given"),
        ("listen b.wav --json --cycle 12", "kept"),
        ("listen b.wav --json --cycle 6", "kept"),
    ] {
        assert_eq!(object(&home, args)["pulses_from"], from, "{args}");
    }
}

#[test]
fn a_cycle_that_was_counted_in_twelve_stays_so_and_is_clapped_in_its_groupings() {
    let (home, _) = with_recording();
    let mut terminal = on_screen(home.path(), "listen a.wav --silent");
    terminal.wait_for("Pulses are found, not set");
    terminal.press("l");
    terminal.wait_for("A cycle has 12 pulses now, and where it begins is a proposal.");
    terminal.press("5");
    terminal.wait_for("of 12, claps 1-4-7-9-11");
    terminal.press("5");
    terminal.wait_for("of 12, claps 1-4-8-9-11");
    terminal.press("qq");
    assert_eq!(terminal.end(), 0);

    let counted = |args: &str| {
        let told = object(&home, args);
        (told["cycle"].clone(), told["pulses_from"].clone())
    };
    assert_eq!(counted("listen a.wav --json"), (json!(12), json!("found")));
    assert_eq!(counted("listen a.wav --json --cycle 6").0, json!(6));
    let mut again = on_screen(home.path(), "listen a.wav --silent");
    again.wait_for("of 12, claps none");
    again.press("\r");
    until_no_proposal(&mut again);
    again.press("qq");
    assert_eq!(again.end(), 0);
    assert_eq!(counted("listen a.wav --json"), (json!(12), json!("kept")));
}

#[test]
fn two_others_are_compared_and_sections_are_shown() {
    let (home, starts) = with_recording();
    let (n, end) = (starts.len(), starts[starts.len() - 1] + 60.0);
    for (name, mark) in [("Lola", "twos"), ("A<b>&c", "threes")] {
        home.write("list.csv", format!("{HEAD}0,{end},{mark},sure\n"));
        let args = [
            "listen", "a.wav", "--csv", "--marks", "list.csv", "--by", name,
        ];
        let mut program = home.program("");
        program.args(args);
        assert_eq!(run(program, "").code, 0, "{name}");
    }
    let file = fs::File::open(home.file("a.wav")).expect("there");
    let content = ContentHash::of(file).expect("it can be read");
    let mut store = Store::open(&home.data(), Seed(1), Moment(1)).expect("the store opens");
    let sections = contrapalma::mark::Sections::new(vec![starts[2]]).expect("rising");
    store
        .save_sections(content, &sections)
        .expect("it is written");
    drop(store);

    let text = told(&home, "listen a.wav --text --pulses pulses.csv --svg a.svg");
    assert_eq!((text.code, text.err.as_str()), (0, ""));
    let words = format!("A<b>&c and Lola agree in 0 of {n} cycles");
    assert!(text.out.contains(&words), "{}", text.out);
    let rule = format!("  | |{}  sections\n", " ".repeat(n - 3));
    assert!(text.out.contains(&rule), "{}", text.out);
    let table = text.out.lines().rev().take(n).collect::<Vec<&str>>();
    assert!(table[0].ends_with("        2  3       2"), "{}", table[0]);
    assert!(
        table[n - 1].ends_with("        1  3       2"),
        "{}",
        table[n - 1]
    );

    let drawn = fs::read_to_string(home.file("a.svg")).expect("written");
    for part in [
        ">section</text>",
        ">Lola</text>",
        ">A&lt;b&gt;&amp;c</text>",
        ">count</text>",
    ] {
        assert!(drawn.contains(part), "{part}: {drawn}");
    }
    assert!(!drawn.contains("<script") && !drawn.contains("<b>"));
}

#[test]
fn nothing_is_written_over_a_file_that_is_there() {
    let (home, _) = with_recording();
    say(&home, &[(0.0, 2.5, Mark::Both)]);
    home.write("mine.csv", "dear");
    let out = told(&home, "listen a.wav --marks-out mine.csv");
    assert_eq!(out.code, 2);
    assert!(
        out.err
            .contains("mine.csv: found a file; expected a new name"),
        "{}",
        out.err
    );
    assert_eq!(
        fs::read_to_string(home.file("mine.csv")).ok().as_deref(),
        Some("dear")
    );
    let one = told(&home, "listen a.wav --marks-out one.csv");
    assert_eq!(one.out, "one.csv: 1 mark of yours\n");
    let lola = told(&home, "listen a.wav --marks-out lola.csv --by Lola");
    assert_eq!((lola.code, home.file("lola.csv").exists()), (1, false));
}

#[test]
fn the_same_list_twice_is_kept_once_and_another_stands_over_it() {
    let (home, _) = with_recording();
    home.write("lola.csv", format!("{HEAD}0,4,twos,sure\n"));
    home.write("later.csv", format!("{HEAD}1,2,threes,guess\n"));
    for _ in 0..2 {
        assert_eq!(
            told(&home, "listen a.wav --marks lola.csv --by Lola").code,
            0
        );
        assert_eq!(kept(&home), [("Lola".to_owned(), 1)]);
    }
    assert_eq!(
        told(&home, "listen a.wav --marks later.csv --by Lola").code,
        0
    );
    assert_eq!(kept(&home), [("Lola".to_owned(), 3)]);
}

#[test]
fn a_bad_list_is_refused_whole_with_every_line() {
    let (home, _) = with_recording();
    say(&home, &[(0.0, 2.5, Mark::Both)]);
    let lists: [(&[u8], &str); 8] = [
        (
            b"",
            "line 1: found \"\"; expected \"from,until,mark,confidence\"",
        ),
        (
            b"from,until\n1,2\n",
            "line 1: found \"from,until\"; expected",
        ),
        (
            b"from,until,mark,confidence\n0,1,twos,sure\n1,x,twos,sure\n",
            "line 3: found \"x\"; expected seconds from 0",
        ),
        (
            b"from,until,mark,confidence\n0,NaN,twos,sure\n",
            "line 2: found \"NaN\"",
        ),
        (
            b"from,until,mark,confidence\n3,2,twos,sure\n",
            "line 2: found an end at 2 s",
        ),
        (
            b"from,until,mark,confidence\n1,2,fours,sure\n2,3,twos,very\n",
            "line 3: found \"very\"; expected one of guess, fairly-sure, sure",
        ),
        (
            b"from,until,mark,confidence\n1,2,\x1b[2Jtwos,sure\n",
            "line 2: found \"?[2Jtwos\"; expected one of threes, twos, both, cannot-say",
        ),
        (
            b"from,until,mark,confidence\n1,2,tw\xffos,sure\n",
            "line 2: found a byte that is no UTF-8; expected UTF-8 text",
        ),
    ];
    for (list, says) in lists {
        home.write("lola.csv", list);
        let ended = told(&home, "listen a.wav --marks lola.csv --by Lola");
        assert_eq!(
            (ended.code, ended.out.as_str()),
            (3, ""),
            "{says}: {}",
            ended.err
        );
        assert!(
            ended.err.contains(&format!("lola.csv: {says}")),
            "{}",
            ended.err
        );
        assert!(ended.err.contains("hint: ") && !ended.err.contains('\u{1b}'));
        assert_eq!(kept(&home), [(String::new(), 1)], "{says}");
    }
    let endless = told(&home, "listen a.wav --marks /dev/zero --by Lola");
    assert_eq!(endless.code, 3);
    assert!(
        endless.err.contains("/dev/zero: more than 8388608 bytes"),
        "{}",
        endless.err
    );
}

#[test]
fn one_person_is_one_whatever_the_capitals_and_nobody_is_called_as_the_learner_is() {
    let (home, _) = with_recording();
    home.write("lola.csv", format!("{HEAD}0,4,twos,sure\n"));
    home.write("later.csv", format!("{HEAD}4,5,threes,guess\n"));
    for name in ["you", "YOU", " You ", "the analysis", "The Analysis"] {
        let mut command = home.program("listen a.wav --json --marks lola.csv --by");
        command.arg(name);
        let ended = run(command, "");
        assert_eq!((ended.code, ended.out.as_str()), (2, ""), "{name}");
        let says = "the name of another person was expected";
        assert!(ended.err.contains(says), "{}", ended.err);
    }
    assert!(!home.data().exists(), "nothing is kept");
    let first = "listen a.wav --json --marks lola.csv --by Lola";
    assert_eq!(told(&home, first).code, 0);
    let heard = object(&home, "listen a.wav --json --marks later.csv --by LOLA");
    let marks = heard["marks"].as_array().expect("a list");
    let names: Vec<&Value> = marks.iter().map(|mark| &mark["by"]).collect();
    assert_eq!(names, ["Lola", "Lola"]);
    assert_eq!(kept(&home), [("Lola".to_owned(), 2)]);
    let out = told(&home, "listen a.wav --marks-out out.csv --by lola");
    assert_eq!(out.out, "out.csv: 2 marks of Lola\n");
}

#[test]
fn a_list_without_a_mark_takes_back_what_a_person_said() {
    let (home, _) = with_recording();
    say(&home, &[(0.0, 2.5, Mark::Both)]);
    home.write(
        "lola.csv",
        format!("{HEAD}0,2,twos,sure\n2,4,threes,sure\n"),
    );
    home.write("none.csv", HEAD);
    for name in ["Lola", "Rocio"] {
        let taken = told(
            &home,
            &format!("listen a.wav --json --marks lola.csv --by {name}"),
        );
        assert_eq!(taken.code, 0);
    }
    let back = told(&home, "listen a.wav --json --marks none.csv --by lola");
    assert_eq!(back.code, 0);
    assert_eq!(back.err, "a.wav: the 2 marks of Lola are taken back\n");
    let left = [(String::new(), 1), ("Rocio".to_owned(), 2)];
    assert_eq!(kept(&home), left);
    let heard: Value = serde_json::from_str(&back.out).expect("an object");
    assert_eq!(heard["marks"].as_array().map(Vec::len), Some(3));
    let again = told(&home, "listen a.wav --json --marks none.csv --by lola");
    assert_eq!(again.code, 0);
    assert_eq!(
        again.err,
        "a.wav: there are no marks of lola to take back\n"
    );
    assert_eq!(kept(&home), left);
    // What is said later stands.
    let later = told(&home, "listen a.wav --json --marks lola.csv --by Lola");
    assert_eq!((later.code, later.err.as_str()), (0, ""));
    assert_eq!(kept(&home)[1], ("Lola".to_owned(), 2));
}

#[test]
fn marks_that_all_lie_behind_the_end_are_refused() {
    let (home, _) = with_recording();
    home.write(
        "late.csv",
        format!("{HEAD}3600,3601,twos,sure\n3602,3603,twos,sure\n"),
    );
    for file in ["a.wav", "a.mid"] {
        let midi = told(
            &home,
            "phrase plain --deck path --feel twos --level 6 --seed 4 --midi a.mid",
        );
        assert_eq!(midi.code, 0);
        let ended = told(
            &home,
            &format!("listen {file} --json --marks late.csv --by Lola"),
        );
        assert_eq!((ended.code, ended.out.as_str()), (3, ""), "{file}");
        let says = format!("late.csv: found no mark within {file}, which ends at 0:");
        assert!(ended.err.contains(&says), "{}", ended.err);
        assert!(!home.data().exists(), "nothing is kept");
    }
}

#[test]
fn marks_go_to_standard_output_alone() {
    let (home, _) = with_recording();
    say(&home, &[(0.0, 2.5, Mark::Both)]);
    let out = told(&home, "listen a.wav --marks-out -");
    assert_eq!((out.code, out.err.as_str()), (0, ""));
    assert_eq!(out.out, format!("{HEAD}0.000,2.500,both,fairly-sure\n"));
    assert!(!home.file("-").exists());
}

#[test]
fn marks_need_a_name_and_one_recording() {
    let (home, _) = with_recording();
    home.write("lola.csv", format!("{HEAD}0,4,twos,sure\n"));
    home.write("text.wav", "no sound");
    let long = "x".repeat(161);
    for (args, code, says) in [
        ("listen a.wav --marks lola.csv".to_owned(), 2, "--by"),
        ("listen a.wav --by Lola".to_owned(), 2, "--marks"),
        (
            format!("listen a.wav --marks lola.csv --by {long}"),
            2,
            "a name was expected",
        ),
        (
            "listen a.wav --marks lola.csv --by \u{202e}L".to_owned(),
            2,
            "U+202E",
        ),
        (
            "listen a.wav a.wav --marks lola.csv --by L".to_owned(),
            2,
            "found 2 files",
        ),
        (
            "listen /dev/null --marks lola.csv --by L".to_owned(),
            2,
            "found no file",
        ),
        (
            "listen a.wav --marks lola.csv --by L --marks-out b.csv".to_owned(),
            2,
            "cannot be used",
        ),
        (
            "listen a.wav --json --marks-out b.csv".to_owned(),
            2,
            "cannot be used",
        ),
        (
            "listen absent.wav --marks lola.csv --by L".to_owned(),
            3,
            "absent.wav: ",
        ),
        (
            "listen text.wav --marks lola.csv --by L".to_owned(),
            3,
            "text.wav: ",
        ),
        (
            "listen a.wav --marks absent.csv --by L".to_owned(),
            3,
            "absent.csv: ",
        ),
    ] {
        let ended = told(&home, &args);
        assert_eq!(
            (ended.code, ended.out.as_str()),
            (code, ""),
            "{args}: {}",
            ended.err
        );
        assert!(ended.err.contains(says), "{args}: {}", ended.err);
        assert!(!home.data().exists(), "{args}: nothing is kept");
    }
}

#[test]
fn pulses_that_were_set_over_notes_go_before_their_grid() {
    let home = Home::new();
    let phrase = "phrase plain --deck path --feel twos --level 6 --seed 4 --midi a.mid";
    assert_eq!(told(&home, phrase).code, 0);
    let of_file = object(&home, "listen a.mid --json");
    assert_eq!(of_file["pulses_from"], "file");
    let mut terminal = on_screen(home.path(), "listen a.mid --silent");
    terminal.wait_for("one a pulse later");
    terminal.press("1");
    terminal.wait_for("take back");
    terminal.press("qq");
    assert_eq!(terminal.end(), 0);

    let kept = object(&home, "listen a.mid --json");
    assert_eq!(kept["pulses_from"], "kept");
    let time = |told: &Value, at: usize| told["pulses"][at].as_f64().expect("a number");
    assert!((time(&kept, 0) - time(&of_file, 1)).abs() < 2e-3, "{kept}");
    for (args, from) in [
        ("listen a.mid --json --tempo 180 --start 0", "given"),
        ("listen a.mid --json --start 0", "file"),
        ("listen a.mid --json --pulse-note 1/8", "file"),
    ] {
        assert_eq!(object(&home, args)["pulses_from"], from, "{args}");
    }
}

/// The same notes, each eighth a seventh shorter than those of the grid.
fn played_freely(bytes: &[u8]) -> Vec<u8> {
    let at = bytes.windows(4).position(|part| part == b"MThd");
    let division = at.expect("a MIDI file") + 12;
    let quarter = u16::from_be_bytes([bytes[division], bytes[division + 1]]);
    let mut freely = bytes.to_vec();
    let longer = quarter / 6 * 7;
    freely[division..division + 2].copy_from_slice(&longer.to_be_bytes());
    freely
}

#[test]
fn notes_that_do_not_lie_on_their_grid_are_told_and_their_pulses_are_found() {
    let home = Home::new();
    let phrase = "phrase plain --deck path --feel twos --level 6 --seed 4 --midi a.mid";
    assert_eq!(told(&home, phrase).code, 0);
    let freely = played_freely(&fs::read(home.file("a.mid")).expect("written"));
    home.write("free.mid", &freely);
    let text = run(home.program("listen free.mid --text"), "");
    let says = "free.mid: its notes do not lie on its own pulses, so that pulses were looked for";
    assert_eq!(text.code, 0);
    assert!(text.err.contains(says), "{}", text.err);
    let found = run(home.program("listen free.mid --json"), "");
    assert!(found.err.contains(says), "{}", found.err);
    let found: Value = serde_json::from_str(&found.out).expect("JSON");
    let grid = object(&home, "listen a.mid --json");
    assert_eq!(
        (&found["pulses_from"], &grid["pulses_from"]),
        (&json!("found"), &json!("file"))
    );
    let tempo = |told: &Value| told["tempo_ppm"].as_f64().expect("a number");
    let longer = tempo(&found) / tempo(&grid) * 6.0 / 7.0;
    let is_so = |share: f64| (longer / share - 1.0).abs() < 0.06;
    assert!(is_so(1.0) || is_so(0.5) || is_so(2.0), "{longer}");
    assert_eq!(run(home.program("listen a.mid --text"), "").err, "");

    let mut terminal = on_screen(home.path(), "listen free.mid --silent");
    terminal.wait_for("Pulses are found, not set");
    terminal.press("q");
    assert_eq!(terminal.end(), 0);
}
