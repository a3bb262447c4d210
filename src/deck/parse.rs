//! From a text to a deck: what its exercises say together, and whether each can be asked.

use std::collections::{BTreeMap, HashMap};
use std::sync::Arc;

use crate::phrase::Level;
use crate::quiz::passage::Passage;
use crate::quiz::{Form, Kind, Material, Miss, Question, Skill};
use crate::rhythm::Counting;
use crate::world::Seed;

use super::assigned::{self, Behind};
use super::exercise::{self, Draft, key, optional};
use super::fault::{Fault, Faults, nearest, quoted};
use super::part::{self, OwnIds, Shelf};
use super::spoken::Spoken;
use super::written::{Document, Key, Shape, Table, Value};
use super::{Deck, Exercise, Order, passage, recipe, words};

/// The longest text that is read, in bytes: far more than a deck of the most exercises.
pub const LONGEST_TEXT: usize = 256 << 10;

/// The most exercises of a deck.
pub(super) const MOST_EXERCISES: usize = 200;

/// The format that is read.
const FORMAT: i64 = 1;

/// The keys of a deck.
pub(super) const KEYS: [Key; 12] = [
    key("format", "format = 1", Shape::Exactly(FORMAT)),
    key(
        "id",
        "an id of 1 to 40 lower-case letters, digits and hyphens",
        Shape::Id,
    ),
    key("title", "a short text on one line", Shape::Label),
    optional(
        "order",
        "path, free where nothing waits for anything, or once for one block of each",
        Shape::Word(|| Order::ALL.map(Order::id).to_vec()),
    ),
    optional(
        "counting",
        exercise::COUNTINGS,
        Shape::Word(exercise::counting_ids),
    ),
    optional(
        "takes",
        "skills of a deck that comes with the program in a list, as [\"path/plain\"]",
        Shape::Skills(MOST_EXERCISES),
    ),
    optional(
        "part",
        "parts, each under [[part]] with its title and what it takes",
        Shape::Tables(&part::KEYS, part::MOST_PARTS),
    ),
    optional(
        "repairs",
        "lines for ways to miss, under [repairs.clap] or another kind of question",
        Shape::Table(&words::KIND_KEYS),
    ),
    // Needed where nothing is taken.
    optional(
        "exercise",
        "one exercise or more, each under [[exercise]], or what the deck takes",
        Shape::Tables(&exercise::KEYS, MOST_EXERCISES),
    ),
    optional(
        "passage",
        "passages of recordings, each under [[passage]]",
        Shape::Tables(&passage::KEYS, passage::MOST_PASSAGES),
    ),
    optional(
        "assignment",
        "what is to be done with it, under [assignment]",
        Shape::Table(&assigned::KEYS),
    ),
    optional(
        "judged",
        "what was judged about phrases, under [judged]",
        Shape::Table(&assigned::JUDGED_KEYS),
    ),
];

/// Whether exercises are tried by making questions of them.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Trial {
    /// While they are read.
    Now,
    /// They were tried before: when their deck was set, or, where they come with the program, by its
    /// tests at every change.
    Before,
}

/// Reads a deck, and tries each exercise by making questions of it.
///
/// # Errors
/// All faults of the text, in its order.
pub fn parse(text: &str) -> Result<Deck, Vec<Fault>> {
    parse_with(text, Trial::Now)
}

/// The same of a text that was read so before: its exercises are not tried again.
///
/// # Errors
/// All faults of the text, in its order.
pub fn parse_tried(text: &str) -> Result<Deck, Vec<Fault>> {
    parse_with(text, Trial::Before)
}

pub(super) fn parse_with(text: &str, trial: Trial) -> Result<Deck, Vec<Fault>> {
    parse_with_behind(text, trial).map(|(deck, _)| deck)
}

/// The same with what stands behind the deck.
pub(super) fn parse_with_behind(text: &str, trial: Trial) -> Result<(Deck, Behind), Vec<Fault>> {
    let mut faults = Faults::default();
    match read(text, trial, &mut faults) {
        Some(read) if faults.is_empty() => Ok(read),
        _ => Err(faults.placed_in(text)),
    }
}

fn read(text: &str, trial: Trial, faults: &mut Faults) -> Option<(Deck, Behind)> {
    if text.len() > LONGEST_TEXT {
        let found = format!("{} bytes", text.len());
        faults.add(0, &found, &format!("at most {LONGEST_TEXT}"));
        return None;
    }
    let document = Document::read(text, faults);
    let table = document.table(&KEYS, &["part", "exercise"], faults);
    table.need("format", faults, format);
    let id = table.need("id", faults, exercise::id);
    let title = table.need("title", faults, Value::label);
    let mut shelf = Shelf::default();
    let taken = table.or("takes", Vec::new(), faults, |value, faults| {
        shelf.takes(value, faults)
    });
    let passages = passage::read(&table, faults);
    let counting = table.or("counting", None, faults, |value, faults| {
        recipe::counting(value, faults).map(Some)
    });
    let drafts = drafts(&table, &passages, counting.flatten(), faults);
    let places = places(&drafts, faults);
    // Where an exercise could not be read, nobody knows what its id was.
    let is_lost = text.matches("[exercise").count() > drafts.len()
        || drafts.iter().any(|draft| draft.id.is_none());
    if faults.is_empty() || !is_lost {
        check_that_needs_exist(&drafts, &places, faults);
    }
    check_that_needs_end(&drafts, &places, faults);
    let own = OwnIds {
        places: &places,
        is_lost,
    };
    let written = part::read(&table, &mut shelf, &own, faults);
    let repairs = words::repairs_of_kinds(&table, faults);
    let bodies = drafts.iter().filter_map(|draft| draft.body.as_ref());
    let mut turns_not_asked: Vec<Arc<Passage>> = Vec::new();
    for passage in bodies.flat_map(|body| &body.unasked) {
        if !turns_not_asked.contains(passage) {
            turns_not_asked.push(Arc::clone(passage));
        }
    }
    let exercises = drafts
        .into_iter()
        .map(|draft| finish((id, &repairs), draft, trial, faults))
        .collect::<Vec<Option<Option<Exercise>>>>();
    let order = table.or("order", Order::Path, faults, |value, faults| {
        value.one_of(&Order::ALL, Order::id, faults)
    });
    let exercises = exercises.into_iter().collect::<Option<Vec<_>>>();
    let ordered = taken.zip(exercises).map(|(taken, own)| {
        let own = own.into_iter().flatten().collect();
        part::in_order(taken, written, own)
    });
    let n_exercises = ordered.as_ref().map(|(exercises, _)| exercises.len());
    let behind = assigned::read(&table, n_exercises, faults);
    let (exercises, parts) = ordered?;
    if exercises.is_empty() && faults.is_empty() {
        let at = table.get("exercise").map_or(table.at(), |value| value.at);
        let found = "no exercise that a passage fits";
        faults.add(
            at,
            found,
            "a passage for one of them, or phrases that are made",
        );
    }
    let deck = Deck {
        id: id?.into(),
        title: title?,
        order: order?,
        exercises,
        parts,
        turns_not_asked,
    };
    Some((deck, behind))
}

fn format(value: Value<'_>, faults: &mut Faults) -> Option<()> {
    let number = value.whole(faults)?;
    if number != FORMAT {
        let hint = "this program reads decks of format 1";
        faults.add_hinted(value.at, &value.found(), value.expected, Some(hint));
    }
    Some(())
}

/// The exercises of its own, which a deck that takes some may be without.
fn drafts<'a>(
    table: &Table<'a>,
    passages: &[Arc<Passage>],
    counting: Option<Counting>,
    faults: &mut Faults,
) -> Vec<Draft<'a>> {
    let takes = table.get("takes").is_some() || table.get("part").is_some();
    if takes && table.get("exercise").is_none() {
        return Vec::new();
    }
    let tables = table.need("exercise", faults, |value, faults| {
        Some(value.tables(MOST_EXERCISES, &exercise::KEYS, faults))
    });
    let tables = tables.unwrap_or_default();
    tables
        .iter()
        .map(|table| exercise::read(table, passages, counting, faults))
        .collect()
}

/// Where in the deck each id stands, from 0. An id that stands twice is a fault.
fn places<'a>(drafts: &[Draft<'a>], faults: &mut Faults) -> HashMap<&'a str, usize> {
    let mut places = HashMap::new();
    for (idx, draft) in drafts.iter().enumerate() {
        let Some(value) = draft.written_id else {
            continue;
        };
        let name = value.plain();
        if let Some(first) = places.get(name) {
            let found = format!("{} again", quoted(name));
            let hint = format!("exercise {} of the deck has it", first + 1);
            faults.add_hinted(value.at, &found, "an id of its own", Some(&hint));
        } else {
            places.insert(name, idx);
        }
    }
    places
}

fn check_that_needs_exist(
    drafts: &[Draft<'_>],
    places: &HashMap<&str, usize>,
    faults: &mut Faults,
) {
    for need in drafts.iter().flat_map(|draft| &draft.needs) {
        if !places.contains_key(need.name) {
            let mut known: Vec<&str> = places.keys().copied().collect();
            // The same hint every time, whatever the order of the map.
            known.sort_unstable();
            let hint = nearest(need.name, known);
            let expected = "the id of an exercise of this deck";
            faults.add_hinted(
                need.value.at,
                &need.value.found(),
                expected,
                hint.as_deref(),
            );
        }
    }
}

/// Notes what in the end would need itself.
fn check_that_needs_end(drafts: &[Draft<'_>], places: &HashMap<&str, usize>, faults: &mut Faults) {
    let mut walk = Walk {
        drafts,
        places,
        is_done: vec![false; drafts.len()],
        path: Vec::new(),
    };
    for idx in 0..drafts.len() {
        walk.visit(idx, faults);
    }
}

/// A walk along needs, depth first; no deeper than there are exercises.
struct Walk<'a> {
    drafts: &'a [Draft<'a>],
    places: &'a HashMap<&'a str, usize>,
    is_done: Vec<bool>,
    path: Vec<usize>,
}

impl Walk<'_> {
    fn visit(&mut self, idx: usize, faults: &mut Faults) {
        if self.is_done[idx] {
            return;
        }
        self.path.push(idx);
        for need in &self.drafts[idx].needs {
            let Some(next) = self.places.get(need.name).copied() else {
                continue;
            };
            match self.path.iter().position(|before| *before == next) {
                Some(first) => {
                    let round = self.path[first..].iter().chain([&next]);
                    let name = |idx: &usize| Some(self.drafts[*idx].written_id?.plain());
                    let names: Vec<&str> = round.filter_map(name).collect();
                    let found = format!("needs that come round: {}", names.join(" > "));
                    let expected = "needs that end at an exercise without needs";
                    faults.add(need.value.at, &found, expected);
                }
                None => self.visit(next, faults),
            }
        }
        self.path.pop();
        self.is_done[idx] = true;
    }
}

/// The exercise of a draft, once it made questions at both ends of its levels. One without a passage
/// that fits is left out, and so is no fault.
fn finish(
    (deck, repairs): (Option<&str>, &BTreeMap<Kind, BTreeMap<Miss, Spoken>>),
    draft: Draft<'_>,
    trial: Trial,
    faults: &mut Faults,
) -> Option<Option<Exercise>> {
    let body = draft.body?;
    let Some(material) = body.material else {
        return Some(None);
    };
    let is_asked = [body.levels.easiest(), body.levels.hardest()].map(|level| {
        trial == Trial::Before || is_asked(&body.form, &material, level, draft.at, faults)
    });
    let skill = |name: &str| Some(Skill(format!("{}/{name}", deck?).into()));
    let needs = draft.needs.iter().map(|need| skill(need.name));
    let exercise = Exercise {
        skill: skill(draft.id?)?,
        title: body.words.title,
        line: body.words.line,
        repairs: body.words.repairs.or(repairs.get(&body.form.kind())),
        needs: needs.collect::<Option<_>>()?,
        form: body.form,
        material,
        levels: body.levels,
    };
    is_asked
        .into_iter()
        .all(|asked| asked)
        .then_some(Some(exercise))
}

/// How many questions are made at a level before an exercise is trusted. One is not enough: there
/// are recipes of which every second seed has a phrase and every other has none.
const N_TRIED: u64 = 8;

fn is_asked(
    form: &Form,
    material: &Material,
    level: Level,
    at: usize,
    faults: &mut Faults,
) -> bool {
    // What a person marked has its answer.
    let Some(recipe) = material.recipe() else {
        return true;
    };
    // Any seeds would do; they are fixed so that a deck is read the same way every time.
    let asked =
        (0..N_TRIED).try_for_each(|n| Question::ask(form, recipe, level, &[], Seed(n)).map(drop));
    if let Err(error) = &asked {
        let expected = "a recipe that can be asked at its easiest and at its hardest level";
        faults.add(at, &error.to_string(), expected);
    }
    asked.is_ok()
}
