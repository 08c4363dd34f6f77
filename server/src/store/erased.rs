//! What is taken out when a person is erased, in one transaction, and the list that keeps it out.

use std::str::FromStr;

use super::sql::{Db, OptionalExtension};
use backstraight_core::base::id::{ChangeHash, ClubId, PersonId};
use backstraight_core::base::moment::Moment;
use backstraight_core::exchange::access::Role;
use backstraight_core::model::name::DocName;
use data_encoding::BASE64;
use uuid::Uuid;

use super::document::{self, Append, Doc};
use super::fault::StoreError;
use super::{audit, people, value};
use crate::erase::list::{ErasedDocument, ErasedList, ErasedPerson};
use crate::erase::{self, Rewritten};
use crate::grant::{AtTheMachine, MayErase, MayKeepAccounts};

/// What happens to rows of a table that speak of a person or of a document.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fate {
    /// They go.
    Goes,
    /// They stay: an identity without a name, or handled by a statement of its own in [`erase()`].
    Stays,
}

/// Every column that points at a person. A test fails when a table comes that is not listed here.
pub const OF_PERSON: &[(&str, &str, Fate)] = &[
    ("audit", "person", Fate::Stays),
    ("board_asked", "athlete", Fate::Goes),
    ("board_athlete", "athlete", Fate::Goes),
    ("board_available", "athlete", Fate::Goes),
    ("board_doc", "athlete", Fate::Goes),
    ("board_mark", "athlete", Fate::Goes),
    ("board_member", "athlete", Fate::Goes),
    ("board_record", "athlete", Fate::Goes),
    ("board_session", "athlete", Fate::Goes),
    ("calendar", "athlete", Fate::Goes),
    ("calendar", "made_by", Fate::Goes),
    ("consent", "athlete", Fate::Goes),
    ("consent", "signed_by", Fate::Stays),
    ("doc", "owner", Fate::Stays),
    ("erased_doc", "person", Fate::Stays),
    ("erased_person", "person", Fate::Stays),
    ("guardianship", "athlete", Fate::Goes),
    ("guardianship", "guardian", Fate::Goes),
    ("install", "person", Fate::Stays),
    ("invite", "made_by", Fate::Stays),
    ("invite", "person", Fate::Goes),
    ("job", "owner", Fate::Goes),
    ("passkey", "person", Fate::Goes),
    ("sign_in", "person", Fate::Goes),
];

/// Every table whose rows belong to a document, in the order in which they go.
pub const OF_DOCUMENT: &[&str] = &[
    "board_asked",
    "board_available",
    "board_doc",
    "board_record",
    "board_mark",
    "quarantine",
    "chunk",
    "snapshot",
];

/// Columns that point at a squad and follow it to its new identity; the board's are made anew. A test
/// fails when a table comes that is not listed here.
pub const OF_SQUAD: &[(&str, &str)] = &[("calendar", "squad")];

/// The columns of a squad beside its identity.
const SQUAD: &str = "club, name, created_at";

/// A person who may be erased.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Subject {
    /// Club.
    pub club: ClubId,
    /// Role.
    pub role: Role,
    /// Shown name.
    pub name: String,
    /// Installs that are not withdrawn.
    pub installs: u64,
    /// Invitations.
    pub invitations: u64,
}

/// How a document begins that goes on in the place of an erased one.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Beginning {
    /// Its name.
    pub name: DocName,
    /// Plain changes.
    pub body: Vec<u8>,
    /// How many.
    pub changes: u64,
    /// What they add to the index.
    pub delta: Vec<u8>,
    /// Heads afterwards.
    pub heads: Vec<ChangeHash>,
}

/// What became of an erasure.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Gone {
    /// So many documents are gone.
    Documents(u64),
    /// A squad moved on since it was copied: nothing was erased.
    MovedOn,
}

/// A person who is not erased yet, withdrawn or not.
///
/// # Errors
/// When storage fails.
pub fn subject(db: &Db, person: PersonId) -> Result<Option<Subject>, StoreError> {
    Ok(db
        .prepare_cached(
            "SELECT p.club, p.role, p.name,
                    (SELECT count(*) FROM install i WHERE i.person = p.id AND i.withdrawn_at IS NULL),
                    (SELECT count(*) FROM invite v WHERE v.person = p.id)
             FROM person p WHERE p.id = ?1
               AND NOT EXISTS (SELECT 1 FROM erased_person e WHERE e.person = p.id)",
        )?
        .query_row([person.0.as_bytes()], |r| {
            Ok(Subject {
                club: value::club(r, 0)?,
                role: value::role(r, 1)?,
                name: r.get(2)?,
                installs: value::count(r, 3)?,
                invitations: value::count(r, 4)?,
            })
        })
        .optional()?)
}

/// Whether a document was erased, or is one of somebody who was, of this club: clubs are strangers.
///
/// # Errors
/// When storage fails.
pub fn is_erased(db: &Db, name: &DocName, club: ClubId) -> Result<bool, StoreError> {
    let athlete = name.athlete().map_or([0; 16], |p| p.0.into_bytes());
    Ok(db
        .prepare_cached(
            "SELECT EXISTS (SELECT 1 FROM erased_person e WHERE e.club = ?1
                AND (e.person = ?2 OR e.person IN (SELECT d.person FROM erased_doc d WHERE d.name = ?3)))",
        )?
        .query_row((club.0.as_bytes(), athlete, name.to_bytes()), |r| r.get(0))?)
}

/// How many people and documents were erased.
///
/// # Errors
/// When storage fails.
pub fn count(db: &Db) -> Result<u64, StoreError> {
    Ok(db.query_row(
        "SELECT (SELECT count(*) FROM erased_person) + (SELECT count(*) FROM erased_doc)",
        [],
        |r| value::count(r, 0),
    )?)
}

/// Bytes kept of a document.
///
/// # Errors
/// When storage fails.
pub fn bytes(db: &Db, doc: i64) -> Result<u64, StoreError> {
    Ok(db
        .prepare_cached(
            "SELECT (SELECT coalesce(sum(length(body) + length(delta)), 0) FROM chunk WHERE doc = ?1)
                  + (SELECT coalesce(sum(length(body) + length(delta)), 0) FROM snapshot WHERE doc = ?1)",
        )?
        .query_row([doc], |r| value::count(r, 0))?)
}

/// All documents of a club.
///
/// # Errors
/// When storage fails.
pub fn of_club(db: &Db, club: ClubId) -> Result<Vec<Doc>, StoreError> {
    let mut ask = db.prepare_cached("SELECT id FROM doc WHERE club = ?1 ORDER BY id")?;
    let ids = ask.query_map([club.0.as_bytes()], |r| r.get(0))?.collect::<Result<Vec<i64>, _>>()?;
    let docs = ids.into_iter().map(|id| document::by_id(db, id)).collect::<Result<Vec<_>, _>>()?;
    Ok(docs.into_iter().flatten().collect())
}

/// Lines of the audit list by or about a person.
///
/// # Errors
/// When storage fails.
pub fn audit_lines(db: &Db, person: PersonId) -> Result<u64, StoreError> {
    Ok(db.query_row(
        "SELECT count(*) FROM audit WHERE person = ?1 OR subject = ?2",
        (person.0.as_bytes(), person.to_string()),
        |r| value::count(r, 0),
    )?)
}

/// Erases a person.
///
/// # Errors
/// When storage fails.
pub fn erase(
    db: &Db,
    grant: &MayErase,
    pseudonym: &str,
    copies: &[Rewritten],
    now: Moment,
) -> Result<Gone, StoreError> {
    let person = grant.person();
    for copy in copies {
        if document::find(db, &copy.old.name)?.is_none_or(|d| d.max_n != copy.old.max_n) {
            return Ok(Gone::MovedOn);
        }
    }
    let id = person.0.into_bytes();
    let mut gone = 0;
    for doc in document::owned(db, id)? {
        remove(db, &doc)?;
        note(db, &doc.name, person, None, now)?;
        gone += 1;
    }
    for (table, column, _) in OF_PERSON.iter().filter(|(_, _, fate)| *fate == Fate::Goes) {
        db.execute(&format!("DELETE FROM {table} WHERE {column} = ?1"), [id])?;
    }
    for copy in copies {
        remove(db, &copy.old)?;
        go_on(db, &copy.old.name, &copy.new, grant.club(), now)?;
        note(db, &copy.old.name, person, Some(&copy.new), now)?;
    }
    // What others wrote names this person by identity; here is what it is called by then.
    db.execute(
        "UPDATE person SET name = ?2, born = NULL, care_open_to_coaches = 0, care_version = care_version + 1,
                withdrawn_at = coalesce(withdrawn_at, ?3)
         WHERE id = ?1",
        (id, pseudonym, now.0),
    )?;
    db.execute(
        "UPDATE install SET device = 'erased', heard_at = NULL, heard_day = NULL, refresh_salt = ?3,
                withdrawn_at = coalesce(withdrawn_at, ?2)
         WHERE person = ?1",
        (id, now.0, [0u8; 16]),
    )?;
    db.execute(
        "INSERT INTO erased_person (person, club, at) VALUES (?1, ?2, ?3) ON CONFLICT (person) DO NOTHING",
        (id, grant.club().0.as_bytes(), now.0),
    )?;
    people::changed(db, grant.club())?;
    db.execute("UPDATE board_club SET version = version + 1 WHERE club = ?1", [grant.club().0.as_bytes()])?;
    audit::add(db, grant.by(), "person erased", &person.to_string(), now)?;
    Ok(Gone::Documents(gone))
}

/// Takes a document out with everything that is kept of it.
fn remove(db: &Db, doc: &Doc) -> Result<(), StoreError> {
    for table in OF_DOCUMENT {
        db.execute(&format!("DELETE FROM {table} WHERE doc = ?1"), [doc.id])?;
    }
    db.execute("DELETE FROM doc WHERE id = ?1", [doc.id])?;
    Ok(())
}

/// Lets a squad go on under another identity.
fn go_on(db: &Db, old: &DocName, new: &Beginning, club: ClubId, now: Moment) -> Result<(), StoreError> {
    let (was, is) = (old.owner().into_bytes(), new.name.owner().into_bytes());
    db.execute("DELETE FROM board_member WHERE squad = ?1", [was])?;
    db.execute("DELETE FROM job WHERE owner = ?1", [was])?;
    db.execute(
        &format!("INSERT INTO squad (id, {SQUAD}) SELECT ?2, {SQUAD} FROM squad WHERE id = ?1"),
        (was, is),
    )?;
    for (table, column) in OF_SQUAD {
        db.execute(&format!("UPDATE {table} SET {column} = ?2 WHERE {column} = ?1"), (was, is))?;
    }
    db.execute("DELETE FROM squad WHERE id = ?1", [was])?;
    let add = Append {
        grant: AtTheMachine.to_write(new.name, club),
        checked_at: 0,
        body: new.body.clone(),
        changes: new.changes,
        delta: new.delta.clone(),
        heads: new.heads.clone(),
    };
    if !new.body.is_empty() {
        document::append(db, &add, now)?;
    }
    Ok(())
}

/// Notes that a document was erased. The beginning of one that was itself a copy is forgotten: it
/// named the person too.
fn note(
    db: &Db,
    name: &DocName,
    person: PersonId,
    new: Option<&Beginning>,
    now: Moment,
) -> Result<(), StoreError> {
    let name = name.to_bytes();
    db.execute("UPDATE erased_doc SET beginning = NULL WHERE successor = ?1", [name])?;
    db.execute(
        "INSERT INTO erased_doc (name, person, at, successor, beginning) VALUES (?1, ?2, ?3, ?4, ?5)
         ON CONFLICT (name) DO NOTHING",
        (name, person.0.as_bytes(), now.0, new.map(|n| n.name.to_bytes()), new.map(|n| n.body.clone())),
    )?;
    Ok(())
}

/// Everybody who was erased.
///
/// # Errors
/// When storage fails.
pub fn list(db: &Db) -> Result<ErasedList, StoreError> {
    let mut all = ErasedList::default();
    let mut ask = db.prepare("SELECT person, club, at FROM erased_person")?;
    let mut rows = ask.query([])?;
    while let Some(r) = rows.next()? {
        let note = ErasedPerson { club: value::club(r, 1)?.to_string(), at: r.get(2)? };
        all.people.insert(value::person(r, 0)?.to_string(), note);
    }
    let mut ask = db.prepare("SELECT name, person, at, successor, beginning FROM erased_doc")?;
    let mut rows = ask.query([])?;
    let name = |raw: Vec<u8>| {
        DocName::from_bytes(&raw).map(|n| n.to_string()).map_err(|e| StoreError::Damaged(e.to_string()))
    };
    while let Some(r) = rows.next()? {
        let note = ErasedDocument {
            person: value::person(r, 1)?.to_string(),
            at: r.get(2)?,
            successor: r.get::<_, Option<Vec<u8>>>(3)?.map(name).transpose()?,
            beginning: r.get::<_, Option<Vec<u8>>>(4)?.map(|b| BASE64.encode(&b)),
        };
        all.documents.insert(name(r.get(0)?)?, note);
    }
    Ok(all)
}

/// Erases from a restored database everybody who was erased after its backup was made; how many.
///
/// # Errors
/// When storage fails or the list cannot be followed.
pub fn again(db: &Db, list: &ErasedList, now: Moment) -> Result<u64, StoreError> {
    let odd = |what: &str| StoreError::Damaged(format!("the list of erased people: {what}"));
    let mut count = 0;
    for (person, noted) in &list.people {
        let person = PersonId::from_str(person).map_err(|_| odd("a person"))?;
        let club = ClubId::from_str(&noted.club).map_err(|_| odd("a club"))?;
        let grant = AtTheMachine.to_erase(person, club);
        if let Some(row) = subject(db, person)? {
            erase(db, &grant, &erase::pseudonym(row.role.word(), person), &[], now)?;
            count += 1;
        } else {
            db.execute(
                "INSERT INTO erased_person (person, club, at) VALUES (?1, ?2, ?3)
                 ON CONFLICT (person) DO NOTHING",
                (person.0.as_bytes(), club.0.as_bytes(), noted.at),
            )?;
        }
    }
    for (name, noted) in &list.documents {
        let old = DocName::from_str(name).map_err(|_| odd("a document"))?;
        let person = PersonId::from_str(&noted.person).map_err(|_| odd("a person"))?;
        if let Some(doc) = document::find(db, &old)? {
            remove(db, &doc)?;
            if let Some((new, body)) = list.goes_on_as(name) {
                let new = DocName::from_str(new).map_err(|_| odd("a document"))?;
                let body = BASE64.decode(body.as_bytes()).map_err(|_| odd("a beginning"))?;
                let club = squad_club(db, old.owner())?;
                if let (Some(club), None) = (club, document::find(db, &new)?) {
                    go_on(db, &old, &erase::beginning(new, body)?, club, now)?;
                }
            }
        }
        let successor = noted.successor.as_deref().map(DocName::from_str).transpose();
        let successor = successor.map_err(|_| odd("a document"))?.map(|n| n.to_bytes());
        let beginning = noted.beginning.as_deref().map(|b| BASE64.decode(b.as_bytes())).transpose();
        db.execute(
            "INSERT INTO erased_doc (name, person, at, successor, beginning) VALUES (?1, ?2, ?3, ?4, ?5)
             ON CONFLICT (name) DO UPDATE SET successor = ?4, beginning = ?5",
            (
                old.to_bytes(),
                person.0.as_bytes(),
                noted.at,
                successor,
                beginning.map_err(|_| odd("a beginning"))?,
            ),
        )?;
    }
    Ok(count)
}

fn squad_club(db: &Db, squad: Uuid) -> Result<Option<ClubId>, StoreError> {
    Ok(db
        .query_row("SELECT club FROM squad WHERE id = ?1", [squad.as_bytes()], |r| value::club(r, 0))
        .optional()?)
}

/// A month as clubs count them here: 30 days, ms.
const MONTH: i64 = 30 * 86_400_000;

/// The people who were withdrawn longer ago than their club keeps them.
///
/// # Errors
/// When storage fails.
pub fn due(db: &Db, now: Moment) -> Result<Vec<people::Row>, StoreError> {
    let mut ask = db.prepare(
        "SELECT p.id, p.role, p.name FROM person p JOIN club c ON c.id = p.club
         WHERE p.withdrawn_at IS NOT NULL AND c.erase_after_months IS NOT NULL
           AND p.withdrawn_at <= ?1 - c.erase_after_months * ?2
           AND NOT EXISTS (SELECT 1 FROM erased_person e WHERE e.person = p.id)
         ORDER BY p.withdrawn_at, p.id",
    )?;
    let rows = ask.query_map((now.0, MONTH), |r| {
        Ok(people::Row {
            id: value::person(r, 0)?.to_string(),
            role: r.get(1)?,
            name: r.get(2)?,
            installs: 0,
        })
    })?;
    Ok(rows.collect::<Result<_, _>>()?)
}

/// The club of a person, withdrawn or not.
///
/// # Errors
/// When storage fails.
pub fn club_of(db: &Db, person: PersonId) -> Result<Option<ClubId>, StoreError> {
    Ok(db
        .query_row("SELECT club FROM person WHERE id = ?1", [person.0.as_bytes()], |r| value::club(r, 0))
        .optional()?)
}

/// Says after how many months withdrawn people of a club are due to be erased; none for never.
///
/// # Errors
/// When storage fails.
pub fn set_retention(
    db: &Db,
    grant: &MayKeepAccounts,
    club: ClubId,
    months: Option<u32>,
    now: Moment,
) -> Result<bool, StoreError> {
    let set = db.execute(
        "UPDATE club SET erase_after_months = ?2 WHERE id = ?1",
        (club.0.as_bytes(), months.map(i64::from)),
    )?;
    if set == 1 {
        let what = months.map_or_else(
            || "withdrawn people are kept".to_owned(),
            |m| format!("withdrawn people are due to be erased after {m} months"),
        );
        audit::add(db, grant.by(), &what, &club.to_string(), now)?;
    }
    Ok(set == 1)
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use super::*;
    use crate::store::open_writer;

    #[test]
    fn every_table_that_speaks_of_a_person_or_a_document_has_its_fate() {
        let dir = tempfile::tempdir().unwrap();
        let db = open_writer(&dir.path().join("a.db")).unwrap();
        let list = |sql: &str| -> BTreeSet<(String, String)> {
            let mut ask = db.prepare(sql).unwrap();
            let rows = ask.query_map([], |r| Ok((r.get(0)?, r.get(1)?))).unwrap();
            rows.map(Result::unwrap).collect()
        };
        // By what they point at, or by what the column is called.
        let found = list(
            "SELECT t.name, f.\"from\" FROM sqlite_schema t JOIN pragma_foreign_key_list(t.name) f
             WHERE t.type = 'table' AND f.\"table\" = 'person'
             UNION SELECT t.name, c.name FROM sqlite_schema t JOIN pragma_table_info(t.name) c
             WHERE t.type = 'table' AND c.name IN ('person', 'athlete', 'owner', 'guardian', 'ward', 'subject_person')",
        );
        let known: BTreeSet<_> =
            OF_PERSON.iter().map(|(table, column, _)| ((*table).to_owned(), (*column).to_owned())).collect();
        assert_eq!(found, known, "say in OF_PERSON what becomes of it");
        let found = list(
            "SELECT t.name, f.\"from\" FROM sqlite_schema t JOIN pragma_foreign_key_list(t.name) f
             WHERE t.type = 'table' AND f.\"table\" = 'doc'",
        );
        let known: BTreeSet<_> =
            OF_DOCUMENT.iter().map(|table| ((*table).to_owned(), "doc".to_owned())).collect();
        assert_eq!(found, known, "say in OF_DOCUMENT that it goes");
    }
    #[test]
    fn everything_that_points_at_a_squad_follows_it() {
        let dir = tempfile::tempdir().unwrap();
        let db = open_writer(&dir.path().join("a.db")).unwrap();
        let mut ask = db
            .prepare(
                "SELECT t.name, f.\"from\" FROM sqlite_schema t JOIN pragma_foreign_key_list(t.name) f
                 WHERE t.type = 'table' AND f.\"table\" = 'squad' AND t.name <> 'board_member'",
            )
            .unwrap();
        let rows = ask.query_map([], |r| Ok((r.get(0)?, r.get(1)?))).unwrap();
        let found: Vec<(String, String)> = rows.map(Result::unwrap).collect();
        let known: Vec<_> = OF_SQUAD.iter().map(|(t, c)| ((*t).to_owned(), (*c).to_owned())).collect();
        assert_eq!(found, known, "say in OF_SQUAD that it follows");
        let mut ask = db.prepare("SELECT name FROM pragma_table_info('squad') ORDER BY cid").unwrap();
        let columns: Vec<String> = ask.query_map([], |r| r.get(0)).unwrap().map(Result::unwrap).collect();
        assert_eq!(columns.join(", "), format!("id, {SQUAD}"));
    }

    #[test]
    fn people_are_due_only_where_their_club_says_so_and_only_once_withdrawn() {
        let dir = tempfile::tempdir().unwrap();
        let db = open_writer(&dir.path().join("a.db")).unwrap();
        let now = Moment(1_795_600_800_000);
        let (club, keeps) = (ClubId(Uuid::from_u128(1)), ClubId(Uuid::from_u128(2)));
        let grant = AtTheMachine.to_keep_accounts();
        for (n, club) in [(10, club), (11, club), (12, keeps)] {
            people::add_club(&db, &grant, club, "Cinder Lane", now).ok();
            let id = PersonId(Uuid::from_u128(n));
            let new = people::NewPerson { id, club, role: Role::Athlete, name: "Somebody".to_owned() };
            people::add_person(&db, &grant, &new, now).unwrap();
        }
        for n in [10, 12] {
            people::withdraw(&db, &grant, PersonId(Uuid::from_u128(n)), now).unwrap();
        }
        let after = |days: i64| -> Vec<String> {
            let rows = due(&db, now.plus_ms(days * 86_400_000)).unwrap();
            rows.into_iter().map(|r| r.id).collect()
        };
        assert!(after(10_000).is_empty(), "off by default");
        assert!(set_retention(&db, &grant, club, Some(2), now).unwrap());
        assert!(after(59).is_empty());
        let who = PersonId(Uuid::from_u128(10));
        assert_eq!(after(60), [who.to_string()]);
        let may = AtTheMachine.to_erase(who, club);
        assert_eq!(erase(&db, &may, "athlete 000a", &[], now).unwrap(), Gone::Documents(0));
        assert!(after(60).is_empty());
        assert!(!set_retention(&db, &grant, ClubId(Uuid::from_u128(9)), None, now).unwrap());
    }
}
