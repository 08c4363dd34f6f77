//! What can go wrong on the page, in few kinds that a screen can act on. Knows no screen.

use backstraight_core::base::moment::Moment;
use backstraight_core::device::error::DeviceError;
use serde::Deserialize;

/// What went wrong. Whatever it is, nothing that was called saved is lost.
#[derive(Debug, thiserror::Error)]
pub enum AppError {
    /// The command or the device's documents.
    #[error(transparent)]
    Device(#[from] DeviceError),
    /// The browser did not store it. What was entered is still in memory and is tried again.
    #[error("this browser could not store it: {why}")]
    Storage {
        /// What the browser said.
        why: String,
        /// Whether its storage is full.
        full: bool,
    },
    /// The server was not reached; everything stays saved here. What the browser says of it helps nobody in a cellar.
    #[error("the server was not reached")]
    Offline(String),
    /// The server does not know this install any more. Recording goes on.
    #[error("the server does not know this device any more: {0}")]
    SignedOut(String),
    /// The clock is too far from the server's, whose time this is.
    #[error("the clock of this device is wrong: on the server it is {0}")]
    ClockApart(Moment),
    /// The server said no, and why.
    #[error("{0}")]
    Refused(Box<Refused>),
    /// Another tab of this browser writes now.
    #[error("this page is open in another tab, which writes now")]
    Elsewhere,
    /// Something is on this device alone and may not be forgotten.
    #[error("the server does not have everything yet")]
    Waiting,
    /// The server answered something that cannot be used.
    #[error("the server's answer could not be used: {0}")]
    Answer(String),
}

/// A problem document of the server.
#[derive(Debug, Clone, PartialEq, Eq, Default, Deserialize)]
pub struct Refused {
    /// The status of the answer.
    #[serde(default)]
    pub status: u16,
    /// A stable word.
    #[serde(default)]
    pub code: String,
    /// In words.
    #[serde(default)]
    pub title: String,
    /// More of it.
    #[serde(default)]
    pub detail: Option<String>,
    /// The field that is wrong.
    #[serde(default)]
    pub field: Option<String>,
    /// The server's time, when a clock is apart.
    #[serde(default)]
    pub now: Option<i64>,
    /// After how many seconds to try again.
    #[serde(default)]
    pub retry_after: Option<u32>,
}

impl core::fmt::Display for Refused {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str(self.detail.as_deref().unwrap_or(&self.title))?;
        match &self.field {
            Some(field) => write!(f, " ({field})"),
            None => Ok(()),
        }
    }
}

impl AppError {
    /// An answer of the server that is no success.
    #[must_use]
    pub fn of_answer(status: u16, body: &[u8]) -> AppError {
        let mut refused: Refused = serde_json::from_slice(body).unwrap_or_default();
        refused.status = status;
        if refused.title.is_empty() {
            refused.title = format!("status {status}");
        }
        match (status, refused.code.as_str(), refused.now) {
            (_, "clock", Some(now)) => AppError::ClockApart(Moment(now)),
            (401, ..) => AppError::SignedOut(refused.to_string()),
            (502 | 504, ..) => AppError::Offline(refused.to_string()),
            _ => AppError::Refused(Box::new(refused)),
        }
    }

    /// Whether trying again later may help without anybody doing something.
    #[must_use]
    pub fn passes(&self) -> bool {
        match self {
            AppError::Offline(_) => true,
            AppError::Refused(r) => matches!(r.status, 408 | 429 | 503),
            _ => false,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_problem_document_becomes_something_to_act_on() {
        let wrong = AppError::of_answer(422, br#"{"code":"field","title":"a field","field":"device"}"#);
        assert_eq!(wrong.to_string(), "a field (device)");
        assert!(!wrong.passes());
        let body = br#"{"code":"unauthenticated","title":"a good access token is needed"}"#;
        assert!(matches!(AppError::of_answer(401, body), AppError::SignedOut(_)));
        let clock = AppError::of_answer(409, br#"{"code":"clock","title":"t","now":1795600800000}"#);
        assert!(matches!(clock, AppError::ClockApart(Moment(1_795_600_800_000))));
        assert!(AppError::of_answer(503, b"").passes());
        assert!(matches!(AppError::of_answer(502, b"<html>"), AppError::Offline(_)));
        assert_eq!(AppError::of_answer(500, b"no json").to_string(), "status 500");
    }
}
