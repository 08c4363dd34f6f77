//! A squad's season in numbers, and everything that a squad page computes of it. Shared by the
//! benchmark here and the table of budgets. Knows nothing of clocks.

use backstraight_core::science::velocity::Conditions;
use backstraight_core::science::{effort, load, one_rep_max, trend, velocity};

/// Athletes of the squad.
pub(crate) const ATHLETES: usize = 60;
const WEEKS: usize = 42;
const LIFTS: usize = 4;

/// One lift of one athlete over a season.
struct Lift {
    /// Best set of each week: load, repetitions, effort.
    sets: Vec<(f64, f64, f64)>,
    /// A profile of five loads every fourth week.
    profiles: Vec<(Vec<f64>, Vec<f64>)>,
}

/// A season of an invented athlete.
pub(crate) struct Season {
    lifts: Vec<Lift>,
    days: Vec<Option<f64>>,
}

/// A repeatable number from 0 to 1.
fn noise(seed: usize) -> f64 {
    let mixed = (seed as u64).wrapping_mul(0x9e37_79b9_7f4a_7c15);
    ((mixed ^ (mixed >> 29)).wrapping_mul(0xbf58_476d_1ce4_e5b9) >> 11) as f64 / (1_u64 << 53) as f64
}

fn season(athlete: usize) -> Season {
    let lifts = (0..LIFTS)
        .map(|lift| {
            let seed = athlete * 10_000 + lift * 1_000;
            let base = 60.0 + 80.0 * noise(seed);
            let at = |week: usize| base * (1.0 + 0.002 * week as f64) + 4.0 * noise(seed + week);
            let sets = (0..WEEKS)
                .map(|week| (at(week), (1 + (week * 7 + lift) % 5) as f64, 8.0 + 0.5 * (week % 4) as f64))
                .collect();
            let profiles = (0..WEEKS)
                .step_by(4)
                .map(|week| {
                    let loads: Vec<f64> = [0.4, 0.55, 0.7, 0.8, 0.9].iter().map(|s| s * at(week)).collect();
                    let speeds = loads.iter().enumerate();
                    let speeds =
                        speeds.map(|(i, l)| 1.6 - 1.3 * l / at(week) + 0.02 * noise(seed + week + i));
                    let speeds = speeds.collect();
                    (loads, speeds)
                })
                .collect();
            Lift { sets, profiles }
        })
        .collect();
    let days = (0..WEEKS * 7)
        .map(|day| Some(if day % 7 == 6 { 0.0 } else { 600.0 * noise(athlete * 999 + day) }))
        .collect();
    Season { lifts, days }
}

/// The squad.
pub(crate) fn seasons() -> Vec<Season> {
    (0..ATHLETES).map(season).collect()
}

/// How many answers must come out: all of it must be computed, or the figure means nothing. Per
/// lift two answers a week, a profile every fourth week and two trends; per athlete three series
/// and a line per week.
pub(crate) fn answers() -> usize {
    ATHLETES * (LIFTS * (2 * WEEKS + WEEKS.div_ceil(4) + 2) + 3 + WEEKS)
}

/// Everything that a squad page shows; returns a count so that nothing is optimised away.
pub(crate) fn compute(seasons: &[Season]) -> usize {
    let mut computed = 0;
    let how = Conditions { mvt: 0.30, reach: 0.25, speed: "mean", lift: "strength" };
    for season in seasons {
        for lift in &season.lifts {
            let mut weeks = Vec::with_capacity(WEEKS);
            let mut maxima = Vec::with_capacity(WEEKS);
            for (week, (w, r, e)) in lift.sets.iter().enumerate() {
                computed += usize::from(one_rep_max::range(*w, *r, "strength").is_ok());
                if let Ok(best) = effort::with_reserve(*w, *r, *e, "strength") {
                    weeks.push(7.0 * week as f64);
                    maxima.push(best.value.epley);
                    computed += 1;
                }
            }
            for (loads, speeds) in &lift.profiles {
                computed += usize::from(velocity::profile(loads, speeds, how).is_ok());
            }
            computed += usize::from(trend::ols(&weeks, &maxima, 0.95).is_ok());
            computed += usize::from(trend::theil_sen(&weeks, &maxima, 0.95).is_ok());
        }
        computed += usize::from(load::ewma(&season.days, 7.0, "first").is_ok());
        computed += usize::from(load::ewma(&season.days, 28.0, "first").is_ok());
        computed += usize::from(load::acwr(&season.days, 0.0).is_ok());
        for week in season.days.chunks_exact(7) {
            computed += usize::from(load::monotony_strain(week, 1.0).is_ok());
        }
    }
    computed
}
