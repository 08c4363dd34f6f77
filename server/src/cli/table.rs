//! Tables of at most a hundred columns, and JSON. Knows no command.

use std::io::Write;

use serde::Serialize;

use super::{CliError, Output};

const WIDTH: usize = 100;

/// Prints rows under a heading, the last column cut where the line ends; or a list in JSON.
pub(super) fn print<T: Serialize>(
    output: Output,
    heading: &[&str],
    rows: &[T],
    cells: impl Fn(&T) -> Vec<String>,
) -> Result<(), CliError> {
    let mut out = std::io::stdout().lock();
    if output.json {
        writeln!(out, "{}", serde_json::to_string_pretty(rows).map_err(std::io::Error::from)?)?;
        return Ok(());
    }
    let mut table = vec![heading.iter().map(|h| (*h).to_owned()).collect::<Vec<_>>()];
    table.extend(rows.iter().map(cells));
    for line in lines(&table) {
        writeln!(out, "{line}")?;
    }
    Ok(())
}

/// Prints one thing: `name value` lines, or a JSON object.
pub(super) fn one<T: Serialize>(output: Output, value: &T, lines: &[(&str, String)]) -> Result<(), CliError> {
    let mut out = std::io::stdout().lock();
    if output.json {
        writeln!(out, "{}", serde_json::to_string_pretty(value).map_err(std::io::Error::from)?)?;
        return Ok(());
    }
    let wide = lines.iter().map(|(name, _)| name.len()).max().unwrap_or(0);
    for (name, value) in lines {
        writeln!(out, "{name:wide$}  {value}")?;
    }
    Ok(())
}

fn lines(table: &[Vec<String>]) -> Vec<String> {
    let columns = table.iter().map(Vec::len).max().unwrap_or(0);
    let widths: Vec<usize> = (0..columns)
        .map(|i| table.iter().filter_map(|row| row.get(i)).map(|c| c.chars().count()).max().unwrap_or(0))
        .collect();
    table
        .iter()
        .map(|row| {
            let mut line = String::new();
            for (cell, wide) in row.iter().zip(&widths) {
                line.push_str(cell);
                line.extend(std::iter::repeat_n(' ', wide - cell.chars().count() + 2));
            }
            let line = line.trim_end();
            if line.chars().count() <= WIDTH {
                return line.to_owned();
            }
            line.chars().take(WIDTH - 1).chain(['…']).collect()
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_line_up_and_long_lines_are_cut() {
        let row = |a: &str, b: &str| vec![a.to_owned(), b.to_owned()];
        let lines = lines(&[row("id", "name"), row("longer", "ä"), row("x", &"y".repeat(200))]);
        assert_eq!(lines.first().unwrap(), "id      name");
        assert_eq!(lines.get(1).unwrap(), "longer  ä");
        assert_eq!(lines.get(2).unwrap().chars().count(), WIDTH);
        assert!(lines.get(2).unwrap().ends_with('…'));
    }
}
