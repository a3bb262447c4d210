//! The seal at the end of a hand-in.
//!
//! It is a second gzip member (RFC 1952) that holds nothing: its comment is the checksum of all bytes
//! before it. Unpacking the file gives the text alone, and every byte of the file is covered, its
//! gzip header too.

use std::io::{self, Write};

use sha2::{Digest as _, Sha256};

use super::Refusal;

/// Ten bytes of header (RFC 1952, 2.3): deflated, with a comment, no time, unknown system.
const HEAD: &[u8; 17] = b"\x1f\x8b\x08\x10\x00\x00\x00\x00\x02\xffsha256 ";
/// The end of the comment, an empty deflate block, and the checksum and length of no bytes.
const TAIL: &[u8; 11] = b"\x00\x03\x00\x00\x00\x00\x00\x00\x00\x00\x00";
const HEX: usize = 64;
const LENGTH: usize = HEAD.len() + HEX + TAIL.len();

/// Passes bytes on and reckons their checksum.
pub(super) struct Sealing<W> {
    out: W,
    sum: Sha256,
}

impl<W: Write> Sealing<W> {
    pub(super) fn new(out: W) -> Self {
        Self {
            out,
            sum: Sha256::new(),
        }
    }

    /// Puts the seal behind what was written.
    pub(super) fn seal(self) -> io::Result<W> {
        let mut out = self.out;
        out.write_all(HEAD)?;
        out.write_all(hex(&self.sum.finalize()).as_bytes())?;
        out.write_all(TAIL)?;
        Ok(out)
    }
}

impl<W: Write> Write for Sealing<W> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let n = self.out.write(bytes)?;
        self.sum.update(bytes.get(..n).unwrap_or(bytes));
        Ok(n)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.out.flush()
    }
}

/// What stands before the seal, and the checksum in it, when the two fit.
pub(super) fn opened(file: &[u8]) -> Result<(&[u8], &str), Refusal> {
    if !file.starts_with(b"\x1f\x8b") {
        return Err(Refusal::Foreign);
    }
    let at = file.len().checked_sub(LENGTH).ok_or(Refusal::Cut)?;
    let (sealed, seal) = file.split_at(at);
    let said = seal
        .strip_prefix(HEAD)
        .and_then(|rest| rest.strip_suffix(TAIL))
        .and_then(|said| std::str::from_utf8(said).ok())
        .ok_or(Refusal::Cut)?;
    if said == hex(&Sha256::digest(sealed)) {
        Ok((sealed, said))
    } else {
        Err(Refusal::Altered)
    }
}

fn hex(bytes: &[u8]) -> String {
    use std::fmt::Write as _;
    let mut text = String::with_capacity(2 * bytes.len());
    for byte in bytes {
        // Writing to a string never fails.
        let _: std::fmt::Result = write!(text, "{byte:02x}");
    }
    text
}
