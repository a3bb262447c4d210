//! `contrapalma hand-in`: what was practised since the last one, as a file that can be sent by any
//! means.
//!
//! The file is written beside its place, brought to the disk and only then renamed; after that the
//! store remembers what was handed in. Whenever this stops in between, the next hand-in has it all.

use std::fs::{self, File};
use std::io::{BufWriter, Write as _};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use super::practise::clock_of;
use super::write::{print, read_hand_in, refuse_standard};
use crate::class::hand_in::{
    Doubt, Header, LearnerId, Machine, Reading, WriteError, Writer, file_name,
};
use crate::cli::args::{self, Practice};
use crate::cli::failure::{Failure, Kind};
use crate::cli::{data_dir, identity_seed};
use crate::label::Label;
use crate::store::{Chosen, Identity, Selection, Store};
use crate::world::{Calendar, Env, Moment, Seed};

/// Writes the hand-in and says what is in it.
pub(in crate::cli) fn run(
    asked: &args::HandIn,
    practice: &Practice,
    env: &Env,
) -> Result<ExitCode, Failure> {
    if let Some(to) = &asked.to {
        refuse_standard(to, "--to", "what was handed in is told there")?;
    }
    let now = clock_of(env)?.now();
    let mut store = Store::open(&data_dir(practice, env)?, identity_seed()?, now)?;
    let selection = match asked.since {
        _ if asked.all => Selection::All,
        Some(day) => Selection::From(day),
        None => Selection::New,
    };
    let chosen = store.choose(selection)?;
    let mut identity = known_as(&store, asked.name.as_ref())?;
    if chosen.n_attempts == 0 {
        return nothing(asked.name.as_ref(), &mut store, &identity);
    }
    if let (None, Some(one)) = (&identity.name, &practice.practises) {
        identity.name = Some(one.name.clone());
    }
    store.save_identity(&identity)?;
    let place = place(asked, &identity, now)?;
    write(&store, &identity, &chosen, &place, now)?;
    // What lies before a day that was chosen may never have been handed in.
    if asked.since.is_none() {
        store.save_handed_in(&chosen)?;
    }
    tell(&identity, &chosen, &place)?;
    Ok(ExitCode::SUCCESS)
}

/// There is nothing to hand in; a name that was given is kept all the same.
fn nothing(
    name: Option<&Label>,
    store: &mut Store,
    identity: &Identity,
) -> Result<ExitCode, Failure> {
    if let Some(name) = name {
        store.save_identity(identity)?;
        print(&format!(
            "You are called {name} from now on; your teacher learns it from the next hand-in.\n"
        ))?;
    }
    print("Nothing to hand in: nothing was practised since; --all writes everything again.\n")?;
    Ok(ExitCode::from(Kind::No.code()))
}

/// Whose practice it is. The number of a learner comes from that of the first machine, so that it is
/// the same however often this is begun.
pub(super) fn known_as(store: &Store, name: Option<&Label>) -> Result<Identity, Failure> {
    let mut identity = store.identity()?;
    if identity.ids.is_empty() {
        let id = Seed(store.install()).child("learner", 0).0;
        identity.ids.push(LearnerId(id));
    }
    if let Some(name) = name {
        identity.name = Some(name.clone());
    }
    Ok(identity)
}

/// What a learner who gave no name is called.
pub(super) fn name_of(identity: &Identity) -> Label {
    identity.name.clone().unwrap_or_else(|| {
        let id = identity.ids.first().map_or(0, |id| id.0 >> 48);
        Label::new(&format!("learner {id:04x}")).expect("letters and digits are printable")
    })
}

/// Where the file goes. A name of our own is never one that is there already.
fn place(asked: &args::HandIn, identity: &Identity, now: Moment) -> Result<PathBuf, Failure> {
    let folder = match &asked.to {
        None => PathBuf::from("."),
        Some(to) if to.is_dir() => to.clone(),
        Some(file) => {
            may_go(asked, file, identity, now)?;
            return Ok(file.clone());
        }
    };
    let (day, _) = Calendar::default().day_of(now);
    let first = file_name(&name_of(identity), &day.to_string());
    let free = (1_u32..).map(|n| match n {
        1 => folder.join(&first),
        n => folder.join(first.replacen(".jsonl", &format!("-{n}.jsonl"), 1)),
    });
    Ok(free
        .take(10_000)
        .find(|path| !path.exists())
        .unwrap_or_else(|| folder.join(&first)))
}

/// Refuses a place where there is something that a hand-in may not stand in for. Without `--replace`
/// that is everything but, where all is written, a hand-in of the same learner: all of it is in the new
/// one.
fn may_go(
    asked: &args::HandIn,
    file: &Path,
    identity: &Identity,
    now: Moment,
) -> Result<(), Failure> {
    // A link that leads nowhere is something, too.
    let Ok(known) = file.symlink_metadata() else {
        return Ok(());
    };
    if !file.is_file() && !known.is_symlink() {
        let what = format!(
            "{}: found no file; expected a file or a folder",
            file.display()
        );
        return Err(Failure::new(Kind::Usage, what, "give another name"));
    }
    if asked.replace || (asked.all && is_of(file, identity, now)?) {
        return Ok(());
    }
    let (what, hint) = if asked.all {
        (
            "found a file that is no hand-in of yours; expected a new name, or one of those",
            "give another name or a folder, or say by --replace that it may go; nothing was changed",
        )
    } else {
        (
            "it is there already",
            "it may be a hand-in that was not sent yet: give another name or a folder, or say by \
             --replace that it may go",
        )
    };
    Err(Failure::new(
        Kind::Usage,
        format!("{}: {what}", file.display()),
        hint,
    ))
}

/// Whether a file is a hand-in of this learner, or empty.
fn is_of(file: &Path, identity: &Identity, now: Moment) -> Result<bool, Failure> {
    if file.metadata().is_ok_and(|known| known.len() == 0) {
        return Ok(true);
    }
    let Ok(bytes) = read_hand_in(file)? else {
        return Ok(false);
    };
    Ok(Reading::new(&bytes, now).is_ok_and(|reading| {
        let header = reading.header();
        let mut ids = header.also.iter().chain([&header.learner]);
        ids.all(|id| identity.ids.contains(id))
    }))
}

fn write(
    store: &Store,
    identity: &Identity,
    chosen: &Chosen,
    place: &Path,
    now: Moment,
) -> Result<(), Failure> {
    let mut name = place.file_name().unwrap_or_default().to_owned();
    name.push(format!(".{}.part", std::process::id()));
    let beside = place.with_file_name(name);
    let file = File::create_new(&beside).map_err(|error| Failure::file(place, &error))?;
    let written = fill(file, store, identity, chosen, now)
        .map_err(|error| error.into_failure(place))
        .and_then(|()| {
            fs::rename(&beside, place)
                .and_then(|()| sync_folder(place))
                .map_err(|error| Failure::file(place, &error))
        });
    if written.is_err() {
        // It may have been renamed already; then there is nothing to take away.
        drop(fs::remove_file(&beside));
    }
    written
}

/// Why a file could not be filled.
enum Unfilled {
    Store(crate::store::StoreError),
    Write(WriteError),
}

impl Unfilled {
    fn into_failure(self, place: &Path) -> Failure {
        match self {
            Self::Store(error) => error.into(),
            Self::Write(WriteError::Io(error)) => Failure::file(place, &error),
            Self::Write(error) => Failure::new(Kind::No, error, "write less at once by --since"),
        }
    }
}

impl From<crate::store::StoreError> for Unfilled {
    fn from(error: crate::store::StoreError) -> Self {
        Self::Store(error)
    }
}

impl From<WriteError> for Unfilled {
    fn from(error: WriteError) -> Self {
        Self::Write(error)
    }
}

/// Streams the log into the file, and the file to the disk.
fn fill(
    file: File,
    store: &Store,
    identity: &Identity,
    chosen: &Chosen,
    now: Moment,
) -> Result<(), Unfilled> {
    let doubts = doubts(store)?;
    let header = header(identity, chosen, store.machines()?, doubts.len(), now);
    let mut writer = Writer::new(BufWriter::new(file), header)?;
    let mut outcome = Ok(());
    store.chosen(chosen, |attempt| {
        if outcome.is_ok() {
            outcome = writer.attempt(&attempt);
        }
    })?;
    outcome?;
    for doubt in &doubts {
        writer.dispute(doubt)?;
    }
    let mut out = writer.finish()?;
    out.flush().map_err(WriteError::from)?;
    Ok(out.get_ref().sync_all().map_err(WriteError::from)?)
}

/// All doubts: they are few, and what is known already is taken once.
fn doubts(store: &Store) -> Result<Vec<Doubt>, crate::store::StoreError> {
    let disputes = store.disputes()?.into_iter();
    Ok(disputes
        .map(|dispute| Doubt {
            attempt: dispute.attempt,
            at: dispute.at,
            note: dispute.note,
        })
        .collect())
}

fn header(
    identity: &Identity,
    chosen: &Chosen,
    machines: Vec<Machine>,
    n_disputes: usize,
    now: Moment,
) -> Header {
    let mut ids = identity.ids.iter().copied();
    let version = env!("CARGO_PKG_VERSION");
    Header {
        program: Label::new(version).expect("a version is printable"),
        learner: ids.next().expect("a learner who hands in has a number"),
        also: ids.collect(),
        name: name_of(identity),
        machines,
        decks: chosen.decks.clone(),
        days: chosen.days,
        n_attempts: chosen.n_attempts,
        n_disputes: u64::try_from(n_disputes).unwrap_or(u64::MAX),
        made: now,
    }
}

/// Makes a new name in a folder durable; on other platforms that is the file system's own affair.
fn sync_folder(file: &Path) -> std::io::Result<()> {
    #[cfg(unix)]
    match file.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => File::open(folder)?.sync_all()?,
        _ => File::open(".")?.sync_all()?,
    }
    #[cfg(not(unix))]
    let _ = file;
    Ok(())
}

fn tell(identity: &Identity, chosen: &Chosen, place: &Path) -> Result<(), Failure> {
    let (attempts, are) = if chosen.n_attempts == 1 {
        ("attempt", "is")
    } else {
        ("attempts", "are")
    };
    let days = chosen.days.map_or_else(String::new, |(from, until)| {
        if from == until {
            format!(" of {from}")
        } else {
            format!(" from {from} to {until}")
        }
    });
    let text = format!(
        "{} {attempts}{days} of {} {are} in {}\n",
        chosen.n_attempts,
        name_of(identity),
        place.display()
    );
    let hint = match identity.name {
        Some(_) => "",
        None => {
            "Say what you are called, so that your teacher knows whose practice it is: `contrapalma hand-in \
             --all --name NAME` writes it again with your name.\n"
        }
    };
    let shown: String = crate::label::harmless(text.trim_end());
    print(&format!("{shown}\n{hint}"))
}
