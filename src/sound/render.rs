//! From a phrase to samples.

use std::collections::BTreeMap;

use super::Timeline;
use super::body::Body;
use super::master::{Ends, master};
use super::room::{RING, Room};
use super::units::{factor, frames, real, single};
use super::voice::{Noise, Stroke, Through};
use crate::pcm::{Pcm, SampleRate};
use crate::phrase::{Note, Phrase, Pitch, Touch, Voice};
use crate::world::Seed;

/// Seconds of ringing out after the end of a phrase that is played once.
const RING_OUT: f64 = 1.0;
/// The softest stroke in decibels against an ordinary one.
const SOFTEST_DB: f64 = -40.0;
/// The loudest stroke of a string. More than 12 dB is no accent but a danger to hearing.
const LOUDEST_STRING_DB: f64 = 12.0;
/// The loudest stroke of hands or bell. Slow notes and short ones run several decibels below their
/// strokes, and claps, knocks and bell can fall together; with this they stay within 12 dB of the
/// running level all the same.
const LOUDEST_HAND_DB: f64 = 6.0;

/// The phrase once through, in stereo: from its first tick, with a second of ringing out after its
/// end.
///
/// All phrases come out at one loudness (-26 LUFS), with peaks below -1 dBFS. `seed` decides
/// the grain of knocks, claps and plucks, nothing that is counted.
pub fn render(phrase: &Phrase, rate: SampleRate, seed: Seed) -> Pcm {
    let n_frames = length(phrase, rate) + frames(RING_OUT, rate);
    let mut mix = Mix::new(rate, n_frames);
    mix.perform(&plan(phrase, rate, Ends::Open), seed);
    let mut samples = mix.through_body_and_room();
    samples.truncate(2 * n_frames);
    fade_out(&mut samples, frames(0.05, rate));
    master(samples, rate, Ends::Open)
}

/// The phrase as a loop, in stereo: exactly from its first tick to the first after it, with what
/// rings beyond the end folded back onto the beginning, so that it goes round without a gap.
pub fn render_loop(phrase: &Phrase, rate: SampleRate, seed: Seed) -> Pcm {
    let n_frames = length(phrase, rate);
    let mut mix = Mix::new(rate, n_frames + frames(RING, rate));
    mix.perform(&plan(phrase, rate, Ends::Joined), seed);
    let folded = fold(&mix.through_body_and_room(), 2 * n_frames);
    master(folded, rate, Ends::Joined)
}

fn length(phrase: &Phrase, rate: SampleRate) -> usize {
    let n_frames = Timeline::of(phrase, rate).n_frames().0;
    usize::try_from(n_frames).unwrap_or(usize::MAX)
}

/// A note with its place in frames.
#[derive(Clone, Copy, Debug)]
struct Placed {
    note: Note,
    onset: usize,
    n_held: usize,
}

/// Where every note sounds and how long it may ring: as long as it is held, and not beyond the next
/// pluck of the same string, round the loop where there is one.
fn plan(phrase: &Phrase, rate: SampleRate, ends: Ends) -> Vec<Placed> {
    let timeline = Timeline::of(phrase, rate);
    let n_frames = length(phrase, rate);
    let place = |note: &Note| Placed {
        note: *note,
        onset: usize::try_from(timeline.onset(note).0).unwrap_or(0),
        n_held: usize::try_from(timeline.release(note).0 - timeline.onset(note).0).unwrap_or(0),
    };
    let mut placed: Vec<Placed> = phrase.notes.iter().map(place).collect();
    let mut strings: BTreeMap<Pitch, Vec<usize>> = BTreeMap::new();
    for (idx, stroke) in placed.iter().enumerate() {
        if let Some(pitch) = stroke.note.pitch {
            strings.entry(pitch).or_default().push(idx);
        }
    }
    for plucks in strings.values_mut() {
        plucks.sort_by_key(|&idx| placed[idx].onset);
        let first = plucks.first().map(|&idx| placed[idx].onset + n_frames);
        for (n, &idx) in plucks.iter().enumerate() {
            let next = match plucks.get(n + 1) {
                Some(&next) => Some(placed[next].onset),
                None => first.filter(|_| ends == Ends::Joined),
            };
            if let Some(next) = next {
                let until = next.saturating_sub(placed[idx].onset);
                placed[idx].n_held = placed[idx].n_held.min(until);
            }
        }
    }
    placed
}

/// What the strokes add up to, before body and room.
#[derive(Clone, Debug)]
struct Mix {
    rate: SampleRate,
    left: Vec<f32>,
    right: Vec<f32>,
    body: Vec<f32>,
    /// What brings a string of this touch and pitch to the ordinary level.
    levels: BTreeMap<(Touch, Pitch), f32>,
}

impl Mix {
    fn new(rate: SampleRate, n_frames: usize) -> Self {
        let silence = vec![0.0; n_frames];
        Self {
            rate,
            left: silence.clone(),
            right: silence.clone(),
            body: silence,
            levels: BTreeMap::new(),
        }
    }

    fn perform(&mut self, plan: &[Placed], seed: Seed) {
        for (n, placed) in (0..).zip(plan) {
            let stroke = Stroke {
                touch: placed.note.touch,
                pitch: placed.note.pitch,
                n_held: placed.n_held,
                noise: Noise::of(seed.child("stroke", n)),
            };
            self.add(placed, stroke);
        }
    }

    fn add(&mut self, placed: &Placed, stroke: Stroke) {
        let samples = stroke.samples(self.rate);
        let loudest = match stroke.through() {
            Through::Body => LOUDEST_STRING_DB,
            Through::Air => LOUDEST_HAND_DB,
        };
        let db = placed.note.loudness.decibels();
        let db = db.clamp(SOFTEST_DB, loudest);
        let gain = single(factor(db)) * self.level(stroke, &samples);
        let (left, right) = place(placed.note.voice);
        self.make_room(placed.onset + samples.len());
        let span = placed.onset..placed.onset + samples.len();
        add(&mut self.left[span.clone()], &samples, gain * left);
        add(&mut self.right[span.clone()], &samples, gain * right);
        if stroke.through() == Through::Body {
            add(&mut self.body[span], &samples, gain);
        }
    }

    /// The factor to the ordinary level. Strings of one touch and pitch differ by a little noise
    /// only, so that they are measured once, on a string that is left ringing.
    fn level(&mut self, stroke: Stroke, samples: &[f32]) -> f32 {
        let rate = self.rate;
        match stroke.pitch.filter(|_| stroke.through() == Through::Body) {
            None => stroke.levelling(samples, rate),
            Some(pitch) => *self.levels.entry((stroke.touch, pitch)).or_insert_with(|| {
                let ringing = Stroke {
                    n_held: frames(0.2, rate),
                    ..stroke
                };
                ringing.levelling(&ringing.samples(rate), rate)
            }),
        }
    }

    fn make_room(&mut self, n_frames: usize) {
        if n_frames > self.left.len() {
            let n_frames = n_frames + frames(RING, self.rate);
            for row in [&mut self.left, &mut self.right, &mut self.body] {
                row.resize(n_frames, 0.0);
            }
        }
    }

    /// The whole sound, interleaved.
    fn through_body_and_room(self) -> Vec<f32> {
        let mut body = Body::new(self.rate);
        let mut room = Room::new(self.rate);
        let mut samples = vec![0.0; 2 * self.left.len()];
        let rows = self.left.iter().zip(&self.right).zip(&self.body);
        for (frame, ((&left, &right), &string)) in samples.chunks_exact_mut(2).zip(rows) {
            let wood = body.next(string);
            let (left, right) = (left + wood, right + wood);
            let (near, far) = room.next(0.5 * (left + right));
            frame[0] = left + near;
            frame[1] = right + far;
        }
        samples
    }
}

/// Where a voice stands: the factors for left and right, of equal power together. A few decibels
/// apart at most, as no layer may be told by its side alone.
fn place(voice: Voice) -> (f32, f32) {
    match voice {
        Voice::Bass | Voice::Chords => (1.0, 1.0),
        Voice::Line => (1.058, 0.938),
        Voice::Strike => (0.938, 1.058),
        Voice::Claps | Voice::Bell => (0.866, 1.118),
    }
}

#[inline]
fn add(sum: &mut [f32], samples: &[f32], gain: f32) {
    for (sum, sample) in sum.iter_mut().zip(samples) {
        *sum += gain * sample;
    }
}

/// Lays everything beyond the first `n_samples` onto the beginning, as often as it takes.
fn fold(samples: &[f32], n_samples: usize) -> Vec<f32> {
    let mut folded = vec![0.0; n_samples];
    for round in samples.chunks(n_samples.max(1)) {
        add(&mut folded, round, 1.0);
    }
    folded
}

/// Lets the last `n_frames` of stereo `samples` fade to nothing.
fn fade_out(samples: &mut [f32], n_frames: usize) {
    let n_tail = (2 * n_frames).min(samples.len());
    let start = samples.len() - n_tail;
    let step = 1.0 / real(n_frames.max(1));
    for (n, frame) in samples[start..].chunks_mut(2).enumerate() {
        let gain = single(1.0 - step * real(n + 1));
        for sample in frame {
            *sample *= gain;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::phrase::Loudness;
    use crate::rhythm::{Cycle, Feel, Tempo, Tick, Ticks};

    /// How many pulses of 18,000 frames each pluck of one string rings.
    #[track_caller]
    fn check(ends: Ends, plucks: &[(i64, u32)], expected: &[usize]) {
        let note = |&(at, held): &(i64, u32)| Note {
            at: Tick::of_pulse(at),
            delay: 0,
            length: Ticks::of_pulses(held),
            voice: Voice::Line,
            pitch: Some(Pitch(64)),
            loudness: Loudness(0),
            touch: Touch::Finger,
        };
        let phrase = Phrase {
            cycle: Cycle::SIX,
            pace: Tempo::of_pulses_a_minute(160).expect("in range").into(),
            n_cycles: 1,
            entry: 0,
            feel: Feel::Threes,
            notes: plucks.iter().map(note).collect(),
        };
        let plan = plan(&phrase, SampleRate::HZ_48000, ends);
        let held: Vec<usize> = plan.iter().map(|placed| placed.n_held).collect();
        let expected: Vec<usize> = expected.iter().map(|pulses| pulses * 18_000).collect();
        assert_eq!(held, expected);
    }

    #[test]
    fn a_string_rings_until_it_is_plucked_again() {
        check(Ends::Open, &[(0, 2), (3, 2)], &[2, 2]);
        check(Ends::Open, &[(0, 9), (3, 9)], &[3, 9]);
    }

    #[test]
    fn round_a_loop_the_first_pluck_stops_the_last() {
        check(Ends::Joined, &[(1, 9), (4, 9)], &[3, 3]);
        check(Ends::Joined, &[(1, 20)], &[6]);
    }

    #[test]
    fn folding_adds_every_round() {
        assert_eq!(fold(&[1.0, 2.0, 3.0, 4.0, 5.0], 2), [9.0, 6.0]);
    }
}
