//! Recordings in the formats that people have, written by ffmpeg from signals by formula, and read
//! beside ffmpeg's own reading of the same file.

use std::fs::File;
use std::io::Cursor;
use std::path::{Path, PathBuf};
use std::process::Command;

use contrapalma::pcm::decode::{self, Lost};
use contrapalma::pcm::{Pcm, SampleRate, wav};
use contrapalma::world::Seed;
use tempfile::TempDir;

/// Strokes that die away, one every quarter of a second, a little different left and right.
#[expect(clippy::cast_possible_truncation, reason = "samples are single")]
fn strokes(hz: u32, seconds: u32) -> Pcm {
    let rate = SampleRate::new(hz).expect("a rate");
    let at = |k: u32| f64::from(k) / f64::from(hz);
    let wave = |k: u32, pitch: f64| {
        let since = at(k) % 0.25;
        (0.6 * (-9.0 * since).exp() * (std::f64::consts::TAU * pitch * since).sin()) as f32
    };
    let samples = (0..hz * seconds).flat_map(|k| [wave(k, 220.0), 0.8 * wave(k, 330.0)]);
    Pcm::new(rate, 2, samples.collect()).expect("finite")
}

fn ffmpeg(args: &[&str], from: &Path, to: &Path) {
    let mut command = Command::new("ffmpeg");
    command
        .args(["-nostdin", "-v", "error", "-y", "-i"])
        .arg(from);
    let ended = command.args(args).arg(to).output();
    let ended = ended.expect("ffmpeg, which the README's test command installs");
    let said = String::from_utf8_lossy(&ended.stderr);
    assert!(ended.status.success(), "{}: {said}", to.display());
}

/// A file of these strokes in a format.
pub(crate) fn recording(dir: &Path, name: &str, args: &[&str], hz: u32) -> PathBuf {
    let (plain, file) = (dir.join("strokes.wav"), dir.join(name));
    wav::write(&strokes(hz, 3), File::create(&plain).expect("a file")).expect("written");
    ffmpeg(args, &plain, &file);
    file
}

pub(crate) fn ours(file: &Path) -> (u16, Vec<f32>, Lost) {
    let extension = file.extension().and_then(|e| e.to_str());
    let source = File::open(file).expect("there");
    let mut recording = decode::open(source, extension).expect("a recording");
    let mut samples = Vec::new();
    while let Some(block) = recording.next_block() {
        samples.extend(block);
    }
    (recording.n_channels(), samples, recording.lost())
}

/// The same by ffmpeg, as 32-bit floats.
pub(crate) fn theirs(file: &Path) -> Vec<f32> {
    let raw = file.with_extension("raw");
    ffmpeg(&["-f", "f32le", "-c:a", "pcm_f32le"], file, &raw);
    let bytes = std::fs::read(raw).expect("raw samples");
    let sample = |four: &[u8]| f32::from_le_bytes(four.try_into().expect("four bytes"));
    bytes.chunks_exact(4).map(sample).collect()
}

/// How many frames ours begins after theirs, and the largest difference there.
fn compared(ours: &[f32], theirs: &[f32], most_late: i64) -> (i64, f32) {
    let off = |late: i64| {
        let at = |k: usize| {
            let k = i64::try_from(k).expect("small") - 2 * late;
            usize::try_from(k).ok().and_then(|k| theirs.get(k)).copied()
        };
        // The ends of coded sound ring; the middle says it.
        let middle = ours.len() / 8..7 * ours.len() / 8;
        let pairs = middle.filter_map(|k| Some((ours[k] - at(k)?).abs()));
        pairs.fold(0.0, f32::max)
    };
    let found = (-most_late..=most_late).map(|late| (late, off(late)));
    found.min_by(|a, b| a.1.total_cmp(&b.1)).expect("some")
}

#[test]
fn recordings_are_read_as_ffmpeg_reads_them() {
    let dir = TempDir::new().expect("a folder");
    // Lossless ones to a step of 16 bits; of the others decoders may differ by rounding (common
    // practice, no source).
    let exact = 1.0 / 32_768.0;
    for (name, args, hz, most) in [
        ("a.flac", &["-c:a", "flac"][..], 44_100, exact),
        (
            "24.flac",
            &["-c:a", "flac", "-sample_fmt", "s32"],
            96_000,
            exact,
        ),
        ("24.wav", &["-c:a", "pcm_s24le"], 48_000, exact),
        ("16.aiff", &["-c:a", "pcm_s16be"], 44_100, exact),
        ("24.aif", &["-c:a", "pcm_s24be"], 48_000, exact),
        ("f32.aiff", &["-c:a", "pcm_f32be"], 48_000, exact),
        ("f32.wav", &["-c:a", "pcm_f32le"], 192_000, exact),
        ("low.wav", &["-c:a", "pcm_s16le"], 8_000, exact),
        ("alac.m4a", &["-c:a", "alac"], 44_100, exact),
        (
            "a.mp3",
            &["-c:a", "libmp3lame", "-b:a", "192k"],
            44_100,
            0.001,
        ),
        ("a.ogg", &["-c:a", "libvorbis", "-q:a", "5"], 44_100, 0.001),
        // Decoders of AAC fill in noise of their own where the coder left it to them.
        ("aac.m4a", &["-c:a", "aac", "-b:a", "160k"], 48_000, 0.01),
    ] {
        let file = recording(dir.path(), name, args, hz);
        let (n_channels, ours, lost) = ours(&file);
        let theirs = theirs(&file);
        assert_eq!((n_channels, lost), (2, Lost::default()), "{name}");
        let (late, off) = compared(&ours, &theirs, if most > exact { 1_200 } else { 0 });
        assert!(off <= most, "{name}: off by {off}, {late} frames late");
        // What a coder puts before the sound is at most a frame of it, 24 ms.
        let n = |samples: &[f32]| i64::try_from(samples.len() / 2).expect("small");
        assert!((n(&ours) - n(&theirs)).abs() <= 2 * 1_152, "{name}");
        assert!(late.abs() <= 1_152, "{name}: {late} frames late");
    }
}

#[test]
fn channels_beyond_two_become_two_and_one_stays_one() {
    let dir = TempDir::new().expect("a folder");
    let file = recording(dir.path(), "one.flac", &["-ac", "1"], 44_100);
    let (n_channels, samples, _) = ours(&file);
    assert_eq!((n_channels, samples.len()), (1, 3 * 44_100));
    let six = "pan=5.1|FL=FL|FR=FR|FC=0.5*FL|LFE=FR|BL=-0.3*FR|BR=0.7*FL";
    // The same mix as ours, written out for ffmpeg: ITU-R BS.775-3 (2012), annex 4, over its sum.
    let mix =
        "pan=stereo|c0=0.414214*c0+0.292893*c2+0.292893*c4|c1=0.414214*c1+0.292893*c2+0.292893*c5";
    for name in ["six.flac", "six.wav", "six.m4a"] {
        let mut args = vec!["-filter_complex", six];
        args.extend(if name == "six.m4a" {
            ["-c:a", "alac"]
        } else {
            ["-f", &name[4..]]
        });
        let file = recording(dir.path(), name, &args, 44_100);
        let mixed = dir.path().join("mixed.wav");
        ffmpeg(&["-af", mix, "-c:a", "pcm_f32le"], &file, &mixed);
        let ((n_channels, ours, _), theirs) = (ours(&file), theirs(&mixed));
        assert_eq!((n_channels, ours.len()), (2, theirs.len()), "{name}");
        let off = ours.iter().zip(&theirs).map(|(a, b)| (a - b).abs());
        let most = off.fold(0.0, f32::max);
        assert!(most < 1e-4, "{name}: off by {most}");
    }
}

#[test]
fn a_jump_lands_on_the_frame_and_damage_is_counted() {
    let dir = TempDir::new().expect("a folder");
    for (name, args) in [
        ("a.flac", &["-c:a", "flac"][..]),
        ("a.mp3", &["-c:a", "libmp3lame", "-b:a", "192k"]),
        ("a.ogg", &["-c:a", "libvorbis"]),
        ("a.m4a", &["-c:a", "aac"]),
    ] {
        let file = recording(dir.path(), name, args, 44_100);
        let (_, whole, _) = ours(&file);
        let mut recording = decode::open(File::open(&file).expect("there"), None).expect("read");
        recording.seek(1.5).expect("a jump");
        let mut from = Vec::new();
        while let Some(block) = recording.next_block() {
            from.extend(block);
        }
        // Within a millisecond; a lossless one on its frame.
        let most_late = if name == "a.flac" { 0 } else { 44 };
        let (late, off) = compared(&from, &whole[2 * 66_150..], most_late);
        assert!(off < 0.01, "{name}: off by {off}, {late} frames late");

        let mut bytes = std::fs::read(&file).expect("there");
        let middle = bytes.len() / 2;
        bytes[middle..middle + 900].fill(0x5a);
        let damaged = dir.path().join(format!("damaged-{name}"));
        std::fs::write(&damaged, &bytes).expect("written");
        let (_, samples, _) = ours(&damaged);
        assert!(samples.len() > whole.len() / 3, "{name}: the rest is read");
        for cut in 1..12 {
            std::fs::write(&damaged, &bytes[..bytes.len() * cut / 12]).expect("written");
            if let Ok(mut recording) = decode::open(File::open(&damaged).expect("there"), None) {
                while recording.next_block().is_some() {}
            }
        }
    }
}

#[test]
fn no_damaged_recording_makes_it_break_down() {
    let dir = TempDir::new().expect("a folder");
    for (name, args) in [
        ("a.flac", &["-c:a", "flac"][..]),
        ("a.mp3", &["-c:a", "libmp3lame"]),
        ("a.ogg", &["-c:a", "libvorbis"]),
        ("a.m4a", &["-c:a", "aac"]),
        ("alac.m4a", &["-c:a", "alac"]),
        ("a.aiff", &["-c:a", "pcm_s16be"]),
        ("first.m4a", &["-c:a", "aac", "-movflags", "+faststart"]),
    ] {
        let file = recording(dir.path(), name, args, 44_100);
        let whole = std::fs::read(&file).expect("there");
        let mut n_read = 0;
        for seed in 0..60 {
            let mut dice = Seed(seed).dice();
            let mut bytes = whole.clone();
            for _ in 0..1 + dice.below(30) {
                // Half of them in the first kilobyte, where the headers are.
                let within = if dice.one_in(2) { 1_000 } else { bytes.len() };
                bytes[dice.below(within)] = u8::try_from(dice.below(256)).expect("a byte");
            }
            if let Ok(mut recording) = decode::open(Cursor::new(bytes), None) {
                let mut n_samples = 0;
                while let Some(block) = recording.next_block() {
                    n_samples += block.len();
                    assert!(block.iter().all(|x| x.is_finite()), "{name}, seed {seed}");
                }
                n_read += usize::from(n_samples > 0);
                // It may say no, but never breaks down.
                drop(recording.seek(1.0));
            }
        }
        // Pages of Ogg are checked as a whole, so that hardly any of a short file is left.
        assert!(n_read > 0, "{name}: none was read in part");
    }
}
