//! What runs in the device's callback: reads sounds, loops and fades them.
//!
//! Read [`Feed`] first. Nothing here locks, allocates, frees, prints or can fail: orders come by a
//! lock-free ring, and sounds that are over go back by another to be freed where time is plenty.

use rtrb::{Consumer, Producer, PushError};

use super::output::{Loop, Onset, PlayId, Samples};
use super::units::{factor, single};
use crate::pcm::SampleRate;

/// Microseconds in which a sound that is stopped or replaced fades: no click, and no delay that is
/// noticed.
const FADE_MICROS: i64 = 5_000;
/// Microseconds in which a sound rises that is to.
const RISE_MICROS: i64 = 1_500_000;
/// Where that begins, in decibels: quiet, but a first stroke is still heard.
const RISE_DB: f64 = -26.0;

/// What the device's callback is told.
#[derive(Debug)]
pub(in crate::sound) enum Order {
    /// To play this from its first frame, in place of what sounds.
    Play {
        play: PlayId,
        sound: Samples,
        onset: Onset,
        repeat: Loop,
    },
    /// To play this when the present loop comes to the end of one of so many equal parts, from the
    /// same place when it is as long, else from its first frame; at once when nothing sounds.
    Follow {
        play: PlayId,
        sound: Samples,
        repeat: Loop,
        parts: u64,
    },
    /// To fall silent.
    Stop,
}

/// The device's frame on which a play began.
#[derive(Clone, Copy, Debug)]
pub(in crate::sound) struct Begun {
    pub(in crate::sound) play: PlayId,
    pub(in crate::sound) frame: u64,
}

/// Where sound comes from: endless, and silent until it is told to play.
pub(in crate::sound) struct Feed {
    n_fade: usize,
    /// By what each frame of a sound that rises is louder than the one before.
    rise: f32,
    orders: Consumer<Order>,
    spent: Producer<Samples>,
    begun: Producer<Begun>,
    /// Frames given so far.
    frame: u64,
    /// The right sample of the frame whose left one was given.
    right: Option<f32>,
    sounding: Option<Reader>,
    fading: Option<Reader>,
    /// What takes over at the next boundary.
    following: Option<Following>,
}

/// A sound that waits for the end of a part of the present one.
struct Following {
    play: PlayId,
    reader: Reader,
    parts: u64,
}

impl Feed {
    /// A feed between the far ends of the rings, silent.
    pub(in crate::sound) fn new(
        rate: SampleRate,
        orders: Consumer<Order>,
        spent: Producer<Samples>,
        begun: Producer<Begun>,
    ) -> Self {
        Self {
            n_fade: usize::try_from(rate.frame_at(FADE_MICROS).0).unwrap_or(0),
            rise: rise(rate),
            orders,
            spent,
            begun,
            frame: 0,
            right: None,
            sounding: None,
            fading: None,
            following: None,
        }
    }

    /// The next sample: left and right by turns.
    pub(in crate::sound) fn next_sample(&mut self) -> f32 {
        self.right.take().unwrap_or_else(|| {
            let [left, right] = self.next_frame();
            self.right = Some(right);
            left
        })
    }

    fn next_frame(&mut self) -> [f32; 2] {
        // While a sound still fades, orders wait: a few milliseconds at most.
        if self.fading.is_none()
            && let Ok(order) = self.orders.pop()
        {
            self.obey(order);
        }
        self.take_over();
        let mut out = [0.0; 2];
        for reader in [&mut self.sounding, &mut self.fading].into_iter().flatten() {
            let [left, right] = reader.next_frame();
            out[0] += left;
            out[1] += right;
        }
        if self.sounding.as_ref().is_some_and(Reader::is_over) && self.fading.is_none() {
            self.fading = self.sounding.take();
        }
        if self.fading.as_ref().is_some_and(Reader::is_over) {
            self.give_back();
        }
        self.frame += 1;
        out
    }

    fn obey(&mut self, order: Order) {
        match order {
            Order::Stop => self.replace(None),
            Order::Play {
                play,
                sound,
                onset,
                repeat,
            } => {
                let reader = Reader::of(sound, repeat);
                let reader = match onset {
                    Onset::AtOnce => reader,
                    Onset::Rising => reader.rising(self.rise),
                };
                self.replace(Some((play, reader)));
            }
            Order::Follow {
                play,
                sound,
                repeat,
                parts,
            } => {
                // What waited before this is not wanted any more, and goes back unheard.
                let reader = Reader::of(sound, repeat);
                let before = self.following.replace(Following {
                    play,
                    reader,
                    parts,
                });
                self.fading = before.map(|following| Reader::spent(following.reader.sound));
            }
        }
    }

    /// Lets what follows begin when the present sound has come to a boundary.
    fn take_over(&mut self) {
        if self.fading.is_some() {
            return;
        }
        let here = self.sounding.as_ref();
        let is_due = |following: &Following| here.is_none_or(|r| r.is_at_part(following.parts));
        if let Some(mut following) = self.following.take_if(|following| is_due(following)) {
            if let Some(present) = &self.sounding
                && present.n_frames == following.reader.n_frames
            {
                following.reader.idx = present.idx;
            }
            self.replace(Some((following.play, following.reader)));
        }
    }

    fn replace(&mut self, next: Option<(PlayId, Reader)>) {
        let n_fade = self.n_fade;
        self.fading = self.sounding.take().map(|reader| reader.fading(n_fade));
        if let Some((play, reader)) = next {
            let frame = self.frame.saturating_sub(reader.n_read());
            // The ring is as long as that of the orders and read before each of them is sent.
            let _ = self.begun.push(Begun { play, frame });
            self.sounding = Some(reader);
        }
    }

    /// Hands a sound that is over back to be freed elsewhere. Should the ring be full it is kept,
    /// and tried again on the next frame: it must not be freed here.
    fn give_back(&mut self) {
        let Some(reader) = self.fading.take() else {
            return;
        };
        if let Err(PushError::Full(sound)) = self.spent.push(reader.sound) {
            self.fading = Some(Reader::spent(sound));
        }
    }
}

/// By what each frame of a sound that rises is louder than the one before.
fn rise(rate: SampleRate) -> f32 {
    let n_frames = i32::try_from(rate.frame_at(RISE_MICROS).0).unwrap_or(i32::MAX);
    single(factor(-RISE_DB / f64::from(n_frames.max(1))))
}

/// A sound being read, with its rise and its fading.
struct Reader {
    sound: Samples,
    n_frames: usize,
    repeat: Loop,
    /// The frame that comes next.
    idx: usize,
    /// How far it has risen, up to 1, and by what with each frame.
    risen: f32,
    rise: f32,
    gain: f32,
    /// By how much the gain falls with each frame.
    fall: f32,
}

impl Reader {
    fn of(sound: Samples, repeat: Loop) -> Self {
        Self {
            n_frames: usize::try_from(sound.n_frames().0).unwrap_or(usize::MAX),
            sound,
            repeat,
            idx: 0,
            risen: 1.0,
            rise: 1.0,
            gain: 1.0,
            fall: 0.0,
        }
    }

    /// A sound that is over, on its way back.
    fn spent(sound: Samples) -> Self {
        Self {
            gain: 0.0,
            ..Self::of(sound, Loop::Once)
        }
    }

    /// The same, rising by so much with each frame.
    fn rising(self, rise: f32) -> Self {
        Self {
            risen: single(factor(RISE_DB)),
            rise,
            ..self
        }
    }

    /// The same, falling silent within `n_frames` frames.
    fn fading(self, n_frames: usize) -> Self {
        let n_frames = u16::try_from(n_frames).unwrap_or(u16::MAX);
        Self {
            fall: 1.0 / f32::from(n_frames.max(1)),
            ..self
        }
    }

    /// Frames read of the present round.
    fn n_read(&self) -> u64 {
        u64::try_from(self.idx).unwrap_or(u64::MAX)
    }

    /// Whether the next frame is the first of one of so many equal parts.
    fn is_at_part(&self, parts: u64) -> bool {
        let n_frames = u64::try_from(self.n_frames).unwrap_or(u64::MAX).max(1);
        let part = |frame: u64| frame.saturating_mul(parts) / n_frames;
        let next = self.n_read();
        next == 0 || part(next) != part(next - 1)
    }

    fn is_over(&self) -> bool {
        self.gain <= 0.0 || self.idx >= self.n_frames
    }

    fn next_frame(&mut self) -> [f32; 2] {
        if self.is_over() {
            return [0.0; 2];
        }
        let gain = self.gain * self.risen;
        let frame = self.sound.frame(self.idx).map(|x| gain * x);
        self.risen = (self.risen * self.rise).min(1.0);
        self.idx += 1;
        if self.idx >= self.n_frames && self.repeat == Loop::Round {
            self.idx = 0;
        }
        self.gain -= self.fall;
        frame
    }
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use rtrb::RingBuffer;

    use super::*;
    use crate::pcm::{Frames, Growing, Pcm};

    struct Bench {
        feed: Feed,
        orders: Producer<Order>,
        spent: Consumer<Samples>,
        begun: Consumer<Begun>,
    }

    impl Bench {
        fn new() -> Self {
            let (orders, orders_in) = RingBuffer::new(4);
            let (spent_out, spent) = RingBuffer::new(4);
            let (begun_out, begun) = RingBuffer::new(4);
            let rate = SampleRate::HZ_48000;
            Self {
                feed: Feed::new(rate, orders_in, spent_out, begun_out),
                orders,
                spent,
                begun,
            }
        }

        fn play(&mut self, samples: &[f32], repeat: Loop) {
            let sound = Arc::new(Pcm::stereo(SampleRate::HZ_48000, samples.to_vec())).into();
            let play = PlayId(1);
            let order = Order::Play {
                play,
                sound,
                onset: Onset::AtOnce,
                repeat,
            };
            self.orders.push(order).expect("there is room");
        }

        fn samples(&mut self, n_samples: usize) -> Vec<f32> {
            (0..n_samples).map(|_| self.feed.next_sample()).collect()
        }
    }

    #[test]
    fn a_sound_is_read_once_from_its_first_frame() {
        let mut bench = Bench::new();
        assert_eq!(bench.samples(4), [0.0; 4]);
        bench.play(&[0.1, 0.2, 0.3, 0.4], Loop::Once);
        assert_eq!(bench.samples(6), [0.1, 0.2, 0.3, 0.4, 0.0, 0.0]);
        assert_eq!(bench.begun.pop().expect("it began").frame, 2);
        let Ok(Samples::Whole(pcm)) = bench.spent.pop() else {
            panic!("it is not given back");
        };
        assert_eq!(Arc::strong_count(&pcm), 1);
    }

    #[test]
    fn a_loop_has_no_gap() {
        let mut bench = Bench::new();
        bench.play(&[0.1, 0.2, 0.3, 0.4], Loop::Round);
        let around = [0.1, 0.2, 0.3, 0.4, 0.1, 0.2, 0.3, 0.4, 0.1, 0.2];
        assert_eq!(bench.samples(10), around);
        assert!(bench.spent.is_empty());
    }

    #[test]
    fn one_channel_is_heard_on_both_sides() {
        let mut bench = Bench::new();
        let pcm = Pcm::new(SampleRate::HZ_48000, 1, vec![0.1, 0.2]).expect("finite");
        let (play, sound, repeat) = (PlayId(1), Arc::new(pcm).into(), Loop::Once);
        let order = Order::Play {
            play,
            sound,
            onset: Onset::AtOnce,
            repeat,
        };
        bench.orders.push(order).expect("there is room");
        assert_eq!(bench.samples(6), [0.1, 0.1, 0.2, 0.2, 0.0, 0.0]);
    }

    #[test]
    fn stopping_fades_within_five_milliseconds() {
        let mut bench = Bench::new();
        bench.play(&[0.5; 8], Loop::Round);
        bench.samples(100);
        bench.orders.push(Order::Stop).expect("there is room");
        let faded = bench.samples(600);
        let steps = faded.chunks(2).zip(faded.chunks(2).skip(1));
        assert!(
            steps
                .clone()
                .all(|(a, b)| (0.0..0.01).contains(&(a[0] - b[0])))
        );
        assert_eq!(faded[490..], [0.0; 110]);
        assert!(bench.spent.pop().is_ok());
    }

    #[test]
    fn a_new_sound_begins_at_once_over_the_fading_one() {
        let mut bench = Bench::new();
        bench.play(&[0.25; 8], Loop::Round);
        bench.samples(100);
        bench.play(&[0.5; 8], Loop::Round);
        assert_eq!(bench.samples(2), [0.75; 2]);
        assert_eq!(bench.samples(600)[590..], [0.5; 10]);
        assert!(bench.spent.pop().is_ok());
        assert!(bench.spent.pop().is_err());
    }

    fn follow(bench: &mut Bench, play: u64, samples: &[f32], parts: u64) {
        let sound = Arc::new(Pcm::stereo(SampleRate::HZ_48000, samples.to_vec())).into();
        let (play, repeat) = (PlayId(play), Loop::Round);
        let order = Order::Follow {
            play,
            sound,
            repeat,
            parts,
        };
        bench.orders.push(order).expect("there is room");
    }

    #[test]
    fn what_follows_takes_over_at_the_end_of_a_part_and_at_the_same_place() {
        let mut bench = Bench::new();
        // Two parts of 600 frames; the sound that follows is as long, and tells its second part.
        bench.play(&[0.1; 2_400], Loop::Round);
        bench.samples(200);
        let following = [[0.2; 1_200], [0.4; 1_200]].concat();
        follow(&mut bench, 2, &following, 2);
        assert_eq!(bench.samples(1_000), [0.1; 1_000]);
        // The fade of what was there, then what follows, in its second part.
        assert_eq!(bench.samples(1_200)[600..], [0.4; 600]);
        assert_eq!(bench.samples(1_200), [0.2; 1_200]);
        assert_eq!(bench.begun.pop().expect("the first").frame, 0);
        let begun = bench.begun.pop().expect("the second");
        assert_eq!((begun.play, begun.frame), (PlayId(2), 0));
    }

    #[test]
    fn of_several_that_follow_the_last_is_heard() {
        let mut bench = Bench::new();
        bench.play(&[0.1; 2_400], Loop::Round);
        bench.samples(200);
        for (play, value) in [(2, 0.2), (3, 0.3), (4, 0.4)] {
            follow(&mut bench, play, &[value; 1_200], 1);
            bench.samples(20);
        }
        bench.samples(4_000);
        assert_eq!(bench.samples(100), [0.4; 100]);
        let plays: Vec<u64> = std::iter::from_fn(|| bench.begun.pop().ok())
            .map(|begun| begun.play.0)
            .collect();
        assert_eq!(plays, [1, 4]);
        let spent = std::iter::from_fn(|| bench.spent.pop().ok()).count();
        assert_eq!(spent, 3);
    }

    #[test]
    fn what_is_to_rise_rises_from_quiet_once() {
        let mut bench = Bench::new();
        // A loop of a second, which comes again while it still rises.
        let sound = Arc::new(Pcm::stereo(SampleRate::HZ_48000, vec![0.5; 96_000]));
        let order = Order::Play {
            play: PlayId(1),
            sound: sound.into(),
            onset: Onset::Rising,
            repeat: Loop::Round,
        };
        bench.orders.push(order).expect("there is room");
        let heard = bench.samples(4 * 96_000);
        let at = |seconds: f64| f64::from(heard[2 * (48_000.0 * seconds) as usize]);
        for (seconds, db) in [(0.0, -26.0), (0.75, -13.0), (1.5, 0.0), (2.5, 0.0)] {
            let risen = 20.0 * (at(seconds) / 0.5).log10();
            assert!((risen - db).abs() < 0.1, "{risen} dB after {seconds} s");
        }
        assert!(heard.windows(3).all(|three| three[2] >= three[0]));
    }

    #[test]
    fn what_grows_is_heard_as_far_as_it_is_there_and_goes_round() {
        let mut bench = Bench::new();
        let growing = Arc::new(Growing::new(SampleRate::HZ_48000, Frames(12_002)));
        let chunk = |value: f32, n: usize| Pcm::stereo(SampleRate::HZ_48000, vec![value; 2 * n]);
        growing.fill(0, chunk(0.1, 12_000));
        let order = Order::Play {
            play: PlayId(1),
            sound: Samples::Growing(Arc::clone(&growing)),
            onset: Onset::AtOnce,
            repeat: Loop::Round,
        };
        bench.orders.push(order).expect("there is room");
        assert_eq!(bench.samples(24_000), [0.1; 24_000]);
        // What is late is silent, and what comes after it is in its place all the same.
        assert_eq!(bench.samples(6), [0.0, 0.0, 0.0, 0.0, 0.1, 0.1]);
        assert!(!growing.is_whole());
        growing.fill(1, chunk(0.2, 2));
        assert!(growing.is_whole());
        assert_eq!(bench.samples(23_998)[23_996..], [0.1; 2]);
        assert_eq!(bench.samples(6), [0.2, 0.2, 0.2, 0.2, 0.1, 0.1]);
    }

    #[test]
    fn what_follows_nothing_begins_at_once() {
        let mut bench = Bench::new();
        follow(&mut bench, 1, &[0.3; 8], 4);
        assert_eq!(bench.samples(12), [0.3; 12]);
    }

    #[test]
    fn sounds_are_never_freed_here() {
        let mut bench = Bench::new();
        // More sounds than the ring of spent ones holds, and nobody takes them back.
        let sounds: Vec<Arc<Pcm>> = (0..8)
            .map(|_| Arc::new(Pcm::stereo(SampleRate::HZ_48000, vec![0.5; 2])))
            .collect();
        for pcm in &sounds {
            let (play, sound, repeat) = (PlayId(1), Arc::clone(pcm).into(), Loop::Once);
            let order = Order::Play {
                play,
                sound,
                onset: Onset::AtOnce,
                repeat,
            };
            if bench.orders.push(order).is_ok() {
                bench.samples(2_000);
            }
        }
        let held = sounds
            .iter()
            .filter(|pcm| Arc::strong_count(pcm) == 2)
            .count();
        assert_eq!(held, 8);
        while bench.spent.pop().is_ok() {
            bench.samples(2_000);
        }
        assert!(sounds.iter().all(|pcm| Arc::strong_count(pcm) == 1));
    }
}
