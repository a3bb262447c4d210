//! A folder that a command fills, whole or not at all.

use std::fs;
use std::path::{Path, PathBuf};

use crate::cli::commands::write::write_new;
use crate::cli::failure::{Failure, Kind};

/// A folder that is filled, and what has been put there.
pub(super) struct Folder {
    path: PathBuf,
    is_made: bool,
    files: Vec<PathBuf>,
}

impl Folder {
    /// Makes the folder, or takes an empty one; `option` is how it was named.
    pub(super) fn open(path: &Path, option: &str) -> Result<Self, Failure> {
        let at = |error| Failure::file(path, &error);
        let is_made = !path.exists();
        if is_made {
            fs::create_dir_all(path).map_err(at)?;
        }
        if fs::read_dir(path).map_err(at)?.next().is_some() {
            let what = format!("{}: found files; expected an empty folder", path.display());
            let hint = format!("give a new folder by {option}; nothing was changed");
            return Err(Failure::new(Kind::Usage, what, hint));
        }
        Ok(Self {
            path: path.to_owned(),
            is_made,
            files: Vec::new(),
        })
    }

    /// Writes a file into it.
    pub(super) fn write(&mut self, name: &str, bytes: &[u8]) -> Result<(), Failure> {
        let path = self.path.join(name);
        write_new(&path, bytes)?;
        self.files.push(path);
        Ok(())
    }

    /// Takes back what was put there. What cannot be removed stays; the failure is told anyway.
    pub(super) fn empty(self) {
        for file in &self.files {
            drop(fs::remove_file(file));
        }
        if self.is_made {
            drop(fs::remove_dir(&self.path));
        }
    }
}
