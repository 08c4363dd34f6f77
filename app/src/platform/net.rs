//! One request to the server and its answer. Never asks the browser whether it is online: it tries, with
//! a time after which it stops waiting. Knows no route.

use js_sys::Uint8Array;
use wasm_bindgen::{JsCast as _, JsValue};
use wasm_bindgen_futures::JsFuture;
use web_sys::{AbortSignal, Headers, Request, RequestInit, Response};

use super::words;
use crate::error::AppError;

/// How long an answer may take.
const PATIENCE_MS: u32 = 30_000;

/// What to send.
#[derive(Debug, Default)]
pub struct Ask<'a> {
    /// `GET`, `POST`, …
    pub method: &'a str,
    /// Path and query on this server.
    pub path: &'a str,
    /// The access token, when the route wants one.
    pub access: Option<&'a str>,
    /// Type and bytes of the body.
    pub body: Option<(&'a str, &'a [u8])>,
    /// Whether the body is packed with gzip.
    pub packed: bool,
}

/// What came back.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Answer {
    /// The status.
    pub status: u16,
    /// The body, unpacked.
    pub body: Vec<u8>,
}

impl Answer {
    /// The body of a success.
    ///
    /// # Errors
    /// The server's reason when it is none.
    pub fn good(self) -> Result<Vec<u8>, AppError> {
        if (200..300).contains(&self.status) {
            Ok(self.body)
        } else {
            Err(AppError::of_answer(self.status, &self.body))
        }
    }
}

/// Sends it and waits for the answer.
///
/// # Errors
/// [`AppError::Offline`] when nothing came back.
pub async fn send(ask: &Ask<'_>) -> Result<Answer, AppError> {
    let lost = |e: JsValue| AppError::Offline(words(&e));
    let headers = Headers::new().map_err(lost)?;
    if let Some(access) = ask.access {
        headers.set("authorization", &format!("Bearer {access}")).map_err(lost)?;
    }
    let init = RequestInit::new();
    init.set_method(ask.method);
    init.set_signal(Some(&AbortSignal::timeout_with_u32(PATIENCE_MS)));
    if let Some((kind, bytes)) = ask.body {
        headers.set("content-type", kind).map_err(lost)?;
        if ask.packed {
            headers.set("content-encoding", "gzip").map_err(lost)?;
        }
        init.set_body(&Uint8Array::from(bytes));
    }
    init.set_headers(&headers);
    let request = Request::new_with_str_and_init(ask.path, &init).map_err(lost)?;
    let window = web_sys::window().ok_or_else(|| AppError::Offline("no window".to_owned()))?;
    let answer = JsFuture::from(window.fetch_with_request(&request)).await.map_err(lost)?;
    let answer: Response = answer.dyn_into().map_err(lost)?;
    let body = JsFuture::from(answer.array_buffer().map_err(lost)?).await.map_err(lost)?;
    Ok(Answer { status: answer.status(), body: Uint8Array::new(&body).to_vec() })
}
