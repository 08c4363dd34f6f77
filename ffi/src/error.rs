//! What can go wrong on a phone, in few kinds that an app can act on.

use backstraight_core::base::moment::Moment;
use backstraight_core::device::error::DeviceError;
use backstraight_core::doc::open::DocError;
use backstraight_core::doc::problem::Problem;

/// What went wrong. Whatever it is, nothing that was called saved is lost.
#[derive(Debug, thiserror::Error)]
pub enum PhoneError {
    /// The command has problems; show them to the person. Nothing was written.
    #[error("{}", .0.iter().map(ToString::to_string).collect::<Vec<_>>().join("; "))]
    Invalid(Vec<Problem>),
    /// The document is not this install's to write.
    #[error("{0} is not written on this phone")]
    NotAllowed(String),
    /// The store refused; nothing was written. Full storage is the usual reason.
    #[error("the phone could not store it ({why}); free some storage and save again")]
    Storage {
        /// What the store said.
        why: String,
        /// Whether the storage is full.
        full: bool,
    },
    /// The store's files may not be opened or read now: a phone that is locked, a folder without rights.
    /// Nothing is wrong with them.
    #[error("the store cannot be opened now ({0}); unlock the phone and try again")]
    Locked(String),
    /// The store's file is damaged. It is kept.
    #[error("the store's file is damaged ({0}); it is kept")]
    Damaged(String),
    /// Another process holds the store.
    #[error("the store is in use by another process")]
    Busy,
    /// A document of the store cannot be read. Its bytes are kept.
    #[error(transparent)]
    Document(#[from] DocError),
    /// The folder's files are of a newer version of the app.
    #[error("the store is of version {found}, this app knows up to {known}; update the app")]
    Newer {
        /// Version found.
        found: i64,
        /// Version known.
        known: i64,
    },
    /// The phone's clock is outside the calendar; nothing can be dated.
    #[error("the phone's clock is wrong ({0}); set its date")]
    Clock(String),
    /// The phone's clock is too far from the server's for a proof; this is the server's time.
    #[error("the phone's clock is wrong: on the server it is {0}")]
    ClockApart(Moment),
    /// The server could not be reached; everything stays saved here.
    #[error("the server was not reached: {0}")]
    Offline(String),
    /// The server wants a new sign-in; recording goes on.
    #[error("the server does not know this install any more: {0}")]
    SignedOut(String),
    /// A carry file that is none, or is damaged. Nothing of it was stored.
    #[error("{why}")]
    Carry {
        /// A stable word.
        code: &'static str,
        /// In words.
        why: String,
    },
    /// This install was enrolled without a key, so nothing that it wrote can be carried by others.
    #[error("this install has no key to sign with; enrol it again")]
    NoKey,
    /// The server answered something that cannot be used.
    #[error("the server's answer could not be used: {0}")]
    Answer(String),
}

impl From<rusqlite::Error> for PhoneError {
    fn from(e: rusqlite::Error) -> Self {
        use rusqlite::ErrorCode as C;
        /// The index of the log of writes cannot grow: the storage is full.
        const SHM_SIZE: i32 = 10 | (19 << 8);
        if e.sqlite_error().is_some_and(|e| e.extended_code == SHM_SIZE) {
            return PhoneError::Storage { why: e.to_string(), full: true };
        }
        match e.sqlite_error_code() {
            Some(C::DatabaseBusy | C::DatabaseLocked) => PhoneError::Busy,
            // A file that the system keeps shut while the phone is locked must not be taken for damage.
            Some(
                C::CannotOpen
                | C::PermissionDenied
                | C::AuthorizationForStatementDenied
                | C::SystemIoFailure
                | C::ReadOnly,
            ) => PhoneError::Locked(e.to_string()),
            Some(C::DatabaseCorrupt | C::NotADatabase) => PhoneError::Damaged(e.to_string()),
            code => PhoneError::Storage { why: e.to_string(), full: code == Some(C::DiskFull) },
        }
    }
}

impl From<std::io::Error> for PhoneError {
    fn from(e: std::io::Error) -> Self {
        use std::io::ErrorKind as K;
        match e.kind() {
            K::PermissionDenied | K::ReadOnlyFilesystem => PhoneError::Locked(e.to_string()),
            kind => PhoneError::Storage {
                why: e.to_string(),
                full: matches!(kind, K::StorageFull | K::QuotaExceeded),
            },
        }
    }
}

impl From<DeviceError> for PhoneError {
    fn from(e: DeviceError) -> Self {
        match e {
            DeviceError::Invalid(list) => PhoneError::Invalid(list),
            DeviceError::NotAllowed(what) => PhoneError::NotAllowed(what),
            DeviceError::Document(d) => PhoneError::Document(d),
            DeviceError::Clock(why) => PhoneError::Clock(why),
            DeviceError::Carry { code, why } => PhoneError::Carry { code, why },
            DeviceError::NoKey => PhoneError::NoKey,
            DeviceError::Answer(why) => PhoneError::Answer(why),
            DeviceError::Identity(why) => {
                PhoneError::Storage { why: format!("identity file: {why}"), full: false }
            }
        }
    }
}
