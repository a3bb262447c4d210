//! What a learner of plain lines may choose: a skill, listening alone, the counts, and how far they are.

use contrapalma::store::Store;
use contrapalma::world::{Moment, Seed};
use serde_json::Value;

use crate::program::{Ended, Home, Talk, run};

/// The line that heads each question.
fn heads(out: &str) -> Vec<&str> {
    out.lines()
        .filter(|line| line.contains(": phrase "))
        .collect()
}

#[track_caller]
fn check_refused(home: &Home, args: &str, parts: &[&str]) {
    let ended = run(home.program(&format!("sit --plain --silent {args}")), "");
    assert_eq!((ended.code, ended.out.as_str()), (2, ""), "{args}");
    for part in parts {
        assert!(ended.err.contains(part), "{args}: {}", ended.err);
    }
}

#[test]
fn a_chosen_skill_comes_first_and_then_the_plan_goes_on() {
    let home = Home::new();
    let ended = run(
        home.sitting("--questions 8 --skill chords"),
        "1\n\n".repeat(8) + "d\n\n",
    );
    let heads = heads(&ended.out);
    let chosen = |head: &&&str| head.ends_with("(you chose it)");
    let n = heads.iter().take_while(chosen).count();
    // A block has at most six phrases.
    assert!((1..=6).contains(&n) && n < heads.len(), "{heads:#?}");
    assert!(
        heads[..n]
            .iter()
            .all(|head| head.starts_with("Listen to the chords: "))
    );
    assert!(!heads[n..].iter().any(|head| chosen(&head)), "{heads:#?}");
}

#[test]
fn a_whole_id_finds_a_skill_of_another_deck() {
    let home = Home::new();
    let title = |args: &str| {
        let ended = run(home.sitting(&format!("--questions 1 {args}")), "1\n\n");
        assert_eq!((ended.code, ended.err.as_str()), (0, ""), "{args}");
        let head = heads(&ended.out).first().map(|head| (*head).to_owned());
        head.expect("a question")
            .split_once(':')
            .expect("a title")
            .0
            .to_owned()
    };
    // What first-steps does not have, the deck that is named has.
    assert_eq!(
        title("--skill path/voices"),
        title("--deck path --skill voices")
    );
    assert_eq!(title("--skill first-steps/plain"), "In threes or in twos");
}

#[test]
fn an_id_that_is_none_is_answered_by_those_like_it() {
    let home = Home::new();
    check_refused(
        &home,
        "--skill bas",
        &[
            "\"bas\"",
            "nearest are first-steps/bass",
            "`contrapalma decks show first-steps`",
        ],
    );
    // Two letters exchanged.
    check_refused(&home, "--skill path/voiecs", &["nearest are path/voices"]);
    check_refused(
        &home,
        "--deck twelves --skill bass",
        &["no skill of the deck twelves"],
    );
    check_refused(&home, "--skill \u{1b}[31m", &["nearest are "]);
    check_refused(&home, "--listen", &["--skill"]);
    let long = "x".repeat(100_000);
    check_refused(&home, &format!("--skill {long}"), &["nearest are "]);
}

#[test]
fn listening_alone_tells_what_it_is_and_scores_nothing() {
    let home = Home::new();
    let mut talk = Talk::start(home.sitting("--skill bass --listen"));
    let keys = |line: &str| line.starts_with("Enter plays another phrase");
    let read = talk.until(keys);
    assert!(
        read.iter()
            .any(|line| line.starts_with("Listen to the low notes: only listen"))
    );
    check_told(&read);
    for key in ["h", "p"] {
        talk.say(key);
    }
    talk.say("v");
    talk.until(|line| line.starts_with("Only the ") && line.ends_with('.'));
    talk.say("1");
    talk.until(|line| line.starts_with("\"1\" is no answer here. Enter plays"));
    talk.say("");
    check_told(&talk.until(keys));
    talk.say("q");
    let ended = talk.end();
    assert_eq!((ended.code, ended.err.as_str()), (0, ""));
    assert_eq!(
        ended.out.trim(),
        "2 phrases listened to; nothing was scored."
    );
    assert_eq!(home.kept().len(), 0);
    let store = Store::open(&home.data(), Seed(0), Moment(0)).expect("the store opens");
    let listened = store.n_listened().expect("the store is read");
    let listened: Vec<(&str, u32)> = listened.iter().map(|(s, n)| (&*s.0, *n)).collect();
    assert_eq!(listened, [("first-steps/bass", 2)]);
}

/// Where the low notes are asked about, the grid shows what was told.
#[track_caller]
fn check_told(read: &[String]) {
    let is_row = |line: &&String| line.starts_with("  bass ");
    let bass = read.iter().find(is_row).expect("the low notes are shown");
    // Pulses by hand: threes are 1 and 4, twos 1, 3 and 5.
    let (threes, twos) = (bass.ends_with("3 . . 3 . ."), bass.ends_with("2 . 2 . 2 ."));
    assert!(threes || twos, "{bass}");
    let told = |words: &str| read.iter().any(|line| line == words);
    assert_eq!(
        (told("In threes."), told("In twos.")),
        (threes, twos),
        "{read:#?}"
    );
}

#[test]
fn the_end_of_the_input_ends_listening_after_one_phrase() {
    let home = Home::new();
    let ended = run(home.sitting("--skill first-steps/bass --listen"), "");
    assert_eq!((ended.code, ended.err.as_str()), (0, ""));
    assert!(
        ended
            .out
            .contains("1 phrase listened to; nothing was scored.")
    );
}

#[test]
fn counts_are_called_as_wished_and_stay_so() {
    let home = Home::new();
    let counts = |args: &str| {
        let ended = run(
            home.sitting(&format!("--questions 1 --skill plain {args}")),
            "1\n\n",
        );
        let row = ended
            .out
            .lines()
            .find_map(|line| line.strip_prefix("  count "));
        row.expect("the counts")
            .split_whitespace()
            .map(str::to_owned)
            .collect::<Vec<_>>()
    };
    // The names are common practice, no source.
    let spanish = ["uno", "dos", "tres", "cuatro", "cinco", "seis"];
    assert_eq!(counts("--counts spanish"), spanish);
    assert_eq!(counts(""), spanish);
    assert_eq!(counts("--counts from-last"), ["6", "1", "2", "3", "4", "5"]);
    assert_eq!(counts("--counts by-style"), ["1", "2", "3", "4", "5", "6"]);
    check_refused(
        &home,
        "--counts maybe",
        &["by-style, from-one, from-last, un-dos, spanish"],
    );
}

#[test]
fn a_prompt_names_every_key_that_works() {
    let home = Home::new();
    let mut talk = Talk::start(home.sitting("--questions 3 --deck path --skill which-clapping"));
    let asked = talk.question();
    let n = asked.iter().filter(|line| line.starts_with("  ")).count();
    let letters = ["a", "b", "c", "d"]
        .get(..n)
        .expect("at most four")
        .join(", ");
    let prompt = asked.last().expect("a prompt");
    assert!(
        prompt.contains(&format!("{letters} hear one clapping alone")),
        "{prompt}"
    );
    for letter in letters.split(", ") {
        talk.say(letter);
    }
    talk.say("?");
    let told = talk.until(|line| line.starts_with("  fits either: "));
    assert!(
        !told.iter().any(|line| line.contains("is no answer")),
        "{told:#?}"
    );
    for mark in [
        "3 is ",
        "2 an ",
        "x a ",
        "| is ",
        ". is ",
        "o is ",
        "- between ",
    ] {
        assert!(
            told.iter().any(|line| line.contains(mark)),
            "{mark}: {told:#?}"
        );
    }
    talk.say("1");
    talk.answered();
    let keys = talk.line().expect("the keys");
    assert!(
        keys.contains("p the phrase alone, v one voice alone, x dispute"),
        "{keys}"
    );
    // Each key that is named does something, and none that is not.
    let named = |key: &str| keys.contains(&format!(" {key} "));
    for key in ["h", "a", "b", "o", "p", "v"] {
        talk.say(key);
        talk.say("?");
        let read = talk.until(|line| line.starts_with("  fits either: "));
        let refused = read.iter().any(|line| line.contains("is no answer here"));
        assert_eq!(refused, !named(key), "{key}: {read:#?}");
    }
    assert_eq!(talk.end().code, 0);
}

#[test]
fn a_title_that_asks_takes_no_colon() {
    let home = Home::new();
    let ended = run(home.sitting("--questions 1 --skill start-count"), "1\n\n");
    let told = |line: &str| line.starts_with("Where did it come in? ") && line.contains(" of 1,");
    assert!(ended.out.lines().any(told), "{}", ended.out);
}

fn progress(home: &Home, args: &str) -> Ended {
    let ended = run(home.program(&format!("progress {args}")), "");
    assert_eq!((ended.code, ended.err.as_str()), (0, ""), "{args}");
    ended
}

#[test]
fn progress_is_told_of_all_that_was_practised() {
    const N: usize = 8;
    let home = Home::new();
    assert!(
        progress(&home, "")
            .out
            .starts_with("Nothing was practised yet")
    );
    assert_eq!(progress(&home, "--json").out, "");
    assert!(!home.data().exists(), "looking makes no store");
    let mut n_right = 0;
    for _ in 0..3 {
        let args = format!("--questions {N} --skill plain");
        let sat = run(home.sitting(&args), "1\n\n".repeat(N) + "d\n\n");
        let is_right = |line: &&str| line.starts_with("Right: ");
        n_right += sat.out.lines().filter(is_right).count();
    }
    run(
        home.sitting("--questions 2 --skill path/voices"),
        "1\n\n1\n\n",
    );
    run(home.sitting("--skill path/bass --listen"), "");

    let out = progress(&home, "--json").out;
    let rows = out
        .lines()
        .map(|line| serde_json::from_str::<Value>(line).expect("JSON"));
    let rows: Vec<Value> = rows.collect();
    let of = |id: &str| rows.iter().find(|row| row["skill"] == id).expect("a row");
    let sum = |column: &str, deck: &str| {
        let of_deck = |row: &&Value| row["skill"].as_str().is_some_and(|id| id.starts_with(deck));
        let numbers = rows
            .iter()
            .filter(of_deck)
            .filter_map(|row| row[column].as_u64());
        numbers.sum::<u64>()
    };
    let as_told = |n: usize| u64::try_from(n).expect("small");
    let n_first = home.kept().len() - 2;
    assert_eq!(sum("answered", "first-steps/"), as_told(n_first));
    assert_eq!(sum("right", "first-steps/"), as_told(n_right));
    assert_eq!(of("path/voices")["answered"], 2);
    assert_eq!(
        (&of("path/bass")["answered"], &of("path/bass")["listened"]),
        (&0.into(), &1.into())
    );
    check_plain(of("first-steps/plain"));
    // Two hands wait for what they need, as the deck says.
    let waiting = of("first-steps/two-hands");
    assert_eq!(waiting["comes"], "waits");
    assert!(
        waiting["waits_for"]
            .as_array()
            .is_some_and(|ids| !ids.is_empty())
    );

    let text = progress(&home, "").out;
    let line = text
        .lines()
        .find(|line| line.contains("(first-steps/plain)"))
        .expect("a line");
    assert!(
        line.starts_with("In threes or in twos: ") && line.contains(" % right of "),
        "{line}"
    );
    assert!(
        line.contains("d' ") && line.contains("leaning to threes"),
        "{line}"
    );
    assert!(line.contains("due in "), "{line}");
    assert!(text.contains("1 phrase listened to"), "{text}");
    assert!(text.contains("not practised yet, opens after: "), "{text}");

    let csv = progress(&home, "--csv").out;
    assert!(csv.starts_with("skill,title,answered,right,"));
    assert_eq!(csv.lines().count(), rows.len() + 1);
}

/// Who always says threes tells nothing apart, leans to threes, and is sent back within days.
#[track_caller]
fn check_plain(row: &Value) {
    assert!(
        row["d_prime"].as_f64().expect("both were asked").abs() < 0.7,
        "{row}"
    );
    assert_eq!(row["lean"], "threes");
    assert_eq!(row["heard_from_db"], Value::Null, "not heard yet");
    assert_eq!(row["last_day"], "2026-03-02");
    let due = row["due_day"].as_str().expect("a day");
    assert!(("2026-03-03".."2026-03-20").contains(&due), "{due}");
    assert_eq!(row["comes"], "later");
}
