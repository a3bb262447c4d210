//! The program is killed (SIGKILL) at random moments of a sitting: what was said to be kept is kept.

use std::thread;
use std::time::Duration;

use contrapalma::world::{Dice, Seed};

use crate::program::{Home, Talk, run};

const ROUNDS: usize = 200;
const THREADS: u64 = 2;
/// The moments are drawn from this number.
const MOMENTS: u64 = 20_260_302;

#[test]
fn what_was_said_to_be_kept_outlives_a_kill_at_any_moment() {
    let halves: Vec<_> = (0..THREADS)
        .map(|idx| thread::spawn(move || rounds(Seed(MOMENTS).child("half", idx))))
        .collect();
    let mut n_kept = 0;
    for half in halves {
        n_kept += half.join().expect("no round failed");
    }
    println!("{n_kept} answers");
    // Moments that fall before the first answer prove little; most are to fall later.
    assert!(n_kept > ROUNDS, "only {n_kept} answers in {ROUNDS} rounds");
}

/// Kills the program again and again, most times in the home of the round before. Returns how many
/// answers were said to be kept.
fn rounds(seed: Seed) -> usize {
    const N: usize = ROUNDS / 2;
    let mut dice = seed.dice();
    let mut home = Home::new();
    let mut said = Vec::new();
    let mut n_said = 0;
    for idx in 0..N {
        if dice.one_in(8) {
            home = Home::new();
            said.clear();
        }
        let before = said.len();
        said.extend(killed(&home, &mut dice));
        n_said += said.len() - before;
        if home.data().exists() {
            let kept = home.kept();
            let lost: Vec<&String> = said.iter().filter(|name| !kept.contains(name)).collect();
            assert!(lost.is_empty(), "round {idx}: {lost:?} is lost");
            // One may be kept before it could be said.
            assert!(kept.len() >= said.len(), "round {idx}");
        }
        if idx < 5 || idx + 5 >= N {
            said.extend(next_start(&home, idx));
        }
    }
    n_said
}

/// Begins a sitting, answers as it comes, and kills the program at a moment drawn by `dice`. Returns
/// the answers that were said to be kept.
fn killed(home: &Home, dice: &mut Dice) -> Vec<String> {
    let n_lines = dice.below(50);
    let patience = Duration::from_micros(u64::try_from(dice.below(40_000)).expect("few"));
    let seed = dice.below(1_000_000);
    let args = format!("sit --plain --silent --questions 50 --seed {seed}");
    let mut talk = Talk::start(home.program(&args));
    let mut said = Vec::new();
    for _ in 0..n_lines {
        let line = talk.line().expect("a sitting of fifty questions goes on");
        hear(&mut talk, &line, &mut said);
    }
    // Either at once, or while the next line is waited for.
    if dice.one_in(2)
        && let Some(line) = talk.line_within(patience)
    {
        hear(&mut talk, &line, &mut said);
    }
    let rest = talk.kill();
    said.extend(rest.iter().filter_map(|line| kept(line)));
    said
}

/// Answers what asks for an answer, and notes what is kept.
fn hear(talk: &mut Talk, line: &str, said: &mut Vec<String>) {
    if line.starts_with("Enter is a tap") {
        talk.say("d");
    } else if line.starts_with("Answer with a number") {
        talk.say("1");
    } else if line.starts_with("Enter goes on") {
        talk.say("");
    }
    said.extend(kept(line));
}

fn kept(line: &str) -> Option<String> {
    line.strip_prefix("kept ").map(str::to_owned)
}

/// The program starts again as if nothing had been. Returns what it kept.
fn next_start(home: &Home, round: usize) -> Option<String> {
    let ended = run(home.sitting("--questions 1"), "1\nd\n");
    assert_eq!((ended.code, ended.err.as_str()), (0, ""), "round {round}");
    ended.out.lines().find_map(kept)
}
