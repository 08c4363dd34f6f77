//! Permissions over accounts: people, guardians, consents, installs, sign-in, the audit list. Like all
//! grants they are made here and nowhere else. What each role may is written in `docs/access.md`.

use backstraight_core::base::id::{ClubId, PersonId};
use backstraight_core::exchange::access::{Asker, Role};

use super::{AtTheMachine, By, Caller, MayInvite};

/// Whether a role keeps the accounts of another: nobody those of somebody who may more.
#[must_use]
pub const fn keeps(asker: Role, target: Role) -> bool {
    match asker {
        Role::Owner => true,
        Role::HeadCoach => matches!(target, Role::Coach | Role::Care | Role::Athlete | Role::Guardian),
        Role::Coach | Role::Care | Role::Athlete | Role::Guardian => false,
    }
}

macro_rules! grant {
    ($(#[$doc:meta])* $name:ident { $($field:ident: $kind:ty, $what:literal);* $(;)? }) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy)]
        pub struct $name { $($field: $kind),* }

        impl $name {
            $(#[doc = $what]
            #[must_use]
            pub const fn $field(&self) -> $kind {
                self.$field
            })*
        }
    };
}

grant! {
    /// Permission to add a person of one role to one club.
    MayAdd { club: ClubId, "To which club."; role: Role, "As what."; by: By, "Who adds." }
}
grant! {
    /// Permission to keep one person's account: name, date of birth, withdrawing, restoring.
    MayKeep { person: PersonId, "Whose."; club: ClubId, "Of which club."; by: By, "Who keeps it." }
}
grant! {
    /// Permission to read the list of a club's people.
    MayList { club: ClubId, "Of which club." }
}
grant! {
    /// Permission to keep a club's settings and squads.
    MayKeepClub { club: ClubId, "Which club."; by: By, "Who keeps it." }
}
grant! {
    /// Permission to read a club's audit list.
    MayAudit { club: ClubId, "Of which club." }
}
grant! {
    /// Permission to know an athlete's guardians and consents.
    MayKnow { athlete: PersonId, "Of which athlete." }
}
grant! {
    /// Permission to begin and end guardianships of one athlete.
    MayGuard { athlete: PersonId, "Of which athlete."; club: ClubId, "Of which club."; by: By, "Who does it." }
}
grant! {
    /// Permission to say yes or no for one athlete: the athlete's own, or a guardian's.
    MaySign {
        athlete: PersonId, "For which athlete.";
        signer: PersonId, "Who signs.";
        club: ClubId, "Of which club.";
        by: By, "Who says so.";
    }
}
grant! {
    /// Permission to see and withdraw the installs of one person.
    MayInstalls { person: PersonId, "Whose."; club: ClubId, "Of which club."; by: By, "Who does it." }
}
grant! {
    /// Permission to let one athlete leave.
    MayLeave { person: PersonId, "Who leaves."; club: ClubId, "Which club."; by: By, "Who says so." }
}
grant! {
    /// Permission to hold a password and passkeys of one's own.
    MaySignIn { person: PersonId, "Whose."; club: ClubId, "Of which club."; by: By, "Who." }
}

/// Whether `caller` may add somebody of that role.
#[must_use]
pub fn to_add(caller: &Caller, role: Role) -> Option<MayAdd> {
    keeps(caller.asker.role, role).then(|| MayAdd { club: caller.asker.club, role, by: caller.by() })
}

/// Whether `caller` may keep the account of `target`.
#[must_use]
pub fn to_keep(caller: &Caller, target: &Asker) -> Option<MayKeep> {
    (caller.asker.club == target.club && keeps(caller.asker.role, target.role)).then(|| MayKeep {
        person: target.person,
        club: target.club,
        by: caller.by(),
    })
}

/// Whether `caller` may list the people of the own club.
#[must_use]
pub fn to_list(caller: &Caller) -> Option<MayList> {
    let role = caller.asker.role;
    (role.coaches() || role == Role::Owner).then_some(MayList { club: caller.asker.club })
}

/// Whether `caller` may change settings of the own club, such as the age of majority.
#[must_use]
pub fn to_keep_club(caller: &Caller) -> Option<MayKeepClub> {
    matches!(caller.asker.role, Role::Owner | Role::HeadCoach)
        .then(|| MayKeepClub { club: caller.asker.club, by: caller.by() })
}

/// Whether `caller` may make and rename squads.
#[must_use]
pub fn to_keep_squads(caller: &Caller) -> Option<MayKeepClub> {
    (caller.asker.role.coaches() || caller.asker.role == Role::Owner)
        .then(|| MayKeepClub { club: caller.asker.club, by: caller.by() })
}

/// Whether `caller` may read the audit list of the own club.
#[must_use]
pub fn to_audit(caller: &Caller) -> Option<MayAudit> {
    (caller.asker.role == Role::Owner).then_some(MayAudit { club: caller.asker.club })
}

/// Whether `caller` may know who watches `athlete` and what was agreed. `watched` says whether the caller
/// is the athlete's guardian now.
#[must_use]
pub fn to_know(caller: &Caller, athlete: &Asker, watched: bool) -> Option<MayKnow> {
    let role = caller.asker.role;
    let may = role.coaches() || role == Role::Owner || caller.asker.person == athlete.person || watched;
    (caller.asker.club == athlete.club && athlete.role == Role::Athlete && may)
        .then_some(MayKnow { athlete: athlete.person })
}

/// Whether `caller` may begin and end guardianships of `athlete`.
#[must_use]
pub fn to_guard(caller: &Caller, athlete: &Asker) -> Option<MayGuard> {
    (athlete.role == Role::Athlete && to_keep(caller, athlete).is_some()).then(|| MayGuard {
        athlete: athlete.person,
        club: athlete.club,
        by: caller.by(),
    })
}

/// Whether `caller` may end the guardianship that `guardian` holds over `athlete`: whoever keeps the
/// athlete's account, and the guardian.
#[must_use]
pub fn to_end_guard(caller: &Caller, athlete: &Asker, guardian: PersonId, watched: bool) -> Option<MayGuard> {
    let own = watched && caller.asker.person == guardian;
    to_guard(caller, athlete)
        .or_else(|| own.then(|| MayGuard { athlete: athlete.person, club: athlete.club, by: caller.by() }))
}

/// Whether `caller` may sign for `athlete`.
#[must_use]
pub fn to_sign(caller: &Caller, athlete: &Asker, watched: bool) -> Option<MaySign> {
    let own = caller.asker.person == athlete.person;
    (caller.asker.club == athlete.club && athlete.role == Role::Athlete && (own || watched)).then(|| {
        MaySign { athlete: athlete.person, signer: caller.asker.person, club: athlete.club, by: caller.by() }
    })
}

/// Whether `caller` may see and withdraw installs of `target`.
#[must_use]
pub fn to_installs(caller: &Caller, target: &Asker) -> Option<MayInstalls> {
    let own = caller.asker.person == target.person;
    (caller.asker.club == target.club && (own || keeps(caller.asker.role, target.role)))
        .then(|| MayInstalls { person: target.person, club: target.club, by: caller.by() })
}

/// Whether `caller` may let `target` leave: the athlete, and whoever keeps the account.
#[must_use]
pub fn to_leave(caller: &Caller, target: &Asker) -> Option<MayLeave> {
    let own = caller.asker.person == target.person;
    let may = target.role == Role::Athlete && (own || keeps(caller.asker.role, target.role));
    (caller.asker.club == target.club && may).then(|| MayLeave {
        person: target.person,
        club: target.club,
        by: caller.by(),
    })
}

/// Whether `caller` may hold a password and passkeys. An athlete's phone is the key.
#[must_use]
pub fn to_sign_in(caller: &Caller) -> Option<MaySignIn> {
    (caller.asker.role != Role::Athlete).then(|| MaySignIn {
        person: caller.asker.person,
        club: caller.asker.club,
        by: caller.by(),
    })
}

impl MayInstalls {
    pub(super) const fn of_invited(grant: &MayInvite) -> MayInstalls {
        MayInstalls { person: grant.person, club: grant.club, by: grant.by }
    }
}

impl AtTheMachine {
    /// To keep one person's account.
    #[must_use]
    pub fn to_keep(self, target: &Asker) -> MayKeep {
        MayKeep { person: target.person, club: target.club, by: Self::in_club(target.club) }
    }

    /// To keep a club's settings.
    #[must_use]
    pub fn to_keep_club(self, club: ClubId) -> MayKeepClub {
        MayKeepClub { club, by: Self::in_club(club) }
    }

    /// To list a club's people.
    #[must_use]
    pub fn to_list(self, club: ClubId) -> MayList {
        MayList { club }
    }

    /// To know an athlete's guardians and consents.
    #[must_use]
    pub fn to_know(self, athlete: PersonId) -> MayKnow {
        MayKnow { athlete }
    }

    /// To begin and end guardianships.
    #[must_use]
    pub fn to_guard(self, athlete: &Asker) -> MayGuard {
        MayGuard { athlete: athlete.person, club: athlete.club, by: Self::in_club(athlete.club) }
    }

    /// To see and withdraw somebody's installs.
    #[must_use]
    pub fn to_installs(self, target: &Asker) -> MayInstalls {
        MayInstalls { person: target.person, club: target.club, by: Self::in_club(target.club) }
    }

    /// To let somebody leave.
    #[must_use]
    pub fn to_leave(self, target: &Asker) -> MayLeave {
        MayLeave { person: target.person, club: target.club, by: Self::in_club(target.club) }
    }

    /// To read a club's audit list.
    #[must_use]
    pub fn to_audit(self, club: ClubId) -> MayAudit {
        MayAudit { club }
    }

    const fn in_club(club: ClubId) -> By {
        By { club: Some(club), ..Self::BY }
    }
}
