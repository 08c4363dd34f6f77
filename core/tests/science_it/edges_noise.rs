//! Noise, agreement and trends at the edges: ties, equal values, numbers far from zero. Worked by
//! hand, beside each test, unless a source is named.

use backstraight_core::science::stats::{
    correlation, f_tail, line, mean, median, normal_quantile, one_way, ranked, ranks, sd, t_quantile, t_tail,
    two_way,
};
use backstraight_core::science::{Value, reliability, trend};

use crate::help::{ask, close, list, number, printed, reason, value, word};

fn remarks(id: &str, text: &str, about: &str) -> usize {
    ask(id, text).notes.iter().filter(|note| note.contains(about)).count()
}

/// NIST StRD NumAcc4 (public domain): 10000000.2, then 10000000.1 and 10000000.3 five hundred times;
/// certified mean 10000000.2 and standard deviation 0.1. The differences of sums of squares that a
/// one-pass formula takes lose all of it.
#[test]
fn standard_deviation_far_from_zero_is_certified() {
    let mut readings = vec![10_000_000.2];
    for _ in 0..500 {
        readings.extend([10_000_000.1, 10_000_000.3]);
    }
    close(mean(&readings).unwrap(), 10_000_000.2, 1e-14);
    close(sd(&readings).unwrap(), 0.1, 1e-7);
    assert_eq!(sd(&[1.0, 3.0]), Some(2.0_f64.sqrt()), "two values have a spread");
    assert_eq!(sd(&[5.0]), None);
    assert_eq!(sd(&[]), None);
}

/// Adding a constant to either side changes neither correlation nor slope. Of the small numbers:
/// x = 0.1, 0.2, 0.3, 0.4, 0.7 and y = 0.2, 0.1, 0.5, 0.3, 0.6 have means 0.34 and 0.34, sxx = 0.212,
/// syy = 0.172, sxy = 0.152.
#[test]
fn lines_far_from_zero_keep_their_slope() {
    let small_x = [0.1, 0.2, 0.3, 0.4, 0.7];
    let small_y = [0.2, 0.1, 0.5, 0.3, 0.6];
    let far = |values: &[f64], by: f64| -> Vec<f64> { values.iter().map(|v| v + by).collect() };
    for (by_x, by_y) in [(0.0, 0.0), (3.0e8, 0.0), (0.0, 3.0e8), (3.0e8, 7.0e7), (-3.0e8, 7.0e7)] {
        let (x, y) = (far(&small_x, by_x), far(&small_y, by_y));
        close(correlation(&x, &y).unwrap(), 0.152 / (0.212_f64 * 0.172).sqrt(), 1e-5);
        let line = line(&x, &y).unwrap();
        close(line.slope, 0.152 / 0.212, 1e-5);
        close(line.residual, 0.172 - 0.152 * 0.152 / 0.212, 1e-5);
    }
}

/// A first value far from the rest must not spoil the sums either. Groups (0, 200000000.2) and
/// (99999999.2, 100000003.4) have means 100000000.1 and 100000001.3, so the square between them is
/// 2 x 2 x 0.6^2 = 1.44. Rows (0, 0.2) and (100000000.1, 100000000.3) leave 4 x 0.01 within, on two
/// degrees of freedom.
#[test]
fn analysis_of_variance_with_a_first_value_far_away() {
    let groups = [vec![0.0, 200_000_000.2], vec![99_999_999.2, 100_000_003.4]];
    close(one_way(&groups).unwrap().between, 1.44, 1e-6);
    let rows = [vec![0.0, 0.2], vec![100_000_000.1, 100_000_000.3]];
    close(two_way(&rows).unwrap().within, 0.02, 1e-6);
}

#[test]
fn too_little_for_an_analysis_is_no_analysis() {
    assert_eq!(one_way(&[vec![1.0, 2.0, 3.0]]), None, "one group");
    assert_eq!(one_way(&[vec![1.0], vec![2.0]]), None, "no freedom within");
    assert_eq!(one_way(&[vec![1.0, 2.0, 3.0], vec![]]), None, "an empty group");
    assert!(one_way(&[vec![1.0, 2.0], vec![3.0]]).is_some());
    assert_eq!(two_way(&[vec![1.0, 2.0]]), None, "one person");
    assert_eq!(two_way(&[vec![1.0], vec![2.0]]), None, "one trial");
    assert_eq!(two_way(&[vec![1.0, 2.0], vec![3.0]]), None, "a missing cell");
    assert!(two_way(&[vec![1.0, 2.0], vec![3.0, 5.0]]).is_some());
}

#[test]
fn values_without_variation_have_no_line() {
    assert_eq!(line(&[1.0, 2.0, 3.0], &[1.0, 2.0]), None);
    assert_eq!(line(&[1.0], &[1.0]), None);
    // The rounded mean of three times 0.1 is not 0.1, which leaves a trace of a spread.
    assert_eq!(line(&[0.1, 0.1, 0.1], &[1.0, 2.0, 4.0]), None);
    // Different, but so close that the squares vanish.
    assert_eq!(line(&[0.0, 1e-200, 2e-200], &[1.0, 2.0, 4.0]), None);
    assert_eq!(line(&[0.0, 1.0, f64::NAN], &[1.0, 2.0, 4.0]), None);
    let level = line(&[1.0, 2.0, 3.0], &[5.0, 5.0, 5.0]).unwrap();
    assert_eq!((level.slope, level.intercept, level.r2), (0.0, 5.0, 1.0));
    assert_eq!(correlation(&[1.0, 1.0, 1.0], &[1.0, 2.0, 3.0]), None);
    assert_eq!(correlation(&[1.0, 2.0, 3.0], &[1.0, 1.0, 1.0]), None);
}

/// Ties share the mean of the places that they take.
#[test]
fn ranks_share_places() {
    assert_eq!(ranks(&[20.0, 10.0, 20.0, 30.0]), [2.5, 1.0, 2.5, 4.0]);
    assert_eq!(ranks(&[7.0, 7.0, 7.0]), [2.0, 2.0, 2.0]);
    assert_eq!(ranked(&mut [3.0, 1.0, 2.0], 2), Some(3.0));
    assert_eq!(ranked(&mut [3.0, 1.0, 2.0], 3), None);
    assert_eq!(median(&[]), None);
    assert_eq!(median(&[4.0]), Some(4.0));
    assert_eq!(median(&[4.0, 1.0, 3.0, 2.0]), Some(2.5));
}

/// Printed tables: 1.960 and 1.645 of the normal distribution. A level is inside 0 to 1 or refused.
#[test]
fn quantiles_of_levels_inside_nought_to_one() {
    printed(normal_quantile(0.95).unwrap(), 1.960, 3);
    printed(normal_quantile(0.90).unwrap(), 1.645, 3);
    for outside in [0.0, 1.0, -0.5, 1.5, f64::NAN, f64::INFINITY] {
        assert_eq!(normal_quantile(outside), None, "{outside}");
        assert_eq!(t_quantile(outside, 10.0), None, "{outside}");
    }
}

/// Degrees of freedom of which no half is left, or beyond number: the library behind would give up, or never end.
#[test]
fn no_distribution_gives_up_or_goes_on_for_ever_by_its_degrees_of_freedom() {
    assert!(t_quantile(0.95, 1e6).is_some() && t_quantile(0.95, 1e-6).is_some());
    for none in [0.0, -1.0, 5e-324, 1e-7, 1_000_001.0, 1e154, f64::INFINITY, f64::NAN, f64::NEG_INFINITY] {
        assert_eq!(t_tail(1.0, none), None, "{none}");
        assert_eq!(t_quantile(0.95, none), None, "{none}");
        assert_eq!(f_tail(1.0, none, 3.0), None, "{none}");
        assert_eq!(f_tail(1.0, 3.0, none), None, "{none}");
    }
}

/// Groups that hardly vary and lie far apart: F near the end of numbers, where the library behind would give up.
#[test]
fn groups_whose_difference_is_beyond_number_are_answered_or_refused() {
    let mut answered = 0;
    for power in 120..160 {
        for digit in 1..10 {
            let x = vec![vec![0.0, f64::from(digit) * 10f64.powi(-power)], vec![1e15; 2], vec![-1e15; 2]];
            if let Ok(groups) = reliability::one_way(&x) {
                assert!(groups.value.f.is_finite() && groups.value.p == 0.0);
                answered += 1;
            }
        }
    }
    assert!(answered > 0);
    assert_eq!(f_tail(f64::MAX, 48.0, 148.0), Some(0.0));
    assert_eq!(f_tail(f64::INFINITY, 2.0, 3.0), Some(0.0));
    assert_eq!(f_tail(-1.0, 2.0, 3.0), Some(1.0));
    assert_eq!((f_tail(f64::NAN, 2.0, 3.0), t_tail(f64::NAN, 3.0)), (None, None));
}

/// Differences of trials: no noise and no spread is not "below the noise"; ten people are not few; a
/// mean of zero leaves out what divides by it and nothing else.
#[test]
fn two_trials_at_the_edges() {
    let below = |text: &str| remarks("rel.hopkins", text, "below the noise");
    assert_eq!(below("t1=5,5,5 t2=6,6,6"), 0);
    let few = |text: &str| remarks("rel.hopkins", text, "few people");
    assert_eq!(few("t1=1,2,3,4,5,6,7,8,9 t2=1,2,3,4,5,6,7,8,10"), 1);
    assert_eq!(few("t1=1,2,3,4,5,6,7,8,9,10 t2=1,2,3,4,5,6,7,8,10,10"), 0);
    let around_zero = ask("rel.hopkins", "t1=-2,0,2 t2=-1,-1,2");
    assert_eq!(around_zero.output("cv"), Some(&Value::Nothing));
    assert_eq!(around_zero.output("change"), Some(&Value::Number(0.0)));
}

/// 0, 5, 10 spread by 5; with a noise of 3 what is left is 4, since 3, 4, 5 are a right triangle.
#[test]
fn noise_is_taken_out_of_the_spread() {
    close(value("rel.swc", "x=0,5,10 te=3"), 0.8, 1e-12);
    close(value("rel.swc", "x=0,5,10 te=3 factor=2"), 8.0, 1e-12);
    let below =
        |factor: &str| remarks("rel.swc", &format!("x=0,5,10 te=3 factor={factor}"), "below the noise");
    assert_eq!(below("0.2"), 1);
    assert_eq!(below("0.75"), 0, "three is not below three");
    assert_eq!(below("2"), 0);
    assert_eq!(value("rel.swc_competition", "cv=2"), 0.6);
}

/// The bands of the coefficient, with tables small enough for fractions: 1/2, 3/4 and 22/25. Two
/// people who both gain the same have no noise, so the ratio to it is left out.
#[test]
fn bands_of_the_coefficient() {
    let band = |x: &str| word("rel.icc", &format!("x={x}"), "band");
    assert_eq!(number("rel.icc", "x=0,1;1,2", "i21"), 0.5);
    assert_eq!(band("0,1;1,2"), "0.50 to 0.75");
    assert_eq!(number("rel.icc", "x=0,1;3,2", "i21"), 0.75);
    assert_eq!(band("0,1;3,2"), "0.75 to 0.90");
    close(number("rel.icc", "x=1,2;3,4;6,5", "i21"), 0.88, 1e-12);
    assert_eq!(band("1,2;3,4;6,5"), "0.75 to 0.90");
    assert_eq!(band("1,2,0,1;1,3,3,2;3,8,1,4;6,4,3,3;6,5,5,6;7,5,6,2;8,7,7,9;9,9,9,8"), "0.50 to 0.75");
    assert_eq!(band("9,2,5,8;6,1,3,2;8,4,6,8;7,1,2,6;10,5,6,9;6,2,4,7"), "below 0.50");
    let even = ask("rel.icc", "x=1,2;3,4");
    assert_eq!(even.output("f"), Some(&Value::Nothing));
    assert_eq!(even.output("i31"), Some(&Value::Number(1.0)));
}

/// An interval that ends at zero holds zero. Pairs of 0, 1, 2, 3 with 1, 1, 2, 3: slopes from 0 to 1,
/// and so few points that the interval is all of them.
#[test]
fn an_interval_that_touches_zero_is_flat() {
    for (y, end) in [("1,1,2,3", "low"), ("3,2,1,1", "high")] {
        let text = format!("x=0,1,2,3 y={y}");
        assert_eq!(number("trend.theil_sen", &text, end), 0.0);
        assert_eq!(word("trend.theil_sen", &text, "flat"), "true");
        assert_eq!(word("trend.theil_sen", &text, "reading"), "cannot be told from flat");
    }
}

/// Four different dates are enough, two are too few and still a variation.
#[test]
fn four_dates_make_a_trend() {
    assert_eq!(reason("trend.ols", "x=1,1,2,2 y=1,2,3,4"), "x needs at least 4 values");
    assert!(ask("trend.ols", "x=1,2,3,4 y=1,2,3,5").result.is_ok());
}

/// Ties in both lists narrow the interval (Sen 1968). Derived with scipy 1.17.1 (`theilslopes`).
#[test]
fn ties_narrow_the_robust_interval() {
    let x = [0.0, 0.0, 1.0, 2.0, 2.0, 3.0, 4.0, 5.0, 5.0, 6.0, 7.0, 7.0];
    let y = [1.0, 2.0, 2.5, 3.0, 3.0, 3.0, 5.2, 4.0, 6.1, 6.1, 6.1, 8.3];
    for (level, low, high) in [(0.99, 0.4, 1.05), (0.7, 0.62, 0.9), (0.5, 0.666_666_666_667, 0.9)] {
        let robust = trend::theil_sen(&x, &y, level).unwrap().value;
        close(robust.slope, 0.775, 1e-12);
        close(robust.intercept, 0.7875, 1e-12);
        close(robust.low, low, 1e-11);
        close(robust.high, high, 1e-11);
    }
}

/// Two lists that are one line: r = 1 and nothing left to chance. Deviations of 1 and 2 from the
/// means keep every square exact.
#[test]
fn a_perfect_correlation_has_no_chance() {
    for (y, r) in [("2,2,6,6", 1.0), ("6,6,2,2", -1.0)] {
        let text = format!("x=1,1,3,3 y={y}");
        assert_eq!(number("trend.correlation", &text, "r"), r);
        assert_eq!(number("trend.correlation", &text, "spearman"), r);
        assert_eq!(number("trend.correlation", &text, "p"), 0.0);
    }
}

/// Rows of one length, at most twenty columns, at least two rows more than columns.
#[test]
fn several_predictors_at_the_edges() {
    assert_eq!(
        reason("trend.multiple", "x=1,2;2;3,5;4,3;5,6 y=3,4,9,8,12"),
        "x must be complete: every row as long as the first"
    );
    let three = "x=1,0,2;0,1,1;1,1,0;2,0,1;0,3,1 y=1,5,2,4,3";
    assert_eq!(list("trend.multiple", three, "b").len(), 4, "five rows carry three columns");
    // Powers of different bases modulo a prime: no column is a mixture of the others.
    let table = |columns: u64, rows: u64| -> String {
        let cell = |row: u64, column: u64| (1..=column + 1).fold(1, |power, _| power * (row + 2) % 101);
        let row = |row| (0..columns).map(|c| cell(row, c).to_string()).collect::<Vec<_>>().join(",");
        (0..rows).map(row).collect::<Vec<_>>().join(";")
    };
    let y: Vec<String> = (0..30_u64).map(|i| (i * i % 31).to_string()).collect();
    let asked = |columns| format!("x={} y={}", table(columns, 30), y.join(","));
    assert_eq!(list("trend.multiple", &asked(20), "b").len(), 21);
    assert_eq!(reason("trend.multiple", &asked(21)), "x takes at most 20 values");
    assert_eq!(reason("trend.multiple", &asked(22)), "x takes at most 20 values");
}

/// x = 1 to 5 and y = 2, 1, 4, 3, 5: sxx = syy = 10, sxy = 8, so r = slope = 0.8 and 3.6 is left on three
/// degrees of freedom. The printed t of 95 % on three is 3.182446. Of three degrees the tail is known in
/// closed form, 1 - 2/pi (atan u + u/(1 + u^2)) with u = t/sqrt 3 = 4/3 here.
#[test]
fn five_points_by_hand() {
    let five = "x=1,2,3,4,5 y=2,1,4,3,5";
    let slope_error = (3.6_f64 / 3.0 / 10.0).sqrt();
    close(number("trend.ols", five, "low"), 0.8 - 3.182_446 * slope_error, 1e-6);
    close(number("trend.ols", five, "high"), 0.8 + 3.182_446 * slope_error, 1e-6);
    let u = 4.0_f64 / 3.0;
    let tail = 1.0 - 2.0 / std::f64::consts::PI * (u.atan() + u / (1.0 + u * u));
    close(number("trend.correlation", five, "p"), tail, 1e-9);
    close(tail, 0.104_088, 1e-5);
    close(t_tail(-4.0 / 3.0_f64.sqrt(), 3.0).unwrap(), tail, 1e-9);
    assert_eq!(t_tail(0.0, 3.0), Some(1.0), "both sides of nothing are all there is");
}

/// Differences 2, 4, 6 at means 9, 20, 31: two more for every eleven.
#[test]
fn a_bias_that_grows_with_size() {
    close(number("rel.agreement", "a=10,22,34 b=8,18,28", "slope"), 2.0 / 11.0, 1e-12);
    assert_eq!(number("rel.agreement", "a=10,22,34 b=8,18,28", "bias"), 4.0);
}

/// 1.96 sqrt 2 x 2.89 = 8.010671 either side of a change of 5.
#[test]
fn band_around_a_change() {
    let at = |name: &str| number("rel.change", "before=62 after=67 te=2.89", name);
    printed(at("low"), -3.010_671, 6);
    printed(at("high"), 13.010_671, 6);
    assert_eq!(word("rel.change", "before=0 after=8.02 te=2.89", "reading"), "higher, beyond noise");
    assert_eq!(word("rel.change", "before=0 after=8.01 te=2.89", "reading"), "cannot be told from noise");
}
