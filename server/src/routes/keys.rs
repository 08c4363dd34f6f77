//! The public keys with which access tokens are signed (RFC 7517, RFC 8037).

use axum::extract::State;
use axum::http::header;
use axum::response::{IntoResponse, Response};
use serde::Serialize;
use utoipa::ToSchema;

use crate::app::Shared;
use crate::problem::Problem;

/// A set of keys.
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct KeySet {
    /// The one that signs first, then those whose tokens are still good.
    keys: Vec<KeyReport>,
}

/// A public key.
#[derive(Debug, Serialize, ToSchema)]
struct KeyReport {
    /// `OKP`.
    kty: &'static str,
    /// `Ed25519`.
    crv: &'static str,
    /// The key, base64url.
    x: String,
    /// Its name in the header of tokens.
    kid: String,
    /// `EdDSA`.
    alg: &'static str,
    /// `sig`.
    r#use: &'static str,
}

/// The public keys of access tokens
#[utoipa::path(
    get, path = "/.well-known/jwks.json", tag = "server", operation_id = "get_keys",
    responses((status = 200, description = "they", body = KeySet,
         content_type = "application/jwk-set+json")),
)]
pub(super) async fn keys(State(app): State<Shared>) -> Response {
    let keys = app.tokens.public_keys(app.clock.now());
    let keys = keys
        .into_iter()
        .map(|(kid, key)| KeyReport {
            kty: "OKP",
            crv: "Ed25519",
            x: data_encoding::BASE64URL_NOPAD.encode(&key),
            kid,
            alg: "EdDSA",
            r#use: "sig",
        })
        .collect();
    match serde_json::to_vec(&KeySet { keys }) {
        Ok(json) => {
            let headers =
                [(header::CONTENT_TYPE, "application/jwk-set+json"), (header::CACHE_CONTROL, "max-age=60")];
            (headers, json).into_response()
        }
        Err(_) => Problem::Internal.into_response(),
    }
}
