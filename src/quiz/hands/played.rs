//! What was made of each part.

use super::{Asked, Hands, Part};
use crate::phrase::Phrase;
use crate::quiz::judge::{Clapped, Place, Reading, Round, judge};
use crate::quiz::tap::{Hand, Tap, micros_of};
use crate::quiz::{Answer, Course, KeptTiming};
use crate::rhythm::{Layer, PulseMap};

/// The share of strokes that must be struck, and the cycles in which one stray tap is nothing.
const STRUCK: f64 = 0.95;
const STRAY_CYCLES: i64 = 4;
/// Where claps are to fall when the sound comes back, in pulses from where they fell before it left.
const COMES_BACK_WITHIN: f64 = 0.25;

/// What was made of a part.
#[derive(Clone, Debug)]
pub(in crate::quiz) struct Played {
    pub(super) part: Part,
    /// `None` where there was too little to say, and where nothing was to be struck.
    pub(super) found: Option<Clapped>,
    /// Taps where the hand was to rest.
    pub(super) strays: usize,
    /// By how many pulses claps lay off when the sound came back; `None` where it did not leave.
    pub(super) came_back: Option<f64>,
    /// How many taps there were in its cycles.
    pub(super) n_taps: usize,
    /// Milliseconds of a pulse on the mean.
    pub(super) pulse_ms: f64,
}

/// Judges taps part by part.
pub(in crate::quiz) fn played(
    phrase: &Phrase,
    asked: &Asked,
    taps: &[Tap],
    hands: Hands,
) -> Vec<Played> {
    let map = PulseMap::of(phrase.pace.clone(), 0);
    let readings = Reading::all(&candidates(phrase, asked));
    let of_part = |part: &Part| {
        let micros = micros_of(taps, part.hand);
        let round = Round {
            micros: &micros,
            map: &map,
            cycle: phrase.cycle,
            cycles: part.judged,
        };
        let mut lead = hands.lead();
        if part.place == Place::Contra {
            lead.contra = 0.0;
        }
        let found = part.layer.and_then(|_| judge(&round, &readings, lead));
        let pulse_ms = round.pulse_ms();
        Played {
            part: *part,
            n_taps: round.n_taps(),
            strays: if part.layer.is_none() {
                round.n_taps()
            } else {
                0
            },
            came_back: came_back(asked.course, part, found.as_ref(), pulse_ms),
            found,
            pulse_ms,
        }
    };
    asked.parts.iter().map(of_part).collect()
}

/// What may have been clapped: what was asked first, then what people slip into.
fn candidates(phrase: &Phrase, asked: &Asked) -> Vec<Layer> {
    let cycle = phrase.cycle;
    let wanted: Vec<Layer> = asked.parts.iter().filter_map(|part| part.layer).collect();
    let even = [3, 2, 1].map(|every| Layer::every(cycle, every));
    let palmas = Layer::of(cycle, &[0, 3, 4]).ok();
    let joined = even[0].union(even[1]).ok();
    let all = wanted.into_iter().chain(even).chain(palmas).chain(joined);
    all.collect()
}

/// How far off claps lay in the first cycle after a silence, in pulses.
fn came_back(course: Course, part: &Part, found: Option<&Clapped>, pulse_ms: f64) -> Option<f64> {
    let (_, back) = course.silence()?;
    let (found, back) = (found?, usize::try_from(back - part.judged.0).ok()?);
    let before: Vec<f64> = (0..back).filter_map(|cycle| found.late_in(cycle)).collect();
    let first = before.first()?;
    let wandered = found.wander.map_or(0.0, |wander| wander.at(back));
    Some((found.late_in(back)? - first) / pulse_ms + wandered)
}

impl Played {
    /// Whether it did what was asked.
    pub(super) fn is_held(&self) -> bool {
        let Some(layer) = self.part.layer else {
            return self.strays <= 1;
        };
        let came_back = self
            .came_back
            .is_none_or(|off| off.abs() < COMES_BACK_WITHIN);
        came_back
            && self
                .held()
                .is_some_and(|reading| reading.layer == layer && reading.place == self.part.place)
    }

    /// What was held from the second judged cycle on at the latest, with few faults: joining in may
    /// take a cycle.
    fn held(&self) -> Option<Reading> {
        let found = self.found.as_ref()?;
        let (since, reading) = found.last();
        let is_clean = self.missing_allowed(found) && self.strays_allowed(found);
        // Going over to another layer has its cycle already.
        let joining = usize::from(self.part.asked.0 == 0);
        let is_steady = since <= joining && found.spans.len() <= 1 + joining;
        (is_steady && is_clean && found.wander.is_none()).then_some(reading)
    }

    /// Pulses of what it held that were never struck.
    pub(super) fn never_struck(&self) -> Option<Layer> {
        let found = self.found.as_ref().filter(|found| found.spans.len() == 1)?;
        let layer = found.first().layer;
        let is_struck = |idx: usize| found.struck.iter().any(|struck| struck.pulse == idx);
        Layer::on(
            layer.cycle(),
            layer.pulses().filter(|p| !is_struck(p.idx())),
        )
        .ok()
    }

    fn missing_allowed(&self, found: &Clapped) -> bool {
        let n = found.struck.len() + found.missing;
        // One slip in a short phrase is no loss of the layer.
        found.missing <= 1 || as_real(found.struck.len()) >= STRUCK * as_real(n)
    }

    fn strays_allowed(&self, found: &Clapped) -> bool {
        let cycles = self.part.judged.1 - self.part.judged.0;
        let allowed = (cycles + STRAY_CYCLES - 1) / STRAY_CYCLES;
        i64::try_from(found.extra).is_ok_and(|extra| extra <= allowed)
    }

    /// What it comes to: the layer that was held, the one asked for only where all was as asked.
    fn layer(&self) -> Option<Layer> {
        if self.is_held() {
            return self.part.layer;
        }
        let held = self.held().filter(|held| held.place == Place::On)?;
        (Some(held.layer) != self.part.layer).then_some(held.layer)
    }
}

/// The answer that taps come to.
pub(in crate::quiz) fn answer(played: &[Played]) -> Answer {
    let slot = |slot: usize| {
        let mut parts = played.iter().filter(|played| played.part.slot == slot);
        let first = parts.next()?;
        let layer = first.layer()?;
        // Where one part of it went wrong, all of it did; the layer itself is then only told when
        // it was another one.
        let all = parts.all(Played::is_held);
        (all || Some(layer) != first.part.layer).then_some(layer)
    };
    if played.iter().any(|played| played.part.slot > 0) {
        Answer::Pair([slot(0), slot(1)])
    } else {
        Answer::Hands(slot(0))
    }
}

/// How all taps together lay, where that can be said: the first hand's lead, and the spread of both.
pub(in crate::quiz) fn timing(played: &[Played]) -> Option<KeptTiming> {
    let timed = played.iter().filter_map(|p| Some((p, p.found.as_ref()?)));
    let timed: Vec<_> = timed.filter_map(|(p, f)| Some((p, f, f.timing?))).collect();
    let (first, found, timing) = timed.first()?;
    let n = timed
        .iter()
        .fold(0.0, |n, (_, _, timing)| n + as_real(timing.n));
    let squares = timed.iter().fold(0.0, |sum, (_, _, timing)| {
        timing.spread.powi(2).mul_add(as_real(timing.n), sum)
    });
    Some(KeptTiming {
        lead_ms: whole(found.lead / 1_000.0 + timing.mean),
        spread_tenths: whole(10.0 * (squares / n).sqrt()).unsigned_abs(),
        pulse_ms: whole(first.pulse_ms).unsigned_abs(),
        n: whole(n).unsigned_abs(),
    })
}

#[expect(
    clippy::cast_possible_truncation,
    reason = "milliseconds of a few seconds"
)]
fn whole(value: f64) -> i32 {
    value.round() as i32
}

impl Played {
    /// Whether it is one of two hands.
    pub(super) fn is_one_of_two(&self) -> bool {
        self.part.hand != Hand::Either
    }
}

fn as_real(n: usize) -> f64 {
    f64::from(u32::try_from(n).unwrap_or(u32::MAX))
}
