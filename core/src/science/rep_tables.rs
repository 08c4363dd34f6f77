//! Tables of repetitions against percent of the maximum. Data with their edition; no athlete.

use super::computed::{given, outputs};
use super::one_rep_max::spread;
use super::{Caution, Computation, Formula, Input, Reason, Standing};

/// The wall-chart edition: repetitions and percent of the maximum. There is no entry for 11.
pub const CHART: [(f64, f64); 11] = [
    (1.0, 100.0),
    (2.0, 95.0),
    (3.0, 93.0),
    (4.0, 90.0),
    (5.0, 87.0),
    (6.0, 85.0),
    (7.0, 83.0),
    (8.0, 80.0),
    (9.0, 77.0),
    (10.0, 75.0),
    (12.0, 70.0),
];

const SOURCE: &str = "training load chart of the National Strength and Conditioning Association, \
                      wall-chart edition (Baechle & Earle; Haff & Triplett)";
const TRAP: &str = "editions differ: the wall chart gives 70 % for 12 and has no entry for 11, \
                    which is refused here rather than interpolated";

fn percent_of(r: f64) -> Result<f64, Reason> {
    let entry = CHART.iter().find(|(reps, _)| *reps == r);
    entry.map(|(_, percent)| *percent).ok_or(Reason::NoEntry { what: "number of repetitions" })
}

/// Maximum from the chart.
pub static NSCA_CHART: Formula = Formula {
    id: "e1rm.nsca_chart",
    name: "Maximum from the repetition chart",
    rule: "w / percent of the chart at r",
    source: SOURCE,
    standing: Standing::Secondary,
    domain: "sets to failure, 1 to 10 or 12 repetitions",
    units: &[("value", "kg")],
    trap: TRAP,
    caution: Some(Caution::MaximalTest),
    inputs: &[Input::number("w", "kg", 0.1, 1000.0), Input::whole("r", "repetitions to failure", 1.0, 12.0)],
    example: &[("w", "120"), ("r", "8")],
    run: |a| Ok(nsca_chart(a.number("w")?, a.number("r")?).into()),
    ..Formula::BLANK
};

/// Maximum in kg from load `w` (kg, or any unit of mass) and repetitions `r`.
///
/// # Errors
/// An input outside its limits, or no entry for `r`.
pub fn nsca_chart(w: f64, r: f64) -> Computation<f64> {
    NSCA_CHART.compute(given![w, r], |_| Ok(w / (percent_of(r)? / 100.0)))
}

/// Load for a number of repetitions from the chart.
pub static CHART_LOAD: Formula = Formula {
    id: "e1rm.chart_load",
    name: "Load for a number of repetitions from the chart",
    rule: "maximum x percent of the chart at r",
    source: SOURCE,
    standing: Standing::Secondary,
    domain: "1 to 10 or 12 repetitions",
    units: &[("value", "kg")],
    trap: TRAP,
    caution: Some(Caution::MaximalTest),
    inputs: &[Input::number("one_rm", "kg", 0.1, 1000.0), Input::whole("r", "repetitions", 1.0, 12.0)],
    example: &[("one_rm", "150"), ("r", "5")],
    run: |a| Ok(chart_load(a.number("one_rm")?, a.number("r")?).into()),
    ..Formula::BLANK
};

/// Load in kg for `r` repetitions at a maximum of `one_rm` kg.
///
/// # Errors
/// An input outside its limits, or no entry for `r`.
pub fn chart_load(one_rm: f64, r: f64) -> Computation<f64> {
    CHART_LOAD.compute(given![one_rm, r], |_| Ok(one_rm * percent_of(r)? / 100.0))
}

outputs! {
    /// Range of the percent of the maximum.
    PercentRange {
        /// Lowest, %.
        low: f64,
        /// Highest, %.
        high: f64,
        /// The chart's entry, %, where it has one.
        chart: Option<f64>,
    }
}

/// Percent of the maximum at which a number of repetitions is possible, as a range.
pub static PERCENT_RANGE: Formula = Formula {
    id: "e1rm.percent_range",
    name: "Percent of the maximum for a number of repetitions, as a range",
    rule: "100 / factor of each formula at r, widened to the chart's entry",
    source: "the formulas from repetitions and the wall chart; showing a range is our rule",
    standing: Standing::CommonPractice,
    domain: "1 to 12 repetitions to failure",
    units: &[("low", "%"), ("high", "%"), ("chart", "%")],
    trap: "people differ more than formulas: at 70 % of the squat from 6 to 26 repetitions were \
           seen in trained lifters",
    caution: Some(Caution::MaximalTest),
    inputs: &[Input::whole("r", "repetitions", 1.0, 12.0)],
    example: &[("r", "5")],
    run: |a| Ok(percent_range(a.number("r")?).into()),
    ..Formula::BLANK
};

/// Lowest and highest percent of the maximum at which `r` repetitions are possible.
///
/// # Errors
/// An input outside its limits.
pub fn percent_range(r: f64) -> Computation<PercentRange> {
    PERCENT_RANGE.compute(given![r], |_| {
        let factor = spread(1.0, r);
        let chart = percent_of(r).ok();
        let (low, high) = (100.0 / factor.high, 100.0 / factor.low);
        Ok(PercentRange {
            low: chart.map_or(low, |c| low.min(c)),
            high: chart.map_or(high, |c| high.max(c)),
            chart,
        })
    })
}

/// Repetitions from a table of the club's own.
pub static OWN_TABLE: Formula = Formula {
    id: "e1rm.own_table",
    name: "Repetitions at a percent of the maximum from a table of your own",
    rule: "straight line between the two neighbouring rows",
    source: "common practice, no source; the numbers are the club's",
    standing: Standing::CommonPractice,
    domain: "inside the table only; repetitions must fall as the percent rises",
    units: &[("value", "repetitions")],
    trap: "bench press and leg press need tables of their own; leg press allows more repetitions",
    caution: Some(Caution::MaximalTest),
    inputs: &[
        Input::list("percent", "%, rising", 20.0, 100.0).items(2, 60),
        Input::list("reps", "repetitions, falling", 0.0, 100.0).items(2, 60),
        Input::number("at", "%", 20.0, 100.0),
    ],
    example: &[("percent", "60,70,80,90,100"), ("reps", "22,15,9,4,1"), ("at", "75")],
    run: |a| Ok(own_table(&a.list("percent")?, &a.list("reps")?, a.number("at")?).into()),
    ..Formula::BLANK
};

/// Repetitions at `at` percent of the maximum by a straight line between rows.
///
/// # Errors
/// Lists of unequal length, percents that do not rise, repetitions that do not fall, or `at`
/// outside the table.
pub fn own_table(percent: &[f64], reps: &[f64], at: f64) -> Computation<f64> {
    OWN_TABLE.compute(given!["percent" => percent, "reps" => reps, "at" => at], |_| {
        if percent.len() != reps.len() {
            return Err(Reason::UnequalLengths { left: "percent", right: "reps" });
        }
        if !percent.is_sorted_by(|a, b| a < b) {
            return Err(Reason::NotRising { input: "percent" });
        }
        if !reps.is_sorted_by(|a, b| a > b) {
            return Err(Reason::Contradiction { rule: "reps must fall as percent rises" });
        }
        interpolate(percent, reps, at).ok_or(Reason::NoEntry { what: "percent" })
    })
}

/// Straight line between neighbouring points of a table with rising `x`; `None` outside.
pub(super) fn interpolate(x: &[f64], y: &[f64], at: f64) -> Option<f64> {
    let after = x.iter().position(|v| *v >= at)?;
    let (x1, y1) = (*x.get(after)?, *y.get(after)?);
    if x1 == at {
        return Some(y1);
    }
    let before = after.checked_sub(1)?;
    let (x0, y0) = (*x.get(before)?, *y.get(before)?);
    Some(y0 + (y1 - y0) * (at - x0) / (x1 - x0))
}

/// Every formula of this file.
pub static ALL: &[&Formula] = &[&NSCA_CHART, &CHART_LOAD, &PERCENT_RANGE, &OWN_TABLE];
