//! Brings the general-purpose servers of the race: by npm, at the versions of `tests/peers/package-lock.json`, each into
//! a folder of its own under the build folder, so that one which cannot be brought leaves the others alone. Nothing of
//! them is ever part of the tree or of what is shipped.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use crate::parts::program;
use crate::run::{Outcome, cargo, has, root, run, target};
use crate::tools::{NODE, is_current, node_is_new_enough};

/// Names of the folders in `tests/peers`.
const PEERS: [&str; 6] = ["samod", "loro", "pouchdb", "hocuspocus", "y-websocket", "automerge-repo"];

/// Brings all that are wanted, and says of each where it is or why it is not there, as words for the race.
pub(crate) fn words(args: &[String]) -> Vec<String> {
    let mut words = Vec::new();
    for name in PEERS.into_iter().filter(|name| wanted(args, name)) {
        match bring(name) {
            Ok(folder) => words.extend(["--peer".to_owned(), format!("{name}={}", folder.display())]),
            Err(why) => words.extend(["--absent".to_owned(), format!("{name}={why}")]),
        }
    }
    words
}

/// Whether the words ask for this one: by `--only NAME,NAME`, or by not saying.
fn wanted(args: &[String], name: &str) -> bool {
    let named = args.iter().enumerate().filter_map(|(n, word)| match word.strip_prefix("--only") {
        Some("") => args.get(n + 1).map(String::as_str),
        Some(rest) => rest.strip_prefix('='),
        None => None,
    });
    let names: Vec<&str> = named.flat_map(|names| names.split(',')).collect();
    names.is_empty() || names.contains(&name)
}

fn bring(name: &str) -> Result<PathBuf, String> {
    if !has("npm") || !node_is_new_enough() {
        return Err(why(NODE));
    }
    let from = root().join("tests/peers");
    let folder = target().join("peers").join(name);
    copy(&from, &folder).map_err(|e| format!("{}: {e}", folder.display()))?;
    let brought = if is_current(&from.join("package-lock.json"), &folder.join("brought")) {
        Outcome::Passed
    } else {
        install(&folder, name)
    };
    match brought.and(|| program_of(&folder.join(name))) {
        Outcome::Passed => Ok(folder),
        other => Err(why(other)),
    }
}

/// What npm brings.
fn install(folder: &Path, name: &str) -> Outcome {
    let mut npm = program("npm");
    npm.current_dir(folder).args(["ci", "--workspace", name, "--ignore-scripts", "--no-audit", "--no-fund"]);
    let brought = run_quietly(npm).and(|| {
        if !folder.join("node_modules/better-sqlite3").is_dir() {
            return Outcome::Passed;
        }
        // A library in C++ that is not shipped compiled; it is built here, by the headers beside Node where they are.
        let mut npm = program("npm");
        npm.current_dir(folder).args(["rebuild", "better-sqlite3"]);
        npm.env("npm_config_build_from_source", "true");
        if let Some(home) = headers() {
            npm.env("npm_config_nodedir", home);
        }
        run_quietly(npm)
    });
    brought.and(|| match fs::write(folder.join("brought"), "") {
        Ok(()) => Outcome::Passed,
        Err(e) => Outcome::Failed(format!("{}: {e}", folder.display())),
    })
}

/// A server that is a program of cargo is built, with what it needs at the versions of its own lock.
fn program_of(own: &Path) -> Outcome {
    if !own.join("Cargo.toml").is_file() {
        return Outcome::Passed;
    }
    let mut build = cargo(&["build", "--release", "--locked", "--target-dir", "target"]);
    build.current_dir(own);
    run(build)
}

/// What npm prints is no figure: it goes where problems go.
fn run_quietly(mut npm: Command) -> Outcome {
    npm.stdout(std::io::stderr());
    run(npm)
}

/// The folder above `include/node/node.h`, if Node came with its headers.
fn headers() -> Option<PathBuf> {
    let path = std::env::var_os("PATH")?;
    let node = std::env::split_paths(&path).map(|folder| folder.join("node")).find(|node| node.is_file())?;
    let home = fs::canonicalize(node).ok()?.parent()?.parent()?.to_owned();
    home.join("include/node/node.h").is_file().then_some(home)
}

/// Files and folders that are not there as they are, but for what npm has put beside them.
fn copy(from: &Path, to: &Path) -> std::io::Result<()> {
    fs::create_dir_all(to)?;
    for entry in fs::read_dir(from)? {
        let entry = entry?;
        let (at, name) = (entry.path(), entry.file_name());
        if name == "node_modules" {
            continue;
        }
        if at.is_dir() {
            copy(&at, &to.join(name))?;
        } else if fs::read(&at)? != fs::read(to.join(&name)).unwrap_or_default() {
            fs::copy(&at, to.join(name))?;
        }
    }
    Ok(())
}

fn why(outcome: Outcome) -> String {
    match outcome {
        Outcome::Passed => String::new(),
        Outcome::Failed(why) => format!("not brought: {why}"),
        Outcome::Missing { tool, bring } => format!("{tool} is missing; this brings it: {bring}"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn peers_are_chosen_by_name() {
        let args = |words: &[&str]| words.iter().map(|w| (*w).to_owned()).collect::<Vec<_>>();
        assert!(wanted(&args(&[]), "loro"));
        assert!(wanted(&args(&["--devices", "20"]), "loro"));
        assert!(wanted(&args(&["--only", "limits,loro"]), "loro"));
        assert!(wanted(&args(&["--only=loro"]), "loro"));
        assert!(!wanted(&args(&["--only", "limits"]), "loro"));
        assert!(!wanted(&args(&["--json", "--only=pouchdb"]), "loro"));
    }

    #[test]
    fn every_peer_has_its_folder_and_every_folder_its_peer() {
        let mut there: Vec<String> = fs::read_dir(root().join("tests/peers"))
            .into_iter()
            .flatten()
            .filter_map(Result::ok)
            .filter(|entry| entry.path().join("peer.mjs").is_file())
            .filter_map(|entry| entry.file_name().into_string().ok())
            .collect();
        there.sort_unstable();
        let mut named = PEERS;
        named.sort_unstable();
        assert_eq!(there, named);
    }
}
