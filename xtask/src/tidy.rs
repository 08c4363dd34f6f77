//! House rules that no compiler checks: how files begin, how long they are, what is listed where.

use std::fmt::Write as _;

use crate::files;
use crate::run::Outcome;

/// Most lines of a Rust file.
const MAX_LINES: usize = 600;
/// Where a decision or a fixture must be named.
const ADR_LIST: &str = "docs/adr/README.md";

/// All rules over all files.
pub(crate) fn part() -> Outcome {
    match problems() {
        Ok(found) if found.is_empty() => Outcome::Passed,
        Ok(found) => {
            let mut text = format!("{} untidy:", found.len());
            for line in found {
                let _ = write!(text, "\n  {line}");
            }
            Outcome::Failed(text)
        }
        Err(why) => Outcome::Failed(why),
    }
}

fn problems() -> Result<Vec<String>, String> {
    let names = files::all()?;
    let mut found = Vec::new();
    for name in names.iter().filter(|n| n.ends_with(".rs")) {
        found.extend(rust_file(name, &files::text(name)?));
    }
    found.extend(adrs(&names, &files::text(ADR_LIST)?));
    found.extend(fixtures(&names, &|name| files::text(name).unwrap_or_default()));
    Ok(found)
}

/// What is wrong with one Rust file.
fn rust_file(name: &str, text: &str) -> Vec<String> {
    let mut found = Vec::new();
    if !text.starts_with("//! ") {
        found.push(format!("{name}: does not open with a `//!` line saying what it is for"));
    }
    let lines = text.lines().count();
    if lines > MAX_LINES {
        found.push(format!("{name}: {lines} lines, over the limit of {MAX_LINES}"));
    }
    // Written in two parts, or this file would find itself.
    let marks = [concat!("TO", "DO"), concat!("FIX", "ME")];
    for (i, line) in text.lines().enumerate() {
        if marks.iter().any(|mark| words(line).any(|w| w == *mark)) {
            found.push(format!("{name}:{}: finish it, or say in docs what is not there", i + 1));
        }
    }
    found
}

fn words(line: &str) -> impl Iterator<Item = &str> {
    line.split(|c: char| !c.is_ascii_alphanumeric() && c != '_')
}

/// Decisions that their list does not name.
fn adrs(names: &[String], list: &str) -> Vec<String> {
    let decisions = names.iter().filter_map(|n| n.strip_prefix("docs/adr/")).filter(|n| *n != "README.md");
    let unlisted = decisions.filter(|n| !list.contains(&format!("({n})")));
    unlisted.map(|n| format!("docs/adr/{n}: not listed in {ADR_LIST}")).collect()
}

/// Fixtures that no README in their folder, or in one above it, names.
fn fixtures(names: &[String], read: &dyn Fn(&str) -> String) -> Vec<String> {
    let mut found = Vec::new();
    for name in names.iter().filter(|n| n.starts_with("fixtures/") && !n.ends_with("README.md")) {
        let mut named = false;
        let mut folder = name.as_str();
        while let Some((above, _)) = folder.rsplit_once('/') {
            folder = above;
            let inside = name.get(folder.len() + 1..).unwrap_or(name);
            let readme = format!("{folder}/README.md");
            named |= names.binary_search(&readme).is_ok() && names_file(&read(&readme), inside);
        }
        if !named {
            found.push(format!("{name}: no README of its folder, or of one above, names it with its origin"));
        }
    }
    found
}

/// Whether a text names a file between backticks: as it is, or by a pattern in which `<what>` stands
/// for any characters but a slash, for files that are made in rows.
fn names_file(text: &str, file: &str) -> bool {
    text.split('`').skip(1).step_by(2).any(|quoted| {
        let mut pieces = quoted.split('<').map(|p| p.split_once('>').map_or(p, |(_, after)| after));
        let Some(mut rest) = pieces.next().and_then(|first| file.strip_prefix(first)) else { return false };
        let pieces: Vec<&str> = pieces.collect();
        let Some((last, middle)) = pieces.split_last() else { return rest.is_empty() };
        for piece in middle {
            match rest.split_once(piece) {
                Some((skipped, after)) if !skipped.contains('/') => rest = after,
                _ => return false,
            }
        }
        rest.strip_suffix(last).is_some_and(|skipped| !skipped.is_empty() && !skipped.contains('/'))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_tidy_file_has_no_problem() {
        assert!(rust_file("a.rs", "//! What it is for.\nfn a() {}\n").is_empty());
    }

    #[test]
    fn each_rule_finds_its_breach() {
        assert_eq!(rust_file("a.rs", "fn a() {}\n").len(), 1);
        let at_limit = format!("//! x\n{}", "\n".repeat(MAX_LINES - 1));
        assert!(rust_file("a.rs", &at_limit).is_empty());
        assert_eq!(rust_file("a.rs", &format!("{at_limit}\n")).len(), 1);
        let marked = format!("//! x\n// {}: later\n", concat!("TO", "DO"));
        assert_eq!(rust_file("a.rs", &marked).len(), 1);
        assert!(rust_file("a.rs", "//! x\nfn todos() {}\n").is_empty());
    }

    #[test]
    fn an_unlisted_decision_is_found() {
        let names = ["docs/adr/0001-a.md", "docs/adr/0002-b.md", "docs/adr/README.md"].map(str::to_owned);
        assert_eq!(adrs(&names, "- [a](0001-a.md)").len(), 1);
        assert!(adrs(&names, "- [a](0001-a.md)\n- [b](0002-b.md)").is_empty());
    }

    #[test]
    fn a_row_of_files_may_be_named_by_a_pattern() {
        let text =
            "Made by us: `base.bin`, and `<code>.<what>.<hash>.bin` for each attack; `nist/<name>.dat`.";
        for good in ["base.bin", "time.far-off.1234.bin", "nist/Norris.dat"] {
            assert!(names_file(text, good), "{good}");
        }
        for bad in
            ["base.bi", "other.bin", "time.bin", "a/b.c.d.bin", "nist/a/b.dat", "nist/.dat", "Made by us"]
        {
            assert!(!names_file(text, bad), "{bad}");
        }
    }

    #[test]
    fn a_fixture_must_be_named_in_its_folder_or_above() {
        let names = ["fixtures/README.md", "fixtures/a/README.md", "fixtures/a/x.bin", "fixtures/a/y.bin"]
            .map(str::to_owned);
        let read = |name: &str| match name {
            "fixtures/README.md" => "`a/y.bin` made by us".to_owned(),
            "fixtures/a/README.md" => "`x.bin` made by us".to_owned(),
            _ => String::new(),
        };
        assert!(fixtures(&names, &read).is_empty());
        let none = |_: &str| "x.bin and y.bin".to_owned();
        assert_eq!(fixtures(&names, &none).len(), 2);
    }
}
