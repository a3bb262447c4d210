//! Tempo, and the map from ticks to microseconds.

use std::fmt;

use super::Tick;

/// Hundredths of pulses a minute, 20.00 to 600.00. Always pulses: nobody has to ask of which beat.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Tempo(u32);

/// A tempo out of range.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{0} pulses a minute; 20 to 600 are possible")]
pub struct TempoError(pub i64);

impl Tempo {
    /// The tempo whose pulses last so many seconds, or the nearest that there is.
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "within the bounds of a tempo"
    )]
    fn of_seconds(seconds: f64) -> Self {
        let hundredths = (6_000.0 / seconds.max(0.001)).round();
        let hundredths = hundredths.clamp(2_000.0, 60_000.0);
        Self::of_hundredths(hundredths as u32).expect("within the bounds of a tempo")
    }

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

/// How the speed runs through a phrase: a tempo, and others from later ticks on.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct Pace {
    first: Tempo,
    /// Where the tempo changes, in order; each tick once.
    later: Vec<(Tick, Tempo)>,
}

/// Parts of a unit of time in which stretches of different tempo are added up, so that rounding them
/// one by one cannot be heard after any number of changes.
const PARTS: i128 = 1 << 32;

impl Pace {
    /// One tempo throughout.
    pub fn steady(tempo: Tempo) -> Self {
        Self {
            first: tempo,
            later: Vec::new(),
        }
    }

    /// The pace whose pulses from tick zero on are so many seconds long, as the last one after that.
    /// Tempi are whole hundredths, so that each makes up for what those before it left over: nothing
    /// drifts. What no tempo has is held at the nearest one.
    pub fn of_pulses(seconds: &[f64]) -> Self {
        let mut over = 0.0;
        let tempi = seconds.iter().map(|gap| {
            let tempo = Tempo::of_seconds(gap + over);
            over += gap - 60.0 / tempo.pulses_a_minute();
            tempo
        });
        let mut tempi = tempi.collect::<Vec<Tempo>>().into_iter();
        let first = tempi.next().unwrap_or_else(|| Tempo::of_seconds(1.0 / 3.0));
        let each = (1_i64..).zip(tempi);
        each.fold(Self::steady(first), |pace, (pulse, tempo)| {
            pace.then(Tick::of_pulse(pulse), tempo)
        })
    }

    /// The same, and `tempo` from `at` on. Changes are given in order of time: what was to come at
    /// or after `at` is replaced.
    #[must_use]
    pub fn then(mut self, at: Tick, tempo: Tempo) -> Self {
        self.later.retain(|(earlier, _)| *earlier < at);
        if self.at(at) != tempo {
            self.later.push((at, tempo));
        }
        self
    }

    /// The tempo at the beginning.
    pub fn first(&self) -> Tempo {
        self.first
    }

    /// The tempo at `tick`.
    pub fn at(&self, tick: Tick) -> Tempo {
        let begun = self.later.iter().rev().find(|(at, _)| *at <= tick);
        begun.map_or(self.first, |(_, tempo)| *tempo)
    }

    /// Where the tempo changes, and to which.
    pub fn changes(&self) -> &[(Tick, Tempo)] {
        &self.later
    }

    /// The time of `tick` in units of which a second has `per_second`, and so many microseconds
    /// later, to the nearest unit; tick zero is at 0.
    pub fn units_at(&self, tick: Tick, micros_later: i32, per_second: u32) -> i64 {
        let late = i128::from(micros_later) * i128::from(per_second) * PARTS;
        let parts = self.parts_at(tick, per_second) + nearest(late, 1_000_000);
        saturating(nearest(parts, PARTS))
    }

    /// The tick nearest to a time in such units.
    pub fn tick_at(&self, units: i64, per_second: u32) -> Tick {
        let parts = i128::from(units) * PARTS;
        let begun = self
            .later
            .iter()
            .rev()
            .map(|(at, tempo)| (*at, *tempo, self.parts_at(*at, per_second)))
            .find(|(.., since)| *since <= parts);
        let (at, tempo, since) = begun.unwrap_or_else(|| {
            let zero = self.earliest();
            (zero, self.first, self.parts_at(zero, per_second))
        });
        let ticks = nearest(
            (parts - since) * i128::from(tempo.0),
            25 * i128::from(per_second) * PARTS,
        );
        Tick(at.0.saturating_add(saturating(ticks)))
    }

    /// Tick zero, or where the first change lies before it.
    fn earliest(&self) -> Tick {
        let first = self.later.first().map_or(Tick(0), |(at, _)| *at);
        first.min(Tick(0))
    }

    fn parts_at(&self, tick: Tick, per_second: u32) -> i128 {
        self.parts_between(Tick(0), tick, per_second)
    }

    /// Parts from one tick to another, each stretch of one tempo rounded once.
    fn parts_between(&self, from: Tick, to: Tick, per_second: u32) -> i128 {
        if to < from {
            return -self.parts_between(to, from, per_second);
        }
        // A tick lasts 25 / tempo seconds, with the tempo in hundredths: 60 s × 100 / 240 ticks.
        let of_stretch = |from: Tick, to: Tick, tempo: Tempo| {
            let ticks = i128::from(to.0) - i128::from(from.0);
            nearest(
                ticks * 25 * i128::from(per_second) * PARTS,
                i128::from(tempo.0),
            )
        };
        let mut here = from;
        let mut parts = 0;
        for (at, _) in &self.later {
            let until = (*at).clamp(from, to);
            if until > here {
                parts += of_stretch(here, until, self.at(here));
                here = until;
            }
        }
        parts + of_stretch(here, to, self.at(here))
    }
}

impl From<Tempo> for Pace {
    fn from(tempo: Tempo) -> Self {
        Self::steady(tempo)
    }
}

/// The quotient rounded to the nearest integer, halves up; `denominator` is positive.
fn nearest(numerator: i128, denominator: i128) -> i128 {
    (2 * numerator + denominator).div_euclid(2 * denominator)
}

fn saturating(n: i128) -> i64 {
    i64::try_from(n).unwrap_or(if n < 0 { i64::MIN } else { i64::MAX })
}

/// A strictly rising map between ticks and microseconds of a performance.
///
/// Every point is computed from tick zero, so nothing drifts, however long.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PulseMap {
    pace: Pace,
    /// Microseconds at which tick zero sounds.
    origin: i64,
}

impl PulseMap {
    /// Steady pulses, tick zero at `origin` microseconds.
    pub fn steady(tempo: Tempo, origin: i64) -> Self {
        Self::of(Pace::steady(tempo), origin)
    }

    /// Pulses as `pace` has them, tick zero at `origin` microseconds.
    pub fn of(pace: Pace, origin: i64) -> Self {
        Self { pace, origin }
    }

    /// The time of `tick` in microseconds, to the nearest.
    pub fn micros_at(&self, tick: Tick) -> i64 {
        let since = self.pace.units_at(tick, 0, 1_000_000);
        self.origin.saturating_add(since)
    }

    /// The tick nearest to `micros`.
    pub fn tick_at(&self, micros: i64) -> Tick {
        let since = micros.saturating_sub(self.origin);
        self.pace.tick_at(since, 1_000_000)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_pace_of_pulses_never_drifts_from_them() {
        let gaps: Vec<f64> = (0..90).map(|n| 0.31 + 0.02 * f64::from(n % 7)).collect();
        let map = PulseMap::of(Pace::of_pulses(&gaps), 0);
        let mut at = 0.0;
        for (pulse, gap) in (1_i64..).zip(&gaps) {
            at += gap;
            let micros = map.micros_at(Tick::of_pulse(pulse));
            // A hundredth of a pulse a minute is 20 microseconds of such a pulse.
            let off = i32::try_from(micros).expect("under half an hour");
            assert!((f64::from(off) - at * 1e6).abs() < 50.0, "pulse {pulse}");
        }
    }

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

    #[test]
    fn every_stretch_takes_the_time_of_its_tempo() {
        // By hand: at 120 pulses a minute a pulse lasts 0.5 s, at 150 it lasts 0.4 s.
        let of = |ppm| Tempo::of_pulses_a_minute(ppm).expect("in range");
        let pace = Pace::steady(of(120))
            .then(Tick::of_pulse(4), of(150))
            .then(Tick::of_pulse(6), of(120));
        let map = PulseMap::of(pace.clone(), 1_000_000);
        let expected = [
            (-1, 500_000),
            (0, 1_000_000),
            (4, 3_000_000),
            (5, 3_400_000),
        ];
        for (pulse, micros) in expected.into_iter().chain([(6, 3_800_000), (8, 4_800_000)]) {
            assert_eq!(
                map.micros_at(Tick::of_pulse(pulse)),
                micros,
                "pulse {pulse}"
            );
        }
        assert_eq!(pace.at(Tick::of_pulse(5)), of(150));
        assert_eq!(pace.changes().len(), 2);
    }

    #[test]
    fn ticks_come_back_through_many_changes() {
        let of = |ppm| Tempo::of_pulses_a_minute(ppm).expect("in range");
        let pace = (-3..60).fold(Pace::steady(of(100)), |pace, pulse| {
            pace.then(
                Tick::of_pulse(pulse),
                of(100 + (pulse * 37).rem_euclid(160)),
            )
        });
        let map = PulseMap::of(pace, 0);
        for tick in (-2_000..20_000).step_by(11) {
            assert_eq!(map.tick_at(map.micros_at(Tick(tick))), Tick(tick));
        }
    }
}
