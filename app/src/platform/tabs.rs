//! One tab writes. The first that opens holds a lock of the browser for as long as it is there; another
//! one may take it over, and the first then stops writing. Where a browser has no locks, there is one tab
//! at a time by habit only, and merging keeps both tabs' changes.

use js_sys::{Function, Object, Promise, Reflect};
use wasm_bindgen::closure::Closure;
use wasm_bindgen::{JsCast as _, JsValue};
use wasm_bindgen_futures::JsFuture;

const LOCK: &str = "backstraight-writer";

/// Whether this tab has the lock now. `take_over` takes it from the tab that has it; `lost` is called
/// when another tab takes it from this one.
pub async fn hold(take_over: bool, lost: impl FnOnce() + 'static) -> bool {
    let Some(manager) = manager() else { return true };
    let Ok(request) = Reflect::get(&manager, &"request".into()).and_then(|f| f.dyn_into::<Function>()) else {
        return true;
    };
    let options = Object::new();
    let how = if take_over { "steal" } else { "ifAvailable" };
    let _ = Reflect::set(&options, &how.into(), &JsValue::TRUE);
    let mut held = None;
    let got = Promise::new(&mut |resolve, _| {
        // The lock is held until the promise of this call is settled: never, while the page lives.
        let granted = Closure::once_into_js(move |lock: JsValue| -> JsValue {
            let has = !lock.is_null();
            let _ = resolve.call1(&JsValue::NULL, &JsValue::from_bool(has));
            if has { Promise::new(&mut |_, _| {}).into() } else { JsValue::UNDEFINED }
        });
        held = request.call3(&manager, &LOCK.into(), &options, &granted).ok();
    });
    let Some(held) = held.and_then(|p| p.dyn_into::<Promise>().ok()) else { return true };
    let got = JsFuture::from(got).await.ok().and_then(|v| v.as_bool()).unwrap_or(false);
    if got {
        wasm_bindgen_futures::spawn_local(async move {
            // It ends only when another tab takes the lock.
            let _ = JsFuture::from(held).await;
            lost();
        });
    }
    got
}

fn manager() -> Option<JsValue> {
    let navigator = JsValue::from(web_sys::window()?.navigator());
    let manager = Reflect::get(&navigator, &"locks".into()).ok()?;
    (!manager.is_undefined()).then_some(manager)
}
