//! Recordings that are damaged, cut off, or claim what cannot be; and that a place in one is the
//! place that sounds. The signals are our own, written by ffmpeg.

use std::fs::{File, read, write};
use std::io::{Cursor, Read, Seek, SeekFrom};
use std::path::Path;
use std::process::Command;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

use contrapalma::pcm::decode::{self, End, Lost, Recording, Rest};
use contrapalma::world::Seed;
use tempfile::TempDir;

use crate::recordings::{ours, recording};

/// Names with what makes them, and whether not one sample may differ. AAC is without the noise that
/// a decoder makes up, which is another after each jump.
const KINDS: [(&str, &[&str], bool); 7] = [
    ("a.wav", &["-c:a", "pcm_s24le"], true),
    ("a.aiff", &["-c:a", "pcm_s24be"], true),
    ("a.flac", &["-c:a", "flac"], true),
    ("alac.m4a", &["-c:a", "alac"], true),
    ("a.mp3", &["-c:a", "libmp3lame", "-b:a", "192k"], false),
    ("a.ogg", &["-c:a", "libvorbis", "-q:a", "6"], false),
    ("aac.m4a", &["-c:a", "aac", "-aac_pns", "0"], false),
];

fn rest(recording: &mut Recording) -> Vec<f32> {
    std::iter::from_fn(|| recording.next_block())
        .flatten()
        .collect()
}

fn decoded(bytes: Vec<u8>) -> Option<(Vec<f32>, Lost)> {
    let mut recording = decode::open(Cursor::new(bytes), None).ok()?;
    let samples = rest(&mut recording);
    Some((samples, recording.lost()))
}

#[test]
fn a_place_that_is_sought_is_the_place_that_sounds() {
    let dir = TempDir::new().expect("a folder");
    for (name, args, is_exact) in KINDS {
        let file = recording(dir.path(), name, args, 44_100);
        let (_, all, _) = ours(&file);
        let mut recording = decode::open(File::open(&file).expect("there"), None).expect("read");
        for (seconds, frame) in [(2.5, 110_250), (0.1, 4_410), (0.0, 0), (1.234_567, 54_444)] {
            recording.seek(seconds).expect("it can be gone through");
            let (from, sought) = (2 * frame, rest(&mut recording));
            assert_eq!(sought.len(), all.len() - from, "{name} {seconds}");
            let off = sought.iter().zip(&all[from..]).map(|(a, b)| (a - b).abs());
            let most = off.fold(0.0, f32::max);
            assert!(
                most <= if is_exact { 0.0 } else { 1e-5 },
                "{name} {seconds}: {most}"
            );
        }
        recording.seek(1e9).expect("it can be gone through");
        assert!(recording.next_block().is_none(), "{name}");
        recording.seek(f64::NAN).expect("it can be gone through");
        assert_eq!(rest(&mut recording).len(), all.len(), "{name}");
    }
}

/// MP3 whose frames are not alike.
const VARYING: (&str, &[&str]) = ("varying.mp3", &["-c:a", "libmp3lame", "-q:a", "3"]);

#[test]
fn a_damaged_part_is_silent_and_the_rest_stays_in_its_place() {
    let dir = TempDir::new().expect("a folder");
    let kinds = KINDS.map(|(name, args, _)| (name, args));
    let is_tried = |name: &str| ["a.flac", "a.mp3", "a.ogg", "aac.m4a"].contains(&name);
    let kinds = kinds.into_iter().filter(|(name, _)| is_tried(name));
    for (name, args) in kinds.chain([VARYING]) {
        // Long enough for several pages of Ogg, and for damage of more than five seconds.
        let long = [&["-filter_complex", "aloop=8:132300"][..], args].concat();
        let whole = read(recording(dir.path(), name, &long, 44_100)).expect("there");
        let (all, _) = decoded(whole.clone()).expect("whole");
        // Ogg knows its end where its last 64 KiB are whole; the index of an MP4 file is at its end.
        let early = whole.len() / 6;
        for (n_damaged, by) in [(300, 0x55), (2_000, 0), (whole.len() / 3, 0xff)] {
            let what = format!("{name}, {n_damaged} of {} by {by}", whole.len());
            let mut bytes = whole.clone();
            bytes[early..early + n_damaged].fill(by);
            let mut recording = decode::open(Cursor::new(bytes), None).expect("most of it");
            let some = rest(&mut recording);
            let lost = recording.lost();
            assert!(
                lost.packets > 0 && lost.rest == Rest::Read,
                "{what}: {lost:?}"
            );
            assert_eq!(lost.ended, None, "{what}: {lost}");
            assert!(lost.to_string().contains("damaged part"), "{what}: {lost}");
            assert_eq!(some.len(), all.len(), "{what}: {lost}");
            let off = |from: usize, some: &[f32]| {
                let off = some.iter().zip(&all[from..]).map(|(a, b)| (a - b).abs());
                off.fold(0.0, f32::max)
            };
            let before = 2 * 2 * 44_100;
            let end = all.len() - 100_000;
            assert!(off(0, &some[..before]) < 1e-5, "{what}");
            assert!(off(end, &some[end..]) < 1e-5, "{what}");
            recording.seek(25.0).expect("it can be gone through");
            let sought = rest(&mut recording);
            assert_eq!(sought.len(), all.len() - 2 * 25 * 44_100, "{what}");
            assert!(off(2 * 25 * 44_100, &sought) < 1e-5, "{what}");
        }
    }
}

#[test]
fn where_the_end_is_damaged_the_file_is_not_called_cut_off() {
    let dir = TempDir::new().expect("a folder");
    let flac: (&str, &[&str]) = ("a.flac", &["-c:a", "flac"]);
    let mp3: (&str, &[&str]) = ("a.mp3", &["-c:a", "libmp3lame", "-b:a", "192k"]);
    for (name, args) in [flac, mp3, VARYING] {
        let whole = read(recording(dir.path(), name, args, 44_100)).expect("there");
        let from = whole.len() * 7 / 10;
        let mut bytes = whole.clone();
        bytes[from..].fill(0);
        let early = whole.len() / 4;
        bytes[early..early + 900].fill(0);
        let (_, damaged) = decoded(bytes.clone()).expect("most of it");
        let (_, cut) = decoded(bytes[..from].to_vec()).expect("most of it");
        let end = |lost: Lost| lost.ended.map(|(end, _)| end);
        assert_eq!(end(damaged), Some(End::Damaged), "{name}: {damaged}");
        assert_eq!(end(cut), Some(End::CutOff), "{name}: {cut}");
    }
}

#[test]
fn no_altered_bytes_of_coded_sound_make_it_panic() {
    let dir = TempDir::new().expect("a folder");
    let mut dice = Seed(8).dice();
    let flac: (&str, &[&str]) = ("a.flac", &["-c:a", "flac"]);
    for (name, args) in [flac, VARYING] {
        let whole = read(recording(dir.path(), name, args, 44_100)).expect("there");
        let (all, _) = decoded(whole.clone()).expect("whole");
        for _ in 0..40 {
            let mut bytes = whole.clone();
            for _ in 0..1 + dice.below(40) {
                let (at, n) = (dice.below(bytes.len()), 1 + dice.below(600));
                let byte = u8::try_from(dice.below(256)).expect("a byte");
                let end = bytes.len().min(at + n);
                bytes[at..end].fill(byte);
            }
            if let Some((some, lost)) = decoded(bytes) {
                assert!(some.len() < 2 * all.len(), "{name}: {lost}");
            }
        }
    }
}

#[test]
fn a_file_that_is_cut_off_says_where_it_ends() {
    let dir = TempDir::new().expect("a folder");
    for (name, args, is_exact) in KINDS {
        let whole = read(recording(dir.path(), name, args, 44_100)).expect("there");
        let (all, _) = decoded(whole.clone()).expect("whole");
        for percent in (19..90).step_by(7) {
            let Some((some, lost)) = decoded(whole[..whole.len() * percent / 100].to_vec()) else {
                // The index of an M4A file stands at its end; of a short Ogg file there is a page.
                assert!(
                    name.ends_with("m4a") || name.ends_with("ogg"),
                    "{name} {percent}"
                );
                continue;
            };
            assert!(some.len() < all.len(), "{name} {percent}");
            let frames = u32::try_from(some.len() / 2).expect("short");
            let (end, at) = lost.ended.expect("it says so");
            assert_eq!(end, End::CutOff, "{name} {percent}");
            assert!(
                (at - f64::from(frames) / 44_100.0).abs() < 1e-6,
                "{name}: {at}"
            );
            if is_exact && lost.packets == 0 {
                assert!(some[..] == all[..some.len()], "{name} {percent}");
            }
        }
    }
}

#[test]
fn what_is_left_of_an_mp4_file_is_heard_where_its_index_comes_first() {
    let dir = TempDir::new().expect("a folder");
    let kinds: [(&str, &[&str], bool); 2] = [
        ("alac.m4a", &["-c:a", "alac"], true),
        ("aac.m4a", &["-c:a", "aac", "-aac_pns", "0"], false),
    ];
    for (name, codec, is_exact) in kinds {
        let args = [codec, &["-movflags", "+faststart"][..]].concat();
        let whole = read(recording(dir.path(), name, &args, 44_100)).expect("there");
        let (all, _) = decoded(whole.clone()).expect("whole");
        for percent in [30, 50, 80] {
            let cut = whole[..whole.len() * percent / 100].to_vec();
            let (some, lost) = decoded(cut).expect("a part of it");
            let share = 100 * some.len() / all.len();
            assert!(
                share > percent / 2 && some.len() < all.len(),
                "{name} {percent}: {share}"
            );
            assert_eq!(
                lost.ended.map(|(end, _)| end),
                Some(End::CutOff),
                "{name} {percent}"
            );
            if is_exact {
                assert!(some[..] == all[..some.len()], "{name} {percent}");
            }
        }
        // With its index at the end nothing can be found, and that is said.
        let whole = read(recording(dir.path(), "end.m4a", codec, 44_100)).expect("there");
        let error = decode::open(Cursor::new(whole[..whole.len() / 2].to_vec()), None);
        let said = error.err().expect("no index").to_string();
        assert!(said.contains("cut off"), "{said}");
    }
}

#[test]
fn a_coding_that_is_not_read_is_named_in_plain_words() {
    let dir = TempDir::new().expect("a folder");
    let file = recording(dir.path(), "adpcm.wav", &["-c:a", "adpcm_ms"], 44_100);
    let error = decode::open(File::open(file).expect("there"), None);
    let said = error.err().expect("it is not read").to_string();
    assert!(said.contains("coded in a way that is not read"), "{said}");
    let six = ["-ac", "6", "-c:a", "aac"];
    for name in ["six.m4a", "six.aac"] {
        let file = recording(dir.path(), name, &six, 44_100);
        let error = decode::open(File::open(file).expect("there"), None);
        let said = error.err().expect("it is not read").to_string();
        assert!(said.contains("more than two channels in AAC"), "{said}");
        assert!(!said.contains("or AAC"), "{said}");
    }
    // Kinds that are not read at all, in whose bytes frames of one that is seem to begin.
    let refused = |bytes: Vec<u8>| {
        let error = decode::open(Cursor::new(bytes), None).err();
        error.expect("it is not read").to_string()
    };
    for (name, codec, kind) in [
        ("plain.caf", "pcm_s16le", "CAF"),
        ("other.caf", "alac", "CAF"),
        ("plain.au", "pcm_s16be", "AU"),
        ("plain.w64", "pcm_s16le", "W64"),
        ("other.mka", "flac", "Matroska or WebM"),
        ("other.wma", "wmav2", "WMA"),
    ] {
        let file = recording(dir.path(), name, &["-c:a", codec], 44_100);
        let said = refused(read(file).expect("there"));
        let named = format!("a variety of recording that cannot be read ({kind})");
        assert_eq!(said, named, "{name}");
    }
    // Neither is one that nobody knows.
    let mut unknown = read(dir.path().join("other.wma")).expect("there");
    unknown[0] ^= 0xff;
    let said = refused(unknown);
    assert!(said.contains("no recording: WAV"), "{said}");
}

/// Bytes of a file with others in the place of the first that are found.
fn altered(file: &Path, find: &[u8], skip: usize, by: &[u8]) -> Vec<u8> {
    let mut bytes = read(file).expect("there");
    let at = bytes.windows(find.len()).position(|some| some == find);
    let at = at.expect("it is in it") + find.len() + skip;
    bytes[at..at + by.len()].copy_from_slice(by);
    bytes
}

/// Each of these asks for gigabytes with a few bytes. A program that believes them ends by a signal
/// under this limit of its memory, and could be ended by the system without one.
#[test]
fn no_claim_of_a_file_takes_memory() {
    let dir = TempDir::new().expect("a folder");
    let make = |name: &str, args: &[&str]| recording(dir.path(), name, args, 44_100);
    let tagged = [
        "-c:a",
        "libmp3lame",
        "-metadata",
        "title=abc",
        "-id3v2_version",
        "3",
    ];
    let in_parts = ["-c:a", "aac", "-movflags", "frag_keyframe+empty_moov"];
    let (mp3, flac) = (make("a.mp3", &tagged), make("a.flac", &["-c:a", "flac"]));
    let (alac, parts) = (
        make("a.m4a", &["-c:a", "alac"]),
        make("parts.mp4", &in_parts),
    );
    let most = &[0xff; 4];
    let files = [
        // The length of a frame of ID3v2, in front of MP3 and of FLAC.
        altered(&mp3, b"TIT2", 0, most),
        [
            &altered(&mp3, b"TIT2", 0, most)[..200],
            &read(&flac).expect("there"),
        ]
        .concat(),
        // The frames in a packet of ALAC, behind four bytes of flags.
        altered(&alac, b"\0\0\0\x24alac", 4, &[0x7f, 0xff, 0xff, 0xff]),
        // The sizes of packets: of a table of some, and of one in a fragment.
        altered(&alac, b"stsz", 4, most),
        altered(&alac, b"stts", 4, most),
        altered(&parts, b"trun", 12, &[0xff; 40]),
        // Words of FLAC.
        altered(&flac, b"fLaC", 38 + 4, most),
    ];
    for (idx, bytes) in files.into_iter().enumerate() {
        let path = dir.path().join("claims");
        write(&path, bytes).expect("written");
        let ended = Command::new("sh")
            .args(["-c", "ulimit -v 700000 && exec \"$0\" listen \"$1\" --json"])
            .args([env!("CARGO_BIN_EXE_contrapalma").as_ref(), path.as_os_str()])
            .env_clear()
            .env("HOME", dir.path())
            .output()
            .expect("a shell");
        let said = String::from_utf8_lossy(&ended.stderr);
        assert!(
            matches!(ended.status.code(), Some(0 | 3)),
            "{idx}: {:?} {said}",
            ended.status
        );
    }
}

/// Two hours of WAV that are made as they are read, and how many bytes were.
#[derive(Clone)]
struct Hours {
    at: u64,
    n_read: Arc<AtomicU64>,
}

/// Of 48,000 frames a second in stereo, 16 bits each.
const TWO_HOURS: u64 = 2 * 3600 * 48_000 * 4;

impl Hours {
    fn head() -> Vec<u8> {
        let size = |n: u64| u32::try_from(n).expect("below 4 GiB").to_le_bytes();
        let form = b"WAVEfmt \x10\0\0\0\x01\0\x02\0\x80\xbb\0\0\0\xee\x02\0\x04\0\x10\0data";
        [b"RIFF", &size(TWO_HOURS + 36)[..], form, &size(TWO_HOURS)].concat()
    }

    /// A sample is the low half of how many frames lie before it.
    fn byte(head: &[u8], at: u64) -> u8 {
        let index = usize::try_from(at).expect("64 bits");
        head.get(index).copied().unwrap_or_else(|| {
            let at = at - 44;
            ((at / 4) >> (8 * (at % 2))).to_le_bytes()[0]
        })
    }
}

impl Read for Hours {
    fn read(&mut self, bytes: &mut [u8]) -> std::io::Result<usize> {
        let head = Self::head();
        let left = (44 + TWO_HOURS).saturating_sub(self.at);
        let n = bytes.len().min(usize::try_from(left).expect("64 bits"));
        for byte in &mut bytes[..n] {
            *byte = Self::byte(&head, self.at);
            self.at += 1;
        }
        self.n_read.fetch_add(n as u64, Ordering::Relaxed);
        Ok(n)
    }
}

impl Seek for Hours {
    fn seek(&mut self, to: SeekFrom) -> std::io::Result<u64> {
        self.at = match to {
            SeekFrom::Start(at) => at,
            SeekFrom::Current(by) => self.at.checked_add_signed(by).expect("a place"),
            SeekFrom::End(by) => (44 + TWO_HOURS).checked_add_signed(by).expect("a place"),
        };
        Ok(self.at)
    }
}

#[test]
fn of_two_hours_no_more_is_read_than_is_asked_for() {
    let n_read = Arc::new(AtomicU64::new(0));
    let hours = Hours {
        at: 0,
        n_read: n_read.clone(),
    };
    let mut recording = decode::open(hours, Some("wav")).expect("a recording");
    assert_eq!(recording.seconds(), Some(7200.0));
    for (seconds, frame) in [(0.0, 0_u32), (7190.0, 7190 * 48_000), (3600.5, 172_824_000)] {
        recording.seek(seconds).expect("it can be gone through");
        let block = recording.next_block().expect("sound");
        let [low, high, ..] = frame.to_le_bytes();
        assert_eq!(
            block[0],
            f32::from(i16::from_le_bytes([low, high])) / 32_768.0
        );
        assert!(
            block.len() <= 2 * 65_536,
            "a block is a packet, and no longer than one"
        );
    }
    let n_read = n_read.load(Ordering::Relaxed);
    assert!(n_read < 2 << 20, "{n_read} bytes");
}
