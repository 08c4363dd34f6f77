//! All routes, readable from top to bottom. Each is documented where it is handled; the document that
//! is served comes from the same list.

mod account;
mod ask;
mod calendar;
mod club;
mod exchange;
mod guardian;
mod health;
mod install;
mod invite;
mod keeping;
mod keys;
mod leave;
mod look;
mod nudge;
mod people;
mod review;
mod setup;
mod sign_in;
mod squad;

use std::sync::OnceLock;

use axum::Router;
use axum::http::header;
use axum::middleware;
use axum::response::{IntoResponse, Response};
use axum::routing::get;
use utoipa::openapi::OpenApi as Document;
use utoipa::openapi::security::{HttpAuthScheme, HttpBuilder, SecurityScheme};
use utoipa::{Modify, OpenApi};
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

use crate::app::Shared;
use crate::extract;
use crate::headers;
use crate::leftover;
use crate::load;
use crate::page;
use crate::problem::{self, Problem};
use crate::telemetry;

/// What the document says beside its routes.
#[derive(Debug, OpenApi)]
#[openapi(
    info(
        title = "Backstraight",
        description = "Plans and logs of a club, kept and merged. Days are local days as `2026-11-25`; \
                       identities and keys are opaque. What is not a success is a problem document \
                       (RFC 9457) with a stable `code`. The exchange is described in docs/exchange.md."
    ),
    modifiers(&Bearer),
    tags(
        (name = "review", description = "what was asked and what was done"),
        (name = "people", description = "people of a club, guardians, consents, squads, the audit list"),
        (name = "account", description = "installs, sessions, sign-in"),
        (name = "exchange", description = "documents up and down"),
        (name = "server", description = "the server itself"),
    )
)]
struct Api;

struct Bearer;

impl Modify for Bearer {
    fn modify(&self, document: &mut Document) {
        let scheme = HttpBuilder::new()
            .scheme(HttpAuthScheme::Bearer)
            .bearer_format("JWT")
            .description(Some("the access token of an install, good for fifteen minutes"))
            .build();
        let components = document.components.get_or_insert_default();
        components.add_security_scheme("access_token", SecurityScheme::Http(scheme));
    }
}

fn list() -> OpenApiRouter<Shared> {
    OpenApiRouter::with_openapi(Api::openapi())
        .routes(routes!(health::health))
        .routes(routes!(health::ready))
        .routes(routes!(document_json))
        .routes(routes!(exchange::exchange))
        .routes(routes!(nudge::nudge))
        .routes(routes!(account::enrol))
        .routes(routes!(account::token))
        .routes(routes!(guardian::consent))
        .routes(routes!(invite::invite))
        .routes(routes!(keeping::export))
        .routes(routes!(keeping::going))
        .routes(routes!(keeping::erase))
        .routes(routes!(review::board))
        .routes(routes!(review::athlete))
        .routes(routes!(review::session))
        .routes(routes!(review::weeks))
        .routes(routes!(review::tests))
        .routes(routes!(look::loads))
        .routes(routes!(look::forecast))
        .routes(routes!(look::attention))
        .routes(routes!(look::proposals))
        .routes(routes!(look::records))
        .routes(routes!(keys::keys))
        .routes(routes!(setup::set_up))
        .routes(routes!(sign_in::challenge))
        .routes(routes!(sign_in::sign_in))
        .routes(routes!(sign_in::password))
        .routes(routes!(sign_in::passkeys))
        .routes(routes!(sign_in::passkey_challenge))
        .routes(routes!(sign_in::add_passkey))
        .routes(routes!(sign_in::remove_passkey))
        .routes(routes!(people::me))
        .routes(routes!(people::list))
        .routes(routes!(people::add))
        .routes(routes!(people::one))
        .routes(routes!(people::change))
        .routes(routes!(people::withdraw))
        .routes(routes!(people::restore))
        .routes(routes!(leave::leave))
        .routes(routes!(people::reset_sign_in))
        .routes(routes!(guardian::list))
        .routes(routes!(guardian::begin))
        .routes(routes!(guardian::end))
        .routes(routes!(guardian::consents))
        .routes(routes!(guardian::sign))
        .routes(routes!(install::list))
        .routes(routes!(install::withdraw))
        .routes(routes!(club::club))
        .routes(routes!(club::change_club))
        .routes(routes!(club::squads))
        .routes(routes!(club::add_squad))
        .routes(routes!(club::rename_squad))
        .routes(routes!(squad::move_to))
        .routes(routes!(club::audit_list))
        .routes(routes!(calendar::of_person))
        .routes(routes!(calendar::of_squad))
        .routes(routes!(calendar::list))
        .routes(routes!(calendar::remove))
        .routes(routes!(calendar::read))
}

/// The router of a server.
pub fn router(app: Shared) -> Router {
    let (mut router, _) = list().split_for_parts();
    // Files for browsers, under the names of this build: of no use to programs, and so not in the document.
    for path in app.page.paths() {
        router = router.route(path, get(page::answer));
    }
    router
        .fallback(async || Problem::NotFound)
        .method_not_allowed_fallback(async || Problem::Method)
        .layer(middleware::from_fn(problem::of_others))
        .layer(middleware::from_fn(extract::one_host))
        .layer(middleware::from_fn_with_state(app.clone(), load::by_address))
        .layer(middleware::from_fn_with_state(app.clone(), telemetry::each))
        .layer(middleware::from_fn_with_state(app.clone(), leftover::read))
        .layer(middleware::from_fn_with_state(app.clone(), headers::add))
        .with_state(app)
}

/// The OpenAPI document of exactly these routes.
#[must_use]
pub fn document() -> Document {
    list().split_for_parts().1
}

/// This document
///
/// OpenAPI 3.1, made from the code that serves the routes.
#[utoipa::path(
    get, path = "/v1/openapi.json", tag = "server", operation_id = "get_document",
    responses((status = 200, description = "the document", body = Object)),
)]
async fn document_json() -> Response {
    static TEXT: OnceLock<Option<String>> = OnceLock::new();
    match TEXT.get_or_init(|| document().to_json().ok()) {
        Some(text) => ([(header::CONTENT_TYPE, "application/json")], text.as_str()).into_response(),
        None => Problem::Internal.into_response(),
    }
}
