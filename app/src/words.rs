//! Every label of the page, from one file per language. Knows where texts are, not where they are shown.
//!
//! A text is asked for by a literal key: `say("today.title")`, `say_with("…", &[("name", "Ines")])`,
//! `say_n("set.left", 3, &[])`, or `word("…")` where the text is wanted later. A test reads all sources of
//! the page, so that neither a key without a text nor a text without a use can stay.

use std::collections::BTreeMap;
use std::sync::LazyLock;

/// The words of the language that is shown.
const ENGLISH: &str = include_str!("../words/en.txt");

static TEXTS: LazyLock<BTreeMap<&'static str, &'static str>> =
    LazyLock::new(|| lines(ENGLISH).map(|line| (line.key, line.text)).collect());

/// One line of a words file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Line<'a> {
    key: &'a str,
    text: &'a str,
}

/// `key = text` lines; a line that begins with `#` is a heading, an empty one parts paragraphs.
fn lines(file: &str) -> impl Iterator<Item = Line<'_>> {
    file.lines()
        .map(str::trim)
        .filter(|line| !line.is_empty() && !line.starts_with('#'))
        .filter_map(|line| line.split_once('='))
        .map(|(key, text)| Line { key: key.trim(), text: text.trim() })
}

/// A key whose text is wanted later, for tables of labels.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Word(&'static str);

impl Word {
    /// Its text.
    #[must_use]
    pub fn text(self) -> &'static str {
        look_up(self.0)
    }
}

/// Marks a literal key for later.
#[must_use]
pub const fn word(key: &'static str) -> Word {
    Word(key)
}

/// The text of a key.
#[must_use]
pub fn say(key: &'static str) -> &'static str {
    look_up(key)
}

/// The text of a key with its placeholders filled: `{name}` becomes the value beside `name`.
#[must_use]
pub fn say_with(key: &'static str, values: &[(&str, &str)]) -> String {
    fill(look_up(key), values)
}

/// The text for a number of things: `key.one` for one, `key.other` otherwise. `{n}` is the number.
#[must_use]
pub fn say_n(key: &'static str, n: u64, values: &[(&str, &str)]) -> String {
    let (one, other) = forms(key);
    let text = look_up_owned(if n == 1 { &one } else { &other });
    let count = n.to_string();
    let mut all = vec![("n", count.as_str())];
    all.extend_from_slice(values);
    fill(text, &all)
}

/// The keys of the two forms of a text that counts.
fn forms(key: &str) -> (String, String) {
    (format!("{key}.one"), format!("{key}.other"))
}

/// A key without a text is shown as it is: a test keeps that from happening, and a page that goes on with
/// one odd label is better than one that stops.
fn look_up(key: &'static str) -> &'static str {
    TEXTS.get(key).copied().unwrap_or(key)
}

fn look_up_owned(key: &str) -> &'static str {
    TEXTS.get(key).copied().unwrap_or("{n}")
}

/// Fills placeholders in one pass, so that a value which looks like a placeholder stays as it was typed.
fn fill(text: &str, values: &[(&str, &str)]) -> String {
    let mut out = String::with_capacity(text.len() + 16);
    let mut rest = text;
    while let Some((before, after)) = rest.split_once('{') {
        out.push_str(before);
        match after.split_once('}') {
            Some((name, tail)) if values.iter().any(|(known, _)| *known == name) => {
                out.extend(values.iter().find(|(known, _)| *known == name).map(|(_, value)| *value));
                rest = tail;
            }
            _ => {
                out.push('{');
                rest = after;
            }
        }
    }
    out.push_str(rest);
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;
    use std::path::{Path, PathBuf};

    #[test]
    fn placeholders_are_filled_once() {
        assert_eq!(fill("{a} of {b}", &[("a", "2"), ("b", "{a}")]), "2 of {a}");
        assert_eq!(fill("no {such} one", &[("a", "2")]), "no {such} one");
        assert_eq!(fill("open { brace", &[]), "open { brace");
        assert_eq!(fill("{n}{n}", &[("n", "é")]), "éé");
    }

    #[test]
    fn one_and_many_differ() {
        assert_eq!(say_n("chart.season.meets", 1, &[]), "1 meet");
        assert_eq!(say_n("chart.season.meets", 0, &[]), "0 meets");
        assert_eq!(say_n("chart.season.meets", 12, &[]), "12 meets");
    }

    #[test]
    fn the_file_is_well_formed() {
        let mut seen = BTreeSet::new();
        for (i, line) in ENGLISH.lines().map(str::trim).enumerate() {
            let n = i + 1;
            if line.is_empty() || line.starts_with('#') {
                continue;
            }
            let (key, text) = line.split_once(" = ").unwrap_or_else(|| panic!("line {n}: no ` = `"));
            let good = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || matches!(c, '.' | '-');
            assert!(key.contains('.') && key.chars().all(good), "line {n}: {key}");
            assert!(!text.is_empty(), "line {n}: {key} has no text");
            assert!(!text.contains('!'), "line {n}: no exclamation marks");
            assert!(seen.insert(key), "line {n}: {key} is there twice");
        }
        for key in &seen {
            let other = key.strip_suffix(".one").map(|stem| format!("{stem}.other"));
            assert!(other.is_none_or(|o| seen.contains(o.as_str())), "{key} has no form for many");
        }
    }

    /// Sources of the page, with their text.
    fn sources() -> Vec<(PathBuf, String)> {
        let mut folders = vec![Path::new(env!("CARGO_MANIFEST_DIR")).join("src")];
        let mut found = Vec::new();
        while let Some(folder) = folders.pop() {
            for entry in std::fs::read_dir(folder).unwrap() {
                let path = entry.unwrap().path();
                if path.is_dir() {
                    folders.push(path);
                } else if path.extension().is_some_and(|e| e == "rs") {
                    let text = std::fs::read_to_string(&path).unwrap();
                    found.push((path, text));
                }
            }
        }
        found
    }

    /// Keys that a source asks for, and calls whose key cannot be read.
    fn asked(source: &str) -> (Vec<String>, Vec<String>) {
        let (mut keys, mut odd) = (Vec::new(), Vec::new());
        for call in ["say(", "say_with(", "say_n(", "word("] {
            for (at, _) in source.match_indices(call) {
                let (head, tail) = source.split_at(at);
                let before = head.chars().next_back();
                let own = before.is_some_and(|c| c.is_alphanumeric() || c == '_' || c == '.');
                if own || head.ends_with("fn ") {
                    continue;
                }
                let after = tail.strip_prefix(call).unwrap_or(tail).trim_start();
                match after.strip_prefix('"').and_then(|s| s.split_once('"')) {
                    Some((key, _)) if call == "say_n(" => keys.extend([forms(key).0, forms(key).1]),
                    Some((key, _)) => keys.push(key.to_owned()),
                    None => odd.push(after.chars().take(40).collect()),
                }
            }
        }
        (keys, odd)
    }

    #[test]
    fn the_reader_of_sources_finds_every_form() {
        let (keys, odd) =
            asked("say(\"a.b\") say_with(\n  \"a.c\", &[]) say_n(\"a.d\", 1) word(\"a.e\") essay(x)");
        assert_eq!(keys, ["a.b", "a.c", "a.d.one", "a.d.other", "a.e"]);
        assert!(odd.is_empty());
        assert_eq!(asked("say(key)").1, ["key)"]);
        assert!(asked("pub fn say(key: &str)").1.is_empty());
    }

    #[test]
    fn every_key_has_a_text_and_every_text_a_use() {
        let known: BTreeSet<&str> = lines(ENGLISH).map(|l| l.key).collect();
        let mut used = BTreeSet::new();
        for (path, text) in sources() {
            if path.ends_with("src/words.rs") {
                continue;
            }
            let (keys, odd) = asked(&text);
            assert!(odd.is_empty(), "{}: keys must be literals: {odd:?}", path.display());
            for key in keys {
                assert!(known.contains(key.as_str()), "{}: no text for {key}", path.display());
                used.insert(key);
            }
        }
        let idle: Vec<&str> = known.into_iter().filter(|k| !used.contains(*k)).collect();
        assert!(idle.is_empty(), "texts that nothing uses: {idle:?}");
    }
}
