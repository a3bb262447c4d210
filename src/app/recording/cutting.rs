//! A passage of a recording, cut into the deck of the learner's own recordings.
//!
//! What the learner said of its cycles is its truth; where nothing was said it still serves those
//! exercises that need no mark. Only its place in the recording is written down, never its sound.

use std::fmt::Write as _;
use std::sync::Arc;

use super::pauses::pulses_of;
use super::{Added, Back, Recording};
use crate::app::passages::length;
use crate::app::{App, Place, Trouble};
use crate::deck::{self, Deck};
use crate::label::ContentHash;
use crate::mark::{By, Mark};
use crate::phrase::GENERATOR;
use crate::quiz::Form;
use crate::quiz::passage::{Passage, TURN_CYCLES};
use crate::rhythm::Cycle;

/// The line with which each passage begins in a deck, as the program writes it.
const PASSAGE: &str = "\n[[passage]]\n";

/// A passage as it is written into a deck.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Cut {
    id: String,
    recording: ContentHash,
    n_bytes: u64,
    file: String,
    cycle: Cycle,
    pulses: Vec<f64>,
    marks: String,
}

impl Recording {
    /// The passage as it stands, or why it cannot be cut.
    pub(super) fn cut(&self) -> Result<Cut, &'static str> {
        let recording = self.content.ok_or("it is not known by its bytes yet")?;
        let analysis = self.analysis.as_ref().ok_or("it is not heard yet")?;
        if analysis.cycle != Cycle::SIX && deck::own_exercises(analysis.cycle).is_none() {
            return Err("the deck of own recordings has cycles of five to nine, and of twelve");
        }
        let (from, until) = self.passage;
        if (from..until).any(|cycle| self.is_laid_at(cycle)) {
            return Err(
                "its pulses are laid evenly where none were found: tap along there first, with t",
            );
        }
        if (from..until).any(|cycle| self.is_proposed_at(cycle)) {
            return Err("say first where cycles begin: enter if it is as proposed, 1, or taps");
        }
        if until < from + 2 {
            return Err("a passage has two cycles or more; [ and ] say which");
        }
        let whole = pulses_of(analysis, from, until)
            .and_then(|(within, end)| Some([within, vec![end?]].concat()));
        let pulses = whole.ok_or("its last cycle has no end yet: leave that one out")?;
        let sign = |cycle| self.said_of(&By::Own, cycle).map(|said| said.mark.sign());
        let named = recording.to_string();
        let first: String = named
            .trim_start_matches("sha256:")
            .chars()
            .take(8)
            .collect();
        let place = self.source.place.as_ref();
        let begins = pulses.first().copied().unwrap_or(0.0);
        Ok(Cut {
            id: format!("{first}-{:.0}-{}", 1000.0 * begins, until - from),
            recording,
            n_bytes: place.map_or(0, |place| length(place)),
            file: place.map_or_else(String::new, |place| place.to_string_lossy().into_owned()),
            cycle: analysis.cycle,
            pulses,
            marks: (from..until)
                .map(|cycle| sign(cycle).unwrap_or('.'))
                .collect(),
        })
    }

    /// How many cycles a passage has of which the turn is asked, where it turns in the one that is chosen
    /// and that has more or fewer.
    pub(super) fn turn_not_asked(&self) -> Option<String> {
        let (from, until) = self.passage;
        let said = (from..until).map(|cycle| Some(self.said_of(&By::Own, cycle)?.mark));
        let said: Vec<Mark> = said.collect::<Option<_>>()?;
        let turns = match said.chunk_by(|a, b| a == b).collect::<Vec<_>>().as_slice() {
            [one, other] => [one[0], other[0]],
            _ => return None,
        };
        let is_asked = TURN_CYCLES.contains(&said.len());
        let is_turn = turns.contains(&Mark::Threes) && turns.contains(&Mark::Twos);
        (is_turn && !is_asked).then(|| {
            format!(
                "It turns here: for its turn to be asked a passage has {} to {} cycles, and this one {}.",
                TURN_CYCLES.start(),
                TURN_CYCLES.end(),
                said.len()
            )
        })
    }
}

impl Cut {
    /// The table of a deck.
    fn table(&self) -> String {
        let times = self.pulses.iter().map(|time| format!("{time:.4}"));
        let times: Vec<String> = times.collect();
        let mut text = format!(
            "{PASSAGE}id = \"{}\"\nrecording = \"{}\"\nbytes = {}\n",
            self.id, self.recording, self.n_bytes
        );
        // What no line of a deck can hold is left out: the recording is named by its bytes.
        if !self.file.is_empty() && !self.file.chars().any(char::is_control) {
            let file = self.file.replace('\\', "\\\\").replace('"', "\\\"");
            let _ = writeln!(text, "file = \"{file}\"");
        }
        if self.cycle != Cycle::SIX {
            let _ = writeln!(text, "cycle = {}", self.cycle.n_pulses());
        }
        let _ = writeln!(text, "pulses = [{}]", times.join(", "));
        let _ = writeln!(text, "marks = \"{}\"", self.marks);
        text
    }

    /// A deck with this passage at its end, and exercises for its cycle. The same stretch with other marks
    /// stands in the place of the one before.
    pub(super) fn added_to(&self, deck: &str) -> String {
        let kept = with_exercises(&without(deck, &self.id), self.cycle);
        format!("{}\n{}", kept.trim_end(), self.table())
    }

    /// It among the passages that an exercise takes.
    fn passage_in(&self, exercise: &deck::Exercise) -> Option<Arc<Passage>> {
        let mut passages = exercise.material.passages().iter();
        let found = passages.find(|passage| passage.id().as_str() == self.id);
        found.cloned()
    }

    /// What is said when it was cut.
    pub(super) fn words(&self, deck: &Deck) -> String {
        let taken = |exercise: &deck::Exercise| self.passage_in(exercise);
        let takes = deck.exercises().iter();
        let takes = takes.filter_map(|exercise| Some((taken(exercise)?, exercise)));
        let (passages, titles): (Vec<Arc<Passage>>, Vec<String>) = takes
            .map(|(passage, exercise)| (passage, exercise.title.to_string()))
            .unzip();
        if titles.is_empty() {
            return "Cut. No exercise fits it yet: some need another passage beside it.".to_owned();
        }
        let unsaid = match self.marks.contains(['.', Mark::CannotSay.sign()]) {
            true => " Say what you hear in every cycle, and cut it anew, for more.",
            false => "",
        };
        let titles = titles.join("; ");
        let mut exercises = deck.exercises().iter();
        let is_named =
            exercises.any(|exercise| exercise.form == Form::NameFeel && taken(exercise).is_some());
        let feel = passages.first().and_then(|passage| passage.feel());
        // One answer alone is no question.
        let unnamed = feel.filter(|_| !is_named).map_or_else(String::new, |feel| {
            format!(
                " To be asked what it leans to, cut another one too that is not {}.",
                feel.words()
            )
        });
        let unasked = passages
            .first()
            .and_then(|passage| passage.turn_not_asked());
        let unasked = unasked.map_or_else(String::new, |why| {
            format!(" To catch the turn, cut it anew: {why}.")
        });
        let stop = if titles.ends_with('?') { "" } else { "." };
        format!(
            "Cut for: {titles}{stop} Esc goes to practise it, and so does --deck own.{unsaid}{unnamed}{unasked}"
        )
    }
}

impl Added {
    /// Whether it took the place of a passage of the same stretch, so that there are as many as before.
    fn is_anew(&self) -> bool {
        let n_passages = |text: &str| text.matches(PASSAGE).count();
        let before = self.before.as_deref();
        before.is_some_and(|before| n_passages(before) == n_passages(&self.after))
    }
}

impl App {
    /// Cuts the passage that is looked at into the deck of own recordings, and says how that went.
    pub(in crate::app) fn cut_passage(&mut self) -> Result<(), Trouble> {
        let Place::Recording(recording) = &self.place else {
            return Ok(());
        };
        let told = match recording.cut() {
            Ok(cut) if self.uphold(&cut)? => {
                let told = "It stays as it was cut, and is asked again: you doubt it no more.";
                self.tell_of_recording(told);
                return Ok(());
            }
            Ok(cut) => self.add_to_own(&cut),
            Err(why) => Err(why.to_owned()),
        };
        if let Place::Recording(recording) = &mut self.place {
            recording.told = match told {
                Ok((told, added)) => {
                    recording.did(Back::Cut(added));
                    told
                }
                Err(why) => format!("It cannot be cut: {why}."),
            };
        }
        Ok(())
    }

    /// Where the very same was cut before and doubted since, whoever cuts it says it anew: it is set aside no
    /// more. Whether it was.
    fn uphold(&mut self, cut: &Cut) -> Result<bool, Trouble> {
        let kept = (self.installed.text)(deck::OWN_RECORDINGS);
        let kept = kept.filter(|text| text.contains(&cut.table()));
        let Some(deck) = kept.and_then(|text| deck::parse(&text).ok()) else {
            return Ok(false);
        };
        let now = self.clock.now();
        let mut was_aside = false;
        for exercise in deck.exercises() {
            let Some(passage) = cut.passage_in(exercise) else {
                continue;
            };
            let (skill, store) = (&exercise.skill, &mut self.store);
            if store.is_passage_disputed(skill, &passage, GENERATOR)? {
                store.uphold_passage(skill, &passage, (GENERATOR, now))?;
                was_aside = true;
            }
        }
        Ok(was_aside)
    }

    fn tell_of_recording(&mut self, told: &str) {
        if let Place::Recording(recording) = &mut self.place {
            recording.told = told.to_owned();
        }
    }

    /// The deck of own recordings is as it was before a cut, unless it was changed since.
    pub(super) fn take_back_cut(&mut self, cut: &Added) {
        let now = (self.installed.text)(deck::OWN_RECORDINGS);
        let undone = match &cut.before {
            _ if now.as_ref() != Some(&cut.after) => Err("the deck was changed since".to_owned()),
            Some(before) => (self.installed.keep)(deck::OWN_RECORDINGS, before),
            None => (self.installed.remove)(deck::OWN_RECORDINGS),
        };
        if let Place::Recording(recording) = &mut self.place {
            recording.told = match undone {
                Ok(()) if cut.is_anew() => {
                    "Taken back: the passage is in the deck as it was cut before.".to_owned()
                }
                Ok(()) => "Taken back: the passage is not in the deck any more.".to_owned(),
                Err(why) => format!("The cut cannot be taken back: {why}."),
            };
        }
    }

    fn add_to_own(&mut self, cut: &Cut) -> Result<(String, Added), String> {
        let kept = (self.installed.text)(deck::OWN_RECORDINGS);
        let before = kept.clone();
        let before = before.unwrap_or_else(|| deck::own_recordings().to_owned());
        if before.contains(&format!("id = \"{}\"", cut.id)) && before.contains(&cut.table()) {
            return Err("this passage is in the deck already".to_owned());
        }
        let text = cut.added_to(&before);
        let deck = deck::parse(&text).map_err(|faults| {
            let first = faults.first().map(ToString::to_string).unwrap_or_default();
            format!("in the deck of own recordings, {first}")
        })?;
        (self.installed.keep)(deck::OWN_RECORDINGS, &text)?;
        self.installed.know(deck::OWN_RECORDINGS);
        let added = Added {
            before: kept,
            after: text,
        };
        Ok((cut.words(&deck), added))
    }
}

/// A deck with exercises for a cycle, before its passages.
fn with_exercises(text: &str, cycle: Cycle) -> String {
    let (head, passages) = match text.find(PASSAGE) {
        Some(at) => text.split_at(at),
        None => (text, ""),
    };
    let is_there = head.lines().any(|line| {
        let said = line.split_once('=').map(|(key, n)| (key.trim(), n.trim()));
        said.is_some_and(|(key, n)| key == "cycle" && n == cycle.n_pulses().to_string())
    });
    match deck::own_exercises(cycle) {
        Some(exercises) if cycle != Cycle::SIX && !is_there => {
            format!("{}\n{exercises}{passages}", head.trim_end())
        }
        _ => text.to_owned(),
    }
}

/// A deck without the passage of this id, as the program writes passages.
fn without(text: &str, id: &str) -> String {
    let named = format!("id = \"{id}\"\n");
    let mut parts = text.split(PASSAGE);
    let head = parts.next().unwrap_or_default().to_owned();
    let others = parts.filter(|part| !part.starts_with(&named));
    others.fold(head, |text, part| format!("{text}{PASSAGE}{part}"))
}
