//! A whole text as TOML, and its breaks in our words.

use toml::Spanned;
use toml::de::{DeTable, Error};

use crate::deck::fault::{self, Faults, quoted};

use super::{Key, Table};

/// What a text holds as TOML; what is broken is left out.
pub(in crate::deck) struct Document<'a> {
    text: &'a str,
    table: Spanned<DeTable<'a>>,
}

impl<'a> Document<'a> {
    pub(in crate::deck) fn read(text: &'a str, faults: &mut Faults) -> Self {
        let (table, errors) = DeTable::parse_recoverable(text);
        // One more than are told, so that it shows that there are more.
        let mut errors: Vec<&Error> = errors.iter().take(fault::MOST + 1).collect();
        errors.sort_by_key(|error| start(error));
        let mut open_list: Option<usize> = None;
        for error in errors {
            let between = open_list.and_then(|since| text.get(since..start(error)));
            if between.is_some_and(|between| !closes_a_list(between)) {
                continue;
            }
            open_list = is_of_a_list(error).then(|| start(error));
            add_error(text, error, faults);
        }
        Self { text, table }
    }

    /// The whole as a table. Its own keys stand before the tables under these.
    pub(in crate::deck) fn table(
        &'a self,
        keys: &'static [Key],
        below: &[&str],
        faults: &mut Faults,
    ) -> Table<'a> {
        let entries = self.table.get_ref();
        let starts = below.iter().filter_map(|name| entries.get(*name));
        let first = starts.map(|value| value.span().start).min();
        let extent = 0..first.unwrap_or(self.text.len());
        Table::open(entries, self.text, extent, keys, faults)
    }
}

fn start(error: &Error) -> usize {
    error.span().unwrap_or_default().start
}

fn is_of_a_list(error: &Error) -> bool {
    let message = error.message();
    message.contains("array") && !message.contains("array table")
}

/// Whether a list that is open before `text` ends in it. A list that nobody closed takes in all
/// that follows, and every error in that follows from the first.
fn closes_a_list(text: &str) -> bool {
    let mut n_open = 0;
    text.chars().any(|sign| {
        n_open += match sign {
            '[' => 1,
            ']' => -1,
            _ => 0,
        };
        n_open < 0
    })
}

fn add_error(text: &str, error: &Error, faults: &mut Faults) {
    let span = error.span().unwrap_or_default();
    let at = span.start;
    let there = text.get(span).unwrap_or_default().trim();
    let found = match there {
        "" => "the end of a line or value".to_owned(),
        _ => quoted(there),
    };
    let message = error.message();
    // Words without quotes, of which some begin like a number or a truth value.
    let bare = [
        "string values must be quoted",
        "invalid float",
        "invalid boolean",
    ];
    if bare.iter().any(|start| message.starts_with(start)) {
        let hint = there.contains(' ').then_some(SEPARATION);
        faults.add_toml(at, &found, meant(there), hint);
    } else if message == "duplicate key" {
        // A second table of one name, where a list of them was meant.
        let is_table = text.get(..at).is_some_and(|before| before.ends_with('['));
        let hint = is_table.then(|| format!("write [[{there}]], with two brackets, above each"));
        faults.add_toml(at, &found, "each key once", hint.as_deref());
    } else if let Some((hint, expected)) = message.split_once(", expected ") {
        faults.add_toml(at, &found, expected, Some(hint));
    } else {
        faults.add_toml(at, &found, "sound TOML", Some(message));
    }
}

const SEPARATION: &str = "in a list a comma stands between items";

/// What may have been meant by a word without quotes.
fn meant(word: &str) -> &'static str {
    if word.starts_with(char::is_alphabetic) {
        "a text in quotes"
    } else {
        "a number or a text in quotes"
    }
}
