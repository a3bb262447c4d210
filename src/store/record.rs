//! How an attempt stands in a row.
//!
//! The only place that knows the columns and numbers in which domain values are kept; their words
//! are those of `quiz`. All are part of the file's form: none is ever given another meaning.
//! Reading never panics; a value that means nothing is named with its column.

use rusqlite::{Statement, params_from_iter};

use crate::phrase::Level;
use crate::quiz::{Answer, Attempt, AttemptId, KeptTap, KeptTiming, Kind, Phase, Skill};
use crate::rhythm::Tempo;
use crate::world::{Day, Moment, Seed};

use super::value::{Cells, Value};

/// The columns of an attempt in the order in which they are read and written.
pub(super) const COLUMNS: [&str; 27] = [
    "install",
    "sitting",
    "number",
    "skill",
    "kind",
    "at_ms",
    "wall_ms",
    "since_start_ms",
    "offset_min",
    "day",
    "block",
    "phase",
    "level_tenths",
    "criterion_tenths",
    "tempo_hundredths",
    "alternatives",
    "truth",
    "answer",
    "\"right\"",
    "heard_tenths",
    "answer_ms",
    "replays",
    "taps_ms",
    "seed",
    "generator",
    "phrase",
    "timing",
];

/// The column whose value means nothing.
#[derive(Debug, PartialEq, Eq)]
pub(super) struct Unreadable(pub(super) &'static str);

/// A statement that adds an attempt, with one place for each of [`COLUMNS`].
pub(super) fn insert_sql() -> String {
    let places: Vec<String> = (1..=COLUMNS.len()).map(|n| format!("?{n}")).collect();
    format!(
        "INSERT INTO attempt ({}) VALUES ({})",
        COLUMNS.join(", "),
        places.join(", ")
    )
}

/// Writes `attempt` with a statement that has one place for each of [`COLUMNS`], and returns how
/// many rows it added.
pub(super) fn write(statement: &mut Statement<'_>, attempt: &Attempt) -> rusqlite::Result<usize> {
    statement.execute(params_from_iter(values(attempt)))
}

/// What stands in each of [`COLUMNS`]; none is ever missing.
pub(super) fn values(attempt: &Attempt) -> [Value<'_>; COLUMNS.len()] {
    let a = attempt;
    [
        install_to_sql(a.id.install).into(),
        a.id.sitting.into(),
        a.id.number.into(),
        (&*a.skill.0).into(),
        a.kind.id().into(),
        a.at.0.into(),
        a.wall.0.into(),
        a.since_start_ms.into(),
        a.offset_min.into(),
        a.day.0.into(),
        a.block.into(),
        a.phase.id().into(),
        a.level.tenths().into(),
        a.criterion.tenths().into(),
        a.tempo.hundredths().into(),
        a.alternatives.into(),
        a.truth.to_text().into(),
        a.answer.to_text().into(),
        a.right.into(),
        a.heard_tenths.into(),
        a.answer_ms.into(),
        a.replays.into(),
        KeptTap::to_text(&a.taps).into(),
        a.seed.0.cast_signed().into(),
        a.generator.into(),
        a.phrase.as_str().into(),
        a.timing
            .map_or_else(String::new, KeptTiming::to_text)
            .into(),
    ]
}

/// Reads an attempt from a row that begins with [`COLUMNS`].
pub(super) fn read(row: &impl Cells) -> Result<Attempt, Unreadable> {
    let mut columns = Columns { row, next: 0 };
    let c = &mut columns;
    // Fields are evaluated in the order in which they are written here, which is that of COLUMNS.
    Ok(Attempt {
        id: AttemptId {
            install: install_from_sql(c.number()?),
            sitting: c.number()?,
            number: c.number()?,
        },
        skill: Skill(c.text()?.into()),
        kind: c.word(Kind::from_id)?,
        at: Moment(c.number()?),
        wall: Moment(c.number()?),
        since_start_ms: c.number()?,
        offset_min: c.number()?,
        day: Day(c.number()?),
        block: c.number()?,
        phase: c.word(Phase::from_id)?,
        level: c.level()?,
        criterion: c.level()?,
        tempo: c.tempo()?,
        alternatives: c.number()?,
        truth: c.word(Answer::from_text)?,
        answer: c.word(Answer::from_text)?,
        right: c.flag()?,
        heard_tenths: c.number()?,
        answer_ms: c.number()?,
        replays: c.number()?,
        taps: c.word(KeptTap::from_text)?,
        seed: Seed(c.number::<i64>()?.cast_unsigned()),
        generator: c.number()?,
        phrase: c.text()?.to_owned(),
        timing: c.word(timing_of)?,
    })
}

/// Whether both are the same attempt: a hand-in carries all of one but the text of its phrase.
pub(super) fn are_same(known: &Attempt, other: &Attempt) -> bool {
    if known.phrase == other.phrase {
        return known == other;
    }
    let without = |attempt: &Attempt| Attempt {
        phrase: String::new(),
        ..attempt.clone()
    };
    let travelled = known.phrase.is_empty() || other.phrase.is_empty();
    travelled && without(known) == without(other)
}

/// Shifts an install so that signed order is its unsigned order.
pub(super) fn install_to_sql(install: u64) -> i64 {
    (install ^ (1 << 63)).cast_signed()
}

/// The install that is kept as `kept`.
pub(super) fn install_from_sql(kept: i64) -> u64 {
    kept.cast_unsigned() ^ (1 << 63)
}

/// The timing that a text says; the outer `None` of one that says nothing readable.
#[expect(clippy::option_option, reason = "no timing is no fault")]
pub(super) fn timing_of(text: &str) -> Option<Option<KeptTiming>> {
    if text.is_empty() {
        return Some(None);
    }
    KeptTiming::from_text(text).map(Some)
}

/// A row read from left to right.
struct Columns<'r, R> {
    row: &'r R,
    next: usize,
}

impl<'r, R: Cells> Columns<'r, R> {
    /// The place of the next column, and its name.
    fn step(&mut self) -> (usize, &'static str) {
        let at = self.next;
        self.next += 1;
        (at, COLUMNS.get(at).copied().unwrap_or("?"))
    }

    fn number<T: TryFrom<i64>>(&mut self) -> Result<T, Unreadable> {
        self.value_of(|n| T::try_from(n).ok())
    }

    fn text(&mut self) -> Result<&'r str, Unreadable> {
        let (at, name) = self.step();
        self.row.text_at(at).ok_or(Unreadable(name))
    }

    fn word<T>(&mut self, meaning: impl Fn(&str) -> Option<T>) -> Result<T, Unreadable> {
        let (at, name) = self.step();
        let text = self.row.text_at(at).ok_or(Unreadable(name))?;
        meaning(text).ok_or(Unreadable(name))
    }

    fn value_of<T>(&mut self, meaning: impl Fn(i64) -> Option<T>) -> Result<T, Unreadable> {
        let (at, name) = self.step();
        let number = self.row.number_at(at).ok_or(Unreadable(name))?;
        meaning(number).ok_or(Unreadable(name))
    }

    fn flag(&mut self) -> Result<bool, Unreadable> {
        self.value_of(|n| match n {
            0 => Some(false),
            1 => Some(true),
            _ => None,
        })
    }

    fn level(&mut self) -> Result<Level, Unreadable> {
        self.value_of(|n| {
            // A level out of range would be moved into it, and the attempt would not be the same.
            let tenths = i16::try_from(n).ok()?;
            let level = Level::of_tenths(tenths);
            (level.tenths() == tenths).then_some(level)
        })
    }

    fn tempo(&mut self) -> Result<Tempo, Unreadable> {
        self.value_of(|n| Tempo::of_hundredths(u32::try_from(n).ok()?).ok())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn installs_keep_their_order() {
        let installs = [0, 1, u64::MAX / 2, u64::MAX / 2 + 1, u64::MAX];
        assert!(
            installs
                .map(install_to_sql)
                .is_sorted_by(|left, right| left < right)
        );
        assert_eq!(
            installs.map(|n| install_from_sql(install_to_sql(n))),
            installs
        );
    }
}
