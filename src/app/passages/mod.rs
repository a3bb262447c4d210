//! Which passage of a recording is asked next, and what is said where recordings are missing.
//!
//! A passage rests for some days after it was asked, so that its surface is not learnt by heart; in the
//! other exercises of its deck it rests until the next learning day, so that what one question revealed
//! answers no other. Where its recording is missing the passage is left out, and that is said. No file is looked at here: a
//! [`Finder`] does that, on the worker.

mod finder;
mod rest;

use std::collections::BTreeSet;
use std::path::PathBuf;
use std::sync::Arc;

use super::player::Rendering;
use super::worker::What;
use super::{App, Place, Trouble};
use crate::deck;
use crate::label::ContentHash;
use crate::listen::clock;
use crate::pcm::{Pcm, SampleRate};
use crate::quiz::passage::Passage;
use crate::quiz::{Playing, Question, Reveal, Shown, Skill};
use crate::review::plan::Plan;
use crate::rhythm::Counting;

pub(super) use finder::{Cutting, Finder, length};

/// What is to be done where a recording is missing.
const OPEN_IT: &str = "Open it once on the screen with `contrapalma listen` where it is now.";

impl App {
    /// One of an exercise's passages: the one that was not asked for longest, among those that rested,
    /// whose label nobody doubts, and whose recordings are not missing; `None` when there is none.
    pub(super) fn next_passage(
        &self,
        skill: &Skill,
        passages: &[Arc<Passage>],
    ) -> Result<Option<Cutting>, Trouble> {
        let rests = self.rests()?;
        let ready = self.ready(skill, passages, &rests);
        let order = self.seed.child("passage", self.generation);
        let chosen = ready.min_by_key(|passage| {
            let by_chance = order.child("order", passage.seed().0).0;
            (rests.last(passage), by_chance)
        });
        chosen.map(|passage| self.cutting(passage)).transpose()
    }

    /// A passage with the places in which its recording may lie.
    pub(super) fn cutting(&self, passage: &Arc<Passage>) -> Result<Cutting, Trouble> {
        let known = self.store.recording(passage.recording())?;
        let place = known.and_then(|known| known.place);
        let told = Some(passage.file()).filter(|file| !file.is_empty());
        let places = place.into_iter().chain(told.map(PathBuf::from));
        Ok(Cutting {
            passage: Arc::clone(passage),
            places: places.collect(),
        })
    }

    /// Notes that a recording cannot be found, and says so in words.
    pub(super) fn miss(&mut self, passage: &Passage) -> String {
        self.missing.insert(passage.recording());
        let told = format!(
            "{} is not where it was: what was cut from it is left out. {OPEN_IT}",
            passage.file_name()
        );
        self.note(&told);
        told
    }

    /// Has the worker look which recordings of the deck are there.
    pub(super) fn look_for_recordings(&mut self) -> Result<(), Trouble> {
        let mut wanted: Vec<Cutting> = Vec::new();
        for passage in (0..self.course.len()).flat_map(|idx| self.course.passages(idx)) {
            let recording = passage.recording();
            if self.missing.contains(&recording) {
                continue;
            }
            let cutting = self.cutting(passage)?;
            let mut others = wanted.iter_mut();
            match others.find(|other| other.passage.recording() == recording) {
                Some(other) => other.take_places(cutting),
                None => wanted.push(cutting),
            }
        }
        if !wanted.is_empty() {
            self.give(What::Look(wanted));
            self.is_looking = true;
        }
        Ok(())
    }

    /// Whether it is still looked for recordings: what is missing counts until then.
    pub fn is_looking(&self) -> bool {
        self.is_looking
    }

    /// These recordings were not found: what cannot be asked without them counts no more.
    pub(super) fn looked(&mut self, missing: Vec<ContentHash>) -> Result<(), Trouble> {
        self.is_looking = false;
        self.missing.extend(missing);
        if self.missing.is_empty() {
            return Ok(());
        }
        // A sitting leaves out by itself what it cannot ask.
        if self.sitting.is_some() {
            self.note_missing();
        }
        if let Place::Today(_) = self.place {
            let plan = self.fresh_plan();
            self.place = Place::Today(self.today(&plan)?);
        }
        Ok(())
    }

    /// The exercises of which nothing can be asked, since all their recordings are missing.
    fn missed(&self) -> impl Iterator<Item = usize> {
        let is_missed = |idx: &usize| {
            let passages = self.course.passages(*idx);
            let mut recordings = passages.iter().map(|passage| passage.recording());
            !passages.is_empty() && recordings.all(|one| self.missing.contains(&one))
        };
        (0..self.course.len()).filter(is_missed)
    }

    /// A plan without what cannot be asked.
    pub(super) fn leave_out_missing(&self, plan: &mut Plan) {
        self.missed().for_each(|idx| plan.leave_out(idx));
    }

    /// Whether nothing of the deck can be asked, since all its recordings are missing.
    pub(super) fn is_all_missing(&self) -> bool {
        self.missed().count() == self.course.len()
    }

    /// How many skills wait for which recordings, in words; `None` where none does.
    pub(super) fn missing_in_words(&self) -> Option<String> {
        let missed: Vec<usize> = self.missed().collect();
        let passages = missed.iter().flat_map(|idx| self.course.passages(*idx));
        let names: BTreeSet<String> = passages.map(|passage| passage.file_name()).collect();
        let skills = match missed.as_slice() {
            [] => return None,
            [_] => "1 skill waits".to_owned(),
            several => format!("{} skills wait", several.len()),
        };
        let mut names = names.iter();
        let for_which = match (names.next(), names.len()) {
            (Some(name), 0) => format!("{name}, which is not where it was"),
            (_, more) => format!("{} recordings that are not where they were", more + 1),
        };
        Some(format!("{skills} for {for_which}. {OPEN_IT}"))
    }

    /// What is missing is told in the end.
    pub(super) fn note_missing(&mut self) {
        let passages = (0..self.course.len()).flat_map(|idx| self.course.passages(idx));
        let missing = passages.filter(|passage| self.missing.contains(&passage.recording()));
        let missing: Vec<Arc<Passage>> = missing.cloned().collect();
        for passage in missing {
            self.miss(&passage);
        }
    }

    /// What is left out where turns are caught is told in the end.
    pub(super) fn note_turns_not_asked(&mut self) {
        let passages = self.course.turns_not_asked();
        let why = passages.first().and_then(|first| first.turn_not_asked());
        let (Some(first), Some(why)) = (passages.first(), why) else {
            return;
        };
        let place = passage_place(first);
        let more = match passages.len() - 1 {
            0 => "Cut it anew for that.".to_owned(),
            1 => "So is 1 more; cut them anew for that.".to_owned(),
            n => format!("So are {n} more; cut them anew for that."),
        };
        let left_out = format!("{place} is left out where the turn is to be caught");
        self.note(&format!("{left_out}: {why}. {more}"));
    }

    /// Something to be told in the end, once.
    pub(super) fn note(&mut self, note: &str) {
        if !self.notes.iter().any(|other| other == note) {
            self.notes.push(note.to_owned());
        }
    }
}

/// What comes of a doubt about what was shown, in words. Of a learner's own recordings nobody judges but the
/// learner, who said what they are.
pub fn set_aside(shown: &Shown) -> String {
    let is_own = || {
        let deck = shown.attempt.skill.0.split('/').next();
        deck == Some(deck::OWN_RECORDINGS)
    };
    match shown.question.passage().filter(|_| is_own()) {
        Some(passage) => format!(
            "set aside as it was cut: listen to {}, say what you hear, and cut it anew with x; then it is \
             asked again",
            passage_place(passage)
        ),
        None => "set aside: it is not asked again until it is judged".to_owned(),
    }
}

/// Where a passage lies, as whoever cut it knows it: in which file, and from when on.
pub fn passage_place(passage: &Passage) -> String {
    format!("{} at {}", passage.file_name(), clock(passage.span().0))
}

/// The sound of a question of a passage under the claps that are shown with its answer, in stereo at
/// `rate`; its recording is looked for where it was last (`known`), where its deck says, and beside these
/// places. `None` where it lies in none of them, or cannot be read there.
pub fn passage_example(
    question: &Question,
    known: Option<PathBuf>,
    rate: SampleRate,
) -> Option<Pcm> {
    let passage = question.passage()?;
    let told = Some(passage.file()).filter(|file| !file.is_empty());
    let places = known.into_iter().chain(told.map(PathBuf::from)).collect();
    let cutting = Cutting {
        passage: Arc::clone(passage),
        places,
    };
    // Counts are only words here.
    let clapped = Reveal::told(question, Counting::default()).as_it_is;
    let sound = Finder::default().cut(&cutting, &clapped, rate)?;
    Rendering::over(&sound, &[clapped], Playing::Once).into_pcm()
}

#[cfg(test)]
pub(super) mod tests {
    use std::fs;
    use std::io::Read as _;
    use std::path::Path;

    use super::*;
    use crate::app::Intent;
    use crate::app::recording::tests::source_of_clicks;
    use crate::app::tests::Practice;
    use crate::deck;
    use crate::review::plan::Limit;

    /// A deck with an exercise for each of these recordings.
    pub(in crate::app) fn deck_of(recordings: &[(&str, &Path, &[u8])]) -> deck::Deck {
        deck::parse(&text_of(recordings, 0.5)).expect("a sound deck")
    }

    fn text_of(recordings: &[(&str, &Path, &[u8])], begins: f64) -> String {
        let mut text = "format = 1\nid = \"mine\"\ntitle = \"Mine\"\norder = \"free\"\n".to_owned();
        for (id, ..) in recordings {
            text += &format!(
                "[[exercise]]\nid = \"{id}\"\ntitle = \"{id}\"\nasks = \"find-start\"\nby = \"count\"\n\
                 line = \"Where?\"\npassages = [\"{id}\"]\n"
            );
        }
        let times: Vec<String> = (0..=24)
            .map(|k| format!("{:.1}", begins + 0.3 * f64::from(k)))
            .collect();
        let times = times.join(", ");
        for (id, file, bytes) in recordings {
            let hash = ContentHash::of(*bytes).expect("memory can be read");
            let (file, n) = (file.display(), bytes.len());
            text += &format!(
                "[[passage]]\nid = \"{id}\"\nrecording = \"{hash}\"\nbytes = {n}\nfile = \"{file}\"\n\
                 pulses = [{times}]\nmarks = \"3333\"\n"
            );
        }
        text
    }

    #[test]
    fn what_is_left_out_where_turns_are_caught_is_told() {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let files = ["a.wav", "b.wav"].map(|name| folder.path().join(name));
        let told = |n: usize, turned: &str| {
            let recordings = [
                ("a", &*files[0], &b"something"[..]),
                ("b", &*files[1], &b"else"[..]),
            ];
            let text = text_of(&recordings[..n], 72.9).replace("3333", turned);
            let catch = "[[exercise]]\nid = \"turn\"\ntitle = \"Turn\"\nasks = \"catch-turn\"\n\
                         line = \"When?\"\npassages = \"all\"\n";
            let deck = deck::parse(&format!("{text}{catch}")).expect("a sound deck");
            let mut practice = Practice::with_deck(Limit::Questions(40), deck);
            practice.want(Intent::Begin);
            let notes = practice.app.notes.iter();
            let left_out = notes.filter(|note| note.contains("left out where the turn"));
            left_out.cloned().collect::<Vec<String>>()
        };
        let why = "a.wav at 1:12 is left out where the turn is to be caught: its turn is asked only of \
                   passages with 7 to 9 cycles.";
        assert_eq!(told(1, "3322"), [format!("{why} Cut it anew for that.")]);
        let both = format!("{why} So is 1 more; cut them anew for that.");
        assert_eq!(told(2, "3322"), [both]);
        assert!(told(2, "3333").is_empty());
    }

    /// What today holds once it was looked for all recordings.
    fn today(practice: &mut Practice) -> crate::app::Today {
        while practice.app.is_looking() {
            let done = practice.inbox.recv().expect("the worker lives");
            practice.app.done(done).expect("nothing refuses");
        }
        match practice.app.place() {
            Place::Today(today) => today.clone(),
            _ => panic!("before a sitting"),
        }
    }

    #[test]
    fn where_all_recordings_are_missing_nothing_can_be_asked() {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let gone = folder.path().join("gone.wav");
        let deck = deck_of(&[("one", &gone, b"something"), ("two", &gone, b"else")]);
        let found = today(&mut Practice::with_deck(Limit::Questions(40), deck));
        assert_eq!((found.n_phrases, found.is_all_missing), (0, true));
    }

    #[test]
    fn what_cannot_be_asked_without_its_recording_is_not_counted() {
        let mut clicks = Vec::new();
        let read = (source_of_clicks().bytes)().and_then(|mut it| it.read_to_end(&mut clicks));
        read.expect("memory can be read");
        let other: Vec<u8> = clicks.iter().copied().chain([0, 0]).collect();
        let folder = tempfile::tempdir().expect("a temporary folder");
        let [here, moved, new, gone] = ["here.wav", "moved.wav", "new name.wav", "gone.wav"]
            .map(|name| folder.path().join(name));
        fs::write(&here, &clicks).expect("written");
        fs::write(&new, &other).expect("written");
        let deck = deck_of(&[
            ("here", &here, &clicks),
            ("moved", &moved, &other),
            ("gone", &gone, b"something else"),
        ]);
        let mut practice = Practice::with_deck(Limit::Questions(40), deck);
        let found = today(&mut practice);
        assert!(!found.is_all_missing);
        let titles: Vec<&str> = found.lines.iter().map(|line| line.title.as_str()).collect();
        assert_eq!((found.n_new, titles), (2, vec!["here", "moved"]));
        let told = found.missing.expect("something is missing");
        let said = "1 skill waits for gone.wav, which is not where it was. Open it once";
        assert!(told.starts_with(said), "{told}");
        // One of each passage, which then rests.
        assert_eq!(found.n_phrases, 2);
    }
}
