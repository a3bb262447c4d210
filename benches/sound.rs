//! How long it takes to turn a full phrase into samples. Aim: 150 times real time on one core.

use contrapalma::pcm::SampleRate;
use contrapalma::phrase::{Loudness, Note, Phrase, Pitch, Touch, Voice};
use contrapalma::rhythm::{Cycle, Feel, Layer, Tempo, Tick, Ticks};
use contrapalma::sound::{render, render_loop};
use contrapalma::world::Seed;
use divan::Bencher;

fn main() {
    divan::main();
}

/// Eight cycles at 160 pulses a minute, 18 seconds: six strings strummed on every pulse, bass, line,
/// knocks and claps.
fn full() -> Phrase {
    let mut notes = Vec::new();
    for pulse in 0..48 {
        for (string, pitch) in (0..).zip([40, 47, 52, 56, 59, 64]) {
            let strum = note(pulse, Voice::Chords, Touch::Down, Some(pitch));
            notes.push(Note {
                delay: 4_000 * string,
                loudness: Loudness(-78),
                ..strum
            });
        }
        notes.push(note(pulse, Voice::Line, Touch::Finger, Some(69)));
        if pulse % 3 == 0 {
            notes.push(note(pulse, Voice::Bass, Touch::Thumb, Some(41)));
        }
        if pulse % 2 == 0 {
            notes.push(note(pulse, Voice::Strike, Touch::Golpe, None));
        }
    }
    let phrase = Phrase {
        cycle: Cycle::SIX,
        pace: Tempo::of_pulses_a_minute(160).expect("in range").into(),
        n_cycles: 8,
        entry: 0,
        feel: Feel::Both,
        notes,
    };
    phrase.clapped(&[Layer::every(Cycle::SIX, 3)], Touch::Sorda)
}

fn note(at: i64, voice: Voice, touch: Touch, pitch: Option<u8>) -> Note {
    Note {
        at: Tick::of_pulse(at),
        delay: 0,
        length: Ticks::of_pulses(2),
        voice,
        pitch: pitch.map(Pitch),
        loudness: Loudness(0),
        touch,
    }
}

#[divan::bench]
fn once_through(bencher: Bencher<'_, '_>) {
    let phrase = full();
    bencher.bench(|| render(&phrase, SampleRate::HZ_48000, Seed(1)));
}

#[divan::bench]
fn round_a_loop(bencher: Bencher<'_, '_>) {
    let phrase = full();
    bencher.bench(|| render_loop(&phrase, SampleRate::HZ_48000, Seed(1)));
}
