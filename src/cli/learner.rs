//! Several learners on one machine: each has a folder of their own among the data.
//!
//! A folder is named after its learner, whatever the name is made of: small letters and digits stand for
//! themselves, a blank is a hyphen, and every other byte of its UTF-8 is `_` and two hexadecimal digits.
//! So no name leads elsewhere, none meets another, and capital letters do not tell two learners apart.

use std::ffi::OsStr;
use std::path::{Path, PathBuf};

use crate::label::Label;

/// The folder, among the data, of the folders of learners.
const FOLDER: &str = "learners";
/// The longest name of a folder, in bytes: less than any file system takes.
const LONGEST: usize = 200;
/// The most learners that are listed.
const MOST: usize = 5_000;

/// Somebody who practises on this machine beside others.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Local {
    pub(super) name: Label,
    folder: String,
}

impl Local {
    /// The learner of this name.
    pub(super) fn parse(text: &str) -> Result<Self, String> {
        let name = Label::new(text)
            .map_err(|error| format!("found {error}; the name of a learner was expected"))?;
        let folder = folder_of(&name);
        if folder.len() > LONGEST {
            return Err("found a long name; a shorter one was expected".to_owned());
        }
        Ok(Self { name, folder })
    }

    /// Where the learner's data is, among the data of all.
    pub(super) fn place(&self, data: &Path) -> PathBuf {
        data.join(FOLDER).join(&self.folder)
    }
}

/// What is said of somebody who has no folder yet, so that a slip in a name shows; `None` of others.
pub(super) fn greeting(one: &Local, data: &Path) -> Option<String> {
    /// More names are too many to find one's own among.
    const SHOWN: usize = 20;
    if one.place(data).is_dir() {
        return None;
    }
    let known = all(data);
    let names: Vec<&str> = known.iter().take(SHOWN).map(Label::as_str).collect();
    let others = match known.len() {
        0 => "nobody else practises here by --as".to_owned(),
        1..=SHOWN => format!("known here by --as: {}", names.join(", ")),
        n => format!(
            "known here by --as: {} and {} more",
            names.join(", "),
            n - SHOWN
        ),
    };
    Some(format!("{}: a new learner begins here; {others}", one.name))
}

/// The learners who have a folder, by name.
pub(super) fn all(data: &Path) -> Vec<Label> {
    let Ok(entries) = std::fs::read_dir(data.join(FOLDER)) else {
        return Vec::new();
    };
    let names = entries
        .filter_map(|entry| {
            let entry = entry.ok().filter(|entry| entry.path().is_dir())?;
            name_of(&entry.file_name())
        })
        .take(MOST);
    let mut names: Vec<Label> = names.collect();
    names.sort();
    names
}

fn folder_of(name: &Label) -> String {
    let sign = |byte: u8| match byte {
        b'a'..=b'z' | b'0'..=b'9' => char::from(byte).to_string(),
        b' ' => "-".to_owned(),
        other => format!("_{other:02x}"),
    };
    let small = name.as_str().to_lowercase();
    small.bytes().map(sign).collect()
}

/// The name that a folder stands for, in small letters; `None` of any other folder.
fn name_of(folder: &OsStr) -> Option<Label> {
    let folder = folder.to_str()?;
    let (mut bytes, mut rest) = (Vec::new(), folder.as_bytes());
    while let Some((first, after)) = rest.split_first() {
        rest = after;
        match first {
            b'-' => bytes.push(b' '),
            b'_' => {
                let (two, after) = rest.split_at_checked(2)?;
                let text = std::str::from_utf8(two).ok()?;
                bytes.push(u8::from_str_radix(text, 16).ok()?);
                rest = after;
            }
            plain => bytes.push(*plain),
        }
    }
    let name = Label::new(std::str::from_utf8(&bytes).ok()?).ok()?;
    (folder_of(&name) == folder).then_some(name)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn a_folder_stays_among_the_learners() {
        for (name, folder) in [
            ("Anna", "anna"),
            ("Ana Ruiz", "ana-ruiz"),
            ("../x", "_2e_2e_2fx"),
            ("a-b_c", "a_2db_5fc"),
            ("José", "jos_c3_a9"),
            ("CON", "con"),
        ] {
            let local = Local::parse(name).expect(name);
            assert_eq!(
                local.place(Path::new("/d")),
                Path::new("/d/learners").join(folder)
            );
        }
        assert!(Local::parse("a\u{1b}b").is_err());
        assert!(Local::parse(&"é".repeat(100)).is_err());
    }

    proptest! {
        #[test]
        fn no_two_names_share_a_folder(one in "[ -~é]{1,12}", other in "[ -~é]{1,12}") {
            let (one, other) = (Label::new(&one), Label::new(&other));
            if let (Ok(one), Ok(other)) = (one, other) {
                let same_name = one.as_str().to_lowercase() == other.as_str().to_lowercase();
                prop_assert_eq!(folder_of(&one) == folder_of(&other), same_name);
                let folder = folder_of(&one);
                prop_assert!(folder.bytes().all(|b| b.is_ascii_alphanumeric() || b"-_".contains(&b)));
                let read = name_of(OsStr::new(&folder)).expect("a name");
                prop_assert_eq!(read.as_str(), one.as_str().to_lowercase());
            }
        }
    }
}
