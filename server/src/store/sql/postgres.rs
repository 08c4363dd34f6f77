//! The layer over PostgreSQL: one connection. Takes the text that SQLite takes: `?1` becomes `$1`, and
//! what stands in `/*pg … */` (a comment to SQLite) counts here: how rows are locked.

use std::cell::{Cell, RefCell};
use std::collections::HashMap;
use std::error::Error as StdError;
use std::fmt;

use postgres::error::SqlState;
use postgres::types::private::BytesMut;
use postgres::types::{FromSql, IsNull, ToSql, Type, to_sql_checked};

use super::{Columns, Database, Error, Kind, Result, Row, Statement, Value, Why};
use crate::store::news::Told;

/// Statements that stay prepared on a connection.
const KEPT: usize = 256;

/// The channel on which processes tell each other of what they made durable.
pub(in crate::store) const CHANNEL: &str = "backstraight";

/// What the last statement that failed means for whoever put it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::store) enum Failed {
    /// It met another transaction: nothing was written, and the same once more may well succeed.
    Met,
    /// The connection is not to be used again.
    Broken,
}

/// One connection, with what was said on it since its transaction began.
pub(in crate::store) struct Session {
    client: RefCell<postgres::Client>,
    kept: RefCell<HashMap<String, postgres::Statement>>,
    told: RefCell<Vec<Told>>,
    failed: Cell<Option<Failed>>,
}

impl fmt::Debug for Session {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Session")
    }
}

impl Session {
    pub(in crate::store) fn new(client: postgres::Client) -> Session {
        Session {
            client: RefCell::new(client),
            kept: RefCell::default(),
            told: RefCell::default(),
            failed: Cell::new(None),
        }
    }

    /// Puts several statements that begin a transaction.
    pub(in crate::store) fn begin(&self, text: &str) -> Result<()> {
        self.told.borrow_mut().clear();
        self.failed.set(None);
        self.batch(text)
    }

    /// Makes the transaction durable and tells the other processes what was told in it. When a
    /// statement failed the database would end such a transaction without a word: here it is refused.
    pub(in crate::store) fn commit(&self) -> Result<()> {
        if self.failed.get().is_some() {
            return Err(Error::Spoilt);
        }
        let mut told = self.told.take();
        told.sort_unstable();
        told.dedup();
        let mut text = String::new();
        for word in told {
            // Digits, letters and colons only.
            text += &format!("SELECT pg_notify('{CHANNEL}', '{word}'); ");
        }
        self.batch(&(text + "COMMIT"))
    }

    /// Whether the connection is as it was before the transaction.
    pub(in crate::store) fn roll_back(&self) -> bool {
        self.failed.get() != Some(Failed::Broken) && self.batch("ROLLBACK").is_ok()
    }

    /// What the last failure means.
    pub(in crate::store) fn failed(&self) -> Option<Failed> {
        self.failed.get()
    }

    fn note(&self, error: postgres::Error) -> Error {
        let met = error.code().is_some_and(|code| {
            [SqlState::T_R_SERIALIZATION_FAILURE, SqlState::T_R_DEADLOCK_DETECTED].contains(code)
        });
        self.failed.set(Some(if met { Failed::Met } else { Failed::Broken }));
        Error::Postgres(error)
    }

    fn prepared(&self, sql: &str, keep: bool) -> Result<postgres::Statement> {
        if let Some(statement) = self.kept.borrow().get(sql) {
            return Ok(statement.clone());
        }
        let prepared = self.client.borrow_mut().prepare(&translate(sql));
        let statement = prepared.map_err(|error| self.note(error))?;
        if keep {
            let mut kept = self.kept.borrow_mut();
            if kept.len() >= KEPT {
                kept.clear();
            }
            kept.insert(sql.to_owned(), statement.clone());
        }
        Ok(statement)
    }
}

impl Database for Session {
    fn statement(&self, sql: &str, keep: bool) -> Result<Statement<'_>> {
        Ok(Statement::postgres(Prepared { session: self, sql: sql.to_owned(), keep }))
    }

    fn batch(&self, sql: &str) -> Result<()> {
        let done = self.client.borrow_mut().batch_execute(sql);
        done.map_err(|error| self.note(error))
    }

    fn kind(&self) -> Kind {
        Kind::Postgres
    }

    fn tell(&self, told: Told) {
        self.told.borrow_mut().push(told);
    }
}

/// A text that is prepared when it is first put.
pub(super) struct Prepared<'db> {
    session: &'db Session,
    sql: String,
    keep: bool,
}

impl fmt::Debug for Prepared<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Prepared")
    }
}

impl Prepared<'_> {
    pub(super) fn execute(&self, values: &[Value<'_>]) -> Result<usize> {
        let statement = self.session.prepared(&self.sql, self.keep)?;
        with(&statement, values, |params| {
            let done = self.session.client.borrow_mut().execute(&statement, params);
            done.map_err(|error| self.session.note(error))
        })
        .map(|rows| usize::try_from(rows).unwrap_or(usize::MAX))
    }

    pub(super) fn insert(&self, values: &[Value<'_>]) -> Result<i64> {
        let sql = format!("{} RETURNING id", self.sql);
        let mut rows = Prepared { session: self.session, sql, keep: self.keep }.query(values)?;
        match (rows.next()?.map(|row| row.get(0)).ok_or(Error::NoRow)??, rows.next()?) {
            (id, None) => Ok(id),
            (_, Some(_)) => Err(super::odd(0, "several rows were inserted where one should be")),
        }
    }

    pub(super) fn query(&self, values: &[Value<'_>]) -> Result<Answer> {
        let statement = self.session.prepared(&self.sql, self.keep)?;
        let rows = with(&statement, values, |params| {
            let rows = self.session.client.borrow_mut().query(&statement, params);
            rows.map_err(|error| self.session.note(error))
        })?;
        Ok(Answer { rows: rows.into_iter(), row: None })
    }
}

fn with<T>(
    statement: &postgres::Statement,
    values: &[Value<'_>],
    put: impl FnOnce(&[&(dyn ToSql + Sync)]) -> Result<T>,
) -> Result<T> {
    let wanted = statement.params().len();
    if wanted != values.len() {
        return Err(Error::Parameters { wanted, given: values.len() });
    }
    let bound: Vec<Bound<'_>> = values.iter().map(|value| Bound(*value)).collect();
    let params: Vec<&(dyn ToSql + Sync)> = bound.iter().map(|b| b as &(dyn ToSql + Sync)).collect();
    put(&params)
}

/// The text as PostgreSQL takes it.
fn translate(sql: &str) -> String {
    let mut text = String::with_capacity(sql.len());
    let (mut rest, mut open) = (sql, false);
    while let Some(at) = rest.find(['?', '/', '*']) {
        let (before, here) = rest.split_at(at);
        text += before;
        rest = if let Some(after) = here.strip_prefix("/*pg ") {
            open = true;
            after
        } else if let Some(after) = here.strip_prefix("*/").filter(|_| open) {
            open = false;
            after
        } else {
            let (sign, after) = here.split_at(1);
            text += if sign == "?" { "$" } else { sign };
            after
        };
    }
    text + rest
}

/// All rows of an answer.
pub(super) struct Answer {
    rows: std::vec::IntoIter<postgres::Row>,
    row: Option<postgres::Row>,
}

impl fmt::Debug for Answer {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Answer")
    }
}

impl Answer {
    pub(super) fn next(&mut self) -> Result<Option<&Row<'_>>> {
        self.row = self.rows.next();
        Ok(self.row.as_ref().map(|row| row as &Row<'_>))
    }
}

impl Columns for postgres::Row {
    fn value(&self, column: usize) -> Result<Value<'_>> {
        let read: std::result::Result<Read<'_>, _> = self.try_get(column);
        read.map(|Read(value)| value).map_err(|error| super::odd(column, error))
    }
}

#[derive(Debug)]
struct Bound<'a>(Value<'a>);

impl ToSql for Bound<'_> {
    fn to_sql(&self, ty: &Type, out: &mut BytesMut) -> std::result::Result<IsNull, Why> {
        match (self.0, ty) {
            (Value::Null, _) => Ok(IsNull::Yes),
            (Value::Integer(n), &Type::INT8) => n.to_sql(ty, out),
            (Value::Integer(n), &Type::INT4) => i32::try_from(n)?.to_sql(ty, out),
            (Value::Integer(n), &Type::INT2) => i16::try_from(n)?.to_sql(ty, out),
            (Value::Real(x), &Type::FLOAT8) => x.to_sql(ty, out),
            (Value::Text(text), &Type::TEXT | &Type::VARCHAR) => text.to_sql(ty, out),
            (Value::Blob(bytes), &Type::BYTEA) => bytes.to_sql(ty, out),
            (value, ty) => Err(format!("{value:?} for a parameter of type {ty}").into()),
        }
    }

    fn accepts(_: &Type) -> bool {
        true
    }

    to_sql_checked!();
}

struct Read<'a>(Value<'a>);

impl<'a> FromSql<'a> for Read<'a> {
    fn from_sql(ty: &Type, raw: &'a [u8]) -> std::result::Result<Read<'a>, Box<dyn StdError + Sync + Send>> {
        Ok(Read(match *ty {
            Type::INT8 => Value::Integer(i64::from_sql(ty, raw)?),
            Type::INT4 => Value::Integer(i32::from_sql(ty, raw)?.into()),
            Type::INT2 => Value::Integer(i16::from_sql(ty, raw)?.into()),
            Type::BOOL => Value::Integer(bool::from_sql(ty, raw)?.into()),
            Type::NUMERIC => Value::Integer(whole(raw)?),
            Type::FLOAT8 => Value::Real(f64::from_sql(ty, raw)?),
            Type::TEXT | Type::VARCHAR | Type::NAME => Value::Text(<&str>::from_sql(ty, raw)?),
            Type::BYTEA => Value::Blob(raw),
            _ => return Err(format!("a column of type {ty}").into()),
        }))
    }

    fn from_sql_null(_: &Type) -> std::result::Result<Read<'a>, Box<dyn StdError + Sync + Send>> {
        Ok(Read(Value::Null))
    }

    fn accepts(_: &Type) -> bool {
        true
    }
}

/// A sum of whole numbers: such sums have no limit there, so they come as decimal numbers, in digits
/// of ten thousand each.
fn whole(raw: &[u8]) -> std::result::Result<i64, Why> {
    let mut words = raw.chunks_exact(2).filter_map(|w| w.try_into().ok()).map(i16::from_be_bytes);
    let mut head = || words.next().ok_or("a number that is cut short");
    let (digits, weight, sign, _scale) = (head()?, head()?, head()?, head()?);
    let mut sum: i64 = 0;
    for place in 0..=weight.max(-1) {
        let digit = if place < digits { words.next().ok_or("a number that is cut short")? } else { 0 };
        let more = sum.checked_mul(10_000).and_then(|sum| sum.checked_add(digit.into()));
        sum = more.ok_or("a number that is too large")?;
    }
    if words.any(|digit| digit != 0) {
        return Err("a number that is not whole".into());
    }
    match sign {
        0 => Ok(sum),
        0x4000 => Ok(-sum),
        _ => Err("not a number".into()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_text_for_both_databases() {
        assert_eq!(
            translate("SELECT a FROM b WHERE c = ?1 AND d > ?12 /*pg FOR UPDATE */"),
            "SELECT a FROM b WHERE c = $1 AND d > $12 FOR UPDATE "
        );
        assert_eq!(translate("SELECT 2 * a / b /* why */"), "SELECT 2 * a / b /* why */");
    }

    #[test]
    fn sums_are_whole_numbers() {
        let number = |words: &[i16]| words.iter().flat_map(|w| w.to_be_bytes()).collect::<Vec<_>>();
        let read = |words: &[i16]| whole(&number(words)).ok();
        assert_eq!(read(&[0, 0, 0, 0]), Some(0));
        assert_eq!(read(&[1, 0, 0, 0, 7]), Some(7));
        assert_eq!(read(&[2, 1, 0, 0, 12, 3_456]), Some(123_456));
        assert_eq!(read(&[1, 1, 0x4000, 0, 12]), Some(-120_000), "trailing zeros are left out");
        assert_eq!(read(&[2, 0, 0, 1, 7, 5_000]), None, "7.5");
        assert_eq!(read(&[1, 4, 0, 0, 9_999]), None, "too large");
        assert_eq!(read(&[1, 0, -16_384, 0]), None, "no number");
        assert_eq!(read(&[3, 0]), None);
    }
}
