//! A learner's own recordings: where they lay, their pulses and sections, and what persons say of them.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use rusqlite::{Connection, OptionalExtension as _, Row};

use crate::label::{ContentHash, Label, printable};
use crate::mark::{By, Mark, Marked, Marks, Sections, Stretch, Sure};
use crate::rhythm::Cycle;
use crate::world::Moment;

use super::error::Fault;
use super::record::Unreadable;
use super::{Store, StoreError};

/// A recording that was opened before.
#[derive(Clone, Debug, PartialEq)]
pub struct KnownRecording {
    /// How it was called, safe to show.
    pub name: String,
    /// Where it lay when it was opened last, where that could be kept.
    pub place: Option<PathBuf>,
    /// How it is counted, and its pulses once the learner set them.
    pub pulses: KeptPulses,
    /// Its sections.
    pub sections: Sections,
}

/// How a recording is counted, as the learner set it.
#[derive(Clone, Debug, PartialEq)]
pub struct KeptPulses {
    /// Pulses in a cycle.
    pub cycle: Cycle,
    /// When they sound, in seconds, each later than the one before it by a millisecond; the first is the
    /// first of a cycle. Two at least, or none where they are not set.
    pub times: Vec<f64>,
}

impl Store {
    /// Keeps that a recording was opened, under this name and at this place.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn meet_recording(
        &mut self,
        content: ContentHash,
        name: &str,
        place: Option<&Path>,
        at: Moment,
    ) -> Result<(), StoreError> {
        let sql = "INSERT INTO recording (content, name, place, met_ms) VALUES (?1, ?2, ?3, ?4)
                   ON CONFLICT (content) DO UPDATE
                   SET name = excluded.name, place = excluded.place, met_ms = excluded.met_ms";
        let place = place.and_then(Path::to_str);
        let row = (content.to_string(), name, place, at.0);
        let outcome = self.conn.execute(sql, row);
        self.here(outcome.map(drop).map_err(Into::into))
    }

    /// What is kept of a recording; `None` of one that was never opened.
    ///
    /// # Errors
    /// When it cannot be read.
    pub fn recording(&self, content: ContentHash) -> Result<Option<KnownRecording>, StoreError> {
        self.here(read_recording(&self.conn, content))
    }

    /// Keeps pulses of a recording that was opened, instead of those before.
    ///
    /// # Errors
    /// When they cannot be written; those before then stand.
    pub fn save_pulses(
        &mut self,
        content: ContentHash,
        pulses: &KeptPulses,
    ) -> Result<(), StoreError> {
        let sql = "UPDATE recording SET cycle = ?2, pulses_s = ?3 WHERE content = ?1";
        let n_pulses = u8::try_from(pulses.cycle.n_pulses()).unwrap_or(u8::MAX);
        let row = (content.to_string(), n_pulses, times_text(&pulses.times));
        let outcome = self.conn.execute(sql, row);
        self.here(outcome.map(drop).map_err(Into::into))
    }

    /// Keeps sections of a recording that was opened, instead of those before.
    ///
    /// # Errors
    /// When they cannot be written; those before then stand.
    pub fn save_sections(
        &mut self,
        content: ContentHash,
        sections: &Sections,
    ) -> Result<(), StoreError> {
        let sql = "UPDATE recording SET sections_s = ?2 WHERE content = ?1";
        let row = (content.to_string(), times_text(sections.begins()));
        let outcome = self.conn.execute(sql, row);
        self.here(outcome.map(drop).map_err(Into::into))
    }

    /// Adds what a person says of a recording that was opened, all or nothing.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn mark(
        &mut self,
        content: ContentHash,
        by: &By,
        said: &[Marked],
        at: Moment,
    ) -> Result<(), StoreError> {
        let said: Vec<Said> = said.iter().map(|marked| Said::Says(*marked)).collect();
        let outcome = write_marks(&mut self.conn, content, (by, at), &said);
        self.here(outcome)
    }

    /// Adds that the learner took back what they said of a stretch, and what stands there again, all or
    /// nothing.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn unsay(
        &mut self,
        content: ContentHash,
        stretch: Stretch,
        before: &[Marked],
        at: Moment,
    ) -> Result<(), StoreError> {
        let again = before.iter().map(|marked| Said::Says(*marked));
        let said: Vec<Said> = [Said::Unsaid(stretch)].into_iter().chain(again).collect();
        let outcome = write_marks(&mut self.conn, content, (&By::Own, at), &said);
        self.here(outcome)
    }

    /// Adds that nothing stands any more of what a person said of a recording.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn unsay_all(
        &mut self,
        content: ContentHash,
        by: &By,
        at: Moment,
    ) -> Result<(), StoreError> {
        let outcome = write_marks(
            &mut self.conn,
            content,
            (by, at),
            &[Said::Unsaid(Stretch::ALL)],
        );
        self.here(outcome)
    }

    /// What each person says of a recording, under the name with which they did so first.
    ///
    /// # Errors
    /// When a row cannot be read.
    pub fn marks(&self, content: ContentHash) -> Result<BTreeMap<By, Marks>, StoreError> {
        self.here(read_marks(&self.conn, content))
    }
}

fn read_recording(
    conn: &Connection,
    content: ContentHash,
) -> Result<Option<KnownRecording>, Fault> {
    let sql = "SELECT name, place, cycle, pulses_s, sections_s, rowid
               FROM recording WHERE content = ?1";
    let mut statement = conn.prepare_cached(sql)?;
    let known = |row: &Row<'_>| {
        let number: i64 = row.get(5)?;
        Ok(recording_of(row).map_err(|what| damaged("recording", number, &what)))
    };
    let found = statement.query_row([content.to_string()], known);
    found.optional()?.transpose()
}

fn recording_of(row: &Row<'_>) -> Result<KnownRecording, Unreadable> {
    let name: String = column(row, 0, "name")?;
    let place: Option<String> = column(row, 1, "place")?;
    let n_pulses: i64 = column(row, 2, "cycle")?;
    let cycle = Cycle::new(n_pulses).map_err(|_| Unreadable("cycle"))?;
    let pulses: String = column(row, 3, "pulses_s")?;
    let times = pulses_of(&pulses).ok_or(Unreadable("pulses_s"))?;
    let begins: String = column(row, 4, "sections_s")?;
    let sections = times_of(&begins).and_then(|begins| Sections::new(begins).ok());
    Ok(KnownRecording {
        name: printable(&name),
        place: place.map(PathBuf::from),
        pulses: KeptPulses { cycle, times },
        sections: sections.ok_or(Unreadable("sections_s"))?,
    })
}

fn read_marks(conn: &Connection, content: ContentHash) -> Result<BTreeMap<By, Marks>, Fault> {
    let sql = "SELECT by_name, from_s, until_s, mark, sure, \"row\"
               FROM recording_mark WHERE content = ?1 ORDER BY \"row\"";
    let mut statement = conn.prepare_cached(sql)?;
    let mut rows = statement.query([content.to_string()])?;
    let mut marks: BTreeMap<By, Marks> = BTreeMap::new();
    while let Some(row) = rows.next()? {
        let number: i64 = row.get(5)?;
        let read = mark_of(row).map_err(|what| damaged("recording_mark", number, &what));
        let (by, said) = read?;
        let of_person = marks.entry(by).or_default();
        match said {
            Said::Says(marked) => of_person.put(marked),
            Said::Unsaid(stretch) => of_person.clear(stretch),
        }
    }
    marks.retain(|_, marks| !marks.all().is_empty());
    Ok(marks)
}

/// What a row says of a stretch.
#[derive(Clone, Copy, Debug)]
enum Said {
    Says(Marked),
    /// Nothing any more.
    Unsaid(Stretch),
}

/// What stands in the column of the mark, and of how sure it is, where one was taken back.
const UNSAID: &str = "unsaid";

fn mark_of(row: &Row<'_>) -> Result<(By, Said), Unreadable> {
    let by = match column::<String>(row, 0, "by_name")?.as_str() {
        "" => By::Own,
        name => By::Other(Label::new(name).map_err(|_| Unreadable("by_name"))?),
    };
    let (from, until) = (column(row, 1, "from_s")?, column(row, 2, "until_s")?);
    let stretch = Stretch::new(from, until).map_err(|_| Unreadable("stretch"))?;
    let mark: String = column(row, 3, "mark")?;
    if mark == UNSAID {
        return Ok((by, Said::Unsaid(stretch)));
    }
    let mark = Mark::from_id(&mark);
    let sure = Sure::from_id(&column::<String>(row, 4, "sure")?);
    let marked = Marked {
        stretch,
        mark: mark.ok_or(Unreadable("mark"))?,
        sure: sure.ok_or(Unreadable("sure"))?,
    };
    Ok((by, Said::Says(marked)))
}

fn write_marks(
    conn: &mut Connection,
    content: ContentHash,
    (by, at): (&By, Moment),
    said: &[Said],
) -> Result<(), Fault> {
    let name = match by {
        By::Own => "",
        By::Other(name) => name.as_str(),
    };
    let tx = conn.transaction()?;
    for said in said {
        let (stretch, mark, sure) = match said {
            Said::Says(marked) => (marked.stretch, marked.mark.id(), marked.sure.id()),
            Said::Unsaid(stretch) => (*stretch, UNSAID, UNSAID),
        };
        tx.execute(
            "INSERT INTO recording_mark (content, by_name, at_ms, from_s, until_s, mark, sure)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
            (
                content.to_string(),
                name,
                at.0,
                stretch.from(),
                stretch.until(),
                mark,
                sure,
            ),
        )?;
    }
    tx.commit()?;
    Ok(())
}

fn damaged(table: &str, number: i64, what: &Unreadable) -> Fault {
    let column = what.0;
    Fault::Damaged(format!(
        "row {number} of the table {table} has no readable {column}"
    ))
}

fn column<T: rusqlite::types::FromSql>(
    row: &Row<'_>,
    idx: usize,
    name: &'static str,
) -> Result<T, Unreadable> {
    row.get(idx).map_err(|_| Unreadable(name))
}

/// Times to the microsecond.
fn times_text(times: &[f64]) -> String {
    let written: Vec<String> = times.iter().map(|time| format!("{time:.6}")).collect();
    written.join(" ")
}

fn times_of(text: &str) -> Option<Vec<f64>> {
    text.split_whitespace()
        .map(|time| time.parse().ok())
        .collect()
}

/// Pulses, or none; `None` of what is neither.
fn pulses_of(text: &str) -> Option<Vec<f64>> {
    /// A little less than the least gap, for what rounding takes away.
    const LEAST_GAP: f64 = 0.000_998;
    let times = times_of(text)?;
    let is_time = |time: &f64| time.abs() <= Stretch::LATEST;
    let rises = |pair: &[f64]| pair[1] - pair[0] >= LEAST_GAP;
    let is_sound = times.len() != 1 && times.iter().all(is_time) && times.windows(2).all(rises);
    is_sound.then_some(times)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pulses_are_kept_to_the_microsecond() {
        assert_eq!(times_text(&[0.25, 1.0 / 3.0]), "0.250000 0.333333");
        assert_eq!(pulses_of("0.250000 0.333333"), Some(vec![0.25, 0.333_333]));
        assert_eq!(pulses_of(""), Some(vec![]));
    }

    #[test]
    fn what_are_no_pulses_is_refused() {
        for text in [
            "1", "1 1", "2 1", "1 x", "1 NaN", "1 inf", "1 1e9", "NaN NaN",
        ] {
            assert_eq!(pulses_of(text), None, "{text}");
        }
    }
}
