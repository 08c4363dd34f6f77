//! The club's best marks, by test and class, as the reader may see them.

use backstraight_core::base::csv::{Cell, Csv};
use backstraight_core::base::id::PersonId;
use leptos::prelude::*;
use serde::Deserialize;

use super::answers::day_text;
use super::asked::{ask, question};
use super::parts::Pick;
use super::reports::download;
use crate::chart::days::value_text;
use crate::hub::use_hub;
use crate::kit::{Button, Column, DataTable, EmptyState, Toaster};
use crate::route::{Route, Section};
use crate::screens::head;
use crate::trend::{wind_aided, wind_words};
use crate::words::{say, say_with};

/// The best marks.
#[derive(Debug, Clone, PartialEq, Default, Deserialize)]
pub struct Records {
    /// By test and class.
    pub records: Vec<Record>,
}

/// The best mark of a class.
#[derive(Debug, Clone, PartialEq, Default, Deserialize)]
pub struct Record {
    /// The test.
    pub test: String,
    /// Its unit.
    #[serde(default)]
    pub unit: String,
    /// Class of competition.
    #[serde(default)]
    pub sex: Option<String>,
    /// Age group.
    #[serde(default)]
    pub ages: String,
    /// The season; missing for the best of all.
    #[serde(default)]
    pub season: Option<u16>,
    /// Whether the wind was too strong to count.
    #[serde(default)]
    pub wind_aided: bool,
    /// The holders.
    pub best: Vec<Best>,
}

/// A best mark.
#[derive(Debug, Clone, PartialEq, Default, Deserialize)]
pub struct Best {
    /// Who holds it.
    #[serde(default)]
    pub person: Option<String>,
    /// The name shown; missing when it is withheld.
    #[serde(default)]
    pub name: Option<String>,
    /// The number.
    pub value: f64,
    /// The day.
    pub day: String,
    /// Wind in m/s.
    #[serde(default)]
    pub wind_m_s: Option<f64>,
    /// Conditions.
    #[serde(default)]
    pub conditions: Option<String>,
}

/// The mark of all seasons, in the drop-down.
pub const ALL_TIME: &str = "all";

/// The records of a season, or of all seasons together, and of one test or all.
#[must_use]
pub fn chosen<'a>(all: &'a [Record], season: &str, test: &str) -> Vec<&'a Record> {
    all.iter()
        .filter(|r| match r.season {
            None => season == ALL_TIME,
            Some(year) => year.to_string() == season,
        })
        .filter(|r| test.is_empty() || r.test == test)
        .collect()
}

/// The class of a record, in words.
#[must_use]
pub fn class(r: &Record) -> String {
    let sex = r.sex.clone().unwrap_or_default();
    format!("{sex} {}", r.ages).trim().to_owned()
}

/// As a table for a spreadsheet.
#[must_use]
pub fn csv(records: &[&Record]) -> String {
    let mut csv = Csv::new([
        "test",
        "unit",
        "class",
        "ages",
        "season",
        "wind_aided",
        "mark",
        "wind_m_s",
        "name",
        "day",
    ]);
    for r in records {
        for b in &r.best {
            let text = |t: &Option<String>| t.clone().map_or(Cell::Empty, Cell::Text);
            csv.row([
                Cell::Text(r.test.clone()),
                Cell::Text(r.unit.clone()),
                text(&r.sex),
                Cell::Text(r.ages.clone()),
                r.season.map_or(Cell::Empty, |s| Cell::Number(s.to_string())),
                Cell::Number(r.wind_aided.to_string()),
                Cell::Number(b.value.to_string()),
                b.wind_m_s.map_or(Cell::Empty, |w| Cell::Number(w.to_string())),
                text(&b.name),
                Cell::Text(b.day.clone()),
            ]);
        }
    }
    csv.finish()
}

/// Seasons, each once, the newest first.
#[must_use]
pub fn newest_first(seasons: impl Iterator<Item = u16>) -> Vec<u16> {
    let mut all: Vec<u16> = seasons.collect();
    all.sort_unstable_by(|a, b| b.cmp(a));
    all.dedup();
    all
}

/// What a list of seasons offers: all of them together, then each.
#[must_use]
pub fn season_choices(seasons: &[u16]) -> Vec<(String, String)> {
    let one = |y: &u16| (y.to_string(), say_with("records.season", &[("year", &y.to_string())]));
    let all = (ALL_TIME.to_owned(), say("records.all-time").to_owned());
    core::iter::once(all).chain(seasons.iter().map(one)).collect()
}

/// The screen.
#[component]
pub fn RecordsScreen() -> impl IntoView {
    let hub = use_hub();
    let toaster = Toaster::here();
    head(say("way.records"), say("records.under"));
    let until = hub.today().map(|d| d.to_string()).unwrap_or_default();
    let answer = ask::<Records>(hub, Signal::stored(question("/v1/records", &[("until", &until)])));
    let season = RwSignal::new(ALL_TIME.to_owned());
    let test = RwSignal::new(String::new());
    let list = move || answer.get().unwrap_or_default().records;
    let seasons =
        Signal::derive(move || season_choices(&newest_first(list().iter().filter_map(|r| r.season))));
    let tests = Signal::derive(move || {
        let mut names: Vec<String> = list().into_iter().map(|r| r.test).collect();
        names.dedup();
        let mut all = vec![(String::new(), say("records.all-tests").to_owned())];
        all.extend(names.into_iter().map(|n| (n.clone(), n)));
        all
    });
    let save = move || {
        let all = list();
        let text = csv(&chosen(&all, &season.get_untracked(), &test.get_untracked()));
        download(toaster, "records.csv", &text);
    };
    let shown = move |all: &Records| {
        let found = chosen(&all.records, &season.get(), &test.get());
        if found.is_empty() {
            return view! { <EmptyState title=say("records.none") text=say("records.none.text") /> }
                .into_any();
        }
        table(&found).into_any()
    };
    view! {
        <div class="stack">
            <div class="choose no-print">
                <Pick label=say("records.of") options=seasons value=season />
                <Pick label=say("records.test") options=tests value=test />
                <Button label=say("reports.csv").to_owned() on_press=save />
                <Button label=say("reports.print").to_owned() on_press=super::reports::print />
            </div>
            {answer.shown(shown)}
        </div>
    }
}

fn table(records: &[&Record]) -> impl IntoView + use<> {
    let columns = vec![
        Column::words(say("records.test")),
        Column::words(say("records.class")),
        Column::figures(say("records.mark")),
        Column::words(say("records.by")),
        Column::words(say("tests.on")),
    ];
    let rows = records
        .iter()
        .flat_map(|r| {
            r.best.iter().map(|b| {
                let mark = format!("{} {}", value_text(b.value), r.unit).trim_end().to_owned();
                let wind = b.wind_m_s.map(|w| view! { <span class="soft">{wind_words(w)}</span> });
                let aided = wind_aided(r.wind_aided);
                let name = b.name.clone().unwrap_or_else(|| say("records.withheld").to_owned());
                let by = match b.person.as_deref().and_then(|p| p.parse::<PersonId>().ok()) {
                    Some(id) => {
                        view! { <a href=Route::Athlete(id, Section::Tests).href()>{name}</a> }.into_any()
                    }
                    None => name.into_any(),
                };
                vec![
                    r.test.clone().into_any(),
                    class(r).into_any(),
                    view! { <span class="value">{mark}</span> {wind} {aided} }.into_any(),
                    by,
                    day_text(&b.day).into_any(),
                ]
            })
        })
        .collect();
    view! { <DataTable caption=say("records.caption") columns=columns rows=rows /> }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn record(test: &str, season: Option<u16>, name: Option<&str>) -> Record {
        let best =
            Best { name: name.map(Into::into), value: 2.48, day: "2026-11-20".into(), ..Best::default() };
        Record { test: test.into(), season, ages: "senior".into(), best: vec![best], ..Record::default() }
    }

    #[test]
    fn a_season_and_all_seasons_are_told_apart() {
        let all = [record("Jump", None, None), record("Jump", Some(2027), None), record("Run", None, None)];
        assert_eq!(chosen(&all, ALL_TIME, "").len(), 2);
        assert_eq!(chosen(&all, "2027", "").len(), 1);
        assert_eq!(chosen(&all, ALL_TIME, "Run").len(), 1);
    }

    #[test]
    fn a_name_in_a_table_is_no_formula() {
        let one = record("Jump", None, Some("=HYPERLINK(1)"));
        let text = csv(&[&one]);
        assert!(text.ends_with("\"'=HYPERLINK(1)\",\"2026-11-20\"\r\n"), "{text}");
    }
}
