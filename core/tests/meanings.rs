//! The worked examples of `docs/meanings.md`, by hand. Common practice, no source.
#![expect(clippy::unwrap_used, reason = "a test fails by panicking")]

use backstraight_core::base::moment::Moment;
use backstraight_core::model::log::SetDone;
use backstraight_core::model::number::*;
use backstraight_core::model::packed::{Dose, Intensity};
use backstraight_core::model::plan::Settings;
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

#[test]
fn the_club_sets_how_far_off_counts() {
    let settings = |load, effort| Settings {
        load_tolerance: Thousandths::new(load).ok(),
        effort_tolerance: Thousandths::new(effort).ok(),
        ..Settings::new()
    };
    let of = |load, effort| Tolerance::of(Some(&settings(load, effort)));
    assert_eq!(of(100, 2_000), Tolerance { load: 0.1, effort: 2.0 });
    assert_eq!(of(0, 0), Tolerance { load: 0.001, effort: 0.001 }, "none at all would be divided by");
    assert_eq!(Tolerance::of(Some(&Settings::new())), Tolerance::of(None));
    // Two points are one tolerance then, of effort and of repetitions in reserve.
    for (ask, set) in [
        ("effort 80", SetDone { effort: Effort::new(40).ok(), ..lifted(0.0, 5) }),
        ("reserve 20", SetDone { reserve: Reserve::new(60).ok(), ..lifted(0.0, 5) }),
    ] {
        let s = compare(&asked("reps 5", ask), &set, of(100, 2_000));
        assert!((s.intensity - 0.75).abs() < 1e-9, "{ask}: {}", s.intensity);
    }
    // A tenth off is one tolerance then, and three tenths are three.
    let ask = asked("reps 5", "load 10000");
    for (kg, factor) in [(90.0, 1.0), (80.0, 0.75), (70.0, 0.5)] {
        let s = compare(&ask, &lifted(kg, 5), of(100, 2_000));
        assert!((s.intensity - factor).abs() < 1e-9, "{kg}: {}", s.intensity);
    }
}

#[test]
fn harder_than_asked_is_pointed_out_and_easier_is_not() {
    let one = |asked: &SetAsked, done: SetDone| {
        let s = share(asked, &done);
        (s.intensity, s.over)
    };
    let empty = || SetDone::new(Moment(0));
    // Eight of ten asked: ten is two points harder, six two easier.
    let effort = |e| one(&asked("reps 5", "effort 80"), SetDone { effort: Effort::new(e).ok(), ..empty() });
    assert_eq!([effort(100), effort(60), effort(90)], [(0.75, true), (0.75, false), (1.0, false)]);
    // Two repetitions in reserve asked: none is two harder, four two easier.
    let reserve =
        |r| one(&asked("reps 5", "reserve 20"), SetDone { reserve: Reserve::new(r).ok(), ..empty() });
    assert_eq!([reserve(0), reserve(40), reserve(10)], [(0.75, true), (0.75, false), (1.0, false)]);
    // Four seconds asked: a tenth faster is two tolerances harder, a tenth slower two easier.
    let within =
        |ms| one(&asked("dist 30000", "within 4000"), SetDone { time: Duration::new(ms).ok(), ..empty() });
    for (ms, over) in [(3_600, true), (4_400, false)] {
        let (factor, beyond) = within(ms);
        assert!((factor - 0.75).abs() < 1e-9 && beyond == over, "{ms}: {factor} {beyond}");
    }
    // Of a load that a share of something came to, the load is compared; without one there is nothing to compare.
    let mut share_of_max = asked("reps 5", "max 800");
    assert_eq!(one(&share_of_max, lifted(80.0, 5)), (1.0, false));
    share_of_max.load = Load::new(10_000).ok();
    let (factor, over) = one(&share_of_max, lifted(80.0, 5));
    assert!((factor - 0.5).abs() < 1e-9 && !over);
    assert_eq!(
        one(&asked("dist 30000", "best 950"), SetDone { time: Duration::new(9_000).ok(), ..empty() }),
        (1.0, false)
    );
    // The empty bar asked: whatever was put on it is no share of nothing.
    assert_eq!(one(&asked("reps 5", "load 0"), lifted(60.0, 5)), (1.0, false));
}

#[test]
fn each_dose_by_its_own_number() {
    let empty = || SetDone::new(Moment(0));
    let one = |dose: &str, done: &SetDone| {
        let s = share(&asked(dose, ""), done);
        (s.dose, s.over)
    };
    let reps = |n| SetDone { reps: Reps::new(n).ok(), ..empty() };
    let contacts = SetDone { contacts: Reps::new(30).ok(), ..reps(5) };
    let timed = SetDone { time: Duration::new(20_000).ok(), ..empty() };
    let held = SetDone { hold: Duration::new(10_000).ok(), ..timed.clone() };
    let far = SetDone { dist: Length::new(15_000).ok(), ..empty() };
    assert_eq!(one("each 8", &reps(6)), (0.75, false));
    assert_eq!(one("contacts 40", &contacts), (0.75, false));
    assert_eq!(one("contacts 40", &reps(20)), (0.5, false), "contacts that were logged as repetitions");
    assert_eq!(one("hold-each 40000", &timed), (0.5, false), "a hold that was logged as a time");
    assert_eq!(one("hold 40000", &held), (0.25, false));
    assert_eq!(one("dist 30000", &far), (0.5, false));
    // More than asked: a twentieth more is within tolerance, a tenth is not; as much as one can never is.
    assert_eq!([one("each 20", &reps(21)), one("each 20", &reps(22))], [(1.0, false), (1.0, true)]);
    assert_eq!(one("limit", &reps(100)), (1.0, false));
    // Nothing asked in a number: nothing to fall short of, nothing to go beyond.
    assert_eq!([one("each 0", &reps(5)), one("each 0", &reps(0))], [(1.0, false); 2]);
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
