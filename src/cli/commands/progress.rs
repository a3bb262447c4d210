//! `contrapalma progress`: how far practice has brought somebody, skill by skill.

use serde_json::{Value, json};

use super::form::Form;
use super::practise::clock_of;
use super::shelf::Shelf;
use crate::app::{Coming, Progress, ProgressLine, headed, progress_of};
use crate::cli::args::Practice;
use crate::cli::failure::Failure;
use crate::cli::{data_dir, seed_of};
use crate::deck::Deck;
use crate::label::harmless;
use crate::phrase::Level;
use crate::report::lean;
use crate::store::Store;
use crate::world::{Calendar, Env};

/// What each row says. Shares and spreads are parts of one, levels decibels, days dates.
const COLUMNS: [&str; 22] = [
    "skill",
    "title",
    "answered",
    "right",
    "share_low",
    "share_high",
    "heard_from_db",
    "heard_low_db",
    "heard_high_db",
    "d_prime",
    "d_prime_give_or_take",
    "lean",
    "answers",
    "finest_spread",
    "longest_hold",
    "listened",
    "days",
    "last_day",
    "comes",
    "due_day",
    "rests_until",
    "waits_for",
];

/// Tells it.
pub(in crate::cli) fn run(
    deck: Deck,
    form: &Form,
    practice: &Practice,
    env: &Env,
) -> Result<(), Failure> {
    let dir = data_dir(practice, env)?;
    // Looking at something makes no store.
    if !dir.join("practice.db").is_file() {
        return form.print(
            &COLUMNS,
            &[],
            "Nothing was practised yet: `contrapalma sit` begins.",
        );
    }
    let now = clock_of(env)?.now();
    let (day, _) = Calendar::default().day_of(now);
    let mut store = Store::open(&dir, seed_of(practice)?.child("store", 0), now)?;
    let installed = Shelf::of(&dir).installed();
    let deck = match practice.deck {
        Some(_) => deck,
        None => installed.in_hand(&store, deck, practice.speakers())?,
    };
    let title = deck.title().to_string();
    let progress = progress_of(&mut store, deck, day, |id| installed.named(id))?;
    let rows: Vec<Vec<Value>> = progress.lines.iter().map(row).collect();
    form.print_or(&COLUMNS, &rows, || text(&progress, &title))
}

fn text(progress: &Progress, deck: &str) -> String {
    let mut lines = vec![format!("{} the deck in hand.", headed(deck))];
    lines.extend(progress.leaning());
    if !progress.cues.is_empty() {
        let cues = progress.cues.join("; ");
        lines.push(format!("You hear a grouping from accents of: {cues}."));
    }
    let told = progress
        .lines
        .iter()
        .map(|line| format!("{} {} ({}).", headed(&line.title), line.words(), line.skill))
        .map(|line| harmless(&line));
    lines.extend(told);
    lines.iter().map(|line| format!("{line}\n")).collect()
}

fn row(line: &ProgressLine) -> Vec<Value> {
    let record = &line.record;
    let share = record.share();
    let found = record.sensitivity();
    // Where it is not heard at the strongest there is no level from which it is.
    let heard = line
        .heard_from
        .filter(|(level, _)| *level != Level::STRONGEST);
    let (comes, due, rests, waits) = coming(&line.coming);
    vec![
        json!(&*line.skill.0),
        json!(line.title),
        json!(record.n),
        json!(record.right),
        json!(share.map(|share| rounded(share.low))),
        json!(share.map(|share| rounded(share.high))),
        json!(heard.map(|(level, _)| level.decibels())),
        json!(heard.map(|(_, (low, _))| rounded(low))),
        json!(heard.map(|(_, (_, high))| rounded(high))),
        json!(found.map(|found| rounded(found.d_prime))),
        json!(found.map(|found| rounded(1.96 * found.error))),
        json!(found.map(|found| lean(found).unwrap_or("neither"))),
        json!(line.labels),
        json!(record.finest.map(rounded)),
        json!(record.longest),
        json!(line.n_listened),
        json!(record.days),
        json!(record.last_day.map(|day| day.to_string())),
        json!(comes),
        due,
        rests,
        waits,
    ]
}

/// When it comes in one word, the day on which it is due, until when it rests, and what it waits for.
fn coming(coming: &Coming) -> (&'static str, Value, Value, Value) {
    let (none, nothing) = (Value::Null, json!([]));
    match coming {
        Coming::Open => ("open", none.clone(), none, nothing),
        Coming::Due(day, 0) => ("due", json!(day.to_string()), none, nothing),
        Coming::Due(day, _) => ("later", json!(day.to_string()), none, nothing),
        Coming::Rests(day, _) => ("rests", none, json!(day.to_string()), nothing),
        Coming::Waits(missing) => {
            let ids = missing.iter().map(|(skill, _)| json!(&*skill.0));
            ("waits", none.clone(), none, ids.collect())
        }
    }
}

/// To three places: more is not known.
fn rounded(x: f64) -> f64 {
    (1000.0 * x).round() / 1000.0
}
