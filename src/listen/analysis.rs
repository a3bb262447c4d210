//! From what is heard at pulses to the leans of cycles.

use std::ops::Range;

use crate::rhythm::Cycle;

use super::lean::{Cuts, Lean, MOST_LEAN, Shares, scores, shares, spoken, whole};
use super::notes::Notes;
use super::pulses::{Counted, Pulses};
use super::said::{CycleSaid, Said};
use super::sound::Sound;
use super::stream::{Heard, Part, Tells};
use super::stretch::{Stated, Stretches, can_tell};
use super::units::{mean, quantile, real};

/// Whether an answer may be that it is unclear.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Answers {
    /// Threes, twos, both or unclear.
    Open,
    /// Threes or twos, whichever has more for it.
    Forced,
}

/// A strength of [`Analysis::strengths`] in steps: 0 where nothing stands out, up to 3.
pub fn accent_steps(strength: f64) -> usize {
    [0.7, 2.0, 4.0]
        .into_iter()
        .filter(|least| strength > *least)
        .count()
}

/// A time as minutes and seconds, and as hours too from an hour on.
pub fn clock(seconds: f64) -> String {
    const AN_HOUR: f64 = 3_600.0;
    let whole = seconds.max(0.0).floor();
    let (hours, rest) = ((whole / AN_HOUR).floor(), whole % AN_HOUR);
    let (minutes, seconds) = ((rest / 60.0).floor(), rest % 60.0);
    match hours > 0.0 {
        true => format!("{hours}:{minutes:02}:{seconds:02}"),
        false => format!("{minutes}:{seconds:02}"),
    }
}

/// What is heard in a recording or in notes.
#[derive(Clone, Debug, PartialEq)]
pub struct Analysis {
    /// Pulses in a cycle.
    pub cycle: Cycle,
    /// When pulses sound, in seconds; the first is the first of a cycle.
    pub pulses: Vec<f64>,
    /// The cycles that are there whole.
    pub cycles: Vec<CycleSaid>,
    /// What is said of the whole.
    pub whole: Said,
    /// How strongly each part strikes on each pulse, over what is usual in it, in differences that can
    /// just be heard; in the order of [`Part::ALL`].
    pub strengths: Vec<[f64; 4]>,
    /// Cycles, by their place from 0, at which the lean passes from threes to twos or back.
    pub turns: Vec<usize>,
    /// Whether it passes so within cycles.
    pub(super) turns_within: bool,
}

impl Analysis {
    /// What a recording states at these pulses.
    pub fn of_sound(sound: &Sound, pulses: &Pulses, cycle: Cycle, answers: Answers) -> Self {
        Self::of(&sound.heard(pulses), pulses.times(), cycle, answers)
    }

    /// What notes state on their own grid.
    pub fn of_notes(notes: &Notes, cycle: Cycle, answers: Answers) -> Self {
        Self::of(&notes.heard(), notes.pulses(), cycle, answers)
    }

    /// Where no pulse is known: nothing is said.
    pub fn nothing(cycle: Cycle) -> Self {
        Self::silent(&[], cycle, Counted::of(cycle, 0))
    }

    /// Of pulses that are laid over a recording without anything being heard at them: nothing is said.
    pub fn untold(pulses: &Pulses, cycle: Cycle) -> Self {
        let times = pulses.times();
        Self::silent(times, cycle, Counted::of(cycle, times.len()))
    }

    /// What it says at pulses of which those about a time in seconds are so `probable` those of the piece: no lean is surer
    /// than they are, and that of the whole no surer than those of its cycles are on the mean.
    #[must_use]
    pub fn at_proposed(mut self, probable: impl Fn(f64) -> f64) -> Self {
        let leaning = self
            .cycles
            .iter_mut()
            .filter(|cycle| !cycle.said.is_unclear());
        let mut all = Vec::new();
        for cycle in leaning {
            all.push(probable(cycle.start));
            cycle.said.sure *= probable(cycle.start);
        }
        if all.is_empty() {
            all.extend(self.pulses.first().map(|first| probable(*first)));
        }
        if !self.whole.is_unclear() {
            self.whole.sure *= mean(&all);
        }
        self
    }

    /// To what the whole leans, in words: where its cycles lean one way and then the other, that it does,
    /// and where nothing can be told of its cycle, why.
    pub fn whole_words(&self) -> String {
        match self.whole.lean {
            Lean::Unclear if !can_tell(self.cycle.n_pulses()) => {
                let n = self.cycle.n_pulses();
                format!("unclear, for in cycles of {n} threes and twos cannot be told apart")
            }
            Lean::Unclear if self.turns_within => {
                "leaning to threes and to twos in turn, within cycles".to_owned()
            }
            Lean::Unclear if self.is_in_turn() => {
                "leaning to threes and to twos in turn, cycle by cycle".to_owned()
            }
            Lean::Unclear if !self.turns.is_empty() => {
                "leaning to threes in one part, to twos in another".to_owned()
            }
            _ => self.whole.words(),
        }
    }

    /// Whether most of its cycles lean other than the one before.
    fn is_in_turn(&self) -> bool {
        2 * self.turns.len() > self.cycles.len()
    }

    /// Pulses a minute, by the mean gap but for those in which pulses count in no cycle; none of fewer than two
    /// pulses.
    pub fn tempo_ppm(&self) -> Option<f64> {
        let pulses = Pulses::new(self.pulses.clone()).ok()?;
        Some(pulses.tempo_ppm())
    }

    /// The cycle that leans most clearly, by its place from 0; `None` where there is no cycle.
    pub fn clearest(&self) -> Option<usize> {
        let clearness = |at: &usize| self.cycles[*at].said.clearness();
        (0..self.cycles.len()).rev().max_by(|a, b| {
            let ((a, of_a), (b, of_b)) = (clearness(a), clearness(b));
            a.total_cmp(&b).then(of_a.total_cmp(&of_b))
        })
    }

    /// How strongly each part strikes on each pulse of a cycle, as [`Analysis::strengths`] has it, but
    /// over its weakest pulse there where all of them are strong; `None` where that was not heard.
    pub fn accents(&self, cycle: usize) -> Option<Vec<[f64; 4]>> {
        let n = self.cycle.n_pulses();
        let mut accents = self.strengths.get(cycle * n..(cycle + 1) * n)?.to_vec();
        for part in 0..Part::ALL.len() {
            let weakest = accents.iter().map(|pulse| pulse[part]);
            let rest = weakest.fold(f64::INFINITY, f64::min).max(0.0);
            accents.iter_mut().for_each(|pulse| pulse[part] -= rest);
        }
        Some(accents)
    }

    fn of(heard: &Heard, pulses: &[f64], cycle: Cycle, answers: Answers) -> Self {
        let counted = Counted::of(cycle, pulses.len());
        if !can_tell(counted.n_cycle) || counted.n_cycles() == 0 {
            return Self::silent(pulses, cycle, counted);
        }
        if cycle.is_of_sixes() {
            let sixes = Self::of(heard, pulses, Cycle::SIX, answers);
            return sixes.counted_in(cycle, counted, answers);
        }
        let (is_silent, heard) = &without_silence(heard, counted);
        let stretches = Stretches::of(heard, counted);
        let asked = (answers, counted.n_cycles());
        let (posterior, all) = told(heard, counted, &stretches);
        let alone = |(at, leans)| {
            let leans = match answers {
                Answers::Open if is_silent[at] => &SILENT,
                _ => leans,
            };
            let usual = stretches.usual(at, at + 1);
            said(&stretches.stated(at, at + 1), leans, usual, asked)
        };
        let alone: Vec<Said> = posterior.iter().enumerate().map(alone).collect();
        let with_others = |at: usize| {
            let about = match is_silent[at] {
                true => at..at + 1,
                false => alike(&alone, at),
            };
            let stated = stretches.stated(about.start, about.end);
            let each = 1.0 / real(about.len());
            CycleSaid {
                start: pulses[at * counted.n_cycle],
                said: Said {
                    threes: each * stated.threes,
                    twos: each * stated.twos,
                    ..alone[at]
                },
                parts: stated.parts().map(|part| each * part),
                sides: stated.sides,
            }
        };
        let cycles: Vec<CycleSaid> = (0..alone.len()).map(with_others).collect();
        let usual = stretches.usual(0, counted.n_cycles());
        let leans = whole(&all, &posterior);
        Self {
            cycle,
            pulses: pulses.to_vec(),
            whole: said(&all, &leans, usual, asked),
            turns: turns(&cycles),
            turns_within: false,
            strengths: strengths(heard, pulses.len()),
            cycles,
        }
    }

    /// What is said of sixes as what is said of cycles of several of them.
    fn counted_in(self, cycle: Cycle, counted: Counted, answers: Answers) -> Self {
        let sixes = self.cycles.chunks(counted.n_cycle / 6);
        let cycles = sixes.map(|sixes| CycleSaid::of_sixes(sixes, answers));
        let cycles: Vec<CycleSaid> = cycles.take(counted.n_cycles()).collect();
        let turns = turns(&cycles);
        Self {
            cycle,
            turns_within: turns.is_empty() && !self.turns.is_empty(),
            turns,
            cycles,
            ..self
        }
    }

    /// Of cycles too short to tell.
    fn silent(pulses: &[f64], cycle: Cycle, counted: Counted) -> Self {
        let nothing = Said {
            threes: 0.0,
            twos: 0.0,
            sure: 0.0,
            lean: Lean::Unclear,
            turns_within: false,
        };
        let of = |at: usize| CycleSaid {
            start: pulses[at * counted.n_cycle],
            said: nothing,
            parts: [0.0; 4],
            sides: [[0.0; 2]; 4],
        };
        Self {
            cycle,
            pulses: pulses.to_vec(),
            cycles: (0..counted.n_cycles()).map(of).collect(),
            whole: nothing,
            turns: Vec::new(),
            turns_within: false,
            strengths: Vec::new(),
        }
    }
}

/// What is probable of a cycle in which nothing begins.
const SILENT: Shares = [0.0, 0.0, 0.0, 1.0];

/// Cycles in which nothing begins, and what is heard without them: silence and what rings on are even,
/// or fade, and neither leans.
fn without_silence(heard: &Heard, counted: Counted) -> (Vec<bool>, Heard) {
    let begins = |pulse: usize| {
        let likely = [&heard.begins, &heard.runs_in].map(|row| row.get(pulse).copied());
        likely.into_iter().flatten().any(|likely| likely > 0.5)
    };
    let is_silent = |cycle: usize| !heard.begins.is_empty() && !counted.pulses(cycle).any(begins);
    let is_silent: Vec<bool> = (0..counted.n_cycles()).map(is_silent).collect();
    let mut heard = heard.clone();
    for cycle in (0..counted.n_cycles()).filter(|cycle| is_silent[*cycle]) {
        for stream in &mut heard.streams {
            counted
                .pulses(cycle)
                .for_each(|pulse| stream.values[pulse] = None);
        }
    }
    (is_silent, heard)
}

/// Cycles about one that are told together with it, at most, on either side.
const ABOUT: usize = 2;

/// A cycle and those about it that lean as it does.
fn alike(cycles: &[Said], at: usize) -> Range<usize> {
    let lean = cycles[at].lean;
    let leans_so = |cycle: &&Said| cycle.lean == lean;
    let before = cycles[..at].iter().rev().take(ABOUT);
    let after = cycles[at + 1..].iter().take(ABOUT);
    at - before.take_while(leans_so).count()..at + 1 + after.take_while(leans_so).count()
}

/// The strongest stream of each part at each pulse.
fn strengths(heard: &Heard, n_pulses: usize) -> Vec<[f64; 4]> {
    let mut strengths = vec![[0.0_f64; 4]; n_pulses];
    for stream in heard
        .streams
        .iter()
        .filter(|stream| stream.tells == Tells::Strength)
    {
        let known: Vec<f64> = stream.values.iter().copied().flatten().collect();
        // Of what only is or is not, that it is not is usual, though every second pulse have it.
        let [least, most] = [0.0, 1.0].map(|share| quantile(&known, share));
        let is_or_not = known.iter().all(|x| *x == least || *x == most);
        let usual = if is_or_not {
            least
        } else {
            quantile(&known, 0.5)
        };
        for (pulse, strength) in strengths.iter_mut().enumerate() {
            if let Some(value) = stream.at(pulse) {
                let own = &mut strength[stream.part as usize];
                *own = own.max((value - usual) / stream.unit);
            }
        }
    }
    strengths
}

/// What it costs that every second cycle be heard as one row and those between as another (a starting
/// value).
const BY_TURNS: f64 = 3.0;

/// How probable each lean is of each cycle, and what all cycles state, cut as they are likeliest. Where
/// cycles take turns, as in a compás of 3 + 3 and 2 + 2 + 2, each is heard with the ones that are like it.
fn told(heard: &Heard, counted: Counted, in_row: &Stretches) -> (Vec<Shares>, Stated) {
    let cuts = Cuts::of(in_row);
    let n = counted.n_cycles();
    let by_turns: Vec<usize> = (0..n).step_by(2).chain((1..n).step_by(2)).collect();
    let of_turns = Stretches::in_order(heard, counted, &by_turns);
    let cuts_of_turns = Cuts::of(&of_turns);
    if cuts_of_turns.likely() - BY_TURNS <= cuts.likely() {
        return with_whole(&cuts, in_row);
    }
    let (in_turn, all) = with_whole(&cuts_of_turns, &of_turns);
    let mut posterior = vec![Shares::default(); n];
    for (shares, cycle) in in_turn.into_iter().zip(by_turns) {
        posterior[cycle] = shares;
    }
    (posterior, all)
}

/// From how much of its cycles on a piece leans to one side though all of them say the other as one stretch,
/// for which a single beat too many is enough (a starting value).
const MOST_LEAN_AGAINST: f64 = 0.45;

/// How probable each lean is of each cycle, and what all of them say: as one, unless most of them lean
/// clearly to a side, where each stretch of them is told by itself.
fn with_whole(cuts: &Cuts, stretches: &Stretches) -> (Vec<Shares>, Stated) {
    let posterior = cuts.posterior();
    let one = stretched(stretches);
    let lean = posterior.iter().map(|shares| shares[0] - shares[1]);
    let lean = lean.sum::<f64>() / real(posterior.len().max(1));
    let least = match lean * one.odds() < 0.0 {
        true => MOST_LEAN_AGAINST,
        false => MOST_LEAN,
    };
    if lean.abs() < least {
        return (posterior, one);
    }
    let parts = cuts.best().into_iter();
    let all = parts.fold(Stated::default(), |all, part| {
        all.plus(&stretches.stated(part.start, part.end))
    });
    (posterior, all)
}

/// Cycles that are added up as one stretch.
const STRETCH: usize = 16;

/// All of a piece, its stretches added up, so that what is said does not come to an end with the most
/// that one says.
pub(super) fn stretched(stretches: &Stretches) -> Stated {
    let mut all = Stated::default();
    let n = stretches.n_cycles();
    let n_parts = n.div_ceil(STRETCH).max(1);
    for part in 0..n_parts {
        let (from, until) = (part * n / n_parts, (part + 1) * n / n_parts);
        all = all.plus(&stretches.stated(from, until));
    }
    all
}

fn said(stated: &Stated, leans: &Shares, usual: f64, asked: (Answers, usize)) -> Said {
    let (answers, n_cycles) = asked;
    let (lean, sure) = match answers {
        Answers::Open => spoken(leans, n_cycles),
        Answers::Forced => forced(stated, leans, usual),
    };
    Said {
        threes: stated.threes,
        twos: stated.twos,
        sure,
        lean,
        turns_within: false,
    }
}

/// Threes or twos by what leans heard together say, or by the evidence alone where they say nothing.
/// What by itself says nothing, as an even run, may yet be `usual` in one of them (common practice, no source).
fn forced(stated: &Stated, leans: &Shares, usual: f64) -> (Lean, f64) {
    let own = shares(&scores(stated));
    let odds = (leans[0] + 0.01 * own[0] + 1e-9).ln() - (leans[1] + 0.01 * own[1] + 1e-9).ln();
    let odds = odds + usual;
    let sure = 1.0 / (1.0 + (-odds.abs()).exp());
    if odds >= 0.0 {
        (Lean::Threes, sure)
    } else {
        (Lean::Twos, sure)
    }
}

/// Where the lean passes from threes to twos or back.
pub(super) fn turns(cycles: &[CycleSaid]) -> Vec<usize> {
    let mut last = None;
    let mut turns = Vec::new();
    for (at, cycle) in cycles.iter().enumerate() {
        let lean = cycle.said.lean;
        if matches!(lean, Lean::Threes | Lean::Twos) {
            if last.is_some_and(|last| last != lean) {
                turns.push(at);
            }
            last = Some(lean);
        }
    }
    turns
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::listen::stream::Stream;

    /// What is said of a bass that strikes so, a letter a stroke, over and over.
    fn said_of(strokes: &str, n_times: usize, cycle: Cycle) -> Analysis {
        let strokes = strokes.repeat(n_times);
        let loud = |c| Some(if c == 'x' { 6.0 } else { 0.0 });
        let bass: Vec<Option<f64>> = strokes.chars().map(loud).collect();
        let pulses: Vec<f64> = (0..bass.len()).map(|k| 0.25 * real(k)).collect();
        let heard = Heard {
            streams: vec![Stream::new(Part::Low, Tells::Strength, 1.0, bass).counting(3.0)],
            ..Heard::default()
        };
        Analysis::of(&heard, &pulses, cycle, Answers::Open)
    }

    fn strip(analysis: &Analysis) -> String {
        let cycles = analysis.cycles.iter();
        cycles.map(|cycle| cycle.said.mark()).collect()
    }

    #[test]
    fn pulses_that_count_in_no_cycle_are_no_slower_tempo() {
        // By hand: 240 a minute, three pulses left out once; then a piece in two tempi, 1 s and 2 s long.
        let mut analysis = Analysis::nothing(Cycle::SIX);
        analysis.pulses = [0.0, 0.25, 0.5, 0.75, 1.75, 2.0, 2.25].to_vec();
        assert_eq!(analysis.tempo_ppm(), Some(240.0));
        analysis.pulses = [0.0, 0.25, 0.5, 0.75, 1.0, 1.5, 2.0, 2.5, 3.0].to_vec();
        assert_eq!(analysis.tempo_ppm(), Some(160.0));
        analysis.pulses.truncate(1);
        assert_eq!(analysis.tempo_ppm(), None);
    }

    #[test]
    fn cycles_that_take_turns_are_each_heard_with_their_like() {
        // As in a compás of 3 + 3 and 2 + 2 + 2 (common practice).
        let six = said_of("x..x..x.x.x.", 6, Cycle::SIX);
        assert_eq!(strip(&six), "323232323232");
        assert!(six.whole_words().ends_with("in turn, cycle by cycle"));
        let twelve = said_of("x..x..x.x.x.", 6, Cycle::TWELVE);
        assert_eq!(strip(&twelve), "tttttt");
        let said = twelve.cycles[3].said;
        assert_eq!(said.lean, Lean::Unclear);
        assert!(said.sure > 0.8 && !said.is_unclear(), "{said:?}");
        let words = "leaning to threes and to twos in turn, sure to ";
        assert!(said.words().starts_with(words), "{}", said.words());
        assert!(twelve.whole_words().ends_with("in turn, within cycles"));
    }

    #[test]
    fn twelve_lean_as_their_sixes() {
        let said = said_of("x..x..", 8, Cycle::TWELVE);
        assert_eq!(strip(&said), "3333");
        assert_eq!(said.whole.lean, Lean::Threes);
        assert_eq!(said.cycles[1].start, 3.0);
    }

    #[test]
    fn a_beat_too_many_does_not_turn_the_whole_against_its_cycles() {
        // Threes that come two pulses later each time: over one another they are twos.
        let said = said_of("x..x..x..x..x..x..x..x..xx", 6, Cycle::SIX);
        let n_threes = strip(&said).matches('3').count();
        assert!(2 * n_threes > said.cycles.len(), "{}", strip(&said));
        assert_eq!(said.whole.lean, Lean::Threes, "{}", strip(&said));
    }
}
