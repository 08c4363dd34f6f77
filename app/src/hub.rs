//! What the screens have in hand: the install's documents to read, commands to run, the exchange, and the
//! server's answers. "Saved" is said when the browser has it on disk; "with your coach" when the server
//! has acknowledged it. Knows no screen and no rule of training.

use std::cell::{Cell, RefCell};
use std::collections::BTreeMap;
use std::future::{Future as _, poll_fn};
use std::io::Write as _;
use std::pin::pin;
use std::rc::Rc;
use std::task::Poll;

use backstraight_core::base::day::Day;
use backstraight_core::base::id::ChangeHash;
use backstraight_core::base::key::Key;
use backstraight_core::base::moment::Moment;
use backstraight_core::device::aside::Kept;
use backstraight_core::device::identity::Identity;
use backstraight_core::device::readings::Readings;
use backstraight_core::device::shelf::{DocRow, RefusedRow, Shelf as _};
use backstraight_core::device::{Device, Exchanged, MAX_ROUNDS};
use backstraight_core::doc::command::Command;
use backstraight_core::model::name::DocName;
use leptos::prelude::*;
use leptos::task::spawn_local;
use serde::de::DeserializeOwned;

use crate::device::kept::{IDENTITY, Slot, Write};
use crate::device::shelf::MemoryShelf;
use crate::error::AppError;
use crate::platform::clock::{self, BrowserClock};
use crate::platform::database::Database;
use crate::platform::focus;
use crate::platform::net::{self, Answer, Ask};
use crate::renewal::renewed;
use crate::saved::Saved;

/// How long after a save the exchange is tried, so that several go together.
const SOON_MS: i32 = 1_500;
/// How often it is tried while the page is shown, and at most after failures.
const PACE_MS: i32 = 30_000;
const SLOWEST_MS: i32 = 300_000;

/// How it stands with the server.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Line {
    /// Not tried yet in this start.
    Untried,
    /// Under way.
    Busy,
    /// It went well, then.
    Heard(Moment),
    /// It was not reached; when it was tried, and why.
    Silent(Moment, String),
    /// It wants a new sign-in. Recording goes on.
    SignedOut(String),
    /// It was reached and said something else.
    Odd(String),
}

struct Inner {
    device: RefCell<Device<MemoryShelf>>,
    database: Database,
    writing: futures_util::lock::Mutex<()>,
    exchanging: Cell<bool>,
    again: Cell<bool>,
    waiting: Cell<bool>,
    elsewhere: Cell<bool>,
    /// Nothing is written any more: what this browser kept was forgotten.
    gone: Cell<bool>,
    answers: RefCell<BTreeMap<String, (Moment, serde_json::Value)>>,
    readings: RefCell<Readings>,
}

/// What screens show of the documents and their standing, to tell whether it changed.
#[derive(PartialEq, Eq)]
struct Seen {
    day: Option<Day>,
    docs: Vec<DocRow>,
    refused: Vec<RefusedRow>,
    people: u64,
    carried: Vec<(i64, bool)>,
}

/// The page's hold on everything. Copy it where it is needed.
#[derive(Clone, Copy)]
pub struct Hub {
    inner: StoredValue<Rc<Inner>, LocalStorage>,
    /// Grows with everything that may change what a screen shows.
    pub revision: RwSignal<u64>,
    /// Whether what was entered is on disk here.
    pub saved: RwSignal<Saved>,
    /// How it stands with the server.
    pub line: RwSignal<Line>,
    /// How many changes the server has not acknowledged.
    pub unsent: RwSignal<usize>,
    /// Whether another tab writes now instead of this one.
    pub elsewhere: RwSignal<bool>,
    /// What the last exchange told that a person should know.
    pub report: RwSignal<Option<Exchanged>>,
}

impl core::fmt::Debug for Hub {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.debug_struct("Hub").finish_non_exhaustive()
    }
}

/// The hub of the page around a component.
///
/// # Panics
/// Outside the page that provides it, which is a mistake of ours.
#[must_use]
pub fn use_hub() -> Hub {
    expect_context::<Hub>()
}

fn randomness<const N: usize>() -> Result<[u8; N], AppError> {
    let mut bytes = [0; N];
    getrandom::fill(&mut bytes)
        .map_err(|e| AppError::Storage { why: format!("no randomness: {e}"), full: false })?;
    Ok(bytes)
}

impl Hub {
    /// An install at work.
    ///
    /// # Errors
    /// When the browser has no randomness.
    pub fn new(database: Database, shelf: MemoryShelf, identity: Identity) -> Result<Hub, AppError> {
        let device = Device::new(shelf, identity, Box::new(BrowserClock), randomness()?);
        let inner = Inner {
            device: RefCell::new(device),
            database,
            writing: futures_util::lock::Mutex::new(()),
            exchanging: Cell::new(false),
            again: Cell::new(false),
            waiting: Cell::new(false),
            elsewhere: Cell::new(false),
            gone: Cell::new(false),
            answers: RefCell::default(),
            readings: RefCell::default(),
        };
        let hub = Hub {
            inner: StoredValue::new_local(Rc::new(inner)),
            revision: RwSignal::new(0),
            saved: RwSignal::new(Saved::All),
            line: RwSignal::new(Line::Untried),
            unsent: RwSignal::new(0),
            elsewhere: RwSignal::new(false),
            report: RwSignal::new(None),
        };
        hub.count();
        Ok(hub)
    }

    fn inner(self) -> Rc<Inner> {
        self.inner.get_value()
    }

    /// Who this install is.
    #[must_use]
    pub fn me(self) -> Identity {
        self.inner().device.borrow().identity().clone()
    }

    /// Now, by the browser.
    #[must_use]
    pub fn now(self) -> Moment {
        clock::now()
    }

    /// The local day; none when the clock is outside the calendar.
    #[must_use]
    pub fn today(self) -> Option<Day> {
        Day::of(clock::now(), clock::zone_minutes()).ok()
    }

    /// A key for a new record.
    #[must_use]
    pub fn key(self) -> Key {
        self.inner().device.borrow_mut().key()
    }

    /// Reads from the install's documents, and again whenever something changed (in a reactive place).
    pub fn read<T>(self, f: impl FnOnce(&mut Device<MemoryShelf>) -> T) -> T {
        self.revision.track();
        f(&mut self.inner().device.borrow_mut())
    }

    /// The same with what was read of documents before.
    pub fn read_with<T>(self, f: impl FnOnce(&mut Device<MemoryShelf>, &mut Readings) -> T) -> T {
        self.revision.track();
        let inner = self.inner();
        f(&mut inner.device.borrow_mut(), &mut inner.readings.borrow_mut())
    }

    /// The same without being told of later changes.
    pub fn peek<T>(self, f: impl FnOnce(&mut Device<MemoryShelf>) -> T) -> T {
        f(&mut self.inner().device.borrow_mut())
    }

    /// Does what a person did. When this returns, it is on disk here.
    ///
    /// # Errors
    /// The list of problems (nothing was written then), or that the browser did not store it: it is then
    /// in memory, shown as not saved, and goes with the next write.
    pub async fn run(self, name: DocName, command: &Command) -> Result<ChangeHash, AppError> {
        self.deed(|device| device.run(name, command)).await
    }

    /// Does several things of one deed, all of them or none.
    ///
    /// # Errors
    /// As [`Hub::run`].
    pub async fn run_all(self, name: DocName, commands: &[Command]) -> Result<(), AppError> {
        self.deed(|device| device.run_all(name, commands)).await
    }

    /// Sets aside what the server refused, which the person has as a file by now; whether it was done: not when more
    /// was written meanwhile.
    ///
    /// # Errors
    /// When another tab writes, or the browser did not store it.
    pub async fn set_aside(self, kept: &Kept) -> Result<bool, AppError> {
        let random = randomness::<8>()?;
        self.deed(|device| device.set_aside(kept, random)).await
    }

    /// Changes what this device has, here and on the disk, and lets the server know soon.
    async fn deed<T>(
        self,
        change: impl FnOnce(&mut Device<MemoryShelf>) -> Result<T, AppError>,
    ) -> Result<T, AppError> {
        let inner = self.inner();
        if inner.elsewhere.get() {
            return Err(AppError::Elsewhere);
        }
        let done = change(&mut inner.device.borrow_mut())?;
        // The disk is at work before anything is drawn anew: a long session takes longer to draw than to store.
        let mut flush = pin!(self.flush());
        let begun = poll_fn(|cx| Poll::Ready(flush.as_mut().poll(cx))).await;
        self.touch();
        match begun {
            Poll::Ready(stored) => stored?,
            Poll::Pending => flush.await?,
        }
        self.soon();
        Ok(done)
    }

    fn touch(self) {
        self.count();
        focus::keep();
        self.revision.update(|n| *n += 1);
    }

    fn count(self) {
        let unsent = self.inner().device.borrow_mut().unsent();
        self.unsent.set(unsent.map_or(0, |list| list.iter().map(|(_, n)| n).sum()));
    }

    /// Puts what waits on disk. One batch at a time; whoever comes meanwhile waits for it.
    async fn flush(self) -> Result<(), AppError> {
        let inner = self.inner();
        let _one = inner.writing.lock().await;
        if inner.gone.get() {
            return Err(AppError::Elsewhere);
        }
        let batch = inner.device.borrow_mut().shelf_mut().take_writes();
        if batch.is_empty() {
            return Ok(());
        }
        // What was refused stays said until it is on the disk: a second try is no success yet.
        if !matches!(self.saved.get_untracked(), Saved::Not { .. }) {
            self.saved.set(Saved::Saving);
        }
        match inner.database.write(&batch).await {
            Ok(()) => {
                if !inner.device.borrow().shelf().has_writes() {
                    self.saved.set(Saved::All);
                }
                Ok(())
            }
            Err(error) => {
                inner.device.borrow_mut().shelf_mut().give_back(batch);
                let full = matches!(error, AppError::Storage { full: true, .. });
                self.saved.set(Saved::Not { why: error.to_string(), full });
                Err(error)
            }
        }
    }

    /// Tries to store again what the browser refused.
    ///
    /// # Errors
    /// When it refuses again.
    pub async fn save_again(self) -> Result<(), AppError> {
        self.flush().await
    }

    /// Signs this browser out and forgets everything that it keeps. The server is told where it is reached; where
    /// it is not, the device stays in its list until somebody withdraws it. `let_go` says that what the server
    /// does not have may go.
    ///
    /// # Errors
    /// When another tab writes, when something waits that may not go, or when the browser refuses; the browser
    /// then still keeps everything.
    pub async fn leave(self, let_go: bool) -> Result<(), AppError> {
        let inner = self.inner();
        if inner.elsewhere.get() {
            return Err(AppError::Elsewhere);
        }
        // What is entered from here on is refused, so nothing can come between the count and the end.
        inner.elsewhere.set(true);
        let _one = inner.writing.lock().await;
        let forget = async {
            self.count();
            if self.unsent.get_untracked() > 0 && !let_go {
                return Err(AppError::Waiting);
            }
            let kept = inner.database.all().await?;
            // A renewal under way must not bring back who this was.
            inner.gone.set(true);
            let all: Vec<Write> = kept.into_iter().map(|(key, _)| Write::remove(key)).collect();
            inner.database.write(&all).await
        };
        if let Err(error) = forget.await {
            inner.elsewhere.set(false);
            inner.gone.set(false);
            return Err(error);
        }
        let me = self.me();
        let path = format!("/v1/people/{}/installs/{}/withdraw", me.person, me.install);
        // The install's key is gone from here whatever the server answers.
        let _ = self.send::<serde_json::Value>("POST", &path, &serde_json::json!({})).await;
        Ok(())
    }

    /// Another tab took the writing over.
    pub fn give_up(self) {
        self.inner().elsewhere.set(true);
        self.elsewhere.set(true);
    }

    /// Exchanges in a moment, so that several saves go together.
    pub fn soon(self) {
        let inner = self.inner();
        if inner.waiting.replace(true) {
            return;
        }
        spawn_local(async move {
            clock::pause(SOON_MS).await;
            self.inner().waiting.set(false);
            self.exchange().await;
        });
    }

    /// Exchanges now and then while the page is shown, slower after failures. Call once.
    pub fn keep_exchanging(self) {
        spawn_local(async move {
            let mut wait = PACE_MS;
            loop {
                let hidden = web_sys::window().and_then(|w| w.document()).is_some_and(|d| d.hidden());
                if !hidden {
                    self.exchange().await;
                }
                let bad = matches!(self.line.get_untracked(), Line::Silent(..) | Line::Odd(_));
                wait = if bad { (wait * 2).min(SLOWEST_MS) } else { PACE_MS };
                clock::pause(wait).await;
                if self.inner().elsewhere.get() {
                    return;
                }
            }
        });
    }

    /// Sends and receives until both sides agree or the server is not reached; what became of it is in
    /// [`Hub::line`]. Asked for while one is under way, another one follows.
    pub async fn exchange(self) {
        let inner = self.inner();
        if inner.elsewhere.get() {
            return;
        }
        if inner.exchanging.replace(true) {
            inner.again.set(true);
            return;
        }
        loop {
            inner.again.set(false);
            self.line.set(Line::Busy);
            let before = self.seen();
            let outcome = self.rounds().await;
            let now = clock::now();
            self.line.set(match &outcome {
                Ok(_) => Line::Heard(now),
                Err(AppError::SignedOut(why)) => Line::SignedOut(why.clone()),
                Err(error) if error.passes() => Line::Silent(now, error.to_string()),
                Err(error) => Line::Odd(error.to_string()),
            });
            let good = outcome.is_ok();
            if let Ok(report) = outcome {
                self.report.set(Some(report));
            }
            // An exchange that brought nothing draws nothing anew: what has the focus keeps it.
            if self.seen() != before {
                self.touch();
            }
            if !good || !inner.again.get() {
                break;
            }
        }
        inner.exchanging.set(false);
    }

    /// What an exchange may change of all that screens show, and the day, which a page left open may outlive.
    fn seen(self) -> Seen {
        let inner = self.inner();
        let device = inner.device.borrow();
        let shelf = device.shelf();
        Seen {
            day: self.today(),
            docs: shelf.docs().unwrap_or_default(),
            refused: shelf.refusals().unwrap_or_default(),
            people: shelf.people().map_or(0, |(version, _)| version),
            carried: shelf
                .carried()
                .unwrap_or_default()
                .iter()
                .map(|c| (c.id, c.refused.is_some()))
                .collect(),
        }
    }

    async fn rounds(self) -> Result<Exchanged, AppError> {
        let inner = self.inner();
        let mut report = Exchanged::default();
        // What is not on disk here is not told to anybody as had.
        self.flush().await?;
        while report.rounds < MAX_ROUNDS {
            let flight = inner.device.borrow_mut().ask(&mut report)?;
            let packed = gzip(&flight.body);
            let ask = Ask {
                method: "POST",
                path: "/v1/exchange",
                body: Some(("application/cbor", &packed)),
                packed: true,
                ..Ask::default()
            };
            let answer = self.signed_in(ask).await?.good()?;
            let more = inner.device.borrow_mut().hear(&flight, &answer, &mut report)?;
            self.flush().await?;
            if !more {
                break;
            }
        }
        let _tidied = inner.device.borrow_mut().tidy();
        self.flush().await?;
        Ok(report)
    }

    /// Asks with a good access token, renewed where it is known to be old or is refused.
    async fn signed_in(self, mut ask: Ask<'_>) -> Result<Answer, AppError> {
        if self.me().is_stale(clock::now()) {
            self.renew().await?;
        }
        let access = self.me().access;
        ask.access = Some(&access);
        let answer = net::send(&ask).await?;
        if answer.status != 401 {
            return Ok(answer);
        }
        self.renew().await?;
        let access = self.me().access;
        ask.access = Some(&access);
        net::send(&ask).await
    }

    async fn renew(self) -> Result<(), AppError> {
        let me = self.me();
        let tokens = match renewed(&me, clock::now()).await {
            Err(AppError::ClockApart(server)) => renewed(&me, server).await?,
            other => other?,
        };
        let next = me.renewed(tokens, clock::now());
        // On disk before it is used: the old refresh token ends with the first use of the new.
        let inner = self.inner();
        if !inner.gone.get() {
            inner.database.write(&[identity_write(&next)]).await?;
        }
        inner.device.borrow_mut().set_identity(next);
        Ok(())
    }

    /// Asks the server for something about the club: the answer as a type of the screen.
    ///
    /// # Errors
    /// When it is not reached, says no, or answers something else.
    pub async fn get<T: DeserializeOwned>(self, path: &str) -> Result<T, AppError> {
        let answer = self.signed_in(Ask { method: "GET", path, ..Ask::default() }).await?.good()?;
        let value: serde_json::Value =
            serde_json::from_slice(&answer).map_err(|e| AppError::Answer(e.to_string()))?;
        let got = T::deserialize(&value).map_err(|e| AppError::Answer(e.to_string()))?;
        self.inner().answers.borrow_mut().insert(path.to_owned(), (clock::now(), value));
        Ok(got)
    }

    /// What was last answered to the same question since the page was opened, and when. Answers are about
    /// people's bodies: they are kept in memory only.
    #[must_use]
    pub fn last<T: DeserializeOwned>(self, path: &str) -> Option<(Moment, T)> {
        let inner = self.inner();
        let answers = inner.answers.borrow();
        let (at, value) = answers.get(path)?;
        Some((*at, T::deserialize(value).ok()?))
    }

    /// Sends JSON and reads the answer; an answer without a body reads as `null`.
    ///
    /// # Errors
    /// As [`Hub::get`].
    pub async fn send<T: DeserializeOwned>(
        self,
        method: &str,
        path: &str,
        body: &serde_json::Value,
    ) -> Result<T, AppError> {
        let bytes = body.to_string();
        let body = Some(("application/json", bytes.as_bytes()));
        let answer = self.signed_in(Ask { method, path, body, ..Ask::default() }).await?.good()?;
        let answer: &[u8] = if answer.is_empty() { b"null" } else { &answer };
        serde_json::from_slice(answer).map_err(|e| AppError::Answer(e.to_string()))
    }

    /// Sends bytes; the answer has none.
    ///
    /// # Errors
    /// As [`Hub::get`].
    pub async fn hand_in(self, path: &str, kind: &str, bytes: &[u8]) -> Result<(), AppError> {
        let body = Some((kind, bytes));
        self.signed_in(Ask { method: "POST", path, body, ..Ask::default() }).await?.good().map(drop)
    }

    /// Bytes of an answer, for a download.
    ///
    /// # Errors
    /// As [`Hub::get`].
    pub async fn bytes(self, path: &str) -> Result<Vec<u8>, AppError> {
        self.signed_in(Ask { method: "GET", path, ..Ask::default() }).await?.good()
    }
}

/// The write that keeps who this install is.
#[must_use]
pub fn identity_write(identity: &Identity) -> Write {
    Write::put(Slot::Fact(IDENTITY.to_owned()).key(), identity.to_bytes())
}

fn gzip(body: &[u8]) -> Vec<u8> {
    let mut encoder = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::best());
    // Writing into memory cannot fail.
    let _ = encoder.write_all(body);
    encoder.finish().unwrap_or_default()
}
