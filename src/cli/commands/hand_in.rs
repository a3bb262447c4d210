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
use super::write::print;
use crate::class::hand_in::{Doubt, Header, LearnerId, Machine, WriteError, Writer, file_name};
use crate::cli::args::{self, Practice};
use crate::cli::failure::{Failure, Kind};
use crate::cli::{data_dir, seed_of};
use crate::label::Label;
use crate::store::{Chosen, Identity, Selection, Store};
use crate::world::{Calendar, Env, Moment, Seed};

/// Writes the hand-in and says what is in it.
pub(in crate::cli) fn run(
    asked: &args::HandIn,
    practice: &Practice,
    env: &Env,
) -> Result<ExitCode, Failure> {
    let now = clock_of(env)?.now();
    let seed = seed_of(practice)?.child("store", 0);
    let mut store = Store::open(&data_dir(practice, env)?, seed, now)?;
    let selection = match asked.since {
        _ if asked.all => Selection::All,
        Some(day) => Selection::From(day),
        None => Selection::New,
    };
    let chosen = store.choose(selection)?;
    if chosen.n_attempts == 0 {
        print("Nothing to hand in: nothing was practised since; --all writes everything again.\n")?;
        return Ok(ExitCode::from(Kind::No.code()));
    }
    let mut identity = known_as(&store, asked.name.as_ref())?;
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
        Some(file) if asked.all || !file.exists() => return Ok(file.clone()),
        Some(file) => {
            let what = format!("{}: it is there already", file.display());
            return Err(Failure::new(
                Kind::Usage,
                what,
                "it may be a hand-in that was not sent yet: give another name, or a folder",
            ));
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
    let attempts = if chosen.n_attempts == 1 {
        "attempt"
    } else {
        "attempts"
    };
    let days = chosen.days.map_or_else(String::new, |(from, until)| {
        if from == until {
            format!(" of {from}")
        } else {
            format!(" from {from} to {until}")
        }
    });
    let text = format!(
        "{} {attempts}{days} of {} are in {}\n",
        chosen.n_attempts,
        name_of(identity),
        place.display()
    );
    let hint = match identity.name {
        Some(_) => "",
        None => "Say by --name what you are called, so that your teacher knows whose they are.\n",
    };
    let shown: String = crate::label::harmless(text.trim_end());
    print(&format!("{shown}\n{hint}"))
}
