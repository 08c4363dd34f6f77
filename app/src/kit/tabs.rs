//! Tabs: parts of a screen of which one is shown.

use leptos::ev::KeyboardEvent;
use leptos::html;
use leptos::prelude::*;

use super::fresh_id;

/// Where a key leads from tab `i` of `n`.
#[must_use]
pub fn next(key: &str, i: usize, n: usize) -> Option<usize> {
    if n == 0 {
        return None;
    }
    match key {
        "ArrowRight" => Some((i + 1) % n),
        "ArrowLeft" => Some((i + n - 1) % n),
        "Home" => Some(0),
        "End" => Some(n - 1),
        _ => None,
    }
}

/// Tabs over a panel. The panel's content follows `value`.
#[component]
pub fn Tabs<T>(
    /// What the tabs part.
    #[prop(into)]
    label: String,
    /// The tabs.
    tabs: Vec<(T, String)>,
    /// Which is shown.
    value: RwSignal<T>,
    /// What the panel shows.
    children: Children,
) -> impl IntoView
where
    T: Clone + PartialEq + Send + Sync + 'static,
{
    let id = fresh_id("tabs");
    let panel = format!("{id}-panel");
    let n = tabs.len();
    let values: Vec<T> = tabs.iter().map(|(t, _)| t.clone()).collect();
    let nodes: Vec<NodeRef<html::Button>> = tabs.iter().map(|_| NodeRef::new()).collect();
    let shown = StoredValue::new(values);
    let position = move || shown.with_value(|all| all.iter().position(|t| value.with(|v| v == t)));
    let all_nodes = StoredValue::new(nodes.clone());
    let key = move |event: KeyboardEvent| {
        let Some(to) = position().and_then(|i| next(&event.key(), i, n)) else { return };
        event.prevent_default();
        if let Some(t) = shown.with_value(|all| all.get(to).cloned()) {
            value.set(t);
        }
        if let Some(node) = all_nodes.with_value(|all| all.get(to).copied()).and_then(|r| r.get_untracked()) {
            // Without a focus the tab is chosen all the same.
            let _ = node.focus();
        }
    };
    let buttons = tabs
        .into_iter()
        .zip(nodes)
        .enumerate()
        .map(|(i, ((this, text), node))| {
            let chosen = move || position() == Some(i);
            view! {
                <button
                    node_ref=node
                    type="button"
                    role="tab"
                    id=format!("{id}-{i}")
                    aria-controls=panel.clone()
                    aria-selected=move || if chosen() { "true" } else { "false" }
                    tabindex=move || if chosen() { "0" } else { "-1" }
                    on:click=move |_| value.set(this.clone())
                >
                    {text}
                </button>
            }
        })
        .collect_view();
    let labelled = {
        let id = id.clone();
        move || position().map(|i| format!("{id}-{i}"))
    };
    view! {
        <div>
            <div class="tabs" role="tablist" aria-label=label on:keydown=key>
                {buttons}
            </div>
            <div class="tab-panel" role="tabpanel" id=panel aria-labelledby=labelled>
                {children()}
            </div>
        </div>
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn arrows_go_round() {
        assert_eq!(next("ArrowRight", 2, 3), Some(0));
        assert_eq!(next("ArrowLeft", 0, 3), Some(2));
        assert_eq!((next("Home", 1, 3), next("End", 1, 3)), (Some(0), Some(2)));
        assert_eq!(next("Enter", 1, 3), None);
        assert_eq!(next("End", 0, 0), None);
    }
}
