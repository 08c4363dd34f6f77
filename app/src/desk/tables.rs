//! What phases, meets, exercises, venues, tests and settings are made of, as tables of fields. Plain functions.

use backstraight_core::base::day::Day;
use backstraight_core::base::key::Key;
use backstraight_core::model::number::{
    Aim, Better, Count, Impact, Intent, Load, Measure, Name, Pattern, Priority, Reps, Share, Sides, Small,
    Thousandths, Value,
};
use backstraight_core::model::packed::{Lengths as LengthList, Loads, Plates};
use backstraight_core::model::plan::{
    Condition, Cue, Exercise, Meet, Phase, PlanAbout, Protocol, Settings, SquadSession, Template, Venue, Week,
};
use backstraight_core::view::library::Library;
use backstraight_core::view::show;

use super::fields::{Read, name, small, title};
use super::form::{FieldOf, Formed, How, choices, exercises};
use crate::kit::dates;
use crate::parse::{self, Lengths, Masses, Mistake};
use crate::words::{Word, say, word};

fn words<T>(got: Result<T, Mistake>) -> Read<T> {
    got.map_err(|m| m.words())
}

fn some<T>(text: &str, read: impl FnOnce(&str) -> Result<T, Mistake>) -> Read<Option<T>> {
    let text = text.trim();
    if text.is_empty() { Ok(None) } else { words(read(text)).map(Some) }
}

fn one_of<T: core::str::FromStr>(text: &str) -> Read<T> {
    text.parse().map_err(|_| Mistake::Empty.words())
}

fn shown<T: ToString>(value: Option<&T>) -> String {
    value.map_or_else(String::new, ToString::to_string)
}

fn key(text: &str) -> Option<Key> {
    text.parse().ok()
}

fn outside(least: i64, most: i64, places: u32) -> Mistake {
    Mistake::Outside { least: parse::plain(least, places), most: parse::plain(most, places), unit: "" }
}

macro_rules! field {
    ($record:ident, $label:expr, $hint:expr, $how:expr, $print:expr, $read:expr) => {
        FieldOf::<$record> { label: $label, hint: $hint, how: $how, print: $print, read: $read }
    };
}

/// A text of the record that may be left out.
macro_rules! text {
    ($record:ident, $label:expr, $slot:ident, $how:expr) => {
        field!($record, $label, None, $how, |r| shown(r.$slot.as_ref()), |r, t| {
            Ok($record { $slot: name(t)?, ..r.clone() })
        })
    };
}

/// Its title or name.
macro_rules! titled {
    ($record:ident, $label:expr, $slot:ident) => {
        field!($record, $label, None, How::Text, |r| r.$slot.to_string(), |r, t| {
            Ok($record { $slot: title(t)?, ..r.clone() })
        })
    };
}

macro_rules! day {
    ($record:ident, $label:expr, $slot:ident) => {
        field!($record, $label, None, How::Date, |r| r.$slot.to_string(), |r, t| {
            Ok($record { $slot: words(parse::day(t))?, ..r.clone() })
        })
    };
}

/// A word of a list that must be chosen.
macro_rules! chosen {
    ($record:ident, $label:expr, $slot:ident, $kind:ident) => {
        field!(
            $record,
            $label,
            None,
            How::List(|_| choices($kind::ALL, false)),
            |r| r.$slot.to_string(),
            |r, t| { Ok($record { $slot: one_of(t)?, ..r.clone() }) }
        )
    };
}

/// A word of a list that may be left out.
macro_rules! may {
    ($record:ident, $label:expr, $slot:ident, $kind:ident) => {
        field!(
            $record,
            $label,
            None,
            How::List(|_| choices($kind::ALL, true)),
            |r| shown(r.$slot.as_ref()),
            |r, t| Ok($record { $slot: t.parse().ok(), ..r.clone() })
        )
    };
}

/// An exercise that may be left out.
macro_rules! exercise {
    ($record:ident, $label:expr, $slot:ident) => {
        field!($record, $label, None, How::List(exercises), |r| shown(r.$slot.as_ref()), |r, t| {
            Ok($record { $slot: key(t), ..r.clone() })
        })
    };
}

/// A number of thousandths with so many places, shown in a unit of ten to the minus `$places`.
macro_rules! scaled {
    ($record:ident, $label:expr, $hint:expr, $slot:ident, $kind:ident, $places:literal) => {
        field!(
            $record,
            $label,
            $hint,
            How::Text,
            |r| r.$slot.map_or_else(String::new, |v| parse::plain(v.get(), $places)),
            |r, t| {
                let read = |t: &str| {
                    let n = parse::decimal(t.trim_end_matches('%'), $places)?;
                    $kind::new(n).map_err(|_| outside($kind::MIN, $kind::MAX, $places))
                };
                Ok($record { $slot: some(t, read)?, ..r.clone() })
            }
        )
    };
}

macro_rules! formed {
    ($record:ident, $root:literal, $title:expr, $order:expr, $fields:expr) => {
        impl Formed for $record {
            const ROOT: &'static str = $root;
            const FIELDS: &'static [FieldOf<$record>] = &$fields;
            fn title(&self, library: &Library) -> String {
                let title: fn(&$record, &Library) -> String = $title;
                title(self, library)
            }
            fn order(&self) -> String {
                let order: fn(&$record) -> String = $order;
                order(self)
            }
        }
    };
}

const COMMON: Option<Word> = Some(word("form.common"));

formed!(
    PlanAbout,
    "about",
    |r, _| shown(r.title.as_ref()),
    |_| String::new(),
    [
        text!(PlanAbout, word("field.title"), title, How::Text),
        field!(PlanAbout, word("field.from"), None, How::Date, |r| shown(r.from.as_ref()), |r, t| Ok(
            PlanAbout { from: some(t, parse::day)?, ..r.clone() }
        )),
        field!(PlanAbout, word("field.to"), None, How::Date, |r| shown(r.to.as_ref()), |r, t| Ok(
            PlanAbout { to: some(t, parse::day)?, ..r.clone() }
        )),
        text!(PlanAbout, word("field.note"), note, How::Lines),
    ]
);

formed!(
    Phase,
    "phases",
    |r, _| format!("{}: {} – {}, {}", r.title, dates::short(r.from), dates::short(r.to), r.aim),
    |r| r.from.to_string(),
    [
        titled!(Phase, word("field.title"), title),
        day!(Phase, word("field.from"), from),
        day!(Phase, word("field.to"), to),
        chosen!(Phase, word("field.aim"), aim, Aim),
        text!(Phase, word("field.note"), note, How::Lines),
    ]
);

formed!(
    Week,
    "weeks",
    |r, _| {
        let easy = if r.easy == Some(true) { say("form.easy") } else { "" };
        format!("{} {} {easy}", dates::short(r.start), shown(r.title.as_ref())).trim().to_owned()
    },
    |r| r.start.to_string(),
    [
        text!(Week, word("field.title"), title, How::Text),
        field!(
            Week,
            word("field.easy"),
            None,
            How::List(|_| vec![
                (String::new(), say("form.no").to_owned()),
                ("yes".to_owned(), say("form.yes").to_owned())
            ]),
            |r| if r.easy == Some(true) { "yes".to_owned() } else { String::new() },
            |r, t| Ok(Week { easy: Some(t == "yes"), ..r.clone() })
        ),
        text!(Week, word("field.note"), note, How::Lines),
    ]
);

formed!(
    Condition,
    "conditions",
    |r, library| {
        let (ex, take) = (library.exercise_name(&r.ex), library.exercise_name(&r.take));
        format!("{}: {ex} → {take}", r.aim)
    },
    |r| r.aim.to_string(),
    [
        chosen!(Condition, word("field.in-phases"), aim, Aim),
        field!(
            Condition,
            word("field.where-asked"),
            None,
            How::List(exercises),
            |r| r.ex.to_string(),
            |r, t| { Ok(Condition { ex: one_of(t)?, ..r.clone() }) }
        ),
        field!(Condition, word("field.take"), None, How::List(exercises), |r| r.take.to_string(), |r, t| {
            Ok(Condition { take: one_of(t)?, ..r.clone() })
        }),
        text!(Condition, word("field.note"), note, How::Lines),
    ]
);

formed!(
    Meet,
    "meets",
    |r, _| format!("{}: {}, {}", dates::named(r.date), r.name, r.priority),
    |r| r.date.to_string(),
    [
        titled!(Meet, word("field.name"), name),
        day!(Meet, word("field.day"), date),
        chosen!(Meet, word("field.priority"), priority, Priority),
        scaled!(Meet, word("field.days"), None, days, Count, 0),
        text!(Meet, word("field.place"), place, How::Text),
        text!(Meet, word("field.events"), events, How::Text),
    ]
);

formed!(
    SquadSession,
    "sessions",
    |r, _| format!("{}: {}", dates::named(r.date), r.title),
    |r| r.date.to_string(),
    [
        titled!(SquadSession, word("field.title"), title),
        day!(SquadSession, word("field.day"), date),
        field!(
            SquadSession,
            word("field.starts"),
            None,
            How::Text,
            |r| r.starts.map_or_else(String::new, show::clock),
            |r, t| Ok(SquadSession { starts: some(t, parse::minute_of_day)?, ..r.clone() })
        ),
        field!(
            SquadSession,
            word("field.venue"),
            None,
            How::List(venues),
            |r| shown(r.venue.as_ref()),
            |r, t| { Ok(SquadSession { venue: key(t), ..r.clone() }) }
        ),
        text!(SquadSession, word("field.note"), note, How::Lines),
    ]
);

fn venues(library: &Library) -> Vec<(String, String)> {
    let live = library.venues.iter().filter(|(_, v)| v.live());
    let all = live.map(|(k, v)| (k.to_string(), v.record.name.to_string()));
    std::iter::once((String::new(), say("field.none").to_owned())).chain(all).collect()
}

formed!(
    Exercise,
    "exercises",
    |r, _| format!("{} ({}, {})", r.name, r.pattern, r.intent),
    |r| r.name.as_str().to_lowercase(),
    [
        titled!(Exercise, word("field.name"), name),
        chosen!(Exercise, word("field.pattern"), pattern, Pattern),
        chosen!(Exercise, word("field.intent"), intent, Intent),
        text!(Exercise, word("field.implement"), implement, How::Text),
        may!(Exercise, word("field.sides"), sides, Sides),
        field!(
            Exercise,
            word("field.contacts-each"),
            None,
            How::Text,
            |r| r.contacts.map_or_else(String::new, |n| n.get().to_string()),
            |r, t| Ok(Exercise { contacts: small(t)?, ..r.clone() })
        ),
        may!(Exercise, word("field.impact"), impact, Impact),
        text!(Exercise, word("field.measures"), measures, How::Text),
        exercise!(Exercise, word("field.ref-max"), ref_max),
        exercise!(Exercise, word("field.easier"), easier),
        exercise!(Exercise, word("field.harder"), harder),
        scaled!(Exercise, word("field.weight"), Some(word("field.weight.hint")), weight, Thousandths, 3),
        text!(Exercise, word("field.caution"), caution, How::Lines),
    ]
);

formed!(
    Cue,
    "cues",
    |r, library| {
        let of = r.ex.as_ref().map_or_else(String::new, |k| format!("{}: ", library.exercise_name(k)));
        format!("{of}{}", r.text)
    },
    |r| r.text.as_str().to_lowercase(),
    [titled!(Cue, word("field.words"), text), exercise!(Cue, word("field.exercise"), ex)]
);

fn loads(text: &str) -> Read<Option<Loads>> {
    let all: Vec<_> = text
        .split_whitespace()
        .map(|t| words(parse::load(t, Masses::Kilograms)))
        .collect::<Result<_, _>>()?;
    if all.len() > 80 {
        Err(say("form.too-many").to_owned())
    } else {
        Ok((!all.is_empty()).then_some(Loads(all)))
    }
}

fn loads_text(loads: Option<&Loads>) -> String {
    let one = |l: &Load| parse::load_text(*l, Masses::Kilograms);
    loads.map_or_else(String::new, |l| l.0.iter().map(one).collect::<Vec<_>>().join(" "))
}

/// "25x4 20x2": pairs of discs.
fn plates(text: &str) -> Read<Option<Plates>> {
    let one = |t: &str| {
        let (mass, n) = t.split_once('x').ok_or_else(|| Mistake::Form("25x4 20x2").words())?;
        let n: u8 = n.parse().map_err(|_| Mistake::Form("25x4 20x2").words())?;
        Ok((words(parse::load(mass, Masses::Kilograms))?, n))
    };
    let all: Vec<_> = text.split_whitespace().map(one).collect::<Read<_>>()?;
    if all.len() > 30 {
        Err(say("form.too-many").to_owned())
    } else {
        Ok((!all.is_empty()).then_some(Plates(all)))
    }
}

fn plates_text(plates: Option<&Plates>) -> String {
    let all = plates.iter().flat_map(|p| &p.0);
    all.map(|(m, n)| format!("{}x{n}", parse::load_text(*m, Masses::Kilograms))).collect::<Vec<_>>().join(" ")
}

fn heights(text: &str) -> Read<Option<LengthList>> {
    let all: Vec<_> = text
        .split_whitespace()
        .map(|t| words(parse::length(t, Lengths::Centimetres)))
        .collect::<Result<_, _>>()?;
    if all.len() > 40 {
        Err(say("form.too-many").to_owned())
    } else {
        Ok((!all.is_empty()).then_some(LengthList(all)))
    }
}

fn heights_text(list: Option<&LengthList>) -> String {
    let all = list.iter().flat_map(|l| &l.0);
    all.map(|l| parse::length_text(*l, Lengths::Centimetres)).collect::<Vec<_>>().join(" ")
}

formed!(
    Venue,
    "venues",
    |r, _| r.name.to_string(),
    |r| r.name.as_str().to_lowercase(),
    [
        titled!(Venue, word("field.name"), name),
        field!(
            Venue,
            word("field.bars"),
            Some(word("form.list.hint")),
            How::Text,
            |r| loads_text(r.bars.as_ref()),
            |r, t| { Ok(Venue { bars: loads(t)?, ..r.clone() }) }
        ),
        field!(
            Venue,
            word("field.plates"),
            Some(word("field.plates.hint")),
            How::Text,
            |r| plates_text(r.plates.as_ref()),
            |r, t| { Ok(Venue { plates: plates(t)?, ..r.clone() }) }
        ),
        scaled!(Venue, word("field.collar"), None, collar, Load, 2),
        field!(
            Venue,
            word("field.dumbbells"),
            Some(word("form.list.hint")),
            How::Text,
            |r| loads_text(r.dumbbells.as_ref()),
            |r, t| { Ok(Venue { dumbbells: loads(t)?, ..r.clone() }) }
        ),
        field!(
            Venue,
            word("field.hurdle-heights"),
            Some(word("form.heights.hint")),
            How::Text,
            |r| heights_text(r.hurdle_heights.as_ref()),
            |r, t| { Ok(Venue { hurdle_heights: heights(t)?, ..r.clone() }) }
        ),
        scaled!(Venue, word("field.hurdles"), None, hurdles, Small, 0),
        field!(
            Venue,
            word("field.boxes"),
            Some(word("form.heights.hint")),
            How::Text,
            |r| heights_text(r.boxes.as_ref()),
            |r, t| { Ok(Venue { boxes: heights(t)?, ..r.clone() }) }
        ),
        text!(Venue, word("field.surface"), surface, How::Text),
        text!(Venue, word("field.note"), note, How::Lines),
    ]
);

formed!(
    Protocol,
    "protocols",
    |r, _| format!("{} ({})", r.name, r.measure),
    |r| r.name.as_str().to_lowercase(),
    [
        titled!(Protocol, word("field.name"), name),
        chosen!(Protocol, word("field.measure"), measure, Measure),
        chosen!(Protocol, word("field.better"), better, Better),
        exercise!(Protocol, word("field.exercise"), ex),
        text!(Protocol, word("field.unit"), unit, How::Text),
        scaled!(Protocol, word("field.trials"), None, trials, Count, 0),
        scaled!(Protocol, word("field.noise"), Some(word("field.noise.hint")), noise, Value, 3),
        text!(Protocol, word("field.note"), note, How::Lines),
    ]
);

formed!(
    Template,
    "templates",
    |r, _| r.title.to_string(),
    |r| r.title.as_str().to_lowercase(),
    [
        titled!(Template, word("field.title"), title),
        text!(Template, word("field.focus"), focus, How::Text),
        text!(Template, word("field.note"), note, How::Lines),
    ]
);

formed!(
    Settings,
    "settings",
    |r, _| shown(r.name.as_ref()),
    |_| String::new(),
    [
        text!(Settings, word("field.club"), name, How::Text),
        scaled!(Settings, word("field.load-tolerance"), COMMON, load_tolerance, Thousandths, 1),
        scaled!(Settings, word("field.effort-tolerance"), COMMON, effort_tolerance, Thousandths, 3),
        scaled!(Settings, word("field.max-age"), COMMON, max_age_days, Small, 0),
        scaled!(Settings, word("field.junior-contacts"), COMMON, junior_contacts, Reps, 0),
        scaled!(Settings, word("field.done-from"), COMMON, done_from, Share, 1),
        scaled!(Settings, word("field.heavy-from"), COMMON, heavy_from, Share, 1),
        scaled!(Settings, word("field.silent-days"), COMMON, silent_days, Small, 0),
        scaled!(Settings, word("field.effort-gap"), COMMON, effort_gap, Thousandths, 3),
        scaled!(Settings, word("field.load-jump"), COMMON, load_jump, Thousandths, 3),
        scaled!(Settings, word("field.news-days"), COMMON, news_days, Small, 0),
        scaled!(Settings, word("field.end-days"), COMMON, end_days, Small, 0),
        scaled!(Settings, word("field.season-month"), COMMON, season_month, Small, 0),
    ]
);

/// A phase of four weeks from the next Monday.
///
/// # Errors
/// When it has no name.
pub fn new_phase(text: &str, today: Day) -> Read<Phase> {
    let from = today.week_start().plus(7);
    Ok(Phase::new(title(text)?, from, from.plus(27), Aim::General))
}

/// A meet, of which the day is to be said.
///
/// # Errors
/// When it has no name.
pub fn new_meet(text: &str, today: Day) -> Read<Meet> {
    Ok(Meet::new(title(text)?, today.plus(28), Priority::Second))
}

/// A day of the whole squad.
///
/// # Errors
/// When it has no name.
pub fn new_day(text: &str, today: Day) -> Read<SquadSession> {
    Ok(SquadSession::new(today.plus(7), title(text)?))
}

/// An exercise.
///
/// # Errors
/// When it has no name.
pub fn new_exercise(text: &str, _: Day) -> Read<Exercise> {
    Ok(Exercise::new(title(text)?, Pattern::Squat, Intent::Strength))
}

/// A cue for any exercise.
///
/// # Errors
/// When it has no name.
pub fn new_cue(text: &str, _: Day) -> Read<Cue> {
    Ok(Cue::new(title(text)?))
}

/// A venue that owns nothing yet.
///
/// # Errors
/// When it has no name.
pub fn new_venue(text: &str, _: Day) -> Read<Venue> {
    Ok(Venue::new(title(text)?))
}

/// A test.
///
/// # Errors
/// When it has no name.
pub fn new_protocol(text: &str, _: Day) -> Read<Protocol> {
    Ok(Protocol::new(title(text)?, Measure::Distance, Better::Higher))
}

/// A template without groups.
///
/// # Errors
/// When it has no name.
pub fn new_template(text: &str, _: Day) -> Read<Template> {
    let name: Name = title(text)?;
    Ok(Template::new(name))
}

#[cfg(test)]
#[path = "tables_tests.rs"]
mod tests;
