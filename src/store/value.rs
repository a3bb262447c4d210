//! What stands in one place of a statement or a row, whatever database it is.
//!
//! A number is a signed integer of 64 bits, a flag 0 or 1. Nothing else is kept in any store but the
//! practice store's own bytes, which do not come this way.

use std::borrow::Cow;

use rusqlite::Row;
use rusqlite::types::{ToSql, ToSqlOutput, ValueRef};

/// A value that is given to a statement.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Value<'a> {
    Null,
    Number(i64),
    Text(Cow<'a, str>),
}

/// A row of which the values can be had by their places.
pub(super) trait Cells {
    /// The number there, or `None` where something else stands.
    fn number_at(&self, column: usize) -> Option<i64>;

    /// The text there, or `None` where something else stands.
    fn text_at(&self, column: usize) -> Option<&str>;

    /// Whether nothing stands there.
    fn is_null(&self, column: usize) -> bool;
}

impl Cells for Row<'_> {
    fn number_at(&self, column: usize) -> Option<i64> {
        match self.get_ref(column) {
            Ok(ValueRef::Integer(number)) => Some(number),
            _ => None,
        }
    }

    fn text_at(&self, column: usize) -> Option<&str> {
        self.get_ref(column).ok()?.as_str().ok()
    }

    fn is_null(&self, column: usize) -> bool {
        matches!(self.get_ref(column), Ok(ValueRef::Null))
    }
}

impl ToSql for Value<'_> {
    fn to_sql(&self) -> rusqlite::Result<ToSqlOutput<'_>> {
        Ok(ToSqlOutput::Borrowed(match self {
            Value::Null => ValueRef::Null,
            Value::Number(number) => ValueRef::Integer(*number),
            Value::Text(text) => ValueRef::Text(text.as_bytes()),
        }))
    }
}

/// Every number that fits; one `impl` for whatever is `Into<i64>` would stand in the way of texts.
macro_rules! numbers {
    ($($number:ty)*) => {$(
        impl From<$number> for Value<'_> {
            fn from(number: $number) -> Self {
                Self::Number(number.into())
            }
        }
    )*};
}
numbers!(bool u8 i16 u16 i32 u32 i64);

impl<'a> From<&'a str> for Value<'a> {
    fn from(text: &'a str) -> Self {
        Self::Text(Cow::Borrowed(text))
    }
}

impl From<String> for Value<'_> {
    fn from(text: String) -> Self {
        Self::Text(Cow::Owned(text))
    }
}

impl<'a, T: Into<Self>> From<Option<T>> for Value<'a> {
    fn from(value: Option<T>) -> Self {
        value.map_or(Self::Null, Into::into)
    }
}
