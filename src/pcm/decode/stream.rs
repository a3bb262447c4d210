//! The stream of packets in a file. The one place that speaks to the library.

use std::cell::Cell;
use std::io::{ErrorKind, Read, Seek};
use std::panic::{AssertUnwindSafe, catch_unwind};

use symphonia::core::audio::{AudioBufferRef, Channels, SampleBuffer};
use symphonia::core::codecs::{
    CODEC_TYPE_AAC, CODEC_TYPE_ALAC, CODEC_TYPE_MP3, CODEC_TYPE_NULL, CODEC_TYPE_VORBIS,
    CodecParameters, Decoder, DecoderOptions,
};
use symphonia::core::errors::Error;
use symphonia::core::formats::{FormatOptions, FormatReader, Packet, SeekMode, SeekTo};
use symphonia::core::io::{MediaSourceStream, MediaSourceStreamOptions};
use symphonia::core::meta::{Limit, MetadataOptions};
use symphonia::core::probe::{Hint, Probe};
use symphonia::core::units::{Time, TimeBase};
use symphonia::default::formats::{
    AdtsReader, AiffReader, FlacReader, IsoMp4Reader, MpaReader, OggReader, WavReader,
};

use super::LONGEST_PACKET;
use super::claims::{self, Ending, Hole, Holes, Kind};
use super::lost::DecodeError;
use super::source::Source;
use crate::pcm::SampleRate;

/// What comes next.
pub(super) enum Part {
    Sound(Sound),
    /// Of something else in the file.
    Nothing,
    /// It could not be decoded; where it would have been, if that is known.
    Damaged(Option<Place>),
    /// Nothing comes any more.
    End,
    /// Something may come, but nothing can be made of it.
    Broken,
}

/// A decoded packet.
pub(super) struct Sound {
    pub(super) place: Option<Place>,
    pub(super) hz: u32,
    pub(super) channels: Channels,
    pub(super) interleaved: Vec<f32>,
}

/// Where a packet stands, in units of the file.
#[derive(Clone, Copy)]
pub(super) struct Place {
    start: u64,
    length: u64,
    unit: Option<TimeBase>,
}

impl Place {
    /// Its first frame and how many it has.
    pub(super) fn frames(self, rate: SampleRate) -> (u64, u64) {
        let frames = |units| in_frames(units, self.unit, rate);
        let start = frames(self.start);
        let end = frames(self.start.saturating_add(self.length));
        (start, end - start)
    }
}

/// A file with a decoder for the first sound in it.
pub(super) struct Stream {
    format: Box<dyn FormatReader>,
    decoder: Box<dyn Decoder>,
    params: CodecParameters,
    track_id: u32,
    ending: Ending,
    kind: Kind,
    missing: Missing,
    given: Given,
    /// It may be in any state and is not touched any more.
    is_broken: bool,
}

impl Stream {
    pub(super) fn open(
        source: impl Read + Seek + Send + Sync + 'static,
        extension: Option<&str>,
    ) -> Result<Self, DecodeError> {
        let mut source = Source::new(source)?;
        if source.is_empty() {
            return Err(DecodeError::Empty);
        }
        let n_bytes = source.n_bytes();
        let checked = claims::checked(&mut source, n_bytes)?;
        let (kind, ending, holes) = (checked.kind, checked.end, checked.holes);
        let blanks = holes.all.iter().map(|hole| hole.bytes.clone());
        source.hide(checked.patches, blanks.collect())?;
        let n_sounding = n_bytes.saturating_sub(checked.n_head);
        let mut hint = Hint::new();
        if let Some(extension) = extension {
            hint.with_extension(extension);
        }
        let opened = guarded(|| {
            let mut stream = Self::of(probed(kind, &hint, source)?, kind, ending)?;
            stream.missing = Missing::of(&holes, &stream.params);
            stream.given.n_sounding = n_sounding;
            Ok(stream)
        });
        opened
            .unwrap_or(Err(DecodeError::Damaged))
            .map_err(|error| match error {
                DecodeError::Damaged => kind.unheard(),
                error => error,
            })
    }

    fn of(format: Box<dyn FormatReader>, kind: Kind, ending: Ending) -> Result<Self, DecodeError> {
        let mut tracks = format.tracks().iter();
        let track = tracks.find(|track| track.codec_params.codec != CODEC_TYPE_NULL);
        let track = track.ok_or(DecodeError::NoFrames)?;
        let (track_id, params) = (track.id, track.codec_params.clone());
        check_codec(&params)?;
        let decoder = decoder(&params).map_err(unopened)?;
        Ok(Self {
            format,
            decoder,
            params,
            track_id,
            ending,
            kind,
            missing: Missing::default(),
            given: Given::default(),
            is_broken: false,
        })
    }

    /// Whether what others of its kind say at their end is missing.
    pub(super) fn is_without_end(&self) -> bool {
        self.ending == Ending::Missing
    }

    /// What is said where nothing of it can be heard.
    pub(super) fn unheard(&self) -> DecodeError {
        self.kind.unheard()
    }

    /// Whether the library gives more than lies before the end.
    pub(super) fn passes_its_end(&self) -> bool {
        self.params.codec == CODEC_TYPE_VORBIS || !self.missing.0.is_empty()
    }

    /// Whether the bytes are there of what is missing at the end, where so many frames were silenced
    /// before it: then it is damaged and not cut off.
    pub(super) fn has_its_end(&self, n_missing: u64, n_silenced: u64) -> bool {
        let is_told = self.kind == Kind::Flac || self.params.codec == CODEC_TYPE_MP3;
        is_told && self.given.leaves(n_missing, n_silenced)
    }

    /// How many frames the file claims to have, unless that is a mere guess or absurd.
    pub(super) fn frames_claimed(&self, rate: SampleRate) -> Option<u64> {
        let params = &self.params;
        // Without a note of its encoder the length of an MP3 file is guessed from its first packets,
        // and so is that of AAC by itself, which comes without a description.
        let guessed = params.codec == CODEC_TYPE_MP3 && params.delay.is_none()
            || params.codec == CODEC_TYPE_AAC && params.extra_data.is_none();
        if guessed {
            return None;
        }
        let n_units = params.n_frames?;
        // Whoever writes a WAV file into a pipe does not know its length and says 4 GiB.
        let bits = params.bits_per_sample.or(params.bits_per_coded_sample);
        let frame_bits = u64::from(bits.unwrap_or(0)) * n_channels(params);
        let n_bytes = n_units.saturating_mul(frame_bits) / 8;
        let n_frames = in_frames(n_units, params.time_base, rate);
        let most = u64::from(super::LONGEST_SECONDS) * u64::from(rate.hz());
        (n_bytes < UNKNOWN_BYTES && n_frames <= most).then_some(n_frames)
    }

    /// Reads and decodes the next packet.
    pub(super) fn next(&mut self) -> Result<Part, DecodeError> {
        if self.is_broken {
            return Ok(Part::Broken);
        }
        let packet = match guarded(|| self.format.next_packet()) {
            Some(Ok(packet)) => packet,
            Some(Err(Error::IoError(error))) if is_of_the_file(&error) => return Ok(Part::End),
            Some(Err(Error::IoError(error))) => return Err(error.into()),
            Some(Err(Error::ResetRequired | Error::LimitError(_))) => return Ok(Part::Broken),
            Some(Err(_)) => return Ok(Part::Damaged(None)),
            None => {
                self.is_broken = true;
                return Ok(Part::Broken);
            }
        };
        if packet.track_id() != self.track_id {
            return Ok(Part::Nothing);
        }
        Ok(self.decoded(&packet))
    }

    /// A packet at which the decoder panics costs no more than itself: those after it go to a new
    /// decoder.
    fn decoded(&mut self, packet: &Packet) -> Part {
        let place = Some(self.place(packet));
        match guarded(|| {
            self.decoder
                .decode(packet)
                .map(|decoded| sound(place, decoded))
        }) {
            Some(Ok(sound)) => {
                self.given.take(packet);
                Part::Sound(sound)
            }
            Some(Err(_)) => {
                self.renew();
                Part::Damaged(place)
            }
            None => match guarded(|| decoder(&self.params)) {
                Some(Ok(fresh)) => {
                    self.decoder = fresh;
                    Part::Damaged(place)
                }
                _ => {
                    self.is_broken = true;
                    Part::Broken
                }
            },
        }
    }

    /// A decoder of AAC that failed once may fail for good.
    fn renew(&mut self) {
        if self.params.codec == CODEC_TYPE_AAC
            && let Some(Ok(fresh)) = guarded(|| decoder(&self.params))
        {
            self.decoder = fresh;
        }
    }

    fn place(&self, packet: &Packet) -> Place {
        Place {
            start: self.missing.placed(packet.ts()),
            length: packet.dur(),
            unit: self.params.time_base,
        }
    }

    /// Goes to a packet at or before `seconds`; false when there is none.
    pub(super) fn seek(&mut self, seconds: f64) -> Result<bool, DecodeError> {
        if self.is_broken {
            return Ok(false);
        }
        self.given.is_from_the_beginning = false;
        let to = match self.params.sample_rate {
            Some(hz) if !self.missing.0.is_empty() => SeekTo::TimeStamp {
                ts: self
                    .missing
                    .counted(TimeBase::new(1, hz).calc_timestamp(Time::from(seconds))),
                track_id: self.track_id,
            },
            _ => SeekTo::Time {
                time: Time::from(seconds),
                track_id: Some(self.track_id),
            },
        };
        let sought = guarded(|| {
            let sought = self.format.seek(SeekMode::Accurate, to);
            self.decoder.reset();
            sought
        });
        match sought {
            Some(Ok(_)) => Ok(true),
            Some(Err(Error::IoError(error))) if !is_of_the_file(&error) => Err(error.into()),
            Some(Err(_)) => Ok(false),
            None => {
                self.is_broken = true;
                Ok(false)
            }
        }
    }
}

/// Frames that are missing in an MP3 file, of which the library knows nothing: from which frame on, as it
/// counts them, how many are missing by then.
#[derive(Default)]
struct Missing(Vec<(u64, u64)>);

impl Missing {
    fn of(holes: &Holes, params: &CodecParameters) -> Self {
        if params.codec != CODEC_TYPE_MP3 {
            return Self::default();
        }
        let delay = params.delay.unwrap_or(0).into();
        let mut n_missing = 0;
        let one = |hole: &Hole| {
            n_missing += hole.n_missing * holes.n_samples;
            let from = hole.n_before * holes.n_samples;
            (from.saturating_sub(delay), n_missing)
        };
        Self(holes.all.iter().map(one).collect())
    }

    /// The place of a frame by the count of the library.
    fn placed(&self, frame: u64) -> u64 {
        let nth = self.0.partition_point(|(from, _)| *from <= frame);
        let last = nth.checked_sub(1).and_then(|nth| self.0.get(nth));
        frame.saturating_add(last.map_or(0, |(_, n_missing)| *n_missing))
    }

    /// By the count of the library the frame at a place, or the next one where it is missing.
    fn counted(&self, place: u64) -> u64 {
        let mut before = 0;
        for (from, n_missing) in &self.0 {
            if place < from + before {
                break;
            }
            if place < from + n_missing {
                return *from;
            }
            before = *n_missing;
        }
        place - before
    }
}

/// What was decoded so far.
struct Given {
    n_packets: u64,
    n_bytes: u64,
    n_frames: u64,
    /// How many bytes there are with sound.
    n_sounding: u64,
    is_from_the_beginning: bool,
}

impl Default for Given {
    fn default() -> Self {
        Self {
            n_packets: 0,
            n_bytes: 0,
            n_frames: 0,
            n_sounding: 0,
            is_from_the_beginning: true,
        }
    }
}

impl Given {
    fn take(&mut self, packet: &Packet) {
        self.n_packets += 1;
        self.n_bytes += u64::try_from(packet.buf().len()).unwrap_or(0);
        self.n_frames += packet.dur();
    }

    /// Whether about as many bytes are left as so many frames would have, beside those that were silenced
    /// and beside a packet that was cut in two.
    fn leaves(&self, n_frames: u64, n_silenced: u64) -> bool {
        if self.n_packets == 0 || !self.is_from_the_beginning {
            return false;
        }
        let left = self.n_sounding.saturating_sub(self.n_bytes);
        let [left, n_bytes, all] = [left, self.n_bytes, self.n_frames].map(i128::from);
        let [n_frames, n_silenced] = [n_frames, n_silenced].map(i128::from);
        let packet = 3 * n_bytes * all / i128::from(self.n_packets);
        2 * (left * all - n_silenced * n_bytes) >= n_frames * n_bytes + packet
    }
}

/// What the length of a WAV file that was never known is said to be, in bytes, or a little more.
const UNKNOWN_BYTES: u64 = 0xffff_0000;

/// What a file says of its packets before the first, held against limits before a decoder takes
/// memory for it.
fn check_codec(params: &CodecParameters) -> Result<(), DecodeError> {
    let told = params.extra_data.as_deref().unwrap_or_default();
    let longest = match (params.codec, told) {
        // The first four bytes of what a decoder of ALAC is told are the frames in a packet.
        (CODEC_TYPE_ALAC, [a, b, c, d, ..]) => u32::from_be_bytes([*a, *b, *c, *d]).into(),
        _ => params.max_frames_per_packet.unwrap_or(0),
    };
    if longest > LONGEST_PACKET {
        return Err(DecodeError::Claims);
    }
    if params.codec == CODEC_TYPE_VORBIS {
        claims::check_vorbis(told)?;
    }
    if params.codec == CODEC_TYPE_AAC && n_channels_of_aac(params) > 2 {
        return Err(DecodeError::Channels);
    }
    Ok(())
}

/// How many channels AAC has: what its decoder is told begins with the kind in 5 bits and the rate in
/// 4, or in 28 after 15, and then says the channels in 4 (ISO/IEC 14496-3, section 1.6.2.1), where 7 are
/// eight of them. 0 where it stands elsewhere.
fn n_channels_of_aac(params: &CodecParameters) -> u64 {
    let told = params.extra_data.as_deref().unwrap_or_default();
    let mut bits = told
        .iter()
        .flat_map(|byte| (0..8).rev().map(move |n| byte >> n & 1));
    let mut number = |n_bits| {
        (0..n_bits).try_fold(0_u64, |so_far, _| {
            Some(so_far << 1 | u64::from(bits.next()?))
        })
    };
    if told.is_empty() {
        return n_channels(params);
    }
    let kind = number(5);
    let rate = number(4);
    // No kind that needs more than five bits is read.
    match (kind, rate) {
        (Some(31), _) | (_, None) => return 0,
        (_, Some(15)) => {
            number(24);
        }
        _ => {}
    }
    match number(4) {
        Some(7) => 8,
        n => n.unwrap_or(0),
    }
}

fn decoder(params: &CodecParameters) -> Result<Box<dyn Decoder>, Error> {
    symphonia::default::get_codecs().make(params, &DecoderOptions::default())
}

/// Readers of one kind of file alone: what was not checked for what it claims is not read. None of
/// them reads ID3, which the library cannot without believing every length in it.
fn readers(kind: Kind) -> Probe {
    let mut readers = Probe::default();
    match kind {
        Kind::Aiff => readers.register_all::<AiffReader>(),
        Kind::Flac => readers.register_all::<FlacReader>(),
        Kind::Mp4 => readers.register_all::<IsoMp4Reader>(),
        Kind::Ogg => readers.register_all::<OggReader>(),
        Kind::Wav => readers.register_all::<WavReader>(),
        Kind::Frames => {
            readers.register_all::<AdtsReader>();
            readers.register_all::<MpaReader>();
        }
    }
    readers
}

fn probed(
    kind: Kind,
    hint: &Hint,
    source: Source<impl Read + Seek + Send + Sync + 'static>,
) -> Result<Box<dyn FormatReader>, DecodeError> {
    let stream = MediaSourceStream::new(Box::new(source), MediaSourceStreamOptions::default());
    let format_options = FormatOptions {
        enable_gapless: true,
        ..FormatOptions::default()
    };
    // Pictures and words in a file are of no use here.
    let no_words = MetadataOptions {
        limit_metadata_bytes: Limit::Maximum(0),
        limit_visual_bytes: Limit::Maximum(0),
    };
    let found = readers(kind).format(hint, stream, &format_options, &no_words);
    Ok(found.map_err(unopened)?.format)
}

/// What cannot even be opened.
fn unopened(error: Error) -> DecodeError {
    match error {
        Error::IoError(error) if is_of_the_file(&error) => DecodeError::Damaged,
        Error::IoError(error) => DecodeError::Unreadable(error),
        Error::Unsupported(what) if what.starts_with("core (probe)") => DecodeError::Unknown,
        Error::Unsupported(_) => DecodeError::Coding,
        Error::LimitError(_) => DecodeError::Claims,
        _ => DecodeError::Damaged,
    }
}

/// Whether an error of reading comes from what a file says and not from where it lies: it ended too
/// early, or a place was asked for that cannot be.
fn is_of_the_file(error: &std::io::Error) -> bool {
    matches!(
        error.kind(),
        ErrorKind::UnexpectedEof | ErrorKind::InvalidInput | ErrorKind::Other
    )
}

thread_local! {
    static IS_GUARDED: Cell<bool> = const { Cell::new(false) };
}

/// Whether this thread is inside of the library, where a panic is caught and becomes damage. A panic
/// hook asks this in order to stay silent then.
pub fn is_guarded() -> bool {
    IS_GUARDED.get()
}

/// What `work` says; `None` when it panicked. The library takes some damaged files for impossible;
/// whoever calls this never again touches what it was working on.
fn guarded<T>(work: impl FnOnce() -> T) -> Option<T> {
    IS_GUARDED.set(true);
    let done = catch_unwind(AssertUnwindSafe(work)).ok();
    IS_GUARDED.set(false);
    done
}

fn sound(place: Option<Place>, decoded: AudioBufferRef<'_>) -> Sound {
    let spec = *decoded.spec();
    let n_frames = u64::try_from(decoded.frames()).unwrap_or(u64::MAX);
    let mut samples = SampleBuffer::<f32>::new(n_frames, spec);
    // The library cannot copy nothing: some packets are all run-up.
    if n_frames > 0 {
        samples.copy_interleaved_ref(decoded);
    }
    Sound {
        place,
        hz: spec.rate,
        channels: spec.channels,
        interleaved: samples.samples().to_vec(),
    }
}

fn n_channels(params: &CodecParameters) -> u64 {
    let channels = params.channels.map_or(1, Channels::count);
    u64::try_from(channels).unwrap_or(1)
}

/// Units of a file as frames; a unit is a frame where nothing else is said.
fn in_frames(units: u64, unit: Option<TimeBase>, rate: SampleRate) -> u64 {
    let unit = unit.filter(|unit| unit.denom > 0 && unit.numer > 0);
    let Some(unit) = unit else {
        return units;
    };
    let scaled = u128::from(units) * u128::from(unit.numer) * u128::from(rate.hz());
    let denom = u128::from(unit.denom);
    u64::try_from((2 * scaled + denom) / (2 * denom)).unwrap_or(u64::MAX)
}
