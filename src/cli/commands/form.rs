//! In which form a list is printed: as text, JSON or CSV.

use clap::Args;
use serde_json::{Map, Value};

use super::write::print;
use crate::cli::failure::Failure;
use crate::label::harmless;
use crate::report::class::csv_field;

/// In which form a list is printed.
#[derive(Debug, Args)]
pub(in crate::cli) struct Form {
    /// Print one JSON object a row, each on a line
    #[arg(long, group = "form")]
    json: bool,
    /// Print CSV
    #[arg(long, group = "form")]
    csv: bool,
}

impl Form {
    /// Prints rows under these columns, or `nothing` in words where there are none.
    pub(in crate::cli) fn print(
        &self,
        columns: &[&str],
        rows: &[Vec<Value>],
        nothing: &str,
    ) -> Result<(), Failure> {
        self.print_or(columns, rows, || {
            if rows.is_empty() {
                format!("{nothing}\n")
            } else {
                text(columns, rows)
            }
        })
    }

    /// The same, with a text of its own for people.
    pub(super) fn print_or(
        &self,
        columns: &[&str],
        rows: &[Vec<Value>],
        text: impl FnOnce() -> String,
    ) -> Result<(), Failure> {
        if self.json {
            let object = |row: &Vec<Value>| {
                let named = columns.iter().map(|column| (*column).to_owned());
                let map: Map<String, Value> = named.zip(row.iter().cloned()).collect();
                format!("{}\n", Value::Object(map))
            };
            print(&rows.iter().map(object).collect::<String>())
        } else if self.csv {
            let line = |row: &Vec<Value>| {
                let cells: Vec<String> = row.iter().map(csv).collect();
                format!("{}\n", cells.join(","))
            };
            let lines: String = rows.iter().map(line).collect();
            print(&format!("{}\n{lines}", columns.join(",")))
        } else {
            print(&text())
        }
    }
}

fn csv(value: &Value) -> String {
    match value {
        Value::Null => String::new(),
        Value::String(text) => csv_field(text),
        Value::Array(_) => csv_field(&plain(value)),
        other => other.to_string(),
    }
}

/// A value as it is read by people.
fn plain(value: &Value) -> String {
    match value {
        Value::Null => String::new(),
        Value::String(text) => text.clone(),
        Value::Array(items) => {
            let items: Vec<String> = items.iter().map(plain).collect();
            items.join(", ")
        }
        other => other.to_string(),
    }
}

/// Columns that are as wide as what stands in them.
fn text(columns: &[&str], rows: &[Vec<Value>]) -> String {
    let head: Vec<String> = columns.iter().map(|column| (*column).to_owned()).collect();
    let cells = rows
        .iter()
        .map(|row| row.iter().map(|value| harmless(&plain(value))).collect());
    let lines: Vec<Vec<String>> = [head].into_iter().chain(cells).collect();
    let width = |at: usize| {
        let cells = lines.iter().filter_map(|line| line.get(at));
        cells.map(|cell| cell.chars().count()).max().unwrap_or(0)
    };
    let widths: Vec<usize> = (0..columns.len()).map(width).collect();
    let told = lines.iter().map(|line| {
        let cells = line.iter().zip(&widths);
        let padded: Vec<String> = cells
            .map(|(cell, width)| format!("{cell:width$}"))
            .collect();
        format!("{}\n", padded.join("  ").trim_end())
    });
    told.collect()
}
