//! Recordings, decoded block by block as they are read: WAV, AIFF, FLAC, MP3, Ogg Vorbis, and AAC or
//! ALAC in MP4, through the `symphonia` library.
//!
//! Read [`Recording`] first. Positions are frames from the first that sounds. What is damaged is
//! silent for as long as it would have sounded, so that all after it stays in its place, and
//! [`Lost`] says what that was. MP3 says no places, and they follow from how long its frames are: exact
//! where all are alike or the file says how many there are, and else by their mean. AAC by itself says
//! none either, and its parts close up. Damage inside of a frame of these two may sound.
//!
//! Nothing here opens a file, and nothing holds more than a block of samples. Sizes that a file
//! claims are held against limits before memory is taken for them.

mod claims;
mod lost;
mod mix;
mod mono;
mod recording;
mod source;
mod stream;

pub use lost::{DecodeError, End, Lost, Rest};
pub use mono::Mono;
pub use recording::{Recording, open};
pub use stream::is_guarded;

/// The lowest and the highest rate that is taken, in frames a second.
pub const RATES: std::ops::RangeInclusive<u32> = 8_000..=192_000;
/// What lies after so many seconds is not read: six hours.
pub const LONGEST_SECONDS: u32 = 6 * 3600;
/// The longest silence that stands for a damaged part, in seconds, where the file does not say how long
/// it is. What claims a longer one is not believed, and the parts close up; nor does any go beyond the
/// end that the file says.
const LONGEST_SILENCE_SECONDS: u64 = 5;
/// The most frames that a file may say to be in one packet; the longest that there are, those of
/// FLAC, have 65,535.
const LONGEST_PACKET: u64 = 1 << 17;
/// The largest index of an MP4 file, and the largest packet that it may point to, in bytes. Six hours
/// need less than a tenth of the one, and none is a tenth of the other.
const LARGEST_INDEX: u64 = 64 << 20;
const LARGEST_PACKET: u32 = 4 << 20;
/// After so many faults on end nothing more is expected of a file.
const FAULTS_ON_END: u32 = 1000;

#[cfg(test)]
mod tests;
