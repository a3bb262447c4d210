//! What is refused before anything is heard, kept or written: forms that get in each other's way, and
//! a picture over a file of somebody else.

use std::fs;
use std::path::Path;

use super::svg;
use crate::cli::args::Listen;
use crate::cli::commands::write::{is_standard, refuse_foreign};
use crate::cli::failure::{Failure, Kind};

/// Refuses what could not be done whole.
pub(super) fn check(asked: &Listen) -> Result<(), Failure> {
    if let (Some(list), [_, _, ..]) = (&asked.pulses, asked.files.as_slice()) {
        return Err(pulses_of_several(list, asked.files.len()));
    }
    let Some(picture) = &asked.svg else {
        return Ok(());
    };
    if is_standard(picture) {
        return alone_on_standard_output(asked);
    }
    refuse_inputs(picture, asked)?;
    if asked.replace {
        return Ok(());
    }
    refuse_foreign(picture, "picture of a recording", svg::begins)
}

/// Pulses are those of one piece: over another they would tell nothing, and nobody would see it.
fn pulses_of_several(list: &Path, n: usize) -> Failure {
    let what = format!(
        "{}: found {n} files for one list of pulses; expected one, since pulses are those of one file",
        list.display()
    );
    Failure::new(Kind::Usage, what, "hear each file with a list of its own")
}

fn alone_on_standard_output(asked: &Listen) -> Result<(), Failure> {
    if !(asked.json || asked.csv || asked.text) {
        return Ok(());
    }
    let what = "found --svg - beside --json, --csv or --text; only one can go to standard output";
    Err(Failure::new(
        Kind::Usage,
        what,
        "name a file for the picture",
    ))
}

/// Not even with --replace does a picture go over what is read.
fn refuse_inputs(picture: &Path, asked: &Listen) -> Result<(), Failure> {
    let lists = asked.pulses.iter().chain(&asked.marks);
    let mut inputs = asked.files.iter().chain(lists);
    if !inputs.any(|input| is_same(input, picture)) {
        return Ok(());
    }
    let what = format!(
        "{}: found a file that is read; expected another name for the picture",
        picture.display()
    );
    let hint = "choose another name; nothing was changed";
    Err(Failure::new(Kind::Usage, what, hint))
}

/// Whether two names lead to one file, by whatever links.
fn is_same(one: &Path, other: &Path) -> bool {
    use std::os::unix::fs::MetadataExt as _;
    let id = |path: &Path| {
        let known = fs::metadata(path).ok().filter(fs::Metadata::is_file)?;
        Some((known.dev(), known.ino()))
    };
    id(one).is_some_and(|one| id(other) == Some(one))
}
