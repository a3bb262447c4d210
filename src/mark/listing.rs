//! Marks as a list in a file: comma-separated, one stretch a line.
//!
//! The first line is [`HEAD`]; the fields of every other are two times in seconds and the names of a
//! mark and of a sureness. A list comes from outside: reading one says everything that is wrong.

use std::fmt;

use super::{Mark, Marked, Marks, Stretch, Sure};
use crate::label::printable;

/// The first line of a list.
pub const HEAD: &str = "from,until,mark,confidence";

/// The most stretches of a list: more than anybody marks in a hundred hours.
const MOST: usize = 100_000;

/// The most faults that are told of one list.
const MOST_FAULTS: usize = 20;

/// One thing that is wrong with a list.
#[derive(Clone, Debug, PartialEq, Eq)]
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

/// Marks as a list, times to the millisecond. What begins and ends in the same millisecond is left out.
pub fn list_of(marks: &Marks) -> String {
    let line = |marked: &Marked| {
        let time = |seconds: f64| format!("{seconds:.3}");
        let (from, until) = (time(marked.stretch.from()), time(marked.stretch.until()));
        let (mark, sure) = (marked.mark.id(), marked.sure.id());
        (from != until).then(|| format!("{from},{until},{mark},{sure}\n"))
    };
    let lines = marks.all().iter().filter_map(line);
    [format!("{HEAD}\n")].into_iter().chain(lines).collect()
}

/// What a list says, in its order; nothing where its first line stands alone.
///
/// # Errors
/// Everything that is wrong with it, as far as that fits on a screen.
pub fn read_list(text: &str) -> Result<Vec<Marked>, Vec<ListFault>> {
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let mut lines = (1..).zip(text.lines().map(str::trim_end));
    let head = lines.next().map_or("", |(_, head)| head);
    if head != HEAD {
        return Err(vec![fault(1, quoted(head), format!("{HEAD:?}"))]);
    }
    let (mut said, mut faults) = (Vec::new(), Vec::new());
    for (number, line) in lines.filter(|(_, line)| !line.is_empty()) {
        match marked(line) {
            Ok(_) if said.len() == MOST => {
                let expected = format!("at most {MOST} stretches");
                faults.push(fault(number, "one more".to_owned(), expected));
                break;
            }
            Ok(marked) => said.push(marked),
            Err((found, expected)) => faults.push(fault(number, found, expected)),
        }
        if faults.len() == MOST_FAULTS {
            break;
        }
    }
    if faults.is_empty() {
        Ok(said)
    } else {
        Err(faults)
    }
}

fn fault(line: usize, found: String, expected: String) -> ListFault {
    ListFault {
        line,
        found,
        expected,
    }
}

fn quoted(text: &str) -> String {
    format!("{:?}", printable(text))
}

/// What a line says, or what was found in it and what was expected.
fn marked(line: &str) -> Result<Marked, (String, String)> {
    let fields: Vec<&str> = line.splitn(6, ',').map(str::trim).collect();
    let &[from, until, mark, sure] = fields.as_slice() else {
        return Err((quoted(line), format!("four fields, {HEAD}")));
    };
    let (from, until) = (time(from)?, time(until)?);
    let stretch = Stretch::new(from, until).map_err(|_| {
        let found = format!("an end at {until} s");
        (found, format!("one later than its begin at {from} s"))
    })?;
    Ok(Marked {
        stretch,
        mark: Mark::from_id(mark).ok_or_else(|| one_of(mark, &Mark::ALL.map(Mark::id)))?,
        sure: Sure::from_id(sure).ok_or_else(|| one_of(sure, &Sure::ALL.map(Sure::id)))?,
    })
}

/// A time in decimal digits, such as `61.5`: neither `nan` nor `1e3`, which nobody writes.
fn time(text: &str) -> Result<f64, (String, String)> {
    let is_plain = text.chars().all(|c| c.is_ascii_digit() || c == '.');
    let time = text.parse().ok().filter(|_| is_plain);
    let time = time.filter(|time| (0.0..=Stretch::LATEST).contains(time));
    time.ok_or_else(|| {
        let expected = format!("seconds from 0 to {}, such as 61.5", Stretch::LATEST);
        (quoted(text), expected)
    })
}

fn one_of(found: &str, words: &[&str]) -> (String, String) {
    (quoted(found), format!("one of {}", words.join(", ")))
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    /// What is wrong with a list of these lines below the head.
    fn faults(lines: &str) -> String {
        let faults = read_list(&format!("{HEAD}\n{lines}")).expect_err("something is wrong");
        let told: Vec<String> = faults.iter().map(ListFault::to_string).collect();
        told.join("\n")
    }

    #[track_caller]
    fn check(lines: &str, says: &str) {
        let told = faults(lines);
        assert!(told.contains(says), "{lines:?}: {told}");
        assert!(!told.contains('\u{1b}'), "{told:?}");
    }

    #[test]
    fn a_list_says_stretches() {
        let text =
            "\u{feff}from,until,mark,confidence\r\n0,2.5,threes,sure\r\n\r\n2.5, 4,twos,guess";
        let said = read_list(text).expect("a list");
        let marks: Marks = said.into_iter().collect();
        assert_eq!(
            list_of(&marks),
            "from,until,mark,confidence\n0.000,2.500,threes,sure\n2.500,4.000,twos,guess\n"
        );
    }

    #[test]
    fn the_first_line_alone_says_nothing() {
        for text in [
            "from,until,mark,confidence",
            "from,until,mark,confidence\r\n\n",
        ] {
            assert_eq!(read_list(text), Ok(Vec::new()));
        }
        assert!(read_list("").is_err());
    }

    #[test]
    fn every_fault_is_told_with_its_line() {
        check("1,2,threes", "line 2: found \"1,2,threes\"; expected four");
        check("1,2,threes,sure,x", "expected four");
        check("x,2,threes,sure", "found \"x\"; expected seconds from 0");
        for time in ["nan", "inf", "-1", "1e3", "+1", "", ".", "360001"] {
            check(&format!("{time},2,threes,sure"), "expected seconds from 0");
        }
        check("2,2,twos,sure", "an end at 2 s; expected one later");
        check("1,2,fours,sure", "\"fours\"; expected one of threes, twos");
        check("1,2,twos,very", "\"very\"; expected one of guess");
        check("1,2,tw\u{1b}[2Jos,sure", "\"tw?[2Jos\"");
        check("1,2,twos,sure\n\n2,1,twos,sure", "line 4: ");
        assert_eq!(faults("x\ny").lines().count(), 2);
        assert_eq!(faults(&"x\n".repeat(90)).lines().count(), MOST_FAULTS);
        let most = "1,2,twos,sure\n".repeat(MOST + 1);
        check(
            &most,
            "line 100002: found one more; expected at most 100000",
        );
    }

    #[test]
    fn another_first_line_is_told_alone() {
        let faults = read_list("start,end\n1,2").expect_err("another head");
        assert_eq!(
            faults.iter().map(ListFault::to_string).collect::<String>(),
            "line 1: found \"start,end\"; expected \"from,until,mark,confidence\""
        );
    }

    proptest! {
        /// Nothing from outside breaks the reading.
        #[test]
        fn any_text_is_read_or_refused(text in any::<String>()) {
            for text in [text.clone(), format!("{HEAD}\n{text}")] {
                match read_list(&text) {
                    Ok(_) => prop_assert!(text.contains(HEAD)),
                    Err(faults) => prop_assert!((1..=MOST_FAULTS).contains(&faults.len())),
                }
            }
        }

        /// What is written is read as it was, to the millisecond.
        #[test]
        fn a_list_is_read_as_it_was_written(
            said in proptest::collection::vec((0_u32..90_000, 1_u32..9_000, 0_usize..4, 0_usize..3), 1..20)
        ) {
            let said = said.into_iter().map(|(from, n, mark, sure)| {
                let seconds = |ms: u32| f64::from(ms) / 1e3;
                Marked {
                    stretch: Stretch::new(seconds(from), seconds(from + n)).expect("rising"),
                    mark: Mark::ALL[mark],
                    sure: Sure::ALL[sure],
                }
            });
            let marks: Marks = said.collect();
            let again = read_list(&list_of(&marks)).expect("a list");
            prop_assert_eq!(again, marks.all());
        }
    }
}
