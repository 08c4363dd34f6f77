//! Tests of the style sheets: contrasts of the colours, no attribute styles, names of classes that exist.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

fn folder(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(name)
}

fn files(folder: PathBuf, ending: &str) -> Vec<(PathBuf, String)> {
    let mut folders = vec![folder];
    let mut found = Vec::new();
    while let Some(folder) = folders.pop() {
        for entry in std::fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                folders.push(path);
            } else if path.extension().is_some_and(|e| e == ending) {
                found.push((path.clone(), std::fs::read_to_string(&path).unwrap()));
            }
        }
    }
    found.sort();
    found
}

/// Colours of the light, the dark and the printed page, in that order.
fn palettes() -> Vec<BTreeMap<String, [f64; 3]>> {
    let text = std::fs::read_to_string(folder("web/css/10-look.css")).unwrap();
    let blocks = text.split(":root {").skip(1).map(|b| b.split_once('}').unwrap().0);
    let read = |block: &str| {
        let lines =
            block.lines().filter_map(|l| l.trim().strip_prefix("--")?.strip_suffix(';')?.split_once(": #"));
        let channel = |hex: &str, at: usize| {
            f64::from(u8::from_str_radix(hex.get(at..at + 2).unwrap(), 16).unwrap()) / 255.0
        };
        lines
            .filter(|(_, hex)| hex.len() == 6)
            .map(|(name, hex)| (name.to_owned(), [channel(hex, 0), channel(hex, 2), channel(hex, 4)]))
            .collect::<BTreeMap<_, _>>()
    };
    blocks.map(read).filter(|p: &BTreeMap<_, _>| !p.is_empty()).collect()
}

/// The contrast of WCAG 2.2.
fn contrast(a: [f64; 3], b: [f64; 3]) -> f64 {
    let linear = |c: f64| if c <= 0.040_45 { c / 12.92 } else { ((c + 0.055) / 1.055).powf(2.4) };
    let light = |[r, g, b]: [f64; 3]| 0.2126 * linear(r) + 0.7152 * linear(g) + 0.0722 * linear(b);
    let (a, b) = (light(a), light(b));
    (a.max(b) + 0.05) / (a.min(b) + 0.05)
}

#[test]
fn the_contrast_is_that_of_the_guideline() {
    assert!((contrast([0.0; 3], [1.0; 3]) - 21.0).abs() < 1e-9);
    // #777777 on white is known to be 4.48.
    let grey = [119.0 / 255.0; 3];
    assert!((contrast(grey, [1.0; 3]) - 4.48).abs() < 0.005);
}

#[test]
fn colours_have_contrast_in_every_light() {
    let all = palettes();
    assert_eq!(all.len(), 3);
    // Text on ground: 4.5; lines, edges and rings on ground: 3.
    let pairs = [
        (4.5, "ink", &["paper", "raised", "sunk", "wash"][..]),
        (4.5, "soft", &["paper", "raised", "sunk"]),
        (4.5, "brick", &["paper", "raised", "sunk", "wash"]),
        (4.5, "brick-down", &["paper", "raised"]),
        (4.5, "on-brick", &["brick", "brick-down"]),
        (4.5, "paper", &["ink"]),
        (4.5, "chalk", &["cinder"]),
        (3.0, "line", &["paper", "raised"]),
        (3.0, "focus", &["paper", "raised", "sunk", "wash"]),
    ];
    for (i, palette) in all.iter().enumerate() {
        for (least, front, grounds) in pairs {
            for ground in grounds {
                let got = contrast(palette[front], palette[*ground]);
                assert!(got >= least, "palette {i}: {front} on {ground} is {got:.2}, wanted {least}");
            }
        }
    }
}

#[test]
fn no_style_stands_in_an_attribute() {
    // The policy of the page refuses them; a place that needs a number takes an attribute of the drawing.
    let marks = [concat!("sty", "le="), concat!("sty", "le:")];
    for (path, text) in files(folder("src"), "rs") {
        for mark in marks {
            assert!(!text.contains(mark), "{}: {mark}", path.display());
        }
    }
    let shell = std::fs::read_to_string(folder("web/index.html")).unwrap();
    assert!(
        !shell.contains(marks[0])
            && !shell.contains(concat!("<sty", "le"))
            && !shell.contains(concat!("<scr", "ipt>"))
    );
}

#[test]
fn style_sheets_fetch_nothing_and_balance() {
    let sheets = files(folder("web/css"), "css");
    assert!(!sheets.is_empty());
    for (path, text) in sheets {
        for mark in ["url(", "@import", "@font-face"] {
            assert!(!text.contains(mark), "{}: {mark}", path.display());
        }
        assert_eq!(text.matches('{').count(), text.matches('}').count(), "{}", path.display());
        assert!(text.lines().count() <= 600, "{}", path.display());
    }
}

#[test]
fn every_colour_that_is_used_is_named() {
    let sheets = files(folder("web/css"), "css");
    let named: Vec<String> = sheets
        .iter()
        .flat_map(|(_, t)| t.lines())
        .filter_map(|l| l.trim().strip_prefix("--")?.split_once(':'))
        .map(|(name, _)| name.to_owned())
        .collect();
    for (path, text) in &sheets {
        for used in text.split("var(--").skip(1).filter_map(|t| t.split_once(')')).map(|(n, _)| n) {
            assert!(named.iter().any(|n| n == used), "{}: --{used}", path.display());
        }
    }
}

/// Classes that the parts take, as far as they stand in their sources as plain text.
#[test]
fn every_class_of_a_part_is_in_a_style_sheet() {
    let sheets: String = files(folder("web/css"), "css").into_iter().map(|(_, t)| t).collect();
    for (path, text) in files(folder("src"), "rs") {
        let plain = text.split("class=\"").skip(1).filter_map(|t| t.split_once('"')).map(|(names, _)| names);
        let switched = text.split(" class:").skip(1).filter_map(|t| t.split_once('=')).map(|(name, _)| name);
        let switched = switched.filter(|name| !name.contains(' '));
        for class in plain.flat_map(|names| names.split(' ')).chain(switched) {
            // Pieces of this test's own text and of names that are put together.
            if class.is_empty() || !class.chars().all(|c| c.is_ascii_alphanumeric() || c == '-') {
                continue;
            }
            let known = sheets.match_indices(&format!(".{class}")).any(|(at, m)| {
                let after = sheets.get(at + m.len()..).and_then(|rest| rest.chars().next());
                !after.is_some_and(|c| c.is_ascii_alphanumeric() || c == '-' || c == '_')
            });
            assert!(known, "{}: no style for .{class}", path.display());
        }
    }
}
