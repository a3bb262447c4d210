//! A passage of a recording under claps.

use std::collections::BTreeMap;
use std::ops::Range;
use std::sync::Arc;

use super::master::{Ends, gain_to_target, master, reach, turn_down};
use super::render::{render, render_loop};
use super::timeline::Timeline;
use super::units::{factor, single};
use crate::pcm::{Pcm, SampleRate};
use crate::phrase::{Loudness, Note, Phrase, Touch, Voice};
use crate::rhythm::{Cycle, Feel, Pace, Tick, Ticks};
use crate::world::Seed;

/// How loud claps are against the recording, as a factor: as loud on the whole would drown it, since
/// they are heard only now and then.
const CLAPS: f32 = 0.7;

/// Frames of one round of a phrase.
pub fn round_frames(phrase: &Phrase, rate: SampleRate) -> usize {
    usize::try_from(Timeline::of(phrase, rate).n_frames().0).unwrap_or(0)
}

/// `passage`, in stereo and brought to the common loudness, with these claps over it, as one round of
/// so many frames: cut or filled with silence to them, and under the ceiling for peaks.
pub fn under_claps(passage: &Pcm, n_frames: usize, claps: &Phrase) -> Pcm {
    let rate = passage.rate();
    let mut samples = passage.samples().to_vec();
    samples.resize(2 * n_frames, 0.0);
    soften_seam(&mut samples, rate);
    let recording = master(samples, rate, Ends::Joined);
    if claps.notes.is_empty() {
        return recording;
    }
    let claps = render_loop(claps, rate, Seed(1).child("claps", 0));
    let over = recording.samples().iter().zip(claps.samples());
    let mixed = over
        .map(|(recording, clap)| recording + CLAPS * clap)
        .collect();
    master(mixed, rate, Ends::Joined)
}

/// Loudness of a passage before claps are laid over it: the factor that brings it to the common one.
pub fn passage_gain(passage: &Pcm) -> f32 {
    gain_to_target(passage)
}

/// Claps as samples, made once and laid where they are wanted.
#[derive(Debug, Default)]
pub struct Strokes {
    made: BTreeMap<(SampleRate, Touch), [Arc<[f32]>; VARIANTS]>,
}

/// Claps by one pair of hands are never quite alike.
const VARIANTS: usize = 3;

impl Strokes {
    fn of(&mut self, touch: Touch, rate: SampleRate) -> &[Arc<[f32]>; VARIANTS] {
        let make = || [0, 1, 2].map(|n| stroke(touch, rate, n));
        self.made.entry((rate, touch)).or_insert_with(make)
    }
}

/// A clap as loud as when it comes once a second at the common loudness, with what it leaves in the
/// room.
fn stroke(touch: Touch, rate: SampleRate, variant: u64) -> Arc<[f32]> {
    let clap = Note {
        at: Tick::of_pulse(0),
        delay: 0,
        length: Ticks::of_pulses(1),
        voice: Voice::Claps,
        pitch: None,
        loudness: Loudness(0),
        touch,
    };
    let phrase = Phrase {
        cycle: Cycle::SIX,
        pace: Pace::of_pulses(&[1.0 / 6.0]),
        n_cycles: 1,
        entry: 0,
        feel: Feel::Either,
        notes: vec![clap],
    };
    let sound = render(&phrase, rate, Seed(1).child("clap", variant));
    let loud = sound.samples().iter().map(|x| CLAPS * x);
    loud.collect()
}

/// Claps over a passage, laid piece by piece while the passage is still made.
#[derive(Debug)]
pub struct Overlay {
    rate: SampleRate,
    n_frames: usize,
    gain: f32,
    claps_gain: f32,
    claps: Vec<(usize, Arc<[f32]>)>,
}

impl Overlay {
    /// These claps, `decibels` louder than usual, over one round of a passage that is made `gain` times
    /// as loud.
    pub fn new(
        (gain, decibels): (f32, f64),
        claps: &Phrase,
        rate: SampleRate,
        strokes: &mut Strokes,
    ) -> Self {
        let timeline = Timeline::of(claps, rate);
        let onset = |note| usize::try_from(timeline.onset(note).0).unwrap_or(0);
        let notes = claps.notes.iter().enumerate();
        let laid = notes.map(|(n, note)| {
            let variants = strokes.of(note.touch, rate);
            (onset(note), Arc::clone(&variants[n % VARIANTS]))
        });
        Self {
            rate,
            n_frames: round_frames(claps, rate),
            gain,
            claps_gain: single(factor(decibels)),
            claps: laid.collect(),
        }
    }

    /// How long a round is.
    pub fn n_frames(&self) -> usize {
        self.n_frames
    }

    /// By how many frames the passage has to be there beyond the end of what is asked for.
    pub fn reach(&self) -> usize {
        reach(self.rate)
    }

    /// These frames of the round, under the ceiling for peaks; of the interleaved `passage` at least
    /// [`Overlay::reach`] frames more are there, or all. What rings beyond the end is heard at the
    /// beginning.
    pub fn chunk(&self, passage: &[f32], range: Range<usize>) -> Pcm {
        let around =
            range.start.saturating_sub(self.reach())..(range.end + self.reach()).min(self.n_frames);
        let mut pcm = Pcm::stereo(self.rate, self.mixed(passage, around.clone()));
        turn_down(&mut pcm, Ends::Open);
        let from = 2 * (range.start - around.start);
        let samples = pcm.samples().iter().skip(from).take(2 * range.len());
        Pcm::stereo(self.rate, samples.copied().collect())
    }

    fn mixed(&self, passage: &[f32], range: Range<usize>) -> Vec<f32> {
        let mut samples = Vec::with_capacity(2 * range.len());
        let n_soft = n_soft(self.rate, self.n_frames);
        for frame in range.clone() {
            let to_seam = frame.min(self.n_frames - 1 - frame);
            let gain = self.gain * softened(to_seam, n_soft);
            let sample = |at| gain * passage.get(at).copied().unwrap_or(0.0);
            samples.extend([sample(2 * frame), sample(2 * frame + 1)]);
        }
        for (onset, stroke) in &self.claps {
            let mut at = *onset;
            let mut left = stroke.as_ref();
            // Each time round what is left begins at the first frame again.
            while !left.is_empty() && self.n_frames > 0 {
                let n_here = (2 * (self.n_frames - at)).min(left.len());
                add(&mut samples, &left[..n_here], self.claps_gain, at, &range);
                left = &left[n_here..];
                at = 0;
            }
        }
        samples
    }
}

/// Adds a stroke that begins at a frame to those samples that belong to `range`.
fn add(samples: &mut [f32], stroke: &[f32], gain: f32, at: usize, range: &Range<usize>) {
    let from = at.max(range.start);
    let until = (at + stroke.len() / 2).min(range.end);
    if from >= until {
        return;
    }
    let to = &mut samples[2 * (from - range.start)..2 * (until - range.start)];
    for (sample, more) in to.iter_mut().zip(&stroke[2 * (from - at)..]) {
        *sample += gain * more;
    }
}

/// Lets the first and the last five milliseconds rise and fall, so that the seam does not click.
fn soften_seam(samples: &mut [f32], rate: SampleRate) {
    let n_frames = samples.len() / 2;
    let n_soft = n_soft(rate, n_frames);
    for k in 0..n_soft {
        let gain = softened(k, n_soft);
        let end = samples.len() - 2 * (k + 1);
        for channel in 0..2 {
            samples[2 * k + channel] *= gain;
            samples[end + channel] *= gain;
        }
    }
}

/// Frames on each side of the seam that are softened.
fn n_soft(rate: SampleRate, n_frames: usize) -> usize {
    let five_ms = usize::try_from(rate.hz() / 200).unwrap_or(0);
    five_ms.min(n_frames / 2)
}

/// How loud a frame is so far from the seam.
fn softened(to_seam: usize, n_soft: usize) -> f32 {
    let number = |n: usize| f32::from(u16::try_from(n).unwrap_or(u16::MAX));
    if to_seam < n_soft {
        number(to_seam) / number(n_soft)
    } else {
        1.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::pcm::{Frames, Growing, loudness};

    const RATE: SampleRate = SampleRate::HZ_48000;

    /// Claps in threes over two cycles of which no two pulses are alike.
    fn claps() -> Phrase {
        let gaps: Vec<f64> = (0..12).map(|n| 0.3 - 0.005 * f64::from(n)).collect();
        let clap = |pulse| Note {
            at: Tick::of_pulse(pulse),
            delay: 0,
            length: Ticks(120),
            voice: Voice::Claps,
            pitch: None,
            loudness: Loudness(0),
            touch: Touch::Sorda,
        };
        Phrase {
            cycle: Cycle::SIX,
            pace: Pace::of_pulses(&gaps),
            n_cycles: 2,
            entry: 0,
            feel: Feel::Either,
            notes: [0, 3, 6, 9].map(clap).to_vec(),
        }
    }

    fn noise(n_frames: usize) -> Vec<f32> {
        let mut dice = Seed(4).dice();
        let mut sample = || f32::from(u8::try_from(dice.below(201)).expect("small")) / 100.0 - 1.0;
        (0..2 * n_frames).map(|_| 0.9 * sample()).collect()
    }

    #[test]
    fn pieces_are_what_the_whole_is() {
        let claps = claps();
        let overlay = Overlay::new((0.8, 12.0), &claps, RATE, &mut Strokes::default());
        let n_frames = overlay.n_frames();
        assert_eq!(n_frames, round_frames(&claps, RATE));
        let passage = noise(n_frames);
        let whole = overlay.chunk(&passage, 0..n_frames);
        assert!(whole.peak() < 0.8, "under the ceiling");
        let n_frames = u64::try_from(n_frames).expect("small");
        let growing = Growing::new(RATE, Frames(n_frames));
        assert!(growing.n_chunks() > 4);
        for chunk in 0..growing.n_chunks() {
            let range = growing.range(chunk);
            // Of the passage no more is there than has to be.
            let there = (2 * (range.end + overlay.reach())).min(passage.len());
            growing.fill(chunk, overlay.chunk(&passage[..there], range));
        }
        for (at, frame) in whole.frames().enumerate() {
            let piece = growing.frame(at);
            assert!((piece[0] - frame[0]).abs() < 1e-5, "{at}");
            assert!((piece[1] - frame[1]).abs() < 1e-5, "{at}");
        }
    }

    #[test]
    fn claps_are_about_as_loud_as_when_all_are_made_at_once() {
        let claps = claps();
        let n_frames = round_frames(&claps, RATE);
        let silence = Pcm::stereo(RATE, vec![0.0; 2 * n_frames]);
        let overlay = Overlay::new((1.0, 0.0), &claps, RATE, &mut Strokes::default());
        let laid = loudness(&overlay.chunk(silence.samples(), 0..n_frames)).expect("claps");
        // One after the other at the common loudness, less the factor of claps over a passage.
        let alone = loudness(&render_loop(&claps, RATE, Seed(1))).expect("claps");
        let expected = alone + 20.0 * f64::from(CLAPS).log10();
        assert!((laid - expected).abs() < 2.0, "{laid} for {expected}");
    }

    #[test]
    fn what_rings_beyond_the_end_is_heard_at_the_beginning() {
        let mut claps = claps();
        claps.notes.retain(|note| note.at == Tick::of_pulse(9));
        let overlay = Overlay::new((1.0, 0.0), &claps, RATE, &mut Strokes::default());
        let sound = overlay.chunk(&[], 0..overlay.n_frames());
        assert!(sound.samples()[..960].iter().any(|x| x.abs() > 1e-7));
    }
}
