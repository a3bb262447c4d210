//! What is kept of a recording: known again by its content, wherever it lies.

use std::io::{self, Read};
use std::sync::atomic::Ordering;

use super::{CycleFrom, Given, Heard, Progress, Recording, Row, Source};
use crate::app::{App, Place, Trouble};
use crate::label::ContentHash;
use crate::listen::Pulses;
use crate::mark::{By, Marked, Sections, Stretch};
use crate::pcm::decode::DecodeError;
use crate::store::KeptPulses;

/// Something new that is to be kept.
#[derive(Clone, Debug)]
pub(super) enum Keep {
    Pulses(KeptPulses),
    Sections(Sections),
    Mark(Marked),
    /// What was said of a stretch was taken back, and this stands there again.
    Unsaid(Stretch, Vec<Marked>),
}

/// The name of a recording by its content.
pub(super) fn content_of(source: &Source, progress: &Progress) -> io::Result<ContentHash> {
    let bytes = (source.bytes)()?;
    ContentHash::of(Stoppable { bytes, progress })
}

/// Bytes of which there are no more once the work is to stop.
struct Stoppable<'p> {
    bytes: Box<dyn Read>,
    progress: &'p Progress,
}

impl Read for Stoppable<'_> {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        if self.progress.stop.load(Ordering::Relaxed) {
            return Err(io::Error::other("stopped"));
        }
        self.bytes.read(into)
    }
}

impl App {
    /// What the worker heard of it, and what was kept of it before.
    pub(in crate::app) fn heard(
        &mut self,
        generation: u64,
        heard: Result<Heard, DecodeError>,
    ) -> Result<(), Trouble> {
        let Place::Recording(recording) = &mut self.place else {
            return Ok(());
        };
        if recording.generation != generation {
            return Ok(());
        }
        match heard {
            Ok(heard) => recording.take(heard),
            Err(error) => {
                recording.state = super::State::Refused(super::playing::why_unread(&error));
                return Ok(());
            }
        }
        if let Some(content) = recording.content {
            let place = recording.source.place.as_deref();
            let (name, now) = (&recording.name, self.clock.now());
            self.store.meet_recording(content, name, place, now)?;
            if let Some(known) = self.store.recording(content)? {
                recording.sections = known.sections;
                recording.remember(&known.pulses);
                // What was kept was not done just now.
                recording.done.clear();
            }
            recording.marks = self.store.marks(content)?;
            recording.choose_person();
        }
        self.hear_behind();
        self.keep_of_recording()
    }

    /// Keeps what is new of the recording that is looked at.
    pub(super) fn keep_of_recording(&mut self) -> Result<(), Trouble> {
        let Place::Recording(recording) = &mut self.place else {
            return Ok(());
        };
        let new = std::mem::take(&mut recording.to_keep);
        let Some(content) = recording.content else {
            return Ok(());
        };
        for keep in new {
            match keep {
                Keep::Pulses(pulses) => self.store.save_pulses(content, &pulses)?,
                Keep::Sections(sections) => self.store.save_sections(content, &sections)?,
                Keep::Mark(marked) => {
                    let now = self.clock.now();
                    self.store.mark(content, &By::Own, &[marked], now)?;
                }
                Keep::Unsaid(stretch, before) => {
                    let now = self.clock.now();
                    self.store.unsay(content, stretch, &before, now)?;
                }
            }
        }
        Ok(())
    }
}

impl Recording {
    /// Takes pulses that were kept, unless others were given; those are kept from now on.
    fn remember(&mut self, kept: &KeptPulses) {
        if let Some(Given::Times(_) | Given::Steady(..)) = self.source.pulses {
            if let Some(row) = self.row.clone() {
                self.set_pulses(row);
            }
            return;
        }
        let cycle = match self.source.cycle_from {
            CycleFrom::Asked => self.source.cycle,
            CycleFrom::Usual => kept.cycle,
        };
        // Pulses stay where they were set, however many are in a cycle.
        if let Ok(pulses) = Pulses::new(kept.times.clone()) {
            self.count_by(cycle);
            self.chosen = None;
            self.hear_at(Row::kept(&pulses, cycle));
        } else if cycle != self.source.cycle
            && let Some(lay) = self.counted_in(cycle)
        {
            self.lay(lay);
        }
    }
}
