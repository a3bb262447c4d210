//! When hands clap, from what a microphone hears.
//!
//! Read [`ClapFinder`] first. It takes sound as it comes, in blocks of any length, and says at which
//! frames claps begin; how the sound was cut changes nothing. Samples are mono, ±1.0 is full scale,
//! powers are mean squares.
//!
//! A clap is told from a guitar that the loudspeakers play by three things at once: it stands out
//! from what is bright (above 1 kHz) in the background, most of its own power is bright, and it is
//! soon over. How loud hands are in this microphone is learnt from the last claps.
//!
//! What else clicks brightly and briefly, as a key that is struck or claps from a loudspeaker, is
//! taken for a clap; so may a loud stopped chord be, until two claps have said how loud hands are.
//! Of two hands that clap up to 45 ms apart, as two people do, neither or the second is found.
//!
//! Nothing here knows a device, a clock or a pulse.

use std::collections::VecDeque;

use super::filter::Biquad;
use super::units::{frames, real, single};
use crate::pcm::{Frame, SampleRate};

/// What is bright, in hertz. Of single real claps 8 parts in 10 of the first milliseconds lie above
/// it, of plucked strings seldom one.
const BRIGHT_HZ: f64 = 1_000.0;
/// Below this there is no clap, in hertz, but hum, wind and the offset of cheap microphones.
const RUMBLE_HZ: f64 = 100.0;
/// Seconds over which power is taken together: several periods of what is bright, and less than a
/// clap takes to rise.
const ENVELOPE: f64 = 0.0005;
/// Seconds in which the background is followed: longer than from one clap to the next, so that
/// claps do not hide each other, and short enough to be there soon after a guitar comes in.
const BACKGROUND: f64 = 0.7;
/// What goes into the background at most, against the background: so a clap hardly moves it.
const SURPRISE: f32 = 4.0;
/// How far a clap stands out of the background: 12 dB. Strokes of a steady guitar seldom do.
const STANDS_OUT: f32 = 16.0;
/// Below this nothing is a clap: -46 dB. Claps that reach -40 dBFS pass; the hiss of microphones is
/// 10 dB lower.
const FLOOR: f32 = 2.5e-5;
/// A rise by as much, 6 dB, begins anew: a clap that comes right after a stroke.
const RISE: f32 = 4.0;
/// After something that was no clap, one rises by as much, 9 dB, from the softest since that began:
/// what merely goes on does not begin.
const FROM_SOFTEST: f32 = 8.0;
/// Seconds from the last rise in which a clap is loudest; real ones, alone, last four to five
/// milliseconds.
const BODY: f64 = 0.004;
/// The part of the body's power that is bright in a clap, -2 dB: real ones have 8 parts in 10 and more,
/// strings a tenth and less, high and stopped ones half.
const BRIGHT: f32 = 0.63;
/// The same of dull claps, -9 dB: our own cupped hands have between a seventh and a half.
const DULL: f32 = 0.12;
/// Below this no dull sound is a clap, -25 dB: hands are near the microphone, and a stopped chord,
/// which sounds like cupped hands, is not.
const DULL_FLOOR: f32 = 3.2e-3;
/// How far below the usual clap, 15 dB, a bright sound is none, and how far, 6 dB, a dull one: hands
/// wander by less, and what leaks from loudspeakers is softer.
const BELOW_USUAL: f32 = 0.0316;
const DULL_BELOW_USUAL: f32 = 0.25;
/// The last claps, of which the one in the middle is the usual one. One alone, which may have been a
/// thump, is not yet usual.
const USUAL_OF: usize = 5;
/// Seconds without a clap after which it is forgotten what is usual: the microphone may have changed.
const FORGET: f64 = 10.0;
/// Seconds from the last rise between which a clap has faded: real ones, in rooms, by 9 dB and more
/// after 30 ms, strings by 2 to 5.
const TAIL: (f64, f64) = (0.030, 0.045);
/// What may be left of the body's bright power in the tail, 6 dB below.
const FADED: f32 = 0.25;
/// A clap begins where its power rises above a 25th of its greatest, 14 dB below,
const EDGE: f32 = 0.04;
/// and above the background by as much, 6 dB.
const OUT_OF_BACKGROUND: f32 = 4.0;
/// Seconds for which it may dip below that while it rises: it is noise, and dips.
const DIP: f64 = 0.001;
/// Seconds before the last rise in which the beginning is looked for: slower ones are no claps.
const LOOK_BACK: f64 = 0.008;
/// Seconds after a clap's beginning without another: the echo of a room is over, and the fastest
/// pulses, 480 a minute, are 125 ms apart.
const DEAD: f64 = 0.080;
/// What the room may give back of a clap when it is found, -13 dB, and the seconds in which that fades
/// to a third: by 60 dB in 0.6 s, as in a living room.
const ECHO: f32 = 0.05;
const ECHO_FADES: f64 = 0.043;
/// No microphone is louder; what says so is broken.
const LOUDEST: f32 = 2.0;

/// Finds the frames at which claps begin.
///
/// A clap is found 45 ms after it began, when it has been heard to fade.
#[derive(Clone, Debug)]
pub struct ClapFinder {
    spans: Spans,
    /// The frame that comes next.
    next: Frame,
    rumble: Biquad,
    bright: Biquad,
    /// The power of what is bright, followed quickly.
    power: f32,
    /// The same, for the last frames: as many as a beginning may lie back.
    past: VecDeque<f32>,
    /// The same, followed slowly.
    background: f32,
    /// The power that the room may give back.
    echo: f32,
    /// The least power since anything last rose.
    softest: f32,
    candidate: Option<Candidate>,
    dead_until: Frame,
    /// The greatest power of the last claps, the latest last, and when that began.
    claps: VecDeque<f32>,
    latest: Frame,
}

impl ClapFinder {
    /// Listens to sound of this rate.
    pub fn new(rate: SampleRate) -> Self {
        let spans = Spans::of(rate);
        Self {
            spans,
            next: Frame(0),
            rumble: Biquad::above(RUMBLE_HZ, rate),
            bright: Biquad::above(BRIGHT_HZ, rate),
            power: 0.0,
            past: VecDeque::with_capacity(spans.past),
            background: FLOOR / STANDS_OUT,
            echo: 0.0,
            softest: 0.0,
            candidate: None,
            dead_until: Frame(i64::MIN),
            claps: VecDeque::with_capacity(USUAL_OF),
            latest: Frame(0),
        }
    }

    /// Takes in mono `samples`, the first of which is frame `first`; the frames at which claps began
    /// that are known by now, in order, each once. Frames only go on: some may be left out,
    /// which harms no clap but one in them. Samples that are no numbers are silence.
    pub fn hear(&mut self, first: Frame, samples: &[f32]) -> Vec<Frame> {
        if first != self.next {
            self.begin_anew(first);
        }
        let heard = samples.iter();
        heard.filter_map(|&sample| self.hear_one(sample)).collect()
    }

    /// Forgets what cannot go on after a gap. The background is still there.
    fn begin_anew(&mut self, first: Frame) {
        self.next = first;
        self.rumble.forget();
        self.bright.forget();
        self.power = 0.0;
        self.past.clear();
        self.candidate = None;
    }

    fn hear_one(&mut self, sample: f32) -> Option<Frame> {
        let sample = if sample.is_finite() { sample } else { 0.0 };
        let whole = self.rumble.next(sample.clamp(-LOUDEST, LOUDEST));
        let bright = self.bright.next(whole);
        self.follow(bright * bright);
        let here = self.next;
        self.next = Frame(here.0 + 1);
        if self.begins(here) {
            self.candidate = Some(Candidate::at(here, self.power));
            self.softest = self.power;
        }
        let candidate = self.candidate.as_mut()?;
        candidate.grow(
            here,
            self.power,
            (whole * whole, bright * bright),
            &self.spans,
        );
        if here.0 + 1 < candidate.rose.0 + self.spans.tail.1 {
            return None;
        }
        self.decide(here)
    }

    fn follow(&mut self, bright: f32) {
        self.power += self.spans.quick * (bright - self.power);
        if self.past.len() >= self.spans.past {
            self.past.pop_front();
        }
        self.past.push_back(self.power);
        let surprise = self.power.min(SURPRISE * self.background);
        self.background += self.spans.slow * (surprise - self.background);
        self.background = self.background.max(FLOOR / STANDS_OUT);
        self.echo -= self.spans.fading * self.echo;
        self.softest = self.softest.min(self.power);
    }

    /// Whether what is heard now may be a clap, or rises so far that it is not what it was before.
    fn begins(&self, here: Frame) -> bool {
        match &self.candidate {
            Some(candidate) if here.0 - candidate.rose.0 < self.spans.body => {
                self.power > RISE * candidate.power
            }
            Some(candidate) => self.power > RISE * candidate.peak,
            None => {
                let least = FLOOR.max(STANDS_OUT * self.background).max(self.echo);
                here >= self.dead_until && self.power > least.max(FROM_SOFTEST * self.softest)
            }
        }
    }

    /// Whether the candidate was a clap, now that its tail has been heard; when it began.
    fn decide(&mut self, here: Frame) -> Option<Frame> {
        let candidate = self.candidate.take()?;
        if here.0 - self.latest.0 > self.spans.forget {
            self.claps.clear();
        }
        if !candidate.is_clap(self.usual(), &self.spans) {
            return None;
        }
        let began = self.beginning(&candidate, here);
        self.dead_until = Frame(began.0 + self.spans.dead);
        self.latest = began;
        self.echo = ECHO * candidate.peak;
        if self.claps.len() >= USUAL_OF {
            self.claps.pop_front();
        }
        self.claps.push_back(candidate.peak);
        Some(began)
    }

    /// The greatest power of the usual clap; 0 while none is known.
    fn usual(&self) -> f32 {
        let mut powers: Vec<f32> = self.claps.iter().copied().collect();
        if powers.len() < 2 {
            return 0.0;
        }
        powers.sort_by(f32::total_cmp);
        powers[(powers.len() - 1) / 2]
    }

    /// Walks back from where the candidate was loudest to where it rose out of what was before.
    fn beginning(&self, candidate: &Candidate, here: Frame) -> Frame {
        let edge = (EDGE * candidate.peak).max(OUT_OF_BACKGROUND * self.background);
        let since_peak = usize::try_from(here.0 - candidate.peak_at.0).unwrap_or(0);
        let before_peak = self.past.iter().rev().skip(since_peak);
        let way = (candidate.peak_at.0 - candidate.rose.0) + self.spans.look_back;
        let mut n_risen = 0;
        for (&power, n) in before_peak.zip(0..way) {
            if power > edge {
                n_risen = n;
            } else if n - n_risen > self.spans.dip {
                break;
            }
        }
        Frame(candidate.peak_at.0 - n_risen)
    }
}

/// What may be a clap.
#[derive(Clone, Copy, Debug)]
struct Candidate {
    /// Where its power last rose.
    rose: Frame,
    /// Its power there.
    power: f32,
    peak: f32,
    peak_at: Frame,
    /// Sums of squares over the body: of the whole sound, and of what is bright.
    body: (f32, f32),
    /// The sum of squares over the tail of what is bright.
    tail: f32,
}

impl Candidate {
    fn at(here: Frame, power: f32) -> Self {
        Self {
            rose: here,
            power,
            peak: power,
            peak_at: here,
            body: (0.0, 0.0),
            tail: 0.0,
        }
    }

    /// Takes in the frame `here`, with the squares of the whole sound and of what is bright.
    fn grow(&mut self, here: Frame, power: f32, (whole, bright): (f32, f32), spans: &Spans) {
        let age = here.0 - self.rose.0;
        if age < spans.body {
            self.body.0 += whole;
            self.body.1 += bright;
            if power > self.peak {
                (self.peak, self.peak_at) = (power, here);
            }
        } else if age >= spans.tail.0 {
            self.tail += bright;
        }
    }

    fn is_clap(&self, usual: f32, spans: &Spans) -> bool {
        let (whole, bright) = self.body;
        let is_over = self.tail / spans.tail_to_body < FADED * bright;
        let is_bright = bright > BRIGHT * whole && self.peak > BELOW_USUAL * usual;
        let is_dull = bright > DULL * whole && self.peak > DULL_FLOOR.max(DULL_BELOW_USUAL * usual);
        is_over && (is_bright || is_dull)
    }
}

/// The spans of time above, in frames, and what they make of followers.
#[derive(Clone, Copy, Debug)]
struct Spans {
    quick: f32,
    slow: f32,
    fading: f32,
    body: i64,
    tail: (i64, i64),
    /// How many times as long as the body the tail is.
    tail_to_body: f32,
    dip: i64,
    look_back: i64,
    dead: i64,
    forget: i64,
    /// As many frames as have to be remembered.
    past: usize,
}

impl Spans {
    fn of(rate: SampleRate) -> Self {
        // At least one frame each, however slow the rate.
        let span = |seconds| frames(seconds, rate).max(1);
        let signed = |seconds| i64::try_from(span(seconds)).unwrap_or(i64::MAX);
        let follow = |seconds: f64| single(1.0 - (-1.0 / real(span(seconds))).exp());
        let tail = (signed(TAIL.0), signed(TAIL.1).max(signed(TAIL.0) + 1));
        Self {
            quick: follow(ENVELOPE),
            slow: follow(BACKGROUND),
            fading: follow(ECHO_FADES),
            body: signed(BODY),
            tail,
            tail_to_body: single((TAIL.1 - TAIL.0) / BODY),
            dip: signed(DIP),
            look_back: signed(LOOK_BACK),
            dead: signed(DEAD),
            forget: signed(FORGET),
            past: span(TAIL.1) + span(LOOK_BACK),
        }
    }
}

#[cfg(test)]
mod tests;
