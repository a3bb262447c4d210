//! The first line of a hand-in.

use serde_json::{Map, Value, json};

use crate::label::Label;
use crate::world::{Day, Moment};

use super::{LearnerId, hex16, limit, line};

/// The format of the file. A newer one is refused.
pub(super) const FORMAT: u64 = 1;

/// Who hands in, and what.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Header {
    /// The version of the program that wrote it.
    pub program: Label,
    /// The learner.
    pub learner: LearnerId,
    /// Other numbers of the same learner, from before their machines knew of each other.
    pub also: Vec<LearnerId>,
    /// What the learner is called.
    pub name: Label,
    /// The machines on which its attempts were made.
    pub machines: Vec<Machine>,
    /// The decks that were practised.
    pub decks: Vec<Label>,
    /// The first day and the last, when there is an attempt.
    pub days: Option<(Day, Day)>,
    /// How many attempts follow.
    pub n_attempts: u64,
    /// How many disputes follow them.
    pub n_disputes: u64,
    /// When it was made, by the learner's clock.
    pub made: Moment,
}

/// A machine on which a learner practises.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Machine {
    /// The number of its installation, which is in the names of its attempts.
    pub install: u64,
    /// How many attempts made there the learner's log holds, with those that are not in this file.
    /// A reader that ends up with fewer lacks an earlier hand-in.
    pub n_made: u64,
}

impl Header {
    pub(super) fn to_line(&self) -> String {
        let hex = |n: u64| format!("{n:016x}");
        let machines: Vec<Value> = self.machines.iter().map(machine_json).collect();
        let also: Vec<String> = self.also.iter().map(LearnerId::to_string).collect();
        let decks: Vec<&str> = self.decks.iter().map(Label::as_str).collect();
        let day = |day: Day| json!({ "day": day.0, "date": day.to_string() });
        json!({
            "hand-in": FORMAT,
            "program": self.program.as_str(),
            "learner": hex(self.learner.0),
            "also": also,
            "name": self.name.as_str(),
            "machines": machines,
            "decks": decks,
            "from": self.days.map(|(from, _)| day(from)),
            "until": self.days.map(|(_, until)| day(until)),
            "attempts": self.n_attempts,
            "disputes": self.n_disputes,
            "made_ms": self.made.0,
            "columns": line::COLUMNS,
        })
        .to_string()
    }

    /// The header that a line says, or what is wrong with it.
    pub(super) fn from_line(text: &str) -> Result<Self, Wrong> {
        let value: Value = serde_json::from_str(text).map_err(|_| Wrong::Not("a header"))?;
        let map = value.as_object().ok_or(Wrong::Not("a header"))?;
        let found = number(map, "hand-in")?;
        if found != FORMAT {
            return Err(Wrong::Format(found));
        }
        let n_attempts = number(map, "attempts")?;
        let n_disputes = number(map, "disputes")?;
        if n_attempts > limit::ATTEMPTS || n_disputes > limit::DISPUTES {
            return Err(Wrong::Not("a number of attempts that a hand-in may hold"));
        }
        if map.get("columns") != Some(&json!(line::COLUMNS)) {
            return Err(Wrong::Not("the columns of this format"));
        }
        Ok(Self {
            program: label(map.get("program"), "program")?,
            learner: LearnerId(id(map.get("learner"), "learner")?),
            also: list(map, "also", limit::MACHINES, |v| id(Some(v), "also"))?
                .into_iter()
                .map(LearnerId)
                .collect(),
            name: label(map.get("name"), "name")?,
            machines: list(map, "machines", limit::MACHINES, machine)?,
            decks: list(map, "decks", limit::DECKS, |v| label(Some(v), "decks"))?,
            days: day(map, "from")?.zip(day(map, "until")?),
            n_attempts,
            n_disputes,
            made: Moment(
                map.get("made_ms")
                    .and_then(Value::as_i64)
                    .ok_or(Wrong::Field("made_ms"))?,
            ),
        })
    }
}

/// What is wrong with a first line.
#[derive(Debug)]
pub(super) enum Wrong {
    /// This was expected.
    Not(&'static str),
    /// A field is missing or says nothing readable.
    Field(&'static str),
    /// Another format.
    Format(u64),
}

fn machine_json(machine: &Machine) -> Value {
    json!({ "install": format!("{:016x}", machine.install), "attempts": machine.n_made })
}

fn machine(value: &Value) -> Result<Machine, Wrong> {
    let map = value.as_object().ok_or(Wrong::Field("machines"))?;
    // More than anybody lives to make; sums of it stay within 64 bits.
    let n_made = map.get("attempts").and_then(Value::as_u64);
    let n_made = n_made.filter(|n| *n <= u64::from(u32::MAX));
    Ok(Machine {
        install: id(map.get("install"), "machines")?,
        n_made: n_made.ok_or(Wrong::Field("machines"))?,
    })
}

fn number(map: &Map<String, Value>, field: &'static str) -> Result<u64, Wrong> {
    let number = map.get(field).and_then(Value::as_u64);
    number.ok_or(Wrong::Field(field))
}

fn label(value: Option<&Value>, field: &'static str) -> Result<Label, Wrong> {
    let text = value.and_then(Value::as_str);
    let label = text.and_then(|text| Label::new(text).ok());
    label.ok_or(Wrong::Field(field))
}

fn id(value: Option<&Value>, field: &'static str) -> Result<u64, Wrong> {
    let text = value.and_then(Value::as_str);
    text.and_then(hex16).ok_or(Wrong::Field(field))
}

fn list<T>(
    map: &Map<String, Value>,
    field: &'static str,
    most: usize,
    each: impl Fn(&Value) -> Result<T, Wrong>,
) -> Result<Vec<T>, Wrong> {
    let values = map.get(field).and_then(Value::as_array);
    let values = values.filter(|values| values.len() <= most);
    values
        .ok_or(Wrong::Field(field))?
        .iter()
        .map(each)
        .collect()
}

fn day(map: &Map<String, Value>, field: &'static str) -> Result<Option<Day>, Wrong> {
    let value = map.get(field).ok_or(Wrong::Field(field))?;
    if value.is_null() {
        return Ok(None);
    }
    let number = value.get("day").and_then(Value::as_i64);
    let day = number.and_then(|n| i32::try_from(n).ok());
    day.map(|n| Some(Day(n))).ok_or(Wrong::Field(field))
}
