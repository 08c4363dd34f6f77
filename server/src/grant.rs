//! Authorisation as a value: storage asks for a grant, a grant is only made here, and only for
//! somebody who may. So a handler that forgot to ask does not compile.

use backstraight_core::base::id::{ClubId, InstallId, PersonId};
use backstraight_core::exchange::access::{Asker, Right, Role, Subject, right};
use backstraight_core::model::name::DocName;

/// Who does something, for the audit list.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct By {
    /// The club that it concerns.
    pub club: Option<ClubId>,
    /// The person; none at the machine.
    pub person: Option<PersonId>,
    /// The person's install.
    pub install: Option<InstallId>,
}

/// Somebody whose access token was read and whose install and person are not withdrawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Caller {
    /// Person, club and role, as they are now.
    pub asker: Asker,
    /// The install that calls.
    pub install: InstallId,
}

impl Caller {
    /// For the audit list.
    #[must_use]
    pub fn by(&self) -> By {
        By { club: Some(self.asker.club), person: Some(self.asker.person), install: Some(self.install) }
    }
}

/// Permission to invite one person.
#[derive(Debug, Clone, Copy)]
pub struct MayInvite {
    person: PersonId,
    by: By,
}

/// Permission to keep the accounts of this server: clubs, squads, people.
#[derive(Debug, Clone, Copy)]
pub struct MayKeepAccounts {
    by: By,
}

/// Permission of an athlete over the athlete's own consents.
#[derive(Debug, Clone, Copy)]
pub struct MayConsent {
    person: PersonId,
    by: By,
}

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

/// Permission to take a full copy of what is kept of one person.
#[derive(Debug, Clone, Copy)]
pub struct MayExport {
    person: PersonId,
    remarks: bool,
    by: By,
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

/// Whether `caller` may take a full copy of what is kept of a person: everybody of oneself. A minor's
/// guardian may too once guardians are known here; this is the one place that says so.
#[must_use]
pub fn to_export(caller: &Caller, person: PersonId) -> Option<MayExport> {
    (caller.asker.person == person).then(|| MayExport { person, remarks: false, by: caller.by() })
}

/// Permission to review training: of a club's athletes, or of one.
#[derive(Debug, Clone, Copy)]
pub struct MayReview {
    club: ClubId,
    only: Option<PersonId>,
}

impl MayReview {
    /// Which club.
    #[must_use]
    pub const fn club(&self) -> ClubId {
        self.club
    }

    /// The one athlete, when it is not the whole club.
    #[must_use]
    pub const fn only(&self) -> Option<PersonId> {
        self.only
    }

    /// The same for one athlete only; none when that athlete is not within this permission.
    #[must_use]
    pub fn of(self, athlete: PersonId) -> Option<MayReview> {
        self.only.is_none_or(|p| p == athlete).then_some(MayReview { only: Some(athlete), ..self })
    }
}

/// Whose training a caller may review: coaches their club's, athletes their own.
#[must_use]
pub fn to_review(caller: &Caller) -> Option<MayReview> {
    let club = caller.asker.club;
    match caller.asker.role {
        Role::HeadCoach | Role::Coach => Some(MayReview { club, only: None }),
        Role::Athlete => Some(MayReview { club, only: Some(caller.asker.person) }),
        Role::Care | Role::Owner => None,
    }
}

/// Permission to read one document.
#[derive(Debug, Clone, Copy)]
pub struct MayRead {
    name: DocName,
}

/// Permission to write one document.
#[derive(Debug, Clone, Copy)]
pub struct MayWrite {
    name: DocName,
    club: ClubId,
    install: Option<InstallId>,
}

/// What somebody may do with a document.
#[derive(Debug, Clone, Copy)]
pub enum Access {
    /// Nothing.
    None,
    /// Read.
    Read(MayRead),
    /// Read and write.
    Write(MayRead, MayWrite),
}

impl Access {
    /// The permission to read, when there is one.
    #[must_use]
    pub fn read(&self) -> Option<MayRead> {
        match self {
            Access::None => None,
            Access::Read(read) | Access::Write(read, _) => Some(*read),
        }
    }
}

/// Looks up what a caller may do with a document about `subject`.
#[must_use]
pub fn on_document(caller: &Caller, name: DocName, subject: &Subject) -> Access {
    match right(&caller.asker, name.kind(), subject) {
        Right::None => Access::None,
        Right::Read => Access::Read(MayRead { name }),
        Right::Write => Access::Write(
            MayRead { name },
            MayWrite { name, club: subject.club, install: Some(caller.install) },
        ),
    }
}

/// Permission to hand in what others wrote to a document of the caller's club. No right on the document
/// itself is asked: what is handed in is signed by its writers, and the answer tells nothing of what
/// is stored. So whoever took a file along may deliver it, also when a consent ended meanwhile.
#[must_use]
pub fn to_hand_in(caller: &Caller, name: DocName, subject: &Subject) -> Option<MayWrite> {
    (caller.asker.club == subject.club).then_some(MayWrite {
        name,
        club: subject.club,
        install: Some(caller.install),
    })
}

/// Whether `caller` may invite `target`. Whoever holds an invitation becomes that person, so nobody
/// invites somebody who may more than they do themselves; a further device of one's own is allowed.
#[must_use]
pub fn to_invite(caller: &Caller, target: &Asker) -> Option<MayInvite> {
    let asker = &caller.asker;
    let below = match asker.role {
        Role::Owner => true,
        Role::HeadCoach => matches!(target.role, Role::Coach | Role::Care | Role::Athlete),
        Role::Coach => target.role == Role::Athlete,
        Role::Care | Role::Athlete => false,
    };
    let own = asker.role.coaches() && asker.person == target.person;
    (asker.club == target.club && (below || own))
        .then(|| MayInvite { person: target.person, by: caller.by() })
}

/// An athlete's permission over the own consents.
#[must_use]
pub fn to_consent(caller: &Caller) -> Option<MayConsent> {
    (caller.asker.role == Role::Athlete).then(|| MayConsent { person: caller.asker.person, by: caller.by() })
}

/// Whoever can write the data folder of this machine already holds everything in it.
#[derive(Debug, Clone, Copy)]
pub struct AtTheMachine;

impl AtTheMachine {
    const BY: By = By { club: None, person: None, install: None };

    /// To invite anybody.
    #[must_use]
    pub fn to_invite(self, person: PersonId, club: ClubId) -> MayInvite {
        MayInvite { person, by: By { club: Some(club), ..Self::BY } }
    }

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

    /// To keep accounts.
    #[must_use]
    pub fn to_keep_accounts(self) -> MayKeepAccounts {
        MayKeepAccounts { by: Self::BY }
    }

    /// For the audit list.
    #[must_use]
    pub const fn by(self) -> By {
        Self::BY
    }

    /// To write a document: demonstration data, imports, carry files.
    #[must_use]
    pub fn to_write(self, name: DocName, club: ClubId) -> MayWrite {
        MayWrite { name, club, install: None }
    }

    /// To review the training of a club.
    #[must_use]
    pub fn to_review(self, club: ClubId) -> MayReview {
        MayReview { club, only: None }
    }

    /// To read a document.
    #[must_use]
    pub fn to_read(self, name: DocName) -> MayRead {
        MayRead { name }
    }
}

impl MayInvite {
    /// Whom.
    #[must_use]
    pub fn person(&self) -> PersonId {
        self.person
    }

    /// Who invites.
    #[must_use]
    pub fn by(&self) -> &By {
        &self.by
    }
}

impl MayKeepAccounts {
    /// Who keeps them.
    #[must_use]
    pub fn by(&self) -> &By {
        &self.by
    }
}

impl MayConsent {
    /// Whose consents.
    #[must_use]
    pub fn person(&self) -> PersonId {
        self.person
    }

    /// Who says so.
    #[must_use]
    pub fn by(&self) -> &By {
        &self.by
    }
}

impl MayRead {
    /// Which document.
    #[must_use]
    pub fn name(&self) -> &DocName {
        &self.name
    }
}

impl MayWrite {
    /// Which document.
    #[must_use]
    pub fn name(&self) -> &DocName {
        &self.name
    }

    /// The club whose document it is.
    #[must_use]
    pub fn club(&self) -> ClubId {
        self.club
    }

    /// The install that writes; none at the machine.
    #[must_use]
    pub fn install(&self) -> Option<InstallId> {
        self.install
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use uuid::Uuid;

    fn asker(role: Role, person: u128, club: u128) -> Asker {
        Asker { person: PersonId(Uuid::from_u128(person)), club: ClubId(Uuid::from_u128(club)), role }
    }

    fn may(by: Role, target: Role, own: bool, club: u128) -> bool {
        let caller = Caller { asker: asker(by, 1, 1), install: InstallId([1; 8]) };
        to_invite(&caller, &asker(target, if own { 1 } else { 2 }, club)).is_some()
    }

    #[test]
    fn nobody_invites_somebody_who_may_more() {
        // In the order of Role::ALL: head coach, coach, care, athlete, owner.
        let table = [
            (Role::HeadCoach, [false, true, true, true, false]),
            (Role::Coach, [false, false, false, true, false]),
            (Role::Care, [false; 5]),
            (Role::Athlete, [false; 5]),
            (Role::Owner, [true; 5]),
        ];
        for (by, row) in table {
            for (target, want) in Role::ALL.into_iter().zip(row) {
                assert_eq!(may(by, target, false, 1), want, "{by} {target}");
                assert!(!may(by, target, false, 2), "{by} {target} of another club");
            }
        }
        assert!(may(Role::Coach, Role::Coach, true, 1));
        assert!(!may(Role::Athlete, Role::Athlete, true, 1));
    }
}
