//! Lines that are typed or piped in, read on a thread of their own.
//!
//! Read [`read`] first. Whatever comes in, the memory taken stays small: of a line no more than
//! [`LONGEST`] bytes are kept, and no more than [`WAITING`] lines are read ahead of the one that is
//! handled. Bytes that are no UTF-8 become the replacement character, so that they neither end the
//! input nor pass for an answer.

use std::io::{self, BufRead, ErrorKind};
use std::sync::Arc;
use std::sync::mpsc::{Receiver, SyncSender, TryRecvError, sync_channel};
use std::thread;

use crate::world::{Clock, Stamp};

/// The most bytes of a line that are kept; what is longer is no answer anyway.
const LONGEST: usize = 1024;
/// The most lines that are read ahead.
const WAITING: usize = 64;

/// One line, with the stamp at which it came.
#[derive(Debug, PartialEq, Eq)]
pub(super) struct Line {
    pub(super) text: String,
    pub(super) stamp: Stamp,
}

/// Lets the reader read on. One is given back for every line that was handled.
pub(super) struct Handled(Receiver<()>);

impl Handled {
    /// Makes room for one more line.
    pub(super) fn one(&self) {
        // Without a line to be handled there is nothing to make room for.
        let _: Result<(), TryRecvError> = self.0.try_recv();
    }
}

/// Reads standard input to its end. `deliver` takes each line, and `None` at the end, and says
/// whether anybody still listens.
///
/// # Errors
/// When no thread can be started.
pub(super) fn read(
    clock: Arc<dyn Clock>,
    deliver: impl Fn(Option<Line>) -> bool + Send + 'static,
) -> io::Result<Handled> {
    let (ahead, handled) = sync_channel(WAITING);
    let work = move || {
        let mut input = io::stdin().lock();
        while let Some(text) = next(&mut input) {
            let stamp = clock.stamp();
            if !make_room(&ahead) || !deliver(Some(Line { text, stamp })) {
                return;
            }
        }
        // When nobody listens any more, the sitting is over anyway.
        deliver(None);
    };
    thread::Builder::new()
        .name("lines".to_owned())
        .spawn(work)?;
    Ok(Handled(handled))
}

/// Waits until there is room for one more line; false when nobody handles lines any more.
fn make_room(ahead: &SyncSender<()>) -> bool {
    ahead.send(()).is_ok()
}

/// The next line without its end; `None` at the end of the input, or when it cannot be read.
fn next(input: &mut impl BufRead) -> Option<String> {
    let mut kept = Vec::new();
    let mut any = false;
    loop {
        let chunk = match input.fill_buf() {
            Ok(chunk) => chunk,
            Err(error) if error.kind() == ErrorKind::Interrupted => continue,
            Err(_) => return None,
        };
        if chunk.is_empty() {
            return any.then(|| in_words(&kept));
        }
        any = true;
        let end = chunk.iter().position(|byte| *byte == b'\n');
        let of_line = chunk.get(..end.unwrap_or(chunk.len())).unwrap_or(chunk);
        let room = LONGEST.saturating_sub(kept.len()).min(of_line.len());
        kept.extend_from_slice(of_line.get(..room).unwrap_or(of_line));
        let used = end.map_or(chunk.len(), |end| end + 1);
        input.consume(used);
        if end.is_some() {
            return Some(in_words(&kept));
        }
    }
}

fn in_words(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::BufReader;

    #[track_caller]
    fn check(input: &[u8], expected: &[&str]) {
        // A small buffer, so that lines span several fillings.
        let mut input = BufReader::with_capacity(3, input);
        let found: Vec<String> = std::iter::from_fn(|| next(&mut input)).collect();
        assert_eq!(found, expected);
    }

    #[test]
    fn lines_end_where_they_end() {
        check(b"", &[]);
        check(b"1\n\nabcdefg\n2", &["1", "", "abcdefg", "2"]);
        check(b"\n", &[""]);
    }

    #[test]
    fn what_is_no_text_is_a_line_like_any_other() {
        check(b"\xff\xfe\n1\n", &["\u{fffd}\u{fffd}", "1"]);
        check(b"a\0b\n", &["a\0b"]);
    }

    #[test]
    fn of_an_endless_line_only_the_beginning_is_kept() {
        let mut input = vec![b'x'; 100_000];
        input.extend_from_slice(b"\n1\n");
        let mut input = input.as_slice();
        assert_eq!(next(&mut input).map(|line| line.len()), Some(LONGEST));
        assert_eq!(next(&mut input).as_deref(), Some("1"));
    }

    #[test]
    fn no_more_lines_are_read_ahead_than_there_is_room_for() {
        let (ahead, handled) = sync_channel(1);
        assert!(make_room(&ahead));
        let handled = Handled(handled);
        handled.one();
        assert!(make_room(&ahead));
        drop(handled);
        assert!(!make_room(&ahead));
    }
}
