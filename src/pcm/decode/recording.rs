//! [`Recording`]: what is read next, and where it stands.

use std::io::{Read, Seek};

use super::lost::{DecodeError, End, Lost, Rest};
use super::mix::Mix;
use super::stream::{Part, Place, Sound, Stream};
use super::{FAULTS_ON_END, LONGEST_SECONDS, LONGEST_SILENCE_SECONDS, RATES};
use crate::pcm::{Frames, SampleRate};

/// A recording that is being read.
pub struct Recording {
    stream: Stream,
    rate: SampleRate,
    n_channels: u16,
    frames_known: Option<u64>,
    /// The frame after the last that was given.
    at: u64,
    /// The frame at which the next packet should begin, by the count of the file.
    due: Option<u64>,
    /// Frames before this one are decoded and thrown away, after a seek.
    wanted: Option<u64>,
    /// Frames of silence that are to be given before the block that is ready.
    n_silent: u64,
    /// A block that was decoded and not yet given.
    ready: Option<Vec<f32>>,
    /// Damaged parts on end.
    n_faults: u32,
    is_over: bool,
    lost: Lost,
}

/// Begins to read a recording. What it is shows in its bytes; `extension` of its name, without the
/// dot, is a mere hint.
///
/// # Errors
/// When it is empty, no recording, or so damaged that not one frame can be heard; what has no beginning
/// of its kind and no frame that can be heard is no recording.
pub fn open(
    source: impl Read + Seek + Send + Sync + 'static,
    extension: Option<&str>,
) -> Result<Recording, DecodeError> {
    Recording::begun(Stream::open(source, extension)?)
}

impl Recording {
    /// Frames a second.
    pub fn rate(&self) -> SampleRate {
        self.rate
    }

    /// One, or two: more are mixed down to two.
    pub fn n_channels(&self) -> u16 {
        self.n_channels
    }

    /// How long it is in seconds, where the file says so believably.
    pub fn seconds(&self) -> Option<f64> {
        self.frames_known.map(|frames| seconds(frames, self.rate))
    }

    /// How many frames were passed: those given, and those before the place that was sought.
    pub fn position(&self) -> Frames {
        Frames(self.at)
    }

    /// What could not be heard so far.
    pub fn lost(&self) -> Lost {
        self.lost
    }

    /// The next samples, interleaved when there are two channels; `None` at the end. All are finite;
    /// decoded peaks may pass ±1.0. What is damaged or cannot be read is no error: see
    /// [`Recording::lost`].
    pub fn next_block(&mut self) -> Option<Vec<f32>> {
        loop {
            if self.n_silent > 0 {
                // A hole may be long, and no block is.
                let n_frames = self.n_silent.min(self.rate.hz().into());
                self.n_silent -= n_frames;
                return Some(self.silence(n_frames));
            }
            if self.ready.is_some() {
                return self.ready.take();
            }
            if self.is_over {
                return None;
            }
            match self.next_part() {
                Ok(block) => self.ready = block,
                Err(_) => self.over(Some(End::Unreadable)),
            }
        }
    }

    /// Goes to a time in seconds: the next block begins with the frame nearest to it. What is no time
    /// in the recording is held at its beginning or at its end.
    ///
    /// # Errors
    /// When the file cannot be read from where it lies.
    pub fn seek(&mut self, seconds: f64) -> Result<(), DecodeError> {
        let most = f64::from(LONGEST_SECONDS);
        let seconds = if seconds > 0.0 {
            seconds.min(most)
        } else {
            0.0
        };
        let wanted = whole(seconds * f64::from(self.rate.hz()));
        self.ready = None;
        self.n_silent = 0;
        self.is_over = false;
        self.lost.ended = None;
        self.lost.rest = Rest::Read;
        let begin = (seconds - RUN_UP).max(0.0);
        if !self.stream.seek(begin)? {
            self.held_at_the_end();
            return Ok(());
        }
        self.due = None;
        self.wanted = Some(wanted);
        self.at = wanted;
        while !self.is_over && self.ready.is_none() {
            self.ready = self.next_part()?;
        }
        if self.ready.is_none() {
            self.held_at_the_end();
        }
        Ok(())
    }

    fn held_at_the_end(&mut self) {
        self.is_over = true;
        self.at = self.frames_known.unwrap_or(self.at);
    }

    /// Decodes until something is heard, since only that tells the rate and the channels for sure.
    fn begun(stream: Stream) -> Result<Self, DecodeError> {
        let mut recording = Self {
            stream,
            rate: SampleRate::HZ_48000,
            n_channels: 0,
            frames_known: None,
            at: 0,
            due: None,
            wanted: None,
            n_silent: 0,
            ready: None,
            n_faults: 0,
            is_over: false,
            lost: Lost::default(),
        };
        recording.ready = Some(recording.first_heard()?);
        recording.frames_known = recording.stream.frames_claimed(recording.rate);
        Ok(recording)
    }

    fn first_heard(&mut self) -> Result<Vec<f32>, DecodeError> {
        while !self.is_over {
            if let Some(block) = self.next_part()? {
                return Ok(block);
            }
        }
        Err(if self.lost.is_nothing() {
            DecodeError::NoFrames
        } else {
            self.stream.unheard()
        })
    }

    /// Reads and decodes one part. `None` when nothing comes of it, or the recording is over.
    fn next_part(&mut self) -> Result<Option<Vec<f32>>, DecodeError> {
        let part = self.stream.next()?;
        if !matches!(part, Part::Damaged(_)) {
            self.n_faults = 0;
        }
        match part {
            Part::Nothing => Ok(None),
            Part::Sound(sound) => self.heard(&sound),
            Part::Damaged(place) => Ok(self.damaged(place)),
            Part::End => {
                self.over(self.early_end());
                Ok(None)
            }
            Part::Broken => {
                self.over(Some(End::Damaged));
                Ok(None)
            }
        }
    }

    /// The first sound sets rate and channels; what comes at another rate later is no part of it.
    fn heard(&mut self, sound: &Sound) -> Result<Option<Vec<f32>>, DecodeError> {
        let hz = sound.hz;
        let mix = Mix::of(sound.channels);
        if self.n_channels == 0 {
            // A first packet may be all run-up.
            if sound.interleaved.is_empty() {
                return Ok(None);
            }
            let rate = SampleRate::new(hz).filter(|rate| RATES.contains(&rate.hz()));
            self.rate = rate.ok_or(DecodeError::Rate { hz })?;
            self.n_channels = mix.n_out();
        }
        if hz != self.rate.hz() {
            return Ok(self.damaged(sound.place));
        }
        let mut block = mix.mixed(&sound.interleaved, self.n_channels);
        for sample in &mut block {
            if !sample.is_finite() {
                *sample = 0.0;
                self.lost.samples += 1;
            }
        }
        Ok(self.placed(sound.place, block))
    }

    /// Silence for as long as the damaged part would have sounded.
    fn damaged(&mut self, place: Option<Place>) -> Option<Vec<f32>> {
        self.count_damage();
        self.n_faults += 1;
        if self.n_faults >= FAULTS_ON_END {
            self.over(Some(End::Damaged));
            return None;
        }
        let place = place.filter(|_| self.n_channels > 0)?;
        let n_frames = place.frames(self.rate).1.min(self.longest_silence());
        self.lost.silenced += n_frames;
        let silence = self.silence(n_frames);
        self.placed(Some(place), silence)
    }

    fn count_damage(&mut self) {
        let at = seconds(self.at, self.rate);
        self.lost.packets = self.lost.packets.saturating_add(1);
        self.lost.first.get_or_insert(at);
    }

    /// What of a block is given: after a seek, all from the frame that was wanted on; and before it
    /// silence where the file says that something is missing.
    fn placed(&mut self, place: Option<Place>, block: Vec<f32>) -> Option<Vec<f32>> {
        let n_frames = self.n_frames(&block);
        let (start, length) = match place {
            Some(place) => place.frames(self.rate),
            None => (self.due.unwrap_or(self.at), n_frames),
        };
        let end = start.saturating_add(length);
        let due = self.due.replace(end);
        let block = match self.wanted {
            Some(wanted) => {
                let early = wanted.saturating_sub(start);
                if early >= n_frames {
                    return None;
                }
                self.wanted = None;
                // What was wanted may be missing.
                self.be_silent(self.believed(start.saturating_sub(wanted), end));
                self.without(early, block)
            }
            None => {
                let hole = self.believed(start.saturating_sub(due.unwrap_or(start)), end);
                if hole > 0 {
                    self.count_damage();
                    self.lost.silenced += hole;
                    self.be_silent(hole);
                }
                block
            }
        };
        let block = self.up_to_the_end(block);
        if block.is_empty() {
            return None;
        }
        self.at = self.at.saturating_add(self.n_frames(&block));
        if self.at > u64::from(LONGEST_SECONDS) * u64::from(self.rate.hz()) {
            self.over(Some(End::TooLong));
        }
        Some(block)
    }

    /// How long a hole is before a part that ends with the frame `end`: none where that is not believed.
    fn believed(&self, hole: u64, end: u64) -> u64 {
        let is_within = self.frames_known.is_some_and(|known| end <= known);
        if is_within || hole <= self.longest_silence() {
            hole
        } else {
            0
        }
    }

    fn be_silent(&mut self, n_frames: u64) {
        self.n_silent = n_frames;
        self.at = self.at.saturating_add(n_frames);
    }

    /// A block without so many of its first frames.
    fn without(&self, n_frames: u64, mut block: Vec<f32>) -> Vec<f32> {
        let n_samples = n_frames.saturating_mul(self.n_channels.into());
        let n_samples = usize::try_from(n_samples).unwrap_or(usize::MAX);
        block.drain(..n_samples.min(block.len()));
        block
    }

    /// A block without what lies behind the end. Vorbis knows it only from its last page, and the
    /// library leaves more than that where the page before is damaged or there is none; so it does where
    /// frames of MP3 are missing before it.
    fn up_to_the_end(&self, mut block: Vec<f32>) -> Vec<f32> {
        if let Some(end) = self.frames_known.filter(|_| self.stream.passes_its_end()) {
            let n_samples = end
                .saturating_sub(self.at)
                .saturating_mul(self.n_channels.into());
            block.truncate(usize::try_from(n_samples).unwrap_or(usize::MAX));
        }
        block
    }

    fn over(&mut self, early: Option<End>) {
        self.is_over = true;
        self.lost.ended = early.map(|end| (end, seconds(self.at, self.rate)));
        if early.is_some_and(|end| end != End::CutOff) {
            self.lost.rest = Rest::GivenUp;
        }
    }

    /// Why nothing comes any more, where more was said to come.
    fn early_end(&self) -> Option<End> {
        let leeway = u64::from(self.rate.hz()) / 20;
        let known = self.frames_known.unwrap_or(0);
        let n_missing = known.saturating_sub(self.at);
        let is_short = n_missing > leeway;
        if self.wanted.is_some() || !(is_short || self.stream.is_without_end()) {
            return None;
        }
        match is_short && self.stream.has_its_end(n_missing, self.lost.silenced) {
            true => Some(End::Damaged),
            false => Some(End::CutOff),
        }
    }

    fn longest_silence(&self) -> u64 {
        LONGEST_SILENCE_SECONDS * u64::from(self.rate.hz())
    }

    fn silence(&self, n_frames: u64) -> Vec<f32> {
        let n_frames = usize::try_from(n_frames).unwrap_or(0);
        vec![0.0; n_frames * usize::from(self.n_channels)]
    }

    fn n_frames(&self, block: &[f32]) -> u64 {
        let n_frames = block.len() / usize::from(self.n_channels.max(1));
        u64::try_from(n_frames).unwrap_or(u64::MAX)
    }
}

/// Decoding begins so many seconds before what is sought, since packets of some kinds need those
/// before them to be right.
const RUN_UP: f64 = 0.25;

#[expect(
    clippy::cast_precision_loss,
    reason = "six hours of frames are exact in double precision"
)]
fn seconds(frame: u64, rate: SampleRate) -> f64 {
    frame as f64 / f64::from(rate.hz())
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "held between 0 and six hours of frames by the caller"
)]
fn whole(frame: f64) -> u64 {
    frame.round() as u64
}
