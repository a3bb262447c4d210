//! Contours of a single line: the tops of its figures on the marks, falling between them.

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
    let mut top = MIDDLE + draw(dice, -1, 1);
    let mut line = vec![0; marks.first().copied().unwrap_or(is_mark.len())];
    for (place, here) in marks.iter().enumerate() {
        let next = marks.get(place + 1).copied().unwrap_or(is_mark.len());
        let fall = (place == 0).then_some(first_fall);
        let (figure, next_top) = figure(top, next - here, rise, fall, dice);
        line.extend(figure);
        top = next_top;
    }
    line
}

/// One figure from its top downwards, and the top of the next.
fn figure(
    top: i32,
    length: usize,
    rise: i32,
    fall: Option<i32>,
    dice: &mut Dice,
) -> (Vec<i32>, i32) {
    let highest_next = (top + rise - fall.unwrap_or(1)).min(MIDDLE + COMPASS);
    let next_top = match (length, fall) {
        // The second note is also the last: the next top follows from it.
        (2, Some(fall)) => top - fall + rise,
        _ => draw(
            dice,
            (top - 2).max(MIDDLE - COMPASS),
            highest_next.min(top + 2),
        ),
    };
    let last = next_top - rise;
    let mut notes = vec![top];
    let mut here = top - fall.unwrap_or_else(|| draw(dice, 1, (top - last).max(1)));
    while notes.len() + 1 < length {
        notes.push(here.max(last));
        here = draw(dice, last.min(here), here);
    }
    if notes.len() < length {
        notes.push(last.min(top - 1));
    }
    (notes, next_top)
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
    fn tops_stand_on_the_marks_and_nowhere_else() {
        for (n, every) in [(0, 3), (1, 2), (2, 6)] {
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
