//! What a phrase is made of: notes of voices at ticks.

use crate::rhythm::{Cycle, Feel, Layer, Pace, Tempo, Tick, Ticks};

/// A part that is heard as one: it carries its own accents and is never summed with another.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Voice {
    /// The thumb's low notes.
    Bass,
    /// Strummed or broken chords.
    Chords,
    /// A single-note line.
    Line,
    /// Knocks on the guitar's top (golpe).
    Strike,
    /// Hand claps (palmas).
    Claps,
    /// A small bell that marks a count.
    Bell,
}

impl Voice {
    /// All voices, in the order of the rows on screen.
    pub const ALL: [Self; 6] = [
        Self::Line,
        Self::Chords,
        Self::Bass,
        Self::Strike,
        Self::Claps,
        Self::Bell,
    ];

    /// Whether it is played on the strings of the guitar.
    pub fn is_strings(self) -> bool {
        matches!(self, Self::Bass | Self::Chords | Self::Line)
    }

    /// Its name on screens.
    pub fn words(self) -> &'static str {
        match self {
            Self::Strike => "knocks",
            other => other.name(),
        }
    }

    /// Its name in files.
    pub fn name(self) -> &'static str {
        match self {
            Self::Bass => "bass",
            Self::Chords => "chords",
            Self::Line => "line",
            Self::Strike => "strike",
            Self::Claps => "claps",
            Self::Bell => "bell",
        }
    }
}

/// How a note is made with the hands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Touch {
    /// A string plucked by the thumb: round.
    Thumb,
    /// A string plucked by a finger: bright.
    Finger,
    /// A string of a downward strum.
    Down,
    /// A string of an upward strum.
    Up,
    /// A string under the nails of a roll (rasgueado), which fly out one after the other: bright.
    Roll,
    /// A string of a strum that the hand stops as it strikes: a thud with hardly a pitch.
    Stopped,
    /// A knock on the top of the guitar with the nail.
    Golpe,
    /// A knock on the top of the guitar with the flesh of a finger: duller.
    GolpeSoft,
    /// A dull clap, hands cupped.
    Sorda,
    /// A bright clap, fingers on the palm.
    Clara,
    /// A small bell that marks a count for the learner.
    Bell,
}

/// A semitone on the piano keyboard, as MIDI numbers it: 40 is the guitar's lowest E, 69 is A at 440 Hz.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Pitch(pub u8);

/// Loudness against an ordinary stroke of the same touch, in tenths of a decibel.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Loudness(pub i16);

impl Loudness {
    /// Decibels against an ordinary stroke.
    pub fn decibels(self) -> f64 {
        f64::from(self.0) / 10.0
    }

    /// MIDI velocity of the stroke: 90 for an ordinary one, and 40 log10 of the ratio for the
    /// decibels, as the General MIDI guidelines have it (amplitude goes with the square of velocity).
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "clamped to 1..=127"
    )]
    pub fn velocity(self) -> u8 {
        (90.0 * 10_f64.powf(self.decibels() / 40.0))
            .round()
            .clamp(1.0, 127.0) as u8
    }
}

/// One sounding string, knock or clap.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Note {
    /// Where it is counted.
    pub at: Tick,
    /// How much later it sounds, in microseconds: the spread of a strum and the hand's small
    /// unevenness. Within ±40,000.
    pub delay: i32,
    /// How long it is held; a plucked string may ring until then, not longer.
    pub length: Ticks,
    /// Whose note it is.
    pub voice: Voice,
    /// Its pitch; `None` for knocks and claps.
    pub pitch: Option<Pitch>,
    /// How loud it is.
    pub loudness: Loudness,
    /// How it is made.
    pub touch: Touch,
}

/// Notes over whole cycles. The first count of the first cycle lies at tick zero; the sound begins
/// on pulse `entry` and spans whole cycles from there, so that it can be looped.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Phrase {
    /// The cycle it goes through.
    pub cycle: Cycle,
    /// Its speed.
    pub pace: Pace,
    /// How many cycles it lasts.
    pub n_cycles: u32,
    /// The pulse on which it comes in: 0 is the count of one, positive is later in the cycle,
    /// negative a pickup before it.
    pub entry: i64,
    /// What it was made to state.
    pub feel: Feel,
    /// Its notes in order of time.
    pub notes: Vec<Note>,
}

impl Phrase {
    /// The tempo at its beginning.
    pub fn tempo(&self) -> Tempo {
        self.pace.first()
    }

    /// The first tick that belongs to it.
    pub fn begins(&self) -> Tick {
        Tick::of_pulse(self.entry)
    }

    /// The first tick after it; where a loop begins again.
    pub fn ends(&self) -> Tick {
        let n_pulses = i64::from(self.n_cycles) * self.n_pulses();
        Tick::of_pulse(self.entry + n_pulses)
    }

    /// The count on which it comes in, as a pulse of its cycle.
    pub fn entry_pulse(&self) -> crate::rhythm::Pulse {
        self.cycle.pulse_at(self.entry)
    }

    fn n_pulses(&self) -> i64 {
        i64::try_from(self.cycle.n_pulses()).expect("a cycle has at most 48 pulses")
    }

    /// The same phrase under claps: in each cycle those of the layer that `by_cycle` has for it,
    /// the last of them for all that follow; none when it is empty.
    #[must_use]
    pub fn clapped(&self, by_cycle: &[Layer], touch: Touch) -> Self {
        self.clapped_by(
            |cycle_idx| by_cycle.get(cycle_idx).or(by_cycle.last()).copied(),
            touch,
        )
    }

    /// The same phrase under claps, where `layer` says what is clapped in a cycle, from 0.
    #[must_use]
    pub fn clapped_by(&self, layer: impl Fn(usize) -> Option<Layer>, touch: Touch) -> Self {
        let mut clapped = self.clone();
        let loop_pulses = i64::from(self.n_cycles) * self.n_pulses();
        for idx in self.entry..self.entry + loop_pulses {
            // A pickup belongs to the end of the last cycle, and what lies after it to the first.
            let cycle_idx = idx.rem_euclid(loop_pulses) / self.n_pulses();
            let layer = usize::try_from(cycle_idx).ok().and_then(&layer);
            if layer.is_some_and(|layer| layer.contains(self.cycle.pulse_at(idx))) {
                clapped.notes.push(clap(idx, touch));
            }
        }
        clapped
            .notes
            .sort_by_key(|note| (note.at, note.delay, note.voice, note.pitch));
        clapped
    }

    /// One voice of it alone.
    #[must_use]
    pub fn only(&self, voice: Voice) -> Self {
        let notes = self
            .notes
            .iter()
            .filter(|note| note.voice == voice)
            .copied()
            .collect();
        Self {
            notes,
            ..self.clone()
        }
    }

    /// The voices that sound in it, in the order of the rows on screen.
    pub fn voices(&self) -> Vec<Voice> {
        let sounds = |voice: &Voice| self.notes.iter().any(|note| note.voice == *voice);
        Voice::ALL.into_iter().filter(sounds).collect()
    }
}

fn clap(pulse_idx: i64, touch: Touch) -> Note {
    Note {
        at: Tick::of_pulse(pulse_idx),
        delay: 0,
        length: Ticks(120),
        voice: Voice::Claps,
        pitch: None,
        loudness: Loudness(0),
        touch,
    }
}
