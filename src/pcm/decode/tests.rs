use std::io::Cursor;

use super::*;
use crate::pcm::{Pcm, SampleRate, wav};
use crate::world::Seed;

fn tone(seconds: u32) -> Pcm {
    let rate = SampleRate::new(44_100).expect("a rate");
    let wave = |k: u32| 0.5 * (0.05 * f64::from(k)).sin() as f32;
    let samples = (0..44_100 * seconds)
        .flat_map(|k| [wave(k), -0.5 * wave(k)])
        .collect();
    Pcm::new(rate, 2, samples).expect("finite")
}

fn written(pcm: &Pcm) -> Vec<u8> {
    let mut bytes = Cursor::new(Vec::new());
    wav::write(pcm, &mut bytes).expect("memory takes it");
    bytes.into_inner()
}

fn all(recording: &mut Recording) -> Vec<f32> {
    let mut samples = Vec::new();
    while let Some(block) = recording.next_block() {
        samples.extend(block);
    }
    samples
}

#[test]
fn what_was_written_is_read_whole_and_from_any_time() {
    let pcm = tone(2);
    let mut recording = open(Cursor::new(written(&pcm)), None).expect("a recording");
    assert_eq!((recording.rate(), recording.n_channels()), (pcm.rate(), 2));
    assert_eq!(recording.seconds(), Some(2.0));
    let read = all(&mut recording);
    assert_eq!(read.len(), pcm.samples().len());
    let off = read.iter().zip(pcm.samples()).map(|(a, b)| (a - b).abs());
    assert!(off.fold(0.0, f32::max) < 1.0 / 32_000.0);
    recording.seek(1.25).expect("it can be gone through");
    let from = 2 * (44_100 + 44_100 / 4);
    assert_eq!(all(&mut recording), read[from..]);
    assert_eq!(recording.lost(), Lost::default());
}

#[test]
fn what_is_no_recording_is_an_error_in_words() {
    for (bytes, said) in [
        (Vec::new(), "the file is empty"),
        (
            b"# a text, and a longer one than any header".repeat(9),
            "no recording: WAV",
        ),
        (
            written(&Pcm::stereo(SampleRate::HZ_48000, Vec::new())),
            "a recording without a sound in it",
        ),
    ] {
        let error = open(Cursor::new(bytes), Some("wav"))
            .err()
            .expect("no recording");
        assert!(error.to_string().starts_with(said), "{error}");
    }
}

#[test]
fn a_file_cut_anywhere_is_read_up_to_there() {
    let bytes = written(&tone(1));
    for cut in [100, 1_000, 44_143, bytes.len() - 1] {
        let mut recording = open(Cursor::new(bytes[..cut].to_vec()), None).expect("a recording");
        let n = all(&mut recording).len();
        let there = (cut - 44) / 2;
        assert!(n <= there && n + 2 * 2_304 > there, "{n} of {there}");
    }
}

#[test]
fn no_altered_bytes_make_it_panic() {
    let bytes = written(&tone(1));
    let mut dice = Seed(8).dice();
    let mut n_read = 0;
    for _ in 0..400 {
        let mut altered = bytes[..2_000].to_vec();
        for _ in 0..1 + dice.below(6) {
            let within = if dice.one_in(2) { 60 } else { altered.len() };
            let at = dice.below(within);
            altered[at] = u8::try_from(dice.below(256)).expect("a byte");
        }
        if let Ok(mut recording) = open(Cursor::new(altered), None) {
            n_read += usize::from(!all(&mut recording).is_empty());
        }
    }
    assert!(n_read > 50, "most alterations leave something to read");
}
