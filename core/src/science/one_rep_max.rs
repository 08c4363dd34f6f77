//! Maximal load from repetitions to failure. Pure arithmetic on kg; knows no athlete.
//!
//! A single formula is one opinion. What a coach should be shown is [`range`]: the spread of all
//! of them, never their silent average.

use super::computed::{given, outputs};
use super::formula::Notes;
use super::{Caution, Computation, Formula, Input, Reason, Standing};

const LOAD: Input = Input::number("w", "kg", 0.1, 1000.0);
const REPS: Input = Input::whole("r", "repetitions to failure", 1.0, 12.0);
const WR: &[Input] = &[LOAD, REPS];
const KG: &[(&str, &str)] = &[("value", "kg")];
const DOMAIN: &str = "sets to momentary failure; 1 to 10 repetitions advised, up to 12 tolerated; \
                      not for snatch, clean or jerk";
const EXAMPLE: &[(&str, &str)] = &[("w", "100"), ("r", "5")];
const LOOSE: &str = "more than 10 repetitions: the estimate is loose";
const SINGLE: &str = "one repetition was done: the load itself is the best estimate";

/// The arithmetic of one formula: load and repetitions to an estimate in kg.
type Arithmetic = fn(f64, f64) -> f64;

fn epley_kg(w: f64, r: f64) -> f64 {
    w * (1.0 + r / 30.0)
}
fn brzycki_kg(w: f64, r: f64) -> f64 {
    w * 36.0 / (37.0 - r)
}
fn brzycki_dec_kg(w: f64, r: f64) -> f64 {
    w / (1.0278 - 0.0278 * r)
}
fn lombardi_kg(w: f64, r: f64) -> f64 {
    w * r.powf(0.10)
}
fn mayhew_kg(w: f64, r: f64) -> f64 {
    100.0 * w / (52.2 + 41.9 * (-0.055 * r).exp())
}
fn oconner_kg(w: f64, r: f64) -> f64 {
    w * (1.0 + 0.025 * r)
}
fn wathan_kg(w: f64, r: f64) -> f64 {
    100.0 * w / (48.8 + 53.8 * (-0.075 * r).exp())
}
fn lander_kg(w: f64, r: f64) -> f64 {
    100.0 * w / (101.3 - 2.67123 * r)
}

/// The formulas that make up a range. The decimal print of Brzycki is the same opinion twice.
const OPINIONS: [Arithmetic; 7] =
    [epley_kg, brzycki_kg, lombardi_kg, mayhew_kg, oconner_kg, wathan_kg, lander_kg];

fn notes(notes: &mut Notes, r: f64) {
    notes.say_if(r == 1.0, SINGLE);
    notes.say_if(r > 10.0, LOOSE);
}

macro_rules! from_reps {
    ($(#[$doc:meta])* $function:ident, $formula:ident, $arithmetic:ident, $id:literal, $name:literal,
     $rule:literal, $source:literal, $trap:literal) => {
        #[doc = $name]
        pub static $formula: Formula = Formula {
            id: $id,
            name: $name,
            rule: $rule,
            source: $source,
            standing: Standing::Secondary,
            domain: DOMAIN,
            units: KG,
            trap: $trap,
            caution: Some(Caution::MaximalTest),
            inputs: WR,
            example: EXAMPLE,
            run: |a| Ok($function(a.number("w")?, a.number("r")?).into()),
            ..Formula::BLANK
        };

        $(#[$doc])*
        ///
        /// `w` load in kg, `r` repetitions to failure (1 to 12).
        ///
        /// # Errors
        /// An input outside its limits.
        pub fn $function(w: f64, r: f64) -> Computation<f64> {
            $formula.compute(given![w, r], |n| {
                notes(n, r);
                Ok($arithmetic(w, r))
            })
        }
    };
}

from_reps!(
    /// w (1 + r/30), kg.
    epley, EPLEY, epley_kg, "e1rm.epley", "Maximum from repetitions, linear in repetitions",
    "w (1 + r/30)", "Epley 1985, Poundage Chart",
    "printed with 1/30, 0.0333 and 0.033; reads 3.3 % too high at one repetition"
);
from_reps!(
    /// 36 w / (37 - r), kg.
    brzycki, BRZYCKI, brzycki_kg, "e1rm.brzycki", "Maximum from repetitions, hyperbolic",
    "36 w / (37 - r)", "Brzycki 1993, J Phys Educ Recreat Dance 64(1):88-90",
    "has a pole at 37 repetitions and is negative beyond"
);
from_reps!(
    /// w / (1.0278 - 0.0278 r), kg.
    brzycki_dec, BRZYCKI_DEC, brzycki_dec_kg, "e1rm.brzycki_dec",
    "Maximum from repetitions, hyperbolic, decimal print",
    "w / (1.0278 - 0.0278 r)", "Brzycki 1993, J Phys Educ Recreat Dance 64(1):88-90, decimal print",
    "differs from the fraction in the fourth digit; never count both as two opinions"
);
from_reps!(
    /// w r^0.10, kg.
    lombardi, LOMBARDI, lombardi_kg, "e1rm.lombardi", "Maximum from repetitions, power law",
    "w r^0.10", "Lombardi 1989, Beginning Weight Training",
    "reads low from eight repetitions on compared with the others"
);
from_reps!(
    /// 100 w / (52.2 + 41.9 e^(-0.055 r)), kg.
    mayhew, MAYHEW, mayhew_kg, "e1rm.mayhew", "Maximum from repetitions, exponential (bench press)",
    "100 w / (52.2 + 41.9 e^(-0.055 r))",
    "Mayhew et al. 1992, J Appl Sport Sci Res 6(4):200-206",
    "reads 8.9 % too high at one repetition"
);
from_reps!(
    /// w (1 + 0.025 r), kg.
    oconner, OCONNER, oconner_kg, "e1rm.oconner", "Maximum from repetitions, cautious linear",
    "w (1 + 0.025 r)", "O'Conner, Simmons, O'Shea 1989",
    "the name is also spelt O'Connor"
);
from_reps!(
    /// 100 w / (48.8 + 53.8 e^(-0.075 r)), kg.
    wathan, WATHAN, wathan_kg, "e1rm.wathan", "Maximum from repetitions, exponential",
    "100 w / (48.8 + 53.8 e^(-0.075 r))",
    "Wathan 1994, in Baechle (ed.), Essentials of Strength Training and Conditioning",
    "also spelt Wathen; some pages print it without the exponential"
);
from_reps!(
    /// 100 w / (101.3 - 2.67123 r), kg.
    lander, LANDER, lander_kg, "e1rm.lander", "Maximum from repetitions, hyperbolic, early print",
    "100 w / (101.3 - 2.67123 r)", "Lander 1985, Natl Strength Cond Assoc J 6(6):60-61",
    "has a pole near 37.9 repetitions; also spelt Landers"
);

/// Chest press from a five-repetition maximum.
pub static REYNOLDS_CHEST: Formula = Formula {
    id: "e1rm.reynolds_chest",
    name: "Chest press maximum from the five-repetition maximum",
    rule: "1.1307 five-repetition maximum + 0.6999",
    source: "Reynolds, Gordon, Robergs 2006, J Strength Cond Res 20(3):584-592",
    standing: Standing::Read,
    domain: "chest press, adults of 18 to 69 years; standard error 2.98 kg",
    units: KG,
    trap: "the intercept makes it wrong for small loads; holds for this exercise only",
    caution: Some(Caution::MaximalTest),
    inputs: &[Input::number("rm5", "kg", 10.0, 300.0)],
    example: &[("rm5", "80")],
    run: |a| Ok(reynolds_chest(a.number("rm5")?).into()),
    ..Formula::BLANK
};

/// 1.1307 `rm5` + 0.6999, kg; `rm5` is the five-repetition maximum of the chest press in kg.
///
/// # Errors
/// An input outside its limits.
pub fn reynolds_chest(rm5: f64) -> Computation<f64> {
    REYNOLDS_CHEST.compute(given![rm5], |_| Ok(1.1307 * rm5 + 0.6999))
}

/// Leg press from a five-repetition maximum.
pub static REYNOLDS_LEGPRESS: Formula = Formula {
    id: "e1rm.reynolds_legpress",
    name: "Leg press maximum from the five-repetition maximum",
    rule: "1.0970 five-repetition maximum + 14.2546",
    source: "Reynolds, Gordon, Robergs 2006, J Strength Cond Res 20(3):584-592",
    standing: Standing::Read,
    domain: "leg press, adults of 18 to 69 years; standard error 16.16 kg",
    units: KG,
    trap: "the intercept of 14 kg makes it wrong for small loads; holds for this exercise only",
    caution: Some(Caution::MaximalTest),
    inputs: &[Input::number("rm5", "kg", 30.0, 600.0)],
    example: &[("rm5", "200")],
    run: |a| Ok(reynolds_legpress(a.number("rm5")?).into()),
    ..Formula::BLANK
};

/// 1.0970 `rm5` + 14.2546, kg; `rm5` is the five-repetition maximum of the leg press in kg.
///
/// # Errors
/// An input outside its limits.
pub fn reynolds_legpress(rm5: f64) -> Computation<f64> {
    REYNOLDS_LEGPRESS.compute(given![rm5], |_| Ok(1.0970 * rm5 + 14.2546))
}

outputs! {
    /// Lowest and highest of the formulas.
    Range {
        /// Lowest estimate, kg.
        low: f64,
        /// Highest estimate, kg.
        high: f64,
        /// How many formulas were asked.
        formulas: u32,
    }
}

/// Words for the kind of lift, for formulas that hold for some only.
pub const LIFTS: &[&str] = &["strength", "snatch", "clean", "jerk"];

/// Spread of all formulas.
pub static RANGE: Formula = Formula {
    id: "e1rm.range",
    name: "Range of the maximum from repetitions",
    rule: "lowest and highest of seven formulas; at one repetition the load itself",
    source: "the seven formulas above; showing a range is our rule, because trained lifters did \
             from 6 to 26 repetitions at 70 % in the squat (quoted in Zourdos et al. 2021)",
    standing: Standing::CommonPractice,
    domain: DOMAIN,
    units: &[("low", "kg"), ("high", "kg"), ("formulas", "")],
    trap: "a point hides that the formulas disagree; an average of them was never validated",
    caution: Some(Caution::MaximalTest),
    inputs: &[LOAD, REPS, Input::word("lift", "kind of lift", LIFTS).or("strength")],
    example: EXAMPLE,
    run: |a| Ok(range(a.number("w")?, a.number("r")?, a.word("lift")?).into()),
    ..Formula::BLANK
};

/// Lowest and highest estimate, kg, from load `w` (kg) and `r` repetitions to failure.
///
/// `lift` is one of [`LIFTS`].
///
/// # Errors
/// An input outside its limits, or a lift for which no such formula was validated.
pub fn range(w: f64, r: f64, lift: &'static str) -> Computation<Range> {
    RANGE.compute(given![w, r, lift], |n| {
        if lift != "strength" {
            return Err(Reason::NotForThisLift {
                rule: "no formula from repetitions was validated for snatch, clean or jerk",
            });
        }
        notes(n, r);
        Ok(spread(w, r))
    })
}

/// The spread of [`OPINIONS`]; the load itself at one repetition.
pub(super) fn spread(w: f64, r: f64) -> Range {
    if r <= 1.0 {
        return Range { low: w, high: w, formulas: 1 };
    }
    let mut range = Range { low: f64::INFINITY, high: f64::NEG_INFINITY, formulas: 0 };
    for opinion in OPINIONS {
        let kg = opinion(w, r);
        range.low = range.low.min(kg);
        range.high = range.high.max(kg);
        range.formulas += 1;
    }
    range
}

/// Every formula of this file.
pub static ALL: &[&Formula] = &[
    &EPLEY,
    &BRZYCKI,
    &BRZYCKI_DEC,
    &LOMBARDI,
    &MAYHEW,
    &OCONNER,
    &WATHAN,
    &LANDER,
    &REYNOLDS_CHEST,
    &REYNOLDS_LEGPRESS,
    &RANGE,
];
