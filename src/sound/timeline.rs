//! Which frame belongs to which tick, exactly.

use crate::pcm::{Frame, Frames, SampleRate};
use crate::phrase::{Note, Phrase};
use crate::rhythm::{Pace, Tick};

/// The frames of a phrase's ticks, for one sample rate.
///
/// Frame 0 is the first tick of the phrase: there is no lead-in. Every frame is computed from tick
/// zero in integers and never by adding up lengths, so that nothing drifts and neighbouring pulse
/// gaps differ by one frame at most.
///
/// ```
/// use contrapalma::pcm::{Frame, SampleRate};
/// use contrapalma::phrase::Phrase;
/// use contrapalma::rhythm::{Cycle, Feel, Tempo, Tick};
/// use contrapalma::sound::Timeline;
///
/// let phrase = Phrase {
///     cycle: Cycle::SIX,
///     pace: Tempo::of_pulses_a_minute(180)?.into(),
///     n_cycles: 8,
///     entry: -1,
///     feel: Feel::Threes,
///     notes: Vec::new(),
/// };
/// let timeline = Timeline::of(&phrase, SampleRate::HZ_48000);
/// assert_eq!(timeline.frame_of(Tick::of_pulse(-1)), Frame(0));
/// assert_eq!(timeline.frame_of(Tick::of_pulse(0)), Frame(16_000));
/// # Ok::<(), contrapalma::rhythm::TempoError>(())
/// ```
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Timeline {
    rate: SampleRate,
    pace: Pace,
    begins: Tick,
    ends: Tick,
}

impl Timeline {
    /// The timeline of `phrase` at `rate`.
    pub fn of(phrase: &Phrase, rate: SampleRate) -> Self {
        Self {
            rate,
            pace: phrase.pace.clone(),
            begins: phrase.begins(),
            ends: phrase.ends(),
        }
    }

    /// Frames a second.
    pub fn rate(&self) -> SampleRate {
        self.rate
    }

    /// How many frames the phrase lasts, from its first tick to the first after it.
    pub fn n_frames(&self) -> Frames {
        Frames(u64::try_from(self.frame_of(self.ends).0).unwrap_or(0))
    }

    /// The frame at which `tick` sounds, to the nearest; negative before the phrase.
    pub fn frame_of(&self, tick: Tick) -> Frame {
        self.frame_later(tick, 0)
    }

    /// The tick nearest to `frame`.
    pub fn tick_at(&self, frame: Frame) -> Tick {
        let origin = self.since_tick_zero(self.begins, 0);
        self.pace
            .tick_at(frame.0.saturating_add(origin), self.rate.hz())
    }

    /// When `frame` is heard, in microseconds after tick zero; negative in a pickup.
    pub fn micros_at(&self, frame: Frame) -> i64 {
        let origin = self.since_tick_zero(self.begins, 0);
        self.rate.micros_at(Frame(frame.0.saturating_add(origin)))
    }

    /// The frame at which `note` sounds, its delay included. A note that would sound before the
    /// phrase sounds on its first frame, as nothing can be heard earlier.
    pub fn onset(&self, note: &Note) -> Frame {
        self.frame_later(note.at, note.delay).max(Frame(0))
    }

    /// The frame at which `note` is no longer held, its delay included; after its onset.
    pub fn release(&self, note: &Note) -> Frame {
        let end = self.frame_later(note.at.after(note.length), note.delay);
        end.max(Frame(self.onset(note).0 + 1))
    }

    fn frame_later(&self, tick: Tick, delay_micros: i32) -> Frame {
        let origin = self.since_tick_zero(self.begins, 0);
        let frame = self.since_tick_zero(tick, delay_micros);
        Frame(frame.saturating_sub(origin))
    }

    /// Frames from tick zero to `tick` and a delay, rounded once.
    fn since_tick_zero(&self, tick: Tick, delay_micros: i32) -> i64 {
        self.pace.units_at(tick, delay_micros, self.rate.hz())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::phrase::{Loudness, Touch, Voice};
    use crate::rhythm::{Cycle, Feel, PulseMap, Tempo, Ticks};

    fn timeline(hundredths: u32, entry: i64, n_cycles: u32) -> Timeline {
        let phrase = Phrase {
            cycle: Cycle::SIX,
            pace: Tempo::of_hundredths(hundredths).expect("in range").into(),
            n_cycles,
            entry,
            feel: Feel::Twos,
            notes: Vec::new(),
        };
        Timeline::of(&phrase, SampleRate::HZ_48000)
    }

    #[test]
    fn cycle_ten_thousand_is_exact() {
        // 60,000 pulses of a third of a second are 20,000 s.
        let timeline = timeline(18_000, 0, 10_000);
        assert_eq!(
            timeline.frame_of(Tick::of_pulse(60_000)),
            Frame(20_000 * 48_000)
        );
        assert_eq!(timeline.n_frames(), Frames(20_000 * 48_000));
    }

    #[test]
    fn neighbouring_gaps_differ_by_a_frame_at_most() {
        for hundredths in [2_000, 9_973, 17_650, 17_999, 60_000] {
            let timeline = timeline(hundredths, -2, 8);
            let frame = |idx| timeline.frame_of(Tick::of_pulse(idx)).0;
            let gaps: Vec<i64> = (-2..3_000).map(|idx| frame(idx + 1) - frame(idx)).collect();
            let exact = 6_000 * 48_000 / i64::from(hundredths);
            assert!(gaps.iter().all(|gap| (exact..=exact + 1).contains(gap)));
        }
    }

    #[test]
    fn ticks_and_times_come_back() {
        let timeline = timeline(17_650, -1, 8);
        let map = PulseMap::steady(Tempo::of_hundredths(17_650).expect("in range"), 0);
        for tick in (-240..100_000).step_by(37).map(Tick) {
            let frame = timeline.frame_of(tick);
            assert_eq!(timeline.tick_at(frame), tick);
            // Half a frame is 10.4 µs.
            assert!((timeline.micros_at(frame) - map.micros_at(tick)).abs() <= 11);
        }
    }

    #[test]
    fn delays_are_added_before_rounding() {
        let timeline = timeline(18_000, 0, 1);
        let note = |at, delay| Note {
            at: Tick::of_pulse(at),
            delay,
            length: Ticks::of_pulses(1),
            voice: Voice::Line,
            pitch: None,
            loudness: Loudness(0),
            touch: Touch::Finger,
        };
        assert_eq!(timeline.onset(&note(1, 1_000)), Frame(16_048));
        assert_eq!(timeline.onset(&note(1, -1_000)), Frame(15_952));
        assert_eq!(timeline.release(&note(1, 1_000)), Frame(32_048));
        assert_eq!(timeline.onset(&note(0, -1_000)), Frame(0));
    }
}
