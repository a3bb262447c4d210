//! How far practice has brought somebody, skill by skill.

use std::collections::{BTreeSet, HashMap};

use crate::accent::Cue;
use crate::deck::Deck;
use crate::phrase::Level;
use crate::quiz::Skill;
use crate::report::stats::{Sensitivity, Share};
use crate::report::{Heard, Label, Record, Records, heard_from, lean};
use crate::review::{Learner, Standing};
use crate::rhythm::{Counting, Cycle};
use crate::store::{Store, StoreError};
use crate::world::Day;

use super::coming::Coming;
use super::learner::learner_of;
use super::today::heard_in_words;
use super::{Course, Scroll};

/// What makes a skill firm, by the rules of [`Standing::is_firm`].
///
/// [`Standing::is_firm`]: crate::review::Standing::is_firm
pub const FIRM: &str = "A skill is firm, and opens those that need it, once you are expected to be right about \
                        five times in six at the level where it counts as learnt (after six answers at \
                        least), or were expected so four times in five, guesses taken off, on two days.";

/// How far practice has brought somebody.
#[derive(Clone, Debug, PartialEq)]
pub struct Progress {
    /// How well threes are told from twos over all skills, where both were asked.
    pub sensitivity: Option<Sensitivity>,
    /// From what accents a grouping is heard by each cue, in words.
    pub cues: Vec<String>,
    /// All skills of the deck, in its order.
    pub lines: Vec<ProgressLine>,
    /// The one that is looked at.
    pub here: usize,
}

/// How far practice has brought the learner of a store: all skills of `deck`, and behind them what was
/// practised or listened to in other decks, which `named` reads by their ids.
///
/// # Errors
/// When the store cannot be read.
pub fn progress_of(
    store: &mut Store,
    deck: Deck,
    day: Day,
    named: impl Fn(&str) -> Option<Deck>,
) -> Result<Progress, StoreError> {
    let learner = learner_of(store)?;
    let past = Past::of(store)?;
    let stand = Stand {
        past: &past,
        learner: &learner,
        counting: store.settings()?.counting,
        day,
    };
    let course = Course::new(deck);
    let mut progress = Progress::of(stand, &course);
    let practised = past.records.skills().chain(past.listened.keys());
    let is_elsewhere = |skill: &&Skill| course.place_of(skill).is_none();
    let elsewhere: BTreeSet<&Skill> = practised.filter(is_elsewhere).collect();
    let mut courses: HashMap<&str, Option<Course>> = HashMap::new();
    for skill in elsewhere {
        let id = skill.0.split_once('/').map_or("", |(id, _)| id);
        let course = courses
            .entry(id)
            .or_insert_with(|| named(id).map(Course::new));
        progress.lines.push(match course {
            Some(course) if let Some(idx) = course.place_of(skill) => {
                stand.line(course, idx, skill)
            }
            _ => stand.line_without_deck(skill),
        });
    }
    Ok(progress)
}

/// What was done so far.
pub(super) struct Past {
    /// What the log of attempts says.
    pub(super) records: Records,
    /// How many phrases of a skill were listened to without a question.
    pub(super) listened: HashMap<Skill, u32>,
}

impl Past {
    /// What a store says.
    pub(super) fn of(store: &Store) -> Result<Self, StoreError> {
        let mut records = Records::default();
        store.attempts_as_judged(|attempt| records.take(&attempt))?;
        Ok(Self {
            records,
            listened: store.n_listened()?,
        })
    }
}

/// What a line of progress is told from.
#[derive(Clone, Copy)]
pub(super) struct Stand<'a> {
    pub(super) past: &'a Past,
    pub(super) learner: &'a Learner,
    /// How the learner chose to count, if they did.
    pub(super) counting: Option<Counting>,
    pub(super) day: Day,
}

/// One skill.
#[derive(Clone, Debug, PartialEq)]
pub struct ProgressLine {
    /// The skill.
    pub skill: Skill,
    /// The title of the part of the deck that begins with it.
    pub part: Option<String>,
    /// The exercise's title; the skill's id where its deck is gone.
    pub title: String,
    /// Whether it is firm.
    pub is_firm: bool,
    /// What the log says of it.
    pub record: Record,
    /// How many of its phrases were listened to without a question.
    pub n_listened: u32,
    /// How each answer fares, in words; empty where too little is known.
    pub labels: String,
    /// From what level it is heard, and within which bounds, in decibels; `None` while too little is
    /// known and where claps are asked.
    pub heard_from: Option<(Level, (f64, f64))>,
    /// When it comes.
    pub coming: Coming,
}

impl Progress {
    pub(super) fn of(stand: Stand<'_>, course: &Course) -> Self {
        let records = &stand.past.records;
        let line = |idx: usize| Some(stand.line(course, idx, course.skill(idx)?));
        Self {
            sensitivity: records.labels().sensitivity(),
            cues: records.cues().filter_map(cue_in_words).collect(),
            lines: (0..course.len()).filter_map(line).collect(),
            here: 0,
        }
    }
}

impl Stand<'_> {
    /// The line of a skill that stands at `idx` of this course.
    fn line(self, course: &Course, idx: usize, skill: &Skill) -> ProgressLine {
        let Some(exercise) = course.exercise(idx) else {
            return self.line_without_deck(skill);
        };
        let material = &exercise.material;
        let is_tapped = material.alternatives(&exercise.form) == 0;
        let bare = self.line_without_deck(skill);
        let hardest = exercise.levels.hardest().decibels();
        let as_asked = |(_, (low, high)): (Level, (f64, f64))| {
            let level = course.heard_from(self.learner, skill)?;
            Some((level, (low.max(hardest), high.max(hardest))))
        };
        let counting = Counting::in_style(self.counting, material.counting());
        ProgressLine {
            part: course.part_from(idx).map(str::to_owned),
            title: exercise.title.to_string(),
            labels: labels_in_words(&bare.record, material.cycle(), counting),
            heard_from: bare.heard_from.filter(|_| !is_tapped).and_then(as_asked),
            coming: Coming::of(course, idx, self.learner, self.day),
            ..bare
        }
    }

    /// What is known of a skill whose exercise is not.
    fn line_without_deck(self, skill: &Skill) -> ProgressLine {
        let standing = self.learner.standing(skill);
        let level = |standing: &Standing| {
            Some((heard_from(standing)?, standing.threshold().heard_within()))
        };
        ProgressLine {
            skill: skill.clone(),
            part: None,
            is_firm: standing.is_some_and(Standing::is_firm),
            title: skill.to_string(),
            record: self.past.records.of(skill).cloned().unwrap_or_default(),
            n_listened: self.past.listened.get(skill).copied().unwrap_or(0),
            labels: String::new(),
            heard_from: standing.and_then(level),
            coming: standing.map_or(Coming::Open, |standing| Coming::due(standing, self.day)),
        }
    }
}

/// From what accents a grouping is heard by a cue; `None` while too few phrases were answered to say.
fn cue_in_words((cue, heard): (Cue, &Heard)) -> Option<String> {
    const ENOUGH: u32 = 12;
    let (low, high) = heard.threshold.heard_within();
    let level = heard.threshold.heard_from();
    let words = cue.words();
    (heard.n >= ENOUGH && level != Level::STRONGEST)
        .then(|| format!("{words} {level} ({low:.1} to {high:.1})"))
}

/// How each answer fares: all of a few, and of many the one that fares worst.
fn labels_in_words(record: &Record, cycle: Cycle, counting: Counting) -> String {
    const ENOUGH: u32 = 6;
    const FEW: usize = 4;
    let known: Vec<_> = record
        .by_label
        .shares()
        .filter(|(_, n, _)| *n >= ENOUGH)
        .collect();
    let words = |(label, n, share): &(Label, u32, Share)| {
        let percent = 100.0 * share.share;
        format!("{} {percent:.0} % of {n}", label.words(cycle, counting))
    };
    match known.as_slice() {
        [] | [_] => String::new(),
        few if few.len() <= FEW => few.iter().map(words).collect::<Vec<_>>().join(", "),
        many => {
            let worst = many.iter().min_by(|a, b| a.2.share.total_cmp(&b.2.share));
            worst.map_or_else(String::new, |worst| format!("worst {}", words(worst)))
        }
    }
}

impl ProgressLine {
    /// What is known of it, in words.
    pub fn words(&self) -> String {
        let record = &self.record;
        let mut parts = Vec::new();
        if self.is_firm {
            parts.push("firm".to_owned());
        }
        if let Some(share) = record.share() {
            let percent = |x: f64| 100.0 * x;
            parts.push(format!(
                "{:.0} % right of {} ({:.0} to {:.0} %)",
                percent(share.share),
                record.n,
                percent(share.low),
                percent(share.high)
            ));
        }
        if let Some((level, (low, high))) = self.heard_from {
            let heard = heard_in_words(level);
            parts.push(format!("{heard} ({low:.1} to {high:.1} dB)"));
        }
        if !self.labels.is_empty() {
            parts.push(self.labels.clone());
        }
        if let Some(found) = record.sensitivity() {
            let lean = lean(found).unwrap_or("neither");
            parts.push(format!(
                "d' {:.1} (give or take {:.1}), leaning to {lean}",
                found.d_prime,
                1.96 * found.error
            ));
        }
        if let Some(finest) = record.finest {
            parts.push(format!("finest spread {:.0} %", 100.0 * finest));
        }
        if let Some(longest) = record.longest {
            parts.push(format!("longest hold {longest} cycles"));
        }
        if parts.is_empty() {
            parts.push("not practised yet".to_owned());
        }
        match self.n_listened {
            0 => {}
            1 => parts.push("1 phrase listened to".to_owned()),
            n => parts.push(format!("{n} phrases listened to")),
        }
        parts.extend(self.coming.words());
        parts.join(", ")
    }
}

impl Progress {
    /// Marks another skill.
    pub(super) fn scroll(&mut self, scroll: Scroll) {
        /// As many as stand on a screen.
        const FAR: usize = 8;
        let last = self.lines.len().saturating_sub(1);
        let here = match scroll {
            Scroll::Up => self.here.saturating_sub(1),
            Scroll::Down => self.here + 1,
            Scroll::Back => self.here.saturating_sub(FAR),
            Scroll::Far => self.here + FAR,
            Scroll::First => 0,
            Scroll::Last => last,
        };
        self.here = here.min(last);
    }

    /// How well threes are told from twos, and to which answers lean, in words.
    pub fn leaning(&self) -> Option<String> {
        let found = self.sensitivity?;
        let lean = match lean(found) {
            _ if found.is_exchanged() => {
                "you tell them apart, and name one for the other".to_owned()
            }
            Some(side) => format!("where you are unsure you say {side}"),
            None => "no lean to either side shows".to_owned(),
        };
        Some(format!(
            "Threes told from twos: d' {:.1} (give or take {:.1}; 0 is guessing, 1 is three of four, 2 is \
             nearly always); {lean}.",
            found.d_prime,
            1.96 * found.error
        ))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::review::{FIRM_DAYS, FIRM_PHRASES};

    #[test]
    fn what_is_said_of_firm_is_the_rule() {
        assert!(FIRM_PHRASES == 6 && FIRM.contains("after six answers"));
        assert!(FIRM_DAYS == 2 && FIRM.contains("on two days"));
    }
}
