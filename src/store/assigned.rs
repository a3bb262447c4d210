//! What a teacher set the learner to do, and what was decided about phrases.

use rusqlite::{Connection, OptionalExtension as _, Row, Transaction};

use crate::class::assignment::{Assignment, Goal, News, skills_of, skills_text};
use crate::class::judgement::{Judgement, PhraseId, Ruling, Rulings};
use crate::label::Label;
use crate::quiz::{Attempt, AttemptId, Skill};
use crate::world::{Day, Moment, Seed};

use super::error::Fault;
use super::record::install_from_sql;
use super::{Store, StoreError};

/// When an attempt at a skill was made, for counting what was practised.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Practice {
    /// The attempt.
    pub id: AttemptId,
    /// What was practised.
    pub skill: Skill,
    /// On which learning day.
    pub day: Day,
    /// Milliseconds since its sitting began.
    pub since_start_ms: u32,
}

impl Store {
    /// Keeps an assignment in place of one of the same name, and the news, in one transaction. Of two
    /// judgements of a phrase the later stands, and what was taken back once is neither kept nor kept
    /// again, in whatever order they come. Where something was judged the cache counts as absent, so
    /// that memory is reckoned by it.
    ///
    /// # Errors
    /// When it cannot be written; nothing of it is then kept.
    pub fn keep_assigned(
        &mut self,
        assignment: &Assignment,
        news: &News,
        now: Moment,
    ) -> Result<(), StoreError> {
        let outcome = keep(&mut self.conn, assignment, news, now);
        if !news.judged.is_empty() {
            self.cache_rules = None;
        }
        self.here(outcome)
    }

    /// All assignments that are kept, those due first in front.
    ///
    /// # Errors
    /// When a row cannot be read.
    pub fn assignments(&self) -> Result<Vec<Assignment>, StoreError> {
        self.here(assignments(&self.conn))
    }

    /// Whether an assignment of this name was taken back.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn is_taken_back(&self, id: &str) -> Result<bool, StoreError> {
        let sql = "SELECT EXISTS (SELECT 1 FROM taken_back WHERE assignment = ?1)";
        let found = self.conn.query_row(sql, [id], |row| row.get(0));
        self.here(found.map_err(Into::into))
    }

    /// Puts an assignment away; false where there is none of this name. What was practised stays.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn put_away(&mut self, id: &str) -> Result<bool, StoreError> {
        let sql = "DELETE FROM assignment WHERE assignment = ?1";
        let outcome = self.conn.execute(sql, [id]);
        self.here(outcome.map(|n| n > 0).map_err(Into::into))
    }

    /// Reads what was practised on `from` and later.
    ///
    /// # Errors
    /// When a row cannot be read.
    pub fn practised(&self, from: Day, each: impl FnMut(Practice)) -> Result<(), StoreError> {
        self.here(practised(&self.conn, from, each))
    }

    /// What was decided about phrases.
    ///
    /// # Errors
    /// When a row cannot be read.
    pub fn rulings(&self) -> Result<Rulings, StoreError> {
        self.here(rulings(&self.conn))
    }

    /// Reads every attempt in the order of replay, as it counts: by the right answer where a label was
    /// overruled, and without those at phrases that were withdrawn.
    ///
    /// # Errors
    /// When a row cannot be read; `each` has then seen those before it.
    pub fn attempts_as_judged(&self, mut each: impl FnMut(Attempt)) -> Result<(), StoreError> {
        let rulings = self.rulings()?;
        self.attempts(|attempt| {
            if let Some(attempt) = rulings.judged(attempt) {
                each(attempt);
            }
        })
    }
}

fn keep(
    conn: &mut Connection,
    assignment: &Assignment,
    news: &News,
    now: Moment,
) -> Result<(), Fault> {
    let tx = conn.transaction()?;
    write(&tx, assignment, now)?;
    for id in &news.taken_back {
        let sql = "INSERT INTO taken_back (assignment) VALUES (?1) ON CONFLICT DO NOTHING";
        tx.prepare_cached(sql)?.execute([&**id])?;
    }
    let sql = "DELETE FROM assignment WHERE assignment IN (SELECT assignment FROM taken_back)";
    tx.execute(sql, [])?;
    for judgement in &news.judged {
        write_judgement(&tx, judgement)?;
    }
    if !news.judged.is_empty() {
        tx.execute("DELETE FROM cache_mark", [])?;
    }
    Ok(tx.commit()?)
}

fn write(tx: &Transaction<'_>, assignment: &Assignment, now: Moment) -> Result<(), Fault> {
    let a = assignment;
    tx.execute(
        "DELETE FROM assignment WHERE assignment = ?1",
        [&*assignment.id],
    )?;
    tx.execute(
        "INSERT INTO assignment (assignment, for_whom, deck, title, line, from_day, due_day,
                                 firm, minutes, days, taken_ms, skills)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12)",
        (
            &*a.id,
            a.to.as_ref().map(Label::as_str),
            &*a.deck,
            a.title.as_str(),
            a.line.as_ref().map(Label::as_str),
            a.from.0,
            a.due.0,
            a.goal.firm(),
            a.goal.minutes(),
            a.goal.days(),
            now.0,
            skills_text(&a.skills),
        ),
    )?;
    Ok(())
}

/// Two judgements of one moment: the alphabet decides, so that their order does not.
fn write_judgement(tx: &Transaction<'_>, judgement: &Judgement) -> Result<(), Fault> {
    let sql = "INSERT INTO judgement (skill, seed, generator, ruling, answer, at_ms)
               VALUES (?1, ?2, ?3, ?4, ?5, ?6)
               ON CONFLICT (skill, seed, generator) DO UPDATE
               SET ruling = excluded.ruling, answer = excluded.answer, at_ms = excluded.at_ms
               WHERE (excluded.at_ms, excluded.ruling, excluded.answer) > (at_ms, ruling, answer)";
    let answer = judgement.ruling.answer();
    tx.prepare_cached(sql)?.execute((
        &*judgement.phrase.skill.0,
        judgement.phrase.seed.0.cast_signed(),
        judgement.phrase.generator,
        judgement.ruling.id(),
        answer.map_or_else(String::new, crate::quiz::Answer::to_text),
        judgement.at.0,
    ))?;
    Ok(())
}

fn assignments(conn: &Connection) -> Result<Vec<Assignment>, Fault> {
    let sql =
        "SELECT assignment, for_whom, deck, title, line, from_day, due_day, firm, minutes, days,
                   skills
               FROM assignment ORDER BY due_day, from_day, assignment";
    let mut statement = conn.prepare_cached(sql)?;
    let mut rows = statement.query([])?;
    let mut all = Vec::new();
    while let Some(row) = rows.next()? {
        let id: String = row.get(0)?;
        let read = read(row)?.ok_or_else(|| {
            let id = crate::label::printable(&id);
            Fault::Damaged(format!("{id:?} of the table assignment cannot be read"))
        })?;
        all.push(read);
    }
    Ok(all)
}

/// The assignment of a row; `None` where a value means nothing.
fn read(row: &Row<'_>) -> Result<Option<Assignment>, Fault> {
    let label = |text: Option<String>| text.map(|text| Label::new(&text)).transpose();
    let (to, title, line) = (label(row.get(1)?), label(row.get(3)?), label(row.get(4)?));
    let goal = Goal::new(row.get(7)?, row.get(8)?, row.get(9)?);
    let (Ok(to), Ok(Some(title)), Ok(line), Some(goal)) = (to, title, line, goal) else {
        return Ok(None);
    };
    Ok(Some(Assignment {
        id: row.get::<_, String>(0)?.into(),
        to,
        deck: row.get::<_, String>(2)?.into(),
        title,
        skills: skills_of(&row.get::<_, String>(10)?),
        line,
        from: Day(row.get(5)?),
        due: Day(row.get(6)?),
        goal,
    }))
}

fn practised(conn: &Connection, from: Day, mut each: impl FnMut(Practice)) -> Result<(), Fault> {
    let sql = "SELECT install, sitting, number, skill, day, since_start_ms FROM attempt
               WHERE day >= ?1";
    let mut statement = conn.prepare_cached(sql)?;
    let mut rows = statement.query([from.0])?;
    while let Some(row) = rows.next()? {
        each(Practice {
            id: AttemptId {
                install: install_from_sql(row.get(0)?),
                sitting: row.get(1)?,
                number: row.get(2)?,
            },
            skill: Skill(row.get(3)?),
            day: Day(row.get(4)?),
            since_start_ms: row.get(5)?,
        });
    }
    Ok(())
}

pub(super) fn rulings(conn: &Connection) -> Result<Rulings, Fault> {
    let sql = "SELECT skill, seed, generator, ruling, answer FROM judgement";
    let mut statement = conn.prepare_cached(sql)?;
    let mut rows = statement.query([])?;
    let mut rulings = Rulings::default();
    while let Some(row) = rows.next()? {
        let phrase = PhraseId {
            skill: Skill(row.get(0)?),
            seed: Seed(row.get::<_, i64>(1)?.cast_unsigned()),
            generator: row.get(2)?,
        };
        let (id, answer): (String, String) = (row.get(3)?, row.get(4)?);
        let ruling = Ruling::from_texts(&id, &answer).ok_or_else(|| {
            Fault::Damaged("a row of the table judgement has no readable ruling".to_owned())
        })?;
        rulings.set(phrase, ruling);
    }
    Ok(rulings)
}

/// A label is right: what was doubted before is not set aside any more.
pub(super) fn uphold(conn: &mut Connection, phrase: PhraseId, at: Moment) -> Result<(), Fault> {
    let tx = conn.transaction()?;
    let judgement = Judgement {
        phrase,
        ruling: Ruling::Upheld,
        at,
        note: None,
    };
    write_judgement(&tx, &judgement)?;
    tx.execute("DELETE FROM cache_mark", [])?;
    Ok(tx.commit()?)
}

/// Whether a phrase may not be asked: its label was overruled or withdrawn, or it is doubted and was
/// not upheld since. What can be labelled anew under the same seed is doubted only as it stands, in one
/// line.
pub(super) fn is_aside(
    conn: &Connection,
    phrase: &PhraseId,
    as_it_stands: Option<&str>,
) -> Result<bool, Fault> {
    let key = (
        &*phrase.skill.0,
        phrase.seed.0.cast_signed(),
        phrase.generator,
    );
    let sql = "SELECT ruling, at_ms FROM judgement
               WHERE skill = ?1 AND seed = ?2 AND generator = ?3";
    let judged: Option<(String, i64)> = conn
        .prepare_cached(sql)?
        .query_row(key, |row| Ok((row.get(0)?, row.get(1)?)))
        .optional()?;
    let upheld_at = match judged {
        Some((ruling, _)) if ruling != Ruling::Upheld.id() => return Ok(true),
        Some((_, at)) => at,
        None => i64::MIN,
    };
    let sql = "SELECT EXISTS (
                   SELECT 1 FROM dispute JOIN attempt USING (install, sitting, number)
                   WHERE dispute.skill = ?1 AND dispute.seed = ?2 AND dispute.generator = ?3
                   AND dispute.at_ms > ?4 AND (?5 IS NULL OR attempt.phrase = ?5))";
    let key = (key.0, key.1, key.2, upheld_at, as_it_stands);
    Ok(conn.prepare_cached(sql)?.query_row(key, |row| row.get(0))?)
}
