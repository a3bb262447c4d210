//! What a teacher's report asks of decks, of sound and of the class store.
//!
//! A phrase does not travel with its attempt; exercise, level, seed and version of the generator name
//! it, and [`again`] makes it from these. What a learner wished of phrases and how hands were helped is
//! not kept, so that all ways in which the exercise could have been asked are tried, and that is taken
//! whose truth and tempo are those of the attempt.

mod reckon;

use crate::accent::Cue;
use crate::deck::{Deck, Exercise};
use crate::pcm::{Pcm, SampleRate, join};
use crate::phrase::{GENERATOR, Loudness, Note, Pacing, Phrase, Recipe, Third, Touch, Voice, Wish};
use crate::quiz::judge::Place;
use crate::quiz::{
    Attempt, Call, Form, Given, Habit, Hands, KeptTap, Playing, Question, Reveal, Tap, Verdict,
};
use crate::report::class::{Lesson, Moment, Syllabus};
use crate::rhythm::{Counting, PulseMap, Tick, Ticks};

use super::player::Rendering;
use super::{Course, example};

pub use reckon::{Whose, class_report, is_judged};

/// What a report has to know of `decks`; work is set from `course`.
pub fn syllabus(course: &Course, decks: &[Deck]) -> Syllabus {
    let exercises = decks.iter().flat_map(Deck::exercises);
    let lessons = exercises.map(|exercise| (exercise.skill.clone(), lesson(exercise)));
    let own = (0..course.len()).filter_map(|idx| course.exercise(idx));
    let own = own.map(|exercise| (exercise.skill.clone(), lesson(exercise)));
    Syllabus {
        lessons: lessons.chain(own).collect(),
        candidates: course.candidates(),
        new_a_day: course.new_a_day(),
    }
}

fn lesson(exercise: &Exercise) -> Lesson {
    let material = &exercise.material;
    let is_steady = material
        .recipe()
        .is_some_and(|recipe| recipe.pacing() == Pacing::Steady);
    let followed = match exercise.form {
        Form::Clap {
            place,
            call: Call::None,
            ..
        } => Some(place),
        Form::TwoHands {
            call: Call::None, ..
        } => Some(Place::On),
        _ => None,
    };
    Lesson {
        title: exercise.title.to_string(),
        cycle: material.cycle(),
        counting: material.counting(),
        followed: followed.filter(|_| is_steady),
    }
}

/// Why a phrase cannot be made again.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NotAgain {
    /// No deck that is here has its exercise.
    #[error("no deck that is here has this exercise; give it by --deck")]
    Unknown,
    /// It was a passage of a recording.
    #[error("it was asked of a recording, which is the learner's")]
    Recording,
    /// Another version of the generator made it.
    #[error("it was made by version {0} of the generator, and this is version {GENERATOR}")]
    Generator(u32),
    /// The exercise makes another phrase from its seed.
    #[error("the exercise has changed since: from this seed it makes another phrase")]
    Changed,
}

/// The question of a moment as it was asked, made from its exercise; `None` where no deck has that.
///
/// # Errors
/// When it cannot be made again.
pub fn again(moment: &Moment, exercise: Option<&Exercise>) -> Result<Question, NotAgain> {
    let attempt = &moment.attempt;
    let exercise = exercise.ok_or(NotAgain::Unknown)?;
    let recipe = exercise.material.recipe().ok_or(NotAgain::Recording)?;
    if attempt.generator != GENERATOR {
        return Err(NotAgain::Generator(attempt.generator));
    }
    // Where other answers were offered, truth and tempo may agree by chance.
    if exercise.material.alternatives(&exercise.form) != attempt.alternatives {
        return Err(NotAgain::Changed);
    }
    let asked = |(form, recipe): (Form, Recipe)| {
        let lately = &moment.lately;
        let question = Question::ask(&form, &recipe, attempt.level, lately, attempt.seed).ok()?;
        is_it(&question, attempt).then_some(question)
    };
    let mut ways = ways(&exercise.form, recipe);
    ways.find_map(asked).ok_or(NotAgain::Changed)
}

fn is_it(question: &Question, attempt: &Attempt) -> bool {
    question.kind() == attempt.kind
        && question.truth() == attempt.truth
        && question.phrase().tempo() == attempt.tempo
}

/// The ways in which an exercise may have been asked, the usual ones first.
fn ways(form: &Form, recipe: &Recipe) -> impl Iterator<Item = (Form, Recipe)> {
    let thirds = Third::ALL.map(Some);
    let tempi = std::iter::once(None).chain(thirds);
    let cues: Vec<Option<Cue>> = std::iter::once(None).chain(Cue::ALL.map(Some)).collect();
    let wishes = cues
        .into_iter()
        .flat_map(move |cue| tempi.clone().map(move |tempo| Wish { cue, tempo }));
    let is_possible = {
        let recipe = recipe.clone();
        move |wish: &Wish| wish.cue.is_none_or(|cue| recipe.telling_by(cue).is_some())
    };
    let forms: Vec<Form> = std::iter::once(form.clone())
        .chain(form.led_longer())
        .collect();
    let recipe = recipe.clone();
    wishes.filter(is_possible).flat_map(move |wish| {
        let recipe = wish.upon(&recipe);
        forms
            .clone()
            .into_iter()
            .map(move |form| (form, recipe.clone()))
    })
}

/// Microseconds of silence between two parts of a sound.
const BETWEEN_MICROS: u32 = 900_000;

/// What a moment sounds like, and in words what was the matter and what is heard one after the other:
/// the question as it was asked, the same under the claps that were made or that the answer comes to,
/// and under the right ones.
pub fn sound_of(
    question: &Question,
    attempt: &Attempt,
    counting: Counting,
    rate: SampleRate,
) -> (Pcm, String) {
    let reveal = reveal_of(question, attempt, counting);
    let own = under_taps(question, attempt).or_else(|| reveal.as_answered.clone());
    let heard = match (question.is_tapped(), own.is_some()) {
        (true, true) => "as it was asked, under the taps that were made, and under the right claps",
        (false, true) => "as it was asked, under claps of the answer, and under the right ones",
        (_, false) => "as it was asked, and under the right claps",
    };
    let once = |phrase: &Phrase| {
        let phrases = std::slice::from_ref(phrase);
        Rendering::of(phrases, Playing::Once, rate, attempt.seed).into_pcm()
    };
    let asked = example(question, rate, attempt.seed);
    let mut parts = vec![asked.clone()];
    parts.extend(own.as_ref().and_then(once));
    parts.extend(once(&reveal.as_it_is));
    let parts: Vec<&Pcm> = parts.iter().collect();
    let joined = join(&parts, BETWEEN_MICROS).unwrap_or(asked);
    let told = format!("{} {}", reveal.verdict, reveal.reason);
    (joined, format!("{} Heard: {heard}.", told.trim()))
}

fn reveal_of(question: &Question, attempt: &Attempt, counting: Counting) -> Reveal {
    let verdict = Verdict {
        answer: attempt.answer,
        right: attempt.right,
    };
    let hands = match attempt.timing {
        Some(timing) => Hands::Tuned(Habit {
            lead_ms: timing.lead_ms,
            n: timing.n,
        }),
        None => Hands::Untuned,
    };
    Reveal::of(
        question,
        verdict,
        &Given::Taps(taps(attempt), hands),
        counting,
    )
}

fn taps(attempt: &Attempt) -> Vec<Tap> {
    let tap = |tap: &KeptTap| Tap {
        micros: i64::from(tap.ms) * 1_000,
        hand: tap.hand,
    };
    attempt.taps.iter().map(tap).collect()
}

/// What goes round and round, as often as it was tapped to, under the taps as they fell; `None` of what
/// does not, and where pulses are not steady, since one round is then not like the next.
fn under_taps(question: &Question, attempt: &Attempt) -> Option<Phrase> {
    /// Nobody listens for longer.
    const MOST_ROUNDS: i64 = 6;
    let phrase = question.phrase();
    let is_steady = phrase.pace.changes().is_empty();
    if question.playing() != Playing::Round || !is_steady {
        return None;
    }
    let map = PulseMap::of(phrase.pace.clone(), 0);
    let taps = taps(attempt);
    let ticks = taps.iter().map(|tap| map.tick_at(tap.micros));
    let claps: Vec<Note> = ticks.map(clap).collect();
    let last = claps.iter().map(|clap| clap.at.0).max()?;
    let round = phrase.ends().0 - phrase.begins().0;
    let n_rounds = ((last - phrase.begins().0).div_euclid(round) + 1).clamp(1, MOST_ROUNDS);
    let mut rounds = phrase.clone();
    rounds.n_cycles *= u32::try_from(n_rounds).unwrap_or(1);
    let again = (1..n_rounds).flat_map(|n| {
        let later = move |note: &Note| Note {
            at: Tick(note.at.0 + n * round),
            ..*note
        };
        phrase.notes.iter().map(later)
    });
    rounds.notes.extend(again);
    let whole = rounds.begins()..rounds.ends();
    rounds
        .notes
        .extend(claps.into_iter().filter(|clap| whole.contains(&clap.at)));
    rounds
        .notes
        .sort_by_key(|note| (note.at, note.delay, note.voice, note.pitch));
    Some(rounds)
}

fn clap(at: Tick) -> Note {
    Note {
        at,
        delay: 0,
        length: Ticks(120),
        voice: Voice::Claps,
        pitch: None,
        loudness: Loudness(0),
        touch: Touch::Sorda,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::deck::built_in_named;
    use crate::phrase::Level;
    use crate::quiz::{Answer, KeptTiming};
    use crate::report::class::Heard;
    use crate::review::any_attempt;
    use crate::world::Seed;

    fn path() -> Deck {
        built_in_named("path").expect("it comes with the program")
    }

    /// An attempt at a question, as a sitting keeps it, in a report.
    fn moment(exercise: &Exercise, question: &Question, lately: &[Answer]) -> Moment {
        let measured = question.measured();
        let attempt = Attempt {
            skill: exercise.skill.clone(),
            kind: question.kind(),
            level: exercise.levels.criterion(),
            truth: question.truth(),
            tempo: question.phrase().tempo(),
            alternatives: exercise.material.alternatives(&exercise.form),
            seed: measured.seed(),
            generator: GENERATOR,
            right: false,
            ..any_attempt(1)
        };
        Moment {
            attempt,
            lately: lately.to_vec(),
            title: String::new(),
            words: String::new(),
            heard: Heard::NotAsked,
        }
    }

    fn asked(exercise: &Exercise, form: &Form, recipe: &Recipe, lately: &[Answer]) -> Question {
        let level = exercise.levels.criterion();
        let question = |n| Question::ask(form, recipe, level, lately, Seed(n)).ok();
        (7..30).find_map(question).expect("a question")
    }

    #[test]
    fn every_question_of_the_path_is_made_again_as_it_was() {
        let deck = path();
        let mut n = 0;
        for exercise in deck.exercises() {
            let Some(recipe) = exercise.material.recipe() else {
                continue;
            };
            let first = asked(exercise, &exercise.form, recipe, &[]);
            let lately = [first.truth(); 3];
            let later = asked(exercise, &exercise.form, recipe, &lately);
            for (question, lately) in [(first, &[][..]), (later, &lately[..])] {
                let found = again(&moment(exercise, &question, lately), Some(exercise));
                // Where a start came three times running, another seed may stand in for its own.
                if lately.is_empty() || question.kind() != crate::quiz::Kind::FindStart {
                    assert_eq!(found, Ok(question), "{}", exercise.skill);
                }
                n += 1;
            }
        }
        assert!(n > 80, "{n}");
    }

    #[test]
    fn wishes_are_found_and_what_cannot_be_made_is_said() {
        let deck = path();
        let is_it = |exercise: &&Exercise| &*exercise.skill.0 == "path/plain";
        let exercise = deck.exercises().iter().find(is_it).expect("an exercise");
        let recipe = exercise.material.recipe().expect("it is made");
        let slow = recipe.in_third(Third::Slow);
        let question = asked(exercise, &exercise.form, &slow, &[]);
        let told = moment(exercise, &question, &[]);
        assert_eq!(again(&told, Some(exercise)), Ok(question));
        assert_eq!(again(&told, None), Err(NotAgain::Unknown));
        let mut other = told.clone();
        other.attempt.generator = GENERATOR + 1;
        let expected = Err(NotAgain::Generator(GENERATOR + 1));
        assert_eq!(again(&other, Some(exercise)), expected);
        let mut other = told;
        other.attempt.tempo = crate::rhythm::Tempo::of_hundredths(59_999).expect("in range");
        assert_eq!(again(&other, Some(exercise)), Err(NotAgain::Changed));
    }

    #[test]
    fn a_question_with_other_answers_is_not_taken_for_the_one_that_was_asked() {
        let text = include_str!("../../../exercises/path.toml");
        let shorter = text.replace("cycles = [9, 9]", "cycles = [6, 9]");
        let shorter = crate::deck::parse(&shorter).expect("a sound deck");
        let turn = |deck: &Deck| {
            let mut exercises = deck.exercises().iter();
            let turn = exercises.find(|exercise| &*exercise.skill.0 == "path/turn");
            turn.expect("an exercise").clone()
        };
        let (then, now) = (turn(&shorter), turn(&path()));
        let recipe = then.material.recipe().expect("it is made");
        for seed in 0..40 {
            let level = then.levels.criterion();
            let question = Question::ask(&then.form, recipe, level, &[], Seed(seed));
            let question = question.expect("a question");
            let told = moment(&then, &question, &[]);
            assert_eq!(again(&told, Some(&now)), Err(NotAgain::Changed), "{seed}");
            assert_eq!(again(&told, Some(&then)), Ok(question));
        }
    }

    #[test]
    fn claps_sound_where_they_were_made() {
        let deck = path();
        let is_it = |exercise: &&Exercise| &*exercise.skill.0 == "path/clap-threes";
        let exercise = deck.exercises().iter().find(is_it).expect("an exercise");
        let recipe = exercise.material.recipe().expect("it is made");
        let question = asked(exercise, &exercise.form, recipe, &[]);
        let mut attempt = moment(exercise, &question, &[]).attempt;
        attempt.level = Level::STRONGEST;
        let rate = SampleRate::HZ_48000;
        let taps = question.model_taps();
        let kept = |tap: &Tap| KeptTap {
            ms: i32::try_from(tap.micros / 1_000).expect("a few seconds"),
            hand: tap.hand,
        };
        // They stop half-way.
        attempt.taps = taps.iter().take(taps.len() / 2).map(kept).collect();
        attempt.timing = Some(KeptTiming {
            lead_ms: 0,
            spread_tenths: 10,
            pulse_ms: 300,
            n: 8,
        });
        let reveal = reveal_of(&question, &attempt, Counting::FromOne);
        let own = reveal
            .as_answered
            .expect("claps were made")
            .only(Voice::Claps);
        let map = PulseMap::of(question.phrase().pace.clone(), 0);
        let heard: Vec<i64> = own
            .notes
            .iter()
            .map(|note| map.micros_at(note.at))
            .collect();
        assert_eq!(heard.len(), attempt.taps.len());
        for (heard, tap) in heard.iter().zip(&attempt.taps) {
            // Within the tick in which they are laid, and a steady lead of a few milliseconds.
            let off = (heard - i64::from(tap.ms) * 1_000).abs();
            assert!(off < 30_000, "{off}");
        }
        let (_, told) = sound_of(&question, &attempt, Counting::FromOne, rate);
        assert!(told.contains("under the taps that were made"), "{told}");
    }
}
