//! How an attempt stands in a row.
//!
//! The only place that knows the words and numbers in which domain values are kept. They are part
//! of the file's form: a word is never given another meaning. Reading never panics; a value that
//! means nothing is named with its column.

use rusqlite::types::ValueRef;
use rusqlite::{Row, Statement, params};

use crate::phrase::Level;
use crate::quiz::{
    Answer, Attempt, AttemptId, Hand, KeptTap, KeptTiming, Kind, Owner, Phase, Skill,
};
use crate::rhythm::{Feel, Layer, Tempo};
use crate::world::{Day, Moment, Seed};

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

/// Writes `attempt` with a statement that has one place for each of [`COLUMNS`].
pub(super) fn write(statement: &mut Statement<'_>, attempt: &Attempt) -> rusqlite::Result<()> {
    let a = attempt;
    statement.execute(params![
        install_to_sql(a.id.install),
        a.id.sitting,
        a.id.number,
        &*a.skill.0,
        a.kind.id(),
        a.at.0,
        a.wall.0,
        a.since_start_ms,
        a.offset_min,
        a.day.0,
        a.block,
        phase_id(a.phase),
        a.level.tenths(),
        a.criterion.tenths(),
        a.tempo.hundredths(),
        a.alternatives,
        answer_text(a.truth),
        answer_text(a.answer),
        a.right,
        a.heard_tenths,
        a.answer_ms,
        a.replays,
        taps_text(&a.taps),
        a.seed.0.cast_signed(),
        a.generator,
        a.phrase,
        a.timing.map_or_else(String::new, timing_text),
    ])?;
    Ok(())
}

/// Reads an attempt from a row that begins with [`COLUMNS`].
pub(super) fn read(row: &Row<'_>) -> Result<Attempt, Unreadable> {
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
        phase: c.word(phase_of)?,
        level: c.level()?,
        criterion: c.level()?,
        tempo: c.tempo()?,
        alternatives: c.number()?,
        truth: c.word(answer_of)?,
        answer: c.word(answer_of)?,
        right: c.flag()?,
        heard_tenths: c.number()?,
        answer_ms: c.number()?,
        replays: c.number()?,
        taps: c.word(taps_of)?,
        seed: Seed(c.number::<i64>()?.cast_unsigned()),
        generator: c.number()?,
        phrase: c.text()?.to_owned(),
        timing: c.word(timing_of)?,
    })
}

/// Shifts an install so that signed order is its unsigned order.
pub(super) fn install_to_sql(install: u64) -> i64 {
    (install ^ (1 << 63)).cast_signed()
}

/// The install that is kept as `kept`.
pub(super) fn install_from_sql(kept: i64) -> u64 {
    kept.cast_unsigned() ^ (1 << 63)
}

/// A row read from left to right.
struct Columns<'r> {
    row: &'r Row<'r>,
    next: usize,
}

impl<'r> Columns<'r> {
    fn value(&mut self) -> Result<(ValueRef<'r>, &'static str), Unreadable> {
        let name = COLUMNS.get(self.next).copied().unwrap_or("?");
        let value = self.row.get_ref(self.next);
        self.next += 1;
        value
            .map(|value| (value, name))
            .map_err(|_| Unreadable(name))
    }

    fn number<T: TryFrom<i64>>(&mut self) -> Result<T, Unreadable> {
        let (value, name) = self.value()?;
        match value {
            ValueRef::Integer(n) => T::try_from(n).map_err(|_| Unreadable(name)),
            _ => Err(Unreadable(name)),
        }
    }

    fn text(&mut self) -> Result<&'r str, Unreadable> {
        let (value, name) = self.value()?;
        value.as_str().map_err(|_| Unreadable(name))
    }

    fn word<T>(&mut self, meaning: impl Fn(&str) -> Option<T>) -> Result<T, Unreadable> {
        let (value, name) = self.value()?;
        let text = value.as_str().map_err(|_| Unreadable(name))?;
        meaning(text).ok_or(Unreadable(name))
    }

    fn value_of<T>(&mut self, meaning: impl Fn(i64) -> Option<T>) -> Result<T, Unreadable> {
        let (value, name) = self.value()?;
        match value {
            ValueRef::Integer(n) => meaning(n).ok_or(Unreadable(name)),
            _ => Err(Unreadable(name)),
        }
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

fn phase_id(phase: Phase) -> &'static str {
    match phase {
        Phase::Probe => "probe",
        Phase::Adaptive => "adaptive",
        Phase::Fill => "fill",
    }
}

fn phase_of(id: &str) -> Option<Phase> {
    [Phase::Probe, Phase::Adaptive, Phase::Fill]
        .into_iter()
        .find(|phase| phase_id(*phase) == id)
}

fn answer_text(answer: Answer) -> String {
    match answer {
        Answer::Feel(feel) => format!("feel {}", feel.id()),
        Answer::Start(Some(pulse)) => format!("start {pulse}"),
        Answer::Start(None) => "start ?".to_owned(),
        Answer::Clapping(layer) => format!("clapping {layer}"),
        Answer::Hands(layer) => format!("hands {}", layer_text(layer)),
        Answer::Pair([one, other]) => format!("pair {} {}", layer_text(one), layer_text(other)),
        Answer::Marks(layer) => format!("marks {}", layer_text(layer)),
        Answer::Turn(None) => "turn ?".to_owned(),
        Answer::Turn(Some(cycle)) => format!("turn {cycle}"),
        Answer::Owner(owner) => format!("owner {}", owner.id()),
    }
}

fn answer_of(text: &str) -> Option<Answer> {
    let (what, value) = text.split_once(' ')?;
    match (what, value) {
        ("feel", id) => Feel::from_id(id).map(Answer::Feel),
        ("start", "?") => Some(Answer::Start(None)),
        ("start", pulse) => pulse.parse().ok().map(|pulse| Answer::Start(Some(pulse))),
        ("clapping", layer) => layer.parse::<Layer>().ok().map(Answer::Clapping),
        ("hands", layer) => layer_of(layer).map(Answer::Hands),
        ("pair", both) => {
            let (one, other) = both.split_once(' ')?;
            Some(Answer::Pair([layer_of(one)?, layer_of(other)?]))
        }
        ("marks", layer) => layer_of(layer).map(Answer::Marks),
        ("turn", "?") => Some(Answer::Turn(None)),
        ("turn", cycle) => cycle.parse().ok().map(|cycle| Answer::Turn(Some(cycle))),
        ("owner", id) => Owner::from_id(id).map(Answer::Owner),
        _ => None,
    }
}

fn layer_text(layer: Option<Layer>) -> String {
    layer.map_or_else(|| "?".to_owned(), |layer| layer.to_string())
}

fn layer_of(text: &str) -> Option<Option<Layer>> {
    match text {
        "?" => Some(None),
        layer => layer.parse::<Layer>().ok().map(Some),
    }
}

fn taps_text(taps: &[KeptTap]) -> String {
    let word = |tap: &KeptTap| match tap.hand {
        Hand::Either => tap.ms.to_string(),
        Hand::Left => format!("l{}", tap.ms),
        Hand::Right => format!("r{}", tap.ms),
    };
    taps.iter().map(word).collect::<Vec<_>>().join(" ")
}

fn taps_of(text: &str) -> Option<Vec<KeptTap>> {
    let tap = |word: &str| {
        let (hand, ms) = match word.as_bytes().first()? {
            b'l' => (Hand::Left, word.get(1..)?),
            b'r' => (Hand::Right, word.get(1..)?),
            _ => (Hand::Either, word),
        };
        let ms = ms.parse().ok()?;
        Some(KeptTap { ms, hand })
    };
    if text.is_empty() {
        return Some(Vec::new());
    }
    text.split(' ').map(tap).collect()
}

fn timing_text(timing: KeptTiming) -> String {
    let t = timing;
    format!("{} {} {} {}", t.lead_ms, t.spread_tenths, t.pulse_ms, t.n)
}

/// The timing that a text says; the outer `None` of one that says nothing readable.
#[expect(clippy::option_option, reason = "no timing is no fault")]
pub(super) fn timing_of(text: &str) -> Option<Option<KeptTiming>> {
    if text.is_empty() {
        return Some(None);
    }
    let words: Vec<&str> = text.split(' ').collect();
    let [lead, spread, pulse, n] = words.as_slice() else {
        return None;
    };
    Some(Some(KeptTiming {
        lead_ms: lead.parse().ok()?,
        spread_tenths: spread.parse().ok()?,
        pulse_ms: pulse.parse().ok()?,
        n: n.parse().ok()?,
    }))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check_answer(answer: Answer, text: &str) {
        assert_eq!(answer_text(answer), text);
        assert_eq!(answer_of(text), Some(answer));
    }

    #[test]
    fn answers_are_short_words() {
        check_answer(Answer::Feel(Feel::InTurn), "feel in-turn");
        check_answer(Answer::Start(Some(3)), "start 3");
        check_answer(Answer::Start(None), "start ?");
        check_answer(Answer::Hands(None), "hands ?");
        check_answer(Answer::Owner(Owner::Neither), "owner neither");
        let threes = "x..x..".parse().ok();
        check_answer(Answer::Pair([None, threes]), "pair ? x..x..");
        let taps = [(-12, Hand::Left), (7, Hand::Either), (33, Hand::Right)]
            .map(|(ms, hand)| KeptTap { ms, hand });
        assert_eq!(taps_text(&taps), "l-12 7 r33");
        assert_eq!(taps_of("l-12 7 r33").as_deref(), Some(&taps[..]));
        let timing = KeptTiming {
            lead_ms: -21,
            spread_tenths: 184,
            pulse_ms: 333,
            n: 17,
        };
        assert_eq!(timing_of(&timing_text(timing)), Some(Some(timing)));
        assert_eq!(timing_of(""), Some(None));
        let layer = "x..xx.".parse().expect("a layer");
        check_answer(Answer::Clapping(layer), "clapping x..xx.");
    }

    #[test]
    fn what_means_nothing_is_no_answer() {
        for text in [
            "",
            "feel",
            "feel fours",
            "start -1",
            "start 256",
            "clapping ......",
            "clap x.",
            "pair x..x..",
            "owner all",
        ] {
            assert_eq!(answer_of(text), None, "{text:?}");
        }
        assert_eq!(taps_of("12 x"), None);
        assert_eq!(taps_of("l"), None);
        assert_eq!(timing_of("1 2 3"), None);
        assert_eq!(timing_of("1 -2 3 4"), None);
        assert_eq!(taps_of("99999999999"), None);
    }

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
