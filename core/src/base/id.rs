//! Identities. A person, club and squad have a UUIDv7 that whoever creates them draws;
//! an install has eight bytes given at enrolment; an actor is an install and one start of it.

use core::fmt;
use core::str::FromStr;

use uuid::Uuid;

/// A text that is no identity of the wanted kind.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("not {what}: {text:?}")]
pub struct IdError {
    what: &'static str,
    text: String,
}

macro_rules! uuid_id {
    ($(#[$doc:meta])* $name:ident, $what:literal) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub struct $name(pub Uuid);

        impl $name {
            /// A new identity from a time and ten random bytes, both handed in (UUIDv7, RFC 9562).
            #[must_use]
            pub fn new(now: super::moment::Moment, random: [u8; 10]) -> Self {
                let ms = u64::try_from(now.0).unwrap_or(0);
                Self(uuid::Builder::from_unix_timestamp_millis(ms, &random).into_uuid())
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                write!(f, "{}", self.0.hyphenated())
            }
        }

        impl FromStr for $name {
            type Err = IdError;
            fn from_str(text: &str) -> Result<Self, IdError> {
                let bad = || IdError { what: $what, text: text.chars().take(40).collect() };
                if text.len() != 36 {
                    return Err(bad());
                }
                Uuid::try_parse(text).map($name).map_err(|_| bad())
            }
        }
    };
}

uuid_id!(
    /// A person: athlete, coach, guardian or care staff.
    PersonId, "a person's identity"
);
uuid_id!(
    /// A club: clubs on one server are strangers to each other.
    ClubId, "a club's identity"
);
uuid_id!(
    /// A squad of a club.
    SquadId, "a squad's identity"
);

macro_rules! bytes_id {
    ($(#[$doc:meta])* $name:ident, $n:literal, $what:literal) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub struct $name(pub [u8; $n]);

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                self.0.iter().try_for_each(|b| write!(f, "{b:02x}"))
            }
        }

        impl FromStr for $name {
            type Err = IdError;
            fn from_str(text: &str) -> Result<Self, IdError> {
                from_hex(text).map($name).ok_or_else(|| IdError {
                    what: $what,
                    text: text.chars().take(40).collect(),
                })
            }
        }
    };
}

bytes_id!(
    /// One app on one device, given at enrolment and never used again after a restore.
    InstallId, 8, "an install"
);
bytes_id!(
    /// Who made a change: the install, then eight bytes drawn at each start of the app.
    /// So neither a restart nor a phone restored from a backup can use a sequence number twice.
    ActorId, 16, "an actor"
);
bytes_id!(
    /// SHA-256 of a change: its name everywhere.
    ChangeHash, 32, "a change hash"
);

impl ActorId {
    /// The actor of one start of an install.
    #[must_use]
    pub fn of(install: InstallId, start: [u8; 8]) -> ActorId {
        let mut bytes = [0; 16];
        let (left, right) = bytes.split_at_mut(8);
        left.copy_from_slice(&install.0);
        right.copy_from_slice(&start);
        ActorId(bytes)
    }

    /// The install to which the actor belongs.
    #[must_use]
    pub fn install(self) -> InstallId {
        let mut id = [0; 8];
        id.copy_from_slice(self.0.split_at(8).0);
        InstallId(id)
    }
}

fn from_hex<const N: usize>(text: &str) -> Option<[u8; N]> {
    let raw = text.as_bytes();
    if raw.len() != N * 2 {
        return None;
    }
    let mut out = [0; N];
    for (slot, pair) in out.iter_mut().zip(raw.chunks_exact(2)) {
        let digit = |b: u8| match b {
            b'0'..=b'9' => Some(b - b'0'),
            b'a'..=b'f' => Some(b - b'a' + 10),
            _ => None,
        };
        let [hi, lo] = pair else { return None };
        *slot = digit(*hi)? * 16 + digit(*lo)?;
    }
    Some(out)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::moment::Moment;

    #[test]
    fn identities_read_back() {
        let p = PersonId::new(Moment(1_700_000_000_000), [7; 10]);
        assert_eq!(p.to_string().parse::<PersonId>().unwrap(), p);
        assert_eq!(p.0.get_version_num(), 7);
        let a = ActorId::of(InstallId([1; 8]), [2; 8]);
        assert_eq!(a.to_string().parse::<ActorId>().unwrap(), a);
        assert_eq!(a.install(), InstallId([1; 8]));
    }

    #[test]
    fn a_wrong_text_is_refused() {
        assert!("".parse::<PersonId>().is_err());
        assert!("0123456789abcdeF".parse::<InstallId>().is_err());
        assert!("0123456789abcde".parse::<InstallId>().is_err());
        assert!("éééééééé".parse::<InstallId>().is_err());
    }
}
