//! What can go wrong, by what an app does about it. Texts are English, for logs; an app words its own.

use backstraight_core::base::moment::Moment;
use backstraight_core::doc::problem::Problem;

use super::outside::{CourierError, KeyStoreError};
use crate::error::PhoneError;

/// One thing that is wrong with what was asked.
#[derive(Debug, Clone, PartialEq, Eq, uniffi::Record)]
pub struct Wrong {
    /// The field; empty when it is the whole.
    pub field: String,
    /// A stable word.
    pub code: String,
    /// In English, naming the limit.
    pub detail: String,
}

/// What went wrong. Whatever it is, nothing that was called saved is lost.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error, uniffi::Error)]
pub enum DoorError {
    /// This folder was never enrolled: ask for an invitation.
    #[error("this folder is not enrolled")]
    NotEnrolled,
    /// This folder was enrolled on another phone or before the key store was emptied. It can be read; ask for
    /// a new invitation to go on writing.
    #[error("this folder has to be enrolled again")]
    EnrolAgain,
    /// The server does not let this install in any more: ask for a new invitation. Recording goes on.
    #[error("the server does not let this install in: {code}")]
    SignedOut {
        /// The server's word for why.
        code: String,
    },
    /// The role of this person does not allow it.
    #[error("not allowed: {what}")]
    NotAllowed {
        /// What.
        what: String,
    },
    /// There is no such thing here; it may come with an exchange.
    #[error("no {what} {id} here")]
    NotThere {
        /// What.
        what: String,
        /// Its identity, as it was asked.
        id: String,
    },
    /// Show the person what to change. Nothing was written.
    #[error("{}", .problems.iter().map(|p| p.detail.as_str()).collect::<Vec<_>>().join("; "))]
    BadValue {
        /// All that is wrong.
        problems: Vec<Wrong>,
    },
    /// It cannot be done as things are.
    #[error("not now: {code}")]
    WrongState {
        /// A stable word: `unsent`, `enrolled`, `nothing`, `unbuilt`, `another-person`.
        code: String,
    },
    /// The server was not reached. All is saved here; try later.
    #[error("the server was not reached")]
    Offline,
    /// The server answered, and said no.
    #[error("the server said {status} {code}: {detail}")]
    ServerSaid {
        /// Status of HTTP.
        status: u16,
        /// A stable word; empty when the answer had none.
        code: String,
        /// In English.
        detail: String,
        /// How long to wait before the next try, when the server said so.
        retry_after_s: Option<u32>,
    },
    /// The clock of this phone is wrong: ask the person to set it.
    #[error("the clock of this phone is wrong")]
    WrongClock {
        /// The server's time, ms since 1970 in UTC, where it is known.
        server_ms: Option<i64>,
    },
    /// Library, bindings or files are of different versions: update the app.
    #[error("update the app: {detail}")]
    TooOld {
        /// In English.
        detail: String,
    },
    /// Somebody asked to stop. What was exchanged before stays.
    #[error("stopped")]
    Stopped,
    /// The system keeps files or keys shut while the phone is locked: try again after it is unlocked.
    #[error("locked: {detail}")]
    PhoneLocked {
        /// In English.
        detail: String,
    },
    /// Another process, or another exchange, is at work: try again shortly.
    #[error("busy: {detail}")]
    Busy {
        /// In English.
        detail: String,
    },
    /// Ask the person to free storage, and try again.
    #[error("the storage is full")]
    StoreFull,
    /// The store cannot be read; its files are kept. Shut the folder and open it: what can be read is taken over
    /// into a new store. When opening says so too, there is nothing that an app can mend.
    #[error("the store is damaged: {detail}")]
    StoreDamaged {
        /// In English.
        detail: String,
    },
    /// This process has the folder open: use that object.
    #[error("this folder is open already")]
    AlreadyOpen,
    /// The key store of the platform failed.
    #[error("the key store failed")]
    KeysFailed,
    /// The folder is paused or shut: resume or open it.
    #[error("paused or shut")]
    Paused,
    /// A mistake in this library: report it.
    #[error("{detail}")]
    Inner {
        /// In English.
        detail: String,
    },
}

impl DoorError {
    /// One field that is wrong.
    pub(super) fn field(field: &str, code: &str, detail: impl ToString) -> DoorError {
        let detail = format!("{field}: {}", detail.to_string());
        DoorError::BadValue {
            problems: vec![Wrong { field: field.to_owned(), code: code.to_owned(), detail }],
        }
    }

    pub(super) fn missing(what: &str, id: &str) -> DoorError {
        DoorError::NotThere { what: what.to_owned(), id: id.to_owned() }
    }

    pub(super) fn state(code: &str) -> DoorError {
        DoorError::WrongState { code: code.to_owned() }
    }

    pub(super) fn inner(detail: impl ToString) -> DoorError {
        DoorError::Inner { detail: detail.to_string() }
    }
}

impl From<Problem> for Wrong {
    fn from(p: Problem) -> Wrong {
        Wrong { field: p.field.to_owned(), code: p.code.word().to_owned(), detail: p.text }
    }
}

impl From<PhoneError> for DoorError {
    fn from(e: PhoneError) -> DoorError {
        match e {
            PhoneError::Invalid(list) => {
                DoorError::BadValue { problems: list.into_iter().map(Wrong::from).collect() }
            }
            PhoneError::NotAllowed(what) => DoorError::NotAllowed { what },
            PhoneError::Storage { full: true, .. } => DoorError::StoreFull,
            PhoneError::Storage { why, full: false } => DoorError::Inner { detail: why },
            PhoneError::Locked(detail) => DoorError::PhoneLocked { detail },
            PhoneError::Damaged(detail) => DoorError::StoreDamaged { detail },
            PhoneError::Document(e) => DoorError::StoreDamaged { detail: e.to_string() },
            PhoneError::Busy => DoorError::Busy { detail: "another process holds the store".to_owned() },
            PhoneError::Newer { .. } => DoorError::TooOld { detail: e.to_string() },
            PhoneError::Clock(_) => DoorError::WrongClock { server_ms: None },
            PhoneError::ClockApart(Moment(ms)) => DoorError::WrongClock { server_ms: Some(ms) },
            PhoneError::Offline(_) => DoorError::Offline,
            PhoneError::SignedOut(_) => DoorError::SignedOut { code: "unauthenticated".to_owned() },
            PhoneError::Carry { code, why } => DoorError::field("file", code, why),
            PhoneError::NoKey => DoorError::EnrolAgain,
            PhoneError::Answer(detail) => DoorError::ServerSaid {
                status: 200,
                code: "unreadable".to_owned(),
                detail,
                retry_after_s: None,
            },
        }
    }
}

impl From<KeyStoreError> for DoorError {
    fn from(e: KeyStoreError) -> DoorError {
        match e {
            KeyStoreError::Locked => DoorError::PhoneLocked { detail: "the key store is locked".to_owned() },
            KeyStoreError::Failed => DoorError::KeysFailed,
        }
    }
}

impl From<CourierError> for DoorError {
    fn from(e: CourierError) -> DoorError {
        match e {
            CourierError::Offline | CourierError::TimedOut => DoorError::Offline,
            CourierError::Untrusted => DoorError::ServerSaid {
                status: 0,
                code: "untrusted".to_owned(),
                detail: "the server could not show who it is".to_owned(),
                retry_after_s: None,
            },
            CourierError::Stopped => DoorError::Stopped,
            CourierError::Failed => DoorError::Offline,
        }
    }
}

/// Every kind of error, thrown on purpose, so that an app can try what it does about each: its name as it
/// stands in [`DoorError`]. Anything else does nothing.
///
/// # Errors
/// The one that was asked for.
#[uniffi::export]
pub fn rehearse(error: String) -> Result<(), DoorError> {
    let text = || "rehearsed".to_owned();
    Err(match error.as_str() {
        "NotEnrolled" => DoorError::NotEnrolled,
        "EnrolAgain" => DoorError::EnrolAgain,
        "SignedOut" => DoorError::SignedOut { code: text() },
        "NotAllowed" => DoorError::NotAllowed { what: text() },
        "NotThere" => DoorError::NotThere { what: text(), id: text() },
        "BadValue" => DoorError::field("rehearsed", "rehearsed", "rehearsed"),
        "WrongState" => DoorError::WrongState { code: text() },
        "Offline" => DoorError::Offline,
        "ServerSaid" => {
            DoorError::ServerSaid { status: 503, code: text(), detail: text(), retry_after_s: Some(7) }
        }
        "WrongClock" => DoorError::WrongClock { server_ms: Some(1_795_600_800_000) },
        "TooOld" => DoorError::TooOld { detail: text() },
        "Stopped" => DoorError::Stopped,
        "PhoneLocked" => DoorError::PhoneLocked { detail: text() },
        "Busy" => DoorError::Busy { detail: text() },
        "StoreFull" => DoorError::StoreFull,
        "StoreDamaged" => DoorError::StoreDamaged { detail: text() },
        "AlreadyOpen" => DoorError::AlreadyOpen,
        "KeysFailed" => DoorError::KeysFailed,
        "Paused" => DoorError::Paused,
        "Inner" => DoorError::Inner { detail: text() },
        _ => return Ok(()),
    })
}
