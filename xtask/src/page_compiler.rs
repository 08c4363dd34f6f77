//! Which compiler makes the page. With rustup its part for WebAssembly is enough, and is brought when it is missing;
//! else Debian's compiler, whose package has the standard library as source: that is compiled once and kept.

use std::env;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::Instant;

use crate::run::{self, Outcome, cargo, has, read};

/// What the page is compiled for.
pub(crate) const TARGET: &str = "wasm32-unknown-unknown";
/// Chooses between the two ways: `rustup` or `debian`.
const VARIABLE: &str = "BACKSTRAIGHT_PAGE_COMPILER";
/// Where Debian puts what it needs.
const DEBIAN_RUSTC: &str = "/usr/bin/rustc";
const DEBIAN_CARGO: &str = "/usr/bin/cargo";
const DEBIAN_STD: &str = "/usr/lib/rustlib/src/rust/library/std";
/// What an outer cargo of rustup tells its children, and another compiler must not hear.
const OF_RUSTUP: [&str; 8] = [
    "CARGO",
    "RUSTUP_TOOLCHAIN",
    "RUSTUP_HOME",
    "RUSTDOC",
    "RUSTC",
    "RUSTC_WRAPPER",
    "LD_LIBRARY_PATH",
    "CARGO_MAKEFLAGS",
];

pub(crate) const MISSING: Outcome = Outcome::Missing {
    tool: "a compiler for WebAssembly",
    bring: "rustup target add wasm32-unknown-unknown   (without rustup, on Debian 12: \
            apt-get install rustc-web cargo-web rust-web-src lld)",
};

/// A compiler that can make the page.
pub(crate) struct Compiler {
    /// In words.
    pub(crate) what: &'static str,
    /// Where it builds: each compiler in a folder of its own, or every change of it would build all anew.
    pub(crate) out: PathBuf,
    /// The standard library that was compiled for Debian's; rustup's brings its own.
    sysroot: Option<PathBuf>,
}

/// Finds one, and brings what is missing where that is possible.
pub(crate) fn find() -> Result<Compiler, Outcome> {
    let asked = env::var(VARIABLE).ok();
    match asked.as_deref() {
        Some("rustup") => rustup().ok_or(MISSING),
        Some("debian") => debian()?.ok_or(MISSING),
        Some(other) => Err(Outcome::Failed(format!("{VARIABLE} is rustup or debian, not {other}"))),
        None => match rustup() {
            Some(compiler) => Ok(compiler),
            None => debian()?.ok_or(MISSING),
        },
    }
}

/// Whether there is one, without bringing anything.
pub(crate) fn is_there() -> bool {
    has_target() || has("rustup") || debian_is_there()
}

fn rustup() -> Option<Compiler> {
    if !has_target() && has("rustup") {
        println!("-> rustup target add {TARGET}");
        let mut add = Command::new("rustup");
        add.current_dir(run::root()).args(["target", "add", TARGET]);
        if let Outcome::Failed(why) = run::run(add) {
            println!("   {why}");
        }
    }
    let out = run::target().join("page/rustup");
    has_target().then_some(Compiler { what: "the workspace's compiler", out, sysroot: None })
}

/// Whether the compiler that the workspace uses has the standard library for browsers.
fn has_target() -> bool {
    let mut ask = Command::new("rustc");
    ask.current_dir(run::root()).args(["--print", "target-libdir", "--target", TARGET]).stderr(Stdio::null());
    let Ok(folder) = read(ask) else { return false };
    let files = fs::read_dir(folder.trim()).into_iter().flatten().flatten();
    files.into_iter().any(|file| file.file_name().to_string_lossy().starts_with("libstd-"))
}

fn debian_is_there() -> bool {
    [DEBIAN_RUSTC, DEBIAN_CARGO, DEBIAN_STD].iter().all(|path| Path::new(path).exists()) && has("wasm-ld")
}

fn debian() -> Result<Option<Compiler>, Outcome> {
    if !debian_is_there() {
        return Ok(None);
    }
    let home = run::target().join("page");
    let sysroot = home.join("std");
    let compiler =
        Compiler { what: "Debian's compiler", out: home.join("debian"), sysroot: Some(sysroot.clone()) };
    compiler.make_std(&sysroot).map_err(Outcome::Failed)?;
    Ok(Some(compiler))
}

impl Compiler {
    /// A cargo command that compiles for browsers.
    pub(crate) fn cargo(&self, args: &[&str]) -> Command {
        let mut command = match self.sysroot {
            None => cargo(args),
            Some(_) => debians(args),
        };
        command.args(["--target", TARGET]).env("CARGO_TARGET_DIR", &self.out);
        // No path of the machine gets into the page, and another folder makes the same bytes.
        let mut flags: Vec<String> = Vec::new();
        for (folder, word) in [(run::root(), "."), (cargo_home(), "cargo")] {
            flags.push(format!("--remap-path-prefix={}={word}", folder.display()));
        }
        // Views without their types: a page of many screens is smaller by that.
        flags.extend(["--cfg".to_owned(), "erase_components".to_owned()]);
        flags.extend(self.sysroot.iter().map(|folder| format!("--sysroot={}", folder.display())));
        command.env_remove("RUSTFLAGS").env("CARGO_ENCODED_RUSTFLAGS", flags.join("\u{1f}"));
        command
    }

    /// Compiles the standard library for browsers, unless this compiler's is there already.
    fn make_std(&self, sysroot: &Path) -> Result<(), String> {
        let failed = |path: &Path, e: std::io::Error| format!("{}: {e}", path.display());
        let mut ask = Command::new(DEBIAN_RUSTC);
        ask.arg("-vV");
        let version = read(ask)?;
        let stamp = sysroot.join("made-with.txt");
        if fs::read_to_string(&stamp).is_ok_and(|made| made == version) {
            return Ok(());
        }
        println!("-> compiling the standard library for browsers: a minute or two, once");
        let begun = Instant::now();
        let around = self.out.join("std-build");
        fs::create_dir_all(around.join("src")).map_err(|e| failed(&around, e))?;
        let manifest =
            "[package]\nname = \"nothing\"\nversion = \"0.0.0\"\nedition = \"2024\"\n\n[workspace]\n";
        for (name, text) in [("Cargo.toml", manifest), ("src/lib.rs", "//! Only its libraries are wanted.\n")]
        {
            fs::write(around.join(name), text).map_err(|e| failed(&around, e))?;
        }
        let mut build = debians(&["build", "--release", "-Zbuild-std=std,panic_abort", "--target", TARGET]);
        build.current_dir(&around).env("CARGO_TARGET_DIR", around.join("target")).env("RUSTC_BOOTSTRAP", "1");
        // Link-time optimisation of the page needs it.
        build.env_remove("RUSTFLAGS").env("CARGO_ENCODED_RUSTFLAGS", "-Cembed-bitcode=yes");
        if let Outcome::Failed(why) = run::run(build) {
            return Err(why);
        }
        let into = sysroot.join("lib/rustlib").join(TARGET).join("lib");
        if sysroot.exists() {
            fs::remove_dir_all(sysroot).map_err(|e| failed(sysroot, e))?;
        }
        fs::create_dir_all(&into).map_err(|e| failed(&into, e))?;
        let made = around.join("target").join(TARGET).join("release/deps");
        for file in fs::read_dir(&made).map_err(|e| failed(&made, e))? {
            let path = file.map_err(|e| failed(&made, e))?.path();
            let name = path.file_name().unwrap_or_default();
            if path.extension().is_some_and(|e| e == "rlib") && !name.to_string_lossy().contains("nothing") {
                fs::copy(&path, into.join(name)).map_err(|e| failed(&path, e))?;
            }
        }
        println!("   compiled: {:.1} s", begun.elapsed().as_secs_f64());
        fs::write(&stamp, version).map_err(|e| failed(&stamp, e))
    }
}

/// Debian's cargo with Debian's compiler and linker.
fn debians(args: &[&str]) -> Command {
    let mut command = Command::new(DEBIAN_CARGO);
    command.current_dir(run::root()).args(args);
    for name in OF_RUSTUP {
        command.env_remove(name);
    }
    command.env("RUSTC", DEBIAN_RUSTC).env("CARGO_TARGET_WASM32_UNKNOWN_UNKNOWN_LINKER", "wasm-ld");
    command
}

fn cargo_home() -> PathBuf {
    let home = || env::home_dir().unwrap_or_default().join(".cargo");
    env::var_os("CARGO_HOME").map_or_else(home, PathBuf::from)
}
