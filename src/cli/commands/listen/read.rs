//! Files in: recordings, MIDI files, the bytes of lists.

use std::ffi::OsStr;
use std::fs::File;
use std::io::{self, Read as _};
use std::path::Path;

use crate::app::in_words;
use crate::app::recording::{heard_as_played, notes_of, sound_begins};
use crate::cli::args::Listen;
use crate::cli::commands::write::warn;
use crate::cli::failure::{Failure, Kind};
use crate::listen::{Ear, Notes, NotesError, Sound};
use crate::pcm::decode::{self, DecodeError, Mono};

/// What a file holds.
pub(super) enum Heard {
    Sound(Sound),
    /// Of a MIDI file, and when in it its sound begins, in seconds.
    Notes(Notes, f64),
}

impl Heard {
    /// When it ends.
    pub(super) fn end(&self) -> End {
        match self {
            Self::Sound(sound) => End::Sound(sound.seconds()),
            Self::Notes(notes, _) => End::of_notes(notes),
        }
    }
}

/// When a file ends, in seconds.
#[derive(Clone, Copy, Debug)]
pub(super) enum End {
    /// With its last sample.
    Sound(f64),
    /// With the pulse after the one on which its last note begins.
    Notes(f64),
}

impl End {
    fn of_notes(notes: &Notes) -> Self {
        Self::Notes(notes.pulses().last().copied().unwrap_or(0.0))
    }

    pub(super) fn seconds(self) -> f64 {
        match self {
            Self::Sound(seconds) | Self::Notes(seconds) => seconds,
        }
    }
}

/// Reads a recording, or a MIDI file, which is known by its first four bytes.
pub(super) fn file(path: &Path, asked: &Listen) -> Result<Heard, Failure> {
    if let Some(bytes) = midi(path)? {
        let begins = sound_begins(&bytes).unwrap_or(0.0);
        return Ok(Heard::Notes(notes(&bytes, path, asked)?, begins));
    }
    let file = File::open(path).map_err(|error| unreadable(path, &error))?;
    sound(file, path).map(Heard::Sound)
}

/// The bytes of a MIDI file; nothing where a file is none.
pub(super) fn midi(path: &Path) -> Result<Option<Vec<u8>>, Failure> {
    notes_of(path).map_err(|error| unreadable(path, &error))
}

/// What is heard of a MIDI file as it is played; nothing where it is not.
pub(super) fn sound_of(path: &Path) -> Result<Option<Sound>, Failure> {
    let bytes = midi(path)?.unwrap_or_default();
    Ok(heard_as_played(&bytes).ok())
}

/// The notes of a MIDI file, and where it is cut off.
fn notes(bytes: &[u8], path: &Path, asked: &Listen) -> Result<Notes, Failure> {
    let notes = Notes::read_from(bytes, asked.pulse_note(), asked.first_cycle());
    let notes = notes.map_err(|error| {
        let hint = match error {
            NotesError::StartsLate(_) => "let --start lie before its last note",
            NotesError::Timecode => {
                "write it anew with ticks to a quarter note (PPQ) instead of frames (SMPTE)"
            }
            _ => "check that this is a whole MIDI file",
        };
        let what = format!("{}: {error}", path.display());
        Failure::new(Kind::Data, what, hint)
    })?;
    if let Some(at) = notes.cut_off() {
        let name = path.display();
        warn(&format!(
            "{name}: the file is cut off; it was read up to second {at:.1}"
        ));
    }
    Ok(notes)
}

/// Checks that a file is a MIDI file or the beginning of a recording.
pub(super) fn check(path: &Path) -> Result<(), Failure> {
    if midi(path)?.is_some() {
        return Ok(());
    }
    let file = File::open(path).map_err(|error| unreadable(path, &error))?;
    recording(file, path).map(drop)
}

/// When a file ends: as it says itself, or else by reading all of it.
pub(super) fn end(path: &Path, asked: &Listen) -> Result<End, Failure> {
    if let Some(bytes) = midi(path)? {
        return Ok(End::of_notes(&notes(&bytes, path, asked)?));
    }
    let file = File::open(path).map_err(|error| unreadable(path, &error))?;
    let mut recording = recording(file, path)?;
    if let Some(seconds) = recording.seconds() {
        return Ok(End::Sound(seconds));
    }
    while recording.next_block().is_some() {}
    let frames = real(recording.position().0);
    Ok(End::Sound(frames / f64::from(recording.rate().hz())))
}

#[expect(
    clippy::cast_precision_loss,
    reason = "frames of a recording of hours at most"
)]
fn real(frames: u64) -> f64 {
    frames as f64
}

/// The bytes of a list.
pub(super) fn list(path: &Path) -> Result<Vec<u8>, Failure> {
    let file = File::open(path).map_err(|error| unreadable(path, &error))?;
    limited(file, path, LARGEST_LIST)
}

/// The most bytes of a list of pulses or marks.
const LARGEST_LIST: u64 = 8 << 20;

fn recording(file: File, path: &Path) -> Result<decode::Recording, Failure> {
    let extension = path.extension().and_then(OsStr::to_str);
    decode::open(file, extension).map_err(|error| {
        let hint = match error {
            DecodeError::Rate { .. } => "save it at 44100 or 48000 Hz",
            DecodeError::Variety(_) => {
                "save it in another form: WAV, AIFF, FLAC, MP3, Ogg Vorbis, or AAC or ALAC in MP4"
            }
            // That it may be AAC is what is wrong with it.
            DecodeError::Coding | DecodeError::Channels => {
                "save it in another form: WAV, AIFF, FLAC, or ALAC in MP4"
            }
            _ => "check that this is the right file, and whole",
        };
        Failure::new(Kind::Data, format!("{}: {error}", path.display()), hint)
    })
}

/// Hears a recording, block by block, and says what of it could not be read.
fn sound(file: File, path: &Path) -> Result<Sound, Failure> {
    let mut recording = recording(file, path)?;
    let mut ear = Ear::new(recording.rate());
    let mut mono = Mono::of(recording.n_channels(), recording.rate());
    while let Some(block) = recording.next_block() {
        ear.hear(&mono.take(&block));
    }
    ear.hear(&mono.rest());
    let lost = recording.lost();
    if !lost.is_nothing() {
        warn(&format!("{}: {lost}", path.display()));
    }
    Ok(ear.finish())
}

fn limited(file: File, path: &Path, largest: u64) -> Result<Vec<u8>, Failure> {
    let mut bytes = Vec::new();
    // A device or a pipe does not say how much it holds, so that only reading can tell.
    let read = file.take(largest + 1).read_to_end(&mut bytes);
    read.map_err(|error| unreadable(path, &error))?;
    if u64::try_from(bytes.len()).is_ok_and(|size| size > largest) {
        let what = format!("{}: more than {largest} bytes", path.display());
        return Err(Failure::new(
            Kind::Data,
            what,
            "check that this is the right file",
        ));
    }
    Ok(bytes)
}

pub(super) fn unreadable(path: &Path, error: &io::Error) -> Failure {
    let what = format!("{}: {}", path.display(), in_words(error));
    Failure::new(Kind::Data, what, "check the name and who may read it")
}
