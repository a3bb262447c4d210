//! What the learner did with a recording, taken back: the last first.

use super::{Change, Keep, Recording, Row};
use crate::listen::Analysis;
use crate::mark::{By, Marked, Sections, Stretch};
use crate::rhythm::Cycle;
use crate::store::KeptPulses;

/// The most that can be taken back, one after the other.
const MOST: usize = 100;

/// Something that was done, with what was there before it.
#[derive(Clone, Debug)]
pub(super) enum Back {
    /// The learner said something of a stretch, of which they had said this.
    Mark(Stretch, Vec<Marked>),
    /// The learner set pulses, which lay so.
    Pulses(Lay),
    /// Sections began so before.
    Sections(Sections),
    /// A passage was cut.
    Cut(Added),
}

/// The deck of own recordings, as it was before a cut and after it.
#[derive(Clone, Debug)]
pub(super) struct Added {
    /// `None` where it was the first.
    pub(super) before: Option<String>,
    pub(super) after: String,
}

/// How pulses lie.
#[derive(Clone, Debug)]
pub(super) struct Lay {
    pub(super) cycle: Cycle,
    pub(super) row: Option<Row>,
    pub(super) chosen: Option<usize>,
    /// Those that the learner had set, while others were tried.
    pub(super) own: Option<Row>,
    pub(super) nudged: i32,
    pub(super) is_set: bool,
}

impl Recording {
    /// Whether something can be taken back.
    pub fn can_take_back(&self) -> bool {
        !self.done.is_empty()
    }

    /// Remembers what was done.
    pub(super) fn did(&mut self, back: Back) {
        if self.done.len() == MOST {
            self.done.remove(0);
        }
        self.done.push(back);
    }

    /// Whether a passage was cut that was not taken back.
    pub fn has_cut(&self) -> bool {
        self.done.iter().any(|done| matches!(done, Back::Cut(_)))
    }

    /// The cut that is to be taken back next, where it is one.
    pub(super) fn last_cut(&mut self) -> Option<Added> {
        let last = self.done.pop_if(|done| matches!(done, Back::Cut(_)))?;
        match last {
            Back::Cut(added) => Some(added),
            Back::Mark(..) | Back::Pulses(_) | Back::Sections(_) => None,
        }
    }

    /// Takes back what was done last, and says what that changes.
    pub(super) fn take_back(&mut self) -> Change {
        match self.done.pop() {
            Some(Back::Mark(stretch, before)) => {
                self.unsay(stretch, before);
                Change::Picture
            }
            Some(Back::Pulses(before)) => {
                self.lay(before);
                self.told = "Taken back: the pulses lie as before.".to_owned();
                Change::Sound
            }
            Some(Back::Sections(before)) => {
                self.sections = before;
                self.told = "Taken back: sections begin as before.".to_owned();
                self.to_keep.push(Keep::Sections(self.sections.clone()));
                Change::Picture
            }
            None => {
                self.told =
                    "There is nothing to take back: only what you did since you opened it is."
                        .to_owned();
                Change::Picture
            }
            // A deck is no part of this.
            Some(Back::Cut(_)) => Change::Picture,
        }
    }

    /// How pulses lie now.
    pub(super) fn lies(&self) -> Lay {
        Lay {
            cycle: self.source.cycle,
            row: self.row.clone(),
            chosen: self.chosen,
            own: self.own.clone(),
            nudged: self.nudged,
            is_set: self.is_set,
        }
    }

    /// Lays pulses so, and keeps what of it was set.
    pub(super) fn lay(&mut self, so: Lay) {
        let cycle = so.cycle;
        self.count_by(cycle);
        match &so.row {
            Some(row) => self.hear_at(row.clone()),
            None => self.know_at_once(Analysis::nothing(cycle)),
        }
        self.row = so.row;
        self.chosen = so.chosen;
        self.own = so.own;
        self.nudged = so.nudged;
        self.is_set = so.is_set;
        // A proposal is not kept, but what was set before others were tried is.
        let set = self.row.as_ref().filter(|_| self.is_set);
        let times = set.or(self.own.as_ref()).map(Row::times);
        let times = times.unwrap_or_default();
        self.to_keep.push(Keep::Pulses(KeptPulses { cycle, times }));
    }

    fn unsay(&mut self, stretch: Stretch, before: Vec<Marked>) {
        let own = self.marks.entry(By::Own).or_default();
        own.clear(stretch);
        before.iter().for_each(|marked| own.put(*marked));
        if own.all().is_empty() {
            self.marks.remove(&By::Own);
        }
        self.told = match before.is_empty() {
            true => "Taken back: you say nothing of it.".to_owned(),
            false => "Taken back: you say of it what you said before.".to_owned(),
        };
        self.to_keep.push(Keep::Unsaid(stretch, before));
    }
}
