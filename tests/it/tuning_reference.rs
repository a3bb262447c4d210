//! Tuning of the strings and the bytes of files, against values from outside.
//!
//! The values are in `tests/reference/fixtures/tuning_formats.json`, which names its sources: ISO
//! 16:1975 with equal temperament, the WAVE format, Standard MIDI Files 1.0, General MIDI level 1;
//! `tests/reference/scripts/make_tuning_formats.py` computes them anew.
#![expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::cast_precision_loss,
    reason = "tests compute with small known numbers"
)]

use std::f64::consts::TAU;
use std::io::Cursor;

use contrapalma::notate::{self, Bars};
use contrapalma::pcm::{Pcm, SampleRate, wav};
use contrapalma::phrase::{Loudness, Note, Phrase, Pitch, Touch, Voice};
use contrapalma::rhythm::{Cycle, Feel, Layer, Tempo, Tick, Ticks};
use contrapalma::sound::render;
use contrapalma::world::Seed;
use serde_json::Value;

const RATE: f64 = 48_000.0;

fn fixture() -> Value {
    let text = include_str!("../reference/fixtures/tuning_formats.json");
    serde_json::from_str(text).expect("the fixture is JSON")
}

fn list(value: &Value) -> &[Value] {
    value.as_array().expect("a list")
}

fn number(value: &Value) -> f64 {
    value.as_f64().expect("a number")
}

fn bytes(value: &Value) -> Vec<u8> {
    let text = value.as_str().expect("bytes in hexadecimal");
    let byte = |word: &str| u8::from_str_radix(word, 16).expect("a byte");
    text.split(' ').map(byte).collect()
}

fn phrase(ppm: i64, notes: Vec<Note>) -> Phrase {
    Phrase {
        cycle: Cycle::SIX,
        pace: Tempo::of_pulses_a_minute(ppm).expect("in range").into(),
        n_cycles: 2,
        entry: 0,
        feel: Feel::Threes,
        notes,
    }
}

/// The frequency of a note near `hz`: by how much its phase turns from one window to a later one.
fn frequency(samples: &[f32], hz: f64) -> f64 {
    const N: usize = 9_600;
    const LATER: usize = 4_800;
    let phase = |from: usize| {
        let (mut re, mut im) = (0.0, 0.0);
        for (n, sample) in samples[from..from + N].iter().enumerate() {
            let window = 0.5 - 0.5 * (TAU * n as f64 / N as f64).cos();
            let turn = TAU * hz * (from + n) as f64 / RATE;
            re += window * f64::from(*sample) * turn.cos();
            im -= window * f64::from(*sample) * turn.sin();
        }
        f64::atan2(im, re)
    };
    let from = 7_200;
    let turned = phase(from + LATER) - phase(from);
    let turned = turned - TAU * (turned / TAU).round();
    hz + turned / TAU * RATE / LATER as f64
}

#[track_caller]
fn is_in_tune(midi: u8, hz: f64) {
    let note = Note {
        at: Tick(0),
        delay: 0,
        length: Ticks::of_pulses(3),
        voice: Voice::Line,
        pitch: Some(Pitch(midi)),
        loudness: Loudness(0),
        touch: Touch::Finger,
    };
    let pcm = render(&phrase(240, vec![note]), SampleRate::HZ_48000, Seed(1));
    let found = frequency(&pcm.mono(), hz);
    let cents = 1_200.0 * (found / hz).log2();
    assert!(cents.abs() < 2.0, "{midi}: {found} for {hz}, {cents} cents");
}

#[test]
fn strings_and_frets_are_in_tune() {
    let fixture = fixture();
    for string in list(&fixture["open_strings"]) {
        is_in_tune(number(&string["midi"]) as u8, number(&string["hz"]));
    }
    for fret in list(&fixture["frets"]) {
        let midi = number(&fret["string_midi"]) + number(&fret["fret"]);
        is_in_tune(midi as u8, number(&fret["hz"]));
    }
}

#[test]
fn a_wav_file_has_the_bytes_of_the_format() {
    // Three frames of the extreme values, as the format has them.
    let values = [0, 1, -1, 32_767, -32_768, 256_i16];
    let samples = values.map(|value| f32::from(value) / 32_768.0).to_vec();
    let pcm = Pcm::stereo(SampleRate::HZ_48000, samples);
    let mut file = Cursor::new(Vec::new());
    wav::write(&pcm, &mut file).expect("memory takes it");
    assert_eq!(
        file.into_inner(),
        bytes(&fixture()["wav_stereo16_48k_three_frames_hex"])
    );
}

fn has(bytes: &[u8], part: &[u8]) -> bool {
    bytes.windows(part.len()).any(|window| window == part)
}

#[test]
fn a_midi_file_has_tempo_metre_and_keys_of_the_standard() {
    let fixture = fixture();
    let clap = |ppm| phrase(ppm, Vec::new()).clapped(&[Layer::every(Cycle::SIX, 3)], Touch::Sorda);
    for tempo in list(&fixture["tempo"]) {
        let ppm = number(&tempo["eighth_bpm"]) as i64;
        let micros = number(&tempo["us_per_quarter"]) as u32;
        let [_, a, b, c] = micros.to_be_bytes();
        let midi = notate::midi(&clap(ppm), Bars::Threes);
        assert!(has(&midi, &[0xff, 0x51, 3, a, b, c]), "{ppm}");
    }
    // The fixture's own file has the same metre, tempo and clap, in one track.
    let (ours, theirs) = (
        notate::midi(&clap(240), Bars::Threes),
        bytes(&fixture["smf_6_8_clap_example_hex"]),
    );
    let general = &fixture["general_midi"];
    let key = number(&general["hand_clap_key"]) as u8;
    let channel = number(&general["percussion_channel_1_based"]) as u8 - 1;
    for part in [
        vec![0xff, 0x58, 4, 6, 3, 0x24, 8],
        vec![0xff, 0x51, 3, 7, 0xa1, 0x20],
        vec![0x90 | channel, key],
        vec![0x80 | channel, key, 64],
    ] {
        assert!(has(&theirs, &part) && has(&ours, &part), "{part:02x?}");
    }
    let strings = phrase(
        240,
        vec![Note {
            at: Tick(0),
            delay: 0,
            length: Ticks(240),
            voice: Voice::Line,
            pitch: Some(Pitch(64)),
            loudness: Loudness(0),
            touch: Touch::Finger,
        }],
    );
    let program = number(&general["nylon_guitar_data_byte"]) as u8;
    assert!(has(&notate::midi(&strings, Bars::Threes), &[0xc0, program]));
}
