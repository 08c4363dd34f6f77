//! Strength relative to body mass. Plain ratios; knows no sex, age or ranking.

use super::computed::given;
use super::{Caution, Computation, Formula, Input, Standing};

const STRENGTH: Input = Input::number("s", "kg lifted", 0.1, 1000.0);
const MASS: Input = Input::number("m", "kg of body", 25.0, 200.0);

/// Strength over body mass.
pub static RATIO: Formula = Formula {
    id: "rel_strength.ratio",
    name: "Strength over body mass",
    rule: "s / m",
    source: "common practice, no source",
    standing: Standing::CommonPractice,
    domain: "body mass 25 to 200 kg",
    units: &[("value", "")],
    trap: "favours the light; never a reason to lose weight",
    caution: Some(Caution::MaximalTest),
    inputs: &[STRENGTH, MASS],
    example: &[("s", "140"), ("m", "70")],
    run: |a| Ok(ratio(a.number("s")?, a.number("m")?).into()),
    ..Formula::BLANK
};

/// `s` over `m`, both kg.
///
/// # Errors
/// An input outside its limits.
pub fn ratio(s: f64, m: f64) -> Computation<f64> {
    RATIO.compute(given![s, m], |_| Ok(s / m))
}

/// Allometric scaling.
pub static ALLOMETRIC: Formula = Formula {
    id: "rel_strength.allometric",
    name: "Strength scaled for body size",
    rule: "s / m^b, b = 2/3 for lifted loads, 0 for jumps and sprints",
    source: "Jaric 2002, Sports Med 32:615-631",
    standing: Standing::Memory,
    domain: "same sex and same lift",
    units: &[("value", "kg per kg^b")],
    trap: "0.67 instead of 2/3 changes the second digit; the unit is odd, so it only orders people \
           of one sex in one lift",
    caution: Some(Caution::MaximalTest),
    inputs: &[STRENGTH, MASS, Input::number("b", "exponent", 0.0, 1.0).or("2/3")],
    example: &[("s", "140"), ("m", "70")],
    run: |a| Ok(allometric(a.number("s")?, a.number("m")?, a.number("b")?).into()),
    ..Formula::BLANK
};

/// `s` over `m` to the power `b`.
///
/// # Errors
/// An input outside its limits.
pub fn allometric(s: f64, m: f64, b: f64) -> Computation<f64> {
    ALLOMETRIC.compute(given![s, m, b], |_| Ok(s / m.powf(b)))
}

/// Every formula of this file.
pub static ALL: &[&Formula] = &[&RATIO, &ALLOMETRIC];
