//! Clap a layer along with the phrase, to its end.
//!
//! The guitar may carry the same layer or the opposite one; claps of a guide lead in and leave. What
//! is judged is which layer was clapped and whether it was held, not how late: the delay of the
//! set-up is not known here.

use crate::phrase::{
    Level, Loudness, NoPhrase, Note, Phrase, Purpose, Recipe, Touch, Voice, Wanted, make,
};
use crate::rhythm::{Counting, Layer, PulseMap, Tick, Ticks};
use crate::world::Seed;

use crate::quiz::judge::{Clapped, Lead, Place, Reading, Taps, judge};
use crate::quiz::question::{Question, Task, without_a_run};
use crate::quiz::reveal::{GridRow, sentence};
use crate::quiz::{Answer, Course, Guide, Hands};

/// The largest share of strokes that may be missing, or taps that may clap nothing.
const MOST_FAULTS: f64 = 0.2;

pub(in crate::quiz) fn ask(
    recipe: &Recipe,
    level: Level,
    layers: &[Layer],
    (guide, course): (Guide, Course),
    lately: &[Answer],
    seed: Seed,
) -> Result<Question, NoPhrase> {
    let mut dice = seed.child("layer", 0).dice();
    let open = without_a_run(layers, lately, |layer| Answer::Hands(Some(layer)));
    let cycle = recipe.pattern().cycle();
    let truth = dice.pick(&open).copied();
    let truth = truth.unwrap_or_else(|| Layer::every(cycle, cycle.n_pulses()));
    let wanted = Wanted {
        feel: *dice.pick(recipe.feels()).expect("a recipe has a feel"),
        level,
        knocks: None,
        purpose: Purpose::NameFeel,
    };
    let measured = make(recipe, &wanted, seed)?;
    let task = Task::Clap {
        truth,
        guide,
        course,
    };
    Ok(Question { measured, task })
}

/// By how much the guitar is softer in the first cycle where it rises, in tenths of a decibel.
const RISES_FROM_TENTHS: i64 = 90;
/// The cycle from which everything is silent, where it falls silent.
const SILENT_FROM: i64 = 2;

/// The phrase under the claps of the guide, as it goes on.
pub(in crate::quiz) fn sound(
    phrase: &Phrase,
    truth: Layer,
    guide: Guide,
    course: Course,
) -> Phrase {
    let mut sound = guided(phrase, truth, guide);
    let n = i64::try_from(phrase.cycle.n_pulses()).unwrap_or(1);
    let last = (i64::from(phrase.n_cycles) - 1).max(1);
    let cycle = |note: &Note| note.at.pulse_idx().div_euclid(n);
    match course {
        Course::Whole => {}
        Course::Rising => {
            for note in sound
                .notes
                .iter_mut()
                .filter(|note| note.voice.is_strings())
            {
                let left = (last - cycle(note)).clamp(0, last);
                let softer = i16::try_from(RISES_FROM_TENTHS * left / last).unwrap_or(0);
                note.loudness.0 -= softer;
            }
        }
        Course::Silent(n_silent) => {
            let silent = SILENT_FROM..SILENT_FROM + i64::from(n_silent);
            sound.notes.retain(|note| !silent.contains(&cycle(note)));
        }
    }
    sound
}

fn guided(phrase: &Phrase, truth: Layer, guide: Guide) -> Phrase {
    let n_cycles = usize::try_from(phrase.n_cycles).unwrap_or(0);
    let until = match guide {
        Guide::Every => n_cycles,
        Guide::Half => n_cycles.div_ceil(2),
        Guide::First => 1,
        Guide::None => 0,
    };
    phrase.clapped_by(|cycle| (cycle < until).then_some(truth), Touch::Sorda)
}

/// What hands did in the cycles after the first, which is for joining in.
pub(in crate::quiz) fn clapped(
    phrase: &Phrase,
    truth: Layer,
    taps: &[i64],
    hands: Hands,
) -> Option<Clapped> {
    let cycle = phrase.cycle;
    let even = [3, 2, 1].map(|every| Layer::every(cycle, every));
    let palmas = Layer::of(cycle, &[0, 3, 4]).ok();
    let layers: Vec<Layer> = std::iter::once(truth).chain(even).chain(palmas).collect();
    let map = PulseMap::of(phrase.pace.clone(), 0);
    let taps = Taps {
        micros: taps,
        map: &map,
        cycle,
        cycles: (1, i64::from(phrase.n_cycles)),
    };
    judge(
        &taps,
        &Reading::all(&layers),
        match hands {
            Hands::Tuned => Lead::TUNED,
            Hands::Untuned => Lead::UNKNOWN,
        },
    )
}

/// The layer that was held to the end; `None` where none was.
pub(in crate::quiz) fn answer(found: Option<&Clapped>) -> Answer {
    let held = found.filter(|found| {
        let n = found.timing.map_or(0, |timing| timing.n);
        let few = |faults: usize| as_real(faults) <= MOST_FAULTS * as_real(n + found.missing);
        few(found.missing) && few(found.extra)
    });
    let last = held.map(|found| found.left.map_or(found.reading, |(_, reading)| reading));
    Answer::Hands(
        last.filter(|last| last.place == Place::On)
            .map(|last| last.layer),
    )
}

fn as_real(n: usize) -> f64 {
    f64::from(u32::try_from(n).unwrap_or(u32::MAX))
}

/// What was clapped, in words.
pub(in crate::quiz) fn words(truth: Layer, found: Option<&Clapped>, counting: Counting) -> String {
    let Some(found) = found else {
        return "Your claps were too few to say what they clapped.".to_owned();
    };
    let began = reading_words(truth, found.reading, counting);
    match found.left {
        Some((cycle, reading)) => format!(
            "You began {began} and ended {} from cycle {}.",
            reading_words(truth, reading, counting),
            // The first cycle, which is for joining in, is counted too.
            cycle + 2
        ),
        None if found.missing + found.extra > 0 => format!(
            "You clapped {began}, with {} missing and {} too many.",
            found.missing, found.extra
        ),
        None => format!("You clapped {began}, to the end."),
    }
}

fn reading_words(truth: Layer, reading: Reading, counting: Counting) -> String {
    let counts = counting.list(reading.layer);
    let by = (1..truth.cycle().n_pulses()).find(|by| {
        let by = i64::try_from(*by).unwrap_or(0);
        truth.turned(by) == reading.layer
    });
    match (reading.place, by) {
        (Place::Contra, _) => format!("between the counts, after {counts}"),
        (Place::On, _) if reading.layer == truth => format!("on {counts}"),
        (Place::On, Some(1)) => format!("on {counts}, one pulse late"),
        (Place::On, Some(by)) => format!("on {counts}, {by} pulses late"),
        (Place::On, None) => format!("on {counts}"),
    }
}

/// How tightly and, where the delay of the set-up is known, how early or late, in words; empty where
/// there is too little to say.
pub(in crate::quiz) fn tightness(found: Option<&Clapped>, hands: Hands) -> String {
    let Some((found, timing)) = found.and_then(|found| Some((found, found.timing?))) else {
        return String::new();
    };
    let spread = format!(
        "your claps stayed within {:.0} ms of their own mean ({:.0} % of the gap)",
        timing.spread,
        100.0 * timing.spread_of_gap
    );
    let mean = found.lead / 1_000.0 + timing.mean;
    let side = if mean < 0.0 { "before" } else { "after" };
    sentence(&match hands {
        Hands::Untuned => format!("{spread}; how early or late is not judged before a tune-up"),
        // A steady difference counts for nothing; within this it is none.
        Hands::Tuned if mean.abs() < 10.0 => format!("{spread}, on the pulse as in the tune-up"),
        Hands::Tuned => format!(
            "{spread}, {:.0} ms {side} where they were in the tune-up",
            mean.abs()
        ),
    })
}

/// The taps on the pulses to which they are nearest.
pub(in crate::quiz) fn row(phrase: &Phrase, taps: &[i64]) -> GridRow {
    let map = PulseMap::of(phrase.pace.clone(), 0);
    let pulses: Vec<i64> = taps
        .iter()
        .map(|micros| Tick(map.tick_at(*micros).0.saturating_add(120)).pulse_idx())
        .collect();
    let n = i64::try_from(phrase.cycle.n_pulses()).unwrap_or(1);
    let marks = |cycle: i64| {
        let mark = |pulse: i64| {
            let is_clapped = pulses.contains(&(cycle * n + pulse));
            if is_clapped { 'o' } else { '.' }
        };
        (0..n).map(mark).collect()
    };
    GridRow {
        name: "you",
        cycles: (0..i64::from(phrase.n_cycles)).map(marks).collect(),
        aside: "your claps".to_owned(),
    }
}

/// The phrase under the claps as they were made.
pub(in crate::quiz) fn as_made(phrase: &Phrase, taps: &[i64]) -> Phrase {
    let map = PulseMap::of(phrase.pace.clone(), 0);
    let mut made = phrase.clone();
    let within = phrase.begins()..phrase.ends();
    let ticks = taps.iter().map(|micros| map.tick_at(*micros));
    made.notes
        .extend(ticks.filter(|at| within.contains(at)).map(clap));
    made.notes.sort_by_key(|note| (note.at, note.delay));
    made
}

fn clap(at: Tick) -> Note {
    Note {
        at,
        delay: 0,
        length: Ticks(120),
        voice: Voice::Claps,
        pitch: None,
        loudness: Loudness(0),
        touch: Touch::Sorda,
    }
}
