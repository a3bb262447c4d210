//! Performs what a sitting asks for: owns the store, the output, the worker and the plan.
//!
//! Read [`App`] first. The screen, the line mode and the tests drive it alike: they hand it
//! [`Intent`]s with the stamp at which a key was read, what the worker has done, and ticks; they
//! read its [`Place`] and draw. Nothing here draws, prints or reads keys.
//!
//! All mutable state lives on the caller's thread. The next question is made and rendered on the
//! worker while the present one is shown, so that it can sound at once.

mod assigned;
pub mod bench;
mod check;
pub mod class;
mod coming;
mod course;
mod example;
mod go;
mod intend;
mod intent;
mod learner;
mod listening;
mod next;
mod passages;
mod player;
mod progress;
mod quiet;
pub mod recording;
mod set_up;
mod sounding;
mod summary;
mod today;
pub mod tune_up;
mod words;
mod worker;

use std::collections::{BTreeMap, HashSet};
use std::sync::Arc;
use std::time::Duration;

use crate::deck::Deck;
use crate::label::ContentHash;
use crate::phrase::{Speakers, Wish};
use crate::quiz::{Attempt, Effect, Event, Material, Now, Sitting, Skill, Stage};
use crate::review::plan::{Chooser, Limit, Plan, Scarce, Terms};
use crate::review::{Arrival, Learner, Standing};
use crate::rhythm::Counting;
use crate::sound::output::Refused;
use crate::sound::{ClapInput, Ear};
use crate::store::{Settings, Store, StoreError};
use crate::world::{Calendar, Clock, Day, Moment, Seed, Stamp};

pub use assigned::SetToday;
pub use coming::Coming;
pub use course::Course;
pub use example::example;
pub use intent::{
    ClapBy, DeckText, Decks, Installed, Intent, KeepDeck, Place, ReadDeck, RemoveDeck, Scroll,
    SetUp, Surroundings, Trouble, Wishing,
};
pub use learner::replayed;
pub use listening::Listening;
pub use passages::{passage_example, passage_place, set_aside};
pub use player::Playhead;
pub use progress::{FIRM, Progress, ProgressLine, progress_of};
pub use quiet::Quiet;
pub use summary::{Summary, SummaryLine, headed};
use today::Past;
pub use today::{Today, TodayLine, heard_in_words};
pub use words::{ANSWERS, LEANS, STANDS_OUT, in_words};
pub use worker::Done;

use crate::quiz::judge::Delay;
use learner::learner_of;
use next::Next;
use player::{News, Player, Rendering};
use worker::{Outcome, Workers};

/// After so much practice at a stretch a rest is advised, in microseconds.
const REST_AFTER_MICROS: u64 = 25 * 60 * 1_000_000;

/// The engine.
pub struct App {
    clock: Arc<dyn Clock>,
    calendar: Calendar,
    seed: Seed,
    speakers: Speakers,
    no_sound: Option<String>,
    store: Store,
    learner: Learner,
    course: Course,
    limit: Limit,
    wish: Wish,
    plan: Plan,
    planned_for: Day,
    settings: Settings,
    /// The constant delay of this output, where it was measured.
    delay: Option<Delay>,
    /// Whether the tune-up was offered since the program began.
    offered: bool,
    decks: Decks,
    installed: Installed,
    ear: Option<Ear>,
    /// The microphone, while claps are taken by it.
    microphone: Option<Box<dyn ClapInput>>,
    /// How often the microphone had lost sound at the last look.
    n_unheard: u64,
    /// Why the microphone is not listened to, where that was wanted.
    deaf: Option<String>,
    player: Player,
    workers: Workers,
    place: Place,
    sitting: Option<Sitting>,
    heard_from: BTreeMap<Skill, crate::phrase::Level>,
    next: Next,
    is_next_wanted: bool,
    fresh: Option<Rendering>,
    /// A rendering that waits for the slate to be wiped.
    pending: Option<(Rendering, Stamp)>,
    last_sound: Option<Stamp>,
    generation: u64,
    sound_generation: u64,
    /// Recordings that were not found.
    missing: HashSet<ContentHash>,
    /// Whether the worker looks for others.
    is_looking: bool,
    /// What the learner is to be told in the end.
    notes: Vec<String>,
    last_at: Option<Moment>,
}

impl App {
    /// Opens the engine on a store and a deck. `deliver` takes what a worker has done, on the
    /// worker's thread, and says whether anybody still listens.
    ///
    /// # Errors
    /// When the store cannot be read, or no worker can be started.
    pub fn open(
        around: Surroundings,
        mut store: Store,
        deck: Deck,
        limit: Limit,
        deliver: impl Fn(Done) -> bool + Send + Sync + 'static,
    ) -> Result<Self, Trouble> {
        let learner = learner_of(&mut store)?;
        let deck = match around.decks {
            Decks::All => around.installed.in_hand(&store, deck, around.speakers)?,
            Decks::Given => deck,
        };
        let course = Course::new(deck);
        let (day, _) = around.calendar.day_of(around.clock.now());
        let last_at = store.last_at()?;
        // From the log as well, so that a seed given twice does not ask the same again.
        let log = last_at.map_or(0, |at| at.0.unsigned_abs());
        let seed = around.seed.child("practice", 0).child("log", log);
        let plan = plan(&learner, &course, day, seed, limit);
        let past = past(&store, &learner, &course, day)?;
        let today = Today::of(&plan, &learner, &course, day, (past, Scarce::default()));
        let mut app = Self {
            clock: around.clock,
            calendar: around.calendar,
            seed,
            speakers: around.speakers,
            no_sound: around.no_sound,
            settings: store.settings()?,
            delay: store.delay(around.output.name())?,
            offered: false,
            decks: around.decks,
            installed: around.installed,
            ear: around.ear,
            microphone: None,
            n_unheard: 0,
            deaf: None,
            last_at,
            store,
            learner,
            course,
            limit,
            wish: around.wish,
            plan,
            planned_for: day,
            player: Player::new(around.output),
            workers: Workers::start(deliver).map_err(Trouble::Worker)?,
            place: Place::Today(today),
            sitting: None,
            heard_from: BTreeMap::new(),
            next: Next::Idle,
            is_next_wanted: false,
            fresh: None,
            pending: None,
            last_sound: None,
            generation: 0,
            sound_generation: 0,
            missing: HashSet::new(),
            is_looking: false,
            notes: Vec::new(),
        };
        app.place = Place::Today(app.today(&app.plan)?);
        app.prepare(0)?;
        app.look_for_recordings()?;
        Ok(app)
    }

    /// Where it stands.
    pub fn place(&self) -> &Place {
        &self.place
    }

    /// The stage of the sitting, when there is one.
    pub fn stage(&self) -> Option<&Stage> {
        self.sitting.as_ref().map(Sitting::stage)
    }

    /// How the learner wants every cycle to be counted; `None` where each is counted as its style does.
    pub fn counting(&self) -> Option<Counting> {
        self.settings.counting
    }

    /// How counts of a pattern are spoken.
    fn counting_in(&self, material: &Material) -> Counting {
        Counting::in_style(self.settings.counting, material.counting())
    }

    /// Why nothing can be heard, when that is so.
    pub fn no_sound(&self) -> Option<&str> {
        self.no_sound.as_deref()
    }

    /// Whether the caution on loudness is still to be given.
    pub fn is_caution_due(&self) -> bool {
        self.settings.cautioned.is_none()
    }

    /// Whether the learner has practised so long that a rest is advised.
    pub fn is_rest_due(&self) -> bool {
        let now = self.now(self.clock.stamp());
        self.sitting
            .as_ref()
            .is_some_and(|sitting| sitting.elapsed(&now) > REST_AFTER_MICROS)
    }

    /// Where the sound is.
    pub fn playhead(&mut self) -> Option<Playhead> {
        self.player.playhead(self.clock.stamp())
    }

    /// How long nothing can change by itself: short while something sounds, for the playhead.
    pub fn idle_time(&self) -> Duration {
        let listens = self.microphone.is_some() && !matches!(self.place, Place::Today(_));
        let lively = self.player.is_playing() || self.pending.is_some() || listens;
        Duration::from_millis(if lively { 33 } else { 500 })
    }

    /// Takes what the worker has done.
    ///
    /// # Errors
    /// When the store or the output refuses, or the worker met a bug.
    pub fn done(&mut self, done: Done) -> Result<(), Trouble> {
        match done.outcome {
            Outcome::Broken => Err(Trouble::Bug),
            Outcome::Sound(rendering) if done.generation == self.sound_generation => {
                match &self.place {
                    Place::Bench(bench) => {
                        let n_cycles = bench.n_cycles();
                        Ok(self
                            .player
                            .follow(&rendering, n_cycles, self.clock.stamp())?)
                    }
                    _ => self.sound(&rendering),
                }
            }
            Outcome::Sound(_) => Ok(()),
            Outcome::Heard(heard) => self.heard(done.generation, *heard),
            Outcome::HeardAgain(heard) => self.heard_again(done.generation, *heard),
            Outcome::Passage(made) => self.passage_made(done.generation, made),
            Outcome::Question(made) if matches!(self.place, Place::Listening(_)) => {
                let (question, rendering) = *made;
                self.listened(done.generation, question, &rendering)
            }
            Outcome::Question(made) => {
                let (question, rendering) = *made;
                self.question_made(done.generation, question, rendering)
            }
            Outcome::NoPhrase => self.no_phrase(done.generation),
            Outcome::Missing(passage) => self.without_passage(done.generation, &passage),
            Outcome::Looked(missing) => self.looked(missing),
        }
    }

    /// Looks at what happened by itself: sound that began, ended or broke off.
    ///
    /// # Errors
    /// When the store or the output refuses.
    pub fn tick(&mut self) -> Result<(), Trouble> {
        let stamp = self.clock.stamp();
        self.look_at_recording();
        self.judge_claps(stamp)?;
        self.listen()?;
        if self
            .pending
            .as_ref()
            .is_some_and(|(_, not_before)| *not_before <= stamp)
            && let Some((rendering, _)) = self.pending.take()
        {
            self.player.play(&rendering)?;
        }
        match self.player.news(stamp) {
            Some(News::Started(began)) => self.happen(Event::Started(began), stamp),
            Some(News::Ended) => {
                self.last_sound = Some(stamp);
                self.happen(Event::Ended, stamp)
            }
            Some(News::Broken) if matches!(self.place, Place::Recording(_)) => {
                self.recording_broke_off()
            }
            Some(News::Broken) => {
                // A question that waits behind the tune-up is none the worse for it.
                if let Place::TuneUp(tune_up) = &mut self.place {
                    tune_up.break_off();
                    return Ok(());
                }
                self.happen(Event::Spoiled, stamp)
            }
            Some(News::Lost) => Err(Refused::Stuck.into()),
            None => Ok(()),
        }
    }

    /// Ends what sounds or is about to sound, as if it had come to its end: it can be asked for
    /// again.
    ///
    /// # Errors
    /// When the store or the output refuses.
    pub fn hush(&mut self) -> Result<(), Trouble> {
        self.silence();
        self.happen(Event::Hushed, self.clock.stamp())
    }

    fn plan_afresh(&mut self) {
        let (day, _) = self.calendar.day_of(self.clock.now());
        self.planned_for = day;
        self.seed = self.seed.child("plan", 0);
        self.plan = self.fresh_plan();
        self.next = Next::Idle;
    }

    /// The plan as it is before anything is asked.
    fn fresh_plan(&self) -> Plan {
        let (day, seed) = (self.planned_for, self.seed);
        let mut plan = plan(&self.learner, &self.course, day, seed, self.limit);
        self.leave_out_missing(&mut plan);
        plan
    }

    /// Hands an event to the sitting and does what it asks for.
    fn happen(&mut self, event: Event, stamp: Stamp) -> Result<(), Trouble> {
        let now = self.now(stamp);
        let Some(sitting) = &mut self.sitting else {
            return Ok(());
        };
        let effects = sitting.handle(event, &now);
        for effect in effects {
            self.perform(effect, &now)?;
        }
        let over = matches!(self.stage(), Some(Stage::Over));
        if over && self.place == Place::Sitting {
            self.finish(&now)?;
        }
        Ok(())
    }

    fn perform(&mut self, effect: Effect, now: &Now) -> Result<(), Trouble> {
        match effect {
            Effect::Play(phrases, playing) => self.play(phrases, playing),
            Effect::Silence => {
                self.silence();
                Ok(())
            }
            Effect::Record(attempt) => self.record(&attempt, now),
            Effect::SetAside(attempt) => Ok(self.store.dispute(&attempt, now.at, None)?),
            Effect::PassOver => {
                self.plan.pass_over();
                Ok(())
            }
            Effect::WantNext => self.bring_next(now),
        }
    }

    fn record(&mut self, attempt: &Attempt, now: &Now) -> Result<(), Trouble> {
        // The order of the log is (day, time), so an attempt can only be late when the calendar
        // went back; the cache is then made again at the next start.
        let arrival = self.learner.learn(attempt);
        let kept = self
            .learner
            .standing(&attempt.skill)
            .filter(|_| arrival == Arrival::Next);
        let bytes = kept.map(Standing::encode);
        let due = kept.map(|standing| standing.memory().due_day());
        let row = bytes.as_deref().map(|bytes| (&attempt.skill, due, bytes));
        self.store.append(attempt, row)?;
        self.last_at = Some(attempt.at);
        let elapsed = self
            .sitting
            .as_ref()
            .map_or(0, |sitting| sitting.elapsed(now));
        self.happen(Event::Saved, now.stamp)?;
        self.next = Next::Idle;
        self.prepare(elapsed / 1000)?;
        Ok(())
    }

    fn finish(&mut self, now: &Now) -> Result<(), Trouble> {
        self.silence();
        let Some(sitting) = &self.sitting else {
            return Ok(());
        };
        let mut summary = Summary::of(
            sitting,
            &self.heard_from,
            (&self.learner, &self.course),
            now,
        );
        if self.course.is_check() {
            let n_ever = |skill: &Skill| self.learner.standing(skill).map_or(0, Standing::answered);
            let outcome = check::Outcome::of(sitting.tallies(), n_ever);
            if let Some(found) = outcome.found() {
                self.store.save_checked(found.id(), now.day)?;
            }
            summary.advice = Some(outcome.advice());
        }
        summary.notes = std::mem::take(&mut self.notes);
        self.place = Place::Summary(summary);
        self.is_next_wanted = false;
        Ok(())
    }

    fn now(&self, stamp: Stamp) -> Now {
        let wall = self.clock.now();
        let at = self
            .last_at
            .map_or(wall, |last| wall.max(Moment(last.0 + 1)));
        let (day, offset_min) = self.calendar.day_of(wall);
        Now {
            stamp,
            at,
            wall,
            offset_min,
            day,
        }
    }
}

fn plan(learner: &Learner, course: &Course, day: Day, seed: Seed, limit: Limit) -> Plan {
    let terms = Terms {
        day,
        seed,
        limit: course.limit(limit),
        chooser: Chooser::Forgetting,
        new_a_day: course.new_a_day(),
        blocks_of_a_skill: course.blocks_of_a_skill(),
    };
    Plan::begin(learner, course.candidates(), terms)
}

fn past(store: &Store, learner: &Learner, course: &Course, day: Day) -> Result<Past, StoreError> {
    const DAYS: u16 = 14;
    let fortnight = store.counts_by_day(day, DAYS)?;
    Ok(Past {
        fortnight: fortnight.into_iter().map(|(_, n)| n).collect(),
        spreads: store.recent_spreads()?,
        checked: store.checked()?,
        set: assigned::set_today(store, learner, course.id(), day)?,
        who: store.identity()?.name,
    })
}

#[cfg(test)]
mod recording_tests;
#[cfg(test)]
mod tests;
