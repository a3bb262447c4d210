//! Where the pulses of a recording lie: taps, nudges, other tempi that may be meant.

use super::{Keep, Nudge, Recording};
use crate::listen::{Analysis, Answers, Pulses, from_first_of_cycle, pulse_paths};
use crate::store::KeptPulses;

/// Taps that say where pulses are.
const ENOUGH_TAPS: usize = 8;
/// By how many seconds all pulses move at once.
const NUDGE: f64 = 0.01;

impl Recording {
    /// Which of the tempi that may be meant is taken, from 1, of how many, and its pulses a minute.
    pub fn candidate(&self) -> Option<(usize, usize, f64)> {
        let chosen = self.chosen?;
        let path = self.paths.get(chosen)?;
        Some((chosen + 1, self.paths.len(), 60.0 / path.gap))
    }

    /// How many tempi may be meant.
    pub fn n_candidates(&self) -> usize {
        self.paths.len()
    }

    /// Hears it anew at other pulses; quick, since the sound is kept as envelopes.
    pub(super) fn set_pulses(&mut self, pulses: Pulses) {
        let times = pulses.times().to_vec();
        let cycle = self.source.cycle;
        self.hear_at(pulses);
        self.to_keep.push(Keep::Pulses(KeptPulses { cycle, times }));
    }

    /// The same, and nothing is to be kept.
    pub(super) fn hear_at(&mut self, pulses: Pulses) {
        let Some(sound) = &self.sound else { return };
        let analysis = Analysis::of_sound(sound, &pulses, self.source.cycle, Answers::Open);
        self.pulses = Some(pulses);
        self.is_set = true;
        self.know(analysis);
    }

    /// All pulses a little earlier or later.
    pub(super) fn nudge(&mut self, nudge: Nudge) {
        let by = match nudge {
            Nudge::Earlier => -NUDGE,
            Nudge::Later => NUDGE,
        };
        let Some(pulses) = &self.pulses else { return };
        let times: Vec<f64> = pulses.times().iter().map(|time| time + by).collect();
        let begins = times.first().is_some_and(|first| *first >= 0.0);
        if let Some(pulses) = Pulses::new(times).ok().filter(|_| begins) {
            self.set_pulses(pulses);
        }
    }

    /// The next of the tempi that may be meant; where its cycles begin is a proposal again.
    pub(super) fn take_other_path(&mut self) {
        let next = self.chosen.map_or(0, |chosen| chosen + 1);
        let next = next.checked_rem(self.paths.len()).unwrap_or(0);
        let (Some(sound), Some(path)) = (&self.sound, self.paths.get(next)) else {
            return;
        };
        let pulses = from_first_of_cycle(sound, &path.pulses, self.source.cycle);
        self.chosen = Some(next);
        self.set_pulses(pulses);
        self.is_set = false;
    }

    /// Pulses are where the taps were, as near as the sound has them; the first tap begins a cycle.
    pub(super) fn use_taps(&mut self) {
        let taps = std::mem::take(&mut self.taps);
        self.n_taps = 0;
        let (Some(sound), Some(first)) = (&self.sound, taps.first().copied()) else {
            return;
        };
        if taps.len() < ENOUGH_TAPS {
            return;
        }
        let Some(path) = pulse_paths(sound, &taps).into_iter().next() else {
            return;
        };
        let nearest = |a: &f64, b: &f64| (a - first).abs().total_cmp(&(b - first).abs());
        let times = path.pulses.times();
        let at = times.iter().copied().min_by(nearest).unwrap_or(first);
        let n = self.source.cycle.n_pulses();
        let place = times.iter().position(|time| *time >= at).unwrap_or(0) % n;
        if let Ok(pulses) = Pulses::new(times[place..].to_vec()) {
            self.chosen = None;
            self.set_pulses(pulses);
        }
    }
}
