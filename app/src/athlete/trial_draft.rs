//! A trial as an athlete types it, field by field, and back. Says what is wrong field by field; knows no screen.

use backstraight_core::model::log::Trial;
use backstraight_core::model::number::{Duration, Measure, Note, Value};
use backstraight_core::model::packed::Times;

use crate::parse::{self, Masses, Mistake};
use crate::trial::{Read, hop_time, in_order, wind_text, without_result, words};

/// Most hops, times or repetitions of a trial.
pub const MOST: usize = 120;

/// A field of the form.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Field {
    /// Load.
    Load,
    /// Repetitions.
    Reps,
    /// A time, or a mark in the test's unit.
    Result,
    /// A hop, a time on the way, a repetition.
    Row(usize),
    /// Wind.
    Wind,
    /// Body mass.
    Mass,
    /// Surface, shoes, device.
    Conditions,
}

/// What the rows of a form hold.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Rows {
    /// Flight and contact of a hop.
    Hops,
    /// A time since the start.
    Times,
    /// A bar speed.
    Speeds,
}

/// The rows that a test's form has, where it has some.
#[must_use]
pub const fn rows_of(measure: Measure) -> Option<Rows> {
    match measure {
        Measure::Hops => Some(Rows::Hops),
        Measure::Splits => Some(Rows::Times),
        Measure::Speed => Some(Rows::Speeds),
        Measure::Load | Measure::Time | Measure::Distance | Measure::Reps => None,
    }
}

/// Whether wind may have helped or hindered.
#[must_use]
pub const fn windy(measure: Measure) -> bool {
    matches!(measure, Measure::Time | Measure::Splits | Measure::Distance)
}

/// A trial as text.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Draft {
    /// Load, in the unit of the settings.
    pub load: String,
    /// Repetitions; empty for one.
    pub reps: String,
    /// A time, or a mark in the test's unit.
    pub result: String,
    /// Hops (flight and contact), times or speeds (the first alone).
    pub rows: Vec<(String, String)>,
    /// Wind in m/s.
    pub wind: String,
    /// Body mass, in the unit of the settings.
    pub mass: String,
    /// Surface, shoes, device.
    pub conditions: String,
}

impl Draft {
    /// From a trial.
    #[must_use]
    pub fn of(t: &Trial, measure: Measure, masses: Masses) -> Draft {
        let one = |list: &[Duration]| -> Vec<(String, String)> {
            list.iter().map(|d| (parse::time_text(*d), String::new())).collect()
        };
        let rows = match rows_of(measure) {
            Some(Rows::Hops) => {
                let pairs = t.flights.as_ref().zip(t.touches.as_ref());
                // Milliseconds, as a stopwatch of contacts gives them; seconds may be typed too.
                let ms = |d: &Duration| d.get().to_string();
                pairs.map(|(f, c)| f.0.iter().zip(&c.0).map(|(f, c)| (ms(f), ms(c))).collect())
            }
            Some(Rows::Times) => t.splits.as_ref().map(|s| one(&s.0)),
            Some(Rows::Speeds) => t
                .speeds
                .as_ref()
                .map(|s| s.mm_s().iter().map(|v| (parse::plain(i64::from(*v), 3), String::new())).collect()),
            None => None,
        };
        let result = match measure {
            Measure::Time => t.value.and_then(|v| Duration::new(v.get()).ok()).map(parse::time_text),
            Measure::Distance => t.value.map(|v| parse::plain(v.get(), 3)),
            Measure::Load | Measure::Reps | Measure::Hops | Measure::Splits | Measure::Speed => None,
        };
        Draft {
            load: t.load.map(|l| parse::load_text(l, masses)).unwrap_or_default(),
            reps: t.reps.map(|r| r.get().to_string()).unwrap_or_default(),
            result: result.unwrap_or_default(),
            rows: rows.unwrap_or_default(),
            wind: wind_text(t.wind),
            mass: t.mass.map(|m| parse::body_mass_text(m, masses)).unwrap_or_default(),
            conditions: t.conditions.as_ref().map(ToString::to_string).unwrap_or_default(),
        }
    }

    /// What stays in the form for the next trial: all but the result and its wind. Rows stay as many.
    #[must_use]
    pub fn next(&self) -> Draft {
        Draft {
            rows: vec![Default::default(); self.rows.len()],
            mass: self.mass.clone(),
            conditions: self.conditions.clone(),
            ..Draft::default()
        }
    }

    /// Rows that hold something; empty ones at the end are no hops.
    fn filled(&self) -> &[(String, String)] {
        let empty = |(a, b): &(String, String)| a.trim().is_empty() && b.trim().is_empty();
        let n = self.rows.iter().rposition(|row| !empty(row)).map_or(0, |last| last + 1);
        self.rows.get(..n).unwrap_or_default()
    }

    /// The trial: what is typed on top of `base`, whose test and day stay.
    ///
    /// # Errors
    /// Each field that cannot be read, with why.
    pub fn read(
        &self,
        base: &Trial,
        measure: Measure,
        masses: Masses,
    ) -> Result<Trial, Vec<(Field, String)>> {
        let mut wrong = Vec::new();
        let mut t = without_result(base);
        match measure {
            Measure::Load => {
                t.load = keep(&mut wrong, Field::Load, words(parse::load(&self.load, masses)));
                t.reps = keep(&mut wrong, Field::Reps, parse::optional(&self.reps, parse::reps)).flatten();
            }
            Measure::Reps => t.reps = keep(&mut wrong, Field::Reps, words(parse::reps(&self.reps))),
            Measure::Time => {
                let time = words(parse::time(&self.result));
                let value = time.and_then(|d| Value::new(d.get()).map_err(|e| e.to_string()));
                t.value = keep(&mut wrong, Field::Result, value);
            }
            Measure::Distance => {
                t.value = keep(&mut wrong, Field::Result, words(parse::value(&self.result)));
            }
            Measure::Hops | Measure::Splits | Measure::Speed => self.rows_into(&mut t, measure, &mut wrong),
        }
        if windy(measure) {
            t.wind = keep(&mut wrong, Field::Wind, parse::optional(&self.wind, parse::wind)).flatten();
        }
        if measure == Measure::Hops {
            let mass = parse::optional(&self.mass, |text| parse::body_mass(text, masses));
            t.mass = keep(&mut wrong, Field::Mass, mass).flatten();
        }
        let text = self.conditions.trim();
        let note = (!text.is_empty()).then(|| Note::new(text).map_err(|e| e.to_string())).transpose();
        t.conditions = keep(&mut wrong, Field::Conditions, note).flatten();
        if wrong.is_empty() { Ok(t) } else { Err(wrong) }
    }

    fn rows_into(&self, t: &mut Trial, measure: Measure, wrong: &mut Vec<(Field, String)>) {
        let rows = self.filled();
        if rows.is_empty() {
            return wrong.push((Field::Row(0), Mistake::Empty.words()));
        }
        let before = wrong.len();
        match measure {
            Measure::Hops => {
                let (mut flights, mut touches) = (Vec::new(), Vec::new());
                for (i, (flight, touch)) in rows.iter().enumerate() {
                    let pair = hop_time(flight.trim()).and_then(|f| Ok((f, hop_time(touch.trim())?)));
                    if let Some((flight, touch)) = keep(wrong, Field::Row(i), pair) {
                        flights.push(flight);
                        touches.push(touch);
                    }
                }
                (t.flights, t.touches) = (Some(Times(flights)), Some(Times(touches)));
            }
            Measure::Splits => {
                let mut times: Vec<Duration> = Vec::new();
                for (i, (text, _)) in rows.iter().enumerate() {
                    times.extend(keep(wrong, Field::Row(i), words(parse::time(text))));
                }
                if wrong.len() == before {
                    t.splits = keep(wrong, Field::Row(rows.len() - 1), in_order(times));
                }
            }
            Measure::Speed | Measure::Load | Measure::Time | Measure::Distance | Measure::Reps => {
                let mut texts = Vec::new();
                for (i, (text, _)) in rows.iter().enumerate() {
                    texts.extend(keep(wrong, Field::Row(i), words(parse::speeds(text))).map(|_| text.trim()));
                }
                if wrong.len() == before {
                    let all = words(parse::speeds(&texts.join(" ")));
                    t.speeds = keep(wrong, Field::Row(rows.len() - 1), all);
                }
            }
        }
    }
}

/// What was read; else none, and why is kept beside its field.
fn keep<T>(wrong: &mut Vec<(Field, String)>, field: Field, read: Read<T>) -> Option<T> {
    match read {
        Ok(value) => Some(value),
        Err(why) => {
            wrong.push((field, why));
            None
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use backstraight_core::base::key::Key;
    use backstraight_core::base::moment::Moment;

    const KG: Masses = Masses::Kilograms;

    fn blank() -> Trial {
        let key: Key = "abcdef-1".parse().unwrap();
        Trial::new("2026-11-26".parse().unwrap(), Moment(1_795_600_800_000), key)
    }

    fn rows(list: &[(&str, &str)]) -> Vec<(String, String)> {
        list.iter().map(|(a, b)| ((*a).to_owned(), (*b).to_owned())).collect()
    }

    #[test]
    fn every_kind_of_trial_survives_its_form() {
        let drafts = [
            (Measure::Load, Draft { load: "102.5".into(), ..Draft::default() }),
            (Measure::Load, Draft { load: "100".into(), reps: "3".into(), ..Draft::default() }),
            (Measure::Time, Draft { result: "10.84".into(), wind: "-1.3".into(), ..Draft::default() }),
            (Measure::Distance, Draft { result: "2.61".into(), ..Draft::default() }),
            (Measure::Reps, Draft { reps: "12".into(), ..Draft::default() }),
            (
                Measure::Hops,
                Draft {
                    rows: rows(&[("520", "180"), ("500", "170")]),
                    mass: "72".into(),
                    ..Draft::default()
                },
            ),
            (Measure::Splits, Draft { rows: rows(&[("1.05", ""), ("1.98", "")]), ..Draft::default() }),
            (Measure::Speed, Draft { rows: rows(&[("0.62", ""), ("0.6", "")]), ..Draft::default() }),
        ];
        for (measure, draft) in drafts {
            let draft = Draft { conditions: "wet track".into(), ..draft };
            let trial = draft.read(&blank(), measure, KG).unwrap_or_else(|e| panic!("{measure:?} {e:?}"));
            assert_eq!(Draft::of(&trial, measure, KG), draft);
        }
    }

    #[test]
    fn seconds_of_a_hop_are_milliseconds_too_and_empty_rows_at_the_end_are_none() {
        let draft = Draft { rows: rows(&[("0.52", "0,18"), ("", " ")]), ..Draft::default() };
        let trial = draft.read(&blank(), Measure::Hops, KG).unwrap();
        let ms = |t: Option<Times>| t.unwrap().0.iter().map(|d| d.get()).collect::<Vec<_>>();
        assert_eq!((ms(trial.flights), ms(trial.touches)), (vec![520], vec![180]));
    }

    #[test]
    fn each_wrong_field_is_told_in_its_place() {
        let fields = |draft: &Draft, measure| -> Vec<Field> {
            draft.read(&blank(), measure, KG).unwrap_err().iter().map(|(f, _)| *f).collect()
        };
        let hops = Draft { rows: rows(&[("520", "180"), ("", ""), ("5", "170")]), ..Draft::default() };
        assert_eq!(fields(&hops, Measure::Hops), [Field::Row(1), Field::Row(2)]);
        assert_eq!(fields(&Draft::default(), Measure::Hops), [Field::Row(0)]);
        let times = Draft { rows: rows(&[("2", ""), ("1", "")]), ..Draft::default() };
        assert_eq!(fields(&times, Measure::Splits), [Field::Row(1)]);
        let run = Draft { result: "fast".into(), wind: "much".into(), ..Draft::default() };
        assert_eq!(fields(&run, Measure::Time), [Field::Result, Field::Wind]);
        let lift = Draft { reps: "two".into(), ..Draft::default() };
        assert_eq!(fields(&lift, Measure::Load), [Field::Load, Field::Reps]);
    }

    #[test]
    fn the_next_trial_begins_without_a_result() {
        let draft = Draft {
            rows: rows(&[("520", "180")]),
            wind: "1.2".into(),
            mass: "72".into(),
            conditions: "grass".into(),
            ..Draft::default()
        };
        let next = draft.next();
        assert_eq!((next.rows.len(), next.rows[0].0.as_str(), next.wind.as_str()), (1, "", ""));
        assert_eq!((next.mass.as_str(), next.conditions.as_str()), ("72", "grass"));
    }

    #[test]
    fn what_a_test_does_not_measure_stays_out_of_it() {
        let draft = Draft { load: "100".into(), result: "2.6".into(), wind: "1".into(), ..Draft::default() };
        let lift = draft.read(&blank(), Measure::Load, KG).unwrap();
        assert_eq!((lift.value, lift.wind), (None, None));
    }
}
