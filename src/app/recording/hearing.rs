//! A recording is heard from end to end, on the worker.

use std::io;
use std::sync::atomic::{AtomicBool, AtomicU32, Ordering};

use super::Source;
use super::keep::content_of;
use super::row::Row;
use crate::label::ContentHash;
use crate::listen::{Analysis, Answers, Ear, PulsePath, Sound, pulse_paths};
use crate::pcm::decode::{DecodeError, Lost, Mono};

/// How far the worker has come, and whether it is to stop.
#[derive(Debug, Default)]
pub(in crate::app) struct Progress {
    pub(super) seconds: AtomicU32,
    /// Seconds in all; 0 where that is not known before the end.
    pub(super) of_seconds: AtomicU32,
    /// Whether all of it was heard, so that only its pulses are to be found.
    pub(super) is_heard: AtomicBool,
    pub(super) stop: AtomicBool,
}

/// What the worker heard.
#[derive(Debug)]
pub(in crate::app) struct Heard {
    pub(super) sound: Sound,
    pub(super) row: Option<Row>,
    pub(super) paths: Vec<PulsePath>,
    pub(super) analysis: Analysis,
    pub(super) lost: Lost,
    pub(super) content: io::Result<ContentHash>,
}

/// Hears a recording from end to end, unless it is stopped.
pub(in crate::app) fn hear(source: &Source, progress: &Progress) -> Result<Heard, DecodeError> {
    let mut recording = (source.open)()?;
    let mut ear = Ear::new(recording.rate());
    let mut mono = Mono::of(recording.n_channels(), recording.rate());
    let hz = u64::from(recording.rate().hz());
    let of_seconds = recording.seconds().map_or(0, whole_seconds);
    progress.of_seconds.store(of_seconds, Ordering::Relaxed);
    let mut n_frames = 0_u64;
    while !progress.stop.load(Ordering::Relaxed) {
        let Some(block) = recording.next_block() else {
            break;
        };
        let heard = mono.take(&block);
        n_frames += u64::try_from(heard.len()).unwrap_or(0);
        let seconds = u32::try_from(n_frames / hz).unwrap_or(u32::MAX);
        progress.seconds.store(seconds, Ordering::Relaxed);
        ear.hear(&heard);
    }
    ear.hear(&mono.rest());
    progress.is_heard.store(true, Ordering::Relaxed);
    let sound = ear.finish();
    let paths = pulse_paths(&sound, &[]);
    let row = Row::first_of(source, &sound, &paths);
    let row = row.or_else(|| Row::laid(&sound, source.cycle));
    let analysis = match &row {
        Some(row) => source.heard_at(&sound, row),
        None => Analysis::nothing(source.cycle),
    };
    Ok(Heard {
        sound,
        row,
        paths,
        analysis,
        lost: recording.lost(),
        content: content_of(source, progress),
    })
}

impl Source {
    /// What is stated at these pulses: by its notes where it has some, else by the sound.
    pub(super) fn heard_at(&self, sound: &Sound, row: &Row) -> Analysis {
        let analysis = row.said_by(|pulses| match &self.notes {
            Some(notes) => notes.analysis(pulses, self.cycle),
            None => Analysis::of_sound(sound, pulses, self.cycle, Answers::Open),
        });
        analysis.at_proposed(|time| row.probable_at(time))
    }
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "the cast saturates"
)]
fn whole_seconds(seconds: f64) -> u32 {
    seconds as u32
}
