//! Sending and receiving, in slices that each leave a durable state: killed at any instant, the next
//! exchange goes on from there. The app carries the bytes; no lock is held meanwhile.

use std::sync::Arc;
use std::time::{Duration, Instant};

use backstraight_core::device::identity::Identity;
use backstraight_core::device::session::Renewal;
use backstraight_core::device::{Clock as _, Exchanged, MAX_ROUNDS};
use backstraight_core::exchange::wire::MAX_BODY;

use super::clock::Now;
use super::error::DoorError;
use super::install::Install;
use super::outside::{Area, Courier, Header, Parcel, Progress, Step, StopFlag};
use super::work::{area, count};
use crate::error::PhoneError;
use crate::request::{self, Ask, Said};
use crate::store::Store;

/// How long one request may take at most, ms.
const PATIENCE_MS: u32 = 30_000;
/// When the last exchange ended well.
const LAST_OK: &str = "exchanged-at";
/// Why the server lets this phone in no more; empty when it does.
pub(super) const SIGNED_OUT: &str = "signed-out";

/// How far an exchange may go.
#[derive(Debug, Clone, Copy, PartialEq, Eq, uniffi::Record)]
pub struct ExchangeLimits {
    /// After how many ms no further round trip is begun; what is under way is given the rest of it.
    #[uniffi(default = 25000)]
    pub most_ms: u32,
    /// Most round trips.
    #[uniffi(default = 16)]
    pub most_rounds: u32,
}

/// Changes that the server did not take. They stay here.
#[derive(Debug, Clone, PartialEq, Eq, uniffi::Record)]
pub struct Refused {
    /// Which: a name to hand back.
    pub id: String,
    /// A stable word.
    pub code: String,
    /// In English.
    pub detail: String,
    /// How many changes wait for a person to act.
    pub changes: u32,
}

/// What an exchange did.
#[derive(Debug, Clone, PartialEq, Eq, uniffi::Record)]
pub struct ExchangeReport {
    /// Round trips.
    pub rounds: u32,
    /// Changes that came in.
    pub received: u32,
    /// Changes of this phone that still wait.
    pub waiting: u32,
    /// Whether nothing is left to do.
    pub complete: bool,
    /// Documents that changed here.
    pub changed: u32,
    /// What the server did not take in this exchange.
    pub refused: Vec<Refused>,
    /// Documents that this person may no longer read.
    pub withdrawn: u32,
    /// Documents that were erased on request of the person whom they are about.
    pub erased: u32,
    /// Whether the server was restored from a backup: this phone offered everything again.
    pub server_restored: bool,
    /// How far this phone's clock is ahead of the server's, ms. Beyond two minutes tell the person.
    pub clock_ahead_ms: i64,
}

/// How things stand between this phone and the server.
#[derive(Debug, Clone, PartialEq, Eq, uniffi::Record)]
pub struct ExchangeState {
    /// Changes that wait to be sent.
    pub waiting: u32,
    /// When an exchange was complete last, by this phone's clock, ms since 1970 in UTC.
    pub last_complete_ms: Option<i64>,
    /// The server's word for why this phone is signed out, from the exchange that found it until one succeeds or
    /// the folder is enrolled again. Recording goes on meanwhile.
    pub signed_out: Option<String>,
    /// What the server did not take and a person has to look at.
    pub refused: Vec<Refused>,
}

/// One way to the server, for one call.
pub(super) struct Way<'a> {
    pub(super) courier: &'a dyn Courier,
    pub(super) server: &'a str,
    pub(super) stop: Option<&'a StopFlag>,
    pub(super) until: Option<Instant>,
}

impl Way<'_> {
    /// Sends a request and waits for its answer, a success or not.
    fn send(&self, ask: &Ask) -> Result<(Said, Option<u32>), DoorError> {
        if self.stop.is_some_and(StopFlag::is_set) {
            return Err(DoorError::Stopped);
        }
        let left = self.until.map_or(PATIENCE_MS, |until| {
            let left = until.saturating_duration_since(Instant::now()).as_millis();
            u32::try_from(left).unwrap_or(PATIENCE_MS).clamp(1_000, PATIENCE_MS)
        });
        let headers = ask.headers.iter();
        let reply = self.courier.carry(Parcel {
            method: "POST".to_owned(),
            url: format!("{}{}", self.server, ask.path),
            headers: headers.map(|(n, v)| Header { name: (*n).to_owned(), value: v.clone() }).collect(),
            body: ask.body.clone(),
            timeout_ms: left,
        });
        // Whatever it says: somebody who asked to stop wants to hear that.
        if self.stop.is_some_and(StopFlag::is_set) && reply.is_err() {
            return Err(DoorError::Stopped);
        }
        let reply = reply?;
        if reply.body.len() > MAX_BODY {
            return Err(PhoneError::Answer("it is too long".to_owned()).into());
        }
        let header = |name: &str| {
            reply.headers.iter().find(|h| h.name.eq_ignore_ascii_case(name)).map(|h| h.value.clone())
        };
        let zipped = header("content-encoding").is_some_and(|v| v.eq_ignore_ascii_case("gzip"));
        let retry = header("retry-after").and_then(|v| v.trim().parse().ok());
        Ok((Said { status: reply.status, zipped, body: reply.body }, retry))
    }

    /// The same; anything but a success is an error.
    pub(super) fn carry(&self, ask: &Ask) -> Result<Said, DoorError> {
        let (said, retry_after_s) = self.send(ask)?;
        let code = || request::code(&said.body);
        if let Some(now) = request::clock_apart(&said.body) {
            return Err(DoorError::WrongClock { server_ms: Some(now.0) });
        }
        match said.status {
            200 | 201 => Ok(said),
            // Without the server's own word it is somebody between, such as the page of a hotel.
            401 | 403 if !code().is_empty() => Err(DoorError::SignedOut { code: code() }),
            status => {
                let detail = request::words(&said.body);
                Err(DoorError::ServerSaid { status, code: code(), detail, retry_after_s })
            }
        }
    }
}

#[uniffi::export]
impl Install {
    /// Sends what waits and fetches what is new. What was exchanged before it ends, however it ends, stays.
    /// Reaching a limit is no error: `complete` is false then, and the next exchange goes on.
    ///
    /// # Errors
    /// `Offline`, `SignedOut`, `ServerSaid`, `WrongClock`, `Stopped`, `Busy` while another one runs, and
    /// what the store says.
    pub fn exchange(
        &self,
        courier: Arc<dyn Courier>,
        limits: ExchangeLimits,
        stop: Arc<StopFlag>,
        progress: Option<Arc<dyn Progress>>,
        now: Now,
    ) -> Result<ExchangeReport, DoorError> {
        self.clock.tell(now);
        let _turn = self.turn()?;
        let done = self.rounds(&*courier, limits, &stop, progress.as_deref());
        let out = match &done {
            Err(DoorError::SignedOut { code }) => Some(code.as_str()).filter(|code| !code.is_empty()),
            Ok(report) if report.rounds > 0 => None,
            Ok(_) | Err(_) => return done,
        };
        // Told by the exchange anyway, should the disk refuse it.
        let told = self.work(|work| {
            let news = signed_out(work.device.shelf())?.as_deref() != out;
            if news {
                work.device.shelf_mut().set_facts(&[(SIGNED_OUT, out.unwrap_or_default().as_bytes())])?;
            }
            Ok(news)
        });
        if told == Ok(true) {
            self.watchers.tell(vec![Area::Standing], Vec::new());
        }
        done
    }

    /// How things stand, without asking anybody.
    ///
    /// # Errors
    /// `NotEnrolled`, `Paused`, what the store says.
    pub fn exchange_state(&self) -> Result<ExchangeState, DoorError> {
        self.read(|work| {
            let at = work.device.shelf().fact(LAST_OK)?;
            Ok(ExchangeState {
                waiting: work.waiting()?,
                last_complete_ms: at.and_then(|at| Some(i64::from_be_bytes(at.try_into().ok()?))),
                signed_out: signed_out(work.device.shelf())?,
                refused: refusals(work)?,
            })
        })
    }
}

impl Install {
    fn rounds(
        &self,
        courier: &dyn Courier,
        limits: ExchangeLimits,
        stop: &StopFlag,
        progress: Option<&dyn Progress>,
    ) -> Result<ExchangeReport, DoorError> {
        let until = Instant::now() + Duration::from_millis(u64::from(limits.most_ms));
        let (server, opened) = self.work(|work| Ok((work.device.identity().server.clone(), work.opened)))?;
        let way = Way { courier, server: &server, stop: Some(stop), until: Some(until) };
        let mut report = Exchanged::default();
        let most = limits.most_rounds.min(MAX_ROUNDS);
        let mut told = 0;
        let complete = loop {
            if stop.is_set() {
                return Err(DoorError::Stopped);
            }
            if report.rounds >= most || Instant::now() >= until {
                break false;
            }
            let flight = self.work_of(opened, |work| Ok(work.device.ask(&mut report)?))?;
            let answer = self.send(opened, &way, &flight.body)?;
            let (again, waiting) = self.work_of(opened, |work| {
                let again = work.device.hear(&flight, &answer, &mut report)?;
                Ok((again, work.waiting()?))
            })?;
            if told < report.received + report.withdrawn.len() + report.erased.len() {
                told = report.received + report.withdrawn.len() + report.erased.len();
                self.tell(&report);
            }
            if let Some(progress) = progress {
                let step = Step { rounds: report.rounds, received: count(report.received), waiting };
                // What was exchanged stays, whatever a listener says.
                let _ = progress.step(step);
            }
            if !again {
                break true;
            }
        };
        let (waiting, refused) = self.work_of(opened, |work| {
            // Without a compact form, on a full disk for instance, the exchange was still made.
            let _tidied = work.device.tidy();
            let _forgotten = work.device.shelf_mut().forget_deeds();
            if complete {
                let at = work.device.now().0.to_be_bytes();
                let _noted = work.device.shelf_mut().set_facts(&[(LAST_OK, &at)]);
                let _told = work.device.shelf_mut().forget_set_aside();
            }
            let mut refused = refusals(work)?;
            refused.retain(|r| report.refused.iter().any(|(name, _)| name.to_string() == r.id));
            Ok((work.waiting()?, refused))
        })?;
        Ok(ExchangeReport {
            rounds: report.rounds,
            received: count(report.received),
            waiting,
            complete,
            changed: count(report.changed.len()),
            refused,
            withdrawn: count(report.withdrawn.len()),
            erased: count(report.erased.len()),
            server_restored: report.new_epoch,
            clock_ahead_ms: report.clock_ahead,
        })
    }

    fn tell(&self, report: &Exchanged) {
        let names = report.changed.iter().chain(&report.withdrawn).chain(&report.erased);
        let mut areas: Vec<_> = names.map(|name| area(name.kind())).collect();
        areas.sort_unstable();
        areas.dedup();
        self.watchers.tell(areas, Vec::new());
    }

    fn send(&self, opened: u64, way: &Way<'_>, body: &[u8]) -> Result<Vec<u8>, DoorError> {
        let identity = |stale: bool| -> Result<Identity, DoorError> {
            let (identity, old) = self.work_of(opened, |work| {
                let identity = work.device.identity();
                Ok((identity.clone(), identity.is_stale(work.device.now())))
            })?;
            // A token known to be old is renewed first, so that the body is not sent in vain.
            if stale || old { self.renew(opened, way, &identity) } else { Ok(identity) }
        };
        let carry = |identity: &Identity| way.carry(&request::exchange(&identity.access, body)?);
        let said = match carry(&identity(false)?) {
            Err(DoorError::SignedOut { .. }) => carry(&identity(true)?),
            other => other,
        }?;
        Ok(request::exchanged(said)?)
    }

    fn renew(&self, opened: u64, way: &Way<'_>, identity: &Identity) -> Result<Identity, DoorError> {
        let ask = |ask: Renewal| Ok(request::renewed(&way.carry(&request::renewal(&ask))?)?);
        let tokens = match ask(identity.renewal(self.clock.now())) {
            // A phone's clock may be anywhere; for the proof the server's time will do.
            Err(DoorError::WrongClock { server_ms: Some(ms) }) => {
                ask(identity.renewal(backstraight_core::base::moment::Moment(ms)))?
            }
            other => other?,
        };
        let renewed = identity.renewed(tokens, self.clock.now());
        // In the key store before it is used: the old refresh token ends with the first use of the new.
        // A folder that was opened anew meanwhile has the old one, which the server takes until then.
        self.vault.renew(renewed.clone())?;
        self.work_of(opened, |work| {
            work.device.set_identity(renewed.clone());
            Ok(())
        })?;
        Ok(renewed)
    }
}

/// The server's word for why this install is let in no more, as the last exchange found it.
pub(super) fn signed_out(store: &Store) -> Result<Option<String>, DoorError> {
    let code = store.fact(SIGNED_OUT)?.and_then(|code| String::from_utf8(code).ok());
    Ok(code.filter(|code| !code.is_empty()))
}

fn refusals(work: &mut super::work::Work) -> Result<Vec<Refused>, DoorError> {
    let stuck = work.device.stuck()?.into_iter();
    Ok(stuck
        .map(|s| Refused {
            id: s.name.to_string(),
            code: s.refusal.code,
            detail: s.refusal.text,
            changes: count(s.changes),
        })
        .collect())
}

/// A courier that is built into this library, for programs on a desk or a server. Phones bring their own:
/// the system's knows its proxies, its trust and when it may use the network.
///
/// # Errors
/// `WrongState` (`unbuilt`) where it was left out.
#[uniffi::export]
pub fn built_in_courier() -> Result<Arc<dyn Courier>, DoorError> {
    #[cfg(feature = "http")]
    return Ok(Arc::new(crate::transport::HttpCourier::default()));
    #[cfg(not(feature = "http"))]
    Err(DoorError::state("unbuilt"))
}
