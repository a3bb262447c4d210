//! Which class store is meant, and who is meant by a name.

use std::path::PathBuf;

use clap::Args;

use crate::class::hand_in::LearnerId;
use crate::class::roster::{Group, Meant, Roster};
use crate::cli::args::Practice;
use crate::cli::failure::{Failure, Kind};
use crate::cli::shared_dir;
use crate::label::{Label, printable};
use crate::store::ClassStore;
use crate::world::Env;

/// The class store.
#[derive(Debug, Args)]
pub(in crate::cli) struct Place {
    /// The class store: a file, or a school's server by postgres://USER@HOST/DATABASE; also by the
    /// variable CONTRAPALMA_CLASS_STORE, where a password is better kept [default: class.db among the data]
    #[arg(long, value_name = "FILE|URL")]
    class_store: Option<PathBuf>,
}

/// Where a class store is kept.
enum Kept {
    File(PathBuf),
    Server(String),
}

impl Place {
    /// Opens it, and makes it where there is none.
    pub(super) fn open(&self, practice: &Practice, env: &Env) -> Result<ClassStore, Failure> {
        Ok(match self.kept(practice, env)? {
            Kept::File(file) => ClassStore::open(&file)?,
            Kept::Server(url) => ClassStore::connect(&url)?,
        })
    }

    /// Opens it, and makes no file where there is none.
    pub(super) fn open_kept(&self, practice: &Practice, env: &Env) -> Result<ClassStore, Failure> {
        match self.kept(practice, env)? {
            Kept::File(file) if !file.is_file() => {
                let what = format!("{}: there is no class store yet", file.display());
                let hint = "take hand-ins in by `contrapalma class collect`, or name a store by --class-store";
                Err(Failure::new(Kind::Surroundings, what, hint))
            }
            Kept::File(_) | Kept::Server(_) => self.open(practice, env),
        }
    }

    /// Opens it to look at what is there: one that is named is not made.
    pub(super) fn open_to_look(
        &self,
        practice: &Practice,
        env: &Env,
    ) -> Result<ClassStore, Failure> {
        match self.class_store.as_ref().or(env.class_store.as_ref()) {
            Some(_) => self.open_kept(practice, env),
            None => self.open(practice, env),
        }
    }

    fn kept(&self, practice: &Practice, env: &Env) -> Result<Kept, Failure> {
        let Some(named) = self.class_store.as_ref().or(env.class_store.as_ref()) else {
            return Ok(Kept::File(shared_dir(practice, env)?.join("class.db")));
        };
        let url = named.to_str().filter(|text| {
            let begins = |scheme| text.starts_with(scheme);
            ["postgres://", "postgresql://"].into_iter().any(begins)
        });
        Ok(match url {
            Some(url) => Kept::Server(url.to_owned()),
            None => Kept::File(named.clone()),
        })
    }
}

/// The learner of this number or name.
pub(super) fn who(store: &ClassStore, roster: &Roster, text: &str) -> Result<LearnerId, Failure> {
    if let Some(number) = LearnerId::from_text(text) {
        return store.whole(number)?.ok_or_else(|| nobody(text));
    }
    let name = Label::new(text).map_err(|_| nobody(text))?;
    match roster.meant(&name) {
        Meant::One(learner) => Ok(learner),
        Meant::Several(several) => Err(unclear(&name, &several)),
        Meant::Awaited => {
            let what = format!("{name}: on a list, and nothing was handed in by this name yet");
            let hint = "collect a hand-in of theirs first, or say by `class call` who it is";
            Err(Failure::new(Kind::Usage, what, hint))
        }
        Meant::Nobody => Err(nobody(text)),
    }
}

/// Several learners go by a name.
pub(super) fn unclear(name: &Label, several: &[LearnerId]) -> Failure {
    let numbers: Vec<String> = several.iter().map(LearnerId::to_string).collect();
    let what = format!("{name}: {} learners go by this name", several.len());
    let hint = format!("say which by number: {}", numbers.join(", "));
    Failure::new(Kind::Usage, what, hint)
}

fn nobody(text: &str) -> Failure {
    let what = format!("{:?}: no learner has this number or name", printable(text));
    Failure::new(Kind::Usage, what, "`class learners` lists them")
}

/// The group of this name, as it is spelt here.
pub(super) fn group_of<'r>(roster: &'r Roster, name: &Label) -> Result<&'r Group, Failure> {
    roster.group(name).ok_or_else(|| no_group(roster, name))
}

/// There is no group of this name.
pub(super) fn no_group(roster: &Roster, name: &Label) -> Failure {
    let what = format!("no group is called \"{name}\"");
    let mut names = roster.groups().map(|group| group.name.as_str()).peekable();
    let hint = match names.peek() {
        Some(_) => there_are(names),
        None => "`class group NAME --new` makes one".to_owned(),
    };
    Failure::new(Kind::Usage, what, hint)
}

/// Names from which one may be chosen.
pub(super) fn there_are<'n>(names: impl Iterator<Item = &'n str>) -> String {
    format!(
        "there are {}",
        printable(&names.collect::<Vec<&str>>().join(", "))
    )
}
