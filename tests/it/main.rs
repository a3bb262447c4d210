//! Tests across modules, in one binary.

#[cfg(feature = "playback")]
mod device;
