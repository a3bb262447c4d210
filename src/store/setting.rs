//! What a learner settled once.

use std::collections::BTreeMap;

use rusqlite::{Connection, OptionalExtension as _};

use crate::quiz::Skill;
use crate::quiz::judge::Delay;
use crate::rhythm::Counting;
use crate::world::{Day, Moment};

use super::error::Fault;
use super::{Store, StoreError};

const COUNTING: &str = "counting";
const DECK: &str = "deck";
const CAUTIONED: &str = "cautioned_ms";
const CHECKED: &str = "checked";

/// The settings of the learner of this store.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub struct Settings {
    /// How they speak the counts; `None` until they were asked.
    pub counting: Option<Counting>,
    /// When they were told how to set a safe loudness; `None` until they were.
    pub cautioned: Option<Moment>,
}

impl Store {
    /// The settings as they stand.
    ///
    /// # Errors
    /// When they cannot be read.
    pub fn settings(&self) -> Result<Settings, StoreError> {
        self.here(read(&self.conn))
    }

    /// Keeps `settings` from now on, in one transaction. Settings that only a newer program knows
    /// are left as they are.
    ///
    /// # Errors
    /// When they cannot be written; the old ones then stand.
    pub fn save_settings(&mut self, settings: Settings) -> Result<(), StoreError> {
        let outcome = write(&mut self.conn, settings);
        self.here(outcome)
    }
}

impl Store {
    /// What a check found last, by its id, and on which learning day.
    ///
    /// # Errors
    /// When it cannot be read.
    pub fn checked(&self) -> Result<Option<(String, Day)>, StoreError> {
        self.here(read_one(&self.conn, CHECKED, checked_of))
    }

    /// Keeps what a check found, until the next one.
    ///
    /// # Errors
    /// When it cannot be written; what was found before then stands.
    pub fn save_checked(&mut self, id: &str, day: Day) -> Result<(), StoreError> {
        let value = format!("{} {id}", day.0);
        let outcome = write_one(&self.conn, CHECKED, Some(&value));
        self.here(outcome)
    }
}

fn checked_of(value: &str) -> Option<(String, Day)> {
    let (day, id) = value.split_once(' ')?;
    Some((id.to_owned(), Day(day.parse().ok()?)))
}

impl Store {
    /// The constant delay of taps on the output of this name, where it was measured.
    ///
    /// # Errors
    /// When it cannot be read.
    pub fn delay(&self, output: &str) -> Result<Option<Delay>, StoreError> {
        self.here(read_one(&self.conn, &delay_name(output), delay_of))
    }

    /// Keeps the constant delay of an output from now on.
    ///
    /// # Errors
    /// When it cannot be written; the old one then stands.
    pub fn save_delay(&mut self, output: &str, delay: Delay) -> Result<(), StoreError> {
        let value = format!("{:.0} {:.0} {}", delay.micros, delay.spread, delay.n);
        let outcome = write_one(&self.conn, &delay_name(output), Some(&value));
        self.here(outcome)
    }
}

impl Store {
    /// By how many milliseconds taps lay off in the attempts that were timed last, the newest first.
    ///
    /// # Errors
    /// When they cannot be read.
    pub fn recent_leads(&self) -> Result<Vec<i32>, StoreError> {
        self.here(recent_leads(&self.conn))
    }
}

fn recent_leads(conn: &Connection) -> Result<Vec<i32>, Fault> {
    // As many as some days of practice bring: a lead may change over months.
    let mut statement = conn.prepare_cached(
        "SELECT timing FROM attempt WHERE timing <> '' ORDER BY \"row\" DESC LIMIT 24",
    )?;
    let texts = statement.query_map([], |row| row.get::<_, String>(0))?;
    let mut leads = Vec::new();
    for text in texts {
        let timing = super::record::timing_of(&text?).flatten();
        leads.extend(timing.map(|timing| timing.lead_ms));
    }
    Ok(leads)
}

impl Store {
    /// How far claps spread lately in each skill, as a share of a pulse.
    ///
    /// # Errors
    /// When they cannot be read.
    pub fn recent_spreads(&self) -> Result<BTreeMap<Skill, f64>, StoreError> {
        self.here(recent_spreads(&self.conn))
    }
}

fn recent_spreads(conn: &Connection) -> Result<BTreeMap<Skill, f64>, Fault> {
    /// Questions of a skill that say how it stands.
    const LATELY: u32 = 6;
    let mut statement = conn.prepare_cached(
        "SELECT skill, timing FROM attempt WHERE timing <> '' ORDER BY \"row\" DESC LIMIT 1000",
    )?;
    let rows = statement.query_map([], |row| Ok((row.get::<_, String>(0)?, row.get(1)?)))?;
    let mut sums: BTreeMap<Skill, (f64, u32)> = BTreeMap::new();
    for row in rows {
        let (skill, text): (String, String) = row?;
        let sum = sums.entry(Skill(skill.into())).or_default();
        let timing = super::record::timing_of(&text).flatten();
        if let Some(timing) = timing.filter(|_| sum.1 < LATELY) {
            *sum = (sum.0 + timing.of_pulse(), sum.1 + 1);
        }
    }
    let mean = |(skill, (sum, n)): (Skill, (f64, u32))| (skill, sum / f64::from(n.max(1)));
    Ok(sums.into_iter().map(mean).collect())
}

impl Store {
    /// The id of the deck that was chosen last, if one was.
    ///
    /// # Errors
    /// When it cannot be read.
    pub fn deck(&self) -> Result<Option<String>, StoreError> {
        self.here(read_one(&self.conn, DECK, |text| Some(text.to_owned())))
    }

    /// Keeps the choice of a deck.
    ///
    /// # Errors
    /// When it cannot be written; the old one then stands.
    pub fn save_deck(&mut self, id: &str) -> Result<(), StoreError> {
        let outcome = write_one(&self.conn, DECK, Some(id));
        self.here(outcome)
    }
}

/// The name under which the delay of an output is kept.
fn delay_name(output: &str) -> String {
    const LONGEST: usize = 200;
    let output: String = output.chars().take(LONGEST).collect();
    format!("delay_of {output}")
}

/// Microseconds of the mean and of the spread, and how many taps.
fn delay_of(text: &str) -> Option<Delay> {
    let mut words = text.split(' ');
    let mut number = || words.next()?.parse::<i32>().ok();
    let (micros, spread, n) = (number()?, number()?, number()?);
    let is_sound = micros.abs() < 1_000_000 && (0..1_000_000).contains(&spread);
    is_sound.then_some(Delay {
        micros: f64::from(micros),
        spread: f64::from(spread),
        n: usize::try_from(n).ok()?,
    })
}

/// The settings as they stand.
pub(super) fn read(conn: &Connection) -> Result<Settings, Fault> {
    Ok(Settings {
        counting: read_one(conn, COUNTING, Counting::from_id)?,
        cautioned: read_one(conn, CAUTIONED, |text| text.parse().ok().map(Moment))?,
    })
}

pub(super) fn read_one<T>(
    conn: &Connection,
    name: &str,
    meaning: impl Fn(&str) -> Option<T>,
) -> Result<Option<T>, Fault> {
    let mut statement =
        conn.prepare_cached("SELECT value, \"row\" FROM setting WHERE name = ?1")?;
    let found: Option<(String, i64)> = statement
        .query_row([name], |row| Ok((row.get(0)?, row.get(1)?)))
        .optional()?;
    let Some((text, number)) = found else {
        return Ok(None);
    };
    let value = meaning(&text).ok_or_else(|| {
        Fault::Damaged(format!(
            "row {number} of the table setting has no readable value of {name}"
        ))
    })?;
    Ok(Some(value))
}

fn write(conn: &mut Connection, settings: Settings) -> Result<(), Fault> {
    let tx = conn.transaction()?;
    let cautioned = settings.cautioned.map(|moment| moment.0.to_string());
    write_one(&tx, COUNTING, settings.counting.map(Counting::id))?;
    write_one(&tx, CAUTIONED, cautioned.as_deref())?;
    tx.commit()?;
    Ok(())
}

pub(super) fn write_one(conn: &Connection, name: &str, value: Option<&str>) -> Result<(), Fault> {
    let Some(value) = value else {
        conn.execute("DELETE FROM setting WHERE name = ?1", [name])?;
        return Ok(());
    };
    conn.execute(
        "INSERT INTO setting (name, value) VALUES (?1, ?2)
         ON CONFLICT (name) DO UPDATE SET value = excluded.value",
        [name, value],
    )?;
    Ok(())
}
