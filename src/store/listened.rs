//! What was listened to without a question.

use std::collections::HashMap;

use crate::quiz::Skill;
use crate::world::{Day, Moment, Seed};

use super::record::install_to_sql;
use super::{Store, StoreError};

/// A phrase that was listened to, and told what it was.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Listened {
    /// Of which skill.
    pub skill: Skill,
    /// When.
    pub at: Moment,
    /// On which learning day.
    pub day: Day,
    /// What the phrase was made from.
    pub seed: Seed,
    /// The version of the generator that made it.
    pub generator: u32,
}

impl Store {
    /// Keeps that a phrase was listened to.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn keep_listened(&mut self, listened: &Listened) -> Result<(), StoreError> {
        let sql = "INSERT INTO listened (install, skill, at_ms, day, seed, generator)
                   VALUES (?1, ?2, ?3, ?4, ?5, ?6)";
        let outcome = self.conn.execute(
            sql,
            (
                install_to_sql(self.install),
                &*listened.skill.0,
                listened.at.0,
                listened.day.0,
                listened.seed.0.cast_signed(),
                listened.generator,
            ),
        );
        self.here(outcome.map(drop).map_err(Into::into))
    }

    /// How many phrases of each skill were listened to; those without any are left out.
    ///
    /// # Errors
    /// When they cannot be counted.
    pub fn n_listened(&self) -> Result<HashMap<Skill, u32>, StoreError> {
        self.here(self.count_listened().map_err(Into::into))
    }

    fn count_listened(&self) -> rusqlite::Result<HashMap<Skill, u32>> {
        let sql = "SELECT skill, count(*) FROM listened GROUP BY skill";
        let mut statement = self.conn.prepare(sql)?;
        let counted = statement.query_map([], |row| {
            Ok((Skill(row.get::<_, String>(0)?.into()), row.get(1)?))
        })?;
        counted.collect()
    }
}
