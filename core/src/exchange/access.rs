//! Who may read and write which document. One party writes a document; the rule looks at the
//! person, never at the contents.

use crate::base::id::{ClubId, PersonId};
use crate::model::name::Kind;
use crate::model::number::WordError;

use core::fmt;
use core::str::FromStr;

/// What a person is in the club.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Role {
    /// Leads the coaches; also invites and withdraws people.
    HeadCoach,
    /// Plans and reviews.
    Coach,
    /// Physiotherapist, physician: reads care documents, writes care notes and availability.
    Care,
    /// Trains.
    Athlete,
    /// A parent or whoever else answers for a minor: reads what the minor trains, signs consent.
    Guardian,
    /// Keeps accounts and reads the audit list; sees no training data.
    Owner,
}

impl Role {
    /// All roles.
    pub const ALL: [Role; 6] =
        [Role::HeadCoach, Role::Coach, Role::Care, Role::Athlete, Role::Guardian, Role::Owner];

    /// Its word.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Role::HeadCoach => "head coach",
            Role::Coach => "coach",
            Role::Care => "care",
            Role::Athlete => "athlete",
            Role::Guardian => "guardian",
            Role::Owner => "owner",
        }
    }

    /// Whether the role plans and reviews training.
    #[must_use]
    pub const fn coaches(self) -> bool {
        matches!(self, Role::HeadCoach | Role::Coach)
    }
}

impl fmt::Display for Role {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.word())
    }
}

impl FromStr for Role {
    type Err = WordError;
    fn from_str(text: &str) -> Result<Role, WordError> {
        Role::ALL
            .into_iter()
            .find(|r| r.word() == text)
            .ok_or_else(|| WordError { what: "role", got: text.chars().take(40).collect() })
    }
}

/// What somebody may do with a document. Writing includes reading.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Right {
    /// Nothing; its existence is not confirmed either.
    None,
    /// Read.
    Read,
    /// Read and write.
    Write,
}

/// Who asks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Asker {
    /// The person.
    pub person: PersonId,
    /// The person's club.
    pub club: ClubId,
    /// The person's role there.
    pub role: Role,
}

/// What has to be known about a document's owner.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Subject {
    /// The club to which the owner (club, squad or athlete) belongs.
    pub club: ClubId,
    /// The athlete, when the document is an athlete's.
    pub athlete: Option<PersonId>,
    /// Whether that athlete lets coaches read the care document.
    pub care_open_to_coaches: bool,
    /// Whether whoever asks is that athlete's guardian at present.
    pub watched: bool,
}

/// The right of `asker` on a document of `kind` about `subject`.
#[must_use]
pub fn right(asker: &Asker, kind: Kind, subject: &Subject) -> Right {
    if asker.club != subject.club {
        return Right::None;
    }
    let own = subject.athlete == Some(asker.person);
    let coach = asker.role.coaches();
    // Notes hold what a coach writes to the minor: a guardian who reads one half of a conversation with
    // an adult reads nothing. Reports of pain and illness stay between the athlete and care staff.
    let guardian = asker.role == Role::Guardian && subject.watched;
    match kind {
        Kind::Library => match asker.role {
            Role::HeadCoach | Role::Coach => Right::Write,
            Role::Athlete | Role::Care | Role::Guardian => Right::Read,
            Role::Owner => Right::None,
        },
        Kind::Squad if coach => Right::Write,
        Kind::Squad => Right::None,
        Kind::Plan | Kind::Notes if coach => Right::Write,
        Kind::Log | Kind::Care if own && asker.role == Role::Athlete => Right::Write,
        // Whoever was an athlete still reads what is about them.
        Kind::Plan | Kind::Notes | Kind::Log | Kind::Care if own => Right::Read,
        Kind::Plan | Kind::Notes if guardian => Right::Read,
        Kind::Plan | Kind::Notes => Right::None,
        Kind::Log if coach || guardian => Right::Read,
        Kind::Log => Right::None,
        Kind::Care if asker.role == Role::Care => Right::Read,
        Kind::Care if coach && subject.care_open_to_coaches => Right::Read,
        Kind::Care => Right::None,
        Kind::CareNotes | Kind::Availability if asker.role == Role::Care => Right::Write,
        Kind::CareNotes | Kind::Availability if own => Right::Read,
        Kind::CareNotes => Right::None,
        Kind::Availability if coach || guardian => Right::Read,
        Kind::Availability => Right::None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use uuid::Uuid;

    const HOME: ClubId = ClubId(Uuid::from_u128(1));
    const AWAY: ClubId = ClubId(Uuid::from_u128(2));
    const ANNA: PersonId = PersonId(Uuid::from_u128(3));
    const OTHER: PersonId = PersonId(Uuid::from_u128(4));

    fn ask(role: Role, person: PersonId, club: ClubId, kind: Kind, consent: bool, watched: bool) -> Right {
        let athlete = (!matches!(kind, Kind::Library | Kind::Squad)).then_some(ANNA);
        let subject = Subject { club: HOME, athlete, care_open_to_coaches: consent, watched };
        right(&Asker { person, club, role }, kind, &subject)
    }

    #[test]
    fn roles_are_read_back_by_their_words() {
        let words = ["head coach", "coach", "care", "athlete", "guardian", "owner"];
        assert_eq!(Role::ALL.map(|role| role.to_string()), words);
        assert_eq!(words.map(|word| word.parse::<Role>().ok()), Role::ALL.map(Some));
        assert!("Coach".parse::<Role>().is_err());
    }

    #[test]
    fn the_whole_table() {
        use Right::{None as No, Read, Write};
        // Role, own document or another's, whether a guardian of the athlete, then Library, Squad, Plan,
        // Log, Notes, Care, care notes, availability; at last Care with consent, which opens nothing else.
        let table = [
            (Role::HeadCoach, OTHER, false, [Write, Write, Write, Read, Write, No, No, Read], Read),
            (Role::Coach, OTHER, false, [Write, Write, Write, Read, Write, No, No, Read], Read),
            (Role::Care, OTHER, false, [Read, No, No, No, No, Read, Write, Write], Read),
            (Role::Athlete, ANNA, false, [Read, No, Read, Write, Read, Write, Read, Read], Write),
            (Role::Coach, ANNA, false, [Write, Write, Write, Read, Write, Read, Read, Read], Read),
            (Role::Owner, ANNA, false, [No, No, Read, Read, Read, Read, Read, Read], Read),
            (Role::Guardian, ANNA, false, [Read, No, Read, Read, Read, Read, Read, Read], Read),
            (Role::Athlete, OTHER, false, [Read, No, No, No, No, No, No, No], No),
            (Role::Guardian, OTHER, false, [Read, No, No, No, No, No, No, No], No),
            (Role::Guardian, OTHER, true, [Read, No, Read, Read, Read, No, No, Read], No),
            (Role::Owner, OTHER, false, [No, No, No, No, No, No, No, No], No),
        ];
        for (role, person, watched, row, with_consent) in table {
            for (kind, want) in Kind::ALL.into_iter().zip(row) {
                let open = if kind == Kind::Care { with_consent } else { want };
                assert_eq!(ask(role, person, HOME, kind, false, watched), want, "{role} {kind:?}");
                assert_eq!(
                    ask(role, person, HOME, kind, true, watched),
                    open,
                    "{role} {kind:?} with consent"
                );
                for consent in [false, true] {
                    let far = ask(role, person, AWAY, kind, consent, watched);
                    assert_eq!(far, No, "{role} {kind:?} of another club");
                }
            }
        }
    }
}
