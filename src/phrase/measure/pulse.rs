//! What sounds on one pulse: powers, pitches, harmony.

use crate::phrase::{Note, Touch, Voice};
use crate::rhythm::Tick;

/// The notes of one pulse.
#[derive(Default)]
pub(super) struct OnPulse<'a> {
    pub(super) notes: Vec<&'a Note>,
    /// The notes of a roll that leads into it.
    pub(super) roll: Vec<&'a Note>,
}

impl OnPulse<'_> {
    pub(super) fn of(&self, voice: Voice) -> impl Iterator<Item = &&Note> {
        self.notes.iter().filter(move |note| note.voice == voice)
    }

    pub(super) fn power(&self, counts: impl Fn(&Note) -> bool) -> f64 {
        let heard = self.notes.iter().filter(|note| counts(note));
        heard
            .map(|note| 10_f64.powf(note.loudness.decibels() / 10.0))
            .sum()
    }

    /// Loudness of the guitar's stroke in decibels; `None` without one.
    pub(super) fn guitar_db(&self) -> Option<f64> {
        let power = self.power(|note| note.voice.is_strings());
        (power > 0.0).then(|| 10.0 * power.log10())
    }

    /// Decibels of the roll that leads into it over the stroke that lands; `None` without a roll. A
    /// roll is three strokes or more.
    pub(super) fn roll_over_landing(&self) -> Option<f64> {
        let mut ticks: Vec<Tick> = self.roll.iter().map(|note| note.at).collect();
        ticks.dedup();
        if ticks.len() < 3 {
            return None;
        }
        let power = |note: &&Note| 10_f64.powf(note.loudness.decibels() / 10.0);
        let roll: f64 = self.roll.iter().map(power).sum();
        let landing = self.power(|note| note.voice == Voice::Chords);
        Some(10.0 * (roll / landing.max(1e-9)).log10())
    }

    /// Decibels of stopped strings over ringing ones; `None` where none is stopped.
    pub(super) fn stopped_over_ringing(&self) -> Option<f64> {
        let is_stopped = |note: &Note| note.touch == Touch::Stopped;
        let stopped = self.power(|note| note.voice == Voice::Chords && is_stopped(note));
        let ringing = self.power(|note| note.voice == Voice::Chords && !is_stopped(note));
        (stopped > 0.0).then(|| 10.0 * (stopped / ringing.max(1e-9)).log10())
    }

    /// Decibels of one voice over everything else that sounds with it and `counts`.
    pub(super) fn over_rest(&self, voice: Voice, counts: impl Fn(&Note) -> bool) -> f64 {
        let own = self.power(|note| note.voice == voice);
        let rest = self.power(|note| note.voice != voice && counts(note));
        10.0 * (own.max(1e-9) / rest.max(1e-9)).log10()
    }

    /// Decibels of a knock, clap or bell over the guitar's stroke on its pulse or, where the guitar is
    /// silent, over an ordinary one.
    pub(super) fn over_guitar(&self, voice: Voice) -> f64 {
        let own = self.power(|note| note.voice == voice);
        10.0 * own.max(1e-9).log10() - self.guitar_db().unwrap_or(0.0)
    }

    pub(super) fn mean_pitch(&self, counts: impl Fn(&Note) -> bool) -> Option<f64> {
        let pitches = self
            .notes
            .iter()
            .filter(|note| counts(note))
            .filter_map(|note| note.pitch);
        mean(pitches.map(|pitch| f64::from(pitch.0)))
    }

    /// Share of the power of the chord strings on each of the twelve pitch classes; `None` of fewer
    /// than three strings, which are no chord.
    pub(super) fn harmony(&self) -> Option<[f64; 12]> {
        let rings = |note: &Note| note.voice == Voice::Chords && note.touch != Touch::Stopped;
        let strings: Vec<&&Note> = self.notes.iter().filter(|note| rings(note)).collect();
        let power: f64 = self.power(rings);
        if strings.len() < 3 || power <= 0.0 {
            return None;
        }
        let mut shares = [0.0; 12];
        for note in strings {
            let class = note.pitch.map_or(0, |pitch| usize::from(pitch.0 % 12));
            shares[class] += 10_f64.powf(note.loudness.decibels() / 10.0) / power;
        }
        Some(shares)
    }
}

pub(super) fn is_upper(note: &Note) -> bool {
    matches!(note.voice, Voice::Chords | Voice::Line)
}

pub(super) fn mean(values: impl Iterator<Item = f64>) -> Option<f64> {
    let (n, sum) = values.fold((0.0, 0.0), |(n, sum), value| (n + 1.0, sum + value));
    (n > 0.0).then(|| sum / n)
}
