//! A program in a pseudo-terminal, watched and driven as a person at the keyboard would.
//!
//! Nothing answers what a program may ask of its terminal, so a program that waits for an answer is
//! found out. All waiting is for something to come, up to a deadline.

use std::io::{Read as _, Write};
use std::path::Path;
use std::sync::mpsc::{Receiver, RecvTimeoutError, channel};
use std::thread;
use std::time::{Duration, Instant};

use contrapalma::world::instant_now;
use portable_pty::{CommandBuilder, ExitStatus, MasterPty, PtySize, native_pty_system};
use rustix::process::{Pid, Signal, kill_process};
use rustix::termios::LocalModes;

/// Longer than anything here may take, on a busy machine too.
pub(crate) const PATIENCE: Duration = Duration::from_secs(20);

/// Enter, as a terminal sends it.
pub(crate) const ENTER: &str = "\r";

/// A program with its terminal.
pub(crate) struct Terminal {
    master: Option<Box<dyn MasterPty + Send>>,
    keyboard: Option<Box<dyn Write + Send>>,
    written: Receiver<Vec<u8>>,
    ended: Receiver<ExitStatus>,
    has_ended: bool,
    pid: Pid,
    screen: vt100::Parser,
    /// Everything that was written so far.
    output_so_far: Vec<u8>,
    started: Instant,
}

impl Terminal {
    /// Starts a program in a terminal of 80 columns and 24 rows.
    pub(crate) fn start(command: CommandBuilder) -> Self {
        let size = size(80, 24);
        let pair = native_pty_system()
            .openpty(size)
            .expect("a pseudo-terminal");
        let mut reader = pair.master.try_clone_reader().expect("it can be read");
        let (to, written) = channel();
        let started = instant_now();
        let mut child = pair
            .slave
            .spawn_command(command)
            .expect("it can be started");
        drop(pair.slave);
        thread::spawn(move || {
            let mut bytes = [0; 8192];
            // The end of the program shows as an error of the terminal.
            while let Ok(n @ 1..) = reader.read(&mut bytes) {
                if to.send(bytes[..n].to_vec()).is_err() {
                    return;
                }
            }
        });
        let pid = child.process_id().and_then(|pid| i32::try_from(pid).ok());
        let (to, ended) = channel();
        thread::spawn(move || child.wait().map(|status| to.send(status)));
        Self {
            keyboard: Some(pair.master.take_writer().expect("it can be written")),
            master: Some(pair.master),
            written,
            ended,
            has_ended: false,
            pid: pid.and_then(Pid::from_raw).expect("it has an id"),
            screen: vt100::Parser::new(size.rows, size.cols, 0),
            output_so_far: Vec::new(),
            started,
        }
    }

    /// Presses a key, or several at once.
    pub(crate) fn press(&mut self, keys: &str) {
        let keyboard = self.keyboard.as_mut().expect("it was not hung up");
        keyboard
            .write_all(keys.as_bytes())
            .expect("the keys are taken");
    }

    /// What is on the screen.
    pub(crate) fn text(&self) -> String {
        self.screen.screen().contents()
    }

    /// Everything that was written so far.
    pub(crate) fn output_so_far(&self) -> &[u8] {
        &self.output_so_far
    }

    /// Waits until the screen shows `text`; how long after the start that was.
    #[track_caller]
    pub(crate) fn wait_for(&mut self, text: &str) -> Duration {
        self.wait_until(text, |screen| screen.contents().contains(text))
    }

    /// Waits until the screen is as wanted; how long after the start that was.
    #[track_caller]
    pub(crate) fn wait_until(
        &mut self,
        wanted: &str,
        is_so: impl Fn(&vt100::Screen) -> bool,
    ) -> Duration {
        let deadline = instant_now() + PATIENCE;
        while !is_so(self.screen.screen()) {
            let left = deadline.saturating_duration_since(instant_now());
            let more = self.take(left);
            assert!(more.is_ok(), "{wanted:?} did not come:\n{}", self.text());
        }
        instant_now() - self.started
    }

    /// Takes in what was written meanwhile, without waiting.
    #[cfg(feature = "playback")]
    pub(crate) fn take_what_came(&mut self) {
        while self.take(Duration::ZERO).is_ok() {}
    }

    /// Takes in what is written next, waiting for it no longer than `patience`.
    fn take(&mut self, patience: Duration) -> Result<(), RecvTimeoutError> {
        let bytes = self.written.recv_timeout(patience)?;
        self.screen.process(&bytes);
        self.output_so_far.extend(bytes);
        Ok(())
    }

    /// Forgets what is on the screen, so that only what is drawn from now on shows.
    pub(crate) fn wipe(&mut self) {
        let (rows, cols) = self.screen.screen().size();
        self.screen = vt100::Parser::new(rows, cols, 0);
    }

    /// Gives the window another size.
    pub(crate) fn resize(&mut self, columns: u16, rows: u16) {
        self.screen.screen_mut().set_size(rows, columns);
        let resized = self.master().resize(size(columns, rows));
        resized.expect("it can be resized");
    }

    /// Sends a signal to the program, and to it alone.
    pub(crate) fn signal(&self, signal: Signal) {
        assert!(!self.has_ended, "nobody to take a signal");
        kill_process(self.pid, signal).expect("it lives");
    }

    /// Closes the window. Its last reader must let go of it as well, and does when it has something
    /// to hand over: the picture in another size.
    pub(crate) fn hang_up(&mut self) {
        self.written = channel().1;
        self.resize(81, 24);
        self.keyboard = None;
        self.master = None;
    }

    /// Waits for the program to end, and for all that it wrote; its exit code, 0 to 255.
    #[track_caller]
    pub(crate) fn end(&mut self) -> u32 {
        let status = self.ended.recv_timeout(PATIENCE);
        let status = status.expect("the program should have ended");
        self.has_ended = true;
        while self.take(PATIENCE).is_ok() {}
        assert_eq!(status.signal(), None, "{}", self.text());
        status.exit_code()
    }

    /// Whether the terminal is as a shell needs it: the usual screen, a cursor, lines and echo.
    pub(crate) fn is_whole(&self) -> bool {
        let screen = self.screen.screen();
        !screen.alternate_screen() && !screen.hide_cursor() && self.takes_lines()
    }

    /// Whether the terminal is the program's: the other screen, no cursor, keys one by one.
    pub(crate) fn is_taken(&self) -> bool {
        let screen = self.screen.screen();
        screen.alternate_screen() && screen.hide_cursor() && !self.takes_lines()
    }

    /// Whether input comes line by line, with echo and with keys that send signals.
    fn takes_lines(&self) -> bool {
        let wanted = LocalModes::ICANON | LocalModes::ECHO | LocalModes::ISIG;
        let modes = self.master().get_termios().expect("a terminal").local_flags;
        modes.bits() & wanted.bits() == wanted.bits()
    }

    fn master(&self) -> &dyn MasterPty {
        self.master.as_deref().expect("it was not hung up")
    }
}

impl Drop for Terminal {
    fn drop(&mut self) {
        if !self.has_ended && self.ended.try_recv().is_err() {
            kill_process(self.pid, Signal::KILL).ok();
        }
    }
}

/// The program with nothing in its environment but what is given here.
pub(crate) fn program(home: &Path, now: &str) -> CommandBuilder {
    let mut command = CommandBuilder::new(env!("CARGO_BIN_EXE_contrapalma"));
    surround(&mut command, home);
    command.env("CONTRAPALMA_NOW", now);
    command
}

/// The screen that a command of it opens.
pub(crate) fn on_screen(home: &Path, args: &str) -> Terminal {
    let mut command = program(home, "2026-11-26T08:00:00Z");
    command.args(args.split(' '));
    Terminal::start(command)
}

/// Empties the environment of a command but for what every program in a terminal has.
pub(crate) fn surround(command: &mut CommandBuilder, home: &Path) {
    command.env_clear();
    command.cwd(home);
    command.env("HOME", home);
    command.env("PATH", "/usr/bin:/bin");
    command.env("TERM", "xterm-256color");
    command.env("LC_ALL", "C.UTF-8");
    command.env("TZ", "UTC");
}

fn size(cols: u16, rows: u16) -> PtySize {
    PtySize {
        rows,
        cols,
        pixel_width: 0,
        pixel_height: 0,
    }
}
