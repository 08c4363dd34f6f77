//! Force, velocity and power of a sprint from its model. Mechanics; knows no athlete.

use super::computed::{given, outputs};
use super::jump::G;
use super::sprint::{FREE, REACTION, Start, TAU, TIMES, TRIGGER, VMAX, WAYS, fit_splits};
use super::stats::{count, line};
use super::{Caution, Computation, Formula, Input, Reason, Standing};

outputs! {
    /// Profile without air.
    Profile {
        /// Force at no speed, N/kg.
        f0: f64,
        /// Speed at no force, m/s.
        v0: f64,
        /// Largest power, W/kg.
        pmax: f64,
    }
}

/// Profile without air resistance.
pub static NO_AIR: Formula = Formula {
    id: "sprint.fvp_no_air",
    name: "Force-velocity profile of a sprint, air left out",
    rule: "f0 = vmax/tau; v0 = vmax; pmax = vmax^2/(4 tau)",
    source: "Samozino et al. 2016, Scand J Med Sci Sports 26:648-658, in the limit of no air",
    standing: Standing::Derived,
    domain: "exact for the sprint model without air",
    units: &[("f0", "N/kg"), ("v0", "m/s"), ("pmax", "W/kg")],
    trap: "leaving the air out moves v0 by 4 %",
    caution: Some(Caution::SprintExposure),
    inputs: &[VMAX, TAU],
    example: &[("vmax", "10"), ("tau", "1.2")],
    run: |a| Ok(no_air(a.number("vmax")?, a.number("tau")?).into()),
    ..Formula::BLANK
};

/// Profile of the model with ceiling `vmax` (m/s) and time constant `tau` (s).
///
/// # Errors
/// An input outside its limits.
pub fn no_air(vmax: f64, tau: f64) -> Computation<Profile> {
    NO_AIR.compute(given![vmax, tau], |_| {
        Ok(Profile { f0: vmax / tau, v0: vmax, pmax: vmax * vmax / (4.0 * tau) })
    })
}

outputs! {
    /// Profile with air.
    AirProfile {
        /// Density of the air, kg/m³.
        rho: f64,
        /// Frontal area, m².
        area: f64,
        /// Air drag over speed squared, kg/m.
        k: f64,
        /// Force at no speed, N/kg.
        f0: f64,
        /// Speed at no force, m/s.
        v0: f64,
        /// Largest power, W/kg.
        pmax: f64,
        /// Largest share of the ground force that points forwards, from 0.3 s on.
        rfmax: f64,
        /// Change of that share per m/s.
        drf: f64,
        /// Ceiling of speed that was used, m/s.
        vmax: f64,
        /// Time constant that was used, s.
        tau: f64,
    }
}

const AIR_UNITS: &[(&str, &str)] = &[
    ("rho", "kg/m3"),
    ("area", "m2"),
    ("k", "kg/m"),
    ("f0", "N/kg"),
    ("v0", "m/s"),
    ("pmax", "W/kg"),
    ("rfmax", ""),
    ("drf", "per m/s"),
    ("vmax", "m/s"),
    ("tau", "s"),
];
const AIR_SOURCE: &str = "Samozino et al. 2016, Scand J Med Sci Sports 26:648-658; Morin et al. \
                          2019; drag after Arsac & Locatelli 2002 (constants from memory)";
const AIR_RULE: &str = "force per kg = a + k/m (v - wind) |v - wind| on a grid of 1 ms over 4 s; k = 0.5 \
                        rho area 0.9; rho = 1.293 (mmHg/760)(273/(273 + degrees)); area = 0.2025 \
                        height^0.725 m^0.425 0.266; line of force on speed gives f0, v0, pmax = f0 \
                        v0/4; share = force/sqrt(force^2 + (m g)^2) from 0.3 s on";
const AIR_TRAP: &str = "pressure in mmHg (760), not hPa (1013); f0 depends on the grid; errors of \
                        top speed and time constant move together";
const MASS: Input = Input::number("m", "kg", 25.0, 150.0);
const HEIGHT: Input = Input::number("h", "m", 1.2, 2.2);
const DEGREES: Input = Input::number("celsius", "degrees", -10.0, 45.0).or("20");
const PRESSURE: Input = Input::number("mmhg", "mmHg", 500.0, 800.0).or("760");
const WIND: Input = Input::number("wind", "m/s, from behind", -10.0, 10.0).or("0");

/// Runner and air.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Conditions {
    /// Body mass, kg.
    pub m: f64,
    /// Height, m.
    pub h: f64,
    /// Temperature, °C.
    pub celsius: f64,
    /// Pressure, mmHg.
    pub mmhg: f64,
    /// Wind from behind, m/s.
    pub wind: f64,
    /// Gravity, m/s².
    pub g: f64,
}

macro_rules! conditions {
    ($a:ident) => {
        Conditions {
            m: $a.number("m")?,
            h: $a.number("h")?,
            celsius: $a.number("celsius")?,
            mmhg: $a.number("mmhg")?,
            wind: $a.number("wind")?,
            g: $a.number("g")?,
        }
    };
}

/// Profile with air resistance.
pub static AIR: Formula = Formula {
    id: "sprint.fvp_air",
    name: "Force-velocity profile of a sprint, with air",
    rule: AIR_RULE,
    source: AIR_SOURCE,
    standing: Standing::Memory,
    domain: "the sprint model up to 4 s",
    units: AIR_UNITS,
    trap: AIR_TRAP,
    caution: Some(Caution::SprintExposure),
    inputs: &[VMAX, TAU, MASS, HEIGHT, DEGREES, PRESSURE, WIND, G],
    example: &[("vmax", "10"), ("tau", "1.2"), ("m", "75"), ("h", "1.80")],
    run: |a| Ok(air(a.number("vmax")?, a.number("tau")?, conditions!(a)).into()),
    ..Formula::BLANK
};

/// Profile with air of the model with ceiling `vmax` (m/s) and time constant `tau` (s).
///
/// # Errors
/// An input outside its limits, or a wind in which force does not fall with speed.
pub fn air(vmax: f64, tau: f64, c: Conditions) -> Computation<AirProfile> {
    let given = given!["vmax" => vmax, "tau" => tau, "m" => c.m, "h" => c.h,
                       "celsius" => c.celsius, "mmhg" => c.mmhg, "wind" => c.wind, "g" => c.g];
    AIR.compute(given, |_| profile(vmax, tau, c))
}

fn profile(vmax: f64, tau: f64, c: Conditions) -> Result<AirProfile, Reason> {
    let rho = 1.293 * (c.mmhg / 760.0) * (273.0 / (273.0 + c.celsius));
    let area = 0.2025 * c.h.powf(0.725) * c.m.powf(0.425) * 0.266;
    let k = 0.5 * rho * area * 0.9;
    let mut speeds = Vec::with_capacity(4001);
    let mut forces = Vec::with_capacity(4001);
    let mut late_speeds = Vec::with_capacity(3701);
    let mut shares = Vec::with_capacity(3701);
    for millisecond in 0..=4000_usize {
        let t = count(millisecond) / 1000.0;
        let rest = (-t / tau).exp();
        let v = vmax * (1.0 - rest);
        let against = v - c.wind;
        let force = vmax / tau * rest + k / c.m * against * against.abs();
        speeds.push(v);
        forces.push(force);
        if millisecond >= 300 {
            late_speeds.push(v);
            shares.push(force / force.hypot(c.g));
        }
    }
    let bent = Reason::CannotBeTold { rule: "force does not fall with speed" };
    let fit = line(&speeds, &forces).filter(|l| l.slope < 0.0).ok_or(bent.clone())?;
    let (f0, v0) = (fit.intercept, -fit.intercept / fit.slope);
    let decline = line(&late_speeds, &shares).ok_or(bent)?;
    Ok(AirProfile {
        rho,
        area,
        k,
        f0,
        v0,
        pmax: f0 * v0 / 4.0,
        rfmax: shares.iter().copied().fold(f64::NEG_INFINITY, f64::max),
        drf: decline.slope,
        vmax,
        tau,
    })
}

/// Profile straight from splits.
pub static FROM_SPLITS: Formula = Formula {
    id: "sprint.fvp_from_splits",
    name: "Force-velocity profile from splits",
    rule: "fit of the sprint model to the splits, then the profile with air",
    source: AIR_SOURCE,
    standing: Standing::Memory,
    domain: "as the fit of splits and the profile with air",
    units: AIR_UNITS,
    trap: "the trigger of the clock decides more than the air does",
    caution: Some(Caution::SprintExposure),
    inputs: &[WAYS, TIMES, TRIGGER, REACTION, FREE, MASS, HEIGHT, DEGREES, PRESSURE, WIND, G],
    example: &[
        ("x", "5,10,20,30,40"),
        ("t", "1.29,1.97,3.11,4.16,5.18"),
        ("trigger", "first_movement"),
        ("m", "75"),
        ("h", "1.80"),
    ],
    run: |a| {
        let start = Start {
            trigger: a.word("trigger")?,
            reaction: a.maybe_number("reaction")?,
            free_offset: a.flag("free_offset")?,
        };
        Ok(from_splits(&a.list("x")?, &a.list("t")?, start, conditions!(a)).into())
    },
    ..Formula::BLANK
};

/// Profile with air from times `t` (s) at distances `x` (m).
///
/// # Errors
/// As the fit of splits and [`air`].
pub fn from_splits(x: &[f64], t: &[f64], start: Start, c: Conditions) -> Computation<AirProfile> {
    let given = given!["x" => x, "t" => t, "trigger" => start.trigger,
                       "reaction" => start.reaction, "free_offset" => start.free_offset,
                       "m" => c.m, "h" => c.h, "celsius" => c.celsius, "mmhg" => c.mmhg,
                       "wind" => c.wind, "g" => c.g];
    FROM_SPLITS.compute(given, |_| {
        let fit = fit_splits(x, t, start)?;
        profile(fit.vmax, fit.tau, c)
    })
}

/// Every formula of this file.
pub static ALL: &[&Formula] = &[&NO_AIR, &AIR, &FROM_SPLITS];
