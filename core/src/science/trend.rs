//! Lines through results over time: least squares, a robust line, several predictors.
//! Knows numbers only; linear algebra comes from nalgebra.

use nalgebra::{DMatrix, DVector};

use super::computed::{given, outputs};
use super::stats::{
    self, correlation, count, line, mean, median, median_in_place, normal_quantile, ranked, ranks,
    squares_around, t_quantile,
};
use super::{Computation, Formula, Input, Reason, Standing};

const ANY: (f64, f64) = (-1.0e9, 1.0e9);
/// Most points of a trend: the robust line looks at every pair.
const MOST: usize = 1500;
const X: Input = Input::list("x", "days or anything else", ANY.0, ANY.1).items(4, MOST);
const Y: Input = Input::list("y", "as given", ANY.0, ANY.1).items(4, MOST);
const LEVEL: Input = Input::number("level", "coverage of the interval", 0.5, 0.999).or("0.95");
const FLAT: &str = "cannot be told from flat";

/// The verdict on an interval of a slope.
fn reading(low: f64, high: f64) -> (bool, &'static str) {
    match (low > 0.0, high < 0.0) {
        (true, _) => (false, "rises"),
        (_, true) => (false, "falls"),
        _ => (true, FLAT),
    }
}

fn paired(x: &[f64], y: &[f64]) -> Result<(), Reason> {
    if x.len() != y.len() {
        return Err(Reason::UnequalLengths { left: "x", right: "y" });
    }
    let mut distinct = x.to_vec();
    distinct.sort_unstable_by(f64::total_cmp);
    distinct.dedup();
    if distinct.len() < 2 {
        return Err(Reason::NoVariation { input: "x" });
    }
    if distinct.len() < 4 {
        return Err(Reason::TooFew { input: "x", needed: 4 });
    }
    Ok(())
}

outputs! {
    /// Least-squares line with its interval.
    Trend {
        /// Change of y per x.
        slope: f64,
        /// y at x = 0.
        intercept: f64,
        /// Standard error of the slope.
        se_slope: f64,
        /// Standard error of the intercept.
        se_intercept: f64,
        /// Standard deviation of the residuals.
        resid_sd: f64,
        /// Correlation; absent if y does not vary.
        r: Option<f64>,
        /// Share of the variation that the line describes.
        r2: f64,
        /// Lower end of the interval of the slope.
        low: f64,
        /// Upper end of the interval of the slope.
        high: f64,
        /// True if the interval holds zero.
        flat: bool,
        /// The same in words.
        reading: &'static str,
    }
}

/// Least squares.
pub static OLS: Formula = Formula {
    id: "trend.ols",
    name: "Trend by least squares",
    rule: "slope = sum (x - mx)(y - my) / sum (x - mx)^2; interval from Student's t",
    source: "least squares; checked on NIST Norris",
    standing: Standing::Derived,
    domain: "at least four different dates",
    units: &[
        ("slope", "y per x"),
        ("intercept", "y"),
        ("se_slope", "y per x"),
        ("se_intercept", "y"),
        ("resid_sd", "y"),
        ("r", ""),
        ("r2", ""),
        ("low", "y per x"),
        ("high", "y per x"),
        ("flat", ""),
        ("reading", ""),
    ],
    trap: "one wild value bends it; compare with the robust trend",
    caution: None,
    inputs: &[X, Y, LEVEL],
    example: &[("x", "0,7,14,21,28"), ("y", "100,102,101,104,106")],
    run: |a| Ok(ols(&a.list("x")?, &a.list("y")?, a.number("level")?).into()),
    ..Formula::BLANK
};

/// Least-squares line of `y` on `x` with an interval of the slope that covers `level`.
///
/// # Errors
/// Inputs outside their limits, unequal lengths or fewer than four different x.
pub fn ols(x: &[f64], y: &[f64], level: f64) -> Computation<Trend> {
    OLS.compute(given!["x" => x, "y" => y, "level" => level], |_| fit(x, y, level))
}

pub(super) fn fit(x: &[f64], y: &[f64], level: f64) -> Result<Trend, Reason> {
    paired(x, y)?;
    let line = line(x, y).ok_or(Reason::NoVariation { input: "x" })?;
    let few = Reason::TooFew { input: "x", needed: 4 };
    let (Some((se_slope, se_intercept)), Some(resid_sd), Some(t)) =
        (line.errors(), line.see(), t_quantile(level, line.n - 2.0))
    else {
        return Err(few);
    };
    let (low, high) = (line.slope - t * se_slope, line.slope + t * se_slope);
    let (flat, reading) = reading(low, high);
    Ok(Trend {
        slope: line.slope,
        intercept: line.intercept,
        se_slope,
        se_intercept,
        resid_sd,
        r: correlation(x, y),
        r2: line.r2,
        low,
        high,
        flat,
        reading,
    })
}

outputs! {
    /// Robust line with its interval.
    RobustTrend {
        /// Median of the slopes between all pairs.
        slope: f64,
        /// Median of y - slope x median of x.
        intercept: f64,
        /// Lower end of the interval of the slope.
        low: f64,
        /// Upper end of the interval of the slope.
        high: f64,
        /// True if the interval holds zero.
        flat: bool,
        /// The same in words.
        reading: &'static str,
        /// Least-squares slope, to compare.
        ols_slope: f64,
        /// Least-squares intercept, to compare.
        ols_intercept: f64,
    }
}

/// Robust trend.
pub static THEIL_SEN: Formula = Formula {
    id: "trend.theil_sen",
    name: "Robust trend",
    rule: "median of the slopes between all pairs with different x; intercept = median y - slope \
           x median x; interval by ranks",
    source: "Theil 1950; Sen 1968, J Am Stat Assoc 63:1379-1389",
    standing: Standing::Derived,
    domain: "at least four different dates",
    units: &[
        ("slope", "y per x"),
        ("intercept", "y"),
        ("low", "y per x"),
        ("high", "y per x"),
        ("flat", ""),
        ("reading", ""),
        ("ols_slope", "y per x"),
        ("ols_intercept", "y"),
    ],
    trap: "another print takes the median of y - slope x as intercept; an even number of slopes \
           averages the middle two; with few points the interval is the whole range",
    caution: None,
    inputs: &[X, Y, LEVEL],
    example: &[("x", "0,1,2,3,4,5"), ("y", "1,2,3,4,5,20")],
    run: |a| Ok(theil_sen(&a.list("x")?, &a.list("y")?, a.number("level")?).into()),
    ..Formula::BLANK
};

/// Robust line of `y` on `x` with an interval of the slope that covers about `level`.
///
/// # Errors
/// Inputs outside their limits, unequal lengths or fewer than four different x.
pub fn theil_sen(x: &[f64], y: &[f64], level: f64) -> Computation<RobustTrend> {
    THEIL_SEN.compute(given!["x" => x, "y" => y, "level" => level], |_| robust(x, y, level))
}

pub(super) fn robust(x: &[f64], y: &[f64], level: f64) -> Result<RobustTrend, Reason> {
    paired(x, y)?;
    let mut slopes = Vec::with_capacity(x.len() * (x.len() - 1) / 2);
    for (index, (xi, yi)) in x.iter().zip(y).enumerate() {
        for (xj, yj) in x.iter().zip(y).skip(index + 1) {
            if xi != xj {
                slopes.push((yj - yi) / (xj - xi));
            }
        }
    }
    let none = Reason::NoVariation { input: "x" };
    let (below, above) = rank_interval(x, y, slopes.len(), level).ok_or(none.clone())?;
    // Three ranks are wanted, not an order of all pairs: selecting is several times faster.
    let (Some(low), Some(high), Some(slope), Some(mid_x), Some(mid_y)) = (
        ranked(&mut slopes, below),
        ranked(&mut slopes, above),
        median_in_place(&mut slopes),
        median(x),
        median(y),
    ) else {
        return Err(none);
    };
    let (flat, reading) = reading(low, high);
    let ols = line(x, y).ok_or(none)?;
    Ok(RobustTrend {
        slope,
        intercept: mid_y - slope * mid_x,
        low,
        high,
        flat,
        reading,
        ols_slope: ols.slope,
        ols_intercept: ols.intercept,
    })
}

/// Ranks of the ends of the interval among the pairwise slopes (Sen 1968, equation 2.6).
fn rank_interval(x: &[f64], y: &[f64], slopes: usize, level: f64) -> Option<(usize, usize)> {
    let weight = |n: f64| n * (n - 1.0) * (2.0 * n + 5.0);
    let ties = |values: &[f64]| -> f64 {
        let mut sorted = values.to_vec();
        sorted.sort_unstable_by(f64::total_cmp);
        sorted.chunk_by(|a, b| a == b).map(|tied| weight(count(tied.len()))).sum()
    };
    let variance = (weight(count(x.len())) - ties(x) - ties(y)) / 18.0;
    let spread = normal_quantile(level)? * variance.max(0.0).sqrt();
    let pairs = count(slopes);
    // Ranks are rounded half to even, as in the reference implementation used for checking.
    let below = ((pairs - spread) / 2.0).round_ties_even() - 1.0;
    let above = ((pairs + spread) / 2.0).round_ties_even();
    Some((rank_index(below, slopes), rank_index(above, slopes)))
}

/// A rank as an index, held inside the list.
#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "clamped to 0..len before the cast"
)]
fn rank_index(rank: f64, len: usize) -> usize {
    rank.clamp(0.0, count(len.saturating_sub(1))) as usize
}

outputs! {
    /// Two correlations.
    Correlations {
        /// Product-moment correlation.
        r: f64,
        /// Rank correlation.
        spearman: f64,
        /// Probability of a stronger `r` if there were none.
        p: f64,
    }
}

/// Correlation.
pub static CORRELATION: Formula = Formula {
    id: "trend.correlation",
    name: "Correlation of two measures",
    rule: "product-moment correlation of the values and of their ranks (ties averaged)",
    source: "Pearson; Spearman 1904",
    standing: Standing::Derived,
    domain: "at least four pairs, both vary",
    units: &[("r", ""), ("spearman", ""), ("p", "")],
    trap: "two things that both change over a season correlate without touching each other",
    caution: None,
    inputs: &[X, Y],
    example: &[("x", "1,2,3,4,5"), ("y", "2,1,4,3,5")],
    run: |a| Ok(correlations(&a.list("x")?, &a.list("y")?).into()),
    ..Formula::BLANK
};

/// Correlations of `x` and `y`.
///
/// # Errors
/// Inputs outside their limits, unequal lengths or no variation.
pub fn correlations(x: &[f64], y: &[f64]) -> Computation<Correlations> {
    CORRELATION.compute(given!["x" => x, "y" => y], |_| {
        if x.len() != y.len() {
            return Err(Reason::UnequalLengths { left: "x", right: "y" });
        }
        let none = Reason::NoVariation { input: "x or y" };
        let r = correlation(x, y).ok_or(none.clone())?;
        let spearman = correlation(&ranks(x), &ranks(y)).ok_or(none)?;
        let df = count(x.len()) - 2.0;
        let rest = 1.0 - r * r;
        let p = if rest > 0.0 { stats::t_tail(r * (df / rest).sqrt(), df) } else { Some(0.0) };
        Ok(Correlations { r, spearman, p: p.ok_or(Reason::ResultNotFinite)? })
    })
}

outputs! {
    /// Least squares on several predictors.
    Multiple {
        /// Intercept first, then one per column.
        b: Vec<f64>,
        /// Standard errors in the same order.
        se: Vec<f64>,
        /// Standard deviation of the residuals.
        resid_sd: f64,
        /// Share of the variation that the fit describes.
        r2: f64,
        /// F of the fit.
        f: f64,
    }
}

/// Least squares on several predictors.
pub static MULTIPLE: Formula = Formula {
    id: "trend.multiple",
    name: "Least squares on several predictors",
    rule: "minimises the squared residuals of y on an intercept and the columns of x, by QR of \
           the centred and scaled columns",
    source: "least squares; checked on NIST Longley",
    standing: Standing::Derived,
    domain: "more rows than columns + 1; no column a mixture of the others",
    units: &[("b", "y per x"), ("se", "y per x"), ("resid_sd", "y"), ("r2", ""), ("f", "")],
    trap: "normal equations lose half the digits; predictors that move together share the credit \
           arbitrarily",
    caution: None,
    inputs: &[Input::table("x", "one row per observation", ANY.0, ANY.1).items(4, MOST), Y],
    example: &[("x", "1,2;2,1;3,5;4,3;5,6"), ("y", "3,4,9,8,12")],
    run: |a| Ok(multiple(&a.table("x")?, &a.list("y")?).into()),
    ..Formula::BLANK
};

/// Least squares of `y` on the columns of `x` (one row per observation) and an intercept.
///
/// # Errors
/// Inputs outside their limits, an incomplete table, unequal lengths, too few rows, or columns
/// that cannot be told apart.
pub fn multiple(x: &[Vec<f64>], y: &[f64]) -> Computation<Multiple> {
    MULTIPLE.compute(given!["x" => x, "y" => y], |_| regress(x, y))
}

fn regress(x: &[Vec<f64>], y: &[f64]) -> Result<Multiple, Reason> {
    let (n, p) = (x.len(), x.first().map_or(0, Vec::len));
    if p == 0 || x.iter().any(|row| row.len() != p) {
        return Err(Reason::NotRectangular { input: "x" });
    }
    if n != y.len() {
        return Err(Reason::UnequalLengths { left: "x", right: "y" });
    }
    if p > 20 {
        return Err(Reason::TooMany { input: "x", limit: 20 });
    }
    if n < p + 2 {
        return Err(Reason::TooFew { input: "x", needed: p + 2 });
    }
    let table = DMatrix::from_row_iterator(n, p, x.iter().flatten().copied());
    let mut centres = Vec::with_capacity(p);
    let mut scales = Vec::with_capacity(p);
    let mut scaled = table;
    for mut column in scaled.column_iter_mut() {
        let values: Vec<f64> = column.iter().copied().collect();
        let centre = mean(&values).ok_or(Reason::TooFew { input: "x", needed: 4 })?;
        let scale = squares_around(&values, centre).sqrt();
        if scale <= 0.0 {
            return Err(Reason::NoVariation { input: "x" });
        }
        column.iter_mut().for_each(|v| *v = (*v - centre) / scale);
        centres.push(centre);
        scales.push(scale);
    }
    let mid_y = mean(y).ok_or(Reason::TooFew { input: "y", needed: 4 })?;
    let target = DVector::from_iterator(n, y.iter().map(|v| v - mid_y));
    let mixed = Reason::CannotBeTold { rule: "a column is a mixture of the others" };
    let qr = scaled.clone().qr();
    let r = qr.r();
    if r.diagonal().iter().any(|d| d.abs() < 1e-12) {
        return Err(mixed);
    }
    let rotated = qr.q().transpose() * &target;
    let slopes = r.solve_upper_triangular(&rotated).ok_or(mixed.clone())?;
    let inverse = r.solve_upper_triangular(&DMatrix::identity(p, p)).ok_or(mixed)?;
    let residual = (&scaled * &slopes - &target).norm_squared();
    let df = count(n - p - 1);
    let variance = residual / df;
    // Centres in the scaled columns' units carry the slopes' errors into the intercept.
    let ratios = DVector::from_iterator(p, centres.iter().zip(&scales).map(|(c, s)| c / s));
    let spread = (inverse.transpose() * &ratios).norm_squared();
    let unscaled: Vec<f64> = slopes.iter().zip(&scales).map(|(b, s)| b / s).collect();
    let mut b = vec![mid_y - unscaled.iter().zip(&centres).map(|(b, c)| b * c).sum::<f64>()];
    let mut se = vec![(variance * (1.0 / count(n) + spread)).sqrt()];
    for (row, (slope, scale)) in inverse.row_iter().zip(unscaled.iter().zip(&scales)) {
        b.push(*slope);
        se.push((variance * row.norm_squared()).sqrt() / scale);
    }
    let total = squares_around(y, mid_y);
    if total <= 0.0 {
        return Err(Reason::NoVariation { input: "y" });
    }
    if residual <= total * 1e-28 {
        return Err(Reason::CannotBeTold { rule: "the fit is exact, so nothing is left to judge" });
    }
    let explained = (total - residual).max(0.0);
    Ok(Multiple {
        b,
        se,
        resid_sd: variance.sqrt(),
        r2: explained / total,
        f: explained / count(p) / variance,
    })
}

/// Every formula of this file.
pub static ALL: &[&Formula] = &[&OLS, &THEIL_SEN, &CORRELATION, &MULTIPLE];
