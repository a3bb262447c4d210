//! Musical time: points, spans and signed differences, 240 ticks to the pulse.

/// Ticks in a pulse. Divisible by 2, 3, 4, 5, 8 and 16, so that MIDI and MusicXML are exact.
pub const TICKS_PER_PULSE: i64 = 240;

/// A point in musical time: ticks since the first pulse of the first cycle. A pickup lies before it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Tick(pub i64);

/// A span of musical time; never negative.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Ticks(pub u32);

/// A signed difference of two points: positive is late.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Deviation(pub i64);

impl Tick {
    /// The point at which the `idx`-th pulse of the phrase begins.
    pub fn of_pulse(idx: i64) -> Self {
        Self(idx.saturating_mul(TICKS_PER_PULSE))
    }

    /// The pulse it lies in, counted from the first of the phrase; negative in a pickup.
    pub fn pulse_idx(self) -> i64 {
        self.0.div_euclid(TICKS_PER_PULSE)
    }

    /// The point `span` later.
    #[must_use]
    pub fn after(self, span: Ticks) -> Self {
        Self(self.0.saturating_add(i64::from(span.0)))
    }

    /// How late it is against `other`.
    pub fn against(self, other: Self) -> Deviation {
        Deviation(self.0.saturating_sub(other.0))
    }
}

impl Ticks {
    /// A span of `n` pulses.
    pub fn of_pulses(n: u32) -> Self {
        Self(n.saturating_mul(240))
    }
}
