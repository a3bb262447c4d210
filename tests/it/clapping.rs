//! Somebody who claps into a microphone: the program takes the claps, learns how late they come this
//! way, and judges them.
//!
//! The player hears nothing but the card, and the microphone hears nothing but the player.

use std::time::Instant;

use contrapalma::quiz::Attempt;
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
    // Sound that was lost on the way proves nothing: such a sitting is made again.
    let told = (0..5).find_map(|_| clap_once());
    let told = told.expect("sound was lost in five sittings in a row: the machine is too busy");
    let spread = number_after(&told.tuned, "single ones spread by ");
    // The way from card to card wanders by a few milliseconds.
    assert!(spread < 12.0, "{}", told.tuned);
    let verdict = "Right: claps on 1 and 4, held to the end.";
    assert!(told.judged.contains(verdict), "{}", told.judged);
    let spread = number_after(&told.judged, "Spread ");
    assert!(spread < 20.0, "{}", told.judged);
    assert!(told.attempt.timing.is_some(), "the way is known");
}

/// What came of one sitting.
struct Told {
    tuned: String,
    judged: String,
    attempt: Attempt,
}

/// Tunes up, claps the threes once and leaves; nothing where sound was lost meanwhile.
fn clap_once() -> Option<Told> {
    let (card, home) = (Card::start(), TempDir::new().expect("a temporary folder"));
    card.add_microphone();
    let mut player = Player {
        terminal: with_deck(&card, home.path(), CLAP),
        listener: card.listen(),
        mouth: card.open_mouth(),
    };
    player.terminal.press("m");
    player.wait("m claps by microphone")?;
    player.terminal.press("t");
    player.wait("Clap with the bell")?;
    player.clap(CLICKS, &|_| true, "Kept for this output")?;
    let tuned = player.words();
    // Until the last bell has faded.
    (0..100).try_for_each(|_| player.go_on().map(drop))?;
    player.terminal.press("q");
    player.wait(TODAY)?;

    player.terminal.press(ENTER);
    player.wait(QUESTION)?;
    let question = player.terminal.text();
    assert!(!question.contains("space"), "{question}");
    player.clap(PULSE, &|pulse| pulse.is_multiple_of(3), REVEAL)?;
    let judged = player.words();
    player.terminal.press("q");
    player.terminal.wait_for("this sitting");
    player.terminal.press("q");
    assert_eq!(player.terminal.end(), 0);
    Some(Told {
        tuned,
        judged,
        attempt: attempts(home.path()).remove(0),
    })
}

/// Somebody who sees the screen, hears the card and claps into the microphone.
struct Player {
    terminal: Terminal,
    listener: Listener,
    mouth: Mouth,
}

impl Player {
    /// Hears and says the next ten milliseconds, since a microphone that hears nothing at all stands
    /// still; nothing once the mouth ran dry.
    fn go_on(&mut self) -> Option<Vec<f64>> {
        let block = self.listener.next_block();
        self.mouth.say_block();
        self.terminal.take_what_came();
        (!self.mouth.has_run_dry()).then_some(block)
    }

    /// Waits in silence until the screen says `said`.
    fn wait(&mut self, said: &str) -> Option<()> {
        let deadline = instant_now() + PATIENCE;
        while !self.shows(said, deadline)? {
            self.go_on()?;
        }
        Some(())
    }

    /// Claps on these places, counted from the first bell on and `gap` frames apart, until the screen
    /// says `said`; nothing where a bell did not come on a place, since the sound was then broken off.
    fn clap(&mut self, gap: usize, is_clapped: &dyn Fn(usize) -> bool, said: &str) -> Option<()> {
        let deadline = instant_now() + 3 * PATIENCE;
        let samples = burst();
        let mut bells = Bells {
            gap,
            first: None,
            last_loud: None,
        };
        let mut next = 1;
        while !self.shows(said, deadline)? {
            let block = self.go_on()?;
            let now = self.listener.heard().len();
            if loudness_at(BELL_HZ, &block) > STRUCK {
                bells.strike(now)?;
            }
            // What is said from now on is heard so late.
            let heard = now + Mouth::AHEAD;
            while bells
                .first
                .is_some_and(|first| first + next * gap < heard + block.len())
            {
                let place = bells.first.unwrap_or(0) + next * gap;
                // The first place may be over before anybody could clap on it.
                if is_clapped(next) && place >= heard {
                    self.mouth.clap_after(place - heard, &samples);
                }
                next += 1;
            }
        }
        Some(())
    }

    /// Nothing where it takes too long: claps that came too unevenly are asked for again.
    fn shows(&self, said: &str, deadline: Instant) -> Option<bool> {
        let is_late = instant_now() >= deadline;
        (!is_late).then(|| self.terminal.text().contains(said))
    }

    fn words(&self) -> String {
        let text = self.terminal.text();
        text.split_whitespace().collect::<Vec<_>>().join(" ")
    }
}

/// The bells that were heard, which come whole gaps apart.
struct Bells {
    gap: usize,
    /// The frame of the first.
    first: Option<usize>,
    last_loud: Option<usize>,
}

impl Bells {
    /// A bell sounds in the block that ends here; nothing where it begins off its place.
    fn strike(&mut self, now: usize) -> Option<()> {
        let first = *self.first.get_or_insert(now);
        let rings_on = self.last_loud.is_some_and(|last| now - last < self.gap / 2);
        self.last_loud = Some(now);
        let off = (now - first) % self.gap;
        // Four blocks, since sound comes in them.
        (rings_on || off.min(self.gap - off) < 4 * 480).then_some(())
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

fn number_after(words: &str, before: &str) -> f64 {
    let (_, rest) = words.split_once(before).expect("it is told");
    let number = rest.split(' ').next().and_then(|n| n.parse().ok());
    number.expect("a number")
}
