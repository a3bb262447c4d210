//! What was heard as CSV, one row a cycle.

use super::Listened;
use super::json::rounded;

/// The names of the columns.
pub(super) const HEAD: &str = "file,cycle,start,lean,sure,threes,twos,low,middle,high,percussive\n";

pub(super) fn rows(listened: &Listened) -> String {
    let name = field(&listened.name);
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

/// A text as a field: quoted, and never a formula to a table program.
fn field(text: &str) -> String {
    let formula = text.starts_with(['=', '+', '-', '@']);
    let guard = if formula { "'" } else { "" };
    format!("\"{guard}{}\"", text.replace('"', "\"\""))
}

#[cfg(test)]
mod tests {
    use super::field;

    #[test]
    fn names_of_files_are_no_formulas_and_break_no_rows() {
        assert_eq!(field("=1+1"), "\"'=1+1\"");
        assert_eq!(field("a \"b\", c"), "\"a \"\"b\"\", c\"");
    }
}
