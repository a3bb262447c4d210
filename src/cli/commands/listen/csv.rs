//! What was heard as CSV, one row a cycle.

use super::Listened;
use super::json::rounded;
use crate::report::class::csv_field;

/// The names of the columns.
pub(super) const HEAD: &str = "file,cycle,start,lean,sure,threes,twos,low,middle,high,percussive\n";

pub(super) fn rows(listened: &Listened) -> String {
    let name = csv_field(&listened.name);
    let row = |(at, cycle): (usize, &crate::listen::CycleSaid)| {
        let said = &cycle.said;
        let numbers = [said.sure, said.threes, said.twos]
            .into_iter()
            .chain(cycle.parts);
        let numbers: Vec<String> = numbers.map(|x| rounded(x).to_string()).collect();
        let (start, lean) = (rounded(cycle.start), said.lean.id());
        format!("{name},{},{start},{lean},{}\n", at + 1, numbers.join(","))
    };
    listened
        .analysis
        .cycles
        .iter()
        .enumerate()
        .map(row)
        .collect()
}
