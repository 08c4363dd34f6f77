//! What an app brings: where secrets are kept, how bytes travel, who wants to hear of changes. Each call out
//! may fail, throw or call back in; no lock is held meanwhile, and nothing of what it throws is kept.

use std::fmt;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

/// Why a key store failed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error, uniffi::Error)]
pub enum KeyStoreError {
    /// It is shut while the phone is locked.
    #[error("the key store is locked")]
    Locked,
    /// Anything else.
    #[error("the key store failed")]
    Failed,
}

impl From<uniffi::UnexpectedUniFFICallbackError> for KeyStoreError {
    fn from(_: uniffi::UnexpectedUniFFICallbackError) -> KeyStoreError {
        KeyStoreError::Failed
    }
}

/// The key store of the platform, for one folder: small secrets by name, never in a backup that can be put
/// back on another phone. What `keep` was told is durable when it returns.
#[uniffi::export(with_foreign)]
pub trait KeyStore: Send + Sync {
    /// Keeps a secret in place of the one of that name.
    ///
    /// # Errors
    /// When it cannot; what was there before stays.
    fn keep(&self, name: String, secret: Vec<u8>) -> Result<(), KeyStoreError>;
    /// The secret of that name; none when there is none.
    ///
    /// # Errors
    /// When that cannot be told now.
    fn look_up(&self, name: String) -> Result<Option<Vec<u8>>, KeyStoreError>;
    /// Forgets the secret of that name; none is no error.
    ///
    /// # Errors
    /// When it cannot.
    fn forget(&self, name: String) -> Result<(), KeyStoreError>;
}

/// A header of HTTP.
#[derive(Debug, Clone, PartialEq, Eq, uniffi::Record)]
pub struct Header {
    /// Its name, in lower case.
    pub name: String,
    /// Its value.
    pub value: String,
}

/// A request to be carried.
#[derive(Clone, PartialEq, Eq, uniffi::Record)]
pub struct Parcel {
    /// Method of HTTP.
    pub method: String,
    /// The whole address.
    pub url: String,
    /// Headers. One is a token: not for logs.
    pub headers: Vec<Header>,
    /// The body, as it is sent.
    pub body: Vec<u8>,
    /// After how long to give up, ms: on the whole, from the name of the server to the last byte of the answer.
    pub timeout_ms: u32,
}

impl fmt::Debug for Parcel {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Parcel").field("method", &self.method).field("bytes", &self.body.len()).finish()
    }
}

/// What came back.
#[derive(Clone, PartialEq, Eq, uniffi::Record)]
pub struct Reply {
    /// Status of HTTP; any is a reply.
    pub status: u16,
    /// Headers, names in any case.
    pub headers: Vec<Header>,
    /// The body as it was received, not unpacked. A courier that unpacks leaves out `content-encoding`.
    pub body: Vec<u8>,
}

impl fmt::Debug for Reply {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Reply").field("status", &self.status).field("bytes", &self.body.len()).finish()
    }
}

/// Why nothing came back.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error, uniffi::Error)]
pub enum CourierError {
    /// No network, or nobody answers.
    #[error("offline")]
    Offline,
    /// Too slow.
    #[error("timed out")]
    TimedOut,
    /// The certificate is not to be trusted.
    #[error("not to be trusted")]
    Untrusted,
    /// Somebody asked to stop.
    #[error("stopped")]
    Stopped,
    /// Anything else.
    #[error("failed")]
    Failed,
}

impl From<uniffi::UnexpectedUniFFICallbackError> for CourierError {
    fn from(_: uniffi::UnexpectedUniFFICallbackError) -> CourierError {
        CourierError::Failed
    }
}

/// Carries one request and brings the answer, by whatever the platform has for it. Follows no redirect and keeps
/// nothing. What broke off before an answer may be asked once more: each request does no harm when it arrives
/// again. Everything together takes no longer than the parcel says, and an answer of more than 16 MiB is none.
#[uniffi::export(with_foreign)]
pub trait Courier: Send + Sync {
    /// Carries it. Blocks.
    ///
    /// # Errors
    /// When no answer came.
    fn carry(&self, parcel: Parcel) -> Result<Reply, CourierError>;
}

/// Whatever a listener throws: it changes nothing here.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error, uniffi::Error)]
pub enum ListenerError {
    /// Anything.
    #[error("a listener failed")]
    Failed,
}

impl From<uniffi::UnexpectedUniFFICallbackError> for ListenerError {
    fn from(_: uniffi::UnexpectedUniFFICallbackError) -> ListenerError {
        ListenerError::Failed
    }
}

/// Where something changed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, uniffi::Enum)]
pub enum Area {
    /// Sessions, sets, check-ins, own tests and words.
    Log,
    /// What is asked.
    Plan,
    /// Exercises, tests, venues of the club.
    Library,
    /// What coaches noted about an athlete.
    Notes,
    /// Reports of pain and illness, and what care staff say.
    Care,
    /// Squads.
    Squad,
    /// Who this folder belongs to, and what the server said.
    Standing,
}

/// Something changed. Read again what is shown of it.
#[derive(Debug, Clone, PartialEq, Eq, uniffi::Record)]
pub struct News {
    /// Grows with each change for as long as the folder is open.
    pub revision: u64,
    /// Where.
    pub areas: Vec<Area>,
    /// Identities of records that were made or changed here; none for what an exchange brought.
    pub ids: Vec<String>,
}

/// Hears of changes, on the thread of the call that made them, after they are on disk.
#[uniffi::export(with_foreign)]
pub trait Watcher: Send + Sync {
    /// Something changed.
    ///
    /// # Errors
    /// Whatever it is, it is ignored.
    fn changed(&self, news: News) -> Result<(), ListenerError>;
}

/// How far an exchange is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, uniffi::Record)]
pub struct Step {
    /// Round trips that were made.
    pub rounds: u32,
    /// Changes that came.
    pub received: u32,
    /// Changes of this phone that still wait.
    pub waiting: u32,
}

/// Hears how far an exchange is, on the thread of the exchange, after each round trip.
#[uniffi::export(with_foreign)]
pub trait Progress: Send + Sync {
    /// One more round trip was made, and what it brought is on disk.
    ///
    /// # Errors
    /// Whatever it is, it is ignored.
    fn step(&self, step: Step) -> Result<(), ListenerError>;
}

/// Asks something long to stop, from any thread.
#[derive(Debug, Default, uniffi::Object)]
pub struct StopFlag {
    set: AtomicBool,
}

#[uniffi::export]
impl StopFlag {
    /// One that is not set.
    #[uniffi::constructor]
    #[must_use]
    pub fn new() -> Arc<StopFlag> {
        Arc::new(StopFlag::default())
    }

    /// Asks to stop. For good: take a new one next time.
    pub fn stop(&self) {
        self.set.store(true, Ordering::Relaxed);
    }

    /// Whether somebody asked to stop.
    #[must_use]
    pub fn is_set(&self) -> bool {
        self.set.load(Ordering::Relaxed)
    }
}
