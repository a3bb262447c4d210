//! `contrapalma decks list`: the decks there are.

use serde_json::json;

use super::List;
use crate::cli::commands::shelf::Shelf;
use crate::cli::commands::write::{counted, print};
use crate::cli::failure::Failure;
use crate::deck::{self, Deck};
use crate::label::printable;
use crate::report::class::csv_field;

/// A deck in the list.
struct Row {
    id: String,
    /// `None` where it has faults.
    holds: Option<(String, usize)>,
    /// The file, safe to show; `None` where it comes with the program.
    file: Option<String>,
}

/// Lists them, those of the program first.
pub(super) fn run(asked: &List, shelf: Option<&Shelf>) -> Result<(), Failure> {
    let rows = rows(shelf);
    if asked.json {
        let lines: String = rows.iter().map(|row| row.json() + "\n").collect();
        print(&lines)
    } else if asked.csv {
        let lines: String = rows.iter().map(|row| row.csv() + "\n").collect();
        print(&format!("id,title,exercises,from\n{lines}"))
    } else {
        print(&text(&rows))
    }
}

fn rows(shelf: Option<&Shelf>) -> Vec<Row> {
    let holds = |deck: &Deck| (deck.title().to_string(), deck.exercises().len());
    let built_in = deck::built_in_ids().filter_map(|id| {
        Some(Row {
            id: id.to_owned(),
            holds: Some(holds(&deck::built_in_named(id)?)),
            file: None,
        })
    });
    let installed = shelf.into_iter().flat_map(|shelf| {
        shelf.ids().into_iter().map(|id| Row {
            holds: shelf.deck(&id).ok().as_ref().map(holds),
            file: Some(printable(&shelf.path(&id).display().to_string())),
            id,
        })
    });
    built_in.chain(installed).collect()
}

impl Row {
    fn from(&self) -> &str {
        self.file.as_deref().unwrap_or("with the program")
    }

    fn json(&self) -> String {
        let (title, n) = self.holds.clone().unzip();
        let row = json!({ "id": self.id, "title": title, "exercises": n, "file": self.file });
        row.to_string()
    }

    fn csv(&self) -> String {
        let (title, n) = self.holds.clone().unzip();
        let n = n.map_or_else(String::new, |n| n.to_string());
        let title = csv_field(&title.unwrap_or_default());
        format!("{},{title},{n},{}", self.id, csv_field(self.from()))
    }
}

fn text(rows: &[Row]) -> String {
    let told = rows.iter().map(|row| match &row.holds {
        Some((title, n)) => [
            row.id.clone(),
            title.clone(),
            counted(*n, "exercise", "exercises"),
            row.from().to_owned(),
        ],
        None => [
            row.id.clone(),
            "it has faults: see `decks check`".to_owned(),
            String::new(),
            row.from().to_owned(),
        ],
    });
    let told: Vec<[String; 4]> = told.collect();
    let width = |column: usize| {
        let cells = told.iter().map(|row| row[column].chars().count());
        cells.max().unwrap_or(0)
    };
    let (a, b, c) = (width(0), width(1), width(2));
    let line =
        |[id, title, n, from]: &[String; 4]| format!("{id:a$}  {title:b$}  {n:>c$}  {from}\n");
    told.iter().map(line).collect()
}
