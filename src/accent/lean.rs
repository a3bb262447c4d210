//! What a profile states, and by how much.
//!
//! Threes and twos share the first pulse of a cycle, so it proves nothing. In six only pulses 2, 3
//! and 4 decide (counts 3, 4, 5); in any cycle that both divide, the pulses of exactly one of them.

use crate::rhythm::{Cycle, Feel, Layer};

use super::Profile;

/// What one voice says in one cycle, and by how many accent units.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Lean {
    /// Threes, by this margin.
    Threes(f64),
    /// Twos, by this margin.
    Twos(f64),
    /// Nothing: the deciding pulses differ by no more than this.
    Silent(f64),
    /// Something else: accents that belong to neither, or too weak a difference.
    Unclear,
}

/// How large differences must be to count.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Floor {
    /// The least by which every pulse of threes stands over the pulses of twos alone.
    pub threes: f64,
    /// The least by which every pulse of twos stands over the pulses of threes alone.
    pub twos: f64,
    /// The most by which deciding pulses differ in a voice that says nothing.
    pub silent: f64,
}

impl Floor {
    /// The floor at cues of `level_db`: two thirds of the units asked for, at most those with which
    /// a full cue is called clear.
    pub fn at_level(level_db: f64) -> Self {
        let asked = super::size::of_level(level_db) * 2.0 / 3.0;
        Self {
            threes: asked.min(0.4),
            twos: asked.min(0.3),
            silent: (asked / 2.0).min(0.2),
        }
    }
}

/// What `profile` says.
pub fn lean(profile: &Profile, floor: Floor) -> Lean {
    let decided = Deciding::of(profile);
    let threes = decided.least_threes - decided.most_twos.max(decided.most_neither);
    let twos = decided.least_twos - decided.most_threes.max(decided.most_neither);
    let spread = decided.most() - decided.least();
    if threes >= floor.threes {
        Lean::Threes(threes)
    } else if twos >= floor.twos {
        Lean::Twos(twos)
    } else if spread <= floor.silent {
        Lean::Silent(spread)
    } else {
        Lean::Unclear
    }
}

/// The least and most units on the pulses that tell one grouping from the other.
struct Deciding {
    least_threes: f64,
    most_threes: f64,
    least_twos: f64,
    most_twos: f64,
    most_neither: f64,
}

impl Deciding {
    fn of(profile: &Profile) -> Self {
        let cycle = profile.cycle();
        let (threes, twos) = (Layer::every(cycle, 3), Layer::every(cycle, 2));
        let mut found = Self {
            least_threes: f64::INFINITY,
            most_threes: 0.0,
            least_twos: f64::INFINITY,
            most_twos: 0.0,
            most_neither: 0.0,
        };
        for pulse in cycle.pulses() {
            let units = profile.at(pulse);
            match (threes.contains(pulse), twos.contains(pulse)) {
                (true, false) => {
                    found.least_threes = found.least_threes.min(units);
                    found.most_threes = found.most_threes.max(units);
                }
                (false, true) => {
                    found.least_twos = found.least_twos.min(units);
                    found.most_twos = found.most_twos.max(units);
                }
                (false, false) => found.most_neither = found.most_neither.max(units),
                (true, true) => {}
            }
        }
        found
    }

    fn most(&self) -> f64 {
        self.most_threes.max(self.most_twos).max(self.most_neither)
    }

    fn least(&self) -> f64 {
        self.least_threes.min(self.least_twos)
    }
}

/// By how much voices state one feel and nothing else in every cycle, threes or twos: the least
/// margin of any speaking voice in any cycle. `voices` holds one row of cycles a voice. `None` when
/// no voice speaks, or one speaks otherwise.
pub fn steady_margin(voices: &[Vec<Profile>], feel: Feel, floor: Floor) -> Option<f64> {
    let mut margin = None;
    for profile in voices.iter().flatten() {
        let spoken = match (lean(profile, floor), feel) {
            (Lean::Threes(by), Feel::Threes) | (Lean::Twos(by), Feel::Twos) => by,
            (Lean::Silent(_), _) => continue,
            _ => return None,
        };
        margin = Some(margin.map_or(spoken, |least: f64| least.min(spoken)));
    }
    let n_cycles = voices.first().map_or(0, Vec::len);
    let stated = (0..n_cycles).all(|idx| {
        voices.iter().any(|cycles| {
            cycles
                .get(idx)
                .is_some_and(|p| matches!(lean(p, floor), Lean::Threes(_) | Lean::Twos(_)))
        })
    });
    margin.filter(|_| stated)
}

/// By how much one voice states threes while another states twos, in every cycle: the least margin
/// of any speaking voice. `None` when a cycle has only one of them, or a voice changes sides.
pub fn both_margin(voices: &[Vec<Profile>], floor: Floor) -> Option<f64> {
    let sides: Vec<Option<(Feel, f64)>> = voices
        .iter()
        .map(|cycles| side_of(cycles, floor))
        .collect::<Result<_, Unsteady>>()
        .ok()?;
    let least = |feel: Feel| {
        let margins = sides
            .iter()
            .flatten()
            .filter(|(side, _)| *side == feel)
            .map(|(_, by)| *by);
        margins.reduce(f64::min)
    };
    Some(least(Feel::Threes)?.min(least(Feel::Twos)?))
}

struct Unsteady;

/// The one side that a voice takes through all cycles, or that it takes none.
fn side_of(cycles: &[Profile], floor: Floor) -> Result<Option<(Feel, f64)>, Unsteady> {
    let one = std::slice::from_ref;
    if cycles
        .iter()
        .all(|profile| matches!(lean(profile, floor), Lean::Silent(_)))
    {
        return Ok(None);
    }
    let row = cycles.to_vec();
    for feel in [Feel::Threes, Feel::Twos] {
        if let Some(margin) = steady_margin(one(&row), feel, floor) {
            return Ok(Some((feel, margin)));
        }
    }
    Err(Unsteady)
}

/// By how much the voices stay under what would decide: the silent floor less the largest
/// difference anywhere. `None` when a voice speaks.
pub fn either_margin(voices: &[Vec<Profile>], floor: Floor) -> Option<f64> {
    let mut margin = floor.silent;
    for profile in voices.iter().flatten() {
        match lean(profile, floor) {
            Lean::Silent(spread) => margin = margin.min(floor.silent - spread),
            _ => return None,
        }
    }
    Some(margin)
}

/// By how much voices state `layer` and nothing else in every cycle: the least by which, in a voice
/// that speaks, every pulse of it stands over every other pulse. The first pulse, which belongs to
/// most groupings, is left out. `None` when no voice speaks, or one states something else.
pub fn layer_margin(voices: &[Vec<Profile>], layer: Layer, floor: Floor) -> Option<f64> {
    let n_cycles = voices.first().map_or(0, Vec::len);
    let mut margin: Option<f64> = None;
    for idx in 0..n_cycles {
        let mut is_stated = false;
        for profile in voices.iter().filter_map(|cycles| cycles.get(idx)) {
            let (on, off) = on_and_off(profile, layer);
            let by = on.0 - off.1;
            if by >= floor.twos {
                is_stated = true;
                margin = Some(margin.map_or(by, |least| least.min(by)));
            } else if on.1.max(off.1) - on.0.min(off.0) > floor.silent {
                return None;
            }
        }
        if !is_stated {
            return None;
        }
    }
    margin
}

/// Least and most units on the pulses of `layer`, and on the others; the first pulse is left out.
fn on_and_off(profile: &Profile, layer: Layer) -> ((f64, f64), (f64, f64)) {
    let of = |wanted: bool| {
        let pulses = profile.cycle().pulses().skip(1);
        let units = pulses
            .filter(|p| layer.contains(*p) == wanted)
            .map(|p| profile.at(p));
        units.fold((f64::INFINITY, 0.0), |(least, most), units| {
            (f64::min(least, units), f64::max(most, units))
        })
    };
    (of(true), of(false))
}

/// By how many units the first pulse stands over every other: against each rotation of the cycle.
pub fn start_margin(whole: &Profile) -> f64 {
    let mut pulses = whole.cycle().pulses();
    let first = pulses.next().map_or(0.0, |pulse| whole.at(pulse));
    pulses
        .map(|pulse| first - whole.at(pulse))
        .fold(f64::INFINITY, f64::min)
}

/// How well a clapping fits a profile: the correlation (Pearson) of its strokes with the accents,
/// -1 to 1; 0 when the accents are all alike.
pub fn fit(profile: &Profile, clapping: Layer) -> f64 {
    let cycle: Cycle = profile.cycle();
    let n = cycle.pulses().fold(0.0, |n, _| n + 1.0);
    let stroke = |pulse| if clapping.contains(pulse) { 1.0 } else { 0.0 };
    let mean_units = profile.units().iter().sum::<f64>() / n;
    let mean_strokes = cycle.pulses().map(stroke).sum::<f64>() / n;
    let (mut both, mut units, mut strokes) = (0.0, 0.0, 0.0);
    for pulse in cycle.pulses() {
        let (u, s) = (profile.at(pulse) - mean_units, stroke(pulse) - mean_strokes);
        both += u * s;
        units += u * u;
        strokes += s * s;
    }
    if units * strokes > 0.0 {
        both / (units * strokes).sqrt()
    } else {
        0.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const FLOOR: Floor = Floor {
        threes: 0.4,
        twos: 0.3,
        silent: 0.2,
    };

    fn six(units: [f64; 6]) -> Profile {
        Profile::new(Cycle::SIX, &units).expect("six finite values")
    }

    #[track_caller]
    fn check(units: [f64; 6], expected: &str) {
        let found = match lean(&six(units), FLOOR) {
            Lean::Threes(by) => format!("threes {by:.1}"),
            Lean::Twos(by) => format!("twos {by:.1}"),
            Lean::Silent(by) => format!("silent {by:.1}"),
            Lean::Unclear => "unclear".to_owned(),
        };
        assert_eq!(found, expected);
    }

    #[test]
    fn only_counts_three_four_and_five_decide() {
        check([0.9, 0.0, 0.0, 0.9, 0.0, 0.0], "threes 0.9");
        check([0.0, 0.0, 0.0, 0.9, 0.0, 0.0], "threes 0.9");
        check([0.9, 0.0, 0.9, 0.0, 0.9, 0.0], "twos 0.9");
        check([0.9, 0.0, 0.0, 0.0, 0.0, 0.0], "silent 0.0");
        check([0.9, 0.0, 0.0, 0.9, 0.9, 0.0], "unclear");
        check([0.9, 0.9, 0.0, 0.9, 0.0, 0.0], "unclear");
        check([0.0, 0.9, 0.0, 0.9, 0.0, 0.9], "unclear");
    }

    #[test]
    fn both_needs_two_voices_of_opposite_sides() {
        let threes = vec![six([0.7, 0.0, 0.0, 0.7, 0.0, 0.0]); 2];
        let twos = vec![six([0.9, 0.0, 0.9, 0.0, 0.9, 0.0]); 2];
        let silent = vec![six([0.5, 0.0, 0.0, 0.0, 0.0, 0.0]); 2];
        assert_eq!(
            both_margin(&[threes.clone(), twos.clone(), silent.clone()], FLOOR),
            Some(0.7)
        );
        assert_eq!(both_margin(&[threes.clone(), silent.clone()], FLOOR), None);
        assert_eq!(
            steady_margin(&[threes.clone(), twos.clone()], Feel::Threes, FLOOR),
            None
        );
        assert_eq!(
            steady_margin(&[threes, silent.clone()], Feel::Threes, FLOOR),
            Some(0.7)
        );
        assert_eq!(
            either_margin(std::slice::from_ref(&silent), FLOOR),
            Some(0.2)
        );
        assert_eq!(either_margin(&[silent, twos], FLOOR), None);
    }

    #[test]
    fn a_layer_is_stated_by_all_its_pulses_and_no_other() {
        let twelve = |marks: &[usize], units: f64| {
            let value = |idx: &usize| if marks.contains(idx) { units } else { 0.0 };
            let units: Vec<f64> = (0..12).collect::<Vec<_>>().iter().map(value).collect();
            Profile::new(Cycle::TWELVE, &units).expect("twelve finite values")
        };
        let wheel = Layer::of(Cycle::TWELVE, &[0, 3, 6, 8, 10]).expect("a layer");
        let stated = vec![twelve(&[0, 3, 6, 8, 10], 0.7); 2];
        let silent = vec![twelve(&[0], 0.9); 2];
        let other = vec![twelve(&[0, 3, 7, 8, 10], 0.7); 2];
        assert_eq!(
            layer_margin(&[stated.clone(), silent.clone()], wheel, FLOOR),
            Some(0.7)
        );
        assert_eq!(layer_margin(&[silent], wheel, FLOOR), None);
        assert_eq!(layer_margin(&[stated, other.clone()], wheel, FLOOR), None);
        assert_eq!(layer_margin(&[other], wheel, FLOOR), None);
    }

    #[test]
    fn a_mark_on_one_only_fits_both_clappings_alike() {
        let on_one = six([0.9, 0.0, 0.0, 0.0, 0.0, 0.0]);
        assert!(start_margin(&on_one) > 0.8);
        let threes = six([0.9, 0.0, 0.0, 0.9, 0.0, 0.0]);
        assert_eq!(start_margin(&threes), 0.0);
        assert!((fit(&threes, Layer::every(Cycle::SIX, 3)) - 1.0).abs() < 1e-12);
        // Worked by hand: the covariance of {0,3} with {0,2,4} over six pulses is nought.
        assert!(fit(&threes, Layer::every(Cycle::SIX, 2)).abs() < 1e-12);
    }
}
