//! What learners are called, and who is in which group.

use std::collections::HashMap;

use rusqlite::{Connection, OptionalExtension as _};

use crate::class::hand_in::LearnerId;
use crate::class::roster::{Called, Line, Place, Roster};
use crate::label::Label;
use crate::world::Moment;

use super::{ClassStore, enrol, label_at, label_of, learner_of};
use crate::store::StoreError;
use crate::store::error::Fault;
use crate::store::record::install_to_sql;

impl ClassStore {
    /// Who is in which group, as learners are called now.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn roster(&self) -> Result<Roster, StoreError> {
        self.here(roster(&self.conn))
    }

    /// What learners call themselves, of those whom the teacher calls otherwise.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn own_names(&self) -> Result<HashMap<LearnerId, Label>, StoreError> {
        self.here(own_names(&self.conn))
    }

    /// The learner of this number, or the one to whom they were joined; `None` where there is none.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn whole(&self, learner: LearnerId) -> Result<Option<LearnerId>, StoreError> {
        self.here(whole(&self.conn, learner))
    }

    /// Calls a learner so from now on, or by `None` as they call themselves.
    ///
    /// # Errors
    /// When it cannot be written, or there is no such learner.
    pub fn call(
        &mut self,
        learner: LearnerId,
        name: Option<&Label>,
        now: Moment,
    ) -> Result<(), StoreError> {
        let outcome = call(&mut self.conn, learner, name, now);
        self.here(outcome)
    }

    /// Makes a group, and puts learners in and out, in one transaction.
    ///
    /// # Errors
    /// When it cannot be written, or there is no such learner. Nothing is then changed.
    pub fn regroup(
        &mut self,
        group: &Label,
        put: &[LearnerId],
        out: &[LearnerId],
    ) -> Result<(), StoreError> {
        let outcome = regroup(&mut self.conn, group, put, out);
        self.here(outcome)
    }

    /// Takes a group away, with its list; its learners stay. False where there is none.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn disband(&mut self, group: &Label) -> Result<bool, StoreError> {
        let outcome = disband(&mut self.conn, group);
        self.here(outcome)
    }

    /// Adds the lines of a list of the class, in one transaction, and returns how many were not here.
    ///
    /// # Errors
    /// When it cannot be written. Nothing is then changed.
    pub fn list(&mut self, lines: &[Line]) -> Result<u64, StoreError> {
        let outcome = list(&mut self.conn, lines);
        self.here(outcome)
    }

    /// Strikes a name from the list of a group, or by `None` from the lists without one. False where it
    /// was not there.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn strike(&mut self, group: Option<&Label>, name: &Label) -> Result<bool, StoreError> {
        let circle = group.map_or("", Label::as_str);
        let sql = "DELETE FROM listed WHERE circle = ?1 AND name = ?2";
        let outcome = self.conn.execute(sql, [circle, name.as_str()]);
        self.here(outcome.map(|n| n > 0).map_err(Into::into))
    }
}

fn roster(conn: &Connection) -> Result<Roster, Fault> {
    let learners: Vec<Called> = enrol::learners(conn)?
        .into_iter()
        .map(|enrolled| Called {
            learner: enrolled.learner,
            name: enrolled.name,
        })
        .collect();
    let mut groups = Vec::new();
    let mut statement = conn.prepare_cached("SELECT circle FROM circle")?;
    let mut rows = statement.query([])?;
    while let Some(row) = rows.next()? {
        groups.push(label_at(row, 0, "circle")?);
    }
    let mut places = Vec::new();
    let sql = "SELECT circle, coalesce(joined, member.learner) FROM member
               JOIN learner ON learner.learner = member.learner";
    let mut statement = conn.prepare_cached(sql)?;
    let mut rows = statement.query([])?;
    while let Some(row) = rows.next()? {
        let group = label_at(row, 0, "member")?;
        places.push((Some(group), Place::ByNumber(learner_of(row.get(1)?))));
    }
    let mut statement = conn.prepare_cached("SELECT circle, name FROM listed")?;
    let mut rows = statement.query([])?;
    while let Some(row) = rows.next()? {
        let circle: String = row.get(0)?;
        let group = match circle.as_str() {
            "" => None,
            _ => Some(label_of(&circle, "listed")?),
        };
        places.push((group, Place::ByName(label_at(row, 1, "listed")?)));
    }
    Ok(Roster::new(&learners, groups, places))
}

/// What the teacher calls learners; of several names of one who was joined the latest stands.
pub(super) fn called(conn: &Connection) -> Result<HashMap<LearnerId, Label>, Fault> {
    let sql = "SELECT coalesce(joined, called.learner), called.name FROM called
               JOIN learner ON learner.learner = called.learner
               ORDER BY at_ms, called.name";
    let mut statement = conn.prepare_cached(sql)?;
    let mut rows = statement.query([])?;
    let mut called = HashMap::new();
    while let Some(row) = rows.next()? {
        called.insert(learner_of(row.get(0)?), label_at(row, 1, "called")?);
    }
    Ok(called)
}

fn own_names(conn: &Connection) -> Result<HashMap<LearnerId, Label>, Fault> {
    let called = called(conn)?;
    let mut statement =
        conn.prepare_cached("SELECT learner, name FROM learner WHERE joined IS NULL")?;
    let mut rows = statement.query([])?;
    let mut own = HashMap::new();
    while let Some(row) = rows.next()? {
        let learner = learner_of(row.get(0)?);
        if called.contains_key(&learner) {
            own.insert(learner, label_at(row, 1, "learner")?);
        }
    }
    Ok(own)
}

fn whole(conn: &Connection, learner: LearnerId) -> Result<Option<LearnerId>, Fault> {
    let sql = "SELECT coalesce(joined, learner) FROM learner WHERE learner = ?1";
    let found = conn
        .prepare_cached(sql)?
        .query_row([install_to_sql(learner.0)], |row| row.get(0))
        .optional()?;
    Ok(found.map(learner_of))
}

fn call(
    conn: &mut Connection,
    learner: LearnerId,
    name: Option<&Label>,
    now: Moment,
) -> Result<(), Fault> {
    let tx = conn.transaction()?;
    let kept = install_to_sql(learner.0);
    tx.execute(
        "DELETE FROM called WHERE learner IN
             (SELECT learner FROM learner WHERE coalesce(joined, learner) = ?1)",
        [kept],
    )?;
    if let Some(name) = name {
        tx.execute(
            "INSERT INTO called (learner, name, at_ms) VALUES (?1, ?2, ?3)",
            (kept, name.as_str(), now.0),
        )?;
    }
    Ok(tx.commit()?)
}

fn regroup(
    conn: &mut Connection,
    group: &Label,
    put: &[LearnerId],
    out: &[LearnerId],
) -> Result<(), Fault> {
    let tx = conn.transaction()?;
    tx.execute(
        "INSERT INTO circle (circle) VALUES (?1) ON CONFLICT DO NOTHING",
        [group.as_str()],
    )?;
    for learner in out {
        tx.prepare_cached(
            "DELETE FROM member WHERE circle = ?1 AND learner IN
                 (SELECT learner FROM learner WHERE coalesce(joined, learner) = ?2)",
        )?
        .execute((group.as_str(), install_to_sql(learner.0)))?;
    }
    for learner in put {
        tx.prepare_cached(
            "INSERT INTO member (circle, learner) VALUES (?1, ?2) ON CONFLICT DO NOTHING",
        )?
        .execute((group.as_str(), install_to_sql(learner.0)))?;
    }
    Ok(tx.commit()?)
}

fn disband(conn: &mut Connection, group: &Label) -> Result<bool, Fault> {
    let tx = conn.transaction()?;
    let mut n = 0;
    for table in ["member", "listed", "circle"] {
        let sql = format!("DELETE FROM {table} WHERE circle = ?1");
        n += tx.execute(&sql, [group.as_str()])?;
    }
    tx.commit()?;
    Ok(n > 0)
}

fn list(conn: &mut Connection, lines: &[Line]) -> Result<u64, Fault> {
    let tx = conn.transaction()?;
    let mut n_new = 0_u64;
    for line in lines {
        let circle = line.group.as_ref().map_or("", Label::as_str);
        if line.group.is_some() {
            tx.prepare_cached("INSERT INTO circle (circle) VALUES (?1) ON CONFLICT DO NOTHING")?
                .execute([circle])?;
        }
        let n = tx
            .prepare_cached(
                "INSERT INTO listed (circle, name) VALUES (?1, ?2) ON CONFLICT DO NOTHING",
            )?
            .execute([circle, line.name.as_str()])?;
        n_new += u64::try_from(n).unwrap_or(0);
    }
    tx.commit()?;
    Ok(n_new)
}
