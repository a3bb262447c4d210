//! The pulses that the command line gives: as a list in a file, or steady ones. A list comes from outside,
//! and its pulses are believed only where the file that they are of goes on for as long.

use std::path::Path;

use super::read::{self, End};
use crate::cli::args::Listen;
use crate::cli::commands::write::{counted, warn};
use crate::cli::failure::{Failure, Kind};
use crate::label::printable;
use crate::listen::{Pulses, PulsesError, clock};
use crate::mark::Stretch;
use crate::rhythm::Cycle;

/// The times of a list, one in seconds a line.
pub(super) fn list(path: &Path) -> Result<Pulses, Failure> {
    let bytes = read::list(path)?;
    let text = String::from_utf8_lossy(&bytes);
    let text = text.strip_prefix('\u{feff}').unwrap_or(&text);
    let wrong = |what: String| {
        let hint =
            "write one time in seconds a line, rising, and no heading; the first is beat one";
        Failure::new(Kind::Data, format!("{}: {what}", path.display()), hint)
    };
    let lines = (1..).zip(text.lines().map(str::trim));
    let lines: Vec<(usize, &str)> = lines.filter(|(_, line)| !line.is_empty()).collect();
    let times = lines.iter().map(|&(number, line)| {
        time(line).ok_or_else(|| {
            let found = printable(line);
            wrong(format!(
                "line {number}: found {found:?}; expected one time in seconds from 0 on, with a \
                 decimal point, such as 61.5"
            ))
        })
    });
    let times = times.collect::<Result<Vec<f64>, Failure>>()?;
    Pulses::new(times).map_err(|error| match error {
        PulsesError::NotRising(at) => {
            let (number, line) = lines[at];
            let (before, earlier) = lines[at - 1];
            wrong(format!(
                "line {number}: found \"{line}\"; expected a time that is a millisecond or more later \
                 than \"{earlier}\" on line {before}"
            ))
        }
        error => wrong(error.to_string()),
    })
}

/// A time with a decimal point, which may have an exponent as number libraries write it: neither `nan` nor
/// `-1`, nor `0,5`, of which a part would be taken for all.
fn time(text: &str) -> Option<f64> {
    let time = text.parse().ok();
    time.filter(|time| (0.0..=Stretch::LATEST).contains(time))
}

/// The pulses that are given for a file that ends there; none where none are.
pub(super) fn pulses(
    path: &Path,
    end: End,
    asked: &Listen,
    listed: Option<&Pulses>,
) -> Result<Option<Pulses>, Failure> {
    if let Some((list, pulses)) = asked.pulses.as_ref().zip(listed) {
        let cycle = asked.cycle();
        let held = held(pulses, list, (path, end, cycle))?;
        return Ok(Some(held));
    }
    let Some((tempo, start)) = asked.tempo.zip(asked.start) else {
        return Ok(None);
    };
    let pulses = Pulses::steady(tempo, start, end.seconds()).map_err(|error| {
        let what = format!("{}: {error}", path.display());
        Failure::new(Kind::Data, what, "let --start lie within the file")
    })?;
    Ok(Some(pulses))
}

/// Those of a list that lie within the file that they are said to be of.
fn held(
    pulses: &Pulses,
    list: &Path,
    (path, end, cycle): (&Path, End, Cycle),
) -> Result<Pulses, Failure> {
    let times = pulses.times();
    let within = times.partition_point(|time| *time <= end.seconds());
    let n = match end {
        End::Sound(_) => within,
        // Notes say when they begin, and the last cycle goes on behind the last of them.
        End::Notes(_) => within.next_multiple_of(cycle.n_pulses()).min(times.len()),
    };
    if n == times.len() {
        return Ok(pulses.clone());
    }
    let (list, name) = (list.display(), path.display());
    let ends = clock(end.seconds());
    match Pulses::new(times[..n].to_vec()) {
        Ok(held) => {
            let left = times.len() - n;
            let lie = if left == 1 { "lies" } else { "lie" };
            warn(&format!(
                "{list}: {left} of its {} {lie} behind the end of {name} at {ends} and {} left out",
                counted(times.len(), "pulse", "pulses"),
                if left == 1 { "is" } else { "are" }
            ));
            Ok(held)
        }
        Err(_) => {
            let what = format!(
                "{list}: found {n} of its {} pulses within {name}, which ends at {ends}; expected two \
                 at least",
                times.len()
            );
            let hint = "see whether the list is of this file, and in seconds";
            Err(Failure::new(Kind::Data, what, hint))
        }
    }
}
