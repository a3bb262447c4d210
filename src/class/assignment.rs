//! What a teacher sets a learner or a group to do: a deck, from when, until when, and a goal.
//!
//! Read [`Assignment`] first. [`Practised`] counts what was done towards a [`Goal`], [`text()`] writes an
//! assignment behind the text of its deck, so that one file holds all a learner needs; it is read where
//! decks are. Days are learning days, both ends included. Nothing here opens a file or asks the time.

use std::collections::{BTreeSet, HashMap};
use std::fmt::Write as _;

use super::judgement::{Judgement, Ruling};
use crate::label::Label;
use crate::quiz::{AttemptId, Skill};
use crate::world::{Day, Moment};

/// Bounds of what may be assigned.
pub mod limit {
    /// Skills that are to be firm.
    pub const FIRM: u32 = 200;
    /// Minutes to practise.
    pub const MINUTES: u32 = 6_000;
    /// Days on which to practise.
    pub const DAYS: u32 = 366;
    /// Days from the first to the last.
    pub const SPAN: u32 = 731;
    /// Names of what was taken back.
    pub const TAKEN_BACK: usize = 200;
}

/// What is set, as a learner has it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Assignment {
    /// Its name for good: an id as decks have. One of the same name takes its place.
    pub id: Box<str>,
    /// Who set it, or for whom it is, in the teacher's words.
    pub to: Option<Label>,
    /// The id of the deck.
    pub deck: Box<str>,
    /// The title of the deck.
    pub title: Label,
    /// The skills of the deck, by which practice counts.
    pub skills: Vec<Skill>,
    /// What to do, in one line.
    pub line: Option<Label>,
    /// From which day on practice counts.
    pub from: Day,
    /// The last day.
    pub due: Day,
    /// What is to be reached.
    pub goal: Goal,
}

/// What is to be reached: at least one thing.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Goal {
    firm: Option<u32>,
    minutes: Option<u32>,
    days: Option<u32>,
}

/// How far somebody has come.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Reached {
    /// Skills of the deck that are firm.
    pub firm: u32,
    /// Whole minutes practised.
    pub minutes: u32,
    /// Days practised.
    pub days: u32,
}

impl Goal {
    /// A goal of so many firm skills, minutes and days; `None` of nothing at all, and where one is
    /// beyond its [`limit`].
    pub fn new(firm: Option<u32>, minutes: Option<u32>, days: Option<u32>) -> Option<Self> {
        let within = |n: Option<u32>, most| n.is_none_or(|n| (1..=most).contains(&n));
        let is_sound = within(firm, limit::FIRM)
            && within(minutes, limit::MINUTES)
            && within(days, limit::DAYS)
            && (firm.is_some() || minutes.is_some() || days.is_some());
        is_sound.then_some(Self {
            firm,
            minutes,
            days,
        })
    }

    /// The goal that a text such as `firm=3,minutes=60,days=5` says.
    pub fn from_text(text: &str) -> Option<Self> {
        let mut parts = [None; 3];
        for part in text.split(',') {
            let (word, n) = part.split_once('=')?;
            let at = ["firm", "minutes", "days"]
                .iter()
                .position(|known| *known == word.trim())?;
            let slot = parts.get_mut(at).filter(|slot| slot.is_none())?;
            *slot = Some(n.trim().parse().ok()?);
        }
        let [firm, minutes, days] = parts;
        Self::new(firm, minutes, days)
    }

    /// How many skills of the deck are to be firm.
    pub fn firm(self) -> Option<u32> {
        self.firm
    }

    /// How many minutes are to be practised.
    pub fn minutes(self) -> Option<u32> {
        self.minutes
    }

    /// On how many days.
    pub fn days(self) -> Option<u32> {
        self.days
    }

    /// Whether all of it is reached.
    pub fn is_reached(self, so_far: Reached) -> bool {
        let is_met = |wanted: Option<u32>, found| wanted.is_none_or(|wanted| found >= wanted);
        is_met(self.firm, so_far.firm)
            && is_met(self.minutes, so_far.minutes)
            && is_met(self.days, so_far.days)
    }

    /// In words, as `3 skills firm, 60 minutes, 5 days`.
    pub fn in_words(self) -> String {
        self.parts(|n, _| n.to_string(), Reached::default())
    }

    /// How far it is reached, as `1 of 3 skills firm, 12 of 60 minutes, 2 of 5 days`.
    pub fn reached_in_words(self, so_far: Reached) -> String {
        self.parts(|wanted, found| format!("{found} of {wanted}"), so_far)
    }

    fn parts(self, told: impl Fn(u32, u32) -> String, so_far: Reached) -> String {
        let parts = [
            (self.firm, so_far.firm, "skill firm", "skills firm"),
            (self.minutes, so_far.minutes, "minute", "minutes"),
            (self.days, so_far.days, "day", "days"),
        ];
        let told = parts.into_iter().filter_map(|(wanted, found, one, more)| {
            let wanted = wanted?;
            let noun = if wanted == 1 { one } else { more };
            Some(format!("{} {noun}", told(wanted, found)))
        });
        told.collect::<Vec<_>>().join(", ")
    }

    /// As it stands in a file.
    fn written(self) -> String {
        let parts = [
            ("firm", self.firm),
            ("minutes", self.minutes),
            ("days", self.days),
        ];
        let parts = parts
            .into_iter()
            .filter_map(|(word, n)| Some(format!("{word} = {}", n?)));
        format!("{{ {} }}", parts.collect::<Vec<_>>().join(", "))
    }
}

/// Skills as a store keeps them in one text. Their names hold no blanks.
pub fn skills_text(skills: &[Skill]) -> String {
    let names: Vec<&str> = skills.iter().map(|skill| &*skill.0).collect();
    names.join(" ")
}

/// The skills that [`skills_text`] wrote.
pub fn skills_of(text: &str) -> Vec<Skill> {
    let names = text.split(' ').filter(|name| !name.is_empty());
    names.map(|name| Skill(name.into())).collect()
}

/// What the file of an assignment tells beside it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct News {
    /// What was judged about phrases, of whatever deck.
    pub judged: Vec<Judgement>,
    /// The names of assignments that were taken back, this one perhaps among them.
    pub taken_back: Vec<Box<str>>,
}

/// What was practised of a deck from a day on, counted from attempts in any order.
///
/// The minutes of a sitting are those from its beginning to its last answer: what was heard and thought
/// in between is practice, and what came after nobody knows.
#[derive(Clone, Debug)]
pub struct Practised {
    from: Day,
    last_ms: HashMap<(u64, u32), u32>,
    days: BTreeSet<Day>,
}

impl Practised {
    /// Nothing yet, of what is done on `from` and later.
    pub fn since(from: Day) -> Self {
        Self {
            from,
            last_ms: HashMap::new(),
            days: BTreeSet::new(),
        }
    }

    /// Counts an attempt at a skill of the deck: its name, its day, and how many milliseconds after the
    /// beginning of its sitting it was answered.
    pub fn take(&mut self, id: AttemptId, day: Day, since_start_ms: u32) {
        if day < self.from {
            return;
        }
        let last = self.last_ms.entry((id.install, id.sitting)).or_default();
        *last = (*last).max(since_start_ms);
        self.days.insert(day);
    }

    /// Whole minutes.
    pub fn minutes(&self) -> u32 {
        let ms: u64 = self.last_ms.values().copied().map(u64::from).sum();
        u32::try_from(ms / 60_000).unwrap_or(u32::MAX)
    }

    /// Days.
    pub fn days(&self) -> u32 {
        u32::try_from(self.days.len()).unwrap_or(u32::MAX)
    }
}

/// A file for a learner: the text of the deck, the assignment behind it, and the news.
///
/// Texts are [`Label`]s and ids, so that none can end its line.
pub fn text(deck: &str, assignment: &Assignment, news: &News, now: Moment) -> String {
    let mut text = format!("{}\n\n[assignment]\n", deck.trim_end());
    let mut line = |key: &str, value: &str| {
        writeln!(text, "{key} = {value}").expect("a string takes all that is written");
    };
    line("id", &quoted(&assignment.id));
    if let Some(to) = &assignment.to {
        line("to", &quoted(to.as_str()));
    }
    if let Some(said) = &assignment.line {
        line("line", &quoted(said.as_str()));
    }
    line("from", &assignment.from.to_string());
    line("due", &assignment.due.to_string());
    line("goal", &assignment.goal.written());
    if !news.taken_back.is_empty() {
        let names: Vec<String> = news.taken_back.iter().map(|name| quoted(name)).collect();
        line("taken-back", &format!("[{}]", names.join(", ")));
    }
    if !news.judged.is_empty() {
        text.push_str(&judged_text(&news.judged, now));
    }
    text
}

fn judged_text(judged: &[Judgement], now: Moment) -> String {
    let mut text = format!("\n[judged]\nas-of = {}\n", quoted(&now.to_string()));
    for id in ["upheld", "withdrawn", "overruled"] {
        let of_id: Vec<String> = judged
            .iter()
            .filter(|judgement| judgement.ruling.id() == id)
            .map(|judgement| format!("  {},\n", quoted(&judgement_text(judgement))))
            .collect();
        if !of_id.is_empty() {
            text.push_str(&format!("{id} = [\n{}]\n", of_id.concat()));
        }
    }
    text
}

/// A phrase, and behind a colon the right answer where its label was overruled.
fn judgement_text(judgement: &Judgement) -> String {
    match judgement.ruling {
        Ruling::Overruled(answer) => format!("{}: {}", judgement.phrase, answer.to_text()),
        Ruling::Upheld | Ruling::Withdrawn => judgement.phrase.to_string(),
    }
}

/// A basic string of TOML; a label holds no control character.
fn quoted(text: &str) -> String {
    format!("\"{}\"", text.replace('\\', "\\\\").replace('"', "\\\""))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn goal(text: &str) -> Option<Goal> {
        Goal::from_text(text)
    }

    #[test]
    fn a_goal_says_at_least_one_thing() {
        assert_eq!(goal("firm=3, days=5"), Goal::new(Some(3), None, Some(5)));
        for text in [
            "",
            "firm",
            "firm=",
            "firm=0",
            "days=367",
            "minutes=6001",
            "firm=1,firm=2",
            "firm=-1",
            "hours=2",
            "firm=1,",
        ] {
            assert_eq!(goal(text), None, "{text}");
        }
        assert_eq!(Goal::new(None, None, None), None);
    }

    #[test]
    fn a_goal_is_told_with_how_far_it_is_reached() {
        let goal = goal("firm=1,minutes=60,days=5").expect("a goal");
        let so_far = Reached {
            firm: 1,
            minutes: 12,
            days: 5,
        };
        assert_eq!(
            goal.reached_in_words(so_far),
            "1 of 1 skill firm, 12 of 60 minutes, 5 of 5 days"
        );
        assert_eq!(goal.in_words(), "1 skill firm, 60 minutes, 5 days");
        assert!(!goal.is_reached(so_far));
        assert!(goal.is_reached(Reached {
            minutes: 60,
            ..so_far
        }));
    }

    #[test]
    fn minutes_are_those_of_sittings_and_days_count_once() {
        let id = |sitting, number| AttemptId {
            install: 1,
            sitting,
            number,
        };
        let mut practised = Practised::since(Day(10));
        practised.take(id(1, 1), Day(9), 900_000);
        practised.take(id(2, 2), Day(10), 90_000);
        practised.take(id(2, 1), Day(10), 30_000);
        practised.take(id(3, 1), Day(10), 29_000);
        assert_eq!((practised.minutes(), practised.days()), (1, 1));
        practised.take(id(4, 1), Day(12), 1_000);
        assert_eq!((practised.minutes(), practised.days()), (2, 2));
    }
}
