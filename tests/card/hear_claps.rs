//! Listens to the default microphone until its input ends, and says when hands clapped.
//!
//! Prints, as words and numbers in a line each: the microphone's name once what it says of its time
//! is steady, for each clap the microsecond of the program's clock at which it sounded, and how often
//! sound was lost.

use std::error::Error;
use std::io::{Read as _, Write as _};
use std::sync::Arc;
use std::sync::mpsc::{self, RecvTimeoutError};
use std::thread;
use std::time::Duration;

use contrapalma::sound::{ClapInput as _, Microphone};
use contrapalma::world::{Clock, SystemClock};

/// Microseconds from the opening after which the microphone's time is steady.
const STEADY: u64 = 5_000_000;

fn main() -> Result<(), Box<dyn Error>> {
    let clock: Arc<dyn Clock> = Arc::new(SystemClock::start());
    let mut microphone = Microphone::open(&clock)?;
    let opened = clock.stamp();
    let mut out = std::io::stdout();
    let (end, ended) = mpsc::channel::<()>();
    thread::spawn(move || {
        let mut rest = Vec::new();
        std::io::stdin().read_to_end(&mut rest).ok();
        drop(end);
    });
    let mut lost_before = None;
    // As often as a screen asks.
    while ended.recv_timeout(Duration::from_millis(30)) == Err(RecvTimeoutError::Timeout) {
        for clap in microphone.claps() {
            writeln!(out, "clap {}", clap.0)?;
        }
        if lost_before.is_none() && clock.stamp().since(opened) > STEADY {
            lost_before = Some(microphone.n_lost());
            writeln!(out, "microphone {}", microphone.name())?;
        }
    }
    let n_lost = microphone.n_lost() - lost_before.unwrap_or(0);
    writeln!(out, "lost {}", n_lost + u64::from(microphone.is_lost()))?;
    Ok(())
}
