//! Seasons of those on a desk: which there are, and how a new one is begun beside them. What stands in an earlier
//! season stays as it is and counts on its days.

use backstraight_core::base::day::Day;
use backstraight_core::doc::command::Command;
use backstraight_core::doc::place::Place as Spot;
use backstraight_core::model::name::DocName;
use backstraight_core::model::number::{Name, SeasonNo};
use backstraight_core::model::plan::PlanAbout;
use backstraight_core::view::planned::Plan;
use leptos::prelude::*;

use super::scene::{Desk, Place};
use super::undo::Steps;
use super::week::At;
use crate::error::AppError;
use crate::kit::{Button, DateField, Kind, TextField, dates};
use crate::words::{say, say_n, say_with};

/// A season is proposed to last a year.
const DAYS: i32 = 364;

/// Title and days of a season, as typed and understood.
#[derive(Debug, Clone, PartialEq, Eq)]
struct New {
    title: Option<Name>,
    first: Day,
    last: Day,
}

/// Reads what was typed.
fn read(title: &str, first: Option<Day>, last: Option<Day>) -> Result<New, String> {
    let title = Some(title.trim()).filter(|t| !t.is_empty());
    let title = title.map(Name::new).transpose().map_err(|e| e.to_string())?;
    let (first, last) = first.zip(last).ok_or_else(|| say("season.begin.days").to_owned())?;
    if last < first {
        return Err(say("season.begin.order").to_owned());
    }
    Ok(New { title, first, last })
}

/// A season that already holds one of the days, with its last day.
fn in_the_way(place: &Place, new: &New) -> Option<(SeasonNo, Day)> {
    let season = place.plans.season_of(new.first, new.last)?;
    Some((season, place.plans.of(season)?.span()?.1))
}

/// The day after the last season of anybody on the desk, or that Monday when there is none.
fn proposed(desk: &Desk, week: Day) -> Day {
    let ends = desk.places.iter().flat_map(|p| p.plans.iter().filter_map(|(_, plan)| plan.span()));
    ends.map(|(_, last)| last.plus(1)).max().unwrap_or(week)
}

/// What a season is called: its title, else its number.
fn name(season: SeasonNo, plan: &Plan) -> String {
    let title = plan.about.as_ref().and_then(|a| a.title.as_ref());
    title.map_or_else(|| season.get().to_string(), ToString::to_string)
}

/// The seasons of one athlete, each with a way to its first week.
#[component]
pub fn Seasons(
    /// The desk.
    at: At,
) -> impl IntoView {
    let found = Memo::new(move |_| {
        let desk = Desk::read(at.bench.hub, at.whose, at.week.get()).ok()?;
        let place = desk.places.first()?;
        let one = |(season, plan): (SeasonNo, &Plan)| {
            let span = plan.span()?;
            Some((name(season, plan), span, place.doc == DocName::Plan(place.who, season)))
        };
        Some(place.plans.iter().filter_map(one).collect::<Vec<_>>())
    });
    move || {
        let all = found.get().unwrap_or_default();
        (all.len() > 1).then(|| {
            let lines = all.into_iter().map(|(name, (first, last), shown)| {
                let days =
                    say_with("season.days-of", &[("from", &dates::full(first)), ("to", &dates::full(last))]);
                let go = (!shown).then(|| {
                    let label = say_with("season.show", &[("name", &name)]);
                    view! { <Button label=label on_press=move || at.show(first) /> }
                });
                let here = shown.then(|| view! { <span class="soft">{say("season.shown")}</span> });
                view! { <li class="row apart"><span>{format!("{name}: {days}")}</span>{go}{here}</li> }
            });
            view! {
                <h3>{say("season.all")}</h3>
                <ul class="stack tight">{lines.collect_view()}</ul>
            }
        })
    }
}

/// A new season for everybody on the desk.
#[component]
pub fn Begin(
    /// The desk.
    at: At,
) -> impl IntoView {
    let week = at.week.get_untracked();
    let first = untrack(|| at.desk()).map_or(week, |desk| proposed(&desk, week));
    let title = RwSignal::new(String::new());
    let (from, to) = (RwSignal::new(Some(first)), RwSignal::new(Some(first.plus(DAYS))));
    let wrong = RwSignal::new(None::<String>);
    // What is wrong was said of what was typed then.
    Effect::new(move |_| {
        title.track();
        from.track();
        to.track();
        wrong.set(None);
    });
    let go = move || {
        let typed = read(&title.get_untracked(), from.get_untracked(), to.get_untracked());
        let done = typed.and_then(|new| Ok((begin(at, &new)?, new)));
        match done {
            Err(why) => wrong.set(Some(why)),
            Ok((steps, new)) => {
                wrong.set(None);
                let n = u64::try_from(steps.len()).unwrap_or(u64::MAX);
                at.bench.run(steps, say_n("season.begun", n, &[]));
                at.show(new.first);
            }
        }
    };
    let many = move || at.desk().map_or(0, |d| d.places.len());
    view! {
        <details class="more">
            <summary>{say("season.begin")}</summary>
            <form class="stack" on:submit=move |e| { e.prevent_default(); go(); }>
                <p class="soft">{say("season.begin.text")}</p>
                {(untrack(many) > 1).then(|| view! { <p class="soft">{say("season.begin.each")}</p> })}
                <TextField label=say("field.title") value=title most=80 />
                <DateField label=say("field.from") value=from />
                <DateField label=say("field.to") value=to />
                {move || wrong.get().map(|why| view! { <p class="wrong" role="alert">{why}</p> })}
                <Button label=say("season.begin.go").to_owned() kind=Kind::Main submit=true on_press=|| () />
            </form>
        </details>
    }
}

/// What begins it for everybody; none of it when it would lie in another season of one of them.
fn begin(at: At, new: &New) -> Result<Steps, String> {
    let desk = untrack(|| at.desk()).filter(|d| !d.places.is_empty());
    let desk = desk.ok_or_else(|| say("desk.nobody").to_owned())?;
    for place in &desk.places {
        if let Some((season, last)) = in_the_way(place, new) {
            let plan = place.plans.of(season).map(|plan| name(season, plan)).unwrap_or_default();
            let values = [("name", place.name.as_str()), ("season", &plan), ("day", &dates::full(last))];
            return Err(say_with("season.begin.overlap", &values));
        }
    }
    let about =
        PlanAbout { title: new.title.clone(), from: Some(new.first), to: Some(new.last), ..PlanAbout::new() };
    let step = |place: &Place| {
        let begin =
            at.bench.hub.read_with(|device, readings| readings.season_to_begin(device, place.who, new.first));
        let season = begin?;
        let from = PlanAbout::new().into();
        let command = Command::Edit { place: Spot::main("about"), from, to: about.clone().into() };
        Ok::<_, AppError>((DocName::Plan(place.who, season), command))
    };
    desk.places.iter().map(step).collect::<Result<_, _>>().map_err(|e| e.to_string())
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use backstraight_core::base::id::PersonId;
    use backstraight_core::view::plans::Plans;

    use super::*;

    fn day(text: &str) -> Day {
        text.parse().unwrap()
    }

    fn place(seasons: &[(i64, &str, &str)]) -> Place {
        let who = PersonId(uuid::Uuid::from_u128(7));
        let plan = |from: &str, to: &str| {
            let about = PlanAbout { from: Some(day(from)), to: Some(day(to)), ..PlanAbout::new() };
            Arc::new(Plan { about: Some(about), ..Plan::default() })
        };
        let list: Vec<_> =
            seasons.iter().map(|(n, from, to)| (SeasonNo::new(*n).unwrap(), plan(from, to))).collect();
        let (season, first) = list[0].clone();
        Place {
            who,
            name: "Invented".to_owned(),
            born: None,
            doc: DocName::Plan(who, season),
            plan: first,
            plans: Plans::from(list),
        }
    }

    #[test]
    fn a_season_is_proposed_for_the_day_after_the_last_one() {
        let desk = |places| Desk { places, ..Desk::default() };
        assert_eq!(proposed(&desk(Vec::new()), day("2026-11-23")), day("2026-11-23"));
        let one = place(&[(2027, "2026-10-26", "2027-09-26"), (2026, "2025-10-27", "2026-10-25")]);
        assert_eq!(proposed(&desk(vec![one]), day("2026-11-23")), day("2027-09-27"));
    }

    #[test]
    fn a_season_that_lies_in_another_one_is_found() {
        let place = place(&[(2026, "2025-10-27", "2026-10-25"), (2027, "2026-10-26", "2027-09-26")]);
        let new = |first, last| read("", Some(day(first)), Some(day(last))).unwrap();
        assert_eq!(in_the_way(&place, &new("2027-09-27", "2028-09-24")), None);
        let met = in_the_way(&place, &new("2027-09-26", "2028-09-24"));
        assert_eq!(met, Some((SeasonNo::new(2027).unwrap(), day("2027-09-26"))));
        assert_eq!(place.on(day("2026-10-25")).doc, DocName::Plan(place.who, SeasonNo::new(2026).unwrap()));
        assert_eq!(place.on(day("2026-10-26")).doc, DocName::Plan(place.who, SeasonNo::new(2027).unwrap()));
    }

    #[test]
    fn what_is_typed_is_read_or_refused_with_words() {
        assert_eq!(
            read("x", Some(day("2027-01-02")), Some(day("2027-01-01"))),
            Err(say("season.begin.order").to_owned())
        );
        assert_eq!(read("x", None, Some(day("2027-01-01"))), Err(say("season.begin.days").to_owned()));
        let new = read(" Indoors ", Some(day("2027-01-01")), Some(day("2027-03-01"))).unwrap();
        assert_eq!(new.title.unwrap().as_str(), "Indoors");
    }
}
