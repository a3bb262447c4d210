//! Keeps what sound libraries print off the terminal.
//!
//! The C libraries under the sound device write straight to the error stream. While a [`Quiet`]
//! lives, that goes to a file of messages instead.

use std::io;
use std::os::fd::{AsFd as _, OwnedFd};
use std::path::Path;

use rustix::fs::{Mode, OFlags};

/// Larger than this, the file of messages is begun anew, in bytes.
const MOST_MESSAGES: u64 = 1024 * 1024;

/// The error stream leads to a file until this is ended or dropped.
#[derive(Debug)]
pub struct Quiet {
    before: OwnedFd,
}

impl Quiet {
    /// Sends the error stream to the end of the file `messages`, which is made when it is not there.
    ///
    /// # Errors
    /// When the file cannot be written. Nothing is changed then.
    pub fn begin(messages: &Path) -> io::Result<Self> {
        let before = io::stderr().as_fd().try_clone_to_owned()?;
        let flags = OFlags::WRONLY | OFlags::CREATE | OFlags::APPEND | OFlags::CLOEXEC;
        let file = rustix::fs::open(messages, flags, Mode::RUSR | Mode::WUSR)?;
        let size = u64::try_from(rustix::fs::fstat(&file)?.st_size).unwrap_or(0);
        if size > MOST_MESSAGES {
            rustix::fs::ftruncate(&file, 0)?;
        }
        rustix::stdio::dup2_stderr(&file)?;
        Ok(Self { before })
    }

    /// Puts the error stream back. More than once does no harm.
    pub fn end(&self) {
        // When even this fails, messages go on to the file.
        let _: rustix::io::Result<()> = rustix::stdio::dup2_stderr(&self.before);
    }
}

impl Drop for Quiet {
    fn drop(&mut self) {
        self.end();
    }
}
