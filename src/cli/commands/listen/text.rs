//! What was heard as lines of text: a strip of the cycles, what each stretch leans to, the accents of
//! one cycle, and a table.

use std::ops::Range;

use super::kept::who;
use super::listened::{Listened, Origin};
use crate::app::STANDS_OUT;
use crate::app::recording::{agreement_of, agreement_with_analysis, follows_pause};
use crate::cli::commands::write::counted;
use crate::listen::{CycleSaid, Part, accent_steps, clock};
use crate::mark::{By, Marks};
use crate::report::Agreement;
use crate::rhythm::{Counting, Cycle};

/// Cycles in a row of the strip.
const A_ROW: usize = 60;
/// Columns before a strip's lines, of the names in the grid, and of a pulse in it at least.
const NAME: usize = 12;
const PULSE: usize = 4;

pub(super) fn lines(listened: &Listened) -> String {
    let analysis = &listened.analysis;
    let mut text = format!("{}   {}\n", listened.name, listened.head());
    if analysis.cycles.is_empty() {
        text.push_str(&format!("  {}\n", no_cycle(listened)));
        return text;
    }
    if let Some(places) = listened.places() {
        text.push_str(&format!("  {places}\n"));
    }
    let n = analysis.cycles.len();
    for from in (0..n).step_by(A_ROW) {
        text.push_str(&strip(listened, from..(from + A_ROW).min(n)));
    }
    text.push_str(&legend(listened));
    for same in stretches(&analysis.cycles) {
        text.push_str(&stretch(same));
    }
    let whole = analysis.whole_words();
    text.push_str(&format!("  the whole: {whole}\n"));
    text.push_str(&agreements(listened));
    if let Some(shown) = listened.shown {
        text.push_str(&grid(listened, shown));
    }
    text.push_str(&table(listened));
    text
}

/// Why there is no cycle, and what would make one.
fn no_cycle(listened: &Listened) -> String {
    let (n, cycle) = (listened.analysis.pulses.len(), listened.analysis.cycle);
    let there = counted(n, "pulse", "pulses");
    let of_cycle = cycle.n_pulses();
    let too_few =
        |said: &str| format!("no whole cycle is in it: {said}, and a cycle has {of_cycle}");
    match listened.pulses {
        Origin::File => "no whole cycle is in it; --start, --pulse-note and --cycle say where its \
                         cycles lie"
            .to_owned(),
        Origin::Given => too_few(&format!("{there} in it are given")),
        Origin::Kept => too_few(&format!("you set {there}")),
        Origin::Found if listened.is_silent => {
            "nothing is heard in it: it is silent from beginning to end".to_owned()
        }
        Origin::Found if n > 0 => too_few(&format!("it is as long as {there}")),
        Origin::Found => {
            "no whole cycle was heard; give the pulses by --pulses or --tempo".to_owned()
        }
    }
}

/// Some cycles side by side: leans, how sure, where sections begin, and what persons say.
fn strip(listened: &Listened, cycles: Range<usize>) -> String {
    let row = &listened.analysis.cycles[cycles.clone()];
    let leans: String = row.iter().map(|cycle| cycle.said.mark()).collect();
    let shades: String = row.iter().map(|cycle| cycle.said.shade()).collect();
    let mut text = format!("\n  {}\n  {leans}\n  {shades}\n", clock(row[0].start));
    let sections = listened.sections();
    let begins = |cycle| if sections.contains(&cycle) { '|' } else { ' ' };
    let signs: String = cycles.clone().map(begins).collect();
    text.push_str(&beside(&signs, "sections"));
    let pauses = |cycle| {
        if follows_pause(&listened.analysis, cycle) {
            ':'
        } else {
            ' '
        }
    };
    let signs: String = cycles.clone().map(pauses).collect();
    text.push_str(&beside(&signs, "after a pause"));
    for (by, marks) in &listened.marks {
        let sign = |cycle| listened.sign(marks, cycle).unwrap_or(' ');
        let signs: String = cycles.clone().map(sign).collect();
        text.push_str(&beside(&signs, who(by)));
    }
    text
}

/// Signs with whose they are; nothing where there is no sign.
fn beside(signs: &str, whose: &str) -> String {
    if signs.trim().is_empty() {
        return String::new();
    }
    format!("  {signs}  {whose}\n")
}

fn legend(listened: &Listened) -> String {
    let mut text = "\n  3 leans to threes   2 leans to twos   b both at once   . unclear\n\
                    \x20 below it how sure: # nine in ten or more, + seven, - less\n"
        .to_owned();
    if listened.analysis.cycle.is_of_sixes() {
        text.push_str("  t threes and twos in turn within the cycle\n");
    }
    if !listened.sections().is_empty() {
        text.push_str("  | where you let a section begin\n");
    }
    if !listened.marks.is_empty() {
        text.push_str("  below that what persons say, ? that it cannot be said\n");
    }
    text.push_str(
        "  each cycle is heard together with those about it; a stretch is as sure as the least and the surest\n\
         \x20 of its cycles; the whole is heard as one, unless most cycles lean one way\n",
    );
    if listened.pulses == Origin::Found {
        text.push_str("  pulses are proposed, and no lean is surer than they are\n");
    }
    text.push('\n');
    text
}

/// How far each person agrees with the analysis, and each two persons with each other.
fn agreements(listened: &Listened) -> String {
    let (analysis, all) = (&listened.analysis, &listened.marks);
    let mut text = String::new();
    let mut tell = |found: Agreement, first, second| {
        if !found.is_nothing() {
            text.push_str(&format!("  {}\n", found.words(first, second)));
        }
    };
    for (nth, (by, marks)) in all.iter().enumerate() {
        let found = agreement_with_analysis(analysis, marks);
        tell(found, who(by), "the analysis");
        for (other, theirs) in all.iter().take(nth) {
            tell(agreement_of(analysis, [theirs, marks]), who(other), who(by));
        }
    }
    text
}

/// Runs of cycles of one lean, with the number of the first from 1.
fn stretches(cycles: &[CycleSaid]) -> Vec<(usize, &[CycleSaid])> {
    let mut from = 1;
    let same = cycles.chunk_by(|a, b| a.said.mark() == b.said.mark());
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
    let start = clock(run[0].start);
    let said = run[0].said;
    let sure = match said.is_unclear() {
        true => String::new(),
        false => format!(", sure to {} in 100", from_least(run)),
    };
    format!("  {start}  {cycles}, {}{sure}\n", said.lean_words())
}

/// How sure the least sure and the surest of some cycles are, in a hundred.
fn from_least(run: &[CycleSaid]) -> String {
    let sure = |choose: fn(f64, f64) -> f64| {
        let all = run.iter().map(|cycle| cycle.said.percent());
        format!("{:.0}", all.reduce(choose).unwrap_or(0.0))
    };
    let (least, most) = (sure(f64::min), sure(f64::max));
    if least == most {
        most
    } else {
        format!("{least} to {most}")
    }
}

/// How strongly each part strikes on each pulse of one cycle.
fn grid(listened: &Listened, shown: usize) -> String {
    let analysis = &listened.analysis;
    let Some(accents) = analysis.accents(shown) else {
        return String::new();
    };
    let cycle = analysis.cycle;
    let pulse = per_pulse(listened.counting, cycle);
    let cell = |text: &str| format!("{text:pulse$}");
    let row = |name: &str, cells: String| {
        let line = format!("  {name:NAME$}{cells}");
        format!("{}\n", line.trim_end())
    };
    let names = listened.counting.short_names(cycle, pulse);
    let names = names.iter().map(|name| cell(name));
    let mut text = format!("\n  {}\n", listened.of_shown(shown));
    text.push_str(&row("count", names.collect()));
    for (idx, part) in Part::ALL.iter().enumerate() {
        let steps = accents.iter().map(|pulse| accent_steps(pulse[idx]));
        let cells = steps.map(|steps| cell([".", "#", "##", "###"][steps]));
        text.push_str(&row(part.name(), cells.collect()));
    }
    text.push_str(&format!("  # ## ###: {STANDS_OUT}; . not\n"));
    text
}

/// Columns of a pulse: as many as whole names of counts need, as long as the row is no longer than one of
/// the strip.
fn per_pulse(counting: Counting, cycle: Cycle) -> usize {
    let names = cycle.pulses().map(|pulse| counting.name(cycle, pulse));
    let longest = names.map(|name| name.chars().count()).max().unwrap_or(0);
    (longest + 1).min(A_ROW / cycle.n_pulses()).max(PULSE)
}

/// Every cycle in a row.
fn table(listened: &Listened) -> String {
    let sections = listened.sections();
    let whose = |(by, _): (&By, &Marks)| format!("  {}", who(by));
    let persons: String = listened.marks.iter().map(whose).collect();
    let section = if sections.is_empty() { "" } else { "  section" };
    let mut text = format!(
        "\n  evidence in nats, of each cycle its share of what it and those about it say that lean alike\n  cycle     start  threes    twos  sure  {:7}{section}{persons}",
        "lean"
    );
    text = format!("{}\n", text.trim_end());
    for (at, cycle) in listened.analysis.cycles.iter().enumerate() {
        let said = &cycle.said;
        let mut line = format!(
            "  {:5}  {:8.3}  {:6.2}  {:6.2}  {:4.2}  {:7}",
            at + 1,
            cycle.start,
            said.threes,
            said.twos,
            said.sure,
            match said.turns_within {
                true => "in turn",
                false => said.lean.id(),
            }
        );
        if !sections.is_empty() {
            let nth = sections.iter().filter(|begin| **begin <= at).count();
            line.push_str(&format!("  {nth:7}"));
        }
        for (by, marks) in &listened.marks {
            let width = who(by).chars().count();
            let sign = listened.sign(marks, at).unwrap_or(' ');
            line.push_str(&format!("  {sign:width$}"));
        }
        text.push_str(&format!("{}\n", line.trim_end()));
    }
    text
}
