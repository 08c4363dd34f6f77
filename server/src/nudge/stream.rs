//! One open stream: waits, looks up what its caller may read at that moment, and says so. Ends with
//! the access token, with the right to be there, and with the server; the device comes again.

use std::future::Future;
use std::pin::Pin;
use std::sync::Arc;
use std::task::{Context, Poll};
use std::time::Duration;

use axum::body::Bytes;
use backstraight_core::exchange::nudge::{ALIVE, Nudge, begin, event};
use backstraight_core::model::name::DocName;
use hyper::body::{Body, Frame};
use tokio::time::{Instant, timeout};

use super::hub::{Listening, Place};
use crate::app::{App, Shared};
use crate::exchange::Rights;
use crate::grant::Caller;
use crate::secret;
use crate::store::{Db, StoreError, account};
use crate::token::Bearer;

/// The least time between two events of a stream: what happens meanwhile is told together.
const BETWEEN: Duration = Duration::from_secs(1);
/// How long a device waits at least before it connects again, ms, and how much longer at most: not
/// all of them should come back at once after the server was started anew.
const RETRY: u64 = 3_000;
const SPREAD: u64 = 20;

/// The text of a stream, as it comes about. Nothing is made before the one before has been taken by
/// the connection: a slow reader costs nothing.
pub struct Stream {
    next: Option<Next>,
}

/// The next piece and what comes after it; none at the end.
type Next = Pin<Box<dyn Future<Output = Option<(State, Bytes)>> + Send>>;

struct State {
    app: Shared,
    caller: Caller,
    listening: Listening,
    /// When the access token is no longer good.
    until: Instant,
    /// Something that could not be named is to be told first.
    missed: bool,
    begun: bool,
    told: Option<Instant>,
    _place: Place,
}

impl std::fmt::Debug for Stream {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Stream")
    }
}

impl Stream {
    /// Opens a stream for a caller whose token is good for so long.
    #[must_use]
    pub fn open(
        app: Shared,
        caller: Caller,
        place: Place,
        position: Option<&str>,
        good_for: Duration,
    ) -> Stream {
        let (listening, known) = app.hub.listen(caller.asker.club, position);
        let state = State {
            app,
            caller,
            listening,
            until: Instant::now() + good_for,
            missed: !known,
            begun: false,
            told: None,
            _place: place,
        };
        Stream { next: Some(Box::pin(state.next())) }
    }
}

impl Body for Stream {
    type Data = Bytes;
    type Error = std::convert::Infallible;

    fn poll_frame(
        mut self: Pin<&mut Self>,
        cx: &mut Context<'_>,
    ) -> Poll<Option<Result<Frame<Bytes>, Self::Error>>> {
        let Some(next) = &mut self.next else { return Poll::Ready(None) };
        match next.as_mut().poll(cx) {
            Poll::Pending => Poll::Pending,
            Poll::Ready(None) => {
                self.next = None;
                Poll::Ready(None)
            }
            Poll::Ready(Some((state, bytes))) => {
                self.next = Some(Box::pin(state.next()));
                Poll::Ready(Some(Ok(Frame::data(bytes))))
            }
        }
    }
}

/// What a caller may be told.
enum Look {
    /// The caller is no longer let in, or is somebody else by now.
    Ended,
    /// These documents, as far as the caller may read them.
    May(Vec<DocName>),
}

impl State {
    /// The next piece of the stream; none at its end.
    async fn next(mut self) -> Option<(State, Bytes)> {
        if !self.begun {
            self.begun = true;
            let [byte] = secret::random::<1>();
            let mut text = begin(RETRY + SPREAD * u64::from(byte));
            if std::mem::take(&mut self.missed) {
                text.push_str(&event(&self.app.hub.position(&self.listening), &Nudge::Exchange));
            }
            return Some((self, Bytes::from(text)));
        }
        // What came between the position and now, before anything is waited for.
        if self.told.is_none() {
            self.told = Some(Instant::now());
            if let Some(text) = Box::pin(self.news()).await? {
                return Some((self, text));
            }
        }
        let alive = Duration::from_secs(u64::from(self.app.config.nudge_seconds));
        loop {
            let left = self.until.checked_duration_since(Instant::now())?;
            match timeout(alive.min(left), self.listening.woken()).await {
                Ok(true) => {
                    if let Some(told) = self.told {
                        tokio::time::sleep_until(told + BETWEEN).await;
                    }
                    if let Some(text) = Box::pin(self.news()).await? {
                        self.told = Some(Instant::now());
                        return Some((self, text));
                    }
                }
                Ok(false) => return None,
                // Also where nothing happens a withdrawn install is noticed.
                Err(_) => match self.look(Vec::new()).await? {
                    Look::Ended => return None,
                    Look::May(_) => return Some((self, Bytes::from_static(ALIVE.as_bytes()))),
                },
            }
        }
    }

    /// The event for what has not been read yet, when the caller may know of any of it. `None` ends
    /// the stream.
    async fn news(&mut self) -> Option<Option<Bytes>> {
        let read = self.app.hub.read(&mut self.listening, self.caller.install);
        let names = read.as_ref().map(|names| names.iter().copied().collect()).unwrap_or_default();
        let Look::May(may) = self.look(names).await? else { return None };
        let nudge = match read {
            Err(_) => Nudge::Exchange,
            Ok(_) if may.is_empty() => return Some(None),
            Ok(_) => Nudge::News(may),
        };
        let text = event(&self.app.hub.position(&self.listening), &nudge);
        Some(Some(Bytes::from(text)))
    }

    /// Looks up the caller and the rights as they are now. `None` when storage fails: the device
    /// comes again.
    async fn look(&self, names: Vec<DocName>) -> Option<Look> {
        let caller = self.caller;
        // Most of what happens in a club is about others: it is not even looked up.
        let athlete = caller.asker.role == backstraight_core::exchange::access::Role::Athlete;
        let own = |name: &DocName| !athlete || name.athlete().is_none_or(|a| a == caller.asker.person);
        let names: Vec<DocName> = names.into_iter().filter(own).collect();
        let app = Arc::clone(&self.app);
        self.app.store.read(move |db| look(db, &app, caller, names)).await.ok()
    }
}

fn look(db: &Db, app: &App, caller: Caller, names: Vec<DocName>) -> Result<Look, StoreError> {
    let bearer = Bearer { person: caller.asker.person, install: caller.install };
    if account::caller(db, bearer)? != Some(caller) {
        return Ok(Look::Ended);
    }
    let mut rights = Rights::of(app, caller)?;
    let mut may = Vec::with_capacity(names.len());
    for name in names {
        if rights.on(db, name)?.0.read().is_some() {
            may.push(name);
        }
    }
    Ok(Look::May(may))
}
