//! Vertical and leg stiffness from contact and flight time. Sine model; knows no athlete.

use std::f64::consts::PI;

use super::computed::{given, outputs};
use super::jump::G;
use super::{Caution, Computation, Formula, Input, Reason, Standing};

const MASS: Input = Input::number("m", "kg", 20.0, 250.0);
const SOURCE: &str = "Morin et al. 2005, J Appl Biomech 21:167-180; derived from the sine model";

outputs! {
    /// Spring behaviour of a running step.
    Spring {
        /// Peak vertical force, N.
        fmax: f64,
        /// Drop of the centre of mass, m.
        dy: f64,
        /// Vertical stiffness, N/m.
        kvert: f64,
        /// Shortening of the leg, m.
        dl: f64,
        /// Leg stiffness, N/m.
        kleg: f64,
    }
}

/// A running step.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Step {
    /// Body mass, kg.
    pub m: f64,
    /// Speed, m/s.
    pub v: f64,
    /// Leg length, m; 0.53 x height if it was not measured.
    pub leg: f64,
    /// Contact, s.
    pub tc: f64,
    /// Flight, s.
    pub tf: f64,
    /// Gravity, m/s².
    pub g: f64,
}

/// Stiffness of a running step.
pub static MORIN: Formula = Formula {
    id: "stiff.morin",
    name: "Vertical and leg stiffness in running",
    rule: "fmax = m g (pi/2) (tf/tc + 1); dy = fmax tc^2 / (m pi^2) - g tc^2 / 8; kvert = fmax/dy; \
           dl = L - sqrt(L^2 - (v tc/2)^2) + dy; kleg = fmax/dl",
    source: SOURCE,
    standing: Standing::Derived,
    domain: "running steps; v tc / 2 below leg length; 0.7 to 6.9 % below a force plate",
    units: &[("fmax", "N"), ("dy", "m"), ("kvert", "N/m"), ("dl", "m"), ("kleg", "N/m")],
    trap: "the paper writes dy with a sign convention; adding both terms gives less than half the \
           stiffness",
    caution: Some(Caution::SprintExposure),
    inputs: &[
        MASS,
        Input::number("v", "m/s", 1.0, 13.0),
        Input::number("L", "m of leg", 0.4, 1.4),
        Input::number("tc", "s of contact", 0.06, 0.40),
        Input::number("tf", "s of flight", 0.03, 0.40),
        G,
    ],
    example: &[("m", "70"), ("v", "6.67"), ("L", "0.954"), ("tc", "0.15"), ("tf", "0.12")],
    run: |a| {
        let step = Step {
            m: a.number("m")?,
            v: a.number("v")?,
            leg: a.number("L")?,
            tc: a.number("tc")?,
            tf: a.number("tf")?,
            g: a.number("g")?,
        };
        Ok(morin(step).into())
    },
    ..Formula::BLANK
};

/// Stiffness of a running step.
///
/// # Errors
/// Inputs outside their limits, or a leg shorter than half the way travelled in contact.
pub fn morin(step: Step) -> Computation<Spring> {
    let Step { m, v, leg, tc, tf, g } = step;
    let given = given!["m" => m, "v" => v, "L" => leg, "tc" => tc, "tf" => tf, "g" => g];
    MORIN.compute(given, |_| {
        let half = v * tc / 2.0;
        if half >= leg {
            return Err(Reason::Contradiction {
                rule: "half the way travelled in contact is not shorter than the leg",
            });
        }
        let fmax = m * g * (PI / 2.0) * (tf / tc + 1.0);
        let dy = fmax * tc * tc / (m * PI * PI) - g * tc * tc / 8.0;
        let dl = leg - (leg * leg - half * half).sqrt() + dy;
        if dy <= 0.0 {
            return Err(Reason::Contradiction { rule: "the centre of mass would not drop" });
        }
        Ok(Spring { fmax, dy, kvert: fmax / dy, dl, kleg: fmax / dl })
    })
}

/// Stiffness of hopping.
pub static DALLEAU: Formula = Formula {
    id: "stiff.dalleau",
    name: "Vertical stiffness in hopping",
    rule: "m pi (tf + tc) / (tc^2 ((tf + tc)/pi - tc/4))",
    source: "Dalleau et al. 2004, Int J Sports Med 25:170-176 (from memory); the same as the \
             vertical stiffness of Morin et al. 2005",
    standing: Standing::Derived,
    domain: "hops on the spot, contact 0.10 to 0.35 s, flight from 0.03 s",
    units: &[("value", "N/m")],
    trap: "gravity cancels; divide by body mass before comparing people",
    caution: Some(Caution::JumpExposure),
    inputs: &[
        MASS,
        Input::number("tc", "s of contact", 0.10, 0.35),
        Input::number("tf", "s of flight", 0.03, 1.00),
    ],
    example: &[("m", "75"), ("tc", "0.18"), ("tf", "0.444")],
    run: |a| Ok(dalleau(a.number("m")?, a.number("tc")?, a.number("tf")?).into()),
    ..Formula::BLANK
};

/// Vertical stiffness in N/m of hops with body mass `m` (kg), contact `tc` (s), flight `tf` (s).
///
/// # Errors
/// An input outside its limits.
pub fn dalleau(m: f64, tc: f64, tf: f64) -> Computation<f64> {
    DALLEAU.compute(given![m, tc, tf], |_| Ok(m * PI * (tf + tc) / (tc * tc * ((tf + tc) / PI - tc / 4.0))))
}

/// Leg length from height.
pub static LEG_LENGTH: Formula = Formula {
    id: "stiff.leg_length",
    name: "Leg length from height, if it was not measured",
    rule: "0.53 x height",
    source: "as used in Morin et al. 2005, J Appl Biomech 21:167-180",
    standing: Standing::Secondary,
    domain: "adults; measure juniors",
    units: &[("value", "m")],
    trap: "legs grow first: a measured leg is better in the years of growth",
    caution: None,
    inputs: &[Input::number("height", "m", 1.0, 2.4)],
    example: &[("height", "1.80")],
    run: |a| Ok(leg_length(a.number("height")?).into()),
    ..Formula::BLANK
};

/// 0.53 of `height` (m), m.
///
/// # Errors
/// An input outside its limits.
pub fn leg_length(height: f64) -> Computation<f64> {
    LEG_LENGTH.compute(given![height], |_| Ok(0.53 * height))
}

/// Every formula of this file.
pub static ALL: &[&Formula] = &[&MORIN, &DALLEAU, &LEG_LENGTH];
