//! How long recordings take. The items of a run are seconds of sound, so that items a second are times
//! real time. Compressed files are made by `ffmpeg` once; kinds are left out where it is missing.

use std::io::Cursor;
use std::process::Command;

use contrapalma::pcm::{Pcm, SampleRate, Speed, Stretching, decode, stretched, wav};
use divan::Bencher;
use divan::counter::ItemsCount;

fn main() {
    divan::main();
}

const SECONDS: u32 = 60;

/// A gliding tone with a click in each quarter of a second, in stereo.
#[expect(
    clippy::cast_possible_truncation,
    reason = "a sample in single precision"
)]
fn sound(seconds: u32) -> Pcm {
    let wave = |n: u32| {
        let t = f64::from(n) / 48_000.0;
        let click = (-(t % 0.25) * 120.0).exp();
        (0.3 * (1_000.0 * t + 100.0 * t * t).sin() + 0.4 * click * (5_000.0 * t).sin()) as f32
    };
    let samples = (0..seconds * 48_000).flat_map(|n| [wave(n), 0.7 * wave(n)]);
    Pcm::stereo(SampleRate::HZ_48000, samples.collect())
}

fn file(ending: &str) -> Option<Vec<u8>> {
    let mut bytes = Cursor::new(Vec::new());
    wav::write(&sound(SECONDS), &mut bytes).expect("memory can be written");
    if ending == "wav" {
        return Some(bytes.into_inner());
    }
    let folder = tempfile::tempdir().expect("a folder");
    std::fs::write(folder.path().join("a.wav"), bytes.into_inner()).expect("it can be written");
    let made = folder.path().join(format!("a.{ending}"));
    let mut command = Command::new("ffmpeg");
    command.args(["-nostdin", "-loglevel", "error", "-i", "a.wav"]);
    let ended = command.arg(&made).current_dir(folder.path()).status();
    ended.ok().filter(std::process::ExitStatus::success)?;
    std::fs::read(made).ok()
}

#[divan::bench(args = ["wav", "flac", "mp3", "ogg", "m4a"])]
fn decoding(bencher: Bencher<'_, '_>, ending: &str) {
    let Some(bytes) = file(ending) else {
        return;
    };
    bencher.counter(ItemsCount::new(SECONDS)).bench(|| {
        let mut recording = decode::open(Cursor::new(bytes.clone()), None).expect("a recording");
        let mut peak = 0.0_f32;
        while let Some(block) = recording.next_block() {
            peak = block.iter().fold(peak, |peak, x| peak.max(x.abs()));
        }
        peak
    });
}

#[divan::bench(args = [50, 75, 110])]
fn ten_seconds_stretched(bencher: Bencher<'_, '_>, percent: u16) {
    let sound = sound(10);
    let speed = Speed::new(percent).expect("in range");
    bencher
        .counter(ItemsCount::new(10_u32))
        .bench(|| stretched(&sound, speed));
}

/// How long it takes until a long passage can begin to sound. Aim: far below 300 milliseconds.
#[divan::bench(args = [50, 75, 110])]
fn first_chunk_of_a_passage(bencher: Bencher<'_, '_>, percent: u16) {
    let sound = sound(SECONDS);
    let speed = Speed::new(percent).expect("in range");
    bencher.bench(|| Stretching::new(&sound, speed).next());
}
