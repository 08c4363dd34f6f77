//! Hurdles: layouts that must close, touchdown times, rhythm, fade. Knows distances and times.

use super::computed::{given, outputs};
use super::hurdle_data::{
    AGES, APPROACH_100, APPROACH_110, FEDERATIONS, LAYOUTS, RACES, SEXES, TOUCHDOWNS_100, TOUCHDOWNS_110,
};
use super::rep_tables::interpolate;
use super::stats::{count, mean};
use super::{Caution, Computation, Formula, Input, Reason, Standing};

const FIRST: Input = Input::number("first", "m, start to the first hurdle", 5.0, 60.0);
const BETWEEN: Input = Input::number("between", "m", 4.0, 40.0);
const SLIDES: &str = "coaching slide set of 2013, secondary source";

/// Positions of `n` hurdles, m.
fn positions(first: f64, between: f64, n: u32) -> Vec<f64> {
    (0..n).map(|i| first + f64::from(i) * between).collect()
}

/// A layout and whether it closes.
pub static LAYOUT: Formula = Formula {
    id: "hurdles.layout",
    name: "Length of a race from its hurdle layout",
    rule: "first + (n - 1) between + run-in",
    source: "arithmetic; distances as the layout table names them",
    standing: Standing::Derived,
    domain: "give the distance of the race to have the layout refused when it does not close",
    units: &[("value", "m")],
    trap: "layouts differ by federation, sex, age and year",
    caution: None,
    inputs: &[
        Input::text("name", "what the layout is called"),
        FIRST,
        BETWEEN,
        Input::whole("n", "hurdles", 1.0, 20.0),
        Input::number("run_in", "m", 5.0, 60.0),
        Input::number("distance", "m", 30.0, 400.0).maybe(),
    ],
    example: &[("name", "110H"), ("first", "13.72"), ("between", "9.14"), ("n", "10"), ("run_in", "14.02")],
    run: |a| {
        let (name, first, between) = (a.text("name")?, a.number("first")?, a.number("between")?);
        let (n, run_in) = (a.number("n")?, a.number("run_in")?);
        Ok(layout(name, first, between, n, run_in, a.maybe_number("distance")?).into())
    },
    ..Formula::BLANK
};

/// Length in m of the layout `name`: `first`, `between` and `run_in` in m, `n` hurdles.
///
/// # Errors
/// Inputs outside their limits, or a layout that does not close on `distance` (m) within 1 mm.
pub fn layout(
    name: String,
    first: f64,
    between: f64,
    n: f64,
    run_in: f64,
    distance: Option<f64>,
) -> Computation<f64> {
    let given = given!["name" => name, "first" => first, "between" => between, "n" => n,
                       "run_in" => run_in, "distance" => distance];
    LAYOUT.compute(given, |_| {
        let total = first + (n - 1.0) * between + run_in;
        if distance.is_some_and(|d| (d - total).abs() > 0.001) {
            return Err(Reason::Contradiction { rule: "the layout does not add up to the race" });
        }
        Ok(total)
    })
}

outputs! {
    /// A stored layout.
    StoredLayout {
        /// Height of a hurdle, m.
        height: f64,
        /// Start to the first hurdle, m.
        first: f64,
        /// Between hurdles, m.
        between: f64,
        /// Number of hurdles.
        n: u32,
        /// Last hurdle to the finish, m.
        run_in: f64,
        /// Length of the race, m.
        distance: f64,
        /// Positions of the hurdles, m from the start.
        positions: Vec<f64>,
        /// Where the row was read.
        origin: &'static str,
    }
}

/// Layout of a race.
pub static FIND: Formula = Formula {
    id: "hurdles.find",
    name: "Hurdle layout by federation, sex and age",
    rule: "a table; positions = first + (i - 1) between",
    source: "each row names its origin",
    standing: Standing::Read,
    domain: "rows that say `from memory` or `secondary source` need the rule book",
    units: &[
        ("height", "m"),
        ("first", "m"),
        ("between", "m"),
        ("n", "hurdles"),
        ("run_in", "m"),
        ("distance", "m"),
        ("positions", "m"),
        ("origin", ""),
    ],
    trap: "0.840 of old rules became 0.838; schools and federations differ",
    caution: Some(Caution::SprintExposure),
    inputs: &[
        Input::word("federation", "federation", FEDERATIONS).or("world"),
        Input::word("race", "race", RACES),
        Input::word("sex", "sex", SEXES),
        Input::word("age", "age group", AGES).or("senior"),
    ],
    example: &[("race", "400H"), ("sex", "women")],
    run: |a| {
        let (federation, race) = (a.word("federation")?, a.word("race")?);
        Ok(find(federation, race, a.word("sex")?, a.word("age")?).into())
    },
    ..Formula::BLANK
};

/// The stored layout of `race` for `sex` and `age` in `federation`.
///
/// # Errors
/// No such row.
pub fn find(
    federation: &'static str,
    race: &'static str,
    sex: &'static str,
    age: &'static str,
) -> Computation<StoredLayout> {
    FIND.compute(given![federation, race, sex, age], |_| {
        let row = LAYOUTS
            .iter()
            .find(|row| row.federation == federation && row.race == race && row.sex == sex && row.age == age);
        let row = row.ok_or(Reason::NoEntry { what: "race, sex and age group" })?;
        Ok(StoredLayout {
            height: row.height,
            first: row.first,
            between: row.between,
            n: row.hurdles,
            run_in: row.run_in,
            distance: row.distance,
            positions: positions(row.first, row.between, row.hurdles),
            origin: row.origin,
        })
    })
}

const SPRINT_HURDLES: &[&str] = &["110H", "100H"];

/// Touchdown times for a goal.
pub static TOUCHDOWN: Formula = Formula {
    id: "hurdles.touchdown",
    name: "Touchdown times for a goal time",
    rule: "straight line between the two neighbouring rows of the table",
    source: SLIDES,
    standing: Standing::Secondary,
    domain: "110H: 12.8 to 15.5 s; 100H: 11.8 to 13.8 s; touchdown of the lead leg after hurdle 1 \
             to 10",
    units: &[("value", "s from the gun")],
    trap: "a resolution of 0.1 s: differences of 0.1 between units are rounding",
    caution: Some(Caution::SprintExposure),
    inputs: &[Input::word("race", "race", SPRINT_HURDLES), Input::number("goal", "s", 11.0, 16.0)],
    example: &[("race", "110H"), ("goal", "14.0")],
    run: |a| Ok(touchdown(a.word("race")?, a.number("goal")?).into()),
    ..Formula::BLANK
};

/// Touchdown times (s from the gun) after each hurdle of `race` for the final time `goal` (s).
///
/// # Errors
/// Inputs outside their limits, or a goal outside the table.
pub fn touchdown(race: &'static str, goal: f64) -> Computation<Vec<f64>> {
    TOUCHDOWN.compute(given![race, goal], |notes| {
        notes.say("read to a tenth of a second: smaller differences mean nothing");
        let table: &[_] = if race == "110H" { &TOUCHDOWNS_110 } else { &TOUCHDOWNS_100 };
        let goals: Vec<f64> = table.iter().map(|(goal, _)| *goal).collect();
        let outside = Reason::NoEntry { what: "goal time" };
        (0..10)
            .map(|hurdle| {
                let column = table.iter().filter_map(|(_, row)| row.get(hurdle).copied());
                interpolate(&goals, &column.collect::<Vec<_>>(), goal).ok_or(outside.clone())
            })
            .collect()
    })
}

outputs! {
    /// Splits between touchdowns.
    Units {
        /// Time from touchdown to touchdown, s.
        units: Vec<f64>,
        /// Speed over each unit, m/s.
        speeds: Vec<f64>,
        /// Fastest unit, s.
        best: f64,
        /// Which unit that is, from 1.
        best_at: f64,
        /// Mean of the last two units against the fastest, %.
        fade: f64,
        /// Last touchdown to the finish, s; absent without a final time.
        run_in: Option<f64>,
    }
}

/// Splits from touchdowns.
pub static UNITS: Formula = Formula {
    id: "hurdles.units",
    name: "Hurdle units, fastest unit and fade",
    rule: "differences of touchdowns; fade = 100 (mean of the last two / fastest - 1)",
    source: "common practice, no source",
    standing: Standing::CommonPractice,
    domain: "at least three touchdowns of one race, rising",
    units: &[
        ("units", "s"),
        ("speeds", "m/s"),
        ("best", "s"),
        ("best_at", "unit"),
        ("fade", "%"),
        ("run_in", "s"),
    ],
    trap: "the error of two readings is in each unit: judge against it, not against zero",
    caution: None,
    inputs: &[
        Input::list("touchdowns", "s from the gun, rising", 0.5, 120.0).items(3, 20),
        BETWEEN,
        Input::number("finish", "s", 1.0, 130.0).maybe(),
    ],
    example: &[
        ("touchdowns", "2.6,3.6,4.7,5.8,6.9,8.1,9.3,10.5,11.7,12.9"),
        ("between", "9.14"),
        ("finish", "14.4"),
    ],
    run: |a| {
        let touchdowns = a.list("touchdowns")?;
        Ok(units(&touchdowns, a.number("between")?, a.maybe_number("finish")?).into())
    },
    ..Formula::BLANK
};

/// Units of the `touchdowns` (s) with hurdles `between` m apart, and the run-in to `finish` (s).
///
/// # Errors
/// Inputs outside their limits or times that do not rise.
pub fn units(touchdowns: &[f64], between: f64, finish: Option<f64>) -> Computation<Units> {
    let given = given!["touchdowns" => touchdowns, "between" => between, "finish" => finish];
    UNITS.compute(given, |_| {
        if !touchdowns.is_sorted_by(|a, b| a < b) {
            return Err(Reason::NotRising { input: "touchdowns" });
        }
        let few = Reason::TooFew { input: "touchdowns", needed: 3 };
        let last = *touchdowns.last().ok_or(few.clone())?;
        if finish.is_some_and(|f| f <= last) {
            return Err(Reason::NotRising { input: "touchdowns and finish" });
        }
        let units: Vec<f64> = touchdowns.iter().zip(touchdowns.iter().skip(1)).map(|(a, b)| b - a).collect();
        let fastest = units.iter().enumerate().min_by(|a, b| a.1.total_cmp(b.1));
        let (at, best) = fastest.map(|(i, b)| (count(i + 1), *b)).ok_or(few.clone())?;
        let tail: Vec<f64> = units.iter().rev().take(2).copied().collect();
        let tail = mean(&tail).ok_or(few)?;
        Ok(Units {
            speeds: units.iter().map(|u| between / u).collect(),
            units,
            best,
            best_at: at,
            fade: 100.0 * (tail / best - 1.0),
            run_in: finish.map(|f| f - last),
        })
    })
}

outputs! {
    /// What the hurdles cost.
    Differential {
        /// Hurdles time - flat time, s.
        value: f64,
        /// The same per hurdle, s.
        per_hurdle: f64,
    }
}

/// Hurdles against flat.
pub static DIFFERENTIAL: Formula = Formula {
    id: "hurdles.differential",
    name: "What the hurdles cost against the flat race",
    rule: "hurdles time - flat time of the same distance; per hurdle = that / n",
    source: "common practice, no source",
    standing: Standing::CommonPractice,
    domain: "same distance, same season, same kind of timing",
    units: &[("value", "s"), ("per_hurdle", "s")],
    trap: "110 m have no flat race; a stale flat time makes technique look good",
    caution: None,
    inputs: &[
        Input::number("hurdles", "s", 5.0, 130.0),
        Input::number("flat", "s", 5.0, 130.0),
        Input::whole("n", "hurdles", 1.0, 20.0).or("10"),
    ],
    example: &[("hurdles", "52.4"), ("flat", "49.1")],
    run: |a| Ok(differential(a.number("hurdles")?, a.number("flat")?, a.number("n")?).into()),
    ..Formula::BLANK
};

/// `hurdles` (s) - `flat` (s), also per each of `n` hurdles.
///
/// # Errors
/// An input outside its limits, or a hurdles time below the flat time.
pub fn differential(hurdles: f64, flat: f64, n: f64) -> Computation<Differential> {
    DIFFERENTIAL.compute(given![hurdles, flat, n], |_| {
        if hurdles < flat {
            return Err(Reason::Contradiction { rule: "the hurdles time is below the flat time" });
        }
        Ok(Differential { value: hurdles - flat, per_hurdle: (hurdles - flat) / n })
    })
}

outputs! {
    /// Two halves of a race.
    Halves {
        /// Second half - first half, s.
        difference: f64,
        /// The same as % of the first half.
        percent: f64,
    }
}

/// Halves of a race.
pub static HALVES: Formula = Formula {
    id: "hurdles.halves",
    name: "Second half against first half",
    rule: "(final time - time at half) - time at half",
    source: "common practice, no source",
    standing: Standing::CommonPractice,
    domain: "400 m hurdles with the touchdown of hurdle 5 as the half, or any measured half",
    units: &[("difference", "s"), ("percent", "%")],
    trap: "the touchdown of hurdle 5 lies a little past 185 m: compare like with like",
    caution: None,
    inputs: &[Input::number("half", "s", 5.0, 70.0), Input::number("finish", "s", 10.0, 130.0)],
    example: &[("half", "24.6"), ("finish", "52.4")],
    run: |a| Ok(halves(a.number("half")?, a.number("finish")?).into()),
    ..Formula::BLANK
};

/// Second half against first, from the time at `half` (s) and the `finish` (s).
///
/// # Errors
/// An input outside its limits, or a finish not after the half.
pub fn halves(half: f64, finish: f64) -> Computation<Halves> {
    HALVES.compute(given![half, finish], |_| {
        if finish <= half {
            return Err(Reason::NotRising { input: "half and finish" });
        }
        let difference = finish - 2.0 * half;
        Ok(Halves { difference, percent: 100.0 * difference / half })
    })
}

outputs! {
    /// Step length of a rhythm.
    Rhythm {
        /// Mean length of a running step, m.
        step: f64,
        /// Way that the steps cover, m.
        running: f64,
        /// Steps per second, if the time of the unit was given (steps and the hurdle stride).
        frequency: Option<f64>,
    }
}

/// Rhythm between hurdles.
pub static RHYTHM: Formula = Formula {
    id: "hurdles.rhythm",
    name: "Step length for a number of steps between hurdles",
    rule: "(between - take-off distance - landing distance) / steps",
    source: "arithmetic; distances are common practice, no source",
    standing: Standing::Derived,
    domain: "take-off 1.0 to 2.6 m before, landing 0.5 to 2.0 m behind the hurdle; 1 to 25 steps",
    units: &[("step", "m"), ("running", "m"), ("frequency", "per s")],
    trap: "the hurdle stride is not one of the steps; odd numbers keep the lead leg",
    caution: Some(Caution::SprintExposure),
    inputs: &[
        BETWEEN,
        Input::number("takeoff", "m before the hurdle", 1.0, 2.6),
        Input::number("landing", "m behind the hurdle", 0.5, 2.0),
        Input::whole("steps", "between hurdles", 1.0, 25.0),
        Input::number("unit", "s from touchdown to touchdown", 0.5, 8.0).maybe(),
    ],
    example: &[("between", "35"), ("takeoff", "2.1"), ("landing", "1.2"), ("steps", "15")],
    run: |a| {
        let (between, takeoff) = (a.number("between")?, a.number("takeoff")?);
        let (landing, steps) = (a.number("landing")?, a.number("steps")?);
        Ok(rhythm(between, takeoff, landing, steps, a.maybe_number("unit")?).into())
    },
    ..Formula::BLANK
};

/// Step length of `steps` steps between hurdles `between` m apart, with take-off and landing
/// distances in m and the time of a `unit` (s) if known.
///
/// # Errors
/// An input outside its limits, or no room for a step.
pub fn rhythm(
    between: f64,
    takeoff: f64,
    landing: f64,
    steps: f64,
    unit: Option<f64>,
) -> Computation<Rhythm> {
    let given = given!["between" => between, "takeoff" => takeoff, "landing" => landing,
                       "steps" => steps, "unit" => unit];
    RHYTHM.compute(given, |notes| {
        let running = between - takeoff - landing;
        if running <= 0.0 {
            return Err(Reason::Contradiction { rule: "no room for a step between the hurdles" });
        }
        let step = running / steps;
        notes.say_if(steps % 2.0 == 0.0, "an even number of steps changes the lead leg");
        notes.say_if(!(0.8..=2.9).contains(&step), "an unusual step length");
        Ok(Rhythm { step, running, frequency: unit.map(|t| (steps + 1.0) / t) })
    })
}

outputs! {
    /// Approach to the first hurdle.
    Approach {
        /// Marks of the steps, m from the start.
        marks: Vec<f64>,
        /// Lengths of the steps, m.
        steps: Vec<f64>,
        /// Distance of the take-off before the first hurdle, m.
        takeoff: f64,
    }
}

/// Approach marks.
pub static APPROACH: Formula = Formula {
    id: "hurdles.approach",
    name: "Approach marks of eight steps to the first hurdle",
    rule: "a table; take-off = first hurdle - last mark",
    source: SLIDES,
    standing: Standing::Secondary,
    domain: "eight steps; take-off targets 1.80 to 2.00 m (women), 2.10 to 2.20 m (men)",
    units: &[("marks", "m"), ("steps", "m"), ("takeoff", "m")],
    trap: "marks are a start for a conversation, not a template for a body",
    caution: Some(Caution::SprintExposure),
    inputs: &[Input::word("race", "race", SPRINT_HURDLES)],
    example: &[("race", "100H")],
    run: |a| Ok(approach(a.word("race")?).into()),
    ..Formula::BLANK
};

/// The stored approach marks of `race`.
///
/// # Errors
/// An unknown race.
pub fn approach(race: &'static str) -> Computation<Approach> {
    APPROACH.compute(given![race], |_| {
        let (marks, first) = if race == "110H" { (APPROACH_110, 13.72) } else { (APPROACH_100, 13.0) };
        let mut before = 0.0;
        let steps = marks.iter().map(|mark| mark - std::mem::replace(&mut before, *mark)).collect();
        let last = marks.last().copied().unwrap_or(0.0);
        Ok(Approach { marks: marks.to_vec(), steps, takeoff: first - last })
    })
}

/// Every formula of this file.
pub static ALL: &[&Formula] =
    &[&LAYOUT, &FIND, &TOUCHDOWN, &UNITS, &DIFFERENTIAL, &HALVES, &RHYTHM, &APPROACH];
