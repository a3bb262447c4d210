//! Which of the pulses that may be meant is looked at, what the next of them is, and how it is taken.

use super::{Back, Given, Played, Recording, Row};
use crate::listen::{PulsePath, tempi_in_words, where_in_time};

/// How far two tempi may be from a plain ratio that is still called so: a thirtieth, less than what
/// players drift in a piece (a round figure).
const NEAR: f64 = 1.0 / 30.0;
/// Plain ratios of the next pulses to the present ones, in words.
const RATIOS: [(f64, &str); 8] = [
    (2.0, "twice as many"),
    (0.5, "half as many"),
    (3.0, "three times as many"),
    (1.0 / 3.0, "a third as many"),
    (1.5, "three for two"),
    (2.0 / 3.0, "two for three"),
    (4.0 / 3.0, "four for three"),
    (0.75, "three for four"),
];

/// What is taken for the pulse next.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum NextPulse {
    /// Another proposal.
    Proposal {
        /// Its number, from 1.
        nth: usize,
        /// Of how many.
        of: usize,
        /// Its pulses a minute, as they are told once it is taken.
        ppm: f64,
        /// How many they are against the present ones, in words.
        against: &'static str,
    },
    /// The pulses that the learner set before others were tried.
    Own,
}

impl Recording {
    /// Which of the tempi that may be meant is taken, from 1, of how many, and its pulses a minute.
    pub fn candidate(&self) -> Option<(usize, usize, f64)> {
        let chosen = self.chosen?;
        let path = self.paths.get(chosen)?;
        Some((chosen + 1, self.paths.len(), 60.0 / path.gap))
    }

    /// Where in it the pulses that may be meant were found, in words that go on "pulses are found": nothing where
    /// that is all over it at one tempo.
    pub fn places(&self) -> String {
        let path = self.chosen.and_then(|chosen| self.paths.get(chosen));
        let parts = path.map(PulsePath::in_time).unwrap_or_default();
        where_in_time(&parts, self.seconds)
    }

    /// Whether its pulses are those of a MIDI file, and no note begins on every second of them, so that what was
    /// taken for one may be half of one.
    pub fn is_of_half_pulses(&self) -> bool {
        let is_grid = matches!(self.source.pulses, Some(Given::Grid(_)));
        let is_said = self.row.as_ref().is_some_and(Row::is_said);
        let notes = self.source.notes.as_ref();
        is_grid && !is_said && notes.is_some_and(Played::leaves_out_every_second)
    }

    /// How many tempi may be meant.
    pub fn n_candidates(&self) -> usize {
        self.paths.len()
    }

    /// Pulses a minute, by the mean gap; of a proposal before any of its pulses is left out at the
    /// beginning, so that it is the number by which it was announced.
    pub fn tempo(&self) -> Option<f64> {
        match self.chosen.and_then(|chosen| self.paths.get(chosen)) {
            Some(path) => Some(path.tempo_ppm()),
            None => self.analysis.as_ref()?.tempo_ppm(),
        }
    }

    /// Pulses a minute in words: from the slowest to the fastest part of a proposal.
    pub fn tempo_words(&self) -> Option<String> {
        let path = self.chosen.and_then(|chosen| self.paths.get(chosen));
        let parts = path.map(PulsePath::in_time);
        let parts = parts.or_else(|| Some(self.row.as_ref()?.in_time()));
        match parts {
            Some(parts) if parts.len() > 1 => tempi_in_words(&parts),
            _ => Some(format!("{:.0}", self.tempo()?)),
        }
    }

    /// What would be taken for the pulse next; `None` where there is but one.
    pub fn next_pulse(&self) -> Option<NextPulse> {
        let chosen = self.chosen?;
        let of = self.paths.len();
        let next = chosen + 1;
        if next >= of && (self.own.is_some() || self.is_set) {
            return Some(NextPulse::Own);
        }
        let next = next % of;
        let path = self.paths.get(next).filter(|_| next != chosen)?;
        let ppm = path.tempo_ppm();
        Some(NextPulse::Proposal {
            nth: next + 1,
            of,
            ppm,
            against: against(ppm / self.tempo()?),
        })
    }

    /// The next of the tempi that may be meant, and after the last what the learner had set. Where
    /// cycles of the others begin is a proposal again, and nothing of it is kept.
    pub(super) fn take_other_path(&mut self) {
        let before = self.lies();
        if self.is_set {
            self.own = self.row.clone();
        }
        let next = self.chosen.map_or(0, |chosen| chosen + 1);
        if let Some(own) = self.own.take_if(|_| next >= self.paths.len()) {
            self.did(Back::Pulses(before));
            self.chosen = None;
            self.hear_at(own);
            self.told = "The pulses as you set them.".to_owned();
            return;
        }
        let next = next.checked_rem(self.paths.len()).unwrap_or(0);
        let left = self.paths.get(next..).unwrap_or_default();
        let sound = self.sound.as_ref();
        let Some(row) = sound.and_then(|sound| Row::proposed(sound, left, self.source.cycle))
        else {
            return;
        };
        self.did(Back::Pulses(before));
        self.chosen = Some(next);
        self.nudged = 0;
        self.hear_at(row);
        self.is_set = false;
    }

    /// Says which proposal was taken, and how many pulses it has against those before.
    pub(super) fn tell_proposal(&mut self, before: Option<f64>) {
        let (Some((nth, of, _)), Some(ppm)) = (self.candidate(), self.tempo()) else {
            return;
        };
        let against = before.map(|before| against(ppm / before));
        let against = against.map_or_else(String::new, |words| format!(", {words}"));
        self.told = format!("Proposal {nth} of {of}: {ppm:.0} pulses a minute{against}.");
    }
}

/// How many pulses there are against others, by the ratio of their tempi.
fn against(ratio: f64) -> &'static str {
    let near = |(plain, _): &(f64, &str)| (ratio / plain - 1.0).abs() < NEAR;
    match RATIOS.into_iter().find(near) {
        Some((_, words)) => words,
        None if ratio > 1.0 => "faster",
        None => "slower",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn plain_ratios_are_said_in_words_and_others_by_their_side() {
        for (ratio, words) in [
            (2.03, "twice as many"),
            (0.49, "half as many"),
            (1.48, "three for two"),
            (0.67, "two for three"),
            (1.2, "faster"),
            (0.85, "slower"),
        ] {
            assert_eq!(against(ratio), words, "{ratio}");
        }
    }
}
