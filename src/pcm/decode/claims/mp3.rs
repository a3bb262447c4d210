//! Where frames of MP3 are missing. None says its place, but each says how long it is and so where the
//! next one begins: where none does, what lies up to the one after that is damaged (ISO/IEC 11172-3,
//! section 2.4). How many were there follows from the length of the others.
//!
//! Damage inside of a frame is not seen here, and files without a description of their length that
//! vary in their bit rate are only measured by their mean.

use std::io::{Read, Seek, SeekFrom};
use std::ops::Range;

use super::super::lost::DecodeError;

/// A damaged part.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(in crate::pcm::decode) struct Hole {
    /// Where it lies, from the beginning of the last frame before it, which may be damaged too.
    pub(in crate::pcm::decode) bytes: Range<u64>,
    /// How many frames with sound lie whole before it.
    pub(in crate::pcm::decode) n_before: u64,
    /// How many are missing in it.
    pub(in crate::pcm::decode) n_missing: u64,
}

/// The holes of a file.
#[derive(Debug, Default, PartialEq, Eq)]
pub(in crate::pcm::decode) struct Holes {
    pub(in crate::pcm::decode) all: Vec<Hole>,
    /// Samples of a channel in each frame.
    pub(in crate::pcm::decode) n_samples: u64,
    /// Where the first frame begins.
    pub(in crate::pcm::decode) head: u64,
}

/// Goes through all frames of a file, each of which is a step; of what is no MP3 file there are none.
pub(super) fn holes(source: &mut (impl Read + Seek), n_bytes: u64) -> Result<Holes, DecodeError> {
    let mut file = Window::new(source, n_bytes);
    let Some((head, first)) = file.first()? else {
        return Ok(Holes::default());
    };
    let mut found = Holes {
        all: Vec::new(),
        n_samples: first.n_samples(),
        head,
    };
    let described = file.described(head, first)?;
    let mut walk = Walk::default();
    let mut at = head;
    while at < n_bytes {
        let here = file.frame(at)?.filter(|frame| frame.is_like(first));
        if let Some(frame) = here.filter(|frame| at + frame.n_bytes <= n_bytes) {
            if !file.is_description(at, frame)? {
                walk.n_frames += 1;
                walk.n_bytes += frame.n_bytes;
                walk.last = Some(at);
            }
            at += frame.n_bytes;
            continue;
        }
        let is_words = file.is_words(at)?;
        let Some(next) = file.next_like(at, first)? else {
            break;
        };
        let is_long = 2 * (next - at) > here.map_or(first.n_bytes, |frame| frame.n_bytes);
        if let Some(last) = walk.last.filter(|_| !is_words && is_long)
            && found.all.len() < MOST_HOLES
        {
            let before = file.frame(last)?.map_or(0, |frame| frame.n_bytes);
            walk.n_frames -= 1;
            walk.n_bytes -= before.min(walk.n_bytes);
            walk.last = None;
            found.all.push(Hole {
                bytes: last..next,
                n_before: walk.n_frames,
                n_missing: 0,
            });
        }
        at = next;
    }
    // In what is no MP3 file frames seem to begin by chance.
    if walk.n_frames == 0 || 4 * walk.n_bytes < n_bytes - head {
        return Ok(Holes::default());
    }
    let is_whole = |described: &Described| head + described.n_bytes <= n_bytes;
    let described = described.filter(is_whole).map(|whole| whole.n_frames);
    walk.share(&mut found.all, described, n_bytes - at.min(n_bytes));
    Ok(found)
}

/// More damaged parts than these are not told apart.
const MOST_HOLES: usize = 10_000;

/// What was come by.
#[derive(Default)]
struct Walk {
    n_frames: u64,
    n_bytes: u64,
    /// The last frame before which nothing is missing.
    last: Option<u64>,
}

impl Walk {
    /// How many frames are missing in each hole: by their mean length, or by how many there are in the
    /// whole file where that is said and near to it.
    fn share(&self, holes: &mut [Hole], n_said: Option<u64>, n_behind: u64) {
        let n_lost = |n_bytes: u64| (n_bytes * self.n_frames + self.n_bytes / 2) / self.n_bytes;
        // What lies behind the last frame may be words, or damaged too.
        let mut n_bytes = n_behind;
        n_bytes += holes.iter().map(hole_bytes).sum::<u64>();
        let by_mean = n_lost(n_bytes);
        let by_said = n_said.and_then(|n_said| n_said.checked_sub(self.n_frames));
        let n_all = by_said.filter(|n| *n >= by_mean / 2 && *n <= 2 * by_mean);
        let mut before = (0, 0);
        for hole in holes {
            let up_to = before.0 + hole_bytes(hole);
            let n_up_to = match n_all {
                Some(n_all) => (up_to * n_all + n_bytes / 2) / n_bytes,
                None => n_lost(up_to),
            };
            hole.n_missing = n_up_to - before.1;
            before = (up_to, n_up_to);
        }
    }
}

fn hole_bytes(hole: &Hole) -> u64 {
    hole.bytes.end - hole.bytes.start
}

/// What the four bytes say with which a frame begins.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Frame {
    /// 3 for MPEG-1, 2 for MPEG-2, 0 for its extension to lower rates.
    version: u8,
    rate: u8,
    is_mono: bool,
    n_bytes: u64,
}

impl Frame {
    /// Of layer III alone, with a bit rate that is said.
    fn of(head: [u8; 4]) -> Option<Self> {
        let [a, b, c, d] = head;
        let (version, layer) = (b >> 3 & 3, b >> 1 & 3);
        let (bit_rate, rate) = (usize::from(c >> 4), c >> 2 & 3);
        if a != 0xff || b >> 5 != 7 || version == 1 || layer != 1 || rate == 3 {
            return None;
        }
        let kilobits = match version {
            3 => KILOBITS_1.get(bit_rate),
            _ => KILOBITS_2.get(bit_rate),
        };
        let kilobits = kilobits.filter(|kilobits| **kilobits > 0)?;
        let hz = match rate {
            0 => 44_100,
            1 => 48_000,
            _ => 32_000,
        } >> match version {
            3 => 0,
            2 => 1,
            _ => 2,
        };
        let bytes = if version == 3 { 144 } else { 72 };
        Some(Self {
            version,
            rate,
            is_mono: d >> 6 == 3,
            n_bytes: bytes * 1000 * kilobits / hz + u64::from(c >> 1 & 1),
        })
    }

    fn is_like(self, other: Self) -> bool {
        let of = |frame: Self| (frame.version, frame.rate, frame.is_mono);
        of(self) == of(other)
    }

    fn n_samples(self) -> u64 {
        if self.version == 3 { 1152 } else { 576 }
    }

    /// Bytes of its head and of what it says of itself.
    fn n_side(self) -> u64 {
        4 + match (self.version, self.is_mono) {
            (3, true) => 17,
            (3, false) => 32,
            (_, true) => 9,
            (_, false) => 17,
        }
    }
}

/// Bit rates in 1000 bits a second, of MPEG-1 and of MPEG-2 (ISO/IEC 11172-3, section 2.4.2.3, and
/// 13818-3, section 2.4.2.3).
const KILOBITS_1: [u64; 15] = [
    0, 32, 40, 48, 56, 64, 80, 96, 112, 128, 160, 192, 224, 256, 320,
];
const KILOBITS_2: [u64; 15] = [0, 8, 16, 24, 32, 40, 48, 56, 64, 80, 96, 112, 128, 144, 160];

/// What the first frame says of the file, in the stead of sound.
struct Described {
    n_frames: u64,
    n_bytes: u64,
}

/// A stretch of a file.
struct Window<'a, S> {
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
    fn new(source: &'a mut S, n_bytes: u64) -> Self {
        Self {
            source,
            n_bytes,
            from: 0,
            bytes: Vec::new(),
        }
    }

    /// The first frame after which another one like it begins.
    fn first(&mut self) -> Result<Option<(u64, Frame)>, DecodeError> {
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
    fn next_like(&mut self, at: u64, first: Frame) -> Result<Option<u64>, DecodeError> {
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

    fn frame(&mut self, at: u64) -> Result<Option<Frame>, DecodeError> {
        self.look_at(at)?;
        Ok(self.there(at).and_then(Frame::of))
    }

    /// Whether words stand here, as they do behind the last frame or between pieces.
    fn is_words(&mut self, at: u64) -> Result<bool, DecodeError> {
        self.look_at(at)?;
        let first = self.there::<3>(at);
        Ok(first.is_some_and(|first| [b"ID3", b"TAG", b"APE", b"LYR"].contains(&&first)))
    }

    /// Whether a frame is no sound but describes the file.
    fn is_description(&mut self, at: u64, frame: Frame) -> Result<bool, DecodeError> {
        self.look_at(at)?;
        let by_side = self.there(at + frame.n_side());
        let fixed = self.there(at + 36);
        Ok(matches!(by_side.as_ref(), Some(b"Xing" | b"Info")) || fixed.as_ref() == Some(b"VBRI"))
    }

    /// How many frames and bytes there are, by the first frame.
    fn described(&mut self, at: u64, frame: Frame) -> Result<Option<Described>, DecodeError> {
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

#[cfg(test)]
mod tests {
    use std::io::Cursor;

    use super::*;

    /// Frames of MPEG-1 in stereo at 44.1 kHz and 128,000 bits a second, each of 417 bytes: 144 times
    /// 128,000 by 44,100, rounded down (ISO/IEC 11172-3, section 2.4.3.1).
    fn frames(n: usize) -> Vec<u8> {
        let frame = [&[0xff, 0xfb, 0x90, 0][..], &[0; 413]].concat();
        frame.repeat(n)
    }

    fn found(bytes: &[u8]) -> Vec<(Range<u64>, u64, u64)> {
        let n_bytes = u64::try_from(bytes.len()).expect("short");
        let holes = holes(&mut Cursor::new(bytes), n_bytes).expect("memory can be read");
        let all = holes.all.into_iter();
        all.map(|hole| (hole.bytes, hole.n_before, hole.n_missing))
            .collect()
    }

    #[test]
    fn frames_that_are_overwritten_are_counted() {
        let mut bytes = frames(400);
        assert_eq!(found(&bytes), []);
        // From the middle of the 11th to that of the 14th, and from that of the 301st to the 391st.
        bytes[10 * 417 + 200..13 * 417 + 200].fill(0xff);
        bytes[300 * 417 + 200..390 * 417 + 200].fill(0x55);
        let lost = [(10 * 417..14 * 417, 10, 4), (300 * 417..391 * 417, 296, 91)];
        assert_eq!(found(&bytes), lost);
        // Inside of a frame nothing is seen.
        let mut inside = frames(20);
        inside[4 * 417 + 9..5 * 417].fill(0xff);
        assert_eq!(found(&inside), []);
    }

    #[test]
    fn how_many_there_are_is_believed_where_it_is_said() {
        let described = |n_frames: u32, n_bytes: u32| {
            let mut bytes = frames(1);
            bytes[36..40].copy_from_slice(b"Xing");
            let said = [3, n_frames, n_bytes].map(u32::to_be_bytes).concat();
            bytes[40..52].copy_from_slice(&said);
            bytes.extend(frames(100));
            bytes[11 * 417 + 9..21 * 417 + 9].fill(0);
            bytes
        };
        let lost = |bytes: &[u8]| found(bytes).iter().map(|hole| hole.2).sum::<u64>();
        assert_eq!(lost(&described(100, 101 * 417)), 11);
        // As it is where frames are not alike.
        assert_eq!(lost(&described(103, 101 * 417)), 14);
        // What is said of a file that was cut off, or cannot be, is not.
        assert_eq!(lost(&described(103, 300 * 417)), 11);
        assert_eq!(lost(&described(u32::MAX, 101 * 417)), 11);
        assert_eq!(lost(&described(0, 0)), 11);
    }

    #[test]
    fn words_and_other_files_have_no_holes() {
        let tag = [&b"TAG"[..], &[b' '; 125]].concat();
        let pieces = [frames(30), tag.clone(), frames(30), tag].concat();
        assert_eq!(found(&pieces), []);
        assert_eq!(found(&[0xff; 5000]), []);
        assert_eq!(found(&[frames(3), vec![7; 9000], frames(3)].concat()), []);
        assert_eq!(found(&[]), []);
    }
}
