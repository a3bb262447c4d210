//! What was asked of hands and what they did, as rows of the grid.

use super::sound::lead_of;
use super::{Asked, Part, Played};
use crate::phrase::Phrase;
use crate::quiz::GridRow;
use crate::quiz::judge::Place;
use crate::quiz::reveal::sign_of;
use crate::quiz::tap::{Hand, Tap, micros_of};
use crate::rhythm::{Layer, PulseMap, TICKS_PER_PULSE};

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
