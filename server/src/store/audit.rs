//! The append-only list of everything that changes access. Each line carries a link: the SHA-256 of the
//! link before it and of the line itself, so that a line which was altered, taken out, put in or moved in
//! the database behind the program's back is found by [`follow`]. Who could write the whole list anew could
//! make its links anew too: whoever wants to find that notes a link elsewhere, as each backup does by having
//! the list in it.

use data_encoding::HEXLOWER;
use sha2::{Digest as _, Sha256};

use super::sql::{self, Db, Kind, OptionalExtension as _};
use backstraight_core::base::id::{InstallId, PersonId};
use backstraight_core::base::moment::Moment;

use super::fault::StoreError;
use super::value;
use crate::grant::{By, MayAudit};

/// The lock under which lines are added to a database that several processes write: each must follow from
/// the one before. By this program only, so any number will do.
const ADDING: i64 = 0x6261_636b_0003;

/// The version of the tables from which on lines have links.
pub const SINCE: i64 = 7;

/// What stands in for the link before the first line.
const NONE_BEFORE: Link = [0; 32];

/// What a line adds to the lines before it.
type Link = [u8; 32];

/// A line without its number and its link.
struct Content {
    at: i64,
    club: Option<Vec<u8>>,
    person: Option<Vec<u8>>,
    install: Option<Vec<u8>>,
    what: String,
    subject: String,
}

impl Content {
    const COLUMNS: &str = "at, club, person, install, what, subject";

    fn read(r: &sql::Row<'_>) -> Result<Content, sql::Error> {
        Ok(Content {
            at: r.get(0)?,
            club: r.get(1)?,
            person: r.get(2)?,
            install: r.get(3)?,
            what: r.get(4)?,
            subject: r.get(5)?,
        })
    }

    /// Every part with its length before it: no two lines are the same bytes.
    fn link(&self, before: &Link) -> Link {
        let mut hash = Sha256::new();
        hash.update(b"backstraight audit line 1");
        hash.update(before);
        hash.update(self.at.to_be_bytes());
        for id in [&self.club, &self.person, &self.install] {
            match id {
                None => hash.update([0]),
                Some(bytes) => part(&mut hash, bytes),
            }
        }
        part(&mut hash, self.what.as_bytes());
        part(&mut hash, self.subject.as_bytes());
        hash.finalize().into()
    }
}

fn part(hash: &mut Sha256, bytes: &[u8]) {
    hash.update([1]);
    hash.update((bytes.len() as u64).to_be_bytes());
    hash.update(bytes);
}

/// Adds a line. `subject` is an identity in words, never a name.
///
/// # Errors
/// When storage fails.
pub fn add(db: &Db, by: &By, what: &str, subject: &str, now: Moment) -> Result<(), StoreError> {
    if db.kind() == Kind::Postgres {
        db.query_row("SELECT pg_advisory_xact_lock(?1)", [ADDING], |_| Ok(()))?;
    }
    let line = Content {
        at: now.0,
        club: by.club.map(|c| c.0.into_bytes().to_vec()),
        person: by.person.map(|p| p.0.into_bytes().to_vec()),
        install: by.install.map(|i| i.0.to_vec()),
        what: what.to_owned(),
        subject: subject.to_owned(),
    };
    let link = line.link(&newest_link(db)?);
    db.prepare_cached(
        "INSERT INTO audit (at, club, person, install, what, subject, link)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
    )?
    .execute((line.at, line.club, line.person, line.install, line.what, line.subject, link))?;
    Ok(())
}

/// The link of the newest line, from which the next one follows.
fn newest_link(db: &Db) -> Result<Link, StoreError> {
    let newest = db
        .prepare_cached("SELECT link FROM audit ORDER BY id DESC LIMIT 1")?
        .query_row([], |r| if_any(r, 0))
        .optional()?;
    match newest {
        None => Ok(NONE_BEFORE),
        Some(Some(link)) => Ok(link),
        // Lines of a version that made no links: the first link is made over all of them.
        Some(None) => Ok(follow(db)?.newest),
    }
}

fn if_any(r: &sql::Row<'_>, n: usize) -> Result<Option<Link>, sql::Error> {
    match r.get::<_, Option<Vec<u8>>>(n)? {
        None => Ok(None),
        Some(_) => value::bytes::<32>(r, n).map(Some),
    }
}

/// What was found by following all links from the first line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Followed {
    /// Lines.
    pub lines: u64,
    /// What does not hold, in words.
    pub trouble: Vec<String>,
    newest: Link,
}

impl Followed {
    /// The link of the newest line, as it can be noted elsewhere; none of an empty list.
    #[must_use]
    pub fn newest(&self) -> Option<String> {
        (self.lines > 0).then(|| HEXLOWER.encode(&self.newest))
    }
}

/// Follows every link of the list from the first line.
///
/// # Errors
/// When storage fails.
pub fn follow(db: &Db) -> Result<Followed, StoreError> {
    let mut found = Followed { lines: 0, trouble: Vec::new(), newest: NONE_BEFORE };
    let (mut last, mut linked) = (0_i64, false);
    loop {
        // In pieces: a list of years is not held in memory as a whole.
        let mut ask = db.prepare_cached(&format!(
            "SELECT {}, id, link FROM audit WHERE id > ?1 ORDER BY id LIMIT 1000",
            Content::COLUMNS
        ))?;
        let lines = ask
            .query_map([last], |r| Ok((Content::read(r)?, r.get::<_, i64>(6)?, if_any(r, 7)?)))?
            .collect::<Result<Vec<_>, _>>()?;
        if lines.is_empty() {
            return Ok(found);
        }
        for (line, id, link) in lines {
            let follows = line.link(&found.newest);
            match link {
                Some(link) if link != follows => {
                    found.trouble.push(format!("audit list: line {id} does not follow from those before it"));
                }
                None if linked => {
                    found.trouble.push(format!("audit list: line {id} was not added by this program"));
                }
                Some(_) | None => {}
            }
            linked |= link.is_some();
            found.newest = link.unwrap_or(follows);
            found.lines += 1;
            last = id;
        }
    }
}

/// Which of the links that were noted elsewhere no line has any more, in words: only so it is found that
/// lines are missing at the end, or that the whole list is another one.
///
/// # Errors
/// When storage fails.
pub fn missing(db: &Db, noted: &[Noted]) -> Result<Vec<String>, StoreError> {
    let mut trouble = Vec::new();
    for Noted(link) in noted {
        let there: i64 =
            db.query_row("SELECT count(*) FROM audit WHERE link = ?1", [link.as_slice()], |r| r.get(0))?;
        if there == 0 {
            trouble.push(format!("audit list: no line has the link {} any more", HEXLOWER.encode(link)));
        }
    }
    Ok(trouble)
}

/// A link that somebody noted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Noted(Link);

impl std::str::FromStr for Noted {
    type Err = String;

    fn from_str(text: &str) -> Result<Noted, String> {
        let bytes = HEXLOWER.decode(text.to_ascii_lowercase().as_bytes()).ok();
        let link = bytes.and_then(|b| Link::try_from(b).ok());
        link.map(Noted).ok_or_else(|| "a link has 64 hexadecimal digits".to_owned())
    }
}

/// One line of the list.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Line {
    /// When, ms.
    pub at: i64,
    /// What was done.
    pub what: String,
    /// Whom or what it concerns.
    pub subject: String,
    /// Whether it was done at the machine.
    pub at_the_machine: bool,
}

/// The newest lines, newest first.
///
/// # Errors
/// When storage fails.
pub fn newest(db: &Db, most: u32) -> Result<Vec<Line>, StoreError> {
    let mut ask =
        db.prepare_cached("SELECT at, what, subject, person IS NULL FROM audit ORDER BY id DESC LIMIT ?1")?;
    let lines = ask.query_map([most], |r| {
        Ok(Line { at: r.get(0)?, what: r.get(1)?, subject: r.get(2)?, at_the_machine: r.get(3)? })
    })?;
    Ok(lines.collect::<Result<_, _>>()?)
}

/// One line as an owner reads it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Entry {
    /// Its number; they grow.
    pub id: u64,
    /// When.
    pub at: Moment,
    /// Who did it; none when it was done at the machine or by itself.
    pub person: Option<PersonId>,
    /// That person's name.
    pub name: Option<String>,
    /// With which install.
    pub install: Option<InstallId>,
    /// What was done.
    pub what: String,
    /// Whom or what it concerns: an identity.
    pub subject: String,
    /// Its link, in hexadecimal digits; none of a line that is older than links.
    pub link: Option<String>,
}

/// A page of a club's lines, the newest first, those before number `before` only.
///
/// # Errors
/// When storage fails.
pub fn page(db: &Db, grant: &MayAudit, before: Option<u64>, most: usize) -> Result<Vec<Entry>, StoreError> {
    let mut ask = db.prepare_cached(
        "SELECT a.id, a.at, a.person, p.name, a.install, a.what, a.subject, a.link
         FROM audit a LEFT JOIN person p ON p.id = a.person
         WHERE a.club = ?1 AND a.id < ?2 ORDER BY a.id DESC LIMIT ?3",
    )?;
    let before = before.map_or(i64::MAX, value::stored);
    let most = i64::try_from(most).unwrap_or(i64::MAX);
    let some = |r: &sql::Row<'_>, n: usize| Ok::<_, sql::Error>(r.get::<_, Option<Vec<u8>>>(n)?.is_some());
    let rows = ask.query_map((grant.club().0.as_bytes(), before, most), |r| {
        Ok(Entry {
            id: value::count(r, 0)?,
            at: Moment(r.get(1)?),
            person: if some(r, 2)? { Some(value::person(r, 2)?) } else { None },
            name: r.get(3)?,
            install: if some(r, 4)? { Some(value::install(r, 4)?) } else { None },
            what: r.get(5)?,
            subject: r.get(6)?,
            link: if_any(r, 7)?.map(|link| HEXLOWER.encode(&link)),
        })
    })?;
    Ok(rows.collect::<Result<_, _>>()?)
}
