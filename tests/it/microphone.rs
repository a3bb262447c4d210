//! The microphone, through a virtual card whose own sound it hears: claps that are played are heard,
//! each once, as far apart as they are.

use std::fs::File;
use std::io::{BufRead as _, BufReader, Read as _};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use contrapalma::pcm::{Pcm, SampleRate, wav};
use contrapalma::phrase::{Phrase, Touch};
use contrapalma::rhythm::{Cycle, Feel, Layer, Tempo, Tick};
use contrapalma::sound::{Timeline, render};
use contrapalma::world::Seed;
use tempfile::TempDir;

use crate::card::Card;

const N_CYCLES: u32 = 8;
/// Pulses on which it is clapped, of six: so that gaps differ.
const CLAPPED: [i64; 4] = [0, 2, 3, 5];

#[test]
fn claps_are_heard_once_and_as_far_apart_as_they_are() {
    let card = Card::start();
    let dir = TempDir::new().expect("a temporary folder");
    let file = dir.path().join("claps.wav");
    let truth = write_claps(&file);
    // Sound that was lost on the way proves nothing: such a run is made again.
    let run = (0..5)
        .map(|_| Heard::on(&card, &file))
        .find(|run| run.n_lost == 0);
    let run = run.expect("sound was lost in five runs in a row: the machine is too busy");

    assert_eq!(run.claps.len(), truth.len(), "{:?}", run.claps);
    let gaps = |times: &[f64]| -> Vec<f64> { times.windows(2).map(|w| w[1] - w[0]).collect() };
    let pairs = gaps(&run.claps).into_iter().zip(gaps(&truth));
    let mut off: Vec<f64> = pairs
        .map(|(heard, true_gap)| (heard - true_gap).abs())
        .collect();
    off.sort_by(f64::total_cmp);
    let (p95, most) = (off[off.len() * 95 / 100], off[off.len() - 1]);
    println!(
        "gaps of {} claps are off by {p95:.2} ms in 95 of 100, {most:.2} ms at most",
        truth.len()
    );
    assert!(p95 < 3.0, "{off:?}");
}

#[test]
fn no_microphone_is_an_error_in_words() {
    // A configuration of the sound library that names no device at all.
    let dir = TempDir::new().expect("a temporary folder");
    let empty = dir.path().join("none.conf");
    std::fs::write(&empty, "").expect("it can be written");
    let mut example = Command::new(hearer());
    let out = example
        .env("ALSA_CONFIG_PATH", &empty)
        .stdin(Stdio::null())
        .output();
    let out = out.expect("the example can be started");
    assert!(!out.status.success());
    let said = String::from_utf8_lossy(&out.stderr);
    assert!(said.contains("NoMicrophone { reason: \""), "{said}");
}

/// Writes a second of silence and claps to a file; when each clap begins after the silence, in
/// milliseconds.
fn write_claps(file: &Path) -> Vec<f64> {
    let silent = Phrase {
        cycle: Cycle::SIX,
        pace: Tempo::of_hundredths(19_345).expect("in range").into(),
        n_cycles: N_CYCLES,
        entry: 0,
        feel: Feel::Either,
        notes: Vec::new(),
    };
    let layer = Layer::of(Cycle::SIX, &CLAPPED).expect("pulses of six");
    let phrase = silent.clapped(&[layer], Touch::Clara);
    // What is played first may be broken off while the player fills its buffers.
    let mut samples = vec![0.0; 2 * 48_000];
    samples.extend(render(&phrase, SampleRate::HZ_48000, Seed(1)).samples());
    let pcm = Pcm::stereo(SampleRate::HZ_48000, samples);
    let out = File::create(file).expect("it can be written");
    wav::write(&pcm, std::io::BufWriter::new(out)).expect("it can be written");
    let timeline = Timeline::of(&phrase, SampleRate::HZ_48000);
    let pulses = (0..i64::from(N_CYCLES)).flat_map(|cycle| CLAPPED.map(|pulse| 6 * cycle + pulse));
    pulses
        .map(|pulse| ms(SampleRate::HZ_48000.micros_at(timeline.frame_of(Tick::of_pulse(pulse)))))
        .collect()
}

/// What the microphone heard.
struct Heard {
    /// In milliseconds of its clock.
    claps: Vec<f64>,
    n_lost: u64,
}

impl Heard {
    /// Plays a file on the card and listens to it.
    fn on(card: &Card, file: &Path) -> Self {
        let mut hearer = Command::new(hearer());
        hearer
            .envs(card.environment())
            .stdin(Stdio::piped())
            .stdout(Stdio::piped());
        let mut hearer = hearer.spawn().expect("the example can be started");
        let mut said = BufReader::new(hearer.stdout.take().expect("it was piped"));
        let mut line = String::new();
        said.read_line(&mut line).expect("plain text");
        assert!(line.starts_with("microphone "), "{line}");

        let mut player = Command::new("paplay");
        let played = player
            .arg("--latency-msec=200")
            .arg(file)
            .envs(card.environment())
            .status();
        assert!(played.expect("paplay can be started").success());
        drop(hearer.stdin.take());
        let mut rest = String::new();
        said.read_to_string(&mut rest).expect("plain text");
        assert!(hearer.wait().expect("it was started").success());
        let numbers = |word: &str| -> Vec<i64> {
            let lines = rest.lines().filter_map(|line| line.strip_prefix(word));
            lines
                .map(|rest| rest.trim().parse().expect("a number"))
                .collect()
        };
        Self {
            claps: numbers("clap").into_iter().map(ms).collect(),
            n_lost: numbers("lost")[0].unsigned_abs(),
        }
    }
}

#[expect(clippy::cast_precision_loss, reason = "moments of a few minutes")]
fn ms(micros: i64) -> f64 {
    micros as f64 / 1_000.0
}

/// The example, which `cargo test` builds beside the tests.
fn hearer() -> PathBuf {
    let tests = std::env::current_exe().expect("the test is a program");
    let built = tests.ancestors().nth(2).expect("it lies two folders deep");
    let hearer = built.join("examples/hear_claps");
    assert!(
        hearer.exists(),
        "{} is missing: `cargo build --features listen-in --example hear_claps` builds it",
        hearer.display()
    );
    hearer
}
