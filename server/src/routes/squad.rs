//! Who is in a squad. That stands in the squads' documents, which coaches write: the route edits them in
//! the name of the install that calls, through the same gate as an upload.

use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use backstraight_core::base::day::Day;
use backstraight_core::base::id::{ActorId, PersonId, SquadId};
use backstraight_core::base::key::KeyMint;
use backstraight_core::doc::command::{Command, New, Scene};
use backstraight_core::doc::open::Document;
use backstraight_core::doc::place::Place;
use backstraight_core::doc::thin;
use backstraight_core::exchange::wire::{Outcome, PROTOCOL, Up, UpDoc, heads_out};
use backstraight_core::model::name::DocName;
use backstraight_core::model::number::Name;
use backstraight_core::model::plan::Member;
use minicbor::bytes::ByteVec;
use serde::Deserialize;
use utoipa::ToSchema;

use super::people::member;
use crate::app::{App, Shared};
use crate::exchange;
use crate::extract::Json;
use crate::grant::{self, Access, Caller};
use crate::problem::{Problem, ProblemBody};
use crate::review::open;
use crate::secret;
use crate::store::{Db, StoreError, document};

/// Body of `POST /v1/squads/{id}/members`.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct MoveBody {
    /// The athlete.
    athlete: String,
    /// The squad that the athlete leaves; without it the athlete is in both.
    #[serde(default)]
    from: Option<String>,
}

/// Puts an athlete into a squad, out of another one
///
/// What the other squad says about the athlete comes along: event group, date of birth, class.
#[utoipa::path(
    post, path = "/v1/squads/{id}/members", tag = "people", operation_id = "move_to_squad",
    params(("id" = String, Path, description = "identity of the squad that the athlete joins")),
    request_body = MoveBody,
    responses(
        (status = 204, description = "it is written into the squads' documents"),
        (status = "default", description = "why not", body = ProblemBody,
         content_type = "application/problem+json"),
    ),
    security(("access_token" = [])),
)]
pub(super) async fn move_to(
    State(app): State<Shared>,
    caller: Caller,
    Path(id): Path<String>,
    Json(body): Json<MoveBody>,
) -> Result<Response, Problem> {
    if !caller.asker.role.coaches() {
        return Err(Problem::NotAllowed);
    }
    let to: SquadId = id.parse().map_err(|_| Problem::NotFound)?;
    let from: Option<SquadId> =
        body.from.as_deref().map(|s| s.parse().map_err(|_| Problem::Field("from"))).transpose()?;
    if from == Some(to) {
        return Err(Problem::Field("from"));
    }
    let found = member(&app, &caller, &body.athlete).await;
    let found = found.map_err(|p| if p == Problem::NotFound { Problem::Field("athlete") } else { p })?;
    let name = Name::new(&found.name).map_err(|_| Problem::Field("athlete"))?;
    let ask = Move { to, from, athlete: found.asker.person, name };
    let (app_, now) = (app.clone(), app.clock.now());
    let up = app.store.read(move |db| ask.edits(db, &app_, &caller)).await??;
    if up.docs.is_empty() {
        return Ok(StatusCode::NO_CONTENT.into_response());
    }
    let up = Up { local_day: Day::of(now, 0).map_err(|_| Problem::Internal)?.to_string(), ..up };
    let down = exchange::edit(&app, caller, up).await?;
    let taken = down.docs.iter().all(|d| d.outcome == Outcome::Accepted);
    // Whoever wrote in between was quicker: the same request finds the new state.
    if taken { Ok(StatusCode::NO_CONTENT.into_response()) } else { Err(Problem::Busy) }
}

struct Move {
    to: SquadId,
    from: Option<SquadId>,
    athlete: PersonId,
    name: Name,
}

impl Move {
    /// The request that a device of the caller would send for it.
    fn edits(&self, db: &Db, app: &App, caller: &Caller) -> Result<Result<Up, Problem>, StoreError> {
        let actor = ActorId::of(caller.install, secret::random());
        let mut docs = Vec::new();
        let before = match self.from {
            None => None,
            Some(from) => match squad(db, app, caller, from)? {
                Some(doc) => Some(doc),
                None => return Ok(Err(Problem::Field("from"))),
            },
        };
        let Some(mut to) = squad(db, app, caller, self.to)? else { return Ok(Err(Problem::NotFound)) };
        let mut known = None;
        if let Some(mut from) = before {
            let entries = from.records::<Member>("members");
            let entry = entries.live().find(|e| e.record.athlete == self.athlete);
            let Some(entry) = entry else { return Ok(Err(Problem::Field("from"))) };
            known = Some(entry.record.clone());
            let leave = Command::Withdraw(vec![Place::of("members", &entry.key())]);
            docs.extend(applied(app, &mut from, actor, &leave)?);
        }
        let entries = to.records::<Member>("members");
        let there = entries.entries.iter().find(|e| e.record.athlete == self.athlete);
        let join = match there {
            Some(entry) if entries.live().any(|l| l.key() == entry.key()) => None,
            Some(entry) => Some(Command::Restore(vec![Place::of("members", &entry.key())])),
            None => {
                let record = known.unwrap_or_else(|| Member::new(self.athlete, self.name.clone()));
                let place = Place::of("members", &KeyMint::new(secret::random()).mint());
                Some(Command::Add(vec![New { place, record: record.into() }]))
            }
        };
        if let Some(join) = join {
            docs.extend(applied(app, &mut to, actor, &join)?);
        }
        Ok(Ok(Up {
            protocol: PROTOCOL,
            epoch: Some(ByteVec::from(app.store.epoch().to_vec())),
            local_day: String::new(),
            clock: app.clock.now().0,
            docs,
            people: 0,
            app: "server".to_owned(),
            carried: None,
        }))
    }
}

/// The document of a squad that the caller may write; none when there is no such squad for the caller.
fn squad(db: &Db, app: &App, caller: &Caller, id: SquadId) -> Result<Option<Document>, StoreError> {
    let name = DocName::Squad(id);
    let damaged = |e: &dyn std::fmt::Display| StoreError::Damaged(format!("a squad: {e}"));
    let today = Day::of(app.clock.now(), 0).map_err(|e| damaged(&e))?;
    let Some(subject) = document::subject(db, &name, Some(&caller.asker), today)? else { return Ok(None) };
    if !matches!(grant::on_document(caller, name, &subject), Access::Write(..)) {
        return Ok(None);
    }
    match open(db, &name)? {
        Some(doc) => Ok(Some(doc)),
        None => Document::create(name).map(Some).map_err(|e| damaged(&e)),
    }
}

/// The part of a request that carries what a command changes.
fn applied(
    app: &App,
    doc: &mut Document,
    actor: ActorId,
    command: &Command,
) -> Result<Option<UpDoc>, StoreError> {
    let heads = doc.heads();
    doc.write_as(actor);
    let scene = Scene { now: app.clock.now(), exercises: None };
    doc.apply(command, &scene).map_err(|e| StoreError::Damaged(format!("a squad cannot be edited: {e}")))?;
    let changes = doc.changes_since(&heads);
    Ok((!changes.is_empty()).then(|| UpDoc {
        name: ByteVec::from(doc.name().to_bytes().to_vec()),
        cursor: 0,
        heads: heads_out(&doc.heads()),
        changes: Some(ByteVec::from(thin::pack(&changes))),
    }))
}
