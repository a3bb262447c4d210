//! The report as one HTML document to look at and to print: all learners on one page, by group where
//! there are groups, then the exercises, then a page for each learner.
//!
//! There is no script in it, nothing that is fetched, and no text that is not escaped. Sounds of
//! moments are links to files beside it.

use maud::{DOCTYPE, Markup, PreEscaped, html};

use super::learner::LearnerReport;
use super::{ClassReport, ExerciseReport, Heard, Moment, wording};
use crate::label::{Label, harmless};
use crate::report::stats::wilson;

/// The document.
pub fn html(report: &ClassReport) -> String {
    let title = format!("Class report, {}", report.today);
    // Whatever a text in it looks like, nothing is run or fetched.
    let policy =
        "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'";
    let document = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta http-equiv="Content-Security-Policy" content=(policy);
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { (title) }
                style { (PreEscaped(STYLE)) }
            }
            body {
                h1 { (title) }
                (overview(report))
                @if report.learners.len() > 1 { (exercises(report)) }
                @for (number, learner) in (1..).zip(&report.learners) {
                    (one(number, learner, &report.deck))
                }
                (legend())
            }
        }
    };
    format!("{}\n", document.into_string())
}

const STYLE: &str = "\
@page{size:A4;margin:14mm}\
body{font-family:sans-serif;font-size:10.5pt;line-height:1.35;color:#111;background:#fff;\
max-width:1060px;margin:0 auto;padding:12px;overflow-wrap:break-word}\
h1{font-size:16pt;margin:0 0 6px}h2{font-size:13pt;margin:0 0 4px}h3{font-size:11pt;margin:12px 0 4px}\
p{margin:0 0 6px}.note{font-size:9pt;color:#444}\
table{border-collapse:collapse;width:100%;margin:6px 0}\
th,td{text-align:left;vertical-align:top;padding:2px 8px 2px 0;border-bottom:1px solid #bbb}\
th{font-size:9pt;font-weight:bold;white-space:nowrap;border-bottom:1.5px solid #111}\
td.n{white-space:nowrap;font-variant-numeric:tabular-nums}td.name{min-width:9em;overflow-wrap:anywhere}\
td ul{margin:0;padding:0;list-style:none}\
dl{margin:6px 0}dt{font-weight:bold}dd{margin:0 0 4px 0}\
section.learner,section.legend{margin-top:28px;padding-top:10px;border-top:3px solid #111}\
section.legend{font-size:9pt}\
a{color:#0b3d91}\
@media (max-width:640px){\
table,tbody,tr,td{display:block;width:auto}thead{display:none}\
tr{border-bottom:1.5px solid #111;padding:6px 0}td{border:0;padding:1px 0}\
td[data-name]:before{content:attr(data-name) \": \";font-size:9pt;color:#444}\
td.name{font-weight:bold}td.n{display:inline-block;margin-right:14px}td:empty,td.n:empty{display:none}}\
@media print{\
body{font-size:9pt;padding:0;max-width:none}a{color:#111}\
section{break-before:page;border:0;margin:0;padding:0}\
section.overview{break-before:auto}\
section.legend{break-before:avoid;break-inside:avoid;margin-top:12px;border-top:1px solid #111;padding-top:4px}\
section.learner{border:0;margin:0;padding:0}\
tr,dd,li{break-inside:avoid}thead{display:table-header-group}\
section.overview table{font-size:7.5pt}section.overview td,section.overview th{padding-top:0.5px;padding-bottom:0.5px}\
section.overview td:last-child{width:46%}}";

fn overview(report: &ClassReport) -> Markup {
    let numbered = |at: &usize| Some((at + 1, report.learners.get(*at)?));
    html! {
        section.overview {
            p.note {
                (wording::counted(report.learners.len(), "learner")) ", by name. Of the last 14 days: days practised, minutes, and "
                "the share that was right with its 95 % interval. Lean: what is said where threes and "
                "twos are not told apart. Due: exercises that are due today. Set: goals reached, of how many "
                "that are set."
            }
            @for group in &report.groups {
                h2 { (wording::group(group)) }
                (rows(group.learners.iter().filter_map(numbered)))
                @for line in wording::listed(group) { p.note { (line) } }
            }
            @if report.groups.is_empty() { (rows((1..).zip(&report.learners))) }
        }
    }
}

/// Learners, each with its number in the report.
fn rows<'l>(learners: impl Iterator<Item = (usize, &'l LearnerReport)>) -> Markup {
    html! {
        table {
            thead { tr {
                @for name in ["Name", "Days", "Min", "Right", "Lean", "Due", "Set", "Disputes", "Stuck in"] {
                    th scope="col" { (name) }
                }
            } }
            tbody {
                @for (number, learner) in learners { (row(number, learner)) }
            }
        }
    }
}

fn row(number: usize, learner: &LearnerReport) -> Markup {
    let lately = learner.practice.lately;
    let right = wilson(lately.right, lately.n).map(wording::share);
    let doubts = match learner.doubts.len() {
        0 => String::new(),
        n => n.to_string(),
    };
    html! {
        tr {
            td.name { a href={ "#learner-" (number) } { (learner.who.name) } }
            td.n data-name="Days" { (lately.days) }
            td.n data-name="Minutes" { (lately.minutes()) }
            td.n data-name="Right" { (right.unwrap_or_default()) }
            td.n data-name="Lean" { (wording::lean(learner.sensitivity)) }
            td.n data-name="Due" { (learner.due.len()) }
            td.n data-name="Set" { (wording::n_reached(learner)) }
            td.n data-name="Disputes" { (doubts) }
            td data-name="Stuck in" { (wording::stuck(learner)) }
        }
    }
}

fn exercises(report: &ClassReport) -> Markup {
    html! {
        section.exercises {
            h2 { "By exercise" }
            table {
                thead { tr {
                    @for name in ["Exercise", "Learners", "Firm for", "Answers", "Right", "Confused most"] {
                        th scope="col" { (name) }
                    }
                } }
                tbody {
                    @for common in report.exercises() {
                        tr {
                            td.name { (harmless(&common.title)) }
                            td.n data-name="Learners" { (common.n_learners) }
                            td.n data-name="Firm for" { (common.n_firm) }
                            td.n data-name="Answers" { (common.n) }
                            td.n data-name="Right" { (wording::share(common.share)) }
                            td data-name="Confused most" {
                                @if let Some(confused) = &common.confused { (harmless(&confused.words())) }
                            }
                        }
                    }
                }
            }
        }
    }
}

fn one(number: usize, learner: &LearnerReport, deck: &str) -> Markup {
    let groups: Vec<String> = learner.groups.iter().map(Label::to_string).collect();
    let set: Vec<String> = learner.set.iter().map(wording::set).collect();
    let heard: Vec<String> = learner.heard_live.iter().map(wording::heard_live).collect();
    let doubts: Vec<String> = learner.doubts.iter().map(wording::doubt).collect();
    html! {
        section.learner id={ "learner-" (number) } {
            h2 { (learner.who.name) }
            p.note { "Number " (learner.who.learner) }
            p { "Practised on " (wording::lately(learner.practice.lately)) ". " (wording::in_all(learner)) "." }
            @if let Some(found) = learner.sensitivity {
                p { "Over all: " (wording::told_apart(found)) "." }
            }
            dl {
                (list("Groups", &groups))
                (list("Due today", &learner.due))
                (lines("Set", &set))
                (list(&format!("To set next, of {deck}"), &learner.next))
                (lines("Heard live", &heard))
                (lines("Disputes to judge", &doubts))
                @if !doubts.is_empty() { dd.note { (wording::JUDGE_BY) } }
            }
            @if !learner.exercises.is_empty() { (table(&learner.exercises)) }
            @if !learner.moments.is_empty() {
                h3 { "Worth hearing again" }
                ol { @for moment in &learner.moments { (told(moment)) } }
            }
        }
    }
}

fn legend() -> Markup {
    html! {
        section.legend {
            h2 { "What the words mean" }
            dl {
                @for (word, sense) in wording::LEGEND { dt { (word) } dd { (sense) } }
            }
        }
    }
}

fn list(title: &str, items: &[String]) -> Markup {
    html! {
        @if !items.is_empty() {
            dt { (harmless(title)) }
            dd { @for (idx, item) in items.iter().enumerate() {
                @if idx > 0 { "; " }
                (harmless(item))
            } }
        }
    }
}

/// A title, and each item on a line of its own.
fn lines(title: &str, items: &[String]) -> Markup {
    html! {
        @if !items.is_empty() {
            dt { (title) }
            @for item in items { dd { (item) } }
        }
    }
}

fn table(exercises: &[ExerciseReport]) -> Markup {
    html! {
        table {
            thead { tr {
                @for name in ["Exercise", "Answers", "Right", "Heard", "State", "What is confused, how hands lay"] {
                    th scope="col" { (name) }
                }
            } }
            tbody {
                @for exercise in exercises {
                    tr {
                        td.name { (harmless(&exercise.title)) }
                        td.n data-name="Answers" { (exercise.n) }
                        td.n data-name="Right" { (wording::share(exercise.share)) }
                        td.n data-name="Heard" { (wording::threshold(exercise)) }
                        td.n data-name="State" { (wording::state(exercise)) }
                        td {
                            ul { @for detail in wording::details(exercise) { li { (harmless(&detail)) } } }
                        }
                    }
                }
            }
        }
    }
}

fn told(moment: &Moment) -> Markup {
    html! {
        li {
            (harmless(&moment.title)) ", " (harmless(&moment.words))
            @match &moment.heard {
                Heard::NotAsked => {}
                Heard::In(file) => { ": " a href=(address(file)) { (harmless(file)) } }
                Heard::Nowhere(why) => { "; cannot be heard: " (harmless(why)) }
            }
        }
    }
}

/// A path as a relative address: whatever is in its parts, it names a file and nothing else.
fn address(path: &str) -> String {
    let mut address = String::new();
    for byte in path.bytes() {
        match byte {
            b'a'..=b'z' | b'A'..=b'Z' | b'0'..=b'9' | b'-' | b'.' | b'_' | b'/' => {
                address.push(char::from(byte));
            }
            other => address.push_str(&format!("%{other:02X}")),
        }
    }
    address
}
