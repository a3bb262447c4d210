//! Where attempts are kept for good: one SQLite database in one folder, and another for a class,
//! which may be on a school's server instead.
//!
//! Read [`Store`] first; [`ClassStore`] is the teacher's. The log of attempts is the truth and only grows; the cache beside it is
//! what was worked out from the log and may be dropped at any time. Times are milliseconds, days
//! are learning days; every number that crosses this module is in the units of its type.
//!
//! # Locking
//!
//! One program at a time. [`Store::open`] locks `practice.lock` for as long as the store lives, and
//! a second program gets [`StoreError::InUse`]. The kernel holds that lock, so a program that is
//! killed leaves none behind; the file itself stays and means nothing. A reader that is not ours
//! (the `sqlite3` shell) is not kept out; while it writes, we wait two seconds and then say that
//! the store is in use.
//!
//! # Durability
//!
//! What writes is one transaction, and it is on the disk when the function returns: the log of
//! SQLite (WAL) is synchronised at each commit. An attempt that was shown as saved survives a
//! killed program and a power failure, as far as the disk itself tells the truth. On an error
//! nothing of the transaction is kept and everything before it is.
//!
//! # Compatibility
//!
//! The form of the database is a number (`user_version`), raised by the files in `migrations/`,
//! which are never edited. A newer form is refused and not one byte changed. An older one is first
//! copied whole to `practice.db.before-NNN`, NNN being the form that it is about to take, and then
//! raised in one exclusive transaction. The words in which answers are kept are part of the form.
//!
//! # Odd surroundings
//!
//! Before anything is written, the file's first bytes, its form, its mark and its inner order are
//! looked at; what is damaged, or is another program's, is refused as it stands. A file that stays
//! in order but whose contents were altered is noticed where a value means nothing: reading names
//! table and row, and never panics. A folder or file that may not be written, a full disk, and a
//! path that leads through a file are told apart ([`StoreError`]). Folder and file are made for the
//! user alone (0700, 0600). A folder that was copied and used in both places makes two attempts of
//! one name; that is found when they meet ([`StoreError::Differs`]).
//!
//! # Not here
//!
//! No clock and no chance: moments and the seed of the installation's number come from the caller.
//! No meaning of the cache, which is bytes. Nothing else in the program knows SQL.

mod assigned;
mod cache;
mod class;
mod dispute;
mod error;
mod listened;
mod log;
mod open;
mod record;
mod recording;
mod setting;
mod travel;
mod value;

use std::path::{Path, PathBuf};

use rusqlite::Connection;

pub use assigned::Practice;
pub use cache::{CacheRow, Cached};
pub use class::{
    ClassStore, CollectError, Collected, Disputed, Doubted, Enrolled, KeptAssignment, Kin,
    LiveMark, Target,
};
pub use dispute::Dispute;
pub use error::StoreError;
pub use listened::Listened;
pub use log::Merged;
pub use recording::{KeptPulses, KnownRecording};
pub use setting::Settings;
pub use travel::{Chosen, Identity, Selection};

use crate::world::{Moment, Seed};

use error::Fault;

/// An open store. It holds the folder for itself until it is dropped.
#[derive(Debug)]
pub struct Store {
    // Fields are dropped in this order: the database is closed before the lock is given back.
    conn: Connection,
    _lock: Option<open::Lock>,
    path: PathBuf,
    install: u64,
    /// The rules by which the cache was made, while it covers the whole log.
    cache_rules: Option<u32>,
}

impl Store {
    /// Opens the store in `dir`, and makes folder and store where there is none. A store made now
    /// draws its number from `seed` and was born at `now`; an old one uses neither.
    ///
    /// # Errors
    /// When the store is damaged, newer, in use, or cannot be written. It is then as it was.
    pub fn open(dir: &Path, seed: Seed, now: Moment) -> Result<Self, StoreError> {
        open::open(dir, seed, now, &open::Forms::ours())
    }

    /// A store that is kept in memory only and gone when it is dropped: for rehearsals and tests.
    ///
    /// # Errors
    /// When there is no memory left.
    pub fn in_memory(seed: Seed, now: Moment) -> Result<Self, StoreError> {
        open::in_memory(seed, now).map_err(|fault| fault.at(Path::new(":memory:")))
    }

    /// The number of this installation, which is in the name of every attempt made here.
    pub fn install(&self) -> u64 {
        self.install
    }

    /// The file in which everything is kept.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Says of this store's file that `fault` happened to it.
    fn here<T>(&self, outcome: Result<T, Fault>) -> Result<T, StoreError> {
        outcome.map_err(|fault| fault.at(&self.path))
    }
}

#[cfg(test)]
mod tests;
