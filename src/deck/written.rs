//! A deck as written: tables and values of TOML, each with its place.
//!
//! The only file that knows the TOML library. Every reader is given the [`Faults`] so far, adds its
//! own, and returns `None` when there is nothing to use. Places are byte offsets.

use std::ops::{Range, RangeInclusive};

use toml::Spanned;
use toml::de::{DeTable, DeValue, Error};

use crate::label::{Label, LabelError};

use super::fault::{self, Faults, nearest, quoted};

/// A key of a table, and what is expected behind it.
pub(super) struct Key {
    pub(super) name: &'static str,
    pub(super) expected: &'static str,
}

/// What a text holds as TOML; what is broken is left out.
pub(super) struct Document<'a> {
    text: &'a str,
    table: Spanned<DeTable<'a>>,
}

impl<'a> Document<'a> {
    pub(super) fn read(text: &'a str, faults: &mut Faults) -> Self {
        let (table, errors) = DeTable::parse_recoverable(text);
        // One more than are told, so that it shows that there are more.
        for error in errors.iter().take(fault::MOST + 1) {
            add_error(text, error, faults);
        }
        Self { text, table }
    }

    /// The whole as a table. Its own keys stand before the tables under `parts`.
    pub(super) fn table(
        &'a self,
        keys: &'static [Key],
        parts: &str,
        faults: &mut Faults,
    ) -> Table<'a> {
        let entries = self.table.get_ref();
        let first_part = entries.get(parts).map(|value| value.span().start);
        let extent = 0..first_part.unwrap_or(self.text.len());
        Table::open(entries, self.text, extent, keys, faults)
    }
}

fn add_error(text: &str, error: &Error, faults: &mut Faults) {
    let span = error.span().unwrap_or_default();
    let found = match text.get(span.clone()).unwrap_or_default().trim() {
        "" => "the end of a line or value".to_owned(),
        there => quoted(there),
    };
    match error.message().split_once(", expected ") {
        Some((hint, expected)) => faults.add_toml(span.start, &found, expected, Some(hint)),
        None if error.message() == "duplicate key" => {
            faults.add_toml(span.start, &found, "each key once", None);
        }
        None => faults.add_toml(span.start, &found, "sound TOML", Some(error.message())),
    }
}

/// A table and the keys that it may have.
pub(super) struct Table<'a> {
    entries: &'a DeTable<'a>,
    text: &'a str,
    keys: &'static [Key],
    extent: Range<usize>,
}

impl<'a> Table<'a> {
    /// Opens the table that lies within `extent`, and notes keys that it may not have.
    fn open(
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
                faults.add_hinted(key.span().start, &found, &one_of, hint);
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
    pub(super) fn at(&self) -> usize {
        self.extent.start
    }

    /// The value of a key that may be missing.
    pub(super) fn get(&self, name: &str) -> Option<Value<'a>> {
        let key = self.keys.iter().find(|key| key.name == name)?;
        let value = self.entries.get(name)?;
        Some(Value::new(value, self.text, key.expected))
    }

    /// The value of a key that is needed, as `read` reads it.
    pub(super) fn need<T>(
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
        let stands = || own.contains(&format!("{name} =")) || own.contains(&format!("{name}="));
        faults.is_broken(&self.extent) && stands()
    }

    /// The value of a key, as `read` reads it, or `default` where it is missing.
    pub(super) fn or<T>(
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
    pub(super) fn refuse(&self, name: &str, expected: &str, faults: &mut Faults) {
        if let Some((key, _)) = self.entries.get_key_value(name) {
            faults.add(
                key.span().start,
                &format!("the key {}", quoted(name)),
                expected,
            );
        }
    }
}

/// A value and what is expected of it.
#[derive(Clone, Copy)]
pub(super) struct Value<'a> {
    value: &'a DeValue<'a>,
    text: &'a str,
    /// Its own part of the text.
    written: &'a str,
    pub(super) at: usize,
    pub(super) expected: &'static str,
}

impl<'a> Value<'a> {
    fn new(value: &'a Spanned<DeValue<'a>>, text: &'a str, expected: &'static str) -> Self {
        let span = value.span();
        Self {
            value: value.get_ref(),
            text,
            at: span.start,
            written: text.get(span).unwrap_or_default(),
            expected,
        }
    }

    /// Notes that this value is not what was expected.
    pub(super) fn is_wrong(self, faults: &mut Faults) {
        faults.add(self.at, &self.found(), self.expected);
    }

    /// What stands here, in a few words.
    pub(super) fn found(self) -> String {
        match self.value {
            DeValue::String(text) if self.written.starts_with(['"', '\'']) => quoted(text),
            DeValue::Array(items) => format!("a list of {}", items.len()),
            DeValue::Table(_) => "a table".to_owned(),
            DeValue::Integer(_) | DeValue::Float(_) => cut(self.written),
            // As written, since a bare word is read as something that nobody wrote.
            DeValue::String(_) | DeValue::Boolean(_) | DeValue::Datetime(_) => quoted(self.written),
        }
    }

    pub(super) fn text(self, faults: &mut Faults) -> Option<&'a str> {
        if let DeValue::String(text) = self.value {
            return Some(text);
        }
        let is_bare = matches!(self.value, DeValue::Boolean(_)) && !self.is_truth_value();
        let hint = is_bare.then(|| format!("a text stands in quotes: {}", quoted(self.written)));
        faults.add_hinted(self.at, &self.found(), self.expected, hint);
        None
    }

    fn is_truth_value(self) -> bool {
        matches!(self.written, "true" | "false")
    }

    pub(super) fn label(self, faults: &mut Faults) -> Option<Label> {
        match Label::new(self.text(faults)?) {
            Ok(label) => Some(label),
            Err(LabelError::TooLong(n)) => {
                let expected = format!("at most {} characters", Label::LONGEST);
                faults.add(self.at, &format!("{n} characters"), &expected);
                None
            }
            Err(error) => {
                faults.add(self.at, &error.to_string(), self.expected);
                None
            }
        }
    }

    /// One of `options`, by its id.
    pub(super) fn one_of<T: Copy>(
        self,
        options: &[T],
        id: fn(T) -> &'static str,
        faults: &mut Faults,
    ) -> Option<T> {
        let word = self.text(faults)?;
        let found = options.iter().copied().find(|option| id(*option) == word);
        if found.is_none() {
            let ids = || options.iter().map(|option| id(*option));
            let expected = format!("one of {}", ids().collect::<Vec<_>>().join(", "));
            faults.add_hinted(self.at, &self.found(), &expected, nearest(word, ids()));
        }
        found
    }

    /// The items of a list of a size within `sizes`.
    pub(super) fn items(
        self,
        sizes: RangeInclusive<usize>,
        faults: &mut Faults,
    ) -> Option<Vec<Self>> {
        let DeValue::Array(items) = self.value else {
            self.is_wrong(faults);
            return None;
        };
        if !sizes.contains(&items.len()) {
            let (fewest, most) = sizes.into_inner();
            let expected = format!("{fewest} to {most}: {}", self.expected);
            faults.add(self.at, &self.found(), &expected);
            return None;
        }
        let value = |item| Self::new(item, self.text, self.expected);
        Some(items.iter().map(value).collect())
    }

    /// A list without repetition, each item as `read` reads it.
    pub(super) fn set<T: PartialEq>(
        self,
        sizes: RangeInclusive<usize>,
        faults: &mut Faults,
        mut read: impl FnMut(Self, &mut Faults) -> Option<T>,
    ) -> Option<Vec<T>> {
        let items = self.items(sizes, faults)?;
        let n_items = items.len();
        let mut set = Vec::with_capacity(n_items);
        for item in items {
            match read(item, faults) {
                Some(one) if set.contains(&one) => {
                    faults.add(item.at, &format!("{} again", item.found()), "each once");
                }
                Some(one) => set.push(one),
                None => {}
            }
        }
        (set.len() == n_items).then_some(set)
    }

    /// Two whole numbers.
    pub(super) fn pair(self, faults: &mut Faults) -> Option<(i64, i64)> {
        let items = match self.value {
            DeValue::Array(items) if items.len() == 2 => items.iter(),
            _ => {
                self.is_wrong(faults);
                return None;
            }
        };
        // Both are read, so that both may be wrong.
        let mut numbers = items.map(|item| Self::new(item, self.text, self.expected).whole(faults));
        let (low, high) = (numbers.next()?, numbers.next()?);
        low.zip(high)
    }

    pub(super) fn whole(self, faults: &mut Faults) -> Option<i64> {
        let number = match self.value {
            DeValue::Integer(n) => i64::from_str_radix(n.as_str(), n.radix()).ok(),
            _ => None,
        };
        if number.is_none() {
            self.is_wrong(faults);
        }
        number
    }

    /// A number, whole or with decimals; never infinite.
    pub(super) fn number(self, faults: &mut Faults) -> Option<f64> {
        let number = match self.value {
            // Beyond 32 bits nothing that a deck says makes sense.
            DeValue::Integer(n) => i32::from_str_radix(n.as_str(), n.radix())
                .ok()
                .map(f64::from),
            DeValue::Float(n) => n.as_str().parse().ok().filter(|n: &f64| n.is_finite()),
            _ => None,
        };
        if number.is_none() {
            self.is_wrong(faults);
        }
        number
    }

    pub(super) fn table(self, keys: &'static [Key], faults: &mut Faults) -> Option<Table<'a>> {
        let DeValue::Table(entries) = self.value else {
            self.is_wrong(faults);
            return None;
        };
        let extent = self.at..self.at + self.written.len();
        Some(Table::open(entries, self.text, extent, keys, faults))
    }

    /// The tables of a list, at most `most`; what is no table is noted and left out. A table under
    /// a header reaches to the next one or to the end of the text.
    pub(super) fn tables(
        self,
        most: usize,
        keys: &'static [Key],
        faults: &mut Faults,
    ) -> Vec<Table<'a>> {
        let DeValue::Array(items) = self.value else {
            self.is_wrong(faults);
            return Vec::new();
        };
        if let Some(first_over) = items.get(most) {
            let expected = format!("at most {most}");
            faults.add(
                first_over.span().start,
                &format!("{} of them", items.len()),
                &expected,
            );
        }
        let starts = items.iter().skip(1).map(|item| item.span().start);
        let ends = starts.chain([self.text.len()]);
        let mut tables = Vec::new();
        for (item, end) in items.iter().zip(ends).take(most) {
            match item.get_ref() {
                DeValue::Table(entries) => {
                    let extent = item.span().start..end;
                    tables.push(Table::open(entries, self.text, extent, keys, faults));
                }
                _ => Self::new(item, self.text, self.expected).is_wrong(faults),
            }
        }
        tables
    }
}

/// A number is quoted as written, but never at length.
fn cut(written: &str) -> String {
    const LONGEST: usize = 24;
    match written.char_indices().nth(LONGEST) {
        Some((end, _)) => format!("{}…", written.get(..end).unwrap_or_default()),
        None => written.to_owned(),
    }
}
