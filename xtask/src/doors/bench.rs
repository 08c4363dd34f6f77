//! `cargo xtask bench-ffi`: what the doors cost in Kotlin, and what the library weighs, as it is shipped to
//! phones. Says beside each figure whether its budget holds. A library that is too large is a failure; a time is
//! none, for machines are busy.

use std::fs;
use std::process::Command;

use super::{JAVA, JNA, class_path, compile_kotlin, kotlin_compiler};
use crate::bindings;
use crate::figure::Figure;
use crate::run::{Outcome, cargo, has, read, run, target};

/// Budgets: what they are about, and the most, in the unit of the figure.
const BUDGETS: [(&str, f64); 4] = [
    ("a call that answers a number", 20.0),
    ("a call that answers a text", 20.0),
    ("open and shut, a year of logs", 100.0),
    ("a list of 5000 sets", 60.0),
];
const MOST_BYTES: u64 = 8_000_000;

/// How it is measured again.
const COMMAND: &str = "cargo xtask bench-ffi";

/// Builds the library in a release build, without the courier that phones do not need, and measures.
pub(crate) fn part(args: &[String]) -> Outcome {
    let json = match args {
        [] => false,
        [json] if json == "--json" => true,
        _ => return Outcome::Failed(format!("{COMMAND} takes --json alone, not {}", args.join(" "))),
    };
    if !has("java") || !std::path::Path::new(JNA).is_file() {
        return JAVA;
    }
    let release = cargo(&[
        "build",
        "--profile",
        "phone",
        "--locked",
        "--package",
        "backstraight-ffi",
        "--example",
        "backstraight",
        "--no-default-features",
        "--features",
        "doors",
    ]);
    run(release).and(bindings::build).and(kotlin_compiler).and(compile_kotlin).and(|| measure(json))
}

fn measure(json: bool) -> Outcome {
    // Both are told, whatever the first says.
    match (weigh(json), time(json)) {
        (Ok(()), Ok(())) => Outcome::Passed,
        (Err(why), _) | (_, Err(why)) => Outcome::Failed(why),
    }
}

fn weigh(json: bool) -> Result<(), String> {
    let library = bindings::library();
    let name = library.file_name().ok_or("a library without a name")?;
    let shipped = target().join("phone/examples").join(name);
    let home = target().join("doors/shipped");
    fs::create_dir_all(&home).map_err(|e| format!("{}: {e}", home.display()))?;
    let mut strip = Command::new("strip");
    strip.arg("--strip-unneeded").arg("-o").arg(home.join(name)).arg(&shipped);
    match run(strip) {
        Outcome::Passed => {}
        Outcome::Failed(why) => return Err(why),
        Outcome::Missing { tool, .. } => return Err(tool.to_owned()),
    }
    let bytes = fs::metadata(home.join(name)).map_err(|e| e.to_string())?.len();
    if !json {
        println!("| what | figure | budget | holds |\n|---|---|---|---|");
    }
    let weight = Figure {
        what: "the library, stripped",
        budget: Some(millions(MOST_BYTES)),
        figure: millions(bytes),
        unit: "MB",
        command: COMMAND,
    };
    weight.print(json);
    within_budget(bytes)
}

/// The size is the same on every machine.
fn within_budget(bytes: u64) -> Result<(), String> {
    if bytes <= MOST_BYTES {
        return Ok(());
    }
    Err(format!("the library has {bytes} bytes, {} more than its budget", bytes - MOST_BYTES))
}

fn time(json: bool) -> Result<(), String> {
    let memory = std::path::Path::new("/dev/shm").join(format!("backstraight-bench-{}", std::process::id()));
    let folder = if fs::create_dir(&memory).is_ok() { memory } else { target().join("doors/bench") };
    fs::create_dir_all(&folder).map_err(|e| format!("{}: {e}", folder.display()))?;
    let mut java = Command::new("java");
    java.arg(format!("-Djna.library.path={}", target().join("doors/shipped").display()));
    java.arg("-cp").arg(class_path()?).arg("BenchKt").arg(&folder);
    let told = read(java);
    // What is left there takes memory and nothing else.
    let _ = fs::remove_dir_all(&folder);
    for line in told?.lines() {
        let parts: Vec<&str> = line.split(" | ").collect();
        let ["Kotlin", what, figure] = parts.as_slice() else {
            eprintln!("   {line}");
            continue;
        };
        let budget = BUDGETS.iter().find(|(of, _)| what == of);
        let (number, unit) = figure.split_once(' ').unwrap_or((figure, ""));
        let number: f64 = number.parse().map_err(|e| format!("{line}: {e}"))?;
        let budget = budget.map(|(_, most)| *most);
        Figure { what, budget, figure: number, unit, command: COMMAND }.print(json);
    }
    Ok(())
}

#[expect(clippy::cast_precision_loss, reason = "megabytes")]
fn millions(bytes: u64) -> f64 {
    bytes as f64 / 1e6
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_library_over_its_budget_is_a_failure() {
        assert_eq!(within_budget(MOST_BYTES), Ok(()));
        assert!(within_budget(MOST_BYTES + 1).is_err());
    }
}
