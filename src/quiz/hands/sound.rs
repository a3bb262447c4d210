//! The phrase under the claps that lead, under those that were right and under those that were made.

use super::{Asked, Called, Caller, Played, touch};
use crate::phrase::{Loudness, Note, Phrase, Touch, Voice};
use crate::quiz::judge::Place;
use crate::quiz::tap::{Hand, Tap};
use crate::quiz::{Course, Guide};
use crate::rhythm::{PulseMap, TICKS_PER_PULSE, Tick, Ticks};

/// By how much the guitar is softer in the first cycle where it rises, in tenths of a decibel.
const RISES_FROM_TENTHS: i64 = 90;

/// The phrase as it is clapped to: under the claps of the guide, with its bell, as it goes on.
pub(in crate::quiz) fn sounding(phrase: &Phrase, asked: &Asked) -> Phrase {
    let mut sound = guided(phrase, asked);
    let n = n_pulses(phrase);
    match asked.call {
        Some(Called {
            cycle,
            by: Caller::Bell,
        }) => sound.notes.push(bell(Tick::of_pulse(cycle * n))),
        Some(Called {
            cycle,
            by: Caller::Close(pulse),
        }) => close(
            &mut sound,
            n,
            cycle,
            i64::try_from(pulse.idx()).unwrap_or(0),
        ),
        None => {}
    }
    sorted(&mut sound);
    let last = (i64::from(phrase.n_cycles) - 1).max(1);
    let cycle = |note: &Note| note.at.pulse_idx().div_euclid(n);
    match asked.course {
        Course::Whole => {}
        Course::Rising => {
            let strings = sound.notes.iter_mut().filter(|n| n.voice.is_strings());
            for note in strings {
                let left = (last - cycle(note)).clamp(0, last);
                let softer = i16::try_from(RISES_FROM_TENTHS * left / last).unwrap_or(0);
                note.loudness.0 -= softer;
            }
        }
        Course::Silent(_) => {
            let silent = asked.course.silence().map(|(from, back)| from..back);
            let is_heard = |note: &Note| !silent.as_ref().is_some_and(|s| s.contains(&cycle(note)));
            sound.notes.retain(is_heard);
        }
    }
    sound
}

/// The guitar grows into its close, lets it ring, and is silent until the cycle after the next.
fn close(sound: &mut Phrase, n: i64, cycle: i64, pulse: i64) {
    /// Pulses in which it grows, by so many tenths of a decibel each.
    const GROWS: i64 = 4;
    const BY_TENTHS: i64 = 10;
    let (close, back) = (cycle * n + pulse, (cycle + 2) * n);
    let ring = Ticks(u32::try_from((back - close) * TICKS_PER_PULSE / 2).unwrap_or(0));
    let is_silent = |note: &Note| (close + 1..back).contains(&note.at.pulse_idx());
    sound.notes.retain(|note| !is_silent(note));
    for note in sound.notes.iter_mut().filter(|n| n.voice.is_strings()) {
        let at = note.at.pulse_idx();
        let grown = (at - (close - GROWS)).clamp(0, GROWS);
        if at <= close {
            note.loudness.0 += i16::try_from(grown * BY_TENTHS).unwrap_or(0);
        }
        if at == close && note.length < ring {
            note.length = ring;
        }
    }
}

fn guided(phrase: &Phrase, asked: &Asked) -> Phrase {
    let n_cycles = i64::from(phrase.n_cycles);
    let until = match asked.guide {
        Guide::Every => n_cycles,
        Guide::Half => (n_cycles + 1) / 2,
        Guide::First => 1,
        Guide::None => 0,
    };
    // What a bell calls for is to be found without a guide.
    let until = asked.call.map_or(until, |call| until.min(call.cycle + 1));
    with_claps(phrase, asked, until)
}

/// The phrase under the claps that were right, in every cycle.
pub(in crate::quiz) fn right_claps(phrase: &Phrase, asked: &Asked) -> Phrase {
    let mut clapped = with_claps(phrase, asked, i64::from(phrase.n_cycles));
    sorted(&mut clapped);
    clapped
}

/// Taps that do all that is asked, in order.
pub(in crate::quiz) fn model_taps(phrase: &Phrase, asked: &Asked) -> Vec<Tap> {
    let map = PulseMap::of(phrase.pace.clone(), 0);
    let strokes = strokes(phrase, asked, i64::from(phrase.n_cycles)).into_iter();
    let mut taps: Vec<Tap> = strokes
        .map(|(at, hand)| Tap {
            micros: map.micros_at(at),
            hand,
        })
        .collect();
    taps.sort_by_key(|tap| (tap.micros, tap.hand));
    taps
}

/// Under the claps of all parts in the cycles before `until`.
fn with_claps(phrase: &Phrase, asked: &Asked, until: i64) -> Phrase {
    let mut clapped = phrase.clone();
    let claps = strokes(phrase, asked, until).into_iter();
    clapped
        .notes
        .extend(claps.map(|(at, hand)| clap(at, touch(hand))));
    clapped
}

/// The strokes of all parts in the cycles before `until`, and with which hand.
fn strokes(phrase: &Phrase, asked: &Asked, until: i64) -> Vec<(Tick, Hand)> {
    let loop_pulses = n_pulses(phrase) * i64::from(phrase.n_cycles);
    let mut strokes = Vec::new();
    for part in &asked.parts {
        let Some(layer) = part.layer else { continue };
        let after = match part.place {
            Place::On => 0,
            Place::Contra => TICKS_PER_PULSE / 2,
        };
        for pulse in phrase.entry..phrase.entry + loop_pulses {
            // A pickup belongs to the end of the last cycle, and what lies after it to the first.
            let cycle = pulse.rem_euclid(loop_pulses) / n_pulses(phrase);
            let is_asked = (part.asked.0..part.asked.1.min(until)).contains(&cycle);
            if is_asked && layer.contains(phrase.cycle.pulse_at(pulse)) {
                let at = Tick(Tick::of_pulse(pulse).0 + after);
                strokes.push((at, part.hand));
            }
        }
    }
    strokes
}

/// The phrase under the claps as they were made, without the steady lead of the hands.
pub(in crate::quiz) fn own_claps(phrase: &Phrase, taps: &[Tap], played: &[Played]) -> Phrase {
    let map = PulseMap::of(phrase.pace.clone(), 0);
    let mut made = phrase.clone();
    let within = phrase.begins()..phrase.ends();
    for tap in taps {
        let at = map.tick_at(tap.micros.saturating_sub(lead_of(played, tap.hand)));
        if within.contains(&at) {
            made.notes.push(clap(at, touch(tap.hand)));
        }
    }
    sorted(&mut made);
    made
}

/// One phrase under the claps of two.
pub(in crate::quiz) fn both(phrase: &Phrase, one: &Phrase, other: &Phrase) -> Phrase {
    let mut both = phrase.clone();
    let claps = |of: &Phrase| of.only(Voice::Claps).notes;
    both.notes.extend(claps(one));
    both.notes.extend(claps(other));
    sorted(&mut both);
    both
}

/// The steady lead of a hand in microseconds, 0 where none was found.
pub(super) fn lead_of(played: &[Played], hand: Hand) -> i64 {
    let of_hand = played.iter().find(|played| played.part.hand == hand);
    let lead = of_hand
        .and_then(|played| played.found.as_ref())
        .map(|found| found.lead);
    lead.map_or(0, whole)
}

#[expect(clippy::cast_possible_truncation, reason = "less than a second")]
fn whole(micros: f64) -> i64 {
    micros.round() as i64
}

fn n_pulses(phrase: &Phrase) -> i64 {
    i64::try_from(phrase.cycle.n_pulses()).unwrap_or(1)
}

fn sorted(phrase: &mut Phrase) {
    let by = |note: &Note| (note.at, note.delay, note.voice, note.pitch);
    phrase.notes.sort_by_key(by);
}

fn clap(at: Tick, touch: Touch) -> Note {
    Note {
        at,
        delay: 0,
        length: Ticks(120),
        voice: Voice::Claps,
        pitch: None,
        loudness: Loudness(0),
        touch,
    }
}

fn bell(at: Tick) -> Note {
    Note {
        voice: Voice::Bell,
        touch: Touch::Bell,
        ..clap(at, Touch::Bell)
    }
}
