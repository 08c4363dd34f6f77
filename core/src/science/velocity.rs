//! Bar speed: load-velocity profile, slowest speed of a maximum, loss of speed in a set.
//! Knows speeds in m/s and loads in kg, no athlete.

use super::computed::{given, outputs};
use super::formula::Notes;
use super::stats::{Line, line};
use super::{Caution, Computation, Formula, Input, Reason, Standing};

/// Three quantities that must never share one profile.
pub const SPEEDS: &[&str] = &["mean", "propulsive", "peak"];
/// Kinds of lift that the profile treats differently.
pub const PROFILE_LIFTS: &[&str] = &["strength", "power_clean", "snatch"];

const LOADS: Input = Input::list("load", "kg", 0.5, 1000.0).items(2, 60);
const VELOCITIES: Input = Input::list("v", "m/s", 0.05, 4.0).items(2, 60);
const REACH: Input =
    Input::number("reach", "share of the heaviest load beyond it that may be foretold", 0.0, 0.5);
const SPEED: Input = Input::word("speed", "which speed was measured, one for all", SPEEDS);
const LIFT: Input = Input::word("lift", "kind of lift", PROFILE_LIFTS);
/// Smallest span of loads as a share of the heaviest. Project rule.
const SMALLEST_SPAN: f64 = 0.20;

outputs! {
    /// An athlete's own line of speed on load.
    Profile {
        /// Speed at no load, m/s.
        a: f64,
        /// Change of speed per kg, negative.
        b: f64,
        /// Load at the slowest speed of a maximum, kg.
        one_rm: f64,
        /// Load at which the line reaches zero speed, kg.
        l0: f64,
        /// Speed at which the line reaches zero load, m/s (the same number as `a`).
        v0: f64,
        /// Standard error of the estimate, m/s, from three points.
        see: Option<f64>,
        /// Share of the variation that the line describes.
        r2: f64,
    }
}

/// How a profile was measured.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Conditions {
    /// Slowest speed of a maximum, m/s.
    pub mvt: f64,
    /// Share of the heaviest load beyond it that may be foretold.
    pub reach: f64,
    /// One of [`SPEEDS`].
    pub speed: &'static str,
    /// One of [`PROFILE_LIFTS`].
    pub lift: &'static str,
}

/// Load-velocity profile.
pub static OLS: Formula = Formula {
    id: "lvp.ols",
    name: "Load-velocity profile of one athlete and one lift",
    rule: "least squares of speed on load, v = a + b load, the fastest repetition of each load; \
           maximum = (slowest speed - a) / b",
    source: "linear rather than curved: Pestaña-Melero et al. 2018, J Appl Biomech 34:184-190",
    standing: Standing::Read,
    domain: "two loads at least, four or five advised; loads span at least 20 % of the heaviest; \
             speed falls as load rises; the maximum lies at most `reach` beyond the heaviest load \
             (the last three are rules of this project)",
    units: &[
        ("a", "m/s"),
        ("b", "m/s per kg"),
        ("one_rm", "kg"),
        ("l0", "kg"),
        ("v0", "m/s"),
        ("see", "m/s"),
        ("r2", ""),
    ],
    trap: "load on speed is another line; mean, propulsive and peak speed are three quantities; \
           the slowest speed differs between athletes by a third of its value, so prefer the \
           athlete's own, with its date",
    caution: Some(Caution::MaximalTest),
    inputs: &[
        LOADS,
        VELOCITIES,
        Input::number("mvt", "m/s", 0.05, 2.5),
        REACH.or("0.25"),
        SPEED.or("mean"),
        LIFT.or("strength"),
    ],
    example: &[("load", "40,60,80,100"), ("v", "1.28,1.03,0.80,0.54"), ("mvt", "0.30")],
    run: |a| {
        let conditions = Conditions {
            mvt: a.number("mvt")?,
            reach: a.number("reach")?,
            speed: a.word("speed")?,
            lift: a.word("lift")?,
        };
        Ok(profile(&a.list("load")?, &a.list("v")?, conditions).into())
    },
    ..Formula::BLANK
};

/// Line of speed `v` (m/s) on `load` (kg) and the maximum that it foretells.
///
/// # Errors
/// Inputs outside their limits, lists of unequal length, one load only, loads too close together,
/// speed that does not fall, a maximum too far beyond the heaviest load, or a technical lift
/// without peak speed.
pub fn profile(load: &[f64], v: &[f64], conditions: Conditions) -> Computation<Profile> {
    let Conditions { mvt, reach, speed, lift } = conditions;
    let given = given!["load" => load, "v" => v, "mvt" => mvt, "reach" => reach,
                       "speed" => speed, "lift" => lift];
    OLS.compute(given, |notes| {
        technical(notes, lift, speed, v)?;
        let fit = falling_line(load, v)?;
        let heaviest = load.iter().copied().fold(0.0, f64::max);
        let one_rm = (mvt - fit.intercept) / fit.slope;
        if one_rm > heaviest * (1.0 + reach) {
            return Err(Reason::CannotBeTold { rule: "the maximum lies too far beyond the heaviest load" });
        }
        if one_rm <= 0.0 {
            return Err(Reason::Contradiction {
                rule: "the slowest speed is faster than the line at no load",
            });
        }
        notes.say_if(
            one_rm < heaviest,
            "the line puts the maximum below a load that was lifted: check the slowest speed",
        );
        notes.say_if(fit.n == 2.0, "two loads only: the line cannot show its own error");
        Ok(Profile {
            a: fit.intercept,
            b: fit.slope,
            one_rm,
            l0: -fit.intercept / fit.slope,
            v0: fit.intercept,
            see: fit.see(),
            r2: fit.r2,
        })
    })
}

/// Peak speeds that a technical lift can have, m/s; from memory, wide on purpose.
const TECHNICAL_SPEEDS: (f64, f64) = (0.3, 3.5);

fn technical(notes: &mut Notes, lift: &str, speed: &str, v: &[f64]) -> Result<(), Reason> {
    if lift == "strength" {
        return Ok(());
    }
    if speed != "peak" {
        return Err(Reason::NotForThisLift { rule: "a technical lift needs peak speed" });
    }
    let (lowest, highest) = TECHNICAL_SPEEDS;
    if !v.iter().all(|v| (lowest..=highest).contains(v)) {
        return Err(Reason::OutOfRange { input: "v", lowest, highest });
    }
    notes.say(
        "in technical lifts the error of this estimate is larger than the change one looks for: \
         do not load or monitor by it",
    );
    Ok(())
}

/// Several repetitions at one load count once, with the fastest.
fn fastest_per_load(load: &[f64], v: &[f64]) -> (Vec<f64>, Vec<f64>) {
    let mut loads: Vec<f64> = Vec::with_capacity(load.len());
    let mut speeds: Vec<f64> = Vec::with_capacity(load.len());
    for (kg, speed) in load.iter().zip(v) {
        match loads.iter().zip(&mut speeds).find(|(seen, _)| *seen == kg) {
            Some((_, fastest)) => *fastest = fastest.max(*speed),
            None => {
                loads.push(*kg);
                speeds.push(*speed);
            }
        }
    }
    (loads, speeds)
}

fn falling_line(load: &[f64], v: &[f64]) -> Result<Line, Reason> {
    if load.len() != v.len() {
        return Err(Reason::UnequalLengths { left: "load", right: "v" });
    }
    let heaviest = load.iter().copied().fold(0.0, f64::max);
    let lightest = load.iter().copied().fold(f64::INFINITY, f64::min);
    let (loads, speeds) = fastest_per_load(load, v);
    let fit = line(&loads, &speeds).ok_or(Reason::NoVariation { input: "load" })?;
    if heaviest - lightest < SMALLEST_SPAN * heaviest {
        return Err(Reason::CannotBeTold { rule: "the loads span less than a fifth of the heaviest" });
    }
    if fit.slope >= 0.0 {
        return Err(Reason::Contradiction { rule: "speed does not fall as load rises" });
    }
    Ok(fit)
}

/// Load for a wanted speed.
pub static LOAD_FOR_SPEED: Formula = Formula {
    id: "lvp.load_for_speed",
    name: "Load for a wanted speed from the athlete's profile",
    rule: "(wanted speed - a) / b of the load-velocity profile",
    source: "the profile above",
    standing: Standing::Derived,
    domain: "as the profile; the load lies at most `reach` beyond the heaviest and above zero",
    units: &[("value", "kg")],
    trap: "a profile is of one lift, one technique and one kind of speed, and it ages",
    caution: Some(Caution::MaximalTest),
    inputs: &[LOADS, VELOCITIES, Input::number("target", "m/s", 0.05, 4.0), REACH.or("0.25")],
    example: &[("load", "40,60,80,100"), ("v", "1.28,1.03,0.80,0.54"), ("target", "0.75")],
    run: |a| {
        let (load, v) = (a.list("load")?, a.list("v")?);
        Ok(load_for_speed(&load, &v, a.number("target")?, a.number("reach")?).into())
    },
    ..Formula::BLANK
};

/// Load in kg at which the line of `v` on `load` reaches `target` m/s.
///
/// # Errors
/// As [`profile`]; a load at or below zero.
pub fn load_for_speed(load: &[f64], v: &[f64], target: f64, reach: f64) -> Computation<f64> {
    let given = given!["load" => load, "v" => v, "target" => target, "reach" => reach];
    LOAD_FOR_SPEED.compute(given, |_| {
        let fit = falling_line(load, v)?;
        let heaviest = load.iter().copied().fold(0.0, f64::max);
        let wanted = (target - fit.intercept) / fit.slope;
        if wanted > heaviest * (1.0 + reach) {
            return Err(Reason::CannotBeTold { rule: "the load lies too far beyond the heaviest" });
        }
        if wanted <= 0.0 {
            return Err(Reason::CannotBeTold { rule: "faster than the line at no load" });
        }
        Ok(wanted)
    })
}

/// Slowest speeds of a maximum: lift, m/s, spread between athletes, source.
///
/// Editable starting points; an athlete's own value comes first.
pub const THRESHOLDS: [(&str, f64, Option<f64>, &str); 11] = [
    ("bench", 0.16, Some(0.04), "González-Badillo & Sánchez-Medina 2010, n = 120, propulsive"),
    ("bench_general", 0.17, None, "as used in doi 10.3233/IES-202247"),
    ("bench_competitive", 0.10, Some(0.04), "Helms et al. 2017"),
    ("squat_competitive", 0.23, Some(0.05), "Helms et al. 2017"),
    ("squat_general", 0.30, None, "as tested in Sports 2025;13(7):224, propulsive"),
    ("squat_women", 0.40, None, "as tried in Sports 2025;13(7):224, propulsive"),
    ("deadlift", 0.14, Some(0.05), "Helms et al. 2017"),
    ("bench_pull", 0.50, None, "from memory"),
    ("overhead_press", 0.19, None, "from memory"),
    ("hip_thrust", 0.25, None, "from memory"),
    ("pull_up", 0.22, None, "from memory (0.20 to 0.23)"),
];
const THRESHOLD_NAMES: &[&str] = &[
    "bench",
    "bench_general",
    "bench_competitive",
    "squat_competitive",
    "squat_general",
    "squat_women",
    "deadlift",
    "bench_pull",
    "overhead_press",
    "hip_thrust",
    "pull_up",
];

outputs! {
    /// A stored slowest speed.
    Threshold {
        /// Slowest speed of a maximum, m/s.
        mvt: f64,
        /// Spread between athletes, m/s, where it was published.
        spread: Option<f64>,
        /// Source of this row.
        row_source: &'static str,
    }
}

/// Slowest speed of a maximum.
pub static THRESHOLD: Formula = Formula {
    id: "lvp.threshold",
    name: "Slowest speed of a maximum, starting points",
    rule: "a table; replace it by the athlete's own speed at a true maximum",
    source: "named in each row",
    standing: Standing::Read,
    domain: "rows say `from memory` where no source was read",
    units: &[("mvt", "m/s"), ("spread", "m/s"), ("row_source", "")],
    trap: "0.07 m/s of difference moves a maximum of 120 kg by almost 6 kg",
    caution: Some(Caution::MaximalTest),
    inputs: &[Input::word("lift", "lift", THRESHOLD_NAMES)],
    example: &[("lift", "bench")],
    run: |a| Ok(threshold(a.word("lift")?).into()),
    ..Formula::BLANK
};

/// The stored row for `lift`.
///
/// # Errors
/// An unknown lift.
pub fn threshold(lift: &'static str) -> Computation<Threshold> {
    THRESHOLD.compute(given![lift], |_| {
        let row = THRESHOLDS.iter().find(|(name, ..)| *name == lift);
        let (_, mvt, spread, row_source) = *row.ok_or(Reason::NoEntry { what: "lift" })?;
        Ok(Threshold { mvt, spread, row_source })
    })
}

outputs! {
    /// Percent of the maximum from a general equation.
    GeneralPercent {
        /// Percent of the maximum, held inside 20 to 105.
        percent: f64,
        /// True if the equation left 20 to 105.
        clamped: bool,
    }
}

const GENERAL_TRAP: &str = "one lift, one technique, men; people differ at a given percent by 9 to \
                            25 % in speed, so an own profile is better";
const SPEED_IN: &[Input] = &[Input::number("v", "m/s, mean propulsive", 0.15, 1.4)];
const GENERAL_UNITS: &[(&str, &str)] = &[("percent", "%"), ("clamped", "")];

/// Bench press, general equation.
pub static BENCH_GENERAL: Formula = Formula {
    id: "lvp.bench_general",
    name: "Percent of the bench press maximum from speed, general",
    rule: "8.4326 v^2 - 73.501 v + 112.33",
    source: "González-Badillo & Sánchez-Medina 2010, Int J Sports Med 31:347-352; coefficients \
             from memory",
    standing: Standing::Memory,
    domain: "paused bench press on a guided bar, 0.15 to 1.4 m/s",
    units: GENERAL_UNITS,
    trap: GENERAL_TRAP,
    caution: Some(Caution::MaximalTest),
    inputs: SPEED_IN,
    example: &[("v", "0.62")],
    run: |a| Ok(bench_general(a.number("v")?).into()),
    ..Formula::BLANK
};

/// Percent of the bench press maximum at mean propulsive speed `v` (m/s).
///
/// # Errors
/// An input outside its limits.
pub fn bench_general(v: f64) -> Computation<GeneralPercent> {
    BENCH_GENERAL.compute(given![v], |n| Ok(clamp(n, 8.4326 * v * v - 73.501 * v + 112.33)))
}

/// Full squat, general equation.
pub static SQUAT_GENERAL: Formula = Formula {
    id: "lvp.squat_general",
    name: "Percent of the full squat maximum from speed, general",
    rule: "-5.961 v^2 - 50.71 v + 117.0",
    source: "Sánchez-Medina et al. 2017; coefficients from memory",
    standing: Standing::Memory,
    domain: "full squat on a guided bar, 0.15 to 1.4 m/s",
    units: GENERAL_UNITS,
    trap: GENERAL_TRAP,
    caution: Some(Caution::MaximalTest),
    inputs: SPEED_IN,
    example: &[("v", "0.50")],
    run: |a| Ok(squat_general(a.number("v")?).into()),
    ..Formula::BLANK
};

/// Percent of the full squat maximum at mean propulsive speed `v` (m/s).
///
/// # Errors
/// An input outside its limits.
pub fn squat_general(v: f64) -> Computation<GeneralPercent> {
    SQUAT_GENERAL.compute(given![v], |n| Ok(clamp(n, -5.961 * v * v - 50.71 * v + 117.0)))
}

fn clamp(notes: &mut Notes, percent: f64) -> GeneralPercent {
    let held = percent.clamp(20.0, 105.0);
    let clamped = held != percent;
    notes.say_if(clamped, "outside 20 to 105 %: the equation does not hold there");
    GeneralPercent { percent: held, clamped }
}

outputs! {
    /// Loss of speed in a set.
    SpeedLoss {
        /// Loss at the last repetition, % of the fastest.
        loss: f64,
        /// Fastest repetition, m/s.
        best: f64,
        /// Last repetition, m/s.
        last: f64,
        /// The repetition after which a set with this limit stops, from 1.
        stop_after: Option<f64>,
    }
}

/// Loss of speed.
pub static VELOCITY_LOSS: Formula = Formula {
    id: "lvp.velocity_loss",
    name: "Loss of speed in a set",
    rule: "100 (fastest so far - repetition) / fastest so far",
    source: "Pareja-Blanco et al. 2017, Scand J Med Sci Sports 27:724-735",
    standing: Standing::Read,
    domain: "repetitions of one set with full intent, in order",
    units: &[("loss", "%"), ("best", "m/s"), ("last", "m/s"), ("stop_after", "repetition")],
    trap: "relative to the fastest repetition, not the first; the set stops after the repetition \
           that crosses the limit",
    caution: None,
    inputs: &[
        Input::list("v", "m/s", 0.05, 4.0).items(1, 200),
        Input::number("limit", "%", 1.0, 80.0).maybe(),
    ],
    example: &[("v", "0.97,1.00,0.95,0.88,0.80"), ("limit", "20")],
    run: |a| Ok(velocity_loss(&a.list("v")?, a.maybe_number("limit")?).into()),
    ..Formula::BLANK
};

/// Loss of speed over the repetitions `v` (m/s, in order), and where a limit (%) stops the set.
///
/// # Errors
/// Inputs outside their limits.
pub fn velocity_loss(v: &[f64], limit: Option<f64>) -> Computation<SpeedLoss> {
    VELOCITY_LOSS.compute(given!["v" => v, "limit" => limit], |_| {
        let mut best = 0.0_f64;
        let mut stop_after = None;
        for (index, speed) in v.iter().enumerate() {
            best = best.max(*speed);
            // A hair of tolerance, so that 1.00 to 0.80 counts as the 20 % that it is.
            let crossed = limit.is_some_and(|l| 100.0 * (best - speed) / best >= l - 1e-9);
            if crossed && stop_after.is_none() {
                stop_after = Some(super::stats::count(index + 1));
            }
        }
        let last = *v.last().ok_or(Reason::TooFew { input: "v", needed: 1 })?;
        Ok(SpeedLoss { loss: 100.0 * (best - last) / best, best, last, stop_after })
    })
}

/// Every formula of this file.
pub static ALL: &[&Formula] =
    &[&OLS, &LOAD_FOR_SPEED, &THRESHOLD, &BENCH_GENERAL, &SQUAT_GENERAL, &VELOCITY_LOSS];
