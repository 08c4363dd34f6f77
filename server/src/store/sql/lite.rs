//! The layer over SQLite: as thin as it can be, because every request goes through it.

use std::cell::RefCell;
use std::fmt;

use rusqlite::types::{ToSqlOutput, ValueRef};
use rusqlite::{CachedStatement, Connection};

use super::{Columns, Database, Error, Kind, Result, Row, Statement, Value, odd};
use crate::store::news::Told;

impl Database for Connection {
    fn statement(&self, sql: &str, keep: bool) -> Result<Statement<'_>> {
        let text = if keep { Text::Kept(self.prepare_cached(sql)?) } else { Text::Once(self.prepare(sql)?) };
        Ok(Statement::lite(Prepared { db: self, text }))
    }

    fn batch(&self, sql: &str) -> Result<()> {
        Ok(self.execute_batch(sql)?)
    }

    fn kind(&self) -> Kind {
        Kind::Lite
    }

    /// Only the writing thread's work tells anything, and it is `Telling`.
    fn tell(&self, _: Told) {}
}

/// The writing connection, with what its present work wants to be told when it is durable.
#[derive(Debug)]
pub(in crate::store) struct Telling {
    pub(in crate::store) db: Connection,
    told: RefCell<Vec<Told>>,
}

impl Telling {
    pub(in crate::store) fn new(db: Connection) -> Telling {
        Telling { db, told: RefCell::default() }
    }

    /// What was told since it was asked last.
    pub(in crate::store) fn told(&self) -> Vec<Told> {
        let mut told = self.told.take();
        told.sort_unstable();
        told.dedup();
        told
    }
}

impl Database for Telling {
    fn statement(&self, sql: &str, keep: bool) -> Result<Statement<'_>> {
        self.db.statement(sql, keep)
    }

    fn batch(&self, sql: &str) -> Result<()> {
        self.db.batch(sql)
    }

    fn kind(&self) -> Kind {
        Kind::Lite
    }

    fn tell(&self, told: Told) {
        self.told.borrow_mut().push(told);
    }
}

/// A prepared statement and its connection.
pub(super) struct Prepared<'db> {
    db: &'db Connection,
    text: Text<'db>,
}

enum Text<'db> {
    /// From the connection's list, to which it goes back.
    Kept(CachedStatement<'db>),
    Once(rusqlite::Statement<'db>),
}

impl fmt::Debug for Prepared<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Prepared")
    }
}

impl<'db> Prepared<'db> {
    fn bound(&mut self, values: &[Value<'_>]) -> Result<&mut rusqlite::Statement<'db>> {
        let statement = match &mut self.text {
            Text::Kept(statement) => &mut **statement,
            Text::Once(statement) => statement,
        };
        let wanted = statement.parameter_count();
        if wanted != values.len() {
            return Err(Error::Parameters { wanted, given: values.len() });
        }
        for (at, value) in values.iter().enumerate() {
            statement.raw_bind_parameter(at + 1, Bound(*value))?;
        }
        Ok(statement)
    }

    pub(super) fn execute(&mut self, values: &[Value<'_>]) -> Result<usize> {
        Ok(self.bound(values)?.raw_execute()?)
    }

    pub(super) fn insert(&mut self, values: &[Value<'_>]) -> Result<i64> {
        match self.bound(values)?.raw_execute()? {
            1 => Ok(self.db.last_insert_rowid()),
            rows => Err(rusqlite::Error::StatementChangedRows(rows).into()),
        }
    }

    pub(super) fn query(&mut self, values: &[Value<'_>]) -> Result<Answer<'_>> {
        Ok(Answer(self.bound(values)?.raw_query()))
    }
}

struct Bound<'a>(Value<'a>);

impl rusqlite::ToSql for Bound<'_> {
    fn to_sql(&self) -> rusqlite::Result<ToSqlOutput<'_>> {
        Ok(ToSqlOutput::Borrowed(match self.0 {
            Value::Null => ValueRef::Null,
            Value::Integer(n) => ValueRef::Integer(n),
            Value::Real(x) => ValueRef::Real(x),
            Value::Text(text) => ValueRef::Text(text.as_bytes()),
            Value::Blob(bytes) => ValueRef::Blob(bytes),
        }))
    }
}

/// Rows as they come.
pub(super) struct Answer<'s>(rusqlite::Rows<'s>);

impl fmt::Debug for Answer<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Answer")
    }
}

impl Answer<'_> {
    pub(super) fn next(&mut self) -> Result<Option<&Row<'_>>> {
        Ok(self.0.next()?.map(|row| row as &Row<'_>))
    }
}

impl Columns for rusqlite::Row<'_> {
    fn value(&self, column: usize) -> Result<Value<'_>> {
        Ok(match self.get_ref(column)? {
            ValueRef::Null => Value::Null,
            ValueRef::Integer(n) => Value::Integer(n),
            ValueRef::Real(x) => Value::Real(x),
            ValueRef::Text(bytes) => {
                Value::Text(std::str::from_utf8(bytes).map_err(|error| odd(column, error))?)
            }
            ValueRef::Blob(bytes) => Value::Blob(bytes),
        })
    }
}
