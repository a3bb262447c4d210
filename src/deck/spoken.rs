//! Lines of a deck in which counts stand as pulses, so that each learner reads the counts that they say.

use crate::label::{Label, printable};
use crate::rhythm::{Counting, Cycle, Layer, NotationError};

/// A line of text with counts in it: `Clap {1-4-5}.` reads *Clap 1, 4 and 5.* to whoever counts from
/// one, and *Clap uno, cuatro y cinco.* to whoever counts in Spanish.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Spoken(Vec<Part>);

#[derive(Clone, Debug, PartialEq, Eq)]
enum Part {
    Words(Box<str>),
    Counts(Layer),
}

/// Why counts in a line cannot be read.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum SpokenError {
    /// A brace that opens and none that closes.
    #[error("a brace that is not closed")]
    Open,
    /// What stands between braces is no list of counts of the cycle.
    #[error("{0:?} between braces: {1}")]
    Counts(String, NotationError),
}

impl Spoken {
    /// Reads a line, its counts from 1 and joined by `-` between braces, whatever the convention.
    ///
    /// # Errors
    /// When a brace is not closed, or does not hold counts of this cycle.
    pub fn of(text: &Label, cycle: Cycle) -> Result<Self, SpokenError> {
        let mut parts = Vec::new();
        let mut rest = text.as_str();
        while let Some((words, behind)) = rest.split_once('{') {
            let (counts, after) = behind.split_once('}').ok_or(SpokenError::Open)?;
            let layer = Layer::from_counts(cycle, counts);
            let layer = layer.map_err(|error| SpokenError::Counts(counts.to_owned(), error))?;
            parts.extend([Part::Words(words.into()), Part::Counts(layer)]);
            rest = after;
        }
        parts.push(Part::Words(rest.into()));
        Ok(Self(parts))
    }

    /// A line in which no counts stand; `None` where there is a brace.
    pub fn without_counts(text: &Label) -> Option<Self> {
        let words = text.as_str();
        (!words.contains(['{', '}'])).then(|| Self(vec![Part::Words(words.into())]))
    }

    /// The line, its counts as they are spoken.
    pub fn in_words(&self, counting: Counting) -> Label {
        let words = self.0.iter().map(|part| match part {
            Part::Words(words) => words.to_string(),
            Part::Counts(layer) => counting.list(*layer),
        });
        Label::new(&printable(&words.collect::<String>())).expect("a label with counts in it")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str, cycle: Cycle) -> Result<Spoken, SpokenError> {
        Spoken::of(&Label::new(text).expect("a label"), cycle)
    }

    #[test]
    fn counts_are_read_as_they_are_spoken() {
        // The conventions of the trade, as in `Counting`.
        let line = read("Clap {1-4-8-9-11}: after {8} comes {9}.", Cycle::TWELVE).expect("a line");
        let spoken = |counting| line.in_words(counting).to_string();
        assert_eq!(
            spoken(Counting::FromLast),
            "Clap 12, 3, 7, 8 and 10: after 7 comes 8."
        );
        assert_eq!(
            spoken(Counting::FromOne),
            "Clap 1, 4, 8, 9 and 11: after 8 comes 9."
        );
        let plain = read("Nothing to count.", Cycle::SIX).expect("a line");
        assert_eq!(
            plain.in_words(Counting::Spanish).as_str(),
            "Nothing to count."
        );
    }

    #[test]
    fn what_is_no_list_of_counts_is_refused() {
        assert_eq!(read("Clap {1-4", Cycle::SIX), Err(SpokenError::Open));
        for text in ["{}", "{7}", "{0}", "{1-4-}", "{one}"] {
            assert!(read(text, Cycle::SIX).is_err(), "{text}");
        }
    }
}
