//! A trial as it is typed and printed back, for a coach's test day and an athlete's phone. Plain functions; what a
//! trial comes to is said by core.
//!
//! In one field, by what the test measures: "100" or "100x3" kilograms; "10.84"; "2.61" in the test's unit; "12" repetitions;
//! "0.52/0.18 0.50/0.17" flight and contact of each hop (or "520/180" in ms); "1.05 1.98 2.90" times since the
//! start; "0.62 0.60" bar speeds. Wind after a w: "10.84 w1.3".

pub mod caution;

use backstraight_core::doc::read::Entry;
use backstraight_core::model::log::Trial;
use backstraight_core::model::number::{Duration, Measure, Value, Wind};
use backstraight_core::model::packed::Times;
use backstraight_core::model::plan::Protocol;
use backstraight_core::view::marks::{self, Mark, Reading};

use crate::parse::{self, Masses, Mistake};
use crate::words::{Word, word};

/// What was read, or what is wrong with it.
pub type Read<T> = Result<T, String>;

/// A result's mistake in words.
///
/// # Errors
/// The same in words.
pub fn words<T>(got: Result<T, Mistake>) -> Read<T> {
    got.map_err(|m| m.words())
}

/// What the field of a trial takes.
#[must_use]
pub const fn hint(measure: Measure) -> Word {
    match measure {
        Measure::Load => word("trial.load"),
        Measure::Time => word("trial.time"),
        Measure::Distance => word("trial.distance"),
        Measure::Reps => word("trial.reps"),
        Measure::Hops => word("trial.hops"),
        Measure::Splits => word("trial.splits"),
        Measure::Speed => word("trial.speed"),
    }
}

/// Flight or contact of a hop: seconds with a decimal sign, milliseconds without.
///
/// # Errors
/// When it is neither.
pub fn hop_time(text: &str) -> Read<Duration> {
    if text.contains(['.', ',']) {
        return words(parse::time(text));
    }
    let ms = words(parse::decimal(text, 0))?;
    if !(20..=5_000).contains(&ms) {
        return Err(Mistake::Form("0.52/0.18 or 520/180").words());
    }
    Duration::new(ms).map_err(|e| e.to_string())
}

fn hops(text: &str) -> Read<(Times, Times)> {
    let (mut flights, mut touches) = (Vec::new(), Vec::new());
    for pair in text.split_whitespace() {
        let (flight, touch) =
            pair.split_once('/').ok_or_else(|| Mistake::Form("0.52/0.18 0.50/0.17").words())?;
        flights.push(hop_time(flight)?);
        touches.push(hop_time(touch)?);
    }
    match flights.len() {
        0 => Err(Mistake::Empty.words()),
        1..=120 => Ok((Times(flights), Times(touches))),
        _ => Err(Mistake::Form("0.52/0.18 0.50/0.17").words()),
    }
}

fn splits(text: &str) -> Read<Times> {
    in_order(text.split_whitespace().map(|t| words(parse::time(t))).collect::<Read<_>>()?)
}

/// Times since the start, each later than the one before.
///
/// # Errors
/// When there is none, one is not later, or there are too many.
pub fn in_order(all: Vec<Duration>) -> Read<Times> {
    let rising = all.windows(2).all(|w| w.first() < w.get(1));
    if all.is_empty() || all.len() > 120 || !rising {
        Err(Mistake::Form("1.05 1.98 2.90").words())
    } else {
        Ok(Times(all))
    }
}

/// A trial without what it measured; all that stands around it stays.
#[must_use]
pub fn without_result(base: &Trial) -> Trial {
    Trial {
        value: None,
        load: None,
        reps: None,
        flights: None,
        touches: None,
        splits: None,
        speeds: None,
        ..base.clone()
    }
}

/// A trial with what was typed; wind stays as it was where none is typed.
///
/// # Errors
/// What is wrong with it.
pub fn read(base: &Trial, measure: Measure, text: &str) -> Read<Trial> {
    let text = text.trim();
    let (text, wind) = match text.rsplit_once('w') {
        Some((rest, wind)) => (rest.trim(), Some(words(parse::wind(wind))?)),
        None => (text, base.wind),
    };
    let blank = Trial { wind, ..without_result(base) };
    Ok(match measure {
        Measure::Load => {
            let (load, reps) = match text.split_once('x') {
                Some((load, reps)) => (load.trim(), Some(words(parse::reps(reps))?)),
                None => (text, None),
            };
            Trial { load: Some(words(parse::load(load, Masses::Kilograms))?), reps, ..blank }
        }
        Measure::Time => {
            let ms = words(parse::time(text))?.get();
            Trial { value: Some(Value::new(ms).map_err(|e| e.to_string())?), ..blank }
        }
        Measure::Distance => Trial { value: Some(words(parse::value(text))?), ..blank },
        Measure::Reps => Trial { reps: Some(words(parse::reps(text))?), ..blank },
        Measure::Hops => {
            let (flights, touches) = hops(text)?;
            Trial { flights: Some(flights), touches: Some(touches), ..blank }
        }
        Measure::Splits => Trial { splits: Some(splits(text)?), ..blank },
        Measure::Speed => Trial { speeds: Some(words(parse::speeds(text))?), ..blank },
    })
}

fn list(times: &Times) -> Vec<String> {
    times.0.iter().map(|t| parse::time_text(*t)).collect()
}

/// A trial as it would be typed, without its wind.
#[must_use]
pub fn print(t: &Trial, measure: Measure) -> String {
    let found = match measure {
        Measure::Load => t.load.map(|l| {
            let load = parse::load_text(l, Masses::Kilograms);
            t.reps.map_or_else(|| load.clone(), |r| format!("{load}x{}", r.get()))
        }),
        Measure::Time => t.value.and_then(|v| Duration::new(v.get()).ok()).map(parse::time_text),
        Measure::Distance => None,
        Measure::Reps => t.reps.map(|r| r.get().to_string()),
        Measure::Hops => t.flights.as_ref().zip(t.touches.as_ref()).map(|(f, c)| {
            let pairs = list(f).into_iter().zip(list(c));
            // A whole second keeps its decimal sign, or it would read as milliseconds.
            let signed = |s: String| if s.contains('.') { s } else { format!("{s}.0") };
            pairs.map(|(f, c)| format!("{}/{}", signed(f), signed(c))).collect::<Vec<_>>().join(" ")
        }),
        Measure::Splits => t.splits.as_ref().map(|s| list(s).join(" ")),
        Measure::Speed => t.speeds.as_ref().map(parse::speeds_text),
    };
    found.or_else(|| t.value.map(|v| parse::plain(v.get(), 3))).unwrap_or_default()
}

/// Wind as it is typed.
#[must_use]
pub fn wind_text(wind: Option<Wind>) -> String {
    wind.map_or_else(String::new, |w| parse::plain(w.get(), 3))
}

/// What a trial comes to, as a figure: three places, none for large numbers.
#[must_use]
pub fn figure(value: f64) -> String {
    if value.abs() >= 1_000.0 {
        return format!("{value:.0}");
    }
    let text = format!("{value:.3}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// What trials come to, and which is the best. A trial that does not hold what the test measures comes to
/// nothing.
#[must_use]
pub fn best(trials: &[Entry<Trial>], protocol: &Protocol) -> (Vec<Option<Mark>>, Option<usize>) {
    let all: Vec<Option<Mark>> =
        trials.iter().map(|t| marks::mark(t, protocol, &|_| None, Reading::Result).ok()).collect();
    let mut best: Option<(usize, f64)> = None;
    for (i, mark) in all.iter().enumerate() {
        let Some(mark) = mark else { continue };
        if best.is_none_or(|(_, value)| marks::better(protocol.better, mark.value, value)) {
            best = Some((i, mark.value));
        }
    }
    (all, best.map(|(i, _)| i))
}

#[cfg(test)]
mod tests {
    use super::*;
    use backstraight_core::base::key::Key;
    use backstraight_core::base::moment::Moment;
    use backstraight_core::doc::place::Place;
    use backstraight_core::model::number::{Better, Text};

    fn key(n: u32) -> Key {
        format!("abcdef-{n}").parse().unwrap()
    }

    fn blank() -> Trial {
        Trial::new("2026-11-26".parse().unwrap(), Moment(1_795_600_800_000), key(1))
    }

    fn protocol(measure: Measure, better: Better) -> Protocol {
        Protocol::new(Text::new("Test").unwrap(), measure, better)
    }

    fn entries(measure: Measure, texts: &[&str]) -> Vec<Entry<Trial>> {
        let one = |(i, text): (usize, &&str)| Entry {
            place: Place::of("trials", &key(u32::try_from(i).unwrap() + 10)),
            record: read(&blank(), measure, text).unwrap(),
            gone: None,
            unread: Vec::new(),
            met: Vec::new(),
        };
        texts.iter().enumerate().map(one).collect()
    }

    #[test]
    fn every_measure_reads_back() {
        for (measure, text) in [
            (Measure::Load, "102.5"),
            (Measure::Load, "100x3"),
            (Measure::Time, "10.84"),
            (Measure::Time, "1:52.3"),
            (Measure::Distance, "2.61"),
            (Measure::Reps, "12"),
            (Measure::Hops, "0.52/0.18 1.0/0.17"),
            (Measure::Splits, "1.05 1.98 2.9"),
            (Measure::Speed, "0.62 0.6"),
        ] {
            let trial = read(&blank(), measure, text).unwrap_or_else(|e| panic!("{text}: {e}"));
            assert_eq!(print(&trial, measure), text);
        }
        let ms = read(&blank(), Measure::Hops, "520/180").unwrap();
        assert_eq!(print(&ms, Measure::Hops), "0.52/0.18");
    }

    #[test]
    fn wind_is_typed_behind_a_w_and_stays() {
        let trial = read(&blank(), Measure::Time, "10.84 w-1.3").unwrap();
        assert_eq!(trial.wind.map(Wind::get), Some(-1_300));
        let next = read(&trial, Measure::Time, "10.79").unwrap();
        assert_eq!((next.wind, wind_text(next.wind)), (trial.wind, "-1.3".to_owned()));
        assert!(read(&blank(), Measure::Time, "10.84 wind").is_err());
    }

    #[test]
    fn what_is_no_trial_is_refused() {
        for (measure, text) in [
            (Measure::Load, "heavy"),
            (Measure::Time, ""),
            (Measure::Hops, "0.52"),
            (Measure::Hops, "5/4"),
            (Measure::Hops, ""),
            (Measure::Splits, "2.9 1.05"),
            (Measure::Splits, ""),
            (Measure::Reps, "1.5"),
        ] {
            assert!(read(&blank(), measure, text).is_err(), "{text}");
        }
    }

    #[test]
    fn the_best_is_the_one_that_is_better() {
        let jumps = entries(Measure::Distance, &["2.5", "2.61", "2.6"]);
        assert_eq!(best(&jumps, &protocol(Measure::Distance, Better::Higher)).1, Some(1));
        let runs = entries(Measure::Splits, &["1.05 4.2", "1.1 4.15", "1.0 4.3"]);
        let (marks, at) = best(&runs, &protocol(Measure::Splits, Better::Lower));
        assert_eq!((at, marks[1].as_ref().map(|m| m.value)), (Some(1), Some(4.15)));
        // A load for three repetitions is no maximum; it comes to nothing here.
        let lifts = entries(Measure::Load, &["100x3", "95"]);
        let (marks, at) = best(&lifts, &protocol(Measure::Load, Better::Higher));
        assert_eq!((marks[0].is_none(), at), (true, Some(1)));
        assert_eq!(best(&[], &protocol(Measure::Load, Better::Higher)), (Vec::new(), None));
    }

    #[test]
    fn figures_have_no_needless_places() {
        assert_eq!(
            (figure(7.850), figure(102.5), figure(29_538.455)),
            ("7.85".into(), "102.5".into(), "29538".into())
        );
        assert_eq!((figure(0.0), figure(120.0)), ("0".into(), "120".into()));
    }

    #[test]
    fn hops_are_reckoned_by_core() {
        let hops = entries(Measure::Hops, &["0.5/0.2"]);
        let (marks, _) = best(&hops, &protocol(Measure::Hops, Better::Higher));
        let mark = marks[0].as_ref().unwrap();
        // Height of 0.5 s of flight, g t² / 8 = 0.30646 m, over 0.2 s of contact.
        assert!((mark.value - 1.532_289).abs() < 1e-5, "{}", mark.value);
        assert!(mark.formula.is_some());
    }
}
