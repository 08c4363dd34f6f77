//! Which compiler makes the page: rustup's, whose parts are brought when they are missing, else Debian's. Where the
//! standard library is there as source it is compiled once, for size, and kept: as it is shipped it is made for speed,
//! and in a page of many lists sorting alone would take a tenth. A page for people then also stops at a panic without
//! making a text of it: the script around the page says that it stopped, and a page to work on says why.

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
/// How the standard library is compiled for a page that people get.
const STD_FOR_SIZE: [&str; 3] =
    ["-Zbuild-std-features=optimize_for_size", "--config", "profile.release.opt-level=\"s\""];
/// Which parts of it, and what stops at a panic: the usual one, and the one that says nothing.
const STD_AS_USUAL: &str = "-Zbuild-std=std,panic_abort";
const STD_WITHOUT_WORDS: &str = "-Zbuild-std=std";
const WITHOUT_WORDS: [&str; 2] = ["-Zunstable-options", "-Cpanic=immediate-abort"];
/// Lets a stable compiler take what is not settled yet.
const UNSETTLED: (&str, &str) = ("RUSTC_BOOTSTRAP", "1");
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
            apt-get install rustc-web cargo-web rust-web-src lld-22 lld)",
};

/// A compiler that can make the page.
pub(crate) struct Compiler {
    /// In words.
    pub(crate) what: &'static str,
    /// Whose it is.
    from: From,
    /// Where it builds: each compiler in a folder of its own, or every change of it would build all anew.
    pub(crate) out: PathBuf,
    /// The standard library that was compiled here, if it was.
    sysroot: Option<PathBuf>,
    /// Whether a panic stops the page without a text.
    without_words: bool,
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum From {
    Rustup,
    Debian,
}

/// Finds one, and brings what is missing where that is possible. A page to work on (`dev`) is made with the standard
/// library as it is shipped, where one is.
pub(crate) fn find(dev: bool) -> Result<Compiler, Outcome> {
    let asked = env::var(VARIABLE).ok();
    let found = match asked.as_deref() {
        Some("rustup") => rustup(),
        Some("debian") => debian(),
        Some(other) => return Err(Outcome::Failed(format!("{VARIABLE} is rustup or debian, not {other}"))),
        None => rustup().or_else(debian),
    };
    let mut compiler = found.ok_or(MISSING)?;
    let shipped = compiler.from == From::Rustup;
    if shipped && (dev || !has_source()) {
        if !dev {
            println!("   the standard library is taken as it is shipped: the page gets larger");
        }
        return Ok(compiler);
    }
    compiler.without_words = !dev && compiler.stops_without_words();
    compiler.make_std().map_err(Outcome::Failed)?;
    Ok(compiler)
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
    let compiler = Compiler {
        what: "the workspace's compiler",
        from: From::Rustup,
        out,
        sysroot: None,
        without_words: false,
    };
    has_target().then_some(compiler)
}

/// Whether the workspace's compiler has the standard library as source; brings it where rustup can.
fn has_source() -> bool {
    let there = || {
        let mut ask = Command::new("rustc");
        ask.current_dir(run::root()).args(["--print", "sysroot"]);
        read(ask).is_ok_and(|at| Path::new(at.trim()).join("lib/rustlib/src/rust/library/std").is_dir())
    };
    if !there() && has("rustup") {
        println!("-> rustup component add rust-src");
        let mut add = Command::new("rustup");
        add.current_dir(run::root()).args(["component", "add", "rust-src"]);
        if let Outcome::Failed(why) = run::run(add) {
            println!("   {why}");
        }
    }
    there()
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

fn debian() -> Option<Compiler> {
    let out = run::target().join("page/debian");
    let compiler =
        Compiler { what: "Debian's compiler", from: From::Debian, out, sysroot: None, without_words: false };
    debian_is_there().then_some(compiler)
}

impl Compiler {
    /// A cargo command that compiles for browsers.
    pub(crate) fn cargo(&self, args: &[&str]) -> Command {
        let mut command = self.plain(args);
        command.args(["--target", TARGET]).env("CARGO_TARGET_DIR", &self.out);
        // No path of the machine gets into the page, and another folder makes the same bytes.
        let mut flags: Vec<String> = Vec::new();
        for (folder, word) in [(run::root(), "."), (cargo_home(), "cargo")] {
            flags.push(format!("--remap-path-prefix={}={word}", folder.display()));
        }
        // Views without their types: a page of many screens is smaller by that.
        flags.extend(["--cfg".to_owned(), "erase_components".to_owned()]);
        // Says what refers to what, by which `pack` takes out the part that an athlete's device does not need.
        flags.push("-Clink-args=--emit-relocs".to_owned());
        flags.extend(self.sysroot.iter().map(|folder| format!("--sysroot={}", folder.display())));
        if self.without_words {
            flags.extend(WITHOUT_WORDS.map(str::to_owned));
            command.env(UNSETTLED.0, UNSETTLED.1);
        }
        command.env_remove("RUSTFLAGS").env("CARGO_ENCODED_RUSTFLAGS", flags.join("\u{1f}"));
        command
    }

    /// Its cargo as such.
    fn plain(&self, args: &[&str]) -> Command {
        match self.from {
            From::Rustup => cargo(args),
            From::Debian => debians(args),
        }
    }

    /// A question to the compiler itself.
    fn ask(&self, args: &[&str]) -> Command {
        let mut ask = Command::new(if self.from == From::Debian { DEBIAN_RUSTC } else { "rustc" });
        ask.current_dir(run::root()).args(args);
        ask
    }

    /// Whether this compiler can stop at a panic without making a text of it.
    fn stops_without_words(&self) -> bool {
        let mut ask = self.ask(&WITHOUT_WORDS);
        ask.args(["--print", "sysroot"]).env(UNSETTLED.0, UNSETTLED.1).stderr(Stdio::null());
        read(ask).is_ok()
    }

    /// Compiles the standard library for browsers, unless this compiler's is there already.
    fn make_std(&mut self) -> Result<(), String> {
        let failed = |path: &Path, e: std::io::Error| format!("{}: {e}", path.display());
        // Each kind in a folder of its own: pages to work on and pages for people are built in turns.
        let (name, parts) =
            if self.without_words { ("std-terse", STD_WITHOUT_WORDS) } else { ("std", STD_AS_USUAL) };
        let sysroot = self.out.join(name);
        let mut flags = vec!["-Cembed-bitcode=yes"];
        if self.without_words {
            flags.extend(WITHOUT_WORDS);
        }
        let how = [&[parts], &STD_FOR_SIZE[..], &flags].concat();
        let version = format!("{}{}\n", read(self.ask(&["-vV"]))?, how.join(" "));
        let stamp = sysroot.join("made-with.txt");
        self.sysroot = Some(sysroot.clone());
        if fs::read_to_string(&stamp).is_ok_and(|made| made == version) {
            return Ok(());
        }
        println!("-> compiling the standard library for browsers: a minute or two, once");
        let begun = Instant::now();
        let around = self.out.join(format!("{name}-build"));
        fs::create_dir_all(around.join("src")).map_err(|e| failed(&around, e))?;
        let manifest =
            "[package]\nname = \"nothing\"\nversion = \"0.0.0\"\nedition = \"2024\"\n\n[workspace]\n";
        for (name, text) in [("Cargo.toml", manifest), ("src/lib.rs", "//! Only its libraries are wanted.\n")]
        {
            fs::write(around.join(name), text).map_err(|e| failed(&around, e))?;
        }
        let mut build = self.plain(&["build", "--release", "--target", TARGET]);
        build
            .arg(parts)
            .args(STD_FOR_SIZE)
            .current_dir(&around)
            .env("CARGO_TARGET_DIR", around.join("target"))
            .env(UNSETTLED.0, UNSETTLED.1);
        // Link-time optimisation of the page needs it.
        build.env_remove("RUSTFLAGS").env("CARGO_ENCODED_RUSTFLAGS", flags.join("\u{1f}"));
        if let Outcome::Failed(why) = run::run(build) {
            return Err(why);
        }
        let into = sysroot.join("lib/rustlib").join(TARGET).join("lib");
        if sysroot.exists() {
            fs::remove_dir_all(&sysroot).map_err(|e| failed(&sysroot, e))?;
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
    command.env("RUSTC", DEBIAN_RUSTC).env("CARGO_TARGET_WASM32_UNKNOWN_UNKNOWN_LINKER", debians_linker());
    command
}

/// The newest of Debian's linkers: an old one writes what refers to what in a way that parts of the page cannot be
/// taken out by.
fn debians_linker() -> String {
    let files = fs::read_dir("/usr/bin").into_iter().flatten().flatten();
    let names = files.map(|file| file.file_name().to_string_lossy().into_owned());
    let newest = names.filter_map(|name| name.strip_prefix("wasm-ld-")?.parse::<u32>().ok()).max();
    newest.map_or_else(|| "wasm-ld".to_owned(), |n| format!("wasm-ld-{n}"))
}

fn cargo_home() -> PathBuf {
    let home = || env::home_dir().unwrap_or_default().join(".cargo");
    env::var_os("CARGO_HOME").map_or_else(home, PathBuf::from)
}
