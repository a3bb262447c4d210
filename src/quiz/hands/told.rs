//! What was asked and what was done, in words.

use super::differs::Differs;
use super::{Asked, Called, Caller, Part, Played};
use crate::quiz::judge::{Clapped, Place, Reading};
use crate::quiz::tap::Hand;
use crate::rhythm::{Counting, Layer, Pulse};

/// Claps that wander by so many pulses from the first to the last are said to drift.
const DRIFTS: f64 = 0.3;

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
    if right {
        let ends_in_rest = asked.parts.last().is_some_and(|part| part.layer.is_none());
        let how = match asked.call {
            Some(_) if is_close(asked) => ", a stop at the close, and on with the guitar after it",
            Some(_) if ends_in_rest => ", and a rest when the bell called",
            Some(_) => "",
            None => ", held to the end",
        };
        let found = played.iter().filter_map(|played| played.found.as_ref());
        let extra = counted(found.map(|found| found.extra).sum(), "clap", "too many");
        let extra = extra.map_or_else(String::new, |extra| format!(", with {extra}"));
        return format!("Right: {wanted}{how}{extra}.");
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
        paused(played, found),
        stopped(played, found),
        wander(played, found),
        came_back(played, found, asked),
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
        _ => match played.never_struck() {
            Some(never) => left_out(who, played, (found.first().layer, never), counting),
            None => with_faults(who, played, found, asked, &first),
        },
    }
}

/// What was struck of a layer of which some pulses never were, held against what was asked: not against
/// what it was taken for.
fn left_out(
    who: &str,
    played: &Played,
    (layer, never): (Layer, Layer),
    counting: Counting,
) -> String {
    let struck: Vec<Pulse> = layer.pulses().filter(|p| !never.contains(*p)).collect();
    let wanted = played.part.layer.unwrap_or(layer);
    let missed: Vec<Pulse> = wanted.pulses().filter(|p| !struck.contains(p)).collect();
    let beside = struck.iter().copied().filter(|p| !wanted.contains(*p));
    let beside: Vec<Pulse> = beside.collect();
    let list = |pulses: Vec<Pulse>| Some(counting.list(Layer::on(layer.cycle(), pulses).ok()?));
    let missed = list(missed).map(|counts| format!(" and never on {counts}"));
    let beside = list(beside).map(|counts| format!("; {counts} was not asked for"));
    format!(
        "{who} clapped on {}{}{}.",
        list(struck).unwrap_or_default(),
        missed.unwrap_or_default(),
        beside.unwrap_or_default()
    )
}

/// What was clapped all along, and how many strokes it lacked or had too many.
fn with_faults(
    who: &str,
    played: &Played,
    found: &Clapped,
    asked: &Asked,
    clapped: &str,
) -> String {
    let missing = counted(found.missing_meanwhile(), "stroke", "missing");
    let extra = counted(found.extra, "clap", "too many");
    let faults: Vec<String> = missing.into_iter().chain(extra).collect();
    let before_call = asked.call.is_some() && played.part.asked.0 == 0;
    match faults.as_slice() {
        [] if before_call || !went_on(found) => format!("{who} clapped {clapped}."),
        [] => format!("{who} clapped {clapped}, to the end."),
        faults => format!("{who} clapped {clapped}, with {}.", faults.join(" and ")),
    }
}

/// `3 strokes missing`; `None` of none.
fn counted(n: usize, noun: &str, what: &str) -> Option<String> {
    match n {
        0 => None,
        1 => Some(format!("1 {noun} {what}")),
        n => Some(format!("{n} {noun}s {what}")),
    }
}

/// The number of a cycle that is counted from the first judged one.
fn cycle(played: &Played, idx: usize) -> i64 {
    i64::try_from(idx).unwrap_or(0) + played.part.judged.0 + 1
}

/// Whether they clapped all along, in the tempo that sounded.
fn went_on(found: &Clapped) -> bool {
    found.wander.is_none() && found.stopped().is_none() && found.paused.is_empty()
}

/// Hands that left out a cycle or more, and went on.
fn paused(played: &Played, found: &Clapped) -> Option<String> {
    let number = |(at, _): &(usize, usize)| cycle(played, *at).to_string();
    let cycles: Vec<String> = found.paused.iter().map(number).collect();
    let [first, .., last] = cycles.as_slice() else {
        return cycles
            .first()
            .map(|one| format!("In cycle {one} there was no clap."));
    };
    Some(format!("In cycles {first} to {last} there was no clap."))
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

fn came_back(played: &Played, found: &Clapped, asked: &Asked) -> Option<String> {
    let off = played.came_back?;
    let (_, back) = asked.course.silence()?;
    let back = usize::try_from(back - played.part.judged.0).ok()?;
    // Of something else there is no place in which it would be right.
    if Differs::of(&played.part, found.in_cycle(back), asked) != Differs::Not {
        return None;
    }
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
