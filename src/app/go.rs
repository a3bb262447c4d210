//! Going from place to place: today, a sitting, progress, the bench, another deck.

use super::bench::{Bench, Step};
use super::progress::{Past, Stand};
use super::today::RESTING;
use super::{App, Course, Decks, Place, Progress, Today, Trouble, Wishing, past};
use crate::phrase::Wish;
use crate::quiz::{Event, Sitting, Skill};
use crate::review::Standing;
use crate::review::plan::{Plan, Scarce};
use crate::rhythm::Counting;

impl App {
    pub(super) fn begin(&mut self) -> Result<(), Trouble> {
        let stamp = self.clock.stamp();
        let now = self.now(stamp);
        if now.day != self.planned_for {
            self.plan_afresh();
        }
        self.caution()?;
        self.note_missing();
        self.note_turns_not_asked();
        let number = self.store.begin_sitting(now.at)?;
        let heard_from = |(skill, _): (&Skill, &Standing)| {
            let level = self.course.heard_from(&self.learner, skill)?;
            Some((skill.clone(), level))
        };
        self.heard_from = self.learner.standings().filter_map(heard_from).collect();
        self.sitting = Some(Sitting::new(
            self.store.install(),
            number,
            self.hands()?,
            &now,
        ));
        self.place = Place::Sitting;
        self.happen(Event::Onward, stamp)
    }

    /// To how far practice has brought one, with this exercise marked.
    pub(super) fn go_to_progress(&mut self, here: usize) -> Result<(), Trouble> {
        let stand = Stand {
            past: &Past::of(&self.store)?,
            learner: &self.learner,
            counting: self.counting(),
            day: self.now(self.clock.stamp()).day,
        };
        let mut progress = Progress::of(stand, &self.course);
        progress.here = here;
        self.place = Place::Progress(progress);
        Ok(())
    }

    /// Begins a sitting with a skill that the learner chose; after its block the plan goes on.
    pub(super) fn practise(&mut self, candidate: usize) -> Result<(), Trouble> {
        self.plan_afresh();
        self.plan.choose(candidate);
        self.begin()
    }

    /// On to the next deck.
    pub(super) fn next_deck(&mut self) -> Result<(), Trouble> {
        if self.decks == Decks::Given {
            return Ok(());
        }
        if let Some(deck) = self.installed.after(self.course.id()) {
            self.store.save_deck(deck.id())?;
            self.course = Course::new(deck.through(self.speakers));
        }
        self.go_to_today()
    }

    /// What the learner wishes of phrases.
    pub fn wish(&self) -> Wish {
        self.wish
    }

    /// What was made ready by the old wish is made anew when practice begins, since that plans afresh.
    pub(super) fn change_wish(&mut self, wishing: Wishing) {
        self.wish = match wishing {
            Wishing::Cue => self.wish.with_next_cue(&self.course.cues()),
            Wishing::Tempo => self.wish.with_next_tempo(),
        };
    }

    /// The name of the deck in hand.
    pub fn title_of_deck(&self) -> &str {
        self.course.title_of_deck()
    }

    /// Which decks there are to choose from.
    pub fn decks(&self) -> Decks {
        self.decks
    }

    pub(super) fn go_to_bench(&mut self) -> Result<(), Trouble> {
        self.caution()?;
        if let Some(bench) = Bench::new(self.seed, self.counting(), self.speakers) {
            self.place = Place::Bench(Box::new(bench));
            self.sound_bench();
        }
        Ok(())
    }

    /// Notes that the learner has been told how to set a safe loudness.
    pub(super) fn caution(&mut self) -> Result<(), Trouble> {
        if self.settings.cautioned.is_none() {
            self.settings.cautioned = Some(self.clock.now());
            self.store.save_settings(self.settings)?;
        }
        Ok(())
    }

    pub(super) fn step_on_bench(&mut self, step: Step) -> Result<(), Trouble> {
        let Place::Bench(bench) = &mut self.place else {
            return Ok(());
        };
        bench.step(step);
        if bench.is_sounding {
            self.sound_bench();
        } else {
            self.silence();
        }
        Ok(())
    }

    pub(super) fn recount(&mut self) -> Result<(), Trouble> {
        let chosen = self.settings.counting;
        let here =
            chosen.and_then(|chosen| Counting::CHOICES.iter().position(|one| *one == chosen));
        // After the last each cycle is counted as its style does.
        self.settings.counting = Counting::CHOICES
            .get(here.map_or(0, |idx| idx + 1))
            .copied();
        Ok(self.store.save_settings(self.settings)?)
    }

    pub(super) fn go_to_today(&mut self) -> Result<(), Trouble> {
        self.sitting = None;
        self.plan_afresh();
        self.place = Place::Today(self.today(&self.plan)?);
        self.prepare(0)?;
        self.look_for_recordings()
    }

    /// What today holds, by a plan of which nothing was asked yet.
    pub(super) fn today(&self, plan: &Plan) -> Result<Today, Trouble> {
        let day = self.planned_for;
        let past = past(&self.store, &self.learner, &self.course, day)?;
        let cut = self.course.cut();
        let scarce = Scarce {
            skills: &cut,
            n_phrases: self.n_passages_ready(&cut)?,
        };
        Ok(Today {
            missing: self.missing_in_words(),
            is_all_missing: self.is_all_missing(),
            resting: self.are_all_resting()?.then_some(RESTING),
            ..Today::of(plan, &self.learner, &self.course, day, (past, scarce))
        })
    }
}
