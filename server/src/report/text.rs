//! Plain tables and lines for a terminal.

use comfy_table::{ContentArrangement, Table, presets};

/// Widest line, in columns.
pub(super) const WIDTH: u16 = 100;

/// A table without frames that keeps within [`WIDTH`].
pub(super) fn table(head: &[&str], rows: &[Vec<String>]) -> String {
    let mut table = Table::new();
    table.load_style(presets::NOTHING).set_content_arrangement(ContentArrangement::Dynamic).set_width(WIDTH);
    table.set_header(head.to_vec());
    for row in rows {
        table.add_row(row.clone());
    }
    table.lines().map(|l| l.trim_end().to_owned()).collect::<Vec<_>>().join("\n")
}

/// A share as whole percent: "85 %".
pub(super) fn percent(share: f64) -> String {
    format!("{:.0} %", share * 100.0)
}
