//! Where decks are: with the program, kept in the data folder, or in any file.
//!
//! Read [`find`] first, then [`Shelf`], the folder of decks that were installed: one file a deck,
//! named by its id, so that nothing but ids leads to a file in it.

use std::fs::{self, File};
use std::io::{self, Read as _};
use std::path::{Path, PathBuf};
use std::sync::Arc;

use super::write::write_whole;
use crate::app::Installed;
use crate::cli::failure::{Failure, Kind};
use crate::deck::{self, Deck, is_id};

/// The deck of this name: one that comes with the program, one that was installed, or a file.
pub(in crate::cli) fn find(name: &Path, shelf: Option<&Shelf>) -> Result<Deck, Failure> {
    let word = name.to_str().filter(|word| is_id(word));
    if let Some(deck) = word.and_then(deck::built_in_named) {
        return Ok(deck);
    }
    if let (Some(shelf), Some(id)) = (shelf, word)
        && shelf.has(id)
    {
        return shelf.deck(id);
    }
    match read(name) {
        Ok(deck) => Ok(deck),
        Err(failure) if name.exists() => Err(failure),
        Err(_) if word == Some(deck::OWN_RECORDINGS) => Err(nothing_cut()),
        Err(failure) => {
            let installed = shelf.map_or_else(Vec::new, Shelf::ids);
            let known = deck::built_in_ids().map(str::to_owned).chain(installed);
            let known: Vec<String> = known.collect();
            Err(failure.hinted(format!("there are the decks {}", known.join(", "))))
        }
    }
}

/// Where a deck lies of which only a file can be asked: in the file of this name, or else where the installed
/// one of this id is kept.
pub(super) fn file_of(name: &Path, shelf: Option<&Shelf>) -> Result<PathBuf, Failure> {
    if name.exists() {
        return Ok(name.to_owned());
    }
    match shelf.and_then(|shelf| shelf.place(name)) {
        Some(kept) => Ok(kept),
        None if name == Path::new(deck::OWN_RECORDINGS) => Err(nothing_cut()),
        None => Ok(name.to_owned()),
    }
}

/// The deck of own recordings begins with the first passage that is cut.
fn nothing_cut() -> Failure {
    let own = deck::OWN_RECORDINGS;
    let what = format!("{own}: the deck of your own recordings; no passage was cut into it yet");
    let hint =
        "open a recording by `contrapalma listen FILE`, and cut a passage there with the key x";
    Failure::new(Kind::No, what, hint)
}

/// The same with its text, of the deck alone: an assignment that stands behind it is left out.
pub(super) fn find_text(name: &Path, shelf: &Shelf) -> Result<(Deck, String), Failure> {
    let word = name.to_str().filter(|word| is_id(word));
    if let Some((deck, text)) = word.and_then(|id| {
        let text = deck::built_in_text(id)?;
        Some((deck::built_in_named(id)?, text))
    }) {
        return Ok((deck, text.to_owned()));
    }
    let deck = find(name, Some(shelf))?;
    let installed = word.filter(|id| shelf.has(id)).map(|id| shelf.path(id));
    let text = read_text(installed.as_deref().unwrap_or(name))?;
    let alone = deck::alone(&text).ok_or_else(|| {
        let what = format!(
            "{}: found an assignment that cannot be told from the deck; expected none",
            name.display()
        );
        Failure::new(
            Kind::No,
            what,
            "take it out of the deck; nothing was changed",
        )
    })?;
    Ok((deck, alone))
}

/// The deck in a file.
pub(in crate::cli) fn read(path: &Path) -> Result<Deck, Failure> {
    let text = read_text(path)?;
    deck::parse(&text).map_err(|faults| Failure::deck(path, &faults))
}

/// The text of a deck, of which no more is read than a deck may have.
pub(super) fn read_text(path: &Path) -> Result<String, Failure> {
    const LARGEST: usize = deck::LONGEST_TEXT;
    let limit = u64::try_from(LARGEST).unwrap_or(u64::MAX);
    let mut bytes = Vec::new();
    // A device or a pipe does not say how much it holds, so that only reading can tell.
    let read = File::open(path).and_then(|file| file.take(limit + 1).read_to_end(&mut bytes));
    read.map_err(|error| Failure::file(path, &error))?;
    if bytes.len() > LARGEST {
        let what = format!(
            "{}: more than {LARGEST} bytes; a deck has at most so many",
            path.display()
        );
        return Err(Failure::new(Kind::Data, what, "check that this is a deck"));
    }
    String::from_utf8(bytes).map_err(|error| {
        let place = error.utf8_error().valid_up_to();
        let what = format!(
            "{}: byte {} is no UTF-8; a deck is UTF-8 text",
            path.display(),
            place + 1
        );
        Failure::new(Kind::Data, what, "save the deck as UTF-8 text")
    })
}

/// The decks that were installed.
#[derive(Clone, Debug)]
pub(in crate::cli) struct Shelf {
    folder: PathBuf,
}

/// What installing a deck came to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Placed {
    /// There was none of its id.
    New,
    /// Another text of its id stood there.
    Replaced,
    /// The very same text stood there.
    Same,
}

impl Shelf {
    /// The most decks that are listed: more than anybody keeps.
    const MOST: usize = 1_000;

    /// The shelf in the data folder `data`.
    pub(in crate::cli) fn of(data: &Path) -> Self {
        Self {
            folder: data.join("decks"),
        }
    }

    /// The file of the deck `id`, there or not. Ids are made of letters that no path needs.
    pub(super) fn path(&self, id: &str) -> PathBuf {
        debug_assert!(is_id(id), "ids are checked where they come in");
        self.folder.join(format!("{id}.toml"))
    }

    /// Where the deck of this name lies, where it is the id of one that is there.
    pub(super) fn place(&self, name: &Path) -> Option<PathBuf> {
        let id = name.to_str().filter(|word| is_id(word))?;
        self.has(id).then(|| self.path(id))
    }

    fn has(&self, id: &str) -> bool {
        self.path(id).is_file()
    }

    /// The ids of all installed decks, in order; none where the folder cannot be read.
    pub(super) fn ids(&self) -> Vec<String> {
        let Ok(entries) = fs::read_dir(&self.folder) else {
            return Vec::new();
        };
        let id = |entry: io::Result<fs::DirEntry>| {
            let name = entry.ok()?.file_name().into_string().ok()?;
            let id = name.strip_suffix(".toml")?;
            (is_id(id) && self.has(id)).then(|| id.to_owned())
        };
        let mut ids: Vec<String> = entries.filter_map(id).take(Self::MOST).collect();
        ids.sort();
        ids
    }

    /// The installed deck `id`, read as any other file: somebody may have changed it by hand.
    pub(super) fn deck(&self, id: &str) -> Result<Deck, Failure> {
        let path = self.path(id);
        let deck = read(&path)?;
        if deck.id() == id {
            return Ok(deck);
        }
        let what = format!(
            "{}: found the deck {:?}; expected {id:?}, as the file is named",
            path.display(),
            deck.id()
        );
        let hint = format!("install it again, or `contrapalma decks remove {id}`");
        Err(Failure::new(Kind::Data, what, hint))
    }

    /// The same for who practises.
    pub(super) fn installed(self) -> Installed {
        let (reads, keeps, removes) = (self.clone(), self.clone(), self.clone());
        Installed {
            ids: self.ids(),
            text: Arc::new(move |id| read_text(&reads.path(id)).ok()),
            keep: Arc::new(move |id, text| {
                let kept = keeps.install(id, text);
                kept.map(drop).map_err(|failure| failure.what())
            }),
            remove: Arc::new(move |id| {
                let removed = removes.remove(id);
                removed.map(drop).map_err(|failure| failure.what())
            }),
            read: Arc::new(move |id| self.deck(id).ok()),
        }
    }

    /// Keeps `text`, the text of a deck without faults and with this id.
    pub(super) fn install(&self, id: &str, text: &str) -> Result<Placed, Failure> {
        let mut builder = fs::DirBuilder::new();
        builder.recursive(true);
        // As the store makes it: for this user alone.
        #[cfg(unix)]
        std::os::unix::fs::DirBuilderExt::mode(&mut builder, 0o700);
        let made = builder.create(&self.folder);
        made.map_err(|error| Failure::file(&self.folder, &error))?;
        let path = self.path(id);
        let placed = match read_text(&path) {
            Ok(before) if before == text => return Ok(Placed::Same),
            _ if self.has(id) => Placed::Replaced,
            _ => Placed::New,
        };
        write_whole(&path, text.as_bytes())?;
        Ok(placed)
    }

    /// Takes the deck `id` away; false when there was none.
    pub(super) fn remove(&self, id: &str) -> Result<bool, Failure> {
        let path = self.path(id);
        match fs::remove_file(&path) {
            Ok(()) => Ok(true),
            Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(false),
            Err(error) => Err(Failure::file(&path, &error)),
        }
    }
}
