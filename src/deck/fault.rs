//! What is wrong with a deck, and where.
//!
//! [`Faults`] gathers them at byte offsets while the text is read; lines and columns are counted
//! once, at the end, in one pass over the text.

use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range;

use crate::label::{by_likeness, harmless};

/// One thing that is wrong with a deck. Its texts are safe to show.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("line {line}, column {column}: found {found}; expected {expected}")]
pub struct Fault {
    /// The line, from 1.
    pub line: usize,
    /// The column in characters, from 1.
    pub column: usize,
    /// What stands there.
    pub found: String,
    /// What may stand there.
    pub expected: String,
    /// What may help.
    pub hint: Option<String>,
}

/// The most faults that are told at once.
pub(super) const MOST: usize = 500;

/// Faults at byte offsets.
#[derive(Debug, Default)]
pub(super) struct Faults {
    noted: Vec<Noted>,
    /// Whether there were more than are kept.
    is_cut: bool,
}

#[derive(Debug)]
struct Noted {
    at: usize,
    rule: Rule,
    found: String,
    expected: String,
    hint: Option<String>,
}

/// Whose rule is broken.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Rule {
    Toml,
    Deck,
}

impl Faults {
    pub(super) fn is_empty(&self) -> bool {
        self.noted.is_empty()
    }

    /// Notes that the text is not TOML at this place.
    pub(super) fn add_toml(&mut self, at: usize, found: &str, expected: &str, hint: Option<&str>) {
        self.note(Rule::Toml, at, found, expected, hint);
    }

    /// Notes that the rules of decks are broken at this place.
    pub(super) fn add(&mut self, at: usize, found: &str, expected: &str) {
        self.note(Rule::Deck, at, found, expected, None);
    }

    /// The same, with what may help where something may.
    pub(super) fn add_hinted(
        &mut self,
        at: usize,
        found: &str,
        expected: &str,
        hint: Option<&str>,
    ) {
        self.note(Rule::Deck, at, found, expected, hint);
    }

    fn note(&mut self, rule: Rule, at: usize, found: &str, expected: &str, hint: Option<&str>) {
        if self.noted.len() == MOST {
            self.is_cut = true;
            return;
        }
        self.noted.push(Noted {
            at,
            rule,
            found: readable(found),
            expected: readable(expected),
            hint: hint.map(readable),
        });
    }

    /// Whether the text within these bytes is broken as TOML.
    pub(super) fn is_broken(&self, extent: &Range<usize>) -> bool {
        let inside = |noted: &Noted| (extent.start..=extent.end).contains(&noted.at);
        self.noted
            .iter()
            .any(|noted| noted.rule == Rule::Toml && inside(noted))
    }

    /// The faults in the order of the text.
    pub(super) fn placed_in(mut self, text: &str) -> Vec<Fault> {
        self.noted.sort_by_key(|noted| noted.at);
        let mut place = Place::START;
        let mut lines: BTreeMap<usize, Vec<(Noted, usize)>> = BTreeMap::new();
        for noted in self.noted {
            place.advance(text, noted.at);
            let line = lines.entry(place.line).or_default();
            line.push((noted, place.column));
        }
        let mut faults = Vec::new();
        for (line, noted) in lines {
            let told = of_one_line(noted).into_iter();
            faults.extend(told.map(|(noted, column)| noted.placed(line, column)));
        }
        if self.is_cut {
            faults.push(Fault {
                line: place.line,
                column: place.column,
                found: format!("more than {MOST} faults"),
                expected: "fewer".to_owned(),
                hint: Some("mend those above first".to_owned()),
            });
        }
        faults
    }
}

impl Noted {
    fn placed(self, line: usize, column: usize) -> Fault {
        Fault {
            line,
            column,
            found: self.found,
            expected: self.expected,
            hint: self.hint,
        }
    }
}

/// What is told of the faults of one line. Where TOML and the deck's rules are broken at the same
/// place, as by a bare word, the deck's rules say better what is expected. Any other break of TOML
/// is told alone and once: what else seems wrong with the line follows from it.
fn of_one_line(noted: Vec<(Noted, usize)>) -> Vec<(Noted, usize)> {
    let places = |rule: Rule| -> BTreeSet<usize> {
        let of_rule = noted.iter().filter(|(noted, _)| noted.rule == rule);
        of_rule.map(|(noted, _)| noted.at).collect()
    };
    let (toml, deck) = (places(Rule::Toml), places(Rule::Deck));
    let first_toml = toml.difference(&deck).next().copied();
    let mut is_toml_told = false;
    let mut is_told = |noted: &Noted| match noted.rule {
        Rule::Deck => first_toml.is_none() || toml.contains(&noted.at),
        Rule::Toml => Some(noted.at) == first_toml && !std::mem::replace(&mut is_toml_told, true),
    };
    noted
        .into_iter()
        .filter(|(noted, _)| is_told(noted))
        .collect()
}

/// A place in a text that is walked through once.
struct Place {
    at: usize,
    line: usize,
    column: usize,
}

impl Place {
    const START: Self = Self {
        at: 0,
        line: 1,
        column: 1,
    };

    fn advance(&mut self, text: &str, to: usize) {
        let to = text.floor_char_boundary(to).max(self.at);
        for sign in text.get(self.at..to).unwrap_or_default().chars() {
            if sign == '\n' {
                self.line += 1;
                self.column = 1;
            } else {
                self.column += 1;
            }
        }
        self.at = to;
    }
}

/// The longest text that is quoted whole, in characters.
/// Makes text safe to print. All that a key may be stands in it; what a file says was cut before.
fn readable(text: &str) -> String {
    const LONGEST: usize = 600;
    harmless(text).chars().take(LONGEST).collect()
}

const LONGEST_QUOTE: usize = 40;

/// A text as it is quoted in a fault.
pub(super) fn quoted(text: &str) -> String {
    match text.char_indices().nth(LONGEST_QUOTE) {
        Some((end, _)) => format!("\"{}…\"", text.get(..end).unwrap_or_default()),
        None => format!("\"{text}\""),
    }
}

/// A hint to the one of `known` that is spelt most like `word`.
pub(super) fn nearest<'a>(word: &str, known: impl IntoIterator<Item = &'a str>) -> Option<String> {
    let first = by_likeness(word, known).into_iter().next();
    first.map(|other| format!("nearest is {}", quoted(other)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check_place(text: &str, at: usize, expected: (usize, usize)) {
        let mut faults = Faults::default();
        faults.add(at, "a", "b");
        let placed = faults.placed_in(text);
        assert_eq!((placed[0].line, placed[0].column), expected);
    }

    #[test]
    fn columns_are_characters() {
        check_place("", 0, (1, 1));
        check_place("ab\ncd", 4, (2, 2));
        check_place("áé\nñx", 7, (2, 2));
        // Inside a character, and behind the end.
        check_place("áé", 1, (1, 1));
        check_place("a\n", 99, (2, 1));
    }

    #[test]
    fn faults_beyond_the_most_are_not_kept() {
        let mut faults = Faults::default();
        for _ in 0..MOST + 7 {
            faults.add(0, "a", "b");
        }
        let placed = faults.placed_in("x");
        assert_eq!(placed.len(), MOST + 1);
        assert_eq!(placed[MOST].found, "more than 500 faults");
    }
}
