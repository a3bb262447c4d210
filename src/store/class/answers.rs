//! What a report is reckoned from.

use rusqlite::Connection;

use super::{ClassStore, damaged, enrol, learner_of};
use crate::class::hand_in::{Doubt, LearnerId};
use crate::label::Label;
use crate::quiz::{Attempt, AttemptId, Skill};
use crate::store::StoreError;
use crate::store::error::Fault;
use crate::store::record::{self, COLUMNS, install_from_sql, install_to_sql};
use crate::world::Moment;

/// A doubt of a learner about the phrase of an attempt.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Doubted {
    /// Whose it is.
    pub learner: LearnerId,
    /// What was doubted, when and why.
    pub doubt: Doubt,
    /// What was practised; `None` while the attempt is not here.
    pub skill: Option<Skill>,
}

impl ClassStore {
    /// Reads what a report needs of one learner, in the order of replay and as judged: all attempts
    /// without their phrases, and without the taps of what was right. They are held at once, those of
    /// one learner.
    ///
    /// # Errors
    /// When a row cannot be read.
    pub fn answers(&self, learner: LearnerId) -> Result<Vec<Attempt>, StoreError> {
        let answers = self.here(answers(&self.conn, learner))?;
        let judged = answers.into_iter().filter_map(|a| self.rulings.judged(a));
        Ok(judged.collect())
    }

    /// All doubts about which nothing was decided yet, by learner and then moment.
    ///
    /// # Errors
    /// When a row cannot be read.
    pub fn doubts(&self) -> Result<Vec<Doubted>, StoreError> {
        self.here(doubts(&self.conn))
    }
}

/// Those of one machine lie beside each other and come sorted by sitting and number, which is nearly
/// the order of replay: sorting them here costs next to nothing, and in the database half the time.
const WHERE: &str = "FROM attempt WHERE install = ?1 ORDER BY sitting, number";

fn answers(conn: &Connection, learner: LearnerId) -> Result<Vec<Attempt>, Fault> {
    let columns = COLUMNS.map(|column| match column {
        "phrase" => "''",
        "taps_ms" => "CASE WHEN \"right\" THEN '' ELSE taps_ms END",
        column => column,
    });
    let sql = format!("SELECT {} {WHERE}", columns.join(", "));
    let mut statement = conn.prepare_cached(&sql)?;
    let mut attempts = Vec::new();
    for install in installs(conn, learner)? {
        let mut rows = statement.query([install])?;
        while let Some(row) = rows.next()? {
            attempts.push(record::read(row).map_err(|unreadable| damaged(&unreadable))?);
        }
    }
    attempts.sort_by_key(|attempt| (attempt.day, attempt.at, attempt.id));
    Ok(attempts)
}

/// The machines of a learner, as they are kept.
fn installs(conn: &Connection, learner: LearnerId) -> Result<Vec<i64>, Fault> {
    let sql = "SELECT install FROM install WHERE learner IN
               (SELECT learner FROM learner WHERE learner = ?1 OR joined = ?1)";
    let root = enrol::root(conn, learner)?;
    let mut statement = conn.prepare_cached(sql)?;
    let rows = statement.query_map([install_to_sql(root.0)], |row| row.get(0))?;
    Ok(rows.collect::<Result<_, _>>()?)
}

fn doubts(conn: &Connection) -> Result<Vec<Doubted>, Fault> {
    let sql = "SELECT coalesce(learner.joined, learner.learner), dispute.install, dispute.sitting,
                   dispute.number, dispute.at_ms, dispute.note, attempt.skill
               FROM dispute JOIN install USING (install) JOIN learner USING (learner)
               LEFT JOIN attempt ON attempt.install = dispute.install
                   AND attempt.sitting = dispute.sitting AND attempt.number = dispute.number
               LEFT JOIN judgement ON judgement.skill = attempt.skill
                   AND judgement.seed = attempt.seed AND judgement.generator = attempt.generator
               WHERE judgement.skill IS NULL
               ORDER BY 1, dispute.at_ms, dispute.install, dispute.sitting, dispute.number";
    let mut statement = conn.prepare_cached(sql)?;
    let mut rows = statement.query([])?;
    let mut doubts = Vec::new();
    while let Some(row) = rows.next()? {
        let (note, skill): (String, Option<String>) = (row.get(5)?, row.get(6)?);
        doubts.push(Doubted {
            learner: learner_of(row.get(0)?),
            doubt: Doubt {
                attempt: AttemptId {
                    install: install_from_sql(row.get(1)?),
                    sitting: row.get(2)?,
                    number: row.get(3)?,
                },
                at: Moment(row.get(4)?),
                note: Label::new(&note).ok(),
            },
            skill: skill.map(|skill| Skill(skill.into())),
        });
    }
    Ok(doubts)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_attempts_of_a_machine_are_found_by_their_key_and_not_sorted() {
        let folder = tempfile::tempdir().expect("a folder");
        let store = ClassStore::open(&folder.path().join("class.db")).expect("a store");
        let sql = format!("EXPLAIN QUERY PLAN SELECT skill {WHERE}");
        let mut statement = store.conn.prepare(&sql).expect("a statement");
        let plan = statement.query_map([1], |row| row.get::<_, String>(3));
        let plan: Vec<String> = plan
            .expect("a plan")
            .map(|line| line.expect("a line"))
            .collect();
        assert_eq!(plan, ["SEARCH attempt USING PRIMARY KEY (install=?)"]);
    }
}
