//! What this phone carries for others: kept until the server has it, whole and as it came.

use backstraight_core::device::shelf::CarriedRow;
use backstraight_core::exchange::wire::Refusal;
use rusqlite::Connection;

use crate::error::PhoneError;

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
