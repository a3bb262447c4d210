//! Tempo, and the map from ticks to microseconds.

use std::fmt;

use super::{TICKS_PER_PULSE, Tick};

/// Hundredths of pulses a minute, 20.00 to 600.00. Always pulses: nobody has to ask of which beat.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Tempo(u32);

/// A tempo out of range.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{0} pulses a minute; 20 to 600 are possible")]
pub struct TempoError(pub i64);

impl Tempo {
    /// A tempo of whole pulses a minute.
    ///
    /// # Errors
    /// When it is not 20 to 600.
    pub fn of_pulses_a_minute(ppm: i64) -> Result<Self, TempoError> {
        match u32::try_from(ppm) {
            Ok(whole @ 20..=600) => Ok(Self(whole * 100)),
            _ => Err(TempoError(ppm)),
        }
    }

    /// A tempo of hundredths of pulses a minute.
    ///
    /// # Errors
    /// When it is not 2,000 to 60,000.
    pub fn of_hundredths(hundredths: u32) -> Result<Self, TempoError> {
        match hundredths {
            2_000..=60_000 => Ok(Self(hundredths)),
            _ => Err(TempoError(i64::from(hundredths / 100))),
        }
    }

    /// Hundredths of pulses a minute.
    pub fn hundredths(self) -> u32 {
        self.0
    }

    /// Pulses a minute.
    pub fn pulses_a_minute(self) -> f64 {
        f64::from(self.0) / 100.0
    }
}

impl fmt::Display for Tempo {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.0.is_multiple_of(100) {
            write!(f, "{}", self.0 / 100)
        } else {
            write!(f, "{}.{:02}", self.0 / 100, self.0 % 100)
        }
    }
}

/// A strictly rising map between ticks and microseconds of a performance.
///
/// Steady for phrases: every point is computed from tick zero, so nothing drifts, however long.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct PulseMap {
    tempo: Tempo,
    /// Microseconds at which tick zero sounds.
    origin: i64,
}

impl PulseMap {
    /// Steady pulses, tick zero at `origin` microseconds.
    pub fn steady(tempo: Tempo, origin: i64) -> Self {
        Self { tempo, origin }
    }

    /// The time of `tick` in microseconds, to the nearest.
    pub fn micros_at(&self, tick: Tick) -> i64 {
        let numerator = i128::from(tick.0) * 6_000_000_000;
        let denominator = i128::from(TICKS_PER_PULSE) * i128::from(self.tempo.0);
        let micros = (2 * numerator + denominator).div_euclid(2 * denominator);
        self.origin
            .saturating_add(i64::try_from(micros).unwrap_or(i64::MAX))
    }

    /// The tick nearest to `micros`.
    pub fn tick_at(&self, micros: i64) -> Tick {
        let numerator = i128::from(micros.saturating_sub(self.origin))
            * i128::from(TICKS_PER_PULSE)
            * i128::from(self.tempo.0);
        let denominator = 6_000_000_000_i128;
        let tick = (2 * numerator + denominator).div_euclid(2 * denominator);
        Tick(i64::try_from(tick).unwrap_or(i64::MAX))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cycle_ten_thousand_is_exact() {
        // 180 pulses a minute: a pulse is 333,333 and a third microseconds.
        let tempo = Tempo::of_pulses_a_minute(180).expect("in range");
        let map = PulseMap::steady(tempo, 0);
        assert_eq!(map.micros_at(Tick::of_pulse(60_000)), 20_000_000_000);
        assert_eq!(map.micros_at(Tick::of_pulse(1)), 333_333);
        assert_eq!(map.micros_at(Tick::of_pulse(2)), 666_667);
    }

    #[test]
    fn ticks_come_back() {
        let map = PulseMap::steady(Tempo::of_hundredths(17_650).expect("in range"), 250_000);
        for tick in (-480..100_000).step_by(37) {
            assert_eq!(map.tick_at(map.micros_at(Tick(tick))), Tick(tick));
        }
    }
}
