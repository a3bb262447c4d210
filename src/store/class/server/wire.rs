//! How values, rows and faults go over the line to a server and back.

use std::error::Error;
use std::io;

use postgres::Row;
use postgres::error::SqlState;
use postgres::types::{IsNull, ToSql, Type, accepts, private::BytesMut, to_sql_checked};

use crate::label::printable;
use crate::store::error::Fault;
use crate::store::record::COLUMNS;
use crate::store::value::{Cells, Value};

/// One column of many rows.
pub(super) enum Column<'a> {
    Numbers(Vec<i64>),
    Texts(Vec<&'a str>),
}

impl<'a> Column<'a> {
    /// The column at `at`, in which only numbers or only texts stand.
    pub(super) fn of(rows: &'a [[Value<'a>; COLUMNS.len()]], at: usize) -> Self {
        let values = rows.iter().filter_map(|row| row.get(at));
        match rows.first().and_then(|row| row.get(at)) {
            Some(Value::Number(_)) => Self::Numbers(
                values
                    .filter_map(|value| match value {
                        Value::Number(number) => Some(*number),
                        _ => None,
                    })
                    .collect(),
            ),
            _ => Self::Texts(
                values
                    .filter_map(|value| match value {
                        Value::Text(text) => Some(text.as_ref()),
                        _ => None,
                    })
                    .collect(),
            ),
        }
    }

    pub(super) fn given(&self) -> &(dyn ToSql + Sync) {
        match self {
            Self::Numbers(numbers) => numbers,
            Self::Texts(texts) => texts,
        }
    }
}

impl Cells for Row {
    fn number_at(&self, column: usize) -> Option<i64> {
        self.try_get(column).ok()
    }

    fn text_at(&self, column: usize) -> Option<&str> {
        self.try_get(column).ok()
    }

    fn is_null(&self, column: usize) -> bool {
        match self.columns().get(column).map(postgres::Column::type_) {
            Some(&Type::INT8) => matches!(self.try_get::<_, Option<i64>>(column), Ok(None)),
            _ => matches!(self.try_get::<_, Option<&str>>(column), Ok(None)),
        }
    }
}

pub(super) fn given<'v>(values: &'v [Value<'v>]) -> Vec<&'v (dyn ToSql + Sync)> {
    values
        .iter()
        .map(|value| -> &(dyn ToSql + Sync) { value })
        .collect()
}

impl ToSql for Value<'_> {
    fn to_sql(
        &self,
        ty: &Type,
        out: &mut BytesMut,
    ) -> Result<IsNull, Box<dyn Error + Sync + Send>> {
        match self {
            Self::Null => Ok(IsNull::Yes),
            Self::Number(number) => number.to_sql_checked(ty, out),
            Self::Text(text) => text.to_sql_checked(ty, out),
        }
    }

    accepts!(INT8, TEXT);
    to_sql_checked!();
}

/// What happened, by what can be done about it. The codes are those of PostgreSQL's manual, appendix A.
pub(super) fn fault(error: &postgres::Error) -> Fault {
    let Some(said) = error.as_db_error() else {
        // The library's words, and those of what is behind them, which say what failed.
        let mut what = error.to_string();
        let mut behind = error.source();
        while let Some(cause) = behind {
            let cause_says = cause.to_string();
            if !what.contains(&cause_says) {
                what = format!("{what}: {cause_says}");
            }
            behind = cause.source();
        }
        return Fault::Io(io::Error::other(printable(&what)));
    };
    let what = printable(said.message());
    let code = said.code();
    match code.code().get(..2).unwrap_or_default() {
        _ if *code == SqlState::LOCK_NOT_AVAILABLE => Fault::InUse,
        _ if *code == SqlState::INSUFFICIENT_PRIVILEGE => Fault::ReadOnly,
        _ if *code == SqlState::DISK_FULL => Fault::Full,
        // A transaction that may only read.
        "25" => Fault::ReadOnly,
        // Tables or columns that are not as they were made.
        "42" => Fault::Damaged(what),
        // The connection, who may connect, which database, and a server that goes down.
        "08" | "28" | "3D" | "57" => Fault::Io(io::Error::other(what)),
        _ => Fault::Other(what),
    }
}
