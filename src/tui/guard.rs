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
            if thread::current().id() == interface {
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
