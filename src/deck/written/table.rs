//! A table with the keys that it may have.

use std::ops::Range;

use toml::de::DeTable;

use crate::deck::fault::{Faults, nearest, quoted};

use super::{Key, Value};

/// A table and the keys that it may have.
pub(in crate::deck) struct Table<'a> {
    entries: &'a DeTable<'a>,
    text: &'a str,
    keys: &'static [Key],
    extent: Range<usize>,
}

impl<'a> Table<'a> {
    /// Opens the table that lies within `extent`, and notes keys that it may not have.
    pub(super) fn open(
        entries: &'a DeTable<'a>,
        text: &'a str,
        extent: Range<usize>,
        keys: &'static [Key],
        faults: &mut Faults,
    ) -> Self {
        let names = || keys.iter().map(|key| key.name);
        let one_of = format!("one of {}", names().collect::<Vec<_>>().join(", "));
        for key in entries.keys() {
            let name = key.get_ref().as_ref();
            if !names().any(|known| known == name) {
                let found = format!("the key {}", quoted(name));
                let hint = nearest(name, names());
                faults.add_hinted(key.span().start, &found, &one_of, hint.as_deref());
            }
        }
        Self {
            entries,
            text,
            keys,
            extent,
        }
    }

    /// Where it begins.
    pub(in crate::deck) fn at(&self) -> usize {
        self.extent.start
    }

    /// The value of a key that may be missing.
    pub(in crate::deck) fn get(&self, name: &str) -> Option<Value<'a>> {
        let key = self.keys.iter().find(|key| key.name == name)?;
        let value = self.entries.get(name)?;
        Some(Value::new(value, self.text, key.expected))
    }

    /// The value of a key that is needed, as `read` reads it.
    pub(in crate::deck) fn need<T>(
        &self,
        name: &str,
        faults: &mut Faults,
        read: impl FnOnce(Value<'a>, &mut Faults) -> Option<T>,
    ) -> Option<T> {
        if let Some(value) = self.get(name) {
            return read(value, faults);
        }
        let key = self.keys.iter().find(|key| key.name == name)?;
        if !self.may_be_unread(name, faults) {
            faults.add(self.at(), &format!("no {name}"), key.expected);
        }
        None
    }

    /// Whether a key stands there after all, but the TOML around it is broken.
    fn may_be_unread(&self, name: &str, faults: &Faults) -> bool {
        let own = self.text.get(self.extent.clone()).unwrap_or_default();
        let is_it = |line: &str| {
            let line = line.trim_start().trim_start_matches(['"', '\'']);
            let rest = line.strip_prefix(name);
            rest.is_some_and(|rest| !rest.starts_with(|c: char| c.is_alphanumeric() || c == '-'))
        };
        faults.is_broken(&self.extent) && own.lines().any(is_it)
    }

    /// The value of a key, as `read` reads it, or `default` where it is missing.
    pub(in crate::deck) fn or<T>(
        &self,
        name: &str,
        default: T,
        faults: &mut Faults,
        read: impl FnOnce(Value<'a>, &mut Faults) -> Option<T>,
    ) -> Option<T> {
        match self.get(name) {
            Some(value) => read(value, faults),
            None => Some(default),
        }
    }

    /// Notes a key that makes no sense beside the others.
    pub(in crate::deck) fn refuse(&self, name: &str, expected: &str, faults: &mut Faults) {
        if let Some((key, _)) = self.entries.get_key_value(name) {
            faults.add(
                key.span().start,
                &format!("the key {}", quoted(name)),
                expected,
            );
        }
    }
}
