//! `cargo xtask page`: core and the pages compiled for browsers, and made into the files that a server hands out
//! (`app/dist`). Knows which steps there are; which compiler does it is [`crate::page_compiler`]'s business.

use std::path::{Path, PathBuf};
use std::time::Instant;

use crate::page_compiler;
use crate::run::{self, Outcome, cargo};

/// Where a page for stories goes, beside the one that somebody may be about to ship: `target/page/stories`.
#[must_use]
pub(crate) fn of_stories() -> PathBuf {
    run::target().join("page/stories")
}

/// Where the files go: the server's build takes them from there, and a debug build of the server reads them there.
const OUT: &str = "app/dist";

/// Builds the page; with `--dev` quickly and readable rather than small.
pub(crate) fn part(args: &[String]) -> Outcome {
    match args {
        [] => build(false, Path::new(OUT)),
        [dev] if dev == "--dev" => build(true, Path::new(OUT)),
        _ => Outcome::Failed(format!("cargo xtask page takes --dev alone, not {}", args.join(" "))),
    }
}

/// Builds the page for somebody who wants to look at it.
pub(crate) fn for_people() -> Outcome {
    if !run::root().join(OUT).join("index.html").is_file() {
        println!("-> building the pages first: the first time this takes some minutes");
    }
    build(false, Path::new(OUT))
}

/// Builds the page for stories, quickly: they are about what it does, not how small it is.
pub(crate) fn for_stories() -> Outcome {
    build(true, &of_stories())
}

fn build(dev: bool, out: &Path) -> Outcome {
    let compiler = match page_compiler::find(dev) {
        Ok(compiler) => compiler,
        Err(outcome) => return outcome,
    };
    println!("-> compiling core and the pages with {}", compiler.what);
    let begun = Instant::now();
    let profile = if dev { "dev" } else { "page" };
    let mut build = compiler.cargo(&["build", "--locked", "--package", "backstraight-app", "--lib"]);
    build.args(["--profile", profile]);
    let folder = if dev { "debug" } else { profile };
    let compiled = compiler.out.join(page_compiler::TARGET).join(folder).join("backstraight_app.wasm");
    run::run(build)
        .and(|| {
            println!("   compiled: {:.1} s", begun.elapsed().as_secs_f64());
            println!("-> making files of it in {}", out.display());
            let mut pack = cargo(&["run", "--quiet", "--locked", "--package", "backstraight-pack", "--"]);
            pack.arg(&compiled).arg("app/web").arg(out);
            if dev {
                pack.arg("--dev");
            }
            run::run(pack)
        })
        .and(|| {
            if out == Path::new(OUT) {
                println!(
                    "-> the page is in {OUT}: a debug build of the server serves it, a release build takes it in"
                );
            }
            Outcome::Passed
        })
}
