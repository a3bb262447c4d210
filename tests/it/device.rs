//! The sound device, played through a virtual card and captured: what is heard is what the timeline
//! says, to the frame, and the moments that the output gives fit each other.

use std::fs::File;
use std::path::PathBuf;
use std::process::Command;

use contrapalma::pcm::{Frame, Pcm, SampleRate, wav};
use tempfile::TempDir;

use crate::card::Card;

/// The bells of `tests/card/play_clicks.rs` come 123.45 times a minute: so many frames hold so many.
const FRAMES: usize = 6_000 * 48_000;
const PULSES: usize = 12_345;
const N_BELLS: usize = 6;
/// Seconds to capture: two of silence and two plays of four, with some to spare.
const SECONDS: &str = "12";

#[test]
fn what_is_heard_is_what_the_timeline_says() {
    let card = Card::start();
    // A device that ran dry or stood still proves nothing: such a run is made again.
    let run = (0..5).map(|n| Run::on(&card, n)).find(Run::was_steady);
    let run =
        run.expect("five runs in a row were not steady: the machine is too busy for this test");

    let onsets = onsets(&run.captured);
    assert_eq!(onsets.len(), 2 * N_BELLS, "{onsets:?}");
    for play in onsets.chunks(N_BELLS) {
        for (gaps, onset) in (0_usize..).zip(play) {
            // Rounded to the nearest frame.
            let expected = (2 * gaps * FRAMES + PULSES) / (2 * PULSES);
            let heard = onset - play[0];
            assert!(
                heard.abs_diff(expected) <= 1,
                "bell {gaps}: {heard} for {expected}"
            );
        }
    }
    // Between the plays lies what the program did meanwhile; both clocks must tell the same.
    let heard = micros(onsets[N_BELLS] - onsets[0]);
    let told = run.began[1].abs_diff(run.began[0]);
    assert!(
        heard.abs_diff(told) < 2_000,
        "heard {heard} µs apart, told {told} µs"
    );
}

/// How long `n_frames` last, in microseconds.
fn micros(n_frames: usize) -> u64 {
    let frame = Frame(i64::try_from(n_frames).expect("a short file"));
    u64::try_from(SampleRate::HZ_48000.micros_at(frame)).expect("not negative")
}

#[test]
fn no_device_is_an_error_in_words() {
    // A configuration of the sound library that names no device at all.
    let dir = TempDir::new().expect("a temporary folder");
    let empty = dir.path().join("none.conf");
    std::fs::write(&empty, "").expect("it can be written");
    let out = Command::new(player())
        .env("ALSA_CONFIG_PATH", &empty)
        .output()
        .expect("the example can be started");
    assert!(!out.status.success());
    let said = String::from_utf8_lossy(&out.stderr);
    assert!(said.contains("NoDevice { reason: \""), "{said}");
}

/// The frames at which bells begin: the first beyond a twentieth of the peak, after an eighth of a
/// second without such.
fn onsets(pcm: &Pcm) -> Vec<usize> {
    let threshold = 0.05 * pcm.peak();
    let mut last: Option<usize> = None;
    let mut found = Vec::new();
    for (idx, frame) in pcm.frames().enumerate() {
        if frame[0].abs() > threshold {
            if last.is_none_or(|last| idx - last > 6_000) {
                found.push(idx);
            }
            last = Some(idx);
        }
    }
    found
}

/// One run of the example with what was captured of it.
struct Run {
    captured: Pcm,
    /// When the first frame of each play was heard, as the program knew it at its end.
    began: Vec<u64>,
    /// The same, as it knew it after a second.
    early: Vec<u64>,
    n_underruns: u64,
}

impl Run {
    fn was_steady(&self) -> bool {
        let shifts = self.began.iter().zip(&self.early);
        self.n_underruns == 0
            && shifts
                .into_iter()
                .all(|(late, early)| late.abs_diff(*early) < 1_000)
    }

    fn on(card: &Card, n: usize) -> Self {
        let dir = TempDir::new().expect("a temporary folder");
        let file = dir.path().join(format!("captured-{n}.wav"));
        let mut capture = card.capture(&file, SECONDS);
        let said = play(card);
        let numbers = |word: &str| {
            let lines = said.lines().filter_map(|line| line.strip_prefix(word));
            lines
                .map(|rest| rest.trim().parse().expect("a number"))
                .collect::<Vec<u64>>()
        };
        assert!(capture.wait().expect("it was started").success());
        let file = File::open(file).expect("it was captured");
        Self {
            captured: wav::read(std::io::BufReader::new(file)).expect("a WAV file"),
            began: numbers("late"),
            early: numbers("early"),
            n_underruns: numbers("underruns")[0],
        }
    }
}

/// Runs the example on the card; what it said.
fn play(card: &Card) -> String {
    let mut example = Command::new(player());
    let out = example.envs(card.environment()).output();
    let out = out.expect("the example can be started");
    let errors = String::from_utf8_lossy(&out.stderr);
    assert!(out.status.success(), "{errors}");
    String::from_utf8(out.stdout).expect("plain text")
}

/// The example, which `cargo test` builds beside the tests.
fn player() -> PathBuf {
    let tests = std::env::current_exe().expect("the test is a program");
    let built = tests.ancestors().nth(2).expect("it lies two folders deep");
    let player = built.join("examples/play_clicks");
    assert!(
        player.exists(),
        "{} is missing: `cargo build --example play_clicks` builds it",
        player.display()
    );
    player
}
