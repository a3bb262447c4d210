//! The next question: planned, made on the worker, and handed to the sitting when it is wanted.

use super::player::Rendering;
use super::summary::headed;
use super::tune_up::Step;
use super::worker::{Job, Of, What};
use super::{App, Place, Trouble, today};
use crate::deck::Exercise;
use crate::phrase::{GENERATOR, Third};
use crate::quiz::passage::Passage;
use crate::quiz::{Event, Form, Material, Now, Question, Ticket};
use crate::review::plan::{Choice, Help};

/// Why a sitting ends before its time: by what is firm, or by what a day takes.
const RAN_OUT: &str = "That is all that is open today: the next skills open when these are firm. \
                       Listen without answering, play on the bench, or come back tomorrow.";
const MORE_TOMORROW: &str = "That is all for today: as many new skills as a day takes have been begun, and more \
                             come tomorrow. Listen without answering, or play on the bench.";

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
    /// All passages of the skill in hand rest, or are missing.
    Resting,
    /// There is none.
    Enough,
}

impl App {
    /// Has the worker make the next question, unless it does already.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub(super) fn prepare(&mut self, elapsed_ms: u64) -> Result<(), Trouble> {
        while matches!(self.next, Next::Idle | Next::Resting) {
            self.next = match self.plan.next(&self.learner, elapsed_ms) {
                Some(choice) => self.make(choice, 0)?,
                None => Next::Enough,
            };
            if self.plan.has_run_out() && self.course.waits() {
                self.note(if self.plan.has_more_tomorrow() {
                    MORE_TOMORROW
                } else {
                    RAN_OUT
                });
            }
            if matches!(self.next, Next::Resting) {
                self.rest()?;
            }
        }
        Ok(())
    }

    /// No passage of the skill in hand can be asked: the plan moves on, and why is told in the end.
    fn rest(&mut self) -> Result<(), Trouble> {
        let given_up = self.plan.give_up(&self.learner);
        if self.are_all_resting()? {
            self.note(today::RESTING);
            return Ok(());
        }
        let Some(exercise) = given_up.and_then(|candidate| self.course.exercise(candidate)) else {
            return Ok(());
        };
        let title = exercise.title.to_string();
        let mut passages = exercise.material.passages().iter();
        // What is missing was told already.
        if passages.any(|passage| !self.missing.contains(&passage.recording())) {
            self.note(&format!(
                "{} its passages rest. Each comes back on the day after another exercise asked it, \
                 and some days after this one did; cut more for more practice.",
                headed(&title)
            ));
        }
        Ok(())
    }

    pub(super) fn make(&mut self, choice: Choice, tries: u64) -> Result<Next, Trouble> {
        let Some(exercise) = self.course.exercise(choice.candidate) else {
            return Ok(Next::Enough);
        };
        let (form, material, _) = helped(exercise, choice.help);
        let of = match &material {
            Material::Made(recipe) => Of::Recipe(self.wish.upon(recipe)),
            Material::Cut(passages) => match self.next_passage(&exercise.skill, passages)? {
                Some(cutting) => Of::Passage(cutting, passages.clone()),
                None => return Ok(Next::Resting),
            },
        };
        let lately = self
            .sitting
            .as_ref()
            .map(|sitting| sitting.lately(&exercise.skill));
        let what = What::Question {
            form,
            of,
            level: choice.level,
            lately: lately.unwrap_or_default(),
            seed: self.seed.child("question", self.generation),
        };
        Ok(Next::Making {
            generation: self.give(what),
            choice,
            tries,
        })
    }

    pub(super) fn give(&mut self, what: What) -> u64 {
        self.generation += 1;
        if !what.is_hearing() {
            // What is made sound of now takes the place of what is being made.
            self.player.give_up();
        }
        let rate = self.player.rate();
        self.workers.give(Job {
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
        let Some((choice, tries)) = self.in_making(made) else {
            return Ok(());
        };
        let skill = self.course.skill(choice.candidate).cloned();
        let seed = question.measured().seed();
        let store = &self.store;
        let aside = match (&skill, question.passage()) {
            (Some(skill), Some(passage)) => store.is_passage_disputed(skill, passage, GENERATOR)?,
            (Some(skill), None) => store.is_disputed(skill, seed, GENERATOR)?,
            (None, _) => false,
        };
        if aside && tries == TRIES {
            // What is set aside is not asked, whatever else is left.
            self.plan.give_up(&self.learner);
            self.next = Next::Idle;
            return self.go_on_making();
        }
        self.next = if aside {
            self.make(choice, tries + 1)?
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

    /// The recording of a passage is not there: another passage is asked, or another skill.
    pub(super) fn without_passage(&mut self, made: u64, passage: &Passage) -> Result<(), Trouble> {
        let why = self.miss(passage);
        if let Place::Listening(listening) = &mut self.place
            && listening.generation == made
        {
            listening.refused = Some(why);
        }
        let Some((choice, tries)) = self.in_making(made) else {
            return Ok(());
        };
        self.next = self.make(choice, tries)?;
        if matches!(self.next, Next::Resting) {
            self.rest()?;
        }
        self.go_on_making()
    }

    /// No phrase had one right answer: the plan moves on to another skill.
    pub(super) fn no_phrase(&mut self, made: u64) -> Result<(), Trouble> {
        if let Place::Listening(listening) = &mut self.place
            && listening.generation == made
        {
            listening.refused = Some("No phrase of it could be made this time.".to_owned());
        }
        if self.in_making(made).is_none() {
            return Ok(());
        }
        self.plan.give_up(&self.learner);
        self.next = Next::Idle;
        self.go_on_making()
    }

    /// What is made for the next question, and after how many tries, where this job makes it.
    fn in_making(&self, made: u64) -> Option<(Choice, u64)> {
        match self.next {
            Next::Making {
                generation,
                choice,
                tries,
            } if generation == made => Some((choice, tries)),
            _ => None,
        }
    }

    fn go_on_making(&mut self) -> Result<(), Trouble> {
        let now = self.now(self.clock.stamp());
        self.prepare(
            self.sitting
                .as_ref()
                .map_or(0, |sitting| sitting.elapsed(&now))
                / 1000,
        )?;
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
        self.prepare(elapsed / 1000)?;
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
        let counting = self.counting_in(&exercise.material);
        let wish = exercise
            .material
            .recipe()
            .and_then(|recipe| self.wish.words(recipe));
        Some(Ticket {
            skill: exercise.skill.clone(),
            title: exercise.title.clone(),
            line: exercise.line.in_words(counting),
            repairs: exercise.repairs.map(|line| line.in_words(counting)),
            counting,
            why: {
                let mut why = today::why_in_words(choice.why, &self.course, self.planned_for);
                let (.., how) = helped(exercise, choice.help);
                if let Some(how) = how {
                    why = format!("{why}; {how}");
                }
                match wish {
                    Some(wish) => format!("{why}; as you wish, {wish}"),
                    None if self.wish.cue.is_some() => {
                        format!("{why}; your cue is not in this skill")
                    }
                    None => why,
                }
            },
            criterion: exercise.levels.criterion(),
            level: choice.level,
            alternatives: exercise.material.alternatives(&exercise.form),
            block: choice.block,
            phase: choice.phase,
            place: (choice.place, choice.of),
        })
    }
}

/// What is asked of an exercise and of which phrases, and in words how that helps hands: claps lead
/// longer, or where they do all along, it goes slower. Never both at once.
fn helped(exercise: &Exercise, help: Help) -> (Form, Material, Option<&'static str>) {
    let (form, material) = (&exercise.form, &exercise.material);
    let is_tapped = material.alternatives(form) == 0;
    match (help, form.led_longer(), material) {
        (Help::Given, Some(led), _) => (led, material.clone(), Some("claps lead longer this time")),
        (Help::Given, None, Material::Made(recipe)) if is_tapped => {
            let slow = Material::Made(recipe.in_third(Third::Slow));
            (form.clone(), slow, Some("slower this time"))
        }
        _ => (form.clone(), material.clone(), None),
    }
}
