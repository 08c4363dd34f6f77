//! Differences between two sides, described. No finding, no limit, no word about injury.

use super::computed::{given, outputs};
use super::{Caution, Computation, Formula, Input, Reason, Standing};

outputs! {
    /// The same two legs by five formulas.
    Sides {
        /// 100 (1 - weaker / stronger), for tests of one limb at a time.
        pct: f64,
        /// 100 (stronger - weaker) / (stronger + weaker), for tests of both at once.
        bai1: f64,
        /// 200 (stronger - weaker) / (stronger + weaker).
        bai2: f64,
        /// 100 weaker / stronger.
        lsi: f64,
        /// Symmetry angle, %.
        angle: f64,
        /// `pct` with the side: positive if `a` is the stronger.
        signed: f64,
        /// True if `pct` is larger than the variation within a limb; absent without it.
        beyond_noise: Option<bool>,
    }
}

/// Side difference.
pub static SIDES: Formula = Formula {
    id: "asym",
    name: "Difference between two sides",
    rule: "pct = 100 (1 - weaker/stronger); bai1 = 100 (stronger - weaker)/(sum); bai2 = 2 bai1; \
           angle = 100 (45 - atan(weaker/stronger) in degrees)/90; sign by side afterwards",
    source: "Bishop et al. 2016, Strength Cond J 38(6):27-32; Bishop et al. 2018, Strength Cond J \
             40(4):1-6; forms from memory",
    standing: Standing::Memory,
    domain: "both sides at least 0, one above",
    units: &[
        ("pct", "%"),
        ("bai1", "%"),
        ("bai2", "%"),
        ("lsi", "%"),
        ("angle", "%"),
        ("signed", "%"),
        ("beyond_noise", ""),
    ],
    trap: "the same legs give 7 to 22 % by formula; sides flip between tests, so never average \
           tests; compare with the variation within a limb before believing it",
    caution: Some(Caution::Return),
    inputs: &[
        Input::number("a", "one side", 0.0, 1.0e6),
        Input::number("b", "other side", 0.0, 1.0e6),
        Input::number("cv", "variation within a limb, %", 0.0, 100.0).maybe(),
    ],
    example: &[("a", "25"), ("b", "20")],
    run: |a| Ok(sides(a.number("a")?, a.number("b")?, a.maybe_number("cv")?).into()),
    ..Formula::BLANK
};

/// Side difference of `a` and `b` (same unit), against the variation within a limb `cv` (%).
///
/// # Errors
/// An input outside its limits, or both sides zero.
pub fn sides(a: f64, b: f64, cv: Option<f64>) -> Computation<Sides> {
    SIDES.compute(given!["a" => a, "b" => b, "cv" => cv], |_| {
        let (strong, weak) = (a.max(b), a.min(b));
        if strong <= 0.0 {
            return Err(Reason::NoVariation { input: "a and b" });
        }
        let share = weak / strong;
        let pct = 100.0 * (1.0 - share);
        let bai1 = 100.0 * (1.0 - share) / (1.0 + share);
        Ok(Sides {
            pct,
            bai1,
            bai2: 2.0 * bai1,
            lsi: 100.0 * share,
            angle: (45.0 - share.atan().to_degrees()) / 90.0 * 100.0,
            signed: if a >= b { pct } else { -pct },
            beyond_noise: cv.map(|cv| pct > cv),
        })
    })
}

/// Every formula of this file.
pub static ALL: &[&Formula] = &[&SIDES];
