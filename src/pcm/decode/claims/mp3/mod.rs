//! Where frames of MP3 are missing. None says its place, but each says how long it is and so where the
//! next one begins: where none does, what lies up to the one after that is damaged (ISO/IEC 11172-3,
//! section 2.4). How many were there follows from the length of the others.
//!
//! Damage inside of a frame is not seen here, and files without a description of their length that
//! vary in their bit rate are only measured by their mean.

mod frame;
mod walk;
mod window;

use std::io::{Read, Seek};
use std::ops::Range;

use crate::pcm::decode::lost::DecodeError;

use walk::Walk;
use window::{Described, Window};

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

/// More damaged parts than these are not told apart.
const MOST_HOLES: usize = 10_000;

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
