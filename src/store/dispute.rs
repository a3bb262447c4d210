//! Phrases whose label a person doubts, set aside until they are judged.

use std::error::Error;

use rusqlite::{Connection, Row};

use crate::class::judgement::PhraseId;
use crate::label::Label;
use crate::quiz::passage::Passage;
use crate::quiz::{Attempt, AttemptId, Skill};
use crate::world::{Moment, Seed};

use super::assigned::{is_aside, uphold};
use super::error::Fault;
use super::record::{install_from_sql, install_to_sql};
use super::{Store, StoreError};

/// A doubt about the label of one phrase. Never changed after it is written.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Dispute {
    /// The attempt at which it was heard.
    pub attempt: AttemptId,
    /// What was practised; it stands for the recipe.
    pub skill: Skill,
    /// What the phrase was made from.
    pub seed: Seed,
    /// The version of the generator that made it.
    pub generator: u32,
    /// When it was doubted.
    pub at: Moment,
    /// Why, in the learner's words.
    pub note: Option<Label>,
}

impl Store {
    /// Sets the phrase of `attempt`, which is in the log, aside.
    ///
    /// # Errors
    /// When it cannot be written, or the attempt is not in the log.
    pub fn dispute(
        &mut self,
        attempt: &Attempt,
        at: Moment,
        note: Option<&Label>,
    ) -> Result<(), StoreError> {
        self.here(write(&self.conn, attempt, at, note))
    }

    /// Whether the phrase that `generator` makes for `skill` from `seed` is set aside: it is doubted and
    /// was not upheld since, or a person judged that it is not to be asked again.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn is_disputed(
        &self,
        skill: &Skill,
        seed: Seed,
        generator: u32,
    ) -> Result<bool, StoreError> {
        let phrase = phrase_of(skill, seed, generator);
        self.here(is_aside(&self.conn, &phrase, None))
    }

    /// The same of a passage of a recording. Since it is named by its place alone, a doubt is about what was
    /// said of it then: cut anew with other marks or another end it is not doubted.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn is_passage_disputed(
        &self,
        skill: &Skill,
        passage: &Passage,
        generator: u32,
    ) -> Result<bool, StoreError> {
        let phrase = phrase_of(skill, passage.seed(), generator);
        self.here(is_aside(&self.conn, &phrase, Some(&passage.line())))
    }

    /// Whoever said what a passage is says so again: it is not set aside any more. The cache counts as absent
    /// then, as it does whenever something was judged.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn uphold_passage(
        &mut self,
        skill: &Skill,
        passage: &Passage,
        (generator, at): (u32, Moment),
    ) -> Result<(), StoreError> {
        let phrase = phrase_of(skill, passage.seed(), generator);
        let outcome = uphold(&mut self.conn, phrase, at);
        self.cache_rules = None;
        self.here(outcome)
    }

    /// All disputes in the order in which they were written.
    ///
    /// # Errors
    /// When a row cannot be read.
    pub fn disputes(&self) -> Result<Vec<Dispute>, StoreError> {
        self.here(read_all(&self.conn))
    }
}

fn phrase_of(skill: &Skill, seed: Seed, generator: u32) -> PhraseId {
    PhraseId {
        skill: skill.clone(),
        seed,
        generator,
    }
}

/// All disputes in the order in which they were written.
pub(super) fn read_all(conn: &Connection) -> Result<Vec<Dispute>, Fault> {
    let sql = "SELECT install, sitting, number, skill, seed, generator, at_ms, note, \"row\"
               FROM dispute ORDER BY \"row\"";
    let mut statement = conn.prepare_cached(sql)?;
    let mut rows = statement.query([])?;
    let mut disputes = Vec::new();
    while let Some(row) = rows.next()? {
        let number: i64 = row.get(8)?;
        let dispute = read(row)
            .map_err(|what| Fault::Damaged(format!("row {number} of the table dispute: {what}")))?;
        disputes.push(dispute);
    }
    Ok(disputes)
}

fn read(row: &Row<'_>) -> Result<Dispute, Box<dyn Error>> {
    let skill: Box<str> = row.get(3)?;
    let note: Option<String> = row.get(7)?;
    Ok(Dispute {
        attempt: AttemptId {
            install: install_from_sql(row.get(0)?),
            sitting: row.get(1)?,
            number: row.get(2)?,
        },
        skill: Skill(skill),
        seed: Seed(row.get::<_, i64>(4)?.cast_unsigned()),
        generator: row.get(5)?,
        at: Moment(row.get(6)?),
        note: note.map(|text| Label::new(&text)).transpose()?,
    })
}

fn write(
    conn: &Connection,
    attempt: &Attempt,
    at: Moment,
    note: Option<&Label>,
) -> Result<(), Fault> {
    conn.execute(
        "INSERT INTO dispute (install, sitting, number, skill, seed, generator, at_ms, note)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)",
        (
            install_to_sql(attempt.id.install),
            attempt.id.sitting,
            attempt.id.number,
            &*attempt.skill.0,
            attempt.seed.0.cast_signed(),
            attempt.generator,
            at.0,
            note.map(Label::as_str),
        ),
    )?;
    Ok(())
}
