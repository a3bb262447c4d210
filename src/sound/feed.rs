//! What runs in the device's callback: reads sounds, loops and fades them.
//!
//! Read [`Feed`] first. Nothing here locks, allocates, frees, prints or can fail: orders come by a
//! lock-free ring, and sounds that are over go back by another to be freed where time is plenty.

use std::sync::Arc;

use rtrb::{Consumer, Producer, PushError};

use super::output::{Loop, PlayId};
use crate::pcm::{Pcm, SampleRate};

/// Microseconds in which a sound that is stopped or replaced fades: no click, and no delay that is
/// noticed.
const FADE_MICROS: i64 = 5_000;

/// What the device's callback is told.
#[derive(Debug)]
pub(in crate::sound) enum Order {
    /// To play this from its first frame, in place of what sounds.
    Play {
        play: PlayId,
        pcm: Arc<Pcm>,
        repeat: Loop,
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
    orders: Consumer<Order>,
    spent: Producer<Arc<Pcm>>,
    begun: Producer<Begun>,
    /// Frames given so far.
    frame: u64,
    /// The right sample of the frame whose left one was given.
    right: Option<f32>,
    sounding: Option<Reader>,
    fading: Option<Reader>,
}

impl Feed {
    /// A feed between the far ends of the rings, silent.
    pub(in crate::sound) fn new(
        rate: SampleRate,
        orders: Consumer<Order>,
        spent: Producer<Arc<Pcm>>,
        begun: Producer<Begun>,
    ) -> Self {
        Self {
            n_fade: usize::try_from(rate.frame_at(FADE_MICROS).0).unwrap_or(0),
            orders,
            spent,
            begun,
            frame: 0,
            right: None,
            sounding: None,
            fading: None,
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
        let n_fade = self.n_fade;
        self.fading = self.sounding.take().map(|reader| reader.fading(n_fade));
        if let Order::Play { play, pcm, repeat } = order {
            let frame = self.frame;
            // The ring is as long as that of the orders and read before each of them is sent.
            let _ = self.begun.push(Begun { play, frame });
            self.sounding = Some(Reader::of(pcm, repeat));
        }
    }

    /// Hands a sound that is over back to be freed elsewhere. Should the ring be full it is kept,
    /// and tried again on the next frame: it must not be freed here.
    fn give_back(&mut self) {
        let Some(reader) = self.fading.take() else {
            return;
        };
        if let Err(PushError::Full(pcm)) = self.spent.push(reader.pcm) {
            self.fading = Some(Reader::of(pcm, Loop::Once).fading(0));
        }
    }
}

/// A sound being read, with its fading.
struct Reader {
    pcm: Arc<Pcm>,
    repeat: Loop,
    /// The sample that comes next.
    idx: usize,
    gain: f32,
    /// By how much the gain falls with each frame.
    fall: f32,
}

impl Reader {
    fn of(pcm: Arc<Pcm>, repeat: Loop) -> Self {
        Self {
            pcm,
            repeat,
            idx: 0,
            gain: 1.0,
            fall: 0.0,
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

    fn is_over(&self) -> bool {
        self.gain <= 0.0 || self.idx >= self.pcm.samples().len()
    }

    fn next_frame(&mut self) -> [f32; 2] {
        if self.is_over() {
            return [0.0; 2];
        }
        let channels = usize::from(self.pcm.channels());
        let samples = self.pcm.samples();
        let left = samples.get(self.idx).copied().unwrap_or(0.0);
        let right = match channels {
            1 => left,
            _ => samples.get(self.idx + 1).copied().unwrap_or(0.0),
        };
        let frame = [self.gain * left, self.gain * right];
        self.idx += channels;
        if self.idx >= samples.len() && self.repeat == Loop::Round {
            self.idx = 0;
        }
        self.gain -= self.fall;
        frame
    }
}

#[cfg(test)]
mod tests {
    use rtrb::RingBuffer;

    use super::*;

    struct Bench {
        feed: Feed,
        orders: Producer<Order>,
        spent: Consumer<Arc<Pcm>>,
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
            let pcm = Arc::new(Pcm::stereo(SampleRate::HZ_48000, samples.to_vec()));
            let play = PlayId(1);
            let order = Order::Play { play, pcm, repeat };
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
        assert_eq!(
            Arc::strong_count(&bench.spent.pop().expect("given back")),
            1
        );
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
        let (play, pcm, repeat) = (PlayId(1), Arc::new(pcm), Loop::Once);
        let order = Order::Play { play, pcm, repeat };
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

    #[test]
    fn sounds_are_never_freed_here() {
        let mut bench = Bench::new();
        // More sounds than the ring of spent ones holds, and nobody takes them back.
        let sounds: Vec<Arc<Pcm>> = (0..8)
            .map(|_| Arc::new(Pcm::stereo(SampleRate::HZ_48000, vec![0.5; 2])))
            .collect();
        for pcm in &sounds {
            let (play, pcm, repeat) = (PlayId(1), Arc::clone(pcm), Loop::Once);
            let order = Order::Play { play, pcm, repeat };
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
