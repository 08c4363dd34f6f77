//! The doors of the phone library for other languages: written from the library itself, kept in the
//! repository, and checked to be what the library says. Knows no language.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use crate::run::{Outcome, cargo, root, run, target};

mod compat;

/// Where they are kept, in `ffi/`: what is written, and where it goes.
const FILES: [(&str, &str); 9] = [
    ("kotlin/backstraight/backstraight.kt", "bindings/kotlin/backstraight/backstraight.kt"),
    ("kotlin/backstraight/mark.kt", "bindings/kotlin/backstraight/mark.kt"),
    ("swift/Backstraight.swift", "bindings/swift/Backstraight.swift"),
    ("swift/Mark.swift", "bindings/swift/Mark.swift"),
    ("swift/BackstraightFFI.h", "bindings/swift/BackstraightFFI.h"),
    ("swift/BackstraightFFI.modulemap", "bindings/swift/BackstraightFFI.modulemap"),
    ("python/backstraight.py", "bindings/python/backstraight.py"),
    ("python/backstraight_mark.py", "bindings/python/backstraight_mark.py"),
    (SURFACE, SURFACE),
];
/// The surface as text.
const SURFACE: &str = "interface.txt";
/// The surface of the version in its first line.
const BEFORE: &str = "interface.before.txt";

/// The library that was built last.
pub(crate) fn library() -> PathBuf {
    let name = format!("{}backstraight{}", std::env::consts::DLL_PREFIX, std::env::consts::DLL_SUFFIX);
    target().join("debug/examples").join(name)
}

/// Builds the library with its doors, and what writes them. The workspace as a whole, as everywhere: of
/// another choice of packages all libraries would be compiled again.
pub(crate) fn build() -> Outcome {
    run(cargo(&["build", "--workspace", "--bins", "--examples", "--locked"]))
}

/// `cargo xtask bindings [--check | --new-version]`.
pub(crate) fn part(args: &[String]) -> Outcome {
    match args {
        [] => write(),
        [check] if check == "--check" => self::check(),
        [new] if new == "--new-version" => new_version(),
        _ => Outcome::Failed("cargo xtask bindings [--check | --new-version]".to_owned()),
    }
}

/// The part of `cargo xtask test`.
pub(crate) fn check() -> Outcome {
    build().and(|| match compare() {
        Ok(differ) if differ.is_empty() => compatible(),
        Ok(differ) => Outcome::Failed(format!(
            "not what the library says: {}\ncargo xtask bindings writes them; when the surface changed, say in \
             CHANGELOG.md what apps have to do",
            differ.join(", ")
        )),
        Err(why) => Outcome::Failed(why),
    })
}

/// Whether apps that were compiled for the version before work with this one. A version of its own may break
/// them, and says so in CHANGELOG.md.
fn compatible() -> Outcome {
    let kept = root().join("ffi");
    let compared = read(&kept.join(BEFORE)).and_then(|before| Ok((before, read(&kept.join(SURFACE))?)));
    let (before, now) = match compared {
        Ok(both) => both,
        Err(why) => return Outcome::Failed(why),
    };
    let (version, before) = before.split_once('\n').unwrap_or_default();
    let breaks = compat::breaks(before, &now);
    if breaks.is_empty() || version != concat!("version ", env!("CARGO_PKG_VERSION")) {
        println!("apps of {version}: {} lines of its surface changed", breaks.len());
        return Outcome::Passed;
    }
    Outcome::Failed(format!(
        "apps of {version} would break: give the workspace a new version, then cargo xtask bindings \
         --new-version\n  {}",
        breaks.join("\n  ")
    ))
}

/// From here on the surface as it is now is what later ones are compared with.
fn new_version() -> Outcome {
    let kept = root().join("ffi");
    let surface = match read(&kept.join(SURFACE)) {
        Ok(surface) => surface,
        Err(why) => return Outcome::Failed(why),
    };
    let text = format!("version {}\n{surface}", env!("CARGO_PKG_VERSION"));
    match fs::write(kept.join(BEFORE), text) {
        Ok(()) => Outcome::Passed,
        Err(e) => Outcome::Failed(format!("{BEFORE}: {e}")),
    }
}

fn write() -> Outcome {
    // A new surface has a new mark, which is compiled into the library: then it is built once more.
    build().and(|| match put() {
        Ok(false) => Outcome::Passed,
        Ok(true) => build().and(|| match put() {
            Ok(_) => Outcome::Passed,
            Err(why) => Outcome::Failed(why),
        }),
        Err(why) => Outcome::Failed(why),
    })
}

fn made() -> PathBuf {
    target().join("bindings")
}

fn generate() -> Result<PathBuf, String> {
    let out = made();
    if out.exists() {
        fs::remove_dir_all(&out).map_err(|e| format!("{}: {e}", out.display()))?;
    }
    let mut bind = Command::new(target().join("debug/bind"));
    bind.current_dir(root()).arg(library()).arg("ffi/uniffi.toml").arg(&out);
    match run(bind) {
        Outcome::Passed => Ok(out),
        Outcome::Failed(why) => Err(why),
        Outcome::Missing { tool, .. } => Err(tool.to_owned()),
    }
}

/// Puts what was written where it is kept; whether the surface changed.
fn put() -> Result<bool, String> {
    let (out, kept) = (generate()?, root().join("ffi"));
    let changed = read(&out.join(SURFACE))? != read(&kept.join(SURFACE)).unwrap_or_default();
    for (from, to) in FILES {
        let to = kept.join(to);
        if let Some(folder) = to.parent() {
            fs::create_dir_all(folder).map_err(|e| format!("{}: {e}", folder.display()))?;
        }
        fs::write(&to, read(&out.join(from))?).map_err(|e| format!("{}: {e}", to.display()))?;
    }
    Ok(changed)
}

/// Files that are not as they should be.
fn compare() -> Result<Vec<String>, String> {
    let (out, kept) = (generate()?, root().join("ffi"));
    let mut differ = Vec::new();
    for (from, to) in FILES {
        if read(&out.join(from))? != read(&kept.join(to)).unwrap_or_default() {
            differ.push(format!("ffi/{to}"));
        }
    }
    Ok(differ)
}

/// A generated file, without spaces at the ends of lines.
fn read(file: &Path) -> Result<String, String> {
    let text = fs::read_to_string(file).map_err(|e| format!("{}: {e}", file.display()))?;
    let mut out: String = text.lines().flat_map(|line| [line.trim_end(), "\n"]).collect();
    while out.ends_with("\n\n") {
        out.pop();
    }
    Ok(out)
}
