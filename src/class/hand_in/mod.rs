//! The hand-in: the file in which a learner's attempts travel.
//!
//! Read [`Header`] first, then [`Writer`] and [`Reading`]. A hand-in is gzip with JSON Lines in it, so
//! that `zcat` shows it: a header, then one array a line for each attempt, then one object for each
//! dispute. DEVELOPERS.md describes it line by line.
//!
//! # What is checked, and when
//!
//! The file ends with a seal: an empty second gzip member whose comment is the SHA-256 of every byte
//! before it. It is compared before anything is unpacked, so that a file that was cut or altered
//! anywhere is known as such at once. It finds accidents, not forgers: there is no secret in it.
//! Hand-ins come from strangers, so that all sizes ([`limit`]) are checked before memory is taken,
//! every text is a [`Label`] or made of words we know, and attempts of the future are refused.
//! A reader that stops half-way has shown nothing whole: whoever stores what it yields keeps it only
//! when the last item has come without a [`Refusal`].
//!
//! # Merging
//!
//! Attempts carry their names ([`AttemptId`]), so that merging is set union:
//! any order, any number of times. One name for two different attempts is refused where it is found,
//! in the store.
//!
//! # Not here
//!
//! The text of a phrase does not travel: seed, skill and version of the generator name it, and it
//! would be a third of the file. What was only listened to does not either: it is no attempt, and
//! nothing is reckoned from it. Moments are milliseconds as everywhere; nothing here reads a clock.

mod header;
mod line;
mod read;
mod refusal;
mod seal;
mod write;

use std::fmt;

use crate::label::Label;
use crate::quiz::{Attempt, AttemptId};
use crate::world::Moment;

pub use header::{Header, Machine};
pub use read::Reading;
pub use refusal::Refusal;
pub use write::{WriteError, Writer};

/// Who a learner is, whatever they are called and on however many machines they practise.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct LearnerId(pub u64);

impl LearnerId {
    /// The learner that [`fmt::Display`] wrote: 16 lower-case hexadecimal digits.
    pub fn from_text(text: &str) -> Option<Self> {
        hex16(text).map(Self)
    }
}

impl fmt::Display for LearnerId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:016x}", self.0)
    }
}

/// What a hand-in holds after its header.
#[derive(Clone, Debug, PartialEq)]
#[expect(
    clippy::large_enum_variant,
    reason = "nearly every item is an attempt, and a box for each would cost more than it saves"
)]
pub enum Item {
    /// An answered question; its phrase is empty.
    Attempt(Attempt),
    /// A doubt about the phrase of an attempt.
    Dispute(Doubt),
}

/// A doubt about the phrase of an attempt, which may have come with another hand-in.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Doubt {
    /// The attempt at which it was heard.
    pub attempt: AttemptId,
    /// When it was doubted.
    pub at: Moment,
    /// Why, in the learner's words.
    pub note: Option<Label>,
}

/// What a hand-in may hold at most. Ten years of daily practice are a quarter of it.
pub mod limit {
    /// Bytes of the file.
    pub const FILE: u64 = 48 << 20;
    /// Bytes of the text in it.
    pub const TEXT: u64 = 512 << 20;
    /// Bytes of one line.
    pub const LINE: usize = 64 << 10;
    /// Attempts.
    pub const ATTEMPTS: u64 = 1_000_000;
    /// Disputes.
    pub const DISPUTES: u64 = 10_000;
    /// Taps of one attempt.
    pub const TAPS: usize = 2_000;
    /// Machines on which a learner practises, and other numbers under which they may be known.
    pub const MACHINES: usize = 64;
    /// Decks that were practised.
    pub const DECKS: usize = 500;
    /// Characters of a skill's name.
    pub const SKILL: usize = 96;
    /// By how many milliseconds an attempt may lie after the reader's clock: a day.
    pub const AHEAD_MS: i64 = 86_400_000;
}

/// A file name for a hand-in of `name` made on the day written `date`: letters, digits and hyphens
/// alone, whatever the name is made of.
pub fn file_name(name: &Label, date: &str) -> String {
    format!("hand-in-{}-{date}.jsonl.gz", plain_name(name))
}

/// A name in letters, digits and hyphens alone, fit for a file: at most 40 of them and one at least.
pub fn plain_name(name: &Label) -> String {
    let plain = |c: char| {
        if c.is_ascii_alphanumeric() {
            c.to_ascii_lowercase()
        } else {
            '-'
        }
    };
    let words: String = name.as_str().chars().map(plain).collect();
    let parts: Vec<&str> = words.split('-').filter(|part| !part.is_empty()).collect();
    let mut who: String = parts.join("-").chars().take(40).collect();
    if who.is_empty() {
        who.push_str("learner");
    }
    who
}

fn hex16(text: &str) -> Option<u64> {
    let is_hex = |b: u8| b.is_ascii_digit() || (b'a'..=b'f').contains(&b);
    let whole = text.len() == 16 && text.bytes().all(is_hex);
    whole.then(|| u64::from_str_radix(text, 16).ok()).flatten()
}

#[cfg(test)]
mod tests;
