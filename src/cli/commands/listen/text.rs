//! What was heard as lines of text: a strip of the cycles, and what each stretch leans to.

use super::{Listened, Origin};
use crate::listen::{CycleSaid, Lean};

/// Cycles in a row of the strip.
const A_ROW: usize = 60;

pub(super) fn lines(listened: &Listened) -> String {
    let analysis = &listened.analysis;
    let mut text = format!("{}   {}\n", listened.name, head(listened));
    if analysis.cycles.is_empty() {
        text.push_str("  no whole cycle was heard; give the pulses by --pulses or --tempo\n");
        return text;
    }
    for row in analysis.cycles.chunks(A_ROW) {
        text.push_str(&format!("\n  {}\n", clock(row[0].start)));
        let marks: String = row.iter().map(|cycle| mark(cycle.said.lean)).collect();
        let shades: String = row.iter().map(|cycle| shade(cycle.said.sure)).collect();
        text.push_str(&format!("  {marks}\n  {shades}\n"));
    }
    text.push_str("\n  3 leans to threes   2 leans to twos   b both at once   . unclear\n");
    text.push_str("  below it how sure: # nine in ten or more, + seven, - less\n\n");
    for same in stretches(&analysis.cycles) {
        text.push_str(&stretch(same));
    }
    text.push_str(&format!(
        "  the whole {}\n",
        words(analysis.whole.lean, analysis.whole.sure)
    ));
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
        Origin::File => "pulses of the file",
        Origin::Found => "pulses and beat one proposed, not known",
    };
    format!("{n} pulses a cycle   {tempo}   {from}")
}

/// The letter or numeral of a lean.
pub(super) fn mark(lean: Lean) -> char {
    match lean {
        Lean::Threes => '3',
        Lean::Twos => '2',
        Lean::Both => 'b',
        Lean::Unclear => '.',
    }
}

fn shade(sure: f64) -> char {
    match sure {
        _ if sure >= 0.9 => '#',
        _ if sure >= 0.7 => '+',
        _ => '-',
    }
}

/// Runs of cycles of one lean, with the number of the first from 1.
pub(super) fn stretches(cycles: &[CycleSaid]) -> Vec<(usize, &[CycleSaid])> {
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
    let is = if last == from { "is" } else { "are" };
    let leans = if last == from { "leans" } else { "lean" };
    let least = run.iter().map(|cycle| cycle.said.sure).fold(1.0, f64::min);
    format!(
        "  {}  {cycles} {}\n",
        clock(run[0].start),
        words(run[0].said.lean, least)
            .replacen("leans", leans, 1)
            .replacen("is ", &format!("{is} "), 1)
    )
}

/// What a lean is in words; nothing here is called more than a lean.
pub(super) fn words(lean: Lean, sure: f64) -> String {
    let percent = (100.0 * sure).round();
    match lean {
        Lean::Threes => format!("leans to threes, sure to {percent} in 100"),
        Lean::Twos => format!("leans to twos, sure to {percent} in 100"),
        Lean::Both => format!("leans to both at once, sure to {percent} in 100"),
        Lean::Unclear => "is unclear".to_owned(),
    }
}

/// Minutes and seconds.
pub(super) fn clock(seconds: f64) -> String {
    let whole = seconds.max(0.0).floor();
    format!("{}:{:02}", (whole / 60.0).floor(), whole % 60.0)
}
