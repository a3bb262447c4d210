//! From any number of channels to one or two.

use symphonia::core::audio::Channels;

/// How much of a channel goes to the left and to the right.
type Share = [f32; 2];

/// How channels become one or two. One and two stay what they are. Of more, left and right in front
/// go to their side whole, those beside, behind and above at 0.7071, those in the middle to both at
/// 0.7071 and those of low effects nowhere (after ITU-R BS.775-3, annex 4), divided by the sum on a
/// side, so that full scale is never passed.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Mix {
    shares: Vec<Share>,
}

impl Mix {
    pub(super) fn of(channels: Channels) -> Self {
        let mut shares: Vec<Share> = channels.iter().map(share).collect();
        if shares.len() <= 2 {
            return Self { shares };
        }
        for side in 0..2 {
            let sum: f32 = shares.iter().map(|share| share[side]).sum();
            if sum <= 0.0 {
                // Nothing stands on this side: it hears the mean of all.
                shares.iter_mut().for_each(|share| share[side] = 1.0);
            }
            let sum: f32 = shares.iter().map(|share| share[side]).sum();
            shares.iter_mut().for_each(|share| share[side] /= sum);
        }
        Self { shares }
    }

    /// How many channels come out, one or two.
    pub(super) fn n_out(&self) -> u16 {
        if self.shares.len() == 1 { 1 } else { 2 }
    }

    /// Interleaved samples as `n_out` interleaved channels, which may differ from what this mix
    /// makes when a file changes its mind: one becomes two alike, two become their mean.
    pub(super) fn mixed(&self, interleaved: &[f32], n_out: u16) -> Vec<f32> {
        let n_in = self.shares.len();
        if n_in == usize::from(n_out) {
            return interleaved.to_vec();
        }
        let frames = interleaved.chunks_exact(n_in.max(1));
        let stereo = frames.map(|frame| match frame {
            [one] => [*one, *one],
            [left, right] => [*left, *right],
            many => self.sides(many),
        });
        if n_out == 1 {
            stereo.map(|[left, right]| 0.5 * (left + right)).collect()
        } else {
            stereo.flatten().collect()
        }
    }

    fn sides(&self, frame: &[f32]) -> Share {
        let mut sides = [0.0; 2];
        for (sample, share) in frame.iter().zip(&self.shares) {
            sides[0] += sample * share[0];
            sides[1] += sample * share[1];
        }
        sides
    }
}

/// 3 dB less.
const MIDDLE: f32 = std::f32::consts::FRAC_1_SQRT_2;

const LEFT: Channels = Channels::FRONT_LEFT
    .union(Channels::FRONT_LEFT_CENTRE)
    .union(Channels::FRONT_LEFT_WIDE);
const RIGHT: Channels = Channels::FRONT_RIGHT
    .union(Channels::FRONT_RIGHT_CENTRE)
    .union(Channels::FRONT_RIGHT_WIDE);
const FAR_LEFT: Channels = Channels::REAR_LEFT
    .union(Channels::SIDE_LEFT)
    .union(Channels::REAR_LEFT_CENTRE)
    .union(Channels::FRONT_LEFT_HIGH)
    .union(Channels::TOP_FRONT_LEFT)
    .union(Channels::TOP_REAR_LEFT);
const FAR_RIGHT: Channels = Channels::REAR_RIGHT
    .union(Channels::SIDE_RIGHT)
    .union(Channels::REAR_RIGHT_CENTRE)
    .union(Channels::FRONT_RIGHT_HIGH)
    .union(Channels::TOP_FRONT_RIGHT)
    .union(Channels::TOP_REAR_RIGHT);
const LOW: Channels = Channels::LFE1.union(Channels::LFE2);

fn share(channel: Channels) -> Share {
    let whole = [
        (LOW, [0.0, 0.0]),
        (LEFT, [1.0, 0.0]),
        (RIGHT, [0.0, 1.0]),
        (FAR_LEFT, [MIDDLE, 0.0]),
        (FAR_RIGHT, [0.0, MIDDLE]),
    ];
    let found = whole.iter().find(|(place, _)| place.contains(channel));
    found.map_or([MIDDLE, MIDDLE], |(_, share)| *share)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_and_two_stay_and_change_into_each_other() {
        let mono = Mix::of(Channels::FRONT_LEFT);
        assert_eq!(
            (mono.n_out(), mono.mixed(&[0.25, 0.5], 1)),
            (1, vec![0.25, 0.5])
        );
        assert_eq!(mono.mixed(&[0.25, 0.5], 2), [0.25, 0.25, 0.5, 0.5]);
        let stereo = Mix::of(Channels::FRONT_LEFT | Channels::FRONT_RIGHT);
        assert_eq!(stereo.mixed(&[0.25, 0.5], 2), [0.25, 0.5]);
        assert_eq!(stereo.mixed(&[0.25, 0.75], 1), [0.5]);
    }

    #[test]
    fn surround_keeps_its_sides_and_full_scale() {
        let surround = Channels::FRONT_LEFT
            | Channels::FRONT_RIGHT
            | Channels::FRONT_CENTRE
            | Channels::LFE1
            | Channels::SIDE_LEFT
            | Channels::SIDE_RIGHT;
        let mix = Mix::of(surround);
        assert_eq!(mix.n_out(), 2);
        let full = mix.mixed(&[1.0; 6], 2);
        assert!(full.iter().all(|x| (x - 1.0).abs() < 1e-6), "{full:?}");
        let only_left = mix.mixed(&[1.0, 0.0, 0.0, 1.0, 0.0, 0.0], 2);
        assert!(only_left[0] > 0.3 && only_left[1] == 0.0, "{only_left:?}");
        let middle = mix.mixed(&[0.0, 0.0, 1.0, 0.0, 0.0, 0.0], 2);
        assert!((middle[0] - middle[1]).abs() < 1e-6);
        assert!((middle[0] / only_left[0] - MIDDLE).abs() < 1e-6);
    }
}
