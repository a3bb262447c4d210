//! A long piece in one row: each sign a stretch of cycles.

use std::ops::Range;

use crate::listen::{Analysis, CycleSaid, Lean, Said};

/// As many stretches as there are columns, all of about as many cycles; nothing where there are no
/// cycles. Of each it is told to what most of its cycles lean, unclear where most lean to nothing in
/// common, and how sure they are of it on average, those that lean otherwise with nothing.
pub fn overview(analysis: &Analysis, n_columns: usize) -> Vec<(Range<usize>, Said)> {
    let n = analysis.cycles.len();
    let n_columns = n_columns.min(n);
    let begin = |column: usize| column * n / n_columns.max(1);
    let stretches = (0..n_columns).map(|column| begin(column)..begin(column + 1));
    let said = |cycles: Range<usize>| (cycles.clone(), said_of(&analysis.cycles[cycles]));
    stretches.map(said).collect()
}

fn said_of(cycles: &[CycleSaid]) -> Said {
    let n = |lean: Lean| {
        cycles
            .iter()
            .filter(|cycle| cycle.said.lean == lean)
            .count()
    };
    let most = Lean::ALL
        .into_iter()
        .find(|lean| 2 * n(*lean) > cycles.len());
    let own = cycles.iter().map(|cycle| cycle.said);
    let own = own.filter(|said| Some(said.lean) == most);
    let n_cycles = f64::from(u32::try_from(cycles.len()).unwrap_or(u32::MAX));
    let n_turning = cycles
        .iter()
        .filter(|cycle| cycle.said.turns_within)
        .count();
    Said {
        turns_within: 2 * n_turning > cycles.len(),
        threes: cycles.iter().map(|cycle| cycle.said.threes).sum(),
        twos: cycles.iter().map(|cycle| cycle.said.twos).sum(),
        sure: own.map(|said| said.sure).sum::<f64>() / n_cycles,
        lean: most.unwrap_or(Lean::Unclear),
    }
}
