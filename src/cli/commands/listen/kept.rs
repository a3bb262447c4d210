//! What is kept of a file: its pulses, and what persons say of it, which goes in and out as lists. A
//! file is known by its content alone.

use std::collections::BTreeMap;
use std::fs::{self, File};
use std::path::{Path, PathBuf};

use super::read;
use crate::cli::args::{Listen, Practice};
use crate::cli::commands::practise::clock_of;
use crate::cli::commands::write::{counted, print_of, warn, write_new};
use crate::cli::failure::{Failure, Kind};
use crate::cli::{data_dir, identity_seed};
use crate::label::{ContentHash, Label, printable};
use crate::listen::{Pulses, clock};
use crate::mark::{By, Marked, Marks, Sections, list_of, read_list};
use crate::rhythm::Cycle;
use crate::store::Store;
use crate::world::{Env, Moment, Seed};

/// What each person says of a file.
pub(super) type Kept = BTreeMap<By, Marks>;

/// What is kept of a file.
#[derive(Debug, Default)]
pub(super) struct Known {
    /// What each person says of it.
    pub(super) marks: Kept,
    /// Of how many pulses the learner has a cycle.
    pub(super) cycle: Option<Cycle>,
    /// Its pulses as the learner set them for that cycle.
    pub(super) pulses: Option<Pulses>,
    /// Where the learner lets sections begin.
    pub(super) sections: Sections,
}

/// What is kept of a file; nothing where there is no store, or it cannot be looked at now.
pub(super) fn known(path: &Path, practice: &Practice, env: &Env) -> Known {
    // A pipe can be read only once, and is not kept.
    if !path.is_file() {
        return Known::default();
    }
    look(path, practice, env).unwrap_or_else(|failure| {
        warn(&format!("what is kept of it is left out: {failure}"));
        Known::default()
    })
}

/// Writes what the learner, or the person who was named, says of a file to a new list.
pub(super) fn write_out(
    list: &Path,
    asked: &Listen,
    practice: &Practice,
    env: &Env,
) -> Result<(), Failure> {
    let path = one_file(asked)?;
    let kept = look(path, practice, env)?.marks;
    let by = asked.by.clone().map_or(By::Own, By::Other);
    let found = kept
        .get_key_value(&by)
        .filter(|(_, marks)| !marks.all().is_empty());
    let Some((by, marks)) = found else {
        return Err(none_of(path, &whose(&by), &kept));
    };
    let whose = whose(by);
    write_new(list, list_of(marks).as_bytes())?;
    let name = printable(&list.display().to_string());
    let n = counted(marks.all().len(), "mark", "marks");
    print_of(list, &format!("{name}: {n} of {whose}\n"))
}

fn whose(by: &By) -> String {
    match by {
        By::Own => "yours".to_owned(),
        By::Other(name) => name.to_string(),
    }
}

/// Keeps what another person says of a file, as a list has it; one that says nothing takes all back that
/// they said.
pub(super) fn take_in(
    list: &Path,
    by: &Label,
    asked: &Listen,
    practice: &Practice,
    env: &Env,
) -> Result<(), Failure> {
    let path = one_file(asked)?;
    let said = read_said(list)?;
    let end = read::end(path, asked)?.seconds();
    refuse_all_behind(&said, list, path, end)?;
    let content = content_of(path)?;
    let clock = clock_of(env)?;
    let dir = data_dir(practice, env)?;
    let mut store = Store::open(&dir, identity_seed()?, clock.now())?;
    let by = By::Other(by.clone());
    let before = store.marks(content)?.remove_entry(&by);
    if said.is_empty() {
        return match before {
            Some((by, marks)) => {
                store.unsay_all(content, &by, clock.now())?;
                warn(&taken_back(path, &by, &marks));
                Ok(())
            }
            None => {
                let (name, by) = (path.display(), whose(&by));
                warn(&format!("{name}: there are no marks of {by} to take back"));
                Ok(())
            }
        };
    }
    let before = before.map(|(_, marks)| marks).unwrap_or_default();
    let mut after = before.clone();
    said.iter().for_each(|marked| after.put(*marked));
    // The same list once more says nothing new.
    if after != before {
        let (name, place) = named(path);
        store.meet_recording(content, &name, place.as_deref(), clock.now())?;
        store.mark(content, &by, &said, clock.now())?;
    }
    Ok(())
}

fn taken_back(path: &Path, by: &By, marks: &Marks) -> String {
    let (name, whose) = (path.display(), whose(by));
    match marks.all().len() {
        1 => format!("{name}: the mark of {whose} is taken back"),
        n => format!("{name}: the {n} marks of {whose} are taken back"),
    }
}

/// Marks of which none lies in a file are of another, and would stand beside it for nothing.
fn refuse_all_behind(said: &[Marked], list: &Path, path: &Path, end: f64) -> Result<(), Failure> {
    let lies_behind = |marked: &Marked| marked.stretch.from() >= end;
    if said.is_empty() || !said.iter().all(lies_behind) {
        return Ok(());
    }
    let what = format!(
        "{}: found no mark within {}, which ends at {}; expected marks of that file",
        list.display(),
        path.display(),
        clock(end)
    );
    let hint = "see whether they are of this file, and their times in seconds; nothing was kept";
    Err(Failure::new(Kind::Data, what, hint))
}

/// What is kept of a file, in a store that is there already.
fn look(path: &Path, practice: &Practice, env: &Env) -> Result<Known, Failure> {
    // Looking at something makes no store, nor asks for a place for one.
    let Ok(data) = data_dir(practice, env) else {
        return Ok(Known::default());
    };
    if !data.join("practice.db").is_file() {
        return Ok(Known::default());
    }
    let content = content_of(path)?;
    let mut store = Store::open(&data, Seed(0), Moment(0))?;
    let (pulses, sections) = match store.recording(content)? {
        Some(known) => {
            meet_again(
                &mut store,
                path,
                (content, known.place),
                clock_of(env)?.now(),
            );
            (Some(known.pulses), known.sections)
        }
        None => (None, Sections::default()),
    };
    Ok(Known {
        marks: store.marks(content)?,
        sections,
        cycle: pulses.as_ref().map(|kept| kept.cycle),
        pulses: pulses.and_then(|kept| Pulses::new(kept.times).ok()),
    })
}

/// Keeps where a file lies that is known and is not where it was, so that passages of it are found. One
/// that is not known stays so: it was only looked at.
fn meet_again(
    store: &mut Store,
    path: &Path,
    (content, before): (ContentHash, Option<PathBuf>),
    now: Moment,
) {
    if before.is_some_and(|before| before.is_file()) {
        return;
    }
    let (name, place) = named(path);
    // What is kept of it can be told all the same where this cannot be written.
    drop(store.meet_recording(content, &name, place.as_deref(), now));
}

/// The name of a file, safe to show, and where it lies.
fn named(path: &Path) -> (String, Option<PathBuf>) {
    let name = path.file_name().unwrap_or_default().to_string_lossy();
    (printable(&name), fs::canonicalize(path).ok())
}

fn none_of(path: &Path, whose: &str, kept: &Kept) -> Failure {
    let what = format!(
        "{}: found no marks of {whose}; expected some that are kept",
        path.display()
    );
    let others: Vec<&str> = kept.keys().filter_map(name_of).collect();
    let hint = if others.is_empty() {
        "say on the screen what you hear: `contrapalma listen FILE`".to_owned()
    } else {
        format!("by --by there are those of {}", others.join(", "))
    };
    Failure::new(Kind::No, what, hint)
}

/// The name of another person; the learner has none here.
pub(super) fn name_of(by: &By) -> Option<&str> {
    match by {
        By::Own => None,
        By::Other(name) => Some(name.as_str()),
    }
}

/// The name of a person in a sentence of which they are the subject.
pub(super) fn who(by: &By) -> &str {
    name_of(by).unwrap_or("you")
}

fn read_said(list: &Path) -> Result<Vec<Marked>, Failure> {
    let bytes = read::list(list)?;
    let text = String::from_utf8(bytes).map_err(|error| {
        let good = error.utf8_error().valid_up_to();
        let ends = error.as_bytes().iter().take(good);
        let line = 1 + ends.filter(|byte| **byte == b'\n').count();
        let what = format!(
            "{}: line {line}: found a byte that is no UTF-8; expected UTF-8 text",
            list.display()
        );
        Failure::new(Kind::Data, what, "save the list as UTF-8 text")
    })?;
    read_list(&text).map_err(|faults| Failure::marks(list, &faults))
}

/// Marks are of one file, which can be read more than once.
fn one_file(asked: &Listen) -> Result<&PathBuf, Failure> {
    let wrong = |what: String| {
        let hint = "name the one file that the marks are of";
        Failure::new(Kind::Usage, what, hint)
    };
    let [path] = asked.files.as_slice() else {
        let n = asked.files.len();
        return Err(wrong(format!(
            "found {n} files; expected one with --marks or --marks-out"
        )));
    };
    match fs::metadata(path) {
        Err(error) => Err(read::unreadable(path, &error)),
        Ok(known) if !known.is_file() => {
            let name = path.display();
            Err(wrong(format!("{name}: found no file; expected one")))
        }
        Ok(_) => Ok(path),
    }
}

fn content_of(path: &Path) -> Result<ContentHash, Failure> {
    let content = File::open(path).and_then(ContentHash::of);
    content.map_err(|error| read::unreadable(path, &error))
}
