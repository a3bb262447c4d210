//! What is set to learners and groups, and what the teacher heard live.

use crate::class::assignment::{Assignment, Goal, skills_of, skills_text};
use crate::class::hand_in::LearnerId;
use crate::class::roster::{Meant, Roster};
use crate::label::Label;
use crate::quiz::Skill;
use crate::world::{Day, Moment};

use super::base::{Base, Row};
use super::{ClassStore, label_at, label_or_none, learner_at, learner_to_sql};
use crate::store::StoreError;
use crate::store::error::Fault;
use crate::store::value::{Cells as _, Value};

/// To whom something is set.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Target {
    /// This learner.
    Learner(LearnerId),
    /// Whoever is in this group.
    Group(Label),
    /// Whoever on a list goes by this name.
    Name(Label),
}

impl Target {
    /// Whether it is set to this learner, as the roster now stands.
    pub fn is_to(&self, learner: LearnerId, roster: &Roster) -> bool {
        match self {
            Self::Learner(one) => *one == learner,
            Self::Group(group) => roster
                .group(group)
                .is_some_and(|group| group.members.contains(&learner)),
            Self::Name(name) => roster.meant(name) == Meant::One(learner),
        }
    }
}

/// What is set.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct KeptAssignment {
    /// Its number in this store, from 1.
    pub number: u32,
    /// To whom.
    pub target: Target,
    /// The assignment, as it goes out.
    pub assignment: Assignment,
    /// When it was made.
    pub made: Moment,
    /// When it was taken back.
    pub withdrawn: Option<Moment>,
}

/// A skill that the teacher heard live.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LiveMark {
    /// Whose.
    pub learner: LearnerId,
    /// What.
    pub skill: Skill,
    /// When.
    pub day: Day,
    /// In a line of the teacher's.
    pub note: Option<Label>,
}

impl ClassStore {
    /// Sets something, and returns its number. `deck_text` is the text of its deck, as it goes out.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn assign(
        &mut self,
        target: &Target,
        assignment: &Assignment,
        deck_text: &str,
        now: Moment,
    ) -> Result<u32, StoreError> {
        let outcome = assign(&self.base, target, assignment, deck_text, now);
        self.here(outcome)
    }

    /// All that was set, by number, with what was taken back.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn assignments(&self) -> Result<Vec<KeptAssignment>, StoreError> {
        self.here(assignments(&self.base))
    }

    /// The text of the deck of an assignment; `None` where there is none of this number.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn deck_text(&self, number: u32) -> Result<Option<String>, StoreError> {
        let sql = "SELECT deck_text FROM assignment WHERE assignment = ?1";
        let read = |row: &Row<'_>| Ok(row.text(0)?.to_owned());
        self.here(self.base.one(sql, &[number.into()], read))
    }

    /// The decks that were ever set, each by its id and with its text as it went out last.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn set_decks(&self) -> Result<Vec<(String, String)>, StoreError> {
        let sql = "SELECT deck, deck_text FROM assignment
                   WHERE assignment IN (SELECT max(assignment) FROM assignment GROUP BY deck)
                   ORDER BY deck";
        let read = |row: &Row<'_>| Ok((row.text(0)?.to_owned(), row.text(1)?.to_owned()));
        self.here(self.base.all(sql, &[], read))
    }

    /// Takes an assignment back; false where there is none, or it was taken back before.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn withdraw(&mut self, number: u32, now: Moment) -> Result<bool, StoreError> {
        let sql = "UPDATE assignment SET withdrawn_ms = ?2
                   WHERE assignment = ?1 AND withdrawn_ms IS NULL";
        let outcome = self.base.execute(sql, &[number.into(), now.0.into()]);
        self.here(outcome.map(|n| n > 0))
    }

    /// Notes that a skill was heard live, in place of a note of the same day.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn mark_live(&mut self, mark: &LiveMark) -> Result<(), StoreError> {
        let sql = "INSERT INTO heard_live (learner, skill, day, note) VALUES (?1, ?2, ?3, ?4)
                   ON CONFLICT (learner, skill, day) DO UPDATE SET note = excluded.note";
        let row = [
            learner_to_sql(mark.learner),
            (&*mark.skill.0).into(),
            mark.day.0.into(),
            mark.note.as_ref().map(Label::as_str).into(),
        ];
        self.here(self.base.execute(sql, &row).map(drop))
    }

    /// Takes a live mark back; false where there is none.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn unmark_live(
        &mut self,
        learner: LearnerId,
        skill: &Skill,
        day: Day,
    ) -> Result<bool, StoreError> {
        let sql = "DELETE FROM heard_live WHERE skill = ?2 AND day = ?3 AND learner IN
                       (SELECT learner FROM learner WHERE coalesce(joined, learner) = ?1)";
        let row = [learner_to_sql(learner), (&*skill.0).into(), day.0.into()];
        self.here(self.base.execute(sql, &row).map(|n| n > 0))
    }

    /// All live marks, by learner, skill and day.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn live_marks(&self) -> Result<Vec<LiveMark>, StoreError> {
        self.here(live_marks(&self.base))
    }
}

fn assign(
    base: &Base,
    target: &Target,
    assignment: &Assignment,
    deck_text: &str,
    now: Moment,
) -> Result<u32, Fault> {
    let (learner, group, name) = match target {
        Target::Learner(learner) => (Some(learner_to_sql(*learner)), None, None),
        Target::Group(group) => (None, Some(group.as_str()), None),
        Target::Name(name) => (None, None, Some(name.as_str())),
    };
    let a = assignment;
    base.whole(|base| {
        let sql = "SELECT coalesce(max(assignment), 0) + 1 FROM assignment";
        let number: u32 = base.one(sql, &[], |row| row.number(0))?.unwrap_or(1);
        base.execute(
            "INSERT INTO assignment (assignment, id, learner, circle, name, deck, title, deck_text,
                                     line, from_day, due_day, firm, minutes, days, made_ms, skills)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14, ?15, ?16)",
            &[
                number.into(),
                (&*a.id).into(),
                learner.unwrap_or(Value::Null),
                group.into(),
                name.into(),
                (&*a.deck).into(),
                a.title.as_str().into(),
                deck_text.into(),
                a.line.as_ref().map(Label::as_str).into(),
                a.from.0.into(),
                a.due.0.into(),
                a.goal.firm().into(),
                a.goal.minutes().into(),
                a.goal.days().into(),
                now.0.into(),
                skills_text(&a.skills).into(),
            ],
        )?;
        Ok(number)
    })
}

fn assignments(base: &Base) -> Result<Vec<KeptAssignment>, Fault> {
    let sql = "SELECT assignment.assignment, id, coalesce(joined, assignment.learner), circle,
                   assignment.name, deck, title, line, from_day, due_day, firm, minutes, days,
                   made_ms, withdrawn_ms, skills
               FROM assignment LEFT JOIN learner ON learner.learner = assignment.learner
               ORDER BY assignment.assignment";
    base.all(sql, &[], kept)
}

fn kept(row: &Row<'_>) -> Result<KeptAssignment, Fault> {
    let label = |column| label_or_none(row, column, "assignment");
    let unreadable = || Fault::Damaged("a row of the table assignment cannot be read".to_owned());
    let learner = match row.is_null(2) {
        true => None,
        false => Some(learner_at(row, 2)?),
    };
    let (group, name) = (label(3)?, label(4)?);
    let target = match (learner, group, name) {
        (Some(learner), None, None) => Target::Learner(learner),
        (None, Some(group), None) => Target::Group(group),
        (None, None, Some(name)) => Target::Name(name),
        _ => return Err(unreadable()),
    };
    let goal = Goal::new(
        row.number_or_none(10)?,
        row.number_or_none(11)?,
        row.number_or_none(12)?,
    )
    .ok_or_else(unreadable)?;
    let to = match &target {
        Target::Group(name) | Target::Name(name) => Some(name.clone()),
        Target::Learner(_) => None,
    };
    Ok(KeptAssignment {
        number: row.number(0)?,
        target,
        assignment: Assignment {
            id: row.text(1)?.into(),
            to,
            deck: row.text(5)?.into(),
            title: label_at(row, 6, "assignment")?,
            skills: skills_of(row.text(15)?),
            line: label(7)?,
            from: Day(row.number(8)?),
            due: Day(row.number(9)?),
            goal,
        },
        made: Moment(row.number(13)?),
        withdrawn: row.number_or_none(14)?.map(Moment),
    })
}

fn live_marks(base: &Base) -> Result<Vec<LiveMark>, Fault> {
    let sql = "SELECT coalesce(joined, heard_live.learner), skill, day, note FROM heard_live
               JOIN learner ON learner.learner = heard_live.learner
               ORDER BY 1, skill, day";
    base.all(sql, &[], |row| {
        Ok(LiveMark {
            learner: learner_at(row, 0)?,
            skill: Skill(row.text(1)?.into()),
            day: Day(row.number(2)?),
            note: label_or_none(row, 3, "heard_live")?,
        })
    })
}
