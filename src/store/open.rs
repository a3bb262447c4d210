//! From a folder to a store that is known to be sound.

use std::ffi::OsString;
use std::fs::{self, File, OpenOptions, TryLockError};
use std::io::{ErrorKind, Read as _};
use std::path::{Path, PathBuf};
use std::time::Duration;

use rusqlite::config::DbConfig;
use rusqlite::{Connection, MAIN_DB, OpenFlags, OptionalExtension as _, TransactionBehavior};
use rusqlite_migration::{M, Migrations};

use crate::world::{Moment, Seed};

use super::error::Fault;
use super::record::{install_from_sql, install_to_sql};
use super::{Store, StoreError};

/// The mark of a practice store in the header of an SQLite file: "cpal" as a number.
const PRACTICE: i64 = 0x6370_616c;
/// The mark of a class store: "cpcl" as a number.
const CLASS: i64 = 0x6370_636c;
/// How every SQLite file begins (sqlite.org/fileformat2.html, "The Database Header").
const MAGIC: &[u8; 16] = b"SQLite format 3\0";
/// Where its header has the versions for writing and for reading; 1 and 2 exist. SQLite opens a
/// file of a higher version for reading only, which would be called by a wrong name (same table).
const VERSIONS_AT: std::ops::Range<usize> = 18..20;
/// Where its header has the form, four bytes with the highest first (same table).
const FORM_AT: usize = 60;
/// Where its header has the mark, four bytes alike (same table).
const MARK_AT: usize = 68;
/// The length of the header.
const HEADER: usize = 100;
/// How long to wait for a foreign program that writes.
const PATIENCE: Duration = Duration::from_secs(2);

/// The steps from an empty database to the newest form, and the mark of a store of that kind.
pub(in crate::store) struct Forms {
    migrations: Migrations<'static>,
    newest: i64,
    mark: i64,
    name: &'static str,
    /// A table that is too long to be gone through at each opening.
    unchecked: Option<&'static str>,
}

impl Forms {
    /// The steps of this program.
    pub(super) fn ours() -> Self {
        Self::of(vec![
            M::up(include_str!("../../migrations/001-practice.sql")),
            M::up(include_str!("../../migrations/002-hands.sql")),
            M::up(include_str!("../../migrations/003-listened.sql")),
            M::up(include_str!("../../migrations/004-recordings.sql")),
            M::up(include_str!("../../migrations/005-assignments.sql")),
            M::up(include_str!("../../migrations/006-taken-back.sql")),
            M::up(include_str!("../../migrations/007-unsaid.sql")),
        ])
    }

    /// Any steps of a practice store.
    pub(super) fn of(steps: Vec<M<'static>>) -> Self {
        Self {
            newest: i64::try_from(steps.len()).expect("there are fewer steps than 2^63"),
            migrations: Migrations::new(steps),
            mark: PRACTICE,
            name: "a practice store",
            unchecked: None,
        }
    }

    /// The steps of a class store.
    pub(in crate::store) fn of_class() -> Self {
        Self {
            mark: CLASS,
            name: "a class store",
            // A school has millions, for which every command would wait. A damaged page of it is
            // refused when it is come upon.
            unchecked: Some("attempt"),
            ..Self::of(vec![
                M::up(include_str!("../../migrations/class/001-class.sql")),
                M::up(include_str!("../../migrations/class/002-roster.sql")),
            ])
        }
    }

    /// A store of another kind is not called a newer one, whatever its form.
    fn refuse_other_mark(&self, found: i64) -> Result<(), Fault> {
        if found == 0 || found == self.mark {
            return Ok(());
        }
        Err(self.foreign())
    }

    fn foreign(&self) -> Fault {
        Fault::Damaged(format!("it is not {}", self.name))
    }
}

/// Opens or makes the store in `dir`.
pub(super) fn open(
    dir: &Path,
    seed: Seed,
    now: Moment,
    forms: &Forms,
) -> Result<Store, StoreError> {
    let lock = make_folder(dir)
        .and_then(|()| take_lock(&dir.join("practice.lock")))
        .map_err(|fault| fault.at(dir))?;
    let path = dir.join("practice.db");
    let opened = open_file(&path, forms).and_then(|mut conn| {
        let install = install(&mut conn, seed, now)?;
        sync_folder(dir)?;
        Ok((conn, install))
    });
    let (conn, install) = opened.map_err(|fault| fault.at(&path))?;
    Ok(Store {
        conn,
        _lock: Some(lock),
        path,
        install,
        cache_rules: None,
    })
}

/// A store without a file.
pub(super) fn in_memory(seed: Seed, now: Moment) -> Result<Store, Fault> {
    let mut conn = Connection::open_in_memory()?;
    raise(&mut conn, &Forms::ours())?;
    let install = install(&mut conn, seed, now)?;
    Ok(Store {
        conn,
        _lock: None,
        path: PathBuf::from(":memory:"),
        install,
        cache_rules: None,
    })
}

pub(in crate::store) fn make_folder(dir: &Path) -> Result<(), Fault> {
    let mut builder = fs::DirBuilder::new();
    builder.recursive(true);
    #[cfg(unix)]
    std::os::unix::fs::DirBuilderExt::mode(&mut builder, 0o700);
    Ok(builder.create(dir)?)
}

/// A store, taken for this program for as long as this lives.
#[derive(Debug)]
pub(in crate::store) struct Lock(File);

impl Drop for Lock {
    fn drop(&mut self) {
        // Closing the file is not enough: a program that is being started by another thread holds
        // a copy of it for a moment, and the lock with it. When even this fails, closing still frees
        // the lock.
        self.0.unlock().ok();
    }
}

pub(in crate::store) fn take_lock(path: &Path) -> Result<Lock, Fault> {
    let file = open_for_us(path)?;
    match file.try_lock() {
        Ok(()) => Ok(Lock(file)),
        Err(TryLockError::WouldBlock) => Err(Fault::InUse),
        Err(TryLockError::Error(error)) => Err(error.into()),
    }
}

/// Opens a file for reading and writing, and makes an empty one for this user alone.
fn open_for_us(path: &Path) -> Result<File, Fault> {
    let mut options = OpenOptions::new();
    options.read(true).write(true).create(true).truncate(false);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
    Ok(options.open(path)?)
}

pub(in crate::store) fn open_file(path: &Path, forms: &Forms) -> Result<Connection, Fault> {
    check_header(path, forms)?;
    // Without the flag for URIs, so that a folder named `file:x?mode=memory` is a folder.
    let flags = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    let mut conn = Connection::open_with_flags(path, flags)?;
    conn.busy_timeout(PATIENCE)?;
    // Closing would copy the write-ahead log into a file that we may be about to refuse.
    conn.set_db_config(DbConfig::SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE, true)?;
    if conn.is_readonly(MAIN_DB)? {
        return Err(Fault::ReadOnly);
    }
    let found = check(&conn, forms)?;
    if (1..forms.newest).contains(&found) {
        copy_beside(&conn, path, forms.newest)?;
    }
    conn.set_db_config(DbConfig::SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE, false)?;
    let mode: String =
        conn.pragma_update_and_check(None, "journal_mode", "wal", |row| row.get(0))?;
    if mode != "wal" {
        return Err(Fault::Other(
            "a write-ahead log cannot be kept here".to_owned(),
        ));
    }
    raise(&mut conn, forms)?;
    Ok(conn)
}

/// Looks at the first bytes before SQLite does, since SQLite may write to a file while it opens it.
fn check_header(path: &Path, forms: &Forms) -> Result<(), Fault> {
    let mut header = Vec::with_capacity(HEADER);
    let limit = u64::try_from(HEADER).expect("a hundred fits");
    let file = open_for_us(path)?;
    file.take(limit).read_to_end(&mut header)?;
    if header.is_empty() {
        return Ok(());
    }
    let known_version = |bytes: &[u8]| bytes.iter().all(|version| matches!(version, 1 | 2));
    let begins_well = header.len() == HEADER
        && header.starts_with(MAGIC)
        && header.get(VERSIONS_AT).is_some_and(known_version);
    if !begins_well {
        return Err(Fault::Damaged("it does not begin as a database".to_owned()));
    }
    forms.refuse_other_mark(number_at(&header, MARK_AT))?;
    refuse_newer(number_at(&header, FORM_AT), forms.newest)
}

fn number_at(header: &[u8], at: usize) -> i64 {
    let bytes = header.get(at..).and_then(|rest| rest.first_chunk::<4>());
    bytes.map_or(0, |bytes| i64::from(i32::from_be_bytes(*bytes)))
}

fn refuse_newer(found: i64, known: i64) -> Result<(), Fault> {
    if found > known {
        return Err(Fault::Newer { found, known });
    }
    Ok(())
}

/// Checks mark, form and inner order without writing, and returns the form; 0 is an empty file.
fn check(conn: &Connection, forms: &Forms) -> Result<i64, Fault> {
    // Mark and form once more, from SQLite: the newest may still stand in the write-ahead log.
    let mark: i64 = conn.pragma_query_value(None, "application_id", |row| row.get(0))?;
    forms.refuse_other_mark(mark)?;
    let found: i64 = conn.pragma_query_value(None, "user_version", |row| row.get(0))?;
    refuse_newer(found, forms.newest)?;
    let tables: i64 = conn.query_row("SELECT count(*) FROM sqlite_schema", [], |row| row.get(0))?;
    if tables == 0 && found == 0 {
        return Ok(0);
    }
    if mark != forms.mark || found < 1 {
        return Err(forms.foreign());
    }
    check_order(conn, forms)?;
    Ok(found)
}

/// Checks the inner order of the whole, or of each table that is gone through.
fn check_order(conn: &Connection, forms: &Forms) -> Result<(), Fault> {
    let sql = "SELECT quick_check FROM sqlite_schema JOIN pragma_quick_check(sqlite_schema.name)
               WHERE type = 'table' AND name <> ?1 AND quick_check <> 'ok'";
    let found: Option<String> = match forms.unchecked {
        None => {
            let verdict: String = conn.query_row("PRAGMA quick_check(1)", [], |row| row.get(0))?;
            Some(verdict).filter(|verdict| verdict != "ok")
        }
        Some(long) => conn.query_row(sql, [long], |row| row.get(0)).optional()?,
    };
    found.map_or(Ok(()), |verdict| Err(Fault::Damaged(verdict)))
}

/// Copies the whole database to `practice.db.before-NNN`: written beside it, then renamed, so that
/// a copy of that name is always whole.
fn copy_beside(conn: &Connection, path: &Path, newest: i64) -> Result<(), Fault> {
    let copy = with_suffix(path, &format!(".before-{newest:03}"));
    let part = with_suffix(&copy, ".part");
    match fs::remove_file(&part) {
        Err(error) if error.kind() != ErrorKind::NotFound => return Err(error.into()),
        _ => {}
    }
    // An empty file first, for its permissions.
    drop(open_for_us(&part)?);
    conn.backup(MAIN_DB, &part, None)?;
    File::open(&part)?.sync_all()?;
    fs::rename(&part, &copy)?;
    copy.parent().map_or(Ok(()), sync_folder)
}

pub(in crate::store) fn with_suffix(path: &Path, suffix: &str) -> PathBuf {
    let mut name = OsString::from(path);
    name.push(suffix);
    PathBuf::from(name)
}

/// Brings the database to the newest form and sets how it is used from here on.
pub(in crate::store) fn raise(conn: &mut Connection, forms: &Forms) -> Result<(), Fault> {
    conn.pragma_update(None, "synchronous", "full")?;
    // A step may have to rebuild a table that others refer to.
    conn.pragma_update(None, "foreign_keys", false)?;
    conn.set_transaction_behavior(TransactionBehavior::Exclusive);
    forms.migrations.to_latest(conn)?;
    conn.set_transaction_behavior(TransactionBehavior::Immediate);
    conn.pragma_update(None, "foreign_keys", true)?;
    Ok(())
}

/// The number of this installation, drawn now where there is none yet.
fn install(conn: &mut Connection, seed: Seed, now: Moment) -> Result<u64, Fault> {
    let known: Option<i64> = conn
        .query_row("SELECT install FROM install", [], |row| row.get(0))
        .optional()?;
    if let Some(known) = known {
        return Ok(install_from_sql(known));
    }
    let install = seed.child("install", 0).0;
    conn.execute(
        "INSERT INTO install (only, install, created_ms) VALUES (1, ?1, ?2)",
        (install_to_sql(install), now.0),
    )?;
    Ok(install)
}

/// Makes new names in a folder durable; on other platforms that is the file system's own affair.
pub(in crate::store) fn sync_folder(dir: &Path) -> Result<(), Fault> {
    #[cfg(unix)]
    File::open(dir)?.sync_all()?;
    #[cfg(not(unix))]
    let _ = dir;
    Ok(())
}
