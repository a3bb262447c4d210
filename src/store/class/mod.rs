//! The teacher's store: the attempts of all learners, in one SQLite file of its own.
//!
//! Read [`ClassStore`] first. It takes hand-ins, each in one transaction, and gives attempts back by
//! learner. Merging is set union over the names of attempts: any order, any number of times, several
//! machines of one learner. Locking, durability and refusal of damaged or newer files are as in the
//! practice store.
//!
//! What the rest of the program asks of it is [`ClassStore::collect`], [`ClassStore::learners`],
//! [`ClassStore::attempts`], [`ClassStore::answers`] and [`ClassStore::doubts`], without a word of SQL, so that another database can stand in its place.

mod answers;
mod collect;
mod enrol;

use std::path::{Path, PathBuf};

use rusqlite::Connection;

pub use answers::Doubted;
pub use collect::{CollectError, Collected};
pub use enrol::{Enrolled, Kin};

use crate::class::hand_in::LearnerId;
use crate::quiz::Attempt;

use super::StoreError;
use super::error::Fault;
use super::open::{self, Forms};
use super::record::{self, COLUMNS, install_from_sql, install_to_sql};

/// An open class store. It holds the file for itself until it is dropped.
#[derive(Debug)]
pub struct ClassStore {
    // Fields are dropped in this order: the database is closed before the lock is given back.
    conn: Connection,
    _lock: open::Lock,
    path: PathBuf,
}

impl ClassStore {
    /// Opens the store in `file`, and makes it and its folder where there is none.
    ///
    /// # Errors
    /// When it is damaged, newer, another database, in use, or cannot be written. It is then as it
    /// was.
    pub fn open(file: &Path) -> Result<Self, StoreError> {
        let opened = open_both(file).map_err(|fault| fault.at(file))?;
        Ok(Self {
            conn: opened.1,
            _lock: opened.0,
            path: file.to_owned(),
        })
    }

    /// The file in which everything is kept.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// All learners, by name and then number.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn learners(&self) -> Result<Vec<Enrolled>, StoreError> {
        self.here(enrol::learners(&self.conn))
    }

    /// Reads the attempts of one learner in the order of replay: by day, then moment, then name.
    ///
    /// # Errors
    /// When a row cannot be read; `each` has then seen those before it.
    pub fn attempts(
        &self,
        learner: LearnerId,
        each: impl FnMut(Attempt),
    ) -> Result<(), StoreError> {
        self.here(attempts(&self.conn, learner, each))
    }

    /// Says of this store's file that `fault` happened to it.
    fn here<T>(&self, outcome: Result<T, Fault>) -> Result<T, StoreError> {
        outcome.map_err(|fault| fault.at(&self.path))
    }
}

fn open_both(file: &Path) -> Result<(open::Lock, Connection), Fault> {
    let folder = match file.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    };
    open::make_folder(folder)?;
    let lock = open::take_lock(&open::with_suffix(file, ".lock"))?;
    let conn = open::open_file(file, &Forms::of_class())?;
    open::sync_folder(folder)?;
    Ok((lock, conn))
}

fn attempts(
    conn: &Connection,
    learner: LearnerId,
    mut each: impl FnMut(Attempt),
) -> Result<(), Fault> {
    let sql = format!(
        "SELECT {} FROM attempt
         WHERE install IN (SELECT install.install FROM install JOIN learner USING (learner)
                           WHERE coalesce(learner.joined, learner.learner) = ?1)
         ORDER BY day, at_ms, install, sitting, number",
        COLUMNS.join(", ")
    );
    let mut statement = conn.prepare_cached(&sql)?;
    let mut rows = statement.query([install_to_sql(enrol::root(conn, learner)?.0)])?;
    while let Some(row) = rows.next()? {
        each(record::read(row).map_err(|unreadable| damaged(&unreadable))?);
    }
    Ok(())
}

fn damaged(unreadable: &record::Unreadable) -> Fault {
    let column = unreadable.0.trim_matches('"');
    Fault::Damaged(format!(
        "a row of the table attempt has no readable {column}"
    ))
}

/// Learners are kept as installs are.
fn learner_of(kept: i64) -> LearnerId {
    LearnerId(install_from_sql(kept))
}
