//! Reads tables as text (RFC 4180), as a spreadsheet would.

/// The records of a table, the heading among them.
#[must_use]
pub fn records(text: &str) -> Vec<Vec<String>> {
    let (mut lines, mut line, mut cell, mut quoted) = (Vec::new(), Vec::new(), String::new(), false);
    let mut chars = text.chars().peekable();
    while let Some(c) = chars.next() {
        match c {
            '"' if quoted && chars.peek() == Some(&'"') => {
                chars.next();
                cell.push('"');
            }
            '"' => quoted = !quoted,
            ',' if !quoted => line.push(std::mem::take(&mut cell)),
            '\r' if !quoted => {
                assert_eq!(chars.next(), Some('\n'));
                line.push(std::mem::take(&mut cell));
                lines.push(std::mem::take(&mut line));
            }
            c => cell.push(c),
        }
    }
    assert!(!quoted && line.is_empty() && cell.is_empty(), "the last record ends");
    lines
}
