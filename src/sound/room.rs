//! A small room: enough reflections that strokes do not sound dead, too few to blur a rhythm.
//!
//! A network of four delays whose outputs are mixed back by a Householder matrix (Jot and Chaigne
//! 1991), each damped a little at every pass, behind two all-pass diffusers (Schroeder 1962).

use super::units::{factor, frames, real, single};
use crate::pcm::SampleRate;

/// Seconds of the four delays; no two have a common divisor in frames that matters.
const DELAYS: [f64; 4] = [0.0171, 0.0223, 0.0277, 0.0329];
/// Seconds of the two diffusers.
const DIFFUSERS: [f64; 2] = [0.0031, 0.0047];
/// Seconds in which the room fades by 60 dB.
const T60: f64 = 0.42;
/// How much of the room is added, in decibels against what goes into it.
const WET_DB: f64 = -22.0;
/// How much of each pass is smoothed away: high tones fade sooner.
const DAMPING: f32 = 0.35;
/// Far below hearing. Keeps the network's numbers from becoming so small that arithmetic slows.
const FLOOR: f32 = 1e-18;

/// How long the room rings on, in seconds.
pub(in crate::sound) const RING: f64 = 0.6;

/// The room, running.
#[derive(Clone, Debug)]
pub(in crate::sound) struct Room {
    diffusers: [Delay; 2],
    lines: [Delay; 4],
    damped: [f32; 4],
    feedback: [f32; 4],
    wet: f32,
}

impl Room {
    /// A silent room.
    pub(in crate::sound) fn new(rate: SampleRate) -> Self {
        let lines = DELAYS.map(|seconds| Delay::new(frames(seconds, rate)));
        let gain = |line: &Delay| {
            let seconds = real(line.samples.len()) / f64::from(rate.hz());
            single(factor(-60.0 * seconds / T60))
        };
        Self {
            feedback: std::array::from_fn(|n| gain(&lines[n])),
            diffusers: DIFFUSERS.map(|seconds| Delay::new(frames(seconds, rate))),
            lines,
            damped: [0.0; 4],
            wet: single(factor(WET_DB)),
        }
    }

    /// What comes back on the left and on the right when `x` goes in.
    #[inline]
    pub(in crate::sound) fn next(&mut self, x: f32) -> (f32, f32) {
        let mut x = x + FLOOR;
        for diffuser in &mut self.diffusers {
            x = diffuser.diffuse(x);
        }
        let out: [f32; 4] = std::array::from_fn(|n| self.lines[n].oldest());
        for ((damped, out), feedback) in self.damped.iter_mut().zip(out).zip(self.feedback) {
            *damped += (1.0 - DAMPING) * (out * feedback - *damped);
        }
        let mixed = 0.5 * self.damped.iter().sum::<f32>();
        for (line, damped) in self.lines.iter_mut().zip(self.damped) {
            line.push(x + damped - mixed);
        }
        (
            self.wet * (out[0] + out[2] - out[3]),
            self.wet * (out[1] + out[2] + out[3]),
        )
    }
}

/// A delay of fixed length.
#[derive(Clone, Debug)]
struct Delay {
    samples: Vec<f32>,
    idx: usize,
}

impl Delay {
    fn new(n_frames: usize) -> Self {
        Self {
            samples: vec![0.0; n_frames.max(1)],
            idx: 0,
        }
    }

    #[inline]
    fn oldest(&self) -> f32 {
        self.samples[self.idx]
    }

    #[inline]
    fn push(&mut self, x: f32) {
        self.samples[self.idx] = x;
        self.idx += 1;
        if self.idx == self.samples.len() {
            self.idx = 0;
        }
    }

    /// As an all-pass filter: spreads a click in time without colouring it.
    #[inline]
    fn diffuse(&mut self, x: f32) -> f32 {
        let oldest = self.oldest();
        let inner = x + 0.6 * oldest;
        self.push(inner);
        oldest - 0.6 * inner
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn echo() -> Vec<f32> {
        let mut room = Room::new(SampleRate::HZ_48000);
        (0..48_000)
            .map(|n| {
                let (left, right) = room.next(if n == 0 { 1.0 } else { 0.0 });
                left.hypot(right)
            })
            .collect()
    }

    #[test]
    fn it_fades_within_its_ring() {
        let echo = echo();
        let energy = |part: &[f32]| part.iter().map(|x| f64::from(x * x)).sum::<f64>();
        let late = energy(&echo[frames(RING, SampleRate::HZ_48000)..]);
        assert!(late < 1e-6 * energy(&echo), "{late}");
    }

    #[test]
    fn it_is_much_softer_than_the_stroke() {
        let energy: f64 = echo().iter().map(|x| f64::from(x * x)).sum();
        let db = 10.0 * energy.log10();
        assert!(db < -9.0, "{db}");
    }
}
