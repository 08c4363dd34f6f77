//! The worked examples of `docs/meanings.md`, by hand. Common practice, no source.
#![expect(clippy::unwrap_used, reason = "a test fails by panicking")]

use backstraight_core::base::moment::Moment;
use backstraight_core::model::log::SetDone;
use backstraight_core::model::number::*;
use backstraight_core::model::packed::{Dose, Intensity};
use backstraight_core::view::judge::{SetAsked, SetShare, Tolerance, compare};
use proptest::prelude::*;

fn asked(dose: &str, intensity: &str) -> SetAsked {
    let intensity: Option<Intensity> = (!intensity.is_empty()).then(|| intensity.parse().unwrap());
    let load = match &intensity {
        Some(Intensity::Load(l)) => Some(*l),
        _ => None,
    };
    SetAsked { dose: Some(dose.parse::<Dose>().unwrap()), intensity, load }
}

fn lifted(kg: f64, reps: i64) -> SetDone {
    #[expect(clippy::cast_possible_truncation, reason = "small test numbers")]
    let load = (kg * 100.0).round() as i64;
    SetDone { load: Load::new(load).ok(), reps: Reps::new(reps).ok(), ..SetDone::new(Moment(0)) }
}

fn share(asked: &SetAsked, done: &SetDone) -> SetShare {
    compare(asked, done, Tolerance::default())
}

#[test]
fn the_example_of_a_set() {
    let s = share(&asked("reps 5", "load 10000"), &lifted(90.0, 4));
    assert!((s.dose - 0.8).abs() < 1e-12 && (s.intensity - 0.75).abs() < 1e-12);
    assert!((s.share() - 0.6).abs() < 1e-12);
    assert!(!s.over);
}

#[test]
fn both_sides_of_every_tolerance() {
    let ask = asked("reps 5", "load 10000");
    for (kg, factor, over) in [
        (100.0, 1.0, false),
        (95.0, 1.0, false),
        (105.0, 1.0, false),
        (105.01, 0.9995, true),
        (94.0, 0.95, false),
        (90.0, 0.75, false),
        (85.0, 0.5, false),
        (40.0, 0.5, false),
        (110.0, 0.75, true),
    ] {
        let s = share(&ask, &lifted(kg, 5));
        assert!((s.intensity - factor).abs() < 1e-9, "{kg}: {}", s.intensity);
        assert_eq!(s.over, over, "{kg}");
    }
    let effort = |e: i64| SetDone { effort: Effort::new(e).ok(), ..lifted(50.0, 5) };
    let ask = asked("reps 5", "effort 80");
    for (e, factor) in [(80, 1.0), (70, 1.0), (90, 1.0), (60, 0.75), (100, 0.75), (50, 0.5), (10, 0.5)] {
        assert!((share(&ask, &effort(e)).intensity - factor).abs() < 1e-9, "{e}");
    }
    let fast = |mm_s: u16| SetDone { speeds: Speeds::new(vec![mm_s]).ok(), ..lifted(50.0, 5) };
    let ask = asked("reps 5", "speed 500-650");
    for (v, factor, over) in
        [(500, 1.0, false), (650, 1.0, false), (475, 1.0, false), (450, 0.75, true), (715, 0.75, false)]
    {
        let s = share(&ask, &fast(v));
        assert!((s.intensity - factor).abs() < 1e-9 && s.over == over, "{v}: {s:?}");
    }
}

#[test]
fn ranges_limits_and_missing_numbers() {
    let dose = |dose: &str, reps: i64| share(&asked(dose, ""), &lifted(0.0, reps)).dose;
    assert!((dose("reps 8-10", 8) - 1.0).abs() < 1e-12 && (dose("reps 8-10", 10) - 1.0).abs() < 1e-12);
    assert!((dose("reps 8-10", 6) - 0.75).abs() < 1e-12);
    assert!((dose("limit", 1) - 1.0).abs() < 1e-12);
    assert!(
        share(&asked("reps 8-10", ""), &lifted(0.0, 12)).over,
        "twelve are more than ten beyond tolerance"
    );
    let nothing = SetDone::new(Moment(0));
    assert!((share(&asked("hold 30000", "load 10000"), &nothing).share() - 1.0).abs() < 1e-12);
    let held = SetDone { hold: Duration::new(15_000).ok(), ..SetDone::new(Moment(0)) };
    assert!((share(&asked("hold 30000", ""), &held).dose - 0.5).abs() < 1e-12);
}

proptest! {
    #[test]
    fn a_share_is_within_zero_and_one_and_grows_with_what_was_done(
        reps in 0i64..=300, more in 0i64..=50, kg in 0i64..=100_000, want in 1i64..=100, load in 0i64..=100_000,
    ) {
        let ask = asked(&format!("reps {want}"), &format!("load {load}"));
        let set = |n: i64| SetDone { load: Load::new(kg).ok(), reps: Reps::new(n.min(300)).ok(), ..SetDone::new(Moment(0)) };
        let (a, b) = (share(&ask, &set(reps)), share(&ask, &set(reps + more)));
        for s in [a, b] {
            prop_assert!((0.0..=1.0).contains(&s.share()));
            prop_assert!((0.5..=1.0).contains(&s.intensity));
        }
        prop_assert!(b.share() >= a.share());
    }
}
