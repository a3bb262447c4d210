//! The default microphone, through the `cpal` in `rodio`.
//!
//! Read [`Microphone`] first. The device's callback only copies what it heard into a ring, and pairs of
//! (frame, moment at which it was heard) into another; claps are looked for on the thread that asks for
//! them. In the callback nothing is locked, allocated, freed, printed or decided.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::time::{Duration, Instant};

use rodio::cpal::traits::{DeviceTrait as _, HostTrait as _, StreamTrait as _};
use rodio::cpal::{
    self, BufferSize, ErrorKind, FromSample, InputCallbackInfo, SampleFormat, SizedSample,
    StreamConfig,
};
use rtrb::{Consumer, Producer, RingBuffer};

use super::claps::{ClapFinder, ClapInput, Ear, NoMicrophone};
use super::output::HeardClock;
use crate::pcm::{Frame, SampleRate};
use crate::world::{Clock, Stamp, instant_now};

/// Samples that may wait: two seconds at 48 kHz. They are asked for thirty times a second.
const N_SAMPLES: usize = 96_000;
/// Pairs that may wait.
const N_PAIRS: usize = 2_048;

/// The default microphone, open and listening.
pub struct Microphone {
    clock: Arc<dyn Clock>,
    name: String,
    samples: Consumer<f32>,
    pairs: Consumer<(u64, Instant)>,
    troubles: Arc<Troubles>,
    finder: ClapFinder,
    heard: HeardClock,
    /// Claps whose moment is not known yet.
    waiting: Vec<Frame>,
    _stream: cpal::Stream,
}

/// What went wrong in the callback.
#[derive(Debug, Default)]
struct Troubles {
    lost: AtomicBool,
    /// Samples for which there was no room: frames after them would be told too early.
    n_missed: AtomicU64,
}

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

impl Microphone {
    /// Opens the default microphone and begins to listen.
    ///
    /// # Errors
    /// When there is none, or none that can be used.
    pub fn open(clock: &Arc<dyn Clock>) -> Result<Self, NoMicrophone> {
        let no = |reason: String| NoMicrophone { reason };
        let device = cpal::default_host()
            .default_input_device()
            .ok_or_else(|| no("the system names no default input".to_owned()))?;
        let likes = device
            .default_input_config()
            .map_err(|error| no(error.to_string()))?;
        let mut last = String::new();
        for buffer_size in [BufferSize::Fixed(1024), BufferSize::Default] {
            let config = StreamConfig {
                channels: likes.channels(),
                sample_rate: likes.sample_rate(),
                buffer_size,
            };
            match Self::start(&device, config, likes.sample_format(), clock) {
                Ok(microphone) => return Ok(microphone),
                Err(error) => last = error.to_string(),
            }
        }
        Err(no(last))
    }

    fn start(
        device: &cpal::Device,
        config: StreamConfig,
        format: SampleFormat,
        clock: &Arc<dyn Clock>,
    ) -> Result<Self, cpal::Error> {
        let rate = SampleRate::new(config.sample_rate).unwrap_or(SampleRate::HZ_48000);
        let (samples_out, samples) = RingBuffer::new(N_SAMPLES);
        let (pairs_out, pairs) = RingBuffer::new(N_PAIRS);
        let troubles = Arc::new(Troubles::default());
        let callback = Callback {
            samples: samples_out,
            pairs: pairs_out,
            troubles: Arc::clone(&troubles),
            frame: 0,
        };
        let losing = Arc::clone(&troubles);
        let on_error = move |error: cpal::Error| {
            let gone = [ErrorKind::DeviceNotAvailable, ErrorKind::StreamInvalidated];
            if gone.contains(&error.kind()) {
                losing.lost.store(true, Ordering::Relaxed);
            }
        };
        let stream = match format {
            SampleFormat::I16 => callback.build::<i16>(device, config, on_error),
            SampleFormat::I32 => callback.build::<i32>(device, config, on_error),
            SampleFormat::U8 => callback.build::<u8>(device, config, on_error),
            _ => callback.build::<f32>(device, config, on_error),
        }?;
        stream.play()?;
        let description = device.description();
        Ok(Self {
            clock: Arc::clone(clock),
            name: description.map_or_else(|_| "default".to_owned(), |d| d.name().to_owned()),
            samples,
            pairs,
            troubles,
            finder: ClapFinder::new(rate),
            heard: HeardClock::new(rate),
            waiting: Vec::new(),
            _stream: stream,
        })
    }
}

impl ClapInput for Microphone {
    fn name(&self) -> &str {
        &self.name
    }

    fn claps(&mut self) -> Vec<Stamp> {
        while let Ok((frame, heard)) = self.pairs.pop() {
            let heard = self.clock.stamp_of(heard);
            let frame = Frame(i64::try_from(frame).unwrap_or(i64::MAX));
            self.heard.learn(frame, heard);
        }
        while let Ok(sample) = self.samples.pop() {
            self.waiting.extend(self.finder.listen([sample]));
        }
        let stamps: Option<Vec<Stamp>> = self
            .waiting
            .iter()
            .map(|frame| self.heard.stamp_of(*frame))
            .collect();
        let stamps = stamps.unwrap_or_default();
        if !stamps.is_empty() {
            self.waiting.clear();
        }
        stamps
    }

    fn is_lost(&self) -> bool {
        // With samples missing no moment is right any more.
        self.troubles.lost.load(Ordering::Relaxed)
            || self.troubles.n_missed.load(Ordering::Relaxed) > 0
    }
}

/// Takes what the device heard.
struct Callback {
    samples: Producer<f32>,
    pairs: Producer<(u64, Instant)>,
    troubles: Arc<Troubles>,
    frame: u64,
}

impl Callback {
    fn build<T: SizedSample>(
        mut self,
        device: &cpal::Device,
        config: StreamConfig,
        on_error: impl FnMut(cpal::Error) + Send + 'static,
    ) -> Result<cpal::Stream, cpal::Error>
    where
        f32: FromSample<T>,
    {
        let channels = usize::from(config.channels.max(1));
        let take = move |heard: &[T], info: &InputCallbackInfo| self.take(heard, channels, info);
        device.build_input_stream(config, take, on_error, Some(Duration::from_secs(2)))
    }

    fn take<T: SizedSample>(&mut self, heard: &[T], channels: usize, info: &InputCallbackInfo)
    where
        f32: FromSample<T>,
    {
        let times = info.timestamp();
        let ago = times.callback.saturating_duration_since(times.capture);
        let now = instant_now();
        // When the ring is full nobody listens, and the pair is not missed.
        let _ = self
            .pairs
            .push((self.frame, now.checked_sub(ago).unwrap_or(now)));
        for frame in heard.chunks_exact(channels) {
            let all: f32 = frame.iter().map(|sample| sample.to_sample::<f32>()).sum();
            if self.samples.push(all).is_err() {
                self.troubles.n_missed.fetch_add(1, Ordering::Relaxed);
            }
            self.frame += 1;
        }
    }
}
