//! RIFF/WAVE files of PCM samples, through the `hound` library.

use std::io::{Read, Seek, Write};

use hound::{SampleFormat, WavReader, WavSpec, WavWriter};

use super::{Pcm, PcmError, SampleRate};

/// Why sound could not be written or read.
#[derive(Debug, thiserror::Error)]
pub enum WavError {
    /// The file could not be written or read, or is no WAV file that this can read.
    #[error("WAV: {0}")]
    File(#[from] hound::Error),
    /// The samples in it are no sound.
    #[error(transparent)]
    Samples(#[from] PcmError),
    /// The header gives a rate of zero.
    #[error("WAV: a rate of zero")]
    NoRate,
}

/// Writes `pcm` as 16-bit PCM. Samples beyond full scale are held at full scale.
///
/// # Errors
/// When `out` cannot be written, or the sound is longer than a WAV file can be (4 GiB).
pub fn write(pcm: &Pcm, out: impl Write + Seek) -> Result<(), WavError> {
    let spec = WavSpec {
        channels: pcm.channels(),
        sample_rate: pcm.rate().hz(),
        bits_per_sample: 16,
        sample_format: SampleFormat::Int,
    };
    let mut writer = WavWriter::new(out, spec)?;
    for &sample in pcm.samples() {
        writer.write_sample(quantised(sample))?;
    }
    Ok(writer.finalize()?)
}

/// Reads a WAV file of integer or float samples.
///
/// # Errors
/// When it is no such file, or its samples are no sound.
pub fn read(input: impl Read) -> Result<Pcm, WavError> {
    let mut reader = WavReader::new(input)?;
    let spec = reader.spec();
    let samples: Result<Vec<f32>, hound::Error> = match spec.sample_format {
        SampleFormat::Float => reader.samples::<f32>().collect(),
        SampleFormat::Int => {
            let scale = 0.5_f64.powi(i32::from(spec.bits_per_sample) - 1);
            reader
                .samples::<i32>()
                .map(|sample| sample.map(|value| narrowed(f64::from(value) * scale)))
                .collect()
        }
    };
    let rate = SampleRate::new(spec.sample_rate).ok_or(WavError::NoRate)?;
    Ok(Pcm::new(rate, spec.channels, samples?)?)
}

#[expect(
    clippy::cast_possible_truncation,
    reason = "clamped to sixteen bits before the cast"
)]
fn quantised(sample: f32) -> i16 {
    (sample * 32_768.0).round().clamp(-32_768.0, 32_767.0) as i16
}

#[expect(
    clippy::cast_possible_truncation,
    reason = "a sample keeps the 24 bits that it has as single precision"
)]
fn narrowed(sample: f64) -> f32 {
    sample as f32
}

#[cfg(test)]
mod tests {
    use std::io::Cursor;

    use super::*;

    fn written(samples: Vec<f32>) -> Vec<u8> {
        let mut file = Cursor::new(Vec::new());
        let pcm = Pcm::new(SampleRate::HZ_48000, 2, samples).expect("finite");
        write(&pcm, &mut file).expect("memory can be written");
        file.into_inner()
    }

    #[test]
    fn sound_comes_back_to_half_a_step() {
        let samples: Vec<f32> = (-400..400).map(|n| n as f32 / 400.0).collect();
        let back = read(Cursor::new(written(samples.clone()))).expect("our own file");
        assert_eq!(back.channels(), 2);
        assert_eq!(back.rate(), SampleRate::HZ_48000);
        for (before, after) in samples.iter().zip(back.samples()) {
            assert!((before - after).abs() <= 0.5 / 32_768.0, "{before} {after}");
        }
    }

    #[test]
    fn bytes_are_those_of_the_format() {
        // Three 16-bit stereo frames at 48 kHz after "Multimedia Programming Interface and Data
        // Specifications 1.0" (IBM and Microsoft, 1991), written out by hand.
        let frames = [0_i16, 1, -1, 32_767, -32_768, 256];
        let expected = b"RIFF\x30\0\0\0WAVEfmt \x10\0\0\0\x01\0\x02\0\x80\xbb\0\0\0\xee\x02\0\
            \x04\0\x10\0data\x0c\0\0\0\0\0\x01\0\xff\xff\xff\x7f\0\x80\0\x01";
        let bytes = written(frames.iter().map(|&x| f32::from(x) / 32_768.0).collect());
        assert_eq!(bytes, expected);
    }

    #[test]
    fn beyond_full_scale_is_held() {
        let back = read(Cursor::new(written(vec![1.5, -1.5]))).expect("our own file");
        assert_eq!(back.samples(), [32_767.0 / 32_768.0, -1.0]);
    }

    #[test]
    fn bytes_that_are_no_file_are_refused() {
        assert!(matches!(read(Cursor::new(b"RIFF")), Err(WavError::File(_))));
        let whole = written(vec![0.25; 64]);
        for end in 0..whole.len() {
            assert!(read(Cursor::new(&whole[..end])).is_err(), "cut at {end}");
        }
    }
}
