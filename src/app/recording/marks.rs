//! What persons say of a recording that is looked at: sections, marks, and how far they agree.

use std::ops::Range;

use super::pauses::{end_of, start_of};
use super::{Back, Evens, Keep, Recording, State};
use crate::listen::{Analysis, CycleSaid, Lean, clock};
use crate::mark::{By, Mark, Marked, Marks, Stretch, Sure};
use crate::report::Agreement;

/// From the beginning of the first of some cycles to the end of the last, in seconds.
pub fn stretch_of(analysis: &Analysis, cycles: Range<usize>) -> Option<Stretch> {
    let (from, until) = (
        start_of(analysis, cycles.start)?,
        end_of(analysis, cycles.end.checked_sub(1)?)?,
    );
    Stretch::new(from.max(0.0), until).ok()
}

/// What is said of a cycle, by what is said of its middle.
pub fn said_of(analysis: &Analysis, marks: &Marks, cycle: usize) -> Option<Marked> {
    let stretch = stretch_of(analysis, cycle..cycle + 1)?;
    marks.at(0.5 * (stretch.from() + stretch.until()))
}

/// How far a person and the analysis agree on the cycles of which the person says something.
pub fn agreement_with_analysis(analysis: &Analysis, marks: &Marks) -> Agreement {
    let said = analysis
        .cycles
        .iter()
        .enumerate()
        .filter_map(|(at, cycle)| {
            let marked = said_of(analysis, marks, at)?;
            Some((marked.mark, mark_of(cycle.said.lean)))
        });
    Agreement::of(said)
}

/// How far two persons agree on the cycles of which both say something.
pub fn agreement_of(analysis: &Analysis, [first, second]: [&Marks; 2]) -> Agreement {
    let said = (0..analysis.cycles.len()).filter_map(|at| {
        let of = |marks| said_of(analysis, marks, at).map(|marked| marked.mark);
        of(first).zip(of(second))
    });
    Agreement::of(said)
}

/// How many marks of a person lie wholly behind the end of a file, in words; `None` where none do.
pub fn behind_the_end(marks: &Marks, whose: &str, end: f64) -> Option<String> {
    let from = marks.all().iter().map(|marked| marked.stretch.from());
    let mut behind = from.filter(|from| *from >= end);
    let first = clock(behind.next()?);
    let end = clock(end);
    Some(match behind.count() + 1 {
        1 => format!(
            "1 mark of {whose} lies behind its end at {end}, at {first}; see whether it is of this file"
        ),
        n => format!(
            "{n} marks of {whose} lie behind its end at {end}, the first at {first}; see whether they \
             are of this file"
        ),
    })
}

/// The mark that says what a lean does.
fn mark_of(lean: Lean) -> Mark {
    match lean {
        Lean::Threes => Mark::Threes,
        Lean::Twos => Mark::Twos,
        Lean::Both => Mark::Both,
        Lean::Unclear => Mark::CannotSay,
    }
}

/// Some cycles as people count them.
fn of_cycles(cycles: &Range<usize>) -> String {
    match cycles.len() {
        1 => format!("Cycle {}", cycles.start + 1),
        _ => format!("Cycles {} to {}", cycles.start + 1, cycles.end),
    }
}

/// Some cycles of which a person judges at once.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Judged {
    /// The cycles.
    pub cycles: Range<usize>,
    /// What they are.
    pub of: JudgedOf,
}

/// What is judged at once.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum JudgedOf {
    /// The passage.
    Passage,
    /// The section in which one looks.
    Section,
    /// All of it.
    Whole,
}

impl JudgedOf {
    /// In words.
    pub fn words(self) -> &'static str {
        match self {
            Self::Passage => "the passage",
            Self::Section => "the section",
            Self::Whole => "the whole recording",
        }
    }
}

impl Recording {
    /// What is said where marks that were taken in with it lie behind its end.
    pub fn behind_the_end(&self) -> Option<String> {
        let name = self.source.beside.clone()?;
        let whose = name.to_string();
        let marks = self.marks.get(&By::Other(name))?;
        let is_known = self.state == State::Known;
        behind_the_end(marks, &whose, self.seconds).filter(|_| is_known)
    }

    /// That the learner said something where there are no pulses now, so that it is not seen, in words.
    pub fn said_apart(&self) -> Option<String> {
        let known = self.analysis.as_ref()?;
        let own = self.marks.get(&By::Own)?;
        let is_apart = |stretch: &Stretch| {
            let within =
                |cycle: &CycleSaid| (stretch.from()..stretch.until()).contains(&cycle.start);
            stretch.from() < self.seconds && !known.cycles.iter().any(within)
        };
        let apart = own
            .all()
            .iter()
            .map(|marked| marked.stretch)
            .find(is_apart)?;
        let lays = match self.evens() {
            Some(Evens::MayBe) => ": e lays even ones there",
            _ => "",
        };
        let (from, until) = (clock(apart.from()), clock(apart.until()));
        Some(format!(
            "What you say of {from} to {until} is not seen, for no pulses are there{lays}"
        ))
    }

    /// What a person says of a cycle.
    pub fn said_of(&self, by: &By, cycle: usize) -> Option<Marked> {
        said_of(self.analysis.as_ref()?, self.marks.get(by)?, cycle)
    }

    /// What a person says of some cycles, where they say the same of all; as sure as they are of the
    /// least.
    pub fn said_of_all(&self, by: &By, mut cycles: Range<usize>) -> Option<Marked> {
        let first = self.said_of(by, cycles.next()?)?;
        cycles.try_fold(first, |so_far, cycle| {
            let said = self.said_of(by, cycle)?;
            let sure = so_far.sure.min(said.sure);
            (said.mark == so_far.mark).then_some(Marked { sure, ..so_far })
        })
    }

    /// Whether a section begins with a cycle.
    pub fn begins_section(&self, cycle: usize) -> bool {
        cycle == 0
            || self
                .about(cycle)
                .is_some_and(|at| self.sections.begins_at(at))
    }

    /// The cycles of the section in which a cycle lies.
    pub fn section_of(&self, cycle: usize) -> Range<usize> {
        let from = (0..=cycle).rev().find(|at| self.begins_section(*at));
        let mut after = cycle + 1..self.n_cycles();
        let until = after.find(|at| self.begins_section(*at));
        from.unwrap_or(0)..until.unwrap_or_else(|| self.n_cycles())
    }

    /// Of which cycles the learner would judge now. Where they look into a passage of which they set both
    /// ends it is that one; else the section, where they set some; else the passage that they hear; and
    /// only where nothing was chosen and nothing sounds the whole.
    pub fn judged(&self) -> Judged {
        let (from, until) = self.passage;
        let is_within = (from..until).contains(&self.here);
        let has_sections = !self.sections.begins().is_empty();
        let judged = |cycles, of| Judged { cycles, of };
        if is_within && (self.is_passage_set || self.is_sounding && !has_sections) {
            return judged(from..until, JudgedOf::Passage);
        }
        let section = self.section_of(self.here);
        match section.len() == self.n_cycles() {
            true => judged(section, JudgedOf::Whole),
            false => judged(section, JudgedOf::Section),
        }
    }

    /// Lets a section begin with the cycle that is looked at, or takes that boundary away.
    pub(super) fn turn_section(&mut self) {
        let cycle = self.here + 1;
        let Some(at) = self.about(self.here) else {
            self.told = format!("Cycle {cycle}: a section begins there by itself.");
            return;
        };
        let before = self.sections.clone();
        self.sections.turn(at);
        self.told = match self.begins_section(self.here) {
            true => format!("A section begins with cycle {cycle} from now on."),
            false => format!("No section begins with cycle {cycle} any more."),
        };
        self.did(Back::Sections(before));
        self.to_keep.push(Keep::Sections(self.sections.clone()));
    }

    /// The learner says this of what is judged now, as sure as they said before it; what is said next is
    /// not as sure by itself.
    pub(super) fn say(&mut self, mark: Mark) {
        let Judged { cycles, of } = self.judged();
        let said = self.said_of_all(&By::Own, cycles.clone());
        let before = said.filter(|said| said.mark == mark);
        let sure = std::mem::take(&mut self.sure);
        // Whoever did not choose how sure they are says nothing new by the same once more.
        if let Some(before) = before.filter(|said| sure == Sure::default() || sure == said.sure) {
            let is_so_sure = |cycle| self.said_of(&By::Own, cycle) == Some(before);
            let least = match cycles.clone().all(is_so_sure) {
                true => "",
                false => " at the least",
            };
            let cycles = of_cycles(&cycles);
            self.told = format!("{cycles}: you said so before, {before}{least}.");
            return;
        }
        self.put(cycles, of.words(), (mark, sure));
    }

    /// The next sureness, for what is said here; or for what is said next, where nothing is.
    pub(super) fn be_surer(&mut self) {
        let Some(said) = self.said_of(&By::Own, self.here) else {
            self.sure = self.sure.next();
            self.told = format!("What you say next: {}.", self.sure.words());
            return;
        };
        let is_same = |at: &usize| {
            let other = self.said_of(&By::Own, *at);
            other.is_some_and(|other| other.mark == said.mark)
        };
        if said.mark == Mark::CannotSay {
            self.told = "How sure you are is asked of threes, twos and both alone.".to_owned();
            return;
        }
        // What else is said in the same passage or section stays as sure as it is.
        let Judged { cycles, of } = self.judged();
        let before = (cycles.start..self.here).rev().take_while(is_same).count();
        let after = (self.here..cycles.end).take_while(is_same).count();
        let same = self.here - before..self.here + after;
        let of = match same == cycles {
            true => of.words(),
            false => "all that you say alike about it",
        };
        self.put(same, of, (said.mark, said.sure.next()));
    }

    /// The learner says this of some cycles, which are so called, over what they said before.
    fn put(&mut self, cycles: Range<usize>, called: &str, (mark, sure): (Mark, Sure)) {
        let analysis = self.analysis.as_ref();
        let Some(stretch) = analysis.and_then(|known| stretch_of(known, cycles.clone())) else {
            return;
        };
        let instead = self.instead_of(mark, cycles.clone());
        let own = self.marks.entry(By::Own).or_default();
        let before = own.within(stretch);
        let marked = Marked {
            stretch,
            mark,
            sure,
        };
        own.put(marked);
        let cycles = of_cycles(&cycles);
        self.told = format!("{cycles}, {called}: you say {marked}{instead}.");
        self.did(Back::Mark(stretch, before));
        self.to_keep.push(Keep::Mark(marked));
    }

    /// What else the learner said of these cycles, in words; empty where they did not.
    fn instead_of(&self, mark: Mark, cycles: Range<usize>) -> String {
        let said = |at| self.said_of(&By::Own, at).map(|said| said.mark);
        let said: Vec<Mark> = cycles.filter_map(said).collect();
        let others = Mark::ALL.into_iter().filter(|other| *other != mark);
        let told = others.filter_map(|other| {
            let n = said.iter().filter(|mark| **mark == other).count();
            let cycles = if n == 1 { "cycle" } else { "cycles" };
            (n > 0).then(|| format!("{} in {n} {cycles}", other.words()))
        });
        let told: Vec<String> = told.collect();
        match told.as_slice() {
            [] => String::new(),
            told => format!(", instead of {}", told.join(", ")),
        }
    }

    /// Everybody but the learner of whom marks are kept.
    pub fn others(&self) -> impl Iterator<Item = &By> {
        self.marks.keys().filter(|by| **by != By::Own)
    }

    /// Looks at whom was asked for, or at the first where they said nothing.
    pub(super) fn choose_person(&mut self) {
        let asked = self.others().find(|by| Some(*by) == self.beside.as_ref());
        self.beside = asked.or_else(|| self.others().next()).cloned();
    }

    /// Looks at the next person; after the last at the first.
    pub(super) fn look_at_next_person(&mut self) {
        let later = self.others().find(|by| Some(*by) > self.beside.as_ref());
        self.beside = later.or_else(|| self.others().next()).cloned();
    }

    /// When the cycle before, this one and the one after it begin.
    fn about(&self, cycle: usize) -> Option<[f64; 3]> {
        let analysis = self.analysis.as_ref()?;
        let start = |at| start_of(analysis, at);
        Some([
            start(cycle.checked_sub(1)?)?,
            start(cycle)?,
            start(cycle + 1)?,
        ])
    }
}
