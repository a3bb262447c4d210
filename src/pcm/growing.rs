//! Sound that can begin to be heard while the rest of it is made.

use std::ops::Range;
use std::sync::OnceLock;
use std::sync::atomic::{AtomicBool, Ordering};

use super::{Frames, Pcm, SampleRate};

/// A chunk is a quarter of a second: short enough to be there soon, long enough to be made in one go.
const CHUNKS_A_SECOND: u32 = 4;

/// A sound in stereo whose length is known and whose chunks are filled in, one after the other, while
/// it is heard already. Reading takes no lock: what is not there yet is silent.
///
/// ```
/// use contrapalma::pcm::{Frames, Growing, Pcm, SampleRate};
///
/// let growing = Growing::new(SampleRate::HZ_48000, Frames(12_001));
/// assert_eq!((growing.n_chunks(), growing.range(1)), (2, 12_000..12_001));
/// growing.fill(1, Pcm::stereo(SampleRate::HZ_48000, vec![0.5, -0.5]));
/// assert_eq!(growing.frame(12_000), [0.5, -0.5]);
/// assert_eq!(growing.frame(0), [0.0, 0.0]);
/// ```
#[derive(Debug)]
pub struct Growing {
    rate: SampleRate,
    n_frames: usize,
    a_chunk: usize,
    chunks: Box<[OnceLock<Pcm>]>,
    is_wanted: AtomicBool,
}

impl Growing {
    /// A sound of so many frames, of which nothing is there yet.
    pub fn new(rate: SampleRate, n_frames: Frames) -> Self {
        let n_frames = usize::try_from(n_frames.0).unwrap_or(usize::MAX);
        let a_chunk = rate.hz().div_ceil(CHUNKS_A_SECOND).max(1);
        let a_chunk = usize::try_from(a_chunk).unwrap_or(usize::MAX);
        let empty = (0..n_frames.div_ceil(a_chunk)).map(|_| OnceLock::new());
        Self {
            rate,
            n_frames,
            a_chunk,
            chunks: empty.collect(),
            is_wanted: AtomicBool::new(true),
        }
    }

    /// Frames a second.
    pub fn rate(&self) -> SampleRate {
        self.rate
    }

    /// How long it is in the end.
    pub fn n_frames(&self) -> Frames {
        Frames(u64::try_from(self.n_frames).unwrap_or(u64::MAX))
    }

    /// Of how many chunks it is made.
    pub fn n_chunks(&self) -> usize {
        self.chunks.len()
    }

    /// The frames of a chunk.
    pub fn range(&self, chunk: usize) -> Range<usize> {
        let from = chunk.saturating_mul(self.a_chunk).min(self.n_frames);
        from..from.saturating_add(self.a_chunk).min(self.n_frames)
    }

    /// Puts a chunk in its place, in stereo. One that is there already stays.
    pub fn fill(&self, chunk: usize, pcm: Pcm) {
        if let Some(place) = self.chunks.get(chunk) {
            // Whoever came first made the same.
            drop(place.set(pcm));
        }
    }

    /// Left and right of a frame; silent where it is not there yet, and beyond the end.
    pub fn frame(&self, frame: usize) -> [f32; 2] {
        let chunk = self.chunks.get(frame / self.a_chunk);
        let Some(pcm) = chunk.and_then(OnceLock::get) else {
            return [0.0; 2];
        };
        let at = 2 * (frame % self.a_chunk);
        let sample = |at| pcm.samples().get(at).copied().unwrap_or(0.0);
        [sample(at), sample(at + 1)]
    }

    /// Whether every chunk is there.
    pub fn is_whole(&self) -> bool {
        self.chunks.iter().all(|chunk| chunk.get().is_some())
    }

    /// The rest is not to be made any more.
    pub fn give_up(&self) {
        self.is_wanted.store(false, Ordering::Relaxed);
    }

    /// Whether the rest is still to be made.
    pub fn is_wanted(&self) -> bool {
        self.is_wanted.load(Ordering::Relaxed)
    }
}
