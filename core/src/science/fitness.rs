//! The impulse-response model as an explainer: why rest lets fitness show. Never a forecast for a
//! person; no fitting is offered, because five constants cannot be told from a few tests.

use super::computed::{given, outputs};
use super::stats::count;
use super::{Caution, Computation, Formula, Input, Reason, Standing};

const BANISTER: &str = "Banister et al. 1975, Aust J Sports Med 7:57-61; constants 45, 15, 1, 2 as \
                        in Morton, Fitz-Clarke, Banister 1990, J Appl Physiol 69:1171-1177 (from \
                        memory)";
const EXPLAINER: &str = "an explainer with textbook constants, not a forecast for this athlete";
const TRAP: &str = "whether today's load is in the sum, and whether the two parts carry their \
                    factors, differs between texts; fitting the five constants to fewer than 30 \
                    tests is guesswork";
const DOMAIN: &str = "t1 above t2, k2 above k1; loads from 0";
const T1: Input = Input::number("t1", "days", 1.0, 365.0).or("45");
const T2: Input = Input::number("t2", "days", 1.0, 365.0).or("15");
const K1: Input = Input::number("k1", "gain of fitness", 1.0e-6, 100.0).or("1");
const K2: Input = Input::number("k2", "gain of fatigue", 1.0e-6, 100.0).or("2");
const PARTS: &[(&str, &str)] = &[("fit", "units"), ("fat", "units"), ("net", "units")];

outputs! {
    /// The two parts and their difference.
    Parts {
        /// Fitness, without its gain.
        fit: f64,
        /// Fatigue, without its gain.
        fat: f64,
        /// k1 fitness - k2 fatigue (+ the level at the start, where one was given).
        net: f64,
    }
}

/// Constants of the model.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Constants {
    /// Days in which fitness fades to 37 %.
    pub t1: f64,
    /// Days in which fatigue fades to 37 %.
    pub t2: f64,
    /// Gain of fitness.
    pub k1: f64,
    /// Gain of fatigue.
    pub k2: f64,
}

impl Constants {
    fn check(self) -> Result<(), Reason> {
        if self.t1 <= self.t2 {
            return Err(Reason::Contradiction { rule: "t1 must be above t2" });
        }
        if self.k2 <= self.k1 {
            return Err(Reason::Contradiction { rule: "k2 must be above k1" });
        }
        Ok(())
    }
}

macro_rules! constants {
    ($a:ident) => {
        Constants { t1: $a.number("t1")?, t2: $a.number("t2")?, k1: $a.number("k1")?, k2: $a.number("k2")? }
    };
}

/// One dose.
pub static SINGLE: Formula = Formula {
    id: "load.banister_single",
    name: "One dose of training and the days after (explainer)",
    rule: "fit = dose e^(-day/t1); fat = dose e^(-day/t2); net = k1 fit - k2 fat",
    source: BANISTER,
    standing: Standing::Memory,
    domain: DOMAIN,
    units: PARTS,
    trap: TRAP,
    caution: Some(Caution::Load),
    inputs: &[
        Input::number("dose", "units", 0.0, 1.0e5),
        Input::number("day", "days after", 0.0, 1000.0),
        T1,
        T2,
        K1,
        K2,
    ],
    example: &[("dose", "100"), ("day", "15")],
    run: |a| Ok(single(a.number("dose")?, a.number("day")?, constants!(a)).into()),
    ..Formula::BLANK
};

/// Fitness and fatigue `day` days after one `dose`.
///
/// # Errors
/// Inputs outside their limits or constants in the wrong order.
pub fn single(dose: f64, day: f64, c: Constants) -> Computation<Parts> {
    let given = given!["dose" => dose, "day" => day, "t1" => c.t1, "t2" => c.t2, "k1" => c.k1,
                       "k2" => c.k2];
    SINGLE.compute(given, |notes| {
        c.check()?;
        notes.say(EXPLAINER);
        let (fit, fat) = (dose * (-day / c.t1).exp(), dose * (-day / c.t2).exp());
        Ok(Parts { fit, fat, net: c.k1 * fit - c.k2 * fat })
    })
}

outputs! {
    /// Two times after a dose.
    Times {
        /// Days until the dose no longer costs.
        tn: f64,
        /// Days until the dose helps most.
        tg: f64,
    }
}

/// When a dose stops costing and when it helps most.
pub static TIMES: Formula = Formula {
    id: "load.banister_times",
    name: "When a dose stops costing and when it helps most (explainer)",
    rule: "tn = t1 t2/(t1 - t2) ln(k2/k1); tg = t1 t2/(t1 - t2) ln(k2 t1/(k1 t2))",
    source: "Fitz-Clarke et al. 1991, on the model of Banister et al. 1975",
    standing: Standing::Derived,
    domain: DOMAIN,
    units: &[("tn", "days"), ("tg", "days")],
    trap: TRAP,
    caution: Some(Caution::Load),
    inputs: &[T1, T2, K1, K2],
    example: &[],
    run: |a| Ok(times(constants!(a)).into()),
    ..Formula::BLANK
};

/// The two times of the constants `c`, days.
///
/// # Errors
/// Inputs outside their limits or constants in the wrong order.
pub fn times(c: Constants) -> Computation<Times> {
    TIMES.compute(given!["t1" => c.t1, "t2" => c.t2, "k1" => c.k1, "k2" => c.k2], |notes| {
        c.check()?;
        notes.say(EXPLAINER);
        let scale = c.t1 * c.t2 / (c.t1 - c.t2);
        let gain = (c.k2 / c.k1).ln();
        Ok(Times { tn: scale * gain, tg: scale * (gain + (c.t1 / c.t2).ln()) })
    })
}

/// One day further.
pub static STEP: Formula = Formula {
    id: "load.banister_step",
    name: "Fitness and fatigue one day further (explainer)",
    rule: "fit = fit e^(-1/t1) + load; fat = fat e^(-1/t2) + load; net = k1 fit - k2 fat",
    source: BANISTER,
    standing: Standing::Memory,
    domain: DOMAIN,
    units: PARTS,
    trap: TRAP,
    caution: Some(Caution::Load),
    inputs: &[
        Input::number("fit", "units, yesterday", 0.0, 1.0e7),
        Input::number("fat", "units, yesterday", 0.0, 1.0e7),
        Input::number("load", "units today", 0.0, 1.0e5),
        T1,
        T2,
        K1,
        K2,
    ],
    example: &[("fit", "100"), ("fat", "60"), ("load", "50"), ("t1", "42"), ("t2", "7")],
    run: |a| {
        let (fit, fat, load) = (a.number("fit")?, a.number("fat")?, a.number("load")?);
        Ok(step(fit, fat, load, constants!(a)).into())
    },
    ..Formula::BLANK
};

/// Yesterday's `fit` and `fat` after a day and today's `load`.
///
/// # Errors
/// Inputs outside their limits or constants in the wrong order.
pub fn step(fit: f64, fat: f64, load: f64, c: Constants) -> Computation<Parts> {
    let given = given!["fit" => fit, "fat" => fat, "load" => load, "t1" => c.t1, "t2" => c.t2,
                       "k1" => c.k1, "k2" => c.k2];
    STEP.compute(given, |notes| {
        c.check()?;
        notes.say(EXPLAINER);
        let fit = fit * (-1.0 / c.t1).exp() + load;
        let fat = fat * (-1.0 / c.t2).exp() + load;
        Ok(Parts { fit, fat, net: c.k1 * fit - c.k2 * fat })
    })
}

const LOADS: Input = Input::list("w", "units per day, oldest first", 0.0, 1.0e5).items(1, 2000);
const START: Input = Input::number("p0", "level at the start", -1.0e6, 1.0e6).or("0");

/// A series of days.
pub static SERIES: Formula = Formula {
    id: "load.banister_series",
    name: "Fitness and fatigue after a series of days (explainer)",
    rule: "fit = sum of w e^(-(n - s)/t1) over s < n, fat with t2; net = p0 + k1 fit - k2 fat",
    source: BANISTER,
    standing: Standing::Memory,
    domain: "the day after the last load, today's load not counted; t1 above t2, k2 above k1",
    units: PARTS,
    trap: TRAP,
    caution: Some(Caution::Load),
    inputs: &[LOADS, START, T1, T2, K1, K2],
    example: &[("w", "28x50")],
    run: |a| Ok(series(&a.list("w")?, a.number("p0")?, constants!(a)).into()),
    ..Formula::BLANK
};

/// Sum of `w` fading over `t` days, seen from the day after the last.
fn faded(w: &[f64], t: f64) -> f64 {
    w.iter().rev().enumerate().map(|(ago, load)| load * (-(count(ago) + 1.0) / t).exp()).sum()
}

/// Fitness and fatigue on the day after the last of the loads `w`.
///
/// # Errors
/// Inputs outside their limits or constants in the wrong order.
pub fn series(w: &[f64], p0: f64, c: Constants) -> Computation<Parts> {
    let given = given!["w" => w, "p0" => p0, "t1" => c.t1, "t2" => c.t2, "k1" => c.k1,
                       "k2" => c.k2];
    SERIES.compute(given, |notes| {
        c.check()?;
        notes.say(EXPLAINER);
        let (fit, fat) = (faded(w, c.t1), faded(w, c.t2));
        Ok(Parts { fit, fat, net: p0 + c.k1 * fit - c.k2 * fat })
    })
}

outputs! {
    /// The model whose fatigue gain grows with recent training.
    Variable {
        /// Level on the day after the last load.
        net: f64,
        /// Gain of fatigue on each day.
        k2: Vec<f64>,
    }
}

/// Constants of the variable model.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct VariableConstants {
    /// Gain of fitness.
    pub k1: f64,
    /// Growth of the fatigue gain.
    pub k3: f64,
    /// Days in which fitness fades to 37 %.
    pub t1: f64,
    /// Days in which fatigue fades to 37 %.
    pub t2: f64,
    /// Days in which the fatigue gain fades to 37 %.
    pub t3: f64,
}

/// Variable dose-response.
pub static VARIABLE: Formula = Formula {
    id: "load.busso_variable",
    name: "Fatigue that grows with dense training (explainer)",
    rule: "k2 on day i = k3 sum over j <= i of w e^(-(i - j)/t3); net = p0 + k1 sum w \
           e^(-(n - s)/t1) - sum k2 w e^(-(n - s)/t2)",
    source: "Busso 2003, Med Sci Sports Exerc 35:1188-1195; constants from memory",
    standing: Standing::Memory,
    domain: "the day after the last load; t1 above t2",
    units: &[("net", "units"), ("k2", "per day")],
    trap: TRAP,
    caution: Some(Caution::Load),
    inputs: &[
        LOADS,
        START,
        Input::number("k1", "gain of fitness", 1.0e-6, 100.0).or("0.031"),
        Input::number("k3", "growth of the fatigue gain", 1.0e-9, 10.0).or("0.000035"),
        Input::number("t1", "days", 1.0, 365.0).or("30.8"),
        Input::number("t2", "days", 1.0, 365.0).or("16.8"),
        Input::number("t3", "days", 0.5, 365.0).or("2.3"),
    ],
    example: &[("w", "100,0,100")],
    run: |a| {
        let constants = VariableConstants {
            k1: a.number("k1")?,
            k3: a.number("k3")?,
            t1: a.number("t1")?,
            t2: a.number("t2")?,
            t3: a.number("t3")?,
        };
        Ok(variable(&a.list("w")?, a.number("p0")?, constants).into())
    },
    ..Formula::BLANK
};

/// Level on the day after the last of the loads `w`, and the gain of fatigue on each day.
///
/// # Errors
/// Inputs outside their limits or constants in the wrong order.
pub fn variable(w: &[f64], p0: f64, c: VariableConstants) -> Computation<Variable> {
    let given = given!["w" => w, "p0" => p0, "k1" => c.k1, "k3" => c.k3, "t1" => c.t1,
                       "t2" => c.t2, "t3" => c.t3];
    VARIABLE.compute(given, |notes| {
        if c.t1 <= c.t2 {
            return Err(Reason::Contradiction { rule: "t1 must be above t2" });
        }
        notes.say(EXPLAINER);
        let fade = (-1.0 / c.t3).exp();
        let mut recent = 0.0;
        let gains: Vec<f64> = w
            .iter()
            .map(|load| {
                recent = recent * fade + load;
                c.k3 * recent
            })
            .collect();
        let costs: Vec<f64> = w.iter().zip(&gains).map(|(load, gain)| load * gain).collect();
        Ok(Variable { net: p0 + c.k1 * faded(w, c.t1) - faded(&costs, c.t2), k2: gains })
    })
}

/// Every formula of this file.
pub static ALL: &[&Formula] = &[&SINGLE, &TIMES, &STEP, &SERIES, &VARIABLE];
