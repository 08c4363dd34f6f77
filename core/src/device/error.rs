//! What can go wrong on a device beside its shelf and its way to the server.

use crate::doc::open::DocError;
use crate::doc::problem::Problem;

/// What went wrong. Whatever it is, nothing that was called saved is lost.
#[derive(Debug, thiserror::Error)]
pub enum DeviceError {
    /// The command has problems; show them to the person. Nothing was written.
    #[error("{}", .0.iter().map(ToString::to_string).collect::<Vec<_>>().join("; "))]
    Invalid(Vec<Problem>),
    /// The document is not this install's to write.
    #[error("{0} is not written on this device")]
    NotAllowed(String),
    /// A document of the shelf cannot be read. Its bytes are kept.
    #[error(transparent)]
    Document(#[from] DocError),
    /// The device's clock is outside the calendar; nothing can be dated.
    #[error("the clock of this device is wrong ({0}); set its date")]
    Clock(String),
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
    /// What says who this install is cannot be read.
    #[error("identity: {0}")]
    Identity(String),
}
