//! What the learner is shown, and may hear, after an answer.
//!
//! Everything is said in words and numerals: the marks of the layers are `3` and `2`, a stroke
//! without an accent is `|`, an accent of a voice that leans to neither is `x`, silence is `.`. No
//! colour is needed to read it.

use crate::accent::{self, Floor, Lean, Profile};
use crate::phrase::{Phrase, Row, Touch, Turning, Voice};
use crate::rhythm::{Counting, Cycle, Feel, Layer, Pulse, Tick};

use super::hands::{
    Asked, both, own_claps, played, right_claps, rows, sounding, verdict_words, what_was_done,
    what_was_missed, what_was_silent,
};
use super::kind::{
    catch_turn, find_start, fit_clapping, mark_accents, name_clapping, name_feel, name_voice,
    whose_stroke,
};
use super::question::{Given, Question, Task, Verdict};
use super::{Answer, By, Hands, Miss, Owner, Tap};

/// What is shown and may be heard after an answer.
#[derive(Clone, Debug, PartialEq)]
pub struct Reveal {
    /// Whether the answer was right.
    pub right: bool,
    /// Right or not, what was true and what was answered, in words.
    pub verdict: String,
    /// In what way it was wrong; `None` where it was right.
    pub miss: Option<Miss>,
    /// What gave it away.
    pub reason: String,
    /// The names of the counts.
    pub counts: Vec<String>,
    /// Each voice as it sounded.
    pub rows: Vec<GridRow>,
    /// The answer given, laid over it, where it can be clapped; of hands, what was asked as well.
    pub you: Vec<GridRow>,
    /// The phrase under the claps of the truth.
    pub as_it_is: Phrase,
    /// The phrase under the claps of the answer given, where that differs and can be clapped.
    pub as_answered: Option<Phrase>,
    /// The phrase under the right claps and the learner's own, where they clapped.
    pub together: Option<Phrase>,
}

/// One row of the grid of the cycle.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct GridRow {
    /// Whose row it is.
    pub name: &'static str,
    /// One mark a pulse, for each cycle.
    pub cycles: Vec<Vec<char>>,
    /// What else is known of it, in words.
    pub aside: String,
}

impl GridRow {
    /// Its marks in this cycle; the last cycle's for all that follow.
    pub fn marks(&self, cycle_idx: usize) -> &[char] {
        self.cycles
            .get(cycle_idx)
            .or(self.cycles.last())
            .map_or(&[], Vec::as_slice)
    }
}

impl Reveal {
    /// Explains a question after its verdict.
    pub fn of(question: &Question, verdict: Verdict, given: &Given, counting: Counting) -> Self {
        let reveal = Self::of_answer(question, verdict, counting);
        match (question.asked(), given) {
            (Some(asked), Given::Taps(taps, hands)) => {
                reveal.of_hands(question, asked, (taps, *hands), counting)
            }
            _ => reveal,
        }
    }

    /// What a question is about, for who only listens.
    pub fn told(question: &Question, counting: Counting) -> Self {
        let truth = question.truth();
        let verdict = Verdict {
            answer: truth,
            right: true,
        };
        Self {
            verdict: sentence(&answer_words(question, truth, counting)),
            ..Self::of_answer(question, verdict, counting)
        }
    }

    /// What hands did, in words, as rows and as a sound.
    fn of_hands(
        self,
        question: &Question,
        asked: &Asked,
        (taps, hands): (&[Tap], Hands),
        counting: Counting,
    ) -> Self {
        let phrase = question.phrase();
        let played = played(phrase, asked, taps, hands);
        let silent = what_was_silent(asked).into_iter();
        let done = silent.chain([what_was_done(&played, hands)]);
        let done = done.collect::<Vec<_>>().join(" ");
        let right = right_claps(phrase, asked);
        let own = (!taps.is_empty()).then(|| own_claps(phrase, taps, &played));
        Self {
            verdict: verdict_words(self.right, asked, &played, counting),
            miss: (!self.right).then(|| what_was_missed(asked, &played)),
            reason: format!("{} {done}", self.reason).trim().to_owned(),
            rows: as_it_sounded(self.rows, question, asked),
            you: rows(phrase, asked, taps, &played),
            together: own.as_ref().map(|own| both(phrase, &right, own)),
            as_answered: own,
            as_it_is: right,
            ..self
        }
    }

    fn of_answer(question: &Question, verdict: Verdict, counting: Counting) -> Self {
        let phrase = question.phrase();
        let (truth, touch) = (claps(question, question.truth()), touch(question));
        let answered = claps(question, verdict.answer);
        let differs = !verdict.right && !answered.is_empty();
        let level_db = question.measured().level().decibels();
        let floor = Floor::at_level(level_db);
        Self {
            right: verdict.right,
            verdict: in_words(question, verdict, counting),
            miss: Miss::of_choice(question, verdict),
            reason: reason(question, counting),
            counts: phrase
                .cycle
                .pulses()
                .map(|p| counting.name(phrase.cycle, p))
                .collect(),
            rows: grid(phrase, question.measured().rows(), floor)
                .into_iter()
                .chain(rows_beside(question))
                .chain(marked_row(question))
                .collect(),
            you: differs
                .then(|| your_row(verdict.answer, &answered))
                .into_iter()
                .collect(),
            as_it_is: phrase.clapped(&truth, touch),
            as_answered: differs.then(|| phrase.clapped(&answered, touch)),
            together: None,
        }
    }
}

/// `on 1, 3 and 5`.
pub(super) fn on_counts(layer: Layer, counting: Counting) -> String {
    format!("on {}", counting.list(layer))
}

/// Begins with a capital and ends with a full stop.
pub(super) fn sentence(text: &str) -> String {
    let mut chars = text.chars();
    let first = chars.next().into_iter().flat_map(char::to_uppercase);
    first.chain(chars).chain(['.']).collect()
}

fn in_words(question: &Question, verdict: Verdict, counting: Counting) -> String {
    let truth = answer_words(question, question.truth(), counting);
    if verdict.right && verdict.answer != question.truth() {
        let said = answer_words(question, verdict.answer, counting);
        return format!("Right, near enough: {truth}. Your answer was: {said}.");
    }
    if verdict.right {
        return format!("Right: {truth}.");
    }
    match verdict.answer {
        Answer::Marks(marked) => {
            let Task::MarkAccents { truth: layer, .. } = question.task else {
                return format!("Not this time: {truth}.");
            };
            let said = mark_accents::differences(layer, marked, counting);
            format!("Not this time: {truth}. {said}")
        }
        Answer::Start(None) => {
            format!("Not this time: {truth}. Your taps did not settle on one count.")
        }
        answer => {
            let said = answer_words(question, answer, counting);
            format!(
                "Not this time: {truth}. Your answer was: {said}.{}",
                turned(question, verdict, counting)
            )
        }
    }
}

/// How far the tapped start was from the true one.
fn turned(question: &Question, verdict: Verdict, counting: Counting) -> String {
    match (&question.task, verdict.answer) {
        (Task::FindStart { by: By::Taps }, Answer::Start(Some(pulse))) => {
            let cycle = question.phrase().cycle;
            let one = counting.name(cycle, cycle.first());
            let plural = if pulse == 1 { "pulse" } else { "pulses" };
            format!(" That is {pulse} {plural} after {one}.")
        }
        _ => String::new(),
    }
}

fn answer_words(question: &Question, answer: Answer, counting: Counting) -> String {
    let cycle = question.phrase().cycle;
    let name = |pulse: u8| counting.name(cycle, cycle.pulse_at(i64::from(pulse)));
    match (answer, &question.task) {
        (Answer::Feel(feel), _) => feel.words().to_owned(),
        (Answer::Start(None), _) => "nowhere".to_owned(),
        (Answer::Start(Some(pulse)), Task::FindStart { by: By::Taps }) => {
            format!("the cycle begins on what is counted {}", name(pulse))
        }
        (Answer::Start(Some(pulse)), _) => format!("it came in on {}", name(pulse)),
        (Answer::Clapping(layer) | Answer::Hands(Some(layer)), _) => {
            format!("claps {}", on_counts(layer, counting))
        }
        (Answer::Hands(None), _) => "no layer held".to_owned(),
        (Answer::Pair([left, right]), Task::TwoHands(_)) => {
            let hand = |layer| answer_words(question, Answer::Hands(layer), counting);
            format!("left hand {}, right hand {}", hand(left), hand(right))
        }
        (Answer::Pair(layers), _) => {
            let each = layers.map(|layer| answer_words(question, Answer::Hands(layer), counting));
            each.join(", then ")
        }
        (Answer::Marks(Some(layer)), _) => format!("accents {}", on_counts(layer, counting)),
        (Answer::Marks(None), _) => "no accent".to_owned(),
        (Answer::Turn(at), task) => catch_turn::words(at, turning(task)),
        (Answer::Owner(owner), _) => match owner {
            Owner::Both => "it was a stroke of both".to_owned(),
            Owner::Neither => "it was no stroke of either".to_owned(),
            one => format!("it was a stroke of {}", one.words()),
        },
    }
}

fn reason(question: &Question, counting: Counting) -> String {
    if question.passage().is_some() {
        return match question.task {
            Task::FindStart { .. } => "Its cycles begin where they did as it was cut.".to_owned(),
            _ => "That is how it was marked by ear.".to_owned(),
        };
    }
    match &question.task {
        // Where nothing stands out there is nothing to say beside what hands did.
        Task::Clap(_) | Task::TwoHands(_) if question.phrase().feel == Feel::Either => {
            String::new()
        }
        Task::NameFeel { .. } | Task::Clap(_) | Task::TwoHands(_) => {
            name_feel::reason(question, counting)
        }
        Task::MarkAccents { of, .. } => fit_clapping::reason(question, *of, counting),
        Task::NameVoice { .. } => name_voice::reason(question, counting),
        Task::NameClapping { truth, .. } => name_clapping::reason(*truth, counting),
        Task::CatchTurn { .. } => catch_turn::reason(question, counting),
        Task::WhoseStroke { pulse } => whose_stroke::reason(question, *pulse, counting),
        Task::FindStart { .. } => find_start::reason(question, counting),
        Task::FitClapping { to, .. } => fit_clapping::reason(question, *to, counting),
    }
}

fn turning(task: &Task) -> Turning {
    match task {
        Task::CatchTurn { turning, .. } => *turning,
        _ => Turning::Once,
    }
}

/// The claps that state an answer, cycle by cycle.
fn claps(question: &Question, answer: Answer) -> Vec<Layer> {
    match (answer, &question.task) {
        (Answer::Feel(feel), Task::NameVoice { .. }) => name_voice::claps(question, feel),
        (Answer::Feel(feel), _) => name_feel::claps(question, feel),
        (Answer::Turn(at), task) => catch_turn::claps(question, at, turning(task)),
        (Answer::Marks(layer), _) => layer.into_iter().collect(),
        (Answer::Start(_), Task::FindStart { by }) => find_start::claps(question, answer, *by),
        (Answer::Start(_), _) => Vec::new(),
        (Answer::Clapping(layer) | Answer::Hands(Some(layer)), _) => vec![layer],
        (Answer::Owner(owner), _) => whose_stroke::claps(question, owner),
        (Answer::Hands(None) | Answer::Pair(_), _) => Vec::new(),
    }
}

/// Bright claps for a single stroke a cycle, dull ones for a layer.
fn touch(question: &Question) -> Touch {
    match question.task {
        Task::FindStart { .. } => Touch::Clara,
        _ => Touch::Sorda,
    }
}

/// The grid of a phrase: what each voice does on each pulse of each cycle.
pub fn grid(phrase: &Phrase, rows: &[Row], floor: Floor) -> Vec<GridRow> {
    rows.iter()
        .map(|row| grid_row(phrase, row, floor))
        .collect()
}

fn grid_row(phrase: &Phrase, row: &Row, floor: Floor) -> GridRow {
    let cycle_marks = |(idx, profile): (usize, &Profile)| {
        let sign = match (phrase.feel, accent::lean(profile, floor)) {
            (Feel::Mixed, _) | (_, Lean::Silent(_) | Lean::Unclear) => 'x',
            (_, Lean::Threes(_)) => '3',
            (_, Lean::Twos(_)) => '2',
        };
        let layer = Row::standing_out(profile);
        let mark = |pulse: Pulse| match layer {
            Some(layer) if layer.contains(pulse) => sign,
            _ if sounds(phrase, row.voice, idx, pulse) => '|',
            _ => '.',
        };
        profile.cycle().pulses().map(mark).collect()
    };
    GridRow {
        name: row.voice.words(),
        cycles: row.cycles.iter().enumerate().map(cycle_marks).collect(),
        aside: low_notes(phrase, row),
    }
}

/// The mark of a layer that is clapped: `3` or `2` where it goes on evenly so, round the cycle.
pub(super) fn sign_of(layer: Layer) -> char {
    let goes_by = |every: usize| layer.gaps().iter().all(|gap| *gap == every);
    match layer {
        _ if goes_by(3) => '3',
        _ if goes_by(2) => '2',
        _ => 'x',
    }
}

/// What a person marked in a recording.
fn marked_row(question: &Question) -> Option<GridRow> {
    let layers = question.passage()?.layers()?;
    let marks = |layer: &Layer| {
        let sign = sign_of(*layer);
        let mark = |pulse| if layer.contains(pulse) { sign } else { '.' };
        layer.cycle().pulses().map(mark).collect()
    };
    Some(GridRow {
        name: "marked",
        cycles: layers.iter().map(marks).collect(),
        aside: "as it was marked by ear".to_owned(),
    })
}

/// What sounds beside the guitar and is asked about or calls: the claps that are to be named, and a
/// bell.
fn rows_beside(question: &Question) -> Vec<GridRow> {
    let sounds = question.sounds();
    // Under several clappings there is no one sound.
    let [sound] = sounds.as_slice() else {
        return Vec::new();
    };
    let is_measured = |voice: Voice| {
        let mut rows = question.measured().rows().iter();
        rows.any(|row| row.voice == voice)
    };
    let is_asked = |voice: &Voice| match voice {
        Voice::Claps => matches!(question.task, Task::NameClapping { .. }),
        voice => !is_measured(*voice),
    };
    let is_there = |voice: &Voice| sound.notes.iter().any(|note| note.voice == *voice);
    [Voice::Claps, Voice::Bell]
        .into_iter()
        .filter(|voice| is_asked(voice) && is_there(voice))
        .map(|voice| match question.task {
            Task::WhoseStroke { pulse } if voice == Voice::Bell => marking_row(sound.cycle, pulse),
            _ => stroke_row(sound, voice),
        })
        .collect()
}

/// The pulse that a bell marks: in every cycle, so that the picture shows it whichever is looked at.
fn marking_row(cycle: Cycle, marked: Pulse) -> GridRow {
    let mark = |pulse| if pulse == marked { 'x' } else { '.' };
    GridRow {
        name: Voice::Bell.words(),
        cycles: vec![cycle.pulses().map(mark).collect()],
        aside: "from cycle 2 on".to_owned(),
    }
}

/// Where a voice sounds.
fn stroke_row(sound: &Phrase, voice: Voice) -> GridRow {
    let marks = |idx: usize| {
        let mark = |pulse: Pulse| {
            if sounds(sound, voice, idx, pulse) {
                'x'
            } else {
                '.'
            }
        };
        sound.cycle.pulses().map(mark).collect()
    };
    let n_cycles = usize::try_from(sound.n_cycles).unwrap_or(usize::MAX);
    GridRow {
        name: voice.words(),
        cycles: (0..n_cycles).map(marks).collect(),
        aside: String::new(),
    }
}

/// The rows without what was left silent while hands went on.
fn as_it_sounded(mut rows: Vec<GridRow>, question: &Question, asked: &Asked) -> Vec<GridRow> {
    let (phrase, sound) = (question.phrase(), sounding(question.phrase(), asked));
    // Rows beside those of the guitar are of the sound already.
    for (row, voice) in rows.iter_mut().zip(question.measured().rows()) {
        for (idx, marks) in row.cycles.iter_mut().enumerate() {
            for (mark, pulse) in marks.iter_mut().zip(phrase.cycle.pulses()) {
                let in_phrase = |of: &Phrase| sounds(of, voice.voice, idx, pulse);
                if in_phrase(phrase) && !in_phrase(&sound) {
                    *mark = '.';
                }
            }
        }
    }
    rows
}

/// Whether a voice sounds on a pulse, in the frame of the cycle.
fn sounds(phrase: &Phrase, voice: Voice, cycle_idx: usize, pulse: Pulse) -> bool {
    let n_pulses = phrase.cycle.n_pulses();
    let loop_pulses = i64::from(phrase.n_cycles) * i64::try_from(n_pulses).unwrap_or(1);
    let wanted = i64::try_from(cycle_idx * n_pulses + pulse.idx()).unwrap_or(0);
    let here = |at: Tick| {
        at == Tick::of_pulse(at.pulse_idx()) && at.pulse_idx().rem_euclid(loop_pulses) == wanted
    };
    phrase
        .notes
        .iter()
        .any(|note| note.voice == voice && here(note.at))
}

/// The names of the first low notes.
fn low_notes(phrase: &Phrase, row: &Row) -> String {
    const SHOWN: usize = 3;
    const CLASSES: [&str; 12] = [
        "C", "C#", "D", "Eb", "E", "F", "F#", "G", "G#", "A", "Bb", "B",
    ];
    if row.voice != Voice::Bass {
        return String::new();
    }
    let pitches = phrase.notes.iter().filter(|note| note.voice == Voice::Bass);
    let name = |pitch: u8| {
        let class = CLASSES
            .get(usize::from(pitch % 12))
            .copied()
            .unwrap_or_default();
        format!("{class}{}", i16::from(pitch / 12) - 1)
    };
    let names: Vec<String> = pitches
        .filter_map(|note| note.pitch)
        .take(SHOWN)
        .map(|pitch| name(pitch.0))
        .collect();
    names.join(" ")
}

/// What comes behind the cycle that is seen first, where claps turn.
fn then_in_words(claps: &[Layer]) -> String {
    let turns = claps.windows(2).position(|pair| pair[0] != pair[1]);
    let turned = turns.and_then(|at| Some((at + 2, claps.get(at + 1)?)));
    turned.map_or_else(String::new, |(cycle, layer)| {
        let side = match sign_of(*layer) {
            '3' => "threes",
            _ => "twos",
        };
        format!("then {side}, from cycle {cycle}")
    })
}

fn your_row(answer: Answer, claps: &[Layer]) -> GridRow {
    let sign = |layer: Layer| match answer {
        Answer::Feel(Feel::Threes) => '3',
        Answer::Feel(Feel::Twos) => '2',
        Answer::Feel(Feel::InTurn) | Answer::Turn(_) if layer == Layer::every(layer.cycle(), 3) => {
            '3'
        }
        Answer::Feel(Feel::InTurn) | Answer::Turn(_) => '2',
        _ => 'x',
    };
    let marks = |layer: &Layer| {
        let mark = |pulse| {
            if layer.contains(pulse) {
                sign(*layer)
            } else {
                '.'
            }
        };
        layer.cycle().pulses().map(mark).collect()
    };
    GridRow {
        name: "you",
        cycles: claps.iter().map(marks).collect(),
        aside: match answer {
            Answer::Start(_) => "where each cycle would begin".to_owned(),
            Answer::Feel(Feel::InTurn) => then_in_words(claps),
            _ => "your answer, laid over it".to_owned(),
        },
    }
}
