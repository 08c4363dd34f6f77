//! Files out of the page and into it, and what the browser promises about its storage.

use js_sys::{Array, Uint8Array};
use wasm_bindgen::{JsCast as _, JsValue};
use wasm_bindgen_futures::JsFuture;
use web_sys::{Blob, BlobPropertyBag, File, HtmlAnchorElement, Url};

use super::words;
use crate::error::AppError;

/// Hands a file to the person, as a download.
///
/// # Errors
/// When the browser refuses.
pub fn save(name: &str, kind: &str, bytes: &[u8]) -> Result<(), AppError> {
    let refused = |e: JsValue| AppError::Storage { why: words(&e), full: false };
    let parts = Array::of1(&Uint8Array::from(bytes));
    let bag = BlobPropertyBag::new();
    bag.set_type(kind);
    let blob = Blob::new_with_u8_array_sequence_and_options(&parts, &bag).map_err(refused)?;
    let url = Url::create_object_url_with_blob(&blob).map_err(refused)?;
    let document = web_sys::window().and_then(|w| w.document());
    let anchor = document.and_then(|d| d.create_element("a").ok());
    if let Some(anchor) = anchor.and_then(|a| a.dyn_into::<HtmlAnchorElement>().ok()) {
        anchor.set_href(&url);
        anchor.set_download(name);
        anchor.click();
    }
    Url::revoke_object_url(&url).map_err(refused)
}

/// The bytes of a file that the person chose.
///
/// # Errors
/// When it cannot be read.
pub async fn read(file: &File) -> Result<Vec<u8>, AppError> {
    let refused = |e: JsValue| AppError::Storage { why: words(&e), full: false };
    let buffer = JsFuture::from(file.array_buffer()).await.map_err(refused)?;
    Ok(Uint8Array::new(&buffer).to_vec())
}

/// Whether the browser promises not to throw the page's data away; none when it does not say.
pub async fn is_protected() -> Option<bool> {
    let storage = storage()?;
    JsFuture::from(storage.persisted().ok()?).await.ok()?.as_bool()
}

/// Asks for that promise; none when the browser does not know of it.
pub async fn protect() -> Option<bool> {
    let storage = storage()?;
    JsFuture::from(storage.persist().ok()?).await.ok()?.as_bool()
}

/// Bytes used and bytes that may be used, where the browser says.
pub async fn room() -> Option<(f64, f64)> {
    let estimate = JsFuture::from(storage()?.estimate().ok()?).await.ok()?;
    let number = |key: &str| js_sys::Reflect::get(&estimate, &key.into()).ok()?.as_f64();
    Some((number("usage")?, number("quota")?))
}

fn storage() -> Option<web_sys::StorageManager> {
    let navigator = web_sys::window()?.navigator();
    // Pages that came by an unencrypted way have none.
    let there = js_sys::Reflect::get(navigator.as_ref(), &"storage".into()).ok()?;
    there.dyn_into().ok()
}
