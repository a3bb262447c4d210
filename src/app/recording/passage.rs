//! A passage of a recording under claps, going round.
//!
//! Read [`Making`] first: it makes the beginning, so that it can sound, and then the rest, and keeps
//! what can serve again when only claps or speed are changed.

use std::mem;
use std::sync::Arc;

use super::Open;
use super::cut::Cut;
use crate::app::player::Rendering;
use crate::listen::Sound;
use crate::pcm::decode::DecodeError;
use crate::pcm::{Frames, Growing, SampleRate, Speed};
use crate::phrase::{Loudness, Note, Phrase, Touch, Voice};
use crate::quiz::ToClap;
use crate::rhythm::{Counting, Cycle, Feel, Layer, Pace, Pattern, Tick, Ticks};
use crate::sound::{Overlay, Strokes};

/// The claps over a passage.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Claps {
    /// None.
    None,
    /// In threes.
    Threes,
    /// In twos.
    Twos,
    /// Dull ones in threes and bright ones in twos.
    Both,
    /// In a grouping of the cycle's own.
    Grouping(Layer),
}

/// 1, 4 and 5 of six, which has no grouping of its own in the table of patterns.
const ONE_FOUR_FIVE: [i64; 3] = [0, 3, 4];

impl Claps {
    /// What they are called by whoever counts so.
    pub fn words(self, counting: Counting) -> String {
        match self {
            Self::None => "none".to_owned(),
            Self::Threes => "in threes".to_owned(),
            Self::Twos => "in twos".to_owned(),
            Self::Both => "both".to_owned(),
            Self::Grouping(layer) => {
                let names = layer.pulses().map(|p| counting.name(layer.cycle(), p));
                names.collect::<Vec<String>>().join("-")
            }
        }
    }

    /// The first grouping of a cycle's own, or the one after this; nothing where it has none.
    pub(super) fn next_grouping(self, cycle: Cycle) -> Option<Self> {
        let all = groupings(cycle);
        let at = all.iter().position(|one| Self::Grouping(*one) == self);
        let next = at.map_or(0, |at| (at + 1) % all.len());
        all.get(next).copied().map(Self::Grouping)
    }

    /// What hands clap along with them: two layers with two hands, threes with the left one.
    pub(super) fn to_clap(self, cycle: Cycle) -> Option<ToClap> {
        match self.layers(cycle).as_slice() {
            [(layer, _)] => Some(ToClap::One(*layer)),
            [(left, _), (right, _)] => Some(ToClap::Two([*left, *right])),
            _ => None,
        }
    }

    fn layers(self, cycle: Cycle) -> Vec<(Layer, Touch)> {
        let every = |n| Layer::every(cycle, n);
        match self {
            Self::None => Vec::new(),
            Self::Threes => vec![(every(3), Touch::Sorda)],
            Self::Twos => vec![(every(2), Touch::Clara)],
            Self::Both => vec![(every(3), Touch::Sorda), (every(2), Touch::Clara)],
            Self::Grouping(layer) => vec![(layer, Touch::Sorda)],
        }
    }
}

/// The groupings of a cycle whose groups are not all alike, as they stand in the table of patterns; and where
/// it is made of sixes, 1-4-5 of each.
pub(super) fn groupings(cycle: Cycle) -> Vec<Layer> {
    let of_cycle = Pattern::all().filter(|pattern| pattern.cycle() == cycle);
    let is_mixed = |layer: &Layer| layer.gaps().windows(2).any(|pair| pair[0] != pair[1]);
    let mut all: Vec<Layer> = Vec::new();
    for layer in of_cycle.filter_map(Pattern::marks).filter(is_mixed) {
        if !all.contains(&layer) {
            all.push(layer);
        }
    }
    let n_pulses = cycle.n_pulses();
    if n_pulses.is_multiple_of(Cycle::SIX.n_pulses()) {
        let sixes = (0_i64..).step_by(6).take(n_pulses / 6);
        let pulses = sixes.flat_map(|from| ONE_FOUR_FIVE.map(|pulse| from + pulse));
        all.extend(Layer::of(cycle, &pulses.collect::<Vec<i64>>()));
    }
    all
}

/// How loud claps are against what is usual, in decibels: -12 to 6.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ClapsLevel(i8);

impl ClapsLevel {
    /// As is usual.
    pub const USUAL: Self = Self(0);

    /// A step louder, as far as it goes.
    pub fn louder(self) -> Self {
        Self((self.0 + 3).min(6))
    }

    /// A step softer, as far as it goes.
    pub fn softer(self) -> Self {
        Self((self.0 - 3).max(-12))
    }

    /// Decibels.
    pub fn decibels(self) -> i8 {
        self.0
    }
}

/// In which cycles claps lie over a passage.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Led {
    /// In all.
    Throughout,
    /// In the first, and the rest is the learner's.
    First,
}

/// Where a new sound of a passage begins.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(in crate::app) enum Joining {
    /// With its first frame.
    Anew,
    /// Where the one before it is: it is the same passage at the same speed.
    InPlace,
}

/// What is to be played of a recording.
pub(in crate::app) struct Passage {
    pub(super) open: Open,
    /// What was heard in the recording, by which a passage's loudness is told from its beginning.
    pub(super) heard: Option<Arc<Sound>>,
    /// Times of its pulses in the recording, that of its end among them where it is known.
    pub(super) pulses: Vec<f64>,
    pub(super) n_cycles: usize,
    pub(super) cycle: Cycle,
    pub(super) claps: Claps,
    pub(super) level: ClapsLevel,
    pub(super) led: Led,
    pub(super) speed: Speed,
}

impl Passage {
    pub(super) fn begins(&self) -> f64 {
        self.pulses.first().copied().unwrap_or(0.0)
    }

    pub(super) fn seconds(&self) -> f64 {
        self.gaps().iter().sum()
    }

    /// Seconds from each pulse to the next; the last one is as long as the one before it where the
    /// recording ends with it.
    fn gaps(&self) -> Vec<f64> {
        let mut gaps: Vec<f64> = self
            .pulses
            .windows(2)
            .map(|pair| pair[1] - pair[0])
            .collect();
        let n = self.n_cycles * self.cycle.n_pulses();
        let last = gaps.last().copied().unwrap_or(0.5);
        gaps.resize(n, last);
        gaps
    }

    /// The claps alone, in the time of the passage.
    pub(super) fn claps(&self) -> Phrase {
        let n_cycles = match self.led {
            Led::Throughout => self.n_cycles,
            Led::First => 1,
        };
        let n = i64::try_from(n_cycles * self.cycle.n_pulses()).unwrap_or(0);
        let mut notes = Vec::new();
        for (layer, touch) in self.claps.layers(self.cycle) {
            let pulses = (0..n).filter(|pulse| layer.contains(self.cycle.pulse_at(*pulse)));
            notes.extend(pulses.map(|pulse| clap(pulse, touch)));
        }
        notes.sort_by_key(|note| (note.at, note.touch == Touch::Clara));
        Phrase {
            cycle: self.cycle,
            pace: Pace::of_pulses(
                &self
                    .gaps()
                    .iter()
                    .map(|gap| gap * self.speed.longer())
                    .collect::<Vec<f64>>(),
            ),
            n_cycles: u32::try_from(self.n_cycles).unwrap_or(1),
            entry: 0,
            feel: Feel::Either,
            notes,
        }
    }
}

/// Chunks that are made before a passage begins to sound: half a second, in which the next ones are
/// made many times over.
const AHEAD: usize = 2;

/// The passage that is being made, and what was made of it before.
#[derive(Default)]
pub(in crate::app) struct Making {
    cut: Option<Cut>,
    strokes: Strokes,
    rest: Option<Rest>,
}

/// What is still to be made.
struct Rest {
    growing: Arc<Growing>,
    overlay: Overlay,
    /// The chunk that comes next.
    next: usize,
}

impl Making {
    /// Makes as much as a beginning needs, and all of which the stretched sound is there already.
    pub(in crate::app) fn begin(
        &mut self,
        passage: &Passage,
        rate: SampleRate,
    ) -> Result<Rendering, DecodeError> {
        self.rest = None;
        let cut = match self.cut.take() {
            Some(cut) if cut.is_of(passage, rate) => cut.at(passage.speed),
            _ => Cut::of(passage, rate)?,
        };
        let claps = passage.claps();
        let levels = (cut.gain(), f64::from(passage.level.decibels()));
        let overlay = Overlay::new(levels, &claps, rate, &mut self.strokes);
        let n_frames = Frames(u64::try_from(overlay.n_frames()).unwrap_or(0));
        let growing = Arc::new(Growing::new(rate, n_frames));
        let rest = self.rest.insert(Rest {
            growing: Arc::clone(&growing),
            overlay,
            next: 0,
        });
        let cut = self.cut.insert(cut);
        while rest.next < AHEAD || cut.has(rest.needs()) {
            if rest.step(cut) == Step::Done {
                break;
            }
        }
        Ok(Rendering::growing(growing, &claps))
    }

    /// Makes the rest of what was begun, unless nobody wants it any more.
    pub(in crate::app) fn finish(&mut self) {
        let (Some(mut rest), Some(cut)) = (mem::take(&mut self.rest), &mut self.cut) else {
            return;
        };
        while rest.growing.is_wanted() && rest.step(cut) == Step::On {}
    }
}

/// Whether there is more to do.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Step {
    On,
    Done,
}

impl Rest {
    /// How many frames of the stretched sound the next chunk needs.
    fn needs(&self) -> usize {
        let ends = self.growing.range(self.next).end + self.overlay.reach();
        ends.min(self.overlay.n_frames())
    }

    fn step(&mut self, cut: &mut Cut) -> Step {
        if self.next >= self.growing.n_chunks() {
            return Step::Done;
        }
        if cut.stretch_to(self.needs()).is_err() {
            // It was there when the passage began; what cannot be read now stays silent.
            return Step::Done;
        }
        let range = self.growing.range(self.next);
        let chunk = self.overlay.chunk(cut.stretched(), range);
        self.growing.fill(self.next, chunk);
        self.next += 1;
        Step::On
    }
}

fn clap(pulse: i64, touch: Touch) -> Note {
    Note {
        at: Tick::of_pulse(pulse),
        delay: 0,
        length: Ticks(120),
        voice: Voice::Claps,
        pitch: None,
        loudness: Loudness(0),
        touch,
    }
}
