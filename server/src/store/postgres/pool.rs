//! Connections to the database server: so many and no more, a part of them for writing, so that
//! neither writers nor readers can take them all.

use std::sync::{Condvar, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

use super::address::Way;
use crate::store::StoreError;
use crate::store::sql::{Failed, Session};

/// How long somebody waits for a connection before they are told that storage is busy.
const PATIENCE: Duration = Duration::from_secs(5);

#[derive(Debug, Default)]
struct State {
    idle: Vec<Session>,
    reading: usize,
    writing: usize,
    closed: bool,
}

/// What a connection is taken for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Use {
    Read,
    Write,
}

/// The connections.
#[derive(Debug)]
pub(super) struct Pool {
    way: Way,
    readers: usize,
    writers: usize,
    state: Mutex<State>,
    freed: Condvar,
}

impl Pool {
    pub(super) fn new(way: Way, first: Session, connections: u32) -> Pool {
        let most = usize::try_from(connections).unwrap_or(usize::MAX);
        let writers = (most / 3).max(2);
        Pool {
            way,
            writers,
            readers: most.saturating_sub(writers).max(2),
            state: Mutex::new(State { idle: vec![first], ..State::default() }),
            freed: Condvar::new(),
        }
    }

    /// Most that read, and most that write.
    pub(super) const fn limits(&self) -> (usize, usize) {
        (self.readers, self.writers)
    }

    fn state(&self) -> MutexGuard<'_, State> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// A connection on which `text` has begun a transaction.
    ///
    /// # Errors
    /// When none is free for too long, or the server cannot be reached.
    pub(super) fn begin(&self, what: Use, text: &str) -> Result<Lease<'_>, StoreError> {
        let (mut lease, used) = self.take(what)?;
        let begun = lease.session()?.begin(text);
        let Err(error) = begun else { return Ok(lease) };
        let error = StoreError::from(error);
        if !used || !matches!(error, StoreError::Unavailable(_)) {
            return Err(error);
        }
        // It was idle while the server went away: the others were too, and nothing was begun.
        tracing::debug!(%error, "an idle connection was lost");
        let lost = std::mem::take(&mut self.state().idle);
        drop(lost);
        lease.session = Some(self.way.session()?);
        lease.session()?.begin(text)?;
        Ok(lease)
    }

    /// A connection, and whether it has been idle.
    fn take(&self, what: Use) -> Result<(Lease<'_>, bool), StoreError> {
        let until = Instant::now() + PATIENCE;
        let mut state = self.state();
        loop {
            if state.closed {
                return Err(StoreError::Stopped);
            }
            let (out, most) = match what {
                Use::Read => (&mut state.reading, self.readers),
                Use::Write => (&mut state.writing, self.writers),
            };
            if *out < most {
                *out += 1;
                break;
            }
            let left = until.saturating_duration_since(Instant::now());
            if left.is_zero() {
                return Err(StoreError::Busy);
            }
            state = self.freed.wait_timeout(state, left).unwrap_or_else(PoisonError::into_inner).0;
        }
        let idle = state.idle.pop();
        drop(state);
        // From here on the place is given back whatever happens.
        let mut lease = Lease { pool: self, what, session: None, clean: false };
        let used = idle.is_some();
        lease.session = Some(match idle {
            Some(session) => session,
            None => self.way.session()?,
        });
        Ok((lease, used))
    }

    /// Closes what is idle; what is out is closed when it comes back.
    pub(super) fn close(&self) {
        let mut state = self.state();
        state.closed = true;
        let idle = std::mem::take(&mut state.idle);
        drop(state);
        self.freed.notify_all();
        drop(idle);
    }
}

impl Drop for Pool {
    fn drop(&mut self) {
        let idle = std::mem::take(&mut self.state().idle);
        if !idle.is_empty() {
            // Saying goodbye blocks, and whoever drops this last may not be allowed to.
            drop(std::thread::spawn(move || drop(idle)));
        }
    }
}

/// A connection that is out.
#[derive(Debug)]
pub(super) struct Lease<'p> {
    pool: &'p Pool,
    what: Use,
    session: Option<Session>,
    /// Whether no transaction is open on it.
    clean: bool,
}

impl Lease<'_> {
    /// The connection.
    ///
    /// # Errors
    /// Never: a lease has one until it is dropped.
    pub(super) fn session(&self) -> Result<&Session, StoreError> {
        self.session.as_ref().ok_or(StoreError::Busy)
    }

    /// Undoes the transaction; a connection that cannot is not used again.
    pub(super) fn roll_back(&mut self) {
        self.clean = self.session.as_ref().is_some_and(Session::roll_back);
    }

    /// Says that its transaction is durable.
    pub(super) fn committed(&mut self) {
        self.clean = true;
    }
}

impl Drop for Lease<'_> {
    fn drop(&mut self) {
        // One that a panic left in the middle of a transaction is closed with it.
        let session = self.session.take();
        let sound = self.clean && session.as_ref().is_some_and(|s| s.failed() != Some(Failed::Broken));
        let mut state = self.pool.state();
        match self.what {
            Use::Read => state.reading = state.reading.saturating_sub(1),
            Use::Write => state.writing = state.writing.saturating_sub(1),
        }
        let closed = state.closed;
        let over = match session {
            Some(session) if sound && !closed => {
                state.idle.push(session);
                None
            }
            other => other,
        };
        drop(state);
        self.pool.freed.notify_all();
        drop(over);
    }
}
