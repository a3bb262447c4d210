//! Which pulses are marked as the first of a group, whatever its length: where a low note is struck,
//! where a line turns from above, where a roll lands. To tell where groups begin, not how long they are.

use super::stream::{Heard, Part, Stream, Tells};
use super::units::{mean, quantile};

/// How many times likelier each mark is on the first pulse of a group than on another, as a logarithm:
/// of a low note four times, of the others twice. Ears take the lower line for the beat (Møller and
/// others 2021) and mark turning points from above; strokes before a pulse belong to it (common
/// practice of the guitar, no source). The sizes are round figures.
const BASS: f64 = 1.4;
const TOP: f64 = 0.7;
const ROLL: f64 = 0.7;
/// By how many units a low stroke stands over what is usual when it is a note of its own.
const BASS_UNITS: f64 = 6.0;
/// Units against the level of all bands at which there is no low note, and at which there is one.
const BASS_ABSENT: f64 = -18.0;
const BASS_FULL: f64 = -8.0;
/// By how many units less than usual a stopped stroke rings on, whose pitch is none.
const STOPPED_UNITS: f64 = 5.0;
/// Semitones beyond which the next note is of another line.
const LEAP: f64 = 12.5;

/// How strongly each pulse is marked, as a logarithm, 0 on the mean.
pub(super) fn marks(heard: &Heard) -> Vec<f64> {
    let n = heard.begins.len();
    let mut marks = vec![0.0; n];
    for (likely, weight) in [
        (basses(heard), BASS),
        (tops(heard), TOP),
        (heard.runs_in.clone(), ROLL),
    ] {
        let usual = mean(&likely);
        for (mark, likely) in marks.iter_mut().zip(likely) {
            *mark += weight * (likely - usual);
        }
    }
    marks
}

/// How likely a low note is struck on each pulse: the low band rises by more than is usual there, and
/// is about as loud as all the rest.
fn basses(heard: &Heard) -> Vec<f64> {
    let Some(rises) = strength(heard, Part::Low) else {
        return Vec::new();
    };
    let struck = |(over, beside): (f64, &f64)| {
        let is_there = (beside - BASS_ABSENT) / (BASS_FULL - BASS_ABSENT);
        (over / BASS_UNITS).clamp(0.0, 1.0) * is_there.clamp(0.0, 1.0)
    };
    let over = over_usual(rises).into_iter();
    over.zip(&heard.low_beside).map(struck).collect()
}

/// On which pulses the line turns from above.
fn tops(heard: &Heard) -> Vec<f64> {
    let rings = strength(heard, Part::High).map(over_usual);
    let rings_on = |at: usize| rings.as_ref().is_none_or(|over| over[at] >= -STOPPED_UNITS);
    let top = |at: usize| f64::from(u8::from(is_top(heard, at) && rings_on(at)));
    (0..heard.lead.len()).map(top).collect()
}

/// Whether a line comes up to a pulse and does not rise from it.
fn is_top(heard: &Heard, at: usize) -> bool {
    let lead = |at: usize| heard.lead.get(at).copied().flatten();
    let before = (0..at).rev().find_map(lead);
    let after = (at + 1..heard.lead.len()).find_map(lead);
    let (Some(before), Some(here), Some(after)) = (before, lead(at), after) else {
        return false;
    };
    let (up, on) = (here - before, after - here);
    up > 0.5 && on < 0.5 && up < LEAP && on > -LEAP
}

/// By how many units a stream stands over what is usual in it, on each pulse.
fn over_usual(stream: &Stream) -> Vec<f64> {
    let known: Vec<f64> = stream.values.iter().copied().flatten().collect();
    let usual = quantile(&known, 0.5);
    let over = |value: &Option<f64>| value.map_or(0.0, |x| (x - usual) / stream.unit);
    stream.values.iter().map(over).collect()
}

/// The strengths of a part in the order in which a sound tells them: how it rises, how loud it is.
fn strength(heard: &Heard, part: Part) -> Option<&Stream> {
    let mut streams = heard.streams.iter();
    streams.find(|stream| stream.part == part && stream.tells == Tells::Strength)
}
