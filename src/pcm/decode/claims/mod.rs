//! Sizes that a file claims, held against its length before the library takes memory for them, which
//! it does unasked: a damaged length of four bytes would take four gigabytes and end the program.
//!
//! Tables of MP4 files and codebooks of Vorbis are checked. Words and pictures, which nobody reads
//! here, are hidden: patched to a kind that is passed over, or made empty. Of MP3 it is told where frames
//! are missing, of which the library knows nothing.

mod codebooks;
mod mp3;
mod mp4;
mod ogg;

use std::io::{Read, Seek, SeekFrom};

use super::lost::DecodeError;
use super::source::Patch;

pub(super) use codebooks::check_vorbis;
pub(super) use mp3::{Hole, Holes};

/// What kind of file it is, by its first bytes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Kind {
    Aiff,
    Flac,
    Mp4,
    Ogg,
    Wav,
    /// MP3 or AAC by itself, which begin with any frame: they are looked for further on too.
    Frames,
}

impl Kind {
    /// What is said of a file of this kind of which nothing can be heard. Frames seem to begin in files of
    /// other kinds, too, so that one without any is no recording.
    pub(super) fn unheard(self) -> DecodeError {
        match self {
            Self::Frames => DecodeError::Unknown,
            _ => DecodeError::Damaged,
        }
    }
}

/// What a source is.
#[derive(Debug)]
pub(super) struct Checked {
    pub(super) kind: Kind,
    /// What of it is to be hidden.
    pub(super) patches: Vec<Patch>,
    pub(super) end: Ending,
    /// Where frames of MP3 are missing.
    pub(super) holes: Holes,
    /// How many bytes lie before its sound, where that is known.
    pub(super) n_head: u64,
}

/// Whether a source says that its end is the end.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Ending {
    /// It says so, or none of its kind does.
    Said,
    /// Others of its kind say so, and it does not.
    Missing,
}

/// Checks a source from its beginning, and says what it is.
pub(super) fn checked(
    source: &mut (impl Read + Seek),
    n_bytes: u64,
) -> Result<Checked, DecodeError> {
    let kind = kind(source)?;
    let mut end = Ending::Said;
    let mut holes = Holes::default();
    let mut n_head = 0;
    let patches = match kind {
        Kind::Flac => {
            let (patches, behind) = hide_in_flac(source)?;
            n_head = behind;
            patches
        }
        Kind::Wav => hide_in_riff(source, n_bytes)?,
        Kind::Mp4 => mp4::check(source, n_bytes)?,
        Kind::Ogg => {
            let (patches, streams) = ogg::hide(source)?;
            end = ogg::ending(source, n_bytes, &streams)?;
            patches
        }
        // Nothing in these takes memory by a length of its own, and words are passed over.
        Kind::Aiff => Vec::new(),
        Kind::Frames => {
            holes = mp3::holes(source, n_bytes)?;
            n_head = holes.head;
            Vec::new()
        }
    };
    Ok(Checked {
        kind,
        patches,
        end,
        holes,
        n_head,
    })
}

fn kind(source: &mut (impl Read + Seek)) -> Result<Kind, DecodeError> {
    if let Some(
        [
            b'F',
            b'O',
            b'R',
            b'M',
            _,
            _,
            _,
            _,
            b'A',
            b'I',
            b'F',
            b'F' | b'C',
        ],
    ) = bytes_at::<12>(source, 0)?
    {
        return Ok(Kind::Aiff);
    }
    let head = bytes_at::<8>(source, 0)?.unwrap_or_default();
    if let Some(other) = other_kind(&head) {
        return Err(DecodeError::Variety(other));
    }
    Ok(match &head {
        [b'f', b'L', b'a', b'C', ..] => Kind::Flac,
        [b'R', b'I', b'F', b'F', ..] => Kind::Wav,
        [b'O', b'g', b'g', b'S', ..] => Kind::Ogg,
        [_, _, _, _, b'f', b't', b'y', b'p'] => Kind::Mp4,
        _ => Kind::Frames,
    })
}

/// What a file is that keeps sound in a form that is not read, by its first bytes: otherwise frames of MP3
/// would be looked for in it, and what looks like one found. The bytes are those of the forms' own
/// descriptions (from memory).
fn other_kind(head: &[u8; 8]) -> Option<&'static str> {
    match head {
        [b'c', b'a', b'f', b'f', ..] => Some("CAF"),
        [b'.', b's', b'n', b'd', ..] => Some("AU"),
        [b'R', b'F', b'6', b'4', ..] | [b'B', b'W', b'6', b'4', ..] => Some("RF64"),
        [b'r', b'i', b'f', b'f', 0x2e, 0x91, 0xcf, 0x11] => Some("W64"),
        [0x1a, 0x45, 0xdf, 0xa3, ..] => Some("Matroska or WebM"),
        [0x30, 0x26, 0xb2, 0x75, ..] => Some("WMA"),
        _ => None,
    }
}

/// Bytes at a place; `None` where the source ends before they do.
fn bytes_at<const N: usize>(
    source: &mut (impl Read + Seek),
    at: u64,
) -> Result<Option<[u8; N]>, DecodeError> {
    source.seek(SeekFrom::Start(at))?;
    let mut bytes = [0; N];
    match source.read_exact(&mut bytes) {
        Ok(()) => Ok(Some(bytes)),
        Err(error) if error.kind() == std::io::ErrorKind::UnexpectedEof => Ok(None),
        Err(error) => Err(error.into()),
    }
}

/// Comments (4) and pictures (6) become padding (1), numbers of RFC 9639; and where the last block ends.
fn hide_in_flac(source: &mut (impl Read + Seek)) -> Result<(Vec<Patch>, u64), DecodeError> {
    let mut patches = Vec::new();
    let mut at = 4;
    while let Some([kind, a, b, c]) = bytes_at(source, at)? {
        if matches!(kind & 0x7f, 4 | 6) {
            patches.push((at, kind & 0x80 | 1));
        }
        at += 4 + u64::from(u32::from_be_bytes([0, a, b, c]));
        if kind & 0x80 != 0 || patches.len() >= MOST_HIDDEN {
            break;
        }
    }
    Ok((patches, at))
}

/// Lists become chunks of a name that nobody knows.
fn hide_in_riff(source: &mut (impl Read + Seek), n_bytes: u64) -> Result<Vec<Patch>, DecodeError> {
    let mut patches = Vec::new();
    let mut at = 12;
    while at < n_bytes && patches.len() < MOST_HIDDEN {
        let Some([a, b, c, d, size @ ..]) = bytes_at::<8>(source, at)? else {
            break;
        };
        match [a, b, c, d] {
            [b'd', b'a', b't', b'a'] => break,
            [b'L', b'I', b'S', b'T'] => patches.push((at, b'X')),
            _ => {}
        }
        let size = u64::from(u32::from_le_bytes(size));
        at += 8 + size + size % 2;
    }
    Ok(patches)
}

/// More bytes than these need not be hidden in any recording; words of one kind have one, or up to
/// twelve in Ogg.
const MOST_HIDDEN: usize = 256;

fn number_at(source: &mut (impl Read + Seek), at: u64) -> Result<u32, DecodeError> {
    Ok(bytes_at(source, at)?.map_or(0, u32::from_be_bytes))
}

#[cfg(test)]
mod tests {
    use std::io::Cursor;

    use super::*;

    fn check(bytes: &[u8]) -> Result<Vec<Patch>, DecodeError> {
        checked(&mut Cursor::new(bytes), bytes.len() as u64).map(|checked| checked.patches)
    }

    fn boxed(kind: &[u8; 4], inside: &[u8]) -> Vec<u8> {
        let size = u32::try_from(inside.len() + 8).expect("short");
        [&size.to_be_bytes(), &kind[..], inside].concat()
    }

    /// An MP4 file with one table in its index.
    fn with_table(kind: &[u8; 4], table: &[u8]) -> Vec<u8> {
        let table = boxed(kind, table);
        let nested = [b"stbl", b"minf", b"mdia", b"trak", b"moov"];
        let moov = nested
            .iter()
            .fold(table, |inside, kind| boxed(kind, &inside));
        [boxed(b"ftyp", b"M4A "), moov].concat()
    }

    #[test]
    fn tables_that_are_longer_than_their_box_are_refused() {
        let rows = |n: u32| [&[0; 4][..], &n.to_be_bytes(), &[0; 24]].concat();
        for (kind, n) in [(b"stts", 3), (b"co64", 3), (b"stco", 6), (b"stsc", 2)] {
            assert!(check(&with_table(kind, &rows(n))).is_ok());
            let claims = check(&with_table(kind, &rows(n + 1)));
            assert!(matches!(claims, Err(DecodeError::Claims)), "{n}");
            assert!(check(&with_table(kind, &rows(u32::MAX))).is_err());
        }
    }

    #[test]
    fn packets_of_impossible_sizes_are_refused() {
        let sizes =
            |of_all: u32, n: u32, first: u32| [0, of_all, n, first].map(u32::to_be_bytes).concat();
        assert!(check(&with_table(b"stsz", &sizes(0, 1, 4000))).is_ok());
        assert!(check(&with_table(b"stsz", &sizes(4000, u32::MAX, 0))).is_ok());
        assert!(check(&with_table(b"stsz", &sizes(0, 2, 4000))).is_err());
        assert!(check(&with_table(b"stsz", &sizes(0, 1, u32::MAX))).is_err());
        assert!(check(&with_table(b"stsz", &sizes(u32::MAX, 1, 0))).is_err());
    }

    #[test]
    fn fragments_are_held_to_the_same() {
        let file = |inside: Vec<u8>| {
            let moof = boxed(b"moof", &boxed(b"traf", &inside));
            check(&[boxed(b"ftyp", b"M4A "), moof].concat())
        };
        let of = |kind: &[u8; 4], numbers: &[u32]| {
            let bytes: Vec<u8> = numbers.iter().flat_map(|n| n.to_be_bytes()).collect();
            boxed(kind, &bytes)
        };
        let trun = |numbers: &[u32]| of(b"trun", numbers);
        // Durations and sizes of two packets, after flags, their count and an offset.
        assert!(file(trun(&[0x301, 2, 0, 1024, 300, 1024, 400])).is_ok());
        assert!(file(trun(&[0x301, 3, 0, 1024, 300, 1024, 400])).is_err());
        assert!(file(trun(&[0x301, 2, 0, u32::MAX, 300, 1024, 400])).is_ok());
        assert!(file(trun(&[0x301, 2, 0, 1024, 300, 1024, u32::MAX])).is_err());
        assert!(file(trun(&[0x001, u32::MAX, 0])).is_err());
        // The size of all packets, after flags, a stream and an offset of eight bytes.
        let tfhd = |size: u32| of(b"tfhd", &[0x11, 1, 0, 0, size]);
        assert!(file(tfhd(4000)).is_ok());
        assert!(file(tfhd(u32::MAX)).is_err());
    }

    #[test]
    fn what_a_decoder_is_told_is_no_longer_than_its_box() {
        let told = |length: &[u8]| {
            let decoder = [&[4, 20][..], &[0; 13], &[5], length, &[0x12, 0x10, 0, 0, 0]].concat();
            let stream = [&[3, 25, 0, 1, 0][..], &decoder].concat();
            let esds = boxed(b"esds", &[&[0; 4], &stream[..]].concat());
            check(&with_table(b"stsd", &[&[0; 8], &esds[..]].concat()))
        };
        assert!(told(&[2]).is_ok());
        assert!(told(&[0x80, 2]).is_ok());
        assert!(told(&[0xff, 0xff, 0xff, 0x7f]).is_err());
    }

    #[test]
    fn words_and_pictures_are_hidden() {
        let flac = [&b"fLaC"[..], &[0, 0, 0, 1, 9], &[0x86, 0, 0, 0]].concat();
        assert_eq!(check(&flac).expect("sound"), [(9, 0x81)]);
        let wav = [&b"RIFF....WAVELIST"[..], &[1, 0, 0, 0, 7, 7], b"data...."].concat();
        assert_eq!(check(&wav).expect("sound"), [(12, b'X')]);
        let words = [
            boxed(b"ftyp", b"M4A "),
            boxed(b"moov", &boxed(b"udta", b"")),
        ]
        .concat();
        assert_eq!(check(&words).expect("sound"), [(24, b'X')]);
        let long = [
            boxed(b"ftyp", b"M4A "),
            b"\x00\x00\x00\x20moov\x7f\0\0\0udta".to_vec(),
        ];
        assert!(check(&long.concat()).is_err());
    }
}
