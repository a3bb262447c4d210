//! What the opening screen and the summary say.

use std::collections::BTreeMap;

use crate::label::Label;
use crate::phrase::Level;
use crate::quiz::Skill;
use crate::review::Learner;
use crate::review::plan::{Entry, Plan, Scarce, Why};
use crate::world::Day;

use super::check::{self, Found};
use super::{Course, SetToday};

/// What today holds.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Today {
    /// The date in words.
    pub date: String,
    /// How many skills are due.
    pub n_due: usize,
    /// How many new ones open.
    pub n_new: usize,
    /// About how many phrases a sitting has.
    pub n_phrases: u32,
    /// The skills, in the order in which they come.
    pub lines: Vec<TodayLine>,
    /// Attempts on each of the last fourteen learning days, the oldest first.
    pub fortnight: Vec<u32>,
    /// The part of the deck that the learner is in, in words.
    pub part: Option<String>,
    /// Why nothing new is offered though something is open, in words.
    pub tomorrow: Option<&'static str>,
    /// What cannot be asked since its recordings are missing, in words.
    pub missing: Option<String>,
    /// Whether nothing can be asked at all, since all recordings are missing.
    pub is_all_missing: bool,
    /// Why nothing can be asked though its recordings are there, in words.
    pub resting: Option<&'static str>,
    /// What a check found lately, in words.
    pub checked: Option<String>,
    /// What a teacher set, those due first in front.
    pub set: Vec<SetToday>,
    /// What the learner is called, where they said so.
    pub who: Option<String>,
}

/// One skill of what today holds.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TodayLine {
    /// `due`, `new`, `rests` or `waits`.
    pub tag: &'static str,
    /// The exercise's title.
    pub title: String,
    /// What is known of it.
    pub known: String,
    /// When it was last practised, or opens.
    pub when: String,
}

impl Today {
    pub(super) fn of(
        plan: &Plan,
        learner: &Learner,
        course: &Course,
        day: Day,
        (past, scarce): (Past, Scarce<'_>),
    ) -> Self {
        let entries = plan.today();
        let count = |wanted: fn(&Why) -> bool| entries.iter().filter(|e| wanted(&e.why)).count();
        Self {
            date: day.in_words(),
            n_due: count(|why| matches!(why, Why::Due { .. } | Why::Repair { .. })),
            n_new: count(|why| *why == Why::New),
            n_phrases: plan.n_phrases(learner, scarce),
            lines: entries
                .iter()
                .map(|entry| line(*entry, (learner, &past.spreads), course, day))
                .collect(),
            fortnight: past.fortnight,
            part: course.part(learner),
            tomorrow: plan.has_more_tomorrow().then_some(TOMORROW),
            missing: None,
            is_all_missing: false,
            resting: None,
            checked: past
                .checked
                .and_then(|checked| checked_in_words(&checked, day)),
            set: past.set,
            who: past.who.map(|who| who.to_string()),
        }
    }
}

/// Why what is open is not offered.
const TOMORROW: &str = "As many new skills as a day takes have been begun; more come tomorrow.";

/// Why nothing is asked of a deck of recordings.
pub(super) const RESTING: &str = "All passages rest: each comes back on the day after it was asked in \
                                  another exercise, and some days later in the same one. Cut more for more \
                                  practice.";

/// What a check found, while that is news.
fn checked_in_words((id, on): &(String, Day), day: Day) -> Option<String> {
    let days = day.since(*on);
    let found = Found::from_id(id).filter(|_| days <= check::TOLD_DAYS)?;
    Some(format!("Checked {}: {}", days_ago(days), found.told()))
}

/// What the log says of days gone by.
pub(super) struct Past {
    /// Attempts on each of the last fourteen learning days, the oldest first.
    pub(super) fortnight: Vec<u32>,
    /// How far claps spread lately, as shares of a pulse.
    pub(super) spreads: BTreeMap<Skill, f64>,
    /// What a check found last, by its id, and when.
    pub(super) checked: Option<(String, Day)>,
    /// What was set.
    pub(super) set: Vec<SetToday>,
    /// What the learner is called.
    pub(super) who: Option<Label>,
}

fn line(
    entry: Entry,
    (learner, spreads): (&Learner, &BTreeMap<Skill, f64>),
    course: &Course,
    day: Day,
) -> TodayLine {
    let title = |idx: usize| course.title(idx);
    let (tag, when) = match entry.why {
        Why::Due { days } => ("due", format!("last {}", days_ago(days))),
        Why::Repair { of } => ("due", format!("needed for {}", title(of))),
        Why::New => ("new", String::new()),
        Why::Spare | Why::Again | Why::Chosen | Why::Ahead { .. } => ("more", String::new()),
        Why::Resting { until } => ("rests", format!("back in {}", days_on(until.since(day)))),
        Why::Waiting { on } => ("waits", format!("opens after: {}", title(on))),
    };
    let skill = course.skill(entry.candidate);
    let heard_from = skill.and_then(|skill| course.heard_from(learner, skill));
    let known = match skill.and_then(|skill| spreads.get(skill)) {
        _ if matches!(entry.why, Why::Resting { .. }) => "went wrong often".to_owned(),
        Some(spread) => format!("spread {:.0} %", 100.0 * spread),
        None => heard_from.map_or_else(String::new, heard_in_words),
    };
    TodayLine {
        tag,
        title: title(entry.candidate),
        known,
        when,
    }
}

/// From what level a skill is heard, in words.
pub fn heard_in_words(level: Level) -> String {
    if level == Level::STRONGEST {
        return "not heard yet".to_owned();
    }
    format!("heard from {level}")
}

/// Why a question is asked, in words.
pub(super) fn why_in_words(why: Why, course: &Course, day: Day) -> String {
    match why {
        Why::Chosen => "you chose it".to_owned(),
        _ if course.is_check() => "part of the check".to_owned(),
        Why::Due { days } => format!("due: last heard {}", days_ago(days)),
        Why::Repair { of } => format!("back, since {} needs it", course.title(of)),
        Why::New => "a new skill".to_owned(),
        Why::Ahead { of } => {
            format!("a new skill, early: {} does not come yet", course.title(of))
        }
        Why::Spare => "not due yet; there is time".to_owned(),
        Why::Again => "once more today; there is time".to_owned(),
        Why::Resting { until } => {
            let days = days_on(until.since(day));
            format!("went wrong often and rests for {days}")
        }
        Why::Waiting { on } => format!("waits for {}", course.title(on)),
    }
}

fn days_ago(days: u32) -> String {
    match days {
        0 => "today".to_owned(),
        1 => "yesterday".to_owned(),
        n => format!("{n} days ago"),
    }
}

fn days_on(days: u32) -> String {
    if days == 1 {
        "1 day".to_owned()
    } else {
        format!("{days} days")
    }
}
