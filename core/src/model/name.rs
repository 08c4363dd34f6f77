//! The name of a document: its kind, whose it is, and for which time. The name is the identity:
//! two installs of one athlete that open the same month without a signal mean the same document.

use core::fmt;
use core::str::FromStr;

use uuid::Uuid;

use super::number::SeasonNo;
use crate::base::day::Month;
use crate::base::id::{ClubId, PersonId, SquadId};

/// The kinds of documents.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Kind {
    /// A club's exercises, cues, venues, protocols, templates. Coaches write, members read.
    Library,
    /// A squad's members, meets, group sessions, emphasis. Coaches write and read.
    Squad,
    /// An athlete's season. Coaches write; the athlete and coaches read.
    Plan,
    /// An athlete's month: what was done. The athlete writes; coaches read.
    Log,
    /// An athlete's month: what coaches saw. Coaches write; the athlete reads.
    Notes,
    /// An athlete's reports of pain and illness. The athlete writes; care staff read, coaches only
    /// with the athlete's consent.
    Care,
    /// What care staff found and advise. Care staff write; the athlete reads. Coaches never do.
    CareNotes,
    /// What an athlete may train, in one word with what to avoid. Care staff write; the athlete and
    /// coaches read.
    Availability,
}

impl Kind {
    /// All kinds.
    pub const ALL: [Kind; 8] = [
        Kind::Library,
        Kind::Squad,
        Kind::Plan,
        Kind::Log,
        Kind::Notes,
        Kind::Care,
        Kind::CareNotes,
        Kind::Availability,
    ];

    /// Its word in names and messages.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Kind::Library => "library",
            Kind::Squad => "squad",
            Kind::Plan => "plan",
            Kind::Log => "log",
            Kind::Notes => "notes",
            Kind::Care => "care",
            Kind::CareNotes => "care-notes",
            Kind::Availability => "availability",
        }
    }

    const fn code(self) -> u8 {
        match self {
            Kind::Library => 1,
            Kind::Squad => 2,
            Kind::Plan => 3,
            Kind::Log => 4,
            Kind::Notes => 5,
            Kind::Care => 6,
            Kind::CareNotes => 7,
            Kind::Availability => 8,
        }
    }
}

/// The name of a document.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum DocName {
    /// The library of a club.
    Library(ClubId),
    /// The document of a squad.
    Squad(SquadId),
    /// The plan of an athlete and season.
    Plan(PersonId, SeasonNo),
    /// The log of an athlete and month.
    Log(PersonId, Month),
    /// The notes about an athlete and month.
    Notes(PersonId, Month),
    /// The care document of an athlete.
    Care(PersonId),
    /// What care staff note about an athlete.
    CareNotes(PersonId),
    /// What an athlete may train.
    Availability(PersonId),
}

/// Bytes or text that name no document.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("not the name of a document: {0}")]
pub struct NameError(String);

impl DocName {
    /// Bytes of a name.
    pub const LEN: usize = 20;

    /// The kind.
    #[must_use]
    pub const fn kind(&self) -> Kind {
        match self {
            DocName::Library(_) => Kind::Library,
            DocName::Squad(_) => Kind::Squad,
            DocName::Plan(..) => Kind::Plan,
            DocName::Log(..) => Kind::Log,
            DocName::Notes(..) => Kind::Notes,
            DocName::Care(_) => Kind::Care,
            DocName::CareNotes(_) => Kind::CareNotes,
            DocName::Availability(_) => Kind::Availability,
        }
    }

    /// The identity of whose it is: club, squad or athlete.
    #[must_use]
    pub const fn owner(&self) -> Uuid {
        match self {
            DocName::Library(c) => c.0,
            DocName::Squad(s) => s.0,
            DocName::Plan(p, _)
            | DocName::Log(p, _)
            | DocName::Notes(p, _)
            | DocName::Care(p)
            | DocName::CareNotes(p)
            | DocName::Availability(p) => p.0,
        }
    }

    /// The athlete, when it is an athlete's.
    #[must_use]
    pub const fn athlete(&self) -> Option<PersonId> {
        match self {
            DocName::Plan(p, _)
            | DocName::Log(p, _)
            | DocName::Notes(p, _)
            | DocName::Care(p)
            | DocName::CareNotes(p)
            | DocName::Availability(p) => Some(*p),
            DocName::Library(_) | DocName::Squad(_) => None,
        }
    }

    /// The twenty bytes: kind, owner, two bytes of year or season, one of month.
    #[must_use]
    pub fn to_bytes(&self) -> [u8; Self::LEN] {
        let (years, month) = match self {
            DocName::Library(_)
            | DocName::Squad(_)
            | DocName::Care(_)
            | DocName::CareNotes(_)
            | DocName::Availability(_) => (0, 0),
            DocName::Plan(_, s) => (u16::try_from(s.get()).unwrap_or(0), 0),
            DocName::Log(_, m) | DocName::Notes(_, m) => (m.year(), m.number()),
        };
        let [hi, lo] = years.to_be_bytes();
        let mut out = [0; Self::LEN];
        let parts =
            core::iter::once(self.kind().code()).chain(*self.owner().as_bytes()).chain([hi, lo, month]);
        for (slot, b) in out.iter_mut().zip(parts) {
            *slot = b;
        }
        out
    }

    /// From the twenty bytes; every name has one form only.
    ///
    /// # Errors
    /// When they name no document.
    pub fn from_bytes(bytes: &[u8]) -> Result<DocName, NameError> {
        let bad = || NameError(format!("{} bytes", bytes.len()));
        let [code, rest @ ..] = bytes else { return Err(bad()) };
        let (owner, time) = rest.split_at_checked(16).ok_or_else(bad)?;
        let owner = Uuid::from_slice(owner).map_err(|_| bad())?;
        let [hi, lo, month] = time else { return Err(bad()) };
        let years = u16::from_be_bytes([*hi, *lo]);
        let person = PersonId(owner);
        let timeless = years == 0 && *month == 0;
        match code {
            1 if timeless => Ok(DocName::Library(ClubId(owner))),
            2 if timeless => Ok(DocName::Squad(SquadId(owner))),
            3 if *month == 0 => {
                SeasonNo::new(i64::from(years)).map(|s| DocName::Plan(person, s)).map_err(|_| bad())
            }
            4 => Month::new(years, *month).map(|m| DocName::Log(person, m)).map_err(|_| bad()),
            5 => Month::new(years, *month).map(|m| DocName::Notes(person, m)).map_err(|_| bad()),
            6 if timeless => Ok(DocName::Care(person)),
            7 if timeless => Ok(DocName::CareNotes(person)),
            8 if timeless => Ok(DocName::Availability(person)),
            _ => Err(bad()),
        }
    }
}

impl fmt::Display for DocName {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}/{}", self.kind().word(), self.owner().hyphenated())?;
        match self {
            DocName::Plan(_, s) => write!(f, "/{}", s.get()),
            DocName::Log(_, m) | DocName::Notes(_, m) => write!(f, "/{m}"),
            DocName::Library(_)
            | DocName::Squad(_)
            | DocName::Care(_)
            | DocName::CareNotes(_)
            | DocName::Availability(_) => Ok(()),
        }
    }
}

impl FromStr for DocName {
    type Err = NameError;
    fn from_str(text: &str) -> Result<DocName, NameError> {
        let bad = || NameError(text.chars().take(80).collect());
        let mut parts = text.split('/');
        let (kind, owner, time) = (parts.next(), parts.next().unwrap_or(""), parts.next());
        if parts.next().is_some() {
            return Err(bad());
        }
        let athlete = || owner.parse::<PersonId>().map_err(|_| bad());
        let month = || time.unwrap_or("").parse::<Month>().map_err(|_| bad());
        match (kind, time) {
            (Some("library"), None) => owner.parse().map(DocName::Library).map_err(|_| bad()),
            (Some("squad"), None) => owner.parse().map(DocName::Squad).map_err(|_| bad()),
            (Some("care"), None) => Ok(DocName::Care(athlete()?)),
            (Some("care-notes"), None) => Ok(DocName::CareNotes(athlete()?)),
            (Some("availability"), None) => Ok(DocName::Availability(athlete()?)),
            (Some("plan"), Some(s)) => {
                let season = s.parse().ok().and_then(|n| SeasonNo::new(n).ok()).ok_or_else(bad)?;
                Ok(DocName::Plan(athlete()?, season))
            }
            (Some("log"), Some(_)) => Ok(DocName::Log(athlete()?, month()?)),
            (Some("notes"), Some(_)) => Ok(DocName::Notes(athlete()?, month()?)),
            _ => Err(bad()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn names_read_back_as_bytes_and_text() {
        let p = PersonId(Uuid::from_bytes([9; 16]));
        let m = Month::new(2026, 11).unwrap();
        for name in [
            DocName::Library(ClubId(p.0)),
            DocName::Squad(SquadId(p.0)),
            DocName::Plan(p, SeasonNo::new(2027).unwrap()),
            DocName::Log(p, m),
            DocName::Notes(p, m),
            DocName::Care(p),
            DocName::CareNotes(p),
            DocName::Availability(p),
        ] {
            assert_eq!(DocName::from_bytes(&name.to_bytes()).unwrap(), name);
            assert_eq!(name.to_string().parse::<DocName>().unwrap(), name);
        }
    }

    proptest! {
        #[test]
        fn bytes_have_one_name_or_none(b in proptest::collection::vec(any::<u8>(), 0..24)) {
            if let Ok(name) = DocName::from_bytes(&b) {
                prop_assert_eq!(name.to_bytes().to_vec(), b);
            }
        }
    }
}
