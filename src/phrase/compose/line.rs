//! Contours of a single line: the tops of its figures on the marks, falling between them.

use crate::phrase::cells::{FALLS, FIGURE_TAILS};
use crate::world::Dice;

/// Where tops lie in the scale, in steps over the final.
const MIDDLE: i32 = 5;
const COMPASS: i32 = 3;

/// Scale steps of an even line, one a pulse, with a top on every mark. Every top is reached by a
/// rise of about `rise` semitones from the note before it, and left downwards.
///
/// The first fall is drawn alike whatever the grouping, so that the first interval gives nothing
/// away.
pub(super) fn steps(is_mark: &[bool], rise: f64, dice: &mut Dice) -> Vec<i32> {
    let rise = scale_steps(rise);
    let marks: Vec<usize> = (0..is_mark.len())
        .filter(|idx| is_mark.get(*idx) == Some(&true))
        .collect();
    let first_fall = i32::try_from(dice.between(i64::from(rise - 1).max(1), i64::from(rise)))
        .expect("at most an octave");
    let mut draw_fall = || dice.pick(&FALLS).copied().unwrap_or([6; 5]);
    // One shape, restated at other heights, and another for the close.
    let (stated, varied) = (draw_fall(), draw_fall());
    let mut top = MIDDLE + draw(dice, -1, 1);
    let mut line = vec![0; marks.first().copied().unwrap_or(is_mark.len())];
    for (place, here) in marks.iter().enumerate() {
        let next = marks.get(place + 1).copied().unwrap_or(is_mark.len());
        let fall = (place == 0).then_some(first_fall);
        let next_top = next_top(top, next - here, rise, fall, dice);
        let shape = if place + 1 == marks.len() {
            varied
        } else {
            stated
        };
        line.extend(figure(top, next_top - rise, next - here, fall, shape));
        top = next_top;
    }
    line
}

/// The top of the next figure: near this one, within the compass, and low enough for a fall between.
fn next_top(top: i32, length: usize, rise: i32, fall: Option<i32>, dice: &mut Dice) -> i32 {
    let highest = (top + rise - fall.unwrap_or(1)).min(MIDDLE + COMPASS);
    match (length, fall) {
        // The second note is also the last: the next top follows from it.
        (2, Some(fall)) => top - fall + rise,
        _ => draw(dice, (top - 2).max(MIDDLE - COMPASS), highest.min(top + 2)),
    }
}

/// One figure of so many notes from its top to its last note, in this shape. A given first fall goes
/// before the shape.
fn figure(top: i32, last: i32, length: usize, fall: Option<i32>, shape: [i32; 5]) -> Vec<i32> {
    let last = last.min(top - 1);
    let mut here = top;
    let mut notes = vec![top];
    let n_inner = length.saturating_sub(2);
    for place in 0..n_inner {
        // A longer figure takes the whole shape, stretched.
        let read = if n_inner <= shape.len() {
            place
        } else {
            place * shape.len() / n_inner
        };
        let sixths = shape.get(read).copied().unwrap_or(6);
        let wanted = match fall.filter(|_| place == 0) {
            Some(fall) => top - fall,
            None => top - (sixths * (top - last) + 3) / 6,
        };
        // A top is left downwards, and what follows never rises.
        here = wanted.clamp(last, here.min(top - 1));
        notes.push(here);
    }
    if length > 1 {
        notes.push(last);
    }
    notes
}

/// Scale steps of an even line, one a pulse, in which a figure from mark to mark comes again, at one
/// height within a cycle of `n_cycle` pulses and at another in the next. Each of its inner notes is
/// kept with the probability `share`, else drawn anew.
pub(super) fn figures(is_mark: &[bool], n_cycle: usize, share: f64, dice: &mut Dice) -> Vec<i32> {
    let mut draw_tail = || dice.pick(&FIGURE_TAILS).copied().unwrap_or([1; 5]);
    let (stated, varied) = (draw_tail(), draw_tail());
    let n_cycles = is_mark.len() / n_cycle.max(1);
    let mut top = MIDDLE;
    let mut since_mark = 0;
    let mut is_restated = false;
    let mut line = Vec::with_capacity(is_mark.len());
    for (idx, is_mark) in is_mark.iter().enumerate() {
        if idx.is_multiple_of(n_cycle) {
            top = MIDDLE + draw(dice, -2, 2);
            is_restated = false;
        } else if *is_mark {
            is_restated = true;
        }
        since_mark = if *is_mark { 0 } else { since_mark + 1 };
        // Another figure in the last cycle.
        let tail = if idx / n_cycle + 1 == n_cycles {
            varied
        } else {
            stated
        };
        line.push(match since_mark {
            0 => top,
            n => {
                let under = tail.get((n - 1) % tail.len()).copied().unwrap_or(1);
                let is_kept = !is_restated || dice.real(0.0, 1.0) < share;
                top - if is_kept { under } else { draw(dice, 1, 4) }
            }
        });
    }
    line
}

fn draw(dice: &mut Dice, low: i32, high: i32) -> i32 {
    let drawn = dice.between(i64::from(low.min(high)), i64::from(high));
    i32::try_from(drawn).expect("within the compass")
}

/// Scale steps that come nearest to so many semitones: seven steps make twelve semitones.
#[expect(
    clippy::cast_possible_truncation,
    reason = "clamped to an octave before the cast"
)]
fn scale_steps(semitones: f64) -> i32 {
    (semitones * 7.0 / 12.0).round().clamp(1.0, 7.0) as i32
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::world::Seed;

    #[test]
    fn a_whole_share_restates_the_figure_note_for_note() {
        for seed in 0..200 {
            for every in [2, 3] {
                let is_mark: Vec<bool> = (0..24).map(|idx| idx % every == 0).collect();
                let line = figures(&is_mark, 6, 1.0, &mut Seed(seed).dice());
                for cycle in line.chunks_exact(6) {
                    let mut statements = cycle.chunks_exact(every);
                    let first = statements.next().expect("a first statement");
                    assert!(statements.all(|again| again == first), "{line:?}");
                    assert!(first[1..].iter().all(|step| *step < first[0]), "{line:?}");
                }
            }
        }
    }

    #[test]
    fn tops_stand_on_the_marks_and_nowhere_else() {
        for (n, every) in [(0, 3), (1, 2), (2, 6), (3, 12)] {
            for seed in 0..500 {
                let is_mark: Vec<bool> = (0..24).map(|idx| idx % every == 0).collect();
                let rise = 1.0 + 0.03 * seed as f64;
                let line = steps(&is_mark, rise, &mut Seed(seed).child("line", n).dice());
                assert_eq!(line.len(), 24);
                for idx in 1..23 {
                    let top = line[idx] > line[idx - 1] && line[idx] > line[idx + 1];
                    assert_eq!(top, is_mark[idx], "{line:?} at {idx}");
                }
            }
        }
    }
}
