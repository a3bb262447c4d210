//! What hands may have clapped, and what taps cost under each of these readings.

use std::collections::BTreeSet;

use crate::rhythm::{Cycle, Layer, Pulse};

/// One thing that hands may have done: a layer, perhaps turned, on the pulses or between them.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Reading {
    /// The layer, as it was turned.
    pub layer: Layer,
    /// By how many pulses it was turned later.
    pub turned: u8,
    /// On its pulses, or half a pulse after them.
    pub place: Place,
}

/// Where the strokes of a layer fall.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Place {
    /// On the pulses.
    On,
    /// Half a pulse after them (contra).
    Contra,
}

impl Reading {
    /// The layer as it stands, on its pulses.
    pub fn of(layer: Layer) -> Self {
        Self {
            layer,
            turned: 0,
            place: Place::On,
        }
    }

    /// Every layer in every rotation, each strokes only once, on the pulses and between them. Layers
    /// that come first keep their name where a rotation of another is the same.
    pub fn all(layers: &[Layer]) -> Vec<Self> {
        let mut known = BTreeSet::new();
        let mut readings = Vec::new();
        for place in [Place::On, Place::Contra] {
            for turned in 0..48_u8 {
                for layer in layers {
                    let n_pulses = layer.cycle().n_pulses();
                    let turned_layer = layer.turned(i64::from(turned));
                    if usize::from(turned) < n_pulses && known.insert((turned_layer, place)) {
                        readings.push(Self {
                            layer: turned_layer,
                            turned,
                            place,
                        });
                    }
                }
            }
        }
        readings
    }

    /// Its strokes in pulses from the beginning of a cycle.
    pub(super) fn strokes(self) -> impl Iterator<Item = f64> {
        let after = match self.place {
            Place::On => 0.0,
            Place::Contra => 0.5,
        };
        self.layer
            .pulses()
            .map(move |pulse| place_of(pulse) + after)
    }
}

fn place_of(pulse: Pulse) -> f64 {
    f64::from(u32::try_from(pulse.idx()).expect("at most 48 pulses"))
}

/// How far a stroke usually lies from its place, in pulses.
const SPREAD: f64 = 0.16;
/// What a tap costs at most: one that belongs nowhere.
const EXTRA: f64 = 4.0;
/// What a stroke costs that nobody clapped; one in ten is missed now and then.
const MISSING: f64 = 2.5;
/// Pulses within which a tap is the clap of a stroke.
const REACH: f64 = 0.5;

/// Those of the taps around a cycle that are its own.
pub(super) fn own(taps: &[f64], cycle: Cycle) -> impl Iterator<Item = &f64> {
    let n = n_pulses(cycle);
    let is_own = move |tap: &&f64| (-0.25..n - 0.25).contains(*tap);
    taps.iter().filter(is_own)
}

fn n_pulses(cycle: Cycle) -> f64 {
    f64::from(u32::try_from(cycle.n_pulses()).expect("at most 48 pulses"))
}

/// What the taps of one cycle, in pulses from its beginning, cost under a reading with these
/// `strokes`. Taps of the cycles before and after stand beside it with negative and larger places.
/// Before the first tap of all and after the last, which are at `played`, no stroke was missed: hands
/// had not begun, or had stopped.
pub(super) fn cost(strokes: &[f64], taps: &[f64], cycle: Cycle, played: (f64, f64)) -> f64 {
    let n = n_pulses(cycle);
    let of_tap = |tap: &f64| {
        // Round the cycle, either way.
        let apart = strokes.iter().map(|stroke| (tap - stroke).abs());
        let nearest = apart.fold(f64::INFINITY, |least, off| least.min(off).min(n - off));
        (0.5 * (nearest / SPREAD).powi(2)).min(EXTRA)
    };
    let (first, last) = played;
    let is_asked = |stroke: &&f64| (first - REACH..=last + REACH).contains(*stroke);
    let is_missed = |stroke: &&f64| !taps.iter().any(|tap| (tap - **stroke).abs() < REACH);
    let missed = strokes.iter().filter(is_asked).filter(is_missed);
    own(taps, cycle).map(of_tap).sum::<f64>() + missed.fold(0.0, |sum, _| sum + MISSING)
}
