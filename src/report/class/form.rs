//! The forms in which a report is written to files, and how one of its files is known again.

use super::{ClassReport, csv, html, json};

/// A form for files.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Form {
    /// To look at and to print.
    Html,
    /// For spreadsheets.
    Csv,
    /// For programs.
    Json,
}

impl Form {
    /// The report in this form.
    pub fn of(self, report: &ClassReport) -> String {
        match self {
            Self::Html => html(report),
            Self::Csv => csv(report),
            Self::Json => json(report),
        }
    }

    /// What a file of this form is called.
    pub fn name(self) -> &'static str {
        match self {
            Self::Html => "class report in HTML",
            Self::Csv => "class report in CSV",
            Self::Json => "class report in JSON",
        }
    }

    /// Whether a file that begins so is a report in this form, of this version or an earlier one.
    pub fn begins(self, head: &[u8]) -> bool {
        match self {
            Self::Html => {
                let title = b"<title>Class report, ";
                let mut places = head.windows(title.len());
                head.starts_with(b"<!DOCTYPE html>") && places.any(|place| place == title)
            }
            Self::Csv => head.starts_with(b"learner,name,groups,about,"),
            Self::Json => head.starts_with(b"{\"class-report\":1,"),
        }
    }
}
