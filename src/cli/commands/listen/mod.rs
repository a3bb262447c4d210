//! `contrapalma listen`: to what each cycle of a recording or a MIDI file leans.

mod csv;
mod early;
mod found;
mod given;
mod json;
mod kept;
mod listened;
mod read;
mod svg;
mod text;

use std::fs::{self, File};
use std::io::{self, IsTerminal as _};
use std::panic;
use std::path::Path;
use std::process::ExitCode;
use std::sync::Arc;

use super::write::{counted, print, warn, write_whole};
use crate::app::recording::{CycleFrom, Given, Played, Source, behind_the_end, opener};
use crate::cli::args::{self, Practice};
use crate::cli::counting_of;
use crate::cli::failure::{Failure, Kind};
use crate::label::printable;
use crate::listen::{Analysis, Answers, Pulses};
use crate::mark::By;
use crate::pcm::decode;
use crate::rhythm::{Counting, Cycle};
use crate::world::Env;

use found::Found;
use kept::{Kept, Known};
use listened::{Listened, Origin};

/// Takes marks in from a list, or writes them to one, where that is asked for; before that, what
/// cannot be done whole is refused.
pub(in crate::cli) fn marks(
    asked: &args::Listen,
    practice: &Practice,
    env: &Env,
) -> Result<Then, Failure> {
    early::check(asked)?;
    if let Some(list) = &asked.marks_out {
        kept::write_out(list, asked, practice, env)?;
        return Ok(Then::Nothing);
    }
    if let Some((list, by)) = asked.marks.as_ref().zip(asked.by.as_ref()) {
        kept::take_in(list, by, asked, practice, env)?;
    }
    Ok(Then::Hear)
}

/// What is to be done after marks were taken in or written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(in crate::cli) enum Then {
    /// The files are heard.
    Hear,
    /// That was all.
    Nothing,
}

/// The recording that is asked for on the screen: one, no form of text, and a terminal to draw on.
pub(in crate::cli) fn to_look_at(asked: &args::Listen) -> Result<Option<Source>, Failure> {
    let is_told = asked.json || asked.csv || asked.text || asked.svg.is_some() || asked.forced;
    let [path] = asked.files.as_slice() else {
        return Ok(None);
    };
    if is_told || !io::stdout().is_terminal() || !io::stdin().is_terminal() {
        return Ok(None);
    }
    let notes = read::midi(path)?;
    if notes.is_none() {
        refuse_for_notes(path, asked)?;
    }
    let played = notes.map(|bytes| Played::of(&bytes, asked.pulse_note(), asked.first_cycle()));
    // What cannot be played is told in text.
    let Ok(played) = played.transpose() else {
        return Ok(None);
    };
    if played.is_none() {
        read::check(path)?;
    }
    let begins = played.as_ref().map_or(0.0, Played::begins);
    let given = given_on_screen(path, asked, begins)?;
    let own = played.as_ref().map(Played::pulses);
    let pulses = match (given, own) {
        (None, Some(None)) => return Ok(None),
        (None, Some(Some(own))) if asked.start.is_some() || asked.pulse_note.is_some() => {
            Some(Given::Times(own))
        }
        // Where nothing lies on its grid, its pulses are found as those of a recording.
        (None, Some(Some(_))) if !played.as_ref().is_some_and(Played::is_on_grid) => None,
        (None, Some(Some(own))) => Some(Given::Grid(own)),
        (given, _) => given,
    };
    let (file, whole) = (path.clone(), path.clone());
    Ok(Some(Source {
        name: printable(&path.file_name().unwrap_or_default().to_string_lossy()),
        cycle: asked.cycle.unwrap_or(Cycle::SIX),
        cycle_from: match asked.cycle {
            Some(_) => CycleFrom::Asked,
            None => CycleFrom::Usual,
        },
        pulses,
        notes: played,
        place: fs::canonicalize(path).ok(),
        beside: asked.by.clone(),
        bytes: Arc::new(move || Ok(Box::new(File::open(&whole)?))),
        open: opener(file),
    }))
}

/// The pulses that are given for a file that is looked at, of which the sound begins there.
fn given_on_screen(
    path: &Path,
    asked: &args::Listen,
    begins: f64,
) -> Result<Option<Given>, Failure> {
    let steady = asked.tempo.zip(asked.start);
    if asked.pulses.is_none() && steady.is_none() {
        return Ok(None);
    }
    let listed = asked.pulses.as_deref().map(given::list).transpose()?;
    let end = read::end(path, asked)?;
    let pulses = given::pulses(path, end, asked, listed.as_ref())?;
    Ok(match steady {
        Some((tempo, start)) => Some(Given::Steady(tempo, start - begins)),
        None => pulses.map(|pulses| Given::Times(pulses.moved(-begins))),
    })
}

/// Hears every file and tells of each; one that cannot be read is named and the others go on.
pub(in crate::cli) fn run(
    asked: &args::Listen,
    practice: &Practice,
    env: &Env,
) -> Result<ExitCode, Failure> {
    keep_quiet_of_decoders();
    let given = asked.pulses.as_deref().map(given::list).transpose()?;
    let counting = counting_of(practice, env).unwrap_or_default();
    let mut code = 0;
    let mut heard = Vec::new();
    if asked.csv {
        print(csv::HEAD)?;
    }
    for path in &asked.files {
        let known = kept::known(path, practice, env);
        match listen(path, asked, given.as_ref(), (known, counting)) {
            Ok(listened) => {
                tell(&listened, asked)?;
                if asked.svg.is_some() {
                    heard.push(listened);
                }
            }
            Err(failure) => {
                failure.tell();
                code = code.max(failure.kind.code());
            }
        }
    }
    if let Some(path) = asked.svg.as_ref().filter(|_| !heard.is_empty()) {
        let picture = svg::strips(&heard);
        write_whole(path, picture.as_bytes())?;
    }
    Ok(ExitCode::from(code))
}

/// A decoder that breaks down on a damaged file is told in words; its own report would only frighten.
fn keep_quiet_of_decoders() {
    let report = panic::take_hook();
    panic::set_hook(Box::new(move |info| {
        if !decode::is_guarded() {
            report(info);
        }
    }));
}

fn tell(listened: &Listened, asked: &args::Listen) -> Result<(), Failure> {
    if asked.json {
        print(&format!("{}\n", json::object(listened)))
    } else if asked.csv {
        print(&csv::rows(listened))
    } else if asked.svg.is_some() && !asked.text {
        Ok(())
    } else {
        print(&text::lines(listened))
    }
}

fn listen(
    path: &Path,
    asked: &args::Listen,
    given: Option<&Pulses>,
    (known, counting): (Known, Counting),
) -> Result<Listened, Failure> {
    let answers = if asked.forced {
        Answers::Forced
    } else {
        Answers::Open
    };
    // What was set gives way where it is asked to count in another way.
    let is_counted_anew = asked.start.is_some() || asked.pulse_note.is_some();
    let kept = known.pulses.filter(|_| !is_counted_anew);
    let cycle = match (asked.cycle, known.cycle) {
        (None, Some(kept)) if !is_counted_anew => kept,
        _ => asked.cycle(),
    };
    let heard = read::file(path, asked)?;
    let end = heard.end();
    warn_behind(path, asked, &known.marks, end.seconds());
    let listened = |pulses, found: Found, is_silent| {
        let analysis = found.analysis;
        Ok(Listened {
            name: printable(&path.display().to_string()),
            seconds: end.seconds(),
            pulses,
            others: found.tempi,
            in_time: found.in_time,
            shown: shown(path, &analysis, asked)?,
            analysis,
            is_silent,
            marks: known.marks,
            sections: known.sections,
            counting,
        })
    };
    match heard {
        read::Heard::Notes(notes, begins) => {
            // What was set lies where the piece sounds.
            let kept = kept.map(|pulses| pulses.moved(begins));
            let (origin, cycle, notes) = match (given::pulses(path, end, asked, given)?, kept) {
                (Some(given), _) => (Origin::Given, asked.cycle(), notes.counted_at(&given)),
                (None, Some(kept)) => (Origin::Kept, cycle, notes.counted_at(&kept)),
                (None, None) if notes.are_on_grid() => (Origin::File, cycle, notes),
                (None, None) => {
                    let how = (cycle, answers);
                    let found = found::in_notes(path, (&notes, begins), how)?;
                    return listened(Origin::Found, found, false);
                }
            };
            if origin == Origin::File
                && asked.pulse_note.is_none()
                && notes.leave_out_every_second()
            {
                warn(&format!(
                    "{}: no note begins on every second pulse, so that it can lean to nothing but twos; \
                     --pulse-note 1/4 takes quarter notes for pulses",
                    path.display()
                ));
            }
            let analysis = Analysis::of_notes(&notes, cycle, answers);
            listened(origin, Found::given(analysis), false)
        }
        read::Heard::Sound(sound) => {
            refuse_for_notes(path, asked)?;
            let given = given::pulses(path, end, asked, given)?;
            let at = |pulses: &Pulses, cycle| Analysis::of_sound(&sound, pulses, cycle, answers);
            let (origin, found) = match (given, kept) {
                (Some(given), _) => (Origin::Given, Found::given(at(&given, asked.cycle()))),
                (None, Some(kept)) => (Origin::Kept, Found::given(at(&kept, cycle))),
                (None, None) => {
                    let found = found::in_sound(&sound, cycle, |found| at(found, cycle));
                    (Origin::Found, found)
                }
            };
            let is_silent = sound.level(0.0, sound.seconds()).is_none();
            listened(origin, found, is_silent)
        }
    }
}

/// Says where marks that were taken in lie behind the end of the file: they may be of another.
fn warn_behind(path: &Path, asked: &args::Listen, marks: &Kept, end: f64) {
    let Some(name) = asked.by.as_ref().filter(|_| asked.marks.is_some()) else {
        return;
    };
    let theirs = marks.get(&By::Other(name.clone()));
    if let Some(behind) = theirs.and_then(|marks| behind_the_end(marks, name.as_str(), end)) {
        warn(&format!("{}: {behind}", path.display()));
    }
}

/// The cycle of which accents are shown: the one that is asked for, or the clearest.
fn shown(path: &Path, analysis: &Analysis, asked: &args::Listen) -> Result<Option<usize>, Failure> {
    let n = analysis.cycles.len();
    match asked.cycle_shown {
        None => Ok(analysis.clearest()),
        Some(number) if (1..=n).contains(&number) => Ok(Some(number - 1)),
        Some(number) => {
            let there = counted(n, "cycle", "cycles");
            let what = format!(
                "{}: found --cycle-shown {number}; expected one of its {there}",
                path.display()
            );
            Err(Failure::new(Kind::Usage, what, "cycles are counted from 1"))
        }
    }
}

/// Only a file that has a grid can begin to count on it, and only one of notes has a note as its pulse.
fn refuse_for_notes(path: &Path, asked: &args::Listen) -> Result<(), Failure> {
    if asked.pulse_note.is_some() {
        let name = path.display();
        let what = format!("{name}: found --pulse-note; a recording has no notes to count by");
        let hint = "leave it out: --pulse-note is for MIDI files";
        return Err(Failure::new(Kind::Usage, what, hint));
    }
    if asked.start.is_none() || asked.tempo.is_some() {
        return Ok(());
    }
    let name = path.display();
    let what = format!("{name}: found --start without --tempo; a recording needs both, or neither");
    let hint = "give the tempo by --tempo PPM; --start alone is for MIDI files";
    Err(Failure::new(Kind::Usage, what, hint))
}
