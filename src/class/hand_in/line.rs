//! How an attempt stands in a line.
//!
//! A line is an array in the order of [`COLUMNS`]. What seldom changes stands last, and a line that
//! ends early goes on as the line before it; only the number of the attempt is then one more. That
//! and the differences of times make a year of practice less than half as long.

use serde_json::{Value, json};

use crate::label::Label;
use crate::phrase::Level;
use crate::quiz::{Answer, Attempt, AttemptId, KeptTap, KeptTiming, Kind, Phase, Skill};
use crate::rhythm::Tempo;
use crate::world::{Day, Moment, Seed};

use super::{Doubt, Machine, limit};

/// The columns of an attempt, with their units. The first twelve stand in every line.
pub(super) const COLUMNS: [&str; 26] = [
    "ms-after-last",
    "ms-off-sitting-clock",
    "level-tenths",
    "tempo-hundredths",
    "truth",
    "answer",
    "right",
    "heard-tenths",
    "answer-ms",
    "seed",
    "taps-ms-apart",
    "timing",
    "replays",
    "phase",
    "choices",
    "criterion-tenths",
    "block",
    "skill",
    "kind",
    "generator",
    "number",
    "wall-ms-off",
    "day",
    "ahead-of-utc-min",
    "sitting",
    "machine",
];
/// Minutes of the widest offset from UTC that a store takes.
const WIDEST_OFFSET: i32 = 1440;
const DAY_MS: i64 = 86_400_000;

/// What the next line may go on from.
#[derive(Debug, Default)]
pub(super) struct Before {
    at_ms: i64,
    since_ms: i64,
    tail: Option<Tail>,
}

/// What seldom changes, in the order of its columns.
#[derive(Clone, Debug, PartialEq)]
struct Tail {
    replays: u8,
    phase: Phase,
    choices: u8,
    criterion: Level,
    block: u32,
    skill: Skill,
    kind: Kind,
    generator: u32,
    number: u32,
    wall_off: i64,
    day: Day,
    offset_min: i32,
    sitting: u32,
    machine: usize,
}

impl Before {
    /// The line of `attempt`, made on the machine of this index.
    pub(super) fn write(&mut self, attempt: &Attempt, machine: usize) -> String {
        let a = attempt;
        // Times wrap, so that any two of them have a difference that brings the second back.
        let after = a.at.0.wrapping_sub(self.at_ms);
        let since = i64::from(a.since_start_ms);
        let slip = (since - self.since_ms).wrapping_sub(after);
        let mut values = vec![
            json!(after),
            json!(slip),
            json!(a.level.tenths()),
            json!(a.tempo.hundredths()),
            json!(a.truth.to_text()),
            json!(a.answer.to_text()),
            json!(u8::from(a.right)),
            json!(a.heard_tenths),
            json!(a.answer_ms),
            json!(a.seed.0),
            json!(KeptTap::to_text(&apart(&a.taps))),
            json!(a.timing.map_or_else(String::new, KeptTiming::to_text)),
        ];
        let tail = Tail::of(a, machine);
        let mut cells = tail.cells();
        cells.truncate(self.n_new(&tail, &cells));
        values.append(&mut cells);
        (self.at_ms, self.since_ms, self.tail) = (a.at.0, since, Some(tail));
        Value::Array(values).to_string()
    }

    /// How many cells of the tail have to be written.
    fn n_new(&self, tail: &Tail, cells: &[Value]) -> usize {
        let Some(next) = self.tail.clone().and_then(Tail::next) else {
            return cells.len();
        };
        if next == *tail {
            return 0;
        }
        let known = next.cells();
        let differs = cells.iter().zip(&known).rposition(|(new, old)| new != old);
        differs.map_or(0, |last| last + 1)
    }

    /// The attempt that a line says; else the column that says nothing readable.
    pub(super) fn read(
        &mut self,
        values: &[Value],
        machines: &[Machine],
    ) -> Result<Attempt, &'static str> {
        let mut cells = Cells { values, next: 0 };
        let c = &mut cells;
        let at_ms = self.at_ms.wrapping_add(c.number()?);
        let slip: i64 = c.number()?;
        let since_ms = at_ms
            .wrapping_sub(self.at_ms)
            .wrapping_add(slip)
            .wrapping_add(self.since_ms);
        let since_start_ms = u32::try_from(since_ms).map_err(|_| COLUMNS[1])?;
        let level = c.that(level)?;
        let tempo = c.that(|v| Tempo::of_hundredths(u32::try_from(v.as_u64()?).ok()?).ok())?;
        let truth = c.that(|v| Answer::from_text(v.as_str()?))?;
        let answer = c.that(|v| Answer::from_text(v.as_str()?))?;
        let right = c.that(flag)?;
        let heard_tenths = c.number()?;
        let answer_ms = c.number()?;
        let seed = Seed(c.that(Value::as_u64)?);
        let taps = c.that(taps)?;
        let timing = c.that(timing)?;
        let tail = self.tail_of(c)?;
        let id = AttemptId {
            install: machines.get(tail.machine).ok_or("machine")?.install,
            sitting: tail.sitting,
            number: tail.number,
        };
        if tail.day.0.abs_diff(day_number(at_ms)) > 2 {
            return Err("day");
        }
        (self.at_ms, self.since_ms) = (at_ms, since_ms);
        let attempt = Attempt {
            id,
            skill: tail.skill.clone(),
            kind: tail.kind,
            at: Moment(at_ms),
            wall: Moment(at_ms.wrapping_add(tail.wall_off)),
            since_start_ms,
            offset_min: tail.offset_min,
            day: tail.day,
            block: tail.block,
            phase: tail.phase,
            level,
            criterion: tail.criterion,
            tempo,
            alternatives: tail.choices,
            truth,
            answer,
            right,
            heard_tenths,
            answer_ms,
            replays: tail.replays,
            taps,
            timing,
            seed,
            generator: tail.generator,
            phrase: String::new(),
        };
        self.tail = Some(tail);
        Ok(attempt)
    }

    /// The tail of the line whose head was read.
    fn tail_of(&mut self, c: &mut Cells<'_>) -> Result<Tail, &'static str> {
        let Some(before) = self.tail.take() else {
            return Tail::read(c);
        };
        let mut tail = before.next().ok_or("number")?;
        tail.renew(c)?;
        if c.next < c.values.len() {
            return Err("end");
        }
        Ok(tail)
    }
}

impl Tail {
    fn of(a: &Attempt, machine: usize) -> Self {
        Self {
            replays: a.replays,
            phase: a.phase,
            choices: a.alternatives,
            criterion: a.criterion,
            block: a.block,
            skill: a.skill.clone(),
            kind: a.kind,
            generator: a.generator,
            number: a.id.number,
            wall_off: a.wall.0.wrapping_sub(a.at.0),
            day: a.day,
            offset_min: a.offset_min,
            sitting: a.id.sitting,
            machine,
        }
    }

    /// What the next attempt has, when its line does not say anything else.
    fn next(mut self) -> Option<Self> {
        self.number = self.number.checked_add(1)?;
        Some(self)
    }

    fn cells(&self) -> Vec<Value> {
        vec![
            json!(self.replays),
            json!(self.phase.id()),
            json!(self.choices),
            json!(self.criterion.tenths()),
            json!(self.block),
            json!(&*self.skill.0),
            json!(self.kind.id()),
            json!(self.generator),
            json!(self.number),
            json!(self.wall_off),
            json!(self.day.0),
            json!(self.offset_min),
            json!(self.sitting),
            json!(self.machine),
        ]
    }

    /// The whole tail that a first line has to have.
    fn read(c: &mut Cells<'_>) -> Result<Self, &'static str> {
        if c.values.len() != COLUMNS.len() {
            return Err("end");
        }
        Ok(Self {
            replays: c.number()?,
            phase: c.that(phase)?,
            choices: c.number()?,
            criterion: c.that(level)?,
            block: c.number()?,
            skill: c.that(skill)?,
            kind: c.that(kind)?,
            generator: c.number()?,
            number: c.number()?,
            wall_off: c.number()?,
            day: Day(c.number()?),
            offset_min: c.that(offset)?,
            sitting: c.number()?,
            machine: c.number()?,
        })
    }

    /// Takes over what a line says anew.
    fn renew(&mut self, c: &mut Cells<'_>) -> Result<(), &'static str> {
        c.again(&mut self.replays, whole)?;
        c.again(&mut self.phase, phase)?;
        c.again(&mut self.choices, whole)?;
        c.again(&mut self.criterion, level)?;
        c.again(&mut self.block, whole)?;
        c.again(&mut self.skill, skill)?;
        c.again(&mut self.kind, kind)?;
        c.again(&mut self.generator, whole)?;
        c.again(&mut self.number, whole)?;
        c.again(&mut self.wall_off, whole)?;
        c.again(&mut self.day.0, whole)?;
        c.again(&mut self.offset_min, offset)?;
        c.again(&mut self.sitting, whole)?;
        c.again(&mut self.machine, whole)
    }
}

/// A line read from left to right.
struct Cells<'v> {
    values: &'v [Value],
    next: usize,
}

impl Cells<'_> {
    fn that<T>(&mut self, meaning: impl Fn(&Value) -> Option<T>) -> Result<T, &'static str> {
        let name = COLUMNS.get(self.next).copied().unwrap_or("end");
        let value = self.values.get(self.next).ok_or(name)?;
        self.next += 1;
        meaning(value).ok_or(name)
    }

    fn number<T: TryFrom<i64>>(&mut self) -> Result<T, &'static str> {
        self.that(whole)
    }

    fn again<T>(
        &mut self,
        known: &mut T,
        meaning: impl Fn(&Value) -> Option<T>,
    ) -> Result<(), &'static str> {
        if self.next < self.values.len() {
            *known = self.that(meaning)?;
        }
        Ok(())
    }
}

fn whole<T: TryFrom<i64>>(value: &Value) -> Option<T> {
    T::try_from(value.as_i64()?).ok()
}

fn flag(value: &Value) -> Option<bool> {
    match value.as_u64()? {
        0 => Some(false),
        1 => Some(true),
        _ => None,
    }
}

/// A level out of range would be moved into it, and the attempt would not be the same.
fn level(value: &Value) -> Option<Level> {
    let tenths = whole(value)?;
    let level = Level::of_tenths(tenths);
    (level.tenths() == tenths).then_some(level)
}

fn phase(value: &Value) -> Option<Phase> {
    Phase::from_id(value.as_str()?)
}

fn kind(value: &Value) -> Option<Kind> {
    Kind::from_id(value.as_str()?)
}

fn offset(value: &Value) -> Option<i32> {
    whole(value).filter(|min: &i32| min.abs() <= WIDEST_OFFSET)
}

/// A skill is `deck/exercise`, of lower-case letters, digits and hyphens: it is shown and compared.
fn skill(value: &Value) -> Option<Skill> {
    let text = value.as_str()?;
    let (deck, exercise) = text.split_once('/')?;
    let is_id = |id: &str| {
        let plain = |b: u8| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b'-';
        !id.is_empty() && id.bytes().all(plain)
    };
    let holds = text.len() <= limit::SKILL && is_id(deck) && is_id(exercise);
    holds.then(|| Skill(text.into()))
}

fn taps(value: &Value) -> Option<Vec<KeptTap>> {
    let text = value.as_str()?;
    // Counted before memory is taken.
    let n = text.bytes().filter(|b| *b == b' ').count();
    let apart = (n < limit::TAPS).then(|| KeptTap::from_text(text))??;
    Some(together(apart))
}

#[expect(clippy::option_option, reason = "no timing is no fault")]
fn timing(value: &Value) -> Option<Option<KeptTiming>> {
    match value.as_str()? {
        "" => Some(None),
        text => KeptTiming::from_text(text).map(Some),
    }
}

/// Each tap by the time since the one before it.
fn apart(taps: &[KeptTap]) -> Vec<KeptTap> {
    let mut last = 0_i32;
    let gap = |tap: &KeptTap| {
        let ms = tap.ms.wrapping_sub(std::mem::replace(&mut last, tap.ms));
        KeptTap { ms, hand: tap.hand }
    };
    taps.iter().map(gap).collect()
}

fn together(mut apart: Vec<KeptTap>) -> Vec<KeptTap> {
    let mut last = 0_i32;
    for tap in &mut apart {
        last = last.wrapping_add(tap.ms);
        tap.ms = last;
    }
    apart
}

fn day_number(at_ms: i64) -> i32 {
    let day = at_ms.div_euclid(DAY_MS);
    i32::try_from(day).unwrap_or(if day < 0 { i32::MIN } else { i32::MAX })
}

/// The line of a dispute.
pub(super) fn write_doubt(doubt: &Doubt, machine: usize) -> String {
    json!({
        "dispute": [machine, doubt.attempt.sitting, doubt.attempt.number],
        "at_ms": doubt.at.0,
        "note": doubt.note.as_ref().map(Label::as_str),
    })
    .to_string()
}

/// The dispute that an object says.
pub(super) fn read_doubt(value: &Value, machines: &[Machine]) -> Option<Doubt> {
    let [machine, sitting, number] = value.get("dispute")?.as_array()?.as_slice() else {
        return None;
    };
    let machine = machines.get(whole::<usize>(machine)?)?;
    let note = match value.get("note")? {
        Value::Null => None,
        note => Some(Label::new(note.as_str()?).ok()?),
    };
    Some(Doubt {
        attempt: AttemptId {
            install: machine.install,
            sitting: whole(sitting)?,
            number: whole(number)?,
        },
        at: Moment(value.get("at_ms")?.as_i64()?),
        note,
    })
}
