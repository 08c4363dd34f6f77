//! Do two devices or two ways of measuring agree? Numbers of any unit; knows no device.

use super::computed::{given, outputs};
use super::stats::{correlation, count, line, mean, sd, t_quantile};
use super::{Computation, Formula, Input, Reason, Standing};

outputs! {
    /// Bias and limits of agreement.
    Agreement {
        /// Mean of a - b.
        bias: f64,
        /// Standard deviation of a - b.
        sd: f64,
        /// Lower limit, bias - 1.96 sd.
        lo196: f64,
        /// Upper limit, bias + 1.96 sd.
        hi196: f64,
        /// Lower limit with the older factor 2.
        lo2: f64,
        /// Upper limit with the older factor 2.
        hi2: f64,
        /// Lower end of the 95 % interval of the bias.
        bias_low: f64,
        /// Upper end of the 95 % interval of the bias.
        bias_high: f64,
        /// Correlation of a and b, which says nothing about agreement.
        r: Option<f64>,
        /// Slope of the difference on the mean of both: bias that grows with size.
        slope: Option<f64>,
    }
}

/// Agreement of two methods.
pub static AGREEMENT: Formula = Formula {
    id: "rel.agreement",
    aliases: &["rel.bland_altman_1986"],
    name: "Agreement of two ways of measuring",
    rule: "bias = mean of a - b; limits = bias +/- 1.96 sd of a - b",
    source: "Bland & Altman 1986, Lancet i:307-310",
    standing: Standing::Derived,
    domain: "at least three people, one pair each",
    units: &[
        ("bias", "as given"),
        ("sd", "as given"),
        ("lo196", "as given"),
        ("hi196", "as given"),
        ("lo2", "as given"),
        ("hi2", "as given"),
        ("bias_low", "as given"),
        ("bias_high", "as given"),
        ("r", ""),
        ("slope", ""),
    ],
    trap: "plot against the mean of both, not one of them; several pairs per person need another \
           method; a high correlation is not agreement",
    caution: None,
    inputs: &[
        Input::list("a", "one way", -1.0e9, 1.0e9).items(3, 2000),
        Input::list("b", "the other way, same order", -1.0e9, 1.0e9).items(3, 2000),
    ],
    example: &[("a", "494,395,516,434,476"), ("b", "512,430,520,428,500")],
    run: |a| Ok(agreement(&a.list("a")?, &a.list("b")?).into()),
    ..Formula::BLANK
};

/// Bias and limits of the pairs `a` and `b`.
///
/// # Errors
/// Inputs outside their limits or lists of unequal length.
pub fn agreement(a: &[f64], b: &[f64]) -> Computation<Agreement> {
    AGREEMENT.compute(given!["a" => a, "b" => b], |_| {
        if a.len() != b.len() {
            return Err(Reason::UnequalLengths { left: "a", right: "b" });
        }
        let difference: Vec<f64> = a.iter().zip(b).map(|(a, b)| a - b).collect();
        let middle: Vec<f64> = a.iter().zip(b).map(|(a, b)| (a + b) / 2.0).collect();
        let n = count(a.len());
        let (Some(bias), Some(sd), Some(t)) = (mean(&difference), sd(&difference), t_quantile(0.95, n - 1.0))
        else {
            return Err(Reason::TooFew { input: "a", needed: 3 });
        };
        let half = t * sd / n.sqrt();
        Ok(Agreement {
            bias,
            sd,
            lo196: bias - 1.96 * sd,
            hi196: bias + 1.96 * sd,
            lo2: bias - 2.0 * sd,
            hi2: bias + 2.0 * sd,
            bias_low: bias - half,
            bias_high: bias + half,
            r: correlation(a, b),
            slope: line(&middle, &difference).map(|l| l.slope),
        })
    })
}

/// Every formula of this file.
pub static ALL: &[&Formula] = &[&AGREEMENT];
