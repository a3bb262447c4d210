//! The pictures, one file each: what they say, line by line.

pub(super) mod bench;
mod grid;
pub(super) mod help;
pub(super) mod listening;
pub(super) mod progress;
pub(super) mod question;
pub(super) mod recording;
pub(super) mod reveal;
pub(super) mod summary;
pub(super) mod today;
pub(super) mod tune_up;
mod wheel;

/// `1 phrase`, `2 phrases`.
fn counted(n: impl Into<u64>, noun: &str) -> String {
    match n.into() {
        1 => format!("1 {noun}"),
        n => format!("{n} {noun}s"),
    }
}
