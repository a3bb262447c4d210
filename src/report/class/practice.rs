//! On how many days and for how many minutes somebody practised.

use crate::quiz::Attempt;
use crate::world::Day;

/// The learning days that count as lately, today among them.
pub(super) const LATELY_DAYS: i32 = 14;

/// Between two answers no more is counted as practice: whoever was away for longer did something else.
const LONGEST_GAP_MS: u32 = 120_000;

/// Days, minutes and answers.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Amount {
    /// Learning days with an answer.
    pub days: u32,
    /// Milliseconds of sittings, from the beginning to the last answer, pauses of more than two
    /// minutes counted as two.
    pub ms: u64,
    /// Answers.
    pub n: u32,
    /// Those that were right.
    pub right: u32,
}

impl Amount {
    /// Whole minutes.
    pub fn minutes(self) -> u64 {
        (self.ms + 30_000) / 60_000
    }
}

/// What was practised when.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Practice {
    /// In all.
    pub whole: Amount,
    /// In the last fourteen days.
    pub lately: Amount,
    /// The first day and the last.
    pub days: Option<(Day, Day)>,
    sitting: Option<(u64, u32)>,
    since_start_ms: u32,
}

impl Practice {
    /// Takes in an attempt, in the order of the log.
    pub(super) fn take(&mut self, attempt: &Attempt, today: Day) {
        let sitting = Some((attempt.id.install, attempt.id.sitting));
        let before = if sitting == self.sitting {
            self.since_start_ms
        } else {
            0
        };
        let gap = attempt.since_start_ms.saturating_sub(before);
        (self.sitting, self.since_start_ms) = (sitting, attempt.since_start_ms);
        let is_new_day = self.days.is_none_or(|(_, last)| last < attempt.day);
        let first = self.days.map_or(attempt.day, |(first, _)| first);
        self.days = Some((first, attempt.day));
        let add = |amount: &mut Amount| {
            amount.days += u32::from(is_new_day);
            amount.ms += u64::from(gap.min(LONGEST_GAP_MS));
            amount.n += 1;
            amount.right += u32::from(attempt.right);
        };
        add(&mut self.whole);
        if attempt.day > today.plus(-LATELY_DAYS) {
            add(&mut self.lately);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quiz::AttemptId;
    use crate::review::any_attempt;

    #[test]
    fn a_long_pause_is_no_practice() {
        let mut practice = Practice::default();
        let at = |sitting, number, day, since_start_ms| Attempt {
            id: AttemptId {
                install: 1,
                sitting,
                number,
            },
            day: Day(day),
            since_start_ms,
            ..any_attempt(number)
        };
        // 20 s, 40 s more, then an hour of which two minutes count; and 30 s on another day.
        for attempt in [
            at(1, 1, 100, 20_000),
            at(1, 2, 100, 60_000),
            at(1, 3, 100, 3_660_000),
            at(2, 1, 115, 30_000),
        ] {
            practice.take(&attempt, Day(115));
        }
        assert_eq!((practice.whole.days, practice.whole.ms), (2, 210_000));
        assert_eq!(practice.whole.minutes(), 4);
        assert_eq!((practice.lately.days, practice.lately.n), (1, 1));
        assert_eq!(practice.days, Some((Day(100), Day(115))));
    }
}
