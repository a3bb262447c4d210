//! A stretch of a file at a time, and what stands at a place in it: a frame, words, a description of the
//! file. Places are bytes from the beginning of the file; which of what is found is damaged is not decided
//! here.

use std::io::{Read, Seek, SeekFrom};

use super::frame::Frame;
use crate::pcm::decode::lost::DecodeError;

/// What the first frame says of the file, in the stead of sound.
pub(super) struct Described {
    pub(super) n_frames: u64,
    pub(super) n_bytes: u64,
}

/// A stretch of a file.
pub(super) struct Window<'a, S> {
    source: &'a mut S,
    n_bytes: u64,
    from: u64,
    bytes: Vec<u8>,
}

/// Bytes of a stretch, and how many of them at least lie behind what is looked at: two frames, which
/// have no more than 1441 each.
const STRETCH: u64 = 64 << 10;
const AHEAD: u64 = 4096;
/// The first frame begins in so many bytes.
const FIRST_WITHIN: u64 = 1 << 20;

impl<'a, S: Read + Seek> Window<'a, S> {
    pub(super) fn new(source: &'a mut S, n_bytes: u64) -> Self {
        Self {
            source,
            n_bytes,
            from: 0,
            bytes: Vec::new(),
        }
    }

    /// The first frame after which another one like it begins.
    pub(super) fn first(&mut self) -> Result<Option<(u64, Frame)>, DecodeError> {
        for at in 0..self.n_bytes.min(FIRST_WITHIN) {
            if let Some(frame) = self.frame(at)?
                && self.is_followed(at, frame)
            {
                return Ok(Some((at, frame)));
            }
        }
        Ok(None)
    }

    /// The next frame from `at` on that is like the first and is followed by another.
    pub(super) fn next_like(&mut self, at: u64, first: Frame) -> Result<Option<u64>, DecodeError> {
        for at in at..self.n_bytes {
            let frame = self.frame(at)?.filter(|frame| frame.is_like(first));
            if frame.is_some_and(|frame| self.is_followed(at, frame)) {
                return Ok(Some(at));
            }
        }
        Ok(None)
    }

    /// Whether another frame like it comes right behind one, or the end of the file.
    fn is_followed(&self, at: u64, frame: Frame) -> bool {
        let behind = at + frame.n_bytes;
        let next = self.there(behind).and_then(Frame::of);
        behind == self.n_bytes || next.is_some_and(|next| next.is_like(frame))
    }

    pub(super) fn frame(&mut self, at: u64) -> Result<Option<Frame>, DecodeError> {
        self.look_at(at)?;
        Ok(self.there(at).and_then(Frame::of))
    }

    /// Whether words stand here, as they do behind the last frame or between pieces.
    pub(super) fn is_words(&mut self, at: u64) -> Result<bool, DecodeError> {
        self.look_at(at)?;
        let first = self.there::<3>(at);
        Ok(first.is_some_and(|first| [b"ID3", b"TAG", b"APE", b"LYR"].contains(&&first)))
    }

    /// Whether a frame is no sound but describes the file.
    pub(super) fn is_description(&mut self, at: u64, frame: Frame) -> Result<bool, DecodeError> {
        self.look_at(at)?;
        let by_side = self.there(at + frame.n_side());
        let fixed = self.there(at + 36);
        Ok(matches!(by_side.as_ref(), Some(b"Xing" | b"Info")) || fixed.as_ref() == Some(b"VBRI"))
    }

    /// How many frames and bytes there are, by the first frame.
    pub(super) fn described(
        &mut self,
        at: u64,
        frame: Frame,
    ) -> Result<Option<Described>, DecodeError> {
        if !self.is_description(at, frame)? {
            return Ok(None);
        }
        let number = |nth: u64| self.there(at + frame.n_side() + 4 * nth);
        let number = |nth| number(nth).map_or(0, |bytes| u64::from(u32::from_be_bytes(bytes)));
        // Both are there where the two lowest bits say so.
        Ok((number(1) & 3 == 3).then(|| Described {
            n_frames: number(2),
            n_bytes: number(3),
        }))
    }

    /// Bytes that were read already.
    fn there<const N: usize>(&self, at: u64) -> Option<[u8; N]> {
        let from = usize::try_from(at.checked_sub(self.from)?).ok()?;
        self.bytes.get(from..)?.first_chunk().copied()
    }

    /// Reads what lies about a place and ahead of it.
    fn look_at(&mut self, at: u64) -> Result<(), DecodeError> {
        let end = self.from + u64::try_from(self.bytes.len()).unwrap_or(0);
        let is_there = at >= self.from && (at + AHEAD <= end || end >= self.n_bytes);
        if is_there && !self.bytes.is_empty() {
            return Ok(());
        }
        self.from = at;
        self.bytes.clear();
        self.source.seek(SeekFrom::Start(at))?;
        self.source
            .by_ref()
            .take(STRETCH)
            .read_to_end(&mut self.bytes)?;
        Ok(())
    }
}
