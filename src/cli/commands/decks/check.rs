//! `contrapalma decks check`: every fault of decks, or what they hold.

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use crate::cli::commands::shelf::read_text;
use crate::cli::commands::write::print;
use crate::cli::failure::{Failure, Kind};
use crate::deck::{self, Deck};
use crate::label::printable;
use crate::quiz;

/// Checks every file; one with faults is told and the others go on.
pub(super) fn run(files: &[PathBuf]) -> Result<ExitCode, Failure> {
    let mut code = 0;
    for path in files {
        match check(path) {
            Ok(deck) => print(&format!("{}\n", holds(path, &deck)))?,
            Err(failure) => {
                failure.tell();
                code = code.max(failure.kind.code());
            }
        }
    }
    Ok(ExitCode::from(code))
}

/// Reads a deck, which tries each of its exercises at both ends of its levels.
fn check(path: &Path) -> Result<Deck, Failure> {
    // Whoever checks a file asks about its data, whatever keeps it from being read.
    let text = read_text(path).map_err(|failure| failure.told_as(Kind::Data))?;
    deck::parse(&text).map_err(|faults| Failure::deck_to_mend(path, &faults))
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

/// A number with its noun.
pub(super) fn counted(n: usize, one: &str, more: &str) -> String {
    let noun = if n == 1 { one } else { more };
    format!("{n} {noun}")
}
