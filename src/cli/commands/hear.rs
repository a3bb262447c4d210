//! Plays one sound on the device and waits until it is over; the signal of ctrl-c ends both.

use std::io::{IsTerminal as _, Write as _, stdout};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::mpsc::channel;
use std::time::Duration;

use super::practise::{clock_of, output};
use super::write::print;
use crate::app::Quiet;
use crate::cli::args::Practice;
use crate::cli::data_dir;
use crate::cli::failure::Failure;
use crate::pcm::{Pcm, SampleRate};
use crate::sound::Output;
use crate::sound::output::{Loop, Onset, Progress};
use crate::world::{Clock, Env};

/// An open way out for sound.
pub(super) struct Speaker {
    // Fields are dropped in this order: what libraries print when the device is closed is caught.
    output: Box<dyn Output>,
    clock: Arc<dyn Clock>,
    _quiet: Option<Quiet>,
}

/// A device that has not begun to play after so many microseconds does not answer.
const PATIENCE_MICROS: u64 = 10_000_000;
/// How often it is looked at how far the sound has come.
const LOOK: Duration = Duration::from_millis(50);

impl Speaker {
    /// Opens the device.
    pub(super) fn open(practice: &Practice, env: &Env) -> Result<Self, Failure> {
        let clock = clock_of(env)?;
        // Libraries that print do so while the device is opened and while it plays.
        let quiet = Quiet::begin(&messages(practice, env)).ok();
        let (output, no_sound) = output(practice, &clock);
        if let Some(reason) = no_sound {
            drop(quiet);
            return Err(Failure::no_sound(&reason));
        }
        Ok(Self {
            output,
            clock,
            _quiet: quiet,
        })
    }

    /// The rate that a sound must have.
    pub(super) fn rate(&self) -> SampleRate {
        self.output.rate()
    }

    /// Says what is heard and how long it lasts, and plays it to its end. It rises from quiet, since
    /// nobody knows how loud the device is set.
    pub(super) fn play(mut self, pcm: Pcm, what: &str) -> Result<(), Failure> {
        let hz = u64::from(pcm.rate().hz());
        let n_seconds = pcm.n_frames().0.div_ceil(hz);
        print(&format!(
            "{what}\n{n_seconds} seconds, rising from quiet; ctrl-c ends it\n"
        ))?;
        let sound = Arc::new(pcm).into();
        let play = self.output.play(sound, Onset::Rising, Loop::Once);
        let play = play.map_err(|refused| Failure::no_sound(&refused.to_string()))?;
        let began = self.clock.stamp();
        let (_open, never) = channel::<()>();
        let mut told = Told::new(n_seconds);
        loop {
            never.recv_timeout(LOOK).ok();
            let at = self.clock.stamp();
            if self.output.health().lost {
                return Err(Failure::no_sound("the sound device went away"));
            }
            let here = self.output.position(at).filter(|here| here.play == play);
            match here.map(|here| (here.progress, here.frame)) {
                Some((Progress::Over, _)) => return told.end(),
                Some((Progress::Sounding, frame)) => {
                    told.tell(u64::try_from(frame.0).unwrap_or(0) / hz)?;
                }
                _ if at.since(began) > PATIENCE_MICROS => {
                    return Err(Failure::no_sound("the sound device does not answer"));
                }
                _ => {}
            }
        }
    }
}

/// Where libraries write to: among the data, or nowhere while there is no place for it.
fn messages(practice: &Practice, env: &Env) -> PathBuf {
    let dir = data_dir(practice, env).ok().filter(|dir| dir.is_dir());
    dir.map_or_else(
        || Path::new("/dev/null").to_owned(),
        |dir| dir.join("messages.log"),
    )
}

/// How far a sound has come, on one line of a terminal; nothing elsewhere.
struct Told {
    of: u64,
    seconds: Option<u64>,
    is_shown: bool,
}

impl Told {
    fn new(of: u64) -> Self {
        Self {
            of,
            seconds: None,
            is_shown: stdout().is_terminal(),
        }
    }

    fn tell(&mut self, seconds: u64) -> Result<(), Failure> {
        if !self.is_shown || self.seconds == Some(seconds) {
            return Ok(());
        }
        self.seconds = Some(seconds);
        print(&format!("\r{seconds:>3} of {} s", self.of))?;
        // It is no whole line yet.
        drop(stdout().flush());
        Ok(())
    }

    fn end(self) -> Result<(), Failure> {
        match self.seconds {
            Some(_) => print("\n"),
            None => Ok(()),
        }
    }
}
