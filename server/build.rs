//! Takes the built page (`app/dist`) into a release build. A debug build reads it there when it starts, so that a
//! change of the page compiles no server. Knows names of files and nothing of what is in them.

use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    println!("cargo::rerun-if-changed=build.rs");
    println!("cargo::rustc-check-cfg=cfg(page_inside)");
    let inside = std::env::var("PROFILE")? == "release";
    let dist = Path::new(&std::env::var("CARGO_MANIFEST_DIR")?).join("../app/dist");
    println!("cargo::rustc-env=BACKSTRAIGHT_DIST={}", dist.display());
    if !inside {
        return Ok(());
    }
    println!("cargo::rustc-cfg=page_inside");
    println!("cargo::rerun-if-changed={}", dist.display());
    let mut files = Vec::new();
    walk(&dist, &dist, &mut files)?;
    files.sort();
    if files.is_empty() {
        println!("cargo::warning=this server serves no page: run `cargo xtask page` before building it");
    }
    let mut table = String::from("&[\n");
    for (name, path) in files {
        writeln!(table, "    ({name:?}, include_bytes!({:?})),", fs::canonicalize(path)?)?;
    }
    table.push(']');
    fs::write(Path::new(&std::env::var("OUT_DIR")?).join("page.rs"), table)?;
    Ok(())
}

/// All files under a folder but hidden ones, by their names from `top` on.
fn walk(
    top: &Path,
    folder: &Path,
    files: &mut Vec<(String, PathBuf)>,
) -> Result<(), Box<dyn std::error::Error>> {
    let Ok(entries) = fs::read_dir(folder) else { return Ok(()) };
    for entry in entries {
        let path = entry?.path();
        let name = path.strip_prefix(top)?.to_string_lossy().replace('\\', "/");
        if name.starts_with('.') {
            continue;
        }
        if path.is_dir() {
            walk(top, &path, files)?;
        } else {
            files.push((name, path));
        }
    }
    Ok(())
}
