//! What a teacher hears on the device: the sound of an exercise and a learner's mistake, on a virtual sound
//! card that is listened to; and what is said where there is no device.

use std::process::{Command, Stdio};

use contrapalma::pcm::{Pcm, SampleRate, wav};

use crate::card::{Card, Listener};
use crate::program::{Ended, Home, run};

const WAV: &str = "decks show first-steps --hear plain --seed 3 --wav a.wav";
const PLAYED: &str = "decks show first-steps --hear plain --seed 3";

#[track_caller]
fn done(home: &Home, args: &str) -> Ended {
    let ended = run(home.program(args), "");
    assert_eq!(ended.code, 0, "{args}: {}{}", ended.out, ended.err);
    ended
}

fn on_card(home: &Home, card: &Card, args: &str) -> Command {
    let mut command = home.program(args);
    command.envs(card.environment());
    command
}

/// The mean of both channels.
fn mono(pcm: &Pcm) -> Vec<f64> {
    let frames = pcm.frames();
    frames
        .map(|frame| f64::from(frame.iter().sum::<f32>()) / 2.0)
        .collect()
}

/// Mean squares of hundredths of a second.
fn energies(samples: &[f64]) -> Vec<f64> {
    let blocks = samples.chunks_exact(480);
    blocks
        .map(|block| block.iter().map(|x| x * x).sum::<f64>() / 480.0)
        .collect()
}

/// How alike two courses of energy are at best, one shifted against the other: 1 is the same.
fn likeness(heard: &[f64], expected: &[f64]) -> f64 {
    let root = |all: &[f64]| all.iter().map(|x| x.sqrt()).collect::<Vec<f64>>();
    let (heard, expected) = (root(heard), root(expected));
    let norm = |all: &[f64]| all.iter().map(|x| x * x).sum::<f64>().sqrt();
    let last = heard.len().saturating_sub(expected.len());
    let at = |from: usize| {
        let part = &heard[from..from + expected.len()];
        let product: f64 = part.iter().zip(&expected).map(|(a, b)| a * b).sum();
        product / (norm(part) * norm(&expected)).max(1e-12)
    };
    (0..=last).map(at).fold(0.0, f64::max)
}

#[test]
fn an_exercise_sounds_on_the_device_as_in_its_file() {
    let (card, home) = (Card::start(), Home::new());
    done(&home, WAV);
    let file = std::fs::read(home.file("a.wav")).expect("a sound");
    let file = wav::read(&file[..]).expect("a WAV file");
    assert_eq!(file.rate(), SampleRate::HZ_48000);
    // It rises within a second and a half.
    let expected = energies(&mono(&file)[72_000..]);
    let mut best: f64 = 0.0;
    // A busy machine may break the sound off.
    for _ in 0..3 {
        let mut listener = card.listen();
        let ended = run(on_card(&home, &card, PLAYED), "");
        assert_eq!(ended.code, 0, "{}{}", ended.out, ended.err);
        assert!(
            ended.out.contains("rising from quiet; ctrl-c ends it"),
            "{}",
            ended.out
        );
        assert_eq!(ended.err, "");
        listener.hear(4_800);
        let heard = energies(listener.heard());
        assert!(
            heard.len() > expected.len(),
            "it ended before the sound did"
        );
        best = best.max(likeness(&heard, &expected));
        if best > 0.98 {
            break;
        }
    }
    assert!(best > 0.98, "{best}");
}

#[test]
fn a_mistake_sounds_on_the_device_and_a_signal_ends_it() {
    let (card, home) = (Card::start(), Home::new());
    done_with(
        &home,
        "sit --plain --silent --seed 5 --questions 8 --deck first-steps",
        &"1\n\n".repeat(40),
    );
    done(&home, "hand-in --name Anna --to anna.gz");
    done(&home, "class collect anna.gz");
    let report = done(&home, "class report --learner anna --deck first-steps").out;
    assert!(report.contains("Worth hearing again"), "{report}");
    let none = run(home.program("class report --hear 1"), "");
    assert_eq!(none.code, 2, "{}", none.err);

    let mut listener = card.listen();
    let ended = run(
        on_card(
            &home,
            &card,
            "class report --learner anna --deck first-steps --hear 1",
        ),
        "",
    );
    assert_eq!(ended.code, 0, "{}{}", ended.out, ended.err);
    assert!(ended.out.starts_with("Anna, "), "{}", ended.out);
    assert!(ended.out.contains("Not this time"), "{}", ended.out);
    listener.catch_up();
    let n_loud = energies(listener.heard())
        .iter()
        .filter(|x| **x > 1e-5)
        .count();
    assert!(n_loud > 200, "{n_loud} hundredths of a second sounded");

    // Nobody waits for the end. Where sound is heard so late that it is over by then, once more.
    let is_ended = (0..3).any(|_| ends_by_a_signal(&home, &card, &mut listener));
    assert!(is_ended, "it was over each time before it could be ended");
}

/// Ends it as soon as it is heard; `false` where it was over by then.
fn ends_by_a_signal(home: &Home, card: &Card, listener: &mut Listener) -> bool {
    let mut command = on_card(
        home,
        card,
        "class report --learner anna --deck first-steps --hear 1",
    );
    command
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::null());
    let before = listener.catch_up();
    let mut child = command.spawn().expect("the program starts");
    let is_loud = |block: &[f64]| block.iter().any(|x| x.abs() > 1e-3);
    let began = (0..2_000).any(|_| is_loud(&listener.next_block()));
    assert!(began, "nothing was heard in twenty seconds");
    if child.try_wait().expect("it can be asked").is_some() {
        return false;
    }
    // Not that of ctrl-c, which whatever was started in the background is made to ignore.
    let kill = Command::new("kill")
        .args(["-TERM", &child.id().to_string()])
        .status();
    assert!(kill.expect("kill can be started").success());
    let status = child.wait().expect("it ended");
    assert_eq!(status.code(), None, "a signal ended it");
    let heard = listener.catch_up() - before;
    assert!(heard < 48_000 * 40, "{heard} frames");
    true
}

#[track_caller]
fn done_with(home: &Home, args: &str, input: &str) {
    let ended = run(home.program(args), input);
    assert_eq!(ended.code, 0, "{args}: {}{}", ended.out, ended.err);
}

#[test]
fn without_a_device_it_is_said_in_a_sentence() {
    let home = Home::new();
    let empty = home.write("none.conf", "");
    let mut command = home.program(PLAYED);
    command.env("ALSA_CONFIG_PATH", empty);
    let ended = run(command, "");
    assert_eq!(ended.code, 4, "{}", ended.out);
    assert_eq!(ended.out, "");
    let lines: Vec<&str> = ended.err.lines().collect();
    assert!(lines[0].contains("no sound device"), "{}", ended.err);
    assert_eq!(lines.len(), 2, "what is wrong, and a hint: {}", ended.err);
}
