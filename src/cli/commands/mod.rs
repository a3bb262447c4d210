//! One file a command.

pub(super) mod assignment;
pub(super) mod class;
pub(super) mod decks;
pub(super) mod form;
pub(super) mod hand_in;
mod hear;
pub(super) mod keep;
pub(super) mod listen;
pub(super) mod phrase;
pub(super) mod practise;
pub(super) mod progress;
pub(super) mod shelf;
pub(super) mod sit;
pub(super) mod write;
