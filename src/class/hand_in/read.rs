//! Reading a hand-in that anybody may have written.

use std::io::{BufRead as _, BufReader, Read as _};

use flate2::bufread::GzDecoder;
use serde_json::Value;

use crate::label::printable;
use crate::world::Moment;

use super::header::{FORMAT, Wrong};
use super::{Header, Item, Refusal, limit, line, seal};

/// A hand-in whose seal and header were found good, and its items one after the other. After a
/// [`Refusal`] nothing more comes.
#[derive(Debug)]
pub struct Reading<'f> {
    lines: Lines<'f>,
    header: Header,
    checksum: &'f str,
    before: line::Before,
    now: Moment,
    n_attempts: u64,
    n_disputes: u64,
    is_over: bool,
}

impl<'f> Reading<'f> {
    /// Begins to read a file's bytes at the moment `now`.
    ///
    /// # Errors
    /// When it is no hand-in, is not whole or was altered, or has a header that cannot be read.
    pub fn new(file: &'f [u8], now: Moment) -> Result<Self, Refusal> {
        if u64::try_from(file.len()).is_ok_and(|n| n > limit::FILE) {
            return Err(Refusal::TooLarge);
        }
        let (sealed, checksum) = seal::opened(file)?;
        let mut lines = Lines::new(sealed);
        let header = lines.next()?.ok_or(Refusal::Foreign)?;
        let header = Header::from_line(header).map_err(|wrong| match wrong {
            Wrong::Not(what) => refused(1, &format!("{what} was expected")),
            Wrong::Field(field) => refused(1, &format!("no readable {field:?} in the header")),
            Wrong::Format(found) => Refusal::Newer {
                found,
                known: FORMAT,
            },
        })?;
        Ok(Self {
            lines,
            header,
            checksum,
            before: line::Before::default(),
            now,
            n_attempts: 0,
            n_disputes: 0,
            is_over: false,
        })
    }

    /// Who hands in, and what.
    pub fn header(&self) -> &Header {
        &self.header
    }

    /// The SHA-256 of what the file holds, in hexadecimal digits: two files that have it alike are
    /// the same.
    pub fn checksum(&self) -> &'f str {
        self.checksum
    }

    fn item(&mut self) -> Result<Option<Item>, Refusal> {
        let Some(text) = self.lines.next()? else {
            self.check_counts()?;
            return Ok(None);
        };
        let value: Result<Value, _> = serde_json::from_str(text);
        let line = self.lines.number;
        match value {
            Ok(Value::Array(cells)) => self.attempt(&cells, line).map(Some),
            Ok(value @ Value::Object(_)) => self.dispute(&value, line).map(Some),
            _ => Err(refused(line, "an attempt or a dispute was expected")),
        }
    }

    fn attempt(&mut self, cells: &[Value], line: u64) -> Result<Item, Refusal> {
        self.n_attempts += 1;
        if self.n_attempts > self.header.n_attempts {
            self.check_counts()?;
        }
        let attempt = self.before.read(cells, &self.header.machines);
        let attempt = attempt.map_err(|name| {
            let text = format!("no readable {name} of an attempt");
            refused(line, &text)
        })?;
        if attempt.at > self.latest() {
            return Err(Refusal::Future {
                line,
                id: attempt.id,
                day: attempt.day,
            });
        }
        Ok(Item::Attempt(attempt))
    }

    fn dispute(&mut self, value: &Value, line: u64) -> Result<Item, Refusal> {
        self.n_disputes += 1;
        if self.n_disputes > self.header.n_disputes {
            self.check_counts()?;
        }
        let doubt = line::read_doubt(value, &self.header.machines)
            .filter(|doubt| doubt.at <= self.latest());
        let doubt = doubt.ok_or_else(|| refused(line, "no readable dispute"))?;
        Ok(Item::Dispute(doubt))
    }

    fn latest(&self) -> Moment {
        Moment(self.now.0.saturating_add(limit::AHEAD_MS))
    }

    fn check_counts(&self) -> Result<(), Refusal> {
        let counted = [
            ("attempts", self.header.n_attempts, self.n_attempts),
            ("disputes", self.header.n_disputes, self.n_disputes),
        ];
        for (what, promised, found) in counted {
            if promised != found {
                return Err(Refusal::Count {
                    what,
                    promised,
                    found,
                });
            }
        }
        Ok(())
    }
}

impl Iterator for Reading<'_> {
    type Item = Result<Item, Refusal>;

    fn next(&mut self) -> Option<Self::Item> {
        if self.is_over {
            return None;
        }
        let item = self.item();
        self.is_over = !matches!(item, Ok(Some(_)));
        item.transpose()
    }
}

fn refused(line: u64, what: &str) -> Refusal {
    Refusal::Line {
        line,
        what: printable(what),
    }
}

/// The lines of the text, unpacked one at a time.
#[derive(Debug)]
struct Lines<'f> {
    text: BufReader<GzDecoder<&'f [u8]>>,
    line: Vec<u8>,
    number: u64,
    n_bytes: u64,
}

impl<'f> Lines<'f> {
    fn new(sealed: &'f [u8]) -> Self {
        Self {
            text: BufReader::new(GzDecoder::new(sealed)),
            line: Vec::new(),
            number: 0,
            n_bytes: 0,
        }
    }

    /// The next line without its end; `None` after the last.
    fn next(&mut self) -> Result<Option<&str>, Refusal> {
        const MOST: u64 = limit::LINE as u64 + 1;
        self.line.clear();
        self.number += 1;
        let read = self
            .text
            .by_ref()
            .take(MOST)
            .read_until(b'\n', &mut self.line);
        let n = read.map_err(|error| Refusal::Packing(printable(&error.to_string())))?;
        self.n_bytes += u64::try_from(n).unwrap_or(u64::MAX);
        if self.n_bytes > limit::TEXT {
            return Err(Refusal::TooMuchText);
        }
        match self.line.pop() {
            None if self.text.get_ref().get_ref().is_empty() => Ok(None),
            None => Err(Refusal::Packing("more follows its text".to_owned())),
            Some(b'\n') => std::str::from_utf8(&self.line)
                .map(Some)
                .map_err(|_| refused(self.number, "text in UTF-8 was expected")),
            Some(_) if n > limit::LINE => Err(Refusal::LongLine(self.number)),
            Some(_) => Err(refused(self.number, "an end of the line was expected")),
        }
    }
}
