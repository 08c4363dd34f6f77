//! What must hold for every input inside the limits.

use backstraight_core::science::fitness::{self, Constants};
use backstraight_core::science::velocity::Conditions;
use backstraight_core::science::{
    agreement, asymmetry, checkin, hurdles, jump, load, one_rep_max as rm, plates, reactive, reliability,
    sprint, stiffness, trend, velocity,
};
use proptest::prelude::*;

const G: f64 = backstraight_core::science::STANDARD_GRAVITY;

fn near(a: f64, b: f64, relative: f64) -> bool {
    (a - b).abs() <= relative * a.abs().max(b.abs()).max(1e-9)
}

fn table(rows: usize, columns: usize) -> impl Strategy<Value = Vec<Vec<f64>>> {
    prop::collection::vec(prop::collection::vec(1.0..100.0_f64, columns), rows)
}

const TEXTBOOK: Constants = Constants { t1: 45.0, t2: 15.0, k1: 1.0, k2: 2.0 };

proptest! {
    #[test]
    fn maximum_rises_with_repetitions_and_is_linear_in_load(w in 1.0..300.0_f64, r in 1..12_i32) {
        let formulas = [
            rm::epley, rm::brzycki, rm::brzycki_dec, rm::lombardi, rm::mayhew, rm::oconner,
            rm::wathan, rm::lander,
        ];
        let r = f64::from(r);
        for formula in formulas {
            let here = formula(w, r).unwrap().value;
            prop_assert!(formula(w, r + 1.0).unwrap().value > here);
            prop_assert!(near(formula(2.0 * w, r).unwrap().value, 2.0 * here, 1e-12));
        }
        let range = rm::range(w, r, "strength").unwrap().value;
        prop_assert!(range.low <= range.high && range.low >= w * 0.999_999);
    }

    #[test]
    fn formulas_meet(w in 1.0..300.0_f64) {
        prop_assert!(near(rm::epley(w, 10.0).unwrap().value, rm::brzycki(w, 10.0).unwrap().value, 1e-12));
        prop_assert!(near(rm::oconner(w, 5.0).unwrap().value, rm::brzycki(w, 5.0).unwrap().value, 1e-12));
    }

    #[test]
    fn profile_scales_with_the_loads(c in 0.5..2.0_f64, a in 1.2..2.0_f64, top in 110.0..140.0_f64) {
        let loads = [40.0, 60.0, 80.0, 100.0];
        let mvt = 0.3;
        let slope = (mvt - a) / top;
        let v: Vec<f64> = loads.iter().map(|l| a + slope * l).collect();
        let how = Conditions { mvt, reach: 0.5, speed: "mean", lift: "strength" };
        let scaled: Vec<f64> = loads.iter().map(|l| l * c).collect();
        let one = velocity::profile(&loads, &v, how).unwrap().value.one_rm;
        let other = velocity::profile(&scaled, &v, how).unwrap().value.one_rm;
        prop_assert!(near(one, top, 1e-9));
        prop_assert!(near(other, c * one, 1e-9));
        // The heaviest load was faster than the slowest speed, so the maximum lies above it.
        prop_assert!(v[3] > mvt && one > 100.0);
    }

    #[test]
    fn height_from_time_is_height_from_speed(t in 0.1..1.0_f64) {
        let v = jump::takeoff_from_flight(t, G).unwrap().value;
        let from_time = jump::height_from_flight(t, G).unwrap().value;
        prop_assert!(near(from_time, jump::height_from_takeoff(v, G).unwrap().value, 1e-12));
    }

    #[test]
    fn the_two_reactive_strengths_differ_by_a_factor(tf in 0.1..1.0_f64, tc in 0.08..1.0_f64) {
        let both = reactive::rsi(tf, tc, G).unwrap().value;
        prop_assert!(near(both.rsi, G / 8.0 * tf * both.ratio, 1e-12));
    }

    #[test]
    fn hopping_is_running_on_the_spot(m in 30.0..120.0_f64, tc in 0.1..0.35_f64, tf in 0.03..0.4_f64) {
        let step = stiffness::Step { m, v: 1.0, leg: 0.9, tc, tf, g: G };
        let running = stiffness::morin(step).unwrap().value.kvert;
        let hopping = stiffness::dalleau(m, tc, tf).unwrap().value;
        prop_assert!(near(running, hopping, 1e-9));
        // Falls towards m (pi/tc)^2 from above as flight grows.
        let floor = m * (std::f64::consts::PI / tc).powi(2);
        prop_assert!(hopping > floor);
        prop_assert!(stiffness::dalleau(m, tc, tf + 0.1).unwrap().value < hopping);
    }

    #[test]
    fn fading_average_of_a_constant_is_the_constant(x in 0.0..1000.0_f64, n in 1.0..60.0_f64, days in 1..90_usize) {
        let days = vec![Some(x); days];
        for level in load::ewma(&days, n, "first").unwrap().value {
            prop_assert!((level - x).abs() <= 1e-9 * x.max(1.0));
        }
    }

    #[test]
    fn fading_weights_sum_to_one(n in 1.0..60.0_f64, days in 2..60_usize) {
        // The weight of each day is the response to a single unit on that day.
        let total: f64 = (0..days)
            .map(|on| {
                let mut x = vec![Some(0.0); days];
                x[on] = Some(1.0);
                *load::ewma(&x, n, "first").unwrap().value.last().unwrap()
            })
            .sum();
        prop_assert!(near(total, 1.0, 1e-9));
    }

    #[test]
    fn coupled_follows_from_uncoupled(x in prop::collection::vec(1.0..900.0_f64, 28)) {
        let days: Vec<Option<f64>> = x.into_iter().map(Some).collect();
        let ratios = load::acwr(&days, 0.0).unwrap().value;
        let u = ratios.uncoupled.unwrap();
        prop_assert!(near(ratios.coupled, 4.0 * u / (u + 3.0), 1e-9));
        prop_assert!(ratios.coupled < 4.0);
    }

    #[test]
    fn monotony_does_not_depend_on_the_unit(x in prop::collection::vec(0.0..900.0_f64, 7), c in 0.5..10.0_f64) {
        let week = |c: f64| -> Vec<Option<f64>> { x.iter().map(|v| Some(v * c)).collect() };
        let (Ok(one), Ok(other)) = (load::monotony_strain(&week(1.0), 1.0), load::monotony_strain(&week(c), 1.0)) else {
            return Ok(());
        };
        prop_assert!(near(one.value.monotony, other.value.monotony, 1e-9));
    }

    #[test]
    fn impulse_response_adds_up_and_shifts(
        a in prop::collection::vec(0.0..500.0_f64, 1..60),
        b in prop::collection::vec(0.0..500.0_f64, 60),
        rest in 1..20_usize,
    ) {
        let net = |w: &[f64]| fitness::series(w, 0.0, TEXTBOOK).unwrap().value.net;
        let sum: Vec<f64> = a.iter().zip(&b).map(|(a, b)| a + b).collect();
        let parts = net(&a) + net(&b[..a.len()]);
        prop_assert!((net(&sum) - parts).abs() <= 1e-6);
        // Idle days before the first load change nothing.
        let mut later = vec![0.0; rest];
        later.extend(&a);
        prop_assert!((net(&later) - net(&a)).abs() <= 1e-9 * net(&a).abs().max(1.0));
        // Day by day is the same as all at once, seen from the day after.
        let mut level = (0.0, 0.0);
        for load in &a {
            let step = fitness::step(level.0, level.1, *load, TEXTBOOK).unwrap().value;
            level = (step.fit, step.fat);
        }
        let seen = fitness::step(level.0, level.1, 0.0, TEXTBOOK).unwrap().value.net;
        prop_assert!((seen - net(&a)).abs() <= 1e-6);
    }

    #[test]
    fn a_dose_costs_nothing_at_its_turning_point(
        t2 in 2.0..20.0_f64, more in 1.5..5.0_f64, k2 in 1.1..5.0_f64, dose in 1.0..500.0_f64,
    ) {
        let c = Constants { t1: t2 * more, t2, k1: 1.0, k2 };
        let times = fitness::times(c).unwrap().value;
        let at = |day: f64| fitness::single(dose, day, c).unwrap().value.net;
        prop_assert!(at(times.tn).abs() < 1e-6 * dose);
        prop_assert!(at(times.tg) >= at(times.tg - 0.5) && at(times.tg) >= at(times.tg + 0.5));
    }

    #[test]
    fn typical_error_is_the_root_of_what_is_left(x in table(6, 2)) {
        let column = |i: usize| -> Vec<f64> { x.iter().map(|row| row[i]).collect() };
        let noise = reliability::two_trials(&column(0), &column(1)).unwrap().value;
        prop_assert!(near(noise.te, reliability::typical_error(&x).unwrap().value, 1e-9));
    }

    #[test]
    fn correlation_within_classes_ignores_shift_and_unit(x in table(6, 3), by in prop::collection::vec(-50.0..50.0_f64, 3), c in 0.1..10.0_f64) {
        let base = reliability::icc(&x).unwrap().value;
        let shifted: Vec<Vec<f64>> =
            x.iter().map(|row| row.iter().zip(&by).map(|(v, b)| v + b).collect()).collect();
        let shifted = reliability::icc(&shifted).unwrap().value;
        prop_assert!((base.i31 - shifted.i31).abs() < 1e-9, "a constant per trial");
        let scaled: Vec<Vec<f64>> = x.iter().map(|r| r.iter().map(|v| v * c).collect()).collect();
        let scaled = reliability::icc(&scaled).unwrap().value;
        for (a, b) in [(base.i11, scaled.i11), (base.i21, scaled.i21), (base.i31, scaled.i31)] {
            prop_assert!((a - b).abs() < 1e-9, "another unit");
        }
    }

    #[test]
    fn agreement_turns_its_sign(a in prop::collection::vec(0.0..500.0_f64, 3..30)) {
        let b: Vec<f64> = a.iter().rev().map(|v| v * 1.1 + 3.0).collect();
        let one = agreement::agreement(&a, &b).unwrap().value;
        let other = agreement::agreement(&b, &a).unwrap().value;
        prop_assert!((one.bias + other.bias).abs() < 1e-9);
        prop_assert!((one.lo196 + other.hi196).abs() < 1e-9);
    }

    #[test]
    fn one_wild_point_of_six_does_not_bend_the_robust_line(
        slope in -5.0..5.0_f64, intercept in -50.0..50.0_f64, wild in -1e4..1e4_f64, at in 0..6_usize,
    ) {
        let x: Vec<f64> = (0..6).map(f64::from).collect();
        let mut y: Vec<f64> = x.iter().map(|x| intercept + slope * x).collect();
        y[at] = wild;
        let fit = trend::theil_sen(&x, &y, 0.95).unwrap().value;
        prop_assert!((fit.slope - slope).abs() < 1e-9, "{} against {slope}", fit.slope);
    }

    #[test]
    fn least_squares_leaves_nothing_along_x(y in prop::collection::vec(-100.0..100.0_f64, 4..60)) {
        let x: Vec<f64> = (0..y.len()).map(|i| i as f64 * 7.0).collect();
        let fit = trend::ols(&x, &y, 0.95).unwrap().value;
        let along: f64 = x.iter().zip(&y).map(|(x, y)| x * (y - fit.intercept - fit.slope * x)).sum();
        prop_assert!(along.abs() < 1e-6 * (1.0 + x.iter().map(|x| x * x).sum::<f64>()));
        prop_assert!(fit.low <= fit.slope && fit.slope <= fit.high);
    }

    #[test]
    fn sprint_time_and_way_invert(vmax in 4.0..13.0_f64, tau in 0.6..2.2_f64, x in 0.01..100.0_f64) {
        let t = sprint::time_at(vmax, tau, x).unwrap().value;
        prop_assume!(t < 19.9);
        let state = sprint::state_at(vmax, tau, t).unwrap().value;
        prop_assert!(near(state.d, x, 1e-9), "{} against {x}", state.d);
        let h = 1e-4;
        let ahead = sprint::state_at(vmax, tau, t + h).unwrap().value.d;
        let behind = sprint::state_at(vmax, tau, (t - h).max(0.0)).unwrap().value.d;
        let speed = (ahead - behind) / (t + h - (t - h).max(0.0));
        prop_assert!((speed - state.v).abs() < 1e-3 * vmax, "way changes at the speed");
        prop_assert!(state.v <= vmax && state.a >= 0.0);
    }

    #[test]
    fn fit_returns_what_made_the_times(vmax in 4.5..12.5_f64, tau in 0.7..2.1_f64, reaction in 0.1..0.3_f64) {
        let x = [5.0, 10.0, 15.0, 20.0, 30.0, 40.0];
        let t: Vec<f64> =
            x.iter().map(|x| sprint::time_at(vmax, tau, *x).unwrap().value + reaction).collect();
        let start = sprint::Start { trigger: "gun", reaction: Some(reaction), free_offset: false };
        let fit = sprint::fit(&x, &t, start).unwrap().value;
        prop_assert!(near(fit.vmax, vmax, 1e-6) && near(fit.tau, tau, 1e-6));
        let free = sprint::Start { trigger: "gun", reaction: None, free_offset: true };
        let fit = sprint::fit(&x, &t, free).unwrap().value;
        prop_assert!(near(fit.vmax, vmax, 1e-4) && near(fit.offset.unwrap(), reaction, 1e-3));
    }

    #[test]
    fn plates_sum_to_what_is_reported_and_nothing_is_nearer(
        target in 20.0..200.0_f64,
        stock in prop::collection::vec((prop::sample::select(vec![25.0, 20.0, 15.0, 10.0, 5.0, 2.5, 2.0, 1.25, 0.5]), 0..3_u32), 1..5),
    ) {
        let target = (target * 4.0).round() / 4.0;
        let bar = plates::load(target, 20.0, 0.0, &stock).unwrap().value;
        let side: f64 = bar.per_side.iter().sum();
        prop_assert!((side - bar.side).abs() < 1e-9);
        prop_assert!((20.0 + 2.0 * side - bar.total).abs() < 1e-9);
        // Every loading there is, the slow way.
        let mut sums = vec![0.0];
        for (mass, pairs) in &stock {
            let before = sums.clone();
            for copies in 1..=*pairs {
                sums.extend(before.iter().map(|s| s + mass * f64::from(copies)));
            }
        }
        let off = |s: f64| (20.0 + 2.0 * s - target).abs();
        let best = sums.iter().copied().map(off).fold(f64::INFINITY, f64::min);
        prop_assert!((off(side) - best).abs() < 1e-9, "nothing is nearer");
        let lower = sums.iter().any(|s| (off(*s) - best).abs() < 1e-9 && *s < side - 1e-9);
        prop_assert!(!lower, "ties go down");
        prop_assert_eq!(bar.exact, best < 1e-9);
        // Nothing is used that the venue does not own.
        for (mass, _) in &stock {
            let owned: u32 = stock.iter().filter(|(m, _)| m == mass).map(|(_, n)| *n).sum();
            let used = bar.per_side.iter().filter(|m| *m == mass).count();
            prop_assert!(used <= owned as usize);
        }
    }

    #[test]
    fn swapping_sides_turns_the_sign_only(a in 0.1..1000.0_f64, b in 0.1..1000.0_f64) {
        let one = asymmetry::sides(a, b, None).unwrap().value;
        let other = asymmetry::sides(b, a, None).unwrap().value;
        prop_assert_eq!(one.pct, other.pct);
        prop_assert_eq!(one.angle, other.angle);
        prop_assert_eq!(one.signed, if a == b { other.signed } else { -other.signed });
        prop_assert!((0.0..=100.0).contains(&one.pct) && one.bai1 <= one.pct);
    }

    #[test]
    fn check_in_sums_stay_in_range(five in prop::collection::vec(1..=5_i32, 5), four in prop::collection::vec(1..=7_i32, 4)) {
        let items = |v: &[i32]| -> Vec<Option<f64>> { v.iter().map(|i| Some(f64::from(*i))).collect() };
        let sum = checkin::five_items(&items(&five)).unwrap().value.sum;
        prop_assert!((5.0..=25.0).contains(&sum));
        let sum = checkin::four_items(&items(&four)).unwrap().value.sum;
        prop_assert!((4.0..=28.0).contains(&sum));
        let mut open = items(&five);
        open[2] = None;
        prop_assert!(checkin::five_items(&open).is_err(), "missing is not zero");
    }

    #[test]
    fn hurdle_layouts_add_up(first in 5.0..60.0_f64, between in 4.0..40.0_f64, n in 1..20_i32, run_in in 5.0..60.0_f64) {
        let n = f64::from(n);
        let total = first + (n - 1.0) * between + run_in;
        let got = hurdles::layout("x".into(), first, between, n, run_in, None).unwrap().value;
        prop_assert!(near(got, total, 1e-12));
    }
}
