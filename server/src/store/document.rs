//! Documents as rows of checked changes. Appending never loads a document. The cursor of a
//! document is the number of its newest chunk.

use super::sql::{self, Db, OptionalExtension, Row, odd};
use backstraight_core::base::day::Day;
use backstraight_core::base::id::{ChangeHash, ClubId, InstallId, PersonId};
use backstraight_core::base::moment::Moment;
use backstraight_core::exchange::access::{Asker, Role, Subject};
use backstraight_core::model::name::{DocName, Kind};

use super::consents::Use;
use super::fault::StoreError;
use super::news::Told;
use super::snapshot::Snapshot;
use super::{consents, erased, guardians, job, value};
use crate::grant::{Caller, MayRead, MayWrite};

/// A document that is here.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Doc {
    /// Row.
    pub id: i64,
    /// Name.
    pub name: DocName,
    /// Number of the newest chunk.
    pub max_n: u64,
    /// Heads, ascending.
    pub heads: Vec<ChangeHash>,
}

/// One chunk.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Chunk {
    /// Its number.
    pub n: u64,
    /// Plain changes.
    pub body: Vec<u8>,
    /// How many.
    pub changes: u64,
}

const COLUMNS: &str = "id, name, max_n, heads";

fn doc(row: &Row<'_>) -> sql::Result<Doc> {
    let raw = value::bytes::<20>(row, 1)?;
    let name = DocName::from_bytes(&raw).map_err(|e| odd(1, e))?;
    let heads: Vec<u8> = row.get(3)?;
    let heads = heads.chunks_exact(32).filter_map(|h| h.try_into().ok()).map(ChangeHash).collect();
    Ok(Doc { id: row.get(0)?, name, max_n: value::count(row, 2)?, heads })
}

/// Whose a document is, for somebody who asks on a day: none when the owner does not exist, or was erased.
///
/// # Errors
/// When storage fails.
pub fn subject(
    db: &Db,
    name: &DocName,
    asker: Option<&Asker>,
    today: Day,
) -> Result<Option<Subject>, StoreError> {
    let owner = name.owner().into_bytes();
    let sql = match name.kind() {
        Kind::Library => "SELECT id, 0 FROM club WHERE id = ?1",
        Kind::Squad => "SELECT club, 0 FROM squad WHERE id = ?1",
        Kind::Plan | Kind::Log | Kind::Notes | Kind::Care | Kind::CareNotes | Kind::Availability => {
            "SELECT club, care_open_to_coaches FROM person
              WHERE id = ?1 AND NOT EXISTS (SELECT 1 FROM erased_person WHERE person = ?1)"
        }
    };
    let found = db
        .prepare_cached(sql)?
        .query_row([owner], |r| Ok((value::club(r, 0)?, r.get::<_, i64>(1)? == 1)))
        .optional()?;
    let Some((club, maybe_open)) = found else { return Ok(None) };
    let athlete = name.athlete();
    let (mut care_open_to_coaches, mut watched) = (false, false);
    if let Some(athlete) = athlete {
        if maybe_open {
            let said = consents::holds(db, athlete, Use::CareToCoaches, today)?;
            care_open_to_coaches = said == Some(true);
        }
        if let Some(asker) = asker.filter(|a| a.role == Role::Guardian) {
            watched = guardians::watches(db, asker.person, athlete, today)?;
        }
    }
    Ok(Some(Subject { club, athlete, care_open_to_coaches, watched }))
}

/// Person, club and role of an install, whether or not it is still let in: what it wrote while it
/// was stays its own.
///
/// # Errors
/// When storage fails.
pub fn writer(db: &Db, install: InstallId) -> Result<Option<(PersonId, ClubId, Role)>, StoreError> {
    Ok(db
        .prepare_cached(
            "SELECT p.id, p.club, p.role FROM install i JOIN person p ON p.id = i.person WHERE i.id = ?1",
        )?
        .query_row([install.0], |r| Ok((value::person(r, 0)?, value::club(r, 1)?, value::role(r, 2)?)))
        .optional()?)
}

/// An install as the writer of signed changes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Signer {
    /// Person, club and role, as they are now.
    pub asker: Asker,
    /// Its public key, when it has one.
    pub key: Option<[u8; 32]>,
    /// When it or its person was withdrawn or its session was ended, whichever came first.
    pub ended: Option<Moment>,
}

/// Whose signature an install's is, whether or not it is still let in.
///
/// # Errors
/// When storage fails.
pub fn signer(db: &Db, install: InstallId) -> Result<Option<Signer>, StoreError> {
    Ok(db
        .prepare_cached(
            "SELECT p.id, p.club, p.role, i.public_key, i.withdrawn_at, i.refresh_killed_at, p.withdrawn_at
             FROM install i JOIN person p ON p.id = i.person WHERE i.id = ?1",
        )?
        .query_row([install.0], |r| {
            let key: Option<Vec<u8>> = r.get(3)?;
            let ends: [Option<i64>; 3] = [r.get(4)?, r.get(5)?, r.get(6)?];
            Ok(Signer {
                asker: Asker {
                    person: value::person(r, 0)?,
                    club: value::club(r, 1)?,
                    role: value::role(r, 2)?,
                },
                key: key.and_then(|k| k.try_into().ok()),
                ended: ends.into_iter().flatten().min().map(Moment),
            })
        })
        .optional()?)
}

/// A document by name.
///
/// # Errors
/// When storage fails.
pub fn find(db: &Db, name: &DocName) -> Result<Option<Doc>, StoreError> {
    Ok(db
        .prepare_cached(&format!("SELECT {COLUMNS} FROM doc WHERE name = ?1"))?
        .query_row([name.to_bytes()], doc)
        .optional()?)
}

/// A document by name, which nobody else writes from now on until this transaction has ended: the
/// numbers of its chunks are given out one after the other, and seen in that order.
fn find_to_write(db: &Db, name: &DocName) -> Result<Option<Doc>, StoreError> {
    Ok(db
        .prepare_cached(&format!("SELECT {COLUMNS} FROM doc WHERE name = ?1 /*pg FOR NO KEY UPDATE */"))?
        .query_row([name.to_bytes()], doc)
        .optional()?)
}

/// All documents that could concern a caller; the caller's right on each is still to be looked up.
///
/// # Errors
/// When storage fails.
pub fn concerning(db: &Db, caller: &Caller, today: Day) -> Result<Vec<Doc>, StoreError> {
    let (club, person) = (caller.asker.club.0.into_bytes(), caller.asker.person.0.into_bytes());
    let filter = match caller.asker.role {
        Role::HeadCoach | Role::Coach => "club = ?1",
        Role::Care => "club = ?1 AND kind IN ('library', 'care', 'care-notes', 'availability') OR owner = ?2",
        Role::Athlete => "owner = ?2 OR club = ?1 AND kind = 'library'",
        Role::Guardian => {
            let mut docs = owned(db, club)?;
            docs.extend(owned(db, person)?);
            for ward in guardians::wards(db, caller.asker.person, today)? {
                docs.extend(owned(db, ward.0.into_bytes())?);
            }
            return Ok(docs);
        }
        Role::Owner => return owned(db, person),
    };
    let mut ask = db.prepare_cached(&format!("SELECT {COLUMNS} FROM doc WHERE {filter} ORDER BY id"))?;
    let rows = if caller.asker.role.coaches() {
        ask.query_map([club], doc)?
    } else {
        ask.query_map((club, person), doc)?
    };
    Ok(rows.collect::<Result<_, _>>()?)
}

/// A document by row.
///
/// # Errors
/// When storage fails.
pub fn by_id(db: &Db, id: i64) -> Result<Option<Doc>, StoreError> {
    Ok(db
        .prepare_cached(&format!("SELECT {COLUMNS} FROM doc WHERE id = ?1"))?
        .query_row([id], doc)
        .optional()?)
}

/// The documents of one owner, by name.
///
/// # Errors
/// When storage fails.
pub fn owned(db: &Db, owner: [u8; 16]) -> Result<Vec<Doc>, StoreError> {
    let mut ask = db.prepare_cached(&format!("SELECT {COLUMNS} FROM doc WHERE owner = ?1 ORDER BY name"))?;
    let rows = ask.query_map([owner], doc)?;
    Ok(rows.collect::<Result<_, _>>()?)
}

/// All documents, for checks and compaction at the machine.
///
/// # Errors
/// When storage fails.
pub fn all(db: &Db) -> Result<Vec<Doc>, StoreError> {
    let mut ask = db.prepare(&format!("SELECT {COLUMNS} FROM doc ORDER BY id"))?;
    let rows = ask.query_map([], doc)?;
    Ok(rows.collect::<Result<_, _>>()?)
}

/// The document after row `after`, if there is one, and how many there are.
///
/// # Errors
/// When storage fails.
pub fn next(db: &Db, after: i64) -> Result<(Option<i64>, u64), StoreError> {
    Ok(db
        .prepare_cached("SELECT (SELECT min(id) FROM doc WHERE id > ?1), (SELECT count(*) FROM doc)")?
        .query_row([after], |r| Ok((r.get(0)?, value::count(r, 1)?)))?)
}

/// How much of a document is taken at once.
#[derive(Debug, Clone, Copy)]
pub struct Room {
    /// Bytes.
    pub bytes: usize,
    /// Changes: a receiver checks only so many at once.
    pub changes: u64,
}

/// Chunks that are asked for at once: a database that hands over whole answers must not hand over
/// years of them.
const AT_ONCE: usize = 16;

/// The chunks of a document after number `after`, oldest first, as far as there is room; always at
/// least one when there is one.
///
/// # Errors
/// When storage fails.
pub fn chunks_after(db: &Db, grant: &MayRead, after: u64, room: Room) -> Result<Vec<Chunk>, StoreError> {
    let mut ask = db.prepare_cached(
        "SELECT c.n, c.body, c.changes FROM chunk c JOIN doc d ON d.id = c.doc
         WHERE d.name = ?1 AND c.n > ?2 ORDER BY c.n LIMIT ?3",
    )?;
    let (mut got, mut bytes, mut changes): (Vec<Chunk>, _, _) = (Vec::new(), 0, 0);
    loop {
        let (before, last) = (got.len(), got.last().map_or(after, |chunk| chunk.n));
        let mut rows =
            ask.query((grant.name().to_bytes(), value::stored(last), value::stored(AT_ONCE as u64)))?;
        while let Some(r) = rows.next()? {
            let chunk = Chunk { n: value::count(r, 0)?, body: r.get(1)?, changes: value::count(r, 2)? };
            bytes += chunk.body.len();
            changes += chunk.changes;
            if (bytes > room.bytes || changes > room.changes) && !got.is_empty() {
                return Ok(got);
            }
            got.push(chunk);
        }
        if got.len() - before < AT_ONCE {
            return Ok(got);
        }
    }
}

/// The number of the oldest chunk that is still kept by itself; none when there is none.
///
/// # Errors
/// When storage fails.
pub fn oldest_chunk(db: &Db, doc: i64) -> Result<Option<u64>, StoreError> {
    let n: Option<i64> =
        db.prepare_cached("SELECT min(n) FROM chunk WHERE doc = ?1")?.query_row([doc], |r| r.get(0))?;
    Ok(n.and_then(|n| u64::try_from(n).ok()))
}

/// What the index of a document is built from: deltas in order, those after chunk `after` only
/// (all of them for 0).
///
/// # Errors
/// When storage fails.
pub fn deltas(db: &Db, doc: i64, after: u64) -> Result<Vec<Vec<u8>>, StoreError> {
    let (mut list, mut from) = (Vec::new(), after);
    if after == 0 {
        let snapshot = db
            .prepare_cached("SELECT upto_n, delta FROM snapshot WHERE doc = ?1")?
            .query_row([doc], |r| Ok((value::count(r, 0)?, r.get::<_, Vec<u8>>(1)?)))
            .optional()?;
        if let Some((upto, delta)) = snapshot {
            list.push(delta);
            from = upto;
        }
    }
    let mut ask = db.prepare_cached("SELECT delta FROM chunk WHERE doc = ?1 AND n > ?2 ORDER BY n")?;
    for delta in ask.query_map((doc, value::stored(from)), |r| r.get::<_, Vec<u8>>(0))? {
        list.push(delta?);
    }
    Ok(list)
}

/// The bytes from which a document is loaded: the snapshot when there is one, else `start`, then the
/// chunks after it.
///
/// # Errors
/// When storage fails.
pub fn whole(db: &Db, doc: i64, start: &[u8]) -> Result<Vec<u8>, StoreError> {
    let snapshot = db
        .prepare_cached("SELECT upto_n, body FROM snapshot WHERE doc = ?1")?
        .query_row([doc], |r| Ok((value::count(r, 0)?, r.get::<_, Vec<u8>>(1)?)))
        .optional()?;
    let (from, mut bytes) = snapshot.unwrap_or_else(|| (0, start.to_vec()));
    let mut ask = db.prepare_cached("SELECT body FROM chunk WHERE doc = ?1 AND n > ?2 ORDER BY n")?;
    let mut rows = ask.query((doc, value::stored(from)))?;
    while let Some(r) = rows.next()? {
        let body = r.get_ref(0)?.as_blob().map_err(|e| StoreError::Damaged(e.to_string()))?;
        bytes.extend_from_slice(body);
    }
    Ok(bytes)
}

/// The changes of a document after chunk `after`, when every one of those chunks is still kept.
///
/// # Errors
/// When storage fails.
pub fn fresh(db: &Db, doc: &Doc, after: u64) -> Result<Option<Vec<u8>>, StoreError> {
    let mut ask = db.prepare_cached("SELECT body FROM chunk WHERE doc = ?1 AND n > ?2 ORDER BY n")?;
    let mut rows = ask.query((doc.id, value::stored(after)))?;
    let (mut bytes, mut chunks) = (Vec::new(), 0);
    while let Some(r) = rows.next()? {
        let body = r.get_ref(0)?.as_blob().map_err(|e| StoreError::Damaged(e.to_string()))?;
        bytes.extend_from_slice(body);
        chunks += 1;
    }
    Ok((chunks > 0 && after.checked_add(chunks) == Some(doc.max_n)).then_some(bytes))
}

/// Checked changes to be appended.
#[derive(Debug, Clone)]
pub struct Append {
    /// Permission.
    pub grant: MayWrite,
    /// The newest chunk when they were checked; 0 for a new document. When it is another one by
    /// now, they have to be checked again.
    pub checked_at: u64,
    /// Plain changes, none of them known.
    pub body: Vec<u8>,
    /// How many.
    pub changes: u64,
    /// What they add to the index.
    pub delta: Vec<u8>,
    /// Heads afterwards.
    pub heads: Vec<ChangeHash>,
}

/// Appends several, checked one after the other. `None` when the document has moved on since: nothing
/// was written. Else the document as it is now and the number of the first new chunk.
///
/// # Errors
/// When storage fails.
pub fn append_all(db: &Db, adds: &[Append], now: Moment) -> Result<Option<(Doc, u64)>, StoreError> {
    let mut last = None;
    for add in adds {
        match append(db, add, now)? {
            Some(doc) => {
                let first = last.map_or(doc.max_n, |(_, first)| first);
                last = Some((doc, first));
            }
            // Only the first can come too late: the others follow it in this transaction.
            None if last.is_none() => return Ok(None),
            None => {
                return Err(StoreError::Damaged("chunks of one upload do not follow each other".to_owned()));
            }
        }
    }
    Ok(last)
}

/// Appends. `None` when the document has moved on since the check: nothing was written.
///
/// # Errors
/// When storage fails.
pub fn append(db: &Db, add: &Append, now: Moment) -> Result<Option<Doc>, StoreError> {
    let name = add.grant.name();
    let heads: Vec<u8> = add.heads.iter().flat_map(|h| h.0).collect();
    let found = find_to_write(db, name)?;
    if found.as_ref().map_or(0, |d| d.max_n) != add.checked_at {
        return Ok(None);
    }
    // Erased between check and append: it does not begin again.
    if found.is_none() && erased::is_erased(db, name, add.grant.club())? {
        return Ok(None);
    }
    let n = add.checked_at + 1;
    let id = match found {
        Some(doc) => {
            db.prepare_cached("UPDATE doc SET max_n = ?2, heads = ?3 WHERE id = ?1")?.execute((
                doc.id,
                value::stored(n),
                heads,
            ))?;
            doc.id
        }
        None => {
            let made = db
                .prepare_cached(
                    "INSERT INTO doc (name, club, owner, kind, max_n, heads) VALUES (?1, ?2, ?3, ?4, ?5, ?6)
                     ON CONFLICT (name) DO NOTHING RETURNING id",
                )?
                .query_row(
                    (
                        name.to_bytes(),
                        add.grant.club().0.as_bytes(),
                        name.owner().as_bytes(),
                        name.kind().word(),
                        value::stored(n),
                        heads,
                    ),
                    |r| r.get(0),
                )
                .optional()?;
            // Another process made it at the same moment.
            let Some(id) = made else { return Ok(None) };
            id
        }
    };
    db.prepare_cached(
        "INSERT INTO chunk (doc, n, body, changes, delta, install, at) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
    )?
    .execute((
        id,
        value::stored(n),
        &add.body,
        value::stored(add.changes),
        &add.delta,
        add.grant.install().map(|i| i.0),
        now.0,
    ))?;
    // Whatever is shown of this document is old from this commit on, and is known to be.
    job::mark(db, name.owner().into_bytes(), add.grant.club(), now)?;
    db.tell(Told::Document(add.grant.club(), *name, add.grant.install()));
    Ok(Some(Doc { id, name: *name, max_n: n, heads: add.heads.clone() }))
}

/// Everything that is kept of a document, for checks.
#[derive(Debug)]
pub struct Stored {
    /// The snapshot.
    pub snapshot: Option<Snapshot>,
    /// The chunks, oldest first.
    pub chunks: Vec<StoredChunk>,
}

/// A chunk with its part of the index.
#[derive(Debug)]
pub struct StoredChunk {
    /// Its number.
    pub n: u64,
    /// Plain changes.
    pub body: Vec<u8>,
    /// What they add to the index.
    pub delta: Vec<u8>,
}

impl Stored {
    /// The bytes from which the document is loaded.
    #[must_use]
    pub fn whole(&self, start: &[u8]) -> Vec<u8> {
        let mut bytes = self.snapshot.as_ref().map_or_else(|| start.to_vec(), |s| s.body.clone());
        let upto = self.snapshot.as_ref().map_or(0, |s| s.upto_n);
        for chunk in self.chunks.iter().filter(|c| c.n > upto) {
            bytes.extend_from_slice(&chunk.body);
        }
        bytes
    }
}

/// Everything that is kept of a document.
///
/// # Errors
/// When storage fails.
pub fn stored(db: &Db, doc: i64) -> Result<Stored, StoreError> {
    let snapshot = db
        .prepare_cached("SELECT upto_n, body, delta FROM snapshot WHERE doc = ?1")?
        .query_row([doc], |r| {
            Ok(Snapshot { doc, upto_n: value::count(r, 0)?, body: r.get(1)?, delta: r.get(2)? })
        })
        .optional()?;
    let mut ask = db.prepare_cached("SELECT n, body, delta FROM chunk WHERE doc = ?1 ORDER BY n")?;
    let chunks = ask
        .query_map([doc], |r| Ok(StoredChunk { n: value::count(r, 0)?, body: r.get(1)?, delta: r.get(2)? }))?
        .collect::<Result<_, _>>()?;
    Ok(Stored { snapshot, chunks })
}
