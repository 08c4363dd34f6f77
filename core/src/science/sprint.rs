//! The mono-exponential sprint: speed rises towards a ceiling. Fitting, times, flying runs.
//! Knows splits and how they were triggered, no athlete.

use levenberg_marquardt::{LeastSquaresProblem, LevenbergMarquardt};
use nalgebra::{DMatrix, DVector, Dyn, storage::Owned};

use super::computed::{given, outputs};
use super::stats::count;
use super::{Caution, Computation, Formula, Input, Reason, Standing};

const SOURCE: &str = "Furusawa, Hill, Parkinson 1927; Samozino et al. 2016, Scand J Med Sci Sports \
                      26:648-658";
/// Ceiling of speed, m/s.
pub(super) const VMAX: Input = Input::number("vmax", "m/s", 4.0, 13.0);
/// Time constant, s.
pub(super) const TAU: Input = Input::number("tau", "s", 0.6, 2.2);
const MODEL: &str = "from the first movement to top speed, not beyond";

/// Time over `tau` at which the way over `vmax tau` is `y`: solves u + e^-u - 1 = y.
///
/// The left side is convex and rises, so Newton's steps from above come down on the root.
fn scaled_time(y: f64) -> f64 {
    if y <= 0.0 {
        return 0.0;
    }
    let mut u = (2.0 * y).sqrt() + y;
    for _ in 0..60 {
        let slope = -(-u).exp_m1();
        let next = u - (u - slope - y) / slope;
        if next.is_nan() || next >= u {
            break;
        }
        u = next;
    }
    u
}

/// Time at a distance.
pub static TIME_AT: Formula = Formula {
    id: "sprint.time_at",
    name: "Time at a distance of the sprint model",
    rule: "t with vmax (t + tau e^(-t/tau)) - vmax tau = x",
    source: SOURCE,
    standing: Standing::Derived,
    domain: MODEL,
    units: &[("value", "s")],
    trap: "time from the first movement: add the reaction for a gun time",
    caution: None,
    inputs: &[VMAX, TAU, Input::number("x", "m", 0.0, 100.0)],
    example: &[("vmax", "10"), ("tau", "1.2"), ("x", "30")],
    run: |a| Ok(time_at(a.number("vmax")?, a.number("tau")?, a.number("x")?).into()),
    ..Formula::BLANK
};

/// Seconds from the first movement to `x` m for a ceiling `vmax` (m/s) and time constant `tau` (s).
///
/// # Errors
/// An input outside its limits.
pub fn time_at(vmax: f64, tau: f64, x: f64) -> Computation<f64> {
    TIME_AT.compute(given![vmax, tau, x], |_| Ok(tau * scaled_time(x / (vmax * tau))))
}

outputs! {
    /// Speed, way and acceleration at a time.
    State {
        /// Speed, m/s.
        v: f64,
        /// Way, m.
        d: f64,
        /// Acceleration, m/s².
        a: f64,
    }
}

/// State at a time.
pub static STATE_AT: Formula = Formula {
    id: "sprint.state_at",
    name: "Speed, way and acceleration of the sprint model",
    rule: "v = vmax (1 - e^(-t/tau)); d = vmax (t + tau e^(-t/tau)) - vmax tau; a = vmax/tau \
           e^(-t/tau)",
    source: SOURCE,
    standing: Standing::Derived,
    domain: MODEL,
    units: &[("v", "m/s"), ("d", "m"), ("a", "m/s2")],
    trap: "time counts from the first movement",
    caution: None,
    inputs: &[VMAX, TAU, Input::number("t", "s", 0.0, 20.0)],
    example: &[("vmax", "10"), ("tau", "1.2"), ("t", "4")],
    run: |a| Ok(state_at(a.number("vmax")?, a.number("tau")?, a.number("t")?).into()),
    ..Formula::BLANK
};

/// State `t` s after the first movement.
///
/// # Errors
/// An input outside its limits.
pub fn state_at(vmax: f64, tau: f64, t: f64) -> Computation<State> {
    STATE_AT.compute(given![vmax, tau, t], |_| {
        let rest = (-t / tau).exp();
        Ok(State { v: vmax * (1.0 - rest), d: vmax * (t + tau * (-t / tau).exp_m1()), a: vmax / tau * rest })
    })
}

/// Time to a share of top speed.
pub static TIME_TO_SHARE: Formula = Formula {
    id: "sprint.time_to_share",
    name: "Time to a share of top speed",
    rule: "-tau ln(1 - share)",
    source: SOURCE,
    standing: Standing::Derived,
    domain: MODEL,
    units: &[("value", "s")],
    trap: "the model never reaches all of it",
    caution: None,
    inputs: &[TAU, Input::number("share", "of top speed", 0.0, 0.999)],
    example: &[("tau", "1.2"), ("share", "0.9")],
    run: |a| Ok(time_to_share(a.number("tau")?, a.number("share")?).into()),
    ..Formula::BLANK
};

/// Seconds to `share` of the ceiling.
///
/// # Errors
/// An input outside its limits.
pub fn time_to_share(tau: f64, share: f64) -> Computation<f64> {
    TIME_TO_SHARE.compute(given![tau, share], |_| Ok(-tau * (-share).ln_1p()))
}

/// What started the clock.
pub const TRIGGERS: &[&str] = &["gun", "first_movement", "touch_pad", "gate"];

outputs! {
    /// A fitted sprint.
    Fit {
        /// Ceiling of speed, m/s.
        vmax: f64,
        /// Time constant, s.
        tau: f64,
        /// Fitted start of the clock before the first movement, s, if it was free.
        offset: Option<f64>,
        /// Root of the mean squared residual, s.
        rmse: f64,
    }
}

/// How splits were started.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Start {
    /// One of [`TRIGGERS`].
    pub trigger: &'static str,
    /// Reaction time, s, of a gun start.
    pub reaction: Option<f64>,
    /// True to fit the start of the clock as well.
    pub free_offset: bool,
}

/// Splits of a sprint.
pub(super) const WAYS: Input = Input::list("x", "m, rising", 0.5, 100.0).items(3, 60);
/// Times of the splits.
pub(super) const TIMES: Input = Input::list("t", "s, rising", 0.2, 30.0).items(3, 60);
/// What started the clock.
pub(super) const TRIGGER: Input = Input::word("trigger", "what started the clock", TRIGGERS);
/// Reaction time.
pub(super) const REACTION: Input = Input::number("reaction", "s, of a gun start", 0.0, 1.0).maybe();
/// Fit the start of the clock as well.
pub(super) const FREE: Input = Input::flag("free_offset", "fit the start of the clock too").or("no");

/// Fit of the model to splits.
pub static FIT: Formula = Formula {
    id: "sprint.fit",
    name: "Top speed and time constant from splits",
    rule: "least squares of the times on the distances, reaction taken off first",
    source: SOURCE,
    standing: Standing::Derived,
    domain: "at least 3 splits (4 with a free offset), strictly rising, none after top speed; \
             vmax 4 to 13 m/s, tau 0.6 to 2.2 s",
    units: &[("vmax", "m/s"), ("tau", "s"), ("offset", "s"), ("rmse", "s")],
    trap: "forgetting the reaction moves tau by a fifth; a gate behind the line, a hand on the \
           watch and a first-movement start each need another offset",
    caution: Some(Caution::SprintExposure),
    inputs: &[WAYS, TIMES, TRIGGER, REACTION, FREE],
    example: &[("x", "5,10,20,30,40"), ("t", "1.29,1.97,3.11,4.16,5.18"), ("trigger", "first_movement")],
    run: |a| {
        let start = Start {
            trigger: a.word("trigger")?,
            reaction: a.maybe_number("reaction")?,
            free_offset: a.flag("free_offset")?,
        };
        Ok(fit(&a.list("x")?, &a.list("t")?, start).into())
    },
    ..Formula::BLANK
};

/// Ceiling and time constant from times `t` (s) at distances `x` (m).
///
/// # Errors
/// Inputs outside their limits, lists of unequal length or not rising, a gun start without its
/// reaction, splits after top speed, or splits that the model does not fit.
pub fn fit(x: &[f64], t: &[f64], start: Start) -> Computation<Fit> {
    let given = given!["x" => x, "t" => t, "trigger" => start.trigger,
                       "reaction" => start.reaction, "free_offset" => start.free_offset];
    FIT.compute(given, |notes| {
        notes.say_if(
            start.trigger == "gate" && !start.free_offset,
            "a start behind the first gate hides time: think of a free offset",
        );
        fit_splits(x, t, start)
    })
}

/// The fit itself, shared with the force-velocity profile.
pub(super) fn fit_splits(x: &[f64], t: &[f64], start: Start) -> Result<Fit, Reason> {
    let times = net_times(x, t, start)?;
    let fastest = fastest_piece(x, &times)?;
    let mut problem = Splits {
        x: x.to_vec(),
        t: times,
        p: DVector::from_vec(vec![fastest.clamp(4.5, 12.5).ln(), 1.2_f64.ln()]),
    };
    if start.free_offset {
        problem.p = problem.p.push(0.0);
    }
    let (solved, report) = LevenbergMarquardt::new().with_patience(200).minimize(problem);
    let misfit = Reason::CannotBeTold { rule: "the model does not fit these splits" };
    if !report.termination.was_successful() {
        return Err(misfit);
    }
    let (vmax, tau, offset) = solved.constants();
    let inside = (4.0..=13.0).contains(&vmax) && (0.6..=2.2).contains(&tau);
    if !inside || offset.abs() > 1.5 {
        return Err(misfit);
    }
    let residuals = solved.residuals().ok_or(misfit)?;
    let rmse = (residuals.norm_squared() / count(residuals.len())).sqrt();
    Ok(Fit { vmax, tau, offset: start.free_offset.then_some(offset), rmse })
}

/// Times from the first movement, after the checks of the start.
fn net_times(x: &[f64], t: &[f64], start: Start) -> Result<Vec<f64>, Reason> {
    if x.len() != t.len() {
        return Err(Reason::UnequalLengths { left: "x", right: "t" });
    }
    if start.free_offset && x.len() < 4 {
        return Err(Reason::TooFew { input: "x", needed: 4 });
    }
    let reaction = match (start.trigger, start.reaction) {
        ("gun", None) if !start.free_offset => {
            return Err(Reason::Contradiction {
                rule: "a gun start needs its reaction time or a free offset",
            });
        }
        ("gun", reaction) => reaction.unwrap_or(0.0),
        (_, Some(_)) => {
            return Err(Reason::Contradiction { rule: "only a gun start has a reaction time" });
        }
        (_, None) => 0.0,
    };
    let times: Vec<f64> = t.iter().map(|t| t - reaction).collect();
    if !x.is_sorted_by(|a, b| a < b) {
        return Err(Reason::NotRising { input: "x" });
    }
    if !times.is_sorted_by(|a, b| a < b) || times.first().is_none_or(|t| *t <= 0.0) {
        return Err(Reason::NotRising { input: "t" });
    }
    Ok(times)
}

/// Fastest mean speed between splits; refuses splits that go on after top speed.
fn fastest_piece(x: &[f64], t: &[f64]) -> Result<f64, Reason> {
    let pieces: Vec<f64> = x
        .iter()
        .zip(x.iter().skip(1))
        .zip(t.iter().zip(t.iter().skip(1)))
        .map(|((x0, x1), (t0, t1))| (x1 - x0) / (t1 - t0))
        .collect();
    let fastest = pieces.iter().copied().fold(0.0, f64::max);
    // A twentieth is far beyond the rounding of hundredths over ten metres.
    if pieces.last().is_some_and(|last| *last < 0.95 * fastest) {
        return Err(Reason::Contradiction { rule: "the splits go on after top speed" });
    }
    Ok(fastest)
}

/// Splits as a least-squares problem in ln vmax, ln tau and, if free, the offset.
struct Splits {
    x: Vec<f64>,
    t: Vec<f64>,
    p: DVector<f64>,
}

impl Splits {
    fn constants(&self) -> (f64, f64, f64) {
        let at = |index: usize| self.p.get(index).copied().unwrap_or(0.0);
        (at(0).exp(), at(1).exp(), at(2))
    }
}

impl LeastSquaresProblem<f64, Dyn, Dyn> for Splits {
    type ResidualStorage = Owned<f64, Dyn>;
    type JacobianStorage = Owned<f64, Dyn, Dyn>;
    type ParameterStorage = Owned<f64, Dyn>;

    fn set_params(&mut self, p: &DVector<f64>) {
        self.p.copy_from(p);
    }

    fn params(&self) -> DVector<f64> {
        self.p.clone()
    }

    fn residuals(&self) -> Option<DVector<f64>> {
        let (vmax, tau, offset) = self.constants();
        let left = self.x.iter().zip(&self.t);
        let left = left.map(|(x, t)| tau * scaled_time(x / (vmax * tau)) + offset - t);
        let residuals = DVector::from_iterator(self.x.len(), left);
        residuals.iter().all(|r| r.is_finite()).then_some(residuals)
    }

    fn jacobian(&self) -> Option<DMatrix<f64>> {
        let (vmax, tau, _) = self.constants();
        let mut rows = Vec::with_capacity(self.x.len() * self.p.len());
        for x in &self.x {
            let y = x / (vmax * tau);
            let u = scaled_time(y);
            let stretch = y / -(-u).exp_m1();
            rows.push(-tau * stretch);
            rows.push(tau * (u - stretch));
            if self.p.len() == 3 {
                rows.push(1.0);
            }
        }
        let jacobian = DMatrix::from_row_slice(self.x.len(), self.p.len(), &rows);
        jacobian.iter().all(|d| d.is_finite()).then_some(jacobian)
    }
}

/// Time without reaction.
pub static NET_TIME: Formula = Formula {
    id: "sprint.net_time",
    name: "Time without the reaction",
    rule: "official time - reaction",
    source: "a start below 0.100 s counts as false (rules of competition, secondary source)",
    standing: Standing::Secondary,
    domain: "gun starts with a measured reaction of 0.100 s or more",
    units: &[("value", "s")],
    trap: "a clock started by the first movement has no reaction in it",
    caution: None,
    inputs: &[Input::number("official", "s", 0.5, 400.0), Input::number("reaction", "s", 0.0, 1.0)],
    example: &[("official", "9.58"), ("reaction", "0.146")],
    run: |a| Ok(net_time(a.number("official")?, a.number("reaction")?).into()),
    ..Formula::BLANK
};

/// `official` - `reaction`, s.
///
/// # Errors
/// An input outside its limits, a reaction below 0.100 s, or one not below the time.
pub fn net_time(official: f64, reaction: f64) -> Computation<f64> {
    NET_TIME.compute(given![official, reaction], |_| {
        if reaction < 0.100 {
            return Err(Reason::Contradiction { rule: "a reaction below 0.100 s counts as a false start" });
        }
        if reaction >= official {
            return Err(Reason::Contradiction { rule: "the reaction is not below the time" });
        }
        Ok(official - reaction)
    })
}

/// Speed of a flying run.
pub static FLYING: Formula = Formula {
    id: "sprint.flying",
    name: "Speed of a flying run",
    rule: "distance / time",
    source: "common practice, no source",
    standing: Standing::CommonPractice,
    domain: "30 m in 2.3 to 7.0 s, or the same speeds over another distance",
    units: &[("value", "m/s")],
    trap: "reads about 1 % below top speed; store the run-up, never compare across run-ups; no \
           conversion to race times has a source",
    caution: Some(Caution::SprintExposure),
    inputs: &[
        Input::number("t", "s", 0.5, 20.0),
        Input::number("distance", "m", 5.0, 60.0).or("30"),
        Input::number("run_up", "m", 0.0, 60.0).maybe(),
    ],
    example: &[("t", "2.80"), ("run_up", "30")],
    run: |a| {
        let (t, distance) = (a.number("t")?, a.number("distance")?);
        Ok(flying(t, distance, a.maybe_number("run_up")?).into())
    },
    ..Formula::BLANK
};

/// Mean speed over `distance` m in `t` s after a run-up of `run_up` m.
///
/// # Errors
/// An input outside its limits, or a speed that nobody runs.
pub fn flying(t: f64, distance: f64, run_up: Option<f64>) -> Computation<f64> {
    let given = given!["t" => t, "distance" => distance, "run_up" => run_up];
    FLYING.compute(given, |notes| {
        let v = distance / t;
        if !(30.0 / 7.0..=30.0 / 2.3).contains(&v) {
            return Err(Reason::Contradiction { rule: "the speed is outside 30 m in 2.3 to 7.0 s" });
        }
        notes.say_if(run_up.is_none(), "the run-up was not given: compare with care");
        Ok(v)
    })
}

outputs! {
    /// A flying run of the model.
    FlyingModel {
        /// Time, s.
        t: f64,
        /// Mean speed, m/s.
        v: f64,
    }
}

/// Flying run of the model.
pub static FLYING_MODEL: Formula = Formula {
    id: "sprint.flying_model",
    name: "Flying run foretold by the sprint model",
    rule: "time at `to` - time at `from`",
    source: SOURCE,
    standing: Standing::Derived,
    domain: MODEL,
    units: &[("t", "s"), ("v", "m/s")],
    trap: "the flying speed stays below the ceiling",
    caution: None,
    inputs: &[VMAX, TAU, Input::number("from", "m", 0.0, 99.0), Input::number("to", "m", 1.0, 100.0)],
    example: &[("vmax", "10"), ("tau", "1.2"), ("from", "30"), ("to", "60")],
    run: |a| {
        let (vmax, tau) = (a.number("vmax")?, a.number("tau")?);
        Ok(flying_model(vmax, tau, a.number("from")?, a.number("to")?).into())
    },
    ..Formula::BLANK
};

/// Time and mean speed between `from` and `to` (m) of the model.
///
/// # Errors
/// An input outside its limits, or `to` not beyond `from`.
pub fn flying_model(vmax: f64, tau: f64, from: f64, to: f64) -> Computation<FlyingModel> {
    FLYING_MODEL.compute(given![vmax, tau, from, to], |_| {
        if to <= from {
            return Err(Reason::NotRising { input: "from and to" });
        }
        let at = |x: f64| tau * scaled_time(x / (vmax * tau));
        let t = at(to) - at(from);
        Ok(FlyingModel { t, v: (to - from) / t })
    })
}

outputs! {
    /// A hand time and its electronic equivalent.
    HandTime {
        /// The hand time as it counts, rounded up to a tenth, s.
        hand: f64,
        /// Rough electronic equivalent, s.
        electronic: f64,
    }
}

/// Hand time to electronic time.
pub static HAND_TIME: Formula = Formula {
    id: "sprint.hand_time",
    name: "Rough electronic equivalent of a hand time",
    rule: "rounded up to a tenth, + 0.24 s to 200 m, + 0.14 s to 400 m",
    source: "from memory, no rule book read",
    standing: Standing::Memory,
    domain: "60 to 400 m from a gun",
    units: &[("hand", "s"), ("electronic", "s")],
    trap: "official times are rounded up, never to the nearest",
    caution: None,
    inputs: &[Input::number("t", "s", 5.0, 120.0), Input::number("distance", "m", 60.0, 400.0)],
    example: &[("t", "11.43"), ("distance", "100")],
    run: |a| Ok(hand_time(a.number("t")?, a.number("distance")?).into()),
    ..Formula::BLANK
};

/// The hand time `t` (s) over `distance` (m), rounded up, and its electronic equivalent.
///
/// # Errors
/// An input outside its limits.
pub fn hand_time(t: f64, distance: f64) -> Computation<HandTime> {
    HAND_TIME.compute(given![t, distance], |_| {
        // The hair keeps 11.4 from becoming 11.5 through its binary form.
        let hand = (t * 10.0 - 1e-6).ceil() / 10.0;
        let more = if distance <= 200.0 { 0.24 } else { 0.14 };
        Ok(HandTime { hand, electronic: hand + more })
    })
}

/// Every formula of this file.
pub static ALL: &[&Formula] =
    &[&TIME_AT, &STATE_AT, &TIME_TO_SHARE, &FIT, &NET_TIME, &FLYING, &FLYING_MODEL, &HAND_TIME];
