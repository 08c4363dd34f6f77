//! Effort of a set as repetitions in reserve. Not the effort of a session (see `load`).

use super::computed::{given, outputs};
use super::one_rep_max::{LIFTS, spread};
use super::{Caution, Computation, Formula, Input, Reason, Standing};

const SOURCE: &str = "Zourdos et al. 2016, J Strength Cond Res 30:267-275 (10 - repetitions left)";
const EFFORT: Input = Input::number("effort", "0 to 10 in half steps", 5.0, 10.0);

/// Effort from repetitions left.
pub static FROM_RESERVE: Formula = Formula {
    id: "effort.from_reserve",
    name: "Effort of a set from the repetitions left",
    rule: "10 - repetitions left",
    source: SOURCE,
    standing: Standing::Read,
    domain: "0 to 5 repetitions left",
    units: &[("value", "effort")],
    trap: "this rates one set; the effort of a session is another question",
    caution: None,
    inputs: &[Input::number("rir", "repetitions left", 0.0, 5.0)],
    example: &[("rir", "2")],
    run: |a| Ok(from_reserve(a.number("rir")?).into()),
    ..Formula::BLANK
};

/// 10 - `rir`, where `rir` is the number of repetitions left.
///
/// # Errors
/// An input outside its limits.
pub fn from_reserve(rir: f64) -> Computation<f64> {
    FROM_RESERVE.compute(given![rir], |_| Ok(10.0 - rir))
}

outputs! {
    /// Repetitions left, as a range.
    Reserve {
        /// Fewest repetitions left.
        low: f64,
        /// Most repetitions left.
        high: f64,
    }
}

/// Repetitions left from effort.
pub static RESERVE: Formula = Formula {
    id: "effort.reserve",
    name: "Repetitions left from the effort of a set",
    rule: "10 - effort; a half step lies between two counts; at 6 and below it is a range of 4 to 6",
    source: "Zourdos et al. 2016 for whole steps; half steps and the low end from memory",
    standing: Standing::Memory,
    domain: "effort 5 to 10; below 5 it is no count of repetitions",
    units: &[("low", "repetitions"), ("high", "repetitions")],
    trap: "accuracy falls far from failure and in long sets; a true maximum is often rated 9.5 to \
           9.7, which is not to be corrected",
    caution: None,
    inputs: &[EFFORT],
    example: &[("effort", "8.5")],
    run: |a| Ok(reserve(a.number("effort")?).into()),
    ..Formula::BLANK
};

/// Fewest and most repetitions left at `effort` (5 to 10 in half steps).
///
/// # Errors
/// An input outside its limits or between half steps.
pub fn reserve(effort: f64) -> Computation<Reserve> {
    RESERVE.compute(given![effort], |notes| {
        notes.say_if(effort == 9.5, "no repetition left, perhaps a little more load");
        range_of(effort)
    })
}

fn range_of(effort: f64) -> Result<Reserve, Reason> {
    if (effort * 2.0).fract() != 0.0 {
        return Err(Reason::Contradiction { rule: "effort goes in half steps" });
    }
    let left = 10.0 - effort;
    Ok(match effort {
        e if e < 6.5 => Reserve { low: 4.0, high: 6.0 },
        9.5 => Reserve { low: 0.0, high: 0.0 },
        // A whole step is one count; a half step lies between two.
        _ => Reserve { low: left.floor(), high: left.ceil() },
    })
}

outputs! {
    /// Maximum from a set that was not taken to failure.
    WithReserve {
        /// Lowest estimate, kg.
        low: f64,
        /// Highest estimate, kg.
        high: f64,
        /// Repetitions that the set stood for: done and left, at least.
        reps_low: f64,
        /// Repetitions that the set stood for: done and left, at most.
        reps_high: f64,
        /// The linear formula of Epley at 10 - effort repetitions left, kg.
        epley: f64,
        /// The hyperbolic formula of Brzycki at 10 - effort repetitions left, kg.
        brzycki: f64,
    }
}

/// Maximum from repetitions and effort.
pub static WITH_RESERVE: Formula = Formula {
    id: "e1rm.with_reserve",
    name: "Range of the maximum from repetitions and effort",
    rule: "the range from repetitions at done + left, over both ends of what was left",
    source: "Zourdos et al. 2016 for the repetitions left; adding them is common practice",
    standing: Standing::CommonPractice,
    domain: "effort 5 to 10 in half steps; done and left together at most 12; strength lifts only",
    units: &[
        ("low", "kg"),
        ("high", "kg"),
        ("reps_low", "repetitions"),
        ("reps_high", "repetitions"),
        ("epley", "kg"),
        ("brzycki", "kg"),
    ],
    trap: "the rating is off by a third of a step on average, more in long sets",
    caution: Some(Caution::MaximalTest),
    inputs: &[
        Input::number("w", "kg", 0.1, 1000.0),
        Input::whole("r", "repetitions done", 1.0, 12.0),
        EFFORT,
        Input::word("lift", "kind of lift", LIFTS).or("strength"),
    ],
    example: &[("w", "100"), ("r", "5"), ("effort", "8")],
    run: |a| {
        let (w, r, effort) = (a.number("w")?, a.number("r")?, a.number("effort")?);
        Ok(with_reserve(w, r, effort, a.word("lift")?).into())
    },
    ..Formula::BLANK
};

/// Range of the maximum (kg) from load `w` (kg), repetitions done `r` and `effort` (5 to 10).
///
/// # Errors
/// An input outside its limits, more than 12 repetitions done and left, or a lift without a
/// validated formula.
pub fn with_reserve(w: f64, r: f64, effort: f64, lift: &'static str) -> Computation<WithReserve> {
    WITH_RESERVE.compute(given![w, r, effort, lift], |notes| {
        if lift != "strength" {
            return Err(Reason::NotForThisLift {
                rule: "no formula from repetitions was validated for snatch, clean or jerk",
            });
        }
        let left = range_of(effort)?;
        let (reps_low, reps_high) = (r + left.low, r + left.high);
        if reps_high > 12.0 {
            return Err(Reason::CannotBeTold { rule: "more than 12 repetitions done and left together" });
        }
        notes.say_if(reps_high > 10.0, "more than 10 repetitions: the estimate is loose");
        notes.say_if(effort < 7.0, "far from failure: the rating says little");
        let counted = r + 10.0 - effort;
        Ok(WithReserve {
            low: spread(w, reps_low).low,
            high: spread(w, reps_high).high,
            reps_low,
            reps_high,
            epley: if counted > 1.0 { w * (1.0 + counted / 30.0) } else { w },
            brzycki: w * 36.0 / (37.0 - counted),
        })
    })
}

/// Every formula of this file.
pub static ALL: &[&Formula] = &[&FROM_RESERVE, &RESERVE, &WITH_RESERVE];
