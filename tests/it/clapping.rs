//! Somebody who claps into a microphone: the program takes the claps, learns how late they come this
//! way, and judges them.
//!
//! The player hears nothing but the card, and the microphone hears nothing but the player.

use contrapalma::world::{Seed, instant_now};
use tempfile::TempDir;

use crate::card::{Card, Listener, Mouth};
use crate::ear::loudness_at;
use crate::heard::{BELL_HZ, QUESTION, REVEAL, STRUCK, TODAY, attempts, with_deck};
use crate::terminal::{ENTER, PATIENCE, Terminal};

/// Frames of a pulse at 200 pulses a minute, and of the gap between clicks of the tune-up.
const PULSE: usize = 48_000 * 60 / 200;
const CLICKS: usize = 48_000 * 60 / 100;

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

#[test]
fn listen_to_claps_by_the_microphone_and_judge_them() {
    let (card, home) = (Card::start(), TempDir::new().expect("a temporary folder"));
    let mut mouth = card.add_microphone();
    let mut listener = card.listen();
    let mut terminal = with_deck(&card, home.path(), CLAP);
    terminal.press("m");
    terminal.wait_for("m claps by microphone");
    terminal.press("t");
    terminal.wait_for("Clap with the bell");
    let every = |_: usize| true;
    clap(
        &mut terminal,
        (&mut listener, &mut mouth),
        CLICKS,
        &every,
        "Kept for this output",
    );
    let told = words(&terminal);
    let spread = number_after(&told, "single ones spread by ");
    // The way from card to card wanders by a few milliseconds, and a clap here comes in steps of ten.
    assert!(spread < 12.0, "{told}");
    // Until the last bell has faded.
    for _ in 0..100 {
        listener.next_block();
        mouth.say_block();
    }
    terminal.press("q");
    wait(&mut terminal, (&mut listener, &mut mouth), TODAY);

    terminal.press(ENTER);
    wait(&mut terminal, (&mut listener, &mut mouth), QUESTION);
    assert!(!terminal.text().contains("space"), "{}", terminal.text());
    let threes = |pulse: usize| pulse.is_multiple_of(3);
    clap(
        &mut terminal,
        (&mut listener, &mut mouth),
        PULSE,
        &threes,
        REVEAL,
    );
    let told = words(&terminal);
    assert!(
        told.contains("Right: claps on 1 and 4, held to the end."),
        "{told}"
    );
    let spread = number_after(&told, "Spread ");
    assert!(spread < 20.0, "{told}");
    terminal.press("q");
    terminal.wait_for("this sitting");
    terminal.press("q");
    assert_eq!(terminal.end(), 0);
    let attempt = attempts(home.path()).remove(0);
    assert!(attempt.timing.is_some(), "the way is known");
}

/// Waits in silence until the screen says `said`: a microphone that hears nothing at all stands still.
fn wait(terminal: &mut Terminal, (listener, mouth): (&mut Listener, &mut Mouth), said: &str) {
    let deadline = instant_now() + PATIENCE;
    while !terminal.text().contains(said) {
        assert!(
            instant_now() < deadline,
            "not yet {said:?}:\n{}",
            terminal.text()
        );
        listener.next_block();
        mouth.say_block();
        terminal.take_what_came();
    }
}

/// Claps on these places, counted from the first bell on, until the screen says `said`.
fn clap(
    terminal: &mut Terminal,
    (listener, mouth): (&mut Listener, &mut Mouth),
    gap: usize,
    is_clapped: &dyn Fn(usize) -> bool,
    said: &str,
) {
    let deadline = instant_now() + 3 * PATIENCE;
    let samples = burst();
    let (mut first_bell, mut next) = (None, 1);
    listener.catch_up();
    while !terminal.text().contains(said) {
        assert!(
            instant_now() < deadline,
            "not yet {said:?}:\n{}",
            terminal.text()
        );
        let block = listener.next_block();
        mouth.say_block();
        let now = listener.heard().len();
        if first_bell.is_none() && loudness_at(BELL_HZ, &block) > STRUCK {
            first_bell = Some(now);
        }
        while first_bell.is_some_and(|first| first + next * gap <= now) {
            if is_clapped(next) {
                mouth.clap(&samples);
            }
            next += 1;
        }
        terminal.take_what_came();
    }
}

/// A clap by formula: noise that rises within a millisecond and fades within eight.
fn burst() -> Vec<i16> {
    let mut dice = Seed(11).child("clap", 0).dice();
    let sample = |n: i32| {
        let t = f64::from(n) / 48_000.0;
        let shape = (1.0 - (-t / 0.0005).exp()) * (-t / 0.008).exp();
        #[expect(clippy::cast_possible_truncation, reason = "at most 12,000")]
        let sample = (12_000.0 * shape * dice.real(-1.0, 1.0)) as i16;
        sample
    };
    (0..3_000).map(sample).collect()
}

fn words(terminal: &Terminal) -> String {
    terminal
        .text()
        .split_whitespace()
        .collect::<Vec<_>>()
        .join(" ")
}

fn number_after(words: &str, before: &str) -> f64 {
    let (_, rest) = words.split_once(before).expect("it is told");
    let number = rest.split(' ').next().and_then(|n| n.parse().ok());
    number.expect("a number")
}
