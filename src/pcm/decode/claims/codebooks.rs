//! The codebooks of Vorbis ("Vorbis I specification", Xiph.Org, 2020, section 3.2.1): tables that are
//! written in few bytes, or in none, and unfold to many.

use crate::pcm::decode::lost::DecodeError;

/// The most numbers that the codebooks of a file may unfold to; those of common encoders have less
/// than a twentieth.
const MOST_NUMBERS: u64 = 1 << 22;

/// Checks what a decoder of Vorbis is told before it begins: the first packet of the head and after
/// it the third. What is cut off or nonsense is left to the decoder, which finds that too.
pub(in crate::pcm::decode) fn check_vorbis(told: &[u8]) -> Result<(), DecodeError> {
    let mut bits = Bits {
        bytes: told.get(N_FIRST + N_NAME..).unwrap_or_default(),
        at: 0,
    };
    unfolded(&mut bits).map_or(Ok(()), |n| {
        if n > MOST_NUMBERS {
            Err(DecodeError::Claims)
        } else {
            Ok(())
        }
    })
}

/// Bytes of the first packet, and of the name at the beginning of the third.
const N_FIRST: usize = 30;
const N_NAME: usize = 7;

/// How many numbers all codebooks hold, or so many that it is too much; `None` when they end too
/// early.
fn unfolded(bits: &mut Bits<'_>) -> Option<u64> {
    let n_books = bits.number(8)? + 1;
    let mut n_numbers = 0;
    for _ in 0..n_books {
        n_numbers += book(bits)?;
        if n_numbers > MOST_NUMBERS {
            break;
        }
    }
    Some(n_numbers)
}

/// Passes over one codebook and says how many numbers it holds.
fn book(bits: &mut Bits<'_>) -> Option<u64> {
    let _sync = bits.number(24)?;
    let n_dimensions = bits.number(16)?;
    let n_entries = bits.number(24)?;
    lengths(bits, n_entries)?;
    let lookup = bits.number(4)?;
    if lookup == 0 {
        return Some(n_entries);
    }
    let n_numbers = n_entries * (n_dimensions + 1);
    let _range = (bits.number(32)?, bits.number(32)?);
    let n_bits = bits.number(4)? + 1;
    let _is_sequence = bits.number(1)?;
    let n_values = if lookup == 1 {
        root(n_entries, n_dimensions)
    } else {
        n_entries * n_dimensions
    };
    bits.skip(n_values * n_bits);
    Some(n_numbers)
}

/// Passes over the lengths of the codewords.
fn lengths(bits: &mut Bits<'_>, n_entries: u64) -> Option<()> {
    if bits.number(1)? == 1 {
        let _shortest = bits.number(5)?;
        let mut n_passed = 0;
        while n_passed < n_entries {
            let width = 64 - (n_entries - n_passed).leading_zeros();
            n_passed += bits.number(width)?;
        }
    } else if bits.number(1)? == 1 {
        for _ in 0..n_entries {
            if bits.number(1)? == 1 {
                bits.number(5)?;
            }
        }
    } else {
        bits.skip(5 * n_entries);
    }
    Some(())
}

/// The largest number that to the power of `n_dimensions` is not above `n_entries`.
fn root(n_entries: u64, n_dimensions: u64) -> u64 {
    if n_dimensions <= 1 {
        return n_entries;
    }
    let n_dimensions = u32::try_from(n_dimensions).unwrap_or(u32::MAX);
    let fits = |n: &u64| {
        n.checked_pow(n_dimensions)
            .is_some_and(|power| power <= n_entries)
    };
    (1..=n_entries).take_while(fits).last().unwrap_or(0)
}

/// Bits, the lowest of a byte first.
struct Bits<'a> {
    bytes: &'a [u8],
    at: u64,
}

impl Bits<'_> {
    /// The next number of so many bits; `None` at the end.
    fn number(&mut self, n_bits: u32) -> Option<u64> {
        let mut number = 0;
        for place in 0..n_bits {
            let byte = self.bytes.get(usize::try_from(self.at / 8).ok()?)?;
            number |= u64::from(byte >> (self.at % 8) & 1) << place;
            self.at += 1;
        }
        Some(number)
    }

    fn skip(&mut self, n_bits: u64) {
        self.at = self.at.saturating_add(n_bits);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Writes numbers of so many bits each, the lowest first, behind what stands before codebooks.
    fn told(numbers: &[(u64, u32)]) -> Vec<u8> {
        let mut bits = Vec::new();
        for (number, n_bits) in numbers {
            bits.extend((0..*n_bits).map(|place| (number >> place & 1) as u8));
        }
        let mut bytes = vec![0; N_FIRST + N_NAME];
        bytes.extend(bits.chunks(8).map(|byte| {
            let places = byte.iter().enumerate();
            places.fold(0, |sum, (place, bit)| sum | bit << place)
        }));
        bytes
    }

    /// One codebook, all codewords of which are as long.
    fn one_book(n_dimensions: u64, n_entries: u64, lookup: u64) -> Vec<u8> {
        let width = 64 - n_entries.leading_zeros();
        told(&[
            (0, 8),
            (0x56_4342, 24),
            (n_dimensions, 16),
            (n_entries, 24),
            (1, 1),
            (7, 5),
            (n_entries, width),
            (lookup, 4),
            (0, 64),
            (3, 4),
            (0, 1),
        ])
    }

    #[test]
    fn what_unfolds_to_too_much_is_refused() {
        assert!(check_vorbis(&one_book(8, 6561, 1)).is_ok());
        assert!(check_vorbis(&one_book(65_535, 6561, 1)).is_err());
        assert!(check_vorbis(&one_book(65_535, 6561, 2)).is_err());
        assert!(check_vorbis(&one_book(65_535, 6561, 0)).is_ok());
        assert!(check_vorbis(&one_book(2, 0xff_ffff, 0)).is_err());
        assert!(check_vorbis(&[]).is_ok());
    }

    #[test]
    fn books_are_passed_over_to_the_bit() {
        // Two books; the second begins in the middle of a byte, after two values of three bits.
        let first: [(u64, u32); 13] = [
            (1, 8),
            (0x56_4342, 24),
            (1, 16),
            (2, 24),
            (0, 1),
            (0, 1),
            (0, 5),
            (0, 5),
            (1, 4),
            (0, 64),
            (2, 4),
            (0, 1),
            (0b101_010, 6),
        ];
        let second = |n: u64| {
            [
                (0x56_4342, 24),
                (9, 16),
                (n, 24),
                (1, 1),
                (0, 5),
                (n, 24),
                (0, 4),
            ]
        };
        let both = |n: u64| told(&[&first[..], &second(n)[..]].concat());
        assert!(check_vorbis(&both(0x80_0000)).is_err());
        let mut bits = Bits {
            bytes: &both(0x80_0000)[N_FIRST + N_NAME..],
            at: 0,
        };
        assert_eq!(bits.number(8), Some(1));
        assert_eq!(book(&mut bits), Some(4));
        assert_eq!(bits.number(24), Some(0x56_4342));
    }

    #[test]
    fn roots_are_those_of_the_specification() {
        // 9.2.3: the greatest integer whose power is less than or equal to the entries.
        assert_eq!((root(625, 4), root(624, 4), root(1, 3)), (5, 4, 1));
        assert_eq!(root(16_000_000, 1), 16_000_000);
        assert_eq!(root(5, 65_535), 1);
    }
}
