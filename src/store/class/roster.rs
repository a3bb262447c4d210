//! What learners are called, and who is in which group.

use std::collections::{BTreeMap, BTreeSet, HashMap, HashSet};

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
        let outcome = strike(&self.base, group, name);
        self.here(outcome)
    }
}

fn roster(base: &Base) -> Result<Roster, Fault> {
    let mut own = own_names(base)?;
    let learners: Vec<Called> = enrol::learners(base)?
        .into_iter()
        .map(|enrolled| Called {
            own: own.remove(&enrolled.learner),
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
    let listed = listed(base)?.into_iter();
    let listed = listed.map(|(group, name)| (group, Place::ByName(name)));
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

/// A name as it is spelt here, by its folded form; of several spellings the first in order.
type Spelt = BTreeMap<String, BTreeSet<Label>>;

fn folded(names: impl IntoIterator<Item = Label>) -> Spelt {
    let mut spelt = Spelt::new();
    for name in names {
        spelt.entry(name.folded()).or_default().insert(name);
    }
    spelt
}

/// The groups, as they are spelt.
fn circles(base: &Base) -> Result<Spelt, Fault> {
    let circles = base.all("SELECT circle FROM circle", &[], |row| {
        label_at(row, 0, "circle")
    })?;
    Ok(folded(circles))
}

/// How a group is spelt here; as it is given where it is not here.
fn spellings(spelt: &Spelt, group: &Label) -> BTreeSet<Label> {
    let known = spelt.get(&group.folded());
    known
        .cloned()
        .unwrap_or_else(|| BTreeSet::from([group.clone()]))
}

fn regroup(base: &Base, group: &Label, put: &[LearnerId], out: &[LearnerId]) -> Result<(), Fault> {
    base.whole(|base| {
        let spelt = spellings(&circles(base)?, group);
        for learner in out {
            for group in &spelt {
                base.execute(
                    "DELETE FROM member WHERE circle = ?1 AND learner IN
                         (SELECT learner FROM learner WHERE coalesce(joined, learner) = ?2)",
                    &[group.as_str().into(), learner_to_sql(*learner)],
                )?;
            }
        }
        let group = spelt.first().unwrap_or(group);
        base.execute(MAKE, &[group.as_str().into()])?;
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
        for group in spellings(&circles(base)?, group) {
            for table in ["member", "listed", "circle"] {
                let sql = format!("DELETE FROM {table} WHERE circle = ?1");
                n += base.execute(&sql, &[group.as_str().into()])?;
            }
        }
        Ok(n > 0)
    })
}

fn strike(base: &Base, group: Option<&Label>, name: &Label) -> Result<bool, Fault> {
    let group = group.map(Label::folded);
    base.whole(|base| {
        let mut n = 0;
        for (circle, listed) in listed(base)? {
            let is_it = circle.as_ref().map(Label::folded) == group;
            if is_it && listed.folded() == name.folded() {
                let circle = circle.as_ref().map_or("", Label::as_str);
                let sql = "DELETE FROM listed WHERE circle = ?1 AND name = ?2";
                n += base.execute(sql, &[circle.into(), listed.as_str().into()])?;
            }
        }
        Ok(n > 0)
    })
}

/// The lines of all lists.
fn listed(base: &Base) -> Result<Vec<(Option<Label>, Label)>, Fault> {
    base.all("SELECT circle, name FROM listed", &[], |row| {
        let group = match row.text(0)? {
            "" => None,
            circle => Some(label_of(circle, "listed")?),
        };
        Ok((group, label_at(row, 1, "listed")?))
    })
}

fn list(base: &Base, lines: &[Line]) -> Result<u64, Fault> {
    base.whole(|base| {
        let mut spelt = circles(base)?;
        let key = |group: &Option<Label>, name: &Label| {
            (group.as_ref().map(Label::folded), name.folded())
        };
        let known = listed(base)?;
        let mut known: HashSet<_> = known.iter().map(|(group, name)| key(group, name)).collect();
        let mut n_new = 0;
        for line in lines {
            if !known.insert(key(&line.group, &line.name)) {
                continue;
            }
            let group = line.group.as_ref().and_then(|group| {
                let known = spelt.entry(group.folded());
                let known = known.or_insert_with(|| BTreeSet::from([group.clone()]));
                known.first().cloned()
            });
            let circle = group.as_ref().map_or("", Label::as_str);
            if group.is_some() {
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
