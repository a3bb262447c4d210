//! What was heard as lines of text: a strip of the cycles, and what each stretch leans to.

use std::ops::Range;

use super::kept::who;
use super::{Listened, Origin};
use crate::app::recording::{agreement_of, agreement_with_analysis, said_of};
use crate::listen::{Analysis, CycleSaid, Said, clock};
use crate::mark::{By, Marks};
use crate::report::Agreement;

/// Cycles in a row of the strip.
const A_ROW: usize = 60;

pub(super) fn lines(listened: &Listened) -> String {
    let analysis = &listened.analysis;
    let mut text = format!("{}   {}\n", listened.name, head(listened));
    if analysis.cycles.is_empty() {
        text.push_str("  no whole cycle was heard; give the pulses by --pulses or --tempo\n");
        return text;
    }
    for (idx, row) in analysis.cycles.chunks(A_ROW).enumerate() {
        text.push_str(&format!("\n  {}\n", clock(row[0].start)));
        let marks: String = row.iter().map(|cycle| cycle.said.lean.mark()).collect();
        let shades: String = row.iter().map(|cycle| cycle.said.shade()).collect();
        text.push_str(&format!("  {marks}\n  {shades}\n"));
        for (by, marks) in &listened.marks {
            let from = idx * A_ROW;
            text.push_str(&person(analysis, (by, marks), from..from + row.len()));
        }
    }
    text.push_str("\n  3 leans to threes   2 leans to twos   b both at once   . unclear\n");
    text.push_str("  below it how sure: # nine in ten or more, + seven, - less\n");
    if !listened.marks.is_empty() {
        text.push_str("  below that what persons say, ? that it cannot be said\n");
    }
    text.push('\n');
    for same in stretches(&analysis.cycles) {
        text.push_str(&stretch(same));
    }
    text.push_str(&format!("  the whole, {}\n", analysis.whole.words()));
    text.push_str(&agreements(listened));
    text
}

/// What a person says of some cycles; nothing where they say nothing of all.
fn person(analysis: &Analysis, (by, marks): (&By, &Marks), cycles: Range<usize>) -> String {
    let sign = |cycle| said_of(analysis, marks, cycle).map_or(' ', |marked| marked.mark.sign());
    let width = cycles.len();
    let signs: String = cycles.map(sign).collect();
    if signs.trim().is_empty() {
        return String::new();
    }
    format!("  {signs:width$}  {}\n", who(by))
}

/// How far each person agrees with the analysis, and each of the others with the learner.
fn agreements(listened: &Listened) -> String {
    let (analysis, all) = (&listened.analysis, &listened.marks);
    let own = all.get(&By::Own);
    let mut text = String::new();
    let mut tell = |found: Agreement, first, second| {
        if !found.is_nothing() {
            text.push_str(&format!("  {}\n", found.words(first, second)));
        }
    };
    for (by, marks) in all {
        let found = agreement_with_analysis(analysis, marks);
        tell(found, who(by), "the analysis");
        if let Some(own) = own.filter(|_| *by != By::Own) {
            tell(agreement_of(analysis, [own, marks]), "you", who(by));
        }
    }
    text
}

fn head(listened: &Listened) -> String {
    let analysis = &listened.analysis;
    let n = analysis.cycle.n_pulses();
    let tempo = match analysis.tempo_ppm() {
        Some(ppm) => format!("about {ppm:.0} pulses a minute"),
        None => "no pulse found".to_owned(),
    };
    let from = match listened.pulses {
        Origin::Given => "pulses as given",
        Origin::Kept => "pulses as you set them",
        Origin::File => "pulses of the file",
        Origin::Found => "pulses and beat one proposed, not known",
    };
    format!("{n} pulses a cycle   {tempo}   {from}")
}

/// Runs of cycles of one lean, with the number of the first from 1.
fn stretches(cycles: &[CycleSaid]) -> Vec<(usize, &[CycleSaid])> {
    let mut from = 1;
    let same = cycles.chunk_by(|a, b| a.said.lean == b.said.lean);
    same.map(|run| {
        let begins = from;
        from += run.len();
        (begins, run)
    })
    .collect()
}

fn stretch((from, run): (usize, &[CycleSaid])) -> String {
    let last = from + run.len() - 1;
    let cycles = if last == from {
        format!("cycle {from}")
    } else {
        format!("cycles {from} to {last}")
    };
    let said = Said {
        sure: run.iter().map(|cycle| cycle.said.sure).fold(1.0, f64::min),
        ..run[0].said
    };
    format!("  {}  {cycles}, {}\n", clock(run[0].start), said.words())
}
