//! One stroke of the hand over the strings: how its power is divided among them.

use crate::accent::size;
use crate::rhythm::{Tick, Ticks};

use crate::phrase::{Loudness, Note, Pitch, Touch, Voice};

/// How long thumb and chords ring. The same for both, or what rings on would make the stroke after a
/// low note louder than others.
const RINGING: Ticks = Ticks(420);
/// How long the strings of a stopped stroke sound at all.
const STOPPED: Ticks = Ticks(60);
/// The share of its power from which a stopped stroke is stopped on all strings.
const ALL_STOPPED: f64 = 0.9;
/// Power of a thumb's note that sounds alone, against a finger's. Equal loudness by the ear's
/// weighting is more power in a low note; this lies half-way between equal loudness and equal power,
/// so that neither measure of strength points to the marks.
const THUMB_ALONE: f64 = 0.85;

/// One stroke: strings in the order in which they are struck, each with its share of the power.
pub(super) struct Stroke {
    strings: Vec<Part>,
    /// Decibels by which the whole is louder than an ordinary stroke.
    pub(super) accent_db: f64,
    /// How long a note of a line is held.
    pub(super) held: Ticks,
}

struct Part {
    pitch: Pitch,
    voice: Voice,
    touch: Touch,
    /// Share of the stroke's power; the shares sum to one.
    share: f64,
}

impl Stroke {
    /// How long a note of an even line is held: to the next.
    pub(super) const HELD: Ticks = Ticks(235);

    /// A downward strum, its power shared evenly.
    pub(super) fn strum(pitches: Vec<Pitch>) -> Self {
        let share = 1.0 / pitches.iter().fold(0.0, |n, _| n + 1.0);
        let part = |pitch| Part {
            pitch,
            voice: Voice::Chords,
            touch: Touch::Down,
            share,
        };
        Self {
            strings: pitches.into_iter().map(part).collect(),
            accent_db: 0.0,
            held: Self::HELD,
        }
    }

    /// One string under a finger.
    pub(super) fn finger(pitch: Pitch, voice: Voice) -> Self {
        Self::single(pitch, voice, Touch::Finger, 1.0)
    }

    /// One string under the thumb.
    pub(super) fn thumb(pitch: Pitch) -> Self {
        Self::single(pitch, Voice::Bass, Touch::Thumb, THUMB_ALONE)
    }

    fn single(pitch: Pitch, voice: Voice, touch: Touch, share: f64) -> Self {
        let strings = vec![Part {
            pitch,
            voice,
            touch,
            share,
        }];
        Self {
            strings,
            accent_db: 0.0,
            held: Self::HELD,
        }
    }

    /// Mean pitch of its strings, in semitones as MIDI numbers them.
    pub(super) fn mean_pitch(&self) -> f64 {
        let n = self.strings.iter().fold(0.0, |n, _| n + 1.0);
        self.strings
            .iter()
            .map(|part| f64::from(part.pitch.0))
            .sum::<f64>()
            / n
    }

    /// Puts a low note of so many accent units under it, at the same power of the whole. In a strum
    /// it takes the place of the lowest string, so that the number of strings stays.
    pub(super) fn over_bass(mut self, bass: Pitch, units: f64) -> Self {
        let drop = self.mean_pitch() - f64::from(bass.0);
        let share = share_of(size::bass_over_rest_for(units, drop));
        if self.strings.len() > 2 {
            self.strings.remove(0);
        }
        self.scale(1.0 - share);
        let part = Part {
            pitch: bass,
            voice: Voice::Bass,
            touch: Touch::Thumb,
            share,
        };
        self.strings.insert(0, part);
        self
    }

    /// Lets open strings ring through its chord tones, which stand so many decibels over them. A
    /// low note keeps its own share.
    pub(super) fn with_drone(mut self, drone: [Pitch; 2], over_drone_db: f64) -> Self {
        let chord = |part: &Part| part.voice == Voice::Chords;
        let power: f64 = self
            .strings
            .iter()
            .filter(|part| chord(part))
            .map(|part| part.share)
            .sum();
        let kept = share_of(over_drone_db);
        for part in self.strings.iter_mut().filter(|part| chord(part)) {
            part.share *= kept;
        }
        let share = power * (1.0 - kept) / 2.0;
        let open = |pitch| Part {
            pitch,
            voice: Voice::Chords,
            touch: Touch::Down,
            share,
        };
        self.strings.extend(drone.map(open));
        self.strings.sort_by_key(|part| part.pitch);
        self
    }

    /// Stops its strings from the lowest up, so that the stopped ones stand so many decibels over
    /// those that ring on. The highest rings on where that is asked at all.
    pub(super) fn stopped(mut self, over_rest_db: f64) -> Self {
        let share = share_of(over_rest_db);
        let n = self.strings.len();
        let n_stopped = match share {
            share if share >= ALL_STOPPED => n,
            // As many as half of them, so that what rings is a chord still.
            _ => n / 2,
        };
        let even = |n: usize, of: f64| of / (0..n.max(1)).fold(0.0, |n, _| n + 1.0);
        let (low, high) = if n_stopped == n {
            (even(n, 1.0), 0.0)
        } else {
            (even(n_stopped, share), even(n - n_stopped, 1.0 - share))
        };
        for (place, part) in self.strings.iter_mut().enumerate() {
            (part.touch, part.share) = if place < n_stopped {
                (Touch::Stopped, low)
            } else {
                (part.touch, high)
            };
        }
        self
    }

    fn scale(&mut self, by: f64) {
        // Leaving a string out took its share with it.
        let left: f64 = self.strings.iter().map(|part| part.share).sum();
        self.strings
            .iter_mut()
            .for_each(|part| part.share *= by / left);
    }

    /// Its notes on a pulse: `loudness_db` over an ordinary stroke, the whole `uneven` microseconds
    /// late, one string `gap` microseconds after the other.
    pub(super) fn notes(self, at: Tick, loudness_db: f64, uneven: i32, gap: i32) -> Vec<Note> {
        let mut delay = uneven;
        let mut notes = Vec::with_capacity(self.strings.len());
        // Under a line the thumb lets go with it: a low note that rang on would make the next note of
        // the line louder than the one it stands under.
        let is_line = self.strings.iter().any(|part| part.voice == Voice::Line);
        for part in self.strings {
            let length = if is_line {
                self.held
            } else if part.touch == Touch::Stopped {
                STOPPED
            } else {
                RINGING
            };
            notes.push(Note {
                at,
                delay,
                length,
                voice: part.voice,
                pitch: Some(part.pitch),
                loudness: tenths(loudness_db + 10.0 * part.share.max(1e-6).log10()),
                touch: part.touch,
            });
            delay += gap;
        }
        notes
    }
}

/// The share of the whole power of a part that stands so many decibels over the rest.
fn share_of(over_rest_db: f64) -> f64 {
    1.0 / (1.0 + 10_f64.powf(-over_rest_db / 10.0))
}

/// Loudness to the nearest tenth of a decibel, within what can be played.
#[expect(
    clippy::cast_possible_truncation,
    reason = "clamped to three digits before the cast"
)]
pub(super) fn tenths(db: f64) -> Loudness {
    Loudness((db * 10.0).round().clamp(-600.0, 180.0) as i16)
}
