//! People of a club: listed, added, changed, withdrawn, restored, leaving.
#![expect(unused_qualifications, reason = "the macro that makes the document names parameters in full")]

use axum::extract::rejection::QueryRejection;
use axum::extract::{Path, Query, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use backstraight_core::base::day::Day;
use backstraight_core::base::id::PersonId;
use backstraight_core::exchange::access::Role;
use serde::{Deserialize, Deserializer, Serialize};
use utoipa::{IntoParams, ToSchema};

use super::account::no_store;
use super::ask::{day, page, query};
use crate::app::Shared;
use crate::extract::Json;
use crate::grant::{self, Caller, MayKeep};
use crate::problem::{Problem, ProblemBody};
use crate::secret;
use crate::store::members::{self, Change, Changed, Member};
use crate::store::people::{LONGEST_NAME, shown};
use crate::store::{guardians, sign_in};

/// People of a page when nothing is said, and most.
const PAGE: (u32, u32) = (100, 500);

/// A person as an account.
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct PersonReport {
    /// Identity.
    person: String,
    /// Shown name.
    name: String,
    /// Role, in words.
    role: &'static str,
    /// Date of birth; missing where nobody has entered it. An athlete without one counts as a minor.
    #[serde(skip_serializing_if = "Option::is_none")]
    born: Option<String>,
    /// Installs that are let in.
    installs: u64,
    /// The name with which the person signs in, where there is a password; shown to the person and to
    /// whoever keeps the account.
    #[serde(skip_serializing_if = "Option::is_none")]
    sign_in: Option<String>,
    /// Passkeys.
    passkeys: u64,
    /// When the person was withdrawn, ms since 1970 UTC.
    #[serde(skip_serializing_if = "Option::is_none")]
    withdrawn_at: Option<i64>,
    /// When the person left, ms since 1970 UTC.
    #[serde(skip_serializing_if = "Option::is_none")]
    left_at: Option<i64>,
}

impl PersonReport {
    /// As a caller sees it.
    fn to(caller: &Caller, m: Member) -> PersonReport {
        let own = caller.asker.person == m.asker.person;
        let kept = own || grant::to_keep(caller, &m.asker).is_some();
        PersonReport {
            person: m.asker.person.to_string(),
            name: m.name,
            role: m.asker.role.word(),
            born: m.born.map(|d| d.to_string()),
            installs: m.installs,
            sign_in: m.sign_in.filter(|_| kept),
            passkeys: m.passkeys,
            withdrawn_at: m.withdrawn.map(|t| t.0),
            left_at: m.left.map(|t| t.0),
        }
    }
}

/// A page of people.
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct PeopleList {
    /// For the next page: give it as `after`. Missing on the last one.
    #[serde(skip_serializing_if = "Option::is_none")]
    next: Option<String>,
    /// The people, in the order in which they were added.
    people: Vec<PersonReport>,
}

/// Which people.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
pub(super) struct PeopleQuery {
    /// Most people of a page, 1 to 500; 100 when missing.
    #[param(minimum = 1, maximum = 500)]
    limit: Option<u32>,
    /// The `next` of the page before.
    after: Option<String>,
    /// Those who were withdrawn too.
    all: Option<bool>,
}

/// A name that can be shown.
pub(super) fn name(text: &str, field: &'static str) -> Result<String, Problem> {
    shown(text, LONGEST_NAME).map(str::to_owned).ok_or(Problem::Field(field))
}

/// A date of birth: a day that is not to come, of somebody who may be alive.
pub(super) fn born(text: &str, today: Day) -> Result<Day, Problem> {
    let day: Day = text.parse().map_err(|_| Problem::Field("born"))?;
    if day > today || today.since(day) > 130 * 366 {
        return Err(Problem::Field("born"));
    }
    Ok(day)
}

/// Somebody of the caller's own club, withdrawn or not. People of other clubs are as unknown as people who
/// do not exist.
pub(super) async fn member(app: &Shared, caller: &Caller, id: &str) -> Result<Member, Problem> {
    let person: PersonId = id.parse().map_err(|_| Problem::NotFound)?;
    let found = app.store.read(move |db| members::find(db, person)).await?;
    found.filter(|m| m.asker.club == caller.asker.club).ok_or(Problem::NotFound)
}

/// The same, and permission to keep the account.
async fn kept(app: &Shared, caller: &Caller, id: &str) -> Result<MayKeep, Problem> {
    let member = member(app, caller, id).await?;
    grant::to_keep(caller, &member.asker).ok_or(Problem::NotAllowed)
}

fn changed(done: Changed) -> Result<Response, Problem> {
    match done {
        Changed::Done => Ok(StatusCode::NO_CONTENT.into_response()),
        Changed::LastOwner => Err(Problem::LastOwner),
    }
}

/// Who the caller is.
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct Me {
    #[serde(flatten)]
    person: PersonReport,
    /// The club.
    club: String,
    /// The club's name.
    club_name: String,
    /// The install that calls.
    install: String,
    /// A guardian's athletes.
    wards: Vec<Named>,
}

/// Somebody by name.
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct Named {
    /// Identity.
    person: String,
    /// Shown name.
    name: String,
}

/// Who the caller is
#[utoipa::path(
    get, path = "/v1/me", tag = "people", operation_id = "get_me",
    responses(
        (status = 200, description = "it", body = Me),
        (status = "default", description = "why not", body = ProblemBody,
         content_type = "application/problem+json"),
    ),
    security(("access_token" = [])),
)]
pub(super) async fn me(State(app): State<Shared>, caller: Caller) -> Result<Response, Problem> {
    let (asker, today) = (caller.asker, day(None, "today", &app)?);
    let read = app.store.read(move |db| {
        let wards = guardians::of_guardian(db, asker.person, today)?;
        Ok((members::find(db, asker.person)?, members::club(db, asker.club)?, wards))
    });
    let (Some(member), Some(club), wards) = read.await? else { return Err(Problem::Unauthenticated) };
    Ok(no_store(&Me {
        person: PersonReport::to(&caller, member),
        club: club.id.to_string(),
        club_name: club.name,
        install: caller.install.to_string(),
        wards: wards
            .into_iter()
            .map(|g| Named { person: g.athlete.to_string(), name: g.athlete_name })
            .collect(),
    }))
}

/// The people of the own club
#[utoipa::path(
    get, path = "/v1/people", tag = "people", operation_id = "get_people", params(PeopleQuery),
    responses(
        (status = 200, description = "a page of them", body = PeopleList),
        (status = "default", description = "why not", body = ProblemBody,
         content_type = "application/problem+json"),
    ),
    security(("access_token" = [])),
)]
pub(super) async fn list(
    State(app): State<Shared>,
    caller: Caller,
    asked: Result<Query<PeopleQuery>, QueryRejection>,
) -> Result<Response, Problem> {
    let grant = grant::to_list(&caller).ok_or(Problem::NotAllowed)?;
    let asked = query(asked)?;
    let (after, most) = page(asked.after.as_deref(), asked.limit, PAGE)?;
    let all = asked.all.unwrap_or(false);
    let mut people = app.store.read(move |db| members::list(db, &grant, after, most + 1, all)).await?;
    let more = people.len() > most;
    people.truncate(most);
    let next = people.last().filter(|_| more).map(|m| m.asker.person.to_string());
    Ok(no_store(&PeopleList {
        next,
        people: people.into_iter().map(|m| PersonReport::to(&caller, m)).collect(),
    }))
}

/// One person of the own club
#[utoipa::path(
    get, path = "/v1/people/{id}", tag = "people", operation_id = "get_person",
    params(("id" = String, Path, description = "identity of the person")),
    responses(
        (status = 200, description = "it", body = PersonReport),
        (status = "default", description = "why not", body = ProblemBody,
         content_type = "application/problem+json"),
    ),
    security(("access_token" = [])),
)]
pub(super) async fn one(
    State(app): State<Shared>,
    caller: Caller,
    Path(id): Path<String>,
) -> Result<Response, Problem> {
    let member = member(&app, &caller, &id).await?;
    let own = member.asker.person == caller.asker.person;
    if !own && grant::to_list(&caller).is_none() {
        return Err(Problem::NotFound);
    }
    Ok(no_store(&PersonReport::to(&caller, member)))
}

/// Body of `POST /v1/people`.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct AddBody {
    /// Shown name.
    name: String,
    /// Role, in words.
    role: String,
    /// Date of birth, as `2008-11-25`.
    #[serde(default)]
    born: Option<String>,
}

/// Adds a person to the own club
///
/// An invitation then lets the person in.
#[utoipa::path(
    post, path = "/v1/people", tag = "people", operation_id = "add_person", request_body = AddBody,
    responses(
        (status = 201, description = "the person", body = PersonReport),
        (status = "default", description = "why not", body = ProblemBody,
         content_type = "application/problem+json"),
    ),
    security(("access_token" = [])),
)]
pub(super) async fn add(
    State(app): State<Shared>,
    caller: Caller,
    Json(body): Json<AddBody>,
) -> Result<Response, Problem> {
    let role: Role = body.role.parse().map_err(|_| Problem::Field("role"))?;
    let grant = grant::to_add(&caller, role).ok_or(Problem::NotAllowed)?;
    let name = name(&body.name, "name")?;
    let today = day(None, "today", &app)?;
    let born = body.born.as_deref().map(|b| born(b, today)).transpose()?;
    let now = app.clock.now();
    let id = PersonId::new(now, secret::random());
    let added = app
        .store
        .write(move |db| {
            members::add(db, &grant, id, &name, born, now)?;
            members::find(db, id)
        })
        .await?;
    let mut response = no_store(&PersonReport::to(&caller, added.ok_or(Problem::Internal)?));
    *response.status_mut() = StatusCode::CREATED;
    Ok(response)
}

/// Body of `POST /v1/people/{id}`: what is missing stays.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct ChangeBody {
    /// Another name.
    #[serde(default)]
    name: Option<String>,
    /// Another role, in words.
    #[serde(default)]
    role: Option<String>,
    /// Another date of birth; `null` takes it away.
    #[serde(default, deserialize_with = "given")]
    #[schema(value_type = Option<String>)]
    born: Option<Option<String>>,
}

/// Tells a field that is null from one that is missing.
fn given<'d, D: Deserializer<'d>>(from: D) -> Result<Option<Option<String>>, D::Error> {
    Option::<String>::deserialize(from).map(Some)
}

/// Changes an account: name, role, date of birth
#[utoipa::path(
    post, path = "/v1/people/{id}", tag = "people", operation_id = "change_person",
    params(("id" = String, Path, description = "identity of the person")), request_body = ChangeBody,
    responses(
        (status = 204, description = "it is stored"),
        (status = "default", description = "why not", body = ProblemBody,
         content_type = "application/problem+json"),
    ),
    security(("access_token" = [])),
)]
pub(super) async fn change(
    State(app): State<Shared>,
    caller: Caller,
    Path(id): Path<String>,
    Json(body): Json<ChangeBody>,
) -> Result<Response, Problem> {
    let grant = kept(&app, &caller, &id).await?;
    let today = day(None, "today", &app)?;
    let role: Option<Role> =
        body.role.as_deref().map(|r| r.parse().map_err(|_| Problem::Field("role"))).transpose()?;
    if role.is_some_and(|r| !grant::keeps(caller.asker.role, r)) {
        return Err(Problem::NotAllowed);
    }
    let change = Change {
        name: body.name.as_deref().map(|n| name(n, "name")).transpose()?,
        role,
        born: body.born.map(|b| b.as_deref().map(|b| born(b, today)).transpose()).transpose()?,
    };
    let now = app.clock.now();
    changed(app.store.write(move |db| members::change(db, &grant, &change, now)).await?)
}

/// Withdraws a person: no install of theirs is let in any more
#[utoipa::path(
    post, path = "/v1/people/{id}/withdraw", tag = "people", operation_id = "withdraw_person",
    params(("id" = String, Path, description = "identity of the person")),
    responses(
        (status = 204, description = "it is done; what they wrote stays"),
        (status = "default", description = "why not", body = ProblemBody,
         content_type = "application/problem+json"),
    ),
    security(("access_token" = [])),
)]
pub(super) async fn withdraw(
    State(app): State<Shared>,
    caller: Caller,
    Path(id): Path<String>,
) -> Result<Response, Problem> {
    let (grant, now) = (kept(&app, &caller, &id).await?, app.clock.now());
    changed(app.store.write(move |db| members::withdraw(db, &grant, now)).await?)
}

/// Takes a withdrawal back
#[utoipa::path(
    post, path = "/v1/people/{id}/restore", tag = "people", operation_id = "restore_person",
    params(("id" = String, Path, description = "identity of the person")),
    responses(
        (status = 204, description = "the person is a member"),
        (status = "default", description = "why not", body = ProblemBody,
         content_type = "application/problem+json"),
    ),
    security(("access_token" = [])),
)]
pub(super) async fn restore(
    State(app): State<Shared>,
    caller: Caller,
    Path(id): Path<String>,
) -> Result<Response, Problem> {
    let (grant, now) = (kept(&app, &caller, &id).await?, app.clock.now());
    app.store.write(move |db| members::restore(db, &grant, now)).await?;
    Ok(StatusCode::NO_CONTENT.into_response())
}

/// Takes somebody's password and passkeys away
///
/// An invitation is then the way in.
#[utoipa::path(
    post, path = "/v1/people/{id}/reset-sign-in", tag = "people", operation_id = "reset_sign_in",
    params(("id" = String, Path, description = "identity of the person")),
    responses(
        (status = 204, description = "there is none any more"),
        (status = "default", description = "why not", body = ProblemBody,
         content_type = "application/problem+json"),
    ),
    security(("access_token" = [])),
)]
pub(super) async fn reset_sign_in(
    State(app): State<Shared>,
    caller: Caller,
    Path(id): Path<String>,
) -> Result<Response, Problem> {
    let (grant, now) = (kept(&app, &caller, &id).await?, app.clock.now());
    app.store.write(move |db| sign_in::reset(db, &grant, now)).await?;
    Ok(StatusCode::NO_CONTENT.into_response())
}
