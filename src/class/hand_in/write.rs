//! Writing a hand-in, one attempt after the other.

use std::io::{self, Write};

use flate2::{Compression, GzBuilder, write::GzEncoder};

use crate::quiz::Attempt;

use super::seal::Sealing;
use super::{Doubt, Header, limit, line};

/// Writes a hand-in to `W`: the attempts that its header promises, then the disputes. Only what
/// [`finish`](Self::finish) gave back is whole.
pub struct Writer<W: Write> {
    out: GzEncoder<Sealing<W>>,
    header: Header,
    before: line::Before,
    n_attempts: u64,
    n_disputes: u64,
}

/// Why a hand-in could not be written.
#[derive(Debug, thiserror::Error)]
pub enum WriteError {
    /// The place it is written to.
    #[error(transparent)]
    Io(#[from] io::Error),
    /// More than a hand-in may hold.
    #[error("{0} attempts; a hand-in holds at most {max}", max = limit::ATTEMPTS)]
    TooMany(u64),
    /// An attempt or dispute of a machine that the header does not name.
    #[error("an attempt of installation {0:016x}, which the header does not name")]
    Unnamed(u64),
    /// Not as many came as the header promises.
    #[error("not as many attempts came as the header promises")]
    Count,
}

impl<W: Write> Writer<W> {
    /// Begins with `header`.
    ///
    /// # Errors
    /// When it cannot be written, or promises more than a hand-in may hold.
    pub fn new(out: W, header: Header) -> Result<Self, WriteError> {
        if header.n_attempts > limit::ATTEMPTS {
            return Err(WriteError::TooMany(header.n_attempts));
        }
        // No time and no name in the gzip header: the same attempts make the same bytes.
        let out = GzBuilder::new().write(Sealing::new(out), Compression::best());
        let line = header.to_line();
        let mut writer = Self {
            out,
            header,
            before: line::Before::default(),
            n_attempts: 0,
            n_disputes: 0,
        };
        writer.line(&line)?;
        Ok(writer)
    }

    /// Adds an attempt.
    ///
    /// # Errors
    /// When it cannot be written, or its machine is not in the header.
    pub fn attempt(&mut self, attempt: &Attempt) -> Result<(), WriteError> {
        let machine = self.machine(attempt.id.install)?;
        let line = self.before.write(attempt, machine);
        self.n_attempts += 1;
        self.line(&line)
    }

    /// Adds a dispute.
    ///
    /// # Errors
    /// When it cannot be written, or its machine is not in the header.
    pub fn dispute(&mut self, doubt: &Doubt) -> Result<(), WriteError> {
        let machine = self.machine(doubt.attempt.install)?;
        self.n_disputes += 1;
        self.line(&line::write_doubt(doubt, machine))
    }

    /// Seals the file and gives back what it was written to.
    ///
    /// # Errors
    /// When it cannot be written, or the header promised something else.
    pub fn finish(self) -> Result<W, WriteError> {
        let promised = (self.header.n_attempts, self.header.n_disputes);
        if promised != (self.n_attempts, self.n_disputes) {
            return Err(WriteError::Count);
        }
        Ok(self.out.finish()?.seal()?)
    }

    fn machine(&self, install: u64) -> Result<usize, WriteError> {
        let machines = &self.header.machines;
        let place = machines.iter().position(|m| m.install == install);
        place.ok_or(WriteError::Unnamed(install))
    }

    fn line(&mut self, line: &str) -> Result<(), WriteError> {
        self.out.write_all(line.as_bytes())?;
        Ok(self.out.write_all(b"\n")?)
    }
}
