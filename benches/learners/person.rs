//! Invented people: how they learn, forget and answer.
//!
//! A [`Person`] has a *mastery* of every skill, 0 to 1, that practice raises and time lowers by one of
//! two laws, neither of which is the one that the program reckons with. Mastery lowers the level at
//! which accents are heard. All constants are inventions; the two laws are set so that six blocks of
//! four phrases, one every third day, leave a mastery of 0.75 (power) or 0.55 (exponential) a week
//! later, and one block 0.15 or 0.08. Times are learning days, levels decibels.

use contrapalma::phrase::Level;
use contrapalma::review::normal_cdf;
use contrapalma::world::{Dice, Seed};

/// How mastery fades.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Fading {
    /// A sum of powers of the time since each practice; the more was there at a practice, the sooner
    /// what it adds fades (after Pavlik & Anderson 2005, constants from memory).
    Power,
    /// A fast store that is mostly gone by the morning, and a slow one that it fills overnight and
    /// whose half-life grows with every such night.
    Exponential,
}

/// How much a phrase teaches, by how well its accents are heard.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Effect {
    /// Always the same.
    None,
    /// Half of it always, half as in `Full`.
    Half,
    /// Most where 85 of 100 are heard, little where few are: a bump of this middle and width over the
    /// chance of hearing (the middle as in Wilson et al. 2019, from memory; the width is invented).
    Full,
}

/// One of the invented worlds.
#[derive(Clone, Copy, Debug)]
pub(crate) struct World {
    pub name: &'static str,
    pub fading: Fading,
    pub effect: Effect,
}

pub(crate) const WORLDS: [World; 5] = [
    World {
        name: "power, half",
        fading: Fading::Power,
        effect: Effect::Half,
    },
    World {
        name: "exponential, half",
        fading: Fading::Exponential,
        effect: Effect::Half,
    },
    World {
        name: "power, none",
        fading: Fading::Power,
        effect: Effect::None,
    },
    World {
        name: "power, full",
        fading: Fading::Power,
        effect: Effect::Full,
    },
    World {
        name: "exponential, none",
        fading: Fading::Exponential,
        effect: Effect::None,
    },
];

/// The level at which half is heard without any mastery, and by how much full mastery lowers it.
const UNTRAINED_DB: f64 = 10.0;
const SPAN_DB: f64 = 9.0;
/// How far people, and skills of one person, lie apart.
const PEOPLE_DB: f64 = 1.0;
const SKILLS_DB: f64 = 1.0;
/// The slope of hearing, and how often attention lapses.
const SLOPE_DB: f64 = 3.0;
const LAPSE: f64 = 0.03;
/// The chance of hearing at which a phrase teaches most, and how wide that is.
const BEST_HEARD: f64 = 0.85;
const BEST_WIDTH: f64 = 0.25;
/// How much of a practice reaches each related skill.
const LEAK: f64 = 0.1;
/// Phrases in the blocks that set the two laws.
const BLOCK: f64 = 4.0;

/// Somebody who practises.
#[derive(Clone)]
pub(crate) struct Person {
    world: World,
    dice: Dice,
    /// The untrained level of each skill.
    untrained: Vec<f64>,
    memories: Vec<Memory>,
    law: PowerLaw,
}

impl Person {
    /// Somebody new to all `n_skills` of them.
    pub(crate) fn new(world: World, n_skills: usize, seed: Seed) -> Self {
        let mut dice = seed.child("person", 0).dice();
        let own = UNTRAINED_DB + PEOPLE_DB * normal(&mut dice);
        let untrained = (0..n_skills)
            .map(|_| own + SKILLS_DB * normal(&mut dice))
            .collect();
        let empty = match world.fading {
            Fading::Power => Memory::Power(Vec::new()),
            Fading::Exponential => Memory::EMPTY_STORES,
        };
        Self {
            world,
            dice: seed.child("answers", 0).dice(),
            untrained,
            memories: vec![empty; n_skills],
            law: PowerLaw::set(),
        }
    }

    /// Answers one phrase and learns from it; `related` skills gain a little.
    pub(crate) fn answer(
        &mut self,
        skill: usize,
        related: &[usize],
        day: f64,
        (level, alternatives): (Level, u8),
    ) -> bool {
        let above = self.above(skill, day, level);
        let guess = match alternatives {
            0 => 0.0,
            n => 1.0 / f64::from(n),
        };
        let chance = guess + (1.0 - guess - LAPSE) * normal_cdf(above);
        let right = self.dice.real(0.0, 1.0) < chance;
        let gain = gain(self.world.effect, above) / BLOCK;
        self.memories[skill].practise(gain, day);
        for other in related {
            self.memories[*other].practise(LEAK * gain, day);
        }
        right
    }

    /// The chance that accents of this level are heard in this skill, guesses and lapses apart.
    pub(crate) fn heard(&self, skill: usize, day: f64, level: Level) -> f64 {
        normal_cdf(self.above(skill, day, level))
    }

    /// By how many widths of the curve the level lies above what this person needs.
    fn above(&self, skill: usize, day: f64, level: Level) -> f64 {
        let mastery = self.memories[skill].mastery(day, self.law);
        let threshold = self.untrained[skill] - SPAN_DB * mastery;
        (level.decibels() - threshold) / SLOPE_DB
    }

    /// A night passes.
    pub(crate) fn sleep(&mut self) {
        self.memories.iter_mut().for_each(Memory::sleep);
    }
}

/// What a phrase teaches that lies `above` what is needed by so many widths of the curve.
fn gain(effect: Effect, above: f64) -> f64 {
    let off = (normal_cdf(above) - BEST_HEARD) / BEST_WIDTH;
    let full = (-0.5 * off * off).exp();
    match effect {
        Effect::None => 1.0,
        Effect::Half => 0.5 + 0.5 * full,
        Effect::Full => full,
    }
}

/// What is left of one skill's practice.
#[derive(Clone, Debug)]
enum Memory {
    /// One event a day: when it was, how much was practised, and how fast it fades.
    Power(Vec<Event>),
    Stores {
        fast: f64,
        slow: f64,
        half_life: f64,
    },
}

#[derive(Clone, Copy, Debug)]
struct Event {
    day: f64,
    amount: f64,
    fading: f64,
}

/// How activation turns into mastery.
#[derive(Clone, Copy, Debug)]
struct PowerLaw {
    middle: f64,
    width: f64,
}

/// The exponential world's constants, found by search for its two anchors.
const FAST_GAIN: f64 = 0.6;
const TRANSFER: f64 = 0.3;
const FAST_KEPT: f64 = 0.3;
const LONGER: f64 = 0.8;
const FIRST_HALF_LIFE: f64 = 3.0;
const LONGEST_HALF_LIFE: f64 = 200.0;

/// The power world's: how what is active at a practice speeds up its fading, how fast all fades at
/// least, and by how much a second between sittings counts less than one within (Pavlik & Anderson
/// 2005, Cognitive Science 29; from memory).
const SPEED_UP: f64 = 0.217;
const LEAST: f64 = 0.177;
const BETWEEN_SITTINGS: f64 = 0.025;
const SECONDS_A_DAY: f64 = 86_400.0;
/// What is practised counts from this many seconds on.
const AT_ONCE: f64 = 60.0;

impl Memory {
    const EMPTY_STORES: Self = Self::Stores {
        fast: 0.0,
        slow: 0.0,
        half_life: FIRST_HALF_LIFE,
    };

    fn practise(&mut self, gain: f64, day: f64) {
        match self {
            Self::Power(events) => match events.last_mut() {
                Some(event) if event.day >= day => event.amount += gain,
                _ => {
                    let fading = SPEED_UP * activation(events, day).exp() + LEAST;
                    events.push(Event {
                        day,
                        amount: gain,
                        fading,
                    });
                }
            },
            Self::Stores { fast, .. } => *fast += FAST_GAIN * gain * (1.0 - *fast),
        }
    }

    fn mastery(&self, day: f64, law: PowerLaw) -> f64 {
        match self {
            Self::Power(events) => {
                let z = (activation(events, day) - law.middle) / law.width;
                1.0 / (1.0 + (-z).exp())
            }
            Self::Stores { fast, slow, .. } => 1.0 - (1.0 - fast) * (1.0 - slow),
        }
    }

    fn sleep(&mut self) {
        if let Self::Stores {
            fast,
            slow,
            half_life,
        } = self
        {
            *slow *= (-1.0 / *half_life).exp2();
            *slow += TRANSFER * *fast * (1.0 - *slow);
            *half_life = (*half_life * (1.0 + LONGER * *fast)).min(LONGEST_HALF_LIFE);
            *fast *= FAST_KEPT;
        }
    }
}

/// The logarithm of what is active; very small when nothing was practised.
fn activation(events: &[Event], day: f64) -> f64 {
    let part = |event: &Event| {
        let seconds = (day - event.day) * SECONDS_A_DAY * BETWEEN_SITTINGS + AT_ONCE;
        event.amount * seconds.powf(-event.fading)
    };
    events.iter().map(part).sum::<f64>().max(1e-9).ln()
}

impl PowerLaw {
    /// Set by the two anchors.
    fn set() -> Self {
        let after = |n: u32| {
            let mut memory = Memory::Power(Vec::new());
            for block in 0..n {
                memory.practise(1.0, 3.0 * f64::from(block));
            }
            let Memory::Power(events) = memory else {
                return 0.0;
            };
            activation(&events, 3.0 * f64::from(n - 1) + 7.0)
        };
        let logit = |p: f64| (p / (1.0 - p)).ln();
        let (one, six) = (after(1), after(6));
        let width = (six - one) / (logit(0.75) - logit(0.15));
        Self {
            middle: six - width * logit(0.75),
            width,
        }
    }
}

/// A normally distributed number, as a sum of twelve even ones.
fn normal(dice: &mut Dice) -> f64 {
    (0..12).map(|_| dice.real(0.0, 1.0)).sum::<f64>() - 6.0
}
