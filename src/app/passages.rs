//! Which passage of a recording is asked next, and where its recording lies.
//!
//! A passage rests for some days after it was asked, so that its surface is not learnt by heart. A
//! recording is named by its bytes: it is looked for where it was last, where its deck says, and among
//! files of the same length near those places. Where it is missing the passage is left out, and that
//! is said.

use std::collections::{HashMap, HashSet};
use std::fs::{self, File};
use std::path::{Path, PathBuf};
use std::sync::Arc;

use super::recording::{cut, opener};
use super::{App, Trouble};
use crate::label::{ContentHash, printable};
use crate::pcm::{Pcm, SampleRate};
use crate::phrase::{GENERATOR, Phrase};
use crate::quiz::Skill;
use crate::quiz::passage::Passage;
use crate::sound::passage_gain;
use crate::world::{Day, Seed};

/// For so many days after it was asked a passage is not asked again.
const REST_DAYS: u32 = 4;
/// The most files beside a place that are looked at.
const MOST_BESIDE: usize = 2_000;

/// A passage and the places in which its recording may lie.
#[derive(Clone, Debug)]
pub(super) struct Cutting {
    pub(super) passage: Arc<Passage>,
    pub(super) places: Vec<PathBuf>,
}

impl App {
    /// One of an exercise's passages: the one that was not asked for longest, among those that rested,
    /// whose label nobody doubts, and whose recordings are not missing; `None` when there is none.
    pub(super) fn next_passage(
        &self,
        skill: &Skill,
        passages: &[Arc<Passage>],
    ) -> Result<Option<Cutting>, Trouble> {
        let mut asked: HashMap<Seed, Day> = HashMap::new();
        self.store.attempts_of(skill, |attempt| {
            let last = asked.entry(attempt.seed).or_insert(attempt.day);
            *last = (*last).max(attempt.day);
        })?;
        let last = |passage: &Arc<Passage>| asked.get(&passage.seed()).copied();
        let has_rested = |passage: &&Arc<Passage>| {
            last(passage).is_none_or(|day| self.planned_for.since(day) > REST_DAYS)
        };
        let is_there = |passage: &&Arc<Passage>| !self.missing.contains(&passage.recording());
        let mut ready = Vec::new();
        for passage in passages.iter().filter(is_there).filter(has_rested) {
            if !self.store.is_disputed(skill, passage.seed(), GENERATOR)? {
                ready.push(passage);
            }
        }
        let order = self.seed.child("passage", self.generation);
        let chosen = ready.into_iter().min_by_key(|passage| {
            let by_chance = order.child("order", passage.seed().0).0;
            (last(passage), by_chance)
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
        let name = Path::new(passage.file()).file_name();
        let name = name.map_or_else(
            || passage.recording().to_string(),
            |name| name.to_string_lossy().into_owned(),
        );
        let told = format!(
            "{} is not where it was: what was cut from it is left out. Open it once on the screen with \
             `contrapalma listen` where it is now.",
            printable(&name)
        );
        self.note(&told);
        told
    }

    /// Something to be told in the end, once.
    pub(super) fn note(&mut self, note: &str) {
        if !self.notes.iter().any(|other| other == note) {
            self.notes.push(note.to_owned());
        }
    }
}

/// A passage as it is in its recording, at the common loudness, in stereo at `rate`; its recording is
/// looked for where it was last (`known`), where its deck says, and beside these places. `None` where it
/// lies in none of them, or cannot be read there.
pub fn passage_sound(
    passage: &Arc<Passage>,
    known: Option<PathBuf>,
    rate: SampleRate,
) -> Option<Pcm> {
    let told = Some(passage.file()).filter(|file| !file.is_empty());
    let places = known.into_iter().chain(told.map(PathBuf::from)).collect();
    let cutting = Cutting {
        passage: Arc::clone(passage),
        places,
    };
    let path = Finder::default().find(&cutting)?;
    let (begins, ends) = passage.span();
    let mut pcm = cut(opener(path).as_ref()().ok()?, begins, ends - begins, rate).ok()?;
    let gain = passage_gain(&pcm);
    pcm.shape(|_| gain);
    Some(pcm)
}

/// Files whose content is known, so that none is read twice for its name.
#[derive(Debug, Default)]
pub(super) struct Finder {
    found: HashMap<ContentHash, PathBuf>,
    seen: HashSet<(PathBuf, u64)>,
}

impl Finder {
    /// What sounds of a passage while `phrase` lies over it, in stereo at `rate`; `None` where its
    /// recording lies in none of the places, or cannot be read there.
    pub(super) fn cut(
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
        cut(opener(path).as_ref()().ok()?, begins, ends - begins, rate).ok()
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
                    self.found.entry(hash).or_insert(path);
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
pub(super) fn length(place: &Path) -> u64 {
    fs::metadata(place).map_or(0, |data| data.len())
}
