//! Whatever bytes a recording has, it is an error or finite sound.
#![no_main]

use std::io::Cursor;

use contrapalma::pcm::decode;
use libfuzzer_sys::fuzz_target;

fuzz_target!(|bytes: &[u8]| {
    let Ok(mut recording) = decode::open(Cursor::new(bytes.to_vec()), None) else {
        return;
    };
    while let Some(block) = recording.next_block() {
        assert!(block.iter().all(|sample| sample.is_finite()));
    }
    drop(recording.seek(0.5));
    drop(recording.next_block());
});
