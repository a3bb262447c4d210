//! Whatever bytes a hand-in has, it is refused, or read within its limits. What was altered does not fit
//! its seal and comes no further, so that the same bytes are also tried as the text of a sealed file, and
//! as lines behind a header that is in order.
#![no_main]

use std::io::{Read as _, Write as _};
use std::sync::OnceLock;

use contrapalma::class::hand_in::{Header, LearnerId, Machine, Reading, Writer, limit};
use contrapalma::label::Label;
use contrapalma::world::Moment;
use libfuzzer_sys::fuzz_target;
use sha2::{Digest as _, Sha256};

const NOW: Moment = Moment(1_772_000_000_000);

fuzz_target!(|bytes: &[u8]| {
    read(bytes);
    read(&sealed(&[bytes]));
    read(&sealed(&[header(), bytes]));
});

fn read(file: &[u8]) {
    let Ok(reading) = Reading::new(file, NOW) else {
        return;
    };
    let most = limit::ATTEMPTS + limit::DISPUTES + 1;
    let mut n = 0;
    for item in reading {
        n += 1;
        assert!(n <= most, "more than a hand-in may hold");
        if item.is_err() {
            return;
        }
    }
}

/// The header of a hand-in that promises a thousand attempts.
fn header() -> &'static [u8] {
    static HEADER: OnceLock<Vec<u8>> = OnceLock::new();
    HEADER.get_or_init(|| {
        let label = |text| Label::new(text).expect("a label");
        let header = Header {
            program: label("0.1.0"),
            learner: LearnerId(7),
            also: vec![],
            name: label("Anna"),
            machines: vec![Machine { install: 7, n_made: 0 }],
            decks: vec![],
            days: None,
            n_attempts: 0,
            n_disputes: 0,
            made: NOW,
        };
        let writer = Writer::new(Vec::new(), header).expect("memory takes it");
        let file = writer.finish().expect("nothing was promised");
        let mut text = String::new();
        let mut unpacked = flate2::read::MultiGzDecoder::new(&file[..]);
        unpacked.read_to_string(&mut text).expect("it was written");
        text.replace("\"attempts\":0", "\"attempts\":1000").into_bytes()
    })
}

/// A text as a file with the seal that belongs to it: an empty member of gzip (RFC 1952) whose comment is
/// the checksum of what stands before it.
fn sealed(parts: &[&[u8]]) -> Vec<u8> {
    let mut packed = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::fast());
    for part in parts {
        packed.write_all(part).expect("memory takes it");
    }
    let mut file = packed.finish().expect("memory takes it");
    let digest = Sha256::digest(&file);
    let digits: String = digest.iter().map(|byte| format!("{byte:02x}")).collect();
    file.extend(b"\x1f\x8b\x08\x10\x00\x00\x00\x00\x02\xffsha256 ");
    file.extend(digits.bytes());
    file.extend(b"\x00\x03\x00\x00\x00\x00\x00\x00\x00\x00\x00");
    file
}
