//! Who needs a look and why: attention, proposals, best marks, load and forecast.
#![expect(unused_qualifications, reason = "the macro that makes the document names parameters in full")]

use axum::extract::rejection::QueryRejection;
use axum::extract::{Path, Query, State};
use axum::http::HeaderMap;
use axum::response::Response;
use backstraight_core::base::day::Day;
use serde::Deserialize;
use utoipa::IntoParams;

use super::ask::{Days, Page, club, conditional, day, of_page, one, page, query, settled, span};
use crate::app::{App, Shared};
use crate::grant::{self, Caller};
use crate::problem::{Problem, ProblemBody};
use crate::report;
use crate::report::attention::{AttentionList, ProposalList, RecordList};
use crate::report::loads::{ForecastReport, Loads};
use crate::review::Review;

/// Athletes of a page when nothing is said, and most: each is read from documents.
const PAGE: (u32, u32) = (25, 100);
/// Weeks of a forecast when nothing is said, and most.
const WEEKS: (u32, u32) = (8, 53);
/// Days before the first one whose logs a load needs.
const BEFORE: i32 = 28;

/// A page of athletes.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
pub(super) struct PageQuery {
    /// The reader's local day; the server's day in UTC when missing.
    #[param(format = Date)]
    today: Option<String>,
    /// Most athletes of a page, 1 to 100; 25 when missing.
    #[param(minimum = 1, maximum = 100)]
    limit: Option<u32>,
    /// The `next` of the page before.
    after: Option<String>,
}

impl PageQuery {
    fn read(self, app: &App) -> Result<(Page, Day), Problem> {
        let today = day(self.today.as_deref(), "today", app)?;
        Ok((page(self.after.as_deref(), self.limit, PAGE)?, today))
    }
}

/// Up to which day, and whose.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
pub(super) struct UntilQuery {
    /// `club` gives an athlete the club's list too, in which others are named only where they may be.
    of: Option<String>,
    /// The last day that counts; the server's day in UTC when missing.
    #[param(format = Date)]
    until: Option<String>,
}

/// How far ahead.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
pub(super) struct AheadQuery {
    /// The reader's local day; the server's day in UTC when missing.
    #[param(format = Date)]
    today: Option<String>,
    /// Weeks from this one on, 1 to 53; 8 when missing.
    #[param(minimum = 1, maximum = 53)]
    weeks: Option<u32>,
}

/// Who needs a look now, and why
///
/// For a page of athletes the reasons to look at them, in a fixed order of topics, each with its numbers.
/// Reports of pain and illness are looked at only where the athlete opened them to the reader.
#[utoipa::path(
    get, path = "/v1/attention", tag = "review", operation_id = "get_attention",
    params(PageQuery),
    responses(
        (status = 200, description = "it", body = AttentionList,
         headers(("ETag" = String, description = "send it as If-None-Match the next time"))),
        (status = 304, description = "nothing has changed since that ETag"),
        (status = "default", description = "why not", body = ProblemBody,
         content_type = "application/problem+json"),
    ),
    security(("access_token" = [])),
)]
pub(super) async fn attention(
    State(app): State<Shared>,
    caller: Caller,
    headers: HeaderMap,
    asked: Result<Query<PageQuery>, QueryRejection>,
) -> Result<Response, Problem> {
    let grant = club(&caller)?;
    let (page, today) = query(asked)?.read(&app)?;
    settled(&app, grant).await?;
    // What is open to the reader depends on the role and on the person.
    let what = format!("attention {page:?} {today} {:?}", caller.asker);
    conditional(&app, &headers, grant, what, move |db| {
        report::attention::attention(db, &grant, Some(&caller.asker), page, today)
    })
    .await
    .map_err(of_page)
}

/// What the rules of the plans propose
///
/// Open proposals of a page of athletes, each with its numbers, and the rules that propose nothing. A
/// coach decides on each in the plan; nothing changes by itself.
#[utoipa::path(
    get, path = "/v1/proposals", tag = "review", operation_id = "get_proposals",
    params(PageQuery),
    responses(
        (status = 200, description = "it", body = ProposalList,
         headers(("ETag" = String, description = "send it as If-None-Match the next time"))),
        (status = 304, description = "nothing has changed since that ETag"),
        (status = "default", description = "why not", body = ProblemBody,
         content_type = "application/problem+json"),
    ),
    security(("access_token" = [])),
)]
pub(super) async fn proposals(
    State(app): State<Shared>,
    caller: Caller,
    headers: HeaderMap,
    asked: Result<Query<PageQuery>, QueryRejection>,
) -> Result<Response, Problem> {
    let grant = club(&caller)?;
    let (page, today) = query(asked)?.read(&app)?;
    conditional(&app, &headers, grant, format!("proposals {page:?} {today}"), move |db| {
        report::attention::proposals(db, &grant, page, today)
    })
    .await
    .map_err(of_page)
}

/// The best marks
///
/// By test, class of competition, age group and season, and over all seasons. Coaches see the club's,
/// athletes their own, or the club's with `of=club`: no minor is named in it without a guardian's consent,
/// nobody against their own no.
#[utoipa::path(
    get, path = "/v1/records", tag = "review", operation_id = "get_records",
    params(UntilQuery),
    responses(
        (status = 200, description = "it", body = RecordList,
         headers(("ETag" = String, description = "send it as If-None-Match the next time"))),
        (status = 304, description = "nothing has changed since that ETag"),
        (status = "default", description = "why not", body = ProblemBody,
         content_type = "application/problem+json"),
    ),
    security(("access_token" = [])),
)]
pub(super) async fn records(
    State(app): State<Shared>,
    caller: Caller,
    headers: HeaderMap,
    asked: Result<Query<UntilQuery>, QueryRejection>,
) -> Result<Response, Problem> {
    let grant = club(&caller)?;
    let asked = query(asked)?;
    let until = day(asked.until.as_deref(), "until", &app)?;
    match asked.of.as_deref() {
        None => {}
        Some("club") => {
            let marks = grant::to_read_marks(&caller).ok_or(Problem::NotAllowed)?;
            let today = day(None, "today", &app)?;
            settled(&app, marks.of_club()).await?;
            let what = format!("club records {until} {:?}", caller.asker);
            return conditional(&app, &headers, marks.of_club(), what, move |db| {
                report::attention::club_records(db, &marks, until, today).map(Some)
            })
            .await;
        }
        Some(_) => return Err(Problem::Field("of")),
    }
    settled(&app, grant).await?;
    conditional(&app, &headers, grant, format!("records {until}"), move |db| {
        report::attention::records(db, &grant, until).map(Some)
    })
    .await
}

/// An athlete's load by week
///
/// Every week that the days touch: effort times minutes, its spread and fading averages, kilograms,
/// contacts and metres, each with what it rests on or why there is none.
#[utoipa::path(
    get, path = "/v1/athletes/{id}/loads", tag = "review", operation_id = "get_athlete_loads",
    params(("id" = String, Path, description = "identity of the athlete"), Days),
    responses(
        (status = 200, description = "it", body = Loads,
         headers(("ETag" = String, description = "send it as If-None-Match the next time"))),
        (status = 304, description = "nothing has changed since that ETag"),
        (status = "default", description = "why not", body = ProblemBody,
         content_type = "application/problem+json"),
    ),
    security(("access_token" = [])),
)]
pub(super) async fn loads(
    State(app): State<Shared>,
    caller: Caller,
    headers: HeaderMap,
    Path(id): Path<String>,
    days: Result<Query<Days>, QueryRejection>,
) -> Result<Response, Problem> {
    let grant = one(&app, &caller, &id).await?;
    let days = span(days, &app)?;
    conditional(&app, &headers, grant, format!("loads {days:?}"), move |db| {
        // Rows of the days themselves, logs of the weeks before them.
        let gathered = Review::gather(db, &grant, days.0.plus(-BEFORE), days.1, days.2)?;
        Ok(report::loads::of(&gathered, days))
    })
    .await
}

/// The plan ahead, beside what was done
///
/// The load of the plan as it is written from this week on, beside the last four weeks; what stands in it
/// about a taper or a return, in words.
#[utoipa::path(
    get, path = "/v1/athletes/{id}/forecast", tag = "review", operation_id = "get_athlete_forecast",
    params(("id" = String, Path, description = "identity of the athlete"), AheadQuery),
    responses(
        (status = 200, description = "it", body = ForecastReport,
         headers(("ETag" = String, description = "send it as If-None-Match the next time"))),
        (status = 304, description = "nothing has changed since that ETag"),
        (status = "default", description = "why not", body = ProblemBody,
         content_type = "application/problem+json"),
    ),
    security(("access_token" = [])),
)]
pub(super) async fn forecast(
    State(app): State<Shared>,
    caller: Caller,
    headers: HeaderMap,
    Path(id): Path<String>,
    asked: Result<Query<AheadQuery>, QueryRejection>,
) -> Result<Response, Problem> {
    let grant = one(&app, &caller, &id).await?;
    let q = query(asked)?;
    let today = day(q.today.as_deref(), "today", &app)?;
    let weeks = q.weeks.unwrap_or(WEEKS.0);
    if !(1..=WEEKS.1).contains(&weeks) {
        return Err(Problem::Field("weeks"));
    }
    let weeks = usize::try_from(weeks).map_err(|_| Problem::Field("weeks"))?;
    conditional(&app, &headers, grant, format!("forecast {weeks} {today}"), move |db| {
        let gathered = Review::gather(db, &grant, today.plus(-2 * BEFORE), today, today)?;
        Ok(report::loads::forecast(&gathered, today, weeks))
    })
    .await
}
