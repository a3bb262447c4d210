//! Doubts about phrases, and what the teacher decided.

use std::collections::HashMap;

use crate::class::hand_in::LearnerId;
use crate::class::judgement::{Judgement, PhraseId, Ruling, Rulings};
use crate::label::Label;
use crate::quiz::{Answer, Attempt, AttemptId, Skill};
use crate::world::{Moment, Seed};

use super::base::Base;
use super::{ClassStore, label_of, label_or_none, learner_at};
use crate::store::StoreError;
use crate::store::error::Fault;
use crate::store::record::COLUMNS;

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
        self.here(disputes(&self.base))
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
        let n = self.here(self.base.one(sql, &[], |row| row.number::<i64>(0)))?;
        Ok(n.unwrap_or(0).unsigned_abs())
    }

    /// The attempt of this name as it was made, whatever was judged; `None` where it is not here.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn attempt(&self, id: AttemptId) -> Result<Option<Attempt>, StoreError> {
        self.here(self.base.named(&[id]).map(|mut found| found.pop()))
    }

    /// What was true of the questions of the same exercise before an attempt of this learner in its
    /// sitting, as they were asked, the last one last: which phrase was asked depends on them.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn asked_before(
        &self,
        learner: LearnerId,
        attempt: &Attempt,
    ) -> Result<Vec<Answer>, StoreError> {
        let mut truths = Vec::new();
        let key = |id: AttemptId| (id.install, id.sitting);
        let each = |one: Attempt| {
            let is_before = key(one.id) == key(attempt.id) && one.id.number < attempt.id.number;
            if is_before && one.skill == attempt.skill {
                truths.push(one.truth);
            }
        };
        self.here(super::attempts(&self.base, learner, each))?;
        Ok(truths)
    }

    /// Decides about a phrase, in place of what was decided before. From then on
    /// [`ClassStore::attempts`] gives attempts at it as judged.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn judge(&mut self, judgement: &Judgement) -> Result<(), StoreError> {
        let outcome = write(&self.base, judgement);
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
        self.here(judgements(&self.base))
    }
}

fn disputes(base: &Base) -> Result<Vec<Disputed>, Fault> {
    let judged = judgements(base)?.into_iter();
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
    base.all(&sql, &[], |row| {
        let attempt = row.attempt()?;
        let note = row.text(COLUMNS.len() + 1)?;
        let note = (!note.is_empty()).then(|| label_of(note, "dispute"));
        Ok(Disputed {
            learner: learner_at(row, COLUMNS.len() + 2)?,
            judgement: judged.get(&PhraseId::of(&attempt)).cloned(),
            attempt,
            at: Moment(row.number(COLUMNS.len())?),
            note: note.transpose()?,
        })
    })
}

fn write(base: &Base, judgement: &Judgement) -> Result<(), Fault> {
    let answer = judgement.ruling.answer();
    base.execute(
        "INSERT INTO judgement (skill, seed, generator, ruling, answer, note, at_ms)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)
         ON CONFLICT (skill, seed, generator) DO UPDATE
         SET ruling = excluded.ruling, answer = excluded.answer, note = excluded.note,
             at_ms = excluded.at_ms",
        &[
            (&*judgement.phrase.skill.0).into(),
            judgement.phrase.seed.0.cast_signed().into(),
            judgement.phrase.generator.into(),
            judgement.ruling.id().into(),
            answer.map_or_else(String::new, Answer::to_text).into(),
            judgement.note.as_ref().map(Label::as_str).into(),
            judgement.at.0.into(),
        ],
    )?;
    Ok(())
}

fn judgements(base: &Base) -> Result<Vec<Judgement>, Fault> {
    let sql = "SELECT skill, seed, generator, ruling, answer, note, at_ms FROM judgement
               ORDER BY at_ms DESC, skill, seed, generator";
    base.all(sql, &[], |row| {
        let ruling = Ruling::from_texts(row.text(3)?, row.text(4)?).ok_or_else(|| {
            Fault::Damaged("a row of the table judgement has no readable ruling".to_owned())
        })?;
        Ok(Judgement {
            phrase: PhraseId {
                skill: Skill(row.text(0)?.into()),
                seed: Seed(row.number::<i64>(1)?.cast_unsigned()),
                generator: row.number(2)?,
            },
            ruling,
            at: Moment(row.number(6)?),
            note: label_or_none(row, 5, "judgement")?,
        })
    })
}

/// The rulings that stand.
pub(super) fn rulings(base: &Base) -> Result<Rulings, Fault> {
    let mut rulings = Rulings::default();
    for judgement in judgements(base)? {
        rulings.set(judgement.phrase, judgement.ruling);
    }
    Ok(rulings)
}
