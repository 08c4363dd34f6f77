//! Small things that a store remembers beside documents: facts by name, and which deeds were already done,
//! so that one that is asked for twice is done once.

use rusqlite::{Connection, OpenFlags, OptionalExtension as _, params};

use super::{Store, put_meta};
use crate::error::PhoneError;

/// How many deeds are remembered: far more than a phone that was cut off may try again.
const KEPT: u32 = 5_000;

impl Store {
    /// A fact by name.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn fact(&self, name: &str) -> Result<Option<Vec<u8>>, PhoneError> {
        self.meta(name)
    }

    /// Remembers facts, all or none.
    ///
    /// # Errors
    /// When they cannot be stored.
    pub fn set_facts(&mut self, facts: &[(&str, &[u8])]) -> Result<(), PhoneError> {
        let tx = self.db.transaction()?;
        for (name, value) in facts {
            put_meta(&tx, name, value)?;
        }
        tx.commit()?;
        Ok(())
    }

    /// The answer to a deed that was done before under that name.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn done_once(&self, asked: &str) -> Result<Option<String>, PhoneError> {
        let mut query = self.db.prepare_cached("SELECT answer FROM once WHERE asked = ?1")?;
        Ok(query.query_row([asked], |r| r.get(0)).optional()?)
    }

    /// The next change that is made here is the deed of that name, and this is its answer: both become
    /// durable together.
    pub fn next_is(&mut self, asked: &str, answer: &str) {
        self.once = Some((asked.to_owned(), answer.to_owned()));
    }

    /// No change is made after all.
    pub fn next_is_nothing(&mut self) {
        self.once = None;
    }

    /// Forgets the oldest deeds beyond those that are kept.
    ///
    /// # Errors
    /// When the store cannot be written.
    pub fn forget_deeds(&mut self) -> Result<(), PhoneError> {
        self.db.execute("DELETE FROM once WHERE n <= (SELECT coalesce(max(n), 0) FROM once) - ?1", [KEPT])?;
        Ok(())
    }

    /// Bytes that the store takes, without what is only in its log of writes.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn size(&self) -> Result<u64, PhoneError> {
        let pragma = |name| self.db.pragma_query_value(None, name, |r| r.get::<_, i64>(0));
        let bytes = pragma("page_count")?.saturating_mul(pragma("page_size")?);
        Ok(u64::try_from(bytes).unwrap_or(0))
    }

    /// Looks at every page of the store as it is on the disk, not as it is in memory; none when all is sound.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn unsound(&self) -> Result<Option<String>, PhoneError> {
        let look = |db: &Connection| db.query_row("PRAGMA quick_check(1)", [], |r| r.get::<_, String>(0));
        let locking: String = self.db.pragma_query_value(None, "locking_mode", |r| r.get(0))?;
        let verdict = if locking == "exclusive" {
            // Opened on a full disk: nobody else may look.
            look(&self.db)?
        } else {
            let file = self.db.path().unwrap_or_default();
            look(&Connection::open_with_flags(file, OpenFlags::SQLITE_OPEN_READ_ONLY)?)?
        };
        Ok((verdict != "ok").then_some(verdict))
    }
}

/// Remembers a deed.
pub(super) fn note_once(db: &Connection, asked: &str, answer: &str) -> Result<(), PhoneError> {
    db.prepare_cached("INSERT INTO once (asked, answer) VALUES (?1, ?2)")?.execute(params![asked, answer])?;
    Ok(())
}
