//! What a learner settled once.

use rusqlite::{Connection, OptionalExtension as _};

use crate::rhythm::Counting;
use crate::world::Moment;

use super::error::Fault;
use super::{Store, StoreError};

const COUNTING: &str = "counting";
const CAUTIONED: &str = "cautioned_ms";

/// The settings of the learner of this store.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub struct Settings {
    /// How they speak the counts; `None` until they were asked.
    pub counting: Option<Counting>,
    /// When they were told how to set a safe loudness; `None` until they were.
    pub cautioned: Option<Moment>,
}

impl Store {
    /// The settings as they stand.
    ///
    /// # Errors
    /// When they cannot be read.
    pub fn settings(&self) -> Result<Settings, StoreError> {
        self.here(read(&self.conn))
    }

    /// Keeps `settings` from now on, in one transaction. Settings that only a newer program knows
    /// are left as they are.
    ///
    /// # Errors
    /// When they cannot be written; the old ones then stand.
    pub fn save_settings(&mut self, settings: Settings) -> Result<(), StoreError> {
        let outcome = write(&mut self.conn, settings);
        self.here(outcome)
    }
}

/// The settings as they stand.
pub(super) fn read(conn: &Connection) -> Result<Settings, Fault> {
    Ok(Settings {
        counting: read_one(conn, COUNTING, counting_of)?,
        cautioned: read_one(conn, CAUTIONED, |text| text.parse().ok().map(Moment))?,
    })
}

fn read_one<T>(
    conn: &Connection,
    name: &str,
    meaning: impl Fn(&str) -> Option<T>,
) -> Result<Option<T>, Fault> {
    let mut statement =
        conn.prepare_cached("SELECT value, \"row\" FROM setting WHERE name = ?1")?;
    let found: Option<(String, i64)> = statement
        .query_row([name], |row| Ok((row.get(0)?, row.get(1)?)))
        .optional()?;
    let Some((text, number)) = found else {
        return Ok(None);
    };
    let value = meaning(&text).ok_or_else(|| {
        Fault::Damaged(format!(
            "row {number} of the table setting has no readable value of {name}"
        ))
    })?;
    Ok(Some(value))
}

fn write(conn: &mut Connection, settings: Settings) -> Result<(), Fault> {
    let tx = conn.transaction()?;
    let cautioned = settings.cautioned.map(|moment| moment.0.to_string());
    write_one(&tx, COUNTING, settings.counting.map(counting_id))?;
    write_one(&tx, CAUTIONED, cautioned.as_deref())?;
    tx.commit()?;
    Ok(())
}

fn write_one(conn: &Connection, name: &str, value: Option<&str>) -> Result<(), Fault> {
    let Some(value) = value else {
        conn.execute("DELETE FROM setting WHERE name = ?1", [name])?;
        return Ok(());
    };
    conn.execute(
        "INSERT INTO setting (name, value) VALUES (?1, ?2)
         ON CONFLICT (name) DO UPDATE SET value = excluded.value",
        [name, value],
    )?;
    Ok(())
}

fn counting_id(counting: Counting) -> &'static str {
    match counting {
        Counting::FromOne => "from-one",
        Counting::FromLast => "from-last",
        Counting::UnDos => "un-dos",
    }
}

fn counting_of(id: &str) -> Option<Counting> {
    Counting::ALL
        .into_iter()
        .find(|counting| counting_id(*counting) == id)
}
