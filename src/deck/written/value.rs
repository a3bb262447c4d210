//! A value, read as what its key expects.

use std::ops::RangeInclusive;

use toml::Spanned;
use toml::de::DeValue;

use crate::deck::fault::{Faults, nearest, quoted};
use crate::label::{Label, LabelError};

use super::{Key, Table};

/// A value and what is expected of it.
#[derive(Clone, Copy)]
pub(in crate::deck) struct Value<'a> {
    value: &'a DeValue<'a>,
    text: &'a str,
    /// Its own part of the text.
    written: &'a str,
    pub(in crate::deck) at: usize,
    pub(in crate::deck) expected: &'static str,
}

impl<'a> Value<'a> {
    pub(super) fn new(
        value: &'a Spanned<DeValue<'a>>,
        text: &'a str,
        expected: &'static str,
    ) -> Self {
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
    pub(in crate::deck) fn is_wrong(self, faults: &mut Faults) {
        faults.add(self.at, &self.found(), self.expected);
    }

    /// Notes that one table stands where a list of them may: a pair of brackets was forgotten.
    fn is_one_table(self, faults: &mut Faults) {
        let name = self.expected.split_once("[[");
        let name = name.and_then(|(_, rest)| rest.split_once("]]"));
        let hint = name.map(|(name, _)| format!("write [[{name}]], with two brackets"));
        faults.add_hinted(self.at, &self.found(), self.expected, hint.as_deref());
    }

    /// What stands here, in a few words.
    pub(in crate::deck) fn found(self) -> String {
        match self.value {
            _ if self.written.is_empty() => "nothing".to_owned(),
            DeValue::String(text) if !self.is_bare() => quoted(text),
            DeValue::Array(items) => format!("a list of {}", items.len()),
            DeValue::Table(_) => "a table".to_owned(),
            DeValue::Integer(_) | DeValue::Float(_) if !self.is_bare() => cut(self.written),
            _ => quoted(self.written),
        }
    }

    /// Whether this is a word without quotes, which TOML reads as something that nobody wrote.
    fn is_bare(self) -> bool {
        let is_word = self.written.starts_with(|sign: char| sign.is_alphabetic());
        is_word && !matches!(self.written, "true" | "false" | "inf" | "nan")
    }

    /// The text, or what stands in its place as it is written.
    pub(in crate::deck) fn plain(self) -> &'a str {
        match self.value {
            DeValue::String(text) => text,
            _ => self.written,
        }
    }

    pub(in crate::deck) fn text(self, faults: &mut Faults) -> Option<&'a str> {
        if let DeValue::String(text) = self.value {
            return Some(text);
        }
        let hint = self.is_bare().then_some("a text stands in quotes");
        faults.add_hinted(self.at, &self.found(), self.expected, hint);
        None
    }

    pub(in crate::deck) fn label(self, faults: &mut Faults) -> Option<Label> {
        match Label::new(self.text(faults)?) {
            Ok(label) => Some(label),
            Err(LabelError::TooLong(n)) => {
                let expected = format!("at most {}", Label::LONGEST);
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
    pub(in crate::deck) fn one_of<T: Copy>(
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
            let hint = nearest(word, ids());
            faults.add_hinted(self.at, &self.found(), &expected, hint.as_deref());
        }
        found
    }

    /// Whether it is a list.
    pub(in crate::deck) fn is_list(self) -> bool {
        matches!(self.value, DeValue::Array(_))
    }

    /// Whether this is so of an item of a list, or of what is no list.
    pub(in crate::deck) fn any_item(self, is_so: impl Fn(Self) -> bool) -> bool {
        match self.value {
            DeValue::Array(items) => {
                let mut items = items.iter();
                items.any(|item| is_so(Self::new(item, self.text, self.expected)))
            }
            _ => is_so(self),
        }
    }

    /// The items of a list of a size within `sizes`.
    pub(in crate::deck) fn items(
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
            let expected = format!("{}, {fewest} to {most} of them", self.expected);
            faults.add(self.at, &self.found(), &expected);
            return None;
        }
        let value = |item| Self::new(item, self.text, self.expected);
        Some(items.iter().map(value).collect())
    }

    /// A list without repetition, each item as `read` reads it.
    pub(in crate::deck) fn set<T: PartialEq>(
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
    pub(in crate::deck) fn pair(self, faults: &mut Faults) -> Option<(i64, i64)> {
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

    pub(in crate::deck) fn whole(self, faults: &mut Faults) -> Option<i64> {
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
    pub(in crate::deck) fn number(self, faults: &mut Faults) -> Option<f64> {
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

    pub(in crate::deck) fn table(
        self,
        keys: &'static [Key],
        faults: &mut Faults,
    ) -> Option<Table<'a>> {
        let DeValue::Table(entries) = self.value else {
            self.is_wrong(faults);
            return None;
        };
        let extent = self.at..self.at + self.written.len();
        Some(Table::open(entries, self.text, extent, keys, faults))
    }

    /// The tables of a list, 1 to `most`; what is no table is noted and left out. A table under
    /// a header reaches to the next one or to the end of the text.
    pub(in crate::deck) fn tables(
        self,
        most: usize,
        keys: &'static [Key],
        faults: &mut Faults,
    ) -> Vec<Table<'a>> {
        let items = match self.value {
            DeValue::Array(items) if !items.is_empty() => items,
            DeValue::Table(_) => {
                self.is_one_table(faults);
                return Vec::new();
            }
            _ => {
                self.is_wrong(faults);
                return Vec::new();
            }
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
