//! The loop: everything that can happen comes through one channel and is handled here.
//!
//! Keys are stamped on the thread that reads them, before anything else is done with them.

use std::io;
use std::ops::ControlFlow;
use std::path::Path;
use std::sync::Arc;
use std::sync::mpsc::{Receiver, RecvTimeoutError, Sender, channel};
use std::thread;

use crossterm::event::{self, Event, KeyEvent, KeyEventKind};
use ratatui::backend::CrosstermBackend;
use ratatui::layout::Rect;
use signal_hook::consts::{SIGCONT, SIGHUP, SIGINT, SIGTERM, SIGTSTP};
use signal_hook::iterator::Signals;

use crate::app::{App, Done, Intent, Place, Playhead, Trouble};
use crate::quiz::Stage;
use crate::world::{Clock, Env, Stamp};

use super::draw::draw;
use super::guard::{Guard, Screen, is_terminal};
use super::keymap::{Action, Control, action, bindings};
use super::theme::Theme;
use super::view::{Advice, Here, Room, View, n_cycles};

/// Takes what a worker has done, on the worker's thread, and says whether anybody still listens.
pub type Deliver = Box<dyn Fn(Done) -> bool + Send + Sync>;

/// How the interface ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ending {
    /// The learner left.
    Left,
    /// This signal asked for it.
    Signal(i32),
}

/// Why the interface could not begin or go on.
#[derive(Debug, thiserror::Error)]
pub enum ScreenError {
    /// Input or output is a pipe or a file.
    #[error("the screen needs a terminal for input and output")]
    NoTerminal,
    /// The file of messages cannot be written.
    #[error("{path}: {source}")]
    Messages {
        /// The file.
        path: String,
        /// What the system said.
        source: io::Error,
    },
    /// The terminal failed, or went away.
    #[error("the terminal: {0}")]
    Terminal(#[from] io::Error),
    /// The engine failed.
    #[error(transparent)]
    Engine(#[from] Trouble),
    /// Another thread panicked: a bug. The text says where.
    #[error("{0}")]
    Panicked(String),
}

/// Runs the interface until the learner leaves or a signal asks for it.
///
/// `open` makes the engine; while it does, and until the end, what is written to the error stream
/// goes to the file `messages`, which is begun anew when it has grown past 1 MiB; its folder must be
/// there. When this returns or panics the terminal and the error stream are as they were.
///
/// # Errors
/// When there is no terminal or it goes away, when the engine cannot be opened or fails, and when
/// another thread panics.
pub fn run(
    open: impl FnOnce(Deliver) -> Result<App, Trouble>,
    clock: &Arc<dyn Clock>,
    env: &Env,
    messages: &Path,
) -> Result<Ending, ScreenError> {
    if !is_terminal() {
        return Err(ScreenError::NoTerminal);
    }
    let (inputs, inbox) = channel();
    let alarm = inputs.clone();
    let guard = Guard::new(messages, move |text| {
        drop(alarm.send(Input::Panicked(text)));
    });
    let guard = guard.map_err(|source| ScreenError::Messages {
        path: messages.display().to_string(),
        source,
    })?;
    let done = inputs.clone();
    let app = open(Box::new(move |it| done.send(Input::Done(it)).is_ok()))?;
    listen(&inputs, clock)?;
    guard.enter()?;
    let interface = Interface {
        app,
        screen: Screen::new(CrosstermBackend::new(io::stdout()))?,
        theme: Theme::of(env),
        here: Here::default(),
        guard,
    };
    interface.go(&inbox)
}

/// All that can happen.
enum Input {
    /// A key was pressed, read at this stamp.
    Key(KeyEvent, Stamp),
    /// The terminal has another size.
    Resized,
    /// The worker has done something.
    Done(Done),
    /// A signal came.
    Signal(i32),
    /// The terminal cannot be read.
    Lost(io::Error),
    /// Another thread panicked.
    Panicked(String),
}

/// Starts the threads that wait for keys and for signals. They end with the program.
fn listen(inputs: &Sender<Input>, clock: &Arc<dyn Clock>) -> io::Result<()> {
    let (to, clock) = (inputs.clone(), Arc::clone(clock));
    let keys = thread::Builder::new().name("keys".to_owned());
    keys.spawn(move || while read_key(&to, &*clock).is_continue() {})?;
    let mut signals = Signals::new([SIGTERM, SIGHUP, SIGINT, SIGCONT])?;
    let to = inputs.clone();
    let watcher = thread::Builder::new().name("signals".to_owned());
    watcher.spawn(move || {
        signals
            .forever()
            .all(|signal| to.send(Input::Signal(signal)).is_ok())
    })?;
    Ok(())
}

/// Waits for one event of the terminal and hands it over.
fn read_key(inputs: &Sender<Input>, clock: &dyn Clock) -> ControlFlow<()> {
    let event = event::read();
    let stamp = clock.stamp();
    let input = match event {
        // Some terminals also send when a key is let go.
        Ok(Event::Key(key)) if key.kind == KeyEventKind::Press => Input::Key(key, stamp),
        Ok(Event::Resize(..)) => Input::Resized,
        Ok(_) => return ControlFlow::Continue(()),
        Err(error) => {
            drop(inputs.send(Input::Lost(error)));
            return ControlFlow::Break(());
        }
    };
    match inputs.send(input) {
        Ok(()) => ControlFlow::Continue(()),
        Err(_) => ControlFlow::Break(()),
    }
}

/// What happens next: on, or the end.
type Step = Result<ControlFlow<Ending>, ScreenError>;

const ON: Step = Ok(ControlFlow::Continue(()));

/// The engine with its screen. The guard comes last, so that the terminal is given back after
/// everything that may still write to it.
struct Interface {
    app: App,
    screen: Screen,
    theme: Theme,
    here: Here,
    guard: Guard,
}

impl Interface {
    fn go(mut self, inbox: &Receiver<Input>) -> Result<Ending, ScreenError> {
        loop {
            self.draw()?;
            if let ControlFlow::Break(ending) = self.wait(inbox)? {
                return Ok(ending);
            }
            self.app.tick()?;
        }
    }

    /// Draws what there is to see. Only what differs from the last picture is written.
    fn draw(&mut self) -> io::Result<()> {
        self.here.look_at(self.app.stage());
        let playhead = self.app.playhead();
        let view = view(&self.app, playhead, &self.here);
        let theme = self.theme;
        self.screen
            .draw(|frame| draw(&view, theme, frame.buffer_mut()))?;
        Ok(())
    }

    /// Waits until something happens or time may have changed something, and handles all of it.
    fn wait(&mut self, inbox: &Receiver<Input>) -> Step {
        let first = match inbox.recv_timeout(self.app.idle_time()) {
            Ok(input) => input,
            Err(RecvTimeoutError::Timeout) => return ON,
            Err(RecvTimeoutError::Disconnected) => return Ok(ControlFlow::Break(Ending::Left)),
        };
        for input in std::iter::once(first).chain(inbox.try_iter()) {
            let step = self.handle(input)?;
            if step.is_break() {
                return Ok(step);
            }
        }
        ON
    }

    fn handle(&mut self, input: Input) -> Step {
        match input {
            Input::Key(key, stamp) => return self.key(key, stamp),
            Input::Done(done) => self.app.done(done)?,
            // Each drawing asks the terminal for its size.
            Input::Resized => {}
            Input::Signal(SIGCONT) => self.come_back()?,
            Input::Signal(signal) => return Ok(ControlFlow::Break(Ending::Signal(signal))),
            Input::Lost(error) => return Err(error.into()),
            Input::Panicked(text) => return Err(ScreenError::Panicked(text)),
        }
        ON
    }

    fn key(&mut self, key: KeyEvent, stamp: Stamp) -> Step {
        match Control::of(key) {
            Some(Control::Leave) => {
                if *self.app.place() == Place::Sitting {
                    self.app.intend(Intent::Leave, stamp)?;
                }
                return Ok(ControlFlow::Break(Ending::Left));
            }
            Some(Control::Suspend) => {
                self.suspend()?;
                return ON;
            }
            None => {}
        }
        let playhead = self.app.playhead();
        let size = self.screen.size()?;
        let room = Room::of(Rect::new(0, 0, size.width, size.height));
        let view = view(&self.app, playhead, &self.here);
        match action(&bindings(&view, room), key) {
            Some(action) => self.act(action, stamp),
            None => ON,
        }
    }

    fn act(&mut self, action: Action, stamp: Stamp) -> Step {
        match action {
            Action::Want(intent) => {
                self.here.intends(intent);
                self.app.intend(intent, stamp)?;
            }
            Action::Turn(turn) => {
                let playhead = self.app.playhead();
                if let Some(Stage::Shown(shown)) = self.app.stage() {
                    let cycle = view(&self.app, playhead, &self.here).cycle(&shown.reveal);
                    let n_cycles = n_cycles(&shown.reveal);
                    self.here.turn(turn, cycle, n_cycles);
                }
            }
            Action::Picture => self.here.picture = self.here.picture.turned(),
            Action::Overlay(overlay) => self.here.overlay = overlay,
            Action::Quit => return Ok(ControlFlow::Break(Ending::Left)),
        }
        ON
    }

    /// Stops as the shell expects it of Ctrl-Z, and goes on when it is continued. Where nobody could
    /// continue it (no shell above), the system lets this pass without a stop.
    fn suspend(&mut self) -> Result<(), ScreenError> {
        self.app.hush()?;
        self.guard.leave();
        signal_hook::low_level::raise(SIGTSTP)?;
        Ok(self.come_back()?)
    }

    /// Takes the screen again, whoever had it meanwhile, and has everything drawn afresh.
    fn come_back(&mut self) -> io::Result<()> {
        self.guard.enter()?;
        let size = self.screen.size()?;
        self.screen.resize(Rect::new(0, 0, size.width, size.height))
    }
}

fn view<'a>(app: &'a App, playhead: Option<Playhead>, here: &'a Here) -> View<'a> {
    let advice = if app.is_caution_due() {
        Advice::Loudness
    } else if app.is_rest_due() {
        Advice::Rest
    } else {
        Advice::None
    };
    View {
        place: app.place(),
        stage: app.stage(),
        playhead,
        counting: app.counting(),
        no_sound: app.no_sound(),
        set_up: app.set_up(),
        deck: app.title_of_deck(),
        decks: app.decks(),
        wish: app.wish(),
        claps_by: app.claps_by(),
        has_ear: app.has_ear(),
        deaf: app.deaf(),
        advice,
        here,
    }
}
