//! An output that is not heard.

use std::sync::Arc;

use super::{
    Health, Loop, Onset, Output, PlayId, Playing, Position, Progress, Refused, Samples, check_rate,
};
use crate::pcm::{Frame, SampleRate};
use crate::world::{Clock, Stamp};

/// Keeps the time of a sound device by the program's clock, without a device: a play begins at the
/// moment it is ordered and goes on at its rate.
pub struct SilentOutput {
    clock: Arc<dyn Clock>,
    latest: Option<(Playing, Stamp)>,
    n_plays: u64,
}

impl SilentOutput {
    /// A silent output that goes by `clock`.
    pub fn new(clock: Arc<dyn Clock>) -> Self {
        Self {
            clock,
            latest: None,
            n_plays: 0,
        }
    }
}

impl Output for SilentOutput {
    fn name(&self) -> &str {
        "no sound"
    }

    fn is_heard(&self) -> bool {
        false
    }

    fn rate(&self) -> SampleRate {
        SampleRate::HZ_48000
    }

    fn play(&mut self, sound: Samples, _: Onset, repeat: Loop) -> Result<PlayId, Refused> {
        check_rate(&sound, self.rate())?;
        self.n_plays += 1;
        let play = PlayId(self.n_plays);
        self.latest = Some((Playing::of(play, &sound, repeat), self.clock.stamp()));
        Ok(play)
    }

    fn follow(&mut self, sound: Samples, repeat: Loop, parts: u32) -> Result<PlayId, Refused> {
        let now = self.clock.stamp();
        let present = self
            .position(now)
            .filter(|here| here.progress == Progress::Sounding);
        let before = self.latest;
        let play = self.play(sound, Onset::AtOnce, repeat)?;
        if let (Some(here), Some((old, began)), Some((new, at))) =
            (present, before, &mut self.latest)
        {
            *at = if old.n_frames == new.n_frames {
                began
            } else {
                let part = (old.n_frames / u64::from(parts.max(1))).max(1);
                let left = part - u64::try_from(here.frame.0).unwrap_or(0) % part;
                let micros =
                    SampleRate::HZ_48000.micros_at(Frame(i64::try_from(left).unwrap_or(i64::MAX)));
                Stamp(now.0.saturating_add(u64::try_from(micros).unwrap_or(0)))
            };
        }
        Ok(play)
    }

    fn stop(&mut self) {
        if let Some((playing, _)) = &mut self.latest {
            playing.stopped = true;
        }
    }

    fn position(&mut self, at: Stamp) -> Option<Position> {
        let (playing, began) = self.latest?;
        let signed = |stamp: Stamp| i64::try_from(stamp.0).unwrap_or(i64::MAX);
        let frame = self.rate().frame_at(signed(at) - signed(began));
        Some(Position {
            play: playing.play,
            frame,
            began,
            progress: playing.progress(frame),
        })
    }

    fn health(&mut self) -> Health {
        Health::default()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::pcm::Pcm;
    use crate::world::{ManualClock, Moment};

    const RATE: SampleRate = SampleRate::HZ_48000;

    fn output() -> (Arc<ManualClock>, SilentOutput) {
        let clock = Arc::new(ManualClock::at(Moment(0)));
        (Arc::clone(&clock), SilentOutput::new(clock))
    }

    fn second() -> Arc<Pcm> {
        Arc::new(Pcm::stereo(RATE, vec![0.0; 96_000]))
    }

    #[test]
    fn it_goes_on_with_the_clock_and_ends() {
        let (clock, mut output) = output();
        assert_eq!(output.position(Stamp(0)), None);
        clock.advance(5_000);
        let play = output
            .play(second().into(), Onset::AtOnce, Loop::Once)
            .expect("the right rate");
        clock.advance(500_000);
        let position = |frame, progress| {
            Some(Position {
                play,
                frame: Frame(frame),
                began: Stamp(5_000),
                progress,
            })
        };
        let now = clock.stamp();
        assert_eq!(output.position(now), position(24_000, Progress::Sounding));
        assert_eq!(output.position(Stamp(0)), position(-240, Progress::Coming));
        let end = Stamp(1_005_000);
        assert_eq!(output.position(end), position(48_000, Progress::Over));
        output.stop();
        assert_eq!(output.position(now), position(24_000, Progress::Over));
    }

    #[test]
    fn a_loop_goes_on() {
        let (_, mut output) = output();
        output
            .play(second().into(), Onset::AtOnce, Loop::Round)
            .expect("the right rate");
        let position = output.position(Stamp(10_500_000)).expect("played");
        assert_eq!(position.frame, Frame(504_000));
        assert_eq!(position.progress, Progress::Sounding);
    }

    #[test]
    fn what_follows_goes_on_in_the_same_place_or_begins_at_the_next_part() {
        let (clock, mut output) = output();
        output
            .play(second().into(), Onset::AtOnce, Loop::Round)
            .expect("the right rate");
        clock.advance(600_000);
        let alike = output
            .follow(second().into(), Loop::Round, 4)
            .expect("the right rate");
        let here = output.position(clock.stamp()).expect("played");
        assert_eq!((here.play, here.frame), (alike, Frame(28_800)));
        // A loop of another length begins with the fourth part, 0.75 s after the first began.
        let shorter = Arc::new(Pcm::stereo(RATE, vec![0.0; 9_600]));
        output
            .follow(shorter.into(), Loop::Round, 4)
            .expect("the right rate");
        let here = output.position(clock.stamp()).expect("played");
        assert_eq!(
            (here.frame, here.progress),
            (Frame(-7_200), Progress::Coming)
        );
    }

    #[test]
    fn another_rate_is_refused() {
        let (_, mut output) = output();
        let rate = SampleRate::new(44_100).expect("not zero");
        let refused = output.play(
            Arc::new(Pcm::stereo(rate, Vec::new())).into(),
            Onset::AtOnce,
            Loop::Once,
        );
        assert_eq!(
            refused,
            Err(Refused::Rate {
                wanted: 48_000,
                found: 44_100
            })
        );
    }
}
