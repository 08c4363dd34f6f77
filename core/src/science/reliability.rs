//! How much of a change is noise: typical error, worthwhile and detectable change, ICC.
//! Knows numbers of any unit, no athlete.

use super::computed::{given, outputs};
use super::stats::{self, mean, median, sd, two_way};
use super::{Computation, Formula, Input, Reason, Standing};

/// Any measured quantity.
const ANY: (f64, f64) = (-1.0e9, 1.0e9);
const HOPKINS: &str = "Hopkins 2000, Sports Med 30(1):1-15";

outputs! {
    /// Noise of a test from two trials.
    Noise {
        /// Mean change from trial 1 to trial 2: a systematic change, reported apart.
        change: f64,
        /// Standard deviation of the differences.
        sd_diff: f64,
        /// Typical error.
        te: f64,
        /// Grand mean.
        mean: f64,
        /// Typical error as % of the mean, for a positive mean.
        cv: Option<f64>,
        /// Typical error in % from logarithms, for positive values.
        log_cv: Option<f64>,
        /// Smallest change of one person that is beyond noise, 95 %.
        mdc95: f64,
        /// Smallest worthwhile change: 0.2 x spread of trial 1.
        swc_trial1: f64,
    }
}

/// Typical error from two trials.
pub static TWO_TRIALS: Formula = Formula {
    id: "rel.hopkins",
    name: "Noise of a test from two trials",
    rule: "te = sd of differences / sqrt 2; cv = 100 te / mean; mdc95 = 1.96 sqrt 2 te; \
           swc = 0.2 x sd of trial 1",
    source: HOPKINS,
    standing: Standing::Secondary,
    domain: "at least three people with both trials; some fifty advised, so few give a rough value",
    units: &[
        ("change", "as given"),
        ("sd_diff", "as given"),
        ("te", "as given"),
        ("mean", "as given"),
        ("cv", "%"),
        ("log_cv", "%"),
        ("mdc95", "as given"),
        ("swc_trial1", "as given"),
    ],
    trap: "not the spread of the raw values; a systematic change is reported apart; for more than \
           two trials use the table version",
    caution: None,
    inputs: &[
        Input::list("t1", "trial 1, one value per person", ANY.0, ANY.1).items(3, 1000),
        Input::list("t2", "trial 2, same people, same order", ANY.0, ANY.1).items(3, 1000),
    ],
    example: &[("t1", "62,78,81,55,66"), ("t2", "67,76,87,55,63")],
    run: |a| Ok(two_trials(&a.list("t1")?, &a.list("t2")?).into()),
    ..Formula::BLANK
};

/// Noise from trial `t1` and trial `t2` of the same people in the same order.
///
/// # Errors
/// Inputs outside their limits or lists of unequal length.
pub fn two_trials(t1: &[f64], t2: &[f64]) -> Computation<Noise> {
    TWO_TRIALS.compute(given!["t1" => t1, "t2" => t2], |notes| {
        if t1.len() != t2.len() {
            return Err(Reason::UnequalLengths { left: "t1", right: "t2" });
        }
        let few = Reason::TooFew { input: "t1", needed: 3 };
        let difference =
            |of: fn(f64) -> f64| -> Vec<f64> { t1.iter().zip(t2).map(|(a, b)| of(*b) - of(*a)).collect() };
        let plain = difference(|v| v);
        let (Some(change), Some(sd_diff), Some(m1), Some(m2), Some(spread)) =
            (mean(&plain), sd(&plain), mean(t1), mean(t2), sd(t1))
        else {
            return Err(few);
        };
        let te = sd_diff / std::f64::consts::SQRT_2;
        let grand = m1 + (m2 - m1) / 2.0;
        let positive = t1.iter().chain(t2).all(|v| *v > 0.0);
        let log_cv = positive
            .then(|| sd(&difference(f64::ln)))
            .flatten()
            .map(|s| 100.0 * (s / std::f64::consts::SQRT_2).exp_m1());
        let swc = 0.2 * spread;
        notes
            .say_if(swc < te, "the smallest worthwhile change is below the noise: one retest cannot show it");
        notes.say_if(t1.len() < 10, "few people: the noise itself is known roughly only");
        Ok(Noise {
            change,
            sd_diff,
            te,
            mean: grand,
            cv: (grand > 0.0).then(|| 100.0 * te / grand),
            log_cv,
            mdc95: 1.96 * std::f64::consts::SQRT_2 * te,
            swc_trial1: swc,
        })
    })
}

const TABLE: Input =
    Input::table("x", "one row per person, one column per trial", ANY.0, ANY.1).items(2, 1000);

/// Typical error from a table.
pub static TYPICAL_ERROR: Formula = Formula {
    id: "rel.typical_error",
    name: "Noise of a test from several trials",
    rule: "square root of the mean square left after people and trials",
    source: HOPKINS,
    standing: Standing::Secondary,
    domain: "a complete table of at least two people and two trials",
    units: &[("value", "as given")],
    trap: "with two trials it equals sd of differences / sqrt 2",
    caution: None,
    inputs: &[TABLE],
    example: &[("x", "62,67;78,76;81,87;55,55;66,63")],
    run: |a| Ok(typical_error(&a.table("x")?).into()),
    ..Formula::BLANK
};

/// Typical error of the complete table `x` (people by trials).
///
/// # Errors
/// Inputs outside their limits or an incomplete table.
pub fn typical_error(x: &[Vec<f64>]) -> Computation<f64> {
    TYPICAL_ERROR.compute(given!["x" => x], |_| {
        Ok(two_way(x).ok_or(Reason::NotRectangular { input: "x" })?.rest.sqrt())
    })
}

/// Smallest worthwhile change.
pub static SWC: Formula = Formula {
    id: "rel.swc",
    name: "Smallest worthwhile change of a squad",
    rule: "factor x spread between people, the test's noise taken out of the spread if given",
    source: HOPKINS,
    standing: Standing::Secondary,
    domain: "at least three people; noise below their spread",
    units: &[("value", "as given")],
    trap: "below the typical error one retest cannot show it; a mixed squad makes it look large",
    caution: None,
    inputs: &[
        Input::list("x", "one value per person", ANY.0, ANY.1).items(3, 1000),
        Input::number("te", "typical error", 0.0, ANY.1).or("0"),
        Input::number("factor", "share of the spread", 0.05, 2.0).or("0.2"),
    ],
    example: &[("x", "62,78,81,55,66")],
    run: |a| Ok(swc(&a.list("x")?, a.number("te")?, a.number("factor")?).into()),
    ..Formula::BLANK
};

/// `factor` of the spread of `x`, cleared of the typical error `te`.
///
/// # Errors
/// Inputs outside their limits, no variation, or noise that is not below the spread.
pub fn swc(x: &[f64], te: f64, factor: f64) -> Computation<f64> {
    SWC.compute(given!["x" => x, "te" => te, "factor" => factor], |notes| {
        let spread = sd(x).ok_or(Reason::TooFew { input: "x", needed: 3 })?;
        if x.iter().all(|v| Some(v) == x.first()) {
            return Err(Reason::NoVariation { input: "x" });
        }
        if te >= spread {
            return Err(Reason::CannotBeTold { rule: "the noise is not below the spread" });
        }
        let worthwhile = factor * (spread * spread - te * te).sqrt();
        notes.say_if(te > worthwhile, "below the noise: one retest cannot show it");
        Ok(worthwhile)
    })
}

/// Smallest worthwhile change of somebody who competes.
pub static SWC_COMPETITION: Formula = Formula {
    id: "rel.swc_competition",
    name: "Smallest worthwhile change in competition",
    rule: "0.3 x typical variation of the athlete between competitions",
    source: "from memory, no source read",
    standing: Standing::Memory,
    domain: "variation as a percent of the result",
    units: &[("value", "%")],
    trap: "needs the variation between races of one athlete, not between athletes",
    caution: None,
    inputs: &[Input::number("cv", "%", 0.01, 50.0)],
    example: &[("cv", "1.0")],
    run: |a| Ok(swc_competition(a.number("cv")?).into()),
    ..Formula::BLANK
};

/// 0.3 of the within-athlete variation `cv` (%).
///
/// # Errors
/// An input outside its limits.
pub fn swc_competition(cv: f64) -> Computation<f64> {
    SWC_COMPETITION.compute(given![cv], |_| Ok(0.3 * cv))
}

const TE: Input = Input::number("te", "typical error, as given", 0.0, ANY.1);

/// Minimal detectable change.
pub static MDC: Formula = Formula {
    id: "rel.mdc",
    name: "Smallest change of one person beyond noise",
    rule: "z sqrt 2 te",
    source: HOPKINS,
    standing: Standing::Derived,
    domain: "noise as typical error; z 1.96 for 95 %",
    units: &[("value", "as given")],
    trap: "a limit of 1.5 to 2 typical errors is a looser custom",
    caution: None,
    inputs: &[TE, Input::number("z", "", 0.5, 4.0).or("1.96")],
    example: &[("te", "2.889637")],
    run: |a| Ok(mdc(a.number("te")?, a.number("z")?).into()),
    ..Formula::BLANK
};

/// `z` sqrt 2 `te`.
///
/// # Errors
/// An input outside its limits.
pub fn mdc(te: f64, z: f64) -> Computation<f64> {
    MDC.compute(given![te, z], |_| Ok(z * std::f64::consts::SQRT_2 * te))
}

/// Spread of differences from a reliability.
pub static RELIABLE_CHANGE: Formula = Formula {
    id: "rel.reliable_change",
    name: "Spread of differences from a reliability coefficient",
    rule: "sd sqrt 2 sqrt(1 - reliability)",
    source: "Christensen & Mendoza correction of the reliable change index",
    standing: Standing::Secondary,
    domain: "reliability 0 to 1",
    units: &[("value", "as given")],
    trap: "the first print lacked the sqrt 2",
    caution: None,
    inputs: &[Input::number("sd", "as given", 0.0, ANY.1), Input::number("rel", "reliability", 0.0, 1.0)],
    example: &[("sd", "10.9"), ("rel", "0.94")],
    run: |a| Ok(reliable_change(a.number("sd")?, a.number("rel")?).into()),
    ..Formula::BLANK
};

/// `sd` sqrt 2 sqrt(1 - `rel`).
///
/// # Errors
/// An input outside its limits.
pub fn reliable_change(sd: f64, rel: f64) -> Computation<f64> {
    RELIABLE_CHANGE.compute(given![sd, rel], |_| Ok(sd * std::f64::consts::SQRT_2 * (1.0 - rel).sqrt()))
}

outputs! {
    /// A change of one person with its noise.
    Change {
        /// After - before.
        change: f64,
        /// Lower end of the 95 % band of the change.
        low: f64,
        /// Upper end of the 95 % band of the change.
        high: f64,
        /// True if the band excludes no change.
        beyond_noise: bool,
        /// The same in words.
        reading: &'static str,
    }
}

/// One retest.
pub static CHANGE: Formula = Formula {
    id: "rel.change",
    name: "One retest: change or noise?",
    rule: "after - before, band +/- 1.96 sqrt 2 te",
    source: HOPKINS,
    standing: Standing::Derived,
    domain: "one person, same test, same conditions",
    units: &[
        ("change", "as given"),
        ("low", "as given"),
        ("high", "as given"),
        ("beyond_noise", ""),
        ("reading", ""),
    ],
    trap: "the noise must come from the same test and similar people",
    caution: None,
    inputs: &[
        Input::number("before", "as given", ANY.0, ANY.1),
        Input::number("after", "as given", ANY.0, ANY.1),
        TE,
    ],
    example: &[("before", "62"), ("after", "67"), ("te", "2.89")],
    run: |a| Ok(change(a.number("before")?, a.number("after")?, a.number("te")?).into()),
    ..Formula::BLANK
};

/// The change from `before` to `after` with the band of the noise `te`.
///
/// # Errors
/// An input outside its limits.
pub fn change(before: f64, after: f64, te: f64) -> Computation<Change> {
    CHANGE.compute(given![before, after, te], |_| {
        let band = 1.96 * std::f64::consts::SQRT_2 * te;
        let change = after - before;
        let beyond_noise = change.abs() > band;
        let reading = match (beyond_noise, change > 0.0) {
            (false, _) => "cannot be told from noise",
            (true, true) => "higher, beyond noise",
            (true, false) => "lower, beyond noise",
        };
        Ok(Change { change, low: change - band, high: change + band, beyond_noise, reading })
    })
}

outputs! {
    /// Six intraclass correlations with their mean squares.
    Icc {
        /// One trial, trials nested in people.
        i11: f64,
        /// One trial, trials as a sample: absolute agreement.
        i21: f64,
        /// One trial, trials fixed: consistency.
        i31: f64,
        /// Mean of the trials, nested.
        i1k: Option<f64>,
        /// Mean of the trials, absolute agreement.
        i2k: Option<f64>,
        /// Mean of the trials, consistency.
        i3k: Option<f64>,
        /// Mean square between people.
        msb: f64,
        /// Mean square within people.
        msw: f64,
        /// Mean square between trials.
        msj: f64,
        /// Mean square of what is left.
        mse: f64,
        /// Between over left.
        f: Option<f64>,
        /// Description of `i21`.
        band: &'static str,
    }
}

/// Intraclass correlation.
pub static ICC: Formula = Formula {
    id: "rel.icc",
    aliases: &["rel.icc_shrout_fleiss", "rel.icc_wine"],
    name: "Intraclass correlation, six forms",
    rule: "i11 = (msb - msw)/(msb + (k-1) msw); i21 = (msb - mse)/(msb + (k-1) mse + \
           k (msj - mse)/n); i31 = (msb - mse)/(msb + (k-1) mse); means of k divide by msb \
           (i2k by msb + (msj - mse)/n)",
    source: "Shrout & Fleiss 1979, Psychol Bull 86:420-428",
    standing: Standing::Secondary,
    domain: "a complete table of at least two people and two trials",
    units: &[
        ("i11", ""),
        ("i21", ""),
        ("i31", ""),
        ("i1k", ""),
        ("i2k", ""),
        ("i3k", ""),
        ("msb", "as given, squared"),
        ("msw", "as given, squared"),
        ("msj", "as given, squared"),
        ("mse", "as given, squared"),
        ("f", ""),
        ("band", ""),
    ],
    trap: "can be negative; grows with how mixed the squad is; names differ (A,1 is i21, C,1 is \
           i31); one-pass sums break on data with many equal leading digits",
    caution: None,
    inputs: &[TABLE],
    example: &[("x", "9,2,5,8;6,1,3,2;8,4,6,8;7,1,2,6;10,5,6,9;6,2,4,7")],
    run: |a| Ok(icc(&a.table("x")?).into()),
    ..Formula::BLANK
};

/// Six intraclass correlations of the complete table `x` (people by trials).
///
/// # Errors
/// Inputs outside their limits, an incomplete table, or no variation.
pub fn icc(x: &[Vec<f64>]) -> Computation<Icc> {
    ICC.compute(given!["x" => x], |_| {
        let t = two_way(x).ok_or(Reason::NotRectangular { input: "x" })?;
        let (n, k) = (t.rows, t.columns);
        let (msb, msw, msj, mse) = (t.between, t.within, t.trials, t.rest);
        let single = |top: f64, bottom: f64| {
            if bottom > 0.0 { Ok(top / bottom) } else { Err(Reason::NoVariation { input: "x" }) }
        };
        let many = |top: f64, bottom: f64| (bottom > 0.0).then(|| top / bottom);
        let i21 = single(msb - mse, msb + (k - 1.0) * mse + k * (msj - mse) / n)?;
        Ok(Icc {
            i11: single(msb - msw, msb + (k - 1.0) * msw)?,
            i21,
            i31: single(msb - mse, msb + (k - 1.0) * mse)?,
            i1k: many(msb - msw, msb),
            i2k: many(msb - mse, msb + (msj - mse) / n),
            i3k: many(msb - mse, msb),
            msb,
            msw,
            msj,
            mse,
            f: many(msb, mse),
            band: match i21 {
                v if v < 0.50 => "below 0.50",
                v if v < 0.75 => "0.50 to 0.75",
                v if v <= 0.90 => "0.75 to 0.90",
                _ => "above 0.90",
            },
        })
    })
}

outputs! {
    /// One-way analysis of variance.
    Groups {
        /// Between over within.
        f: f64,
        /// Probability of a larger F if the groups were alike.
        p: f64,
        /// Standard deviation within groups.
        resid_sd: f64,
        /// Mean of the group medians, to show where the data lie.
        centre: f64,
    }
}

/// One-way analysis of variance.
pub static ONE_WAY: Formula = Formula {
    id: "rel.one_way",
    name: "Do groups differ? (one-way analysis of variance)",
    rule: "mean square between / mean square within, in two passes",
    source: "NIST Statistical Reference Datasets, analysis of variance",
    standing: Standing::Read,
    domain: "at least two groups, more values than groups",
    units: &[("f", ""), ("p", ""), ("resid_sd", "as given"), ("centre", "as given")],
    trap: "a small p does not say that the difference matters",
    caution: None,
    inputs: &[Input::table("x", "one row per group", -1.0e15, 1.0e15).items(2, 200)],
    example: &[("x", "1.4,1.3,1.5;1.3,1.2,1.4;1.5,1.4,1.6")],
    run: |a| Ok(one_way(&a.table("x")?).into()),
    ..Formula::BLANK
};

/// F of the groups `x`, with its tail probability and the spread within groups.
///
/// # Errors
/// Inputs outside their limits, too few values, or no variation within.
pub fn one_way(x: &[Vec<f64>]) -> Computation<Groups> {
    ONE_WAY.compute(given!["x" => x], |_| {
        let few = Reason::TooFew { input: "x", needed: 3 };
        let anova = stats::one_way(x).ok_or(few.clone())?;
        if anova.within <= 0.0 {
            return Err(Reason::NoVariation { input: "x" });
        }
        let f = anova.between / anova.within;
        let medians: Vec<f64> = x.iter().filter_map(|group| median(group)).collect();
        Ok(Groups {
            f,
            p: stats::f_tail(f, anova.df_between, anova.df_within).ok_or(Reason::ResultNotFinite)?,
            resid_sd: anova.within.sqrt(),
            centre: mean(&medians).ok_or(few)?,
        })
    })
}

/// Every formula of this file.
pub static ALL: &[&Formula] =
    &[&TWO_TRIALS, &TYPICAL_ERROR, &SWC, &SWC_COMPETITION, &MDC, &RELIABLE_CHANGE, &CHANGE, &ICC, &ONE_WAY];
