//! The built program in surroundings of its own: an emptied environment, a home, a clock and a seed.
//!
//! Read [`Home`] first. Nothing here waits by time alone: output is read on threads and handed over
//! a channel, and whoever waits on it has a deadline.

use std::fs;
use std::io::{BufRead as _, BufReader, Read, Write as _};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdin, Command, Stdio};
use std::sync::mpsc::{Receiver, RecvTimeoutError, channel};
use std::thread;
use std::time::Duration;

use contrapalma::quiz::AttemptId;
use contrapalma::store::Store;
use contrapalma::world::{Moment, Seed};
use tempfile::TempDir;

use crate::school;

/// A program that says nothing for so long hangs.
const DEADLINE: Duration = Duration::from_secs(40);

/// When the program believes to be started, unless a test says otherwise: a Monday.
pub(crate) const MONDAY: &str = "2026-03-02T08:00:00+00:00";

/// A folder that is home to the program and gone afterwards.
pub(crate) struct Home {
    folder: TempDir,
}

impl Home {
    pub(crate) fn new() -> Self {
        let folder = tempfile::tempdir().expect("a folder for a test");
        Self { folder }
    }

    pub(crate) fn path(&self) -> &Path {
        self.folder.path()
    }

    /// Where the program keeps its data when nobody says where.
    pub(crate) fn data(&self) -> PathBuf {
        self.path().join(".local/share/contrapalma")
    }

    pub(crate) fn file(&self, name: &str) -> PathBuf {
        self.path().join(name)
    }

    /// Writes a file beside the data.
    pub(crate) fn write(&self, name: &str, bytes: impl AsRef<[u8]>) -> PathBuf {
        let path = self.file(name);
        fs::write(&path, bytes).expect("a file for a test");
        path
    }

    /// The program with these arguments, separated by spaces.
    pub(crate) fn program(&self, args: &str) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_contrapalma"));
        self.surround(&mut command);
        command.args(args.split_whitespace());
        command
    }

    /// A line for the shell, in which `"$CONTRAPALMA"` is the program.
    pub(crate) fn shell(&self, line: &str) -> Command {
        let mut command = Command::new("/bin/sh");
        self.surround(&mut command);
        let paths = "/usr/local/sbin:/usr/local/bin:/usr/sbin:/usr/bin:/sbin:/bin";
        command
            .env("PATH", paths)
            .env("CONTRAPALMA", env!("CARGO_BIN_EXE_contrapalma"));
        command.args(["-c", line]);
        command
    }

    fn surround(&self, command: &mut Command) {
        command
            .env_clear()
            .env("HOME", self.path())
            .env("TZ", "UTC")
            .env("LC_ALL", "C.UTF-8")
            .env("CONTRAPALMA_NOW", MONDAY)
            .current_dir(self.path());
        if let Some(url) = school::url_of(&self.data()) {
            command.env("CONTRAPALMA_CLASS_STORE", url);
        }
    }

    /// A silent sitting in lines of text.
    pub(crate) fn sitting(&self, args: &str) -> Command {
        self.program(&format!("sit --plain --silent --seed 5 {args}"))
    }

    /// The names of all attempts in the store, which is checked for that.
    pub(crate) fn kept(&self) -> Vec<String> {
        kept_in(&self.data())
    }

    /// Every file and folder below the home with its contents, in order.
    pub(crate) fn files(&self) -> Vec<(PathBuf, Vec<u8>)> {
        let mut found = Vec::new();
        gather(self.path(), &mut found);
        found.sort();
        found
    }
}

/// The names of all attempts in the store in `dir`, which must be sound.
pub(crate) fn kept_in(dir: &Path) -> Vec<String> {
    let store = Store::open(dir, Seed(0), Moment(0)).expect("the store opens");
    let mut ids = Vec::new();
    store
        .attempts(|attempt| ids.push(name_of(attempt.id)))
        .expect("the store is read");
    let n_rows = store.check().expect("the store is sound");
    assert_eq!(u64::try_from(ids.len()), Ok(n_rows));
    ids
}

/// An attempt's name as the program writes it.
pub(crate) fn name_of(id: AttemptId) -> String {
    format!("{:016x}-{}-{}", id.install, id.sitting, id.number)
}

fn gather(dir: &Path, found: &mut Vec<(PathBuf, Vec<u8>)>) {
    for entry in fs::read_dir(dir).expect("a folder that can be read") {
        let path = entry.expect("an entry").path();
        if path.is_dir() {
            gather(&path, found);
            found.push((path, Vec::new()));
        } else {
            let bytes = fs::read(&path).expect("a file that can be read");
            found.push((path, bytes));
        }
    }
}

/// What became of a program.
#[derive(Debug, PartialEq, Eq)]
pub(crate) struct Ended {
    /// The exit code; -1 when a signal ended it.
    pub(crate) code: i32,
    pub(crate) out: String,
    pub(crate) err: String,
}

/// Runs a program to its end on this input.
pub(crate) fn run(mut command: Command, input: impl AsRef<[u8]>) -> Ended {
    command
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped());
    let mut child = command.spawn().expect("the program starts");
    let (input, mut stdin) = (input.as_ref().to_vec(), child.stdin.take().expect("piped"));
    // It may end before it has read everything.
    thread::spawn(move || drop(stdin.write_all(&input)));
    let out = collect(child.stdout.take().expect("piped"));
    let err = collect(child.stderr.take().expect("piped"));
    let (out, err) = (whole(&out, &mut child), whole(&err, &mut child));
    let code = child.wait().expect("it ended").code().unwrap_or(-1);
    Ended { code, out, err }
}

fn collect(mut pipe: impl Read + Send + 'static) -> Receiver<Vec<u8>> {
    let (sender, receiver) = channel();
    thread::spawn(move || {
        let mut bytes = Vec::new();
        pipe.read_to_end(&mut bytes).expect("a pipe that is read");
        // A test that gave up does not listen.
        drop(sender.send(bytes));
    });
    receiver
}

#[track_caller]
fn whole(pipe: &Receiver<Vec<u8>>, child: &mut Child) -> String {
    let bytes = pipe.recv_timeout(DEADLINE);
    if bytes.is_err() {
        child.kill().expect("a child that hangs can be killed");
    }
    String::from_utf8(bytes.expect("the program does not hang")).expect("what it prints is UTF-8")
}

/// A program that is talked to line by line.
pub(crate) struct Talk {
    child: Child,
    input: Option<ChildStdin>,
    lines: Receiver<String>,
    err: Receiver<Vec<u8>>,
}

impl Talk {
    pub(crate) fn start(mut command: Command) -> Self {
        command
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped());
        let mut child = command.spawn().expect("the program starts");
        let out = BufReader::new(child.stdout.take().expect("piped"));
        let (sender, lines) = channel();
        thread::spawn(move || {
            for line in out.lines() {
                let line = line.expect("what it prints is UTF-8");
                if sender.send(line).is_err() {
                    return;
                }
            }
        });
        Self {
            input: child.stdin.take(),
            err: collect(child.stderr.take().expect("piped")),
            lines,
            child,
        }
    }

    /// Writes one line. A program that is gone does not read it.
    pub(crate) fn say(&mut self, line: &str) {
        if let Some(input) = &mut self.input {
            drop(input.write_all(format!("{line}\n").as_bytes()));
        }
    }

    /// Reads one line; `None` when there are no more.
    #[track_caller]
    pub(crate) fn line(&mut self) -> Option<String> {
        let line = self.lines.recv_timeout(DEADLINE);
        assert_ne!(line, Err(RecvTimeoutError::Timeout), "the program hangs");
        line.ok()
    }

    /// Reads one line if it comes within `patience`.
    pub(crate) fn line_within(&mut self, patience: Duration) -> Option<String> {
        self.lines.recv_timeout(patience).ok()
    }

    /// Reads up to and with the first line that is `wanted`.
    #[track_caller]
    pub(crate) fn until(&mut self, wanted: impl Fn(&str) -> bool) -> Vec<String> {
        let mut read: Vec<String> = Vec::new();
        while !read.last().is_some_and(|line| wanted(line)) {
            let line = self.line();
            assert!(line.is_some(), "the output ended too early: {read:#?}");
            read.extend(line);
        }
        read
    }

    /// Reads up to where a question takes answers.
    #[track_caller]
    pub(crate) fn question(&mut self) -> Vec<String> {
        self.until(|line| line.contains("s skip, q leave."))
    }

    /// Reads up to where an answer is known to be kept, and returns its name too.
    #[track_caller]
    pub(crate) fn answered(&mut self) -> (String, Vec<String>) {
        let read = self.until(|line| line.starts_with("kept "));
        let last = read.last().expect("at least that line");
        let name = last.strip_prefix("kept ").expect("it was looked for");
        (name.to_owned(), read)
    }

    /// Ends its input.
    pub(crate) fn hang_up(&mut self) {
        self.input = None;
    }

    /// Ends it without asking (SIGKILL), and returns what it had written but was not yet read.
    pub(crate) fn kill(&mut self) -> Vec<String> {
        // One that has ended is as good as killed.
        self.child.kill().ok();
        self.child.wait().expect("it ended");
        self.lines.iter().collect()
    }

    /// Ends its input, reads the rest, and waits for it to end.
    #[track_caller]
    pub(crate) fn end(mut self) -> Ended {
        self.hang_up();
        let mut out = String::new();
        while let Some(line) = self.line() {
            out.push_str(&line);
            out.push('\n');
        }
        let err = whole(&self.err, &mut self.child);
        let code = self.child.wait().expect("it ended").code().unwrap_or(-1);
        Ended { code, out, err }
    }
}

impl Drop for Talk {
    fn drop(&mut self) {
        // A failed test leaves no program behind; one that has ended cannot be killed any more.
        self.child.kill().ok();
        self.child.wait().ok();
    }
}
