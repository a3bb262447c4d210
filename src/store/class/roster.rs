//! What learners are called, and who is in which group.

use std::collections::HashMap;

use crate::class::hand_in::LearnerId;
use crate::class::roster::{Called, Line, Place, Roster};
use crate::label::Label;
use crate::world::Moment;

use super::base::Base;
use super::{ClassStore, enrol, label_at, label_of, learner_at, learner_to_sql};
use crate::store::StoreError;
use crate::store::error::Fault;

impl ClassStore {
    /// Who is in which group, as learners are called now.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn roster(&self) -> Result<Roster, StoreError> {
        self.here(roster(&self.base))
    }

    /// What learners call themselves, of those whom the teacher calls otherwise.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn own_names(&self) -> Result<HashMap<LearnerId, Label>, StoreError> {
        self.here(own_names(&self.base))
    }

    /// The learner of this number, or the one to whom they were joined; `None` where there is none.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn whole(&self, learner: LearnerId) -> Result<Option<LearnerId>, StoreError> {
        self.here(whole(&self.base, learner))
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
        let outcome = call(&self.base, learner, name, now);
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
        let outcome = regroup(&self.base, group, put, out);
        self.here(outcome)
    }

    /// Takes a group away, with its list; its learners stay. False where there is none.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn disband(&mut self, group: &Label) -> Result<bool, StoreError> {
        let outcome = disband(&self.base, group);
        self.here(outcome)
    }

    /// Adds the lines of a list of the class, in one transaction, and returns how many were not here.
    ///
    /// # Errors
    /// When it cannot be written. Nothing is then changed.
    pub fn list(&mut self, lines: &[Line]) -> Result<u64, StoreError> {
        let outcome = list(&self.base, lines);
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
        let outcome = self
            .base
            .execute(sql, &[circle.into(), name.as_str().into()]);
        self.here(outcome.map(|n| n > 0))
    }
}

fn roster(base: &Base) -> Result<Roster, Fault> {
    let learners: Vec<Called> = enrol::learners(base)?
        .into_iter()
        .map(|enrolled| Called {
            learner: enrolled.learner,
            name: enrolled.name,
        })
        .collect();
    let groups = base.all("SELECT circle FROM circle", &[], |row| {
        label_at(row, 0, "circle")
    })?;
    let sql = "SELECT circle, coalesce(joined, member.learner) FROM member
               JOIN learner ON learner.learner = member.learner";
    let mut places = base.all(sql, &[], |row| {
        let group = label_at(row, 0, "member")?;
        Ok((Some(group), Place::ByNumber(learner_at(row, 1)?)))
    })?;
    let listed = base.all("SELECT circle, name FROM listed", &[], |row| {
        let group = match row.text(0)? {
            "" => None,
            circle => Some(label_of(circle, "listed")?),
        };
        Ok((group, Place::ByName(label_at(row, 1, "listed")?)))
    })?;
    places.extend(listed);
    Ok(Roster::new(&learners, groups, places))
}

/// What the teacher calls learners; of several names of one who was joined the latest stands.
pub(super) fn called(base: &Base) -> Result<HashMap<LearnerId, Label>, Fault> {
    let sql = "SELECT coalesce(joined, called.learner), called.name FROM called
               JOIN learner ON learner.learner = called.learner
               ORDER BY at_ms, called.name";
    let called = base.all(sql, &[], |row| {
        Ok((learner_at(row, 0)?, label_at(row, 1, "called")?))
    })?;
    Ok(called.into_iter().collect())
}

fn own_names(base: &Base) -> Result<HashMap<LearnerId, Label>, Fault> {
    let called = called(base)?;
    let sql = "SELECT learner, name FROM learner WHERE joined IS NULL";
    let mut own = HashMap::new();
    base.each(sql, &[], |row| {
        let learner = learner_at(row, 0)?;
        if called.contains_key(&learner) {
            own.insert(learner, label_at(row, 1, "learner")?);
        }
        Ok(())
    })?;
    Ok(own)
}

pub(super) fn whole(base: &Base, learner: LearnerId) -> Result<Option<LearnerId>, Fault> {
    let sql = "SELECT coalesce(joined, learner) FROM learner WHERE learner = ?1";
    base.one(sql, &[learner_to_sql(learner)], |row| learner_at(row, 0))
}

fn call(base: &Base, learner: LearnerId, name: Option<&Label>, now: Moment) -> Result<(), Fault> {
    base.whole(|base| {
        base.execute(
            "DELETE FROM called WHERE learner IN
                 (SELECT learner FROM learner WHERE coalesce(joined, learner) = ?1)",
            &[learner_to_sql(learner)],
        )?;
        if let Some(name) = name {
            base.execute(
                "INSERT INTO called (learner, name, at_ms) VALUES (?1, ?2, ?3)",
                &[learner_to_sql(learner), name.as_str().into(), now.0.into()],
            )?;
        }
        Ok(())
    })
}

const MAKE: &str = "INSERT INTO circle (circle) VALUES (?1) ON CONFLICT DO NOTHING";

fn regroup(base: &Base, group: &Label, put: &[LearnerId], out: &[LearnerId]) -> Result<(), Fault> {
    base.whole(|base| {
        base.execute(MAKE, &[group.as_str().into()])?;
        for learner in out {
            base.execute(
                "DELETE FROM member WHERE circle = ?1 AND learner IN
                     (SELECT learner FROM learner WHERE coalesce(joined, learner) = ?2)",
                &[group.as_str().into(), learner_to_sql(*learner)],
            )?;
        }
        for learner in put {
            base.execute(
                "INSERT INTO member (circle, learner) VALUES (?1, ?2) ON CONFLICT DO NOTHING",
                &[group.as_str().into(), learner_to_sql(*learner)],
            )?;
        }
        Ok(())
    })
}

fn disband(base: &Base, group: &Label) -> Result<bool, Fault> {
    base.whole(|base| {
        let mut n = 0;
        for table in ["member", "listed", "circle"] {
            let sql = format!("DELETE FROM {table} WHERE circle = ?1");
            n += base.execute(&sql, &[group.as_str().into()])?;
        }
        Ok(n > 0)
    })
}

fn list(base: &Base, lines: &[Line]) -> Result<u64, Fault> {
    base.whole(|base| {
        let mut n_new = 0;
        for line in lines {
            let circle = line.group.as_ref().map_or("", Label::as_str);
            if line.group.is_some() {
                base.execute(MAKE, &[circle.into()])?;
            }
            n_new += base.execute(
                "INSERT INTO listed (circle, name) VALUES (?1, ?2) ON CONFLICT DO NOTHING",
                &[circle.into(), line.name.as_str().into()],
            )?;
        }
        Ok(n_new)
    })
}
