//! What this phone carries for others: kept until the server has it, whole and as it came.

use backstraight_core::base::id::ChangeHash;
use backstraight_core::exchange::carry::Parcel;
use backstraight_core::exchange::wire::Refusal;
use backstraight_core::model::name::DocName;
use rusqlite::{Connection, TransactionBehavior, params};

use super::{Store, put_chunk};
use crate::error::PhoneError;

/// One parcel.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CarriedRow {
    /// Its number here.
    pub id: i64,
    /// What is carried.
    pub parcel: Parcel,
    /// Why the server did not take it, when it said so. It is kept, and not sent again by itself.
    pub refused: Option<Refusal>,
}

/// What of a parcel is shown here: its fresh chunks, and the heads of the document with them.
pub(super) type Shown<'a> = Option<(&'a [u8], &'a [ChangeHash])>;

impl Store {
    /// Keeps a parcel for the server and puts what is new of it into the document, both or neither.
    /// Whether it was not kept already.
    ///
    /// # Errors
    /// When the disk refuses; nothing was stored then.
    pub fn keep_carried(
        &mut self,
        name: &DocName,
        parcel: &Parcel,
        shown: Shown<'_>,
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
        if let Some((chunks, heads)) = shown.filter(|(chunks, _)| !chunks.is_empty()) {
            put_chunk(&tx, name, chunks, heads)?;
        }
        tx.commit()?;
        Ok(!known)
    }

    /// Everything that is carried, oldest first.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn carried(&self) -> Result<Vec<CarriedRow>, PhoneError> {
        all(&self.db)
    }

    /// The server has it: it need not be carried any more.
    ///
    /// # Errors
    /// When the disk refuses.
    pub fn carried_arrived(&mut self, id: i64) -> Result<(), PhoneError> {
        self.db.execute("DELETE FROM carried WHERE id = ?1", [id])?;
        Ok(())
    }

    /// The server did not take it, and why.
    ///
    /// # Errors
    /// When the disk refuses.
    pub fn carried_refused(&mut self, id: i64, refusal: &Refusal) -> Result<(), PhoneError> {
        self.db.execute(
            "UPDATE carried SET code = ?2, text = ?3 WHERE id = ?1",
            params![id, refusal.code, refusal.text],
        )?;
        Ok(())
    }
}

/// A parcel that cannot be read any more is left where it is; whoever gave it still has it.
pub(super) fn all(db: &Connection) -> Result<Vec<CarriedRow>, PhoneError> {
    let mut query = db.prepare_cached("SELECT id, parcel, code, text FROM carried ORDER BY id")?;
    let rows = query.query_map([], |r| {
        let code: Option<String> = r.get(2)?;
        let text: Option<String> = r.get(3)?;
        let refused = code.map(|code| Refusal { code, change: None, text: text.unwrap_or_default() });
        Ok((r.get::<_, i64>(0)?, minicbor::decode(r.get_ref(1)?.as_blob()?).ok(), refused))
    })?;
    let mut out = Vec::new();
    for row in rows {
        let (id, parcel, refused) = row?;
        out.extend(parcel.map(|parcel| CarriedRow { id, parcel, refused }));
    }
    Ok(out)
}
