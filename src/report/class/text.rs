//! The report as lines of text, 80 columns wide.

use super::learner::LearnerReport;
use super::moment::Heard;
use super::{ClassReport, wording};
use crate::label::{Label, harmless};

/// Columns.
const WIDTH: usize = 80;

/// The report: all learners on one page, by group where there are groups, then the exercises, then
/// each learner.
pub fn text(report: &ClassReport) -> String {
    let mut page = Page::default();
    let n = wording::counted(report.learners.len(), "learner");
    page.line(0, &format!("Class report, {}. {n}, by name.", report.today));
    page.gap();
    overview(&mut page, report);
    if report.learners.len() > 1 {
        page.gap();
        exercises(&mut page, report);
    }
    for learner in &report.learners {
        page.gap();
        one(&mut page, learner, &report.deck);
    }
    page.gap();
    page.prose(&"-".repeat(WIDTH));
    page.line(0, "What the words mean");
    for (word, sense) in wording::LEGEND {
        page.line(2, &format!("{word}: {sense}"));
    }
    page.text
}

fn overview(page: &mut Page, report: &ClassReport) {
    page.prose(
        "Of the last 14 days: days practised, minutes, right with its 95 % interval. Lean: what is said \
         where threes and twos are not told apart. Due: exercises due today. Set: goals reached, of how \
         many that are set.",
    );
    for group in &report.groups {
        page.gap();
        page.line(0, &wording::group(group));
        let learners = group
            .learners
            .iter()
            .filter_map(|at| report.learners.get(*at));
        rows(page, learners);
        for line in wording::listed(group) {
            page.line(0, &line);
        }
    }
    if report.groups.is_empty() {
        page.gap();
        rows(page, report.learners.iter());
    }
}

fn rows<'l>(page: &mut Page, learners: impl Iterator<Item = &'l LearnerReport>) {
    page.row(&[
        "Name", "Days", "Min", "Right", "Lean", "Due", "Set", "Stuck in",
    ]);
    for learner in learners {
        let lately = learner.practice.lately;
        let right = crate::report::stats::wilson(lately.right, lately.n);
        page.row(&[
            learner.who.name.as_str(),
            &lately.days.to_string(),
            &lately.minutes().to_string(),
            &right.map_or_else(String::new, wording::share),
            wording::lean(learner.sensitivity),
            &learner.due.len().to_string(),
            &wording::n_reached(learner),
            &wording::stuck(learner),
        ]);
    }
}

fn exercises(page: &mut Page, report: &ClassReport) {
    page.prose("By exercise: how many learners, for how many it is firm, what is confused most.");
    for common in report.exercises() {
        page.gap();
        let (n, firm) = (
            wording::counted(common.n_learners, "learner"),
            common.n_firm,
        );
        let share = wording::share(common.share);
        page.line(0, &harmless(&common.title));
        page.line(
            2,
            &format!("{n}, firm for {firm}; {share} right of {}", common.n),
        );
        if let Some(confused) = common.confused {
            page.line(2, &harmless(&confused.words()));
        }
    }
}

fn one(page: &mut Page, learner: &LearnerReport, deck: &str) {
    let who = &learner.who;
    page.prose(&"-".repeat(WIDTH));
    page.line(0, &format!("{} ({})", who.name, who.learner));
    page.line(
        2,
        &format!("Practised on {}.", wording::lately(learner.practice.lately)),
    );
    page.line(2, &format!("{}.", wording::in_all(learner)));
    if let Some(found) = learner.sensitivity {
        page.line(2, &format!("Over all: {}.", wording::told_apart(found)));
    }
    page.list("Due today:", &learner.due);
    let groups: Vec<String> = learner.groups.iter().map(Label::to_string).collect();
    page.list("Groups:", &groups);
    let set: Vec<String> = learner.set.iter().map(wording::set).collect();
    page.items("Set:", &set);
    page.list(
        &format!("To set next, of {}:", harmless(deck)),
        &learner.next,
    );
    let heard: Vec<String> = learner.heard_live.iter().map(wording::heard_live).collect();
    page.items("Heard live:", &heard);
    let doubts: Vec<String> = learner.doubts.iter().map(wording::doubt).collect();
    page.items("Disputes to judge:", &doubts);
    if !doubts.is_empty() {
        page.line(4, wording::JUDGE_BY);
    }
    for exercise in &learner.exercises {
        let share = wording::share(exercise.share);
        let mut facts = vec![format!("{share} right of {}", exercise.n)];
        facts.extend(Some(wording::threshold(exercise)).filter(|text| !text.is_empty()));
        facts.push(wording::state(exercise).to_owned());
        page.line(2, &harmless(&exercise.title));
        page.line(4, &facts.join("; "));
        for detail in wording::details(exercise) {
            page.line(4, &harmless(&detail));
        }
    }
    moments(page, learner);
}

fn moments(page: &mut Page, learner: &LearnerReport) {
    if !learner.moments.is_empty() {
        page.line(2, "Worth hearing again:");
    }
    for (number, moment) in (1..).zip(&learner.moments) {
        let (title, words) = (&moment.title, &moment.words);
        page.line(4, &harmless(&format!("{number}. {title}, {words}")));
        match &moment.heard {
            Heard::NotAsked => {}
            Heard::In(file) => page.line(7, &harmless(file)),
            Heard::Nowhere(why) => page.line(7, &harmless(&format!("cannot be heard: {why}"))),
        }
    }
}

/// Lines under way.
#[derive(Default)]
struct Page {
    text: String,
}

/// Where the columns of the overview begin.
const COLUMNS: [usize; 8] = [0, 16, 21, 26, 43, 51, 55, 60];

impl Page {
    fn gap(&mut self) {
        self.text.push('\n');
    }

    /// A text of the whole width.
    fn prose(&mut self, text: &str) {
        for line in wrapped(text, WIDTH) {
            self.text.push_str(&line);
            self.text.push('\n');
        }
    }

    /// A text, broken between words; what goes on stands further in.
    fn line(&mut self, indent: usize, text: &str) {
        for (idx, line) in wrapped(text, WIDTH - indent - 2).into_iter().enumerate() {
            let indent = if idx == 0 { indent } else { indent + 2 };
            self.text.push_str(&" ".repeat(indent));
            self.text.push_str(&line);
            self.text.push('\n');
        }
    }

    fn list(&mut self, title: &str, items: &[String]) {
        if !items.is_empty() {
            let items: Vec<String> = items.iter().map(|item| harmless(item)).collect();
            self.line(2, &format!("{title} {}.", items.join("; ")));
        }
    }

    /// A title, and each item on a line of its own.
    fn items(&mut self, title: &str, items: &[String]) {
        if !items.is_empty() {
            self.line(2, title);
        }
        for item in items {
            self.line(4, item);
        }
    }

    /// A row of the overview; what does not fit into its column goes on below.
    fn row(&mut self, cells: &[&str; 8]) {
        let ends = COLUMNS.iter().skip(1).copied().chain([WIDTH + 1]);
        let width = COLUMNS
            .iter()
            .zip(ends)
            .map(|(from, until)| until - from - 1);
        let cells: Vec<Vec<String>> = cells
            .iter()
            .zip(width)
            .map(|(cell, width)| wrapped(cell, width))
            .collect();
        let height = cells.iter().map(Vec::len).max().unwrap_or(0);
        for idx in 0..height {
            let mut line = String::new();
            for (cell, from) in cells.iter().zip(COLUMNS) {
                let part = cell.get(idx).map_or("", String::as_str);
                let missing = from.saturating_sub(line.chars().count());
                if !part.is_empty() {
                    line.push_str(&" ".repeat(missing));
                    line.push_str(part);
                }
            }
            self.text.push_str(line.trim_end());
            self.text.push('\n');
        }
    }
}

/// Broken between words into lines of at most so many characters; a longer word is cut.
fn wrapped(text: &str, width: usize) -> Vec<String> {
    let mut lines: Vec<String> = vec![String::new()];
    for word in text.split(' ').filter(|word| !word.is_empty()) {
        let mut word: Vec<char> = word.chars().collect();
        let here = lines.last().map_or(0, |line| line.chars().count());
        if here > 0 && here + 1 + word.len() > width {
            lines.push(String::new());
        }
        while word.len() > width {
            let rest = word.split_off(width);
            append(&mut lines, &word);
            lines.push(String::new());
            word = rest;
        }
        append(&mut lines, &word);
    }
    lines
}

fn append(lines: &mut [String], word: &[char]) {
    if let Some(line) = lines.last_mut() {
        if !line.is_empty() {
            line.push(' ');
        }
        line.extend(word);
    }
}
