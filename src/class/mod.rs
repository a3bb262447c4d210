//! Teachers and learners: how practice travels from one to the other.
//!
//! Read [`hand_in`] first: what comes back from learners. [`assignment`] is what goes out to them,
//! [`roster`] who they are, [`judgement`] what was decided about phrases that somebody doubted.
//! Nothing here opens a file, asks the time or knows a database: bytes and moments are handed in, and
//! what was read is handed on.

pub mod assignment;
pub mod hand_in;
pub mod judgement;
pub mod roster;
