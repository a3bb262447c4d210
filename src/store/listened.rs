//! What was listened to without a question.

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

    /// How many phrases of a skill were listened to.
    ///
    /// # Errors
    /// When they cannot be counted.
    pub fn n_listened(&self, skill: &Skill) -> Result<u32, StoreError> {
        let sql = "SELECT count(*) FROM listened WHERE skill = ?1";
        let outcome = self.conn.query_row(sql, [&*skill.0], |row| row.get(0));
        self.here(outcome.map_err(Into::into))
    }
}
