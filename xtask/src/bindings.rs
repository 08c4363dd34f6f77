//! The doors of the phone library for other languages: written from the library itself, kept in the
//! repository, and checked to be what the library says. Knows no language.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use crate::run::{Outcome, programs, root, run, target};

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
/// That line, for the version of now.
const VERSION: &str = concat!("version ", env!("CARGO_PKG_VERSION"));

/// The library that was built last.
pub(crate) fn library() -> PathBuf {
    let name = format!("{}backstraight{}", std::env::consts::DLL_PREFIX, std::env::consts::DLL_SUFFIX);
    target().join("debug/examples").join(name)
}

/// Builds the library with its doors, and what writes them.
pub(crate) fn build() -> Outcome {
    programs()
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

/// Whether apps that were compiled for the version before work with this one.
fn compatible() -> Outcome {
    match kept() {
        Ok((before, now)) => compared(&before, &now),
        Err(why) => Outcome::Failed(why),
    }
}

/// The surface of the version before with its first line, and the one of now.
fn kept() -> Result<(String, String), String> {
    let kept = root().join("ffi");
    Ok((read(&kept.join(BEFORE))?, read(&kept.join(SURFACE))?))
}

fn compared(before: &str, now: &str) -> Outcome {
    let (version, surface) = before.split_once('\n').unwrap_or_default();
    // What is compared with another version than this one proves nothing about what is changed from here on.
    if version != VERSION {
        return Outcome::Failed(format!(
            "{BEFORE} is of {version}, the workspace of {VERSION}: cargo xtask bindings --new-version"
        ));
    }
    let breaks = compat::breaks(surface, now);
    if breaks.is_empty() {
        println!("apps of {version}: nothing that they use has changed");
        return Outcome::Passed;
    }
    Outcome::Failed(format!(
        "apps of {version} would break: give the workspace a new version, then cargo xtask bindings \
         --new-version\n  {}",
        breaks.join("\n  ")
    ))
}

/// From here on the surface as it is now is what later ones are compared with. A new version may break apps, and
/// says so in CHANGELOG.md: what breaks is printed.
fn new_version() -> Outcome {
    let (before, now) = match kept() {
        Ok(both) => both,
        Err(why) => return Outcome::Failed(why),
    };
    let (version, surface) = before.split_once('\n').unwrap_or_default();
    for line in compat::breaks(surface, &now) {
        println!("breaks apps of {version}: {line}");
    }
    match fs::write(root().join("ffi").join(BEFORE), format!("{VERSION}\n{now}")) {
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_surface_of_another_version_is_not_compared_with() {
        let now = "fn a()\n";
        assert!(matches!(compared(&format!("{VERSION}\n{now}"), now), Outcome::Passed));
        assert!(matches!(compared(&format!("version 0.0.0\n{now}"), now), Outcome::Failed(_)));
        assert!(matches!(compared(now, now), Outcome::Failed(_)));
    }
}
