//! `contrapalma decks check`: every fault of decks, or what they hold.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use crate::cli::commands::shelf::{Shelf, file_of, read_text};
use crate::cli::commands::write::{counted, print};
use crate::cli::failure::{Failure, Kind};
use crate::deck::{self, Deck};
use crate::label::printable;
use crate::quiz;

/// Checks every file, or the installed deck of an id; one with faults is told and the others go on.
pub(super) fn run(files: &[PathBuf], shelf: Option<&Shelf>) -> Result<ExitCode, Failure> {
    let mut code = 0;
    for path in files {
        let checked = file_of(path, shelf).and_then(|path| {
            let deck = check(&path, shelf)?;
            Ok(holds(&path, &deck))
        });
        match checked {
            Ok(holds) => print(&format!("{holds}\n"))?,
            Err(failure) => {
                failure.tell();
                code = code.max(failure.kind.code());
            }
        }
    }
    Ok(ExitCode::from(code))
}

/// Reads a deck, which tries each of its exercises at both ends of its levels.
fn check(path: &Path, shelf: Option<&Shelf>) -> Result<Deck, Failure> {
    // Whoever checks a file asks about its data, whatever keeps it from being read.
    let text = read_text(path).map_err(|failure| failure.told_as(Kind::Data))?;
    let deck = deck::parse(&text).map_err(|faults| Failure::deck_to_mend(path, &faults))?;
    // A deck of the program itself may be looked at, too.
    if deck::built_in_text(deck.id()) == Some(text.as_str()) || is_kept(path, deck.id(), shelf) {
        return Ok(deck);
    }
    match id_of_another(deck.id()) {
        None => Ok(deck),
        Some(whose) => {
            let (line, column) = place_of_id(&text);
            let what = format!(
                "{}: line {line}, column {column}: found the id \"{}\", {whose}; expected another",
                path.display(),
                deck.id()
            );
            let hint = "change the id on top of the deck; it could not be installed";
            Err(Failure::new(Kind::No, what, hint))
        }
    }
}

/// Whether a file is the one that is kept under its id, as what was cut from recordings is, which its
/// learner may change.
fn is_kept(path: &Path, id: &str, shelf: Option<&Shelf>) -> bool {
    let kept = shelf.and_then(|shelf| fs::canonicalize(shelf.path(id)).ok());
    kept.is_some_and(|kept| fs::canonicalize(path).is_ok_and(|path| path == kept))
}

/// Whose an id is that no deck of anybody may have.
fn id_of_another(id: &str) -> Option<&'static str> {
    if deck::built_in_ids().any(|known| known == id) {
        return Some("which a deck of the program has");
    }
    (id == deck::OWN_RECORDINGS).then_some("under which your own recordings are kept")
}

/// Where the id of a deck stands: its line and column, from 1.
fn place_of_id(text: &str) -> (usize, usize) {
    let names_it = |line: &str| {
        let rest = line.trim_start().strip_prefix("id");
        rest.is_some_and(|rest| rest.trim_start().starts_with('='))
    };
    let found = text.lines().enumerate().find(|(_, line)| names_it(line));
    found.map_or((1, 1), |(idx, line)| {
        let before = line.split('=').next().map_or(0, |key| key.chars().count());
        let after = line.split_once('=').map_or("", |(_, value)| value);
        let blanks = after.chars().take_while(|c| c.is_whitespace()).count();
        (idx + 1, before + blanks + 2)
    })
}

/// What a deck holds, in a few lines.
fn holds(path: &Path, deck: &Deck) -> String {
    let name = printable(&path.display().to_string());
    let own = format!("{}/", deck.id());
    let (own, taken): (Vec<_>, Vec<_>) = deck
        .exercises()
        .iter()
        .partition(|exercise| exercise.skill.0.starts_with(&own));
    let asks = |kind: &quiz::Kind| {
        let n = deck.exercises().iter().filter(|e| e.form.kind() == *kind);
        (n.count(), kind.id())
    };
    let kinds = quiz::Kind::ALL.iter().map(asks).filter(|(n, _)| *n > 0);
    let kinds: Vec<String> = kinds.map(|(n, id)| format!("{n} {id}")).collect();
    let taken = match taken.len() {
        0 => String::new(),
        n => format!(" and {n} taken from the program"),
    };
    format!(
        "{name}: no faults\n  {}, {}: {}{taken}, {} in all\n  {}\n  each made questions at its \
         easiest and at its hardest level",
        deck.id(),
        deck.title(),
        counted(own.len(), "exercise of its own", "exercises of its own"),
        counted(deck.exercises().len(), "skill", "skills"),
        kinds.join(", ")
    )
}
