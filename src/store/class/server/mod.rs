//! A class store on a PostgreSQL server, for a school in which several teachers collect.
//!
//! Read [`Server`] first. The store is the tables of one schema, the first of the user's `search_path`.
//! Their form is a number in the table `class_store`, raised by the files in `migrations/class/postgres/`,
//! which keep step with those of the file and are never edited; a newer form, and a schema that is
//! somebody else's, are refused untouched.
//!
//! Whoever changes more than one row holds the lock of the store until the end of the transaction, so
//! that hand-ins which come at one moment are taken one after the other; reading waits for nobody. The
//! level is READ COMMITTED on purpose: each statement then sees all that was there when the lock was
//! given. Who waits for longer than [`PATIENCE`] is told that the store is in use.
//!
//! The line to the server is not encrypted by this program. A password is in no message and no `Debug`.

mod wire;

use std::cell::RefCell;
use std::collections::HashMap;
use std::fmt;
use std::path::PathBuf;
use std::str::FromStr as _;
use std::time::Duration;

use postgres::config::Host;
use postgres::types::ToSql;
use postgres::{Client, Config, NoTls, Statement};

use crate::label::printable;
use crate::quiz::{Attempt, AttemptId};
use crate::store::StoreError;
use crate::store::error::Fault;
use crate::store::record::{self, COLUMNS, install_to_sql};
use crate::store::value::{Cells as _, Value};

use wire::{Column, fault, given};

pub(super) use postgres::Row as ServerRow;

/// The steps from an empty schema to the newest form.
const STEPS: [&str; 2] = [
    include_str!("../../../../migrations/class/postgres/001-class.sql"),
    include_str!("../../../../migrations/class/postgres/002-roster.sql"),
];
/// How long to wait for a server that does not answer, where the URL does not say.
const CONNECTING: Duration = Duration::from_secs(10);
/// How long to wait for another teacher who changes the store, where nobody says otherwise; a hand-in
/// takes a second or two at most.
const PATIENCE: &str = "SELECT set_config('lock_timeout', '30s', false)
                        WHERE current_setting('lock_timeout') = '0'";
/// The lock of one store: of its schema, and of no other program that uses such locks. The number is
/// "cpcl", by which a class store in a file is known.
const LOCK: &str = "SELECT pg_advisory_xact_lock(hashtextextended(current_schema(), 1668309868))";

/// An open connection to a store that is in order.
pub(super) struct Server {
    client: RefCell<Client>,
    /// Statements that the server has read already, by their text here.
    statements: RefCell<HashMap<String, Statement>>,
}

impl fmt::Debug for Server {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Server").finish_non_exhaustive()
    }
}

/// Opens the store at `url`, and makes its tables where there are none. Returns what the store is
/// called in messages too, which is the URL without its password.
pub(super) fn open(url: &str) -> Result<(Server, PathBuf), StoreError> {
    let Some((mut config, name)) = read_url(url) else {
        let what = "found no URL such as postgres://teacher@school.example/class; in names and \
                    passwords signs such as @ / : are written %40 %2F %3A";
        return Err(Fault::Other(what.to_owned()).at("the URL of the class store".as_ref()));
    };
    if config.get_connect_timeout().is_none() {
        config.connect_timeout(CONNECTING);
    }
    if config.get_application_name().is_none() {
        config.application_name("contrapalma");
    }
    let client = config
        .connect(NoTls)
        .map_err(|error| fault(&error).at(&name))?;
    let server = Server {
        client: RefCell::new(client),
        statements: RefCell::default(),
    };
    server.prepare_store().map_err(|fault| fault.at(&name))?;
    Ok((server, name))
}

/// How to connect, and the URL without its password. Nothing of a URL that is not understood is ever
/// shown, since its password may stand anywhere in it.
fn read_url(url: &str) -> Option<(Config, PathBuf)> {
    let config = Config::from_str(url).ok()?;
    let mut hosts = Vec::new();
    for host in config.get_hosts() {
        hosts.push(match host {
            Host::Tcp(name) => name.clone(),
            #[cfg(unix)]
            Host::Unix(path) => path.display().to_string(),
        });
    }
    // Of an "@" in a password that was not written as %40 the rest is taken for the host.
    if hosts.is_empty() || hosts.iter().any(|host| host.contains('@')) {
        return None;
    }
    let mut name = hosts.join(",");
    // Without a user, what looks like a port may be a password whose host was forgotten.
    if let Some(user) = config.get_user() {
        let ports: Vec<String> = config.get_ports().iter().map(u16::to_string).collect();
        let port = if ports.is_empty() { "" } else { ":" };
        name = format!("{user}@{name}{port}{}", ports.join(","));
    }
    let dbname = config.get_dbname().unwrap_or_default();
    let name = printable(&format!("postgres://{name}/{dbname}")).into();
    Some((config, name))
}

impl Server {
    pub(super) fn execute(&self, sql: &str, values: &[Value<'_>]) -> Result<u64, Fault> {
        let statement = self.statement(sql)?;
        let mut client = self.client.borrow_mut();
        client
            .execute(&statement, &given(values))
            .map_err(|error| fault(&error))
    }

    pub(super) fn query(&self, sql: &str, values: &[Value<'_>]) -> Result<Vec<ServerRow>, Fault> {
        self.rows(sql, &given(values))
    }

    /// Begins a transaction that holds the lock of the store.
    pub(super) fn begin(&self) -> Result<(), Fault> {
        self.say("BEGIN ISOLATION LEVEL READ COMMITTED")?;
        self.say(LOCK).inspect_err(|_| {
            // A connection that cannot even do this is gone, and the transaction with it.
            self.say("ROLLBACK").ok();
        })
    }

    pub(super) fn say(&self, sql: &str) -> Result<(), Fault> {
        let mut client = self.client.borrow_mut();
        client.batch_execute(sql).map_err(|error| fault(&error))
    }

    /// Adds attempts in one statement, each column as one array.
    pub(super) fn add(&self, attempts: &[Attempt]) -> Result<Vec<bool>, Fault> {
        let rows: Vec<_> = attempts.iter().map(record::values).collect();
        let Some(first) = rows.first() else {
            return Ok(Vec::new());
        };
        let place = |(n, value): (usize, &Value<'_>)| match value {
            Value::Number(_) => format!("${}::bigint[]", n + 1),
            _ => format!("${}::text[]", n + 1),
        };
        let places: Vec<String> = first.iter().enumerate().map(place).collect();
        let sql = format!(
            "INSERT INTO attempt ({}) SELECT * FROM unnest({}) ON CONFLICT DO NOTHING
             RETURNING install, sitting, number",
            COLUMNS.join(", "),
            places.join(", ")
        );
        let columns: Vec<Column<'_>> = (0..COLUMNS.len()).map(|at| Column::of(&rows, at)).collect();
        let columns: Vec<_> = columns.iter().map(Column::given).collect();
        let mut added = HashMap::new();
        for row in self.rows(&sql, &columns)? {
            let key = [0, 1, 2].map(|at| row.number_at(at));
            added.insert(key, ());
        }
        // A name that comes twice is new but once.
        let is_new = |attempt: &Attempt| added.remove(&key(&attempt.id).map(Some)).is_some();
        Ok(attempts.iter().map(is_new).collect())
    }

    /// The rows of the attempts of these names, in this order.
    pub(super) fn named(&self, ids: &[AttemptId]) -> Result<Vec<ServerRow>, Fault> {
        let columns = COLUMNS.map(|column| format!("attempt.{column}"));
        let sql = format!(
            "SELECT {} FROM unnest($1::bigint[], $2::bigint[], $3::bigint[])
                 WITH ORDINALITY AS wanted (install, sitting, number, place)
             JOIN attempt ON attempt.install = wanted.install
                 AND attempt.sitting = wanted.sitting AND attempt.number = wanted.number
             ORDER BY place",
            columns.join(", ")
        );
        let keys: Vec<[i64; 3]> = ids.iter().map(key).collect();
        let [installs, sittings, numbers] =
            [0, 1, 2].map(|at| keys.iter().map(|key| key[at]).collect::<Vec<i64>>());
        self.rows(&sql, &[&installs, &sittings, &numbers])
    }

    fn rows(&self, sql: &str, values: &[&(dyn ToSql + Sync)]) -> Result<Vec<ServerRow>, Fault> {
        let statement = self.statement(sql)?;
        let mut client = self.client.borrow_mut();
        client
            .query(&statement, values)
            .map_err(|error| fault(&error))
    }

    fn statement(&self, sql: &str) -> Result<Statement, Fault> {
        if let Some(known) = self.statements.borrow().get(sql) {
            return Ok(known.clone());
        }
        let mut client = self.client.borrow_mut();
        let statement = client
            .prepare(&sql.replace('?', "$"))
            .map_err(|error| fault(&error))?;
        self.statements
            .borrow_mut()
            .insert(sql.to_owned(), statement.clone());
        Ok(statement)
    }

    /// Checks the store, raises it to the newest form, and binds this connection to its schema.
    fn prepare_store(&self) -> Result<(), Fault> {
        self.say(PATIENCE)?;
        let schema = "SELECT current_schema()::text, quote_ident(current_schema())";
        let row = self.query(schema, &[])?;
        let Some(quoted) = row.first().and_then(|row| row.text_at(1)) else {
            let what = "there is no schema to keep it in; its owner makes one by CREATE SCHEMA";
            return Err(Fault::Other(what.to_owned()));
        };
        self.say(&format!("SET search_path TO {quoted}"))?;
        let newest = i64::try_from(STEPS.len()).unwrap_or(i64::MAX);
        if self.form(newest)? == newest {
            return Ok(());
        }
        self.begin()?;
        self.raise(newest)
            .and_then(|()| self.say("COMMIT"))
            .inspect_err(|_| {
                self.say("ROLLBACK").ok();
            })
    }

    /// Takes the steps that are missing, under the lock: another may have taken them meanwhile.
    fn raise(&self, newest: i64) -> Result<(), Fault> {
        let form = self.form(newest)?;
        let done = usize::try_from(form).unwrap_or(0);
        for step in STEPS.iter().skip(done) {
            self.say(step)?;
        }
        self.execute("UPDATE class_store SET form = ?1", &[newest.into()])?;
        Ok(())
    }

    /// The form of the store; 0 of a schema without a table.
    fn form(&self, newest: i64) -> Result<i64, Fault> {
        let sql =
            "SELECT tablename::text FROM pg_catalog.pg_tables WHERE schemaname = current_schema()";
        let tables = self.query(sql, &[])?;
        if tables.is_empty() {
            return Ok(0);
        }
        if !tables
            .iter()
            .any(|row| row.text_at(0) == Some("class_store"))
        {
            let what = "it is not a class store; give it a database or a schema of its own";
            return Err(Fault::Damaged(what.to_owned()));
        }
        let rows = self.query("SELECT form FROM class_store", &[])?;
        match rows.first().and_then(|row| row.number_at(0)) {
            Some(found) if found > newest => Err(Fault::Newer {
                found,
                known: newest,
            }),
            Some(found) if found > 0 => Ok(found),
            _ => Err(Fault::Damaged(
                "it does not say of which form it is".to_owned(),
            )),
        }
    }
}

fn key(id: &AttemptId) -> [i64; 3] {
    [
        install_to_sql(id.install),
        id.sitting.into(),
        id.number.into(),
    ]
}
