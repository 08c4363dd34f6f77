//! Two open data sets with known answers, so that any build can check its own arithmetic.
//! Knows no athlete: the twenty men of the second set were published in 1975.

use super::computed::{given, outputs};
use super::trend::{fit, robust};
use super::{Computation, Formula, Input, Reason, Standing};

/// NIST StRD Norris (public domain), x: 36 readings of an ozone monitor.
pub const NORRIS_X: [f64; 36] = [
    0.2, 337.4, 118.2, 884.6, 10.1, 226.5, 666.3, 996.3, 448.6, 777.0, 558.2, 0.4, 0.6, 775.5, 666.9, 338.0,
    447.5, 11.6, 556.0, 228.1, 995.8, 887.6, 120.2, 0.3, 0.3, 556.8, 339.1, 887.2, 999.0, 779.0, 11.1, 118.3,
    229.2, 669.1, 448.9, 0.5,
];

/// NIST StRD Norris (public domain), y: the customer's readings.
pub const NORRIS_Y: [f64; 36] = [
    0.1, 338.8, 118.1, 888.0, 9.2, 228.1, 668.5, 998.5, 449.1, 778.9, 559.2, 0.3, 0.1, 778.1, 668.8, 339.3,
    448.9, 10.8, 557.7, 228.3, 998.0, 888.8, 119.6, 0.3, 0.6, 557.6, 339.3, 888.0, 998.5, 778.9, 10.2, 117.6,
    228.9, 668.4, 449.2, 0.2,
];

/// Linnerud's twenty men (as in `linfa-datasets`, MIT/Apache-2.0): body weight, lb.
pub const LINNERUD_WEIGHT: [f64; 20] = [
    191.0, 189.0, 193.0, 162.0, 189.0, 182.0, 211.0, 167.0, 176.0, 154.0, 169.0, 166.0, 154.0, 247.0, 193.0,
    202.0, 176.0, 157.0, 156.0, 138.0,
];

/// Linnerud's twenty men: chin-ups.
pub const LINNERUD_CHINS: [f64; 20] = [
    5.0, 2.0, 12.0, 12.0, 13.0, 4.0, 8.0, 6.0, 15.0, 17.0, 17.0, 13.0, 14.0, 1.0, 6.0, 12.0, 4.0, 11.0, 15.0,
    2.0,
];

outputs! {
    /// The certified quantities of a straight line.
    CertifiedLine {
        /// Intercept.
        b0: f64,
        /// Slope.
        b1: f64,
        /// Standard error of the intercept.
        se_b0: f64,
        /// Standard error of the slope.
        se_b1: f64,
        /// Standard deviation of the residuals.
        resid_sd: f64,
        /// Share of the variation that the line describes.
        r2: f64,
    }
}

const NORRIS_NAME: &str = "NIST Norris";
const LINNERUD_NAME: &str = "linfa-datasets linnerud";

/// Self-check on certified data.
pub static NORRIS: Formula = Formula {
    id: "trend.norris",
    name: "Self-check: least squares on certified data",
    rule: "least squares of y on x over the stored 36 pairs",
    source: "NIST Statistical Reference Datasets, Norris; certified 1.00211681802045 and \
             -0.262323073774029",
    standing: Standing::Read,
    domain: "the stored data only",
    units: &[("b0", ""), ("b1", ""), ("se_b0", ""), ("se_b1", ""), ("resid_sd", ""), ("r2", "")],
    trap: "a build that misses these digits must not be trusted with a trend",
    caution: None,
    inputs: &[Input::word("file", "which data", &[NORRIS_NAME]).or(NORRIS_NAME)],
    example: &[],
    run: |a| Ok(norris(a.word("file")?).into()),
    ..Formula::BLANK
};

/// The certified quantities, computed from the stored pairs.
///
/// # Errors
/// An unknown name of the data.
pub fn norris(file: &'static str) -> Computation<CertifiedLine> {
    NORRIS.compute(given![file], |_| {
        let trend = fit(&NORRIS_X, &NORRIS_Y, 0.95)?;
        Ok(CertifiedLine {
            b0: trend.intercept,
            b1: trend.slope,
            se_b0: trend.se_intercept,
            se_b1: trend.se_slope,
            resid_sd: trend.resid_sd,
            r2: trend.r2,
        })
    })
}

outputs! {
    /// Both lines through the twenty men.
    ChinsOnWeight {
        /// Least-squares slope, chin-ups per lb.
        slope: f64,
        /// Least-squares intercept, chin-ups.
        intercept: f64,
        /// Correlation.
        r: f64,
        /// Robust slope, chin-ups per lb.
        ts_slope: f64,
        /// Robust intercept, chin-ups.
        ts_intercept: f64,
    }
}

/// Self-check on chin-ups against body weight.
pub static LINNERUD: Formula = Formula {
    id: "trend.linnerud_chins_weight",
    name: "Self-check: chin-ups against body weight of twenty men",
    rule: "least squares and robust line of chin-ups on body weight",
    source: "Linnerud's data as distributed in linfa-datasets; answers derived with scipy",
    standing: Standing::Derived,
    domain: "the stored data only",
    units: &[
        ("slope", "chin-ups per lb"),
        ("intercept", "chin-ups"),
        ("r", ""),
        ("ts_slope", "chin-ups per lb"),
        ("ts_intercept", "chin-ups"),
    ],
    trap: "body weight here is in pounds, as published",
    caution: None,
    inputs: &[Input::word("file", "which data", &[LINNERUD_NAME]).or(LINNERUD_NAME)],
    example: &[],
    run: |a| Ok(linnerud(a.word("file")?).into()),
    ..Formula::BLANK
};

/// Both lines of chin-ups on body weight, computed from the stored data.
///
/// # Errors
/// An unknown name of the data.
pub fn linnerud(file: &'static str) -> Computation<ChinsOnWeight> {
    LINNERUD.compute(given![file], |_| {
        let trend = fit(&LINNERUD_WEIGHT, &LINNERUD_CHINS, 0.95)?;
        let robust = robust(&LINNERUD_WEIGHT, &LINNERUD_CHINS, 0.95)?;
        Ok(ChinsOnWeight {
            slope: trend.slope,
            intercept: trend.intercept,
            r: trend.r.ok_or(Reason::NoVariation { input: "file" })?,
            ts_slope: robust.slope,
            ts_intercept: robust.intercept,
        })
    })
}

/// Every formula of this file.
pub static ALL: &[&Formula] = &[&NORRIS, &LINNERUD];
