//! The default sound device, through `rodio` and the `cpal` in it. Only `microphone.rs` knows them too.
//!
//! Read [`DeviceOutput`] first. It lives on the thread that gives orders; the [`Feed`] lives in the
//! device's callback and only copies. Between them are four lock-free rings: orders go in, spent
//! sounds come back to be freed here, and out come where each play began and pairs of (frame, moment
//! at which it is heard).
//!
//! In the callback nothing is locked, allocated, freed, printed or decided.
//!
//! The C libraries below print to the process's standard error when a device is missing or fails;
//! whoever draws on the terminal has to lead that elsewhere before [`DeviceOutput::open`].

use std::num::NonZero;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::time::{Duration, Instant};

use rodio::Source;
use rodio::cpal::traits::{DeviceTrait as _, HostTrait as _, StreamTrait as _};
use rodio::cpal::{
    self, BufferSize, ErrorKind, FromSample, OutputCallbackInfo, SampleFormat, SizedSample,
    StreamConfig,
};
use rtrb::{Consumer, Producer, RingBuffer};

use super::feed::{Begun, Feed, Order};
use super::output::{
    Health, HeardClock, Loop, NoDevice, Onset, Output, PlayId, Playing, Position, Refused, Samples,
    check_rate,
};
use crate::pcm::{Frame, SampleRate};
use crate::world::{Clock, Stamp, instant_now};

/// Frames the device is asked to take at a time, best first. Fewer ran dry under load; 1024 are
/// 21 ms. What the device would choose itself comes last.
const BUFFERS: [BufferSize; 3] = [
    BufferSize::Fixed(1024),
    BufferSize::Fixed(2048),
    BufferSize::Default,
];
/// Orders that may wait. The callback takes them within milliseconds.
const N_ORDERS: usize = 16;
/// Spent sounds that may wait to be freed: more than can ever be out at once.
const N_SPENT: usize = 4 * N_ORDERS;
/// Pairs that may wait: several seconds of the smallest buffers.
const N_PAIRS: usize = 2048;

/// The default sound device, open and running.
pub struct DeviceOutput {
    clock: Arc<dyn Clock>,
    name: String,
    rate: SampleRate,
    orders: Producer<Order>,
    spent: Consumer<Samples>,
    begun: Consumer<Begun>,
    pairs: Consumer<(u64, Instant)>,
    troubles: Arc<Troubles>,
    heard: HeardClock,
    latest: Option<Playing>,
    /// The device's frame on which the latest play began, once it has.
    began_at: Option<Frame>,
    n_plays: u64,
    /// Last, so that the device is stopped after its rings are gone, which it does not mind.
    _stream: cpal::Stream,
}

impl DeviceOutput {
    /// Opens the default device, stereo at 48 kHz where it can, and starts it silently.
    ///
    /// # Errors
    /// When there is no device, or none that can be used.
    pub fn open(clock: &Arc<dyn Clock>) -> Result<Self, NoDevice> {
        let device = cpal::default_host()
            .default_output_device()
            .ok_or_else(|| NoDevice {
                reason: "the system names no default output".to_owned(),
            })?;
        let mut last = refusal(ErrorKind::UnsupportedConfig).to_owned();
        for (config, format) in configs(&device) {
            match Self::start(&device, config, format, clock) {
                Ok(output) => return Ok(output),
                Err(error) => last = refusal(error.kind()).to_owned(),
            }
        }
        Err(NoDevice { reason: last })
    }

    fn start(
        device: &cpal::Device,
        config: StreamConfig,
        format: SampleFormat,
        clock: &Arc<dyn Clock>,
    ) -> Result<Self, cpal::Error> {
        let rate = SampleRate::new(config.sample_rate).unwrap_or(SampleRate::HZ_48000);
        let (orders, orders_in) = RingBuffer::new(N_ORDERS);
        let (spent_out, spent) = RingBuffer::new(N_SPENT);
        let (begun_out, begun) = RingBuffer::new(N_ORDERS);
        let (pairs_out, pairs) = RingBuffer::new(N_PAIRS);
        let troubles = Arc::new(Troubles::default());
        let feed = Feed::new(rate, orders_in, spent_out, begun_out);
        let callback = Callback::of(Endless { rate, feed }, pairs_out);
        let counting = Arc::clone(&troubles);
        let on_error = move |error: cpal::Error| counting.count(&error);
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
            rate,
            orders,
            spent,
            begun,
            pairs,
            troubles,
            heard: HeardClock::new(rate),
            latest: None,
            began_at: None,
            n_plays: 0,
            _stream: stream,
        })
    }

    /// Hands an order to the callback, for a play that is the latest from now on.
    fn order(&mut self, playing: Playing, order: Order) -> Result<PlayId, Refused> {
        self.catch_up();
        self.orders.push(order).map_err(|_| Refused::Stuck)?;
        self.n_plays += 1;
        self.latest = Some(playing);
        self.began_at = None;
        Ok(playing.play)
    }

    /// Takes in what the callback has said since the last time, and frees what it no longer needs.
    fn catch_up(&mut self) {
        while let Ok(spent) = self.spent.pop() {
            drop(spent);
        }
        while let Ok((frame, heard)) = self.pairs.pop() {
            let heard = self.clock.stamp_of(heard);
            self.heard.learn(signed(frame), heard);
        }
        while let Ok(begun) = self.begun.pop() {
            if self.latest.is_some_and(|latest| latest.play == begun.play) {
                self.began_at = Some(signed(begun.frame));
            }
        }
    }
}

impl Output for DeviceOutput {
    fn name(&self) -> &str {
        &self.name
    }

    fn rate(&self) -> SampleRate {
        self.rate
    }

    fn play(&mut self, sound: Samples, onset: Onset, repeat: Loop) -> Result<PlayId, Refused> {
        check_rate(&sound, self.rate)?;
        let play = PlayId(self.n_plays + 1);
        let playing = Playing::of(play, &sound, repeat);
        let order = Order::Play {
            play,
            sound,
            onset,
            repeat,
        };
        self.order(playing, order)
    }

    fn follow(&mut self, sound: Samples, repeat: Loop, parts: u32) -> Result<PlayId, Refused> {
        check_rate(&sound, self.rate)?;
        let play = PlayId(self.n_plays + 1);
        let playing = Playing::of(play, &sound, repeat);
        let order = Order::Follow {
            play,
            sound,
            repeat,
            parts: u64::from(parts.max(1)),
        };
        self.order(playing, order)
    }

    fn stop(&mut self) {
        self.catch_up();
        if let Some(playing) = &mut self.latest {
            playing.stopped = true;
        }
        // A device that takes no orders any more does not sound either.
        drop(self.orders.push(Order::Stop));
    }

    fn position(&mut self, at: Stamp) -> Option<Position> {
        self.catch_up();
        let playing = self.latest?;
        let began_at = self.began_at?;
        let frame = Frame(self.heard.frame_at(at)?.0 - began_at.0);
        Some(Position {
            play: playing.play,
            frame,
            began: self.heard.stamp_of(began_at)?,
            progress: playing.progress(frame),
        })
    }

    fn health(&mut self) -> Health {
        self.catch_up();
        let reported = self.troubles.n_underruns.load(Ordering::Relaxed);
        Health {
            // A stall that the device did not report shows as a jump; one that it did may count
            // twice, which spoils no more than it has to.
            n_underruns: reported + self.heard.n_jumps(),
            lost: self.troubles.lost.load(Ordering::Relaxed),
        }
    }
}

/// Why a device is not opened, for whoever wants to hear something; what the library below says names
/// its own functions.
fn refusal(kind: ErrorKind) -> &'static str {
    match kind {
        ErrorKind::DeviceBusy => "another program has it for itself",
        ErrorKind::DeviceNotAvailable => "the one that the system names is not there",
        ErrorKind::PermissionDenied => "the system does not let this program use it",
        ErrorKind::UnsupportedConfig
        | ErrorKind::UnsupportedOperation
        | ErrorKind::InvalidInput => "it takes no sound of the kind that is played here",
        ErrorKind::ResourceExhausted => "the system has no room left for more sound",
        _ => "the sound system does not answer",
    }
}

/// Ways to open `device`, best first: ours, then what it says it likes.
fn configs(device: &cpal::Device) -> Vec<(StreamConfig, SampleFormat)> {
    let mut forms = vec![(2, SampleRate::HZ_48000.hz(), SampleFormat::F32)];
    if let Ok(likes) = device.default_output_config() {
        forms.push((2, SampleRate::HZ_48000.hz(), likes.sample_format()));
        forms.push((likes.channels(), likes.sample_rate(), likes.sample_format()));
    }
    forms.dedup();
    let buffered = forms
        .into_iter()
        .flat_map(|(channels, sample_rate, format)| {
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

fn signed(frame: u64) -> Frame {
    Frame(i64::try_from(frame).unwrap_or(i64::MAX))
}

/// What the device complained of.
#[derive(Debug, Default)]
struct Troubles {
    n_underruns: AtomicU64,
    lost: AtomicBool,
}

impl Troubles {
    /// Only counts: right after opening, harmless complaints come by the hundred.
    fn count(&self, error: &cpal::Error) {
        match error.kind() {
            ErrorKind::Xrun => {
                self.n_underruns.fetch_add(1, Ordering::Relaxed);
            }
            ErrorKind::DeviceNotAvailable | ErrorKind::StreamInvalidated => {
                self.lost.store(true, Ordering::Relaxed);
            }
            _ => {}
        }
    }
}

/// Fills the device's buffers.
struct Callback {
    mixed: rodio::mixer::MixerSource,
    pairs: Producer<(u64, Instant)>,
    frame: u64,
}

impl Callback {
    /// Fills them with the one source that ever sounds. It never ends, so that the mixer counts the
    /// same frames as it does.
    fn of(source: Endless, pairs: Producer<(u64, Instant)>) -> Self {
        let (mixer, mixed) = rodio::mixer::mixer(source.channels(), source.sample_rate());
        mixer.add(source);
        Self {
            mixed,
            pairs,
            frame: 0,
        }
    }

    fn build<T: SizedSample + FromSample<f32>>(
        mut self,
        device: &cpal::Device,
        config: StreamConfig,
        on_error: impl FnMut(cpal::Error) + Send + 'static,
    ) -> Result<cpal::Stream, cpal::Error> {
        let channels = usize::from(config.channels.max(1));
        let fill = move |out: &mut [T], info: &OutputCallbackInfo| self.fill(out, channels, info);
        device.build_output_stream(config, fill, on_error, Some(Duration::from_secs(2)))
    }

    fn fill<T: SizedSample + FromSample<f32>>(
        &mut self,
        out: &mut [T],
        channels: usize,
        info: &OutputCallbackInfo,
    ) {
        let times = info.timestamp();
        let ahead = times.playback.saturating_duration_since(times.callback);
        // When the ring is full nobody listens, and the pair is not missed.
        let _ = self.pairs.push((self.frame, instant_now() + ahead));
        for frame in out.chunks_exact_mut(channels) {
            let left = self.mixed.next().unwrap_or(0.0);
            let right = self.mixed.next().unwrap_or(0.0);
            match frame {
                [only] => *only = T::from_sample(0.5 * (left + right)),
                [first, second, others @ ..] => {
                    *first = T::from_sample(left);
                    *second = T::from_sample(right);
                    others.fill(T::from_sample(0.0));
                }
                [] => {}
            }
            self.frame += 1;
        }
    }
}

/// The one source that ever sounds, as the mixer wants it.
struct Endless {
    rate: SampleRate,
    feed: Feed,
}

impl Iterator for Endless {
    type Item = f32;

    fn next(&mut self) -> Option<f32> {
        Some(self.feed.next_sample())
    }
}

impl Source for Endless {
    fn current_span_len(&self) -> Option<usize> {
        None
    }

    fn channels(&self) -> NonZero<u16> {
        const { NonZero::new(2).expect("two is not zero") }
    }

    fn sample_rate(&self) -> NonZero<u32> {
        NonZero::new(self.rate.hz()).expect("a sample rate is never zero")
    }

    fn total_duration(&self) -> Option<Duration> {
        None
    }
}
