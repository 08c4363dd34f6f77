//! Running other programs, and what came of it.

use std::env;
use std::ffi::OsStr;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

/// What came of a part.
#[derive(Debug)]
pub(crate) enum Outcome {
    /// It ran and all is well.
    Passed,
    /// It ran and something is wrong.
    Failed(String),
    /// It could not run, because a tool is missing.
    Missing {
        /// The tool.
        tool: &'static str,
        /// The one command that brings it.
        bring: &'static str,
    },
}

impl Outcome {
    /// Goes on with `next` when all is well so far.
    pub(crate) fn and(self, next: impl FnOnce() -> Outcome) -> Outcome {
        match self {
            Outcome::Passed => next(),
            Outcome::Failed(_) | Outcome::Missing { .. } => self,
        }
    }
}

/// The folder of the workspace.
pub(crate) fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).parent().unwrap_or_else(|| Path::new(".")).to_owned()
}

/// The folder into which cargo builds.
pub(crate) fn target() -> PathBuf {
    let named = env::var_os("CARGO_TARGET_DIR").map(PathBuf::from);
    root().join(named.unwrap_or_else(|| PathBuf::from("target")))
}

/// Builds all programs, of the workspace as a whole: of another choice of packages all libraries would be compiled
/// again. Examples with them, for which libraries are chosen as for tests: of programs alone the whole
/// workspace would be compiled once more.
pub(crate) fn programs() -> Outcome {
    run(cargo(&["build", "--workspace", "--bins", "--examples", "--locked"]))
}

/// A cargo command in the workspace, by the same cargo that runs us.
pub(crate) fn cargo(args: &[&str]) -> Command {
    let mut command = Command::new(env::var_os("CARGO").unwrap_or_else(|| "cargo".into()));
    command.current_dir(root()).args(args);
    // What cargo told this program about itself is not for the programs that it starts.
    for (name, _) in env::vars_os() {
        if name.to_str().is_some_and(|n| n.starts_with("CARGO_PKG_") || n.starts_with("CARGO_MANIFEST_")) {
            command.env_remove(name);
        }
    }
    command
}

/// Runs a command, its output going where ours goes.
pub(crate) fn run(mut command: Command) -> Outcome {
    let shown = show(&command);
    match command.status() {
        Ok(status) if status.success() => Outcome::Passed,
        Ok(status) => Outcome::Failed(format!("{shown}: {status}")),
        Err(e) => Outcome::Failed(format!("{shown}: {e}")),
    }
}

/// Runs a command and hands back what it printed.
pub(crate) fn read(mut command: Command) -> Result<String, String> {
    let shown = show(&command);
    let output = command.stderr(Stdio::inherit()).output().map_err(|e| format!("{shown}: {e}"))?;
    if !output.status.success() {
        return Err(format!("{shown}: {}", output.status));
    }
    String::from_utf8(output.stdout).map_err(|e| format!("{shown}: {e}"))
}

/// Whether a program is on the path.
pub(crate) fn has(program: &str) -> bool {
    let names = [program.to_owned(), format!("{program}.exe"), format!("{program}.cmd")];
    env::var_os("PATH")
        .is_some_and(|path| env::split_paths(&path).any(|d| names.iter().any(|n| d.join(n).is_file())))
}

fn show(command: &Command) -> String {
    let words = std::iter::once(command.get_program()).chain(command.get_args());
    words.map(OsStr::to_string_lossy).collect::<Vec<_>>().join(" ")
}
