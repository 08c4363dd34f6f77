//! The unit file for systemd, looked at by systemd's own tool, which needs no running systemd: every line is
//! understood, and it is as shut off as the documentation says.

use std::fs;
use std::process::Stdio;

use crate::parts::program;
use crate::run::{Outcome, has, programs, root, run, target};

/// Most of the tool's measure of exposure, in tenths of its points from 0 to 10.
const EXPOSURE: &str = "--threshold=15";
/// Where the unit has the program.
const INSTALLED: &str = "/usr/local/bin/backstraight ";

/// Checks `deploy/backstraight.service`.
pub(crate) fn part() -> Outcome {
    if !has("systemd-analyze") {
        return Outcome::Missing { tool: "systemd-analyze", bring: "apt-get install systemd" };
    }
    // The program has to be there, and to be one that can be run.
    programs().and(|| match put() {
        Ok(()) => verify().and(exposure),
        Err(why) => Outcome::Failed(why),
    })
}

fn folder() -> std::path::PathBuf {
    target().join("unit")
}

/// The unit with the program of this build.
fn put() -> Result<(), String> {
    let from = root().join("deploy/backstraight.service");
    let text = fs::read_to_string(&from).map_err(|e| format!("{}: {e}", from.display()))?;
    if text.matches(INSTALLED).count() != 1 {
        return Err(format!("{}: {INSTALLED}is not there once", from.display()));
    }
    let built = format!("{} ", target().join("debug/backstraight").display());
    let to = folder().join("backstraight.service");
    fs::create_dir_all(folder())
        .and_then(|()| fs::write(&to, text.replace(INSTALLED, &built)))
        .map_err(|e| format!("{}: {e}", to.display()))
}

/// What it does not understand it only tells, and ends well: so nothing may be told.
fn verify() -> Outcome {
    let mut command = program("systemd-analyze");
    command.arg("verify").arg(folder().join("backstraight.service")).stdin(Stdio::null());
    match command.output() {
        Ok(told) if told.status.success() && told.stderr.is_empty() && told.stdout.is_empty() => {
            Outcome::Passed
        }
        Ok(told) => Outcome::Failed(format!(
            "systemd-analyze verify: {}\n{}{}",
            told.status,
            String::from_utf8_lossy(&told.stdout),
            String::from_utf8_lossy(&told.stderr)
        )),
        Err(e) => Outcome::Failed(format!("systemd-analyze verify: {e}")),
    }
}

fn exposure() -> Outcome {
    let mut command = program("systemd-analyze");
    command.args(["security", "--offline=true", "--no-pager", EXPOSURE]);
    command.arg(folder().join("backstraight.service")).stdin(Stdio::null()).stdout(Stdio::null());
    run(command)
}
