//! The index of an MP4 file, or those of its fragments (ISO/IEC 14496-12).

use std::io::{Read, Seek, SeekFrom};

use super::{MOST_HIDDEN, bytes_at, number_at};
use crate::pcm::decode::lost::DecodeError;
use crate::pcm::decode::source::Patch;
use crate::pcm::decode::{LARGEST_INDEX, LARGEST_PACKET};

/// Checks sizes and tables, and says which words and pictures are to be hidden.
pub(super) fn check(
    source: &mut (impl Read + Seek),
    n_bytes: u64,
) -> Result<Vec<Patch>, DecodeError> {
    let mut walk = Walk {
        source,
        patches: Vec::new(),
        n_boxes: 0,
        has_index: false,
        is_cut_off: false,
    };
    walk.boxes((0, n_bytes), 0)?;
    if walk.is_cut_off && !walk.has_index {
        return Err(DecodeError::NoIndex);
    }
    Ok(walk.patches)
}

/// From where to where, in bytes.
type Span = (u64, u64);

struct Walk<'a, S> {
    source: &'a mut S,
    patches: Vec<Patch>,
    n_boxes: u32,
    has_index: bool,
    is_cut_off: bool,
}

struct Found {
    kind: [u8; 4],
    kind_at: u64,
    inside: Span,
}

/// Six hours in fragments of a tenth of a second have not as many boxes.
const MOST_BOXES: u32 = 1 << 21;
/// Boxes lie in boxes so deep and no deeper: the tables in the fifth.
const DEEPEST: u8 = 8;
/// No fragment has as many packets: they are six hours of AAC.
const MOST_PACKETS: u32 = 1 << 20;

impl<S: Read + Seek> Walk<'_, S> {
    /// Walks the boxes of a span. Those at the top may be longer than the file, which is then cut off;
    /// those of an index may not pass what they lie in.
    fn boxes(&mut self, (mut at, until): Span, depth: u8) -> Result<(), DecodeError> {
        while let Some(found) = self.next_box(at, until)? {
            at = found.inside.1;
            if at <= until {
                self.check(&found, depth)?;
            } else if depth > 0 || &found.kind == b"moov" {
                return Err(DecodeError::Claims);
            } else {
                self.end_with_file(&found, until)?;
            }
        }
        Ok(())
    }

    /// Lets a box at the top that passes the end of the file end there: the library reads nothing of a
    /// file in which one is longer. What is missing then is found packet by packet.
    fn end_with_file(&mut self, found: &Found, until: u64) -> Result<(), DecodeError> {
        self.is_cut_off = true;
        let size_at = found.kind_at - 4;
        let size = until - size_at;
        if number_at(self.source, size_at)? == 1 {
            let patches = (size_at + 8..).zip(size.to_be_bytes());
            self.patches.extend(patches);
        } else if let Ok(size) = u32::try_from(size) {
            self.patches.extend((size_at..).zip(size.to_be_bytes()));
        }
        Ok(())
    }

    fn next_box(&mut self, at: u64, until: u64) -> Result<Option<Found>, DecodeError> {
        if at >= until {
            return Ok(None);
        }
        self.n_boxes += 1;
        let Some([a, b, c, d, kind @ ..]) = bytes_at::<8>(self.source, at)? else {
            return Ok(None);
        };
        let (size, head) = match u32::from_be_bytes([a, b, c, d]) {
            0 => (until - at, 8),
            1 => {
                let size = bytes_at::<8>(self.source, at + 8)?.map_or(0, u64::from_be_bytes);
                (size, 16)
            }
            size => (u64::from(size), 8),
        };
        if size < head || self.n_boxes > MOST_BOXES || self.patches.len() > MOST_HIDDEN {
            return Err(DecodeError::Claims);
        }
        Ok(Some(Found {
            kind,
            kind_at: at + 4,
            inside: (at + head, at.saturating_add(size)),
        }))
    }

    fn check(&mut self, found: &Found, depth: u8) -> Result<(), DecodeError> {
        let inside = found.inside;
        self.has_index |= matches!(&found.kind, b"moov" | b"moof");
        match &found.kind {
            b"moov" | b"trak" | b"mdia" | b"minf" | b"stbl" | b"mvex" | b"moof" | b"traf" => {
                if inside.1 - inside.0 > LARGEST_INDEX || depth >= DEEPEST {
                    return Err(DecodeError::Claims);
                }
                self.boxes(inside, depth + 1)
            }
            b"udta" | b"meta" => {
                self.patches.push((found.kind_at, b'X'));
                Ok(())
            }
            b"stsd" => self.descriptions(inside),
            b"stsz" => self.sizes(inside),
            b"stts" | b"co64" => self.table(inside, 8),
            b"stco" => self.table(inside, 4),
            b"stsc" => self.table(inside, 12),
            // The size of packets for which no other is given stands after flags, track,
            // description and duration.
            b"trex" => self.size_at(inside.0 + 16),
            b"tfhd" => self.fragment_head(inside),
            b"trun" => self.fragment_packets(inside),
            _ => Ok(()),
        }
    }

    /// How sound is coded. What a decoder of AAC is told lies in descriptors in descriptors (ISO/IEC
    /// 14496-1, section 7.2.6), each of a kind and a length of up to four times seven bits.
    fn descriptions(&mut self, inside: Span) -> Result<(), DecodeError> {
        if inside.1 - inside.0 > LARGEST_PACKET.into() {
            return Err(DecodeError::Claims);
        }
        let bytes = self.bytes(inside)?;
        let places = bytes.windows(4).enumerate();
        let mut places = places.filter(|(_, kind)| *kind == b"esds");
        let fits = |(at, _)| descriptors_fit(bytes.get(at + 8..).unwrap_or_default());
        if places.all(fits) {
            Ok(())
        } else {
            Err(DecodeError::Claims)
        }
    }

    /// A table of so many bytes a row, which stand after four bytes of flags and four of their count.
    fn table(&mut self, (begin, end): Span, n_bytes: u64) -> Result<(), DecodeError> {
        let n_rows = number_at(self.source, begin + 4)?;
        let room = end.saturating_sub(begin + 8);
        if u64::from(n_rows) * n_bytes > room {
            return Err(DecodeError::Claims);
        }
        Ok(())
    }

    /// The sizes of packets: one of all, or a table.
    fn sizes(&mut self, (begin, end): Span) -> Result<(), DecodeError> {
        let of_all = number_at(self.source, begin + 4)?;
        if of_all > 0 {
            return self.size_at(begin + 4);
        }
        self.table((begin + 4, end), 4)?;
        let rows = self.numbers((begin + 12, end))?;
        if rows.iter().any(|size| *size > LARGEST_PACKET) {
            return Err(DecodeError::Claims);
        }
        Ok(())
    }

    fn size_at(&mut self, at: u64) -> Result<(), DecodeError> {
        if number_at(self.source, at)? > LARGEST_PACKET {
            return Err(DecodeError::Claims);
        }
        Ok(())
    }

    fn fragment_head(&mut self, (begin, _): Span) -> Result<(), DecodeError> {
        let flags = number_at(self.source, begin)?;
        if flags & 0x10 == 0 {
            return Ok(());
        }
        // Offset, description and duration come before it, where they are.
        let before = [(0x1, 8), (0x2, 4), (0x8, 4)];
        let before = before.iter().filter(|(flag, _)| flags & flag != 0);
        self.size_at(begin + 8 + before.map(|(_, n_bytes)| n_bytes).sum::<u64>())
    }

    /// Rows of up to four numbers, of which the size is the second where there is a duration.
    fn fragment_packets(&mut self, (begin, end): Span) -> Result<(), DecodeError> {
        let flags = number_at(self.source, begin)?;
        let n_rows = number_at(self.source, begin + 4)?;
        let n_before = (flags & 0x1 != 0) as u64 + (flags & 0x4 != 0) as u64;
        let columns = [0x100, 0x200, 0x400, 0x800].map(|flag| flags & flag != 0);
        let n_columns = columns.iter().filter(|is_there| **is_there).count();
        let rows = (begin + 8 + 4 * n_before, end);
        let room = rows.1.saturating_sub(rows.0);
        let row = 4 * u64::try_from(n_columns).unwrap_or(0);
        if n_rows > MOST_PACKETS || u64::from(n_rows) * row > room {
            return Err(DecodeError::Claims);
        }
        if !columns[1] {
            return Ok(());
        }
        let numbers = self.numbers(rows)?;
        let mut sizes = numbers
            .iter()
            .skip(usize::from(columns[0]))
            .step_by(n_columns);
        if sizes.any(|size| *size > LARGEST_PACKET) {
            return Err(DecodeError::Claims);
        }
        Ok(())
    }

    /// What lies in an index, whose length is limited.
    fn numbers(&mut self, (begin, end): Span) -> Result<Vec<u32>, DecodeError> {
        let bytes = self.bytes((begin, end))?;
        let numbers = bytes.as_chunks::<4>().0.iter();
        Ok(numbers.map(|number| u32::from_be_bytes(*number)).collect())
    }

    fn bytes(&mut self, (begin, end): Span) -> Result<Vec<u8>, DecodeError> {
        self.source.seek(SeekFrom::Start(begin))?;
        let mut bytes = Vec::new();
        let mut span = self
            .source
            .take(end.saturating_sub(begin).min(LARGEST_INDEX));
        span.read_to_end(&mut bytes)?;
        Ok(bytes)
    }
}

/// Whether no descriptor on the way to what a decoder is told is longer than what it lies in.
fn descriptors_fit(mut bytes: &[u8]) -> bool {
    loop {
        let [kind, rest @ ..] = bytes else {
            return true;
        };
        let n_length = 1 + rest
            .iter()
            .take(3)
            .take_while(|byte| **byte & 0x80 != 0)
            .count();
        let (length, rest) = rest.split_at(n_length.min(rest.len()));
        let length = length
            .iter()
            .fold(0, |sum, byte| sum << 7 | usize::from(byte & 0x7f));
        let Some(inside) = rest.get(..length) else {
            return false;
        };
        // What stands before the next in it: of a stream its number and flags, of a decoder its kind,
        // its buffer and its rates.
        let n_before = match kind {
            3 => 3,
            4 => 13,
            _ => return true,
        };
        bytes = inside.get(n_before..).unwrap_or_default();
    }
}
