//! Keeps the screen on while a timer runs, and shakes the phone at its end, where the browser can. It lets go when
//! the page is hidden, so whoever draws the timer asks again when it is shown.

use js_sys::{Function, Reflect};
use wasm_bindgen::{JsCast as _, JsValue};
use wasm_bindgen_futures::JsFuture;

/// A screen that stays on until this is let go.
#[derive(Debug)]
pub struct Awake(JsValue);

/// Asks for it; none where the browser cannot or does not want to.
pub async fn keep_on() -> Option<Awake> {
    let navigator = JsValue::from(web_sys::window()?.navigator());
    let lock = Reflect::get(&navigator, &"wakeLock".into()).ok().filter(|l| !l.is_undefined())?;
    let request: Function = Reflect::get(&lock, &"request".into()).ok()?.dyn_into().ok()?;
    let promise: js_sys::Promise = request.call1(&lock, &"screen".into()).ok()?.dyn_into().ok()?;
    JsFuture::from(promise).await.ok().map(Awake)
}

/// Shakes the phone, twice and shortly.
pub fn shake() {
    let Some(navigator) = web_sys::window().map(|w| JsValue::from(w.navigator())) else { return };
    let call = Reflect::get(&navigator, &"vibrate".into()).and_then(|f| f.dyn_into::<Function>());
    if let Ok(call) = call {
        let pattern: js_sys::Array = [200, 120, 200].into_iter().map(JsValue::from).collect();
        // Refused before somebody has touched the page; then the screen alone tells.
        let _ = call.call1(&navigator, &pattern);
    }
}

impl Drop for Awake {
    fn drop(&mut self) {
        let release = Reflect::get(&self.0, &"release".into()).and_then(|f| f.dyn_into::<Function>());
        if let Ok(release) = release {
            let _ = release.call0(&self.0);
        }
    }
}
