//! What practice came to, in figures.
//!
//! Read [`Record`] first: what the log says of one skill. [`stats`] has the formulas, [`class`] the
//! report of a class. Nothing here ranks people, promises a chance of success, or knows screens and
//! files.

mod agreement;
pub mod class;
mod heard;
mod label;
mod lean;
mod record;
pub mod stats;

pub use agreement::Agreement;
pub use heard::heard_from;
pub use label::{Label, Labels};
pub use lean::lean;
pub use record::{Heard, Record, Records};
