//! One file and what is heard in it, as all forms tell it.

use super::kept::Kept;
use crate::app::recording::{said_of, stretch_of};
use crate::listen::{Analysis, InTime, clock, tempi_in_words, where_in_time};
use crate::mark::{Marks, Sections};
use crate::rhythm::Counting;

/// One file and what is heard in it.
pub(super) struct Listened {
    /// Its name, safe to show.
    pub(super) name: String,
    /// How long it is, in seconds.
    pub(super) seconds: f64,
    /// Where its pulses come from.
    pub(super) pulses: Origin,
    /// Tempi that were found, in pulses a minute, and how well they fit: first the one that is taken.
    pub(super) others: Vec<(f64, f64)>,
    /// Where in it pulses were found; nothing where they were given.
    pub(super) in_time: Vec<InTime>,
    pub(super) analysis: Analysis,
    /// Whether it is a recording in which nothing sounds.
    pub(super) is_silent: bool,
    /// What persons say of it.
    pub(super) marks: Kept,
    /// Where the learner lets sections begin.
    pub(super) sections: Sections,
    /// The cycle of which accents are shown, by its place from 0; none where there is none.
    pub(super) shown: Option<usize>,
    /// How the learner calls counts.
    pub(super) counting: Counting,
}

impl Listened {
    /// The cycles with which sections begin, by their places from 0; none where the learner set none.
    pub(super) fn sections(&self) -> Vec<usize> {
        let analysis = &self.analysis;
        let begins = |at: &usize| {
            let before = stretch_of(analysis, at - 1..*at)?;
            let here = stretch_of(analysis, *at..at + 1)?;
            let about = [before.from(), here.from(), here.until()];
            Some(self.sections.begins_at(about))
        };
        let later = (1..analysis.cycles.len()).filter(|at| begins(at) == Some(true));
        let later: Vec<usize> = later.collect();
        if later.is_empty() {
            return later;
        }
        [0].into_iter().chain(later).collect()
    }

    /// What a person says of a cycle, as a sign; `None` where they say nothing of it.
    pub(super) fn sign(&self, marks: &Marks, cycle: usize) -> Option<char> {
        said_of(&self.analysis, marks, cycle).map(|marked| marked.mark.sign())
    }

    /// In how long cycles, how fast, and where pulses come from.
    pub(super) fn head(&self) -> String {
        let n = self.analysis.cycle.n_pulses();
        match (self.analysis.tempo_ppm(), self.pulses) {
            (None, Origin::Found) => format!("{n} pulses a cycle   no pulse found"),
            (None, origin) => format!("{n} pulses a cycle   {}", origin.words()),
            (Some(ppm), origin) => {
                let other = self.others.get(1);
                let other = other.map_or_else(String::new, |(ppm, _)| format!(", or {ppm:.0}"));
                let origin = origin.words();
                let tempi = tempi_in_words(&self.in_time).unwrap_or_else(|| format!("{ppm:.0}"));
                format!("{n} pulses a cycle   about {tempi} pulses a minute{other}   {origin}")
            }
        }
    }

    /// Where in it pulses were found, where that is not all over it at one tempo.
    pub(super) fn places(&self) -> Option<String> {
        let places = where_in_time(&self.in_time, self.seconds);
        (!places.is_empty()).then(|| format!("pulses are found{places}"))
    }

    /// Which cycle is shown, and to what it leans.
    pub(super) fn of_shown(&self, at: usize) -> String {
        let cycle = &self.analysis.cycles[at];
        let which = if self.analysis.clearest() == Some(at) {
            ", the clearest"
        } else {
            ""
        };
        let (start, words) = (clock(cycle.start), cycle.said.words());
        format!("accents of cycle {}{which}, at {start}: {words}", at + 1)
    }
}

/// Where pulses come from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Origin {
    /// The command line gave them.
    Given,
    /// The learner set them on the screen.
    Kept,
    /// The grid of a MIDI file.
    File,
    /// They were found in the sound.
    Found,
}

impl Origin {
    pub(super) fn id(self) -> &'static str {
        match self {
            Self::Given => "given",
            Self::Kept => "kept",
            Self::File => "file",
            Self::Found => "found",
        }
    }

    pub(super) fn words(self) -> &'static str {
        match self {
            Self::Given => "pulses as given",
            Self::Kept => "pulses as you set them",
            Self::File => "pulses of the file",
            Self::Found => "pulses and beat one proposed, not known",
        }
    }
}
