//! What the server does not have yet, and every way to get it there: trying now, or a carry file that somebody
//! takes along. Says what the browser promises about its storage.

use backstraight_core::device::aside::{Kept, Stuck};
use backstraight_core::model::name::DocName;
use leptos::prelude::*;
use leptos::task::spawn_local;

use crate::common::storage::StorageState;
use crate::hub::{Line, use_hub};
use crate::kit::{Button, EmptyState, ErrorBox, Kind, Toaster, Trouble};
use crate::platform::clock::zone_minutes;
use crate::platform::files;
use crate::saved::Saved;
use crate::screens::head;
use crate::words::{say, say_n, say_with};

/// What a document is called on this screen.
#[must_use]
pub fn name(doc: &DocName) -> String {
    match doc {
        DocName::Log(_, month) => say_with("unsent.log", &[("month", &month.to_string())]),
        DocName::Notes(_, month) => say_with("unsent.notes", &[("month", &month.to_string())]),
        DocName::Care(_) => say("unsent.care").to_owned(),
        DocName::Plan(_, season) => say_with("unsent.plan", &[("season", &season.get().to_string())]),
        DocName::Library(_) => say("unsent.library").to_owned(),
        DocName::Squad(_) => say("unsent.squad").to_owned(),
        DocName::CareNotes(_) => say("unsent.care-notes").to_owned(),
        DocName::Availability(_) => say("unsent.availability").to_owned(),
    }
}

/// A moment as a local time of day.
fn time(at: backstraight_core::base::moment::Moment) -> String {
    let minutes = (at.0 / 60_000 + i64::from(zone_minutes())).rem_euclid(24 * 60);
    format!("{}:{:02}", minutes / 60, minutes % 60)
}

fn line_words(line: &Line) -> String {
    match line {
        Line::Untried => say("line.untried").to_owned(),
        Line::Busy => say("line.busy").to_owned(),
        Line::Heard(at) => say_with("line.heard", &[("time", &time(*at))]),
        Line::Silent(at, why) => say_with("line.silent", &[("time", &time(*at)), ("why", why)]),
        Line::SignedOut(why) => say_with("line.signed-out", &[("why", why)]),
        Line::Odd(why) => say_with("line.odd", &[("why", why)]),
    }
}

/// What waits.
#[component]
pub fn Unsent() -> impl IntoView {
    let hub = use_hub();
    let toaster = Toaster::here();
    head(say("way.unsent"), "");
    let list = move || {
        let rows = hub.read(|device| device.unsent().unwrap_or_default());
        if rows.is_empty() {
            return view! { <EmptyState title=say("unsent.none") text=say("unsent.none.text") /> }.into_any();
        }
        let rows = rows.into_iter().map(|(doc, n)| {
            let n = say_n("unsent.changes", u64::try_from(n).unwrap_or(u64::MAX), &[]);
            view! { <li>{name(&doc)}": "{n}</li> }
        });
        view! { <ul>{rows.collect_view()}</ul> }.into_any()
    };
    let refused = move || {
        let rows = hub.read(|device| device.stuck().unwrap_or_default());
        rows.into_iter().map(|stuck| view! { <Refused stuck=stuck /> }).collect_view()
    };
    let not_saved = move || match hub.saved.get() {
        Saved::Not { why, full } => {
            let todo = if full { say("unsent.full") } else { say("unsent.not-saved") };
            let again = Callback::new(move |()| {
                spawn_local(async move {
                    let _ = hub.save_again().await;
                });
            });
            let trouble = Trouble { what: why, todo: todo.to_owned() };
            view! { <ErrorBox trouble=trouble again=again /> }.into_any()
        }
        Saved::All | Saved::Saving => ().into_any(),
    };
    let carry = move || match hub.peek(|device| device.carry_out()) {
        Ok(Some(out)) => {
            let kept_back = !out.kept_back.is_empty();
            match files::save("backstraight-carry.bin", "application/octet-stream", &out.bytes) {
                Ok(()) if kept_back => toaster.say(say("unsent.carry.kept-back")),
                Ok(()) => toaster.say(say("unsent.carry.done")),
                Err(error) => toaster.say(error.to_string()),
            }
        }
        Ok(None) => toaster.say(say("unsent.none")),
        Err(error) => toaster.say(error.to_string()),
    };
    view! {
        <div class="stack">
        {not_saved}
        <p role="status">{move || line_words(&hub.line.get())}</p>
        {list}
        {refused}
        <div class="stack tight">
            <Button label=say("unsent.now").to_owned() kind=Kind::Main big=true full=true on_press=move || {
                spawn_local(hub.exchange());
            } />
            <Button label=say("unsent.carry").to_owned() full=true on_press=carry />
            <p class="soft">{say("unsent.carry.hint")}</p>
        </div>
        <h2>{say("unsent.storage")}</h2>
        <StorageState />
        </div>
    }
}

/// A refusal that stands, and the way past it: first a file to keep, then on without what was refused.
#[component]
fn Refused(stuck: Stuck) -> impl IntoView {
    let hub = use_hub();
    let toaster = Toaster::here();
    let kept = StoredValue::new(None::<Kept>);
    let has_file = RwSignal::new(false);
    let which = stuck.which;
    let keep = move || {
        let file = hub.peek(|device| device.keep_refused(which)).and_then(|file| {
            if let Some(file) = &file {
                let carry = file.is_carry_file();
                let name = if carry { "backstraight-refused.bin" } else { "backstraight-refused.document" };
                files::save(name, "application/octet-stream", &file.bytes)?;
            }
            Ok(file)
        });
        match file {
            Ok(file) => {
                has_file.set(file.is_some());
                kept.set_value(file);
            }
            Err(error) => toaster.say(error.to_string()),
        }
    };
    let go_on = move || {
        let Some(file) = kept.get_value() else { return };
        spawn_local(async move {
            match hub.set_aside(&file).await {
                Ok(true) => toaster.say(say("unsent.aside.done")),
                Ok(false) => {
                    let _ = has_file.try_set(false);
                    toaster.say(say("unsent.aside.again"));
                }
                Err(error) => toaster.say(error.to_string()),
            }
        });
    };
    let what = say_with("unsent.refused", &[("what", &name(&stuck.name)), ("why", &stuck.refusal.text)]);
    let trouble = Trouble { what, todo: say("unsent.refused.todo").to_owned() };
    let changes = say_n("unsent.aside.changes", u64::try_from(stuck.changes).unwrap_or(u64::MAX), &[]);
    view! {
        <div class="stack tight">
            <ErrorBox trouble=trouble />
            <p class="soft">{changes}</p>
            <Button label=say("unsent.aside.keep").to_owned() full=true on_press=keep />
            {move || has_file.get().then(|| view! {
                <Button label=say("unsent.aside.go-on").to_owned() kind=Kind::Grave full=true on_press=go_on />
            })}
        </div>
    }
}
