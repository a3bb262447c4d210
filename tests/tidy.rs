//! Holds the tables of DEVELOPERS.md: which module may import which, and where a foreign crate has
//! its home. Nothing else is checked here; sizes are for a reviewer's eye.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};

/// A module or crate, and what it may import or where it may be named.
type Table = BTreeMap<String, BTreeSet<String>>;

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

/// Reads the two columns of the table between the marks `<!-- name:begin -->` and `:end`.
fn table(name: &str) -> Table {
    let text = fs::read_to_string(root().join("DEVELOPERS.md")).expect("DEVELOPERS.md is there");
    let (_, rest) = text
        .split_once(&format!("<!-- {name}:begin -->"))
        .expect("the table begins");
    let (rows, _) = rest
        .split_once(&format!("<!-- {name}:end -->"))
        .expect("the table ends");
    let cells = rows
        .lines()
        .skip(3)
        .filter(|line| line.starts_with('|'))
        .map(|line| {
            let mut cells = line.split('|').skip(1).map(|cell| cell.replace('`', ""));
            let first = cells.next().unwrap_or_default().trim().to_owned();
            let second = cells.next().unwrap_or_default();
            (
                first,
                second.split_whitespace().map(str::to_owned).collect(),
            )
        });
    cells.collect()
}

/// All shipped Rust code of the crate, by its path below `src/`. Tests are left out: they may build
/// what they need from anywhere, and look from outside at what a module did.
fn sources() -> Vec<(String, String)> {
    let mut found = Vec::new();
    collect(&root().join("src"), &mut found);
    found.sort();
    found.retain(|(file, _)| !file.ends_with("tests.rs") && !file.ends_with("strategies.rs"));
    for (_, text) in &mut found {
        *text = shipped(text).to_owned();
    }
    found
}

/// What of a file is shipped: all before its module of tests. A mere declaration of one, which may
/// stand on top, ends nothing.
fn shipped(text: &str) -> &str {
    let written_out = "\n#[cfg(test)]\nmod tests {\n";
    text.split(written_out).next().unwrap_or_default()
}

fn collect(dir: &Path, found: &mut Vec<(String, String)>) {
    for entry in fs::read_dir(dir).expect("src can be listed") {
        let path = entry.expect("an entry").path();
        if path.is_dir() {
            collect(&path, found);
        } else if path.extension().is_some_and(|ending| ending == "rs") {
            let below = path.strip_prefix(root().join("src")).expect("below src");
            let text = fs::read_to_string(&path).expect("a source file");
            found.push((below.display().to_string(), text));
        }
    }
}

/// The lines that are code, without comments.
fn code(text: &str) -> impl Iterator<Item = (usize, &str)> {
    let lines = text.lines().enumerate().map(|(idx, line)| (idx + 1, line));
    lines.map(|(number, line)| (number, line.split("//").next().unwrap_or_default()))
}

/// The top-level modules that a line of code names by `crate::` or `contrapalma::`.
fn modules_named(line: &str) -> Vec<String> {
    let mut named = Vec::new();
    for prefix in ["crate::", "contrapalma::"] {
        for (at, _) in line.match_indices(prefix) {
            let rest = &line[at + prefix.len()..];
            if let Some(list) = rest.strip_prefix('{') {
                let list = list.split('}').next().unwrap_or_default();
                named.extend(list.split(',').map(|item| word(item.trim())));
            } else {
                named.push(word(rest));
            }
        }
    }
    named
}

fn word(text: &str) -> String {
    text.chars()
        .take_while(|c| c.is_alphanumeric() || *c == '_')
        .collect()
}

/// Whether a line names a crate or path as a path, not as a part of another word.
fn names(line: &str, path: &str) -> bool {
    line.match_indices(path).any(|(at, _)| {
        let before = line[..at].chars().next_back();
        let after = line[at + path.len()..].chars().next();
        let part_of_word = |c: Option<char>| c.is_some_and(|c| c.is_alphanumeric() || c == '_');
        // `rodio::cpal` names rodio; `my::rodio` does not.
        !part_of_word(before)
            && before != Some(':')
            && !part_of_word(after)
            && line[at + path.len()..].starts_with("::")
    })
}

#[test]
fn modules_import_only_what_the_table_allows() {
    let table = table("layers");
    let mut faults = Vec::new();
    for (file, text) in sources() {
        let module = file.split(['/', '.']).next().unwrap_or_default().to_owned();
        if module == "lib" || module == "main" {
            continue;
        }
        let Some(allowed) = table.get(&module) else {
            faults.push(format!("{file}: module {module} is not in the table"));
            continue;
        };
        for (number, line) in code(&text) {
            for named in modules_named(line) {
                if table.contains_key(&named) && named != module && !allowed.contains(&named) {
                    faults.push(format!("{file}:{number}: {module} may not import {named}"));
                }
            }
        }
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

#[test]
fn the_table_names_the_modules_that_there_are_and_has_no_circle() {
    let table = table("layers");
    let story = fs::read_to_string(root().join("src/lib.rs")).expect("lib.rs");
    let declared: BTreeSet<String> = story
        .lines()
        .filter_map(|line| line.strip_prefix("pub mod "))
        .map(word)
        .collect();
    assert_eq!(declared, table.keys().cloned().collect());
    // Whoever imports something comes after it in some order.
    let mut left = table;
    while !left.is_empty() {
        let free = left
            .iter()
            .find(|(_, needs)| needs.iter().all(|need| !left.contains_key(need)));
        let Some(free) = free.map(|(module, _)| module.clone()) else {
            panic!("a circle among {:?}", left.keys().collect::<Vec<_>>());
        };
        left.remove(&free);
    }
}

#[test]
fn foreign_crates_stay_in_their_homes() {
    let homes = table("homes");
    let mut faults = Vec::new();
    for (file, text) in sources() {
        for (number, line) in code(&text) {
            for (named, homes) in &homes {
                let at_home = homes.iter().any(|home| file.starts_with(home.as_str()));
                // A module of ours may have a crate's name, as the clap of hands has.
                let is_ours = text.contains(&format!("mod {named};"));
                if names(line, named) && !at_home && !is_ours {
                    faults.push(format!("{file}:{number}: {named} is at home in {homes:?}"));
                }
            }
        }
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

#[test]
fn only_the_command_line_prints() {
    let mut faults = Vec::new();
    for (file, text) in sources()
        .into_iter()
        .filter(|(file, _)| !file.starts_with("cli/"))
    {
        for (number, line) in code(&text) {
            if ["println!(", "print!(", "eprintln!(", "eprint!("]
                .iter()
                .any(|m| line.contains(m))
            {
                faults.push(format!("{file}:{number}: prints"));
            }
        }
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

#[test]
fn the_checks_see_what_they_look_for() {
    assert_eq!(modules_named("use crate::rhythm::Layer;"), ["rhythm"]);
    assert_eq!(
        modules_named("use crate::{rhythm, sound::Output};"),
        ["rhythm", "sound"]
    );
    assert_eq!(
        modules_named("let x = crate::app::App::open(crate::store::y);"),
        ["app", "store"]
    );
    assert!(names("use rodio::cpal;", "rodio"));
    assert!(names("    std::fs::write(a, b)", "std::fs"));
    assert!(!names("use crate::prodio::x;", "rodio"));
    assert!(!names("let rodio = 1;", "rodio"));
    let declared = "#[cfg(test)]\nmod tests;\nuse crate::app;\n";
    assert_eq!(shipped(declared), declared);
    assert_eq!(
        shipped("a\n#[cfg(test)]\nmod tests {\nuse crate::app;\n"),
        "a"
    );
    let lines: Vec<_> = code("a // crate::app\nb").collect();
    assert_eq!(lines, [(1, "a "), (2, "b")]);
}
