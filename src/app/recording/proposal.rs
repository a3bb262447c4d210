//! Which of the pulses that may be meant is looked at, and what the next of them is.

use super::Recording;
use crate::listen::PulsePath;

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
    /// Pulses a minute, by the mean gap; of a proposal before any of its pulses is left out at the
    /// beginning, so that it is the number by which it was announced.
    pub fn tempo(&self) -> Option<f64> {
        match self.chosen.and_then(|chosen| self.paths.get(chosen)) {
            Some(path) => Some(tempo_of(path)),
            None => self.analysis.as_ref()?.tempo_ppm(),
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
        let ppm = tempo_of(path);
        Some(NextPulse::Proposal {
            nth: next + 1,
            of,
            ppm,
            against: against(ppm / self.tempo()?),
        })
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

fn tempo_of(path: &PulsePath) -> f64 {
    let times = path.pulses.times();
    let n_gaps = u32::try_from(times.len() - 1).unwrap_or(u32::MAX);
    60.0 * f64::from(n_gaps) / (times[times.len() - 1] - times[0])
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
