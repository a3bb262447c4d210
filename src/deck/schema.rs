//! The deck format as a JSON Schema, for editors that complete and check what is typed.
//!
//! It is made from the tables of keys by which decks are read, so that the two name the same keys
//! and words. What only a reader can tell, as whether needs come round or a recipe can be asked, is
//! not in it: `contrapalma decks check` tells that. Read [`schema`] first.

use serde_json::{Map, Value, json};

use crate::label::Label;
use crate::quiz::Kind;

use super::written::{Key, Presence, Shape};
use super::{Deck, OWN, of_the_program, parse};

/// A JSON Schema of the draft 2020-12 that every sound deck satisfies, indented, with a newline at
/// its end.
pub fn schema() -> String {
    let mut whole = Map::from_iter([
        (
            "$schema".to_owned(),
            json!("https://json-schema.org/draft/2020-12/schema"),
        ),
        ("title".to_owned(), json!("A deck of contrapalma, format 1")),
        (
            "anyOf".to_owned(),
            json!([
                { "required": ["takes"] },
                { "required": ["part"] },
                { "required": ["exercise"] },
            ]),
        ),
    ]);
    whole.extend(table(&parse::KEYS));
    format!("{:#}\n", Value::Object(whole))
}

/// A table of these keys and no others.
fn table(keys: &'static [Key]) -> Map<String, Value> {
    let properties: Map<String, Value> = keys
        .iter()
        .map(|key| (key.name.to_owned(), property(key)))
        .collect();
    let needed = names(keys, |key| matches!(key.presence, Presence::Needed));
    let mut table = Map::from_iter([
        ("type".to_owned(), json!("object")),
        ("properties".to_owned(), Value::Object(properties)),
        ("required".to_owned(), json!(needed)),
        ("additionalProperties".to_owned(), json!(false)),
    ]);
    if keys.iter().any(|key| key.presence.only().is_some()) {
        let mut rules: Vec<Value> = Kind::ALL.map(|kind| rule(keys, kind)).to_vec();
        rules.push(made_or_cut(keys));
        table.insert("allOf".to_owned(), Value::Array(rules));
    }
    table
}

/// What an exercise that asks `kind` has to hold beyond what all hold, and what it may not.
fn rule(keys: &'static [Key], kind: Kind) -> Value {
    let only = |key: &&Key| key.presence.only();
    let needed = names(keys, |key| {
        key.presence.only().is_some() && key.presence.is_needed(kind)
    });
    let refused: Map<String, Value> = keys
        .iter()
        .filter(|key| only(key).is_some_and(|only| !only.kinds.contains(&kind)))
        .map(|key| (key.name.to_owned(), json!(false)))
        .collect();
    json!({
        "if": {
            "properties": { "asks": { "const": kind.id() } },
            "required": ["asks"],
        },
        "then": { "required": needed, "properties": refused },
    })
}

/// Where passages of recordings are asked, nothing says how phrases are made, and elsewhere what has to.
fn made_or_cut(keys: &'static [Key]) -> Value {
    let needed = names(keys, |key| matches!(key.presence, Presence::NeededToMake));
    let to_make = keys.iter().filter(|key| key.presence.is_to_make());
    let refused: Map<String, Value> = to_make
        .map(|key| (key.name.to_owned(), json!(false)))
        .collect();
    json!({
        "if": { "required": ["passages"] },
        "then": { "properties": refused },
        "else": { "required": needed },
    })
}

fn names(keys: &'static [Key], is_meant: impl Fn(&Key) -> bool) -> Vec<&'static str> {
    let meant = keys.iter().filter(|key| is_meant(key));
    meant.map(|key| key.name).collect()
}

fn property(key: &'static Key) -> Value {
    let mut property = shape(&key.shape);
    property.insert("description".to_owned(), json!(key.expected));
    Value::Object(property)
}

fn shape(shape: &'static Shape) -> Map<String, Value> {
    let value = match shape {
        Shape::Exactly(number) => json!({ "const": number }),
        Shape::Id => id(),
        Shape::Label => json!({ "type": "string", "minLength": 1, "maxLength": Label::LONGEST }),
        Shape::Word(words) => json!({ "enum": words() }),
        Shape::Words(words) => set(&json!({ "enum": words() }), 1, words().len()),
        Shape::Patterns(words, most) => {
            let counts = json!({ "type": "string", "pattern": "^[0-9]+(-[0-9]+)*$" });
            let one = json!({ "anyOf": [{ "enum": words() }, counts] });
            json!({ "anyOf": [one, set(&one, 1, *most)] })
        }
        Shape::Ids(most) => set(&id(), 0, *most),
        Shape::AllOrIds(most) => json!({ "anyOf": [{ "const": "all" }, set(&id(), 1, *most)] }),
        Shape::Hash => json!({ "type": "string", "pattern": "^sha256:[0-9a-fA-F]{64}$" }),
        Shape::Bytes => json!({ "type": "integer", "minimum": 0 }),
        Shape::Text => json!({ "type": "string" }),
        Shape::Cycle => json!({ "type": "integer", "minimum": 2, "maximum": 48 }),
        Shape::Times => {
            let time = json!({ "type": "number", "minimum": 0 });
            json!({ "type": "array", "items": time, "minItems": 3 })
        }
        Shape::Marks => json!({ "type": "string", "pattern": "^[32b?.]+$" }),
        Shape::Day => json!({ "type": "string", "pattern": "^[0-9]{4}-[0-9]{2}-[0-9]{2}$" }),
        Shape::Whole(low, high) => json!({ "type": "integer", "minimum": low, "maximum": high }),
        Shape::Texts(most) => set(&json!({ "type": "string" }), 0, *most),
        Shape::Skills(most) => set(&json!({ "enum": skills() }), 1, *most),
        Shape::SkillsOrIds(most) => {
            let one = json!({ "anyOf": [{ "enum": skills() }, id()] });
            set(&one, 1, *most)
        }
        // Layers in counts, as `rhythm::Layer` reads them.
        Shape::Clappings(most) => {
            let counts = r"^\s*[0-9]+\s*([-·]\s*[0-9]+\s*)*$";
            set(&json!({ "type": "string", "pattern": counts }), 1, *most)
        }
        Shape::Pair(within) => {
            let (low, high) = within();
            let number = json!({ "type": "integer", "minimum": low, "maximum": high });
            json!({ "type": "array", "items": number, "minItems": 2, "maxItems": 2 })
        }
        Shape::Number(within) => {
            let (low, high) = within();
            json!({ "type": "number", "minimum": low, "maximum": high })
        }
        Shape::Table(keys) => Value::Object(table(keys)),
        Shape::Tables(keys, most) => {
            let items = Value::Object(table(keys));
            json!({ "type": "array", "items": items, "minItems": 1, "maxItems": most })
        }
    };
    match value {
        Value::Object(map) => map,
        _ => Map::new(),
    }
}

fn id() -> Value {
    json!({ "type": "string", "pattern": "^[a-z0-9-]{1,40}$" })
}

fn set(items: &Value, fewest: usize, most: usize) -> Value {
    json!({
        "type": "array",
        "items": items,
        "minItems": fewest,
        "maxItems": most,
        "uniqueItems": true,
    })
}

/// The skills that a deck may take.
fn skills() -> Vec<String> {
    let decks: Vec<Deck> = OWN.iter().map(|(_, text)| of_the_program(text)).collect();
    let exercises = decks.iter().flat_map(Deck::exercises);
    exercises
        .map(|exercise| exercise.skill.to_string())
        .collect()
}

#[cfg(test)]
mod tests {
    use toml::de::{DeTable, DeValue};

    use super::*;
    use crate::deck::{COURSES, exercise, start};

    fn whole() -> Value {
        serde_json::from_str(&schema()).expect("the schema is JSON")
    }

    /// A deck as JSON, as editors see it.
    fn as_json(text: &str) -> Value {
        let table = DeTable::parse(text).expect("sound TOML");
        of_table(table.get_ref())
    }

    fn of_table(table: &DeTable<'_>) -> Value {
        let entry = |(key, value): (&toml::Spanned<_>, &toml::Spanned<DeValue<'_>>)| {
            let key: &std::borrow::Cow<'_, str> = key.get_ref();
            (key.to_string(), of_value(value.get_ref()))
        };
        Value::Object(table.iter().map(entry).collect())
    }

    fn of_value(value: &DeValue<'_>) -> Value {
        match value {
            DeValue::String(text) => json!(text),
            DeValue::Integer(n) => json!(n.as_str().parse::<i64>().expect("a whole number")),
            DeValue::Float(n) => json!(n.as_str().parse::<f64>().expect("a number")),
            DeValue::Boolean(is_so) => json!(is_so),
            DeValue::Datetime(moment) => json!(moment.to_string()),
            DeValue::Array(items) => items.iter().map(|item| of_value(item.get_ref())).collect(),
            DeValue::Table(table) => of_table(table),
        }
    }

    /// Whether a validator of the draft 2020-12 that knows nothing of us takes it.
    fn accepts(document: &Value) -> bool {
        let mut schemas = boon::Schemas::new();
        let mut compiler = boon::Compiler::new();
        compiler
            .add_resource("deck.json", whole())
            .expect("a resource");
        let index = compiler
            .compile("deck.json", &mut schemas)
            .expect("the schema is one");
        schemas.validate(document, index).is_ok()
    }

    #[test]
    fn it_is_a_schema_of_the_draft() {
        let mut schemas = boon::Schemas::new();
        let mut compiler = boon::Compiler::new();
        let draft = "https://json-schema.org/draft/2020-12/schema";
        let meta = compiler.compile(draft, &mut schemas).expect("the draft");
        schemas.validate(&whole(), meta).expect("it is lawful");
    }

    #[test]
    fn it_accepts_every_deck_that_the_program_has() {
        for (id, text) in OWN.iter().chain(&COURSES) {
            assert!(accepts(&as_json(text)), "{id}");
        }
        assert!(accepts(&as_json(&start("tuesday"))));
        let manual = include_str!("../../DEVELOPERS.md");
        let (_, rest) = manual.split_once("```toml\n").expect("the example begins");
        let (example, _) = rest.split_once("```").expect("the example ends");
        assert!(accepts(&as_json(example)), "the example for contributors");
    }

    #[test]
    fn it_refuses_what_the_reader_refuses() {
        let sound = start("tuesday");
        for (old, new) in [
            ("format = 1", "format = 2"),
            ("format = 1\n", ""),
            ("id = \"tuesday\"", "id = \"Tuesday\""),
            ("title = \"My deck\"", "titel = \"My deck\""),
            ("title = \"My deck\"", "title = \"\""),
            ("order = \"path\"", "order = \"none\""),
            ("# takes", "takes = [\"path/nowhere\"]\n# takes"),
            (
                "# takes",
                "[[part]]\ntitle = \"P\"\ntakes = [\"path/nowhere\"]\n# takes",
            ),
            ("# takes", "[[part]]\ntakes = [\"low-notes\"]\n# takes"),
            ("asks = \"clap\"", "asks = \"dance\""),
            ("guide = \"half\"\n", ""),
            ("guide = \"half\"", "by = \"taps\"\nguide = \"half\""),
            ("fits = \"guitar\"\n", ""),
            ("[120, 220]", "[120]"),
            ("[120, 220]", "[120, 9000]"),
            ("\"threes\", \"twos\"", "\"threes\", \"threes\""),
            ("\"2-5\"", "\"2+5\""),
            ("hardest = 2", "hardest = 0.5"),
            ("[\"low-notes\"]", "\"low-notes\""),
        ] {
            let text = sound.replacen(old, new, 1);
            assert_ne!(text, sound, "{old} is in the deck");
            assert!(parse::parse(&text).is_err(), "{new} is no fault");
            assert!(!accepts(&as_json(&text)), "{new}");
        }
    }

    /// What the reader says may stand, when it meets a key that may not.
    #[track_caller]
    fn told_keys(text: &str) -> Vec<String> {
        let faults = parse::parse(text).expect_err("a key that nobody knows");
        let fault = faults.iter().find(|fault| fault.found.contains("nonesuch"));
        let expected = &fault.expect("it is told").expected;
        let list = expected.strip_prefix("one of ").expect("a list of keys");
        list.split(", ").map(str::to_owned).collect()
    }

    #[test]
    fn its_keys_are_those_that_the_reader_takes() {
        let schema = whole();
        let exercise = &schema["properties"]["exercise"]["items"];
        let part = &schema["properties"]["part"]["items"];
        let level = &exercise["properties"]["level"];
        let tables = [
            (&schema, "format = 1", "nonesuch = 1\nformat = 1"),
            (exercise, "asks = ", "nonesuch = 1\nasks = "),
            (part, "# takes", "[[part]]\nnonesuch = 1\n# takes"),
            (level, "{ easiest", "{ nonesuch = 1, easiest"),
        ];
        for (table, old, new) in tables {
            let told = told_keys(&start("tuesday").replacen(old, new, 1));
            let properties = table["properties"].as_object().expect("keys");
            let mut known: Vec<&String> = properties.keys().collect();
            let mut told: Vec<&String> = told.iter().collect();
            known.sort();
            told.sort();
            assert_eq!(known, told);
        }
    }

    #[test]
    fn a_key_is_needed_where_the_reader_misses_it() {
        let kinds = [
            ("name-feel", ""),
            ("find-start", "by = \"taps\"\n"),
            (
                "fit-clapping",
                "fits = \"guitar\"\nclappings = [\"1-4\", \"1-3-5\"]\n",
            ),
            (
                "clap",
                "guide = \"half\"\nclappings = [\"1-4\", \"1-3-5\"]\n",
            ),
        ];
        for (asks, own) in kinds {
            let lines = format!(
                "id = \"e\"\ntitle = \"E\"\nasks = \"{asks}\"\nline = \"L\"\n{own}\
                 families = [\"plain\"]\nfeels = [\"threes\", \"twos\"]\ntempo = [120, 200]\n\
                 cycles = [4, 4]\nlevel = {{ easiest = 8, criterion = 5, hardest = 3 }}\n\
                 entry = [\"one\"]\nbell = \"none\"\nrepair = \"R\"\n"
            );
            let head = "format = 1\nid = \"d\"\ntitle = \"D\"\n[[exercise]]\n";
            let kind = Kind::from_id(asks).expect("a kind");
            assert!(parse::parse(&format!("{head}{lines}")).is_ok(), "{asks}");
            for line in lines.lines() {
                let (name, _) = line.split_once(" = ").expect("a key and a value");
                let without = format!("{head}{lines}").replacen(&format!("\n{line}\n"), "\n", 1);
                // The keys of an exercise alone: those of the deck have the same names.
                let without = if matches!(name, "id" | "title") {
                    format!("{head}{}", lines.replacen(&format!("{line}\n"), "", 1))
                } else {
                    without
                };
                let key = exercise::KEYS.iter().find(|key| key.name == name);
                let is_needed = key.expect("a known key").presence.is_needed(kind);
                let is_missed = parse::parse(&without).is_err();
                assert_eq!(is_missed, is_needed, "{name} for {asks}");
                assert_eq!(accepts(&as_json(&without)), !is_needed, "{name} for {asks}");
            }
        }
    }
}
