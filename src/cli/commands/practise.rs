//! Practice on the screen or in lines of text: what it needs, and how it begins.

use std::sync::Arc;

use super::shelf::Shelf;
use crate::app::recording::Source;
use crate::app::{App, Decks, Done, Installed, Intent, Quiet, Surroundings, Trouble};
use crate::cli::args::Practice;
use crate::cli::failure::{Failure, Kind};
use crate::cli::{data_dir, identity_seed, plain, seed_of};
use crate::deck::Deck;
use crate::label::Label;
use crate::review::plan::Limit;
use crate::sound::{Ear, Output, SilentOutput};
use crate::store::Store;
use crate::tui::{self, Ending};
use crate::world::{Calendar, Clock, Env, SystemClock, parse_moment};

/// On the screen, beginning with what is wanted `first`.
pub(in crate::cli) fn screen(
    deck: Deck,
    practice: &Practice,
    env: &Env,
    first: Option<Intent>,
) -> Result<Ending, Failure> {
    on_screen(Ready::new(deck, practice, env)?, practice, env, first)
}

/// The same with what it needs.
pub(super) fn on_screen(
    ready: Ready,
    practice: &Practice,
    env: &Env,
    first: Option<Intent>,
) -> Result<Ending, Failure> {
    let (clock, log) = (Arc::clone(&ready.clock), ready.log.clone());
    // The device is opened once the screen has taken over what libraries print.
    let open = |deliver| {
        let around = ready.surroundings(practice);
        let mut app = ready.open(around, deliver)?;
        if let Some(first) = first {
            app.intend(first, clock.stamp())?;
        }
        Ok(app)
    };
    Ok(tui::run(open, &clock, env, &log)?)
}

/// On the screen, with a recording before it.
pub(in crate::cli) fn recording(
    deck: Deck,
    practice: &Practice,
    env: &Env,
    source: Source,
) -> Result<Ending, Failure> {
    let ready = Ready::new(deck, practice, env)?;
    let (clock, log) = (Arc::clone(&ready.clock), ready.log.clone());
    let open = |deliver| {
        let around = ready.surroundings(practice);
        let mut app = ready.open(around, deliver)?;
        app.open_recording(source)?;
        Ok(app)
    };
    Ok(tui::run(open, &clock, env, &log)?)
}

/// In lines of text, from what is wanted `first`.
pub(in crate::cli) fn plain(
    deck: Deck,
    practice: &Practice,
    env: &Env,
    first: Intent,
) -> Result<(), Failure> {
    in_lines(Ready::new(deck, practice, env)?, practice, first)
}

/// The same with what it needs.
pub(super) fn in_lines(ready: Ready, practice: &Practice, first: Intent) -> Result<(), Failure> {
    // Libraries that print do so while the device is opened and while it plays.
    let quiet = Quiet::begin(&ready.log).map_err(|error| Failure::file(&ready.log, &error))?;
    let around = ready.surroundings(practice);
    if let Some(reason) = &around.no_sound {
        drop(quiet);
        return Err(Failure::no_sound(reason));
    }
    let clock = Arc::clone(&ready.clock);
    let open = |deliver| ready.open(around, deliver);
    let ended = plain::go(open, &clock, first);
    drop(quiet);
    ended
}

/// What a sitting needs, checked before anything is shown.
pub(super) struct Ready {
    clock: Arc<dyn Clock>,
    pub(super) store: Store,
    pub(super) deck: Deck,
    /// Whether another deck may be chosen.
    pub(super) decks: Decks,
    limit: Limit,
    seed: crate::world::Seed,
    log: std::path::PathBuf,
    pub(super) installed: Installed,
}

impl Ready {
    pub(super) fn new(deck: Deck, practice: &Practice, env: &Env) -> Result<Self, Failure> {
        let clock = clock_of(env)?;
        let seed = seed_of(practice)?;
        let dir = data_dir(practice, env)?;
        let mut store = Store::open(&dir, identity_seed()?, clock.now())?;
        if let Some(one) = &practice.practises {
            be(&mut store, &one.name)?;
        }
        let limit = practice
            .questions
            .map_or(Limit::Minutes(practice.minutes), Limit::Questions);
        Ok(Self {
            clock,
            store,
            deck,
            decks: match practice.deck {
                Some(_) => Decks::Given,
                None => Decks::All,
            },
            limit,
            seed,
            log: dir.join("messages.log"),
            installed: Shelf::of(&dir).installed(),
        })
    }

    fn surroundings(&self, practice: &Practice) -> Surroundings {
        let (output, no_sound) = output(practice, &self.clock);
        Surroundings {
            clock: Arc::clone(&self.clock),
            calendar: Calendar::default(),
            seed: self.seed,
            output,
            speakers: practice.speakers(),
            wish: practice.wish(),
            no_sound,
            decks: self.decks,
            installed: self.installed.clone(),
            ear: ear(practice, &self.clock),
        }
    }

    fn open(
        self,
        around: Surroundings,
        deliver: impl Fn(Done) -> bool + Send + Sync + 'static,
    ) -> Result<App, Trouble> {
        App::open(around, self.store, self.deck, self.limit, deliver)
    }
}

/// One of several learners is called so until they say otherwise.
fn be(store: &mut Store, name: &Label) -> Result<(), Failure> {
    let mut identity = store.identity()?;
    if identity.name.is_none() {
        identity.name = Some(name.clone());
        store.save_identity(&identity)?;
    }
    Ok(())
}

/// The clock of the system, or one that starts when the environment says.
pub(in crate::cli) fn clock_of(env: &Env) -> Result<Arc<dyn Clock>, Failure> {
    let Some(text) = &env.now else {
        return Ok(Arc::new(SystemClock::start()));
    };
    match parse_moment(text) {
        Some(moment) => Ok(Arc::new(SystemClock::starting_at(moment))),
        None => Err(Failure::new(
            Kind::Usage,
            format!(
                "CONTRAPALMA_NOW: {:?} is no moment",
                crate::label::printable(text)
            ),
            "write it as 2026-11-26T08:00:00+01:00",
        )),
    }
}

/// The microphone, where claps may be taken by one.
fn ear(practice: &Practice, clock: &Arc<dyn Clock>) -> Option<Ear> {
    #[cfg(feature = "listen-in")]
    if !practice.silent {
        return crate::sound::ear(clock);
    }
    let _ = (practice, clock);
    None
}

/// The way out for sound, and why nothing is heard when that is so.
pub(super) fn output(
    practice: &Practice,
    clock: &Arc<dyn Clock>,
) -> (Box<dyn Output>, Option<String>) {
    let silent = || Box::new(SilentOutput::new(Arc::clone(clock)));
    if practice.silent {
        return (silent(), None);
    }
    #[cfg(feature = "playback")]
    match crate::sound::DeviceOutput::open(clock) {
        Ok(device) => (Box::new(device), None),
        Err(error) => (silent(), Some(error.to_string())),
    }
    #[cfg(not(feature = "playback"))]
    (
        silent(),
        Some("no sound device: this contrapalma was built without playback".to_owned()),
    )
}
