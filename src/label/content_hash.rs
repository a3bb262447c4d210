//! The name that a file has by its content.

use std::fmt;
use std::io::{self, Read};
use std::str::FromStr;

use sha2::{Digest as _, Sha256};

/// The SHA-256 of the bytes of a file (FIPS 180-4): the same wherever the file lies and whatever it
/// is called. As text `sha256:` and 64 hexadecimal digits.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct ContentHash([u8; 32]);

/// Why a text is no such name.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("sha256: and 64 hexadecimal digits were expected")]
pub struct ContentHashError;

/// What its text begins with.
const PREFIX: &str = "sha256:";

impl ContentHash {
    /// The name of all that comes out of `bytes`, which is read piece by piece and never held whole.
    ///
    /// # Errors
    /// When reading fails.
    pub fn of(mut bytes: impl Read) -> io::Result<Self> {
        const PIECE: usize = 64 << 10;
        let mut sha = Sha256::new();
        let mut piece = vec![0; PIECE];
        loop {
            match bytes.read(&mut piece) {
                Ok(0) => return Ok(Self(sha.finalize().into())),
                Ok(n) => sha.update(piece.get(..n).unwrap_or_default()),
                Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
                Err(error) => return Err(error),
            }
        }
    }
}

impl fmt::Display for ContentHash {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(PREFIX)?;
        self.0.iter().try_for_each(|byte| write!(f, "{byte:02x}"))
    }
}

impl fmt::Debug for ContentHash {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "ContentHash({self})")
    }
}

impl FromStr for ContentHash {
    type Err = ContentHashError;

    /// Capital digits are taken too.
    fn from_str(text: &str) -> Result<Self, ContentHashError> {
        let digits = text.strip_prefix(PREFIX).ok_or(ContentHashError)?;
        let mut bytes = [0; 32];
        if digits.len() != 2 * bytes.len() || !digits.is_ascii() {
            return Err(ContentHashError);
        }
        let pairs = digits.as_bytes().chunks_exact(2);
        for (byte, pair) in bytes.iter_mut().zip(pairs) {
            *byte = 16 * digit(pair[0])? + digit(pair[1])?;
        }
        Ok(Self(bytes))
    }
}

fn digit(byte: u8) -> Result<u8, ContentHashError> {
    let value = char::from(byte).to_digit(16);
    let value = value.and_then(|value| u8::try_from(value).ok());
    value.ok_or(ContentHashError)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(bytes: &[u8], text: &str) {
        let hash = ContentHash::of(bytes).expect("memory can be read");
        assert_eq!(hash.to_string(), format!("sha256:{text}"));
        assert_eq!(hash.to_string().parse(), Ok(hash));
    }

    #[test]
    fn files_are_named_as_the_standard_says() {
        // NIST, "Secure Hash Standard: example values", SHA-256, one block and two; the last of
        // FIPS 180-2, appendix B.3: a million times the letter a, which is more than one piece.
        check(
            b"abc",
            "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad",
        );
        check(
            b"abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq",
            "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1",
        );
        check(
            &vec![b'a'; 1_000_000],
            "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0",
        );
    }

    #[test]
    fn what_is_no_name_is_refused() {
        let digits = "0".repeat(64);
        for text in [
            String::new(),
            digits.clone(),
            format!("sha1:{digits}"),
            format!("sha256:{digits}0"),
            format!("sha256:{}", &digits[1..]),
            format!("sha256:{}g", &digits[1..]),
            format!("sha256:+{}", &digits[1..]),
            format!("sha256:{}é", &digits[2..]),
        ] {
            assert_eq!(text.parse::<ContentHash>(), Err(ContentHashError), "{text}");
        }
    }
}
