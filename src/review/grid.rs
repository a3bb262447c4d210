//! A posterior over a grid of thresholds times other parameters.
//!
//! A [`Grid`] holds one weight for each threshold (`W` of them, side by side in memory so that the
//! compiler works on several at once) in each of `ROWS` combinations of the other parameters. It
//! knows nothing of what the parameters mean: a likelihood comes row by row from the caller, so
//! that any psychometric function can drive it.
//!
//! Weights are kept unnormalised with their sum beside them; the next update divides by it on the
//! way. No weight falls below [`FLOOR`] of the whole, which keeps the arithmetic out of the slow
//! range of tiny numbers, lets nothing be ruled out for good, and turns a not-a-number into a small
//! number.

use std::ops::{Add, Div, Mul, Sub};

/// The least weight of a cell, against a sum near one.
const FLOOR: f32 = 1e-20;

/// What a weight must be able to do: `f32` in the program, `f64` where a check needs the digits.
pub(super) trait Weight:
    Copy
    + Add<Output = Self>
    + Sub<Output = Self>
    + Mul<Output = Self>
    + Div<Output = Self>
    + PartialOrd
    + From<f32>
    + Into<f64>
{
}

impl Weight for f32 {}
impl Weight for f64 {}

/// What an answer says of the thresholds of one row: `base + gain · curve`. It is worked out where it is
/// used: an array of it, written an instant before, would stall the processor.
#[derive(Clone, Copy, Debug)]
pub(super) struct Likelihood<'c, T, const W: usize> {
    pub(super) base: T,
    pub(super) gain: T,
    pub(super) curve: &'c [T; W],
}

impl<T: Weight, const W: usize> Likelihood<'_, T, W> {
    fn at(&self, chance: T) -> T {
        self.base + self.gain * chance
    }
}

/// Weights over `W` thresholds in `ROWS` combinations of other parameters.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Grid<T, const W: usize, const ROWS: usize> {
    cells: Box<[[T; W]; ROWS]>,
    /// The sum of each column, row after row, so that stored cells give it back bit for bit.
    columns: [T; W],
    total: T,
}

impl<T: Weight, const W: usize, const ROWS: usize> Grid<T, W, ROWS> {
    /// A grid with the weight that `prior` gives to each row and threshold.
    pub(super) fn new(mut prior: impl FnMut(usize, usize) -> T) -> Self {
        let mut cells = Box::new([[T::from(0.0); W]; ROWS]);
        for (row, weights) in cells.iter_mut().enumerate() {
            for (column, weight) in weights.iter_mut().enumerate() {
                *weight = floored(prior(row, column));
            }
        }
        Self::of_cells(cells)
    }

    fn of_cells(cells: Box<[[T; W]; ROWS]>) -> Self {
        let mut columns = [T::from(0.0); W];
        for weights in cells.iter() {
            add(&mut columns, weights);
        }
        Self {
            cells,
            columns,
            total: sum(&columns),
        }
    }

    /// Moves `blur` of each weight to either neighbour in threshold, where what would leave the grid
    /// stays at its edge, and then multiplies by a likelihood, row by row.
    pub(super) fn update<'c>(&mut self, likelihood: impl Fn(usize) -> Likelihood<'c, T, W>, blur: T)
    where
        T: 'c,
    {
        let scale = T::from(1.0) / self.total;
        let (stay, blur) = ((T::from(1.0) - blur - blur) * scale, blur * scale);
        // Read from a copy: reading what was written an instant ago, askew, stalls the processor.
        let before = *self.cells;
        let mut columns = [T::from(0.0); W];
        for (row, (weights, before)) in self.cells.iter_mut().zip(&before).enumerate() {
            learn_row(weights, before, likelihood(row), stay, blur);
            add(&mut columns, weights);
        }
        self.columns = columns;
        self.total = sum(&columns);
    }

    /// The weights as they stand, to be divided by [`Grid::total`].
    pub(super) fn cells(&self) -> &[[T; W]; ROWS] {
        &self.cells
    }

    /// The sum of all weights.
    pub(super) fn total(&self) -> T {
        self.total
    }

    /// The mean of what `value` gives for each threshold.
    pub(super) fn mean(&self, value: impl Fn(usize) -> f64) -> f64 {
        let total: f64 = self.total.into();
        let weighted = |(column, weight): (usize, &T)| (*weight).into() * value(column);
        self.columns.iter().enumerate().map(weighted).sum::<f64>() / total
    }

    /// The probability of each threshold.
    pub(super) fn marginal(&self) -> [f64; W] {
        let total: f64 = self.total.into();
        self.columns.map(|weight| weight.into() / total)
    }
}

impl<const W: usize, const ROWS: usize> Grid<f32, W, ROWS> {
    /// A grid from stored weights, row after row; `None` when they are too many or too few, or not
    /// all finite and positive.
    pub(super) fn from_weights(weights: &[f32]) -> Option<Self> {
        let (rows, rest) = weights.as_chunks::<W>();
        let sound = |weight: &f32| (FLOOR..=1e6).contains(weight);
        if !rest.is_empty() || !weights.iter().all(sound) {
            return None;
        }
        let cells = Box::new(<[[f32; W]; ROWS]>::try_from(rows).ok()?);
        Some(Self::of_cells(cells))
    }
}

/// One row's weights from those before: what stays and what its neighbours give, an edge being its
/// own neighbour, times the likelihood.
fn learn_row<T: Weight, const W: usize>(
    weights: &mut [T; W],
    before: &[T; W],
    likelihood: Likelihood<'_, T, W>,
    stay: T,
    blur: T,
) {
    let last = W - 1;
    let (said, curve) = (|chance: T| likelihood.at(chance), likelihood.curve);
    let moved = |left: T, here: T, right: T| here * stay + (left + right) * blur;
    weights[0] = floored(moved(before[0], before[0], before[1]) * said(curve[0]));
    let inner = weights[1..last].iter_mut().zip(&curve[1..last]);
    for ((weight, chance), near) in inner.zip(before.windows(3)) {
        *weight = floored(moved(near[0], near[1], near[2]) * said(*chance));
    }
    let moved = moved(before[last - 1], before[last], before[last]);
    weights[last] = floored(moved * said(curve[last]));
}

fn add<T: Weight, const W: usize>(columns: &mut [T; W], weights: &[T; W]) {
    for (column, weight) in columns.iter_mut().zip(weights) {
        *column = *column + *weight;
    }
}

fn sum<T: Weight>(weights: &[T]) -> T {
    weights.iter().fold(T::from(0.0), |sum, w| sum + *w)
}

fn floored<T: Weight>(weight: T) -> T {
    let floor = T::from(FLOOR);
    // Not the other way round: a not-a-number is not above the floor either.
    if weight > floor { weight } else { floor }
}

#[cfg(test)]
impl<'c, T: Weight, const W: usize> Likelihood<'c, T, W> {
    /// As it stands in a table.
    pub(super) fn of(curve: &'c [T; W]) -> Self {
        let (base, gain) = (T::from(0.0), T::from(1.0));
        Self { base, gain, curve }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn blur_moves_weight_to_neighbours_and_loses_none() {
        let mut grid = Grid::<f64, 5, 2>::new(|row, column| {
            if (row, column) == (0, 2) || (row, column) == (1, 0) {
                0.5
            } else {
                0.0
            }
        });
        grid.update(|_| Likelihood::of(&[1.0; 5]), 0.05);
        for (got, expected) in grid.cells()[0].iter().zip([0.0, 0.025, 0.45, 0.025, 0.0]) {
            assert!((got - expected).abs() < 1e-9, "{got} instead of {expected}");
        }
        // What would leave stays at the edge.
        for (got, expected) in grid.cells()[1].iter().zip([0.475, 0.025, 0.0, 0.0, 0.0]) {
            assert!((got - expected).abs() < 1e-9, "{got} instead of {expected}");
        }
        assert!((grid.total() - 1.0).abs() < 1e-9);
    }

    #[test]
    fn a_posterior_is_prior_times_likelihood() {
        // Bayes by hand: 0.2·0.9, 0.3·0.5, 0.5·0.1, divided by their sum 0.38.
        let mut grid = Grid::<f64, 3, 1>::new(|_, column| [0.2, 0.3, 0.5][column]);
        grid.update(|_| Likelihood::of(&[0.9, 0.5, 0.1]), 0.0);
        let expected = [0.18 / 0.38, 0.15 / 0.38, 0.05 / 0.38];
        for (got, expected) in grid.marginal().iter().zip(expected) {
            assert!(
                (got - expected).abs() < 1e-12,
                "{got} instead of {expected}"
            );
        }
    }

    #[test]
    fn impossible_and_undefined_likelihoods_do_no_harm() {
        let mut grid = Grid::<f32, 3, 1>::new(|_, _| 1.0);
        grid.update(|_| Likelihood::of(&[f32::NAN, 0.0, 1.0]), 0.0);
        let sum: f64 = grid.marginal().iter().sum();
        assert!((sum - 1.0).abs() < 1e-6);
        assert!(grid.marginal()[2] > 0.999);
        grid.update(|_| Likelihood::of(&[0.0; 3]), 0.05);
        assert!(grid.marginal().iter().all(|p| p.is_finite()));
    }

    #[test]
    fn stored_weights_must_be_sound() {
        let back = |weights: &[f32]| Grid::<f32, 3, 2>::from_weights(weights);
        assert!(back(&[0.1; 6]).is_some());
        for bad in [
            &[0.1; 5][..],
            &[0.1; 7],
            &[0.1, 0.1, 0.1, 0.1, 0.1, f32::NAN],
            &[0.1, 0.1, 0.1, 0.1, 0.1, -0.1],
            &[0.1, 0.1, 0.1, 0.1, 0.1, f32::INFINITY],
        ] {
            assert_eq!(back(bad), None, "{bad:?}");
        }
    }
}
