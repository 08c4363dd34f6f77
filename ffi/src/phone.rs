//! One install at work on a folder: [`Device`] on SQLite, with the exchange when there is a signal.

use std::ops::{Deref, DerefMut};
use std::path::{Path, PathBuf};

use backstraight_core::base::moment::Moment;
use backstraight_core::device::identity::Identity;
use backstraight_core::device::{Device, MAX_ROUNDS};

pub use backstraight_core::device::{Clock, Exchanged};

use crate::error::PhoneError;
use crate::identity;
use crate::store::Store;
use crate::transport::Transport;

/// The clock of the machine.
#[derive(Debug, Clone, Copy)]
pub struct SystemClock {
    /// Minutes that local time is ahead of UTC; the app knows, Rust does not.
    pub zone_minutes: i32,
}

impl Clock for SystemClock {
    fn now(&self) -> Moment {
        let since = std::time::SystemTime::now().duration_since(std::time::UNIX_EPOCH);
        Moment(since.ok().and_then(|d| i64::try_from(d.as_millis()).ok()).unwrap_or(0))
    }

    fn zone_minutes(&self) -> i32 {
        self.zone_minutes
    }
}

/// An install at work on its folder. What it can do beside exchanging is [`Device`]'s.
#[derive(Debug)]
pub struct Phone {
    dir: PathBuf,
    device: Device<Store>,
}

impl Deref for Phone {
    type Target = Device<Store>;
    fn deref(&self) -> &Device<Store> {
        &self.device
    }
}

impl DerefMut for Phone {
    fn deref_mut(&mut self) -> &mut Device<Store> {
        &mut self.device
    }
}

impl Phone {
    /// Opens the folder of an enrolled install. `None` when it was never enrolled.
    ///
    /// # Errors
    /// When the store cannot be opened.
    pub fn open(dir: &Path, clock: Box<dyn Clock>) -> Result<Option<Phone>, PhoneError> {
        match identity::load(dir)? {
            Some(identity) => Phone::start(dir, identity, clock).map(Some),
            None => Ok(None),
        }
    }

    /// Makes an install of a folder, with the identity that enrolment gave.
    ///
    /// # Errors
    /// When the disk refuses.
    pub fn enrolled(dir: &Path, identity: Identity, clock: Box<dyn Clock>) -> Result<Phone, PhoneError> {
        std::fs::create_dir_all(dir).map_err(|e| PhoneError::Storage { why: e.to_string(), full: false })?;
        identity::store(&identity, dir)?;
        Phone::start(dir, identity, clock)
    }

    fn start(dir: &Path, identity: Identity, clock: Box<dyn Clock>) -> Result<Phone, PhoneError> {
        let mut random = [0; 12];
        getrandom::fill(&mut random)
            .map_err(|e| PhoneError::Storage { why: format!("no randomness: {e}"), full: false })?;
        Ok(Phone { dir: dir.to_owned(), device: Device::new(Store::open(dir)?, identity, clock, random) })
    }

    /// Sends and receives until both sides agree, or the server cannot be reached. Every round
    /// leaves a durable state, so it may be cut at any instant.
    ///
    /// # Errors
    /// Why it stopped early. Whatever was received before is stored, whatever is here stays.
    pub fn exchange(&mut self, transport: &mut dyn Transport) -> Result<Exchanged, PhoneError> {
        let mut report = Exchanged::default();
        while report.rounds < MAX_ROUNDS {
            let flight = self.device.ask(&mut report)?;
            let answer = self.send(transport, &flight.body)?;
            if !self.device.hear(&flight, &answer, &mut report)? {
                // Told once more, the exchange was still made.
                let _told = self.device.shelf_mut().forget_set_aside();
                break;
            }
        }
        // Without a compact form, on a full disk for instance, the exchange was still made.
        let _tidied = self.device.tidy();
        Ok(report)
    }

    fn send(&mut self, transport: &mut dyn Transport, body: &[u8]) -> Result<Vec<u8>, PhoneError> {
        // A token known to be old is renewed first, so that the body is not sent in vain.
        if self.identity().is_stale(self.now()) {
            self.renew(transport)?;
        }
        match transport.exchange(&self.identity().access, body) {
            Err(PhoneError::SignedOut(_)) => {
                self.renew(transport)?;
                transport.exchange(&self.identity().access, body)
            }
            other => other,
        }
    }

    fn renew(&mut self, transport: &mut dyn Transport) -> Result<(), PhoneError> {
        let tokens = match transport.renew(&self.identity().renewal(self.now())) {
            // A phone's clock may be anywhere; for the proof the server's time will do.
            Err(PhoneError::ClockApart(server)) => transport.renew(&self.identity().renewal(server))?,
            other => other?,
        };
        let renewed = self.identity().renewed(tokens, self.now());
        // On disk before it is used: the old refresh token ends with the first use of the new.
        identity::store(&renewed, &self.dir)?;
        self.device.set_identity(renewed);
        Ok(())
    }
}
