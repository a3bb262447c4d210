//! Files of recordings, and of notes that are played, opened as one.

use std::ffi::OsStr;
use std::fs::File;
use std::io::{self, Cursor, Read as _, Seek as _};
use std::path::{Path, PathBuf};
use std::sync::{Arc, OnceLock};

use super::Open;
use super::notes::{NotPlayed, sound_of_notes};
use crate::pcm::decode::{self, DecodeError};

/// How a MIDI file begins.
const MIDI: &[u8] = b"MThd";
/// The most bytes of notes that are read.
const LARGEST_NOTES: u64 = 16 << 20;

/// Opens a file again and again; one of notes is played once and kept.
pub fn opener(path: PathBuf) -> Open {
    let played = OnceLock::<Arc<[u8]>>::new();
    Arc::new(move || {
        if let Some(wav) = played.get() {
            return decode::open(Cursor::new(Arc::clone(wav)), Some("wav"));
        }
        let Some(bytes) = notes_of(&path)? else {
            return open_recording(&path);
        };
        let wav = sound_of_notes(&bytes).map_err(io::Error::other)?;
        let wav = played.get_or_init(|| wav.into());
        decode::open(Cursor::new(Arc::clone(wav)), Some("wav"))
    })
}

/// The bytes of a MIDI file; nothing where a file is none.
///
/// # Errors
/// When it cannot be read, or is larger than any piece.
pub fn notes_of(path: &Path) -> io::Result<Option<Vec<u8>>> {
    let mut file = File::open(path)?;
    let mut first = Vec::new();
    file.by_ref().take(4).read_to_end(&mut first)?;
    if first != MIDI {
        return Ok(None);
    }
    file.rewind()?;
    let mut bytes = Vec::new();
    file.take(LARGEST_NOTES + 1).read_to_end(&mut bytes)?;
    if u64::try_from(bytes.len()).is_ok_and(|size| size > LARGEST_NOTES) {
        return Err(io::Error::other(NotPlayed::TooLarge(LARGEST_NOTES)));
    }
    Ok(Some(bytes))
}

fn open_recording(path: &Path) -> Result<decode::Recording, DecodeError> {
    let extension = path.extension().and_then(OsStr::to_str);
    decode::open(File::open(path)?, extension)
}
