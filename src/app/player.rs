//! What sounds now: renderings on the output, and which pulse of which phrase is heard when.

use std::sync::Arc;

use crate::pcm::{Frame, Growing, Pcm, SampleRate};
use crate::phrase::Phrase;
use crate::quiz::Playing;
use crate::rhythm::{TICKS_PER_PULSE, Tick};
use crate::sound::output::{Loop, Onset, PlayId, Progress, Refused, Samples};
use crate::sound::{Output, Timeline, render, render_loop, round_frames, under_claps};
use crate::world::{Seed, Stamp};

/// Silence between the same phrase under one clapping and the next, in microseconds.
const BETWEEN_MICROS: u32 = 900_000;

/// One or more phrases as samples.
#[derive(Clone, Debug)]
pub(super) struct Rendering {
    sound: Samples,
    parts: Vec<Part>,
    repeat: Loop,
}

#[derive(Clone, Debug)]
struct Part {
    first: Frame,
    timeline: Timeline,
    n_pulses: i64,
    n_cycles: u32,
    entry: i64,
}

/// Where the sound is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Playhead {
    /// Which of several phrases sounds, from 0, and of how many.
    pub part: (usize, usize),
    /// The cycle, from 0, in the frame of the phrase, and of how many.
    pub cycle: (usize, usize),
    /// The place within the cycle in pulses, 0 up to its length.
    pub pulse: f64,
    /// How much of the phrase has sounded, 0 to 1; of one round where it goes round.
    pub share: f64,
}

impl Rendering {
    /// Renders phrases one after another. Where they go round, only the first is heard.
    pub(super) fn of(phrases: &[Phrase], playing: Playing, rate: SampleRate, seed: Seed) -> Self {
        Self::made(phrases, playing, rate, |phrase| match playing {
            Playing::Round => render_loop(phrase, rate, seed),
            Playing::Once => render(phrase, rate, seed),
        })
    }

    /// The same of claps over a passage of a recording.
    pub(super) fn over(passage: &Pcm, phrases: &[Phrase], playing: Playing) -> Self {
        let rate = passage.rate();
        Self::made(phrases, playing, rate, |phrase| {
            under_claps(passage, round_frames(phrase, rate), phrase)
        })
    }

    fn made(
        phrases: &[Phrase],
        playing: Playing,
        rate: SampleRate,
        sound: impl Fn(&Phrase) -> Pcm,
    ) -> Self {
        let mut sounds = Vec::new();
        let mut parts = Vec::new();
        let mut first = Frame(0);
        let round = playing == Playing::Round;
        for phrase in phrases.iter().take(if round { 1 } else { usize::MAX }) {
            let pcm = sound(phrase);
            parts.push(Part::of(phrase, first, rate));
            let gap = rate.frame_at(i64::from(BETWEEN_MICROS)).0;
            first = Frame(first.0 + i64::try_from(pcm.n_frames().0).unwrap_or(i64::MAX / 2) + gap);
            sounds.push(pcm);
        }
        let repeat = if round { Loop::Round } else { Loop::Once };
        Self {
            sound: Arc::new(joined(&sounds, rate)).into(),
            parts,
            repeat,
        }
    }

    /// A sound that goes round while it is still made, in the time of this phrase.
    pub(super) fn growing(sound: Arc<Growing>, phrase: &Phrase) -> Self {
        Self {
            parts: vec![Part::of(phrase, Frame(0), sound.rate())],
            sound: Samples::Growing(sound),
            repeat: Loop::Round,
        }
    }

    /// What of it is still to be made is not wanted any more.
    pub(super) fn give_up(&self) {
        if let Samples::Growing(growing) = &self.sound {
            growing.give_up();
        }
    }

    /// Its samples; none of what is still made.
    pub(super) fn into_pcm(self) -> Option<Pcm> {
        match self.sound {
            Samples::Whole(pcm) => Some(Arc::unwrap_or_clone(pcm)),
            Samples::Growing(_) => None,
        }
    }

    #[cfg(test)]
    pub(super) fn samples(&self) -> &Samples {
        &self.sound
    }

    fn part_at(&self, frame: Frame) -> Option<(usize, &Part)> {
        self.parts
            .iter()
            .enumerate()
            .rfind(|(_, part)| part.first <= frame)
    }
}

impl Part {
    fn of(phrase: &Phrase, first: Frame, rate: SampleRate) -> Self {
        Self {
            first,
            timeline: Timeline::of(phrase, rate),
            n_pulses: i64::try_from(phrase.cycle.n_pulses()).unwrap_or(1),
            n_cycles: phrase.n_cycles,
            entry: phrase.entry,
        }
    }
}

/// Puts sounds one after another with silence between them.
fn joined(sounds: &[Pcm], rate: SampleRate) -> Pcm {
    let sounds: Vec<&Pcm> = sounds.iter().collect();
    crate::pcm::join(&sounds, BETWEEN_MICROS).unwrap_or_else(|_| Pcm::stereo(rate, Vec::new()))
}

/// The output with what it plays.
pub(super) struct Player {
    output: Box<dyn Output>,
    now: Option<Now>,
    n_underruns: u64,
    /// Whether the first sound of the sitting is still to come.
    first: bool,
}

struct Now {
    play: PlayId,
    rendering: Rendering,
    announced: bool,
    /// Since when the loop is heard that this one follows, until it has taken over.
    before: Option<(Stamp, Rendering)>,
}

/// What became of the sound since the last look.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum News {
    /// It is heard, since this stamp.
    Started(Stamp),
    /// It is over.
    Ended,
    /// The device ran dry: it was not heard as it should be.
    Broken,
    /// The device went away.
    Lost,
}

impl Player {
    pub(super) fn new(output: Box<dyn Output>) -> Self {
        Self {
            output,
            now: None,
            n_underruns: 0,
            first: true,
        }
    }

    pub(super) fn rate(&self) -> SampleRate {
        self.output.rate()
    }

    pub(super) fn is_playing(&self) -> bool {
        self.now.is_some()
    }

    pub(super) fn play(&mut self, rendering: &Rendering) -> Result<(), Refused> {
        let onset = match std::mem::take(&mut self.first) {
            true => Onset::Rising,
            false => Onset::AtOnce,
        };
        let sound = rendering.sound.clone();
        let play = self.output.play(sound, onset, rendering.repeat)?;
        // Underruns while nothing sounded spoil nothing.
        self.n_underruns = self.output.health().n_underruns;
        self.now = Some(Now {
            play,
            rendering: rendering.clone(),
            announced: false,
            before: None,
        });
        Ok(())
    }

    /// Plays a loop in place of the present one from the end of its present part on, of so many.
    pub(super) fn follow(
        &mut self,
        rendering: &Rendering,
        n_parts: u32,
        at: Stamp,
    ) -> Result<(), Refused> {
        let Some(now) = self.now.take() else {
            return self.play(rendering);
        };
        let began = self
            .output
            .position(at)
            .filter(|here| here.play == now.play);
        let before = began.map(|here| (here.began, now.rendering)).or(now.before);
        let sound = rendering.sound.clone();
        let play = self.output.follow(sound, rendering.repeat, n_parts)?;
        self.now = Some(Now {
            play,
            rendering: rendering.clone(),
            announced: now.announced,
            before,
        });
        Ok(())
    }

    /// What is still made of the present sound is not wanted any more.
    pub(super) fn give_up(&self) {
        if let Some(now) = &self.now {
            now.rendering.give_up();
        }
    }

    pub(super) fn stop(&mut self) {
        self.now = None;
        self.output.stop();
    }

    /// What happened since the last look.
    pub(super) fn news(&mut self, at: Stamp) -> Option<News> {
        let now = self.now.as_mut()?;
        let health = self.output.health();
        if health.lost {
            self.now = None;
            return Some(News::Lost);
        }
        if health.n_underruns > self.n_underruns {
            self.n_underruns = health.n_underruns;
            self.now = None;
            return Some(News::Broken);
        }
        let position = self
            .output
            .position(at)
            .filter(|position| position.play == now.play)?;
        match position.progress {
            Progress::Coming => None,
            Progress::Sounding if now.announced => None,
            Progress::Sounding => {
                now.announced = true;
                Some(News::Started(position.began))
            }
            Progress::Over => {
                self.now = None;
                Some(News::Ended)
            }
        }
    }

    /// Whether anything is heard of the output.
    pub(super) fn is_heard(&self) -> bool {
        self.output.is_heard()
    }

    /// What the output is called.
    pub(super) fn output_name(&self) -> &str {
        self.output.name()
    }

    /// The time of the phrase that is heard at `at`, in microseconds; 0 is its tick zero. It goes on
    /// rising through the rounds of a loop.
    pub(super) fn phrase_micros(&mut self, at: Stamp) -> Option<i64> {
        let frame = self.frame(at)?;
        let (_, part) = self.now.as_ref()?.rendering.part_at(frame)?;
        Some(part.timeline.micros_at(Frame(frame.0 - part.first.0)))
    }

    /// Where the sound is.
    pub(super) fn playhead(&mut self, at: Stamp) -> Option<Playhead> {
        let frame = self.frame(at);
        let now = self.now.as_ref()?;
        let (frame, rendering) = match (frame, &now.before) {
            (Some(frame), _) => (frame, &now.rendering),
            (None, Some((began, before))) => {
                (self.output.rate().frame_at(signed(at, *began)), before)
            }
            (None, None) => return None,
        };
        let (idx, part) = rendering.part_at(frame)?;
        Some(part.playhead(part.tick_at(frame), (idx, rendering.parts.len())))
    }

    fn frame(&mut self, at: Stamp) -> Option<Frame> {
        let now = self.now.as_ref()?;
        let position = self
            .output
            .position(at)
            .filter(|position| position.play == now.play)?;
        (position.progress == Progress::Sounding).then_some(position.frame)
    }
}

/// Microseconds from `earlier` to `later`.
fn signed(later: Stamp, earlier: Stamp) -> i64 {
    i64::try_from(later.since(earlier)).unwrap_or(i64::MAX)
}

impl Part {
    /// The tick that is heard with a frame of the whole sound. What of its pace is uneven comes again in every
    /// round, so that each frame is placed within its own.
    fn tick_at(&self, frame: Frame) -> Tick {
        let n_frames = i64::try_from(self.timeline.n_frames().0).unwrap_or(i64::MAX);
        let (n_frames, since) = (n_frames.max(1), frame.0 - self.first.0);
        let within = self.timeline.tick_at(Frame(since.rem_euclid(n_frames)));
        let later = since.div_euclid(n_frames).saturating_mul(self.loop_ticks());
        Tick(within.0.saturating_add(later))
    }

    fn loop_ticks(&self) -> i64 {
        i64::from(self.n_cycles) * self.n_pulses * TICKS_PER_PULSE
    }

    #[expect(clippy::cast_precision_loss, reason = "ticks of a short phrase")]
    fn playhead(&self, tick: Tick, part: (usize, usize)) -> Playhead {
        let loop_ticks = self.loop_ticks();
        let cycle_ticks = self.n_pulses * TICKS_PER_PULSE;
        let begins = self.entry * TICKS_PER_PULSE;
        let in_loop = tick.0.rem_euclid(loop_ticks.max(1));
        let since_entry = (tick.0 - begins).max(0) as f64 / loop_ticks.max(1) as f64;
        let whole = |n: i64| usize::try_from(n).unwrap_or(0);
        Playhead {
            part,
            cycle: (
                whole(in_loop / cycle_ticks.max(1)),
                whole(i64::from(self.n_cycles)),
            ),
            pulse: in_loop.rem_euclid(cycle_ticks.max(1)) as f64 / TICKS_PER_PULSE as f64,
            share: if since_entry > 1.0 {
                since_entry.fract()
            } else {
                since_entry
            },
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rhythm::{Cycle, Feel, Pace};

    #[test]
    fn the_playhead_of_an_uneven_passage_is_as_true_in_the_hundredth_round_as_in_the_first() {
        // Two cycles, the second of them slower: 6 x 0.3 and 6 x 0.5 seconds.
        let gaps: Vec<f64> = [0.3, 0.5].into_iter().flat_map(|gap| [gap; 6]).collect();
        let phrase = Phrase {
            cycle: Cycle::SIX,
            pace: Pace::of_pulses(&gaps),
            n_cycles: 2,
            entry: 0,
            feel: Feel::Either,
            notes: Vec::new(),
        };
        let rate = SampleRate::HZ_48000;
        let part = Part::of(&phrase, Frame(0), rate);
        for round in [0, 1, 99] {
            for (micros, cycle, pulse) in [(600_000, 0, 2.0), (2_300_000, 1, 1.0)] {
                let frame = rate.frame_at(round * 4_800_000 + micros);
                let head = part.playhead(part.tick_at(frame), (0, 1));
                assert_eq!(head.cycle, (cycle, 2), "round {round}");
                assert!(
                    (head.pulse - pulse).abs() < 0.01,
                    "{} in round {round}",
                    head.pulse
                );
            }
        }
    }
}
