//! Permissions to take a full copy of what is kept of a person, and to erase a person. Like all grants
//! they are made here and nowhere else.

use backstraight_core::base::id::{ClubId, PersonId};
use backstraight_core::exchange::access::{Right, Role, Subject, right};
use backstraight_core::model::name::Kind;

use super::{AtTheMachine, By, Caller, MayLeave};
use crate::store::calendars::Of;

/// Permission to erase a person of a club.
#[derive(Debug, Clone, Copy)]
pub struct MayErase {
    person: PersonId,
    club: ClubId,
    by: By,
}

impl MayErase {
    /// Whom.
    #[must_use]
    pub const fn person(&self) -> PersonId {
        self.person
    }

    /// Of which club.
    #[must_use]
    pub const fn club(&self) -> ClubId {
        self.club
    }

    /// Who erases.
    #[must_use]
    pub const fn by(&self) -> &By {
        &self.by
    }
}

/// Whether `caller` may erase somebody of `club`: an owner of the club, on request of the person, and
/// never the own person, so that nobody is left who could answer for it.
#[must_use]
pub fn to_erase(caller: &Caller, person: PersonId, club: ClubId) -> Option<MayErase> {
    let may = caller.asker.role == Role::Owner && caller.asker.club == club && caller.asker.person != person;
    may.then(|| MayErase { person, club, by: caller.by() })
}

/// Permission to make a calendar feed of a plan that one may read.
#[derive(Debug, Clone, Copy)]
pub struct MayFeed {
    person: PersonId,
    of: Of,
    by: By,
}

impl MayFeed {
    /// Who makes it.
    #[must_use]
    pub const fn person(&self) -> PersonId {
        self.person
    }

    /// Whose plan it shows.
    #[must_use]
    pub const fn of(&self) -> Of {
        self.of
    }

    /// Who makes it, for the audit list.
    #[must_use]
    pub const fn by(&self) -> &By {
        &self.by
    }
}

/// Whether `caller` may make a calendar feed: who may read an athlete's plan, or a squad.
#[must_use]
pub fn to_feed(caller: &Caller, of: Of, subject: &Subject) -> Option<MayFeed> {
    let kind = match of {
        Of::Athlete(_) => Kind::Plan,
        Of::Squad(_) => Kind::Squad,
    };
    (right(&caller.asker, kind, subject) != Right::None).then(|| MayFeed {
        person: caller.asker.person,
        of,
        by: caller.by(),
    })
}

/// Permission to take a full copy of what is kept of one person.
#[derive(Debug, Clone, Copy)]
pub struct MayExport {
    person: PersonId,
    remarks: bool,
    by: By,
}

impl MayLeave {
    /// To read back the copy with which somebody leaves.
    #[must_use]
    pub fn copy(&self) -> MayExport {
        MayExport { person: self.person(), remarks: false, by: self.by() }
    }
}

impl MayExport {
    /// Whose.
    #[must_use]
    pub const fn person(&self) -> PersonId {
        self.person
    }

    /// Whether what coaches remarked for themselves about the person is given too.
    #[must_use]
    pub const fn with_remarks(&self) -> bool {
        self.remarks
    }

    /// Who takes it.
    #[must_use]
    pub const fn by(&self) -> &By {
        &self.by
    }
}

/// Whether `caller` may take a full copy of what is kept of a person: everybody of oneself. It holds
/// reports of pain and illness, so not even a minor's guardian takes it over the network.
#[must_use]
pub fn to_export(caller: &Caller, person: PersonId) -> Option<MayExport> {
    (caller.asker.person == person).then(|| MayExport { person, remarks: false, by: caller.by() })
}

impl AtTheMachine {
    /// To erase anybody.
    #[must_use]
    pub fn to_erase(self, person: PersonId, club: ClubId) -> MayErase {
        MayErase { person, club, by: By { club: Some(club), ..Self::BY } }
    }

    /// To take a full copy of what is kept of anybody.
    #[must_use]
    pub fn to_export(self, person: PersonId, club: ClubId, remarks: bool) -> MayExport {
        MayExport { person, remarks, by: By { club: Some(club), ..Self::BY } }
    }
}
