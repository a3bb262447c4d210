//! Whatever bytes a recording has, it is an error or finite sound.
#![no_main]

use std::io::Cursor;
use std::sync::Once;

use contrapalma::pcm::decode;
use libfuzzer_sys::fuzz_target;

/// The fuzzer's own hook ends at every panic. Those of the decoding library are caught by ours; one that
/// is not still ends here.
static CAUGHT: Once = Once::new();

fuzz_target!(|bytes: &[u8]| {
    CAUGHT.call_once(|| std::panic::set_hook(Box::new(|_| {})));
    let Ok(mut recording) = decode::open(Cursor::new(bytes.to_vec()), None) else {
        return;
    };
    while let Some(block) = recording.next_block() {
        assert!(block.iter().all(|sample| sample.is_finite()));
    }
    drop(recording.seek(0.5));
    drop(recording.next_block());
});
