//! What a command reads and writes: whole files, and standard output.

use std::fs::{self, File};
use std::io::{self, Cursor, Read as _, Write as _};
use std::path::Path;

use crate::class::hand_in::{Refusal, limit};
use crate::cli::failure::{Failure, Kind};
use crate::pcm::{Pcm, wav};

/// Whether a name stands for standard output, in every command that writes.
pub(super) fn is_standard(path: &Path) -> bool {
    path.as_os_str() == "-"
}

/// Refuses `-` where what is written has to have a name.
pub(super) fn refuse_standard(path: &Path, option: &str, why: &str) -> Result<(), Failure> {
    if !is_standard(path) {
        return Ok(());
    }
    let what = format!("found {option} -, standard output; {why}");
    Err(Failure::new(Kind::Usage, what, "give it a name"))
}

/// Writes beside the place and renames, so that nothing is half written. What is no file, such as a
/// pipe or a device, is written to as it stands; `-` is standard output.
pub(super) fn write_whole(path: &Path, bytes: &[u8]) -> Result<(), Failure> {
    if is_standard(path) {
        return put_out(bytes);
    }
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

/// How much of a file is looked at, in bytes, to know whether the program wrote it.
const HEAD: u64 = 4 << 10;

/// Refuses a place where there is a file of somebody else: one that is not empty and does not begin as
/// the program begins what `wanted` names. What is no file, such as a pipe or a device, is never refused.
pub(super) fn refuse_foreign(
    path: &Path,
    wanted: &str,
    is_ours: impl FnOnce(&[u8]) -> bool,
) -> Result<(), Failure> {
    if !fs::metadata(path).is_ok_and(|known| known.is_file() && known.len() > 0) {
        return Ok(());
    }
    let mut head = Vec::new();
    File::open(path)
        .and_then(|file| file.take(HEAD).read_to_end(&mut head))
        .map_err(|error| Failure::file(path, &error))?;
    if is_ours(&head) {
        return Ok(());
    }
    let what = format!(
        "{}: found a file that is no {wanted}; expected a new name, or one of those",
        path.display()
    );
    let hint = "choose another name, or say by --replace that it may go; nothing was changed";
    Err(Failure::new(Kind::Usage, what, hint))
}

/// Writes a file that is not there yet; one that is there is not touched, and `-` is standard output.
pub(super) fn write_new(path: &Path, bytes: &[u8]) -> Result<(), Failure> {
    if is_standard(path) {
        return put_out(bytes);
    }
    fill(path, reserve(path)?, bytes)
}

/// Takes a place for a file that is not there yet, so that it can be filled later.
pub(super) fn reserve(path: &Path) -> Result<File, Failure> {
    File::create_new(path).map_err(|error| {
        if error.kind() != io::ErrorKind::AlreadyExists {
            return Failure::file(path, &error);
        }
        let what = format!("{}: found a file; expected a new name", path.display());
        Failure::new(
            Kind::Usage,
            what,
            "choose another name; nothing was changed",
        )
    })
}

/// Fills a file that was reserved; where that fails, it is gone.
pub(super) fn fill(path: &Path, mut file: File, bytes: &[u8]) -> Result<(), Failure> {
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

/// A number with its noun.
pub(super) fn counted(n: usize, one: &str, more: &str) -> String {
    let noun = if n == 1 { one } else { more };
    format!("{n} {noun}")
}

/// Prints to standard output.
pub(super) fn print(text: &str) -> Result<(), Failure> {
    put_out(text.as_bytes())
}

/// Says what was written there, unless that went to standard output, which is then of it alone.
pub(super) fn print_of(path: &Path, text: &str) -> Result<(), Failure> {
    if is_standard(path) {
        return Ok(());
    }
    print(text)
}

fn put_out(bytes: &[u8]) -> Result<(), Failure> {
    let mut out = io::stdout().lock();
    match out.write_all(bytes).and_then(|()| out.flush()) {
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
