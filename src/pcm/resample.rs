//! The same sound at another rate.

use rubato::audioadapter_buffers::direct::InterleavedSlice;
use rubato::{Fft, FixedSync, Resampler as _};

use super::{Pcm, SampleRate};

/// Frames that are worked on at a time.
const CHUNK: usize = 1024;

/// `pcm` at another rate: as long, to within a frame, and without what the new rate cannot carry.
pub fn resampled(pcm: &Pcm, rate: SampleRate) -> Pcm {
    if pcm.rate() == rate {
        return pcm.clone();
    }
    let channels = usize::from(pcm.channels());
    let samples = at_rate(pcm, rate, channels).unwrap_or_default();
    // A library that rings past what a float holds is not known; silence would be the answer.
    Pcm::new(rate, pcm.channels(), samples).unwrap_or_else(|_| Pcm::stereo(rate, Vec::new()))
}

/// `None` where the library refuses, which it does of no rate that a [`SampleRate`] can have.
fn at_rate(pcm: &Pcm, rate: SampleRate, channels: usize) -> Option<Vec<f32>> {
    let n_frames = usize::try_from(pcm.n_frames().0).ok()?;
    let [from, to] = [pcm.rate(), rate].map(|rate| usize::try_from(rate.hz()));
    let mut resampler =
        Fft::<f32>::new(from.ok()?, to.ok()?, CHUNK, channels, FixedSync::Input).ok()?;
    let input = InterleavedSlice::new(pcm.samples(), channels, n_frames).ok()?;
    let output = resampler.process_all(&input, n_frames, None).ok()?;
    Some(output.take_data())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn tone(rate: SampleRate, hz: f64) -> Pcm {
        let n = rate.hz();
        let wave = |k: u32| (std::f64::consts::TAU * hz * f64::from(k) / f64::from(n)).sin();
        let samples = (0..n)
            .flat_map(|k| [wave(k) as f32, -wave(k) as f32])
            .collect();
        Pcm::new(rate, 2, samples).expect("finite")
    }

    #[test]
    fn a_tone_stays_where_it_is_and_as_long_as_it_is() {
        for (from, to) in [
            (44_100, 48_000),
            (96_000, 48_000),
            (8_000, 44_100),
            (192_000, 48_000),
        ] {
            let [from, to] = [from, to].map(|hz| SampleRate::new(hz).expect("a rate"));
            let there = resampled(&tone(from, 440.0), to);
            let wanted = tone(to, 440.0);
            assert!(there.n_frames().0.abs_diff(wanted.n_frames().0) <= 1);
            assert_eq!(there.rate(), to);
            // Away from the ends every sample is that of the tone at the new rate, by formula.
            let far = |k: &usize| {
                (4_000..2 * usize::try_from(to.hz()).expect("small") - 4_000).contains(k)
            };
            let pairs = there.samples().iter().zip(wanted.samples()).enumerate();
            let off = pairs
                .filter(|(k, _)| far(k))
                .map(|(_, (a, b))| (a - b).abs());
            let most = off.fold(0.0, f32::max);
            assert!(most < 0.01, "{} to {}: {most}", from.hz(), to.hz());
        }
    }

    #[test]
    fn what_the_new_rate_cannot_carry_is_gone() {
        let low = SampleRate::new(8_000).expect("a rate");
        let there = resampled(&tone(SampleRate::HZ_48000, 10_000.0), low);
        let middle = &there.samples()[2_000..14_000];
        assert!(middle.iter().all(|x| x.abs() < 0.001));
    }
}
