//! How long a skill is stayed with.
//!
//! A [`Block`] counts phrases from 1 and asks the learner's standing how they went. A skill that is
//! kept is checked with two probes at its criterion and left alone when both are right. Whatever is
//! new, failed or spare is practised for four to six phrases.

use crate::quiz::Phase;

use super::{Help, Standing, Why};

/// The most phrases in a block.
pub(super) const LONGEST: u32 = 6;

/// The fewest phrases of a block that practises.
const SHORTEST: u32 = 4;

/// A block whose first phrases all went wrong is stuck after so many.
const STUCK: u32 = 3;

/// The probes of a block that checks.
const PROBES: u32 = 2;

/// What a block is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Shape {
    /// Two probes, and practice only when they were not both right.
    Check,
    /// Practice.
    Practice,
}

impl Shape {
    pub(super) fn of(standing: Option<&Standing>, why: Why) -> Self {
        let kept = standing.is_some_and(|standing| !standing.is_failing());
        match why {
            Why::Due { .. } | Why::Repair { .. } if kept => Self::Check,
            _ => Self::Practice,
        }
    }
}

/// A block that is running.
#[derive(Clone, Copy, Debug)]
pub(super) struct Block {
    pub(super) candidate: usize,
    pub(super) why: Why,
    /// How many phrases were asked.
    pub(super) asked: u32,
    shape: Shape,
    /// Right answers before the block.
    right_before: u32,
}

impl Block {
    pub(super) fn new(
        candidate: usize,
        why: Why,
        shape: Shape,
        standing: Option<&Standing>,
    ) -> Self {
        Self {
            candidate,
            why,
            asked: 0,
            shape,
            right_before: standing.map_or(0, Standing::right),
        }
    }

    /// Whether the phrase that counts as asked last is to be made easier for hands.
    pub(super) fn help(&self, standing: Option<&Standing>) -> Help {
        let Some(standing) = standing else {
            return Help::None;
        };
        let n_before = self.asked.saturating_sub(1);
        let is_stuck = n_before >= STUCK && standing.right() == self.right_before;
        if is_stuck || standing.is_failing() || standing.begins_again() {
            Help::Given
        } else {
            Help::None
        }
    }

    /// The phase of the block's next phrase, which counts as asked; `None` when the block is over.
    pub(super) fn next_phase(&mut self, standing: Option<&Standing>) -> Option<Phase> {
        let right = standing.map_or(0, Standing::right);
        let right = right.saturating_sub(self.right_before);
        let wrong = self.asked.saturating_sub(right);
        let over = match (self.shape, self.asked) {
            (_, LONGEST..) => true,
            (Shape::Check, PROBES) => wrong == 0,
            (Shape::Check, _) => false,
            // The better it goes, the sooner it ends.
            (Shape::Practice, asked) => asked >= SHORTEST && wrong <= asked - SHORTEST,
        };
        if over {
            return None;
        }
        self.asked += 1;
        Some(match (self.shape, self.why) {
            (Shape::Check, _) if self.asked <= PROBES => Phase::Probe,
            (_, Why::Spare | Why::Again) => Phase::Fill,
            _ => Phase::Adaptive,
        })
    }
}

/// About how many phrases a block will have, for estimates.
pub(super) fn expected_length(standing: Option<&Standing>, why: Why) -> f64 {
    match (Shape::of(standing, why), standing) {
        (Shape::Check, Some(standing)) => {
            let both = standing.success_at_criterion().powi(2);
            2.0 * both + 6.0 * (1.0 - both)
        }
        // Four phrases when five of six are right each time (0.48), five or six otherwise.
        _ => 4.7,
    }
}
