//! The log of attempts.

use rusqlite::{Connection, OptionalExtension as _, Params, Row, Transaction};

use crate::quiz::{Attempt, AttemptId, Skill};
use crate::world::{Day, Moment};

use super::error::Fault;
use super::record::{self, COLUMNS, install_to_sql};
use super::{CacheRow, Store, StoreError, cache};

/// What came of joining two logs.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub struct Merged {
    /// Attempts that were not here yet.
    pub new: u64,
    /// Attempts that were here already, and the same.
    pub known: u64,
}

impl Store {
    /// Begins a sitting at `now` and returns its number, from 1; none is given twice.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn begin_sitting(&mut self, now: Moment) -> Result<u32, StoreError> {
        let outcome = begin_sitting(&mut self.conn, self.install, now);
        self.here(outcome)
    }

    /// Adds `attempt`, and what the cache now holds of its skill, in one transaction. The attempt
    /// is on the disk when this returns. An attempt that is here already, and is the same, changes
    /// nothing.
    ///
    /// The cache is kept up only while it covers the whole log: from
    /// [`load_cache`](Self::load_cache) or [`rebuild_cache`](Self::rebuild_cache) on, until an
    /// attempt is added without it.
    ///
    /// # Errors
    /// When it cannot be written, or its name stands for another attempt. Nothing is kept of it.
    pub fn append(
        &mut self,
        attempt: &Attempt,
        cache: Option<CacheRow<'_>>,
    ) -> Result<(), StoreError> {
        let kept_up = self.cache_rules.zip(cache);
        let outcome = append(&mut self.conn, attempt, kept_up);
        if matches!(outcome, Ok(Added::New)) && cache.is_none() {
            self.cache_rules = None;
        }
        self.here(outcome.map(|_| ()))
    }

    /// Adds attempts from elsewhere in one transaction: all of them or none. The order in which
    /// they come does not matter, nor how often.
    ///
    /// # Errors
    /// When they cannot be written, or one has the name of another attempt.
    pub fn merge(
        &mut self,
        attempts: impl IntoIterator<Item = Attempt>,
    ) -> Result<Merged, StoreError> {
        let outcome = merge(&mut self.conn, attempts);
        if matches!(outcome, Ok(Merged { new: 1.., .. })) {
            self.cache_rules = None;
        }
        self.here(outcome)
    }

    /// Reads every attempt in the order of replay: by day, then moment, then name.
    ///
    /// # Errors
    /// When a row cannot be read; `each` has then seen those before it.
    pub fn attempts(&self, each: impl FnMut(Attempt)) -> Result<(), StoreError> {
        self.here(read_log(&self.conn, "", (), each))
    }

    /// Reads all attempts in the same order without their phrases and taps, which is faster: for what
    /// is computed from answers alone. They count as judged: by the right answer where a label was
    /// overruled, and without those at phrases that were withdrawn.
    ///
    /// # Errors
    /// When a row cannot be read.
    pub fn answers(&self, mut each: impl FnMut(Attempt)) -> Result<(), StoreError> {
        let columns = COLUMNS.map(|column| match column {
            "phrase" | "taps_ms" => "''",
            column => column,
        });
        let rulings = self.rulings()?;
        let judged = |attempt| {
            if let Some(attempt) = rulings.judged(attempt) {
                each(attempt);
            }
        };
        self.here(read_columns(
            &self.conn,
            &columns.join(", "),
            "",
            (),
            judged,
        ))
    }

    /// Reads the attempts of one skill, in the same order.
    ///
    /// # Errors
    /// When a row cannot be read.
    pub fn attempts_of(&self, skill: &Skill, each: impl FnMut(Attempt)) -> Result<(), StoreError> {
        self.here(read_log(&self.conn, "WHERE skill = ?1", [&*skill.0], each))
    }

    /// The moment of the last attempt made here, if any. The next one's is later than this,
    /// whatever the wall clock says.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn last_at(&self) -> Result<Option<Moment>, StoreError> {
        self.here(last_at(&self.conn, self.install))
    }

    /// How many attempts there are on each of the `n_days` days that end with `last`, in order.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn counts_by_day(&self, last: Day, n_days: u16) -> Result<Vec<(Day, u32)>, StoreError> {
        self.here(counts_by_day(&self.conn, last, n_days))
    }

    /// Checks everything: the order inside the file, every index, every row. Returns the number of
    /// attempts. A million take some seconds.
    ///
    /// # Errors
    /// When anything is damaged.
    pub fn check(&self) -> Result<u64, StoreError> {
        self.here(check(&self.conn))
    }
}

/// How many attempts the log holds. No row is ever removed, so the last number is the count.
pub(super) fn n_attempts(conn: &Connection) -> rusqlite::Result<i64> {
    conn.prepare_cached("SELECT coalesce(max(\"row\"), 0) FROM attempt")?
        .query_row([], |row| row.get(0))
}

#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum Added {
    New,
    Known,
}

fn begin_sitting(conn: &mut Connection, install: u64, now: Moment) -> Result<u32, Fault> {
    let tx = conn.transaction()?;
    // Attempts count too: a store that was brought back from a copy may know attempts of sittings
    // that it never began.
    let last: i64 = tx.query_row(
        "SELECT max(coalesce((SELECT max(sitting) FROM sitting), 0),
                    coalesce((SELECT max(sitting) FROM attempt WHERE install = ?1), 0))",
        [install_to_sql(install)],
        |row| row.get(0),
    )?;
    let next = u32::try_from(last.saturating_add(1))
        .map_err(|_| Fault::Other("every number of a sitting is used up".to_owned()))?;
    tx.execute(
        "INSERT INTO sitting (sitting, began_ms) VALUES (?1, ?2)",
        (next, now.0),
    )?;
    tx.commit()?;
    Ok(next)
}

fn append(
    conn: &mut Connection,
    attempt: &Attempt,
    kept_up: Option<(u32, CacheRow<'_>)>,
) -> Result<Added, Fault> {
    let tx = conn.transaction()?;
    let added = add(&tx, attempt)?;
    if let (Added::New, Some((rules, row))) = (added, kept_up) {
        cache::put(&tx, row)?;
        cache::mark(&tx, rules)?;
    }
    tx.commit()?;
    Ok(added)
}

fn merge(
    conn: &mut Connection,
    attempts: impl IntoIterator<Item = Attempt>,
) -> Result<Merged, Fault> {
    let tx = conn.transaction()?;
    let mut merged = Merged::default();
    for attempt in attempts {
        match add(&tx, &attempt)? {
            Added::New => merged.new += 1,
            Added::Known => merged.known += 1,
        }
    }
    tx.commit()?;
    Ok(merged)
}

pub(super) fn add(tx: &Transaction<'_>, attempt: &Attempt) -> Result<Added, Fault> {
    if let Some(known) = find(tx, attempt.id)? {
        return if record::are_same(&known, attempt) {
            Ok(Added::Known)
        } else {
            Err(Fault::Differs(attempt.id))
        };
    }
    let sql = record::insert_sql();
    record::write(&mut *tx.prepare_cached(&sql)?, attempt)?;
    Ok(Added::New)
}

fn find(conn: &Connection, id: AttemptId) -> Result<Option<Attempt>, Fault> {
    let mut found = None;
    let place = "WHERE install = ?1 AND sitting = ?2 AND number = ?3";
    let id = (install_to_sql(id.install), id.sitting, id.number);
    read_log(conn, place, id, |attempt| found = Some(attempt))?;
    Ok(found)
}

pub(super) fn read_log(
    conn: &Connection,
    place: &str,
    params: impl Params,
    each: impl FnMut(Attempt),
) -> Result<(), Fault> {
    read_columns(conn, &COLUMNS.join(", "), place, params, each)
}

/// Reads the log with these columns in the place of [`COLUMNS`].
fn read_columns(
    conn: &Connection,
    columns: &str,
    place: &str,
    params: impl Params,
    mut each: impl FnMut(Attempt),
) -> Result<(), Fault> {
    let sql = format!(
        "SELECT {columns}, \"row\" FROM attempt {place}
         ORDER BY day, at_ms, install, sitting, number"
    );
    let mut statement = conn.prepare_cached(&sql)?;
    let mut rows = statement.query(params)?;
    while let Some(row) = rows.next()? {
        each(record::read(row).map_err(|unreadable| damaged(row, &unreadable))?);
    }
    Ok(())
}

fn damaged(row: &Row<'_>, unreadable: &record::Unreadable) -> Fault {
    let number: i64 = row.get(COLUMNS.len()).unwrap_or(0);
    let column = unreadable.0.trim_matches('"');
    Fault::Damaged(format!(
        "row {number} of the table attempt has no readable {column}"
    ))
}

fn last_at(conn: &Connection, install: u64) -> Result<Option<Moment>, Fault> {
    // Moments rise with the names given here, so the last name has the last moment; and the index
    // over names answers without a walk through the log.
    let sql = "SELECT at_ms FROM attempt WHERE install = ?1
               ORDER BY sitting DESC, number DESC LIMIT 1";
    let last = conn
        .query_row(sql, [install_to_sql(install)], |row| row.get(0))
        .optional()?;
    Ok(last.map(Moment))
}

fn counts_by_day(conn: &Connection, last: Day, n_days: u16) -> Result<Vec<(Day, u32)>, Fault> {
    let mut statement = conn.prepare_cached("SELECT count(*) FROM attempt WHERE day = ?1")?;
    let mut counts = Vec::with_capacity(usize::from(n_days));
    for back in (0..i32::from(n_days)).rev() {
        let day = last.plus(-back);
        counts.push((day, statement.query_row([day.0], |row| row.get(0))?));
    }
    Ok(counts)
}

fn check(conn: &Connection) -> Result<u64, Fault> {
    let verdict: String = conn.query_row("PRAGMA integrity_check(1)", [], |row| row.get(0))?;
    if verdict != "ok" {
        return Err(Fault::Damaged(verdict));
    }
    let lost: Option<String> = conn
        .query_row("PRAGMA foreign_key_check", [], |row| row.get(0))
        .optional()?;
    if let Some(table) = lost {
        return Err(Fault::Damaged(format!(
            "a row of the table {table} speaks of an attempt that is not there"
        )));
    }
    let mut count = 0_u64;
    read_log(conn, "", (), |_| count += 1)?;
    if i64::try_from(count) != Ok(n_attempts(conn)?) {
        return Err(Fault::Damaged(
            "rows of the table attempt are missing".to_owned(),
        ));
    }
    super::dispute::read_all(conn)?;
    super::setting::read(conn)?;
    Ok(count)
}
