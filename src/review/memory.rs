//! How long a skill lasts.
//!
//! A [`Memory`] is stepped once a learning day by FSRS-6 with its published default weights, from
//! the `fsrs` crate, whose types and names stay inside this file. Days are whole learning days, and
//! chances of recall lie in 0..=1. Those chances order skills; they are never shown to anybody as a
//! chance of being right, because the difficulty of phrases moves as well.
//!
//! Not here: how an event is judged (`grade`), and that there is one a day (`standing`).

use std::sync::LazyLock;

use fsrs::{FSRS, FSRS6_DEFAULT_DECAY, MemoryState, current_retrievability};

use crate::world::Day;

/// The longest gap before a skill comes back. The model alone would let two good days count as safe
/// for weeks; in simulation, capping at two weeks repaired that.
pub const LONGEST_GAP_DAYS: i32 = 14;

/// The chance of recall at which a skill is due.
const TARGET: f32 = 0.90;

/// Bounds of the model: stability in days and difficulty without unit.
const STABILITY: std::ops::RangeInclusive<f32> = 0.001..=36_500.0;
const DIFFICULTY: std::ops::RangeInclusive<f32> = 1.0..=10.0;

static MODEL: LazyLock<FSRS> = LazyLock::new(FSRS::default);

/// What a day's first block said about a memory, worst first. The model knows a fourth, better
/// grade; it is never given, since it lets gaps grow faster than perceptual skills bear.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Recall {
    /// Not there any more.
    Lost,
    /// There, with effort.
    Shaky,
    /// There.
    Firm,
}

/// The memory of one skill after its latest event.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Memory {
    stability: f32,
    difficulty: f32,
    last: Day,
    due: Day,
}

impl Memory {
    /// The memory after an event on `day`, with what was there `before`.
    ///
    /// A day that is not later than the last event counts as a gap of zero days; callers make one
    /// event a learning day, so that this happens only when the calendar went back.
    #[must_use]
    pub fn step(before: Option<Self>, recall: Recall, day: Day) -> Self {
        let gap = before.map_or(0, |memory| day.since(memory.last));
        let grade = match recall {
            Recall::Lost => 1,
            Recall::Shaky => 2,
            Recall::Firm => 3,
        };
        let state = advance(before.map(Self::state), grade, gap);
        Self {
            stability: state.stability,
            difficulty: state.difficulty,
            last: day,
            due: day.plus(gap_days(state.stability).min(LONGEST_GAP_DAYS)),
        }
    }

    /// A memory from its stored parts; `None` when they are out of the model's range.
    pub fn from_parts(stability: f32, difficulty: f32, last: Day) -> Option<Self> {
        let fits = STABILITY.contains(&stability) && DIFFICULTY.contains(&difficulty);
        fits.then(|| Self {
            stability,
            difficulty,
            last,
            due: last.plus(gap_days(stability).min(LONGEST_GAP_DAYS)),
        })
    }

    /// Days until the chance of recall falls to 0.9.
    pub fn stability(self) -> f32 {
        self.stability
    }

    /// How hard the skill is to keep, 1 to 10.
    pub fn difficulty(self) -> f32 {
        self.difficulty
    }

    /// The day of the latest event.
    pub fn last_day(self) -> Day {
        self.last
    }

    /// The day from which on the skill is due.
    pub fn due_day(self) -> Day {
        self.due
    }

    /// Days since the event over the days that the memory lasts. The chance of recall is a falling
    /// function of it, so that it orders memories without being computed.
    pub fn faded(self, day: Day) -> f32 {
        let days = u16::try_from(day.since(self.last)).unwrap_or(u16::MAX);
        f32::from(days) / self.stability
    }

    /// The modelled chance of recall on `day`, 1 on the day of the event and before.
    pub fn retrievability(self, day: Day) -> f32 {
        // Past 179 years the chance hardly moves.
        let days = u16::try_from(day.since(self.last)).unwrap_or(u16::MAX);
        current_retrievability(self.state(), f32::from(days), FSRS6_DEFAULT_DECAY)
    }

    fn state(self) -> MemoryState {
        MemoryState {
            stability: self.stability,
            difficulty: self.difficulty,
        }
    }
}

/// One step of the model with any of its four grades.
fn advance(before: Option<MemoryState>, grade: u8, gap: u32) -> MemoryState {
    let next = MODEL
        .next_states(before, TARGET, gap)
        .expect("a state within the model's bounds has finite successors");
    match grade {
        1 => next.again.memory,
        2 => next.hard.memory,
        3 => next.good.memory,
        _ => next.easy.memory,
    }
}

/// Whole days, at least one, until the chance of recall is at the target. Halves go to the even
/// day, as in the package that the reference values come from.
#[expect(
    clippy::cast_possible_truncation,
    reason = "stability is at most 36,500 days"
)]
fn gap_days(stability: f32) -> i32 {
    let exact = MODEL.next_interval(Some(stability), TARGET, 0);
    (exact.round_ties_even() as i32).max(1)
}

#[cfg(test)]
mod tests {
    use serde_json::Value;

    use super::*;

    /// FSRS-6 as computed by the Python package fsrs 6.3.2 and by its formulas typed anew
    /// (`tests/reference/scripts/make_review.py`).
    fn fixture() -> Value {
        let text = include_str!(concat!(
            env!("CARGO_MANIFEST_DIR"),
            "/tests/reference/fixtures/review.json"
        ));
        serde_json::from_str(text).expect("the fixture is JSON")
    }

    /// The step is taken in single precision: 1e-5 of the value is what is asked of it.
    #[track_caller]
    fn assert_near(got: f32, expected: &Value) {
        let expected = expected.as_f64().expect("a number");
        let error = (f64::from(got) - expected).abs() / expected.abs();
        assert!(
            error < 1e-5,
            "{got} instead of {expected}, off by {error:e}"
        );
    }

    fn small(value: &Value) -> u32 {
        u32::try_from(value.as_u64().expect("a count")).expect("a small count")
    }

    #[test]
    fn steps_match_the_published_model() {
        let fixture = fixture();
        let mut n_steps = 0;
        for (name, target) in [
            ("trajectory_A_r090", 0.9),
            ("trajectory_A_r080", 0.8),
            ("trajectory_B_r090", 0.9),
            ("trajectory_C_r090", 0.9),
            ("trajectory_same_day_r090", 0.9),
        ] {
            let mut state: Option<MemoryState> = None;
            for row in fixture[name].as_array().expect("rows") {
                let gap = small(&row["gap_days"]);
                if let Some(before) = state {
                    let memory = Memory::from_parts(before.stability, before.difficulty, Day(0))
                        .expect("in range");
                    let day = Day(i32::try_from(gap).expect("a small gap"));
                    assert_near(memory.retrievability(day), &row["retrievability_before"]);
                }
                let grade = u8::try_from(small(&row["rating"])).expect("a grade");
                let after = advance(state, grade, gap);
                assert_near(after.stability, &row["stability"]);
                assert_near(after.difficulty, &row["difficulty"]);
                let exact = MODEL.next_interval(Some(after.stability), target, 0);
                assert_near(exact, &row["interval_exact_days"]);
                if name.ends_with("r090") {
                    let days = row["next_interval_days"].as_f64().expect("days");
                    assert_eq!(f64::from(gap_days(after.stability)), days, "{name} {row}");
                }
                state = Some(after);
                n_steps += 1;
            }
        }
        assert_eq!(n_steps, 35);
    }

    #[test]
    fn own_grades_give_the_model_s_first_three() {
        // The first rows of trajectory A: grade 3 at gaps of 0, 2, 7 and 25 days.
        let fixture = fixture();
        let rows = fixture["trajectory_A_r090"].as_array().expect("rows");
        let mut memory = None;
        let mut day = Day(100);
        for (gap, row) in [0, 2, 7, 25].into_iter().zip(rows) {
            day = day.plus(gap);
            let next = Memory::step(memory, Recall::Firm, day);
            assert_near(next.stability(), &row["stability"]);
            assert_near(next.difficulty(), &row["difficulty"]);
            memory = Some(next);
        }
        // Then lost after 80 days, shaky after 4 and firm after 9.
        for ((gap, recall), row) in [(80, Recall::Lost), (4, Recall::Shaky), (9, Recall::Firm)]
            .into_iter()
            .zip(&rows[4..])
        {
            day = day.plus(gap);
            let next = Memory::step(memory, recall, day);
            assert_near(next.stability(), &row["stability"]);
            memory = Some(next);
        }
    }

    #[test]
    fn the_forgetting_curve_is_the_published_one() {
        let fixture = fixture();
        let memory = Memory::from_parts(10.0, 5.0, Day(0)).expect("in range");
        for point in fixture["forgetting_curve_S10"]["points"]
            .as_array()
            .expect("points")
        {
            let day = Day(i32::try_from(small(&point[0])).expect("a small day"));
            assert_near(memory.retrievability(day), &point[1]);
        }
    }

    #[test]
    fn chances_fall_at_the_published_multiples_of_stability() {
        // From the model's formula (decay -0.1542, factor 0.98035): the chance is 0.9 after S days,
        // 0.95 after 0.40 S, 0.85 after 1.91 S, 0.8 after 3.32 S, 0.7 after 9.29 S, given to two
        // decimals, so the chance is checked to the slope times half a hundredth.
        let memory = Memory::from_parts(1000.0, 5.0, Day(0)).expect("in range");
        for (days, chance) in [
            (1000, 0.90),
            (400, 0.95),
            (1910, 0.85),
            (3320, 0.80),
            (9290, 0.70),
        ] {
            let got = memory.retrievability(Day(days));
            assert!((got - chance).abs() < 1e-3, "{got} after {days} days");
        }
    }

    #[test]
    fn gaps_are_one_to_fourteen_days() {
        let mut memory = None;
        let mut day = Day(0);
        for _ in 0..6 {
            let next = Memory::step(memory, Recall::Firm, day);
            let gap = next.due_day().since(day);
            assert!((1..=14).contains(&gap), "a gap of {gap} days");
            day = next.due_day();
            memory = Some(next);
        }
        assert_eq!(memory.map(|m| m.due_day().since(m.last_day())), Some(14));
        for _ in 0..5 {
            let next = Memory::step(memory, Recall::Lost, day);
            assert!(next.due_day() > day);
            day = day.plus(1);
            memory = Some(next);
        }
        let late = Memory::step(memory, Recall::Shaky, day.plus(700));
        assert!(late.stability().is_finite() && late.due_day() > late.last_day());
    }

    #[test]
    fn a_calendar_that_goes_back_is_a_gap_of_nothing() {
        let memory = Memory::step(None, Recall::Firm, Day(10));
        assert_eq!(memory.retrievability(Day(3)), 1.0);
        let again = Memory::step(Some(memory), Recall::Firm, Day(3));
        let same_day = Memory::step(Some(memory), Recall::Firm, Day(10));
        assert_eq!(again.stability(), same_day.stability());
    }

    #[test]
    fn parts_out_of_range_are_refused() {
        for (stability, difficulty) in [
            (f32::NAN, 5.0),
            (0.0, 5.0),
            (f32::INFINITY, 5.0),
            (3.0, 0.5),
            (3.0, f32::NAN),
        ] {
            assert_eq!(
                Memory::from_parts(stability, difficulty, Day(0)),
                None,
                "{stability} {difficulty}"
            );
        }
    }
}
