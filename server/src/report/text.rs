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

/// A line broken at spaces so that it keeps within [`WIDTH`]; a word that is longer is cut.
pub(super) fn wrap(line: &str) -> String {
    let width = usize::from(WIDTH);
    let mut lines = vec![String::new()];
    for word in line.split(' ') {
        let word: Vec<char> = word.chars().collect();
        for (n, piece) in word.chunks(width).enumerate() {
            let piece: String = piece.iter().collect();
            let Some(last) = lines.last_mut() else { continue };
            let room = last.chars().count() + usize::from(!last.is_empty()) + piece.chars().count() <= width;
            if n == 0 && room {
                if !last.is_empty() {
                    last.push(' ');
                }
                last.push_str(&piece);
            } else {
                lines.push(piece);
            }
        }
    }
    lines.join("\n")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_are_broken_at_spaces_and_long_words_are_cut() {
        assert_eq!(wrap("short"), "short");
        let long = format!("{} {}", "a".repeat(60), "b".repeat(39));
        assert_eq!(wrap(&long), long);
        let longer = format!("{} {}", "a".repeat(60), "b".repeat(40));
        assert_eq!(wrap(&longer).lines().count(), 2);
        let word = wrap(&"ä".repeat(250));
        assert!(word.lines().all(|l| l.chars().count() <= 100), "{word}");
        assert_eq!(word.chars().filter(|c| *c == 'ä').count(), 250);
    }
}
