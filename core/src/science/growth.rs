//! Years from the fastest growth. Off until somebody consents; sex is never guessed, nobody is
//! ranked. Knows numbers only.

use super::computed::given;
use super::formula::Notes;
use super::{Caution, Computation, Formula, Input, Standing};

const AGE: Input = Input::number("age", "years, to a tenth", 8.0, 16.0);
const HEIGHT: Input = Input::number("h", "cm", 90.0, 220.0);
const SITTING: Input = Input::number("sh", "cm sitting height", 45.0, 120.0);
const MASS: Input = Input::number("m", "kg", 15.0, 150.0);
const CONSENT: Input = Input::flag("consent", "yes if the person or guardian agreed").or("no");
const YEARS: &[(&str, &str)] = &[("value", "years from the fastest growth")];
const BAND: &str = "read it as a band of one year either way; it drifts for early and late growers";
const MIRWALD: &str = "Mirwald et al. 2002, Med Sci Sports Exerc 34:689-694";
const MOORE: &str = "Moore et al. 2015, Med Sci Sports Exerc 47:1755-1764";
const MIRWALD_TRAP: &str = "the last ratio is 100 x mass / height; some prints forget the 100 and \
                            are off by more than half a year";
const MOORE_TRAP: &str = "one journal table prints a wrong digit in the constant of the boys, \
                          another drops its decimal point";
const BOYS: &str = "ages 8 to 16, best 12 to 16";
const GIRLS: &str = "ages 8 to 16, best 9 to 13";

/// Years from the fastest growth with the band as a remark.
fn banded(notes: &mut Notes, years: f64) -> f64 {
    notes.say(BAND);
    years
}

fn legs_shorter(h: f64, sh: f64) -> Result<f64, super::Reason> {
    if sh >= h {
        return Err(super::Reason::Contradiction { rule: "sitting height is not below height" });
    }
    Ok(h - sh)
}

/// Boys, with sitting height and mass.
pub static MIRWALD_BOY: Formula = Formula {
    id: "growth.mirwald_boy",
    name: "Years from the fastest growth, boys, with sitting height and mass",
    rule: "-9.236 + 0.0002708 leg sh - 0.001663 age leg + 0.007216 age sh + 0.02292 (100 m/h), \
           leg = h - sh",
    source: MIRWALD,
    standing: Standing::Secondary,
    domain: BOYS,
    units: YEARS,
    trap: MIRWALD_TRAP,
    caution: Some(Caution::Junior),
    consent: true,
    inputs: &[AGE, HEIGHT, SITTING, MASS, CONSENT],
    example: &[("age", "14"), ("h", "165"), ("sh", "86"), ("m", "55"), ("consent", "yes")],
    run: |a| {
        let (age, h) = (a.number("age")?, a.number("h")?);
        Ok(mirwald_boy(age, h, a.number("sh")?, a.number("m")?, a.flag("consent")?).into())
    },
    ..Formula::BLANK
};

/// Years from the fastest growth of a boy: age (years), height and sitting height (cm), mass (kg).
///
/// # Errors
/// No consent, an input outside its limits, or a sitting height not below the height.
pub fn mirwald_boy(age: f64, h: f64, sh: f64, m: f64, consent: bool) -> Computation<f64> {
    MIRWALD_BOY.compute(given![age, h, sh, m, consent], |n| {
        let leg = legs_shorter(h, sh)?;
        let years = -9.236 + 0.000_270_8 * leg * sh - 0.001_663 * age * leg
            + 0.007_216 * age * sh
            + 0.022_92 * (100.0 * m / h);
        Ok(banded(n, years))
    })
}

/// Girls, with sitting height and mass.
pub static MIRWALD_GIRL: Formula = Formula {
    id: "growth.mirwald_girl",
    name: "Years from the fastest growth, girls, with sitting height and mass",
    rule: "-9.376 + 0.0001882 leg sh + 0.0022 age leg + 0.005841 age sh - 0.002658 age m + \
           0.07693 (100 m/h), leg = h - sh",
    source: MIRWALD,
    standing: Standing::Secondary,
    domain: GIRLS,
    units: YEARS,
    trap: MIRWALD_TRAP,
    caution: Some(Caution::Junior),
    consent: true,
    inputs: &[AGE, HEIGHT, SITTING, MASS, CONSENT],
    example: &[("age", "12"), ("h", "155"), ("sh", "81"), ("m", "45"), ("consent", "yes")],
    run: |a| {
        let (age, h) = (a.number("age")?, a.number("h")?);
        Ok(mirwald_girl(age, h, a.number("sh")?, a.number("m")?, a.flag("consent")?).into())
    },
    ..Formula::BLANK
};

/// Years from the fastest growth of a girl: age (years), height and sitting height (cm), mass (kg).
///
/// # Errors
/// No consent, an input outside its limits, or a sitting height not below the height.
pub fn mirwald_girl(age: f64, h: f64, sh: f64, m: f64, consent: bool) -> Computation<f64> {
    MIRWALD_GIRL.compute(given![age, h, sh, m, consent], |n| {
        let leg = legs_shorter(h, sh)?;
        let years = -9.376 + 0.000_188_2 * leg * sh + 0.0022 * age * leg + 0.005_841 * age * sh
            - 0.002_658 * age * m
            + 0.076_93 * (100.0 * m / h);
        Ok(banded(n, years))
    })
}

/// Boys, with sitting height.
pub static MOORE_BOY_SH: Formula = Formula {
    id: "growth.moore_boy_sh",
    name: "Years from the fastest growth, boys, with sitting height",
    rule: "-8.128741 + 0.0070346 age sh",
    source: MOORE,
    standing: Standing::Secondary,
    domain: BOYS,
    units: YEARS,
    trap: MOORE_TRAP,
    caution: Some(Caution::Junior),
    consent: true,
    inputs: &[AGE, SITTING, CONSENT],
    example: &[("age", "14"), ("sh", "86"), ("consent", "yes")],
    run: |a| Ok(moore_boy_sh(a.number("age")?, a.number("sh")?, a.flag("consent")?).into()),
    ..Formula::BLANK
};

/// Years from the fastest growth of a boy from age (years) and sitting height (cm).
///
/// # Errors
/// No consent or an input outside its limits.
pub fn moore_boy_sh(age: f64, sh: f64, consent: bool) -> Computation<f64> {
    MOORE_BOY_SH.compute(given![age, sh, consent], |n| Ok(banded(n, -8.128_741 + 0.007_034_6 * age * sh)))
}

/// Boys, with height.
pub static MOORE_BOY_H: Formula = Formula {
    id: "growth.moore_boy_h",
    name: "Years from the fastest growth, boys, with height",
    rule: "-7.999994 + 0.0036124 age h",
    source: MOORE,
    standing: Standing::Secondary,
    domain: BOYS,
    units: YEARS,
    trap: MOORE_TRAP,
    caution: Some(Caution::Junior),
    consent: true,
    inputs: &[AGE, HEIGHT, CONSENT],
    example: &[("age", "14"), ("h", "165"), ("consent", "yes")],
    run: |a| Ok(moore_boy_h(a.number("age")?, a.number("h")?, a.flag("consent")?).into()),
    ..Formula::BLANK
};

/// Years from the fastest growth of a boy from age (years) and height (cm).
///
/// # Errors
/// No consent or an input outside its limits.
pub fn moore_boy_h(age: f64, h: f64, consent: bool) -> Computation<f64> {
    MOORE_BOY_H.compute(given![age, h, consent], |n| Ok(banded(n, -7.999_994 + 0.003_612_4 * age * h)))
}

/// Girls, with height.
pub static MOORE_GIRL: Formula = Formula {
    id: "growth.moore_girl",
    name: "Years from the fastest growth, girls, with height",
    rule: "-7.709133 + 0.0042232 age h",
    source: MOORE,
    standing: Standing::Secondary,
    domain: GIRLS,
    units: YEARS,
    trap: MOORE_TRAP,
    caution: Some(Caution::Junior),
    consent: true,
    inputs: &[AGE, HEIGHT, CONSENT],
    example: &[("age", "12"), ("h", "155"), ("consent", "yes")],
    run: |a| Ok(moore_girl(a.number("age")?, a.number("h")?, a.flag("consent")?).into()),
    ..Formula::BLANK
};

/// Years from the fastest growth of a girl from age (years) and height (cm).
///
/// # Errors
/// No consent or an input outside its limits.
pub fn moore_girl(age: f64, h: f64, consent: bool) -> Computation<f64> {
    MOORE_GIRL.compute(given![age, h, consent], |n| Ok(banded(n, -7.709_133 + 0.004_223_2 * age * h)))
}

/// Age at the fastest growth.
pub static AGE_AT_PEAK: Formula = Formula {
    id: "growth.age_at_peak",
    name: "Age at the fastest growth",
    rule: "age - years from the fastest growth",
    source: "as in Mirwald et al. 2002 and Moore et al. 2015",
    standing: Standing::Derived,
    domain: "ages 8 to 16",
    units: &[("value", "years")],
    trap: "predicted ages drift later in early growers; an age that was measured is worth more",
    caution: Some(Caution::Junior),
    consent: true,
    inputs: &[AGE, Input::number("offset", "years from the fastest growth", -8.0, 8.0), CONSENT],
    example: &[("age", "14"), ("offset", "0.340917"), ("consent", "yes")],
    run: |a| Ok(age_at_peak(a.number("age")?, a.number("offset")?, a.flag("consent")?).into()),
    ..Formula::BLANK
};

/// `age` - `offset`, years.
///
/// # Errors
/// No consent or an input outside its limits.
pub fn age_at_peak(age: f64, offset: f64, consent: bool) -> Computation<f64> {
    AGE_AT_PEAK.compute(given![age, offset, consent], |n| Ok(banded(n, age - offset)))
}

/// Every formula of this file.
pub static ALL: &[&Formula] =
    &[&MIRWALD_BOY, &MIRWALD_GIRL, &MOORE_BOY_SH, &MOORE_BOY_H, &MOORE_GIRL, &AGE_AT_PEAK];
