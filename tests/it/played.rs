//! A recording on the screen and on a virtual sound card, heard by somebody who knows its tone and its
//! clicks: pitch stays, claps lie on the pulses, at its own speed, slower, and round the loop.

use std::f64::consts::TAU;
use std::fs::{self, File};
use std::path::{Path, PathBuf};

use contrapalma::pcm::{Pcm, SampleRate, decode, resampled, wav};
use tempfile::TempDir;

use crate::card::{Card, Listener};
use crate::heard::on_card;
use crate::program::{Home, run};
use crate::terminal::Terminal;

/// The tone of the recording, in hertz.
const TONE: f64 = 440.0;
/// Seconds of a pulse, and where the first one lies: 200 pulses a minute.
const PULSE: f64 = 0.3;
const START: f64 = 0.5;
/// Seconds of the recording.
const SECONDS: u32 = 12;
/// Fainter than this nothing is taken for a stroke.
const FAINT: f64 = 4e-4;
const RIGHT: &str = "\x1b[C";

/// A steady tone, and a click on the second and on the fifth of each six pulses.
#[expect(clippy::cast_possible_truncation, reason = "samples are single")]
fn recording() -> Pcm {
    let wave = |n: u32| {
        let t = f64::from(n) / 48_000.0;
        let pulse = (t - START) / PULSE;
        let since = PULSE * (pulse - 1.0).rem_euclid(3.0);
        let click = if pulse < 1.0 {
            0.0
        } else {
            (-300.0 * since).exp()
        };
        (0.1 * (TAU * TONE * t).sin() + 0.5 * click * (TAU * 3_000.0 * since).sin()) as f32
    };
    let samples = (0..SECONDS * 48_000).flat_map(|n| [wave(n); 2]);
    Pcm::stereo(SampleRate::HZ_48000, samples.collect())
}

#[test]
fn a_recording_keeps_its_pitch_and_claps_lie_on_its_pulses_at_both_speeds() {
    let (card, home) = (Card::start(), TempDir::new().expect("a temporary folder"));
    let mut listener = card.listen();
    let mut terminal = opened(&card, home.path());
    for key in [RIGHT, "]", "3"] {
        terminal.press(key);
    }
    terminal.wait_for("ready: cycles 1 to 2, claps in threes, speed 100 %");
    let in_threes = |pulse: usize| matches!(pulse % 3, 0 | 1);
    // Twice round.
    let own = played(&mut terminal, &mut listener, 1.0, 24, &in_threes).expect("one of three");
    for _ in 0..5 {
        terminal.press("<");
    }
    terminal.wait_for("speed 50 %");
    let slow = played(&mut terminal, &mut listener, 2.0, 14, &in_threes).expect("one of three");
    for ((first, cents), speed) in [(own, 100), (slow, 50)] {
        println!("{speed} %: first sample {first:.0} ms after the key, {cents:+.2} cents");
    }

    // Other claps take over while it sounds, and nothing else moves.
    let seen = (0..3).find_map(|n| {
        if n > 0 {
            terminal.press(" ");
            terminal.press("3");
            terminal.wait_for("claps in threes");
        }
        claps_taken_over(&mut terminal, &mut listener)
    });
    let seen = seen.expect("of three hearings one is whole, unless the machine is too busy");
    // Claps on 1, 3 and 5, clicks on 2 and 5, nothing on 4 and 6.
    assert!([0, 1, 2, 4].iter().all(|at| seen[*at] > 0), "{seen:?}");
    assert_eq!((seen[3], seen[5]), (0, 0), "{seen:?}");

    terminal.press("q");
    assert_eq!(terminal.end(), 0);
}

/// Plays at half speed under claps in threes and goes over to twos: how many strokes came on each count
/// from then on; nothing where one lies beside all counts, as when a busy machine breaks sound off.
fn claps_taken_over(terminal: &mut Terminal, listener: &mut Listener) -> Option<[u32; 6]> {
    terminal.press(" ");
    terminal.wait_for("sounding: cycles 1 to 2");
    let begun = listener.catch_up();
    listener.hear(6 * 28_800);
    terminal.press("2");
    terminal.wait_for("claps in twos");
    let changed = listener.catch_up();
    listener.hear(13 * 28_800);
    let onsets = onsets(&listener.heard()[begun..]);
    let first = *onsets.first()?;
    let later = seconds(changed - begun) + 0.5;
    let mut seen = [0; 6];
    for at in onsets.iter().filter(|at| **at > later) {
        let place = (at - first) / (2.0 * PULSE);
        if (place - place.round()).abs() * 2.0 * PULSE >= 0.01 {
            return None;
        }
        let count = (0..6).find(|count| (place + 0.25 - f64::from(*count)).rem_euclid(6.0) < 0.5);
        seen[usize::try_from(count.unwrap_or(0)).expect("small")] += 1;
    }
    Some(seen)
}

/// Licks of a real guitar, in the public domain (CC0), which Debian's package `sonic-pi-samples` brings:
/// each opens and is told of, and two are heard on the card as they are in their files.
#[test]
#[ignore = "needs the package sonic-pi-samples"]
fn real_licks_open_and_are_heard_as_they_are() {
    let folder = Path::new("/usr/share/sonic-pi/samples");
    let files = fs::read_dir(folder).expect("the package sonic-pi-samples");
    let files = files.filter_map(|entry| Some(entry.ok()?.path()));
    let is_lick = |file: &PathBuf| {
        let name = file.file_name().and_then(|name| name.to_str());
        name.is_some_and(|name| name.starts_with("guit_") && name.ends_with(".flac"))
    };
    let mut licks: Vec<PathBuf> = files.filter(is_lick).collect();
    licks.sort();
    assert!(licks.len() >= 4, "{licks:?}");
    for lick in &licks {
        let home = Home::new();
        let mut command = home.program("listen --text");
        command.arg(lick);
        let told = run(command, "");
        assert_eq!(
            (told.code, told.err.as_str()),
            (0, ""),
            "{}",
            lick.display()
        );
        println!("{}", told.out);
    }
    let card = Card::start();
    let mut listener = card.listen();
    let mut n_heard = 0;
    for lick in &licks {
        let sound = in_file(lick);
        // Four cycles of six short pulses; what is shorter is not looped here.
        if sound.len() < frames(4.0) {
            continue;
        }
        let home = TempDir::new().expect("a temporary folder");
        let mut command = on_card(&card, home.path(), 1);
        command.arg("listen");
        command.arg(lick);
        command.args(["--tempo", "400", "--start", "0.1"]);
        let mut terminal = Terminal::start(command);
        terminal.wait_for("ready: cycles 1 to 4");
        let begun = listener.catch_up();
        terminal.press(" ");
        listener.hear(frames(8.0));
        terminal.press("q");
        assert_eq!(terminal.end(), 0);
        // Of the third second of the file, after its rise from quiet.
        let wanted = thinned(&sound[frames(2.25)..frames(2.75)]);
        let alike = most_alike(&thinned(&listener.heard()[begun..]), &wanted);
        println!("{}: alike by {alike:.3}", lick.display());
        assert!(alike > 0.95, "{}: {alike}", lick.display());
        n_heard += 1;
    }
    assert!(n_heard >= 2);
}

/// The first channels' mean of a file at the rate of the card, as the library decodes it.
fn in_file(file: &Path) -> Vec<f64> {
    let source = File::open(file).expect("there");
    let mut recording = decode::open(source, Some("flac")).expect("a recording");
    let rate = recording.rate();
    let mut mono = decode::Mono::of(recording.n_channels(), rate);
    let mut samples = Vec::new();
    while let Some(block) = recording.next_block() {
        samples.extend(mono.take(&block));
    }
    samples.extend(mono.rest());
    let pcm = Pcm::new(rate, 1, samples).expect("finite");
    let pcm = resampled(&pcm, SampleRate::HZ_48000);
    pcm.samples().iter().map(|x| f64::from(*x)).collect()
}

/// Every eighth frame, each the mean of eight.
fn thinned(samples: &[f64]) -> Vec<f64> {
    let eights = samples.chunks_exact(8);
    eights
        .map(|eight| eight.iter().sum::<f64>() / 8.0)
        .collect()
}

/// The largest correlation of `wanted` with any stretch of what was heard.
fn most_alike(heard: &[f64], wanted: &[f64]) -> f64 {
    let energy = |x: &[f64]| x.iter().map(|x| x * x).sum::<f64>();
    let own = energy(wanted);
    let alike = |here: &[f64]| {
        let product: f64 = here.iter().zip(wanted).map(|(a, b)| a * b).sum();
        product / (own * energy(here)).sqrt().max(1e-12)
    };
    heard.windows(wanted.len()).map(alike).fold(0.0, f64::max)
}

/// The program with the recording on its screen, of which all is known.
fn opened(card: &Card, home: &Path) -> Terminal {
    let file = home.join("tone.wav");
    let to = File::create(&file).expect("a file");
    wav::write(&recording(), to).expect("it can be written");
    let mut command = on_card(card, home, 1);
    command.arg("listen");
    command.arg(file);
    command.args(["--tempo", "200", "--start", "0.5"]);
    let mut terminal = Terminal::start(command);
    terminal.wait_for("ready: cycles 1 to 4");
    terminal
}

/// Plays the passage for so many pulses, listens, and lets it be silent again; milliseconds from the
/// key to the first sound, and by how many cents the tone is off. A busy machine may break the sound
/// off, so that it is tried three times.
fn played(
    terminal: &mut Terminal,
    listener: &mut Listener,
    longer: f64,
    n_pulses: usize,
    is_struck: &dyn Fn(usize) -> bool,
) -> Result<(f64, f64), Vec<String>> {
    let mut faults = Vec::new();
    for _ in 0..3 {
        let begun = listener.catch_up();
        terminal.press(" ");
        terminal.wait_for("sounding: cycles 1 to 2");
        listener.hear(frames(longer * PULSE * real(n_pulses) + 1.0));
        let heard = &listener.heard()[begun..];
        let outcome = check(heard, longer, n_pulses, is_struck);
        terminal.press(" ");
        terminal.wait_for("ready: cycles 1 to 2");
        listener.hear(12_000);
        match outcome {
            Ok((first, cents)) => return Ok((1_000.0 * first, cents)),
            Err(fault) => faults.push(fault),
        }
    }
    Err(faults)
}

/// Whether the tone has its pitch and every stroke its place; when the first of them came, and by how
/// many cents the tone is off.
fn check(
    heard: &[f64],
    longer: f64,
    n_pulses: usize,
    is_struck: &dyn Fn(usize) -> bool,
) -> Result<(f64, f64), String> {
    let onsets = onsets(heard);
    let first = *onsets.first().ok_or("nothing was heard")?;
    let pulse = longer * PULSE;
    for n in 0..n_pulses {
        let at = first + pulse * real(n);
        let near = onsets.iter().map(|onset| onset - at);
        let off = near.min_by(|a, b| a.abs().total_cmp(&b.abs()));
        let off = off.ok_or("nothing was heard")?;
        if is_struck(n) && off.abs() > 0.01 {
            return Err(format!("pulse {n} is {off:.4} s off: {onsets:?}"));
        }
        if !is_struck(n) && off.abs() < 0.1 {
            return Err(format!("something is struck on pulse {n}: {onsets:?}"));
        }
    }
    // Within the first round, away from its ends.
    let window = frames(first + 0.5)..frames(first + 3.0);
    let found = pitch(heard.get(window).ok_or("it was too short")?);
    let cents = 1_200.0 * (found / TONE).log2();
    if cents.abs() > 5.0 {
        return Err(format!("{found:.2} Hz, {cents:.1} cents off"));
    }
    Ok((first, cents))
}

/// When strokes begin, in seconds. A tone of the recording's pitch cancels itself in what is listened
/// to: x(n) - 2 cos(w) x(n-1) + x(n-2) of a sine is nothing.
fn onsets(heard: &[f64]) -> Vec<f64> {
    const HOP: usize = 48;
    let twice = 2.0 * (TAU * TONE / 48_000.0).cos();
    let rest: Vec<f64> = heard
        .windows(3)
        .map(|x| x[2] - twice * x[1] + x[0])
        .collect();
    let peak = |hop: &[f64]| hop.iter().fold(0.0, |most: f64, x| most.max(x.abs()));
    let peaks: Vec<f64> = rest.chunks(HOP).map(peak).collect();
    let mut found: Vec<usize> = Vec::new();
    for (at, loud) in peaks.iter().enumerate() {
        let before = &peaks[at.saturating_sub(40)..at];
        let usual = before.iter().fold(0.0, |most: f64, x| most.max(*x));
        let is_new = found.last().is_none_or(|last| at > last + 120);
        if is_new && *loud > FAINT.max(3.0 * usual) {
            found.push(at);
        }
    }
    found.iter().map(|at| real(*at) / 1_000.0).collect()
}

/// The pitch near the tone at which most is heard, in hertz.
fn pitch(heard: &[f64]) -> f64 {
    let n = real(heard.len());
    let strength = |hz: f64| {
        let mut sums = (0.0, 0.0);
        for (at, x) in heard.iter().enumerate() {
            let window = 0.5 - 0.5 * (TAU * real(at) / n).cos();
            let (sin, cos) = (TAU * hz * real(at) / 48_000.0).sin_cos();
            sums = (sums.0 + window * x * sin, sums.1 + window * x * cos);
        }
        f64::hypot(sums.0, sums.1)
    };
    let tried = (-80..=80).map(|step| TONE + 0.05 * f64::from(step));
    let each: Vec<(f64, f64)> = tried.map(|hz| (hz, strength(hz))).collect();
    let best = each.iter().max_by(|a, b| a.1.total_cmp(&b.1));
    best.expect("some were tried").0
}

fn seconds(frames: usize) -> f64 {
    real(frames) / 48_000.0
}

fn real(n: usize) -> f64 {
    f64::from(u32::try_from(n).expect("frames of some minutes"))
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "frames of some minutes"
)]
fn frames(seconds: f64) -> usize {
    (48_000.0 * seconds).max(0.0) as usize
}
