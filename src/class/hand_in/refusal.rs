//! Why a hand-in is refused.

use crate::quiz::AttemptId;

/// Why a file is no hand-in that can be taken. It is refused whole.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Refusal {
    /// Something else altogether.
    #[error("it does not begin as a hand-in; a gzip file that contrapalma wrote was expected")]
    Foreign,
    /// Larger than [`limit::FILE`](super::limit::FILE).
    #[error("it is larger than {} MiB, and no hand-in is", super::limit::FILE >> 20)]
    TooLarge,
    /// The seal that stands at the end of every hand-in is not there.
    #[error("it is not whole: its end is missing or something follows it")]
    Cut,
    /// The seal does not fit what stands before it.
    #[error("it was altered or damaged after it was made: its checksum does not fit")]
    Altered,
    /// It cannot be unpacked.
    #[error("it cannot be unpacked: {0}")]
    Packing(String),
    /// More text than [`limit::TEXT`](super::limit::TEXT).
    #[error("it unpacks to more than {} MiB", super::limit::TEXT >> 20)]
    TooMuchText,
    /// A line longer than [`limit::LINE`](super::limit::LINE).
    #[error("line {0} is longer than {max} bytes", max = super::limit::LINE)]
    LongLine(u64),
    /// A newer program wrote it.
    #[error("it is of format {found}; this contrapalma knows format {known}")]
    Newer {
        /// The format of the file.
        found: u64,
        /// The format known here.
        known: u64,
    },
    /// A line that says nothing readable.
    #[error("line {line}: {what}")]
    Line {
        /// The line, from 1.
        line: u64,
        /// What was found or expected.
        what: String,
    },
    /// Fewer or more lines than the header says.
    #[error("its header promises {promised} {what}, and there are {found}")]
    Count {
        /// Of what.
        what: &'static str,
        /// As the header says.
        promised: u64,
        /// As many were found, or were too many.
        found: u64,
    },
    /// An attempt that was not made yet, by the reader's clock.
    #[error(
        "line {line}: attempt {number} of sitting {sitting} is of {day}, which is in the future; \
         check the clocks of both machines",
        number = id.number, sitting = id.sitting
    )]
    Future {
        /// The line, from 1.
        line: u64,
        /// The attempt.
        id: AttemptId,
        /// Its day.
        day: crate::world::Day,
    },
}
