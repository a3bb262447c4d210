//! Sounds one after another.

use super::{Frame, Pcm, PcmError};

/// Why sounds cannot follow one another.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum JoinError {
    /// There is nothing to join.
    #[error("no sound to join")]
    Nothing,
    /// They differ in rate or channels.
    #[error("sounds of different rate or channels cannot be joined")]
    Unlike,
    /// What came of it is no sound.
    #[error(transparent)]
    Samples(#[from] PcmError),
}

/// The sounds one after another, with `silence_micros` microseconds of silence between them.
///
/// # Errors
/// When there is none, or they differ in rate or channels.
pub fn join(sounds: &[&Pcm], silence_micros: u32) -> Result<Pcm, JoinError> {
    let (first, others) = sounds.split_first().ok_or(JoinError::Nothing)?;
    let form = |pcm: &Pcm| (pcm.rate(), pcm.channels());
    if others.iter().any(|pcm| form(pcm) != form(first)) {
        return Err(JoinError::Unlike);
    }
    let Frame(n_silent) = first.rate().frame_at(i64::from(silence_micros));
    let n_silent = usize::try_from(n_silent).unwrap_or(0) * usize::from(first.channels());
    let mut samples = first.samples().to_vec();
    for pcm in others {
        samples.resize(samples.len() + n_silent, 0.0);
        samples.extend_from_slice(pcm.samples());
    }
    Ok(Pcm::new(first.rate(), first.channels(), samples)?)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::pcm::SampleRate;

    #[test]
    fn sounds_follow_one_another() {
        let sound = |value| Pcm::stereo(SampleRate::HZ_48000, vec![value; 4]);
        let joined = join(&[&sound(0.1), &sound(0.2)], 21).expect("alike");
        assert_eq!(
            joined.samples(),
            [0.1, 0.1, 0.1, 0.1, 0.0, 0.0, 0.2, 0.2, 0.2, 0.2]
        );
        let mono = Pcm::new(SampleRate::HZ_48000, 1, vec![0.0]).expect("finite");
        assert_eq!(join(&[&sound(0.1), &mono], 0), Err(JoinError::Unlike));
        assert_eq!(join(&[], 0), Err(JoinError::Nothing));
    }
}
