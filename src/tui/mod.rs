//! The full-screen interface: keys in, pictures out.
//!
//! Read [`run`] first, then `keymap`, the one table from which both the keys and the bottom line of
//! every screen come. A picture is drawn from a `View`, which borrows what the engine says; the only
//! state kept here is what is looked at (`Here`).
//!
//! The visual language: the marks of the layers are the numerals 3 and 2, time runs left to right
//! in counts, voices are rows, the playhead glides under the counts, nothing flashes, and no colour
//! carries meaning alone. Columns and rows are cells of the terminal.
//!
//! Nothing but this module knows ratatui and crossterm. It decides nothing about practice, keeps
//! nothing, and never reads a clock but to stamp a key.

mod draw;
mod guard;
mod keymap;
mod page;
mod run;
mod screens;
mod theme;
mod view;

#[cfg(test)]
mod tests;

pub use run::{Deliver, Ending, ScreenError, run};
