//! Where the recording of a passage lies, and what sounds of it.
//!
//! A recording is named by its bytes: it is looked for where it was last, where its deck says, and among
//! files of the same length near those places. Read [`Finder`] first.

use std::collections::{HashMap, HashSet};
use std::fs::{self, File};
use std::path::{Path, PathBuf};
use std::sync::Arc;

use crate::app::recording::{Open, cut, opener};
use crate::label::ContentHash;
use crate::pcm::{Pcm, SampleRate};
use crate::phrase::Phrase;
use crate::quiz::passage::Passage;

/// The most files beside a place that are looked at.
const MOST_BESIDE: usize = 2_000;
/// The most files that are kept opened; of a MIDI file of five minutes that is 29 MB.
const MOST_OPENED: usize = 3;

/// A passage and the places in which its recording may lie.
#[derive(Clone, Debug)]
pub(in crate::app) struct Cutting {
    pub(in crate::app) passage: Arc<Passage>,
    pub(in crate::app) places: Vec<PathBuf>,
}

impl Cutting {
    /// Its recording may lie in the places of another passage, too.
    pub(super) fn take_places(&mut self, other: Self) {
        for place in other.places {
            if !self.places.contains(&place) {
                self.places.push(place);
            }
        }
    }
}

/// Files whose content is known, so that none is read twice for its name.
#[derive(Default)]
pub(in crate::app) struct Finder {
    found: HashMap<ContentHash, PathBuf>,
    seen: HashSet<(PathBuf, u64)>,
    /// What was opened last, the latest first: what plays a MIDI file keeps its sound.
    opened: Vec<(PathBuf, Open)>,
}

impl Finder {
    /// What sounds of a passage while `phrase` lies over it, in stereo at `rate`; `None` where its
    /// recording lies in none of the places, or cannot be read there.
    pub(in crate::app) fn cut(
        &mut self,
        cutting: &Cutting,
        phrase: &Phrase,
        rate: SampleRate,
    ) -> Option<Pcm> {
        let path = self.find(cutting)?;
        let pulses = cutting.passage.pulses();
        let from = usize::try_from(phrase.entry).unwrap_or(0);
        let n = usize::try_from(phrase.n_cycles).unwrap_or(0) * phrase.cycle.n_pulses();
        let at = |idx: usize| pulses.get(idx).or(pulses.last()).copied().unwrap_or(0.0);
        let (begins, ends) = (at(from), at(from + n));
        let recording = self.open(path).as_ref()().ok()?;
        cut(recording, begins, ends - begins, rate).ok()
    }

    /// Opens a file as it was opened before, if that is not long ago.
    fn open(&mut self, path: PathBuf) -> Open {
        let before = self.opened.iter().position(|(known, _)| *known == path);
        let open = match before {
            Some(at) => self.opened.remove(at).1,
            None => opener(path.clone()),
        };
        self.opened.insert(0, (path, Arc::clone(&open)));
        self.opened.truncate(MOST_OPENED);
        open
    }

    /// Whether the recording of a passage is to be had: where a file of its length lies in one of its
    /// places that is taken for it, and its bytes are looked at when it is asked.
    pub(in crate::app) fn seems_there(&mut self, cutting: &Cutting) -> bool {
        let n_bytes = cutting.passage.n_bytes();
        let is_it = |place: &PathBuf| match fs::metadata(place) {
            Ok(data) => data.is_file() && (n_bytes == 0 || n_bytes == data.len()),
            Err(_) => false,
        };
        cutting.places.iter().any(is_it) || self.find(cutting).is_some()
    }

    /// Where the recording of a passage lies.
    fn find(&mut self, cutting: &Cutting) -> Option<PathBuf> {
        let wanted = cutting.passage.recording();
        if let Some(path) = self.found.get(&wanted).filter(|path| path.is_file()) {
            return Some(path.clone());
        }
        let there = cutting.places.iter().cloned();
        let beside = cutting.places.iter().flat_map(|place| beside(place));
        for path in there.chain(beside) {
            let Ok(length) = fs::metadata(&path).map(|data| data.len()) else {
                continue;
            };
            let n_bytes = cutting.passage.n_bytes();
            let is_possible = n_bytes == 0 || n_bytes == length;
            if is_possible && self.seen.insert((path.clone(), length)) {
                let hash = File::open(&path).and_then(ContentHash::of);
                if let Ok(hash) = hash {
                    // It may have been moved since it was found last.
                    self.found.insert(hash, path);
                }
            }
            if let Some(path) = self.found.get(&wanted) {
                return Some(path.clone());
            }
        }
        None
    }
}

/// The files beside a place, and in the folders there.
fn beside(place: &Path) -> Vec<PathBuf> {
    let entries = |folder: &Path| {
        let entries = fs::read_dir(folder).into_iter().flatten();
        entries.filter_map(|entry| Some(entry.ok()?.path()))
    };
    let Some(folder) = place.parent() else {
        return Vec::new();
    };
    let mut files = Vec::new();
    for path in entries(folder).take(MOST_BESIDE) {
        if path.is_dir() {
            files.extend(entries(&path).filter(|path| path.is_file()));
        } else {
            files.push(path);
        }
    }
    files.truncate(MOST_BESIDE);
    files
}

/// How many bytes a file has; 0 where that cannot be told.
pub(in crate::app) fn length(place: &Path) -> u64 {
    fs::metadata(place).map_or(0, |data| data.len())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::app::passages::tests::deck_of;
    use crate::deck;
    use crate::quiz::Question;
    use crate::world::Seed;

    #[test]
    fn a_midi_file_is_played_once_for_its_passages_and_few_are_kept() {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let mut finder = Finder::default();
        let recipe = deck::built_in();
        let recipe = recipe.exercises()[0]
            .material
            .recipe()
            .expect("it is made")
            .clone();
        let pieces: Vec<(PathBuf, Cutting, Phrase)> = (0..4)
            .map(|n| {
                let level = crate::phrase::Level::STRONGEST;
                let form = crate::quiz::Form::NameFeel;
                let question = Question::ask(&form, &recipe, level, &[], Seed(n));
                let phrase = question.expect("a question").phrase().clone();
                let bytes = crate::notate::midi(&phrase, crate::notate::Bars::Threes);
                let path = folder.path().join(format!("{n}.mid"));
                fs::write(&path, &bytes).expect("written");
                let deck = deck_of(&[("piece", &path, &bytes)]);
                let passage = Arc::clone(&deck.exercises()[0].material.passages()[0]);
                let places = vec![path.clone()];
                (path, Cutting { passage, places }, phrase)
            })
            .collect();
        let mut cut = |(_, cutting, phrase): &(PathBuf, Cutting, Phrase)| {
            let pcm = finder.cut(cutting, phrase, SampleRate::HZ_48000);
            (pcm, finder.opened.len())
        };
        let (first, _) = cut(&pieces[0]);
        assert!(first.is_some());
        // What cannot be played any more is still there as it was played.
        fs::write(&pieces[0].0, b"MThd and nothing").expect("written");
        assert_eq!(cut(&pieces[0]), (first, 1));
        let kept: Vec<usize> = pieces[1..].iter().map(|piece| cut(piece).1).collect();
        assert_eq!(kept, [2, 3, MOST_OPENED]);
        assert_eq!(cut(&pieces[0]), (None, MOST_OPENED));
    }
}
