//! Keeps what sound libraries print off the terminal.
//!
//! The C libraries under the sound device write straight to file descriptor 2. While a [`Quiet`]
//! lives, that goes to a log file instead.

use std::fs::{self, File, OpenOptions};
use std::os::fd::OwnedFd;
use std::path::Path;

/// Standard error leads to a file for as long as this lives.
pub(super) struct Quiet {
    before: OwnedFd,
    _log: File,
}

impl Quiet {
    /// Sends standard error to the end of `log`; `None` when that cannot be done, in which case
    /// nothing is changed.
    pub(super) fn begin(log: &Path) -> Option<Self> {
        const LONGEST: u64 = 1 << 20;
        let is_long = fs::metadata(log).is_ok_and(|known| known.len() > LONGEST);
        let mut options = OpenOptions::new();
        options.create(true);
        let file = if is_long {
            options.write(true).truncate(true).open(log).ok()?
        } else {
            options.append(true).open(log).ok()?
        };
        let before = rustix::io::dup(rustix::stdio::stderr()).ok()?;
        rustix::stdio::dup2_stderr(&file).ok()?;
        Some(Self { before, _log: file })
    }
}

impl Drop for Quiet {
    fn drop(&mut self) {
        // When even this fails, messages go on to the log.
        let _: Result<(), rustix::io::Errno> = rustix::stdio::dup2_stderr(&self.before);
    }
}
