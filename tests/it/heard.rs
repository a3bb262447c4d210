//! The program on a screen and on a virtual sound card, driven by a listener that knows nothing of it
//! but what is heard and what stands on the screen.

use std::fs;
use std::path::Path;

use contrapalma::quiz::Attempt;
use contrapalma::store::Store;
use contrapalma::world::{Moment, Seed, instant_now};
use portable_pty::CommandBuilder;
use tempfile::TempDir;

use crate::card::{Card, Listener};
use crate::ear::{Heard, loudness_at};
use crate::terminal::{ENTER, PATIENCE, Terminal, program};

/// The first day of practice, the first of a month with thirty days.
pub(crate) const DAY: u32 = 1;
const TITLE: &str = "In threes or in twos";
/// In the bottom line of the first screen, of a question and of its reveal, and nowhere else.
pub(crate) const TODAY: &str = "enter begin";
pub(crate) const QUESTION: &str = "once more (heard";
pub(crate) const REVEAL: &str = "enter next";
/// Said of a question whose phrase is over.
const SOUNDED: &str = "it has sounded";
/// Fainter than this nothing is taken for sound.
const FAINT: f64 = 5e-4;

#[test]
fn who_hears_the_low_notes_is_right_and_is_asked_again_when_the_skill_is_due() {
    let (card, home) = (Card::start(), TempDir::new().expect("a temporary folder"));
    let mut listener = card.listen();
    let mut terminal = Terminal::start(on_card(&card, home.path(), DAY));
    let first_frame = terminal.wait_for(TODAY);

    let pressed = listener.catch_up();
    terminal.press(ENTER);
    let mut tempos = Vec::new();
    for n in 0..2 {
        let begun = if n == 0 { pressed } else { listener.catch_up() };
        if n > 0 {
            terminal.press(ENTER);
        }
        terminal.wait_for(QUESTION);
        let heard = listen_and_answer(&mut terminal, &mut listener, begun);
        tempos.push(heard.tempo());
    }
    let sound = listener.heard()[pressed..]
        .iter()
        .position(|sample| sample.abs() > FAINT);
    println!(
        "first frame after {} ms, first sound {} ms after enter",
        first_frame.as_millis(),
        sound.expect("there was sound") / 48
    );

    terminal.press("q");
    terminal.wait_for("this sitting");
    let summary = terminal.text();
    assert!(summary.contains("2 of 2 right, in "), "{summary}");
    let days = days_until_back(&summary);
    terminal.press("q");
    assert_eq!(terminal.end(), 0);
    assert!(terminal.is_whole());
    // What was heard is as fast as the program claims.
    let kept = attempts(home.path());
    let claimed: Vec<f64> = kept.iter().map(|one| one.tempo.pulses_a_minute()).collect();
    assert_eq!(claimed.len(), tempos.len());
    for (heard, claimed) in tempos.iter().zip(&claimed) {
        assert!(
            (heard / claimed - 1.0).abs() < 0.01,
            "{heard} for {claimed}"
        );
    }

    let mut terminal = Terminal::start(on_card(&card, home.path(), DAY + days));
    terminal.wait_for(TODAY);
    let today = terminal.text();
    let mut lines = today.lines().map(str::trim_start);
    let due = lines.find(|line| line.starts_with("due "));
    assert!(due.is_some_and(|line| line.contains(TITLE)), "{today}");
    terminal.press(ENTER);
    terminal.wait_for(QUESTION);
    let asked = terminal.text();
    assert!(asked.trim_start().starts_with(TITLE), "{asked}");
    assert!(asked.contains("due: last heard"), "{asked}");
    terminal.press("q");
    terminal.wait_for("this sitting");
    terminal.press("q");
    assert_eq!(terminal.end(), 0);
}

/// Listens to a question to its end, answers it by the low notes, and holds what is revealed against
/// what was heard.
fn listen_and_answer(terminal: &mut Terminal, listener: &mut Listener, begun: usize) -> Heard {
    let question = terminal.text();
    assert!(question.trim_start().starts_with(TITLE), "{question}");
    let heard = listen(terminal, listener, begun);
    // Only the third, fourth and fifth count tell threes from twos.
    let threes = heard.low_on(|place| place == 3);
    let twos = heard.low_on(|place| place == 2 || place == 4);
    assert!((threes - twos).abs() > 6.0, "{threes} dB, {twos} dB");
    let said = if threes > twos {
        "in threes"
    } else {
        "in twos"
    };
    terminal.press(&key_of(&question, said));
    terminal.wait_for(REVEAL);
    let reveal = terminal.text();
    assert!(reveal.contains(&format!("Right: {said}.")), "{reveal}");

    let marks = bass_row(&reveal);
    assert_eq!(marks.len(), 6, "{reveal}");
    let is_marked = |place: usize| "32".contains(marks[place]);
    let (marked, others) = (
        heard.low_on(is_marked),
        heard.low_on(|place| !is_marked(place)),
    );
    assert!(marked > others + 6.0, "{marked} dB, {others} dB:\n{reveal}");
    heard
}

/// What is heard of a phrase of four cycles of six. A busy machine may break the sound off: then the
/// program plays it again, and what was heard is no such phrase; it is asked for once more.
fn listen(terminal: &mut Terminal, listener: &mut Listener, begun: usize) -> Heard {
    let mut begun = begun;
    let heard = (0..3).find_map(|n| {
        if n > 0 {
            begun = listener.catch_up();
            terminal.press("r");
            terminal.wait_for("sounding   cycle");
        }
        terminal.wait_for(SOUNDED);
        listener.hear(4_800);
        let heard = Heard::of(&listener.heard()[begun..])?;
        // The strokes after the last accent, two at most, may be too faint to be counted.
        (22..=24).contains(&heard.n_pulses()).then_some(heard)
    });
    heard.expect("of three hearings one is whole, unless the machine is too busy")
}

#[test]
fn who_taps_with_the_bell_is_right_and_who_taps_three_pulses_late_is_told_so() {
    let (card, home) = (Card::start(), TempDir::new().expect("a temporary folder"));
    let mut listener = card.listen();
    let mut terminal = with_deck(&card, home.path(), BELL);

    terminal.press(ENTER);
    without_tune_up(&mut terminal);
    terminal.wait_for(QUESTION);
    tap_with_bells(&mut terminal, &mut listener, |_| 0);
    let reveal = terminal.text();
    assert!(
        reveal.contains("Right: the cycle begins on what is counted 1."),
        "{reveal}"
    );

    // Until the last bell has faded.
    listener.hear(24_000);
    terminal.press(ENTER);
    terminal.wait_for(QUESTION);
    // Half of the six pulses from bell to bell.
    tap_with_bells(&mut terminal, &mut listener, |between| between / 2);
    let reveal = terminal.text();
    let words = reveal.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        words.contains("Not this time: the cycle begins on what is counted 1."),
        "{reveal}"
    );
    assert!(words.contains("That is 3 pulses after 1."), "{reveal}");

    terminal.press("q");
    terminal.wait_for("this sitting");
    terminal.press("q");
    assert_eq!(terminal.end(), 0);
    let kept = attempts(home.path());
    let right: Vec<bool> = kept.iter().map(|one| one.right).collect();
    assert_eq!(right, [true, false]);
    // How late the whole way is: card, listener, keyboard and program.
    for (attempt, expected) in kept.iter().zip([0.0, 3.0]) {
        let pulse_ms = 60_000.0 / attempt.tempo.pulses_a_minute();
        let delays = attempt.taps.iter().map(|tap| {
            let pulses = f64::from(tap.ms) / pulse_ms - expected;
            (pulses - 6.0 * (pulses / 6.0).round()) * pulse_ms
        });
        println!(
            "taps in ms after their place: {:?}",
            delays.map(f64::round).collect::<Vec<_>>()
        );
    }
}

/// Six counts with a bell on every first one, fast enough to be soon over.
const BELL: &str = r#"
format = 1
id = "by-the-bell"
title = "By the bell"

[[exercise]]
id = "tap"
title = "Tap with the bell"
asks = "find-start"
by = "taps"
line = "Tap with the bell."
families = ["bass-strums"]
feels = ["threes"]
tempo = [190, 210]
cycles = [4, 4]
bell = "every"
level = { easiest = 8, criterion = 5, hardest = 2 }
"#;
/// The bell's lowest partial: C of the fourth octave above middle C, in hertz.
pub(crate) const BELL_HZ: f64 = 2_093.0;
/// How loud that is while a bell is struck, in decibels; strings stay ten decibels below.
pub(crate) const STRUCK: f64 = -26.0;

/// Taps so many frames after each bell, worked out from the frames between the last two, until the
/// answer is taken.
fn tap_with_bells(
    terminal: &mut Terminal,
    listener: &mut Listener,
    delay: impl Fn(usize) -> usize,
) {
    let deadline = instant_now() + 2 * PATIENCE;
    let (mut last_bell, mut tap_at) = (None, None);
    listener.catch_up();
    while !terminal.text().contains(REVEAL) {
        assert!(instant_now() < deadline, "no reveal:\n{}", terminal.text());
        let block = listener.next_block();
        let now = listener.heard().len();
        let is_rung = loudness_at(BELL_HZ, &block) > STRUCK;
        // A bell rings on for a while, but not for half a second.
        if is_rung && last_bell.is_none_or(|last| now - last > 24_000) {
            tap_at = last_bell.map(|last| now + delay(now - last));
            last_bell = Some(now);
        }
        if tap_at.is_some_and(|at| at <= now) {
            terminal.press(" ");
            tap_at = None;
        }
        terminal.take_what_came();
    }
}

/// A player who knows of the program only what the card plays: a bell on the first count, and pulses
/// of 300 ms by its own clock. What the program says must be what the player did.
#[test]
fn what_is_said_of_hands_is_what_they_did() {
    let (card, home) = (Card::start(), TempDir::new().expect("a temporary folder"));
    let mut listener = card.listen();
    let mut terminal = with_deck(&card, home.path(), CLAP);

    let threes = |pulse: usize| pulse.is_multiple_of(3);
    let twos = |pulse: usize| pulse.is_multiple_of(2);
    let slides = |pulse: usize| {
        if pulse < 18 {
            threes(pulse)
        } else {
            twos(pulse)
        }
    };
    let turned = |pulse: usize| pulse % 3 == 1;
    type Plan<'a> = &'a dyn Fn(usize) -> bool;
    let played: [(Plan<'_>, &str); 4] = [
        (&threes, "Right: claps on 1 and 4, held to the end."),
        (&twos, "You clapped on 1, 3 and 5"),
        (&turned, "You clapped on 2 and 5, one pulse late"),
        (
            &slides,
            "You began on 1 and 4 and ended on 1, 3 and 5 from cycle",
        ),
    ];
    for (n, (is_clapped, said)) in played.into_iter().enumerate() {
        terminal.press(ENTER);
        if n == 0 {
            without_tune_up(&mut terminal);
        }
        terminal.wait_for(QUESTION);
        clap(&mut terminal, &mut listener, is_clapped);
        let reveal = terminal.text();
        let words = reveal.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(words.contains(said), "{said}:\n{reveal}");
        // Until the last stroke has faded.
        listener.hear(24_000);
    }
    terminal.press("q");
    terminal.wait_for("this sitting");
    terminal.press("q");
    assert_eq!(terminal.end(), 0);
    let right: Vec<bool> = attempts(home.path()).iter().map(|one| one.right).collect();
    assert_eq!(right, [true, false, false, false]);
}

/// Threes to be clapped, with a bell on every first count.
const CLAP: &str = r#"
format = 1
id = "by-hand"
title = "By hand"

[[exercise]]
id = "clap"
title = "Clap the threes"
asks = "clap"
line = "Clap."
families = ["bass-strums"]
feels = ["threes"]
clappings = ["1-4"]
guide = "none"
tempo = [200, 200]
cycles = [6, 6]
bell = "every"
level = { easiest = 8, criterion = 5, hardest = 2 }
"#;
/// Frames of a pulse at 200 pulses a minute.
const PULSE: usize = 48_000 * 60 / 200;

/// Claps on these pulses, counted in frames from the first bell, until the answer is taken.
fn clap(terminal: &mut Terminal, listener: &mut Listener, is_clapped: &dyn Fn(usize) -> bool) {
    let deadline = instant_now() + 2 * PATIENCE;
    let (mut first_bell, mut last_bell) = (None, None);
    let mut next = 1;
    listener.catch_up();
    while !terminal.text().contains(REVEAL) {
        assert!(instant_now() < deadline, "no reveal:\n{}", terminal.text());
        let block = listener.next_block();
        let now = listener.heard().len();
        // A bell rings on for a while, but not for half a second.
        let is_struck = last_bell.is_none_or(|last| now - last > 24_000);
        if is_struck && loudness_at(BELL_HZ, &block) > STRUCK {
            last_bell = Some(now);
            // Where none is due the sound broke off, as it may on a busy machine, and began again.
            let off = first_bell.map(|first| (now - first + PULSE / 4) % (6 * PULSE));
            if off.is_none_or(|off| off > PULSE / 2) {
                (first_bell, next) = (Some(now), 1);
            }
        }
        while first_bell.is_some_and(|first| first + next * PULSE <= now) {
            if next < 36 && is_clapped(next) {
                terminal.press(" ");
            }
            next += 1;
        }
        terminal.take_what_came();
    }
}

/// The program on the card with a deck of its own, on its first screen.
pub(crate) fn with_deck(card: &Card, home: &Path, deck: &str) -> Terminal {
    let file = home.join("deck.toml");
    fs::write(&file, deck).expect("it can be written");
    let mut command = on_card(card, home, DAY);
    command.arg("--deck");
    command.arg(file);
    let mut terminal = Terminal::start(command);
    terminal.wait_for(TODAY);
    terminal
}

/// Goes on without the tune-up that is offered before the first taps.
pub(crate) fn without_tune_up(terminal: &mut Terminal) {
    terminal.wait_for("q not now");
    terminal.press("q");
}

/// The program on the card, on this day of the month.
pub(crate) fn on_card(card: &Card, home: &Path, day: u32) -> CommandBuilder {
    assert!(day <= 30, "beyond the month");
    let mut command = program(home, &format!("2026-11-{day:02}T08:00:00Z"));
    command.args(["--seed", "7"]);
    for (name, value) in card.environment() {
        command.env(name, value);
    }
    command
}

/// What is kept. The program must have ended: it has the store for itself.
pub(crate) fn attempts(home: &Path) -> Vec<Attempt> {
    let dir = home.join(".local/share/contrapalma");
    let store = Store::open(&dir, Seed(0), Moment(0)).expect("the store is in order");
    let mut attempts = Vec::new();
    let read = store.attempts(|attempt| attempts.push(attempt));
    read.expect("the store can be read");
    attempts
}

/// The key that stands before an answer.
fn key_of(question: &str, words: &str) -> String {
    let mut lines = question
        .lines()
        .filter_map(|line| line.trim().split_once("  "));
    let found = lines.find(|(_, rest)| *rest == words);
    found.expect("the answer is offered").0.to_owned()
}

/// The marks of the low notes, count by count.
fn bass_row(reveal: &str) -> Vec<&str> {
    let mut rows = reveal
        .lines()
        .filter_map(|line| line.trim_start().strip_prefix("bass "));
    let row = rows.next().expect("a row for the bass");
    row.split_whitespace().take(6).collect()
}

/// The days that the summary gives.
fn days_until_back(summary: &str) -> u32 {
    let (_, rest) = summary.split_once("back in ").expect("it comes back");
    let number = rest.split_whitespace().next();
    number
        .and_then(|days| days.parse().ok())
        .expect("a number of days")
}
