//! What a person sets for this browser alone: the unit in which loads are read, sounds and shaking at the end of
//! a rest. Kept by the browser, never sent.

use leptos::prelude::*;

use crate::kit::number::MassesSetting;
use crate::parse::Masses;

const MASSES: &str = "masses";
const SIGNAL: &str = "rest-signal";

/// Whether the end of a rest shakes the phone.
#[derive(Debug, Clone, Copy)]
pub struct RestSignal(pub RwSignal<bool>);

fn stored(key: &str) -> Option<String> {
    window().local_storage().ok().flatten()?.get_item(key).ok().flatten()
}

fn store(key: &str, value: &str) {
    // A browser that keeps no settings keeps the usual ones.
    if let Ok(Some(storage)) = window().local_storage() {
        let _ = storage.set_item(key, value);
    }
}

/// Gives the settings to all screens, and keeps what is changed.
pub fn provide() {
    let pounds = stored(MASSES).is_some_and(|v| v == "lb");
    let masses = RwSignal::new(if pounds { Masses::Pounds } else { Masses::Kilograms });
    let signal = RwSignal::new(stored(SIGNAL).is_none_or(|v| v == "on"));
    Effect::new(move |_| store(MASSES, if masses.get() == Masses::Pounds { "lb" } else { "kg" }));
    Effect::new(move |_| store(SIGNAL, if signal.get() { "on" } else { "off" }));
    provide_context(MassesSetting(masses));
    provide_context(RestSignal(signal));
}
