//! How much is asked at once: what one address sends too often, and what arrives while too much waits
//! already, is told to come again at once, before any work.

use std::sync::atomic::{AtomicU32, Ordering};

use axum::extract::{FromRequestParts, Request, State};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};

use crate::app::Shared;
use crate::extract::From;
use crate::problem::Problem;
use crate::rate;

/// Requests that have arrived whole and wait for their turn, or are worked on.
#[derive(Debug)]
pub struct Load {
    most: u32,
    now: AtomicU32,
}

/// A place among them; free again when it is dropped.
#[derive(Debug)]
pub struct Place<'a>(&'a AtomicU32);

impl Drop for Place<'_> {
    fn drop(&mut self) {
        self.0.fetch_sub(1, Ordering::AcqRel);
    }
}

impl Load {
    /// At most so many.
    #[must_use]
    pub const fn new(most: u32) -> Load {
        Load { most, now: AtomicU32::new(0) }
    }

    /// Takes a place.
    ///
    /// # Errors
    /// At once when there is none.
    pub fn enter(&self) -> Result<Place<'_>, Problem> {
        let place = Place(&self.now);
        // The place is given back when it was one too many.
        if self.now.fetch_add(1, Ordering::AcqRel) < self.most { Ok(place) } else { Err(Problem::Busy) }
    }

    /// Places that are taken.
    #[must_use]
    pub fn held(&self) -> u32 {
        self.now.load(Ordering::Acquire)
    }
}

/// Counts a request for its address.
pub(crate) async fn by_address(State(app): State<Shared>, request: Request, next: Next) -> Response {
    let (mut parts, body) = request.into_parts();
    let Ok(From(address)) = From::from_request_parts(&mut parts, &app).await;
    let each = app.config.limits.address_minute;
    match app.addresses.take(rate::narrow(address), each, app.clock.now()) {
        Ok(()) => next.run(Request::from_parts(parts, body)).await,
        Err(seconds) => Problem::TooFast(seconds).into_response(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn places_come_back_also_those_that_were_one_too_many() {
        let load = Load::new(2);
        let one = load.enter().unwrap();
        let two = load.enter().unwrap();
        for _ in 0..3 {
            assert_eq!(load.enter().unwrap_err(), Problem::Busy);
        }
        drop(one);
        let three = load.enter().unwrap();
        assert!(load.enter().is_err());
        drop((two, three));
        assert_eq!(load.held(), 0);
    }
}
