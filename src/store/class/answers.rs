//! What a report is reckoned from.

use super::base::Base;
use super::{ClassStore, enrol, learner_at, learner_to_sql};
use crate::class::hand_in::{Doubt, LearnerId};
use crate::label::Label;
use crate::quiz::{Attempt, AttemptId, Skill};
use crate::store::StoreError;
use crate::store::error::Fault;
use crate::store::record::{COLUMNS, install_from_sql};
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
        let answers = self.here(answers(&self.base, learner))?;
        let judged = answers.into_iter().filter_map(|a| self.rulings.judged(a));
        Ok(judged.collect())
    }

    /// All doubts about which nothing was decided yet, by learner and then moment.
    ///
    /// # Errors
    /// When a row cannot be read.
    pub fn doubts(&self) -> Result<Vec<Doubted>, StoreError> {
        self.here(doubts(&self.base))
    }
}

/// Those of one machine lie beside each other and come sorted by sitting and number, which is nearly
/// the order of replay: sorting them here costs next to nothing, and in the database half the time.
const WHERE: &str = "FROM attempt WHERE install = ?1 ORDER BY sitting, number";

fn answers(base: &Base, learner: LearnerId) -> Result<Vec<Attempt>, Fault> {
    let columns = COLUMNS.map(|column| match column {
        "phrase" => "''",
        "taps_ms" => "CASE WHEN \"right\" = 1 THEN '' ELSE taps_ms END",
        column => column,
    });
    let sql = format!("SELECT {} {WHERE}", columns.join(", "));
    let mut attempts = Vec::new();
    for install in installs(base, learner)? {
        base.each(&sql, &[install.into()], |row| {
            attempts.push(row.attempt()?);
            Ok(())
        })?;
    }
    attempts.sort_by_key(|attempt| (attempt.day, attempt.at, attempt.id));
    Ok(attempts)
}

/// The machines of a learner, as they are kept.
fn installs(base: &Base, learner: LearnerId) -> Result<Vec<i64>, Fault> {
    let sql = "SELECT install FROM install WHERE learner IN
               (SELECT learner FROM learner WHERE learner = ?1 OR joined = ?1)";
    let root = enrol::root(base, learner)?;
    base.all(sql, &[learner_to_sql(root)], |row| row.number(0))
}

fn doubts(base: &Base) -> Result<Vec<Doubted>, Fault> {
    let sql = "SELECT coalesce(learner.joined, learner.learner), dispute.install, dispute.sitting,
                   dispute.number, dispute.at_ms, dispute.note, attempt.skill
               FROM dispute JOIN install USING (install) JOIN learner USING (learner)
               LEFT JOIN attempt ON attempt.install = dispute.install
                   AND attempt.sitting = dispute.sitting AND attempt.number = dispute.number
               LEFT JOIN judgement ON judgement.skill = attempt.skill
                   AND judgement.seed = attempt.seed AND judgement.generator = attempt.generator
               WHERE judgement.skill IS NULL
               ORDER BY 1, dispute.at_ms, dispute.install, dispute.sitting, dispute.number";
    base.all(sql, &[], |row| {
        Ok(Doubted {
            learner: learner_at(row, 0)?,
            doubt: Doubt {
                attempt: AttemptId {
                    install: install_from_sql(row.number(1)?),
                    sitting: row.number(2)?,
                    number: row.number(3)?,
                },
                at: Moment(row.number(4)?),
                note: Label::new(row.text(5)?).ok(),
            },
            skill: row.text_or_none(6)?.map(|skill| Skill(skill.into())),
        })
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::class::base::Row;

    #[test]
    fn the_attempts_of_a_machine_are_found_by_their_key_and_not_sorted() {
        let folder = tempfile::tempdir().expect("a folder");
        let store = ClassStore::open(&folder.path().join("class.db")).expect("a store");
        let sql = format!("EXPLAIN QUERY PLAN SELECT skill {WHERE}");
        let line = |row: &Row<'_>| Ok(row.text(3)?.to_owned());
        let plan = store.base.all(&sql, &[1.into()], line).expect("a plan");
        assert_eq!(plan, ["SEARCH attempt USING PRIMARY KEY (install=?)"]);
    }
}
