//! Rows that a review needs: people with their installs and when they were heard, names of documents.

use super::sql::Db;
use backstraight_core::base::day::Day;
use backstraight_core::base::id::{InstallId, PersonId, SquadId};
use backstraight_core::exchange::access::Role;
use backstraight_core::model::name::DocName;

use super::fault::StoreError;
use super::value;
use crate::grant::MayReview;

/// A person of the club.
#[derive(Debug, Clone)]
pub struct Person {
    /// Who.
    pub id: PersonId,
    /// Shown name.
    pub name: String,
    /// Role.
    pub role: Role,
    /// Whether the person is no member any more.
    pub withdrawn: bool,
    /// All installs, withdrawn ones too: what they wrote is still shown with a name.
    pub installs: Vec<InstallId>,
    /// The last local day through which an install was heard.
    pub heard_through: Option<Day>,
    /// Date of birth, where the account has it.
    pub born: Option<Day>,
    /// What stands in the way of hearing from the person.
    pub silence: Option<Silence>,
}

/// Why somebody may not be heard, as far as a server can tell. A phone without a signal is none.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Silence {
    /// No install was ever enrolled.
    NoPhone,
    /// Every install was withdrawn or has lost its session.
    Withdrawn,
    /// The phone's calendar is days off: what it sends arrives, but it says nothing about a day.
    WrongClock,
    /// Its app speaks another version of the exchange: what it logs stays on it until it is renewed.
    OldApp,
}

impl Silence {
    /// In words for a coach.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Silence::NoPhone => "no phone yet: send an invite",
            Silence::Withdrawn => {
                "the phone was withdrawn or signed out: what it logs stays on it until a new invite"
            }
            Silence::WrongClock => {
                "the phone's date is wrong: what it logs arrives, but no day counts as heard until it is set right"
            }
            Silence::OldApp => {
                "the phone's app speaks another version than this server: what it logs stays on it until both fit"
            }
        }
    }
}

/// What is known of an install.
struct Install {
    ended: bool,
    heard_at: Option<i64>,
    clock_wrong: bool,
    old_app: bool,
}

fn silence(installs: &[Install]) -> Option<Silence> {
    if installs.is_empty() {
        return Some(Silence::NoPhone);
    }
    // The install that was heard last speaks for the person.
    let Some(last) = installs.iter().filter(|i| !i.ended).max_by_key(|i| i.heard_at) else {
        return Some(Silence::Withdrawn);
    };
    match last {
        Install { old_app: true, .. } => Some(Silence::OldApp),
        Install { clock_wrong: true, .. } => Some(Silence::WrongClock),
        Install { .. } => None,
    }
}

/// The people of the club under review.
///
/// # Errors
/// When storage fails.
pub fn people(db: &Db, grant: &MayReview) -> Result<Vec<Person>, StoreError> {
    let mut ask = db.prepare_cached(
        "SELECT p.id, p.name, p.role, p.withdrawn_at IS NOT NULL, i.id, i.heard_day,
                i.withdrawn_at IS NOT NULL OR i.refresh_killed_at IS NOT NULL, i.heard_at, i.clock_wrong, i.old_app,
                p.born
         FROM person p LEFT JOIN install i ON i.person = p.id WHERE p.club = ?1 ORDER BY p.id, i.id",
    )?;
    let mut rows = ask.query([grant.club().0.as_bytes()])?;
    let mut list: Vec<Person> = Vec::new();
    let mut installs: Vec<Vec<Install>> = Vec::new();
    while let Some(r) = rows.next()? {
        let id = value::person(r, 0)?;
        if list.last().is_none_or(|p| p.id != id) {
            list.push(Person {
                id,
                name: r.get(1)?,
                role: value::role(r, 2)?,
                withdrawn: r.get(3)?,
                installs: Vec::new(),
                heard_through: None,
                born: value::day(r, 10)?,
                silence: None,
            });
            installs.push(Vec::new());
        }
        let Some(person) = list.last_mut() else { continue };
        if r.get::<_, Option<Vec<u8>>>(4)?.is_none() {
            continue;
        }
        person.installs.push(value::install(r, 4)?);
        let heard: Option<String> = r.get(5)?;
        person.heard_through = person.heard_through.max(heard.and_then(|d| d.parse().ok()));
        if let Some(installs) = installs.last_mut() {
            installs.push(Install {
                ended: r.get(6)?,
                heard_at: r.get(7)?,
                clock_wrong: r.get(8)?,
                old_app: r.get(9)?,
            });
        }
    }
    for (person, installs) in list.iter_mut().zip(&installs) {
        person.silence = silence(installs);
    }
    Ok(list)
}

/// The squads of the club under review.
///
/// # Errors
/// When storage fails.
pub fn squads(db: &Db, grant: &MayReview) -> Result<Vec<SquadId>, StoreError> {
    let mut ask = db.prepare_cached("SELECT id FROM squad WHERE club = ?1 ORDER BY id")?;
    let rows = ask.query_map([grant.club().0.as_bytes()], |r| value::squad(r, 0))?;
    Ok(rows.collect::<Result<_, _>>()?)
}

/// Names of the documents about one athlete.
///
/// # Errors
/// When storage fails.
pub fn documents(db: &Db, athlete: PersonId) -> Result<Vec<DocName>, StoreError> {
    let mut ask = db.prepare_cached("SELECT name FROM doc WHERE owner = ?1 ORDER BY name")?;
    let rows = ask.query_map([athlete.0.as_bytes()], |r| value::bytes::<20>(r, 0))?;
    let mut names = Vec::new();
    for raw in rows {
        let name = DocName::from_bytes(&raw?);
        names.push(name.map_err(|e| StoreError::Damaged(e.to_string()))?);
    }
    Ok(names)
}
