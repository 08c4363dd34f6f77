//! What the routes of a review share: which days, whose training, and answers that are not sent again
//! to somebody who has them.

use std::sync::Arc;
use std::time::Duration;

use axum::extract::Query;
use axum::extract::rejection::QueryRejection;
use axum::http::{HeaderMap, HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};
use backstraight_core::base::day::Day;
use backstraight_core::base::id::PersonId;
use backstraight_core::exchange::access::Role;
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use utoipa::IntoParams;

use crate::app::{App, Shared};
use crate::grant::{self, Caller, MayReview};
use crate::problem::Problem;
use crate::store::{self, Db, StoreError, board, guardians, job};

/// Most days of one review.
pub(super) const MOST_DAYS: i32 = 400;
/// How long a reader waits for rows that are being made anew.
const PATIENCE: Duration = Duration::from_millis(250);
/// How many may be on their way for a reader to wait for them: with more, on an evening when all phones come back, a
/// look at the board would wait in vain each time.
const WORTH_WAITING: u32 = 4;

/// Which days. Without any, the week of today.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
pub(super) struct Days {
    /// First day, `2026-11-23`. Without it the Monday of this week, or six days before `to`.
    #[param(format = Date)]
    pub(super) from: Option<String>,
    /// Last day, at most 400 days later. Without it six days after `from`.
    #[param(format = Date)]
    pub(super) to: Option<String>,
    /// The reader's local day; the server's day in UTC when missing.
    #[param(format = Date)]
    pub(super) today: Option<String>,
}

/// First day, last day, today.
pub(super) type Span = (Day, Day, Day);

impl Days {
    /// Reads them.
    pub(super) fn span(&self, app: &App) -> Result<Span, Problem> {
        let read = |text: &Option<String>, field| {
            text.as_ref().map(|t| t.parse::<Day>().map_err(|_| Problem::Field(field))).transpose()
        };
        let today = day(self.today.as_deref(), "today", app)?;
        let from = read(&self.from, "from")?;
        let to = read(&self.to, "to")?;
        let from = from.or_else(|| to.map(|t| t.plus(-6))).unwrap_or_else(|| today.week_start());
        let to = to.unwrap_or_else(|| from.plus(6));
        if to < from || to.since(from) > MOST_DAYS {
            return Err(Problem::Field("to"));
        }
        Ok((from, to, today))
    }
}

/// A day that was asked for; the server's day in UTC when there is none.
pub(super) fn day(text: Option<&str>, field: &'static str, app: &App) -> Result<Day, Problem> {
    match text {
        Some(text) => text.parse().map_err(|_| Problem::Field(field)),
        None => Day::of(app.clock.now(), 0).map_err(|_| Problem::Internal),
    }
}

/// After whom a page begins, and the most athletes of it.
pub(super) type Page = (Option<PersonId>, usize);

/// Reads a page; `usual` many when nothing is said, and at most `most`.
pub(super) fn page(
    after: Option<&str>,
    limit: Option<u32>,
    (usual, most): (u32, u32),
) -> Result<Page, Problem> {
    let after = after.map(|s| s.parse().map_err(|_| Problem::Field("after"))).transpose()?;
    let limit = limit.unwrap_or(usual);
    if !(1..=most).contains(&limit) {
        return Err(Problem::Field("limit"));
    }
    Ok((after, usize::try_from(limit).map_err(|_| Problem::Field("limit"))?))
}

/// The one thing that is not there of a page is the athlete whom the page before ended with.
pub(super) fn of_page(problem: Problem) -> Problem {
    if problem == Problem::NotFound { Problem::Field("after") } else { problem }
}

/// The query of a request, with our own refusal.
pub(super) fn query<T>(query: Result<Query<T>, QueryRejection>) -> Result<T, Problem> {
    query.map(|Query(q)| q).map_err(|_| Problem::Field("query"))
}

/// The first and last day and today of a request.
pub(super) fn span(days: Result<Query<Days>, QueryRejection>, app: &App) -> Result<Span, Problem> {
    query(days)?.span(app)
}

/// Permission to review a club.
pub(super) fn club(caller: &Caller) -> Result<MayReview, Problem> {
    grant::to_review(caller).ok_or(Problem::NotAllowed)
}

/// Permission to review one athlete.
pub(super) async fn one(app: &Shared, caller: &Caller, id: &str) -> Result<MayReview, Problem> {
    let athlete: PersonId = id.parse().map_err(|_| Problem::NotFound)?;
    let found = match caller.asker.role {
        Role::Guardian => {
            let (guardian, today) = (caller.asker.person, day(None, "today", app)?);
            let watched = app.store.read(move |db| guardians::watches(db, guardian, athlete, today)).await?;
            grant::to_review_ward(caller, athlete, watched)
        }
        _ => grant::to_review(caller).and_then(|g| g.of(athlete)),
    };
    // Another's training is as unknown as training that does not exist.
    found.ok_or(Problem::NotFound)
}

/// Waits a moment until what was acknowledged before is in the rows, if that is little. Whether it is, the answer
/// itself says.
pub(super) async fn settled(app: &Shared, grant: MayReview) -> Result<(), Problem> {
    let mut done = app.signals.listen();
    let awaited = app.store.read(move |db| job::soon(db, &grant, WORTH_WAITING + 1)).await?;
    if awaited.is_empty() || awaited.len() > WORTH_WAITING as usize {
        return Ok(());
    }
    let wait = async {
        loop {
            app.signals.wake();
            if done.changed().await.is_err() {
                break;
            }
            let owners = awaited.clone();
            if !app.store.read(move |db| job::left(db, &owners)).await? {
                break;
            }
        }
        Ok::<(), StoreError>(())
    };
    match tokio::time::timeout(PATIENCE, wait).await {
        Ok(outcome) => Ok(outcome?),
        // The answer says that it is behind.
        Err(_) => Ok(()),
    }
}

enum Made {
    Known,
    New(Vec<u8>),
}

/// Answers `what` (all that the answer depends on beside the club's data) with what `make` makes; with
/// 304 when the caller has it already. `make` gives none when there is no such thing.
pub(super) async fn conditional<T: Serialize>(
    app: &Shared,
    headers: &HeaderMap,
    grant: MayReview,
    what: String,
    make: impl FnOnce(&Db) -> Result<Option<T>, StoreError> + Send + 'static,
) -> Result<Response, Problem> {
    let known: Vec<String> = headers
        .get_all(header::IF_NONE_MATCH)
        .iter()
        .filter_map(|v| v.to_str().ok())
        .flat_map(|v| v.split(','))
        .map(|v| v.trim().trim_start_matches("W/").to_owned())
        .collect();
    let _place = app.load.enter()?;
    let server = app.store.server();
    // Consents and guardianships end with a day.
    let what = format!("{what} {}", day(None, "today", app)?);
    let store = Arc::clone(&app.store);
    let (tag, made) = store
        .read(move |db| {
            let (epoch, stamp) = (store::epoch(db)?, board::stamp(db, &grant)?);
            let tag = tag(&[&server, &epoch], &grant, &what, stamp);
            if known.iter().any(|k| *k == tag || k == "*") {
                return Ok((tag, Some(Made::Known)));
            }
            let made = make(db)?;
            let json = made.map(|value| serde_json::to_vec(&value)).transpose();
            let json = json.map_err(|e| StoreError::Damaged(format!("an answer is no JSON: {e}")))?;
            Ok((tag, json.map(Made::New)))
        })
        .await?;
    let mut response = match made.ok_or(Problem::NotFound)? {
        Made::Known => StatusCode::NOT_MODIFIED.into_response(),
        Made::New(json) => ([(header::CONTENT_TYPE, "application/json")], json).into_response(),
    };
    let headers = response.headers_mut();
    headers.insert(header::CACHE_CONTROL, HeaderValue::from_static("no-store"));
    headers.insert(header::ETAG, HeaderValue::from_str(&tag).map_err(|_| Problem::Internal)?);
    Ok(response)
}

fn tag(server: &[&[u8]], grant: &MayReview, what: &str, stamp: [u64; 5]) -> String {
    let mut hash = Sha256::new();
    for part in server {
        hash.update(part);
    }
    hash.update(env!("CARGO_PKG_VERSION"));
    hash.update(grant.club().0.as_bytes());
    hash.update(grant.only().map_or([0; 16], |p| p.0.into_bytes()));
    for n in stamp {
        hash.update(n.to_be_bytes());
    }
    hash.update(what);
    let hash: [u8; 32] = hash.finalize().into();
    let (short, _) = hash.split_at(16);
    format!("\"{}\"", data_encoding::HEXLOWER.encode(short))
}
