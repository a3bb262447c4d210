//! Melodies made by rule, in threes and in twos, to measure on: no tune of anybody's.
//!
//! A cycle of six is split as metrical theory has it, unevenly often into 3+3 or 2+2+2, and those on
//! (Lerdahl and Jackendoff 1983). Pitches go by steps with inertia and return to the middle (von
//! Hippel and Huron 2000), chords change at groups, and what begins a group is mostly a chord tone.
//! One time in ten a cycle is split against its kind. The shares are round figures of our own.

use super::*;
use crate::notate;
use crate::pcm::SampleRate;
use crate::phrase::{Loudness, Note, Phrase, Pitch, Touch, Voice};
use crate::rhythm::{Cycle, Feel, Pace, Tempo, Tick, Ticks};
use crate::sound::{Timeline, render};
use crate::world::{Dice, Seed};

fn chance(dice: &mut Dice, share: f64) -> bool {
    dice.real(0.0, 1.0) < share
}

/// Lengths of the notes of a cycle.
fn cut(dice: &mut Dice, feel: Feel) -> Vec<i64> {
    let against = chance(dice, 0.08);
    let threes = (feel == Feel::Threes) != against;
    let mut lengths = Vec::new();
    if chance(dice, 0.06) {
        return vec![6];
    }
    if threes {
        for _ in 0..2 {
            let split = dice.real(0.0, 1.0);
            lengths.extend(match split {
                x if x < 0.42 => vec![1, 1, 1],
                x if x < 0.72 => vec![2, 1],
                x if x < 0.94 => vec![3],
                _ => vec![1, 2],
            });
        }
    } else {
        let kind = dice.real(0.0, 1.0);
        let groups = match kind {
            x if x < 0.18 => vec![4, 2],
            x if x < 0.26 => vec![3, 1, 2],
            x if x < 0.32 => vec![2, 4],
            x if x < 0.36 => vec![3, 1, 1, 1],
            _ => vec![2, 2, 2],
        };
        for group in groups {
            let split = group == 2 && chance(dice, 0.38);
            lengths.extend(if split { vec![1, 1] } else { vec![group] });
        }
    }
    lengths
}

/// A melody of so many cycles; on accents the first of each group is louder by `accent` tenths of a
/// decibel.
fn tune(feel: Feel, n_cycles: u32, accent: i16, seed: u64) -> Phrase {
    let dice = &mut Seed(seed).child(feel.id(), 0).dice();
    let scale = [0, 2, 4, 5, 7, 9, 11];
    let group = if feel == Feel::Threes { 3 } else { 2 };
    let mut degree = dice.between(5, 12);
    let mut chord = 0;
    let mut notes = Vec::new();
    let mut way = 1;
    for cycle in 0..i64::from(n_cycles) {
        let mut at = 0;
        for length in cut(dice, feel) {
            if at == 0 && chance(dice, 0.6) || at % group == 0 && chance(dice, 0.25) {
                chord = [0, 3, 4, 5][dice.below(4)];
            }
            if chance(dice, 0.35) {
                way = -way;
            }
            let step = [0, 1, 1, 1, 1, 2, 2, 3, 4][dice.below(9)];
            degree += way * step + i64::from(degree < 4) - i64::from(degree > 13);
            let wants_chord = if at % group == 0 { 0.75 } else { 0.3 };
            if chance(dice, wants_chord) {
                while ![0, 2, 4].contains(&(degree - chord).rem_euclid(7)) {
                    degree += way;
                }
            }
            let octave = degree.div_euclid(7);
            let pitch = 55 + 12 * octave + scale[degree.rem_euclid(7) as usize] - 5;
            let loud = dice.between(-10, 10) as i16 + if at % group == 0 { accent } else { 0 };
            notes.push(Note {
                at: Tick::of_pulse(6 * cycle + at),
                delay: dice.between(-6000, 6000) as i32,
                length: Ticks((length * 240 * 9 / 10).try_into().expect("positive")),
                voice: Voice::Line,
                pitch: Some(Pitch(pitch.clamp(50, 90) as u8)),
                loudness: Loudness(loud),
                touch: Touch::Finger,
            });
            at += length;
        }
    }
    let tempo = dice.between(200, 380);
    Phrase {
        cycle: Cycle::SIX,
        pace: Pace::steady(Tempo::of_pulses_a_minute(tempo).expect("in range")),
        n_cycles,
        entry: 0,
        feel,
        notes,
    }
}

fn of_notes(phrase: &Phrase, answers: Answers) -> Said {
    let bytes = notate::midi(phrase, notate::Bars::Threes);
    let notes = Notes::read(&bytes, PulseNote::EIGHTH).expect("notes");
    Analysis::of_notes(&notes, Cycle::SIX, answers).whole
}

fn sound(phrase: &Phrase, seed: u64) -> (Sound, Vec<f64>) {
    let rate = SampleRate::HZ_48000;
    let pcm = render(phrase, rate, Seed(seed));
    let mut ear = Ear::new(rate);
    ear.hear(&pcm.mono());
    let timeline = Timeline::of(phrase, rate);
    let at = |pulse| timeline.frame_of(Tick::of_pulse(pulse)).0 as f64 / 48_000.0;
    let n = i64::from(phrase.n_cycles) * 6;
    (ear.finish(), (0..n).map(at).collect())
}

/// What became of many answers.
#[derive(Default)]
struct Tally {
    n: f64,
    forced: f64,
    spoken: f64,
    right: f64,
    sure: f64,
}

impl Tally {
    fn add(&mut self, feel: Feel, forced: Said, open: Said) {
        let right = |said: Said| f64::from(u8::from(said.lean.id() == feel.id()));
        self.n += 1.0;
        self.forced += right(forced);
        if open.lean != Lean::Unclear {
            self.spoken += 1.0;
            self.right += right(open);
            self.sure += open.sure;
        }
    }

    fn line(&self) -> String {
        format!(
            "forced {:.3}, speaks {:.2}, right then {:.3} (says {:.3}), n {}",
            self.forced / self.n,
            self.spoken / self.n,
            self.right / self.spoken,
            self.sure / self.spoken,
            self.n
        )
    }
}

#[test]
#[ignore = "prints a table"]
fn table_of_tunes_as_notes() {
    for accent in [0, 30] {
        for n_cycles in [1, 2, 4, 8] {
            let mut tally = Tally::default();
            for seed in 0..600 {
                for feel in [Feel::Threes, Feel::Twos] {
                    let tune = tune(feel, n_cycles, accent, seed);
                    let [forced, open] =
                        [Answers::Forced, Answers::Open].map(|a| of_notes(&tune, a));
                    tally.add(feel, forced, open);
                }
            }
            println!("notes {accent} {n_cycles} cycles: {}", tally.line());
        }
    }
}

#[test]
#[ignore = "prints a table"]
fn table_of_tunes_as_sound() {
    for accent in [0, 30] {
        let mut tallies = [1, 4, 8, 16].map(|n| (n, Tally::default()));
        let mut unaided_of = [8, 16].map(|n_cycles| (n_cycles, [0.0; 3]));
        let (mut agree, mut of, mut pitched, mut right_pitch, mut octave) =
            (0.0, 0.0, 0.0, 0.0, 0.0);
        for seed in 0..25 {
            for feel in [Feel::Threes, Feel::Twos] {
                for (n_cycles, tally) in &mut tallies {
                    let tune = tune(feel, *n_cycles, accent, seed + 9000);
                    let (sound, times) = sound(&tune, seed);
                    let pulses = Pulses::new(times.clone()).expect("rising");
                    let [forced, open] = [Answers::Forced, Answers::Open]
                        .map(|a| Analysis::of_sound(&sound, &pulses, Cycle::SIX, a).whole);
                    tally.add(feel, forced, open);
                    let heard = sound.heard(&pulses);
                    for (at, p) in heard.begins.iter().enumerate() {
                        let is = tune.notes.iter().any(|n| n.at == Tick::of_pulse(at as i64));
                        agree += f64::from(u8::from(is == (*p > 0.5)));
                        of += 1.0;
                        let lead = tune
                            .notes
                            .iter()
                            .find(|n| n.at == Tick::of_pulse(at as i64));
                        if let Some((l, h)) = lead.zip(heard.lead[at]) {
                            pitched += 1.0;
                            let d = f64::from(l.pitch.expect("a line").0) - h;
                            right_pitch += f64::from(u8::from(d.abs() < 0.6));
                            octave += f64::from(u8::from((d.abs() - 12.0).abs() < 0.6));
                        }
                    }
                    for (_, sums) in unaided_of.iter_mut().filter(|(n, _)| n == n_cycles) {
                        let (f_pulse, f_group) = unaided(&sound, &times, feel);
                        *sums = [sums[0] + f_pulse, sums[1] + f_group, sums[2] + 1.0];
                    }
                }
            }
        }
        for (n_cycles, tally) in &tallies {
            println!("sound {accent} {n_cycles} cycles: {}", tally.line());
        }
        println!(
            "unaided begins {:.3} pitch {:.3} octave {:.3}",
            agree / of,
            right_pitch / pitched,
            octave / pitched
        );
        for (n_cycles, [found, starts, n]) in unaided_of {
            println!(
                "unaided {accent} {n_cycles} cycles: pulses F {:.3}, group starts F {:.3}",
                found / n,
                starts / n
            );
        }
    }
}

/// How many of so many melodies are said to begin with a whole cycle, as they do. That a piece does so
/// more often than not is common practice, no source.
fn begun_right(n_cycles: u32, seeds: std::ops::Range<u64>) -> usize {
    let right = |seed: u64, feel: Feel| {
        let (sound, times) = sound(&tune(feel, n_cycles, 0, seed), seed);
        let pulses = Pulses::new(times).expect("rising");
        from_first_of_cycle(&sound, &pulses, Cycle::SIX) == pulses
    };
    let feels = [Feel::Threes, Feel::Twos];
    let all = seeds.flat_map(|seed| feels.map(|feel| right(seed, feel)));
    all.filter(|right| *right).count()
}

#[test]
fn many_cycles_tell_no_worse_than_few_where_a_piece_begins() {
    let (few, many) = (begun_right(6, 500..508), begun_right(24, 500..508));
    assert!(few >= 12, "{few} of 16");
    assert!(many >= 14, "{many} of 16");
}

/// F of the pulses and of the beginnings of groups, found with nothing given.
fn unaided(sound: &Sound, times: &[f64], feel: Feel) -> (f64, f64) {
    let Some(best) = pulse_paths(sound, &[]).into_iter().next() else {
        return (0.0, 0.0);
    };
    let f = |reference: &[f64], times: &[f64]| {
        crate::quiz::judge::Agreement::of(reference, times).map_or(0.0, |a| a.f_measure)
    };
    let every = |times: &[f64], n: usize| times.iter().copied().step_by(n).collect::<Vec<f64>>();
    let pulses = from_first_of_cycle(sound, &best.pulses, Cycle::SIX);
    let analysis = Analysis::of_sound(sound, &pulses, Cycle::SIX, Answers::Forced);
    let group = if analysis.whole.lean == Lean::Threes {
        3
    } else {
        2
    };
    let truth = if feel == Feel::Threes { 3 } else { 2 };
    let found = pulses.times();
    // Pulses before the first of a cycle belong to groups too.
    (
        f(times, best.pulses.times()),
        f(&every(times, truth), &every(found, group)),
    )
}
