//! Jump heights and the ratios made of them. Mechanics in m, s, N; knows no athlete.

use super::computed::{given, outputs};
use super::stats::count;
use super::{Caution, Computation, Formula, Input, Reason, Standing};

/// Gravity as an input of every jump formula.
pub(super) const G: Input = Input::number("g", "m/s2", 9.7, 9.9).or("9.80665");
const FLIGHT: Input = Input::number("t", "s of flight", 0.10, 1.00);
const FLIGHT_TRAP: &str = "holds for the same posture at take-off and landing; landing with bent \
                           legs makes the jump look higher";
const BOSCO: &str = "Bosco, Luhtanen, Komi 1983, Eur J Appl Physiol 50:273-282; projectile motion";

/// Height from flight time.
pub static HEIGHT_FROM_FLIGHT: Formula = Formula {
    id: "jump.height_from_flight",
    name: "Jump height from flight time",
    rule: "g t^2 / 8",
    source: BOSCO,
    standing: Standing::Derived,
    domain: "flight of 0.10 to 1.00 s",
    units: &[("value", "m")],
    trap: FLIGHT_TRAP,
    caution: Some(Caution::JumpExposure),
    inputs: &[FLIGHT, G],
    example: &[("t", "0.5")],
    run: |a| Ok(height_from_flight(a.number("t")?, a.number("g")?).into()),
    ..Formula::BLANK
};

/// Height in m from `t` s of flight under gravity `g` (m/s²).
///
/// # Errors
/// An input outside its limits.
pub fn height_from_flight(t: f64, g: f64) -> Computation<f64> {
    HEIGHT_FROM_FLIGHT.compute(given![t, g], |_| Ok(g * t * t / 8.0))
}

/// Take-off speed from flight time.
pub static TAKEOFF_FROM_FLIGHT: Formula = Formula {
    id: "jump.takeoff_from_flight",
    name: "Take-off speed from flight time",
    rule: "g t / 2",
    source: BOSCO,
    standing: Standing::Derived,
    domain: "flight of 0.10 to 1.00 s",
    units: &[("value", "m/s")],
    trap: FLIGHT_TRAP,
    caution: Some(Caution::JumpExposure),
    inputs: &[FLIGHT, G],
    example: &[("t", "0.5")],
    run: |a| Ok(takeoff_from_flight(a.number("t")?, a.number("g")?).into()),
    ..Formula::BLANK
};

/// Take-off speed in m/s from `t` s of flight under gravity `g` (m/s²).
///
/// # Errors
/// An input outside its limits.
pub fn takeoff_from_flight(t: f64, g: f64) -> Computation<f64> {
    TAKEOFF_FROM_FLIGHT.compute(given![t, g], |_| Ok(g * t / 2.0))
}

/// Height from take-off speed.
pub static HEIGHT_FROM_TAKEOFF: Formula = Formula {
    id: "jump.height_from_takeoff",
    name: "Jump height from take-off speed",
    rule: "v^2 / (2 g)",
    source: "projectile motion",
    standing: Standing::Derived,
    domain: "take-off at 0.45 to 5.0 m/s",
    units: &[("value", "m")],
    trap: "take-off speed from a force plate depends on a quiet stand before the jump",
    caution: Some(Caution::JumpExposure),
    inputs: &[Input::number("v", "m/s", 0.45, 5.0), G],
    example: &[("v", "2.80095")],
    run: |a| Ok(height_from_takeoff(a.number("v")?, a.number("g")?).into()),
    ..Formula::BLANK
};

/// Height in m from take-off speed `v` (m/s) under gravity `g` (m/s²).
///
/// # Errors
/// An input outside its limits.
pub fn height_from_takeoff(v: f64, g: f64) -> Computation<f64> {
    HEIGHT_FROM_TAKEOFF.compute(given![v, g], |_| Ok(v * v / (2.0 * g)))
}

outputs! {
    /// Jump from a force record.
    ForceJump {
        /// Take-off speed, m/s.
        v: f64,
        /// Height, m.
        height: f64,
    }
}

/// Take-off speed from impulse.
pub static FROM_FORCE: Formula = Formula {
    id: "jump.from_force",
    name: "Take-off speed and height from a force record",
    rule: "v = integral of (force - m g) dt / m by trapezoids; height = v^2 / (2 g)",
    source: "impulse and momentum",
    standing: Standing::Derived,
    domain: "vertical force from a quiet stand to take-off, evenly sampled",
    units: &[("v", "m/s"), ("height", "m")],
    trap: "the record must start in a quiet stand and end at take-off; body mass must be weighed \
           on the same plate",
    caution: Some(Caution::JumpExposure),
    inputs: &[
        Input::list("force", "N", 0.0, 20_000.0).items(3, super::formula::LONGEST_LIST),
        Input::number("dt", "s between samples", 0.0001, 0.1),
        Input::number("m", "kg", 20.0, 250.0),
        G,
    ],
    example: &[("force", "735.5,29x1635.5,735.5"), ("dt", "0.008"), ("m", "75")],
    run: |a| {
        let force = a.list("force")?;
        Ok(from_force(&force, a.number("dt")?, a.number("m")?, a.number("g")?).into())
    },
    ..Formula::BLANK
};

/// Take-off speed and height from vertical `force` (N) sampled every `dt` s, body mass `m` (kg).
///
/// # Errors
/// Inputs outside their limits, or no upward speed at the end.
pub fn from_force(force: &[f64], dt: f64, m: f64, g: f64) -> Computation<ForceJump> {
    FROM_FORCE.compute(given!["force" => force, "dt" => dt, "m" => m, "g" => g], |_| {
        let area: f64 = force.iter().zip(force.iter().skip(1)).map(|(a, b)| (a + b) / 2.0 - m * g).sum();
        let v = area * dt / m;
        if v <= 0.0 {
            return Err(Reason::CannotBeTold { rule: "the record does not end moving upwards" });
        }
        Ok(ForceJump { v, height: v * v / (2.0 * g) })
    })
}

/// Height that one camera frame stands for.
pub static FRAME_ERROR: Formula = Formula {
    id: "jump.frame_error",
    name: "Height that one camera frame stands for",
    rule: "g ((t + 1/fps)^2 - t^2) / 8",
    source: "projectile motion",
    standing: Standing::Derived,
    domain: "flight times read from video",
    units: &[("value", "m")],
    trap: "take-off and landing each have their own frame",
    caution: None,
    inputs: &[FLIGHT, Input::number("fps", "frames per second", 24.0, 2000.0), G],
    example: &[("t", "0.5"), ("fps", "240")],
    run: |a| Ok(frame_error(a.number("t")?, a.number("fps")?, a.number("g")?).into()),
    ..Formula::BLANK
};

/// Height in m by which one frame more at `fps` frames per second raises a flight of `t` s.
///
/// # Errors
/// An input outside its limits.
pub fn frame_error(t: f64, fps: f64, g: f64) -> Computation<f64> {
    FRAME_ERROR.compute(given![t, fps, g], |_| {
        let frame = 1.0 / fps;
        Ok(g * frame * (2.0 * t + frame) / 8.0)
    })
}

/// Height over time to take-off.
pub static RSI_MODIFIED: Formula = Formula {
    id: "jump.rsi_modified",
    name: "Jump height over time to take-off",
    rule: "height / time to take-off of a countermovement jump",
    source: "Ebben & Petushek 2010, J Strength Cond Res 24:1983-1987",
    standing: Standing::Read,
    domain: "time to take-off 0.3 to 1.5 s",
    units: &[("value", "m/s")],
    trap: "not comparable with reactive strength of a drop jump; the rule for when the movement \
           starts changes the time",
    caution: Some(Caution::JumpExposure),
    inputs: &[Input::number("h", "m", 0.01, 1.3), Input::number("ttt", "s", 0.3, 1.5)],
    example: &[("h", "0.40"), ("ttt", "0.75")],
    run: |a| Ok(rsi_modified(a.number("h")?, a.number("ttt")?).into()),
    ..Formula::BLANK
};

/// Jump height `h` (m) over time to take-off `ttt` (s), m/s.
///
/// # Errors
/// An input outside its limits.
pub fn rsi_modified(h: f64, ttt: f64) -> Computation<f64> {
    RSI_MODIFIED.compute(given![h, ttt], |_| Ok(h / ttt))
}

/// Countermovement jump over squat jump.
pub static EUR: Formula = Formula {
    id: "jump.eur",
    name: "Countermovement jump over squat jump",
    rule: "countermovement jump / squat jump",
    source: "McGuigan et al. 2006, J Strength Cond Res 20:992-995",
    standing: Standing::Memory,
    domain: "heights above 0.05 m, both of the same quantity",
    units: &[("value", "")],
    trap: "below 1 mostly means that the squat jump was not one",
    caution: Some(Caution::JumpExposure),
    inputs: &[Input::number("cmj", "m", 0.05, 1.3), Input::number("sj", "m", 0.05, 1.3)],
    example: &[("cmj", "0.38"), ("sj", "0.34")],
    run: |a| Ok(eur(a.number("cmj")?, a.number("sj")?).into()),
    ..Formula::BLANK
};

/// Countermovement jump height `cmj` over squat jump height `sj`, both in m.
///
/// # Errors
/// An input outside its limits.
pub fn eur(cmj: f64, sj: f64) -> Computation<f64> {
    EUR.compute(given![cmj, sj], |notes| {
        notes.say_if(cmj < sj, "below 1: look whether the squat jump dipped before it rose");
        Ok(cmj / sj)
    })
}

outputs! {
    /// Share of isometric force that a jump uses.
    ForceShare {
        /// Ballistic over isometric peak force.
        value: f64,
        /// The published description of its band.
        band: &'static str,
    }
}

/// Ballistic over isometric peak force.
pub static DSI: Formula = Formula {
    id: "jump.dsi",
    name: "Ballistic over isometric peak force",
    rule: "peak force of the jump / peak force of the isometric mid-thigh pull",
    source: "Comfort et al. 2018, PMC6315417; bands as in PLOS ONE pone.0331519",
    standing: Standing::Read,
    domain: "both forces with body weight included; ratio of 0.2 to 1.5",
    units: &[("value", ""), ("band", "")],
    trap: "countermovement and squat jump give different ratios; two ways of matching agreed on \
           the advice in 45 % of athletes only",
    caution: Some(Caution::MaximalTest),
    inputs: &[Input::number("ballistic", "N", 200.0, 8000.0), Input::number("isometric", "N", 200.0, 8000.0)],
    example: &[("ballistic", "1500"), ("isometric", "2300")],
    run: |a| Ok(dsi(a.number("ballistic")?, a.number("isometric")?).into()),
    ..Formula::BLANK
};

/// Peak force of a jump `ballistic` over that of an isometric pull `isometric`, both in N.
///
/// # Errors
/// An input outside its limits, or a ratio outside 0.2 to 1.5.
pub fn dsi(ballistic: f64, isometric: f64) -> Computation<ForceShare> {
    DSI.compute(given![ballistic, isometric], |_| {
        let value = ballistic / isometric;
        if !(0.2..=1.5).contains(&value) {
            return Err(Reason::Contradiction { rule: "the ratio is outside 0.2 to 1.5" });
        }
        let band = match value {
            v if v > 0.80 => "above 0.80",
            v if v >= 0.60 => "0.60 to 0.80",
            _ => "below 0.60",
        };
        Ok(ForceShare { value, band })
    })
}

/// Usual ranges by kind: name, unit, lowest, highest. From memory: they warn, they do not reject.
pub const USUAL: [(&str, &str, f64, f64); 5] = [
    ("cmj_height", "m", 0.20, 0.75),
    ("sj_height", "m", 0.18, 0.70),
    ("drop_contact", "s", 0.12, 0.35),
    ("hurdle_hop_contact", "s", 0.12, 0.30),
    ("pogo_contact", "s", 0.10, 0.25),
];
const USUAL_NAMES: &[&str] =
    &["cmj_height", "sj_height", "drop_contact", "hurdle_hop_contact", "pogo_contact"];

outputs! {
    /// Whether a measured value is usual.
    UsualRange {
        /// True inside the usual range.
        usual: bool,
        /// Lowest usual value.
        low: f64,
        /// Highest usual value.
        high: f64,
    }
}

/// Check of a typed-in value.
pub static USUAL_VALUE: Formula = Formula {
    id: "jump.usual",
    name: "Is a typed-in jump value usual?",
    rule: "inside the usual range of its kind",
    source: "from memory, no source read",
    standing: Standing::Memory,
    domain: "a question back to whoever typed it, never a rejection",
    units: &[("usual", ""), ("low", "m or s"), ("high", "m or s")],
    trap: "milliseconds typed as seconds are the usual cause",
    caution: None,
    inputs: &[
        Input::word("kind", "what was measured", USUAL_NAMES),
        Input::number("x", "m or s", 0.0, 1.0e6),
    ],
    example: &[("kind", "drop_contact"), ("x", "0.18")],
    run: |a| Ok(usual(a.word("kind")?, a.number("x")?).into()),
    ..Formula::BLANK
};

/// Whether `x` (m or s) is usual for `kind`.
///
/// # Errors
/// An unknown kind or an input outside its limits.
pub fn usual(kind: &'static str, x: f64) -> Computation<UsualRange> {
    USUAL_VALUE.compute(given![kind, x], |_| {
        let row = USUAL.iter().find(|(name, ..)| *name == kind);
        let (_, _, low, high) = *row.ok_or(Reason::NoEntry { what: "kind" })?;
        Ok(UsualRange { usual: (low..=high).contains(&x), low, high })
    })
}

/// Mean of a list that is known not to be empty.
pub(super) fn mean_of(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / count(values.len().max(1))
}

/// Every formula of this file.
pub static ALL: &[&Formula] = &[
    &HEIGHT_FROM_FLIGHT,
    &TAKEOFF_FROM_FLIGHT,
    &HEIGHT_FROM_TAKEOFF,
    &FROM_FORCE,
    &FRAME_ERROR,
    &RSI_MODIFIED,
    &EUR,
    &DSI,
    &USUAL_VALUE,
];
