//! What of a practice store travels in hand-ins, and what comes back from them.

use rusqlite::Connection;

use crate::class::hand_in::{Doubt, Item, LearnerId, Machine, Refusal};
use crate::label::Label;
use crate::quiz::Attempt;
use crate::world::Day;

use super::error::Fault;
use super::log::{self, Added};
use super::record::{install_from_sql, install_to_sql};
use super::setting::{read_one, write_one};
use super::{Merged, Store, StoreError};

const LEARNER_IDS: &str = "learner_ids";
const LEARNER_NAME: &str = "learner_name";
const HANDED_IN: &str = "handed_in_rows";

/// Whose practice it is.
#[derive(Clone, Debug, PartialEq, Eq, Default)]
pub struct Identity {
    /// The numbers under which the learner is known, the least first: that one is used. More than
    /// one where machines did not know of each other at first; none until something travelled.
    pub ids: Vec<LearnerId>,
    /// What the learner is called.
    pub name: Option<Label>,
}

/// Which attempts are wanted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Selection {
    /// All.
    All,
    /// Those since the last hand-in.
    New,
    /// Those of this day and later ones.
    From(Day),
}

/// What a selection came to. The log grows at its end alone, so that it stays what it is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Chosen {
    after_row: i64,
    until_row: i64,
    from_day: Day,
    /// How many attempts.
    pub n_attempts: u64,
    /// The first day and the last.
    pub days: Option<(Day, Day)>,
    /// The decks that were practised.
    pub decks: Vec<Label>,
}

impl Store {
    /// Whose practice it is, as far as that is known.
    ///
    /// # Errors
    /// When it cannot be read.
    pub fn identity(&self) -> Result<Identity, StoreError> {
        self.here(identity(&self.conn))
    }

    /// Keeps whose practice it is from now on.
    ///
    /// # Errors
    /// When it cannot be written; the old one then stands.
    pub fn save_identity(&mut self, identity: &Identity) -> Result<(), StoreError> {
        let outcome = save_identity(&mut self.conn, identity);
        self.here(outcome)
    }

    /// On which machines the attempts of this log were made, and how many on each.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn machines(&self) -> Result<Vec<Machine>, StoreError> {
        self.here(machines(&self.conn))
    }

    /// Looks which attempts are meant.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn choose(&self, selection: Selection) -> Result<Chosen, StoreError> {
        self.here(choose(&self.conn, selection))
    }

    /// Reads the chosen attempts in the order of replay.
    ///
    /// # Errors
    /// When a row cannot be read.
    pub fn chosen(&self, chosen: &Chosen, each: impl FnMut(Attempt)) -> Result<(), StoreError> {
        let place = "WHERE \"row\" > ?1 AND \"row\" <= ?2 AND day >= ?3";
        let range = (chosen.after_row, chosen.until_row, chosen.from_day.0);
        self.here(log::read_log(&self.conn, place, range, each))
    }

    /// Remembers that everything up to the end of `chosen` was handed in.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn save_handed_in(&mut self, chosen: &Chosen) -> Result<(), StoreError> {
        let rows = chosen.until_row.to_string();
        self.here(write_one(&self.conn, HANDED_IN, Some(&rows)))
    }

    /// Adds what a hand-in of the same learner holds, in one transaction: all of it or nothing. The
    /// cache then counts as absent, so that memory is reckoned from the whole log again. Doubts about
    /// attempts that are not here wait for a hand-in that has both.
    ///
    /// The inner outcome is that of the hand-in.
    ///
    /// # Errors
    /// When it cannot be written, or one has the name of another attempt.
    pub fn merge_items(
        &mut self,
        items: impl IntoIterator<Item = Result<Item, Refusal>>,
        identity: &Identity,
    ) -> Result<Result<Merged, Refusal>, StoreError> {
        let outcome = merge_items(&mut self.conn, items, identity);
        if matches!(outcome, Ok(Ok(Merged { new: 1.., .. }))) {
            self.cache_rules = None;
        }
        self.here(outcome)
    }
}

fn identity(conn: &Connection) -> Result<Identity, Fault> {
    let ids = |text: &str| text.split(' ').map(LearnerId::from_text).collect();
    Ok(Identity {
        ids: read_one(conn, LEARNER_IDS, ids)?.unwrap_or_default(),
        name: read_one(conn, LEARNER_NAME, |text| Label::new(text).ok())?,
    })
}

fn save_identity(conn: &mut Connection, identity: &Identity) -> Result<(), Fault> {
    let tx = conn.transaction()?;
    write_identity(&tx, identity)?;
    Ok(tx.commit()?)
}

fn write_identity(conn: &Connection, identity: &Identity) -> Result<(), Fault> {
    let ids: Vec<String> = identity.ids.iter().map(LearnerId::to_string).collect();
    let ids = (!ids.is_empty()).then(|| ids.join(" "));
    write_one(conn, LEARNER_IDS, ids.as_deref())?;
    write_one(
        conn,
        LEARNER_NAME,
        identity.name.as_ref().map(Label::as_str),
    )
}

fn machines(conn: &Connection) -> Result<Vec<Machine>, Fault> {
    let sql = "SELECT install, count(*) FROM attempt GROUP BY install ORDER BY install";
    let mut statement = conn.prepare_cached(sql)?;
    let rows = statement.query_map([], |row| {
        Ok(Machine {
            install: install_from_sql(row.get(0)?),
            n_made: row.get::<_, i64>(1)?.unsigned_abs(),
        })
    })?;
    Ok(rows.collect::<rusqlite::Result<_>>()?)
}

fn choose(conn: &Connection, selection: Selection) -> Result<Chosen, Fault> {
    let handed_in = |text: &str| text.parse().ok();
    let after_row = match selection {
        Selection::New => read_one(conn, HANDED_IN, handed_in)?.unwrap_or(0),
        Selection::All | Selection::From(_) => 0,
    };
    let from_day = match selection {
        Selection::From(day) => day,
        Selection::All | Selection::New => Day(i32::MIN),
    };
    let until_row = log::n_attempts(conn)?;
    let range = (after_row, until_row, from_day.0);
    let place = "FROM attempt WHERE \"row\" > ?1 AND \"row\" <= ?2 AND day >= ?3";
    let sql = format!("SELECT count(*), min(day), max(day) {place}");
    let (n_attempts, first, last) = conn.query_row(&sql, range, |row| {
        Ok((
            row.get::<_, i64>(0)?.unsigned_abs(),
            row.get::<_, Option<i32>>(1)?,
            row.get::<_, Option<i32>>(2)?,
        ))
    })?;
    Ok(Chosen {
        after_row,
        until_row,
        from_day,
        n_attempts,
        days: first.map(Day).zip(last.map(Day)),
        decks: decks(conn, place, range)?,
    })
}

/// The decks of the skills that were practised.
fn decks(conn: &Connection, place: &str, range: (i64, i64, i32)) -> Result<Vec<Label>, Fault> {
    let sql = format!("SELECT DISTINCT substr(skill, 1, instr(skill, '/') - 1) {place} ORDER BY 1");
    let mut statement = conn.prepare(&sql)?;
    let texts = statement.query_map(range, |row| row.get::<_, String>(0))?;
    let texts: Vec<String> = texts.collect::<rusqlite::Result<_>>()?;
    Ok(texts
        .iter()
        .filter_map(|text| Label::new(text).ok())
        .collect())
}

fn merge_items(
    conn: &mut Connection,
    items: impl IntoIterator<Item = Result<Item, Refusal>>,
    identity: &Identity,
) -> Result<Result<Merged, Refusal>, Fault> {
    let tx = conn.transaction()?;
    let mut merged = Merged::default();
    for item in items {
        match item {
            Ok(Item::Attempt(attempt)) => match log::add(&tx, &attempt)? {
                Added::New => merged.new += 1,
                Added::Known => merged.known += 1,
            },
            Ok(Item::Dispute(doubt)) => add_doubt(&tx, &doubt)?,
            // The transaction ends without a commit.
            Err(refusal) => return Ok(Err(refusal)),
        }
    }
    write_identity(&tx, identity)?;
    tx.commit()?;
    Ok(Ok(merged))
}

/// Adds a doubt about an attempt that is here, unless it is here too.
fn add_doubt(conn: &Connection, doubt: &Doubt) -> Result<(), Fault> {
    let sql = "INSERT INTO dispute (install, sitting, number, skill, seed, generator, at_ms, note)
               SELECT install, sitting, number, skill, seed, generator, ?4, ?5 FROM attempt
               WHERE install = ?1 AND sitting = ?2 AND number = ?3 AND NOT EXISTS (
                   SELECT 1 FROM dispute AS known
                   WHERE known.install = ?1 AND known.sitting = ?2 AND known.number = ?3
                       AND known.at_ms = ?4 AND known.note IS ?5)";
    let id = doubt.attempt;
    conn.prepare_cached(sql)?.execute((
        install_to_sql(id.install),
        id.sitting,
        id.number,
        doubt.at.0,
        doubt.note.as_ref().map(Label::as_str),
    ))?;
    Ok(())
}
