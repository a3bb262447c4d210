//! What is handed in, as what the library reads.

use std::io::{self, Read, Seek, SeekFrom};
use std::ops::Range;

use symphonia::core::io::MediaSource;

/// A byte at its place, in the stead of the one that is there.
pub(super) type Patch = (u64, u8);

/// A source that can be sought, knows how long it is, and hides some bytes. Words and pictures before
/// the recording (ID3v2, which may stand before any kind) are no part of it: place 0 is behind them.
pub(super) struct Source<S> {
    inner: S,
    origin: u64,
    n_bytes: u64,
    at: u64,
    patches: Vec<Patch>,
    blanks: Vec<Range<u64>>,
}

impl<S: Read + Seek> Source<S> {
    pub(super) fn new(mut inner: S) -> io::Result<Self> {
        let n_bytes = inner.seek(SeekFrom::End(0))?;
        let origin = behind_words(&mut inner, n_bytes)?;
        inner.seek(SeekFrom::Start(origin))?;
        Ok(Self {
            inner,
            origin,
            n_bytes: n_bytes - origin,
            at: 0,
            patches: Vec::new(),
            blanks: Vec::new(),
        })
    }

    pub(super) fn is_empty(&self) -> bool {
        self.n_bytes == 0
    }

    pub(super) fn n_bytes(&self) -> u64 {
        self.n_bytes
    }

    /// Goes back to the beginning and hides bytes from then on; those of `blanks`, which rise, are 0.
    pub(super) fn hide(&mut self, patches: Vec<Patch>, blanks: Vec<Range<u64>>) -> io::Result<()> {
        self.patches = patches;
        self.blanks = blanks;
        self.rewind()
    }
}

/// Where the first byte is that belongs to no ID3v2 tag ("ID3 tag version 2.4.0", M. Nilsson, 2000,
/// section 3.1). A tag that says it is longer than the file is not believed but for its ten bytes of
/// head.
fn behind_words(inner: &mut (impl Read + Seek), n_bytes: u64) -> io::Result<u64> {
    let mut at = 0;
    for _ in 0..MOST_TAGS {
        inner.seek(SeekFrom::Start(at))?;
        let mut head = Vec::new();
        inner.by_ref().take(TAG_HEAD).read_to_end(&mut head)?;
        let [b'I', b'D', b'3', _, _, flags, size @ ..] = head.as_slice() else {
            break;
        };
        let size = size
            .iter()
            .fold(0, |sum, byte| sum << 7 | u64::from(byte & 0x7f));
        let foot = if flags & 0x10 == 0 { 0 } else { TAG_HEAD };
        let behind = at + TAG_HEAD + size + foot;
        at = if behind < n_bytes {
            behind
        } else {
            (at + TAG_HEAD).min(n_bytes)
        };
    }
    Ok(at)
}

const TAG_HEAD: u64 = 10;
/// Each program that adds one may leave those of others.
const MOST_TAGS: u32 = 8;

impl<S: Read> Read for Source<S> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let n_read = self.inner.read(buffer)?;
        for (at, byte) in &self.patches {
            let inside = at
                .checked_sub(self.at)
                .and_then(|at| usize::try_from(at).ok());
            let inside = inside.filter(|at| *at < n_read);
            if let Some(hidden) = inside.and_then(|at| buffer.get_mut(at)) {
                *hidden = *byte;
            }
        }
        let end = self.at + u64::try_from(n_read).unwrap_or(0);
        let first = self.blanks.partition_point(|blank| blank.end <= self.at);
        let inside = self.blanks.iter().skip(first);
        for blank in inside.take_while(|blank| blank.start < end) {
            let index = |at: u64| usize::try_from(at.clamp(self.at, end) - self.at).unwrap_or(0);
            if let Some(hidden) = buffer.get_mut(index(blank.start)..index(blank.end)) {
                hidden.fill(0);
            }
        }
        self.at = end;
        Ok(n_read)
    }
}

impl<S: Seek> Seek for Source<S> {
    fn seek(&mut self, to: SeekFrom) -> io::Result<u64> {
        let to = match to {
            SeekFrom::Start(at) => SeekFrom::Start(self.origin.saturating_add(at)),
            from_elsewhere => from_elsewhere,
        };
        let before = || io::Error::from(io::ErrorKind::InvalidInput);
        let at = self.inner.seek(to)?;
        self.at = at.checked_sub(self.origin).ok_or_else(before)?;
        Ok(self.at)
    }
}

impl<S: Read + Seek + Send + Sync> MediaSource for Source<S> {
    fn is_seekable(&self) -> bool {
        true
    }

    fn byte_len(&self) -> Option<u64> {
        Some(self.n_bytes)
    }
}

#[cfg(test)]
mod tests {
    use std::io::Cursor;

    use super::*;

    fn tag(size: u8, flags: u8) -> Vec<u8> {
        let head = [b'I', b'D', b'3', 4, 0, flags, 0, 0, 0, size];
        let foot = if flags & 0x10 == 0 { 0 } else { 10 };
        [&head[..], &vec![7; usize::from(size) + foot]].concat()
    }

    fn rest(bytes: Vec<u8>) -> Vec<u8> {
        let mut source = Source::new(Cursor::new(bytes)).expect("memory can be read");
        let mut first = Vec::new();
        source.read_to_end(&mut first).expect("memory can be read");
        assert_eq!(source.n_bytes(), first.len() as u64);
        source.seek(SeekFrom::Start(0)).expect("the beginning");
        let mut again = Vec::new();
        source.read_to_end(&mut again).expect("memory can be read");
        assert_eq!(first, again);
        first
    }

    #[test]
    fn a_recording_begins_behind_its_words() {
        assert_eq!(rest(b"RIFF".to_vec()), b"RIFF");
        assert_eq!(rest([tag(5, 0), b"RIFF".to_vec()].concat()), b"RIFF");
        let two = [tag(5, 0x10), tag(0, 0), b"RIFF".to_vec()].concat();
        assert_eq!(rest(two), b"RIFF");
    }

    #[test]
    fn words_that_are_longer_than_the_file_are_not_believed() {
        let long = [b"ID3\x04\0\0\x7f\x7f\x7f\x7f".to_vec(), b"sound".to_vec()].concat();
        assert_eq!(rest(long), b"sound");
        assert_eq!(rest(b"ID3\x04".to_vec()), b"ID3\x04");
    }
}
