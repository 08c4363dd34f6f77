//! Guardians and consents of one athlete.

use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use backstraight_core::base::day::Day;
use backstraight_core::base::id::PersonId;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::account::no_store;
use super::ask::day;
use super::people::member;
use crate::app::Shared;
use crate::extract::Json;
use crate::grant::{self, Caller, MayKnow};
use crate::problem::{Problem, ProblemBody};
use crate::store::consents::{self, Use};
use crate::store::guardians::{self, Begun, LONGEST_REASON};
use crate::store::members::Member;
use crate::store::people::shown;

/// One guardianship.
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct GuardianReport {
    /// Who answers for the athlete.
    guardian: String,
    /// The guardian's name.
    name: String,
    /// Why it began.
    reason: String,
    /// When it began, ms since 1970 UTC.
    started_at: i64,
    /// When it ended, ms since 1970 UTC; missing while it runs.
    #[serde(skip_serializing_if = "Option::is_none")]
    ended_at: Option<i64>,
    /// Why it ended.
    #[serde(skip_serializing_if = "Option::is_none")]
    end_reason: Option<String>,
}

/// An athlete's guardians.
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct GuardianList {
    /// What ends a running guardianship by itself, in words.
    ends: String,
    /// Those who watch now first, then those who did.
    guardians: Vec<GuardianReport>,
}

/// An athlete of the own club, and whether the caller is the athlete's guardian now.
async fn athlete(app: &Shared, caller: &Caller, id: &str) -> Result<(Member, bool), Problem> {
    let member = member(app, caller, id).await?;
    let (guardian, athlete, today) = (caller.asker.person, member.asker.person, day(None, "today", app)?);
    let watched = app.store.read(move |db| guardians::watches(db, guardian, athlete, today)).await?;
    Ok((member, watched))
}

/// The same, and permission to know of guardians and consents.
async fn known(app: &Shared, caller: &Caller, id: &str) -> Result<(Member, MayKnow), Problem> {
    let (member, watched) = athlete(app, caller, id).await?;
    let grant = grant::to_know(caller, &member.asker, watched).ok_or(Problem::NotFound)?;
    Ok((member, grant))
}

/// A reason in words that can be shown.
fn reason(text: &str) -> Result<String, Problem> {
    shown(text, LONGEST_REASON).map(str::to_owned).ok_or(Problem::Field("reason"))
}

/// Who watches an athlete, and who did
#[utoipa::path(
    get, path = "/v1/people/{id}/guardians", tag = "people", operation_id = "get_guardians",
    params(("id" = String, Path, description = "identity of the athlete")),
    responses(
        (status = 200, description = "they", body = GuardianList),
        (status = "default", description = "why not", body = ProblemBody,
         content_type = "application/problem+json"),
    ),
    security(("access_token" = [])),
)]
pub(super) async fn list(
    State(app): State<Shared>,
    caller: Caller,
    Path(id): Path<String>,
) -> Result<Response, Problem> {
    let (member, grant) = known(&app, &caller, &id).await?;
    let club = member.asker.club;
    let (all, club) = app
        .store
        .read(move |db| Ok((guardians::of_athlete(db, &grant)?, crate::store::members::club(db, club)?)))
        .await?;
    let majority = club.ok_or(Problem::Internal)?.majority;
    let ends = match member.born {
        Some(born) => format!("on the birthday of {majority} years; born on {born}"),
        None => format!(
            "not by itself: no date of birth is entered, so nobody knows when the athlete is {majority}"
        ),
    };
    let guardians = all
        .into_iter()
        .map(|g| GuardianReport {
            guardian: g.guardian.to_string(),
            name: g.guardian_name,
            reason: g.reason,
            started_at: g.started.0,
            ended_at: g.ended.map(|t| t.0),
            end_reason: g.end_reason,
        })
        .collect();
    Ok(no_store(&GuardianList { ends, guardians }))
}

/// Body of `POST /v1/people/{id}/guardians`.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct BeginBody {
    /// A person of the club whose role is guardian.
    guardian: String,
    /// Why this person answers for the athlete.
    reason: String,
}

/// Begins a guardianship
#[utoipa::path(
    post, path = "/v1/people/{id}/guardians", tag = "people", operation_id = "begin_guardianship",
    params(("id" = String, Path, description = "identity of the athlete")), request_body = BeginBody,
    responses(
        (status = 204, description = "it runs; the athlete sees it"),
        (status = "default", description = "why not", body = ProblemBody,
         content_type = "application/problem+json"),
    ),
    security(("access_token" = [])),
)]
pub(super) async fn begin(
    State(app): State<Shared>,
    caller: Caller,
    Path(id): Path<String>,
    Json(body): Json<BeginBody>,
) -> Result<Response, Problem> {
    let member = member(&app, &caller, &id).await?;
    let grant = grant::to_guard(&caller, &member.asker).ok_or(Problem::NotAllowed)?;
    let guardian: PersonId = body.guardian.parse().map_err(|_| Problem::Field("guardian"))?;
    let (reason, now) = (reason(&body.reason)?, app.clock.now());
    match app.store.write(move |db| guardians::begin(db, &grant, guardian, &reason, now)).await? {
        Begun::Runs => Ok(StatusCode::NO_CONTENT.into_response()),
        Begun::OfAge => Err(Problem::OfAge),
        Begun::NoGuardian => Err(Problem::Field("guardian")),
    }
}

/// Body of `POST /v1/people/{id}/guardians/{guardian}/end`.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct EndBody {
    /// Why it ends.
    reason: String,
}

/// Ends a guardianship
#[utoipa::path(
    post, path = "/v1/people/{id}/guardians/{guardian}/end", tag = "people", operation_id = "end_guardianship",
    params(("id" = String, Path, description = "identity of the athlete"),
           ("guardian" = String, Path, description = "identity of the guardian")),
    request_body = EndBody,
    responses(
        (status = 204, description = "it has ended, at once"),
        (status = "default", description = "why not", body = ProblemBody,
         content_type = "application/problem+json"),
    ),
    security(("access_token" = [])),
)]
pub(super) async fn end(
    State(app): State<Shared>,
    caller: Caller,
    Path((id, guardian)): Path<(String, String)>,
    Json(body): Json<EndBody>,
) -> Result<Response, Problem> {
    let (member, watched) = athlete(&app, &caller, &id).await?;
    let guardian: PersonId = guardian.parse().map_err(|_| Problem::NotFound)?;
    let grant = grant::to_end_guard(&caller, &member.asker, guardian, watched).ok_or(Problem::NotAllowed)?;
    let (reason, now) = (reason(&body.reason)?, app.clock.now());
    let ended = app.store.write(move |db| guardians::end(db, &grant, guardian, &reason, now)).await?;
    if ended { Ok(StatusCode::NO_CONTENT.into_response()) } else { Err(Problem::NotFound) }
}

/// What holds for one use of an athlete's data.
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct UseReport {
    /// To what: `care reports to coaches` or `name to others`.
    what: &'static str,
    /// Whether it is agreed to now.
    agreed: bool,
    /// Why, in words.
    because: &'static str,
}

/// A word that somebody signed and did not replace.
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct WordReport {
    /// To what.
    what: &'static str,
    /// Yes or no.
    agrees: bool,
    /// Who signed.
    signed_by: String,
    /// The signer's name.
    name: String,
    /// When, ms since 1970 UTC.
    at: i64,
    /// The last day on which it counts; missing for no end.
    #[serde(skip_serializing_if = "Option::is_none")]
    until: Option<String>,
    /// Whether it counts today: the athlete's own no always, the athlete's yes once of age, a guardian's
    /// word while the guardianship runs.
    counts: bool,
}

/// An athlete's consents.
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct ConsentList {
    /// Who has to sign, in words.
    signs: &'static str,
    /// What holds for each use.
    uses: Vec<UseReport>,
    /// Every word that stands.
    words: Vec<WordReport>,
}

/// What was agreed to for an athlete, by whom, until when
#[utoipa::path(
    get, path = "/v1/people/{id}/consents", tag = "people", operation_id = "get_consents",
    params(("id" = String, Path, description = "identity of the athlete")),
    responses(
        (status = 200, description = "it", body = ConsentList),
        (status = "default", description = "why not", body = ProblemBody,
         content_type = "application/problem+json"),
    ),
    security(("access_token" = [])),
)]
pub(super) async fn consents(
    State(app): State<Shared>,
    caller: Caller,
    Path(id): Path<String>,
) -> Result<Response, Problem> {
    let (_, grant) = known(&app, &caller, &id).await?;
    let today = day(None, "today", &app)?;
    let all = app.store.read(move |db| consents::of_athlete(db, &grant, today)).await?;
    let uses = all.standing.iter().map(|s| {
        let (agreed, because) = match (s.said, s.to, all.of_age) {
            (Some(true), _, _) => (true, "everybody entitled who has spoken agrees"),
            (Some(false), _, _) => (false, "somebody entitled says no"),
            (None, Use::NameToOthers, true) => (true, "of age and has not said no"),
            (None, _, _) => (false, "nobody entitled has said yes"),
        };
        UseReport { what: s.to.words(), agreed, because }
    });
    let words = all.words.iter().map(|w| WordReport {
        what: w.to.words(),
        agrees: w.agrees,
        signed_by: w.signed_by.to_string(),
        name: w.signer.clone(),
        at: w.at.0,
        until: w.until.map(|d| d.to_string()),
        counts: w.counts,
    });
    let signs = match (all.of_age, all.born_known) {
        (true, _) => "the athlete, who is of age",
        (false, true) => "a guardian; the athlete's own no always counts",
        (false, false) => {
            "a guardian, because no date of birth is entered and the athlete is taken for a minor; \
             the athlete's own no always counts"
        }
    };
    Ok(no_store(&ConsentList { signs, uses: uses.collect(), words: words.collect() }))
}

/// Body of `POST /v1/people/{id}/consents`.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct SignBody {
    /// To what: `care reports to coaches` or `name to others`.
    what: String,
    /// Yes, or no; a no withdraws an earlier yes.
    agrees: bool,
    /// The last day on which a yes counts.
    #[serde(default)]
    until: Option<String>,
}

/// Signs or withdraws a consent
///
/// A minor's own yes is refused with `guardian-needed`: it would count for nothing.
#[utoipa::path(
    post, path = "/v1/people/{id}/consents", tag = "people", operation_id = "sign_consent",
    params(("id" = String, Path, description = "identity of the athlete")), request_body = SignBody,
    responses(
        (status = 204, description = "it is stored"),
        (status = "default", description = "why not", body = ProblemBody,
         content_type = "application/problem+json"),
    ),
    security(("access_token" = [])),
)]
pub(super) async fn sign(
    State(app): State<Shared>,
    caller: Caller,
    Path(id): Path<String>,
    Json(body): Json<SignBody>,
) -> Result<Response, Problem> {
    let to = Use::of(&body.what).ok_or(Problem::Field("what"))?;
    let until: Option<Day> =
        body.until.as_deref().map(|d| d.parse().map_err(|_| Problem::Field("until"))).transpose()?;
    let today = day(None, "today", &app)?;
    if until.is_some_and(|last| last < today || !body.agrees) {
        return Err(Problem::Field("until"));
    }
    put(&app, &caller, &id, (to, body.agrees, until)).await
}

async fn put(
    app: &Shared,
    caller: &Caller,
    id: &str,
    (to, agrees, until): (Use, bool, Option<Day>),
) -> Result<Response, Problem> {
    let (member, watched) = athlete(app, caller, id).await?;
    let grant = grant::to_sign(caller, &member.asker, watched).ok_or(Problem::NotAllowed)?;
    let own = caller.asker.person == member.asker.person;
    let (now, today, club) = (app.clock.now(), day(None, "today", app)?, member.asker.club);
    let stored = app
        .store
        .write(move |db| {
            let majority = crate::store::members::club(db, club)?.map_or(u16::MAX, |c| c.majority);
            let adult = backstraight_core::view::records::of_age(member.born, today, majority);
            if own && agrees && !adult {
                return Ok(false);
            }
            consents::sign(db, &grant, to, agrees, until, now).map(|()| true)
        })
        .await?;
    if stored { Ok(StatusCode::NO_CONTENT.into_response()) } else { Err(Problem::GuardianNeeded) }
}

/// Body of `POST /v1/consent`.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct ConsentBody {
    /// Whether coaches may read the care document.
    care_open_to_coaches: bool,
}

/// Opens or closes the own care document to the coaches
#[utoipa::path(
    post, path = "/v1/consent", tag = "people", operation_id = "set_consent", request_body = ConsentBody,
    responses(
        (status = 204, description = "it is stored"),
        (status = "default", description = "why not", body = ProblemBody,
         content_type = "application/problem+json"),
    ),
    security(("access_token" = [])),
)]
pub(super) async fn consent(
    State(app): State<Shared>,
    caller: Caller,
    Json(body): Json<ConsentBody>,
) -> Result<Response, Problem> {
    let own = caller.asker.person.to_string();
    put(&app, &caller, &own, (Use::CareToCoaches, body.care_open_to_coaches, None)).await
}
