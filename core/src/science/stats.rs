//! Small statistics that several formulas share. Two-pass sums; knows no sport.
//!
//! Distributions come from `statrs`, linear algebra from `nalgebra`; only sums are written here.

use statrs::distribution::{ContinuousCDF as _, FisherSnedecor, Normal, StudentsT};

/// A small count as a number. Lists are far shorter than 2^53.
#[must_use]
#[expect(clippy::cast_precision_loss, reason = "list lengths are far below 2^53")]
pub fn count(n: usize) -> f64 {
    n as f64
}

/// Sum divided by count; `None` for an empty list.
#[must_use]
pub fn mean(values: &[f64]) -> Option<f64> {
    (!values.is_empty()).then(|| values.iter().sum::<f64>() / count(values.len()))
}

/// Sum of squared deviations from a centre.
#[must_use]
pub fn squares_around(values: &[f64], centre: f64) -> f64 {
    values.iter().map(|v| (v - centre) * (v - centre)).sum()
}

/// Standard deviation with divisor n-1; `None` below two values.
#[must_use]
pub fn sd(values: &[f64]) -> Option<f64> {
    if values.len() < 2 {
        return None;
    }
    let squares = squares_around(values, mean(values)?);
    Some((squares / count(values.len() - 1)).sqrt())
}

/// Median; the middle two are averaged. `None` for an empty list.
#[must_use]
pub fn median(values: &[f64]) -> Option<f64> {
    median_in_place(&mut values.to_vec())
}

/// Median of values that may be put in another order.
pub fn median_in_place(values: &mut [f64]) -> Option<f64> {
    let upper = ranked(values, values.len() / 2)?;
    if values.len() % 2 == 1 {
        return Some(upper);
    }
    let lower = ranked(values, values.len() / 2 - 1)?;
    Some(lower + (upper - lower) / 2.0)
}

/// The value at a rank from 0 among values that may be put in another order.
pub fn ranked(values: &mut [f64], rank: usize) -> Option<f64> {
    (rank < values.len()).then(|| *values.select_nth_unstable_by(rank, f64::total_cmp).1)
}

/// Ranks from 1, ties averaged.
#[must_use]
pub fn ranks(values: &[f64]) -> Vec<f64> {
    let mut order: Vec<(usize, f64)> = values.iter().copied().enumerate().collect();
    order.sort_by(|a, b| a.1.total_cmp(&b.1));
    let mut ranked = vec![0.0; values.len()];
    let mut before = 0;
    for tied in order.chunk_by(|a, b| a.1 == b.1) {
        let rank = count(before) + (count(tied.len()) + 1.0) / 2.0;
        for (index, _) in tied {
            if let Some(slot) = ranked.get_mut(*index) {
                *slot = rank;
            }
        }
        before += tied.len();
    }
    ranked
}

/// Product-moment correlation; `None` if either list does not vary or lengths differ.
#[must_use]
pub fn correlation(x: &[f64], y: &[f64]) -> Option<f64> {
    if x.len() != y.len() {
        return None;
    }
    let (mx, my) = (mean(x)?, mean(y)?);
    let (xx, yy) = (squares_around(x, mx), squares_around(y, my));
    let xy: f64 = x.iter().zip(y).map(|(a, b)| (a - mx) * (b - my)).sum();
    let scale = xx.sqrt() * yy.sqrt();
    (scale > 0.0).then(|| (xy / scale).clamp(-1.0, 1.0))
}

/// Degrees of freedom that the distributions are asked with. Their library gives up where no half of them is left, and
/// searches without end for quantiles of some hundred million; no list here is longer than
/// [`LONGEST_LIST`](super::formula::LONGEST_LIST).
fn freedom(df: f64) -> Option<f64> {
    (1e-6..=1e6).contains(&df).then_some(df)
}

/// Two-sided quantile of Student's t; `None` if `level` is not inside 0 to 1 or `df` not positive or over a million.
#[must_use]
pub fn t_quantile(level: f64, df: f64) -> Option<f64> {
    if !(level > 0.0 && level < 1.0) {
        return None;
    }
    let quantile = StudentsT::new(0.0, 1.0, freedom(df)?).ok()?.inverse_cdf(0.5 + level / 2.0);
    quantile.is_finite().then_some(quantile)
}

/// Two-sided quantile of the standard normal distribution.
#[must_use]
pub fn normal_quantile(level: f64) -> Option<f64> {
    if !(level > 0.0 && level < 1.0) {
        return None;
    }
    let quantile = Normal::new(0.0, 1.0).ok()?.inverse_cdf(0.5 + level / 2.0);
    quantile.is_finite().then_some(quantile)
}

/// Two-sided tail probability of Student's t.
#[must_use]
pub fn t_tail(t: f64, df: f64) -> Option<f64> {
    // The library gives up on what is no number.
    if t.is_nan() {
        return None;
    }
    let tail = 2.0 * StudentsT::new(0.0, 1.0, freedom(df)?).ok()?.sf(t.abs());
    tail.is_finite().then_some(tail)
}

/// Upper tail probability of Fisher's F.
#[must_use]
pub fn f_tail(f: f64, between: f64, within: f64) -> Option<f64> {
    let distribution = FisherSnedecor::new(freedom(between)?, freedom(within)?).ok()?;
    if f.is_nan() {
        return None;
    }
    // Where this runs over, the library would divide one infinity by another and give up; nothing is left out there.
    let tail = if f > 0.0 && (f * between).is_infinite() { 0.0 } else { distribution.sf(f) };
    tail.is_finite().then_some(tail)
}

/// One-way analysis of variance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OneWay {
    /// Mean square between groups.
    pub between: f64,
    /// Mean square within groups.
    pub within: f64,
    /// Degrees of freedom between.
    pub df_between: f64,
    /// Degrees of freedom within.
    pub df_within: f64,
}

/// One-way analysis of variance in two passes: means first, then deviations.
///
/// Values are first shifted by the first value, which keeps data with many constant leading
/// digits exact. `None` with fewer than two groups or no freedom within.
#[must_use]
pub fn one_way(groups: &[Vec<f64>]) -> Option<OneWay> {
    let shift = *groups.first()?.first()?;
    let groups: Vec<Vec<f64>> = groups.iter().map(|g| g.iter().map(|v| v - shift).collect()).collect();
    let total: usize = groups.iter().map(Vec::len).sum();
    if groups.len() < 2 || total <= groups.len() || groups.iter().any(Vec::is_empty) {
        return None;
    }
    let grand = groups.iter().flatten().sum::<f64>() / count(total);
    let mut between = 0.0;
    let mut within = 0.0;
    for group in &groups {
        let centre = mean(group)?;
        between += count(group.len()) * (centre - grand) * (centre - grand);
        within += squares_around(group, centre);
    }
    let (df_between, df_within) = (count(groups.len() - 1), count(total - groups.len()));
    Some(OneWay { between: between / df_between, within: within / df_within, df_between, df_within })
}

/// Two-way analysis of variance of a complete table: rows are people, columns are trials.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TwoWay {
    /// People.
    pub rows: f64,
    /// Trials.
    pub columns: f64,
    /// Mean square between people.
    pub between: f64,
    /// Mean square within people.
    pub within: f64,
    /// Mean square between trials.
    pub trials: f64,
    /// Mean square of what is left.
    pub rest: f64,
}

/// Two-way analysis of variance without replication, in two passes.
///
/// `None` unless the table is rectangular with at least two rows and two columns.
#[must_use]
pub fn two_way(table: &[Vec<f64>]) -> Option<TwoWay> {
    let columns = table.first()?.len();
    if table.len() < 2 || columns < 2 || table.iter().any(|row| row.len() != columns) {
        return None;
    }
    let shift = *table.first()?.first()?;
    let table: Vec<Vec<f64>> = table.iter().map(|row| row.iter().map(|v| v - shift).collect()).collect();
    let (n, k) = (count(table.len()), count(columns));
    let row_means: Vec<f64> = table.iter().filter_map(|row| mean(row)).collect();
    let grand = mean(&row_means)?;
    let mut column_means = vec![0.0; columns];
    for row in &table {
        for (sum, value) in column_means.iter_mut().zip(row) {
            *sum += value / n;
        }
    }
    let between = k * squares_around(&row_means, grand);
    let trials = n * squares_around(&column_means, grand);
    let mut within = 0.0;
    let mut rest = 0.0;
    for (row, row_mean) in table.iter().zip(&row_means) {
        for (value, column_mean) in row.iter().zip(&column_means) {
            within += (value - row_mean) * (value - row_mean);
            let left = value - row_mean - column_mean + grand;
            rest += left * left;
        }
    }
    Some(TwoWay {
        rows: n,
        columns: k,
        between: between / (n - 1.0),
        within: within / (n * (k - 1.0)),
        trials: trials / (k - 1.0),
        rest: rest / ((n - 1.0) * (k - 1.0)),
    })
}

/// Least-squares line of y on x.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Line {
    /// Rise of y per x.
    pub slope: f64,
    /// y at x = 0.
    pub intercept: f64,
    /// Number of points.
    pub n: f64,
    /// Mean of x.
    pub mean_x: f64,
    /// Sum of squared deviations of x.
    pub sxx: f64,
    /// Sum of squared residuals.
    pub residual: f64,
    /// Share of the variation of y that the line describes, 0 to 1; 1 if y does not vary.
    pub r2: f64,
}

impl Line {
    /// Standard error of the estimate; `None` below three points.
    #[must_use]
    pub fn see(&self) -> Option<f64> {
        (self.n > 2.0).then(|| (self.residual / (self.n - 2.0)).sqrt())
    }

    /// Standard errors of slope and intercept; `None` below three points.
    #[must_use]
    pub fn errors(&self) -> Option<(f64, f64)> {
        let see = self.see()?;
        let slope = see / self.sxx.sqrt();
        Some((slope, see * (1.0 / self.n + self.mean_x * self.mean_x / self.sxx).sqrt()))
    }
}

/// Least-squares line of `y` on `x`, from centred sums.
///
/// `None` if the lengths differ, there are fewer than two points or x does not vary.
#[must_use]
pub fn line(x: &[f64], y: &[f64]) -> Option<Line> {
    if x.len() != y.len() || x.len() < 2 {
        return None;
    }
    let (mean_x, mean_y) = (mean(x)?, mean(y)?);
    let sxx = squares_around(x, mean_x);
    let syy = squares_around(y, mean_y);
    if sxx.is_nan() || sxx <= 0.0 || x.iter().all(|v| Some(v) == x.first()) {
        return None;
    }
    let sxy: f64 = x.iter().zip(y).map(|(a, b)| (a - mean_x) * (b - mean_y)).sum();
    let slope = sxy / sxx;
    let residual: f64 = x
        .iter()
        .zip(y)
        .map(|(a, b)| {
            let left = (b - mean_y) - slope * (a - mean_x);
            left * left
        })
        .sum();
    let r2 = if syy > 0.0 { (1.0 - residual / syy).clamp(0.0, 1.0) } else { 1.0 };
    Some(Line { slope, intercept: mean_y - slope * mean_x, n: count(x.len()), mean_x, sxx, residual, r2 })
}
