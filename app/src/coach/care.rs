//! Care staff: the athletes of the club, what each reported, what was seen and agreed, and what the athlete may train.
//! Coaches see only what is said about training. Works on documents, so also without a connection. No field asks for a
//! diagnosis.

use backstraight_core::base::day::Day;
use backstraight_core::base::id::PersonId;
use backstraight_core::doc::command::{Command, New};
use backstraight_core::doc::place::Place;
use backstraight_core::exchange::access::Role;
use backstraight_core::model::any::AnyRecord;
use backstraight_core::model::care::{Assessment, Availability};
use backstraight_core::model::log::Report;
use backstraight_core::model::name::DocName;
use backstraight_core::model::number::{Available, Note, Text};
use backstraight_core::science::Caution;
use backstraight_core::view::attention::reports;
use backstraight_core::view::availability::{Said, on, said};
use leptos::prelude::*;

use super::asked::clock_text;
use crate::deed::carry_out;
use crate::error::AppError;
use crate::hub::{Hub, use_hub};
use crate::kit::{Button, CautionBox, ChoiceRow, DateField, EmptyState, Kind, TextField, Toaster};
use crate::platform::clock::zone_minutes;
use crate::route::{Route, Section};
use crate::screens::{head, unreadable};
use crate::words::{say, say_with};

/// The athletes that this device knows, by name.
#[must_use]
pub fn athletes(hub: Hub) -> Vec<(PersonId, String)> {
    let known = hub.read(|device| device.people().unwrap_or_default());
    let mut all: Vec<(PersonId, String)> = known
        .into_iter()
        .filter(|k| k.role == Role::Athlete.word())
        .filter_map(|k| Some((PersonId(uuid::Uuid::from_slice(&k.person).ok()?), k.name)))
        .collect();
    all.sort_by(|a, b| (&a.1, a.0).cmp(&(&b.1, b.0)));
    all
}

/// What an athlete is called, where this device knows it.
#[must_use]
pub fn name_of(hub: Hub, athlete: PersonId) -> Option<String> {
    athletes(hub).into_iter().find(|(id, _)| *id == athlete).map(|(_, name)| name)
}

/// The list of athletes.
#[component]
pub fn Athletes() -> impl IntoView {
    let hub = use_hub();
    head(say("care.athletes"), say("care.athletes.under"));
    move || {
        let all = athletes(hub);
        if all.is_empty() {
            return view! { <EmptyState title=say("care.none") text=say("care.none.text") /> }.into_any();
        }
        let today = hub.today();
        let items = all
            .into_iter()
            .map(|(id, name)| {
                let now = today.and_then(|day| standing(hub, id, day));
                view! {
                    <li class="card">
                        <a class="name" href=Route::Athlete(id, Section::Availability).href()>{name}</a>
                        <p class="soft">{now}</p>
                    </li>
                }
            })
            .collect_view();
        view! { <ul class="board-list">{items}</ul> }.into_any()
    }
}

fn standing(hub: Hub, id: PersonId, day: Day) -> Option<String> {
    hub.read(|device| {
        let doc = device.document(DocName::Availability(id)).ok()?;
        let all = said(&doc.records::<Availability>("availability").entries);
        on(&all, day).map(Said::words)
    })
}

/// What is read of one athlete.
struct Seen {
    reports: Vec<(Report, Day)>,
    notes: Vec<Assessment>,
    said: Vec<Said>,
}

fn read(hub: Hub, id: PersonId, today: Day) -> Result<Seen, AppError> {
    hub.read(|device| {
        let mut found: Vec<(Report, Day)> = reports(device.document(DocName::Care(id))?)
            .into_iter()
            .map(|e| {
                let day = Day::of(e.record.at, zone_minutes()).unwrap_or(today);
                (e.record, day)
            })
            .collect();
        found.sort_by_key(|(r, _)| core::cmp::Reverse(r.at));
        let notes = device.document(DocName::CareNotes(id))?.records::<Assessment>("assessments");
        let mut notes: Vec<Assessment> = notes.live().map(|e| e.record.clone()).collect();
        notes.sort_by_key(|n| core::cmp::Reverse(n.at));
        let entries = device.document(DocName::Availability(id))?.records::<Availability>("availability");
        let mut all = said(&entries.entries);
        all.sort_by_key(|s| core::cmp::Reverse(s.at));
        Ok(Seen { reports: found, notes, said: all })
    })
}

/// One athlete, for care staff.
#[component]
pub fn Athlete(
    /// Who.
    id: PersonId,
) -> impl IntoView {
    let hub = use_hub();
    let Some(today) = hub.today() else {
        return view! { <EmptyState title=say("coach.clock") text=say("coach.clock.text") /> }.into_any();
    };
    let name = untrack(|| name_of(hub, id));
    head(name.unwrap_or_else(|| say("care.unknown").to_owned()), say("care.under"));
    let shown = move || match read(hub, id, today) {
        Ok(seen) => known(&seen, today).into_any(),
        Err(error) => unreadable(error),
    };
    view! {
        <div class="stack wide">
            {shown}
            <Say id=id today=today />
            <WriteNote id=id />
        </div>
    }
    .into_any()
}

fn known(seen: &Seen, today: Day) -> impl IntoView + use<> {
    let now = on(&seen.said, today).map_or_else(|| say("available.nothing-now").to_owned(), Said::words);
    let reports = seen
        .reports
        .iter()
        .map(|(r, day)| {
            let mut parts = vec![r.kind.word().to_owned()];
            parts.extend(r.area.as_ref().map(ToString::to_string));
            parts.extend(r.level.map(|l| say_with("care.level", &[("n", &crate::parse::plain(l.get(), 1))])));
            parts.extend(r.text.as_ref().map(ToString::to_string));
            let text = parts.join(", ");
            view! { <li>{say_with("available.said", &[("day", &crate::kit::dates::named(*day)), ("words", &text)])}</li> }
        })
        .collect_view();
    let notes = seen
        .notes
        .iter()
        .map(|n| {
            let key = [("day", clock_text(n.at, zone_minutes())), ("words", n.text.to_string())];
            let [(a, day), (b, words)] = &key;
            view! { <li>{say_with("available.said", &[(*a, day), (*b, words)])}</li> }
        })
        .collect_view();
    let (no_reports, no_notes) = (seen.reports.is_empty(), seen.notes.is_empty());
    view! {
        <CautionBox caution=Caution::Availability text=now />
        <section class="stack tight">
            <h2>{say("care.reports")}</h2>
            {no_reports.then(|| view! { <p class="soft">{say("care.no-reports")}</p> })}
            <ul class="dashes">{reports}</ul>
        </section>
        <section class="stack tight">
            <h2>{say("care.notes")}</h2>
            {no_notes.then(|| view! { <p class="soft">{say("care.no-notes")}</p> })}
            <ul class="dashes">{notes}</ul>
        </section>
    }
}

/// What was typed about availability, as a record; what is wrong with it, else.
///
/// # Errors
/// In words.
pub fn availability_of(
    empty: Availability,
    until: Option<Day>,
    avoid: &str,
    instead: &str,
) -> Result<Availability, String> {
    let text = |typed: &str| -> Result<Option<Text<200>>, String> {
        let typed = typed.trim();
        if typed.is_empty() {
            return Ok(None);
        }
        Text::new(typed).map(Some).map_err(|e| e.to_string())
    };
    let record = Availability { until, avoid: text(avoid)?, instead: text(instead)?, ..empty };
    match (record.level, &record.avoid) {
        (Available::Modified, None) => Err(say("care.avoid.needed").to_owned()),
        (Available::Full, Some(_)) => Err(say("care.avoid.full").to_owned()),
        _ => Ok(record),
    }
}

fn add(hub: Hub, toaster: Toaster, doc: DocName, root: &'static str, record: AnyRecord, told: &'static str) {
    let command = Command::Add(vec![New { place: Place::of(root, &hub.key()), record }]);
    carry_out(hub, toaster, doc, vec![command], told, |_| ());
}

#[component]
fn Say(id: PersonId, today: Day) -> impl IntoView {
    let (hub, toaster) = (use_hub(), Toaster::here());
    let level = RwSignal::new(Some(Available::Modified));
    let (from, until) = (RwSignal::new(Some(today)), RwSignal::new(None));
    let (avoid, instead) = (RwSignal::new(String::new()), RwSignal::new(String::new()));
    let wrong = RwSignal::new(None::<String>);
    let levels = vec![
        (Available::Full, say("care.full").to_owned()),
        (Available::Modified, say("care.modified").to_owned()),
        (Available::No, say("care.no").to_owned()),
    ];
    let save = move || {
        let empty = Availability::new(
            hub.now(),
            hub.me().person,
            from.get_untracked().unwrap_or(today),
            level.get_untracked().unwrap_or(Available::Modified),
        );
        match availability_of(empty, until.get_untracked(), &avoid.get_untracked(), &instead.get_untracked())
        {
            Ok(record) => {
                wrong.set(None);
                add(hub, toaster, DocName::Availability(id), "availability", record.into(), say("care.said"));
            }
            Err(why) => wrong.set(Some(why)),
        }
    };
    view! {
        <section class="stack">
            <h2>{say("care.say")}</h2>
            <p>{say("care.say.text")}</p>
            <ChoiceRow label=say("care.how-much") options=levels value=level />
            <div class="choose">
                <DateField label=say("care.from") value=from />
                <DateField label=say("care.until") value=until hint=say("care.until.hint") />
            </div>
            <TextField label=say("care.avoid") value=avoid hint=say("care.avoid.hint") error=wrong most=200 />
            <TextField label=say("care.instead") value=instead most=200 />
            <Button label=say("care.say.go").to_owned() kind=Kind::Main on_press=save />
        </section>
    }
}

#[component]
fn WriteNote(id: PersonId) -> impl IntoView {
    let (hub, toaster) = (use_hub(), Toaster::here());
    let typed = RwSignal::new(String::new());
    let wrong = RwSignal::new(None::<String>);
    let blank = Signal::derive(move || typed.with(|t| t.trim().is_empty()));
    let save = move || match Note::new(typed.get_untracked().trim()) {
        Ok(text) => {
            wrong.set(None);
            typed.set(String::new());
            let note = Assessment::new(hub.now(), hub.me().person, text);
            add(hub, toaster, DocName::CareNotes(id), "assessments", note.into(), say("care.noted"));
        }
        Err(error) => wrong.set(Some(error.to_string())),
    };
    view! {
        <section class="stack">
            <h2>{say("care.write")}</h2>
            <TextField label=say("care.note") value=typed hint=say("care.note.hint") error=wrong lines=true most=500 />
            <Button label=say("care.note.save").to_owned() disabled=blank on_press=save />
        </section>
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use backstraight_core::base::moment::Moment;

    #[test]
    fn modified_training_says_what_to_avoid() {
        let who: PersonId = "018bcfe5-6800-7707-8707-070707070707".parse().unwrap();
        let empty = |level| Availability::new(Moment(0), who, "2026-11-25".parse().unwrap(), level);
        assert!(availability_of(empty(Available::Modified), None, "  ", "").is_err());
        assert!(availability_of(empty(Available::Full), None, "jumps", "").is_err());
        let some = availability_of(empty(Available::Modified), None, " jumps ", "cycling").unwrap();
        assert_eq!(some.avoid.map(|t| t.to_string()).as_deref(), Some("jumps"));
        assert!(availability_of(empty(Available::No), None, "", "").is_ok());
        assert!(availability_of(empty(Available::No), None, &"x".repeat(201), "").is_err());
    }
}
