//! `cargo xtask fuzz`: the program of `tests` that gives inputs without end to whatever takes bytes from outside. Knows
//! how it is built, and nothing of its targets.

use crate::run::{self, Outcome, cargo};

/// What makes the compiler count which code an input reaches. Stable compilers take all of it.
const WATCHED: &str = "-Cpasses=sancov-module -Cllvm-args=-sanitizer-coverage-level=3 \
                       -Cllvm-args=-sanitizer-coverage-inline-8bit-counters";

/// As tests are built; with `--release` first, for speed, and watched so that inputs that reach new code lead on.
pub(crate) fn part(args: &[String]) -> Outcome {
    match args.split_first() {
        Some((first, rest)) if first == "--release" => watched(rest),
        _ => crate::beside("fuzz", args),
    }
}

fn watched(args: &[String]) -> Outcome {
    let host = match host() {
        Ok(host) => host,
        Err(why) => return Outcome::Failed(why),
    };
    let folder = run::target().join("fuzz");
    let mut build =
        cargo(&["build", "--release", "--locked", "--package", "backstraight-tests", "--bin", "fuzz"]);
    // Named, or what runs while building would be watched too.
    build.arg("--target").arg(&host).arg("--target-dir").arg(&folder);
    build.env("RUSTFLAGS", WATCHED);
    // Arithmetic that runs over is a finding; and to optimise across crates takes longer than it gains.
    build.env("CARGO_PROFILE_RELEASE_OVERFLOW_CHECKS", "true").env("CARGO_PROFILE_RELEASE_LTO", "off");
    run::run(build).and(|| {
        let program = folder.join(&host).join("release/fuzz");
        let mut command = crate::parts::program(&program.to_string_lossy());
        command.arg("--pool").arg(folder.join("pool")).args(args);
        run::run(command)
    })
}

/// The machine for which the compiler compiles unless told otherwise.
fn host() -> Result<String, String> {
    let mut asked = std::process::Command::new(std::env::var_os("RUSTC").unwrap_or_else(|| "rustc".into()));
    asked.arg("-vV").current_dir(run::root());
    let said = run::read(asked)?;
    let host = said.lines().find_map(|line| line.strip_prefix("host: "));
    host.map(str::to_owned).ok_or_else(|| "rustc does not say for which machine it compiles".to_owned())
}
