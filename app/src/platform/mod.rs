//! The browser behind the page: storage, network, clock, tabs. Everything that is the browser's own
//! stands here and nowhere else; knows nothing of training.

pub mod clock;
pub mod database;
pub mod files;
pub mod focus;
pub mod net;
pub mod tabs;
pub mod wake;

use wasm_bindgen::JsValue;

/// What a value of the browser says, for an error.
pub(crate) fn words(value: &JsValue) -> String {
    let text = |key: &str| js_sys::Reflect::get(value, &JsValue::from_str(key)).ok()?.as_string();
    match (text("name"), text("message")) {
        (Some(name), Some(message)) if message.is_empty() => name,
        (Some(name), Some(message)) => format!("{name}: {message}"),
        _ => value.as_string().unwrap_or_else(|| format!("{value:?}")),
    }
}
