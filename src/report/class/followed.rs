//! From which cycle hands slid from the layer that was asked, from their taps alone.
//!
//! The phrase of an attempt does not travel with it, but its tempo does: where pulses are steady, taps
//! can be judged again without it, as they were when they were made.

use crate::quiz::judge::{Lead, Place, Reading, Round, judge};
use crate::quiz::{Answer, Attempt, Hand};
use crate::rhythm::{Layer, PulseMap, TICKS_PER_PULSE, Tick};

/// What hands did, where they began with what was asked and left it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Slid {
    /// Which hand.
    pub(super) hand: Hand,
    /// The first cycle in which it clapped something else, from 1.
    pub(super) from: u32,
    /// What it went over to.
    pub(super) to: Layer,
    /// On the pulses, or between them.
    pub(super) place: Place,
    /// For how many cycles until it ended.
    pub(super) n_cycles: u32,
}

/// What may have been clapped where a layer was asked, made once for each layer.
#[derive(Debug, Default)]
pub(super) struct Readings(Vec<(Layer, Vec<Reading>)>);

impl Readings {
    fn of(&mut self, layer: Layer) -> &[Reading] {
        let known = self.0.iter().position(|(known, _)| *known == layer);
        let idx = known.unwrap_or_else(|| {
            self.0.push((layer, Reading::all(&candidates(layer))));
            self.0.len() - 1
        });
        self.0.get(idx).map_or(&[], |(_, readings)| readings)
    }
}

/// Where the hands of an attempt slid, if they did. The first cycle is for joining in.
pub(super) fn slid(attempt: &Attempt, place: Place, readings: &mut Readings) -> Option<Slid> {
    let parts = match attempt.truth {
        Answer::Hands(Some(layer)) => [Some((Hand::Either, layer)), None],
        Answer::Pair([Some(left), Some(right)]) => {
            [Some((Hand::Left, left)), Some((Hand::Right, right))]
        }
        _ => [None, None],
    };
    let of_part = |(hand, layer)| slid_hand(attempt, (hand, layer), place, readings.of(layer));
    let all = parts.into_iter().flatten().filter_map(of_part);
    all.max_by_key(|slid| slid.n_cycles)
}

fn slid_hand(
    attempt: &Attempt,
    (hand, layer): (Hand, Layer),
    place: Place,
    readings: &[Reading],
) -> Option<Slid> {
    let map = PulseMap::steady(attempt.tempo, 0);
    let taps = attempt.taps.iter().filter(|tap| tap.hand == hand);
    let micros: Vec<i64> = taps.map(|tap| i64::from(tap.ms) * 1_000).collect();
    let until = whole_cycles(&map, *micros.iter().max()?, layer)?;
    let round = Round {
        micros: &micros,
        map: &map,
        cycle: layer.cycle(),
        cycles: (1, until),
    };
    let found = judge(&round, readings, lead(attempt, place))?;
    let wanted = Reading {
        place,
        ..Reading::of(layer)
    };
    let (since, to) = found.left().filter(|_| found.first() == wanted)?;
    let from = u32::try_from(since).ok()?.saturating_add(2);
    Some(Slid {
        hand,
        from,
        to: to.layer,
        place: to.place,
        n_cycles: u32::try_from(until).ok()?.saturating_sub(from) + 1,
    })
}

/// Before which cycle the last one ends in which taps reach the last stroke of the layer; `None` of too
/// few to say anything.
fn whole_cycles(map: &PulseMap, last_micros: i64, layer: Layer) -> Option<i64> {
    /// One to join in, one to hold it, and one to slide.
    const LEAST: i64 = 3;
    let n_pulses = i64::try_from(layer.cycle().n_pulses()).ok()?;
    let last_stroke = i64::try_from(layer.pulses().last()?.idx()).ok()?;
    let half = Tick(TICKS_PER_PULSE / 2);
    let last = Tick(map.tick_at(last_micros).0.saturating_add(half.0)).pulse_idx();
    let until = (last - last_stroke).div_euclid(n_pulses) + 1;
    (LEAST..=1_000).contains(&until).then_some(until)
}

/// What was asked, and what people slip into.
fn candidates(layer: Layer) -> Vec<Layer> {
    let cycle = layer.cycle();
    let even = [3, 2, 1].map(|every| Layer::every(cycle, every));
    let palmas = Layer::of(cycle, &[0, 3, 4]).ok();
    std::iter::once(layer).chain(even).chain(palmas).collect()
}

fn lead(attempt: &Attempt, place: Place) -> Lead {
    let lead = match attempt.timing {
        Some(timing) => Lead {
            micros: f64::from(timing.lead_ms) * 1_000.0,
            ..Lead::TUNED
        },
        None => Lead::UNKNOWN,
    };
    match place {
        Place::On => lead,
        Place::Contra => Lead {
            contra: 0.0,
            ..lead
        },
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quiz::KeptTap;
    use crate::review::any_attempt;
    use crate::rhythm::{Cycle, Tempo};

    fn layer(pulses: &[i64]) -> Layer {
        Layer::of(Cycle::SIX, pulses).expect("a layer")
    }

    /// Taps in cycles of six pulses of 300 ms, in each cycle on these pulses, 20 ms early.
    fn attempt(cycles: &[&[i32]]) -> Attempt {
        let of_cycle = |(idx, pulses): (i32, &&[i32])| {
            let ms = pulses.iter().map(move |pulse| (6 * idx + pulse) * 300 - 20);
            ms.collect::<Vec<i32>>()
        };
        let taps = (0..).zip(cycles).flat_map(of_cycle);
        Attempt {
            truth: Answer::Hands(Some(layer(&[0, 3]))),
            answer: Answer::Hands(None),
            right: false,
            tempo: Tempo::of_pulses_a_minute(200).expect("in range"),
            taps: taps
                .map(|ms| KeptTap {
                    ms,
                    hand: Hand::Either,
                })
                .collect(),
            ..any_attempt(1)
        }
    }

    #[test]
    fn hands_slide_from_threes_to_twos_in_the_fourth_cycle() {
        let (threes, twos): (&[i32], &[i32]) = (&[0, 3], &[0, 2, 4]);
        let slides = attempt(&[threes, threes, threes, twos, twos, twos]);
        let slid = slid(&slides, Place::On, &mut Readings::default()).expect("they slid");
        assert_eq!(
            (slid.from, slid.n_cycles, slid.to),
            (4, 3, layer(&[0, 2, 4]))
        );
    }

    #[test]
    fn hands_that_hold_or_never_held_do_not_slide() {
        let (threes, twos): (&[i32], &[i32]) = (&[0, 3], &[0, 2, 4]);
        assert_eq!(
            slid(&attempt(&[threes; 6]), Place::On, &mut Readings::default()),
            None
        );
        assert_eq!(
            slid(&attempt(&[twos; 6]), Place::On, &mut Readings::default()),
            None
        );
        assert_eq!(
            slid(&attempt(&[threes; 1]), Place::On, &mut Readings::default()),
            None
        );
        assert_eq!(
            slid(&attempt(&[]), Place::On, &mut Readings::default()),
            None
        );
    }
}
