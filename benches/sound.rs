//! How long it takes to turn a full phrase into samples. The items of a run are the seconds of sound
//! that it makes, so that items a second are times real time. Aim: 150 on one core.

use contrapalma::pcm::SampleRate;
use contrapalma::phrase::{Loudness, Note, Phrase, Pitch, Touch, Voice};
use contrapalma::rhythm::{Cycle, Feel, Layer, Tempo, Tick, Ticks};
use contrapalma::sound::{render, render_loop};
use contrapalma::world::Seed;
use divan::Bencher;
use divan::counter::ItemsCount;

fn main() {
    divan::main();
}

/// Eight cycles at 160 pulses a minute in all six voices: six strings strummed on every pulse, bass,
/// line, knocks, claps and bell.
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
        if pulse % 6 == 0 {
            notes.push(note(pulse, Voice::Bell, Touch::Bell, None));
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

/// 48 pulses at 160 a minute.
const SECONDS: u32 = 18;

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
    bencher
        .counter(ItemsCount::new(SECONDS))
        .bench(|| render(&phrase, SampleRate::HZ_48000, Seed(1)));
}

#[divan::bench]
fn round_a_loop(bencher: Bencher<'_, '_>) {
    let phrase = full();
    bencher
        .counter(ItemsCount::new(SECONDS))
        .bench(|| render_loop(&phrase, SampleRate::HZ_48000, Seed(1)));
}
