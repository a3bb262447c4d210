//! What is heard in the program's own phrases and in melodies made by rule.

use super::*;
use crate::notate;
use crate::pcm::SampleRate;
use crate::phrase::{
    Bell, Entry, Family, Level, Measured, Pacing, Purpose, Recipe, RecipeParts, Rival, Wanted, make,
};
use crate::rhythm::{Cycle, Feel, Pattern, Tick};
use crate::sound::{Timeline, render};
use crate::world::Seed;

const FAMILIES: [Family; 13] = [
    Family::Plain,
    Family::BassChords,
    Family::BassStrums,
    Family::Chords,
    Family::Arpeggio,
    Family::Line,
    Family::Loudness,
    Family::Length,
    Family::Strike,
    Family::Rasgueado,
    Family::Stopped,
    Family::Touch,
    Family::Figures,
];

fn phrase(family: Family, feel: Feel, level: i16, seed: u64) -> Option<Measured> {
    let recipe = Recipe::new(RecipeParts {
        pattern: Pattern::SIX,
        families: vec![family],
        feels: Feel::OPEN.to_vec(),
        tempo: (110, 240),
        pacing: Pacing::Steady,
        rival: Rival::None,
        cycles: (4, 6),
        entries: vec![Entry::One],
        bell: Bell::None,
    })
    .expect("a possible recipe");
    let wanted = Wanted {
        feel,
        level: Level::of_tenths(level),
        knocks: None,
        purpose: Purpose::NameFeel,
    };
    make(&recipe, &wanted, Seed(seed)).ok()
}

fn heard(made: &Measured, seed: u64) -> (Analysis, f64) {
    let rate = SampleRate::HZ_48000;
    let pcm = render(made.phrase(), rate, Seed(seed));
    let mut ear = Ear::new(rate);
    ear.hear(&pcm.mono());
    let timeline = Timeline::of(made.phrase(), rate);
    let (from, until) = (made.phrase().begins(), made.phrase().ends());
    let at = |pulse| timeline.frame_of(Tick::of_pulse(pulse)).0 as f64 / 48_000.0;
    let pulses = (from.pulse_idx()..until.pulse_idx()).map(at).collect();
    let pulses = Pulses::new(pulses).expect("rising");
    let sound = ear.finish();
    let analysis = Analysis::of_sound(&sound, &pulses, Cycle::SIX, Answers::Open);
    (analysis, sound.seconds())
}

fn feel_of(analysis: &Analysis) -> &'static str {
    if !analysis.turns.is_empty() {
        "in-turn"
    } else {
        analysis.whole.lean.id()
    }
}

#[test]
#[ignore = "prints a table"]
fn table_of_phrases() {
    let n: u64 = std::env::args().find_map(|a| a.strip_prefix("n=").and_then(|n| n.parse().ok())).unwrap_or(6);
    for level in [50, 30] {
        for feel in [Feel::Threes, Feel::Twos, Feel::Both, Feel::InTurn, Feel::Either] {
            let mut line = String::new();
            let mut all = (0, 0);
            for family in FAMILIES {
                let mut counts = std::collections::BTreeMap::new();
                let (mut right, mut of) = (0, 0);
                for seed in 0..n {
                    let Some(made) = phrase(family, feel, level, seed + 1000 * level as u64) else { continue };
                    let (analysis, _) = heard(&made, seed);
                    let found = feel_of(&analysis);
                    *counts.entry(found).or_insert(0) += 1;
                    let want = if feel == Feel::Either { "unclear" } else { feel.id() };
                    right += u64::from(found == want);
                    of += 1;
                }
                all.0 += right;
                all.1 += of;
                line += &format!("  {} {right}/{of} {counts:?}\n", family.id());
            }
            println!("{level} {} {}/{}\n{line}", feel.id(), all.0, all.1);
        }
    }
}

#[test]
fn midi_of_a_phrase_is_heard_as_notes() {
    let made = phrase(Family::Plain, Feel::Threes, 60, 1).expect("a phrase");
    let bytes = notate::midi(made.phrase(), notate::Bars::Threes);
    let notes = Notes::read(&bytes, PulseNote::EIGHTH).expect("notes");
    let analysis = Analysis::of_notes(&notes, Cycle::SIX, Answers::Open);
    assert_eq!(analysis.whole.lean, Lean::Threes);
}

#[test]
#[ignore = "prints a look"]
fn look_at_streams() {
    for feel in [Feel::Threes, Feel::Twos, Feel::Both, Feel::Either] {
        for family in FAMILIES {
            for seed in 0..4 {
                let Some(made) = phrase(family, feel, 50, seed + 50_000) else { continue };
                let rate = SampleRate::HZ_48000;
                let pcm = render(made.phrase(), rate, Seed(seed));
                let mut ear = Ear::new(rate);
                ear.hear(&pcm.mono());
                let timeline = Timeline::of(made.phrase(), rate);
                let (from, until) = (made.phrase().begins(), made.phrase().ends());
                let at = |pulse| timeline.frame_of(Tick::of_pulse(pulse)).0 as f64 / 48_000.0;
                let pulses = Pulses::new((from.pulse_idx()..until.pulse_idx()).map(at).collect()).expect("rising");
                let heard = ear.finish().heard(&pulses);
                let counted = super::pulses::Counted::of(Cycle::SIX, pulses.times().len());
                let s = super::stretch::Stretches::of(&heard, counted);
                let text: Vec<String> = s.by_stream().iter().map(|(p, e)| format!("{}{:+.1}", &p.name()[..1], e)).collect();
                println!("{:+.0} opp {:.0} {} {} {} cyc {}: {}", { let st = s.stated(0, s.n_cycles()); st.odds() }, s.stated(0, s.n_cycles()).opposed(), feel.id(), family.id(), s.n_cycles(), made.rows().iter().map(|r| format!("{}{:?}", r.voice.name(), r.mean().units().iter().map(|u| (u * 10.0).round() as i32).collect::<Vec<_>>())).collect::<Vec<_>>().join(" "), text.join(" "));
            }
        }
    }
}
