//! The only place that turns errors into text and exit codes.

use std::fmt;
use std::io::{self, Write as _};
use std::path::Path;

use crate::app::{Trouble, in_words};
use crate::deck::Fault;
use crate::label::harmless;
use crate::mark::ListFault;
use crate::store::StoreError;
use crate::tui::ScreenError;

/// What kind of failure it is, by who can do something about it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Kind {
    /// Done, and the answer is no.
    No,
    /// The command line is wrong.
    Usage,
    /// The data is wrong.
    Data,
    /// The surroundings are wrong.
    Surroundings,
    /// The program is wrong.
    Bug,
}

impl Kind {
    /// The exit code.
    pub(super) fn code(self) -> u8 {
        match self {
            Self::No => 1,
            Self::Usage => 2,
            Self::Data => 3,
            Self::Surroundings => 4,
            Self::Bug => 101,
        }
    }
}

/// A command that could not be done.
#[derive(Debug)]
pub(super) struct Failure {
    pub(super) kind: Kind,
    lines: Vec<String>,
    hints: Vec<String>,
}

impl Failure {
    pub(super) fn new(kind: Kind, what: impl fmt::Display, hint: impl fmt::Display) -> Self {
        Self {
            kind,
            lines: vec![what.to_string()],
            hints: vec![hint.to_string()],
        }
    }

    pub(super) fn no_sound(reason: &str) -> Self {
        Self::new(Kind::Surroundings, reason, NO_SOUND_HINT)
    }

    pub(super) fn no_terminal() -> Self {
        Self::new(
            Kind::Surroundings,
            "no terminal: the screen needs one on standard input and output",
            "start it in a terminal, or use `contrapalma sit --plain` for lines of text",
        )
    }

    /// A file that could not be read or written.
    pub(super) fn file(path: &Path, error: &io::Error) -> Self {
        let full = matches!(
            error.kind(),
            io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded
        );
        let hint = match error.kind() {
            io::ErrorKind::NotFound => "check the name",
            io::ErrorKind::PermissionDenied | io::ErrorKind::ReadOnlyFilesystem => {
                "check who may read and write there"
            }
            _ if full => "make room and try again",
            _ => "check the place and try again",
        };
        Self::new(
            Kind::Surroundings,
            format!("{}: {}", path.display(), in_words(error)),
            hint,
        )
    }

    /// What is wrong where nothing may help.
    pub(super) fn bare(kind: Kind, what: impl fmt::Display) -> Self {
        Self {
            kind,
            lines: vec![what.to_string()],
            hints: Vec::new(),
        }
    }

    /// The same, with one more thing that may help.
    pub(super) fn hinted(mut self, hint: impl fmt::Display) -> Self {
        self.hints.push(hint.to_string());
        self
    }

    /// The same, told as another kind.
    pub(super) fn told_as(self, kind: Kind) -> Self {
        Self { kind, ..self }
    }

    /// A deck that cannot be used for its faults, every one with its place.
    pub(super) fn deck(path: &Path, faults: &[Fault]) -> Self {
        let hint = "mend the deck and start again; nothing was changed".to_owned();
        Self {
            hints: vec![hint],
            ..Self::deck_to_mend(path, faults)
        }
    }

    /// The faults of a deck, every one with its place.
    pub(super) fn deck_to_mend(path: &Path, faults: &[Fault]) -> Self {
        let line = |fault: &Fault| match &fault.hint {
            Some(hint) => format!("{}: {fault} ({hint})", path.display()),
            None => format!("{}: {fault}", path.display()),
        };
        Self {
            kind: Kind::No,
            lines: faults.iter().map(line).collect(),
            hints: Vec::new(),
        }
    }

    /// A list of marks with faults, every one with its line.
    pub(super) fn marks(path: &Path, faults: &[ListFault]) -> Self {
        let lines = faults
            .iter()
            .map(|fault| format!("{}: {fault}", path.display()));
        let hint = "mend the list and give it again; nothing was kept";
        Self::of_lines(Kind::Data, lines, hint)
    }

    /// Several things that are wrong, each on a line of its own.
    pub(super) fn of_lines(
        kind: Kind,
        lines: impl Iterator<Item = String>,
        hint: impl fmt::Display,
    ) -> Self {
        Self {
            kind,
            lines: lines.collect(),
            hints: vec![hint.to_string()],
        }
    }

    /// What is wrong, without hints.
    pub(super) fn what(&self) -> String {
        self.lines.join("; ")
    }

    /// Writes it to standard error. Names of files come from outside, so that what cannot be shown
    /// is taken out here.
    pub(super) fn tell(&self) {
        let mut text = String::new();
        for line in &self.lines {
            text.push_str(&format!("contrapalma: {}\n", harmless(line)));
        }
        for hint in &self.hints {
            text.push_str(&format!("hint: {}\n", harmless(hint)));
        }
        // When nobody reads it, the exit code still tells.
        drop(io::stderr().lock().write_all(text.as_bytes()));
    }
}

impl fmt::Display for Failure {
    /// What it is, without hints.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.lines.join("; "))
    }
}

const NO_SOUND_HINT: &str = "connect or switch on a sound device, and check that another program \
                             can play; `--silent` goes on without sound, for scripts";

impl From<StoreError> for Failure {
    fn from(error: StoreError) -> Self {
        let (kind, hint) = match &error {
            StoreError::Damaged { .. } => (
                Kind::Data,
                "nothing was changed; put back a copy, or move the file away to begin anew",
            ),
            StoreError::Newer { .. } => (
                Kind::Data,
                "nothing was changed; use the newer contrapalma that wrote it",
            ),
            StoreError::Differs { .. } => (
                Kind::Data,
                "nothing was changed; a data folder was copied and both copies were used: keep one",
            ),
            StoreError::InUse { .. } => (
                Kind::Surroundings,
                "leave the other one, or give this one its own folder by --data",
            ),
            StoreError::ReadOnly { .. } => (
                Kind::Surroundings,
                "make it writable, or give another folder by --data",
            ),
            StoreError::Full { .. } => (
                Kind::Surroundings,
                "make room and start again; what was kept before is safe",
            ),
            StoreError::NoServers => (
                Kind::Surroundings,
                "build it by `cargo build --release --features school`, or name a file",
            ),
            StoreError::Unreachable { .. } | StoreError::Other { .. } => (
                Kind::Surroundings,
                "check the place, or give another by --data or --class-store",
            ),
        };
        Self::new(kind, error, hint)
    }
}

impl From<ScreenError> for Failure {
    fn from(error: ScreenError) -> Self {
        match error {
            ScreenError::NoTerminal => Self::no_terminal(),
            ScreenError::Engine(trouble) => trouble.into(),
            ScreenError::Messages { .. } => {
                Self::new(Kind::Surroundings, error, "check who may write there")
            }
            ScreenError::Terminal(error) => Self::new(
                Kind::Surroundings,
                format!("the terminal went away: {error}"),
                "start it again in a terminal; what was kept is safe",
            ),
            ScreenError::Panicked(text) => Self::new(
                Kind::Bug,
                crate::label::printable(&text),
                "this is a mistake in the program; what was kept is safe",
            ),
        }
    }
}

impl From<Trouble> for Failure {
    fn from(trouble: Trouble) -> Self {
        match trouble {
            Trouble::Store(error) => error.into(),
            Trouble::Output(error) => Self::no_sound(&error.to_string()),
            Trouble::Worker(error) => {
                Self::new(Kind::Surroundings, error, "end some programs and try again")
            }
            Trouble::Bug => Self::new(
                Kind::Bug,
                trouble,
                "this is a mistake in the program; what was kept is safe",
            ),
        }
    }
}
