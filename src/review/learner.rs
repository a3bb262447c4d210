//! One person's skills.
//!
//! A [`Learner`] is a fold over the log of attempts in the order (day, time, id): drop it, replay,
//! and the same comes out. A store may keep each [`Standing`] as a cache and give them all back.

use std::borrow::Borrow;
use std::collections::BTreeMap;

use crate::quiz::{Attempt, Kind, Skill};

use super::standing::{Order, START_SD, Standing};
use super::threshold::Threshold;

/// A new skill is expected to need this much more than its siblings, in decibels.
const NEW_SKILL_DB: f64 = 1.0;

/// All skills of one learner.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Learner {
    skills: BTreeMap<Skill, Standing>,
    siblings: BTreeMap<Kind, Siblings>,
    latest: Option<Order>,
}

/// A replay under way, for a log that is streamed and never held at once.
#[derive(Debug, Default)]
pub struct Replay {
    learner: Learner,
    is_late: bool,
}

impl Replay {
    /// Learns the next attempt in the order (day, time, id).
    pub fn take(&mut self, attempt: &Attempt) {
        if self.learner.take(attempt, |_| ()) == Arrival::Late {
            self.is_late = true;
        }
    }

    /// The learner after all of them; `Late` when one was out of order.
    pub fn finish(mut self) -> (Learner, Arrival) {
        self.learner.skills.values_mut().for_each(Standing::settle);
        (
            self.learner,
            if self.is_late {
                Arrival::Late
            } else {
                Arrival::Next
            },
        )
    }
}

/// How an attempt came in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[must_use]
pub enum Arrival {
    /// After everything learnt before.
    Next,
    /// It belongs before something learnt already, as after a merge or when the calendar went back.
    /// The learner is still sound, but a replay of the log would differ: replay it.
    Late,
}

/// The thresholds of all skills of a kind. The sum is in thousandths of a decibel, in integers, so
/// that it does not depend on the order in which it was made up.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
struct Siblings {
    sum: i64,
    n: u32,
}

impl Learner {
    /// Somebody who has done nothing yet.
    pub fn new() -> Self {
        Self::default()
    }

    /// The learner whose log holds these attempts, given in any order, each once.
    pub fn replay<'a>(attempts: impl IntoIterator<Item = &'a Attempt>) -> Self {
        let mut attempts: Vec<&Attempt> = attempts.into_iter().collect();
        attempts.sort_by_key(|attempt| Order::of(attempt));
        // Sorted, so that none is late.
        Self::replay_in_order(attempts).0
    }

    /// The same from attempts that come one after the other in the order (day, time, id). `Late`
    /// when one was out of order.
    pub fn replay_in_order(
        attempts: impl IntoIterator<Item = impl Borrow<Attempt>>,
    ) -> (Self, Arrival) {
        let mut replay = Replay::default();
        for attempt in attempts {
            replay.take(attempt.borrow());
        }
        replay.finish()
    }

    /// The learner whose skills stand like this, as a store kept them.
    pub fn from_standings(standings: impl IntoIterator<Item = (Skill, Standing)>) -> Self {
        let mut learner = Self::new();
        for (skill, standing) in standings {
            learner.latest = learner.latest.max(Some(standing.latest()));
            let siblings = learner.siblings.entry(standing.kind()).or_default();
            siblings.sum += thousandths(&standing);
            siblings.n += 1;
            learner.skills.insert(skill, standing);
        }
        learner
    }

    /// Learns one attempt, which must not have been learnt before.
    pub fn learn(&mut self, attempt: &Attempt) -> Arrival {
        self.take(attempt, Standing::settle)
    }

    /// Takes an attempt in, and `then` has its skill's standing, to be settled now or later.
    fn take(&mut self, attempt: &Attempt, then: impl FnOnce(&mut Standing)) -> Arrival {
        let order = Some(Order::of(attempt));
        let arrival = if self.latest < order {
            Arrival::Next
        } else {
            Arrival::Late
        };
        self.latest = self.latest.max(order);
        if let Some(standing) = self.skills.get_mut(&attempt.skill) {
            let before = thousandths(standing);
            standing.take(attempt);
            then(standing);
            let siblings = self.siblings.entry(standing.kind()).or_default();
            siblings.sum += thousandths(standing) - before;
        } else {
            let threshold = self.start(attempt.kind, attempt.alternatives);
            let mut standing = Standing::begin(threshold, attempt);
            then(&mut standing);
            let siblings = self.siblings.entry(attempt.kind).or_default();
            siblings.sum += thousandths(&standing);
            siblings.n += 1;
            self.skills.insert(attempt.skill.clone(), standing);
        }
        arrival
    }

    /// How a skill stands; `None` when it was never practised.
    pub fn standing(&self, skill: &Skill) -> Option<&Standing> {
        self.skills.get(skill)
    }

    /// All practised skills by their ids.
    pub fn standings(&self) -> impl Iterator<Item = (&Skill, &Standing)> {
        self.skills.iter()
    }

    /// What is expected of a skill of this kind before its first attempt: a little more than its
    /// siblings need, or what people need.
    pub fn start(&self, kind: Kind, alternatives: u8) -> Threshold {
        let siblings = self.siblings.get(&kind).copied().unwrap_or_default();
        match siblings.mean() {
            Some(mean) => Threshold::new(alternatives, mean + NEW_SKILL_DB, START_SD),
            None => Threshold::of_people(alternatives),
        }
    }
}

impl Siblings {
    /// Their mean threshold in decibels; `None` when there are none.
    #[expect(clippy::cast_precision_loss, reason = "sums of small numbers")]
    fn mean(self) -> Option<f64> {
        (self.n > 0).then(|| self.sum as f64 / 1000.0 / f64::from(self.n))
    }
}

/// The threshold of a standing in thousandths of a decibel.
#[expect(
    clippy::cast_possible_truncation,
    reason = "thresholds are a few decibels"
)]
fn thousandths(standing: &Standing) -> i64 {
    (standing.threshold().mean() * 1000.0).round() as i64
}
