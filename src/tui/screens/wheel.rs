//! The cycle as a wheel: counts round a circle, the figures of the layers drawn between them.

use std::f64::consts::TAU;

use crate::rhythm::{Layer, Pulse};

/// Columns and rows of the wheel. A row is about as high as two columns are wide.
pub(super) const SIZE: (usize, usize) = (29, 11);
/// Half the width and half the height of the circle of counts.
const RADII: (f64, f64) = (12.0, 5.0);

/// The wheel of `counts`, with a figure for each layer drawn in its sign, and brackets round the
/// count on which the playhead is.
pub(super) fn lines(
    counts: &[String],
    figures: &[(Layer, char)],
    here: Option<usize>,
) -> Vec<String> {
    let mut cells = vec![vec![' '; SIZE.0]; SIZE.1];
    let n_pulses = counts.len().max(1);
    for (layer, sign) in figures {
        let corners: Vec<(f64, f64)> = layer
            .pulses()
            .map(Pulse::idx)
            .map(|idx| place(idx, n_pulses))
            .collect();
        let next = corners.iter().skip(1).chain(corners.first());
        for (from, to) in corners.iter().zip(next) {
            draw_line(&mut cells, *from, *to, *sign);
        }
    }
    for (idx, count) in counts.iter().enumerate() {
        let text = if here == Some(idx) {
            format!("[{count}]")
        } else {
            format!(" {count} ")
        };
        write(&mut cells, place(idx, n_pulses), &text);
    }
    cells
        .into_iter()
        .map(|row| row.into_iter().collect::<String>().trim_end().to_owned())
        .collect()
}

/// Where a pulse stands: the first on top, then with the clock.
#[expect(clippy::cast_precision_loss, reason = "a few pulses and columns")]
fn place(idx: usize, n_pulses: usize) -> (f64, f64) {
    let angle = TAU * idx as f64 / n_pulses as f64;
    let middle = ((SIZE.0 - 1) as f64 / 2.0, (SIZE.1 - 1) as f64 / 2.0);
    (
        middle.0 + RADII.0 * angle.sin(),
        middle.1 - RADII.1 * angle.cos(),
    )
}

fn draw_line(cells: &mut [Vec<char>], from: (f64, f64), to: (f64, f64), sign: char) {
    const STEPS: u8 = 16;
    for step in 1..STEPS {
        let share = f64::from(step) / f64::from(STEPS);
        let at = (
            from.0 + share * (to.0 - from.0),
            from.1 + share * (to.1 - from.1),
        );
        write(cells, at, &sign.to_string());
    }
}

/// Writes a short text with its middle at a place; what lies outside is left out.
#[expect(clippy::cast_possible_truncation, reason = "a place on the screen")]
fn write(cells: &mut [Vec<char>], (x, y): (f64, f64), text: &str) {
    let half = i64::try_from(text.chars().count() / 2).unwrap_or(0);
    let (left, row) = (x.round() as i64 - half, y.round() as i64);
    for (offset, sign) in (0..).zip(text.chars()) {
        let cell = usize::try_from(row).ok().and_then(|row| cells.get_mut(row));
        let column = usize::try_from(left + offset).ok();
        if let Some(cell) = cell
            .zip(column)
            .and_then(|(row, column)| row.get_mut(column))
        {
            *cell = sign;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rhythm::Cycle;

    #[test]
    fn threes_are_a_line_and_twos_a_figure_of_three_corners() {
        let counts: Vec<String> = (1..=6).map(|count| count.to_string()).collect();
        let figures = [
            (Layer::every(Cycle::SIX, 2), '.'),
            (Layer::every(Cycle::SIX, 3), '|'),
        ];
        insta::assert_snapshot!("wheel-of-six", lines(&counts, &figures, Some(2)).join("\n"));
    }

    #[test]
    fn any_number_of_counts_fits() {
        for n in 0..=48 {
            let counts: Vec<String> = (1..=n).map(|count| count.to_string()).collect();
            let lines = lines(&counts, &[], None);
            assert_eq!(lines.len(), SIZE.1);
            assert!(lines.iter().all(|line| line.chars().count() <= SIZE.0));
        }
    }
}
