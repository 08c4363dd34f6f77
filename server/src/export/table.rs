//! Records as rows of tables. Each column has its unit in its name; numbers are in kg, m, s, m/s.

use std::collections::BTreeMap;

use backstraight_core::base::moment::Moment;
use backstraight_core::doc::open::Document;
use backstraight_core::doc::read::{Entry, Read};
use backstraight_core::model::care::{Assessment, Availability, Restriction};
use backstraight_core::model::log::*;
use backstraight_core::model::name::Kind;
use backstraight_core::model::plan::*;
use backstraight_core::model::spec::{Record, RecordSpec, Scalar};
use backstraight_core::model::told::list;

use crate::store::about::About;
use backstraight_core::base::csv::{Cell, Csv, decimal};

/// How the whole number of a field is shown: the end of its column's name, and decimal places.
const UNITS: &[(&str, &str, u32)] = &[
    ("load", "_kg", 2),
    ("mass", "_kg", 2),
    ("reps", "", 0),
    ("hold", "_s", 3),
    ("dist", "_m", 3),
    ("contacts", "", 0),
    ("time", "_s", 3),
    ("effort", "_0_to_10", 1),
    ("level", "_0_to_10", 1),
    ("reserve", "_reps", 1),
    ("wind", "_m_per_s", 3),
    ("minutes", "_min", 0),
    ("season", "", 0),
    ("zone", "_min", 0),
    ("sleep", "_1_to_7", 0),
    ("fresh", "_1_to_7", 0),
    ("muscles", "_1_to_7", 0),
    ("calm", "_1_to_7", 0),
    ("mood", "_1_to_7", 0),
    ("value", "_in_unit_of_test", 3),
    ("sets", "", 0),
    ("rest", "_s", 0),
    ("change", "_s", 0),
    ("rounds", "", 0),
    ("stop_loss", "_share", 3),
    ("pause", "_s", 3),
    ("hurdles", "", 0),
    ("height", "_m", 3),
    ("steps", "", 0),
    ("unit_gap", "_m", 3),
    ("run_up", "_m", 3),
    ("starts", "_minute_of_day", 0),
];
/// Packed lists of numbers.
const LISTS: &[(&str, &str, u32)] = &[
    ("speeds", "_m_per_s", 3),
    ("flights", "_s", 3),
    ("touches", "_s", 3),
    ("splits", "_s", 3),
    ("gaps", "_m", 3),
    ("lateral", "_m", 3),
];
/// Columns that every table begins with.
const FIRST: [&str; 4] = ["document", "key", "inside_of", "withdrawn_utc"];

struct Table {
    spec: &'static RecordSpec,
    csv: Csv,
}

/// All tables of one person.
#[derive(Default)]
pub(super) struct Tables {
    by_name: BTreeMap<&'static str, Table>,
    rows: Vec<(&'static str, Vec<Cell>, Option<String>)>,
}

impl Tables {
    /// Takes the records of a document.
    pub(super) fn take(&mut self, doc: &Document) {
        match doc.name().kind() {
            Kind::Log => {
                let mut nodes = doc.with_inner("sessions");
                self.records("sessions", doc, nodes.take::<SessionDone>());
                self.records("exercises_done", doc, nodes.take::<Work>());
                self.records("sets", doc, nodes.take::<SetDone>());
                self.records("check_ins", doc, doc.records::<CheckIn>("checkins"));
                self.records("test_trials", doc, doc.records::<Trial>("trials"));
                self.records("comments", doc, doc.records::<Comment>("comments"));
            }
            Kind::Notes => {
                self.records("observations", doc, doc.records::<Observation>("observations"));
                self.records("competency_notes", doc, doc.records::<Competency>("competencies"));
                self.records("test_trials", doc, doc.records::<Trial>("trials"));
                self.records("sets_entered_by_coaches", doc, doc.records::<Entered>("entered"));
                self.records("words_on_sessions", doc, doc.records::<Excuse>("excuses"));
                self.records("comments", doc, doc.records::<Comment>("comments"));
            }
            Kind::Care => self.records("reports", doc, doc.records::<Report>("reports")),
            Kind::CareNotes => {
                self.records("assessments", doc, doc.records::<Assessment>("assessments"));
                self.records("restrictions", doc, doc.records::<Restriction>("restrictions"));
            }
            Kind::Availability => {
                self.records("availability", doc, doc.records::<Availability>("availability"));
            }
            Kind::Plan => {
                self.records("planned_sessions", doc, doc.records::<Session>("sessions"));
                self.records("planned_groups", doc, doc.records::<Group>("groups"));
                self.records("planned_exercises", doc, doc.records::<Prescription>("items"));
            }
            Kind::Library | Kind::Squad => {}
        }
    }

    fn records<R: Record>(&mut self, table: &'static str, doc: &Document, read: Read<R>) {
        self.by_name.entry(table).or_insert_with(|| Table {
            spec: R::SPEC,
            csv: Csv::new(heading(R::SPEC).iter().map(String::as_str)),
        });
        for entry in read.entries {
            let (row, exercise) = row(doc, &entry);
            self.rows.push((table, row, exercise));
        }
    }

    /// Every table by name. `exercises` says what keys of exercises are called.
    pub(super) fn finish(mut self, exercises: &BTreeMap<String, String>) -> Vec<(&'static str, String)> {
        for (table, mut row, exercise) in std::mem::take(&mut self.rows) {
            let Some(table) = self.by_name.get_mut(table) else { continue };
            if table.spec.fields.iter().any(|f| f.name == "ex") {
                let name = exercise.and_then(|key| exercises.get(&key).cloned());
                row.push(name.map_or(Cell::Empty, Cell::Text));
            }
            table.csv.row(row);
        }
        self.by_name.into_iter().map(|(name, table)| (name, table.csv.finish())).collect()
    }
}

/// The names of a table's columns.
fn heading(spec: &'static RecordSpec) -> Vec<String> {
    let mut names: Vec<String> = FIRST.iter().map(|n| (*n).to_owned()).collect();
    names.extend(spec.fields.iter().map(|f| column(f.name)));
    if spec.fields.iter().any(|f| f.name == "ex") {
        names.push("exercise_name".to_owned());
    }
    names
}

/// A column's name with its unit.
fn column(field: &str) -> String {
    let unit = UNITS.iter().chain(LISTS).find(|(name, _, _)| *name == field).map(|(_, unit, _)| *unit);
    let unit = unit.unwrap_or(match field {
        "at" | "began" | "ended" => "_utc",
        "date" | "over" | "look_again" => "_local",
        _ => "",
    });
    format!("{field}{unit}")
}

fn row<R: Record>(doc: &Document, entry: &Entry<R>) -> (Vec<Cell>, Option<String>) {
    let text = |t: String| Cell::Text(t);
    let above: Vec<String> = entry.place.keys.iter().rev().skip(1).rev().map(ToString::to_string).collect();
    let mut cells = vec![
        text(doc.name().to_string()),
        text(entry.key().to_string()),
        if above.is_empty() { Cell::Empty } else { text(above.join("/")) },
        entry.gone.map_or(Cell::Empty, |m| text(m.to_string())),
    ];
    let values: BTreeMap<&str, Scalar> = entry.record.fields().into_iter().collect();
    for field in R::SPEC.fields {
        cells.push(values.get(field.name).map_or(Cell::Empty, |value| cell(field.name, value)));
    }
    let exercise = match values.get("ex") {
        Some(Scalar::Text(key)) => Some(key.clone()),
        _ => None,
    };
    (cells, exercise)
}

fn cell(field: &str, value: &Scalar) -> Cell {
    let places = |list: &[(&str, &str, u32)]| {
        list.iter().find(|(name, _, _)| *name == field).map_or(0, |(_, _, places)| *places)
    };
    if let Some(numbers) = list(field, value) {
        let all: Vec<String> = numbers.iter().map(|n| decimal(*n, places(LISTS))).collect();
        return Cell::Text(all.join(" "));
    }
    match value {
        Scalar::Int(n) => Cell::Number(decimal(*n, places(UNITS))),
        Scalar::Text(t) => Cell::Text(t.clone()),
        Scalar::Bool(b) => Cell::Number(if *b { "yes" } else { "no" }.to_owned()),
        Scalar::Time(ms) => Cell::Text(Moment(*ms).to_string()),
        Scalar::Bytes(bytes) => Cell::Text(data_encoding::HEXLOWER.encode(bytes)),
    }
}

/// What the exercises of the club are called.
pub(super) fn exercises(names: &BTreeMap<String, String>) -> String {
    let mut csv = Csv::new(["key", "name"]);
    for (key, name) in names {
        csv.row([Cell::Text(key.clone()), Cell::Text(name.clone())]);
    }
    csv.finish()
}

/// The person's installs.
pub(super) fn installs(about: &About) -> String {
    let mut csv = Csv::new(["install", "device", "enrolled_utc", "withdrawn_utc", "last_heard_utc"]);
    let time = |m: Option<Moment>| m.map_or(Cell::Empty, |m| Cell::Text(m.to_string()));
    for i in &about.installs {
        csv.row([
            Cell::Text(i.id.to_string()),
            Cell::Text(i.device.clone()),
            time(Some(i.created)),
            time(i.withdrawn),
            time(i.heard),
        ]);
    }
    csv.finish()
}

/// Lines of the audit list by or about the person.
pub(super) fn audit(about: &About) -> String {
    let mut csv = Csv::new(["at_utc", "what", "by", "subject"]);
    for line in &about.audit {
        let by = line.by.map_or_else(|| "at the machine".to_owned(), |p| p.to_string());
        csv.row([
            Cell::Text(line.at.to_string()),
            Cell::Text(line.what.clone()),
            Cell::Text(by),
            Cell::Text(line.subject.clone()),
        ]);
    }
    csv.finish()
}

#[cfg(test)]
mod tests {
    use backstraight_core::model::spec::FieldKind;

    use super::*;

    #[test]
    fn every_number_of_a_table_has_its_unit_said() {
        let specs = [
            SessionDone::SPEC,
            Work::SPEC,
            SetDone::SPEC,
            CheckIn::SPEC,
            Trial::SPEC,
            Comment::SPEC,
            Observation::SPEC,
            Competency::SPEC,
            Entered::SPEC,
            Excuse::SPEC,
            Report::SPEC,
            Session::SPEC,
            Group::SPEC,
            Prescription::SPEC,
        ];
        for field in specs.iter().flat_map(|s| s.fields) {
            if matches!(field.kind, FieldKind::Int { .. }) {
                assert!(UNITS.iter().any(|(name, _, _)| *name == field.name), "{}", field.name);
            }
        }
        assert_eq!(column("load"), "load_kg");
        assert_eq!(column("began"), "began_utc");
        assert_eq!(column("note"), "note");
    }
}
