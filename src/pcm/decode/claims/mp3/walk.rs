//! What was come by on the way through a file, and from it how many frames are missing in each hole.

use super::Hole;

/// What was come by.
#[derive(Default)]
pub(super) struct Walk {
    pub(super) n_frames: u64,
    pub(super) n_bytes: u64,
    /// The last frame before which nothing is missing.
    pub(super) last: Option<u64>,
}

impl Walk {
    /// How many frames are missing in each hole: by their mean length, or by how many there are in the
    /// whole file where that is said and near to it.
    pub(super) fn share(&self, holes: &mut [Hole], n_said: Option<u64>, n_behind: u64) {
        let n_lost = |n_bytes: u64| (n_bytes * self.n_frames + self.n_bytes / 2) / self.n_bytes;
        // What lies behind the last frame may be words, or damaged too.
        let mut n_bytes = n_behind;
        n_bytes += holes.iter().map(hole_bytes).sum::<u64>();
        let by_mean = n_lost(n_bytes);
        let by_said = n_said.and_then(|n_said| n_said.checked_sub(self.n_frames));
        let n_all = by_said.filter(|n| *n >= by_mean / 2 && *n <= 2 * by_mean);
        let mut before = (0, 0);
        for hole in holes {
            let up_to = before.0 + hole_bytes(hole);
            let n_up_to = match n_all {
                Some(n_all) => (up_to * n_all + n_bytes / 2) / n_bytes,
                None => n_lost(up_to),
            };
            hole.n_missing = n_up_to - before.1;
            before = (up_to, n_up_to);
        }
    }
}

fn hole_bytes(hole: &Hole) -> u64 {
    hole.bytes.end - hole.bytes.start
}
