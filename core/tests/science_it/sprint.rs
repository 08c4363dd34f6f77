//! Sprint model, force-velocity, hurdles.

use backstraight_core::science::hurdle_data::{LAYOUTS, TOUCHDOWNS_100, TOUCHDOWNS_110};

use crate::help::{ask, close, list, number, printed, reason, value, word};

/// Derived: Furusawa, Hill, Parkinson 1927; Samozino et al. 2016, Scand J Med Sci Sports 26:648-658.
#[test]
fn sprint_model() {
    printed(number("sprint.state_at", "vmax=10 tau=1.2 t=0", "a"), 8.333333, 6);
    printed(number("sprint.state_at", "vmax=10 tau=1.2 t=1.2", "v"), 6.321206, 6);
    printed(number("sprint.state_at", "vmax=10 tau=1.2 t=4", "d"), 28.428088, 6);
    printed(number("sprint.state_at", "vmax=10 tau=1.2 t=4", "v"), 9.643260, 6);
    let times = [(5, 1.290672), (10, 1.967037), (20, 3.110136), (30, 4.162616), (40, 5.184041)];
    for (x, want) in times {
        printed(value("sprint.time_at", &format!("vmax=10 tau=1.2 x={x}")), want, 6);
    }
    printed(value("sprint.time_to_share", "tau=1.2 share=0.9"), 2.763102, 6);
    assert_eq!(value("sprint.time_at", "vmax=10 tau=1.2 x=0"), 0.0);
}

/// Derived: the fit returns what made the times; rounding to hundredths costs 0.3 %.
#[test]
fn fit_of_model_times() {
    let exact = "x=5,10,20,30,40 t=1.2906717,1.9670372,3.1101362,4.1626158,5.1840408 \
                 trigger=first_movement";
    close(number("sprint.fit", exact, "vmax"), 10.0, 1e-5);
    close(number("sprint.fit", exact, "tau"), 1.2, 1e-5);
    let rounded = "x=5,10,20,30,40 t=1.29,1.97,3.11,4.16,5.18 trigger=first_movement";
    printed(number("sprint.fit", rounded, "vmax"), 10.028, 3);
    printed(number("sprint.fit", rounded, "tau"), 1.2075, 4);
}

const BERLIN: &str = "x=10,20,30,40,50,60,70 t=1.89,2.88,3.78,4.64,5.47,6.29,7.10";

/// Derived fits of the men's 100 m at Berlin 2009; the splits themselves are from memory.
#[test]
fn reaction_is_the_dominant_trap() {
    let at = |more: &str, name: &str| number("sprint.fit", &format!("{BERLIN} {more}"), name);
    let removed = "trigger=gun reaction=0.146";
    printed(at(removed, "vmax"), 12.2158, 3);
    printed(at(removed, "tau"), 1.2399, 3);
    printed(at(removed, "rmse"), 0.0096, 4);
    let forgotten = "trigger=first_movement";
    printed(at(forgotten, "vmax"), 12.4925, 3);
    printed(at(forgotten, "tau"), 1.5085, 3);
    // A free offset on gun times finds only part of the reaction: measuring it is better.
    let free = "trigger=gun free_offset=yes";
    printed(at(free, "vmax"), 12.3690, 3);
    printed(at(free, "tau"), 1.3932, 3);
    printed(at(free, "offset"), 0.0601, 3);
    assert!(at(forgotten, "tau") / at(removed, "tau") > 1.2);
}

/// Project rules, no source: when splits are refused.
#[test]
fn splits_that_are_refused() {
    assert!(reason("sprint.fit", &format!("{BERLIN} trigger=gun")).contains("reaction time"));
    let wrong = format!("{BERLIN} trigger=gate reaction=0.15");
    assert!(reason("sprint.fit", &wrong).contains("only a gun start"));
    let short = "x=10,20,30 t=1.89,2.88,3.78 trigger=gun free_offset=yes";
    assert!(reason("sprint.fit", short).contains("at least 4"));
    assert!(reason("sprint.fit", "x=10,20 t=1.8,2.9 trigger=gate").contains("at least 3"));
    let slowing = "x=10,20,30,40 t=1.7,2.7,3.6,4.6 trigger=first_movement";
    assert!(reason("sprint.fit", slowing).contains("after top speed"));
    let stuck = "x=10,20,20 t=1.7,2.7,3.6 trigger=gate";
    assert!(reason("sprint.fit", stuck).contains("rise strictly"));
    let early = "x=10,20,30 t=0.5,2.7,3.6 trigger=gun reaction=0.5";
    assert!(reason("sprint.fit", early).contains("rise strictly"));
    let walking = "x=10,20,30 t=8,16,24 trigger=first_movement";
    assert!(reason("sprint.fit", walking).contains("does not fit"));
    let gate = "x=5,10,20,30,40 t=1.29,1.97,3.11,4.16,5.18 trigger=gate";
    assert!(ask("sprint.fit", gate).notes.iter().any(|note| note.contains("free offset")));
}

/// Derived: exact without air; with air after Samozino et al. 2016 and Arsac & Locatelli 2002
/// (constants from memory) on a grid of 1 ms, tolerance 1 %.
#[test]
fn force_velocity() {
    printed(number("sprint.fvp_no_air", "vmax=10 tau=1.2", "f0"), 8.333333, 6);
    printed(number("sprint.fvp_no_air", "vmax=10 tau=1.2", "v0"), 10.0, 6);
    printed(number("sprint.fvp_no_air", "vmax=10 tau=1.2", "pmax"), 20.833333, 6);
    let tall = "vmax=10 tau=1.2 m=75 h=1.80 g=9.81";
    let at = |name: &str| number("sprint.fvp_air", tall, name);
    printed(at("rho"), 1.204741, 6);
    printed(at("area"), 0.516750, 6);
    printed(at("k"), 0.280147, 6);
    printed(at("k") * 100.0, 28.015, 3);
    close(at("f0"), 8.2433, 0.01);
    close(at("v0"), 10.4261, 0.01);
    close(at("pmax"), 21.486, 0.01);
    close(at("rfmax"), 0.55283, 0.01);
    close(at("drf"), -0.06872, 0.01);
    let small = "vmax=9.0 tau=1.15 m=60 h=1.68 g=9.81";
    let at = |name: &str| number("sprint.fvp_air", small, name);
    close(at("f0"), 7.7456, 0.01);
    close(at("v0"), 9.3589, 0.01);
    close(at("pmax"), 18.123, 0.01);
    close(at("rfmax"), 0.52469, 0.01);
    close(at("drf"), -0.07352, 0.01);
    // Straight from splits: the same profile as fit and profile one after the other.
    let splits = "x=5,10,20,30,40 t=1.29,1.97,3.11,4.16,5.18 trigger=first_movement";
    let vmax = number("sprint.fit", splits, "vmax");
    let tau = number("sprint.fit", splits, "tau");
    let joined = format!("{splits} m=75 h=1.80");
    let apart = format!("vmax={vmax} tau={tau} m=75 h=1.80");
    for name in ["f0", "v0", "pmax", "rfmax", "drf"] {
        let joined = number("sprint.fvp_from_splits", &joined, name);
        close(joined, number("sprint.fvp_air", &apart, name), 1e-9);
    }
}

/// Derived; the limit of 0.100 s from a secondary source.
#[test]
fn times_and_flying_runs() {
    close(value("sprint.net_time", "official=9.58 reaction=0.146"), 9.434, 1e-12);
    assert!(reason("sprint.net_time", "official=9.58 reaction=0.0999").contains("false start"));
    assert!(ask("sprint.net_time", "official=9.58 reaction=0.100").result.is_ok());
    for (t, want) in [("2.60", 11.5385), ("2.80", 10.7143), ("3.00", 10.0), ("3.20", 9.3750)] {
        printed(value("sprint.flying", &format!("t={t}")), want, 4);
    }
    assert!(reason("sprint.flying", "t=2.29").contains("2.3 to 7.0"));
    assert!(ask("sprint.flying", "t=2.3").result.is_ok());
    assert!(ask("sprint.flying", "t=7.0").result.is_ok());
    assert!(reason("sprint.flying", "t=7.01").contains("2.3 to 7.0"));
    let model = "vmax=10 tau=1.2 from=30 to=60";
    printed(number("sprint.flying_model", model, "t"), 3.034402, 6);
    printed(number("sprint.flying_model", model, "v"), 9.886628, 6);
    assert!(reason("sprint.flying_model", "vmax=10 tau=1.2 from=60 to=60").contains("rise"));
    // From memory, so only the direction is tested: up, never to the nearest.
    assert_eq!(number("sprint.hand_time", "t=11.41 distance=100", "hand"), 11.5);
    assert_eq!(number("sprint.hand_time", "t=11.4 distance=100", "hand"), 11.4);
}

/// Published layouts: european-athletics.org, munsterschoolsathletics.org; others secondary or
/// from memory, as each row says. All close (derived).
#[test]
fn every_layout_closes() {
    for row in LAYOUTS {
        let total = row.first + f64::from(row.hurdles - 1) * row.between + row.run_in;
        assert!((total - row.distance).abs() < 1e-9, "{row:?}");
        let text = format!("race={} sex={} age={} federation={}", row.race, row.sex, row.age, row.federation);
        assert_eq!(number("hurdles.find", &text, "height"), row.height);
    }
    let find = |race: &str, sex: &str| list("hurdles.find", &format!("race={race} sex={sex}"), "positions");
    printed(find("110H", "men")[9], 95.98, 9);
    printed(find("100H", "women")[9], 89.50, 9);
    printed(find("400H", "men")[9], 360.0, 9);
    // Heights in inches (derived): 33, 36, 39, 42.
    for (inches, height) in [(33.0, 0.838), (36.0, 0.914), (39.0, 0.991), (42.0, 1.067)] {
        printed(inches * 0.0254, height, 3);
    }
    assert_eq!(number("hurdles.find", "race=110H sex=men", "height"), 1.067);
    assert_eq!(number("hurdles.find", "race=100H sex=women", "height"), 0.838);
    assert_eq!(number("hurdles.find", "race=400H sex=men", "height"), 0.914);
    assert_eq!(number("hurdles.find", "race=400H sex=women", "height"), 0.762);
    assert!(reason("hurdles.find", "race=110H sex=women").contains("no entry"));
    let odd = "name=x first=13.72 between=9.14 n=10 run_in=14.00 distance=110";
    assert!(reason("hurdles.layout", odd).contains("does not add up"));
    let even = "name=x first=13.72 between=9.14 n=10 run_in=14.02 distance=110";
    close(value("hurdles.layout", even), 110.0, 1e-12);
    // 220 yards: ten hurdles twenty yards apart, twenty to the first and to the finish.
    let yard = 0.9144;
    close(20.0 * yard + 9.0 * 20.0 * yard + 20.0 * yard, 201.168, 1e-12);
}

/// Coaching slide set of 2013 (secondary); checks derived from the table.
#[test]
fn touchdown_tables() {
    assert_eq!(list("hurdles.touchdown", "race=110H goal=13.6", "value"), TOUCHDOWNS_110[3].1);
    assert_eq!(list("hurdles.touchdown", "race=100H goal=12.8", "value"), TOUCHDOWNS_100[2].1);
    let between = list("hurdles.touchdown", "race=110H goal=12.9", "value");
    printed(between[9], 11.5, 6);
    for (race, table) in [("110H", &TOUCHDOWNS_110[..]), ("100H", &TOUCHDOWNS_100[..])] {
        for (goal, row) in table {
            assert!(row.windows(2).all(|pair| (0.85..1.35).contains(&(pair[1] - pair[0]))));
            let run_in = goal - row[9];
            let range = if race == "110H" { 1.35..1.95 } else { 0.85..1.25 };
            assert!(range.contains(&run_in), "{race} {goal}: {run_in}");
        }
    }
    printed(TOUCHDOWNS_110[0].0 - TOUCHDOWNS_110[0].1[9], 1.4, 6);
    printed(TOUCHDOWNS_110[6].0 - TOUCHDOWNS_110[6].1[9], 1.9, 6);
    assert!(reason("hurdles.touchdown", "race=110H goal=12.7").contains("no entry"));
    assert!(reason("hurdles.touchdown", "race=110H goal=15.6").contains("no entry"));
    assert!(reason("hurdles.touchdown", "race=100H goal=11.7").contains("no entry"));
    assert!(reason("hurdles.touchdown", "race=100H goal=13.9").contains("no entry"));
}

/// Same slide set: eight approach steps, take-off 1.95 and 2.02 m before the first hurdle.
#[test]
fn approach_marks() {
    printed(number("hurdles.approach", "race=100H", "takeoff"), 1.95, 9);
    printed(number("hurdles.approach", "race=110H", "takeoff"), 2.02, 9);
    assert_eq!(list("hurdles.approach", "race=110H", "marks").len(), 8);
    let steps = list("hurdles.approach", "race=110H", "steps");
    close(steps.iter().sum::<f64>(), 11.70, 1e-12);
}

/// Common practice, no source; a unit of 1.00 s is 9.14 and 8.50 m/s (derived).
#[test]
fn rhythm_and_fade() {
    let race = "touchdowns=2.6,3.6,4.7,5.8,6.9,8.1,9.3,10.5,11.7,12.9 between=9.14 finish=14.4";
    printed(list("hurdles.units", race, "speeds")[0], 9.14, 9);
    printed(number("hurdles.units", race, "best"), 1.0, 9);
    assert_eq!(number("hurdles.units", race, "best_at"), 1.0);
    printed(number("hurdles.units", race, "fade"), 20.0, 6);
    printed(number("hurdles.units", race, "run_in"), 1.5, 9);
    printed(list("hurdles.units", "touchdowns=2.4,3.4,4.4 between=8.5", "speeds")[0], 8.5, 9);
    assert!(reason("hurdles.units", "touchdowns=2.6,3.6,3.6 between=9.14").contains("rise"));
    assert!(reason("hurdles.units", "touchdowns=2.6,3.6,4.6 between=9.14 finish=4.6").contains("rise"));
    printed(number("hurdles.differential", "hurdles=52.4 flat=49.1", "value"), 3.3, 9);
    printed(number("hurdles.differential", "hurdles=52.4 flat=49.1", "per_hurdle"), 0.33, 9);
    assert!(reason("hurdles.differential", "hurdles=49 flat=49.1").contains("below the flat"));
    printed(number("hurdles.halves", "half=24.6 finish=52.4", "difference"), 3.2, 9);
    assert!(reason("hurdles.halves", "half=24.6 finish=24.6").contains("rise"));
    let fifteen = "between=35 takeoff=2.1 landing=1.2 steps=15";
    close(number("hurdles.rhythm", fifteen, "step"), 31.7 / 15.0, 1e-12);
    let three = "between=9.14 takeoff=2.1 landing=1.3 steps=3 unit=1.0";
    close(number("hurdles.rhythm", three, "frequency"), 4.0, 1e-12);
    let even = "between=35 takeoff=2.1 landing=1.2 steps=14";
    assert!(ask("hurdles.rhythm", even).notes.iter().any(|note| note.contains("lead leg")));
    assert!(reason("hurdles.rhythm", "between=4 takeoff=2.4 landing=1.6 steps=1").contains("no room"));
    assert!(word("hurdles.find", "race=110H sex=men age=u20", "origin").contains("memory"));
}
