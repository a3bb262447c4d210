//! How far practice has brought somebody, skill by skill.

use std::collections::HashMap;

use crate::accent::Cue;
use crate::phrase::Level;
use crate::quiz::Skill;
use crate::report::stats::{Sensitivity, Share};
use crate::report::{Heard, Label, Record, Records, heard_from};
use crate::review::{Learner, Standing};
use crate::rhythm::{Counting, Cycle};

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

/// What was done so far.
pub(super) struct Past {
    /// What the log of attempts says.
    pub(super) records: Records,
    /// How many phrases of a skill were listened to without a question.
    pub(super) listened: HashMap<Skill, u32>,
}

/// One skill.
#[derive(Clone, Debug, PartialEq)]
pub struct ProgressLine {
    /// The title of the part of the deck that begins with it.
    pub part: Option<String>,
    /// The exercise's title.
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
}

impl Progress {
    pub(super) fn of(
        Past { records, listened }: &Past,
        learner: &Learner,
        course: &Course,
        counting: Option<Counting>,
    ) -> Self {
        let line = |idx: usize| {
            let exercise = course.exercise(idx)?;
            let record = records.of(&exercise.skill).cloned().unwrap_or_default();
            let standing = learner.standing(&exercise.skill);
            let is_tapped = exercise.material.alternatives(&exercise.form) == 0;
            let level =
                |standing| Some((heard_from(standing)?, standing.threshold().heard_within()));
            Some(ProgressLine {
                part: course.part_from(idx).map(str::to_owned),
                is_firm: standing.is_some_and(Standing::is_firm),
                title: exercise.title.to_string(),
                labels: {
                    let material = &exercise.material;
                    let counting = Counting::in_style(counting, material.counting());
                    labels_in_words(&record, material.cycle(), counting)
                },
                record,
                n_listened: listened.get(&exercise.skill).copied().unwrap_or(0),
                heard_from: standing.filter(|_| !is_tapped).and_then(level),
            })
        };
        Self {
            sensitivity: records.labels().sensitivity(),
            cues: records.cues().filter_map(cue_in_words).collect(),
            lines: (0..course.len()).filter_map(line).collect(),
            here: 0,
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
            parts.push(format!(
                "d' {:.1} (give or take {:.1})",
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
        /// A lean that is hardly more than chance is none.
        const NONE: f64 = 0.15;
        let found = self.sensitivity?;
        let lean = match found.criterion {
            c if c > NONE => "where you are unsure you say twos",
            c if c < -NONE => "where you are unsure you say threes",
            _ => "where you are unsure you lean to neither",
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
