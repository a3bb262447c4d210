//! The teacher's store: the attempts of all learners, in one SQLite file of its own, or on the
//! PostgreSQL server of a school (feature `school`).
//!
//! Read [`ClassStore`] first. It takes hand-ins, each in one transaction, and gives attempts back by
//! learner. Merging is set union over the names of attempts: any order, any number of times, several
//! machines of one learner. In a file, locking, durability and refusal of damaged or newer files are
//! as in the practice store; on a server several may work at once, and hand-ins that come at one moment
//! are taken one after the other.
//!
//! What the rest of the program asks of it are methods of [`ClassStore`] without a word of SQL:
//! `collect` takes hand-ins, `enrol` knows learners, `roster` groups, `assign` what is set and what was
//! heard live, `judge` doubts and decisions, and `answers` gives what a report is reckoned from. Which
//! database it is only `base` knows.

mod answers;
mod assign;
mod base;
mod collect;
mod enrol;
mod judge;
mod roster;
#[cfg(feature = "school")]
mod server;

use std::path::{Path, PathBuf};

pub use answers::Doubted;
pub use assign::{KeptAssignment, LiveMark, Target};
pub use collect::{CollectError, Collected};
pub use enrol::{Enrolled, Kin};
pub use judge::Disputed;

use crate::class::hand_in::LearnerId;
use crate::class::judgement::Rulings;
use crate::label::Label;
use crate::quiz::Attempt;

use super::StoreError;
use super::error::Fault;
use super::open::{self, Forms};
use super::record::{self, COLUMNS, install_from_sql, install_to_sql};
use super::value::Value;

use base::{Base, Row};

/// An open class store. It holds a file for itself until it is dropped; on a server it shares it.
#[derive(Debug)]
pub struct ClassStore {
    // Fields are dropped in this order: the database is closed before the lock is given back.
    base: Base,
    _lock: Option<open::Lock>,
    path: PathBuf,
    /// What was decided about phrases when this was opened, and through it since.
    rulings: Rulings,
}

impl ClassStore {
    /// Opens the store in `file`, and makes it and its folder where there is none.
    ///
    /// # Errors
    /// When it is damaged, newer, another database, in use, or cannot be written. It is then as it
    /// was.
    pub fn open(file: &Path) -> Result<Self, StoreError> {
        let at = |fault: Fault| fault.at(file);
        let (lock, base) = open_both(file).map_err(at)?;
        let rulings = judge::rulings(&base).map_err(at)?;
        Ok(Self {
            base,
            _lock: Some(lock),
            path: file.to_owned(),
            rulings,
        })
    }

    /// Opens the store on the server at `url` (`postgres://…`), and makes its tables where there are
    /// none.
    ///
    /// # Errors
    /// When this program was built without servers, or the server cannot be reached, refuses the user,
    /// or holds a newer store or something else. It is then as it was.
    #[cfg(feature = "school")]
    pub fn connect(url: &str) -> Result<Self, StoreError> {
        let (server, path) = server::open(url)?;
        let base = Base::Server(Box::new(server));
        let rulings = judge::rulings(&base).map_err(|fault| fault.at(&path))?;
        Ok(Self {
            base,
            _lock: None,
            path,
            rulings,
        })
    }

    /// Refuses: this program was built without servers (feature `school`).
    ///
    /// # Errors
    /// Always. Nothing of the URL is told, since it may have a password in it.
    #[cfg(not(feature = "school"))]
    pub fn connect(_url: &str) -> Result<Self, StoreError> {
        Err(StoreError::NoServers)
    }

    /// The file in which everything is kept, or the URL of the server without its password.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// All learners, by what they are called and then number. A name of the teacher's stands over their
    /// own.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn learners(&self) -> Result<Vec<Enrolled>, StoreError> {
        self.here(enrol::learners(&self.base))
    }

    /// Reads the attempts of one learner in the order of replay: by day, then moment, then name. They
    /// count as judged: by the right answer where a label was overruled, and without those at phrases
    /// that were withdrawn.
    ///
    /// # Errors
    /// When a row cannot be read; `each` has then seen those before it.
    pub fn attempts(
        &self,
        learner: LearnerId,
        mut each: impl FnMut(Attempt),
    ) -> Result<(), StoreError> {
        let judged = |attempt| {
            if let Some(attempt) = self.rulings.judged(attempt) {
                each(attempt);
            }
        };
        self.here(attempts(&self.base, learner, judged))
    }

    /// Says of this store that `fault` happened to it.
    fn here<T>(&self, outcome: Result<T, Fault>) -> Result<T, StoreError> {
        outcome.map_err(|fault| fault.at(&self.path))
    }
}

fn open_both(file: &Path) -> Result<(open::Lock, Base), Fault> {
    let folder = match file.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    };
    open::make_folder(folder)?;
    let lock = open::take_lock(&open::with_suffix(file, ".lock"))?;
    let conn = open::open_file(file, &Forms::of_class())?;
    open::sync_folder(folder)?;
    Ok((lock, Base::File(conn)))
}

fn attempts(base: &Base, learner: LearnerId, mut each: impl FnMut(Attempt)) -> Result<(), Fault> {
    let sql = format!(
        "SELECT {} FROM attempt
         WHERE install IN (SELECT install.install FROM install JOIN learner USING (learner)
                           WHERE coalesce(learner.joined, learner.learner) = ?1)
         ORDER BY day, at_ms, install, sitting, number",
        COLUMNS.join(", ")
    );
    let root = enrol::root(base, learner)?;
    base.each(&sql, &[learner_to_sql(root)], |row| {
        each(row.attempt()?);
        Ok(())
    })
}

fn damaged(unreadable: &record::Unreadable) -> Fault {
    let column = unreadable.0.trim_matches('"');
    Fault::Damaged(format!(
        "a row of the table attempt has no readable {column}"
    ))
}

/// Learners are kept as installs are.
fn learner_to_sql(learner: LearnerId) -> Value<'static> {
    install_to_sql(learner.0).into()
}

/// The learner in a column.
fn learner_at(row: &Row<'_>, column: usize) -> Result<LearnerId, Fault> {
    Ok(LearnerId(install_from_sql(row.number(column)?)))
}

/// A text of the store that may be shown; every one was a label when it was kept.
fn label_of(text: &str, table: &str) -> Result<Label, Fault> {
    Label::new(text)
        .map_err(|error| Fault::Damaged(format!("a text in the table {table} is {error}")))
}

/// The text in a column, which is never empty.
fn label_at(row: &Row<'_>, column: usize, table: &str) -> Result<Label, Fault> {
    label_of(row.text(column)?, table)
}

/// The text in a column, which may be missing.
fn label_or_none(row: &Row<'_>, column: usize, table: &str) -> Result<Option<Label>, Fault> {
    let text = row.text_or_none(column)?;
    text.map(|text| label_of(text, table)).transpose()
}

#[cfg(test)]
mod tests {
    use std::fs;

    use super::*;

    /// Zeroes over a page in the middle of what `table` holds.
    fn damage(file: &Path, table: &str) {
        let conn = rusqlite::Connection::open(file).expect("a database");
        let sql = "SELECT rootpage FROM sqlite_schema WHERE name = ?1";
        let root: u32 = conn
            .query_row(sql, [table], |row| row.get(0))
            .expect("a table");
        drop(conn);
        let mut bytes = fs::read(file).expect("a file");
        let from = 4096 * usize::try_from(root - 1).expect("a small file");
        bytes[from..from + 64].fill(0x55);
        fs::write(file, bytes).expect("a file");
    }

    #[test]
    fn damage_is_refused_at_once_and_in_attempts_when_they_are_read() {
        let folder = tempfile::tempdir().expect("a folder");
        let file = folder.path().join("class.db");
        drop(ClassStore::open(&file).expect("a store"));
        let sound = fs::read(&file).expect("a file");
        damage(&file, "learner");
        assert!(matches!(
            ClassStore::open(&file),
            Err(StoreError::Damaged { .. })
        ));
        fs::write(&file, sound).expect("a file");
        damage(&file, "attempt");
        let store = ClassStore::open(&file).expect("only attempts are damaged");
        let id = crate::quiz::AttemptId {
            install: 1,
            sitting: 1,
            number: 1,
        };
        assert!(matches!(store.attempt(id), Err(StoreError::Damaged { .. })));
    }
}
