//! Parts that need tools beside cargo: Node for interop, Python for the formulas and for requests made up
//! from the OpenAPI document, cargo-deny.

use std::fs;
use std::path::Path;
use std::process::Command;

use crate::parts::program;
use crate::run::{Outcome, cargo, has, programs, read, root, run, target};

pub(crate) const NODE: Outcome =
    Outcome::Missing { tool: "Node 18 or later with npm", bring: "apt-get install nodejs npm" };
const PYTHON: Outcome = Outcome::Missing { tool: "python3 with venv", bring: "apt-get install python3-venv" };

/// Writes one document of each kind with our code and has them read by the JavaScript
/// implementation of the open document format.
pub(crate) fn interop() -> Outcome {
    if !has("npm") || !node_is_new_enough() {
        return NODE;
    }
    let folder = root().join("tests/interop");
    let out = target().join("interop");
    // All examples of the workspace at once: the same build as the tests'.
    run(cargo(&["build", "--workspace", "--examples", "--locked"]))
        .and(|| {
            let mut export = Command::new(target().join("debug/examples/export_docs"));
            export.arg(&out);
            run(export)
        })
        .and(|| {
            if is_current(&folder.join("package-lock.json"), &folder.join("node_modules/.package-lock.json"))
            {
                return Outcome::Passed;
            }
            let mut npm = program("npm");
            npm.current_dir(&folder).args(["ci", "--no-audit", "--no-fund", "--ignore-scripts"]);
            run(npm)
        })
        .and(|| {
            let mut node = program("node");
            node.current_dir(&folder).arg("check.mjs").arg(&out);
            run(node)
        })
}

/// Checks formulas against independent implementations.
pub(crate) fn oracle() -> Outcome {
    python("oracle", |python, folder| {
        let mut check = Command::new(python);
        check.current_dir(root()).arg(folder.join("cross_check.py"));
        run(check)
    })
}

/// Sends requests made up from the OpenAPI document to a server of its own.
pub(crate) fn schema() -> Outcome {
    python("schema", |python, folder| {
        // With examples: the same build as the tests'.
        programs().and(|| {
            let mut check = Command::new(python);
            check.current_dir(root()).arg(folder.join("check.py")).arg(target().join("debug/backstraight"));
            run(check)
        })
    })
}

/// Runs something with the Python packages that `tests/<name>/requirements.txt` wants, in a virtual
/// environment of its own under the build folder.
fn python(name: &str, then: impl FnOnce(&Path, &Path) -> Outcome) -> Outcome {
    if !has("python3") {
        return PYTHON;
    }
    let folder = root().join("tests").join(name);
    let requirements = folder.join("requirements.txt");
    let wanted = match fs::read_to_string(&requirements) {
        Ok(text) => text,
        Err(e) => return Outcome::Failed(format!("{}: {e}", requirements.display())),
    };
    let home = target().join(format!("{name}-env"));
    let python = home.join("bin/python");
    let stamp = home.join("installed.txt");
    let ready = if fs::read_to_string(&stamp).is_ok_and(|had| had == wanted) {
        Outcome::Passed
    } else {
        make_environment(&home, &python, &requirements).and(|| match fs::write(&stamp, &wanted) {
            Ok(()) => Outcome::Passed,
            Err(e) => Outcome::Failed(format!("{}: {e}", stamp.display())),
        })
    };
    ready.and(|| then(&python, &folder))
}

fn make_environment(home: &Path, python: &Path, wanted: &Path) -> Outcome {
    let mut venv = program("python3");
    venv.args(["-m", "venv", "--clear"]).arg(home);
    if let Outcome::Failed(why) = run(venv) {
        println!("{why}");
        return PYTHON;
    }
    let mut pip = Command::new(python);
    pip.args(["-m", "pip", "install", "--quiet", "--disable-pip-version-check", "--requirement"]).arg(wanted);
    run(pip)
}

/// All that cargo-deny looks at.
pub(crate) fn deny() -> Outcome {
    if !has("cargo-deny") {
        return Outcome::Missing { tool: "cargo-deny", bring: "cargo install --locked cargo-deny@^0.20" };
    }
    run(cargo(&["deny", "--workspace", "check", "licenses", "bans", "sources", "advisories"]))
}

pub(crate) fn node_is_new_enough() -> bool {
    let mut node = program("node");
    node.arg("--version");
    has("node") && read(node).ok().and_then(|v| major(&v)).is_some_and(|major| major >= 18)
}

fn major(version: &str) -> Option<u32> {
    version.trim().trim_start_matches('v').split('.').next()?.parse().ok()
}

/// Whether `made` exists and is not older than `source`.
pub(crate) fn is_current(source: &Path, made: &Path) -> bool {
    let age = |p: &Path| fs::metadata(p).and_then(|m| m.modified()).ok();
    age(made).zip(age(source)).is_some_and(|(made, source)| made >= source)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn versions_of_node_are_read() {
        assert_eq!(major("v20.20.2\n"), Some(20));
        assert_eq!(major("nonsense"), None);
    }
}
