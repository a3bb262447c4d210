//! Slower or faster at the same pitch, through the `timestretch` library.

use std::borrow::Borrow;
use std::ops::Range;

use timestretch::{
    Backend, Parameters, PreparedSession, ProcessStatus, RatioConstraint, SessionConfig,
    StreamSession, TempoRate,
};

use super::{Frame, Frames, Pcm, SampleRate};

/// How fast a passage is played, in hundredths of its own speed: 50 to 110.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Speed(u16);

impl Speed {
    /// As it is.
    pub const OWN: Self = Self(100);

    /// 50 to 110 hundredths; `None` of any other.
    pub fn new(percent: u16) -> Option<Self> {
        (50..=110).contains(&percent).then_some(Self(percent))
    }

    /// Hundredths of its own speed.
    pub fn percent(self) -> u16 {
        self.0
    }

    /// How many times as long something lasts.
    pub fn longer(self) -> f64 {
        100.0 / f64::from(self.0)
    }

    /// How long `frames` are at this speed, to the nearest frame.
    pub fn length_of(self, frames: Frames) -> Frames {
        let percent = u128::from(self.0);
        let doubled = 2 * 100 * u128::from(frames.0) + percent;
        Frames(u64::try_from(doubled / (2 * percent)).unwrap_or(u64::MAX))
    }

    /// Where in the stretched passage a frame of the passage sounds, to the nearest frame. Claps that
    /// are laid over it begin there.
    pub fn later(self, frame: Frame) -> Frame {
        Frame(divided(i128::from(frame.0) * 100, i128::from(self.0)))
    }

    /// Which frame of the passage sounds at a frame of the stretched one, to the nearest.
    pub fn earlier(self, stretched: Frame) -> Frame {
        Frame(divided(i128::from(stretched.0) * i128::from(self.0), 100))
    }
}

/// To the nearest, halves up.
fn divided(number: i128, by: i128) -> i64 {
    let nearest = (2 * number + by).div_euclid(2 * by);
    i64::try_from(nearest).unwrap_or(if nearest < 0 { i64::MIN } else { i64::MAX })
}

/// A passage at another speed and the same pitch: exactly [`Speed::length_of`] its frames long. A sound
/// at frame `n` of it is heard at [`Speed::later`] of `n`, within 10 milliseconds.
pub fn stretched(pcm: &Pcm, speed: Speed) -> Pcm {
    let mut samples = Vec::new();
    for chunk in Stretching::new(pcm, speed) {
        samples.extend_from_slice(chunk.samples());
    }
    Pcm::new(pcm.rate(), pcm.channels(), samples)
        .expect("chunks are whole frames of finite samples")
}

/// A passage that is being stretched: an iterator of chunks that follow one another without a seam,
/// a quarter of a second each and the last as long as is left. The first is ready after a fiftieth
/// of a second's work or so, so that a long passage can begin to sound while the rest is made. At
/// [`Speed::OWN`] all stays as it is. More than two channels are stretched each for itself.
pub struct Stretching<P> {
    passage: P,
    speed: Speed,
    /// One for all channels, or one for each.
    streams: Vec<Stream>,
    /// The frame after the last that was given, of the stretched passage.
    at: u64,
}

impl<P: Borrow<Pcm>> Stretching<P> {
    /// Begins to stretch a passage, which may be lent, owned or shared.
    pub fn new(passage: P, speed: Speed) -> Self {
        let pcm = passage.borrow();
        let n_channels = usize::from(pcm.channels());
        let streams = if speed == Speed::OWN {
            Vec::new()
        } else if n_channels <= 2 {
            vec![Stream::new(pcm, 0, n_channels, speed)]
        } else {
            let each = (0..n_channels).map(|channel| Stream::new(pcm, channel, 1, speed));
            each.collect()
        };
        Self {
            passage,
            speed,
            streams,
            at: 0,
        }
    }

    /// How long the stretched passage is.
    pub fn n_frames(&self) -> Frames {
        self.speed.length_of(self.passage.borrow().n_frames())
    }

    /// How much of it was given.
    pub fn position(&self) -> Frames {
        Frames(self.at)
    }
}

impl<P: Borrow<Pcm>> Iterator for Stretching<P> {
    type Item = Pcm;

    fn next(&mut self) -> Option<Pcm> {
        let left = self.n_frames().0.saturating_sub(self.at);
        let pcm = self.passage.borrow();
        let n_frames = left.min(u64::from(pcm.rate().hz().div_ceil(CHUNKS_A_SECOND)));
        if n_frames == 0 {
            return None;
        }
        let n_channels = usize::from(pcm.channels());
        let size = size(n_frames);
        let mut samples = vec![0.0; size * n_channels];
        if self.streams.is_empty() {
            let from = usize::try_from(self.at)
                .unwrap_or(usize::MAX)
                .saturating_mul(n_channels);
            let rest = pcm.samples().get(from..).unwrap_or_default();
            samples
                .iter_mut()
                .zip(rest)
                .for_each(|(to, from)| *to = *from);
        }
        for stream in &mut self.streams {
            stream.fill(pcm, &mut samples);
        }
        self.at += n_frames;
        let chunk = Pcm::new(pcm.rate(), pcm.channels(), samples);
        Some(chunk.expect("whole frames of finite samples"))
    }
}

const CHUNKS_A_SECOND: u32 = 4;

fn size(n_frames: u64) -> usize {
    usize::try_from(n_frames).unwrap_or(usize::MAX)
}

/// One or two channels on their way through the library. Where it fails the rest is silent.
struct Stream {
    session: Option<StreamSession>,
    first_channel: usize,
    n_channels: usize,
    raised: Raised,
    /// What came out and was not yet given, at the rate of the library.
    ready: Vec<f32>,
}

impl Stream {
    fn new(pcm: &Pcm, first_channel: usize, n_channels: usize, speed: Speed) -> Self {
        let raised = Raised::of(pcm.rate());
        let hz = pcm.rate().hz().saturating_mul(raised.factor);
        let n_frames = pcm.n_frames().0.saturating_mul(raised.factor.into());
        let session = PreparedSession::new(config(hz, n_channels, n_frames, speed));
        Self {
            session: session.ok().map(PreparedSession::activate),
            first_channel,
            n_channels,
            raised,
            ready: Vec::new(),
        }
    }

    /// Fills its channels of interleaved frames, as many as there are.
    fn fill(&mut self, pcm: &Pcm, interleaved: &mut [f32]) {
        let all_channels = usize::from(pcm.channels());
        let n_frames = interleaved.len() / all_channels;
        let step = self.raised.times(self.n_channels);
        let needed = n_frames * step;
        while self.ready.len() < needed && self.advance(pcm) {}
        let n_taken = needed.min(self.ready.len());
        let taken = self.ready[..n_taken].chunks(step);
        for (to, from) in interleaved.chunks_exact_mut(all_channels).zip(taken) {
            for (channel, sample) in from.iter().take(self.n_channels).enumerate() {
                if sample.is_finite() {
                    to[self.first_channel + channel] = *sample;
                }
            }
        }
        self.ready.drain(..n_taken);
    }

    /// One step of work; false at the end.
    fn advance(&mut self, pcm: &Pcm) -> bool {
        let Some(session) = &mut self.session else {
            return false;
        };
        let goes_on = step(session, &mut self.ready, |from, n_frames| {
            let channels = self.first_channel..self.first_channel + self.n_channels;
            self.raised.frames(pcm, channels, from, n_frames)
        });
        if goes_on != Some(true) {
            self.session = None;
        }
        self.session.is_some()
    }
}

/// One step of a session, which asks for what it needs and appends what comes out. `None` when it
/// fails, false at its end.
fn step(
    session: &mut StreamSession,
    ready: &mut Vec<f32>,
    frames: impl FnOnce(u64, usize) -> Vec<f32>,
) -> Option<bool> {
    match session.advance(STAGES).status {
        ProcessStatus::Fault => return None,
        ProcessStatus::NeedSource => {
            let request = session.source_request()?;
            let samples = frames(request.start_frame, request.frames);
            session.supply(request, &samples).ok()?;
        }
        _ => {}
    }
    let n_channels = session.config().channels;
    let begin = ready.len();
    ready.resize(begin + session.output_ready() * n_channels, 0.0);
    let stamp = session.read_output(&mut ready[begin..]).ok()?;
    ready.truncate(begin + stamp.frames * n_channels);
    session
        .acknowledge(stamp.consumed(stamp.frames).ok()?)
        .ok()?;
    Some(!session.finished())
}

/// Stages of the library's work between two looks at what came out.
const STAGES: usize = 32;

/// The rates that the library takes.
const TAKEN: std::ops::RangeInclusive<u32> = 32_000..=192_000;

/// Its `PreserveDuration` keeps to the length at the cost of up to 3.1 cents of pitch, which nobody
/// hears; otherwise up to 18 milliseconds in ten seconds would be lost or won, and claps go astray.
fn config(hz: u32, n_channels: usize, n_frames: u64, speed: Speed) -> SessionConfig {
    let hz = hz.clamp(*TAKEN.start(), *TAKEN.end());
    SessionConfig {
        source_sample_rate: hz,
        output_sample_rate: hz,
        channels: n_channels,
        backend: Backend::Portable,
        source_frames: Some(n_frames),
        parameters: Parameters {
            tempo: TempoRate::new(f64::from(speed.0) / 100.0).unwrap_or_default(),
            constraint: RatioConstraint::PreserveDuration,
            ..Parameters::default()
        },
        ..SessionConfig::default()
    }
}

/// A rate that is raised by a whole factor where it is low, so that the library takes it, and its
/// blocks of so many frames are no longer in time than at other rates.
struct Raised {
    factor: u32,
    /// What each of the frames that come of one is made with.
    kernels: Vec<Vec<f32>>,
}

/// Frames to each side that a frame in between is made of: by a sinc under a Hann window.
const REACH: usize = 16;

impl Raised {
    fn of(rate: SampleRate) -> Self {
        let is_taken = rate.hz() >= *TAKEN.start();
        let factor = if is_taken {
            1
        } else {
            44_100_u32.div_ceil(rate.hz()).min(8)
        };
        let kernels = (0..factor).map(|phase| kernel(phase, factor)).collect();
        Self { factor, kernels }
    }

    fn times(&self, n: usize) -> usize {
        n.saturating_mul(self.kernels.len())
    }

    /// Frames of some channels, interleaved, from a place at the raised rate on.
    fn frames(&self, pcm: &Pcm, channels: Range<usize>, from: u64, n_frames: usize) -> Vec<f32> {
        let all_channels = usize::from(pcm.channels());
        let from = usize::try_from(from).unwrap_or(usize::MAX);
        let mut frames = Vec::with_capacity(n_frames * channels.len());
        for at in from..from.saturating_add(n_frames) {
            let (frame, phase) = (at / self.kernels.len(), at % self.kernels.len());
            for channel in channels.clone() {
                let sample = |frame: usize| pcm.samples().get(frame * all_channels + channel);
                frames.push(match self.kernels.as_slice() {
                    [_] => sample(frame).copied().unwrap_or(0.0),
                    kernels => between(&kernels[phase], frame, sample),
                });
            }
        }
        frames
    }
}

/// The frames about one, weighed.
fn between<'a>(kernel: &[f32], frame: usize, sample: impl Fn(usize) -> Option<&'a f32>) -> f32 {
    let near = kernel.iter().enumerate().filter_map(|(tap, weight)| {
        let at = (frame + tap).checked_sub(REACH - 1)?;
        Some(weight * sample(at)?)
    });
    near.sum()
}

/// Weights of the frames from `REACH - 1` before to `REACH` after, for `phase` parts of `factor`
/// after a frame.
fn kernel(phase: u32, factor: u32) -> Vec<f32> {
    let single = |n: usize| f32::from(u16::try_from(n).unwrap_or(u16::MAX));
    let past = single(size(phase.into())) / single(size(factor.into()));
    let weight = |tap: usize| {
        let x = single(tap) - single(REACH - 1) - past;
        let turn = std::f32::consts::PI * x;
        let sinc = if x.abs() < 1e-6 {
            1.0
        } else {
            turn.sin() / turn
        };
        sinc * (0.5 + 0.5 * (turn / single(REACH)).cos())
    };
    (0..2 * REACH).map(weight).collect()
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use super::*;
    use crate::pcm::join;

    const SPEEDS: [u16; 10] = [50, 60, 67, 75, 80, 90, 95, 99, 101, 110];
    const RATES: [u32; 4] = [8_000, 22_050, 48_000, 192_000];

    fn sound(hz: u32, n_channels: u16, seconds: f64, wave: impl Fn(f64) -> f64) -> Pcm {
        let n_frames = (seconds * f64::from(hz)) as u32;
        let frames = (0..n_frames).map(|n| wave(f64::from(n) / f64::from(hz)) as f32);
        let samples = frames.flat_map(|x| vec![x; n_channels.into()]).collect();
        let rate = SampleRate::new(hz).expect("not zero");
        Pcm::new(rate, n_channels, samples).expect("finite")
    }

    fn sine(hz: f64, t: f64) -> f64 {
        0.5 * (std::f64::consts::TAU * hz * t).sin()
    }

    /// The pitch of a tone by the times of its first and last upward crossings of zero.
    fn pitch(mono: &[f32], hz: u32) -> f64 {
        let mut crossings = Vec::new();
        for (at, pair) in mono.windows(2).enumerate() {
            if pair[0] < 0.0 && pair[1] >= 0.0 {
                let part = f64::from(pair[0]) / f64::from(pair[0] - pair[1]);
                crossings.push((at as f64 + part) / f64::from(hz));
            }
        }
        let span = crossings.last().expect("a tone") - crossings.first().expect("a tone");
        (crossings.len() - 1) as f64 / span
    }

    #[test]
    fn tones_keep_their_pitch_and_lengths_are_exact() {
        for hz in RATES {
            for tone in [110.0, 1760.0] {
                for percent in SPEEDS {
                    let speed = Speed::new(percent).expect("in range");
                    let before = sound(hz, 1, 1.0, |t| sine(tone, t));
                    let after = stretched(&before, speed);
                    assert_eq!(after.n_frames(), speed.length_of(before.n_frames()));
                    let n = after.samples().len();
                    let middle = &after.samples()[n / 5..n - n / 5];
                    let cents = 1200.0 * (pitch(middle, hz) / tone).log2();
                    assert!(cents.abs() <= 5.0, "{hz} {tone} {percent}: {cents}");
                    let level = before.rms() / after.rms();
                    assert!(
                        (0.9..=1.1).contains(&level),
                        "{hz} {tone} {percent}: {level}"
                    );
                }
            }
        }
    }

    #[test]
    fn clicks_come_when_they_should() {
        // Nails on wood: three kilohertz, gone after a fiftieth of a second, every 0.23 seconds.
        let clicks = |t: f64| {
            let since = t % 0.23;
            sine(3_000.0, since) * (-200.0 * since).exp()
        };
        for hz in RATES {
            for percent in SPEEDS {
                let speed = Speed::new(percent).expect("in range");
                let after = stretched(&sound(hz, 1, 2.0, clicks), speed).mono();
                for n in 1..9 {
                    let due = 0.23 * f64::from(n) * 100.0 / f64::from(percent);
                    let late = onset(&after, hz, due) - due;
                    assert!(late.abs() <= 0.010, "{hz} {percent} {n}: {late}");
                }
            }
        }
    }

    /// The first frame about `due` that has half the peak of the tenth of a second about it.
    fn onset(mono: &[f32], hz: u32, due: f64) -> f64 {
        let from = ((due - 0.05) * f64::from(hz)) as usize;
        let until = (((due + 0.05) * f64::from(hz)) as usize).min(mono.len());
        let near = &mono[from..until];
        let peak = near.iter().fold(0.0_f32, |peak, x| peak.max(x.abs()));
        let first = near.iter().position(|x| x.abs() >= 0.5 * peak);
        (from + first.expect("the peak itself")) as f64 / f64::from(hz)
    }

    #[test]
    fn odd_sounds_are_stretched_as_well() {
        let half = Speed::new(50).expect("in range");
        for n_frames in [0, 1, 2, 3, 100, 4_097] {
            for n_channels in [1, 2, 3, 6] {
                let samples = vec![f32::MAX; n_frames * usize::from(n_channels)];
                let loud = Pcm::new(SampleRate::HZ_48000, n_channels, samples).expect("finite");
                let after = stretched(&loud, half);
                assert_eq!(after.n_frames(), Frames(2 * n_frames as u64));
                assert_eq!(after.channels(), n_channels);
            }
        }
        let silent = sound(384_000, 2, 0.5, |_| 0.0);
        assert!(stretched(&silent, half).peak() < 1e-6);
    }

    #[test]
    fn chunks_follow_one_another_and_the_first_needs_no_more_than_a_second() {
        let wave = |t: f64| sine(330.0, t) * (-(t % 0.2) * 20.0).exp();
        for hz in [8_000, 48_000] {
            for percent in [50, 85, 100, 110] {
                let speed = Speed::new(percent).expect("in range");
                let long = sound(hz, 2, 7.3, wave);
                let chunks: Vec<Pcm> = Stretching::new(&long, speed).collect();
                let joined = join(&chunks.iter().collect::<Vec<_>>(), 0).expect("alike");
                assert_eq!(joined, stretched(&long, speed));
                assert_eq!(joined.n_frames(), speed.length_of(long.n_frames()));
                let short = sound(hz, 2, 1.0, wave);
                let first = Stretching::new(Arc::new(short), speed).next();
                assert_eq!(first.as_ref(), chunks.first(), "{hz} {percent}");
            }
        }
    }

    #[test]
    fn places_in_a_passage_are_found_again() {
        for percent in SPEEDS {
            let speed = Speed::new(percent).expect("in range");
            let mut stretching = Stretching::new(sound(48_000, 1, 0.6, |_| 0.0), speed);
            assert_eq!(stretching.n_frames(), speed.length_of(Frames(28_800)));
            let end = i64::try_from(stretching.n_frames().0).expect("short");
            assert_eq!(speed.later(Frame(28_800)), Frame(end));
            assert!(stretching.by_ref().count() > 2);
            assert_eq!(stretching.position(), stretching.n_frames());
            for n in (-50_000..50_000).step_by(977) {
                let there = speed.later(Frame(n));
                assert!((speed.earlier(there).0 - n).abs() <= 1, "{percent} {n}");
                let exact = n as f64 * 100.0 / f64::from(percent);
                assert!((there.0 as f64 - exact).abs() <= 0.5, "{percent} {n}");
            }
        }
    }

    /// Six strings of a guitar, plucked after Karplus and Strong ("Digital
    /// Synthesis of Plucked-String and Drum Timbres", Computer Music Journal 7(2), 1983).
    #[test]
    fn plucked_chords_come_when_they_should() {
        let hz = 48_000_u32;
        let n_frames = 4 * hz as usize;
        let mut mono = vec![0.0_f32; n_frames];
        for (chord, from) in (0..n_frames).step_by(hz as usize / 2).enumerate() {
            for (string, period) in [582, 436, 327, 245, 194, 146].into_iter().enumerate() {
                let mut noise = 12_345 + 77 * (string as u32) + chord as u32;
                let mut line: Vec<f32> = (0..period)
                    .map(|_| {
                        noise = noise.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                        (noise >> 16) as f32 / 32_768.0 - 1.0
                    })
                    .collect();
                for n in 0..(hz as usize * 9 / 20).min(n_frames - from) {
                    let at = n % period;
                    mono[from + n] += 0.1 * line[at];
                    line[at] = 0.498 * (line[at] + line[(at + 1) % period]);
                }
            }
        }
        let before = Pcm::new(SampleRate::HZ_48000, 1, mono).expect("finite");
        for percent in [50, 75, 90, 110] {
            let speed = Speed::new(percent).expect("in range");
            let after = stretched(&before, speed).mono();
            for chord in 1..8 {
                let due = 0.5 * f64::from(chord) * 100.0 / f64::from(percent);
                let late = rise(&after, due) - due;
                assert!(late.abs() <= 0.010, "{percent} {chord}: {late}");
            }
        }
    }

    /// Where sound begins again about `due`, after a silence: the first frame above an eighth of the
    /// peak that follows.
    fn rise(mono: &[f32], due: f64) -> f64 {
        let from = ((due - 0.03) * 48_000.0) as usize;
        let near = &mono[from..(from + 3_840).min(mono.len())];
        let peak = near.iter().fold(0.0_f32, |peak, x| peak.max(x.abs()));
        let first = near.iter().position(|x| x.abs() >= 0.125 * peak);
        (from + first.expect("the peak itself")) as f64 / 48_000.0
    }

    #[test]
    fn a_speed_is_fifty_to_a_hundred_and_ten_percent() {
        assert_eq!([0, 49, 111, u16::MAX].map(Speed::new), [None; 4]);
        let speed = Speed::new(75).expect("in range");
        assert_eq!(speed.percent(), 75);
        assert_eq!(speed.length_of(Frames(48_000)), Frames(64_000));
        let whole = sound(48_000, 2, 0.1, |t| sine(440.0, t));
        assert_eq!(stretched(&whole, Speed::OWN), whole);
    }
}
