//! Text that came from outside and may be shown.
//!
//! A [`Label`] is printable, on one line, and at most [`Label::LONGEST`] characters long, so that
//! nothing from a file can drive a terminal or a page. Every name and instruction of a deck is one.
//! A [`ContentHash`] names a file by its content; [`name_order`] says where a name stands in a list, and
//! [`by_likeness`] which words are spelt like one that is not known.

mod content_hash;
mod name_order;
mod spelling;

use std::fmt;

pub use content_hash::{ContentHash, ContentHashError};
pub use name_order::name_order;
pub use spelling::by_likeness;

/// Printable text of bounded length.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Label(Box<str>);

/// Why a text cannot be a label.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum LabelError {
    /// Nothing but white space.
    #[error("an empty text")]
    Empty,
    /// More than [`Label::LONGEST`] characters.
    #[error("{0} characters; at most {max} fit", max = Label::LONGEST)]
    TooLong(usize),
    /// A control character, a line break, or a mark that turns the direction of writing.
    #[error("the character U+{:04X}, which cannot be shown", u32::from(*.0))]
    Unprintable(char),
}

impl Label {
    /// The most characters that a label may have.
    pub const LONGEST: usize = 160;

    /// Checks `text` and trims white space at its ends.
    ///
    /// # Errors
    /// When it is empty, too long, or holds a character that cannot be shown.
    pub fn new(text: &str) -> Result<Self, LabelError> {
        let text = text.trim();
        if text.is_empty() {
            return Err(LabelError::Empty);
        }
        let length = text.chars().count();
        if length > Self::LONGEST {
            return Err(LabelError::TooLong(length));
        }
        match text.chars().find(|c| is_unprintable(*c)) {
            Some(c) => Err(LabelError::Unprintable(c)),
            None => Ok(Self(text.into())),
        }
    }

    /// The text.
    pub fn as_str(&self) -> &str {
        &self.0
    }

    /// The text in small letters: two names that fold to the same are one name.
    pub fn folded(&self) -> String {
        self.0.to_lowercase()
    }
}

impl fmt::Display for Label {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&self.0)
    }
}

/// Makes any text safe to print: what cannot be shown is replaced by `?`, and long text is cut.
pub fn printable(text: &str) -> String {
    harmless(text).chars().take(Label::LONGEST).collect()
}

/// Makes any line safe to print, whatever its length: what cannot be shown is replaced by `?`.
pub fn harmless(line: &str) -> String {
    let shown = |c| if is_unprintable(c) { '?' } else { c };
    line.chars().map(shown).collect()
}

fn is_unprintable(c: char) -> bool {
    // The ranges are Unicode's zero-width and bidirectional controls, which can make a line read
    // as something else than it is.
    c.is_control()
        || matches!(c, '\u{200b}'..='\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2060}'..='\u{206f}' | '\u{feff}')
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn escapes_and_line_breaks_are_refused() {
        assert_eq!(
            Label::new("a\u{1b}[2J"),
            Err(LabelError::Unprintable('\u{1b}'))
        );
        assert_eq!(Label::new("a\nb"), Err(LabelError::Unprintable('\n')));
        assert_eq!(
            Label::new("a\u{202e}b"),
            Err(LabelError::Unprintable('\u{202e}'))
        );
        assert_eq!(Label::new("  "), Err(LabelError::Empty));
        assert_eq!(Label::new(&"x".repeat(161)), Err(LabelError::TooLong(161)));
    }

    #[test]
    fn trade_words_pass() {
        assert_eq!(
            Label::new(" compás de seis ").map(|l| l.to_string()),
            Ok("compás de seis".into())
        );
    }

    #[test]
    fn printable_never_lets_a_control_through() {
        assert_eq!(printable("\u{1b}[31mred\n"), "?[31mred?");
    }
}
