//! The formulas for a whole squad, by the same work as the benchmark in core.

use crate::measure::{Row, cpu};

#[path = "../../../core/benches/squad/mod.rs"]
mod squad;

pub(crate) fn figures() -> Vec<Row> {
    let seasons = squad::seasons();
    let wanted = squad::answers();
    assert_eq!(squad::compute(&seasons), wanted);
    let spent = cpu(21, || (), |()| squad::compute(&seasons));
    vec![
        Row::most("formulas of a squad's season", 20.0, spent, "ms CPU")
            .note(format!("{} athletes, {wanted} answers", squad::ATHLETES)),
    ]
}
