//! A list of a class: comma-separated, one learner a line.
//!
//! The first line names the columns, `name` and `group` in either order, or `name` alone; commas or
//! semicolons stand between fields, as table programs write them, and a field may stand in double
//! quotes. A list comes from outside: reading one says everything that is wrong, line by line.

use std::collections::HashMap;
use std::fmt;

use crate::label::{Label, printable};

/// The longest list that is read, in bytes.
pub const LONGEST_LIST: usize = 1 << 20;

/// The most lines of a list: several large schools.
pub const MOST_LINES: usize = 10_000;

/// The most faults that are told of one list.
const MOST_FAULTS: usize = 20;

/// What a line says.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct Line {
    /// The learner.
    pub name: Label,
    /// The group; `None` where the line names none.
    pub group: Option<Label>,
}

/// One thing that is wrong with a list.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub struct ListFault {
    /// On which line, from 1.
    pub line: usize,
    /// What was found, safe to show.
    pub found: String,
    /// What was expected.
    pub expected: String,
}

impl fmt::Display for ListFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self {
            line,
            found,
            expected,
        } = self;
        write!(f, "line {line}: found {found}; expected {expected}")
    }
}

/// What a list says, in its order.
///
/// # Errors
/// Everything that is wrong with it, as far as that fits on a screen.
pub fn read_list(bytes: &[u8]) -> Result<Vec<Line>, Vec<ListFault>> {
    let text = text_of(bytes).map_err(|fault| vec![fault])?;
    let mut lines = (1..).zip(text.lines());
    let head = Head::of(lines.next().map_or("", |(_, line)| line)).map_err(|fault| vec![fault])?;
    let mut known: HashMap<Line, usize> = HashMap::new();
    let (mut said, mut faults) = (Vec::new(), Vec::new());
    for (number, line) in lines.filter(|(_, line)| !line.trim().is_empty()) {
        match head.read(line) {
            Err((found, expected)) => faults.push(fault(number, found, expected)),
            Ok(_) if said.len() == MOST_LINES => {
                let expected = format!("at most {MOST_LINES} learners");
                faults.push(fault(number, "one more".to_owned(), expected));
                break;
            }
            Ok(line) => match known.get(&line) {
                Some(first) => {
                    let found = format!("{} again", quoted(line.name.as_str()));
                    let expected = format!("each once in a group; line {first} has it");
                    faults.push(fault(number, found, expected));
                }
                None => {
                    known.insert(line.clone(), number);
                    said.push(line);
                }
            },
        }
        if faults.len() == MOST_FAULTS {
            break;
        }
    }
    if said.is_empty() && faults.is_empty() {
        faults.push(fault(2, "nothing".to_owned(), "a name".to_owned()));
    }
    if faults.is_empty() {
        Ok(said)
    } else {
        Err(faults)
    }
}

/// The bytes as text, where they are UTF-8 and not too many.
fn text_of(bytes: &[u8]) -> Result<&str, ListFault> {
    if bytes.len() > LONGEST_LIST {
        let found = format!("more than {LONGEST_LIST} bytes");
        return Err(fault(1, found, "a list of a class".to_owned()));
    }
    let text = std::str::from_utf8(bytes).map_err(|error| {
        let before = bytes.get(..error.valid_up_to()).unwrap_or_default();
        let line = 1 + before.iter().filter(|byte| **byte == b'\n').count();
        fault(
            line,
            "bytes that are no UTF-8".to_owned(),
            "UTF-8 text".to_owned(),
        )
    })?;
    Ok(text.strip_prefix('\u{feff}').unwrap_or(text))
}

/// In which columns name and group stand, and what stands between columns.
struct Head {
    between: char,
    n_columns: usize,
    name: usize,
    group: Option<usize>,
}

impl Head {
    fn of(line: &str) -> Result<Self, ListFault> {
        let between = if line.contains(';') { ';' } else { ',' };
        let columns: Vec<&str> = line.trim().split(between).map(str::trim).collect();
        let at = |wanted: &str| columns.iter().position(|column| *column == wanted);
        let is_known = |column: &&str| matches!(*column, "name" | "group");
        let (name, group) = (at("name"), at("group"));
        let n_named = 1 + usize::from(group.is_some());
        match name {
            Some(name) if columns.iter().all(is_known) && columns.len() == n_named => Ok(Self {
                between,
                n_columns: n_named,
                name,
                group,
            }),
            _ => Err(fault(
                1,
                quoted(line),
                "\"name,group\" or \"name\"".to_owned(),
            )),
        }
    }

    /// What a line says, or what was found in it and what was expected.
    fn read(&self, line: &str) -> Result<Line, (String, String)> {
        let fields = fields(line.trim_end_matches('\r'), self.between)?;
        if fields.len() != self.n_columns {
            let found = format!("{} fields", fields.len());
            return Err((found, format!("{}, as the first line has", self.n_columns)));
        }
        let field = |at: usize| fields.get(at).map_or("", String::as_str);
        let group = self
            .group
            .map(field)
            .filter(|group| !group.trim().is_empty());
        Ok(Line {
            name: label(field(self.name), "a name")?,
            group: group.map(|group| label(group, "a group")).transpose()?,
        })
    }
}

fn label(text: &str, expected: &str) -> Result<Label, (String, String)> {
    Label::new(text).map_err(|error| (error.to_string(), format!("{expected} on one line")))
}

/// The fields of a line. Within quotes the sign between fields is a letter, and two quotes are one
/// (RFC 4180).
fn fields(line: &str, between: char) -> Result<Vec<String>, (String, String)> {
    let mut fields = vec![String::new()];
    let mut signs = line.chars().peekable();
    let mut is_quoted = false;
    while let Some(sign) = signs.next() {
        let field = fields.last_mut().expect("there is one from the beginning");
        match sign {
            '"' if is_quoted && signs.peek() == Some(&'"') => {
                signs.next();
                field.push('"');
            }
            '"' if is_quoted => is_quoted = false,
            '"' if field.is_empty() => is_quoted = true,
            sign if sign == between && !is_quoted => fields.push(String::new()),
            sign => field.push(sign),
        }
    }
    if is_quoted {
        let found = "a quotation mark that is not closed".to_owned();
        return Err((found, "its end on the same line".to_owned()));
    }
    Ok(fields)
}

fn fault(line: usize, found: String, expected: String) -> ListFault {
    ListFault {
        line,
        found,
        expected,
    }
}

fn quoted(text: &str) -> String {
    let short: String = printable(text).chars().take(60).collect();
    format!("\"{short}\"")
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[track_caller]
    fn check(list: &str, expected: &[(&str, Option<&str>)]) {
        let said = read_list(list.as_bytes()).expect("a list without faults");
        let said: Vec<(&str, Option<&str>)> = said
            .iter()
            .map(|line| (line.name.as_str(), line.group.as_ref().map(Label::as_str)))
            .collect();
        assert_eq!(said, expected);
    }

    #[track_caller]
    fn check_fault(list: impl AsRef<[u8]>, expected: &[&str]) {
        let faults = read_list(list.as_ref()).expect_err("something is wrong");
        let told: Vec<String> = faults.iter().map(ListFault::to_string).collect();
        assert_eq!(told, expected);
    }

    #[test]
    fn lists_are_read_as_table_programs_write_them() {
        check(
            "name,group\nAnna,3a\nBen,\n",
            &[("Anna", Some("3a")), ("Ben", None)],
        );
        check(
            "\u{feff}group;name\r\n3a;\"Ruiz; Ana\"\r\n\r\n",
            &[("Ruiz; Ana", Some("3a"))],
        );
        check(
            "name\n\"Ana \"\"la Niña\"\"\"\n",
            &[("Ana \"la Niña\"", None)],
        );
        // What is markup, a path or a formula is a name like any other.
        let odd = ["<b>Anna</b>", "../../etc", "=1+1"];
        let lines: String = odd.iter().map(|name| format!("{name}\n")).collect();
        check(&format!("name\n{lines}"), &odd.map(|name| (name, None)));
    }

    #[test]
    fn every_fault_is_told_with_its_line() {
        check_fault(
            "Anna,3a\n",
            &["line 1: found \"Anna,3a\"; expected \"name,group\" or \"name\""],
        );
        check_fault("name,group\n", &["line 2: found nothing; expected a name"]);
        check_fault(
            "name,group\nAnna\n,3a\nBen,3a\nBen,3a\n\"Cleo,3a\nD\u{1b}[2J,3a\nBen,3b\n",
            &[
                "line 2: found 1 fields; expected 2, as the first line has",
                "line 3: found an empty text; expected a name on one line",
                "line 5: found \"Ben\" again; expected each once in a group; line 4 has it",
                "line 6: found a quotation mark that is not closed; expected its end on the same line",
                "line 7: found the character U+001B, which cannot be shown; expected a name on one line",
            ],
        );
        check_fault(
            b"name\nAnna\n\xffBen\n",
            &["line 3: found bytes that are no UTF-8; expected UTF-8 text"],
        );
        check_fault(
            "x".repeat(LONGEST_LIST + 1),
            &["line 1: found more than 1048576 bytes; expected a list of a class"],
        );
        let long: String = (0..=MOST_LINES).map(|n| format!("n{n}\n")).collect();
        check_fault(
            format!("name\n{long}"),
            &["line 10002: found one more; expected at most 10000 learners"],
        );
    }

    proptest! {
        #[test]
        fn no_bytes_make_it_panic(bytes in proptest::collection::vec(any::<u8>(), 0..300)) {
            let mut list = b"name,group\n".to_vec();
            list.extend(&bytes);
            drop(read_list(&list));
            drop(read_list(&bytes));
        }
    }
}
