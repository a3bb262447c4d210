//! Plays a cycle of bells twice on the default sound device and says when each was heard.
//!
//! Prints, as words and numbers in a line each: the device's name, for each play the microsecond of
//! the program's clock at which its first frame was heard, as the output knew it after the first
//! second and at the end, and how often the device ran dry. The two differ by as much as the device
//! stood still meanwhile.

use std::error::Error;
use std::io::Write as _;
use std::sync::{Arc, mpsc};
use std::time::Duration;

use contrapalma::pcm::Pcm;
use contrapalma::phrase::{Phrase, Touch};
use contrapalma::rhythm::{Cycle, Feel, Layer, Tempo};
use contrapalma::sound::output::{Loop, Onset, Progress};
use contrapalma::sound::{DeviceOutput, Output as _, render};
use contrapalma::world::{Clock, Seed, Stamp, SystemClock};

fn main() -> Result<(), Box<dyn Error>> {
    let clock: Arc<dyn Clock> = Arc::new(SystemClock::start());
    let mut output = DeviceOutput::open(&clock)?;
    let mut out = std::io::stdout();
    writeln!(out, "device {}", output.name())?;

    // Pulses of 23,329.28 frames, so that no gap is exactly another.
    let silent = Phrase {
        cycle: Cycle::SIX,
        pace: Tempo::of_hundredths(12_345)?.into(),
        n_cycles: 1,
        entry: 0,
        feel: Feel::Either,
        notes: Vec::new(),
    };
    let bells = silent.clapped(&[Layer::every(Cycle::SIX, 1)], Touch::Bell);
    let pcm = Arc::new(render(&bells, output.rate(), Seed(1)));

    // What a device says of its time wanders in the first moments after it was opened.
    let silence = Pcm::stereo(output.rate(), vec![0.0; 4 * 48_000]);
    output.play(Arc::new(silence).into(), Onset::AtOnce, Loop::Once)?;
    wait_until_over(&mut output, &clock);

    let before = output.health();
    for _ in 0..2 {
        output.play(Arc::clone(&pcm).into(), Onset::AtOnce, Loop::Once)?;
        let (early, late) = wait_until_over(&mut output, &clock);
        writeln!(out, "early {}", early.0)?;
        writeln!(out, "late {}", late.0)?;
    }
    let n_underruns = output.health().n_underruns - before.n_underruns;
    writeln!(out, "underruns {n_underruns}")?;
    Ok(())
}

/// Waits for the end of the latest play; when its first frame was heard, as the output knew it after
/// a second and at the end.
fn wait_until_over(output: &mut DeviceOutput, clock: &Arc<dyn Clock>) -> (Stamp, Stamp) {
    // Nothing is ever sent: waiting for it is a wait that ends.
    let (_quiet, never) = mpsc::channel::<()>();
    let second = output.rate().frame_at(1_000_000);
    let mut early = None;
    loop {
        if let Some(position) = output.position(clock.stamp()) {
            if position.progress == Progress::Over {
                return (early.unwrap_or(position.began), position.began);
            }
            if position.frame > second {
                early.get_or_insert(position.began);
            }
        }
        never.recv_timeout(Duration::from_millis(10)).ok();
    }
}
