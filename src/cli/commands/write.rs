//! What a command reads and writes: whole files, and standard output.

use std::fs::{self, File};
use std::io::{self, Cursor, Read as _, Write as _};
use std::path::Path;

use crate::class::hand_in::{Refusal, limit};
use crate::cli::failure::{Failure, Kind};
use crate::pcm::{Pcm, wav};

/// Writes beside the place and renames, so that nothing is half written. What is no file, such as a
/// pipe or a device, is written to as it stands.
pub(super) fn write_whole(path: &Path, bytes: &[u8]) -> Result<(), Failure> {
    let written = match fs::metadata(path) {
        Ok(known) if !known.is_file() => fs::write(path, bytes),
        // The file that a link leads to is renewed, and the link stays.
        Ok(_) => fs::canonicalize(path).and_then(|place| renew(&place, bytes)),
        Err(_) => renew(path, bytes),
    };
    written.map_err(|error| Failure::file(path, &error))
}

fn renew(place: &Path, bytes: &[u8]) -> io::Result<()> {
    let mut name = place.file_name().unwrap_or_default().to_owned();
    name.push(format!(".{}.part", std::process::id()));
    let beside = place.with_file_name(name);
    // Never over a file that somebody else made.
    let mut file = fs::File::create_new(&beside)?;
    let written = file
        .write_all(bytes)
        .and_then(|()| fs::rename(&beside, place));
    if written.is_err() {
        drop(fs::remove_file(&beside));
    }
    written
}

/// Writes a file that is not there yet; one that is there is not touched.
pub(super) fn write_new(path: &Path, bytes: &[u8]) -> Result<(), Failure> {
    let mut file = fs::File::create_new(path).map_err(|error| {
        if error.kind() != io::ErrorKind::AlreadyExists {
            return Failure::file(path, &error);
        }
        let what = format!("{}: found a file; expected a new name", path.display());
        Failure::new(
            Kind::Usage,
            what,
            "choose another name; nothing was changed",
        )
    })?;
    let written = file.write_all(bytes);
    if written.is_err() {
        drop(fs::remove_file(path));
    }
    written.map_err(|error| Failure::file(path, &error))
}

/// A sound as the bytes of a WAV file.
pub(super) fn wav_of(pcm: &Pcm) -> Result<Vec<u8>, Failure> {
    let mut file = Cursor::new(Vec::new());
    wav::write(pcm, &mut file)
        .map_err(|error| Failure::new(Kind::Bug, error, "this is a mistake in the program"))?;
    Ok(file.into_inner())
}

/// The bytes of a hand-in. What is no file, such as a pipe or a device, has no end that can be waited
/// for, and is refused.
///
/// The inner outcome is that of the file's contents.
pub(super) fn read_hand_in(path: &Path) -> Result<Result<Vec<u8>, Refusal>, Failure> {
    let failed = |error: io::Error| Failure::file(path, &error);
    if !fs::metadata(path).map_err(failed)?.is_file() {
        return Ok(Err(Refusal::Foreign));
    }
    let mut bytes = Vec::new();
    let file = File::open(path).map_err(failed)?;
    file.take(limit::FILE + 1)
        .read_to_end(&mut bytes)
        .map_err(failed)?;
    Ok(Ok(bytes))
}

/// Prints to standard output.
pub(super) fn print(text: &str) -> Result<(), Failure> {
    match io::stdout().lock().write_all(text.as_bytes()) {
        // Whoever closed the pipe has read enough.
        Err(error) if error.kind() == io::ErrorKind::BrokenPipe => Ok(()),
        Err(error) => Err(Failure::file(Path::new("standard output"), &error)),
        Ok(()) => Ok(()),
    }
}

/// Says on standard error what does not keep the command from going on; the name in it may be anything.
pub(in crate::cli) fn warn(text: &str) {
    let line = format!("{}\n", crate::label::printable(text));
    // Whoever closed standard error does not want to know.
    drop(io::stderr().lock().write_all(line.as_bytes()));
}
