//! The phone's SQLite store: documents as change chunks, what the server acknowledged, and what it
//! refused. WAL with `synchronous=FULL`: a call that returned is on disk.

mod carried;
mod facts;
mod schema;
mod set_aside;

use std::path::{Path, PathBuf};
use std::time::Duration;

use backstraight_core::base::id::ChangeHash;
use backstraight_core::device::rescue;
use backstraight_core::device::shelf::{Fresh, Shelf};
use backstraight_core::doc::genesis;
use backstraight_core::doc::open::Document;
use backstraight_core::exchange::carry::Parcel;
use backstraight_core::exchange::wire::{Known, Refusal};
use backstraight_core::model::name::DocName;
use rusqlite::config::DbConfig;
use rusqlite::{Connection, OptionalExtension as _, TransactionBehavior, params};

use crate::error::PhoneError;

/// Name of the store's file in its folder.
pub const FILE: &str = "training.sqlite";

pub use backstraight_core::device::shelf::{CarriedRow, DocRow, RefusedRow};

/// The store.
#[derive(Debug)]
pub struct Store {
    db: Connection,
    /// Files that were found damaged and set aside, never deleted: told of at each start until an exchange was
    /// complete.
    pub set_aside: Vec<PathBuf>,
    /// What the next change that is made here is remembered as.
    once: Option<(String, String)>,
}

impl Store {
    /// Opens or makes the store of a folder. A damaged file is set aside under another name, what
    /// can be read from it is taken over, and the rest comes back from the server.
    ///
    /// # Errors
    /// When the disk refuses, another process holds it, or it is of a newer version. A damaged file is where it
    /// was then, and the next opening tries again.
    pub fn open(dir: &Path) -> Result<Store, PhoneError> {
        Store::open_by_steps(dir, &mut || ())
    }

    fn open_by_steps(dir: &Path, step: set_aside::Step<'_>) -> Result<Store, PhoneError> {
        let path = dir.join(FILE);
        set_aside::finish(&path, step)?;
        let db = match Store::connect(&path) {
            Err(PhoneError::Damaged(_)) => {
                set_aside::mend(&path, step)?;
                Store::connect(&path)?
            }
            other => other?,
        };
        let mut store = Store::of(db);
        store.set_aside = set_aside::list(&store, dir)?;
        Ok(store)
    }

    const fn of(db: Connection) -> Store {
        Store { db, set_aside: Vec::new(), once: None }
    }

    fn connect(path: &Path) -> Result<Connection, PhoneError> {
        match connect_with(path, "NORMAL") {
            // There is no room even for the index of the log of writes. Whoever holds the file alone has it in
            // memory, so that what is there can be read.
            Err(PhoneError::Storage { full: true, .. }) => connect_with(path, "EXCLUSIVE"),
            other => other,
        }
    }

    /// An exchange was complete: what was set aside and is with the server came back, and nobody is told of the
    /// files any more. They stay.
    ///
    /// # Errors
    /// When the store cannot be written.
    pub fn forget_set_aside(&mut self) -> Result<(), PhoneError> {
        if !self.set_aside.is_empty() {
            set_aside::told(&self.db)?;
            self.set_aside.clear();
        }
        Ok(())
    }

    /// How many pieces of documents were set aside because they could not be read.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn damaged(&self) -> Result<u64, PhoneError> {
        let n: i64 = self.db.query_row("SELECT count(*) FROM damaged", [], |r| r.get(0))?;
        Ok(u64::try_from(n).unwrap_or(0))
    }

    fn meta(&self, key: &str) -> Result<Option<Vec<u8>>, PhoneError> {
        let mut query = self.db.prepare_cached("SELECT value FROM meta WHERE key = ?1")?;
        Ok(query.query_row([key], |r| r.get(0)).optional()?)
    }

    /// Limits the store to that many pages of 4 kB: beyond, it is full. For as long as it is open.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn limit_pages(&mut self, pages: u32) -> Result<(), PhoneError> {
        self.db.pragma_update(None, "max_page_count", pages)?;
        Ok(())
    }
}

impl Shelf for Store {
    type Error = PhoneError;

    fn docs(&self) -> Result<Vec<DocRow>, PhoneError> {
        let mut query = self.db.prepare_cached(
            "SELECT name, cursor, heads, server_heads, agreed, tell_heads, withdrawn FROM doc ORDER BY name",
        )?;
        let rows = query.query_map([], doc_row)?;
        rows.map(|r| r.map_err(PhoneError::from)).collect()
    }

    fn doc(&self, name: &DocName) -> Result<Option<DocRow>, PhoneError> {
        Ok(self
            .db
            .prepare_cached(
                "SELECT name, cursor, heads, server_heads, agreed, tell_heads, withdrawn FROM doc WHERE name = ?1",
            )?
            .query_row([name.to_bytes().as_slice()], doc_row)
            .optional()?)
    }

    fn bytes(&self, name: &DocName) -> Result<Option<Vec<u8>>, PhoneError> {
        let kind = name.kind();
        let name = name.to_bytes();
        let saved: Option<Option<Vec<u8>>> = self
            .db
            .prepare_cached("SELECT saved FROM doc WHERE name = ?1")?
            .query_row([name.as_slice()], |r| r.get(0))
            .optional()?;
        let Some(saved) = saved else { return Ok(None) };
        let mut bytes = saved.unwrap_or_else(|| genesis::bytes(kind).to_vec());
        let mut query = self.db.prepare_cached("SELECT body FROM chunk WHERE doc = ?1 ORDER BY n")?;
        let mut rows = query.query([name.as_slice()])?;
        while let Some(row) = rows.next()? {
            bytes.extend_from_slice(row.get_ref(0)?.as_blob().map_err(rusqlite::Error::from)?);
        }
        Ok(Some(bytes))
    }

    fn append(&mut self, name: &DocName, chunk: &[u8], heads: &[ChangeHash]) -> Result<(), PhoneError> {
        let once = self.once.take();
        let tx = self.db.transaction_with_behavior(TransactionBehavior::Immediate)?;
        put_chunk(&tx, name, chunk, heads)?;
        if let Some((asked, answer)) = once {
            facts::note_once(&tx, &asked, &answer)?;
        }
        tx.commit()?;
        Ok(())
    }

    fn take(&mut self, row: &DocRow, chunks: &[u8]) -> Result<(), PhoneError> {
        let tx = self.db.transaction_with_behavior(TransactionBehavior::Immediate)?;
        let key = row.name.to_bytes();
        tx.prepare_cached(
            "INSERT INTO doc (name, cursor, heads, server_heads, agreed, tell_heads, withdrawn)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)
             ON CONFLICT (name) DO UPDATE SET cursor = excluded.cursor, heads = excluded.heads,
               server_heads = excluded.server_heads, agreed = excluded.agreed,
               tell_heads = excluded.tell_heads, withdrawn = excluded.withdrawn",
        )?
        .execute(params![
            key.as_slice(),
            i64::try_from(row.cursor).unwrap_or(i64::MAX),
            join(&row.heads),
            join(&row.server_heads),
            row.agreed,
            row.tell_heads,
            row.withdrawn,
        ])?;
        if !chunks.is_empty() {
            push_chunk(&tx, &key, chunks)?;
        }
        tx.prepare_cached("DELETE FROM refused WHERE doc = ?1")?.execute([key.as_slice()])?;
        tx.commit()?;
        Ok(())
    }

    fn withdraw(&mut self, name: &DocName) -> Result<bool, PhoneError> {
        let put_away = self.db.execute(
            "UPDATE doc SET withdrawn = 1 WHERE name = ?1 AND withdrawn = 0",
            [name.to_bytes().as_slice()],
        )?;
        Ok(put_away > 0)
    }

    fn erase(&mut self, name: &DocName) -> Result<bool, PhoneError> {
        let key = name.to_bytes();
        let tx = self.db.transaction_with_behavior(TransactionBehavior::Immediate)?;
        for table in ["chunk", "damaged", "refused"] {
            tx.execute(&format!("DELETE FROM {table} WHERE doc = ?1"), [key.as_slice()])?;
        }
        let there = tx.execute("DELETE FROM doc WHERE name = ?1", [key.as_slice()])?;
        tx.commit()?;
        Ok(there > 0)
    }

    fn forget(&mut self) -> Result<(), PhoneError> {
        Ok(self.db.query_row("PRAGMA wal_checkpoint(TRUNCATE)", [], |_| Ok(()))?)
    }

    fn compact(&mut self, name: &DocName, saved: &[u8]) -> Result<(), PhoneError> {
        let tx = self.db.transaction_with_behavior(TransactionBehavior::Immediate)?;
        let key = name.to_bytes();
        tx.execute("UPDATE doc SET saved = ?2 WHERE name = ?1", params![key.as_slice(), saved])?;
        tx.execute("DELETE FROM chunk WHERE doc = ?1", [key.as_slice()])?;
        tx.commit()?;
        Ok(())
    }

    fn rescue(&mut self, name: &DocName) -> Result<Document, PhoneError> {
        let key = name.to_bytes();
        let tx = self.db.transaction_with_behavior(TransactionBehavior::Immediate)?;
        let saved: Option<Vec<u8>> =
            tx.query_row("SELECT saved FROM doc WHERE name = ?1", [key.as_slice()], |r| r.get(0))?;
        let chunks: Vec<Vec<u8>> = tx
            .prepare("SELECT body FROM chunk WHERE doc = ?1 ORDER BY n")?
            .query_map([key.as_slice()], |r| r.get(0))?
            .collect::<Result<_, _>>()?;
        let doc = rescue::longest(*name, saved.as_deref().unwrap_or_default(), &chunks)
            .ok_or_else(|| PhoneError::Storage { why: format!("{name} cannot be rescued"), full: false })?;
        replace(&tx, &rescue::unsure(&doc), &doc.save())?;
        tx.commit()?;
        Ok(doc)
    }

    fn set_aside(&mut self, row: &DocRow, saved: &[u8]) -> Result<(), PhoneError> {
        let tx = self.db.transaction_with_behavior(TransactionBehavior::Immediate)?;
        replace(&tx, row, saved)?;
        tx.execute("DELETE FROM refused WHERE doc = ?1", [row.name.to_bytes().as_slice()])?;
        tx.commit()?;
        Ok(())
    }

    fn chunk_count(&self, name: &DocName) -> Result<u64, PhoneError> {
        let n: i64 = self
            .db
            .prepare_cached("SELECT coalesce(max(n), 0) FROM chunk WHERE doc = ?1")?
            .query_row([name.to_bytes().as_slice()], |r| r.get(0))?;
        Ok(u64::try_from(n).unwrap_or(0))
    }

    fn looser_than(&self, bytes: i64) -> Result<Vec<DocName>, PhoneError> {
        let mut query =
            self.db.prepare_cached("SELECT doc FROM chunk GROUP BY doc HAVING sum(length(body)) > ?1")?;
        let rows = query.query_map([bytes], |r| doc_name(r, 0))?;
        rows.map(|r| r.map_err(PhoneError::from)).collect()
    }

    fn note_refusal(&mut self, name: &DocName, refusal: &Refusal) -> Result<(), PhoneError> {
        self.db.execute(
            "INSERT INTO refused (doc, code, text) VALUES (?1, ?2, ?3)
             ON CONFLICT (doc) DO UPDATE SET code = excluded.code, text = excluded.text",
            params![name.to_bytes().as_slice(), refusal.code, refusal.text],
        )?;
        Ok(())
    }

    fn refusals(&self) -> Result<Vec<RefusedRow>, PhoneError> {
        let mut query = self.db.prepare("SELECT doc, code, text FROM refused ORDER BY doc")?;
        let rows = query.query_map([], |r| {
            let refusal = Refusal { code: r.get(1)?, change: None, text: r.get(2)? };
            Ok(RefusedRow { name: doc_name(r, 0)?, refusal })
        })?;
        rows.map(|r| r.map_err(PhoneError::from)).collect()
    }

    fn epoch(&self) -> Result<Option<[u8; 16]>, PhoneError> {
        Ok(self.meta("epoch")?.and_then(|b| b.try_into().ok()))
    }

    fn new_epoch(&mut self, epoch: [u8; 16]) -> Result<(), PhoneError> {
        let tx = self.db.transaction_with_behavior(TransactionBehavior::Immediate)?;
        tx.execute("UPDATE doc SET cursor = 0, server_heads = x'', agreed = 0, tell_heads = 1", [])?;
        put_meta(&tx, "epoch", &epoch)?;
        tx.commit()?;
        Ok(())
    }

    fn people(&self) -> Result<(u64, Vec<Known>), PhoneError> {
        let Some(bytes) = self.meta("people")? else { return Ok((0, Vec::new())) };
        // A list that cannot be read is asked for anew.
        let people: Option<backstraight_core::exchange::wire::People> = minicbor::decode(&bytes).ok();
        Ok(people.map_or((0, Vec::new()), |p| (p.version, p.list)))
    }

    fn set_people(&mut self, version: u64, list: Vec<Known>) -> Result<(), PhoneError> {
        let people = backstraight_core::exchange::wire::People { version, list };
        let bytes = minicbor::to_vec(&people).unwrap_or_default();
        put_meta(&self.db, "people", &bytes)
    }

    fn keep_carried(
        &mut self,
        name: &DocName,
        parcel: &Parcel,
        fresh: Fresh<'_>,
    ) -> Result<bool, PhoneError> {
        let bytes = minicbor::to_vec(parcel).unwrap_or_default();
        let key = name.to_bytes();
        let tx = self.db.transaction_with_behavior(TransactionBehavior::Immediate)?;
        let known = tx
            .prepare_cached("SELECT 1 FROM carried WHERE doc = ?1 AND parcel = ?2")?
            .exists(params![key.as_slice(), bytes])?;
        if !known {
            tx.prepare_cached("INSERT INTO carried (doc, parcel) VALUES (?1, ?2)")?
                .execute(params![key.as_slice(), bytes])?;
        }
        if let Some((chunks, heads)) = fresh.filter(|(chunks, _)| !chunks.is_empty()) {
            put_chunk(&tx, name, chunks, heads)?;
        }
        tx.commit()?;
        Ok(!known)
    }

    fn carried(&self) -> Result<Vec<CarriedRow>, PhoneError> {
        carried::all(&self.db)
    }

    fn carried_done(&mut self, id: i64) -> Result<(), PhoneError> {
        self.db.execute("DELETE FROM carried WHERE id = ?1", [id])?;
        Ok(())
    }

    fn carried_refused(&mut self, id: i64, refusal: &Refusal) -> Result<(), PhoneError> {
        self.db.execute(
            "UPDATE carried SET code = ?2, text = ?3 WHERE id = ?1",
            params![id, refusal.code, refusal.text],
        )?;
        Ok(())
    }
}

/// Opens the file of a store, with what a call that returned needs to be on disk.
fn connect_with(path: &Path, locking: &str) -> Result<Connection, PhoneError> {
    let mut db = Connection::open(path)?;
    // Of a damaged store the log of writes is kept as it is.
    keep_log(&db, true)?;
    db.busy_timeout(Duration::from_secs(3))?;
    db.pragma_update(None, "locking_mode", locking)?;
    db.pragma_update(None, "journal_mode", "WAL")?;
    db.pragma_update(None, "synchronous", "FULL")?;
    db.pragma_update(None, "fullfsync", true)?;
    db.pragma_update(None, "checkpoint_fullfsync", true)?;
    db.pragma_update(None, "foreign_keys", true)?;
    db.pragma_update(None, "cell_size_check", true)?;
    // What is erased is overwritten.
    db.pragma_update(None, "secure_delete", true)?;
    schema::upgrade(&mut db)?;
    let verdict: String = db.query_row("PRAGMA quick_check(1)", [], |r| r.get(0))?;
    if verdict != "ok" {
        return Err(PhoneError::Damaged(format!("integrity check: {verdict}")));
    }
    keep_log(&db, false)?;
    Ok(db)
}

/// Whether the log of writes stays beside the store when its last connection is closed.
fn keep_log(db: &Connection, keep: bool) -> rusqlite::Result<()> {
    db.set_db_config(DbConfig::SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE, keep).map(drop)
}

/// Goes on with `saved` and that row; the bytes as they were are put aside.
fn replace(db: &Connection, row: &DocRow, saved: &[u8]) -> Result<(), PhoneError> {
    let key = row.name.to_bytes();
    db.execute(
        "INSERT INTO damaged (doc, n, body) SELECT name, 0, saved FROM doc WHERE name = ?1 AND saved IS NOT NULL
         UNION ALL SELECT doc, n, body FROM chunk WHERE doc = ?1",
        [key.as_slice()],
    )?;
    db.execute("DELETE FROM chunk WHERE doc = ?1", [key.as_slice()])?;
    db.execute(
        "UPDATE doc SET saved = ?2, heads = ?3, cursor = ?4, server_heads = ?5, agreed = ?6, tell_heads = ?7
         WHERE name = ?1",
        params![
            key.as_slice(),
            saved,
            join(&row.heads),
            i64::try_from(row.cursor).unwrap_or(i64::MAX),
            join(&row.server_heads),
            row.agreed,
            row.tell_heads,
        ],
    )?;
    Ok(())
}

/// Appends a chunk to a document, which is made when it is not there yet.
fn put_chunk(db: &Connection, name: &DocName, chunk: &[u8], heads: &[ChangeHash]) -> Result<(), PhoneError> {
    let key = name.to_bytes();
    db.prepare_cached(
        "INSERT INTO doc (name, heads) VALUES (?1, ?2) ON CONFLICT (name) DO UPDATE SET heads = excluded.heads",
    )?
    .execute(params![key.as_slice(), join(heads)])?;
    push_chunk(db, &key, chunk)
}

fn push_chunk(db: &Connection, key: &[u8], chunk: &[u8]) -> Result<(), PhoneError> {
    db.prepare_cached(
        "INSERT INTO chunk (doc, n, body) VALUES (?1, (SELECT coalesce(max(n), 0) + 1 FROM chunk WHERE doc = ?1), ?2)",
    )?
    .execute(params![key, chunk])?;
    Ok(())
}

fn put_meta(db: &Connection, key: &str, value: &[u8]) -> Result<(), PhoneError> {
    db.execute(
        "INSERT INTO meta (key, value) VALUES (?1, ?2) ON CONFLICT (key) DO UPDATE SET value = excluded.value",
        params![key, value],
    )?;
    Ok(())
}

fn doc_row(r: &rusqlite::Row<'_>) -> rusqlite::Result<DocRow> {
    Ok(DocRow {
        name: doc_name(r, 0)?,
        cursor: u64::try_from(r.get::<_, i64>(1)?).unwrap_or(0),
        heads: split(r.get_ref(2)?.as_blob()?),
        server_heads: split(r.get_ref(3)?.as_blob()?),
        agreed: r.get(4)?,
        tell_heads: r.get(5)?,
        withdrawn: r.get(6)?,
    })
}

fn doc_name(r: &rusqlite::Row<'_>, i: usize) -> rusqlite::Result<DocName> {
    DocName::from_bytes(r.get_ref(i)?.as_blob()?)
        .map_err(|e| rusqlite::Error::FromSqlConversionFailure(i, rusqlite::types::Type::Blob, Box::new(e)))
}

fn join(heads: &[ChangeHash]) -> Vec<u8> {
    heads.iter().flat_map(|h| h.0).collect()
}

fn split(bytes: &[u8]) -> Vec<ChangeHash> {
    bytes.chunks_exact(32).filter_map(|c| c.try_into().ok().map(ChangeHash)).collect()
}
