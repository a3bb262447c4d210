//! The terminal, taken over and given back.
//!
//! Read [`Guard`] first: while it lives the screen is ours and what libraries write to the error
//! stream goes to a file; when it is dropped everything is as before. A panic of the interface's own
//! thread gives the terminal back before its message is printed; a panic of another thread is told
//! to `alarm`, so that the interface ends in order.

use std::io::{self, IsTerminal as _, Stdout, stdin, stdout};
use std::panic::{self, PanicHookInfo};
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread;

use crossterm::terminal::{Clear, ClearType, EnterAlternateScreen, LeaveAlternateScreen};
use crossterm::{cursor, execute, terminal};
use ratatui::Terminal;
use ratatui::backend::CrosstermBackend;

use crate::app::Quiet;
use crate::app::recording::is_guarded;

type Hook = Box<dyn Fn(&PanicHookInfo<'_>) + Send + Sync>;

/// The screen of this program.
pub(super) type Screen = Terminal<CrosstermBackend<Stdout>>;

/// Whether input and output are a terminal.
pub(super) fn is_terminal() -> bool {
    stdin().is_terminal() && stdout().is_terminal()
}

/// Holds the terminal; gives it back when dropped.
pub(super) struct Guard {
    door: Arc<Door>,
    previous: Arc<Hook>,
}

impl Guard {
    /// Sends the error stream to the file `messages` and sets the panic hook. The screen is entered
    /// with [`Guard::enter`]. `alarm` takes the message of a panic of another thread.
    pub(super) fn new(
        messages: &Path,
        alarm: impl Fn(String) + Send + Sync + 'static,
    ) -> io::Result<Self> {
        let door = Arc::new(Door {
            is_up: AtomicBool::new(false),
            quiet: Quiet::begin(messages)?,
        });
        let previous: Arc<Hook> = Arc::new(panic::take_hook());
        let (own, old) = (Arc::clone(&door), Arc::clone(&previous));
        let interface = thread::current().id();
        panic::set_hook(Box::new(move |info| {
            if is_guarded() {
                // A decoder broke down on a damaged file, and whoever called it knows.
            } else if thread::current().id() == interface {
                own.give_back();
                old(info);
            } else {
                old(info);
                alarm(info.to_string());
            }
        }));
        Ok(Self { door, previous })
    }

    /// Takes the screen over.
    pub(super) fn enter(&self) -> io::Result<()> {
        self.door.is_up.store(true, Ordering::SeqCst);
        terminal::enable_raw_mode()?;
        let clear = Clear(ClearType::All);
        execute!(stdout(), EnterAlternateScreen, clear, cursor::Hide)
    }

    /// Gives the screen back for a while.
    pub(super) fn leave(&self) {
        self.door.leave();
    }
}

impl Drop for Guard {
    fn drop(&mut self) {
        self.door.give_back();
        // The hook cannot be changed while a panic unwinds; the program is ending then.
        if !thread::panicking() {
            drop(panic::take_hook());
            let previous = Arc::clone(&self.previous);
            panic::set_hook(Box::new(move |info| previous(info)));
        }
    }
}

/// What is needed to give the terminal back, from whichever place comes first.
struct Door {
    is_up: AtomicBool,
    /// Holds the error stream.
    quiet: Quiet,
}

impl Door {
    /// A terminal that is gone cannot be put in order, and nobody is there to be told.
    fn leave(&self) {
        if self.is_up.swap(false, Ordering::SeqCst) {
            drop(execute!(stdout(), cursor::Show, LeaveAlternateScreen));
            drop(terminal::disable_raw_mode());
        }
    }

    fn give_back(&self) {
        self.leave();
        self.quiet.end();
    }
}

#[cfg(test)]
mod tests {
    use std::env::current_exe;
    use std::io::Read as _;
    use std::sync::mpsc::channel;
    use std::time::Duration;

    use portable_pty::{CommandBuilder, PtySize, native_pty_system};
    use rustix::termios::LocalModes;
    use tempfile::TempDir;

    use super::*;

    /// Longer than a test program takes to start and to end.
    const PATIENCE: Duration = Duration::from_secs(20);
    /// How the other screen is entered and left, and the cursor hidden and shown: xterm's private
    /// modes 1049 and 25.
    const ENTERED: &str = "\x1b[?1049h";
    const LEFT: &str = "\x1b[?1049l";
    const SHOWN: &str = "\x1b[?25h";
    const HIDDEN: &str = "\x1b[?25l";

    /// One of the tests below that panics, run by itself in a terminal; what it wrote there, and
    /// whether lines with echo are read as before.
    fn in_a_terminal(test: &str) -> (String, bool) {
        let home = TempDir::new().expect("a temporary folder");
        let pair = native_pty_system().openpty(PtySize::default());
        let pair = pair.expect("a pseudo-terminal");
        let mut command = CommandBuilder::new(current_exe().expect("a test is a program"));
        command.args(["--exact", "--ignored", "--nocapture"]);
        command.arg(format!("tui::guard::tests::{test}"));
        command.env_clear();
        command.cwd(home.path());
        let mut child = pair.slave.spawn_command(command).expect("it can start");
        drop(pair.slave);
        let mut reader = pair.master.try_clone_reader().expect("it can be read");
        let (to, said) = channel();
        thread::spawn(move || {
            let mut all = Vec::new();
            // A terminal that everybody left ends with an error.
            drop(reader.read_to_end(&mut all));
            drop(to.send(all));
        });
        let said = said.recv_timeout(PATIENCE);
        if said.is_err() {
            child.kill().expect("it can be ended");
        }
        assert!(child.wait().expect("it was started").success(), "{said:?}");
        let modes = pair.master.get_termios().expect("a terminal").local_flags;
        let wanted = (LocalModes::ICANON | LocalModes::ECHO).bits();
        let said = String::from_utf8_lossy(&said.expect("it ended")).into_owned();
        (said, modes.bits() & wanted == wanted)
    }

    /// A guard whose file of messages lies in the working folder.
    fn guard(alarm: impl Fn(String) + Send + Sync + 'static) -> Guard {
        let guard = Guard::new(Path::new("messages.log"), alarm).expect("a place for messages");
        guard.enter().expect("a terminal");
        guard
    }

    #[test]
    fn a_panic_of_the_interface_gives_the_terminal_back_before_it_is_told() {
        let (said, takes_lines) = in_a_terminal("panics");
        let place = |text: &str| {
            said.find(text)
                .unwrap_or_else(|| panic!("{text:?}: {said:?}"))
        };
        assert!(place(ENTERED) < place(HIDDEN) && place(HIDDEN) < place(LEFT));
        assert!(place(SHOWN) < place("the interface broke"), "{said:?}");
        assert!(place(LEFT) < place("the interface broke"), "{said:?}");
        // It is given back once: what is written later stays.
        assert_eq!(said.matches(LEFT).count(), 1, "{said:?}");
        assert!(takes_lines);
    }

    #[test]
    #[ignore = "run in a terminal by the test above"]
    #[should_panic(expected = "the interface broke")]
    fn panics() {
        let _guard = guard(|_| ());
        panic!("the interface broke");
    }

    #[test]
    fn a_panic_of_another_thread_is_told_to_the_interface_and_leaves_it_the_screen() {
        let (said, takes_lines) = in_a_terminal("another_panics");
        let place = |text: &str| {
            said.find(text)
                .unwrap_or_else(|| panic!("{text:?}: {said:?}"))
        };
        assert!(place("still drawing") < place(LEFT), "{said:?}");
        let told = "told in order: panicked at";
        assert!(
            place(LEFT) < place(told) && place(SHOWN) < place(told),
            "{said:?}"
        );
        // Its message went to the file, not over the picture.
        assert_eq!(said.matches("another broke").count(), 1, "{said:?}");
        assert!(takes_lines);
    }

    #[test]
    #[ignore = "run in a terminal by the test above"]
    fn another_panics() {
        let (to, told) = channel();
        let guard = guard(move |text| drop(to.send(text)));
        let other = thread::spawn(|| panic!("another broke"));
        assert!(other.join().is_err());
        println!("still drawing");
        let told = told.recv_timeout(PATIENCE).expect("the interface is told");
        drop(guard);
        println!("told in order: {told}");
        let messages = std::fs::read_to_string("messages.log").expect("a file of messages");
        assert!(messages.contains("another broke"), "{messages:?}");
    }
}
