//! Who this install is, in the platform's key store: identity, keys and tokens, the mark of the folder that
//! they belong to, and how often it was opened. The folder has the mark and the count too, and no secret.
//! So a folder that came to another phone is known as one.

use std::sync::{Arc, Mutex, PoisonError};

use backstraight_core::device::identity::{Identity, InstallKey};
use minicbor::bytes::{ByteArray, ByteVec};
use minicbor::{Decode, Encode};

use super::error::DoorError;
use super::outside::KeyStore;

/// The secret that says who this install is.
const INSTALL: &str = "install";
/// The key of an install that is being asked for.
const ENROLLING: &str = "enrolling";

/// The mark of a folder.
pub(super) type Mark = [u8; 16];

/// What the key store says.
#[derive(Debug, Clone)]
pub(super) struct Entry {
    pub(super) identity: Identity,
    pub(super) mark: Mark,
    /// How often the folder was opened with it.
    pub(super) opens: u64,
}

#[derive(Encode, Decode)]
#[cbor(map)]
struct Stored {
    #[n(0)]
    identity: ByteVec,
    #[n(1)]
    mark: ByteArray<16>,
    #[n(2)]
    opens: u64,
}

/// What is being asked for.
#[derive(Encode, Decode)]
#[cbor(map)]
struct Asked {
    #[n(0)]
    code: String,
    #[n(1)]
    seed: ByteArray<32>,
}

/// The key store, with what was put into it last.
pub(super) struct Vault {
    keys: Arc<dyn KeyStore>,
    last: Mutex<Option<Entry>>,
}

impl core::fmt::Debug for Vault {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str("Vault")
    }
}

impl Vault {
    pub(super) fn new(keys: Arc<dyn KeyStore>) -> Vault {
        Vault { keys, last: Mutex::new(None) }
    }

    /// What it says of the install; none when it says nothing.
    pub(super) fn read(&self) -> Result<Option<Entry>, DoorError> {
        let Some(bytes) = self.keys.look_up(INSTALL.to_owned())? else { return Ok(None) };
        // What cannot be read is as good as nothing: the person enrols again.
        let entry = minicbor::decode::<Stored>(&bytes).ok().and_then(|s| {
            let identity = Identity::from_bytes(&s.identity).ok()?;
            Some(Entry { identity, mark: *s.mark, opens: s.opens })
        });
        self.remember(entry.clone());
        Ok(entry)
    }

    /// Puts it in. It is durable when this returns.
    pub(super) fn write(&self, entry: Entry) -> Result<(), DoorError> {
        let stored = Stored {
            identity: ByteVec::from(entry.identity.to_bytes()),
            mark: ByteArray::from(entry.mark),
            opens: entry.opens,
        };
        // Writing into memory cannot fail.
        self.keys.keep(INSTALL.to_owned(), minicbor::to_vec(&stored).unwrap_or_default())?;
        self.remember(Some(entry));
        Ok(())
    }

    /// The same install with other tokens.
    pub(super) fn renew(&self, identity: Identity) -> Result<(), DoorError> {
        let last = self.last.lock().unwrap_or_else(PoisonError::into_inner).clone();
        match last {
            Some(entry) => self.write(Entry { identity, ..entry }),
            None => Err(DoorError::NotEnrolled),
        }
    }

    /// The key for an enrolment by an invitation: the same for as long as no answer came, so that one that got
    /// lost can be asked for again; another one for another invitation.
    pub(super) fn enrolling(&self, code: &str) -> Result<InstallKey, DoorError> {
        let asked = |kept: Vec<u8>| minicbor::decode::<Asked>(&kept).ok();
        if let Some(asked) = self.keys.look_up(ENROLLING.to_owned())?.and_then(asked)
            && asked.code == code
        {
            return Ok(InstallKey::of(*asked.seed));
        }
        let asked = Asked { code: code.to_owned(), seed: ByteArray::from(random::<32>()?) };
        // Writing into memory cannot fail.
        self.keys.keep(ENROLLING.to_owned(), minicbor::to_vec(&asked).unwrap_or_default())?;
        Ok(InstallKey::of(*asked.seed))
    }

    /// The enrolment has its answer.
    pub(super) fn enrolled(&self) {
        // Left there, it makes no second install: the code was spent, and another one has another key.
        let _ = self.keys.forget(ENROLLING.to_owned());
    }

    /// Forgets everything.
    pub(super) fn empty(&self) -> Result<(), DoorError> {
        self.keys.forget(INSTALL.to_owned())?;
        self.keys.forget(ENROLLING.to_owned())?;
        self.remember(None);
        Ok(())
    }

    fn remember(&self, entry: Option<Entry>) {
        *self.last.lock().unwrap_or_else(PoisonError::into_inner) = entry;
    }
}

/// Bytes by chance.
pub(super) fn random<const N: usize>() -> Result<[u8; N], DoorError> {
    let mut bytes = [0; N];
    getrandom::fill(&mut bytes).map_err(|e| DoorError::inner(format!("no randomness: {e}")))?;
    Ok(bytes)
}
