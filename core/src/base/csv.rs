//! Tables as text: RFC 4180, and no cell that a spreadsheet would take for a formula.

/// A table that grows row by row.
#[derive(Debug, Clone, Default)]
pub struct Csv {
    text: String,
}

/// A cell.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Cell {
    /// Nothing.
    Empty,
    /// A number that this program wrote: it may begin with a minus.
    Number(String),
    /// Text of people.
    Text(String),
}

impl Csv {
    /// A table with its heading.
    pub fn new<'a>(heading: impl IntoIterator<Item = &'a str>) -> Csv {
        let mut csv = Csv::default();
        csv.row(heading.into_iter().map(|h| Cell::Number(h.to_owned())));
        csv
    }

    /// Adds a row.
    pub fn row(&mut self, cells: impl IntoIterator<Item = Cell>) {
        for (n, cell) in cells.into_iter().enumerate() {
            if n > 0 {
                self.text.push(',');
            }
            match cell {
                Cell::Empty => {}
                Cell::Number(n) => self.text.push_str(&n),
                Cell::Text(t) => self.quoted(&t),
            }
        }
        self.text.push_str("\r\n");
    }

    /// Text is always quoted: a comma or a line break in it is then no matter.
    fn quoted(&mut self, text: &str) {
        self.text.push('"');
        if text.starts_with(RISKY) {
            self.text.push('\'');
        }
        self.text.push_str(&text.replace('"', "\"\""));
        self.text.push('"');
    }

    /// The whole text.
    #[must_use]
    pub fn finish(self) -> String {
        self.text
    }
}

/// What a spreadsheet may take for the beginning of a formula, and the mark that is put before it.
const RISKY: [char; 7] = ['=', '+', '-', '@', '\t', '\r', '\''];

/// The text of a cell as it was before the mark was put in front of it.
#[must_use]
pub fn plain(cell: &str) -> &str {
    match cell.strip_prefix('\'') {
        Some(rest) if rest.starts_with(RISKY) => rest,
        _ => cell,
    }
}

/// A whole number in parts of a unit, as a decimal number: `(7_550, 2)` is 75.5.
#[must_use]
pub fn decimal(n: i64, places: u32) -> String {
    let parts = 10i64.saturating_pow(places);
    let (whole, rest) = (n / parts, (n % parts).unsigned_abs());
    let sign = if n < 0 && whole == 0 { "-" } else { "" };
    let width = usize::try_from(places).unwrap_or(0);
    let digits = if places == 0 { String::new() } else { format!("{rest:0width$}") };
    match digits.trim_end_matches('0') {
        "" => format!("{sign}{whole}"),
        digits => format!("{sign}{whole}.{digits}"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_exact() {
        for (n, places, want) in [
            (7_550, 2, "75.5"),
            (7_500, 2, "75"),
            (-2_100, 3, "-2.1"),
            (-5, 3, "-0.005"),
            (0, 3, "0"),
            (12, 0, "12"),
            (-12, 0, "-12"),
            (1_005, 3, "1.005"),
        ] {
            assert_eq!(decimal(n, places), want);
        }
    }

    #[test]
    fn no_cell_of_text_is_a_formula_and_each_can_be_read_back() {
        for text in ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "'=1", "''", "plain", "a \"b\", c\r\nd", ""] {
            let mut csv = Csv::new(["a"]);
            csv.row([Cell::Text(text.to_owned()), Cell::Empty]);
            let line = csv.finish();
            let cell = line.strip_prefix("a\r\n\"").unwrap().strip_suffix("\",\r\n").unwrap();
            let cell = cell.replace("\"\"", "\"");
            assert!(!cell.starts_with(['=', '+', '-', '@', '\t', '\r']), "{cell}");
            assert_eq!(plain(&cell), text);
        }
    }
}
