//! Recordings as samples, block by block.
//!
//! Read [`open`] first: a [`Recording`] gives one block after the other and can be sent to any time,
//! so that a file of hours needs no more memory than its packets. The formats are WAV, FLAC, MP3, Ogg
//! Vorbis, and AAC or ALAC in MP4, told by their content. Whatever is wrong with a file is either an
//! error in words or counted in [`Lost`]; a decoder that breaks down is taken for damage.
//!
//! One channel stays one, two stay two; of more than two all are averaged into one, since nothing is
//! known of where they stand. The only file that knows the library of decoders.

use std::cell::Cell;
use std::io::{self, Read, Seek, SeekFrom};
use std::panic::{AssertUnwindSafe, catch_unwind};

use symphonia::core::audio::SampleBuffer;
use symphonia::core::codecs::{CODEC_TYPE_NULL, Decoder, DecoderOptions};
use symphonia::core::errors::Error;
use symphonia::core::formats::{FormatOptions, FormatReader, SeekMode, SeekTo, Track};
use symphonia::core::io::{MediaSource, MediaSourceStream};
use symphonia::core::meta::MetadataOptions;
use symphonia::core::probe::Hint;
use symphonia::core::units::Time;

use super::SampleRate;

/// Rates that are read, in hertz.
const RATES: std::ops::RangeInclusive<u32> = 8_000..=192_000;
/// Frames of one packet that are taken; the largest of any format has 65,535.
const MOST_FRAMES: usize = 1 << 18;
/// Channels that are taken.
const MOST_CHANNELS: usize = 32;
/// After so many damaged packets in a row the rest is given up.
const MOST_DAMAGED: u32 = 200;

/// Why something is no recording.
#[derive(Debug, thiserror::Error)]
pub enum DecodeError {
    /// Nothing that is known.
    #[error("no recording: WAV, FLAC, MP3, Ogg Vorbis, or AAC or ALAC in MP4 was expected")]
    Unknown,
    /// Known, but there is no sound in it.
    #[error("a {0} without a sound in it")]
    NoSound(&'static str),
    /// Known, but not to be read here.
    #[error("a recording that cannot be read: {0}")]
    Unreadable(String),
    /// A rate that is none.
    #[error("a recording of {0} Hz; {low} to {high} Hz are read", low = RATES.start(), high = RATES.end())]
    Rate(u32),
    /// The source gave out.
    #[error(transparent)]
    Io(#[from] io::Error),
}

/// What could not be read.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Lost {
    /// Packets that were skipped.
    pub packets: u32,
    /// Samples that were no numbers and are silent instead.
    pub samples: u64,
    /// Whether the rest was given up.
    pub rest: Rest,
}

/// Whether a recording was read to its end.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Rest {
    /// As far as it goes.
    #[default]
    Read,
    /// It was given up where damage went on and on.
    GivenUp,
}

/// A recording that is being read.
pub struct Recording {
    format: Box<dyn FormatReader>,
    decoder: Box<dyn Decoder>,
    track: u32,
    rate: SampleRate,
    n_channels: u16,
    n_frames: Option<u64>,
    /// The frame before which all is left out, after a jump.
    from: Option<u64>,
    lost: Lost,
    is_over: bool,
}

/// Begins to read. `extension` is that of the file's name, as a hint; the content decides.
///
/// # Errors
/// When it is no recording, has no sound, or a rate or a form that is not read.
pub fn open(
    source: impl Read + Seek + Send + Sync + 'static,
    extension: Option<&str>,
) -> Result<Recording, DecodeError> {
    let source = Source::new(source)?;
    let extension = extension.map(str::to_owned);
    let opened = guarded(move || opened(source, extension.as_deref()));
    opened.unwrap_or_else(|| Err(broken()))
}

thread_local! {
    static IS_GUARDED: Cell<bool> = const { Cell::new(false) };
}

/// Whether this thread is inside a decoder that may break down without harm: whoever reports panics
/// leaves those out.
pub fn is_guarded() -> bool {
    IS_GUARDED.get()
}

/// Runs the library's code, which panics on some damaged files; `None` when it did. What it was at
/// is then given up or begun anew.
fn guarded<T>(work: impl FnOnce() -> T) -> Option<T> {
    IS_GUARDED.set(true);
    let done = catch_unwind(AssertUnwindSafe(work));
    IS_GUARDED.set(false);
    done.ok()
}

fn broken() -> DecodeError {
    DecodeError::Unreadable("its decoder broke down on it".to_owned())
}

fn opened(source: Source, extension: Option<&str>) -> Result<Recording, DecodeError> {
    let mut hint = Hint::new();
    if let Some(extension) = extension {
        hint.with_extension(extension);
    }
    let stream = MediaSourceStream::new(Box::new(source), Default::default());
    let options = FormatOptions {
        enable_gapless: true,
        ..FormatOptions::default()
    };
    let probed = symphonia::default::get_probe()
        .format(&hint, stream, &options, &MetadataOptions::default())
        .map_err(of_library)?;
    let format = probed.format;
    let is_sound = |track: &&Track| {
        track.codec_params.codec != CODEC_TYPE_NULL && track.codec_params.sample_rate.is_some()
    };
    let track = format.tracks().iter().find(is_sound);
    let track = track.ok_or(DecodeError::NoSound("file"))?;
    let (track, parameters) = (track.id, track.codec_params.clone());
    let hz = parameters.sample_rate.unwrap_or(0);
    let rate = SampleRate::new(hz).filter(|_| RATES.contains(&hz));
    let mut recording = Recording {
        decoder: symphonia::default::get_codecs()
            .make(&parameters, &DecoderOptions::default())
            .map_err(of_library)?,
        format,
        track,
        rate: rate.ok_or(DecodeError::Rate(hz))?,
        n_channels: 0,
        n_frames: parameters.n_frames,
        from: None,
        lost: Lost::default(),
        is_over: false,
    };
    // How many channels there are some formats only say with the first packet.
    let first = recording.decode_next();
    recording.n_channels = match first {
        Some(block) => block.n_channels,
        None => return Err(DecodeError::NoSound("recording")),
    };
    recording.seek_to_start();
    Ok(recording)
}

fn of_library(error: Error) -> DecodeError {
    match error {
        Error::IoError(error) if error.kind() != io::ErrorKind::UnexpectedEof => {
            DecodeError::Io(error)
        }
        Error::DecodeError(what) => DecodeError::Unreadable(what.to_owned()),
        _ => DecodeError::Unknown,
    }
}

/// Samples of one packet, interleaved.
struct Block {
    n_channels: u16,
    /// The frame with which it begins.
    begins: u64,
    samples: Vec<f32>,
}

impl Recording {
    /// Frames a second.
    pub fn rate(&self) -> SampleRate {
        self.rate
    }

    /// Channels of each block: one or two.
    pub fn n_channels(&self) -> u16 {
        self.n_channels
    }

    /// How long it is in seconds, where the file says so.
    pub fn seconds(&self) -> Option<f64> {
        let n_frames = u32::try_from(self.n_frames?).ok()?;
        Some(f64::from(n_frames) / f64::from(self.rate.hz()))
    }

    /// What could not be read so far.
    pub fn lost(&self) -> Lost {
        self.lost
    }

    /// The next samples, interleaved; `None` at the end.
    pub fn next_block(&mut self) -> Option<Vec<f32>> {
        loop {
            let mut block = self.decode_next()?;
            let n_channels = usize::from(block.n_channels.max(1));
            let n_frames = block.samples.len() / n_channels;
            if let Some(from) = self.from {
                let before = from.saturating_sub(block.begins);
                let before = usize::try_from(before).unwrap_or(usize::MAX).min(n_frames);
                block.samples.drain(..before * n_channels);
                if before < n_frames {
                    self.from = None;
                }
            }
            let block = self.as_begun(block);
            if !block.is_empty() {
                return Some(block);
            }
        }
    }

    /// Goes to a time in seconds: the next block begins there.
    ///
    /// # Errors
    /// When the recording cannot be gone through at will, or has no such time.
    pub fn seek(&mut self, seconds: f64) -> Result<(), DecodeError> {
        let whole = seconds.max(0.0);
        let time = Time::from(whole);
        let to = SeekTo::Time {
            time,
            track_id: Some(self.track),
        };
        let seek = || self.format.seek(SeekMode::Accurate, to);
        let there = guarded(seek).ok_or_else(broken)?;
        let there = there.map_err(of_library)?;
        self.decoder.reset();
        self.from = Some(there.required_ts);
        self.is_over = false;
        Ok(())
    }

    /// Back to the start after the first look; what cannot go back loses its first packet.
    fn seek_to_start(&mut self) {
        if self.seek(0.0).is_err() {
            self.lost.packets += 1;
        }
    }

    /// A block in as many channels as the recording began with.
    fn as_begun(&self, block: Block) -> Vec<f32> {
        match (block.n_channels, self.n_channels) {
            (1, 2) => block.samples.iter().flat_map(|x| [*x, *x]).collect(),
            (2, 1) => mean_of(&block.samples, 2),
            _ => block.samples,
        }
    }

    fn decode_next(&mut self) -> Option<Block> {
        let mut in_a_row = 0;
        while !self.is_over {
            match guarded(|| self.packet()).unwrap_or(Next::Damaged) {
                Next::Block(block) => return Some(block),
                Next::End => self.is_over = true,
                Next::Other => {}
                Next::Damaged => {
                    self.lost.packets = self.lost.packets.saturating_add(1);
                    in_a_row += 1;
                    if in_a_row >= MOST_DAMAGED {
                        self.lost.rest = Rest::GivenUp;
                        self.is_over = true;
                    }
                }
            }
        }
        None
    }

    fn packet(&mut self) -> Next {
        let packet = match self.format.next_packet() {
            Ok(packet) if packet.track_id() != self.track => return Next::Other,
            Ok(packet) => packet,
            Err(Error::DecodeError(_)) => return Next::Damaged,
            // The end is told as an early one.
            Err(_) => return Next::End,
        };
        let begins = packet.ts();
        let Ok(decoded) = self.decoder.decode(&packet) else {
            return Next::Damaged;
        };
        let spec = *decoded.spec();
        let n_channels = spec.channels.count();
        if decoded.frames() > MOST_FRAMES || !(1..=MOST_CHANNELS).contains(&n_channels) {
            return Next::Damaged;
        }
        if spec.rate != self.rate.hz() {
            // Another rate in the middle would be heard at another speed.
            return Next::Damaged;
        }
        let n_frames = u64::try_from(decoded.frames()).unwrap_or(0);
        let mut buffer = SampleBuffer::<f32>::new(n_frames.max(1), spec);
        buffer.copy_interleaved_ref(decoded);
        let mut samples = buffer.samples().to_vec();
        for sample in samples.iter_mut().filter(|x| !x.is_finite()) {
            *sample = 0.0;
            self.lost.samples += 1;
        }
        Next::Block(if n_channels > 2 {
            Block {
                n_channels: 1,
                begins,
                samples: mean_of(&samples, n_channels),
            }
        } else {
            Block {
                n_channels: if n_channels == 2 { 2 } else { 1 },
                begins,
                samples,
            }
        })
    }
}

enum Next {
    Block(Block),
    /// A packet of something else.
    Other,
    Damaged,
    End,
}

/// The mean of all channels.
fn mean_of(samples: &[f32], n_channels: usize) -> Vec<f32> {
    let n = f32::from(u16::try_from(n_channels).unwrap_or(1));
    let frames = samples.chunks_exact(n_channels.max(1));
    frames.map(|frame| frame.iter().sum::<f32>() / n).collect()
}

/// Samples of one or two channels as one.
pub fn mono(samples: &[f32], n_channels: u16) -> Vec<f32> {
    match n_channels {
        2 => mean_of(samples, 2),
        _ => samples.to_vec(),
    }
}

/// A source whose length was asked for once.
struct Source {
    inner: Box<dyn ReadSeek>,
    length: u64,
}

trait ReadSeek: Read + Seek + Send + Sync {}
impl<T: Read + Seek + Send + Sync> ReadSeek for T {}

impl Source {
    fn new(mut source: impl Read + Seek + Send + Sync + 'static) -> io::Result<Self> {
        let length = source.seek(SeekFrom::End(0))?;
        source.seek(SeekFrom::Start(0))?;
        Ok(Self {
            inner: Box::new(source),
            length,
        })
    }
}

impl Read for Source {
    fn read(&mut self, buf: &mut [u8]) -> io::Result<usize> {
        self.inner.read(buf)
    }
}

impl Seek for Source {
    fn seek(&mut self, to: SeekFrom) -> io::Result<u64> {
        self.inner.seek(to)
    }
}

impl MediaSource for Source {
    fn is_seekable(&self) -> bool {
        true
    }

    fn byte_len(&self) -> Option<u64> {
        Some(self.length)
    }
}

#[cfg(test)]
mod tests;
