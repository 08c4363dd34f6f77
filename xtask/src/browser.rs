//! Stories of phones and desks in a real browser, on a page that was built quickly, and what the page weighs as it is
//! shipped. Knows which tools that takes; the stories are in `tests/browser`.

use std::path::Path;
use std::process::Command;

use crate::page;
use crate::page_compiler;
use crate::parts::program;
use crate::run::{Outcome, cargo, has, programs, root, run, target};
use crate::tools::{NODE, is_current};

const BROWSER: Outcome =
    Outcome::Missing { tool: "Chromium with its driver", bring: "apt-get install chromium chromium-driver" };

/// The page that stories are told on.
pub(crate) fn page() -> Outcome {
    if page_compiler::is_there() { page::for_stories() } else { page_compiler::MISSING }
}

/// All stories, two at a time: more browsers on a small machine wait for each other. [`page()`] comes before.
pub(crate) fn part() -> Outcome {
    if !page::of_stories().join("index.html").is_file() {
        return Outcome::Missing { tool: "the page", bring: "cargo xtask browser" };
    }
    ready().and(|| run(stories()))
}

/// The same, with pictures in a folder.
pub(crate) fn shots(folder: &str) -> Outcome {
    let folder = std::env::current_dir().unwrap_or_else(|_| root()).join(folder);
    let mut stories = stories();
    stories.env("BACKSTRAIGHT_SHOTS", &folder);
    ready().and(|| run(stories)).and(|| {
        println!("pictures: {}", folder.display());
        Outcome::Passed
    })
}

/// What the page weighs and how fast it opens, with the server as it is shipped.
pub(crate) fn bench(args: &[String]) -> Outcome {
    let server = cargo(&[
        "build",
        "--release",
        "--locked",
        "--package",
        "backstraight-server",
        "--bin",
        "backstraight",
    ]);
    ready().and(|| run(server)).and(|| {
        let mut bench = Command::new(target().join("debug/bench-app"));
        bench
            .current_dir(root())
            .args(args)
            .env("BACKSTRAIGHT_PROGRAM", target().join("release/backstraight"));
        run(bench)
    })
}

fn stories() -> Command {
    // The workspace as a whole, as everywhere: of another choice of packages all libraries would be compiled again.
    let args =
        ["test", "--locked", "--workspace", "--test", "browser", "--", "--ignored", "--test-threads", "2"];
    let mut stories = cargo(&args);
    stories.env("BACKSTRAIGHT_STORY_PAGE", page::of_stories());
    stories
}

/// Brings and builds what they need.
fn ready() -> Outcome {
    if !has("chromedriver") || !["chromium", "chromium-browser", "google-chrome"].iter().any(|name| has(name))
    {
        return BROWSER;
    }
    if !has("npm") {
        return NODE;
    }
    let folder = root().join("tests/browser/axe");
    axe(&folder).and(programs)
}

/// Brings the library that looks for what keeps people out.
fn axe(folder: &Path) -> Outcome {
    if is_current(&folder.join("package-lock.json"), &folder.join("node_modules/.package-lock.json")) {
        return Outcome::Passed;
    }
    let mut npm = program("npm");
    npm.current_dir(folder).args(["ci", "--no-audit", "--no-fund", "--ignore-scripts"]);
    run(npm)
}
