//! Invitations made by coaches.

use axum::extract::State;
use axum::response::Response;
use backstraight_core::base::id::PersonId;
use backstraight_core::exchange::proof::Invitation;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::account::no_store;
use crate::app::Shared;
use crate::extract::Json;
use crate::grant::{self, Caller};
use crate::problem::{Problem, ProblemBody};
use crate::store::{account, installs, people};

/// Body of `POST /v1/invites`.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct InviteBody {
    /// Whom to invite.
    person: String,
    /// The person's phone is lost: all installs of theirs are withdrawn at once.
    #[serde(default)]
    lost: bool,
}

/// Answer: the code, shown once.
#[derive(Debug, Serialize, ToSchema)]
struct InviteAnswer {
    /// Eight characters, good once.
    code: String,
    /// The text for a picture (QR code): a link with a secret of 128 bits, good once. Either of the two ends
    /// the other.
    link: String,
    /// Until when, ms since 1970 UTC.
    expires_at: i64,
}

/// Makes a code with which a person of the caller's club enrols an install
#[utoipa::path(
    post, path = "/v1/invites", tag = "account", operation_id = "create_invite", request_body = InviteBody,
    responses(
        (status = 200, description = "the code, shown once", body = InviteAnswer),
        (status = "default", description = "why not", body = ProblemBody,
         content_type = "application/problem+json"),
    ),
    security(("access_token" = [])),
)]
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
    let lost = body.lost;
    let made = app
        .store
        .write(move |db| {
            if lost {
                installs::withdraw_all(db, &grant.installs(), now)?;
            }
            account::invite(db, &grant, &key, lifetime, now)
        })
        .await?;
    let link = Invitation { server: app.config.site(), secret: made.secret }.text();
    Ok(no_store(&InviteAnswer { code: made.code, link, expires_at: made.expires.0 }))
}
