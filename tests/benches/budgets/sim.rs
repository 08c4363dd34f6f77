//! How quickly simulated lives are lived: deeds, writes and requests a second of one core. Knows nothing of what they
//! find; `cargo xtask sim` does.

use std::collections::BTreeSet;

use backstraight_tests::sim::{Plan, live};

use crate::burst::count;
use crate::measure::{Row, program_ms, wall};

/// Lives, after a few that do not count, and steps of each.
const LIVES: u64 = 60;
const STEPS: u64 = 150;

pub(crate) fn figures() -> Vec<Row> {
    let lives = |seeds: std::ops::Range<u64>| {
        let all = seeds.map(|seed| {
            let plan = Plan { seed, steps: STEPS, planted: None, without: BTreeSet::new(), one: None };
            live(&plan).map(|tally| usize::try_from(tally.operations()).unwrap()).unwrap_or_default()
        });
        all.sum::<usize>()
    };
    lives(0..3);
    let before = program_ms();
    let (ms, operations) = wall(|| lives(0..LIVES));
    let cpu_s = (program_ms() - before) / 1e3;
    vec![
        Row::least(
            "operations of simulated lives per second of one core",
            20_000.0,
            count(operations) / cpu_s,
            "/s",
        )
        .note(format!("{LIVES} lives of {STEPS} steps, {operations} operations, {:.1} s elapsed", ms / 1e3)),
    ]
}
