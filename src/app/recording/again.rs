//! A recording that is known, heard once more at other pulses, on a worker. What was heard before is
//! carried over to them until then, so that whoever set them sees and hears at once where they lie.

use std::sync::Arc;

use super::{Change, Joining, Recording, Row, Source};
use crate::app::worker::What;
use crate::app::{App, Place, Trouble};
use crate::listen::{Analysis, Sound, pulse_paths};
use crate::rhythm::Cycle;
use crate::world::Stamp;

/// For how long what is seen may be carried over before that is said, in microseconds: by then whoever pressed
/// a key wonders (a round figure).
const PATIENCE: u64 = 400_000;

/// What the worker is to do with the sound of a recording.
#[derive(Clone, Debug)]
pub(in crate::app) struct Again {
    sound: Arc<Sound>,
    wanted: Wanted,
}

#[derive(Clone, Debug)]
enum Wanted {
    /// Hear what is stated at these pulses; up to them so many were laid.
    Leans(Box<Source>, Row, u64),
    /// Find the pulses that follow taps.
    Path(Vec<f64>, Cycle),
}

/// What came of it.
#[derive(Debug)]
pub(in crate::app) enum HeardAgain {
    Leans(Analysis, u64),
    Path(Option<Row>, Vec<f64>),
}

/// Does what is wanted.
pub(in crate::app) fn hear_again(again: Again) -> HeardAgain {
    let sound = &again.sound;
    match again.wanted {
        Wanted::Leans(source, row, nth) => HeardAgain::Leans(source.heard_at(sound, &row), nth),
        Wanted::Path(taps, cycle) => {
            let row = Row::proposed(sound, &pulse_paths(sound, &taps), cycle);
            HeardAgain::Path(row, taps)
        }
    }
}

/// How far what is known of a recording is behind its pulses.
#[derive(Clone, Debug, Default)]
pub(super) struct Behind {
    /// How many times pulses were laid, and how many times when those that were heard last lay.
    n_laid: u64,
    n_heard: u64,
    /// Taps that were not followed yet.
    taps: Option<Vec<f64>>,
    /// The job that the worker has.
    asked: Option<u64>,
    /// Since when it has had one after the other.
    since: Option<Stamp>,
}

impl Recording {
    /// Lays pulses; what is said at them is carried over until they are heard.
    pub(super) fn hear_at(&mut self, row: Row) {
        let cycle = self.source.cycle;
        let carried = row.said_by(|pulses| match &self.analysis {
            Some(known) => known.carried_to(pulses, cycle),
            None => Analysis::untold(pulses, cycle),
        });
        self.know(carried);
        self.row = Some(row);
        self.is_set = true;
        self.behind.n_laid += 1;
    }

    /// Lays what needs no hearing.
    pub(super) fn know_at_once(&mut self, analysis: Analysis) {
        self.know(analysis);
        self.behind.n_laid += 1;
        self.behind.n_heard = self.behind.n_laid;
    }

    /// Has pulses found that follow these taps.
    pub(super) fn follow(&mut self, taps: Vec<f64>) {
        self.behind.taps = Some(taps);
    }

    /// What is to be done next, where something is.
    pub(super) fn again(&mut self) -> Option<Again> {
        let sound = Arc::clone(self.sound.as_ref()?);
        let behind = &mut self.behind;
        let wanted = match (behind.taps.take(), &self.row) {
            (Some(taps), _) => Wanted::Path(taps, self.source.cycle),
            (None, Some(row)) if behind.n_heard < behind.n_laid => {
                Wanted::Leans(Box::new(self.source.clone()), row.clone(), behind.n_laid)
            }
            (None, _) => return None,
        };
        Some(Again { sound, wanted })
    }

    /// Takes what came of it, and says what that changes.
    pub(super) fn take_again(&mut self, heard: HeardAgain) -> Change {
        match heard {
            HeardAgain::Path(row, taps) => self.tapped(row, &taps),
            HeardAgain::Leans(analysis, nth) => {
                // Others may have been laid meanwhile.
                if nth == self.behind.n_laid {
                    self.behind.n_heard = nth;
                    self.analysis = Some(Arc::new(analysis));
                }
                Change::Picture
            }
        }
    }

    /// Looks whether that takes long.
    pub(super) fn look_behind(&mut self, now: Stamp) {
        let since = self.behind.since;
        self.is_behind = since.is_some_and(|since| now.since(since) > PATIENCE);
    }

    /// Does all that is to be done, here and now.
    #[cfg(test)]
    pub(crate) fn catch_up(&mut self) {
        while let Some(again) = self.again() {
            self.take_again(hear_again(again));
        }
    }
}

impl App {
    /// Has the worker do what is to be done next. It does one thing after the other; of pulses that were
    /// laid meanwhile only the last are heard.
    pub(super) fn hear_behind(&mut self) {
        let Place::Recording(recording) = &mut self.place else {
            return;
        };
        if recording.behind.asked.is_some() {
            return;
        }
        let Some(again) = recording.again() else {
            recording.behind.since = None;
            return;
        };
        let generation = self.give(What::HearAgain(again));
        let now = self.clock.stamp();
        if let Place::Recording(recording) = &mut self.place {
            recording.behind.asked = Some(generation);
            recording.behind.since.get_or_insert(now);
        }
    }

    /// The worker has done it.
    pub(in crate::app) fn heard_again(
        &mut self,
        generation: u64,
        heard: HeardAgain,
    ) -> Result<(), Trouble> {
        let Place::Recording(recording) = &mut self.place else {
            return Ok(());
        };
        let asked = &mut recording.behind.asked;
        if asked.take_if(|asked| *asked == generation).is_none() {
            return Ok(());
        }
        let sounds_anew = recording.take_again(heard) == Change::Sound;
        self.hear_behind();
        self.keep_of_recording()?;
        if sounds_anew {
            self.sound_passage(Joining::Anew);
        }
        Ok(())
    }
}
