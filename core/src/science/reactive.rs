//! Reactive strength in both definitions, never mixed, and the repeated hop test.
//! Times in s, heights in m; knows no athlete.

use super::computed::{given, outputs};
use super::jump::{G, mean_of};
use super::stats::count;
use super::{Caution, Computation, Formula, Input, Reason, Standing};

outputs! {
    /// Both definitions side by side, so that nobody compares one with the other.
    Reactive {
        /// Height over contact time, m/s.
        rsi: f64,
        /// Flight time over contact time, no unit.
        ratio: f64,
    }
}

const TRAP: &str = "two quantities share one name: height over contact (m/s) and flight over \
                    contact (no unit) differ by a factor of g x flight / 8; store which one, \
                    never compare across";

/// Reactive strength of one repetition.
pub static RSI: Formula = Formula {
    id: "jump.rsi",
    name: "Reactive strength, both definitions",
    rule: "rsi = (g tf^2 / 8) / tc; ratio = tf / tc",
    source: "Young 1995, New Studies in Athletics",
    standing: Standing::Derived,
    domain: "flight 0.10 to 1.00 s, contact 0.08 to 1.0 s",
    units: &[("rsi", "m/s"), ("ratio", "")],
    trap: TRAP,
    caution: Some(Caution::JumpExposure),
    inputs: &[
        Input::number("tf", "s of flight", 0.10, 1.00),
        Input::number("tc", "s of contact", 0.08, 1.0),
        G,
    ],
    example: &[("tf", "0.5"), ("tc", "0.2")],
    run: |a| Ok(rsi(a.number("tf")?, a.number("tc")?, a.number("g")?).into()),
    ..Formula::BLANK
};

/// Reactive strength from flight `tf` (s) and contact `tc` (s) under gravity `g` (m/s²).
///
/// # Errors
/// An input outside its limits.
pub fn rsi(tf: f64, tc: f64, g: f64) -> Computation<Reactive> {
    RSI.compute(given![tf, tc, g], |_| Ok(Reactive { rsi: g * tf * tf / 8.0 / tc, ratio: tf / tc }))
}

/// Mean reactive strength over repetitions.
pub static RSI_MEAN: Formula = Formula {
    id: "jump.rsi_mean",
    name: "Mean reactive strength over repetitions, both definitions",
    rule: "each repetition first, then the mean",
    source: "Southey et al. 2024, Kinesiology 56(2), shows that a ratio of means is another number",
    standing: Standing::Read,
    domain: "flight 0.10 to 1.00 s, contact 0.08 to 1.0 s",
    units: &[("rsi", "m/s"), ("ratio", "")],
    trap: TRAP,
    caution: Some(Caution::JumpExposure),
    inputs: &[
        Input::list("tf", "s of flight", 0.10, 1.00).items(1, 200),
        Input::list("tc", "s of contact", 0.08, 1.0).items(1, 200),
        G,
    ],
    example: &[("tf", "0.48,0.50,0.51"), ("tc", "0.20,0.19,0.19")],
    run: |a| Ok(rsi_mean(&a.list("tf")?, &a.list("tc")?, a.number("g")?).into()),
    ..Formula::BLANK
};

/// Mean over repetitions of each definition.
///
/// # Errors
/// Inputs outside their limits or lists of unequal length.
pub fn rsi_mean(tf: &[f64], tc: &[f64], g: f64) -> Computation<Reactive> {
    RSI_MEAN.compute(given!["tf" => tf, "tc" => tc, "g" => g], |_| {
        if tf.len() != tc.len() {
            return Err(Reason::UnequalLengths { left: "tf", right: "tc" });
        }
        let each = |of: fn(f64, f64, f64) -> f64| -> Vec<f64> {
            tf.iter().zip(tc).map(|(f, c)| of(*f, *c, g)).collect()
        };
        Ok(Reactive {
            rsi: mean_of(&each(|f, c, g| g * f * f / 8.0 / c)),
            ratio: mean_of(&each(|f, c, _| f / c)),
        })
    })
}

/// Words for the two definitions.
pub const DEFINITIONS: &[&str] = &["height_over_contact", "flight_over_contact"];

/// Repeated hop test.
pub static TEN_FIVE: Formula = Formula {
    id: "jump.ten_five",
    name: "Repeated hop test: mean of the five best",
    rule: "mean of the five highest values; hops with a contact at or above `limit` do not count",
    source: "Harper, Hobbs, Moore 2011, as cited in Comyns et al. 2017; the contact limit is \
             common practice",
    standing: Standing::Read,
    domain: "ten rebound hops after a first countermovement jump that is not in the list",
    units: &[("value", "as the definition")],
    trap: "best is by hop, not five in a row and not the highest jump; eleven landings are \
           recorded when the first jump is kept by mistake",
    caution: Some(Caution::JumpExposure),
    inputs: &[
        Input::list("rsi", "reactive strength per hop, one definition", 0.0, 10.0).items(1, 60),
        Input::list("tc", "s of contact per hop", 0.05, 2.0).items(1, 60).maybe(),
        Input::number("limit", "s", 0.10, 1.0).or("0.25"),
        Input::word("definition", "which definition", DEFINITIONS).or("height_over_contact"),
    ],
    example: &[("rsi", "1.10,1.35,1.52,1.60,1.71,1.75,1.80,1.78,1.69,1.66")],
    run: |a| {
        let tc = a.maybe_list("tc")?;
        let (limit, definition) = (a.number("limit")?, a.word("definition")?);
        Ok(ten_five(&a.list("rsi")?, tc.as_deref(), limit, definition).into())
    },
    ..Formula::BLANK
};

/// Mean of the five highest `rsi`; with contacts `tc` (s) given, only hops below `limit` count.
///
/// # Errors
/// Inputs outside their limits, lists of unequal length, or fewer than five hops that count.
pub fn ten_five(rsi: &[f64], tc: Option<&[f64]>, limit: f64, definition: &'static str) -> Computation<f64> {
    let given = given!["rsi" => rsi, "tc" => tc, "limit" => limit, "definition" => definition];
    TEN_FIVE.compute(given, |notes| {
        let mut counting: Vec<f64> = match tc {
            None => rsi.to_vec(),
            Some(tc) if tc.len() != rsi.len() => {
                return Err(Reason::UnequalLengths { left: "rsi", right: "tc" });
            }
            Some(tc) => rsi.iter().zip(tc).filter(|(_, c)| **c < limit).map(|(value, _)| *value).collect(),
        };
        notes.say_if(tc.is_none(), "contacts were not given: no hop was left out");
        notes.say_if(rsi.len() != 10, "the test has ten hops; this list has another number");
        if counting.len() < 5 {
            return Err(Reason::CannotBeTold { rule: "not scorable: fewer than five hops count" });
        }
        counting.sort_unstable_by(|a, b| b.total_cmp(a));
        counting.truncate(5);
        Ok(counting.iter().sum::<f64>() / count(counting.len()))
    })
}

/// Every formula of this file.
pub static ALL: &[&Formula] = &[&RSI, &RSI_MEAN, &TEN_FIVE];
