//! Samples, not music: sound as numbers, with its rate and its channels.
//!
//! Read [`Pcm`] first. A *frame* is one sample of every channel; a position is a [`Frame`], a span
//! [`Frames`]. Samples are `f32` where ±1.0 is full scale; levels are decibels against full scale
//! (dBFS), loudness is LUFS after ITU-R BS.1770.
//!
//! Nothing here knows notes, pulses or devices, and nothing opens a file: WAV is written to and
//! read from whatever is handed in.

pub mod decode;
mod growing;
mod join;
mod loudness;
mod resample;
mod samples;
mod stretch;
pub mod wav;

pub use growing::Growing;
pub use join::{JoinError, join};
pub use loudness::{loudness, true_peak};
pub use resample::resampled;
pub use samples::{Frame, Frames, Pcm, PcmError, SampleRate};
pub use stretch::{Speed, Stretching, stretched};
