//! The head of an Ogg file (RFC 3533): the packets before the first that sounds. Words and pictures in
//! it are made empty, and the check sums of their pages right again.
//!
//! What is hidden here has to be what the library reads, so a page that is damaged or out of place
//! among these is an error. Behind the first packet that sounds nothing is looked at: there damage
//! shows in the check sums, and the library leaves the page out. A file that was forged with right
//! sums and has words there with an impossible length can make it ask for up to 4 GiB.

use std::collections::BTreeMap;
use std::io::{Cursor, Read, Seek, SeekFrom};

use super::{Ending, MOST_HIDDEN, bytes_at};
use crate::pcm::decode::lost::DecodeError;
use crate::pcm::decode::source::Patch;

/// The longest head in bytes: one with a large picture in its words.
const LONGEST_HEAD: u64 = 32 << 20;

/// Says what is to be hidden, and which streams are of Vorbis.
pub(super) fn hide(source: &mut (impl Read + Seek)) -> Result<(Vec<Patch>, Vec<u32>), DecodeError> {
    let mut patches = Vec::new();
    let mut streams: BTreeMap<u32, Head> = BTreeMap::new();
    let mut at = 0;
    while at < LONGEST_HEAD && patches.len() < MOST_HIDDEN {
        let Some(page) = page(source, at)? else {
            break;
        };
        if page.is_first() {
            streams.entry(page.stream()).or_default();
        }
        if let Some(head) = streams.get_mut(&page.stream()) {
            let hidden = page.with_body(head.hidden(&page)?);
            let bytes = (at..).zip(page.bytes.iter().zip(hidden));
            let changed = bytes.filter(|(_, (before, after))| *before != after);
            patches.extend(changed.map(|(place, (_, after))| (place, after)));
        }
        if !page.is_first() && streams.values().all(|head| head.is_over) {
            let sounds = streams.iter().filter(|(_, head)| head.is_vorbis);
            return Ok((patches, sounds.map(|(stream, _)| *stream).collect()));
        }
        at += u64::try_from(page.bytes.len()).unwrap_or(u64::MAX);
    }
    // It is so long, or cut off, that nothing of it sounds.
    Err(DecodeError::Damaged)
}

/// Whether the last whole page of a stream that sounds says that it is the last: the page of a file that
/// was cut off does not. Where no such page is near the end nothing can be told.
pub(super) fn ending(
    source: &mut (impl Read + Seek),
    n_bytes: u64,
    streams: &[u32],
) -> Result<Ending, DecodeError> {
    let from = n_bytes.saturating_sub(2 * LONGEST_PAGE);
    source.seek(SeekFrom::Start(from))?;
    let mut bytes = Vec::new();
    source.take(2 * LONGEST_PAGE).read_to_end(&mut bytes)?;
    let begins = (0..bytes.len()).rev();
    let begins = begins.filter(|at| bytes[*at..].starts_with(b"OggS"));
    let mut pages = begins.filter_map(|at| {
        let at = u64::try_from(at).unwrap_or(0);
        page(&mut Cursor::new(&bytes), at).ok().flatten()
    });
    let last = pages.find(|page| streams.contains(&page.stream()));
    Ok(match last {
        Some(last) if !last.is_last() => Ending::Missing,
        _ => Ending::Said,
    })
}

/// A page of 255 parts of 255 bytes.
const LONGEST_PAGE: u64 = 27 + 255 + 255 * 255;

/// A page of one stream, with packets or parts of them.
struct Page {
    bytes: Vec<u8>,
}

/// Bytes before the lengths of the parts, of which there are as many as the last of these says.
const N_FIXED: usize = 27;
/// Where the check sum stands.
const SUM: std::ops::Range<usize> = 22..26;

fn page(source: &mut (impl Read + Seek), at: u64) -> Result<Option<Page>, DecodeError> {
    let Some(fixed) = bytes_at::<N_FIXED>(source, at)? else {
        return Ok(None);
    };
    if !fixed.starts_with(b"OggS") {
        return Err(DecodeError::Damaged);
    }
    let mut bytes = fixed.to_vec();
    let n_parts = u64::from(fixed[N_FIXED - 1]);
    source.take(n_parts).read_to_end(&mut bytes)?;
    let n_body = bytes[N_FIXED..].iter().map(|part| u64::from(*part)).sum();
    source.take(n_body).read_to_end(&mut bytes)?;
    let page = Page { bytes };
    // One that is cut off is damaged too.
    if page.with_body(page.body().to_vec()) != page.bytes {
        return Err(DecodeError::Damaged);
    }
    Ok(Some(page))
}

impl Page {
    fn is_continued(&self) -> bool {
        self.bytes[5] & 1 != 0
    }

    fn is_first(&self) -> bool {
        self.bytes[5] & 2 != 0
    }

    fn is_last(&self) -> bool {
        self.bytes[5] & 4 != 0
    }

    fn stream(&self) -> u32 {
        u32::from_le_bytes([14, 15, 16, 17].map(|idx| self.bytes[idx]))
    }

    /// How long the parts are; one of 255 bytes goes on in the next.
    fn parts(&self) -> &[u8] {
        let rest = &self.bytes[N_FIXED..];
        let n_parts = usize::from(self.bytes[N_FIXED - 1]).min(rest.len());
        &rest[..n_parts]
    }

    fn body(&self) -> &[u8] {
        &self.bytes[N_FIXED + self.parts().len()..]
    }

    /// The bytes of this page with another body and the check sum of it: CRC-32 of the polynomial
    /// 0x04c11db7 (RFC 3533, section 6).
    fn with_body(&self, body: Vec<u8>) -> Vec<u8> {
        let mut bytes = self.bytes[..N_FIXED + self.parts().len()].to_vec();
        bytes.extend(body);
        bytes[SUM].fill(0);
        let on = |sum: u32, _| (sum << 1) ^ if sum >> 31 == 1 { 0x04c1_1db7 } else { 0 };
        let sum = bytes.iter().fold(0, |sum: u32, byte| {
            (0..8).fold(sum ^ (u32::from(*byte) << 24), on)
        });
        bytes[SUM].copy_from_slice(&sum.to_le_bytes());
        bytes
    }
}

/// The head of one stream, as far as it was read.
#[derive(Default)]
struct Head {
    is_vorbis: bool,
    is_over: bool,
    /// Whether the last packet goes on in the next page.
    is_within: bool,
}

impl Head {
    /// The body of a page of it, with words and pictures made empty.
    fn hidden(&mut self, page: &Page) -> Result<Vec<u8>, DecodeError> {
        if page.is_continued() != self.is_within {
            return Err(DecodeError::Damaged);
        }
        let mut body = page.body().to_vec();
        let mut begin = 0;
        for part in page.parts() {
            if !self.is_within {
                let end = body.len().min(begin + usize::from(*part));
                self.packet(body.get_mut(begin..end).unwrap_or_default())?;
            }
            self.is_within = *part == 255;
            begin += usize::from(*part);
        }
        Ok(body)
    }

    /// Makes a packet, of which this is the first part, empty if it holds words or pictures.
    fn packet(&mut self, begin: &mut [u8]) -> Result<(), DecodeError> {
        match begin {
            // Those of Vorbis that sound begin with an even number, those of its head with an odd one.
            [kind, ..] if self.is_vorbis && *kind & 1 == 0 => self.is_over = true,
            [3, _, _, _, _, _, _, words @ ..] if self.is_vorbis => {
                // Who wrote it and how many words there are: nobody, none.
                words.get_mut(..8).ok_or(DecodeError::Damaged)?.fill(0);
            }
            _ if self.is_vorbis => {}
            [1, b'v', b'o', b'r', b'b', b'i', b's', ..] => self.is_vorbis = true,
            // The library would take any packet of it for words.
            [0x7f, b'F', b'L', b'A', b'C', ..] => return Err(DecodeError::Variety("FLAC in Ogg")),
            [b'O', b'p', b'u', b's', ..] => return Err(DecodeError::Variety("Opus")),
            // Pictures that move, or a codec that the library passes over.
            _ => self.is_over = true,
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A page of whole packets.
    fn paged(flags: u8, packets: &[&[u8]]) -> Vec<u8> {
        let parts: Vec<u8> = packets.iter().map(|packet| packet.len() as u8).collect();
        let mut bytes = b"OggS\0".to_vec();
        bytes.push(flags);
        bytes.extend([0; 20]);
        bytes.push(parts.len() as u8);
        bytes.extend(&parts);
        let page = Page { bytes };
        page.with_body(packets.concat())
    }

    const FIRST: &[u8] = b"\x01vorbis";
    const WORDS: &[u8] = b"\x03vorbis\x02\0\0\0me\x01\0\0\0\xff\xff\xff\xffx";
    const SETUP: &[u8] = b"\x05vorbis";
    const SOUND: &[u8] = b"\0sound";

    fn hidden(bytes: &[u8]) -> Result<Vec<u8>, DecodeError> {
        let (patches, _) = hide(&mut Cursor::new(bytes))?;
        let mut bytes = bytes.to_vec();
        for (at, byte) in patches {
            bytes[at as usize] = byte;
        }
        Ok(bytes)
    }

    fn page_of(bytes: &[u8]) -> Option<Page> {
        page(&mut Cursor::new(bytes), 0).ok().flatten()
    }

    #[test]
    fn the_check_sum_is_that_of_other_programs() {
        // The first page of a file that libvorbis 1.3.7 wrote through ffmpeg 5.1.
        let page =
            b"OggS\0\x02\0\0\0\0\0\0\0\0\xae\xadz=\0\0\0\0\xc6\x69\x10\x23\x01\x1e\x01vorbis\
            \0\0\0\0\x02\x22\x56\0\0\0\0\0\0\x15\xb1\0\0\0\0\0\0\xa9\x01";
        let read = page_of(page).expect("whole");
        assert_eq!(
            (read.stream(), read.parts(), read.body().len()),
            (0x3d7a_adae, &[30][..], 30)
        );
    }

    #[test]
    fn words_become_empty_and_all_else_stays() {
        let whole = [
            paged(2, &[FIRST]),
            paged(0, &[WORDS, SETUP]),
            paged(0, &[SOUND]),
            paged(0, &[WORDS]),
        ];
        let no_words = [&WORDS[..7], &[0; 8], &WORDS[15..]].concat();
        let due = [
            whole[0].clone(),
            paged(0, &[&no_words, SETUP]),
            whole[2].clone(),
            whole[3].clone(),
        ];
        assert_eq!(hidden(&whole.concat()).expect("whole"), due.concat());
    }

    #[test]
    fn a_file_that_is_cut_off_lacks_its_last_page() {
        let pages = [
            paged(2, &[FIRST]),
            paged(0, &[WORDS, SETUP]),
            paged(0, &[SOUND]),
            paged(4, &[SOUND]),
        ];
        let whole = pages.concat();
        let ending = |bytes: &[u8], streams: &[u32]| {
            let n_bytes = bytes.len() as u64;
            ending(&mut Cursor::new(bytes), n_bytes, streams).expect("memory can be read")
        };
        assert_eq!(ending(&whole, &[0]), Ending::Said);
        // What stands behind the last page does not matter.
        assert_eq!(ending(&[&whole, &b"TAG"[..]].concat(), &[0]), Ending::Said);
        for n_bytes in pages[0].len()..whole.len() {
            assert_eq!(
                ending(&whole[..n_bytes], &[0]),
                Ending::Missing,
                "{n_bytes}"
            );
        }
        // Of another stream nothing is known.
        assert_eq!(ending(&whole, &[7]), Ending::Said);
        assert_eq!(ending(b"OggS", &[0]), Ending::Said);
    }

    #[test]
    fn a_damaged_head_is_refused() {
        let whole = [
            paged(2, &[FIRST]),
            paged(0, &[WORDS, SETUP]),
            paged(0, &[SOUND]),
        ]
        .concat();
        for at in 0..whole.len() {
            let mut damaged = whole.clone();
            damaged[at] ^= 0x10;
            assert!(hidden(&damaged).is_err(), "{at}");
            assert!(hidden(&whole[..at]).is_err(), "{at}");
        }
        let flac = paged(2, &[b"\x7fFLAC\x01"]);
        assert!(matches!(hidden(&flac), Err(DecodeError::Variety(_))));
    }
}
