//! One way to put SQL to a database, whichever it is: the calls that the store's operations make.
//! The text is the same for every database (parameters are `?1`, `?2`, …; truth is 0 or 1), and so are
//! the values. Knows no table.

mod lite;
mod postgres;
#[cfg(test)]
pub(super) mod trouble;
mod value;

pub(super) use lite::Telling;
pub(super) use postgres::{CHANNEL, Failed, Session};
pub use value::{FromSql, Params, ToSql, Value, Why};

use super::news::Told;

/// What the database said, or what a row held that this program never wrote.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    /// There is no such row.
    #[error("there is no such row")]
    NoRow,
    /// A column holds another kind of value than was asked for.
    #[error("column {column}: {source}")]
    Column {
        /// Which, counted from 0.
        column: usize,
        /// Why it is none.
        source: Box<dyn std::error::Error + Send + Sync>,
    },
    /// Fewer or more values than the text has parameters.
    #[error("the statement takes {wanted} values, it was given {given}")]
    Parameters {
        /// Parameters of the text.
        wanted: usize,
        /// Values.
        given: usize,
    },
    /// A statement of the transaction failed before: nothing of it can be made durable.
    #[error("a statement of this transaction has failed")]
    Spoilt,
    /// The database in the data folder.
    #[error(transparent)]
    Lite(#[from] rusqlite::Error),
    /// The database server.
    #[error(transparent)]
    Postgres(#[from] ::postgres::Error),
}

/// What a call gives.
pub type Result<T> = std::result::Result<T, Error>;

/// A column that holds what this program never wrote.
pub fn odd(column: usize, why: impl Into<Box<dyn std::error::Error + Send + Sync>>) -> Error {
    Error::Column { column, source: why.into() }
}

/// Which database it is, for the little that cannot be said in one text.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// SQLite, in the data folder.
    Lite,
    /// A PostgreSQL server.
    Postgres,
}

/// A database, or a transaction of one, to which statements can be put.
pub trait Database {
    /// Prepares a statement. With `keep` it stays prepared for the next time.
    ///
    /// # Errors
    /// When it is none.
    fn statement(&self, sql: &str, keep: bool) -> Result<Statement<'_>>;

    /// Runs several statements that give nothing.
    ///
    /// # Errors
    /// When one of them fails.
    fn batch(&self, sql: &str) -> Result<()>;

    /// Which it is.
    fn kind(&self) -> Kind;

    /// Says something to whoever has subscribed, in every process, once this transaction is durable.
    fn tell(&self, told: Told);
}

/// [`Database`], as it is handed through code that holds no SQL itself.
pub type Db = dyn Database;

impl dyn Database {
    /// A statement that is put often: it stays prepared.
    ///
    /// # Errors
    /// When it is none.
    pub fn prepare_cached(&self, sql: &str) -> Result<Statement<'_>> {
        #[cfg(test)]
        trouble::statement()?;
        self.statement(sql, true)
    }

    /// A statement that is put rarely.
    ///
    /// # Errors
    /// When it is none.
    pub fn prepare(&self, sql: &str) -> Result<Statement<'_>> {
        #[cfg(test)]
        trouble::statement()?;
        self.statement(sql, false)
    }

    /// Carries a rare statement out; how many rows it wrote.
    ///
    /// # Errors
    /// When it fails.
    pub fn execute(&self, sql: &str, params: impl Params) -> Result<usize> {
        self.prepare(sql)?.execute(params)
    }

    /// The first row of a rare question.
    ///
    /// # Errors
    /// When it fails or there is no row.
    pub fn query_row<T>(
        &self,
        sql: &str,
        params: impl Params,
        read: impl FnOnce(&Row<'_>) -> Result<T>,
    ) -> Result<T> {
        self.prepare(sql)?.query_row(params, read)
    }

    /// Runs several statements that give nothing.
    ///
    /// # Errors
    /// When one of them fails.
    pub fn execute_batch(&self, sql: &str) -> Result<()> {
        self.batch(sql)
    }
}

/// A prepared statement.
#[derive(Debug)]
pub struct Statement<'db>(Prepared<'db>);

#[derive(Debug)]
enum Prepared<'db> {
    Lite(lite::Prepared<'db>),
    Postgres(postgres::Prepared<'db>),
}

impl<'db> Statement<'db> {
    const fn lite(prepared: lite::Prepared<'db>) -> Statement<'db> {
        Statement(Prepared::Lite(prepared))
    }

    const fn postgres(prepared: postgres::Prepared<'db>) -> Statement<'db> {
        Statement(Prepared::Postgres(prepared))
    }

    /// Carries it out; how many rows it wrote.
    ///
    /// # Errors
    /// When it fails.
    pub fn execute(&mut self, params: impl Params) -> Result<usize> {
        params.with(|values| match &mut self.0 {
            Prepared::Lite(lite) => lite.execute(values),
            Prepared::Postgres(postgres) => postgres.execute(values),
        })
    }

    /// Carries an `INSERT` of one row out; the row's number, for tables whose key is the number `id`.
    ///
    /// # Errors
    /// When it fails.
    pub fn insert(&mut self, params: impl Params) -> Result<i64> {
        params.with(|values| match &mut self.0 {
            Prepared::Lite(lite) => lite.insert(values),
            Prepared::Postgres(postgres) => postgres.insert(values),
        })
    }

    /// The rows, one after the other.
    ///
    /// # Errors
    /// When it fails.
    pub fn query(&mut self, params: impl Params) -> Result<Rows<'_>> {
        params.with(|values| {
            Ok(Rows(match &mut self.0 {
                Prepared::Lite(lite) => Answer::Lite(lite.query(values)?),
                Prepared::Postgres(postgres) => Answer::Postgres(postgres.query(values)?),
            }))
        })
    }

    /// What `read` makes of each row.
    ///
    /// # Errors
    /// When it fails.
    pub fn query_map<T, F>(&mut self, params: impl Params, read: F) -> Result<Mapped<'_, F>>
    where
        F: FnMut(&Row<'_>) -> Result<T>,
    {
        Ok(Mapped { rows: self.query(params)?, read })
    }

    /// What `read` makes of the first row.
    ///
    /// # Errors
    /// When it fails or there is no row.
    pub fn query_row<T, F>(&mut self, params: impl Params, read: F) -> Result<T>
    where
        F: FnOnce(&Row<'_>) -> Result<T>,
    {
        let mut rows = self.query(params)?;
        read(rows.next()?.ok_or(Error::NoRow)?)
    }

    /// Whether there is a row.
    ///
    /// # Errors
    /// When it fails.
    pub fn exists(&mut self, params: impl Params) -> Result<bool> {
        Ok(self.query(params)?.next()?.is_some())
    }
}

/// Columns of a row, as a database gives them.
pub trait Columns {
    /// The value of a column, counted from 0.
    ///
    /// # Errors
    /// When there is no such column or its value is of no kind that is kept.
    fn value(&self, column: usize) -> Result<Value<'_>>;
}

/// One row of an answer.
pub type Row<'r> = dyn Columns + 'r;

/// How a column is named: by its place, counted from 0.
pub trait Place {
    /// The place.
    fn place(self) -> usize;
}

impl Place for usize {
    fn place(self) -> usize {
        self
    }
}

impl dyn Columns + '_ {
    /// A column as a value of Rust.
    ///
    /// # Errors
    /// When it holds another kind.
    pub fn get<C: Place, T: FromSql>(&self, column: C) -> Result<T> {
        let column = column.place();
        T::from_value(self.value(column)?).map_err(|why| odd(column, why))
    }

    /// A column as it is.
    ///
    /// # Errors
    /// When there is no such column.
    pub fn get_ref<C: Place>(&self, column: C) -> Result<Value<'_>> {
        self.value(column.place())
    }
}

/// The rows of an answer.
#[derive(Debug)]
pub struct Rows<'s>(Answer<'s>);

#[derive(Debug)]
enum Answer<'s> {
    Lite(lite::Answer<'s>),
    Postgres(postgres::Answer),
}

impl Rows<'_> {
    /// The next row; none after the last.
    ///
    /// # Errors
    /// When it cannot be read.
    // A row is only good until the next one: no iterator can say that.
    #[expect(clippy::should_implement_trait, reason = "a lending iterator, as databases give")]
    pub fn next(&mut self) -> Result<Option<&Row<'_>>> {
        match &mut self.0 {
            Answer::Lite(lite) => lite.next(),
            Answer::Postgres(postgres) => postgres.next(),
        }
    }
}

/// The rows of an answer, each made into something.
#[derive(Debug)]
pub struct Mapped<'s, F> {
    rows: Rows<'s>,
    read: F,
}

impl<T, F: FnMut(&Row<'_>) -> Result<T>> Iterator for Mapped<'_, F> {
    type Item = Result<T>;

    fn next(&mut self) -> Option<Result<T>> {
        match self.rows.next() {
            Ok(Some(row)) => Some((self.read)(row)),
            Ok(None) => None,
            Err(error) => Some(Err(error)),
        }
    }
}

/// Where a missing row is an answer, not a failure.
pub trait OptionalExtension<T> {
    /// None when there is no such row.
    ///
    /// # Errors
    /// Every other failure.
    fn optional(self) -> Result<Option<T>>;
}

impl<T> OptionalExtension<T> for Result<T> {
    fn optional(self) -> Result<Option<T>> {
        match self {
            Ok(value) => Ok(Some(value)),
            Err(Error::NoRow) => Ok(None),
            Err(error) => Err(error),
        }
    }
}

/// More values than a tuple takes.
#[macro_export]
#[doc(hidden)]
macro_rules! sql_params {
    ($($value:expr),* $(,)?) => {
        &[$(&$value as &dyn $crate::store::sql::ToSql),*] as &[&dyn $crate::store::sql::ToSql]
    };
}
pub use crate::sql_params as params;
