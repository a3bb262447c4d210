//! What can go wrong with a store, by what can be done about it.

use std::io;
use std::path::{Path, PathBuf};

use rusqlite::ErrorCode;

use crate::quiz::AttemptId;

/// Why the store could not do what it was asked. Whatever it was, nothing was half written and
/// nothing that had been stored is lost.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum StoreError {
    /// The file is no practice store any more, or never was one. Bring back a copy.
    #[error("{path} is damaged: {what}", path = path.display())]
    Damaged {
        /// The file.
        path: PathBuf,
        /// What was found in it, with table and row where it is one row.
        what: String,
    },
    /// A newer contrapalma wrote it. Use that one.
    #[error("{path} is of form {found}; this contrapalma knows forms up to {known}", path = path.display())]
    Newer {
        /// The file.
        path: PathBuf,
        /// The form of the file.
        found: i64,
        /// The newest form known here.
        known: i64,
    },
    /// Another program holds it. End that one first.
    #[error("{path} is in use by another contrapalma", path = path.display())]
    InUse {
        /// The folder or file.
        path: PathBuf,
    },
    /// It may not be written. Change its permissions or keep the data elsewhere.
    #[error("{path} may not be written", path = path.display())]
    ReadOnly {
        /// The folder or file.
        path: PathBuf,
    },
    /// The disk or the allotted space is full. Make room; what was stored before is safe.
    #[error("there is no room left for {path}", path = path.display())]
    Full {
        /// The folder or file.
        path: PathBuf,
    },
    /// It cannot be got at: something else stands in its place, or the medium fails.
    #[error("{path} cannot be reached: {what}", path = path.display())]
    Unreachable {
        /// The folder or file.
        path: PathBuf,
        /// What the system said.
        what: String,
    },
    /// An attempt is stored under this name already, and it is another one. Two installations share
    /// one number, as happens when a data folder was copied and both were used.
    #[error(
        "{path} holds another attempt {number} of sitting {sitting} of installation {install:016x}",
        path = path.display(), number = id.number, sitting = id.sitting, install = id.install
    )]
    Differs {
        /// The file.
        path: PathBuf,
        /// The name that both claim.
        id: AttemptId,
    },
    /// It would be on a server, and this program was built without them. Build it with the feature
    /// `school`.
    #[error("a class store on a server needs a contrapalma that was built with the feature school")]
    NoServers,
    /// Anything else.
    #[error("{path} could not be used: {what}", path = path.display())]
    Other {
        /// The folder or file.
        path: PathBuf,
        /// What was said.
        what: String,
    },
}

/// A fault before it is known of which file it is.
#[derive(Debug)]
pub(super) enum Fault {
    Sqlite(rusqlite::Error),
    Io(io::Error),
    Damaged(String),
    Newer {
        found: i64,
        known: i64,
    },
    InUse,
    ReadOnly,
    #[cfg(feature = "school")]
    Full,
    Differs(AttemptId),
    Other(String),
}

impl From<rusqlite::Error> for Fault {
    fn from(error: rusqlite::Error) -> Self {
        Self::Sqlite(error)
    }
}

impl From<io::Error> for Fault {
    fn from(error: io::Error) -> Self {
        Self::Io(error)
    }
}

impl From<rusqlite_migration::Error> for Fault {
    fn from(error: rusqlite_migration::Error) -> Self {
        match error {
            rusqlite_migration::Error::RusqliteError { err, .. } => Self::Sqlite(err),
            other => Self::Other(other.to_string()),
        }
    }
}

impl Fault {
    /// Says of which file it is.
    pub(super) fn at(self, path: &Path) -> StoreError {
        let path = path.to_owned();
        match self {
            Self::Sqlite(error) => of_sqlite(path, &error),
            Self::Io(error) => of_io(path, &error),
            Self::Damaged(what) => StoreError::Damaged { path, what },
            Self::Newer { found, known } => StoreError::Newer { path, found, known },
            Self::InUse => StoreError::InUse { path },
            Self::ReadOnly => StoreError::ReadOnly { path },
            #[cfg(feature = "school")]
            Self::Full => StoreError::Full { path },
            Self::Differs(id) => StoreError::Differs { path, id },
            Self::Other(what) => StoreError::Other { path, what },
        }
    }
}

fn of_io(path: PathBuf, error: &io::Error) -> StoreError {
    use io::ErrorKind as Kind;
    match error.kind() {
        Kind::PermissionDenied | Kind::ReadOnlyFilesystem => StoreError::ReadOnly { path },
        Kind::StorageFull | Kind::QuotaExceeded => StoreError::Full { path },
        _ => StoreError::Unreachable {
            path,
            what: error.to_string(),
        },
    }
}

fn of_sqlite(path: PathBuf, error: &rusqlite::Error) -> StoreError {
    let what = error.to_string();
    let Some(inner) = error.sqlite_error() else {
        // A value of another type than the schema promises, or a row that must be there and is not.
        return StoreError::Damaged { path, what };
    };
    if inner.extended_code == rusqlite::ffi::SQLITE_IOERR_SHMSIZE {
        // The index of the write-ahead log could not be lengthened: SQLite has no word of its own
        // for a full disk there.
        return StoreError::Full { path };
    }
    match inner.code {
        // The last is a statement that does not fit the tables. Ours are fixed and fit the tables of
        // their form, so it is the tables that are not as they were made.
        ErrorCode::DatabaseCorrupt | ErrorCode::NotADatabase | ErrorCode::Unknown => {
            StoreError::Damaged { path, what }
        }
        ErrorCode::DatabaseBusy
        | ErrorCode::DatabaseLocked
        | ErrorCode::FileLockingProtocolFailed => StoreError::InUse { path },
        ErrorCode::ReadOnly | ErrorCode::PermissionDenied => StoreError::ReadOnly { path },
        ErrorCode::DiskFull => StoreError::Full { path },
        ErrorCode::CannotOpen | ErrorCode::SystemIoFailure => {
            StoreError::Unreachable { path, what }
        }
        _ => StoreError::Other { path, what },
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn kind(error: &StoreError) -> &'static str {
        match error {
            StoreError::Damaged { .. } => "damaged",
            StoreError::Newer { .. } => "newer",
            StoreError::InUse { .. } => "in use",
            StoreError::ReadOnly { .. } => "read-only",
            StoreError::Full { .. } => "full",
            StoreError::Unreachable { .. } => "unreachable",
            StoreError::Differs { .. } => "differs",
            StoreError::NoServers => "no servers",
            StoreError::Other { .. } => "other",
        }
    }

    #[track_caller]
    fn check_errno(errno: rustix::io::Errno, expected: &str) {
        let error = Fault::from(io::Error::from(errno)).at(Path::new("/x"));
        assert_eq!(kind(&error), expected, "{errno:?}");
    }

    #[track_caller]
    fn check_code(code: i32, expected: &str) {
        let inner = rusqlite::ffi::Error::new(code);
        let error = rusqlite::Error::SqliteFailure(inner, None);
        assert_eq!(kind(&Fault::from(error).at(Path::new("/x"))), expected);
    }

    #[test]
    fn what_the_system_says_is_sorted_by_what_can_be_done() {
        use rustix::io::Errno;
        check_errno(Errno::ACCESS, "read-only");
        check_errno(Errno::ROFS, "read-only");
        check_errno(Errno::NOSPC, "full");
        check_errno(Errno::DQUOT, "full");
        check_errno(Errno::NOTDIR, "unreachable");
        check_errno(Errno::IO, "unreachable");
    }

    #[test]
    fn what_sqlite_says_is_sorted_by_what_can_be_done() {
        // Result codes as published, sqlite.org/rescode.html.
        check_code(1, "damaged");
        check_code(11, "damaged");
        check_code(26, "damaged");
        check_code(5, "in use");
        check_code(8, "read-only");
        check_code(1032, "read-only"); // SQLITE_READONLY_DBMOVED
        check_code(13, "full");
        check_code(4874, "full"); // SQLITE_IOERR_SHMSIZE
        check_code(10, "unreachable");
        check_code(14, "unreachable");
        check_code(19, "other");
    }
}
