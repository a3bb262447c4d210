//! Putting claps on a phrase, and sounds one after another.

use crate::pcm::{Frame, Pcm, PcmError};
use crate::phrase::{Loudness, Note, Phrase, Touch, Voice};
use crate::rhythm::{Layer, Tick, Ticks};

/// The same phrase with a clap of kind `touch` on every pulse of `layer`, in every cycle, from where
/// the phrase begins to where it ends. Claps that it has already stay.
///
/// A layer of another cycle goes on in its own length from the first count.
#[must_use]
pub fn claps(phrase: &Phrase, layer: Layer, touch: Touch) -> Phrase {
    let pulses = phrase.begins().pulse_idx()..phrase.ends().pulse_idx();
    let clapped = pulses
        .filter(|&idx| layer.contains(layer.cycle().pulse_at(idx)))
        .map(|idx| Note {
            at: Tick::of_pulse(idx),
            delay: 0,
            length: Ticks::of_pulses(1),
            voice: Voice::Claps,
            pitch: None,
            loudness: Loudness(0),
            touch,
        });
    let mut with_claps = phrase.clone();
    with_claps.notes.extend(clapped);
    // Stable, so that notes of one tick keep their order.
    with_claps.notes.sort_by_key(|note| note.at);
    with_claps
}

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
    use crate::rhythm::{Cycle, Feel, Tempo};

    #[track_caller]
    fn check(entry: i64, layer: &[i64], expected: &[i64]) {
        let phrase = Phrase {
            cycle: Cycle::SIX,
            tempo: Tempo::of_pulses_a_minute(160).expect("in range"),
            n_cycles: 2,
            entry,
            feel: Feel::Twos,
            notes: Vec::new(),
        };
        let layer = Layer::of(Cycle::SIX, layer).expect("a layer of six");
        let clapped = claps(&phrase, layer, Touch::Sorda);
        let at: Vec<i64> = clapped
            .notes
            .iter()
            .map(|note| note.at.pulse_idx())
            .collect();
        assert_eq!(at, expected);
    }

    #[test]
    fn claps_fall_on_their_layer_inside_the_phrase() {
        check(0, &[0, 3], &[0, 3, 6, 9]);
        check(0, &[0, 2, 4], &[0, 2, 4, 6, 8, 10]);
        check(2, &[0, 3], &[3, 6, 9, 12]);
        check(-1, &[0, 5], &[-1, 0, 5, 6]);
    }

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
