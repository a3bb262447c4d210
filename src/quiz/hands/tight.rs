//! How tight claps were, in words, or why that is not said.

use super::{Hands, Played};
use crate::quiz::judge::Place;
use crate::quiz::reveal::sentence;
use crate::quiz::tap::Hand;

/// Spreads at which timing counts as tight for a beginner, a practised hand and a master, as shares of
/// a pulse, taps being made with keys (common practice, no source).
const TIGHT: [f64; 3] = [0.12, 0.08, 0.06];
/// The same for two hands.
const TIGHT_TWO: [f64; 3] = [0.14, 0.10, 0.07];
/// A steady difference of fewer milliseconds is none.
const NO_DIFFERENCE_MS: f64 = 12.0;

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
    let counts = struck_as_asked(played);
    let why = match hands {
        Hands::Unheard => "timing is not judged, since nothing is heard",
        _ => "timing is not judged without a tune-up",
    };
    let is_contra = played.iter().any(|p| p.part.place == Place::Contra);
    let contra = match hands {
        Hands::Untuned if is_contra => "; on the count and half-way after it may be confused so",
        _ => "",
    };
    let Some((n, of)) = counts else {
        return sentence(&format!("{why}{contra}"));
    };
    sentence(&format!(
        "{n} of {of} strokes struck from the second cycle on; {why}{contra}"
    ))
}

/// How many strokes were struck, and of how many; `None` where something else was clapped than was
/// asked, so that the number would say nothing.
fn struck_as_asked(played: &[Played]) -> Option<(usize, usize)> {
    let of_part = |played: &Played| {
        let Some(layer) = played.part.layer else {
            return played.is_held().then_some((0, 0));
        };
        let found = played.found.as_ref()?;
        let [(_, reading)] = found.spans.as_slice() else {
            return None;
        };
        let is_asked = reading.layer == layer && reading.place == played.part.place;
        let n = found.struck.len();
        (is_asked && found.wander.is_none()).then_some((n, n + found.missing))
    };
    let counts = played.iter().map(of_part).collect::<Option<Vec<_>>>()?;
    let add = |(n, of), (more, of_more)| (n + more, of + of_more);
    Some(counts.into_iter().fold((0, 0), add)).filter(|(_, of)| *of > 0)
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
