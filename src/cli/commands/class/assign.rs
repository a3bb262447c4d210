//! `contrapalma class assign`, `assignments`, `hand-out` and `withdraw`: what is set to whom.

use std::path::{Path, PathBuf};

use clap::Args;
use serde_json::{Value, json};

use super::place::{Place, unclear};
use crate::class::assignment::{Assignment, Goal, News, limit, text};
use crate::class::hand_in::LearnerId;
use crate::class::judgement::MOST_JUDGED;
use crate::class::roster::{Meant, Roster};
use crate::cli::args::{Practice, day, line, number};
use crate::cli::commands::form::Form;
use crate::cli::commands::practise::clock_of;
use crate::cli::commands::shelf::{self, Shelf};
use crate::cli::commands::write::{fill, print, print_of, refuse_standard, reserve, write_new};
use crate::cli::failure::{Failure, Kind};
use crate::cli::{seed_of, shared_dir};
use crate::deck;
use crate::label::{Label, harmless, printable};
use crate::store::{ClassStore, KeptAssignment, Target};
use crate::world::{Calendar, Day, Env, Moment};

/// `class assign`.
#[derive(Debug, Args)]
pub(in crate::cli) struct Assign {
    /// The deck: one of the program, an installed one, or a file
    #[arg(value_name = "DECK")]
    what: PathBuf,
    /// The group or learner, by name or number
    #[arg(long, value_name = "GROUP|LEARNER")]
    to: String,
    /// The last day, as 2026-03-08
    #[arg(long, value_name = "DATE", value_parser = day)]
    due: Day,
    /// The first day [default: today]
    #[arg(long, value_name = "DATE", value_parser = day)]
    from: Option<Day>,
    /// What is to be reached: firm=SKILLS, minutes=N, days=N, one or more with commas between
    #[arg(long, value_name = "GOAL", value_parser = goal)]
    goal: Goal,
    /// What to do, in one line
    #[arg(long, value_name = "TEXT", value_parser = line)]
    line: Option<Label>,
    /// Write the file for learners here at once; never over one that is there
    #[arg(long, value_name = "FILE")]
    write: Option<PathBuf>,
    #[command(flatten)]
    place: Place,
}

/// `class assignments`.
#[derive(Debug, Args)]
pub(in crate::cli) struct Assignments {
    /// Also what was withdrawn
    #[arg(long)]
    all: bool,
    #[command(flatten)]
    form: Form,
    #[command(flatten)]
    place: Place,
}

/// `class hand-out`.
#[derive(Debug, Args)]
pub(in crate::cli) struct HandOut {
    /// The assignment, by its number in `class assignments`
    #[arg(value_name = "NUMBER", value_parser = number)]
    number: u32,
    /// The file; never over one that is there
    #[arg(long, value_name = "FILE")]
    to: PathBuf,
    #[command(flatten)]
    place: Place,
}

/// `class withdraw`.
#[derive(Debug, Args)]
pub(in crate::cli) struct Withdraw {
    /// The assignment, by its number in `class assignments`
    #[arg(value_name = "NUMBER", value_parser = number)]
    number: u32,
    #[command(flatten)]
    place: Place,
}

fn goal(text: &str) -> Result<Goal, String> {
    Goal::from_text(text).ok_or_else(|| {
        "firm=1 to 200, minutes=1 to 6000 or days=1 to 366 were expected, as firm=3,minutes=60"
            .to_owned()
    })
}

/// Sets a deck to a group or learner.
pub(super) fn assign(asked: &Assign, practice: &Practice, env: &Env) -> Result<(), Failure> {
    if let Some(path) = &asked.write {
        refuse_standard(path, "--write", "what was set is told there")?;
    }
    let now = clock_of(env)?.now();
    let (today, _) = Calendar::default().day_of(now);
    let shelf = Shelf::of(&shared_dir(practice, env)?);
    let (deck, deck_text) = shelf::find_text(&asked.what, &shelf)?;
    let mut store = asked.place.open(practice, env)?;
    let target = target(&store, &store.roster()?, &asked.to)?;
    let n = u64::try_from(store.assignments()?.len()).unwrap_or(u64::MAX);
    let seed = seed_of(practice)?.child("assignment", now.0.unsigned_abs());
    let skills = deck
        .exercises()
        .iter()
        .map(|exercise| exercise.skill.clone());
    let assignment = Assignment {
        id: format!("{:016x}", seed.child("number", n).0).into(),
        to: None,
        deck: deck.id().into(),
        title: deck.title().clone(),
        skills: skills.collect(),
        line: asked.line.clone(),
        from: asked.from.unwrap_or(today),
        due: asked.due,
        goal: asked.goal,
    };
    check(&assignment)?;
    let file = File {
        to: Names::of(&store)?.to(&target),
        news: news(&store, None)?,
    };
    let whole = file.text(&deck_text, &assignment, now)?;
    // What else may be wrong with it shows in its file, before anything is kept.
    deck::parse_assigned(&whole)
        .map_err(|faults| Failure::deck("the assignment".as_ref(), &faults))?;
    let reserved = match asked.write.as_deref() {
        Some(path) => Some((path, reserve(path)?)),
        None => None,
    };
    let number = store.assign(&target, &assignment, &deck_text, now);
    let number = number.inspect_err(|_| {
        // The place was taken by an empty file, which says nothing.
        if let Some((path, _)) = &reserved {
            drop(std::fs::remove_file(path));
        }
    })?;
    print(&format!(
        "{number}: {}, for {}, from {} to {}: {}\n",
        assignment.title,
        harmless(&file.to),
        assignment.from,
        assignment.due,
        assignment.goal.in_words()
    ))?;
    let Some((path, reserved)) = reserved else {
        return Ok(());
    };
    fill(path, reserved, whole.as_bytes()).map_err(|failure| {
        let hint = format!("it is set all the same: `class hand-out {number} --to FILE` writes it");
        failure.hinted(hint)
    })?;
    print(&handed_out(path, &file.to, ""))
}

/// Says of an option what would else be a fault in a line of the file.
fn check(assignment: &Assignment) -> Result<(), Failure> {
    let (from, due) = (assignment.from, assignment.due);
    let refused = |what: String| Err(Failure::new(Kind::Usage, what, "nothing was set"));
    if due < from || due.since(from) > limit::SPAN {
        return refused(format!(
            "--due {due}: found a day that does not fit the first, {from}; expected a day from {from} on, \
             within two years"
        ));
    }
    let n_skills = assignment.skills.len();
    match assignment.goal.firm() {
        Some(firm) if usize::try_from(firm).is_ok_and(|firm| firm > n_skills) => refused(format!(
            "--goal firm={firm}: found more skills than the deck has; expected at most {n_skills}"
        )),
        _ => Ok(()),
    }
}

/// To whom something is set. A name of a group stands before that of a learner only where it is no
/// learner's.
fn target(store: &ClassStore, roster: &Roster, text: &str) -> Result<Target, Failure> {
    if let Some(number) = LearnerId::from_text(text)
        && let Some(learner) = store.whole(number)?
    {
        return Ok(Target::Learner(learner));
    }
    let nobody = || {
        let what = format!("{:?}: no group or learner is called so", printable(text));
        let hint = "`class group` and `class learners` list them";
        Failure::new(Kind::Usage, what, hint)
    };
    let name = Label::new(text).map_err(|_| nobody())?;
    match (roster.group(&name), roster.meant(&name)) {
        (Some(group), Meant::Nobody) => Ok(Target::Group(group.name.clone())),
        (Some(_), _) => {
            let what = format!("{name}: a group and a learner are called so");
            let hint = "say the learner by number, or call the group otherwise";
            Err(Failure::new(Kind::Usage, what, hint))
        }
        (None, Meant::One(learner)) => Ok(Target::Learner(learner)),
        (None, Meant::Awaited) => Ok(Target::Name(name)),
        (None, Meant::Several(several)) => Err(unclear(&name, &several)),
        (None, Meant::Nobody) => Err(nobody()),
    }
}

/// Lists what is set.
pub(super) fn list(asked: &Assignments, practice: &Practice, env: &Env) -> Result<(), Failure> {
    let store = asked.place.open_to_look(practice, env)?;
    let all = store.assignments()?.into_iter();
    let all = all.filter(|kept| asked.all || kept.withdrawn.is_none());
    let names = Names::of(&store)?;
    let row = |kept: KeptAssignment| {
        let set = &kept.assignment;
        vec![
            json!(kept.number),
            json!(names.to(&kept.target)),
            json!(&*set.deck),
            json!(set.from.to_string()),
            json!(set.due.to_string()),
            json!(set.goal.in_words()),
            json!(set.line.as_ref().map(Label::as_str)),
            json!(kept.withdrawn.map(|_| "withdrawn")),
        ]
    };
    let rows: Vec<Vec<Value>> = all.map(row).collect();
    let columns = [
        "number",
        "to",
        "deck",
        "from",
        "due",
        "goal",
        "line",
        "withdrawn",
    ];
    asked.form.print(&columns, &rows, "Nothing is set.")
}

/// What learners are called, by number.
struct Names(std::collections::HashMap<LearnerId, Label>);

impl Names {
    fn of(store: &ClassStore) -> Result<Self, Failure> {
        let learners = store.learners()?.into_iter();
        Ok(Self(learners.map(|one| (one.learner, one.name)).collect()))
    }

    fn to(&self, target: &Target) -> String {
        match target {
            Target::Learner(learner) => {
                let name = self.0.get(learner);
                name.map_or_else(|| learner.to_string(), Label::to_string)
            }
            Target::Group(name) | Target::Name(name) => name.to_string(),
        }
    }
}

/// What a file for learners has beside the deck and what is set.
struct File {
    /// For whom it is.
    to: String,
    news: News,
}

impl File {
    /// The whole text of it.
    fn text(
        &self,
        deck_text: &str,
        assignment: &Assignment,
        now: Moment,
    ) -> Result<String, Failure> {
        let assignment = Assignment {
            to: Label::new(&self.to).ok(),
            ..assignment.clone()
        };
        let whole = text(deck_text, &assignment, &self.news, now);
        if whole.len() <= deck::LONGEST_TEXT {
            return Ok(whole);
        }
        let what = format!(
            "{}: {} bytes; a deck with what stands behind it has at most {}",
            assignment.title,
            whole.len(),
            deck::LONGEST_TEXT
        );
        let hint = "set a shorter deck; nothing was written";
        Err(Failure::new(Kind::No, what, hint))
    }
}

/// What every file tells besides: what was judged, and what was taken back, that of `number` first.
fn news(store: &ClassStore, number: Option<u32>) -> Result<News, Failure> {
    let mut judged = store.judgements()?;
    judged.truncate(MOST_JUDGED);
    let taken_back = taken_back(&store.assignments()?, number);
    Ok(News { judged, taken_back })
}

/// Writes the file of an assignment.
pub(super) fn hand_out(asked: &HandOut, practice: &Practice, env: &Env) -> Result<(), Failure> {
    let now = clock_of(env)?.now();
    let store = asked.place.open_to_look(practice, env)?;
    let number = asked.number;
    let all = store.assignments()?;
    let kept = all.into_iter().find(|kept| kept.number == number);
    let (Some(kept), Some(deck_text)) = (kept, store.deck_text(number)?) else {
        return Err(unknown(number));
    };
    let file = File {
        to: Names::of(&store)?.to(&kept.target),
        news: news(&store, Some(number))?,
    };
    let whole = file.text(&deck_text, &kept.assignment, now)?;
    write_new(&asked.to, whole.as_bytes())?;
    let says = match kept.withdrawn {
        None => "",
        Some(_) => ", and says that it is taken back",
    };
    print_of(&asked.to, &handed_out(&asked.to, &file.to, says))
}

fn handed_out(path: &Path, to: &str, says: &str) -> String {
    let name = harmless(&path.display().to_string());
    let to = harmless(to);
    format!("{name}: for {to}{says}; they open it by `contrapalma assignment FILE`\n")
}

/// The names of what was taken back: that of `number` first, where it was, and then the latest.
fn taken_back(all: &[KeptAssignment], number: Option<u32>) -> Vec<Box<str>> {
    let back = all
        .iter()
        .filter_map(|kept| Some((Some(kept.number) == number, kept.withdrawn?, kept)));
    let mut back: Vec<_> = back.collect();
    back.sort_by_key(|(is_it, at, _)| std::cmp::Reverse((*is_it, *at)));
    let names = back
        .into_iter()
        .map(|(_, _, kept)| kept.assignment.id.clone());
    names.take(limit::TAKEN_BACK).collect()
}

fn unknown(number: u32) -> Failure {
    let what = format!("{number}: nothing of this number is set");
    Failure::new(Kind::Usage, what, "`class assignments` lists what is set")
}

/// Takes an assignment back.
pub(super) fn withdraw(asked: &Withdraw, practice: &Practice, env: &Env) -> Result<(), Failure> {
    let now = clock_of(env)?.now();
    let mut store = asked.place.open(practice, env)?;
    if !store.withdraw(asked.number, now)? {
        return Err(unknown(asked.number));
    }
    print(&format!(
        "{}: withdrawn; every file that you hand out from now on says so, and `class hand-out {} --to \
         FILE` writes one that says nothing else\n",
        asked.number, asked.number
    ))
}
