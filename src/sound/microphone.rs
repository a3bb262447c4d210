//! The default microphone, through `rodio` and the `cpal` in it, and the claps it hears.
//!
//! Read [`Microphone`] first. It lives on the thread that asks for claps; in the device's callback
//! samples are only copied. Between them are two lock-free rings: one of mono samples, and one that
//! says of each block which frames it holds and when the first of them sounded. A block goes into
//! both or into none, so that what does not fit is lost and moves nothing else.
//!
//! In the callback nothing is locked, allocated, freed, printed or decided.
//!
//! The C libraries below print to the process's standard error when a device is missing or fails;
//! whoever draws on the terminal has to lead that elsewhere before [`Microphone::open`].

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::time::{Duration, Instant};

use rodio::cpal::traits::{DeviceTrait as _, HostTrait as _, StreamTrait as _};
use rodio::cpal::{
    self, BufferSize, ErrorKind, FromSample, InputCallbackInfo, Sample as _, SampleFormat,
    SizedSample, StreamConfig,
};
use rtrb::{Consumer, Producer, RingBuffer};

use super::output::HeardClock;
use super::{ClapFinder, ClapInput, Ear, NoMicrophone};
use crate::pcm::{Frame, SampleRate};
use crate::world::{Clock, Stamp, instant_now};

/// Frames the device is asked to give at a time, best first: 720 are 15 ms. Where they are given in
/// twos of three parts, as PulseAudio does, that makes whole milliseconds, which are not rounded: with
/// 341 frames blocks came 1 frame too early each, until one came 7 ms late. What the device would
/// choose itself comes last.
const BUFFERS: [BufferSize; 3] = [
    BufferSize::Fixed(720),
    BufferSize::Fixed(1440),
    BufferSize::Default,
];
/// Samples that may wait: more than a second at any common rate. They are asked for 30 times a
/// second.
const N_SAMPLES: usize = 1 << 17;
/// Blocks that may wait: as many seconds of blocks of 64 frames.
const N_BLOCKS: usize = N_SAMPLES / 64;

/// The default microphone, where there is one that says how it listens; nothing is heard yet.
pub fn ear(clock: &Arc<dyn Clock>) -> Option<Ear> {
    let device = cpal::default_host().default_input_device()?;
    device.default_input_config().ok()?;
    let name = device
        .description()
        .map_or_else(|_| "default".to_owned(), |d| d.name().to_owned());
    let clock = Arc::clone(clock);
    let open = move || -> Result<Box<dyn ClapInput>, NoMicrophone> {
        Ok(Box::new(Microphone::open(&clock)?))
    };
    Some(Ear {
        name,
        open: Box::new(open),
    })
}

/// The default microphone, open and listening.
pub struct Microphone {
    clock: Arc<dyn Clock>,
    name: String,
    blocks: Consumer<Block>,
    samples: Consumer<f32>,
    troubles: Arc<Troubles>,
    heard: HeardClock,
    finder: ClapFinder,
    /// Last, so that the device is stopped after its rings are gone, which it does not mind.
    _stream: cpal::Stream,
}

impl Microphone {
    /// Opens the default input device, at 48 kHz where it can, and listens. What it says of its time is
    /// steady after some five seconds.
    ///
    /// # Errors
    /// When there is no microphone, or none that can be used.
    pub fn open(clock: &Arc<dyn Clock>) -> Result<Self, NoMicrophone> {
        let device = cpal::default_host()
            .default_input_device()
            .ok_or_else(|| NoMicrophone {
                reason: "the system names no default input".to_owned(),
            })?;
        let mut last = String::new();
        for (config, format) in configs(&device) {
            match Self::start(&device, config, format, clock) {
                Ok(microphone) => return Ok(microphone),
                Err(error) => last = error.to_string(),
            }
        }
        Err(NoMicrophone { reason: last })
    }

    fn start(
        device: &cpal::Device,
        config: StreamConfig,
        format: SampleFormat,
        clock: &Arc<dyn Clock>,
    ) -> Result<Self, cpal::Error> {
        let rate = SampleRate::new(config.sample_rate).unwrap_or(SampleRate::HZ_48000);
        let (blocks_out, blocks) = RingBuffer::new(N_BLOCKS);
        let (samples_out, samples) = RingBuffer::new(N_SAMPLES);
        let troubles = Arc::new(Troubles::default());
        let callback = Callback {
            channels: config.channels.max(1),
            blocks: blocks_out,
            samples: samples_out,
            troubles: Arc::clone(&troubles),
            frame: 0,
        };
        let stream = match format {
            SampleFormat::I16 => callback.build::<i16>(device, config),
            SampleFormat::I32 => callback.build::<i32>(device, config),
            SampleFormat::U8 => callback.build::<u8>(device, config),
            _ => callback.build::<f32>(device, config),
        }?;
        stream.play()?;
        let description = device.description();
        Ok(Self {
            clock: Arc::clone(clock),
            name: description.map_or_else(|_| "default".to_owned(), |d| d.name().to_owned()),
            blocks,
            samples,
            troubles,
            heard: HeardClock::listening(rate),
            finder: ClapFinder::new(rate),
            _stream: stream,
        })
    }
}

impl ClapInput for Microphone {
    fn name(&self) -> &str {
        &self.name
    }

    /// When hands clapped, of all that was found since it was last asked: in order, each once. A clap
    /// is found about 50 ms after it sounded, and its stamp is when it sounded at the microphone. To
    /// be asked at least once a second, or samples are lost.
    fn claps(&mut self) -> Vec<Stamp> {
        let mut claps = Vec::new();
        while let Ok(block) = self.blocks.pop() {
            self.heard
                .learn(block.first, self.clock.stamp_of(block.sounded));
            let samples = self.samples.read_chunk(block.n_frames);
            let samples = samples.expect("a block is told of after its samples");
            let (one, two) = samples.as_slices();
            let middle = Frame(block.first.0 + signed(one.len()));
            claps.extend(self.finder.hear(block.first, one));
            claps.extend(self.finder.hear(middle, two));
            samples.commit_all();
        }
        let stamps = claps.into_iter();
        stamps
            .filter_map(|frame| self.heard.stamp_of(frame))
            .collect()
    }

    /// How often sound was lost: because nobody asked in time, or the device was not served in time.
    /// Claps in it are not found. Compare two of them to learn what happened between.
    fn n_lost(&self) -> u64 {
        self.troubles.n_lost.load(Ordering::Relaxed) + self.heard.n_jumps()
    }

    /// Whether the device went away for good.
    fn is_lost(&self) -> bool {
        self.troubles.is_lost.load(Ordering::Relaxed)
    }
}

/// Ways to open `device`, best first: ours, then what it says it likes.
fn configs(device: &cpal::Device) -> Vec<(StreamConfig, SampleFormat)> {
    let mut forms = vec![(1, SampleRate::HZ_48000.hz(), SampleFormat::F32)];
    if let Ok(likes) = device.default_input_config() {
        forms.push((2, SampleRate::HZ_48000.hz(), likes.sample_format()));
        forms.push((likes.channels(), likes.sample_rate(), likes.sample_format()));
    }
    let buffered = forms.into_iter();
    let buffered = buffered.flat_map(|(channels, sample_rate, format)| {
        BUFFERS.map(|buffer_size| {
            let config = StreamConfig {
                channels,
                sample_rate,
                buffer_size,
            };
            (config, format)
        })
    });
    buffered.collect()
}

fn signed(n_frames: usize) -> i64 {
    i64::try_from(n_frames).unwrap_or(i64::MAX)
}

/// Samples that lie in their ring.
#[derive(Clone, Copy, Debug)]
struct Block {
    first: Frame,
    n_frames: usize,
    /// When its first frame sounded.
    sounded: Instant,
}

/// What the device complained of, and what did not fit.
#[derive(Debug, Default)]
struct Troubles {
    n_lost: AtomicU64,
    is_lost: AtomicBool,
}

impl Troubles {
    fn count(&self, error: &cpal::Error) {
        match error.kind() {
            ErrorKind::Xrun => self.count_lost(),
            ErrorKind::DeviceNotAvailable | ErrorKind::StreamInvalidated => {
                self.is_lost.store(true, Ordering::Relaxed);
            }
            _ => {}
        }
    }

    fn count_lost(&self) {
        self.n_lost.fetch_add(1, Ordering::Relaxed);
    }
}

/// Takes what the device gives.
struct Callback {
    channels: u16,
    blocks: Producer<Block>,
    samples: Producer<f32>,
    troubles: Arc<Troubles>,
    frame: i64,
}

impl Callback {
    fn build<T: SizedSample>(
        mut self,
        device: &cpal::Device,
        config: StreamConfig,
    ) -> Result<cpal::Stream, cpal::Error>
    where
        f32: FromSample<T>,
    {
        let counting = Arc::clone(&self.troubles);
        let on_error = move |error: cpal::Error| counting.count(&error);
        let take = move |given: &[T], info: &InputCallbackInfo| {
            let times = info.timestamp();
            let ago = times.callback.saturating_duration_since(times.capture);
            let now = instant_now();
            self.take(given, now.checked_sub(ago).unwrap_or(now));
        };
        device.build_input_stream(config, take, on_error, Some(Duration::from_secs(2)))
    }

    /// Passes on what is `given`, the first frame of which sounded at that instant.
    fn take<T: SizedSample>(&mut self, given: &[T], sounded: Instant)
    where
        f32: FromSample<T>,
    {
        let frames = given.chunks_exact(usize::from(self.channels));
        let block = Block {
            first: Frame(self.frame),
            n_frames: frames.len(),
            sounded,
        };
        self.frame += signed(block.n_frames);
        let share = 1.0 / f32::from(self.channels);
        let mono = frames.map(|frame| {
            let samples = frame.iter().map(|&sample| f32::from_sample(sample));
            share * samples.sum::<f32>()
        });
        // Into both rings or none: a place among the blocks stays free once it is.
        let is_taken = !self.blocks.is_full()
            && self
                .samples
                .write_chunk_uninit(block.n_frames)
                .is_ok_and(|chunk| {
                    chunk.fill_from_iter(mono);
                    self.blocks.push(block).is_ok()
                });
        if !is_taken {
            self.troubles.count_lost();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rings(n_samples: usize, n_blocks: usize) -> (Callback, Consumer<Block>, Consumer<f32>) {
        let (blocks, blocks_in) = RingBuffer::new(n_blocks);
        let (samples, samples_in) = RingBuffer::new(n_samples);
        let callback = Callback {
            channels: 2,
            blocks,
            samples,
            troubles: Arc::new(Troubles::default()),
            frame: 0,
        };
        (callback, blocks_in, samples_in)
    }

    #[test]
    fn channels_are_mixed_and_blocks_say_where_they_are() {
        let (mut callback, mut blocks, mut samples) = rings(8, 8);
        let now = instant_now();
        callback.take(&[0.5_f32, 0.25, -1.0, 1.0], now);
        callback.take(&[16_384_i16, -16_384, 16_384, 16_384], now);
        let told: Vec<(i64, usize)> = std::iter::from_fn(|| blocks.pop().ok())
            .map(|block| (block.first.0, block.n_frames))
            .collect();
        assert_eq!(told, [(0, 2), (2, 2)]);
        let mixed: Vec<f32> = std::iter::from_fn(|| samples.pop().ok()).collect();
        assert_eq!(mixed, [0.375, 0.0, 0.0, 0.5]);
    }

    #[test]
    fn what_does_not_fit_is_counted_and_moves_nothing() {
        let now = instant_now();
        for (n_samples, n_blocks) in [(4, 8), (64, 2)] {
            let (mut callback, mut blocks, mut samples) = rings(n_samples, n_blocks);
            for _ in 0..3 {
                callback.take(&[0.25_f32; 4], now);
            }
            let n_lost = callback.troubles.n_lost.load(Ordering::Relaxed);
            assert_eq!((n_lost, blocks.slots(), samples.slots()), (1, 2, 4));
            while samples.pop().is_ok() {}
            while blocks.pop().is_ok() {}
            callback.take(&[0.25_f32; 4], now);
            assert_eq!(blocks.pop().map(|block| block.first), Ok(Frame(6)));
            assert_eq!(samples.slots(), 2);
        }
    }
}
