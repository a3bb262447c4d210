//! One file a command.

pub(super) mod phrase;
pub(super) mod practise;
