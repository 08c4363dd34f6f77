//! Invitations made by coaches.

use axum::extract::State;
use axum::response::Response;
use backstraight_core::base::id::PersonId;
use serde::{Deserialize, Serialize};

use super::account::no_store;
use crate::app::Shared;
use crate::extract::Json;
use crate::grant::{self, Caller};
use crate::problem::Problem;
use crate::store::{account, people};

/// Body of `POST /v1/invites`.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct InviteBody {
    person: String,
}

/// Answer: the code, shown once.
#[derive(Debug, Serialize)]
struct InviteAnswer {
    code: String,
    expires_at: i64,
}

/// `POST /v1/invites`: makes a code with which a person of the caller's club enrols an install.
pub(super) async fn invite(
    State(app): State<Shared>,
    caller: Caller,
    Json(body): Json<InviteBody>,
) -> Result<Response, Problem> {
    let person: PersonId = body.person.parse().map_err(|_| Problem::Field("person"))?;
    let target = app.store.read(move |db| people::find(db, person)).await?;
    // People of other clubs are as unknown as people who do not exist.
    let target = target.filter(|t| t.club == caller.asker.club).ok_or(Problem::NotFound)?;
    let grant = grant::to_invite(&caller, &target).ok_or(Problem::NotAllowed)?;
    let (key, now) = (*app.tokens.secret(), app.clock.now());
    let lifetime = i64::from(app.config.invite_minutes) * 60_000;
    let made = app.store.write(move |db| account::invite(db, &grant, &key, lifetime, now)).await?;
    Ok(no_store(&InviteAnswer { code: made.code, expires_at: made.expires.0 }))
}
