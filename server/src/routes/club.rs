//! The own club: its settings, squads, and the list of what changed access.
#![expect(unused_qualifications, reason = "the macro that makes the document names parameters in full")]

use axum::extract::rejection::QueryRejection;
use axum::extract::{Path, Query, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use backstraight_core::base::id::SquadId;
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

use super::account::no_store;
use super::ask::query;
use super::people::name;
use crate::app::Shared;
use crate::extract::Json;
use crate::grant::{self, Caller};
use crate::problem::{Problem, ProblemBody};
use crate::secret;
use crate::store::{audit, members, people};

/// A club.
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct ClubReport {
    /// Identity.
    club: String,
    /// Name.
    name: String,
    /// From which birthday on somebody decides alone.
    majority: u16,
}

/// The own club
#[utoipa::path(
    get, path = "/v1/club", tag = "people", operation_id = "get_club",
    responses(
        (status = 200, description = "it", body = ClubReport),
        (status = "default", description = "why not", body = ProblemBody,
         content_type = "application/problem+json"),
    ),
    security(("access_token" = [])),
)]
pub(super) async fn club(State(app): State<Shared>, caller: Caller) -> Result<Response, Problem> {
    let id = caller.asker.club;
    let club = app.store.read(move |db| members::club(db, id)).await?.ok_or(Problem::Internal)?;
    Ok(no_store(&ClubReport { club: club.id.to_string(), name: club.name, majority: club.majority }))
}

/// Body of `POST /v1/club`: what is missing stays.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct ClubBody {
    /// Another name.
    #[serde(default)]
    name: Option<String>,
    /// From which birthday on somebody decides alone, 13 to 25. What the law says goes before it.
    #[serde(default)]
    majority: Option<u16>,
}

/// Changes the own club's settings
#[utoipa::path(
    post, path = "/v1/club", tag = "people", operation_id = "change_club", request_body = ClubBody,
    responses(
        (status = 204, description = "it is stored"),
        (status = "default", description = "why not", body = ProblemBody,
         content_type = "application/problem+json"),
    ),
    security(("access_token" = [])),
)]
pub(super) async fn change_club(
    State(app): State<Shared>,
    caller: Caller,
    Json(body): Json<ClubBody>,
) -> Result<Response, Problem> {
    let grant = grant::to_keep_club(&caller).ok_or(Problem::NotAllowed)?;
    let name = body.name.as_deref().map(|n| name(n, "name")).transpose()?;
    if body.majority.is_some_and(|m| !members::MAJORITY.contains(&m)) {
        return Err(Problem::Field("majority"));
    }
    let now = app.clock.now();
    app.store.write(move |db| members::change_club(db, &grant, name.as_deref(), body.majority, now)).await?;
    Ok(StatusCode::NO_CONTENT.into_response())
}

/// A squad.
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct SquadReport {
    /// Identity. Its document has the same.
    squad: String,
    /// Name.
    name: String,
}

/// The squads of a club.
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct SquadList {
    /// By name.
    squads: Vec<SquadReport>,
}

/// The squads of the own club
///
/// Who is in them stands in their documents, which coaches write.
#[utoipa::path(
    get, path = "/v1/squads", tag = "people", operation_id = "get_squads",
    responses(
        (status = 200, description = "they", body = SquadList),
        (status = "default", description = "why not", body = ProblemBody,
         content_type = "application/problem+json"),
    ),
    security(("access_token" = [])),
)]
pub(super) async fn squads(State(app): State<Shared>, caller: Caller) -> Result<Response, Problem> {
    let grant = grant::to_list(&caller).ok_or(Problem::NotAllowed)?;
    let rows = app.store.read(move |db| people::squads(db, grant.club())).await?;
    let squads = rows.into_iter().map(|r| SquadReport { squad: r.id, name: r.name }).collect();
    Ok(no_store(&SquadList { squads }))
}

/// Body of `POST /v1/squads`.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct SquadBody {
    /// Its name.
    name: String,
}

/// Makes a squad
#[utoipa::path(
    post, path = "/v1/squads", tag = "people", operation_id = "add_squad", request_body = SquadBody,
    responses(
        (status = 201, description = "the squad", body = SquadReport),
        (status = "default", description = "why not", body = ProblemBody,
         content_type = "application/problem+json"),
    ),
    security(("access_token" = [])),
)]
pub(super) async fn add_squad(
    State(app): State<Shared>,
    caller: Caller,
    Json(body): Json<SquadBody>,
) -> Result<Response, Problem> {
    let grant = grant::to_keep_squads(&caller).ok_or(Problem::NotAllowed)?;
    let (name, now) = (name(&body.name, "name")?, app.clock.now());
    let id = SquadId::new(now, secret::random());
    let report = SquadReport { squad: id.to_string(), name: name.clone() };
    app.store.write(move |db| members::add_squad(db, &grant, id, &name, now)).await?;
    let mut response = no_store(&report);
    *response.status_mut() = StatusCode::CREATED;
    Ok(response)
}

/// Renames a squad
#[utoipa::path(
    post, path = "/v1/squads/{id}", tag = "people", operation_id = "rename_squad",
    params(("id" = String, Path, description = "identity of the squad")), request_body = SquadBody,
    responses(
        (status = 204, description = "it is stored"),
        (status = "default", description = "why not", body = ProblemBody,
         content_type = "application/problem+json"),
    ),
    security(("access_token" = [])),
)]
pub(super) async fn rename_squad(
    State(app): State<Shared>,
    caller: Caller,
    Path(id): Path<String>,
    Json(body): Json<SquadBody>,
) -> Result<Response, Problem> {
    let grant = grant::to_keep_squads(&caller).ok_or(Problem::NotAllowed)?;
    let id: SquadId = id.parse().map_err(|_| Problem::NotFound)?;
    let (name, now) = (name(&body.name, "name")?, app.clock.now());
    let done = app.store.write(move |db| members::rename_squad(db, &grant, id, &name, now)).await?;
    if done { Ok(StatusCode::NO_CONTENT.into_response()) } else { Err(Problem::NotFound) }
}

/// A line of the audit list.
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct AuditLine {
    /// Its number.
    id: u64,
    /// When, ms since 1970 UTC.
    at: i64,
    /// Who did it; missing when it was done at the machine or by itself.
    #[serde(skip_serializing_if = "Option::is_none")]
    person: Option<String>,
    /// That person's name.
    #[serde(skip_serializing_if = "Option::is_none")]
    name: Option<String>,
    /// With which install.
    #[serde(skip_serializing_if = "Option::is_none")]
    install: Option<String>,
    /// What was done.
    what: String,
    /// Whom or what it concerns: an identity.
    subject: String,
    /// The SHA-256 of the link before it and of this line, 64 hexadecimal digits: who notes it can later
    /// find out that nothing before it was altered. Missing of a line that is older than links.
    #[serde(skip_serializing_if = "Option::is_none")]
    link: Option<String>,
}

/// A page of the audit list.
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct AuditList {
    /// For the page of older lines: give it as `before`. Missing on the last one.
    #[serde(skip_serializing_if = "Option::is_none")]
    next: Option<u64>,
    /// The newest first.
    lines: Vec<AuditLine>,
}

/// Which lines.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
pub(super) struct AuditQuery {
    /// Most lines of a page, 1 to 500; 100 when missing.
    #[param(minimum = 1, maximum = 500)]
    limit: Option<u32>,
    /// The `next` of the page before.
    before: Option<u64>,
}

/// Everything that changed access in the own club
#[utoipa::path(
    get, path = "/v1/audit", tag = "people", operation_id = "get_audit", params(AuditQuery),
    responses(
        (status = 200, description = "a page of it", body = AuditList),
        (status = "default", description = "why not", body = ProblemBody,
         content_type = "application/problem+json"),
    ),
    security(("access_token" = [])),
)]
pub(super) async fn audit_list(
    State(app): State<Shared>,
    caller: Caller,
    asked: Result<Query<AuditQuery>, QueryRejection>,
) -> Result<Response, Problem> {
    let grant = grant::to_audit(&caller).ok_or(Problem::NotAllowed)?;
    let asked = query(asked)?;
    let most = asked.limit.unwrap_or(100);
    if !(1..=500).contains(&most) {
        return Err(Problem::Field("limit"));
    }
    let most = usize::try_from(most).map_err(|_| Problem::Field("limit"))?;
    let mut lines = app.store.read(move |db| audit::page(db, &grant, asked.before, most + 1)).await?;
    let more = lines.len() > most;
    lines.truncate(most);
    let next = lines.last().filter(|_| more).map(|l| l.id);
    let lines = lines
        .into_iter()
        .map(|l| AuditLine {
            id: l.id,
            at: l.at.0,
            person: l.person.map(|p| p.to_string()),
            name: l.name,
            install: l.install.map(|i| i.to_string()),
            what: l.what,
            subject: l.subject,
            link: l.link,
        })
        .collect();
    Ok(no_store(&AuditList { next, lines }))
}
