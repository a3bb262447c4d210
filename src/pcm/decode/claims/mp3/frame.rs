//! The head of a frame: what its four bytes say of it, and so how long it is (ISO/IEC 11172-3, section
//! 2.4.2.3, and 13818-3). Nothing here reads a file.

/// What the four bytes say with which a frame begins.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Frame {
    /// 3 for MPEG-1, 2 for MPEG-2, 0 for its extension to lower rates.
    version: u8,
    rate: u8,
    is_mono: bool,
    pub(super) n_bytes: u64,
}

impl Frame {
    /// Of layer III alone, with a bit rate that is said.
    pub(super) fn of(head: [u8; 4]) -> Option<Self> {
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

    pub(super) fn is_like(self, other: Self) -> bool {
        let of = |frame: Self| (frame.version, frame.rate, frame.is_mono);
        of(self) == of(other)
    }

    pub(super) fn n_samples(self) -> u64 {
        if self.version == 3 { 1152 } else { 576 }
    }

    /// Bytes of its head and of what it says of itself.
    pub(super) fn n_side(self) -> u64 {
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
