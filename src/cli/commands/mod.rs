//! One file a command.

pub(super) mod listen;
pub(super) mod phrase;
pub(super) mod practise;
mod write;
