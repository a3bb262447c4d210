//! How one skill stands: its level, its memory, and what its days have shown.
//!
//! A [`Standing`] learns attempts in the order of the log, [`Order`]. Every attempt moves the level;
//! the first block of a learning day also makes the day's one memory event. The log holds attempts
//! and never says that a block is over, so the memory before the day is kept and the event is judged
//! anew whenever that block goes on: a replay that stops after any attempt gives the same state.
//!
//! Units: learning days; decibels; probabilities 0 to 1.

use crate::phrase::Level;
use crate::quiz::{Attempt, AttemptId, Kind};
use crate::world::{Day, Moment, Seed};

use super::grade::Evidence;
use super::memory::{Memory, Recall};
use super::threshold::{TARGET, Threshold};

/// How many memory events are looked back on for repeated failure, and how many lost ones are it.
pub(super) const N_RECALLS: usize = 6;
const TOO_MANY_LOST: usize = 4;

/// After repeated failure a skill rests this many days, and starts again this much easier.
const REST_DAYS: i32 = 3;
const EASIER_DB: f64 = 4.0;

/// How unsure a new start is, in decibels.
pub(super) const START_SD: f64 = 4.5;

/// A skill is firm after this many days with guess-free success of at least this at the criterion.
pub const FIRM_DAYS: u8 = 2;
const FIRM_FROM: f64 = 0.8;

/// A level at or below the criterion makes a skill firm as well, but not before this many phrases:
/// until then the level is mostly what was expected beforehand.
pub const FIRM_PHRASES: u32 = 6;

/// By so many answers a criterion can be met at all, where what a skill needs is taken as there.
const SHOWN_PHRASES: u32 = 4;

/// The place of an attempt in the log: by learning day, time and name.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Order {
    /// The learning day.
    pub day: Day,
    /// When it was answered.
    pub at: Moment,
    /// Its name, where two stores answered at one moment.
    pub id: AttemptId,
}

impl Order {
    /// The place of `attempt`.
    pub fn of(attempt: &Attempt) -> Self {
        Self {
            day: attempt.day,
            at: attempt.at,
            id: attempt.id,
        }
    }
}

/// Names a block among all stores.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct BlockId {
    pub(super) install: u64,
    pub(super) sitting: u32,
    pub(super) block: u32,
}

impl BlockId {
    pub(super) fn of(attempt: &Attempt) -> Self {
        Self {
            install: attempt.id.install,
            sitting: attempt.id.sitting,
            block: attempt.block,
        }
    }
}

/// One skill of one learner.
#[derive(Clone, Debug, PartialEq)]
pub struct Standing {
    pub(super) kind: Kind,
    pub(super) threshold: Threshold,
    /// The memory before the day of `today`.
    pub(super) before: Option<Memory>,
    /// The same after what `today` has shown so far.
    pub(super) memory: Memory,
    /// The first block of the latest learning day.
    pub(super) today: Evidence,
    pub(super) recall: Recall,
    /// Judgements of the days before, latest last; at most one fewer than are looked back on.
    pub(super) recalls: Vec<Recall>,
    /// Days before `today` on which the criterion was met.
    pub(super) firm_days: u8,
    /// The criterion as it stood at the latest attempt, and the success predicted there since.
    pub(super) criterion: Level,
    pub(super) success: f64,
    /// Whether the criterion was met at the end of today's first block, as far as it went.
    pub(super) met_today: Met,
    pub(super) answered: u32,
    pub(super) right: u32,
    pub(super) first_day: Day,
    pub(super) latest: Order,
    /// Whether `recall`, `memory` and `met_today` are behind `today`. Only while attempts are being
    /// taken: outside it is always settled.
    pub(super) event: Event,
}

/// Whether a day's event was judged by all that its first block has shown.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Event {
    Judged,
    Open,
}

/// Whether a criterion was met.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Met {
    Yes,
    No,
}

impl Standing {
    /// The standing after a first attempt, begun from what was expected of the `threshold`; not yet
    /// settled.
    pub(super) fn begin(threshold: Threshold, attempt: &Attempt) -> Self {
        let predicted = threshold.guess_free_success(attempt.criterion);
        let mut standing = Self {
            kind: attempt.kind,
            threshold,
            before: None,
            memory: Memory::step(None, Recall::Lost, attempt.day),
            today: Evidence::new(attempt.day, BlockId::of(attempt), narrow(predicted)),
            recall: Recall::Lost,
            recalls: Vec::new(),
            firm_days: 0,
            criterion: attempt.criterion,
            success: 0.0,
            met_today: Met::No,
            answered: 0,
            right: 0,
            first_day: attempt.day,
            latest: Order::of(attempt),
            event: Event::Open,
        };
        standing.take(attempt);
        standing
    }

    /// Takes the next attempt of the log in; [`Standing::settle`] must follow before anybody looks.
    /// One that belongs further back moves the level alone.
    pub(super) fn take(&mut self, attempt: &Attempt) {
        let is_first_block =
            |today: &Evidence| attempt.day == today.day && BlockId::of(attempt) == today.block;
        if !is_first_block(&self.today) {
            // The event is judged by the level at the end of its block, so before this attempt.
            self.judge();
        }
        if attempt.day > self.today.day {
            self.begin_day(attempt);
        }
        self.threshold.offer(attempt.alternatives);
        self.threshold.learn(attempt.level, attempt.right);
        self.criterion = attempt.criterion;
        self.answered = self.answered.saturating_add(1);
        self.right = self.right.saturating_add(u32::from(attempt.right));
        self.latest = self.latest.max(Order::of(attempt));
        if is_first_block(&self.today) {
            self.today.note(attempt);
            self.event = Event::Open;
        }
    }

    /// Brings everything up to what was taken in. Taking many attempts and settling once gives the
    /// same as settling after each; it is only sooner done.
    pub(super) fn settle(&mut self) {
        self.judge();
        self.success = self.threshold.success(self.criterion);
    }

    fn begin_day(&mut self, attempt: &Attempt) {
        if self.is_failing() {
            // It begins again. What is known of the level stays known; it is only asked more easily.
            self.recalls.clear();
            self.firm_days = 0;
        } else {
            self.recalls.push(self.recall);
            let surplus = self.recalls.len().saturating_sub(N_RECALLS - 1);
            self.recalls.drain(..surplus);
            self.firm_days = self.firm_days_so_far();
        }
        self.before = Some(self.memory);
        self.met_today = Met::No;
        self.threshold.offer(attempt.alternatives);
        let predicted = self.threshold.guess_free_success(attempt.criterion);
        self.today = Evidence::new(attempt.day, BlockId::of(attempt), narrow(predicted));
    }

    /// The day's one memory event, from what its first block has shown so far.
    fn judge(&mut self) {
        if self.event == Event::Judged {
            return;
        }
        let heard = self.threshold.guess_free_success(self.criterion);
        self.recall = self.today.recall(heard);
        self.memory = Memory::step(self.before, self.recall, self.today.day);
        self.met_today = if heard >= FIRM_FROM {
            Met::Yes
        } else {
            Met::No
        };
        self.event = Event::Judged;
    }

    /// The kind of its first question.
    pub fn kind(&self) -> Kind {
        self.kind
    }

    /// What is known of the level the learner needs.
    pub fn threshold(&self) -> &Threshold {
        &self.threshold
    }

    /// The memory after the latest event.
    pub fn memory(&self) -> Memory {
        self.memory
    }

    /// What the latest event was judged to be.
    pub fn recall(&self) -> Recall {
        self.recall
    }

    /// How many phrases were answered, ever.
    pub fn answered(&self) -> u32 {
        self.answered
    }

    /// How many of them rightly.
    pub fn right(&self) -> u32 {
        self.right
    }

    /// The learning day of the first attempt.
    pub fn first_day(&self) -> Day {
        self.first_day
    }

    /// The latest attempt's place in the log.
    pub fn latest(&self) -> Order {
        self.latest
    }

    /// The predicted chance of a right answer at the criterion.
    pub fn success_at_criterion(&self) -> f64 {
        self.success
    }

    /// Whether what needs this skill may open: the criterion was met on two days, or the level is
    /// at or below it.
    pub fn is_firm(&self) -> bool {
        let by_level = self.answered >= FIRM_PHRASES && self.success >= TARGET;
        by_level || self.firm_days_so_far() >= FIRM_DAYS
    }

    /// Whether its criterion was met on a day. Then what it needs is there as well, practised or not.
    pub(super) fn has_shown(&self) -> bool {
        self.answered >= SHOWN_PHRASES && self.firm_days_so_far() > 0
    }

    /// Whether the memory has to be refreshed on `day`.
    pub fn is_due(&self, day: Day) -> bool {
        day >= self.memory.due_day()
    }

    /// Whether the skill was lost in four of its last six events. It then begins again, easier, and
    /// where it needs other skills it rests until [`Standing::rests_until`] while those come back.
    pub fn is_failing(&self) -> bool {
        let lost = |recall: &&Recall| **recall == Recall::Lost;
        let earlier = self.recalls.iter().filter(lost).count();
        earlier + usize::from(self.recall == Recall::Lost) >= TOO_MANY_LOST
    }

    /// Whether this is the day on which it began again: the only later one without a day to look back
    /// on.
    pub(super) fn begins_again(&self) -> bool {
        self.recalls.is_empty() && self.today.day > self.first_day
    }

    /// The first day after the rest of a failing skill.
    pub fn rests_until(&self) -> Day {
        self.memory.last_day().plus(REST_DAYS + 1)
    }

    /// The level to ask next, within what the exercise can make; 4 dB easier after repeated failure,
    /// through the day on which it begins again.
    pub fn place(&self, hardest: Level, easiest: Level, seed: Seed) -> Level {
        let easier = if self.is_failing() || self.begins_again() {
            EASIER_DB
        } else {
            0.0
        };
        self.threshold.place(easier, hardest, easiest, seed)
    }

    fn firm_days_so_far(&self) -> u8 {
        let today = u8::from(self.met_today == Met::Yes);
        self.firm_days.saturating_add(today).min(FIRM_DAYS)
    }
}

#[expect(clippy::cast_possible_truncation, reason = "a chance needs no more")]
fn narrow(chance: f64) -> f32 {
    chance as f32
}

#[cfg(test)]
#[path = "standing_tests.rs"]
pub(crate) mod tests;
