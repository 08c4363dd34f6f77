//! Sums of check-in answers. The questions are the club's own words and live elsewhere; here are
//! only numbers. A missing answer is never a zero.

use super::computed::{given, outputs};
use super::{Caution, Computation, Formula, Input, Reason, Standing};

const OPEN: &str = "a missing answer is not a zero; answers are ordinal, so show each item beside \
                    the sum";

fn answered(items: &[Option<f64>]) -> Result<Vec<f64>, Reason> {
    let all = items.iter().copied().collect::<Option<Vec<f64>>>();
    let all = all.ok_or(Reason::Unanswered { input: "items" })?;
    if all.iter().any(|v| v.fract() != 0.0) {
        return Err(Reason::NotWhole { input: "items" });
    }
    Ok(all)
}

outputs! {
    /// A sum with its direction.
    CheckIn {
        /// Sum of the items.
        sum: f64,
        /// Which direction is the better one.
        better: &'static str,
    }
}

/// Five items, higher is better.
pub static FIVE_ITEMS: Formula = Formula {
    id: "checkin.five_items",
    name: "Five-item check-in, higher is better",
    rule: "sum of five answers from 1 to 5",
    source: "McLean et al. 2010, Int J Sports Physiol Perform 5:367-383 (the sum; words are ours)",
    standing: Standing::Secondary,
    domain: "five answers, 5 to 25",
    units: &[("sum", ""), ("better", "")],
    trap: "the four-item form runs the other way; a missing answer is not a zero",
    caution: Some(Caution::Wellbeing),
    inputs: &[Input::gaps("items", "answers, 1 to 5", 1.0, 5.0).items(5, 5)],
    example: &[("items", "4,3,4,5,4")],
    run: |a| Ok(five_items(&a.gaps("items")?).into()),
    ..Formula::BLANK
};

/// Sum of five `items` (1 to 5).
///
/// # Errors
/// Inputs outside their limits or a missing answer.
pub fn five_items(items: &[Option<f64>]) -> Computation<CheckIn> {
    FIVE_ITEMS.compute(given!["items" => items], |_| {
        Ok(CheckIn { sum: answered(items)?.iter().sum(), better: "higher" })
    })
}

/// Four items, lower is better.
pub static FOUR_ITEMS: Formula = Formula {
    id: "checkin.four_items",
    name: "Four-item check-in, lower is better",
    rule: "sum of four answers from 1 to 7",
    source: "Hooper & Mackinnon 1995, Sports Med 20:321-327 (the sum; words are ours)",
    standing: Standing::Secondary,
    domain: "four answers, 4 to 28",
    units: &[("sum", ""), ("better", "")],
    trap: "the five-item form runs the other way; limits that circulate have no source",
    caution: Some(Caution::Wellbeing),
    inputs: &[Input::gaps("items", "answers, 1 to 7", 1.0, 7.0).items(4, 4)],
    example: &[("items", "3,2,4,3")],
    run: |a| Ok(four_items(&a.gaps("items")?).into()),
    ..Formula::BLANK
};

/// Sum of four `items` (1 to 7).
///
/// # Errors
/// Inputs outside their limits or a missing answer.
pub fn four_items(items: &[Option<f64>]) -> Computation<CheckIn> {
    FOUR_ITEMS.compute(given!["items" => items], |_| {
        Ok(CheckIn { sum: answered(items)?.iter().sum(), better: "lower" })
    })
}

outputs! {
    /// What one health problem cost in a week.
    Problem {
        /// 0 (nothing) to 100.
        severity: f64,
        /// True if training volume or performance suffered at least moderately, or none was done.
        substantial: bool,
    }
}

/// One health problem in one week.
pub static PROBLEM: Formula = Formula {
    id: "checkin.problem",
    name: "One health problem in one week",
    rule: "0 if the first answer says no problem, otherwise the sum of four answers",
    source: "structure as in Clarsen et al. 2020, Br J Sports Med 54:390-396; points from memory \
             and editable; words are ours",
    standing: Standing::Memory,
    domain: "four answers in points (0 to 25 each): taking part, training changed, performance, \
             complaints; one problem, one week",
    units: &[("severity", "0 to 100"), ("substantial", "")],
    trap: "several problems in a week are reported each, not silently added; a missing answer is \
           not a zero; health data of minors",
    caution: Some(Caution::Wellbeing),
    inputs: &[
        Input::gaps("items", "points of the four answers", 0.0, 25.0).items(4, 4),
        Input::number("moderate", "points of a moderate reduction", 1.0, 25.0).or("17"),
    ],
    example: &[("items", "8,17,17,8")],
    run: |a| Ok(problem(&a.gaps("items")?, a.number("moderate")?).into()),
    ..Formula::BLANK
};

/// Severity of one problem from the points of four `items`.
///
/// After a first answer of 0 points the others may be open. `moderate` is the number of points
/// that stands for a moderate reduction.
///
/// # Errors
/// Inputs outside their limits or a missing answer.
pub fn problem(items: &[Option<f64>], moderate: f64) -> Computation<Problem> {
    PROBLEM.compute(given!["items" => items, "moderate" => moderate], |notes| {
        notes.say(OPEN);
        if items.first() == Some(&Some(0.0)) {
            return Ok(Problem { severity: 0.0, substantial: false });
        }
        let points = answered(items)?;
        let at = |index: usize| points.get(index).copied().unwrap_or(0.0);
        let reduced = at(1) >= moderate || at(2) >= moderate;
        Ok(Problem { severity: points.iter().sum(), substantial: reduced || at(0) >= 25.0 })
    })
}

/// Every formula of this file.
pub static ALL: &[&Formula] = &[&FIVE_ITEMS, &FOUR_ITEMS, &PROBLEM];
