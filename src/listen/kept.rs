//! Over which parts of a sound a tempo is kept, and how it drifts there. What is played freely before the compás
//! keeps none, and a piece may go on faster. Which of the gaps that come again is the pulse is not asked here.

use std::ops::Range;

use super::again::{again, comb, usual};
use super::units::{index, quantile, real};

/// A part of a sound over which a tempo is kept.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Kept {
    /// Its frames.
    pub(super) frames: Range<usize>,
    /// Those of them that are surely its own: where it begins and ends lies within a window.
    pub(super) sure: Range<usize>,
    /// How probable it is that it keeps a tempo at all.
    pub(super) steady: f64,
    /// How long gaps are about some frames, which rise, against each other; none where that is not known.
    gaps: Vec<(f64, f64)>,
}

/// Seconds of a window in which gaps are looked for, a few cycles, and from one to the next (round figures, as all
/// others here; tried on phrases of the program's own that were laid over free, steady and changing pulses).
const WINDOW: f64 = 8.0;
const HOP: f64 = 2.0;
/// From one gap to the next longer one, as a logarithm.
const STEP: f64 = 0.02;
/// How many steps a tempo drifts at most from one window to the next, and what each costs against how much comes again
/// in the usual window.
const DRIFT: usize = 2;
const DRIFTS: f64 = 0.05;
/// How much of that comes again in a window without a tempo.
const FREE: f64 = 0.3;
/// How much comes again, by [`comb`], in the usual window of what surely keeps a tempo: steady pieces had 0.43 there and
/// more, and free ones 0.17 and less, phrases of the program's own and melodies by rule.
const STEADY: f64 = 0.4;
/// What it costs to go to another tempo, and to begin one or give it up.
const CHANGES: f64 = 3.0;
const STOPS: f64 = 0.5;
/// Windows of the shortest part, and as many without a tempo between two with the same are none: much rings there.
const LEAST: usize = 5;
const DIPS: usize = 3;
/// How much more usual gaps count.
const SHARE_USUAL: f64 = 0.3;
/// Ratios of gaps that are multiples of one pulse, of which now this and now that stands out, and how far off they may
/// be, as logarithms. A tempo that changes so is not told from that.
const MULTIPLES: [f64; 6] = [0.5, 2.0, 1.0 / 3.0, 3.0, 1.5, 2.0 / 3.0];
const NEAR: f64 = 0.025;

impl Kept {
    /// All of a sound of so many frames.
    pub(super) fn all_of(n_frames: usize) -> Self {
        Self {
            frames: 0..n_frames,
            sure: 0..n_frames,
            steady: 1.0,
            gaps: Vec::new(),
        }
    }

    /// How long a gap is about a frame against what is usual in this part.
    pub(super) fn against_usual(&self, frame: f64) -> f64 {
        let next = self.gaps.partition_point(|(at, _)| *at <= frame);
        let before = next.checked_sub(1).and_then(|before| self.gaps.get(before));
        match (before, self.gaps.get(next)) {
            (Some((from, a)), Some((until, b))) => a + (b - a) * (frame - from) / (until - from),
            (Some((_, gap)), None) | (None, Some((_, gap))) => *gap,
            (None, None) => 1.0,
        }
    }
}

/// The parts of a sound that keep a tempo, by how its onsets come again after gaps of this range in seconds; all of it
/// as one where it is short, or where none is kept anywhere.
pub(super) fn kept(onsets: &[f64], rate: f64, range: (f64, f64)) -> Vec<Kept> {
    let (window, hop) = (index(WINDOW * rate), index(HOP * rate));
    if onsets.len() < 2 * window {
        return vec![Kept::all_of(onsets.len())];
    }
    let gap_of = |nth: usize| range.0 * (STEP * real(nth)).exp();
    let n_gaps = index((range.1 / range.0).ln() / STEP);
    let row = |window: &[f64]| -> Vec<f64> {
        let again = again(window, index(4.0 * range.1 * rate) + 2);
        let weight = |gap: f64| 1.0 - SHARE_USUAL + SHARE_USUAL * usual(gap);
        let score = |gap: f64| weight(gap) * comb(&again, rate, gap);
        (0..n_gaps).map(|nth| score(gap_of(nth))).collect()
    };
    let rows: Vec<Vec<f64>> = onsets.windows(window).step_by(hop).map(row).collect();
    let runs: Vec<Run> = runs(&settled(&leading(&rows), gap_of), gap_of)
        .into_iter()
        .filter(|run| run.gaps.len() >= LEAST)
        .collect();
    // The middle of a window.
    let middle = |nth: usize| nth * hop + window / 2;
    // Where one part goes over into the next, unless more than a dip lies between.
    let meets = |pair: [Option<&Run>; 2]| {
        let [Some(before), Some(after)] = pair else {
            return None;
        };
        let is_dip = after.begins - before.ends() <= DIPS;
        is_dip.then(|| middle(before.ends() - 1).midpoint(middle(after.begins)))
    };
    let part = |(at, run): (usize, &Run)| {
        let (begins, ends) = (run.begins, run.ends());
        let before = at.checked_sub(1).and_then(|before| runs.get(before));
        let (from, sure_from) = match begins {
            0 => (0, 0),
            _ => {
                let from = meets([before, Some(run)]).unwrap_or(middle(begins));
                (from, from + hop)
            }
        };
        let (until, sure_until) = match ends == rows.len() {
            true => (onsets.len(), onsets.len()),
            false => {
                let until = meets([Some(run), runs.get(at + 1)]).unwrap_or(middle(ends - 1));
                (until, until - hop)
            }
        };
        let usual = quantile(&run.gaps, 0.5);
        let gaps = run.gaps.iter().zip(begins..);
        Kept {
            frames: from..until,
            sure: sure_from..sure_until,
            steady: steady(&rows[begins..ends]),
            gaps: gaps
                .map(|(gap, nth)| (real(middle(nth)), gap / usual))
                .collect(),
        }
    };
    let parts: Vec<Kept> = runs.iter().enumerate().map(part).collect();
    match parts.is_empty() {
        true => vec![Kept {
            steady: steady(&rows),
            ..Kept::all_of(onsets.len())
        }],
        false => parts,
    }
}

/// How probable it is that these windows keep a tempo.
fn steady(rows: &[Vec<f64>]) -> f64 {
    (quantile(&most(rows), 0.5) / STEADY).min(1.0)
}

/// What comes again most in each window.
fn most(rows: &[Vec<f64>]) -> Vec<f64> {
    let most = |row: &Vec<f64>| row.iter().copied().fold(0.0, f64::max);
    rows.iter().map(most).collect()
}

/// Windows on end that keep a tempo.
#[derive(Clone, Debug, PartialEq)]
struct Run {
    /// The first of them.
    begins: usize,
    /// The gap in each, as multiples of one pulse.
    gaps: Vec<f64>,
}

impl Run {
    fn ends(&self) -> usize {
        self.begins + self.gaps.len()
    }
}

/// Windows on end that keep a tempo, by the gap that leads in each.
fn runs(gaps: &[Option<usize>], gap_of: impl Fn(usize) -> f64) -> Vec<Run> {
    let mut runs: Vec<Run> = Vec::new();
    let mut last: Option<(usize, f64)> = None;
    // Which multiple of what led at the beginning of its run leads now.
    let mut multiple = 1.0;
    for (nth, gap) in gaps.iter().enumerate() {
        let Some(gap) = gap.map(&gap_of) else {
            continue;
        };
        let goes_on = last.and_then(|(before, last)| {
            let n_dips = nth - before - 1;
            Some((n_dips, multiple_of(gap / last, n_dips)?))
        });
        match (goes_on, runs.last_mut()) {
            (Some((n_dips, more)), Some(run)) => {
                multiple *= more;
                let now = gap / multiple;
                run.gaps.extend(vec![now; n_dips + 1]);
            }
            _ => {
                multiple = 1.0;
                runs.push(Run {
                    begins: nth,
                    gaps: vec![gap],
                });
            }
        }
        last = Some((nth, gap));
    }
    runs
}

/// The same with what is too short for a part and lies right between two as part of the first: a tempo that leads for
/// a moment leaves no hole.
fn settled(gaps: &[Option<usize>], gap_of: impl Fn(usize) -> f64 + Copy) -> Vec<Option<usize>> {
    let mut settled = gaps.to_vec();
    let runs = runs(gaps, gap_of);
    for three in runs.windows(3) {
        let [before, run, after] = three else {
            continue;
        };
        let is_short = run.gaps.len() < LEAST && before.gaps.len() >= LEAST;
        let is_beside = run.begins - before.ends() <= DIPS && after.begins - run.ends() <= DIPS;
        if is_short && is_beside {
            settled[before.ends()..run.ends()].fill(gaps[before.ends() - 1]);
        }
    }
    settled
}

/// Which multiple of the gap before so many windows without a tempo the one after them is; `None` where the tempo is
/// another.
fn multiple_of(ratio: f64, n_dips: usize) -> Option<f64> {
    if n_dips > DIPS {
        return None;
    }
    if ratio.ln().abs() < (real(DRIFT) + 0.5) * STEP {
        return Some(1.0);
    }
    let near = |multiple: &f64| (ratio / multiple).ln().abs() < NEAR;
    MULTIPLES.into_iter().find(near)
}

/// Which of the gaps leads in each window on the best way through all; none where no tempo is kept.
fn leading(rows: &[Vec<f64>]) -> Vec<Option<usize>> {
    let n = rows.first().map_or(0, Vec::len);
    // Of windows in which something begins.
    let mut begins = most(rows);
    begins.retain(|most| *most > 0.0);
    let usual = quantile(&begins, 0.5);
    if usual == 0.0 {
        return vec![None; rows.len()];
    }
    // What is best up to here for each gap, and at the end for none of them.
    let mut best = vec![0.0; n + 1];
    let mut ways: Vec<Vec<usize>> = Vec::new();
    let by_best = |a: &(f64, usize), b: &(f64, usize)| a.0.total_cmp(&b.0);
    for row in rows {
        let all = best[..n].iter().enumerate();
        let leads = all.map(|(gap, best)| (*best, gap)).max_by(by_best);
        let (led, leads) = leads.unwrap_or_default();
        let way_to = |gap: usize| {
            let drifts = (gap.saturating_sub(DRIFT)..=gap + DRIFT).filter(|from| *from < n);
            let drifts = drifts.map(|from| {
                let steps = real(from.abs_diff(gap));
                (best[from] - DRIFTS * usual * steps, from)
            });
            let changes = [(led - CHANGES * usual, leads), (best[n] - STOPS * usual, n)];
            drifts.chain(changes).max_by(by_best).unwrap_or_default()
        };
        let to_none = [(best[n], n), (led - STOPS * usual, leads)];
        let to_none = to_none.into_iter().max_by(by_best).unwrap_or_default();
        let all: Vec<(f64, usize)> = (0..n).map(way_to).chain([to_none]).collect();
        let gains = row.iter().copied().chain([FREE * usual]);
        best = all
            .iter()
            .zip(gains)
            .map(|((so_far, _), gain)| so_far + gain)
            .collect();
        ways.push(all.into_iter().map(|(_, from)| from).collect());
    }
    let last = (0..=n).max_by(|a, b| best[*a].total_cmp(&best[*b]));
    let mut at = last.unwrap_or(n);
    let back = ways.iter().rev().map(|way| {
        let here = at;
        at = way[here];
        (here < n).then_some(here)
    });
    let mut leading: Vec<Option<usize>> = back.collect();
    leading.reverse();
    leading
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{RngExt as _, SeedableRng as _};

    const RATE: f64 = 128.0;
    const RANGE: (f64, f64) = (0.12, 0.9);

    /// Onsets at these times, over three frames each, in so many seconds.
    fn onsets(times: &[f64], seconds: f64) -> Vec<f64> {
        let mut onsets = vec![0.0; index(seconds * RATE)];
        for time in times {
            let at = index((time * RATE).round());
            for (off, weight) in [(0, 0.6), (1, 1.0), (2, 0.6)] {
                if let Some(onset) = onsets.get_mut((at + off).saturating_sub(1)) {
                    *onset = weight;
                }
            }
        }
        onsets
    }

    fn steady(gap: f64, from: f64, until: f64) -> Vec<f64> {
        let n = index((until - from) / gap);
        (0..n).map(|nth| from + gap * real(nth)).collect()
    }

    /// Strokes of which none follows the other as those before did.
    fn free(from: f64, until: f64) -> Vec<f64> {
        let mut dice = rand_chacha::ChaCha8Rng::seed_from_u64(5);
        let mut now = from;
        let next = std::iter::repeat_with(|| {
            now += dice.random_range(0.15..0.9);
            now
        });
        next.take_while(|time| *time < until).collect()
    }

    fn seconds(part: &Kept) -> [f64; 2] {
        [part.frames.start, part.frames.end].map(|frame| real(frame) / RATE)
    }

    #[test]
    fn what_keeps_its_tempo_from_end_to_end_is_one_part() {
        for gap in [0.2, 0.4, 0.7] {
            let onsets = onsets(&steady(gap, 0.0, 60.0), 60.0);
            let [part] = &kept(&onsets, RATE, RANGE)[..] else {
                panic!("{gap}: one part");
            };
            assert_eq!(part.frames, 0..onsets.len(), "{gap}");
            let even = part.against_usual(20.0 * RATE);
            assert!((even - 1.0).abs() < 0.021, "{gap}: {even}");
        }
    }

    #[test]
    fn a_free_beginning_and_a_free_end_are_left_out() {
        let times = [free(0.0, 25.0), steady(0.3, 25.0, 70.0), free(70.0, 95.0)].concat();
        let parts = kept(&onsets(&times, 95.0), RATE, RANGE);
        let [part] = &parts[..] else {
            panic!("one part: {parts:?}");
        };
        let [from, until] = seconds(part);
        assert!((from - 25.0).abs() < 3.0, "{from}");
        assert!((until - 70.0).abs() < 3.0, "{until}");
    }

    #[test]
    fn what_is_free_all_through_hardly_keeps_a_tempo() {
        for part in kept(&onsets(&free(0.0, 60.0), 60.0), RATE, RANGE) {
            assert!(part.steady < 0.6, "{part:?}");
        }
        let steady = onsets(&steady(0.3, 0.0, 60.0), 60.0);
        assert!(
            kept(&steady, RATE, RANGE)
                .iter()
                .all(|part| part.steady == 1.0)
        );
    }

    #[test]
    fn another_tempo_is_another_part_and_twice_as_many_strokes_are_not() {
        let faster = [steady(0.4, 0.0, 40.0), steady(0.33, 40.0, 80.0)].concat();
        let parts = kept(&onsets(&faster, 80.0), RATE, RANGE);
        let [slow, fast] = &parts[..] else {
            panic!("two parts: {parts:?}");
        };
        assert_eq!(slow.frames.end, fast.frames.start);
        let [_, turns] = seconds(slow);
        assert!((turns - 40.0).abs() < 3.0, "{turns}");
        let denser = [steady(0.4, 0.0, 40.0), steady(0.2, 40.0, 80.0)].concat();
        assert_eq!(kept(&onsets(&denser, 80.0), RATE, RANGE).len(), 1);
    }

    #[test]
    fn a_few_strokes_at_another_tempo_leave_no_hole() {
        // Twelve seconds of another gap fill windows of their own.
        let parts = [(0.4, 0.0, 40.0), (0.29, 40.0, 50.0), (0.4, 50.0, 90.0)];
        let times = parts.map(|(gap, from, until)| steady(gap, from, until));
        let onsets = onsets(&times.concat(), 90.0);
        let parts = kept(&onsets, RATE, RANGE);
        assert_eq!(parts.first().map(|part| part.frames.start), Some(0));
        assert_eq!(parts.last().map(|part| part.frames.end), Some(onsets.len()));
        let meet = |pair: &[Kept]| pair[0].frames.end == pair[1].frames.start;
        assert!(parts.windows(2).all(meet), "{parts:?}");
    }

    #[test]
    fn a_drift_is_told_of_one_part() {
        let mut now = 0.0;
        let times: Vec<f64> = std::iter::repeat_with(|| {
            now += 0.35 - 0.001 * now;
            now
        })
        .take_while(|time| *time < 80.0)
        .collect();
        let parts = kept(&onsets(&times, 80.0), RATE, RANGE);
        let [part] = &parts[..] else {
            panic!("one part: {parts:?}");
        };
        let ratio = part.against_usual(70.0 * RATE) / part.against_usual(10.0 * RATE);
        // By hand: 0.28 s against 0.34 s.
        assert!((ratio - 0.28 / 0.34).abs() < 0.03, "{ratio}");
    }

    #[test]
    fn silence_and_what_is_short_are_one_part() {
        for seconds in [0.0, 3.0, 15.0, 60.0] {
            let parts = kept(&onsets(&[], seconds), RATE, RANGE);
            assert_eq!(parts.len(), 1);
            assert_eq!(parts[0].frames, 0..index(seconds * RATE));
        }
    }
}
