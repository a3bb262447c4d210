//! A deck as written: tables and values of TOML, each with its place.
//!
//! The only folder that knows the TOML library. Read [`Table`] first. Every reader is given the
//! [`Faults`](super::fault::Faults) so far, adds its own, and returns `None` when there is nothing
//! to use. Places are byte offsets.

mod document;
mod table;
mod value;

pub(super) use document::Document;
pub(super) use table::Table;
pub(super) use value::Value;

/// A key of a table, and what is expected behind it.
pub(super) struct Key {
    pub(super) name: &'static str,
    pub(super) expected: &'static str,
}
