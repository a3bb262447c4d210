//! Layers and groupings drawn at random, for tests of laws.

use proptest::collection::vec;
use proptest::prelude::*;

use super::{Cycle, Group, Grouping, Layer};

/// Any cycle.
pub(crate) fn any_cycle() -> impl Strategy<Value = Cycle> {
    (2..=48_i64).prop_map(|n_pulses| Cycle::new(n_pulses).expect("in range"))
}

/// Any layer of any cycle.
pub(crate) fn any_layer() -> impl Strategy<Value = Layer> {
    any_cycle().prop_flat_map(layer_of)
}

/// Any two layers of one cycle.
pub(crate) fn two_layers() -> impl Strategy<Value = (Layer, Layer)> {
    any_cycle().prop_flat_map(|cycle| (layer_of(cycle), layer_of(cycle)))
}

/// Any grouping, begun on any pulse.
pub(crate) fn any_grouping() -> impl Strategy<Value = Grouping> {
    let group = prop_oneof![Just(Group::Two), Just(Group::Three)];
    (vec(group, 1..=16), any::<i64>()).prop_map(|(groups, by)| {
        let plain = Grouping::new(&groups, 0).expect("sixteen groups are at most 48 pulses");
        plain.turned(by)
    })
}

fn layer_of(cycle: Cycle) -> impl Strategy<Value = Layer> {
    vec(0..i64::from(cycle.size()), 1..=cycle.n_pulses())
        .prop_map(move |pulses| Layer::of(cycle, &pulses).expect("pulses inside the cycle"))
}
