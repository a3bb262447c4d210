//! The database of a class store: a file of our own, or a school's server.
//!
//! Read [`Base`] first. Every statement is written once, in SQL that both understand, with `?1`, `?2` …
//! for its values: no `max` of two values, numbers that are cast to BIGINT where they were added up, and
//! in `ON CONFLICT … DO UPDATE` the table before each column. What stands in rows are numbers of 64
//! bits and texts in the order of their bytes. Only adding attempts, of which there are millions, is
//! done in the way that is fast on each.

use rusqlite::{Connection, params_from_iter};

use super::damaged;
#[cfg(feature = "school")]
use super::server::{Server, ServerRow};
use crate::quiz::{Attempt, AttemptId};
use crate::store::error::Fault;
use crate::store::record::{self, COLUMNS, install_to_sql};
use crate::store::value::{Cells, Value};

/// An open database that is in order.
#[derive(Debug)]
pub(super) enum Base {
    File(Connection),
    #[cfg(feature = "school")]
    Server(Box<Server>),
}

impl Base {
    /// Does what changes rows, and returns how many it changed.
    pub(super) fn execute(&self, sql: &str, values: &[Value<'_>]) -> Result<u64, Fault> {
        match self {
            Self::File(conn) => {
                let mut statement = conn.prepare_cached(sql)?;
                let n = statement.execute(params_from_iter(values))?;
                Ok(u64::try_from(n).unwrap_or(u64::MAX))
            }
            #[cfg(feature = "school")]
            Self::Server(server) => server.execute(sql, values),
        }
    }

    /// Gives every row to `each`.
    pub(super) fn each(
        &self,
        sql: &str,
        values: &[Value<'_>],
        mut each: impl FnMut(&Row<'_>) -> Result<(), Fault>,
    ) -> Result<(), Fault> {
        match self {
            Self::File(conn) => {
                let mut statement = conn.prepare_cached(sql)?;
                let mut rows = statement.query(params_from_iter(values))?;
                while let Some(row) = rows.next()? {
                    each(&Row::File(row))?;
                }
                Ok(())
            }
            #[cfg(feature = "school")]
            Self::Server(server) => {
                let rows = server.query(sql, values)?;
                rows.iter().try_for_each(|row| each(&Row::Server(row)))
            }
        }
    }

    /// What `read` makes of every row.
    pub(super) fn all<T>(
        &self,
        sql: &str,
        values: &[Value<'_>],
        mut read: impl FnMut(&Row<'_>) -> Result<T, Fault>,
    ) -> Result<Vec<T>, Fault> {
        let mut all = Vec::new();
        self.each(sql, values, |row| {
            all.push(read(row)?);
            Ok(())
        })?;
        Ok(all)
    }

    /// What `read` makes of the only row; `None` where there is none.
    pub(super) fn one<T>(
        &self,
        sql: &str,
        values: &[Value<'_>],
        read: impl FnMut(&Row<'_>) -> Result<T, Fault>,
    ) -> Result<Option<T>, Fault> {
        Ok(self.all(sql, values, read)?.pop())
    }

    /// Does all of `change` or nothing, while nobody else changes what several statements change.
    pub(super) fn whole<T, E: From<Fault>>(
        &self,
        change: impl FnOnce(&Self) -> Result<T, E>,
    ) -> Result<T, E> {
        self.begin()?;
        let outcome = change(self).and_then(|done| {
            self.say("COMMIT")?;
            Ok(done)
        });
        if outcome.is_err() {
            // Where even this fails the connection is gone, and the transaction with it; and after a
            // failed COMMIT there may be nothing left to take back.
            self.say("ROLLBACK").ok();
        }
        outcome
    }

    /// Adds attempts, and says of each whether it was new. Its machine must be known.
    pub(super) fn add(&self, attempts: &[Attempt]) -> Result<Vec<bool>, Fault> {
        match self {
            Self::File(conn) => {
                let sql = format!("{} ON CONFLICT DO NOTHING", record::insert_sql());
                let mut insert = conn.prepare_cached(&sql)?;
                let add = |attempt| Ok(record::write(&mut insert, attempt)? == 1);
                attempts.iter().map(add).collect()
            }
            #[cfg(feature = "school")]
            Self::Server(server) => server.add(attempts),
        }
    }

    /// The attempts of these names, as they were made and in this order, without those that are not
    /// here.
    pub(super) fn named(&self, ids: &[AttemptId]) -> Result<Vec<Attempt>, Fault> {
        match self {
            Self::File(_) => {
                let sql = format!(
                    "SELECT {} FROM attempt WHERE install = ?1 AND sitting = ?2 AND number = ?3",
                    COLUMNS.join(", ")
                );
                let find = |id: &AttemptId| {
                    let key = [
                        install_to_sql(id.install).into(),
                        id.sitting.into(),
                        id.number.into(),
                    ];
                    self.one(&sql, &key, |row| row.attempt()).transpose()
                };
                ids.iter().filter_map(find).collect()
            }
            #[cfg(feature = "school")]
            Self::Server(server) => {
                let rows = server.named(ids)?;
                rows.iter().map(|row| Row::Server(row).attempt()).collect()
            }
        }
    }

    fn begin(&self) -> Result<(), Fault> {
        match self {
            Self::File(_) => self.say("BEGIN IMMEDIATE"),
            #[cfg(feature = "school")]
            Self::Server(server) => server.begin(),
        }
    }

    fn say(&self, sql: &str) -> Result<(), Fault> {
        match self {
            Self::File(conn) => Ok(conn.execute_batch(sql)?),
            #[cfg(feature = "school")]
            Self::Server(server) => server.say(sql),
        }
    }
}

/// A row of either.
pub(super) enum Row<'r> {
    File(&'r rusqlite::Row<'r>),
    #[cfg(feature = "school")]
    Server(&'r ServerRow),
}

impl Row<'_> {
    /// The number in a column.
    pub(super) fn number<T: TryFrom<i64>>(&self, column: usize) -> Result<T, Fault> {
        let number = self.number_at(column).and_then(|n| T::try_from(n).ok());
        number.ok_or_else(|| unreadable(column))
    }

    /// The number in a column, which may be missing.
    pub(super) fn number_or_none<T: TryFrom<i64>>(
        &self,
        column: usize,
    ) -> Result<Option<T>, Fault> {
        match self.is_null(column) {
            true => Ok(None),
            false => self.number(column).map(Some),
        }
    }

    /// The text in a column.
    pub(super) fn text(&self, column: usize) -> Result<&str, Fault> {
        self.text_at(column).ok_or_else(|| unreadable(column))
    }

    /// The text in a column, which may be missing.
    pub(super) fn text_or_none(&self, column: usize) -> Result<Option<&str>, Fault> {
        match self.is_null(column) {
            true => Ok(None),
            false => self.text(column).map(Some),
        }
    }

    /// The attempt in the first columns.
    pub(super) fn attempt(&self) -> Result<Attempt, Fault> {
        record::read(self).map_err(|unreadable| damaged(&unreadable))
    }
}

impl Cells for Row<'_> {
    fn number_at(&self, column: usize) -> Option<i64> {
        match self {
            Self::File(row) => row.number_at(column),
            #[cfg(feature = "school")]
            Self::Server(row) => row.number_at(column),
        }
    }

    fn text_at(&self, column: usize) -> Option<&str> {
        match self {
            Self::File(row) => row.text_at(column),
            #[cfg(feature = "school")]
            Self::Server(row) => row.text_at(column),
        }
    }

    fn is_null(&self, column: usize) -> bool {
        match self {
            Self::File(row) => row.is_null(column),
            #[cfg(feature = "school")]
            Self::Server(row) => row.is_null(column),
        }
    }
}

fn unreadable(column: usize) -> Fault {
    Fault::Damaged(format!("a row has no readable value in place {column}"))
}
