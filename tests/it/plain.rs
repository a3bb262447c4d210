//! A sitting in lines of text, read as a learner reads it: nothing but what is printed is known.

use std::collections::BTreeMap;
use std::process::Stdio;
use std::time::Duration;

use contrapalma::store::Store;
use contrapalma::world::{Moment, Seed, instant_now};

use crate::program::{Home, Talk, name_of, run};

/// Lines that answer a question of any kind and go on; one of them is no answer.
const ANY: &str = "1\nd\n\n";

/// What a learner read about one answered question.
struct Read {
    title: String,
    choices: Vec<String>,
    name: String,
    told: Vec<String>,
}

impl Read {
    fn verdict(&self) -> &str {
        self.told.first().expect("a verdict comes first")
    }

    fn is_right(&self) -> bool {
        self.verdict().starts_with("Right: ")
    }

    /// The marks of one row of the grid.
    fn row(&self, name: &str) -> Option<Vec<&str>> {
        let mut rows = self.told.iter().filter_map(|line| line.strip_prefix("  "));
        rows.find_map(|row| row.split_once(' ').filter(|(first, _)| *first == name))
            .map(|(_, marks)| marks.split_whitespace().collect())
    }
}

/// Answers the open question with the first choice, or with no taps at all.
#[track_caller]
fn answer(talk: &mut Talk) -> Read {
    let asked = talk.question();
    let title = asked.iter().find_map(|line| line.split_once(": phrase "));
    let choices: Vec<String> = asked
        .iter()
        .filter_map(|line| line.strip_prefix("  "))
        .filter_map(|line| line.split_once("  "))
        .map(|(_, choice)| choice.to_owned())
        .collect();
    talk.say(if choices.is_empty() { "d" } else { "1" });
    let (name, told) = talk.answered();
    Read {
        title: title.expect("a title").0.to_owned(),
        choices,
        name,
        told,
    }
}

#[test]
fn every_answer_is_judged_explained_kept_and_counted() {
    const N: usize = 14;
    let home = Home::new();
    let mut talk = Talk::start(home.sitting(&format!("--questions {N}")));
    let mut all = Vec::new();
    for _ in 0..N {
        all.push(answer(&mut talk));
        talk.say("");
    }
    let ended = talk.end();
    assert_eq!((ended.code, ended.err.as_str()), (0, ""));
    for read in &all {
        check_told(read);
    }
    let n_right = all.iter().filter(|read| read.is_right()).count();
    assert!(n_right > 0 && n_right < N, "{n_right} of {N} prove nothing");
    check_summary(&ended.out, &all, n_right);
    let names: Vec<String> = all.into_iter().map(|read| read.name).collect();
    assert_eq!(home.kept(), names);
}

#[track_caller]
fn check_told(read: &Read) {
    let told = &read.told;
    let counts = read.row("count").expect("the counts are named");
    assert_eq!(counts, ["1", "2", "3", "4", "5", "6"], "{told:#?}");
    let reason = told.get(1).expect("a reason comes second");
    assert!(reason.ends_with('.') && reason.contains(" on "), "{reason}");
    let Some(first) = read.choices.first() else {
        return;
    };
    if read.is_right() {
        assert_eq!(read.verdict(), format!("Right: {first}."));
        assert_eq!(read.row("you"), None, "{told:#?}");
    } else {
        let said = format!("Your answer was: {first}.");
        assert!(read.verdict().contains(&said), "{}", read.verdict());
        assert!(told.iter().any(|line| line.starts_with("It helps: ")));
        assert_eq!(read.row("you").expect("the answer, laid over").len(), 6);
    }
    // Pulses by hand: threes are 1 and 4, twos 1, 3 and 5.
    if read.title == "In threes or in twos" {
        let bass = read.row("bass").expect("a plain phrase has low notes");
        let threes = read.verdict().contains(": in threes.") == read.is_right();
        let expected = if threes {
            ["3", ".", ".", "3", ".", "."]
        } else {
            ["2", ".", "2", ".", "2", "."]
        };
        assert_eq!(bass, expected, "{told:#?}");
    }
}

#[track_caller]
fn check_summary(out: &str, all: &[Read], n_right: usize) {
    let whole = format!("{n_right} of {} right in ", all.len());
    let lasted = out.lines().find_map(|line| line.strip_prefix(&whole));
    // A busy machine may need longer.
    assert!(
        matches!(lasted, Some("under a minute." | "1 minute.")),
        "{out}"
    );
    let mut by_title: BTreeMap<&str, (usize, usize)> = BTreeMap::new();
    for read in all {
        let (right, answered) = by_title.entry(&read.title).or_default();
        *right += usize::from(read.is_right());
        *answered += 1;
    }
    // Nobody who answers the same whatever sounds hears it.
    for (title, (right, answered)) in by_title {
        let line = format!("{title}: {right} of {answered}, not heard yet, back in ");
        assert!(out.lines().any(|l| l.starts_with(&line)), "{line}\n{out}");
    }
    assert!(out.contains("Rest ears and hands"), "{out}");
}

#[test]
fn the_end_of_the_input_leaves_with_what_was_answered() {
    let home = Home::new();
    let ended = run(home.sitting("--minutes 5"), "1\n\n1\n");
    assert_eq!((ended.code, ended.err.as_str()), (0, ""));
    assert!(
        ended.out.contains(" of 2 right in under a minute."),
        "{}",
        ended.out
    );
    assert_eq!(home.kept().len(), 2);
    let ended = run(home.sitting("--minutes 5"), "");
    assert_eq!((ended.code, ended.err.as_str()), (0, ""));
    assert!(ended.out.contains("Nothing was answered"), "{}", ended.out);
    assert_eq!(home.kept().len(), 2);
}

#[test]
fn leaving_in_the_middle_of_a_question_is_no_answer() {
    let home = Home::new();
    let ended = run(home.sitting("--minutes 5"), "1\n\nq\n1\n1\n");
    assert_eq!(ended.code, 0);
    assert_eq!(home.kept().len(), 1);
}

#[test]
fn what_is_skipped_is_not_kept() {
    let home = Home::new();
    let mut talk = Talk::start(home.sitting("--questions 2"));
    let skipped = talk.question();
    talk.say("s");
    assert_ne!(talk.question(), skipped);
    talk.say("1");
    let (name, _) = talk.answered();
    assert_eq!(talk.end().code, 0);
    assert_eq!(home.kept(), [name]);
}

#[test]
fn a_disputed_phrase_is_set_aside() {
    let home = Home::new();
    let mut talk = Talk::start(home.sitting("--questions 2"));
    talk.question();
    talk.say("1");
    let (name, _) = talk.answered();
    talk.say("x");
    talk.until(|line| line == "It is set aside: it is not asked again until it is judged.");
    talk.say("x");
    talk.until(|line| line == "It is set aside already.");
    assert_eq!(talk.end().code, 0);
    let store = Store::open(&home.data(), Seed(0), Moment(0)).expect("the store opens");
    let disputes = store.disputes().expect("the store is read");
    let names: Vec<String> = disputes.iter().map(|d| name_of(d.attempt)).collect();
    assert_eq!(names, [name]);
}

#[test]
fn whoever_closes_the_pipe_has_read_enough() {
    let home = Home::new();
    for args in ["sit --plain --silent --seed 5 --questions 3", "phrase bass"] {
        let mut command = home.program(args);
        command
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped());
        let mut child = command.spawn().expect("the program starts");
        drop(child.stdout.take());
        let ended = child.wait_with_output().expect("it ends");
        let err = String::from_utf8_lossy(&ended.stderr);
        assert_eq!((ended.status.code(), &*err), (Some(0), ""), "{args}");
    }
}

#[test]
fn the_last_question_is_the_last() {
    let home = Home::new();
    for n in [1, 3, 7] {
        let ended = run(home.sitting(&format!("--questions {n}")), ANY.repeat(20));
        let kept = |line: &&str| line.starts_with("kept ");
        assert_eq!((ended.code, ended.out.lines().filter(kept).count()), (0, n));
    }
    assert_eq!(home.kept().len(), 11);
}

#[test]
fn the_same_seed_and_answers_print_the_same() {
    let (one, other) = (Home::new(), Home::new());
    let input = "1\n\n2\n\nr\n2\nh\n\n1\n\n?\n1\nx\n\n".repeat(2) + &"d\n\n1\n\n".repeat(8);
    let ended = run(one.sitting("--questions 12"), &input);
    assert_eq!(ended.code, 0);
    assert!(ended.out.contains(" of 12 right"), "{}", ended.out);
    // All but the names of attempts, in which is the number of the installation: every one has its own.
    let without_names = |text: &str| {
        let lines = text.lines().filter(|line| !line.starts_with("kept "));
        lines.map(str::to_owned).collect::<Vec<String>>()
    };
    let again = run(other.sitting("--questions 12"), &input);
    assert_ne!(again.out, ended.out);
    assert_eq!(without_names(&again.out), without_names(&ended.out));
    let mut another = one.program("sit --plain --silent --seed 6 --questions 12 --data other");
    another.env("CONTRAPALMA_DATA", "unused");
    let another = run(another, &input).out;
    assert_ne!(without_names(&another), without_names(&ended.out));
}

#[test]
fn what_was_learnt_comes_back_first_when_it_is_due() {
    let home = Home::new();
    let ended = run(home.sitting("--questions 16"), ANY.repeat(16));
    assert!(ended.out.contains("back in "), "{}", ended.out);
    let mut later = home.sitting("--questions 1");
    later.env("CONTRAPALMA_NOW", "2026-03-05T08:00:00+00:00");
    let ended = run(later, ANY);
    let mut lines = ended.out.lines();
    let today = lines.next().expect("the date");
    assert!(
        today.starts_with("Thursday, 5 March. 2 skills are due"),
        "{today}"
    );
    let due = lines.next().expect("the first skill");
    assert!(
        due.starts_with("due, In threes or in twos, not heard yet"),
        "{due}"
    );
    assert!(due.ends_with(", last 3 days ago"), "{due}");
    let first = ended.out.lines().find(|line| line.contains(": phrase "));
    assert_eq!(
        first,
        Some("In threes or in twos: phrase 1 of up to 1 (due: last heard 3 days ago)")
    );
}

#[test]
fn on_the_same_day_nothing_is_due_again() {
    let home = Home::new();
    run(home.sitting("--questions 6"), ANY.repeat(6));
    assert_eq!(home.kept().len(), 6);
    let ended = run(home.sitting("--questions 1"), "");
    let today = ended.out.lines().next().expect("the date");
    assert!(
        today.starts_with("Monday, 2 March. 0 skills are due"),
        "{today}"
    );
}

#[test]
fn the_caution_is_given_once() {
    let home = Home::new();
    let caution = |ended: &crate::program::Ended| ended.out.contains("Start low:");
    assert!(caution(&run(home.sitting("--questions 1"), "1\n")));
    assert!(!caution(&run(home.sitting("--questions 1"), "1\n")));
}

/// Pulses of half a second, so that a tap may come a quarter of a second early or late.
const BELL: &str = r#"format = 1
id = "bell"
title = "The bell"

[[exercise]]
id = "bell"
title = "Tap with the bell"
asks = "find-start"
by = "taps"
line = "Tap with the bell."
families = ["plain"]
feels = ["threes", "twos"]
tempo = [120, 120]
cycles = [4, 4]
bell = "every"
level = { easiest = 8, criterion = 5, hardest = 2 }
"#;

/// Taps four times on the same pulse of four cycles, and returns the verdict.
#[track_caller]
fn tapped_on(pulse: u32) -> String {
    const PULSE: Duration = Duration::from_millis(500);
    let home = Home::new();
    home.write("bell.toml", BELL);
    let mut talk = Talk::start(home.sitting("--questions 1 --deck bell.toml"));
    talk.question();
    let began = instant_now();
    for cycle in 0..4 {
        let at = began + PULSE * (6 * cycle + pulse);
        let wait = at.saturating_duration_since(instant_now());
        assert_eq!(talk.line_within(wait), None, "nothing is said between taps");
        talk.say("");
    }
    let (name, told) = talk.answered();
    let ended = talk.end();
    assert_eq!(ended.code, 0);
    assert_eq!(home.kept(), [name]);
    told.first().expect("a verdict").clone()
}

#[test]
fn empty_lines_are_taps_in_the_time_of_what_is_not_heard() {
    let verdict = tapped_on(0);
    assert!(verdict.starts_with("Right: "), "{verdict}");
}

#[test]
fn taps_on_another_count_are_told_by_how_much() {
    let verdict = tapped_on(3);
    assert!(verdict.starts_with("Not this time: "), "{verdict}");
    assert!(verdict.ends_with("That is 3 pulses after 1."), "{verdict}");
}

#[test]
fn too_few_taps_point_nowhere() {
    let home = Home::new();
    home.write("bell.toml", BELL);
    let ended = run(home.sitting("--questions 1 --deck bell.toml"), "\nd\n");
    assert!(ended.out.contains("Your taps did not settle on one count."));
    assert_eq!(home.kept().len(), 1);
}

/// Phrases that turn from one feel to the other, or do not.
const TURNS: &str = r#"format = 1
id = "turns"
title = "Turns"

[[exercise]]
id = "turn"
title = "In turn or not"
asks = "name-feel"
line = "Listen to the low notes through all cycles."
families = ["bass-strums"]
feels = ["threes", "in-turn"]
tempo = [120, 220]
cycles = [4, 8]
level = { easiest = 8, criterion = 5, hardest = 2 }
"#;

#[test]
fn a_phrase_that_turns_shows_every_different_cycle() {
    let home = Home::new();
    home.write("turns.toml", TURNS);
    let mut talk = Talk::start(home.sitting("--questions 8 --deck turns.toml"));
    let mut n_turned = 0;
    for _ in 0..8 {
        let read = answer(&mut talk);
        talk.say("");
        let headings: Vec<&String> = read
            .told
            .iter()
            .filter(|line| line.starts_with("cycle"))
            .collect();
        let bass: Vec<&String> = read
            .told
            .iter()
            .filter(|line| line.starts_with("  bass "))
            .collect();
        if read.is_right() {
            // Answered and meant: threes throughout.
            assert_eq!((headings.len(), bass.len()), (0, 1), "{:#?}", read.told);
        } else {
            n_turned += 1;
            assert!(headings.first().is_some_and(|h| h.starts_with("cycles 1 ")));
            assert_eq!(headings.len(), bass.len(), "{:#?}", read.told);
            assert!(bass.iter().any(|row| row.ends_with("3 . . 3 . .")));
            assert!(bass.iter().any(|row| row.ends_with("2 . 2 . 2 .")));
        }
    }
    assert!(n_turned > 0);
}
