//! Session load, monotony, strain and moving averages. Describes, never foretells.
//! Knows daily numbers; whether a day was a rest day or was not heard of is the caller's to say.

use super::computed::{given, outputs};
use super::stats::{count, mean, sd, squares_around};
use super::{Caution, Computation, Formula, Input, Reason, Standing};

const DAILY: (f64, f64) = (0.0, 100_000.0);
/// Days until a slow average means anything.
const WARM_UP_DAYS: usize = 28;
const WARMING_UP: &str = "warming up: fewer than 28 days";
const DESCRIPTION: &str = "a description of what was done; it foretells nothing";

/// Load of a session.
pub static SESSION: Formula = Formula {
    id: "load.session",
    name: "Load of a session",
    rule: "effort of the whole session x minutes",
    source: "Foster et al. 2001, J Strength Cond Res 15(1):109-115",
    standing: Standing::Read,
    domain: "effort 0 to 10 in half steps, asked about half an hour after; minutes 1 to 360",
    units: &[("value", "units")],
    trap: "the minutes of a lifting session include the rests; this effort is not that of one set",
    caution: Some(Caution::Load),
    inputs: &[Input::number("effort", "0 to 10", 0.0, 10.0), Input::number("minutes", "min", 1.0, 360.0)],
    example: &[("effort", "7"), ("minutes", "75")],
    run: |a| Ok(session(a.number("effort")?, a.number("minutes")?).into()),
    ..Formula::BLANK
};

/// Load in arbitrary units from `effort` (0 to 10, half steps) and `minutes`.
///
/// # Errors
/// An input outside its limits or between half steps.
pub fn session(effort: f64, minutes: f64) -> Computation<f64> {
    SESSION.compute(given![effort, minutes], |_| {
        half_step(effort)?;
        Ok(effort * minutes)
    })
}

fn half_step(effort: f64) -> Result<(), Reason> {
    if (effort * 2.0).fract() == 0.0 {
        return Ok(());
    }
    Err(Reason::Contradiction { rule: "effort goes in half steps" })
}

/// Load of a day.
pub static DAY: Formula = Formula {
    id: "load.day",
    name: "Load of a day with several sessions",
    rule: "sum of effort x minutes",
    source: "Foster et al. 2001, J Strength Cond Res 15(1):109-115",
    standing: Standing::Read,
    domain: "as the load of a session",
    units: &[("value", "units")],
    trap: "sessions are added, never averaged",
    caution: Some(Caution::Load),
    inputs: &[
        Input::list("effort", "0 to 10 per session", 0.0, 10.0).items(1, 20),
        Input::list("minutes", "min per session", 1.0, 360.0).items(1, 20),
    ],
    example: &[("effort", "7,3"), ("minutes", "75,40")],
    run: |a| Ok(day(&a.list("effort")?, &a.list("minutes")?).into()),
    ..Formula::BLANK
};

/// Sum of `effort` x `minutes` over the sessions of a day.
///
/// # Errors
/// Inputs outside their limits or lists of unequal length.
pub fn day(effort: &[f64], minutes: &[f64]) -> Computation<f64> {
    DAY.compute(given!["effort" => effort, "minutes" => minutes], |_| {
        if effort.len() != minutes.len() {
            return Err(Reason::UnequalLengths { left: "effort", right: "minutes" });
        }
        effort.iter().try_for_each(|e| half_step(*e))?;
        Ok(effort.iter().zip(minutes).map(|(e, m)| e * m).sum())
    })
}

outputs! {
    /// A week of load.
    Week {
        /// Sum of the seven days.
        sum: f64,
        /// Mean of the seven days.
        mean: f64,
        /// Standard deviation of the seven days.
        sd: f64,
        /// Mean over standard deviation.
        monotony: f64,
        /// Sum times monotony.
        strain: f64,
    }
}

/// Monotony and strain.
pub static MONOTONY_STRAIN: Formula = Formula {
    id: "load.monotony_strain",
    name: "Monotony and strain of a week",
    rule: "monotony = mean / standard deviation of the seven days; strain = sum x monotony",
    source: "Foster 1998, Med Sci Sports Exerc 30:1164-1168",
    standing: Standing::Read,
    domain: "exactly seven days; a rest day is 0, a day not heard of is `-` and refuses the week",
    units: &[("sum", "units"), ("mean", "units"), ("sd", "units"), ("monotony", ""), ("strain", "units")],
    trap: "the standard deviation with divisor 7 gives 8 % more; a week of equal days has no \
           monotony; a limit of 2 is hearsay",
    caution: Some(Caution::Load),
    inputs: &[
        Input::gaps("days", "units per day", DAILY.0, DAILY.1).items(7, 7),
        Input::whole("ddof", "divisor 7 - ddof", 0.0, 1.0).or("1"),
    ],
    example: &[("days", "450,300,0,540,240,600,0")],
    run: |a| Ok(monotony_strain(&a.gaps("days")?, a.number("ddof")?).into()),
    ..Formula::BLANK
};

/// Monotony and strain of seven `days`; divisor of the standard deviation is 7 - `ddof`.
///
/// # Errors
/// Inputs outside their limits, a missing day, or a week without variation.
pub fn monotony_strain(days: &[Option<f64>], ddof: f64) -> Computation<Week> {
    MONOTONY_STRAIN.compute(given!["days" => days, "ddof" => ddof], |_| {
        let days = heard(days, "days")?;
        let mean = mean(&days).ok_or(Reason::TooFew { input: "days", needed: 7 })?;
        let spread = (squares_around(&days, mean) / (count(days.len()) - ddof)).sqrt();
        if spread <= 0.0 || days.iter().all(|d| Some(d) == days.first()) {
            return Err(Reason::NoVariation { input: "days" });
        }
        let sum: f64 = days.iter().sum();
        let monotony = mean / spread;
        Ok(Week { sum, mean, sd: spread, monotony, strain: sum * monotony })
    })
}

/// The days without gaps.
fn heard(days: &[Option<f64>], input: &'static str) -> Result<Vec<f64>, Reason> {
    days.iter().copied().collect::<Option<Vec<f64>>>().ok_or(Reason::MissingDays { input })
}

/// Words for the start of a moving average.
pub const SEEDS: &[&str] = &["first", "zero"];

/// Exponentially weighted moving average.
pub static EWMA: Formula = Formula {
    id: "load.ewma",
    name: "Moving average of load in which old days fade",
    rule: "E = lambda load + (1 - lambda) E of the day before, lambda = 2 / (N + 1)",
    source: "Williams et al. 2017, Br J Sports Med 51:209-210",
    standing: Standing::Read,
    domain: "one value per calendar day, rest days 0; `-` for a day not heard of refuses",
    units: &[("value", "units per day")],
    trap: "starting at zero instead of the first load reads 14 % low after 28 days",
    caution: Some(Caution::Load),
    inputs: &[
        Input::gaps("x", "units per day, oldest first", DAILY.0, DAILY.1),
        Input::number("N", "days", 1.0, 365.0),
        Input::word("seed", "start with the first load or with zero", SEEDS).or("first"),
    ],
    example: &[("x", "100,0,200,0,0,400,100"), ("N", "7")],
    run: |a| Ok(ewma(&a.gaps("x")?, a.number("N")?, a.word("seed")?).into()),
    ..Formula::BLANK
};

/// The average after each day of `x`, fading over `n` days, seeded as in [`SEEDS`].
///
/// # Errors
/// Inputs outside their limits or a missing day.
pub fn ewma(x: &[Option<f64>], n: f64, seed: &'static str) -> Computation<Vec<f64>> {
    EWMA.compute(given!["x" => x, "N" => n, "seed" => seed], |notes| {
        let days = heard(x, "x")?;
        notes.say_if(days.len() < WARM_UP_DAYS, WARMING_UP);
        notes.say_if(seed == "zero", "started at zero: reads low for a long time");
        Ok(fade(&days, n, seed == "zero"))
    })
}

fn fade(days: &[f64], n: f64, from_zero: bool) -> Vec<f64> {
    let lambda = 2.0 / (n + 1.0);
    let mut level = if from_zero { Some(0.0) } else { None };
    let step = |load: &f64| {
        let now = level.map_or(*load, |before| lambda * load + (1.0 - lambda) * before);
        level = Some(now);
        now
    };
    days.iter().map(step).collect()
}

outputs! {
    /// This week against the weeks before, in three ways.
    Ratios {
        /// Fading average over 7 days.
        ewma_acute: f64,
        /// Fading average over 28 days.
        ewma_chronic: f64,
        /// The first over the second.
        ewma_ratio: f64,
        /// Mean of 7 days over mean of 28 days that include them.
        coupled: f64,
        /// Mean of 7 days over mean of the 21 before; absent if those were all zero.
        uncoupled: Option<f64>,
    }
}

/// Ratios of recent to earlier load.
pub static ACWR: Formula = Formula {
    id: "load.acwr",
    name: "This week against the last four",
    rule: "fading average of 7 over that of 28 days; mean of 7 over mean of 28 days (coupled); \
           mean of 7 over mean of the 21 before (uncoupled)",
    source: "Williams et al. 2017, Br J Sports Med 51:209-210; why it must not foretell: \
             Lolli et al. 2019, Br J Sports Med 53:921; Impellizzeri et al. 2021, Sports Med, \
             doi 10.1007/s40279-020-01378-6",
    standing: Standing::Read,
    domain: "at least 28 days without gaps; the slow average at least `floor`",
    units: &[
        ("ewma_acute", "units per day"),
        ("ewma_chronic", "units per day"),
        ("ewma_ratio", ""),
        ("coupled", ""),
        ("uncoupled", ""),
    ],
    trap: "the coupled ratio holds its own week and can never pass 4; random denominators do as \
           well as the real one, so it is a description only",
    caution: Some(Caution::Load),
    inputs: &[
        Input::gaps("x", "units per day, oldest first", DAILY.0, DAILY.1).items(28, 1000),
        Input::number("floor", "units per day", 0.0, DAILY.1).or("0"),
    ],
    example: &[("x", "21x300+7x600")],
    run: |a| Ok(acwr(&a.gaps("x")?, a.number("floor")?).into()),
    ..Formula::BLANK
};

/// Ratios from the days `x` (oldest first), hidden while the slow average is below `floor`.
///
/// # Errors
/// Inputs outside their limits, a missing day, or hardly any load to compare with.
pub fn acwr(x: &[Option<f64>], floor: f64) -> Computation<Ratios> {
    ACWR.compute(given!["x" => x, "floor" => floor], |notes| {
        let days = heard(x, "x")?;
        notes.say(DESCRIPTION);
        let slow = fade(&days, 28.0, false).last().copied().unwrap_or(0.0);
        let quick = fade(&days, 7.0, false).last().copied().unwrap_or(0.0);
        let recent = days.iter().rev();
        let week: f64 = recent.clone().take(7).sum::<f64>() / 7.0;
        let month: f64 = recent.clone().take(28).sum::<f64>() / 28.0;
        let before: f64 = recent.skip(7).take(21).sum::<f64>() / 21.0;
        if slow <= 0.0 || month <= 0.0 || slow < floor || month < floor {
            return Err(Reason::CannotBeTold { rule: "too little load in the last four weeks" });
        }
        Ok(Ratios {
            ewma_acute: quick,
            ewma_chronic: slow,
            ewma_ratio: quick / slow,
            coupled: week / month,
            uncoupled: (before > 0.0).then(|| week / before),
        })
    })
}

outputs! {
    /// A day against the athlete's own usual days.
    Usual {
        /// Mean of the earlier days.
        mean: f64,
        /// Standard deviation of the earlier days.
        sd: f64,
        /// How many standard deviations the value lies from the mean.
        z: f64,
    }
}

/// A value against one's own days.
pub static AGAINST_OWN: Formula = Formula {
    id: "load.against_own",
    name: "A value against the athlete's own earlier ones",
    rule: "(value - mean) / standard deviation of the earlier values",
    source: "common practice, no source",
    standing: Standing::CommonPractice,
    domain: "at least 14 earlier values that vary",
    units: &[("mean", "as given"), ("sd", "as given"), ("z", "")],
    trap: "compares a person with themselves only; says nothing about why",
    caution: Some(Caution::Load),
    inputs: &[
        Input::gaps("baseline", "earlier values", -1.0e6, 1.0e6).items(14, 366),
        Input::number("x", "the value", -1.0e6, 1.0e6),
    ],
    example: &[("baseline", "20,19,21,18,20,22,20,19,20,21,18,20,19,21"), ("x", "16")],
    run: |a| Ok(against_own(&a.gaps("baseline")?, a.number("x")?).into()),
    ..Formula::BLANK
};

/// `x` against the earlier values `baseline`; gaps are skipped, 14 values must remain.
///
/// # Errors
/// Inputs outside their limits, fewer than 14 values, or no variation.
pub fn against_own(baseline: &[Option<f64>], x: f64) -> Computation<Usual> {
    AGAINST_OWN.compute(given!["baseline" => baseline, "x" => x], |_| {
        let values: Vec<f64> = baseline.iter().flatten().copied().collect();
        if values.len() < 14 {
            return Err(Reason::TooFew { input: "baseline", needed: 14 });
        }
        let (Some(mean), Some(sd)) = (mean(&values), sd(&values)) else {
            return Err(Reason::TooFew { input: "baseline", needed: 14 });
        };
        if sd <= 0.0 || values.iter().all(|v| Some(v) == values.first()) {
            return Err(Reason::NoVariation { input: "baseline" });
        }
        Ok(Usual { mean, sd, z: (x - mean) / sd })
    })
}

/// Every formula of this file.
pub static ALL: &[&Formula] = &[&SESSION, &DAY, &MONOTONY_STRAIN, &EWMA, &ACWR, &AGAINST_OWN];
