//! Erasing a person: whole documents go with their bytes, the row of the person stays under a
//! pseudonym, and nothing that somebody still has brings any of it back. What is to go is shown
//! before it goes. Knows no SQL and no route.

pub mod list;
mod squad;

use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

use backstraight_core::base::id::PersonId;
use backstraight_core::base::moment::Moment;
use backstraight_core::model::name::Kind;
use serde::Serialize;
use utoipa::ToSchema;

use crate::app::Shared;
use crate::erase::list::ErasedList;
use crate::exchange::index;
use crate::grant::MayErase;
use crate::store::document::{self, Doc};
use crate::store::erased::{self, Gone};
use crate::store::{Db, Store, StoreError, people};

pub use squad::{Rewritten, beginning};

/// How often it is looked whether the log holds bytes of somebody who was erased.
const PAUSE: Duration = Duration::from_secs(15);

/// What goes when a person is erased, and what stays.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
#[schema(as = Erasure)]
pub struct Going {
    /// Identity of the person; it stays, and names nobody any more.
    pub person: String,
    /// What the person is called afterwards. Whoever erases says it to confirm.
    pub pseudonym: String,
    /// Documents that go whole, with all their history.
    pub documents: Vec<GoingDocument>,
    /// Installs that are withdrawn.
    pub installs: u64,
    /// Invitations that go.
    pub invitations: u64,
    /// Squads that named the person: each goes on as a fresh copy without history under another
    /// identity; what offline desks wrote into it and did not send yet has to be written again.
    pub squads: Vec<String>,
    /// Documents about others, or of the club, in whose words the name is found. They are not
    /// changed by the erasure: people have to look.
    pub named_in: Vec<String>,
    /// Lines of the audit list that stay, by identity.
    pub audit_lines: u64,
}

/// One document that goes.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
#[schema(as = ErasureDocument)]
pub struct GoingDocument {
    /// Its name.
    pub name: String,
    /// Bytes kept of it.
    pub bytes: u64,
}

/// What was erased.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
#[schema(as = Erased)]
pub struct Erased {
    /// What the person is called from now on.
    pub pseudonym: String,
    /// Documents that are gone.
    pub documents: u64,
    /// Squads that go on as a fresh copy.
    pub squads: u64,
    /// Whether the bytes are gone from the database's files too; else within minutes, and of a PostgreSQL
    /// server when those who run it have cleaned it up.
    pub bytes_gone: bool,
    /// Days after which no backup that this server makes holds the person; none when it makes none by
    /// itself: then whoever makes them answers for those.
    pub backups_expire_days: Option<u32>,
}

/// What a person is called once erased: the same whenever and wherever it is done.
#[must_use]
pub fn pseudonym(role: &str, person: PersonId) -> String {
    let hex = data_encoding::HEXLOWER.encode(person.0.as_bytes());
    let end: String = hex.chars().skip(hex.len() - 4).collect();
    format!("{role} {end}")
}

/// What would go. None when there is no such person, or nothing left to erase.
///
/// # Errors
/// When storage fails.
pub fn going(db: &Db, grant: &MayErase) -> Result<Option<Going>, StoreError> {
    let person = grant.person();
    let Some(row) = erased::subject(db, person)? else { return Ok(None) };
    let mut documents = Vec::new();
    for doc in document::owned(db, person.0.into_bytes())? {
        documents.push(GoingDocument { name: doc.name.to_string(), bytes: erased::bytes(db, doc.id)? });
    }
    let (mut squads, mut named_in) = (Vec::new(), Vec::new());
    for doc in erased::of_club(db, row.club)? {
        if doc.name.athlete() == Some(person) || !squad::mentions(db, &doc, person, &row.name)? {
            continue;
        }
        if doc.name.kind() == Kind::Squad {
            squads.push(doc.name.to_string());
        } else {
            named_in.push(doc.name.to_string());
        }
    }
    Ok(Some(Going {
        person: person.to_string(),
        pseudonym: pseudonym(row.role.word(), person),
        documents,
        installs: row.installs,
        invitations: row.invitations,
        squads,
        named_in,
        audit_lines: erased::audit_lines(db, person)?,
    }))
}

/// Erases. None when there is no such person, or nothing left to erase.
///
/// # Errors
/// When storage fails; nothing is erased then.
pub fn person(store: &Store, grant: MayErase, now: Moment) -> Result<Option<Erased>, StoreError> {
    // The copies are made beforehand; a squad that moves on meanwhile is copied again.
    for _ in 0..10 {
        let made = store.read_blocking(|db| {
            let Some(row) = erased::subject(db, grant.person())? else { return Ok(None) };
            let mut copies = Vec::new();
            for doc in erased::of_club(db, row.club)? {
                if doc.name.kind() == Kind::Squad && squad::mentions(db, &doc, grant.person(), &row.name)? {
                    copies.push(squad::fresh_copy(db, &doc, grant.person(), now)?);
                }
            }
            Ok(Some((pseudonym(row.role.word(), grant.person()), copies)))
        })?;
        let Some((name, copies)) = made else { return Ok(None) };
        let (called, squads) = (name.clone(), copies.len() as u64);
        let done = store.write_blocking(move |db| erased::erase(db, &grant, &called, &copies, now))?;
        if let Gone::Documents(documents) = done {
            let list = store.read_blocking(erased::list)?;
            if let Some(root) = store.path().parent() {
                list.write(root)?;
            }
            return Ok(Some(Erased {
                pseudonym: name,
                documents,
                squads,
                bytes_gone: store.empty_log()?,
                backups_expire_days: None,
            }));
        }
    }
    Err(StoreError::Busy)
}

/// Empties the database's log after an erasure, also one that was done at the machine meanwhile: a
/// reader may have stood in the way then. Until it is dropped.
pub(crate) async fn in_the_background(app: Shared) {
    let mut clean = 0;
    loop {
        let count = app.store.read(erased::count).await.unwrap_or(clean);
        if count != clean {
            let store = Arc::clone(&app.store);
            match tokio::task::spawn_blocking(move || store.empty_log()).await {
                Ok(Ok(true)) => clean = count,
                Ok(Ok(false)) => {}
                Ok(Err(error)) => tracing::warn!(%error, "the log could not be emptied after an erasure"),
                Err(_) => tracing::error!("emptying the log panicked"),
            }
        }
        tokio::time::sleep(PAUSE).await;
    }
}

/// Keeps the list of who was erased beside the backups too: a restored folder has to know of those
/// who were erased after the backup was made.
///
/// # Errors
/// When it cannot be read or written.
pub fn tell_backups(store: &Store, folder: &Path) -> Result<(), StoreError> {
    let mut all = ErasedList::read(folder)?;
    let before = all.clone();
    all.add(store.read_blocking(erased::list)?);
    if all == before { Ok(()) } else { all.write(folder) }
}

/// The people of a club who were withdrawn longer ago than the club keeps them, of all clubs.
///
/// # Errors
/// When storage fails.
pub fn due(db: &Db, now: Moment) -> Result<Vec<people::Row>, StoreError> {
    erased::due(db, now)
}

/// The open document, for those who look into it here.
fn open(db: &Db, doc: &Doc) -> Result<backstraight_core::doc::open::Document, StoreError> {
    index::open(db, doc)
}
