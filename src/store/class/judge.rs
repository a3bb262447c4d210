//! Doubts about phrases, and what the teacher decided.

use std::collections::HashMap;

use rusqlite::Connection;

use crate::class::hand_in::LearnerId;
use crate::class::judgement::{Judgement, PhraseId, Ruling, Rulings};
use crate::label::Label;
use crate::quiz::{Answer, Attempt, AttemptId, Skill};
use crate::world::{Moment, Seed};

use super::{ClassStore, damaged, label_of, label_or_none, learner_of};
use crate::store::StoreError;
use crate::store::error::Fault;
use crate::store::record::{self, COLUMNS};

/// A doubt about the phrase of an attempt that is here.
#[derive(Clone, Debug, PartialEq)]
pub struct Disputed {
    /// Who doubts.
    pub learner: LearnerId,
    /// The attempt at which the phrase was heard, as it was made.
    pub attempt: Attempt,
    /// When it was doubted.
    pub at: Moment,
    /// Why, in the learner's words.
    pub note: Option<Label>,
    /// What was decided, where something was.
    pub judgement: Option<Judgement>,
}

impl ClassStore {
    /// All doubts about attempts that are here, by phrase and then moment.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn disputes(&self) -> Result<Vec<Disputed>, StoreError> {
        self.here(disputes(&self.conn))
    }

    /// How many doubts there are about attempts that are still on their way.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn n_disputes_on_their_way(&self) -> Result<u64, StoreError> {
        let sql = "SELECT count(*) FROM dispute LEFT JOIN attempt
                   ON attempt.install = dispute.install AND attempt.sitting = dispute.sitting
                       AND attempt.number = dispute.number
                   WHERE attempt.install IS NULL";
        let outcome = self.conn.query_row(sql, [], |row| row.get::<_, i64>(0));
        self.here(outcome.map(i64::unsigned_abs).map_err(Into::into))
    }

    /// The attempt of this name as it was made, whatever was judged; `None` where it is not here.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn attempt(&self, id: AttemptId) -> Result<Option<Attempt>, StoreError> {
        self.here(attempt(&self.conn, id))
    }

    /// Decides about a phrase, in place of what was decided before. From then on
    /// [`ClassStore::attempts`] gives attempts at it as judged.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn judge(&mut self, judgement: &Judgement) -> Result<(), StoreError> {
        let outcome = write(&self.conn, judgement);
        self.here(outcome)?;
        let phrase = judgement.phrase.clone();
        self.rulings.set(phrase, judgement.ruling);
        Ok(())
    }

    /// What was decided, the latest first.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn judgements(&self) -> Result<Vec<Judgement>, StoreError> {
        self.here(judgements(&self.conn))
    }
}

fn attempt(conn: &Connection, id: AttemptId) -> Result<Option<Attempt>, Fault> {
    let sql = format!(
        "SELECT {} FROM attempt WHERE install = ?1 AND sitting = ?2 AND number = ?3",
        COLUMNS.join(", ")
    );
    let mut statement = conn.prepare_cached(&sql)?;
    let key = (record::install_to_sql(id.install), id.sitting, id.number);
    let mut rows = statement.query(key)?;
    let Some(row) = rows.next()? else {
        return Ok(None);
    };
    let attempt = record::read(row).map_err(|unreadable| damaged(&unreadable))?;
    Ok(Some(attempt))
}

fn disputes(conn: &Connection) -> Result<Vec<Disputed>, Fault> {
    let judged = judgements(conn)?.into_iter();
    let judged: HashMap<PhraseId, Judgement> = judged
        .map(|judgement| (judgement.phrase.clone(), judgement))
        .collect();
    let columns = COLUMNS.map(|column| format!("attempt.{column}"));
    let sql = format!(
        "SELECT {}, dispute.at_ms, dispute.note, coalesce(learner.joined, learner.learner)
         FROM dispute
         JOIN attempt ON attempt.install = dispute.install AND attempt.sitting = dispute.sitting
             AND attempt.number = dispute.number
         JOIN install ON install.install = dispute.install
         JOIN learner ON learner.learner = install.learner
         ORDER BY attempt.skill, attempt.seed, attempt.generator, dispute.at_ms, dispute.install,
             dispute.sitting, dispute.number, dispute.note",
        columns.join(", ")
    );
    let mut statement = conn.prepare_cached(&sql)?;
    let mut rows = statement.query([])?;
    let mut all = Vec::new();
    while let Some(row) = rows.next()? {
        let attempt = record::read(row).map_err(|unreadable| damaged(&unreadable))?;
        let note: String = row.get(COLUMNS.len() + 1)?;
        let note = (!note.is_empty()).then(|| label_of(&note, "dispute"));
        all.push(Disputed {
            learner: learner_of(row.get(COLUMNS.len() + 2)?),
            judgement: judged.get(&PhraseId::of(&attempt)).cloned(),
            attempt,
            at: Moment(row.get(COLUMNS.len())?),
            note: note.transpose()?,
        });
    }
    Ok(all)
}

fn write(conn: &Connection, judgement: &Judgement) -> Result<(), Fault> {
    let sql = "INSERT INTO judgement (skill, seed, generator, ruling, answer, note, at_ms)
               VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)
               ON CONFLICT (skill, seed, generator) DO UPDATE
               SET ruling = excluded.ruling, answer = excluded.answer, note = excluded.note,
                   at_ms = excluded.at_ms";
    let answer = judgement.ruling.answer();
    conn.prepare_cached(sql)?.execute((
        &*judgement.phrase.skill.0,
        judgement.phrase.seed.0.cast_signed(),
        judgement.phrase.generator,
        judgement.ruling.id(),
        answer.map_or_else(String::new, Answer::to_text),
        judgement.note.as_ref().map(Label::as_str),
        judgement.at.0,
    ))?;
    Ok(())
}

fn judgements(conn: &Connection) -> Result<Vec<Judgement>, Fault> {
    let sql = "SELECT skill, seed, generator, ruling, answer, note, at_ms FROM judgement
               ORDER BY at_ms DESC, skill, seed, generator";
    let mut statement = conn.prepare_cached(sql)?;
    let mut rows = statement.query([])?;
    let mut all = Vec::new();
    while let Some(row) = rows.next()? {
        let (id, answer): (String, String) = (row.get(3)?, row.get(4)?);
        let ruling = Ruling::from_texts(&id, &answer).ok_or_else(|| {
            Fault::Damaged("a row of the table judgement has no readable ruling".to_owned())
        })?;
        all.push(Judgement {
            phrase: PhraseId {
                skill: Skill(row.get(0)?),
                seed: Seed(row.get::<_, i64>(1)?.cast_unsigned()),
                generator: row.get(2)?,
            },
            ruling,
            at: Moment(row.get(6)?),
            note: label_or_none(row, 5, "judgement")?,
        });
    }
    Ok(all)
}

/// The rulings that stand.
pub(super) fn rulings(conn: &Connection) -> Result<Rulings, Fault> {
    let mut rulings = Rulings::default();
    for judgement in judgements(conn)? {
        rulings.set(judgement.phrase, judgement.ruling);
    }
    Ok(rulings)
}
