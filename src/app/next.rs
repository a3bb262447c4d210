//! The next question: planned, made on the worker, and handed to the sitting when it is wanted.

use super::player::Rendering;
use super::tune_up::Step;
use super::worker::{Job, What};
use super::{App, Trouble, today};
use crate::deck::Exercise;
use crate::phrase::{GENERATOR, Recipe, Third};
use crate::quiz::{Event, Form, Now, Question, Ticket};
use crate::review::plan::{Choice, Help};

/// The next question.
pub(super) enum Next {
    /// Nobody asked for it yet.
    Idle,
    /// The worker makes it.
    Making {
        generation: u64,
        choice: Choice,
        tries: u64,
    },
    /// It is here.
    Ready {
        choice: Choice,
        question: Box<Question>,
        rendering: Rendering,
    },
    /// There is none.
    Enough,
}
impl App {
    /// Has the worker make the next question, unless it does already.
    pub(super) fn prepare(&mut self, elapsed_ms: u64) {
        if !matches!(self.next, Next::Idle) {
            return;
        }
        self.next = match self.plan.next(&self.learner, elapsed_ms) {
            Some(choice) => self.make(choice, 0),
            None => Next::Enough,
        };
    }

    pub(super) fn make(&mut self, choice: Choice, tries: u64) -> Next {
        let Some(exercise) = self.course.exercise(choice.candidate) else {
            return Next::Enough;
        };
        let (form, recipe, _) = helped(exercise, choice.help);
        let lately = self
            .sitting
            .as_ref()
            .map(|sitting| sitting.lately(&exercise.skill));
        let what = What::Question {
            form,
            recipe: self.wish.upon(&recipe),
            level: choice.level,
            lately: lately.unwrap_or_default(),
            seed: self.seed.child("question", self.generation),
        };
        Next::Making {
            generation: self.give(what),
            choice,
            tries,
        }
    }

    pub(super) fn give(&mut self, what: What) -> u64 {
        self.generation += 1;
        let rate = self.player.rate();
        self.worker.give(Job {
            generation: self.generation,
            rate,
            what,
        });
        self.generation
    }

    pub(super) fn question_made(
        &mut self,
        made: u64,
        question: Question,
        rendering: Rendering,
    ) -> Result<(), Trouble> {
        const TRIES: u64 = 8;
        let Next::Making {
            generation,
            choice,
            tries,
        } = self.next
        else {
            return Ok(());
        };
        if made != generation {
            return Ok(());
        }
        let skill = self.course.skill(choice.candidate).cloned();
        let seed = question.measured().seed();
        let aside = match &skill {
            Some(skill) => self.store.is_disputed(skill, seed, GENERATOR)?,
            None => false,
        };
        self.next = if aside && tries < TRIES {
            self.make(choice, tries + 1)
        } else {
            Next::Ready {
                choice,
                question: Box::new(question),
                rendering,
            }
        };
        if self.is_next_wanted {
            let now = self.now(self.clock.stamp());
            self.bring_next(&now)?;
        }
        Ok(())
    }

    /// No phrase had one right answer: the plan moves on to another skill.
    pub(super) fn no_phrase(&mut self, made: u64) -> Result<(), Trouble> {
        if !matches!(self.next, Next::Making { generation, .. } if generation == made) {
            return Ok(());
        }
        self.plan.give_up(&self.learner);
        self.next = Next::Idle;
        let now = self.now(self.clock.stamp());
        self.prepare(
            self.sitting
                .as_ref()
                .map_or(0, |sitting| sitting.elapsed(&now))
                / 1000,
        );
        if self.is_next_wanted {
            self.bring_next(&now)
        } else {
            Ok(())
        }
    }

    /// Hands the sitting its next question when it is ready.
    pub(super) fn bring_next(&mut self, now: &Now) -> Result<(), Trouble> {
        self.is_next_wanted = true;
        let elapsed = self
            .sitting
            .as_ref()
            .map_or(0, |sitting| sitting.elapsed(now));
        self.prepare(elapsed / 1000);
        match std::mem::replace(&mut self.next, Next::Idle) {
            Next::Ready {
                choice,
                question,
                rendering,
            } => {
                self.is_next_wanted = false;
                if self.offer(&question) {
                    self.next = Next::Ready {
                        choice,
                        question,
                        rendering,
                    };
                    return self.go_to_tune_up(Step::Offered);
                }
                let Some(ticket) = self.ticket(choice) else {
                    return Ok(());
                };
                self.fresh = Some(rendering);
                self.happen(Event::Next(Box::new((*question, ticket))), now.stamp)
            }
            Next::Enough => {
                self.is_next_wanted = false;
                self.next = Next::Enough;
                self.happen(Event::Enough, now.stamp)
            }
            making => {
                self.next = making;
                Ok(())
            }
        }
    }

    pub(super) fn ticket(&self, choice: Choice) -> Option<Ticket> {
        let exercise = self.course.exercise(choice.candidate)?;
        let counting = self.counting_in(exercise.recipe.pattern());
        let repair = exercise.repair.as_ref();
        Some(Ticket {
            skill: exercise.skill.clone(),
            title: exercise.title.clone(),
            line: exercise.line.in_words(counting),
            repair: repair.map(|repair| repair.in_words(counting)),
            counting,
            why: {
                let mut why = today::why_in_words(choice.why, &self.course, self.planned_for);
                let (.., how) = helped(exercise, choice.help);
                if let Some(how) = how {
                    why = format!("{why}; {how}");
                }
                match self.wish.words(&exercise.recipe) {
                    Some(wish) => format!("{why}; as you wish, {wish}"),
                    None if self.wish.cue.is_some() => {
                        format!("{why}; your cue is not in this skill")
                    }
                    None => why,
                }
            },
            criterion: exercise.levels.criterion(),
            level: choice.level,
            alternatives: exercise.form.alternatives(&exercise.recipe),
            block: choice.block,
            phase: choice.phase,
            place: (choice.place, choice.of),
        })
    }
}

/// What is asked of an exercise and of which phrases, and in words how that helps hands: claps lead
/// longer, or where they do all along, it goes slower. Never both at once.
fn helped(exercise: &Exercise, help: Help) -> (Form, Recipe, Option<&'static str>) {
    let (form, recipe) = (&exercise.form, &exercise.recipe);
    let is_tapped = form.alternatives(recipe) == 0;
    match (help, form.led_longer()) {
        (Help::Given, Some(led)) => (led, recipe.clone(), Some("claps lead longer this time")),
        (Help::Given, None) if is_tapped => {
            let slow = recipe.in_third(Third::Slow);
            (form.clone(), slow, Some("slower this time"))
        }
        _ => (form.clone(), recipe.clone(), None),
    }
}
