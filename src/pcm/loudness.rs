//! How loud sound is, after ITU-R BS.1770-4 (2015): K-weighting, 400 ms blocks, two gates.

use ebur128::{EbuR128, Mode};

use super::Pcm;

/// The integrated loudness in LUFS; `None` of silence and of sound shorter than one 400 ms block.
pub fn loudness(pcm: &Pcm) -> Option<f64> {
    let lufs = meter(pcm, Mode::I)?.loudness_global().ok()?;
    lufs.is_finite().then_some(lufs)
}

/// The largest peak between samples as well as on them, any channel, in dBFS; `None` of silence.
pub fn true_peak(pcm: &Pcm) -> Option<f64> {
    let meter = meter(pcm, Mode::TRUE_PEAK)?;
    let peaks = (0..u32::from(pcm.channels())).filter_map(|channel| meter.true_peak(channel).ok());
    let peak = peaks.fold(0.0, f64::max);
    (peak > 0.0).then(|| 20.0 * peak.log10())
}

fn meter(pcm: &Pcm, mode: Mode) -> Option<EbuR128> {
    let mut meter = EbuR128::new(u32::from(pcm.channels()), pcm.rate().hz(), mode).ok()?;
    meter.add_frames_f32(pcm.samples()).ok()?;
    Some(meter)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::pcm::SampleRate;

    /// One channel of a stereo sound: `amplitude` times a sine of `hz`, from `degrees`.
    fn sine(amplitude: f64, hz: f64, degrees: f64, seconds: f64) -> Pcm {
        let wave = |n: u32| {
            let turns = hz * f64::from(n) / 48_000.0;
            amplitude * (std::f64::consts::TAU * turns + degrees.to_radians()).sin()
        };
        let n_frames = (seconds * 48_000.0) as u32;
        let samples = (0..n_frames).flat_map(|n| [wave(n) as f32, 0.0]).collect();
        Pcm::new(SampleRate::HZ_48000, 2, samples).expect("finite")
    }

    #[test]
    fn full_scale_sine_in_one_channel() {
        // ITU-R BS.1770-4, annex 1: a 0 dBFS sine of 997 Hz in one front channel reads -3.01.
        let lufs = loudness(&sine(1.0, 997.0, 0.0, 10.0)).expect("not silent");
        assert!((lufs + 3.01).abs() < 0.01, "{lufs}");
    }

    #[test]
    fn peaks_between_the_samples_count() {
        // EBU Tech 3341, case 16: a quarter of the rate at 45 degrees, amplitude 0.5: -6.0 +0.2/-0.4.
        let peak = true_peak(&sine(0.5, 12_000.0, 45.0, 1.0)).expect("not silent");
        assert!((-6.4..=-5.8).contains(&peak), "{peak}");
    }

    #[test]
    fn silence_has_no_loudness() {
        assert_eq!(loudness(&sine(0.0, 997.0, 0.0, 2.0)), None);
        assert_eq!(true_peak(&sine(0.0, 997.0, 0.0, 2.0)), None);
    }
}
