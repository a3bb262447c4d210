//! What was asked and what was done, in words and as rows.

use super::differs::Differs;
use super::sound::lead_of;
use super::{Asked, Called, Caller, Hands, Part, Played};
use crate::phrase::Phrase;
use crate::quiz::GridRow;
use crate::quiz::judge::{Clapped, Place, Reading};
use crate::quiz::reveal::{sentence, sign_of};
use crate::quiz::tap::{Hand, Tap, micros_of};
use crate::rhythm::{Counting, Layer, Pulse, PulseMap, TICKS_PER_PULSE};

/// Spreads at which timing counts as tight for a beginner, a practised hand and a master, as shares of
/// a pulse, taps being made with keys (common practice, no source).
const TIGHT: [f64; 3] = [0.12, 0.08, 0.06];
/// The same for two hands.
const TIGHT_TWO: [f64; 3] = [0.14, 0.10, 0.07];
/// Claps that wander by so many pulses from the first to the last are said to drift.
const DRIFTS: f64 = 0.3;
/// A steady difference of fewer milliseconds is none.
const NO_DIFFERENCE_MS: f64 = 12.0;

/// The task, in whole sentences.
pub(in crate::quiz) fn what_was_asked(asked: &Asked, counting: Counting) -> String {
    let one = |part: &Part| {
        let layer = part.layer.expect("only what was dropped is left out");
        let place = match part.place {
            Place::On => "on",
            Place::Contra => "half-way after",
        };
        format!("{place} {}", counting.list(layer))
    };
    let first: Vec<&Part> = asked.parts.iter().filter(|p| p.asked.0 == 0).collect();
    let later: Vec<&Part> = asked.parts.iter().filter(|p| p.asked.0 > 0).collect();
    let start = match first.as_slice() {
        [left, right] => format!(
            "Clap with two keys, the left hand {}, the right hand {}",
            one(left),
            one(right)
        ),
        [part, ..] => format!("Clap along {}", one(part)),
        [] => String::new(),
    };
    let next = match first.first().and_then(|part| part.layer) {
        Some(layer) => counting.name(layer.cycle(), layer.cycle().first()),
        None => String::new(),
    };
    match later.as_slice() {
        [] => format!("{start}, to the end."),
        [_, ..] if is_close(asked) => format!(
            "{start}. When the guitar closes, stop with it, rest while it rests, and go on from {next} \
             when it does."
        ),
        [part, ..] if part.layer.is_none() && part.hand == Hand::Either => {
            format!("{start}. When a bell rings, stop at the end of that round.")
        }
        [part, ..] if part.layer.is_none() => format!(
            "{start}. When a bell rings, the {} rests from the next {next} on, and the other goes on.",
            part.hand.words()
        ),
        [part, ..] => {
            format!(
                "{start}. When a bell rings, go over to claps {} from the next {next} on.",
                one(part)
            )
        }
    }
}

/// Right or not, and what was done.
pub(in crate::quiz) fn verdict_words(
    right: bool,
    asked: &Asked,
    played: &[Played],
    counting: Counting,
) -> String {
    let wanted: Vec<String> = asked
        .parts
        .iter()
        .filter(|part| part.layer.is_some())
        // What comes again after a close is the same.
        .filter(|part| !is_close(asked) || part.asked.0 == 0)
        .map(|part| part_words(part, counting))
        .collect();
    let wanted = wanted.join(", ");
    if right && is_close(asked) {
        return format!("Right: {wanted}, a stop at the close, and on with the guitar after it.");
    }
    if right {
        return match (
            asked.call,
            asked.parts.last().map(|part| part.layer.is_none()),
        ) {
            (Some(_), Some(true)) => format!("Right: {wanted}, and a rest when the bell called."),
            (Some(_), _) => format!("Right: {wanted}."),
            (None, _) => format!("Right: {wanted}, held to the end."),
        };
    }
    let done: Vec<String> = played
        .iter()
        .filter(|played| asked.parts.len() == 1 || !played.is_held())
        .map(|played| done_words(played, asked, counting))
        .collect();
    let called = asked.call.map(|call| match call.by {
        Caller::Bell => format!("The bell rang in cycle {}.", call.cycle + 1),
        Caller::Close(_) => format!("The guitar closed in cycle {}.", call.cycle + 1),
    });
    let done = done.into_iter().chain(called).collect::<Vec<_>>().join(" ");
    match asked.parts.as_slice() {
        [_] => format!("Not this time: {wanted} were asked. {done}"),
        _ => format!("Not this time. Asked: {wanted}. {done}"),
    }
}

fn is_close(asked: &Asked) -> bool {
    matches!(asked.call, Some(call) if matches!(call.by, Caller::Close(_)))
}

fn called_by(call: Called) -> &'static str {
    match call.by {
        Caller::Bell => "bell",
        Caller::Close(_) => "close",
    }
}

fn part_words(part: &Part, counting: Counting) -> String {
    let layer = part
        .layer
        .map_or_else(String::new, |layer| counting.list(layer));
    let place = match part.place {
        Place::On => "on",
        Place::Contra => "half-way after",
    };
    let who = match (part.hand, part.asked.0) {
        (Hand::Either, 0) => "claps",
        (Hand::Either, _) => "after the bell",
        (hand, _) => hand.words(),
    };
    format!("{who} {place} {layer}")
}

/// What was made of a part, in one or two sentences.
fn done_words(played: &Played, asked: &Asked, counting: Counting) -> String {
    let who = match (played.part.hand, asked.call, played.part.asked.0) {
        (Hand::Either, None, _) => "You".to_owned(),
        (Hand::Either, Some(call), 0) => format!("Before the {} you", called_by(call)),
        (Hand::Either, Some(call), _) => format!("After the {} you", called_by(call)),
        (hand, ..) => format!("The {}", hand.words()),
    };
    if played.part.layer.is_none() {
        return match asked.call.map(|call| call.by) {
            Some(Caller::Close(_)) => format!("{who} clapped on while the guitar rested."),
            _ if played.part.hand == Hand::Either => format!("{who} went on."),
            _ => format!("{who} went on after the bell."),
        };
    }
    let Some(found) = &played.found else {
        let times = match played.n_taps {
            0 => return format!("{who} did not clap from cycle {} on.", cycle(played, 0)),
            1 => "once".to_owned(),
            n => format!("{n} times"),
        };
        return format!("{who} clapped {times}, too seldom to say what it was.");
    };
    let said = spans_words(&who, played, found, asked, counting);
    let more = [
        stopped(played, found),
        wander(played, found),
        came_back(played),
        drift(played, found),
    ];
    more.into_iter()
        .flatten()
        .fold(said, |said, more| format!("{said} {more}"))
}

fn spans_words(
    who: &str,
    played: &Played,
    found: &Clapped,
    asked: &Asked,
    counting: Counting,
) -> String {
    let words = |reading: Reading| reading_words(&played.part, reading, asked, counting);
    let first = words(found.first());
    match found.spans.as_slice() {
        [_, (since, last)] => format!(
            "{who} began {first} and ended {} from cycle {}.",
            words(*last),
            cycle(played, *since)
        ),
        [_, (left, other), .., (since, last)] => format!(
            "{who} began {first}, were {} from cycle {} and ended {} from cycle {}.",
            words(*other),
            cycle(played, *left),
            words(*last),
            cycle(played, *since)
        ),
        _ => {
            if let Some(never) = played.never_struck() {
                let layer = found.first().layer;
                let struck = layer.pulses().filter(|p| !never.contains(*p));
                let struck: Vec<Pulse> = struck.collect();
                let cycle = layer.cycle();
                // What is told is held against what was asked, not against what it was taken for.
                let wanted = played.part.layer.unwrap_or(layer);
                let missed = wanted.pulses().filter(|p| !struck.contains(p));
                let beside = struck.iter().copied().filter(|p| !wanted.contains(*p));
                let [missed, beside] = [missed.collect::<Vec<_>>(), beside.collect()]
                    .map(|pulses| Layer::on(cycle, pulses).ok());
                let struck = Layer::on(cycle, struck);
                let struck = struck.map_or_else(|_| String::new(), |layer| counting.list(layer));
                let missed = missed.map(|layer| format!(" and never on {}", counting.list(layer)));
                let beside =
                    beside.map(|layer| format!("; {} was not asked for", counting.list(layer)));
                return format!(
                    "{who} clapped on {struck}{}{}.",
                    missed.unwrap_or_default(),
                    beside.unwrap_or_default()
                );
            }
            let faults: Vec<String> = [
                (found.missing_before_stop(), "missing"),
                (found.extra, "too many"),
            ]
            .iter()
            .filter(|(n, _)| *n > 0)
            .map(|(n, what)| format!("{n} {what}"))
            .collect();
            let before_call = asked.call.is_some() && played.part.asked.0 == 0;
            match faults.as_slice() {
                [] if before_call || found.wander.is_some() || found.stopped().is_some() => {
                    format!("{who} clapped {first}.")
                }
                [] => format!("{who} clapped {first}, to the end."),
                faults => format!("{who} clapped {first}, with {}.", faults.join(" and ")),
            }
        }
    }
}

/// The number of a cycle that is counted from the first judged one.
fn cycle(played: &Played, idx: usize) -> i64 {
    i64::try_from(idx).unwrap_or(0) + played.part.judged.0 + 1
}

/// Hands that stopped before the end.
fn stopped(played: &Played, found: &Clapped) -> Option<String> {
    let since = cycle(played, found.stopped()?);
    Some(format!("From cycle {since} on there was no clap any more."))
}

/// Hands that went faster or slower than what sounded.
fn wander(played: &Played, found: &Clapped) -> Option<String> {
    let wander = found.wander?;
    if let Some(share) = found.own_tempo() {
        let how = if share < 0.0 { "faster" } else { "slower" };
        let by = 100.0 * share.abs();
        return Some(format!(
            "The claps were even, but in a tempo of their own, {by:.0} % {how} than what sounded."
        ));
    }
    let (how, side) = if wander.pulses < 0.0 {
        ("hurried", "early")
    } else {
        ("dragged", "late")
    };
    Some(format!(
        "The claps {how} from cycle {} on, and came {:.1} of a pulse {side} in the end.",
        cycle(played, wander.cycles.0),
        wander.pulses.abs()
    ))
}

/// What was clapped, and how that differs from what was asked.
fn reading_words(part: &Part, reading: Reading, asked: &Asked, counting: Counting) -> String {
    let counts = counting.list(reading.layer);
    let place = match reading.place {
        Place::On => "on",
        Place::Contra => "half-way after",
    };
    let differs = match Differs::of(part, reading, asked) {
        Differs::Not | Differs::Between | Differs::Other => String::new(),
        Differs::OtherHand => ", which is for the other hand".to_owned(),
        Differs::Turned(1) => ", one pulse late".to_owned(),
        Differs::Turned(-1) => ", one pulse early".to_owned(),
        Differs::Turned(by) if by > 0 => format!(", {by} pulses late"),
        Differs::Turned(by) => format!(", {} pulses early", -by),
        Differs::Joined => ", both layers at once".to_owned(),
    };
    format!("{place} {counts}{differs}")
}

fn came_back(played: &Played) -> Option<String> {
    let off = played.came_back?;
    if off.abs() < 0.05 {
        return Some("When the sound came back you were in place.".to_owned());
    }
    let side = if off < 0.0 { "before" } else { "after" };
    Some(format!(
        "When the sound came back you were {:.1} of a pulse {side} it.",
        off.abs()
    ))
}

fn drift(played: &Played, found: &Clapped) -> Option<String> {
    let timing = found.timing?;
    let n = f64::from(u32::try_from(timing.n).unwrap_or(u32::MAX));
    let whole = timing.drift * n;
    let which = if whole < 0.0 {
        "earlier and earlier"
    } else {
        "later and later"
    };
    (whole.abs() > DRIFTS * played.pulse_ms).then(|| {
        format!(
            "The claps came {which}, by {:.1} of a pulse from first to last.",
            whole.abs() / played.pulse_ms
        )
    })
}

/// In which cycles nothing sounded while hands went on.
pub(in crate::quiz) fn what_was_silent(asked: &Asked) -> Option<String> {
    let (since, until) = asked.course.silence()?;
    Some(if until - since == 1 {
        format!("Nothing sounded in cycle {until}.")
    } else {
        format!("Nothing sounded in cycles {} to {until}.", since + 1)
    })
}

/// How tight it was, or why that is not said; empty where there is too little to say.
pub(in crate::quiz) fn what_was_done(played: &[Played], hands: Hands) -> String {
    let Hands::Tuned(habit) = hands else {
        return without_timing(played, hands);
    };
    let told = played
        .iter()
        .filter_map(|played| tightness(played, f64::from(habit.lead_ms)));
    told.collect::<Vec<_>>().join(" ")
}

/// How many of the strokes that were asked for were struck, and that timing is not judged.
fn without_timing(played: &[Played], hands: Hands) -> String {
    // Strokes of another layer, or of hands that went their own way, are none that were asked for.
    let as_asked = |p: &&Played| {
        let found = p.found.as_ref().filter(|found| found.wander.is_none());
        found.is_some_and(|found| Some(found.first().layer) == p.part.layer)
    };
    let counts = played
        .iter()
        .filter(as_asked)
        .filter_map(|p| p.found.as_ref());
    let (n, of) = counts.fold((0, 0), |(n, of), found| {
        (
            n + found.struck.len(),
            of + found.struck.len() + found.missing,
        )
    });
    let why = match hands {
        Hands::Unheard => "timing is not judged, since nothing is heard",
        _ => "timing is not judged without a tune-up",
    };
    let is_contra = played.iter().any(|p| p.part.place == Place::Contra);
    let contra = match hands {
        Hands::Untuned if is_contra => "; on the count and half-way after it may be confused so",
        _ => "",
    };
    if of == 0 {
        return sentence(&format!("{why}{contra}"));
    }
    sentence(&format!(
        "{n} of {of} strokes struck from the second cycle on; {why}{contra}"
    ))
}

fn tightness(played: &Played, usual_ms: f64) -> Option<String> {
    let found = played.found.as_ref()?;
    let timing = found.timing?;
    let who = match played.part.hand {
        Hand::Either => String::new(),
        hand => format!("{}: ", hand.words()),
    };
    let levels = if played.is_one_of_two() {
        TIGHT_TWO
    } else {
        TIGHT
    };
    let names = ["a beginner's", "a practised player's", "a master's"];
    let reached = levels
        .iter()
        .zip(names)
        .rfind(|(most, _)| timing.spread_of_gap <= **most);
    let aim = match reached {
        Some((most, name)) => format!("within {name} {:.0} %", 100.0 * most),
        None => format!("a beginner's aim is {:.0} %", 100.0 * levels[0]),
    };
    let mean = found.lead / 1_000.0 + timing.mean - usual_ms;
    let steady = if mean.abs() < NO_DIFFERENCE_MS {
        String::new()
    } else {
        let side = if mean < 0.0 { "ahead of" } else { "behind" };
        format!(
            "; steadily {:.0} ms {side} your usual place, which costs nothing",
            mean.abs()
        )
    };
    Some(sentence(&format!(
        "{who}spread {:.0} ms, {:.0} % of a pulse, {aim}{steady}",
        timing.spread,
        100.0 * timing.spread_of_gap
    )))
}

/// A row for what each hand was asked, and one for what it did.
pub(in crate::quiz) fn rows(
    phrase: &Phrase,
    asked: &Asked,
    taps: &[Tap],
    played: &[Played],
) -> Vec<GridRow> {
    let hands: Vec<Hand> = Hand::ALL
        .into_iter()
        .filter(|hand| asked.parts.iter().any(|part| part.hand == *hand))
        .collect();
    let wanted = hands.iter().map(|hand| asked_row(phrase, asked, *hand));
    let made = hands.iter().map(|hand| {
        let lead = lead_of(played, *hand);
        made_row(phrase, &micros_of(taps, *hand), *hand, lead)
    });
    wanted.chain(made).collect()
}

fn asked_row(phrase: &Phrase, asked: &Asked, hand: Hand) -> GridRow {
    let mark = |part: &Part, layer: Layer| match part.place {
        Place::Contra => '-',
        Place::On => sign_of(layer),
    };
    let parts = || asked.parts.iter().filter(|part| part.hand == hand);
    let marks = |cycle: i64| {
        let part = parts().find(|part| (part.asked.0..part.asked.1).contains(&cycle));
        let of_pulse = |pulse| {
            let layer = part.and_then(|part| Some((part, part.layer?)));
            match layer.filter(|(_, layer)| layer.contains(pulse)) {
                Some((part, layer)) => mark(part, layer),
                None => '.',
            }
        };
        phrase.cycle.pulses().map(of_pulse).collect()
    };
    GridRow {
        name: match hand {
            Hand::Either => "asked",
            Hand::Left => "left",
            Hand::Right => "right",
        },
        cycles: (0..i64::from(phrase.n_cycles)).map(marks).collect(),
        aside: "what was asked".to_owned(),
    }
}

/// Taps on the pulses to which they are nearest, or between two.
fn made_row(phrase: &Phrase, taps: &[i64], hand: Hand, lead: i64) -> GridRow {
    const QUARTER: i64 = TICKS_PER_PULSE / 4;
    let map = PulseMap::of(phrase.pace.clone(), 0);
    let place = |micros: &i64| {
        let tick = map
            .tick_at(micros.saturating_sub(lead))
            .0
            .saturating_add(QUARTER);
        let (pulse, into) = (
            tick.div_euclid(TICKS_PER_PULSE),
            tick.rem_euclid(TICKS_PER_PULSE),
        );
        (pulse, if into < 2 * QUARTER { 'o' } else { '-' })
    };
    let places: Vec<(i64, char)> = taps.iter().map(place).collect();
    let n = i64::try_from(phrase.cycle.n_pulses()).unwrap_or(1);
    let marks = |cycle: i64| {
        let mark = |pulse: i64| {
            let here = places.iter().find(|(at, _)| *at == cycle * n + pulse);
            here.map_or('.', |(_, sign)| *sign)
        };
        (0..n).map(mark).collect()
    };
    GridRow {
        name: match hand {
            Hand::Either => "you",
            Hand::Left => "you left",
            Hand::Right => "you right",
        },
        cycles: (0..i64::from(phrase.n_cycles)).map(marks).collect(),
        aside: "o on it, - after it".to_owned(),
    }
}
