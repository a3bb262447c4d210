//! What was worked out from the log, so that starting does not replay it.
//!
//! The bytes mean nothing here. The mark says by which rules they were made and up to which attempt
//! they go; when either does not match, the cache counts as absent and is made again.

use rusqlite::{Connection, OptionalExtension as _, Transaction};

use crate::quiz::Skill;
use crate::world::Day;

use super::error::Fault;
use super::{Store, StoreError, log};

/// What the cache holds of one skill: the skill, the day on which it is due, and its memory.
pub type CacheRow<'a> = (&'a Skill, Option<Day>, &'a [u8]);

/// What the cache holds of each skill.
pub type Cached = Vec<(Skill, Vec<u8>)>;

impl Store {
    /// The cache, when it was made by these `rules` and covers the whole log; else `None`, and it
    /// has to be made again.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn load_cache(&mut self, rules: u32) -> Result<Option<Cached>, StoreError> {
        let outcome = load(&self.conn, rules);
        self.cache_rules = matches!(outcome, Ok(Some(_))).then_some(rules);
        self.here(outcome)
    }

    /// Puts a new cache in the place of the old one, in one transaction. It is taken to cover the
    /// whole log as it stands.
    ///
    /// # Errors
    /// When it cannot be written; the old one then stands.
    pub fn rebuild_cache(
        &mut self,
        rules: u32,
        rows: impl IntoIterator<Item = (Skill, Option<Day>, Vec<u8>)>,
    ) -> Result<(), StoreError> {
        let outcome = rebuild(&mut self.conn, rules, rows);
        if outcome.is_ok() {
            self.cache_rules = Some(rules);
        }
        self.here(outcome)
    }
}

/// Sets what the cache holds of one skill.
pub(super) fn put(tx: &Transaction<'_>, (skill, due, bytes): CacheRow<'_>) -> Result<(), Fault> {
    let sql = "INSERT INTO cache (skill, due_day, bytes) VALUES (?1, ?2, ?3)
               ON CONFLICT (skill) DO UPDATE SET due_day = excluded.due_day, bytes = excluded.bytes";
    let mut statement = tx.prepare_cached(sql)?;
    statement.execute((&*skill.0, due.map(|day| day.0), bytes))?;
    Ok(())
}

/// Marks the cache as made by `rules` from the whole log as it stands.
pub(super) fn mark(tx: &Transaction<'_>, rules: u32) -> Result<(), Fault> {
    let now = log_end(tx)?;
    let sql = "INSERT INTO cache_mark (only, rules, n_attempts, install, sitting, number)
               VALUES (1, ?1, ?2, ?3, ?4, ?5)
               ON CONFLICT (only) DO UPDATE SET rules = excluded.rules,
                   n_attempts = excluded.n_attempts, install = excluded.install,
                   sitting = excluded.sitting, number = excluded.number";
    let mut statement = tx.prepare_cached(sql)?;
    statement.execute((rules, now.n_attempts, now.last.0, now.last.1, now.last.2))?;
    Ok(())
}

/// How far a log goes: its length, and the name of the attempt written last (zeros of none).
#[derive(PartialEq, Eq)]
struct LogEnd {
    n_attempts: i64,
    last: (i64, i64, i64),
}

fn log_end(conn: &Connection) -> Result<LogEnd, Fault> {
    let n_attempts = log::n_attempts(conn)?;
    let mut statement =
        conn.prepare_cached("SELECT install, sitting, number FROM attempt WHERE \"row\" = ?1")?;
    let last = statement
        .query_row([n_attempts], |row| {
            Ok((row.get(0)?, row.get(1)?, row.get(2)?))
        })
        .optional()?
        .unwrap_or_default();
    Ok(LogEnd { n_attempts, last })
}

fn marked_end(conn: &Connection, rules: u32) -> Result<Option<LogEnd>, Fault> {
    let sql = "SELECT n_attempts, install, sitting, number FROM cache_mark WHERE rules = ?1";
    let end = conn
        .query_row(sql, [rules], |row| {
            Ok(LogEnd {
                n_attempts: row.get(0)?,
                last: (row.get(1)?, row.get(2)?, row.get(3)?),
            })
        })
        .optional()?;
    Ok(end)
}

fn load(conn: &Connection, rules: u32) -> Result<Option<Cached>, Fault> {
    if marked_end(conn, rules)? != Some(log_end(conn)?) {
        return Ok(None);
    }
    let mut statement = conn.prepare_cached("SELECT skill, bytes FROM cache ORDER BY skill")?;
    let rows = statement.query_map([], |row| {
        let skill: Box<str> = row.get(0)?;
        Ok((Skill(skill), row.get(1)?))
    })?;
    Ok(Some(rows.collect::<rusqlite::Result<_>>()?))
}

fn rebuild(
    conn: &mut Connection,
    rules: u32,
    rows: impl IntoIterator<Item = (Skill, Option<Day>, Vec<u8>)>,
) -> Result<(), Fault> {
    let tx = conn.transaction()?;
    tx.execute("DELETE FROM cache", [])?;
    for (skill, due, bytes) in rows {
        put(&tx, (&skill, due, &bytes))?;
    }
    mark(&tx, rules)?;
    tx.commit()?;
    Ok(())
}
