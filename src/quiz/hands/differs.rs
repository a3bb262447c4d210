//! How what hands did differs from what they were asked.

use super::{Asked, Part, Played};
use crate::quiz::Miss;
use crate::quiz::judge::Reading;
use crate::rhythm::Layer;

/// How a reading differs from what its hand was to do.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Differs {
    /// Not at all.
    Not,
    /// Half-way after the counts instead of on them, or the other way round.
    Between,
    /// It is what the other hand was to do.
    OtherHand,
    /// By so many pulses later, or earlier where that is negative.
    Turned(i64),
    /// Both layers at once.
    Joined,
    /// It is something else.
    Other,
}

impl Differs {
    pub(super) fn of(part: &Part, reading: Reading, asked: &Asked) -> Self {
        let Some(wanted) = part.layer else {
            return Self::Other;
        };
        if reading.place != part.place {
            return Self::Between;
        }
        let others = asked.parts.iter().filter(|other| other.hand != part.hand);
        let mut of_others = others.filter_map(|other| other.layer);
        match wanted.turn_to(reading.layer) {
            Some(0) => Self::Not,
            _ if of_others.any(|layer| layer == reading.layer) => Self::OtherHand,
            Some(by) => Self::Turned(by),
            None if is_joined(reading.layer) => Self::Joined,
            None => Self::Other,
        }
    }
}

fn is_joined(layer: Layer) -> bool {
    let [threes, twos] = [3, 2].map(|every| Layer::every(layer.cycle(), every));
    threes.union(twos).is_ok_and(|joined| joined == layer)
}

/// In what way hands did something else than they were asked, by the first part that went wrong.
pub(in crate::quiz) fn what_was_missed(asked: &Asked, played: &[Played]) -> Miss {
    let wrong = played.iter().find(|played| !played.is_held());
    wrong.map_or(Miss::Other, |played| of_part(asked, played))
}

fn of_part(asked: &Asked, played: &Played) -> Miss {
    if played.part.layer.is_none() {
        return Miss::Missed;
    }
    let Some(found) = &played.found else {
        return Miss::Lost;
    };
    if found.wander.is_some() {
        return Miss::Drifted;
    }
    if found.spans.len() > 1 {
        return Miss::Slid;
    }
    match Differs::of(&played.part, found.first(), asked) {
        Differs::Between => Miss::Between,
        Differs::OtherHand => Miss::Exchanged,
        Differs::Turned(_) => Miss::Turned,
        Differs::Joined => Miss::Joined,
        Differs::Other => of_layers(played.part.layer, found.first().layer),
        Differs::Not if found.stopped().is_some() => Miss::Stopped,
        Differs::Not if !found.paused.is_empty() => Miss::Paused,
        // All was struck, but in another place when the sound came back.
        Differs::Not if found.missing == 0 && found.extra == 0 => Miss::Drifted,
        Differs::Not if found.missing >= found.extra => Miss::Gaps,
        Differs::Not => Miss::Extra,
    }
}

/// Another layer: more than was asked, less than that, or neither.
fn of_layers(wanted: Option<Layer>, clapped: Layer) -> Miss {
    let all = wanted.and_then(|wanted| Some((wanted, wanted.union(clapped).ok()?)));
    match all {
        Some((_, all)) if all == clapped => Miss::Extra,
        Some((wanted, all)) if all == wanted => Miss::Gaps,
        _ => Miss::Other,
    }
}
