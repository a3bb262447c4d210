//! What the learner did with a recording, taken back: the last first.

use super::{Keep, Recording};
use crate::mark::{By, Marked, Stretch};

/// The most that can be taken back, one after the other.
const MOST: usize = 100;

/// Something that was done, with what was there before it.
#[derive(Clone, Debug)]
pub(super) enum Back {
    /// The learner said something of a stretch, of which they had said this.
    Mark(Stretch, Vec<Marked>),
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

    /// Takes back what was done last.
    pub(super) fn take_back(&mut self) {
        match self.done.pop() {
            Some(Back::Mark(stretch, before)) => self.unsay(stretch, before),
            None => {}
        }
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
