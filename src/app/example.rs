//! How a question sounds, as a whole: for a file, where nothing is played and nobody answers.

use super::player::Rendering;
use crate::pcm::{Pcm, SampleRate, join};
use crate::quiz::{Playing, Question};
use crate::world::Seed;

/// How often what goes round and round goes round.
const N_ROUNDS: usize = 3;

/// The sound of a question as it is asked: its phrase, or its phrase under each clapping, one after
/// the other; what goes round until it is answered goes round three times.
pub fn example(question: &Question, rate: SampleRate, seed: Seed) -> Pcm {
    let playing = question.playing();
    let once = Rendering::of(&question.sounds(), playing, rate, seed).into_pcm();
    let once = once.expect("phrases are rendered whole");
    match playing {
        Playing::Once => once,
        Playing::Round => join(&[&once; N_ROUNDS], 0).unwrap_or(once),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::deck::built_in_named;
    use crate::sound::{render, render_loop};

    fn question(id: &str) -> Question {
        let path = built_in_named("path").expect("it comes with the program");
        let is_it = |e: &&crate::deck::Exercise| &*e.skill.0 == id;
        let exercise = path.exercises().iter().find(is_it).expect("an exercise");
        let (form, recipe) = (
            &exercise.form,
            exercise.material.recipe().expect("it is made"),
        );
        Question::ask(form, recipe, exercise.levels.criterion(), &[], Seed(3)).expect("a question")
    }

    #[test]
    fn every_clapping_sounds_after_the_other() {
        let question = question("path/which-clapping");
        let sounds = question.sounds();
        assert!(sounds.len() > 1);
        let rate = SampleRate::HZ_48000;
        let frames = sounds
            .iter()
            .map(|sound| render(sound, rate, Seed(3)).n_frames().0);
        // 0.9 s of silence between two of them.
        let expected = frames.sum::<u64>() + (sounds.len() as u64 - 1) * 43_200;
        assert_eq!(example(&question, rate, Seed(3)).n_frames().0, expected);
    }

    #[test]
    fn what_goes_round_goes_round_three_times() {
        let question = question("path/start-taps");
        let rate = SampleRate::HZ_48000;
        let once = render_loop(question.phrase(), rate, Seed(3)).n_frames().0;
        assert_eq!(example(&question, rate, Seed(3)).n_frames().0, 3 * once);
    }
}
