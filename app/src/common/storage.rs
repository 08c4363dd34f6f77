//! What the browser says about its storage: whether it promised to keep what is saved, and how much room there is.

use leptos::prelude::*;
use leptos::task::spawn_local;

use crate::kit::Button;
use crate::platform::files;
use crate::words::{say, say_with};

/// Bytes in the unit in which people speak of them.
#[must_use]
pub fn megabytes(bytes: f64) -> String {
    format!("{:.1}", bytes.max(0.0) / 1_000_000.0)
}

/// The promise, asked for where it is missing, and the room in use.
#[component]
pub fn StorageState() -> impl IntoView {
    let protected = LocalResource::new(files::is_protected);
    let room = LocalResource::new(files::room);
    let refused = RwSignal::new(false);
    let promise = move || {
        protected.get().map(|answer| match answer {
            Some(true) => view! { <p>{say("unsent.protected")}</p> }.into_any(),
            Some(false) => {
                let ask = move || {
                    spawn_local(async move {
                        let given = files::protect().await == Some(true);
                        let _ = refused.try_set(!given);
                        protected.refetch();
                    });
                };
                view! {
                    <p>{say("unsent.unprotected")}</p>
                    <div role="status">
                        {move || refused.get().then(|| view! { <p>{say("unsent.protect.refused")}</p> })}
                    </div>
                    <Button label=say("unsent.protect").to_owned() on_press=ask />
                }
                .into_any()
            }
            None => view! { <p>{say("unsent.no-promise")}</p> }.into_any(),
        })
    };
    let used = move || {
        room.get().flatten().map(|(used, most)| {
            let values = [("used", megabytes(used)), ("most", megabytes(most))];
            let values = values.each_ref().map(|(name, value)| (*name, value.as_str()));
            view! { <p class="soft">{say_with("settings.room", &values)}</p> }
        })
    };
    view! { <div class="stack tight">{promise}{used}</div> }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn room_is_said_in_megabytes() {
        assert_eq!(megabytes(2_450_000.0), "2.5");
        assert_eq!(megabytes(-1.0), "0.0");
    }
}
