//! Noise, agreement, trends, and the open data sets with certified answers.

use std::collections::BTreeMap;

use backstraight_core::science::certified::{LINNERUD_CHINS, LINNERUD_WEIGHT, NORRIS_X, NORRIS_Y};
use backstraight_core::science::reliability;
use backstraight_core::science::stats::{f_tail, one_way, t_quantile};
use backstraight_core::science::trend;

use crate::help::{ask, close, list, number, printed, reason, value, word};

const FIVE: &str = "t1=62,78,81,55,66 t2=67,76,87,55,63";

/// Hopkins' example (published on a university course page: 4.1 and 2.9), other digits derived.
#[test]
fn typical_error() {
    let at = |name: &str| number("rel.hopkins", FIVE, name);
    printed(at("sd_diff"), 4.1, 1);
    printed(at("te"), 2.9, 1);
    printed(at("change"), 1.2, 9);
    printed(at("sd_diff"), 4.086563, 6);
    printed(at("te"), 2.889637, 6);
    printed(at("mean"), 69.0, 9);
    printed(at("cv"), 4.187879, 6);
    printed(at("log_cv"), 4.079351, 6);
    printed(at("mdc95"), 8.009664, 6);
    printed(at("swc_trial1"), 2.184491, 6);
    assert!(ask("rel.hopkins", FIVE).notes.iter().any(|note| note.contains("one retest")));
    close(value("rel.typical_error", "x=62,67;78,76;81,87;55,55;66,63"), at("te"), 1e-12);
    assert!(reason("rel.hopkins", "t1=1,2 t2=1,2").contains("at least 3"));
    assert!(reason("rel.hopkins", "t1=1,2,3 t2=1,2,3,4").contains("differ in length"));
    // A zero among the values leaves the logarithms out, not the rest.
    let zero = ask("rel.hopkins", "t1=0,2,3 t2=1,2,4");
    assert_eq!(zero.output("log_cv"), Some(&backstraight_core::science::Value::Nothing));
    assert!(zero.result.is_ok());
}

/// Hopkins 2000, Sports Med 30(1):1-15; Christensen & Mendoza (secondary). Digits derived.
#[test]
fn worthwhile_and_detectable() {
    printed(value("rel.swc", "x=62,78,81,55,66"), 2.184491, 6);
    printed(value("rel.mdc", "te=2.8896366553599777"), 8.009664, 6);
    printed(value("rel.mdc", "te=2.8896366553599777 z=1.06066"), 4.33, 2);
    close(value("rel.reliable_change", "sd=10 rel=0.5"), 10.0, 1e-12);
    assert_eq!(value("rel.reliable_change", "sd=10 rel=1"), 0.0);
    assert!(reason("rel.swc", "x=1,2,3 te=1").contains("not below the spread"));
    assert!(ask("rel.swc", "x=1,2,3 te=0.999").result.is_ok());
    assert!(reason("rel.swc", "x=2,2,2").contains("no variation"));
    let noise = "before=62 after=67 te=2.89";
    assert_eq!(word("rel.change", noise, "reading"), "cannot be told from noise");
    assert_eq!(word("rel.change", "before=62 after=71 te=2.89", "reading"), "higher, beyond noise");
    assert_eq!(word("rel.change", "before=71 after=62 te=2.89", "reading"), "lower, beyond noise");
    assert_eq!(word("rel.change", "before=62 after=62 te=0", "beyond_noise"), "false");
}

const SHROUT: &str = "x=9,2,5,8;6,1,3,2;8,4,6,8;7,1,2,6;10,5,6,9;6,2,4,7";
const WINE: &str = "x=1,2,0,1;1,3,3,2;3,8,1,4;6,4,3,3;6,5,5,6;7,5,6,2;8,7,7,9;9,9,9,8";

/// Shrout & Fleiss 1979, Psychol Bull 86:420-428 (printed 0.17 0.29 0.71 0.44 0.62 0.91, from
/// memory; digits derived). Wine ratings: documented by the package that ships them, to 3 digits.
#[test]
fn intraclass_correlation() {
    let names = ["i11", "i21", "i31", "i1k", "i2k", "i3k"];
    let derived = [0.165742, 0.289764, 0.714841, 0.442797, 0.620051, 0.909316];
    for (name, want) in names.iter().zip(derived) {
        printed(number("rel.icc", SHROUT, name), want, 6);
    }
    let squares = [("msb", 11.241667), ("msw", 6.263889), ("msj", 32.486111), ("mse", 1.019444)];
    for (name, want) in squares {
        printed(number("rel.icc", SHROUT, name), want, 6);
    }
    printed(number("rel.icc", SHROUT, "f"), 11.027248, 6);
    let documented = [0.728, 0.728, 0.729, 0.914, 0.914, 0.915];
    let derived = [0.727521, 0.727689, 0.729487, 0.914384, 0.914450, 0.915159];
    for ((name, want), digits) in names.iter().zip(documented).zip(derived) {
        printed(number("rel.icc", WINE, name), want, 3);
        printed(number("rel.icc", WINE, name), digits, 6);
    }
    printed(number("rel.icc", WINE, "msb") / number("rel.icc", WINE, "msw"), 11.680, 3);
    printed(number("rel.icc", WINE, "f"), 11.787, 3);
    let five = "x=62,67;78,76;81,87;55,55;66,63";
    printed(number("rel.icc", five, "i11"), 0.945216, 6);
    printed(number("rel.icc", five, "i21"), 0.945022, 6);
    printed(number("rel.icc", five, "i31"), 0.938399, 6);
    assert!(reason("rel.icc", "x=1,2;3").contains("complete"));
    assert!(reason("rel.icc", "x=1,1;1,1").contains("no variation"));
    assert_eq!(word("rel.icc", five, "band"), "above 0.90");
}

const LARGE: &str = "494,395,516,434,476,557,413,442,650,433,417,656,267,478,178,423,427";
const MINI: &str = "512,430,520,428,500,600,364,380,658,445,432,626,260,477,259,350,451";

/// Bland & Altman 1986, Lancet i:307-310: printed bias -2.1, SD 38.8, r 0.94 (from memory); digits
/// derived from the typed readings.
#[test]
fn agreement() {
    let text = format!("a={LARGE} b={MINI}");
    let at = |name: &str| number("rel.agreement", &text, name);
    printed(at("bias"), -2.117647, 6);
    printed(at("sd"), 38.765130, 6);
    printed(at("r"), 0.943279, 6);
    printed(at("bias_low"), -22.05, 2);
    printed(at("bias_high"), 17.81, 2);
    printed(at("lo2"), -79.647907, 6);
    printed(at("hi2"), 75.412613, 6);
    printed(at("lo196"), -78.097302, 6);
    printed(at("hi196"), 73.862007, 6);
    assert!(reason("rel.agreement", "a=1,2,3 b=1,2,3,4").contains("differ in length"));
}

/// Giavarina 2015, Biochem Med 25:141-151, the 30 pairs of its example (numbers only); derived.
#[test]
fn agreement_of_thirty_pairs() {
    let a = "1,5,10,20,50,40,50,60,70,80,90,100,150,200,250,300,350,400,450,500,550,600,650,700,\
             750,800,850,900,950,1000";
    let b = "8,16,30,24,39,54,40,68,72,62,122,80,181,259,275,380,320,434,479,587,626,648,738,766,\
             793,851,871,957,1001,960";
    let text = format!("a={a} b={b}");
    let at = |name: &str| number("rel.agreement", &text, name);
    printed(at("bias"), -27.166667, 6);
    printed(at("sd"), 34.805948, 6);
    printed(at("lo196"), -95.386325, 6);
    printed(at("hi196"), 41.052992, 6);
}

/// Derived by hand.
#[test]
fn one_wild_point() {
    let text = "x=0,1,2,3,4,5 y=1,2,3,4,5,20";
    let at = |name: &str| number("trend.theil_sen", text, name);
    printed(at("slope"), 1.0, 12);
    printed(at("intercept"), 1.0, 12);
    printed(at("ols_slope"), 3.0, 12);
    printed(at("ols_intercept"), -1.666667, 6);
    printed(number("trend.ols", text, "slope"), 3.0, 12);
}

/// Derived with scipy 1.17.1 (`theilslopes`): slopes without ties, so that each rank counts.
#[test]
fn robust_interval_takes_the_right_ranks() {
    let text = "x=0,3,7,12,15,21,28,30,36,41 y=10.1,10.9,10.2,11.7,11.1,12.9,12.2,13.6,12.8,14.3";
    let at = |level: &str, name: &str| number("trend.theil_sen", &format!("{text} {level}"), name);
    close(at("level=0.95", "slope"), 0.089_655_172_413_793_16, 1e-12);
    close(at("level=0.95", "intercept"), 10.336_206_896_551_722, 1e-12);
    close(at("level=0.95", "low"), 0.063_636_363_636_363_73, 1e-12);
    close(at("level=0.95", "high"), 0.133_333_333_333_333_3, 1e-12);
    close(at("level=0.8", "low"), 0.074_999_999_999_999_98, 1e-12);
    close(at("level=0.8", "high"), 0.116_666_666_666_666_67, 1e-12);
}

#[test]
fn trends_say_when_they_cannot_tell() {
    let noisy = "x=0,1,2,3,4,5 y=5,3,6,4,5,4";
    for id in ["trend.ols", "trend.theil_sen"] {
        assert_eq!(word(id, noisy, "reading"), "cannot be told from flat");
        assert_eq!(word(id, noisy, "flat"), "true");
        let rising = "x=0,1,2,3,4,5,6,7 y=1,2.1,2.9,4,5.1,6,6.9,8";
        assert_eq!(word(id, rising, "reading"), "rises");
        let falling = "x=0,1,2,3,4,5,6,7 y=8,6.9,6,5.1,4,2.9,2.1,1";
        assert_eq!(word(id, falling, "reading"), "falls");
        assert!(reason(id, "x=1,2,3 y=1,2,3").contains("at least 4"));
        // Four values on three dates are three dates.
        assert!(reason(id, "x=1,2,3,3 y=1,2,3,4").contains("at least 4"));
        assert!(reason(id, "x=2,2,2,2 y=1,2,3,4").contains("no variation"));
        assert!(reason(id, "x=1,2,3,4,5 y=1,2,3,4").contains("differ in length"));
    }
}

/// Lines of numbers after the header of a NIST file.
fn nist(text: &str, skip: usize) -> Vec<(f64, f64)> {
    text.lines()
        .skip(skip)
        .filter_map(|line| {
            let mut parts = line.split_whitespace();
            Some((parts.next()?.parse().ok()?, parts.next()?.parse().ok()?))
        })
        .collect()
}

/// NIST StRD Norris, certified values (public domain; file from the scipy wheel).
#[test]
fn norris_is_certified() {
    let file = nist(include_str!("../../../fixtures/vectors/nist/Norris.dat"), 60);
    assert_eq!(file.len(), 36);
    for ((y, x), (sy, sx)) in file.iter().zip(NORRIS_Y.iter().zip(NORRIS_X)) {
        assert_eq!((*y, *x), (*sy, sx), "the stored copy differs from the file");
    }
    let (y, x): (Vec<f64>, Vec<f64>) = file.into_iter().unzip();
    let fit = trend::ols(&x, &y, 0.95).unwrap().value;
    close(fit.intercept, -0.262323073774029, 1e-9);
    close(fit.slope, 1.00211681802045, 1e-12);
    close(fit.se_intercept, 0.232818234301152, 1e-9);
    close(fit.se_slope, 0.429796848199937e-3, 1e-9);
    close(fit.resid_sd, 0.884796396144373, 1e-9);
    close(fit.r2, 0.999993745883712, 1e-12);
    close((fit.slope / fit.se_slope).powi(2), 5436385.54079785, 1e-9);
    let robust = trend::theil_sen(&x, &y, 0.95).unwrap().value;
    printed(robust.slope, 1.0021968366, 10);
    printed(robust.intercept, -0.0640158172, 10);
}

/// NIST StRD Longley: certified values from memory, reproduced in exact fractions to 12 digits;
/// the file is from the statsmodels package (public domain data).
#[test]
fn longley_breaks_normal_equations_not_us() {
    let csv = include_str!("../../../fixtures/vectors/nist/longley.csv");
    let rows: Vec<Vec<f64>> = csv
        .lines()
        .skip(1)
        .filter(|line| !line.is_empty())
        .map(|line| line.split(',').map(|cell| cell.trim().parse().unwrap()).collect())
        .collect();
    assert_eq!(rows.len(), 16);
    let y: Vec<f64> = rows.iter().map(|row| row[1]).collect();
    let x: Vec<Vec<f64>> = rows.iter().map(|row| row[2..8].to_vec()).collect();
    let fit = trend::multiple(&x, &y).unwrap().value;
    let certified = [
        -3482258.63459582,
        15.0618722713733,
        -0.0358191792925910,
        -2.02022980381683,
        -1.03322686717359,
        -0.0511041056535807,
        1829.15146461355,
    ];
    for (got, want) in fit.b.iter().zip(certified) {
        close(*got, want, 1e-9);
    }
    let certified = [
        890420.383607373,
        84.9149257747669,
        0.0334910077722432,
        0.488399681651699,
        0.214274163161675,
        0.226073200069370,
        455.478499142212,
    ];
    for (got, want) in fit.se.iter().zip(certified) {
        close(*got, want, 1e-9);
    }
    close(fit.resid_sd, 304.854073561965, 1e-9);
    close(fit.r2, 0.995479004577296, 1e-12);
    close(fit.f, 330.2853, 1e-6);
}

/// Values by group of a NIST analysis-of-variance file.
fn groups(text: &str) -> Vec<Vec<f64>> {
    let mut groups: BTreeMap<u32, Vec<f64>> = BTreeMap::new();
    for line in text.lines().skip(60) {
        let mut parts = line.split_whitespace();
        let (Some(group), Some(value)) = (parts.next(), parts.next()) else {
            continue;
        };
        groups.entry(group.parse().unwrap()).or_default().push(value.parse().unwrap());
    }
    groups.into_values().collect()
}

/// NIST StRD analysis of variance (public domain; files from the scipy wheel). The sets with 13
/// constant leading digits cannot be held exactly in binary, hence their tolerance: one-pass sums
/// are off by orders of magnitude there.
#[test]
fn analysis_of_variance_is_certified() {
    let files = [
        (
            include_str!("../../../fixtures/vectors/nist/SiRstv.dat"),
            5,
            1.18046237440255,
            0.104076068334656,
            1e-10,
        ),
        (
            include_str!("../../../fixtures/vectors/nist/AtmWtAg.dat"),
            2,
            15.9467335677930,
            1.51048314446410e-5,
            1e-8,
        ),
        (include_str!("../../../fixtures/vectors/nist/SmLs01.dat"), 9, 21.0, 0.1, 1e-10),
        (include_str!("../../../fixtures/vectors/nist/SmLs02.dat"), 9, 201.0, 0.1, 1e-10),
        (include_str!("../../../fixtures/vectors/nist/SmLs04.dat"), 9, 21.0, 0.1, 1e-7),
        (include_str!("../../../fixtures/vectors/nist/SmLs05.dat"), 9, 201.0, 0.1, 1e-7),
        (include_str!("../../../fixtures/vectors/nist/SmLs07.dat"), 9, 21.0, 0.1, 5e-3),
        (include_str!("../../../fixtures/vectors/nist/SmLs08.dat"), 9, 201.0, 0.1, 5e-3),
    ];
    for (text, count, f, residual, tolerance) in files {
        let groups = groups(text);
        assert_eq!(groups.len(), count);
        let anova = one_way(&groups).unwrap();
        close(anova.between / anova.within, f, tolerance);
        close(anova.within.sqrt(), residual, tolerance);
        let same = reliability::one_way(&groups).unwrap().value;
        close(same.f, f, tolerance);
    }
    // What one-pass sums would say on SmLs07: nothing near 21.
    let groups = groups(files[6].0);
    let n: f64 = groups.iter().map(|g| g.len() as f64).sum();
    let sum: f64 = groups.iter().flatten().sum();
    let squares: f64 = groups.iter().flatten().map(|v| v * v).sum();
    let by_group: f64 = groups.iter().map(|g| g.iter().sum::<f64>().powi(2) / g.len() as f64).sum();
    let naive = ((by_group - sum * sum / n) / 8.0) / ((squares - by_group) / (n - 9.0));
    assert!(!(naive - 21.0).abs().le(&1.0), "one-pass sums gave {naive}");
    // The table version needs two passes as well: shifting every value changes nothing.
    let far: Vec<Vec<f64>> =
        vec![vec![1e8 + 9.0, 1e8 + 2.0], vec![1e8 + 6.0, 1e8 + 1.0], vec![1e8 + 8.0, 1e8 + 4.0]];
    let near: Vec<Vec<f64>> = vec![vec![9.0, 2.0], vec![6.0, 1.0], vec![8.0, 4.0]];
    let (far, near) = (reliability::icc(&far).unwrap().value, reliability::icc(&near).unwrap().value);
    close(far.i21, near.i21, 1e-12);
}

/// Linnerud's twenty men from the crate `linfa-datasets` (MIT/Apache-2.0); answers derived.
#[test]
fn linnerud_is_on_topic() {
    let data = linfa_datasets::linnerud();
    let done = |index: usize| data.records().column(index).to_vec();
    let body = |index: usize| data.targets().column(index).to_vec();
    let (chins, situps, jumps) = (done(0), done(1), done(2));
    let (weight, waist) = (body(0), body(1));
    assert_eq!(chins, LINNERUD_CHINS);
    assert_eq!(weight, LINNERUD_WEIGHT);
    let on_weight = trend::ols(&weight, &chins, 0.95).unwrap().value;
    printed(on_weight.slope, -0.0834340574, 10);
    printed(on_weight.intercept, 24.3513226508, 10);
    printed(on_weight.r.unwrap(), -0.3896936508, 10);
    printed(on_weight.se_slope, 0.0464747714, 10);
    let on_waist = trend::ols(&waist, &chins, 0.95).unwrap().value;
    printed(on_waist.slope, -0.9117043121, 10);
    printed(on_waist.intercept, 41.7243326489, 10);
    printed(on_waist.r.unwrap(), -0.5522321318, 10);
    let robust = trend::theil_sen(&weight, &chins, 0.95).unwrap().value;
    printed(robust.slope, -0.0983796296, 10);
    printed(robust.intercept, 28.8148148148, 10);
    printed(robust.low, -0.205128, 6);
    printed(robust.high, 0.022222, 6);
    assert!(robust.flat);
    let robust = trend::theil_sen(&waist, &chins, 0.95).unwrap().value;
    printed(robust.slope, -1.0, 10);
    printed(robust.intercept, 46.5, 10);
    let rank = trend::correlations(&chins, &weight).unwrap().value;
    printed(rank.spearman, -0.3801975005, 10);
    let mean = |v: &[f64]| v.iter().sum::<f64>() / 20.0;
    printed(mean(&chins), 9.45, 9);
    printed(mean(&situps), 145.55, 9);
    printed(mean(&jumps), 70.3, 9);
    printed(mean(&weight), 178.6, 9);
    let sd = backstraight_core::science::stats::sd(&chins).unwrap();
    printed(sd, 5.286278, 6);
}

/// Common values of printed tables of Student's t and Fisher's F.
#[test]
fn distributions() {
    printed(t_quantile(0.95, 10.0).unwrap(), 2.228, 3);
    printed(t_quantile(0.95, 1.0).unwrap(), 12.706, 3);
    printed(f_tail(4.965, 1.0, 10.0).unwrap(), 0.050, 3);
    assert_eq!(t_quantile(1.0, 10.0), None);
    assert_eq!(t_quantile(0.95, 0.0), None);
    assert_eq!(t_quantile(f64::NAN, 10.0), None);
}

#[test]
fn several_predictors_refuse_what_cannot_be_told() {
    let y = "y=3,4,9,8,12";
    assert!(reason("trend.multiple", &format!("x=1,2;2,4;3,6;4,8;5,10 {y}")).contains("mixture"));
    assert!(reason("trend.multiple", &format!("x=1,2;1,4;1,5;1,8;1,10 {y}")).contains("variation"));
    assert!(reason("trend.multiple", "x=1,2,3;2,1,5;3,5,1;4,3,2 y=1,2,3,4").contains("at least 5"));
    assert!(reason("trend.multiple", "x=1;2;3;4 y=2,4,6,8").contains("exact"));
    assert_eq!(list("trend.multiple", "x=1;2;3;4 y=2,4,6,9", "b").len(), 2);
}
