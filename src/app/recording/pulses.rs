//! The learner sets the pulses of a recording: by taps, by nudges, by saying where a cycle begins.

use super::pauses::start_of;
use super::{Back, Change, Keep, Nudge, Recording, Row};
use crate::listen::clock;
use crate::quiz::passage::PULSE_SECONDS;
use crate::store::KeptPulses;

/// Taps that say where pulses are.
const ENOUGH_TAPS: usize = 8;
/// By how many milliseconds all pulses move at once.
const NUDGE_MS: i32 = 10;

/// Even pulses where none were found.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Evens {
    /// There are such places, and none are laid.
    MayBe,
    /// They are laid.
    Laid,
}

impl Recording {
    /// Lays other pulses and keeps them.
    pub(super) fn set_pulses(&mut self, row: Row) {
        let row = row.set();
        let times = row.times();
        let cycle = self.source.cycle;
        self.did(Back::Pulses(self.lies()));
        self.hear_at(row);
        self.to_keep.push(Keep::Pulses(KeptPulses { cycle, times }));
    }

    /// Counts cycles of the same pulses from elsewhere. Nothing is set where only those are that are laid evenly.
    fn count_otherwise(&mut self, row: Row) {
        let is_found_so = self.row.as_ref().map(Row::found) == Some(row.found());
        match row.is_laid_in_part() && is_found_so {
            true => self.lay_evens(row),
            false => self.set_pulses(row),
        }
    }

    /// Lays even pulses otherwise, by which nothing is said of the others.
    fn lay_evens(&mut self, row: Row) {
        self.did(Back::Pulses(self.lies()));
        let is_set = self.is_set;
        self.hear_at(row);
        self.is_set = is_set;
    }

    /// Whether some pulses were found, and the learner said nothing of them yet.
    pub fn can_accept(&self) -> bool {
        !self.is_set || self.row.as_ref().is_some_and(Row::is_proposed_in_part)
    }

    /// Cycles begin where it was proposed: from now on that is said by the learner.
    pub(super) fn accept(&mut self) {
        if let Some(row) = self.row.clone().filter(|_| self.can_accept()) {
            self.set_pulses(row.said());
        }
    }

    /// Cycles begin a pulse later.
    pub(super) fn begin_later(&mut self) {
        if let Some(row) = &self.row {
            let here = self
                .analysis
                .as_ref()
                .and_then(|known| start_of(known, self.here));
            self.count_otherwise(row.later_about(here.unwrap_or(0.0)));
        }
    }

    /// A cycle begins at a time: all of them are counted from there, or once the learner had said of an
    /// earlier one where it begins, those after it.
    pub(super) fn begin_here(&mut self, time: Option<f64>) -> Change {
        let Some(time) = time else {
            self.told = "Let it play first, and say so as a cycle begins.".to_owned();
            return Change::Picture;
        };
        let row = self.row.as_ref();
        let Some((row, near)) = row.and_then(|row| row.begun_at(time)) else {
            self.told = "A cycle begins there already.".to_owned();
            return Change::Picture;
        };
        let told = row.told_of(near);
        self.count_otherwise(row);
        self.told = told;
        Change::Sound
    }

    /// All pulses a little earlier or later.
    pub(super) fn nudge(&mut self, nudge: Nudge) {
        let by = match nudge {
            Nudge::Earlier => -NUDGE_MS,
            Nudge::Later => NUDGE_MS,
        };
        let row = self.row.as_ref();
        let Some(row) = row.and_then(|row| row.moved(f64::from(by) / 1_000.0)) else {
            return;
        };
        self.set_pulses(row);
        self.nudged += by;
        self.told = match self.nudged {
            0 => "All pulses are where they were.".to_owned(),
            ms if ms < 0 => format!("All pulses are {} ms earlier than they were.", -ms),
            ms => format!("All pulses are {ms} ms later than they were."),
        };
    }

    /// Even pulses are laid wherever there are none, or what is laid so is taken away.
    pub(super) fn turn_even(&mut self) -> Change {
        let Some(row) = &self.row else {
            return Change::Picture;
        };
        let is_laid = row.is_laid_in_part();
        let other = match is_laid {
            true => row.unfilled(),
            false => row.filled(self.seconds),
        };
        let Some(other) = other else {
            self.told = "Where it has no pulses there is no room for a cycle.".to_owned();
            return Change::Picture;
        };
        // What is looked at and what sounds stay where they are.
        self.choose_place();
        self.lay_evens(other);
        self.told = match is_laid {
            true => "The even pulses are taken away.",
            false => {
                "Even pulses lie where none were found, and say nothing: play there, and tap along with t; \
                 they are not kept."
            }
        }
        .to_owned();
        Change::Sound
    }

    /// Whether even pulses are laid where there are none, or may be.
    pub fn evens(&self) -> Option<Evens> {
        let row = self.row.as_ref()?;
        match row.is_laid_in_part() {
            true => Some(Evens::Laid),
            false => row.has_pauses(self.seconds).then_some(Evens::MayBe),
        }
    }

    /// Whether no pulse was found, so that even ones are laid all over it.
    pub fn is_laid(&self) -> bool {
        self.row.as_ref().is_some_and(Row::is_all_laid)
    }

    /// Whether a cycle is one of those that are laid where no pulses were found.
    pub fn is_laid_at(&self, cycle: usize) -> bool {
        let known = self.analysis.as_ref();
        let start = known.and_then(|known| start_of(known, cycle));
        let row = self.row.as_ref().zip(start);
        row.is_some_and(|(row, start)| row.is_laid_at(start))
    }

    /// Whether the pulses of a cycle were found and the learner said nothing of them yet.
    pub(super) fn is_proposed_at(&self, cycle: usize) -> bool {
        let known = self.analysis.as_ref();
        let start = known.and_then(|known| start_of(known, cycle));
        let row = self.row.as_ref().zip(start);
        !self.is_set || row.is_some_and(|(row, start)| row.probable_at(start) < 1.0)
    }

    /// What was tapped so far counts for nothing, and the keys that tap do what else they do.
    pub(super) fn forget_taps(&mut self) {
        self.taps.clear();
        self.n_taps = 0;
        self.is_tapping = false;
    }

    /// Pulses are to be where the taps were.
    pub(super) fn use_taps(&mut self) {
        if self.taps.len() < ENOUGH_TAPS {
            self.told = format!(
                "It takes {ENOUGH_TAPS} taps or more in a row to say where pulses are: go on tapping."
            );
            return;
        }
        let taps = std::mem::take(&mut self.taps);
        self.n_taps = 0;
        let gaps = taps.windows(2).map(|pair| pair[1] - pair[0]);
        let gap = gaps.sum::<f64>() / f64::from(u32::try_from(taps.len() - 1).unwrap_or(1));
        if !PULSE_SECONDS.contains(&gap) {
            self.told = format!(
                "Taps that are {gap:.2} s apart are no pulses, which are {} to {} s apart: tap once more.",
                PULSE_SECONDS.start(),
                PULSE_SECONDS.end()
            );
            return;
        }
        self.is_tapping = false;
        self.told = "The pulses that go with your taps are being found.".to_owned();
        self.follow(taps);
    }

    /// Pulses are where the taps were, as near as the sound has them; the first tap begins a cycle.
    pub(super) fn tapped(&mut self, found: Option<Row>, taps: &[f64]) -> Change {
        let row = found.and_then(|found| {
            let before = self.row.as_ref().unwrap_or(&found);
            before.tapped(&found, taps, self.seconds)
        });
        let Some((row, others_stay)) = row else {
            self.told = "Nothing near the taps sounds like a pulse: tap once more.".to_owned();
            self.is_tapping = true;
            return Change::Picture;
        };
        self.set_pulses(row);
        let n = taps.len();
        self.told = match (
            others_stay,
            self.analysis.as_ref().and_then(|known| known.tempo_ppm()),
        ) {
            (true, _) => format!(
                "{n} taps are taken at {}; pulses elsewhere stay as they were.",
                clock(taps[0])
            ),
            (false, Some(ppm)) => format!("{n} taps are taken: {ppm:.0} pulses a minute."),
            (false, None) => format!("{n} taps are taken."),
        };
        self.chosen = None;
        self.nudged = 0;
        Change::Sound
    }
}
