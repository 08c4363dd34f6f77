//! Which part may know which: dependencies point one way, and these tests prove it.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use serde_json::Value;

/// Layers of core, bottom first. A layer may use itself and those before it.
const LAYERS: [&str; 7] = ["base", "science", "model", "doc", "view", "exchange", "device"];
/// What core may name in its manifest: short texts in place, the document engine, hashing, calendar, wire data, and for
/// the formulas linear algebra, distributions and least squares.
const CORE_MAY: [&str; 12] = [
    "arrayvec",
    "automerge",
    "ed25519-dalek",
    "flate2",
    "levenberg-marquardt",
    "minicbor",
    "nalgebra",
    "sha2",
    "statrs",
    "thiserror",
    "time",
    "uuid",
];
/// What must not reach core by any way: I/O, threads, clocks, databases, doors of other languages.
const CORE_NEVER: [&str; 18] = [
    "axum",
    "chrono",
    "hyper",
    "js-sys",
    "libsqlite3-sys",
    "mio",
    "reqwest",
    "rusqlite",
    "rustls",
    "socket2",
    "sqlx",
    "tokio",
    "tracing-subscriber",
    "uniffi",
    "ureq",
    "wasm-bindgen",
    "web-sys",
    "web-time",
];
/// Words that only some folders may name, and those folders.
const ONLY_IN: [(&str, &[&str]); 7] = [
    ("automerge", &["core/src/doc", "core/src/exchange"]),
    (
        "minicbor",
        &["core/src/exchange", "core/src/device", "core/src/model/whole", "ffi/src", "server/src", "app/src"],
    ),
    ("rusqlite", &["ffi/src/store", "server/src/store"]),
    ("axum", &["server/src"]),
    ("uniffi", &["ffi/src"]),
    ("wasm_bindgen", &["app/src"]),
    ("web_sys", &["app/src"]),
];
/// Turning an error of the database into the phone's own kind is not using the database.
const EXCEPTIONS: [(&str, &str); 1] = [("rusqlite", "ffi/src/error.rs")];
/// The crates of the product.
const PRODUCT: [&str; 4] = ["core", "ffi", "server", "app"];

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).parent().unwrap().to_owned()
}

fn cargo(args: &[&str]) -> String {
    let program = std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into());
    let output = Command::new(program).current_dir(root()).args(args).output().unwrap();
    assert!(output.status.success(), "{args:?}: {}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8(output.stdout).unwrap()
}

/// Direct dependencies of each package of the workspace: package, then (name, kind).
fn direct() -> BTreeMap<String, Vec<(String, String)>> {
    let metadata: Value =
        serde_json::from_str(&cargo(&["metadata", "--no-deps", "--format-version", "1", "--locked"]))
            .unwrap();
    let mut out = BTreeMap::new();
    for package in metadata["packages"].as_array().unwrap() {
        let dependencies = package["dependencies"].as_array().unwrap().iter();
        let list = dependencies
            .map(|d| {
                let kind = d["kind"].as_str().unwrap_or("normal");
                (d["name"].as_str().unwrap().to_owned(), kind.to_owned())
            })
            .collect();
        out.insert(package["name"].as_str().unwrap().to_owned(), list);
    }
    out
}

#[test]
fn packages_depend_on_core_and_never_on_each_other() {
    let direct = direct();
    let names: BTreeSet<&str> = direct.keys().map(String::as_str).collect();
    assert_eq!(
        names.into_iter().collect::<Vec<_>>(),
        [
            "backstraight-app",
            "backstraight-bind",
            "backstraight-browser",
            "backstraight-cluster",
            "backstraight-core",
            "backstraight-ffi",
            "backstraight-pack",
            "backstraight-server",
            "backstraight-tests",
            "xtask"
        ]
    );
    for (package, dependencies) in &direct {
        let may: &[&str] = match package.as_str() {
            "backstraight-bind"
            | "backstraight-browser"
            | "backstraight-cluster"
            | "backstraight-core"
            | "backstraight-pack" => &[],
            "xtask" => &["backstraight-cluster"],
            "backstraight-tests" => {
                &["backstraight-cluster", "backstraight-core", "backstraight-ffi", "backstraight-server"]
            }
            _ => &["backstraight-core"],
        };
        for (name, kind) in dependencies.iter().filter(|(name, _)| direct.contains_key(name)) {
            // A database server for tests, which knows nothing of the product.
            let for_tests =
                kind == "dev" && package == "backstraight-server" && name == "backstraight-cluster";
            // What runs only in a package's own tests may come from core's side doors, not from others.
            assert!(
                for_tests || may.contains(&name.as_str()),
                "{package} must not depend on {name} ({kind})"
            );
        }
    }
}

#[test]
fn core_names_few_libraries_and_none_that_does_io() {
    for (name, kind) in &direct()["backstraight-core"] {
        assert!(kind == "dev" || CORE_MAY.contains(&name.as_str()), "core must not depend on {name}");
    }
    let tree = cargo(&[
        "tree",
        "--package",
        "backstraight-core",
        "--edges",
        "normal,build",
        "--prefix",
        "none",
        "--locked",
    ]);
    let reached: BTreeSet<&str> = tree.lines().filter_map(|l| l.split(' ').next()).collect();
    assert!(reached.contains("automerge"), "the listing was not understood: {tree}");
    for never in CORE_NEVER {
        assert!(
            !reached.contains(never),
            "{never} reaches core: see `cargo tree -p backstraight-core -i {never}`"
        );
    }
}

#[test]
fn inside_core_left_never_knows_right() {
    let mut wrong = Vec::new();
    let mut seen = BTreeSet::new();
    for (name, text) in sources("core/src") {
        let inside = name.strip_prefix("core/src/").unwrap();
        let layer = inside.split(['/', '.']).next().unwrap();
        if layer == "lib" {
            continue;
        }
        let own = LAYERS.iter().position(|l| *l == layer);
        let own =
            own.unwrap_or_else(|| panic!("{name} belongs to no layer: add it to LAYERS with its place"));
        seen.insert(layer.to_owned());
        let depth =
            inside.trim_end_matches("mod.rs").trim_end_matches(".rs").split('/').filter(|p| !p.is_empty());
        for used in layers_named(&code(&text), depth.count()) {
            if LAYERS.iter().position(|l| *l == used).is_some_and(|l| l > own) {
                wrong.push(format!("{name} knows {used}"));
            }
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
    assert!(seen.contains("base") && seen.contains("doc") && seen.contains("exchange"), "{seen:?}");
}

#[test]
fn some_libraries_are_named_in_one_place_only() {
    let mut wrong = Vec::new();
    let mut found = BTreeSet::new();
    for (name, text) in PRODUCT.iter().flat_map(|p| sources(&format!("{p}/src"))) {
        let code = code(&text);
        for (word, folders) in ONLY_IN {
            if !names(&code, word) {
                continue;
            }
            found.insert(word);
            let home =
                folders.iter().any(|f| name.starts_with(&format!("{f}/")) || name == format!("{f}.rs"));
            if !home && !EXCEPTIONS.contains(&(word, name.as_str())) {
                wrong.push(format!("{name} names {word}, which belongs to {folders:?}"));
            }
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
    assert!(found.contains("automerge") && found.contains("minicbor"), "{found:?}");
}

/// All Rust files under a folder, by path from the workspace, with their text.
fn sources(folder: &str) -> Vec<(String, String)> {
    fn walk(folder: &Path, out: &mut Vec<PathBuf>) {
        for entry in fs::read_dir(folder).into_iter().flatten().flatten() {
            let path = entry.path();
            if path.is_dir() {
                walk(&path, out);
            } else if path.extension().is_some_and(|e| e == "rs") {
                out.push(path);
            }
        }
    }
    let mut paths = Vec::new();
    walk(&root().join(folder), &mut paths);
    paths.sort();
    let name = |p: &Path| p.strip_prefix(root()).unwrap().to_string_lossy().replace('\\', "/");
    paths.iter().map(|p| (name(p), fs::read_to_string(p).unwrap())).collect()
}

/// The text without comments and without what stands between quotes.
fn code(text: &str) -> String {
    let mut out = String::new();
    for line in text.lines() {
        let mut quoted = false;
        let mut before = ' ';
        let mut chars = line.chars().peekable();
        while let Some(c) = chars.next() {
            if c == '"' && before != '\\' && before != '\'' {
                quoted = !quoted;
            } else if !quoted && c == '/' && chars.peek() == Some(&'/') {
                break;
            }
            if !quoted {
                out.push(c);
            }
            before = if before == '\\' && c == '\\' { ' ' } else { c };
        }
        out.push('\n');
    }
    out
}

/// Whether a word stands in the code on its own.
fn names(code: &str, word: &str) -> bool {
    code.split(|c: char| !c.is_alphanumeric() && c != '_').any(|w| w == word)
}

/// First names of paths that start at the crate: `crate::a`, `crate::{a, b}`, and `super::super::a`
/// from a module `depth` deep.
fn layers_named(code: &str, depth: usize) -> BTreeSet<String> {
    let up = "super::".repeat(depth);
    let mut out = BTreeSet::new();
    for start in ["crate::", "backstraight_core::", up.as_str()] {
        for (at, _) in code.match_indices(start) {
            let rest = &code[at + start.len()..];
            let Some(group) = rest.strip_prefix('{') else {
                out.extend(first_name(rest));
                continue;
            };
            let (mut open, mut fresh) = (1, true);
            for (i, c) in group.char_indices() {
                match c {
                    '{' => open += 1,
                    '}' => open -= 1,
                    ',' if open == 1 => fresh = true,
                    c if fresh && c.is_alphabetic() => {
                        out.extend(first_name(&group[i..]));
                        fresh = false;
                    }
                    _ => {}
                }
                if open == 0 {
                    break;
                }
            }
        }
    }
    out
}

fn first_name(text: &str) -> Option<String> {
    let name: String = text.chars().take_while(|c| c.is_alphanumeric() || *c == '_').collect();
    (!name.is_empty()).then_some(name)
}

#[test]
fn the_scan_finds_what_it_looks_for() {
    let text = r#"
        //! crate::comment::x
        use crate::base::{day::Day, id}; use crate::{model::name::Kind, view, doc::{open, x}};
        fn f() -> super::super::exchange::Up { crate::science::f("crate::quoted::x // \" crate::too::x") }
    "#;
    let found = layers_named(&code(text), 2);
    let wanted = ["base", "doc", "exchange", "model", "science", "view"].map(str::to_owned);
    assert_eq!(found, BTreeSet::from(wanted));
    assert!(layers_named(&code("super::super::exchange::x"), 3).is_empty(), "still inside its own layer");
    assert!(names(&code("use automerge::Automerge;"), "automerge"));
    assert!(!names(&code("// automerge\nlet automerge_like = \"automerge\";"), "automerge"));
}
