//! The story by Swift. Debian has its compiler from version 13 on, so where there is none on the path it is put
//! into a folder with a system of its own: some minutes and 3 GB, once. Not part of `cargo xtask test`.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use super::{FEWER_CYCLES, copy, tell};
use crate::bindings;
use crate::run::{Outcome, has, root, run, target};

const MISSING: Outcome = Outcome::Missing {
    tool: "a Swift compiler, or root with debootstrap for a system that has one",
    bring: "apt-get install debootstrap",
};
/// Where the story is compiled, within that system.
const PLACE: &str = "story";

/// Compiles the bindings in both language modes, tells the story and strains the doors.
pub(super) fn part() -> Outcome {
    if has("swiftc") {
        let place = target().join("doors/swift-compiled");
        return bindings::build().and(|| all(&place, &place, &|program| Command::new(program)));
    }
    let home = system();
    if !has("chroot") || !(has("debootstrap") || home.join("usr/bin/swiftc").is_file()) {
        return MISSING;
    }
    let inside = Path::new("/").join(PLACE);
    bindings::build().and(|| make(&home)).and(|| {
        with_proc(&home, || {
            all(&home.join(PLACE), &inside, &|program| {
                let mut command = Command::new("chroot");
                command.arg(&home).arg(program);
                command
            })
        })
    })
}

/// The system with a compiler; `BACKSTRAIGHT_SWIFT_SYSTEM` names another place.
fn system() -> PathBuf {
    std::env::var_os("BACKSTRAIGHT_SWIFT_SYSTEM")
        .map_or_else(|| target().join("doors/swift-system"), PathBuf::from)
}

fn make(home: &Path) -> Outcome {
    if home.join("usr/bin/swiftc").is_file() {
        return Outcome::Passed;
    }
    let mut system = Command::new("debootstrap");
    system
        .args(["--variant=minbase", "--include=gcc,libc6-dev,binutils,libstdc++-14-dev", "trixie"])
        .arg(home);
    let mut compiler = Command::new("chroot");
    compiler.arg(home).args(["apt-get", "install", "-y", "-qq", "--no-install-recommends", "swiftlang"]);
    run(system).and(|| run(compiler))
}

/// The compiler finds its libraries by way of /proc.
fn with_proc(home: &Path, then: impl FnOnce() -> Outcome) -> Outcome {
    let proc = home.join("proc");
    let mut mount = Command::new("mount");
    mount.args(["-t", "proc", "proc"]).arg(&proc);
    run(mount).and(|| {
        let outcome = then();
        let mut unmount = Command::new("umount");
        unmount.arg(&proc);
        match run(unmount) {
            Outcome::Passed => outcome,
            failed => failed,
        }
    })
}

/// `place` is the folder, `inside` the same as the compiler sees it.
fn all(place: &Path, inside: &Path, command: &dyn Fn(&str) -> Command) -> Outcome {
    if let Err(why) = put(place) {
        return Outcome::Failed(why);
    }
    let map = format!("-fmodule-map-file={}/BackstraightFFI.modulemap", inside.display());
    let at = |name: &str| inside.join(name).display().to_string();
    let swiftc = |args: &[&str]| {
        let mut swiftc = command("/usr/bin/swiftc");
        swiftc.args(args).args(["-I", &at(""), "-L", &at(""), "-lbackstraight", "-Xcc", &map]);
        swiftc
    };
    let bindings =
        [at("Backstraight.swift"), at("Mark.swift"), at("UrlCourier.swift"), at("KeychainKeys.swift")];
    let mut typed = swiftc(&["-typecheck", "-swift-version", "6"]);
    typed.args(&bindings);
    let mut library =
        swiftc(&["-module-name", "Backstraight", "-emit-library", "-emit-module", "-parse-as-library"]);
    library.args([
        "-swift-version",
        "5",
        "-o",
        &at("libBackstraight.so"),
        "-emit-module-path",
        &at("Backstraight.swiftmodule"),
    ]);
    library.args(&bindings);
    let mut story = swiftc(&[
        "-swift-version",
        "5",
        "-lBackstraight",
        "-o",
        &at("story"),
        "-Xlinker",
        "-rpath",
        "-Xlinker",
        &at(""),
    ]);
    story.args([at("main.swift"), at("Strain.swift")]);
    run(typed)
        .and(|| run(library))
        .and(|| run(story))
        .and(|| {
            let mut strain = command(&at("story"));
            strain.arg("--strain").arg(at("strain")).arg(FEWER_CYCLES);
            run(strain)
        })
        .and(|| {
            let seen = ["scenario.json", "backstraight", "server", "phones"].map(|name| inside.join(name));
            tell(command(&at("story")), &place.join("server"), &seen)
        })
}

/// Puts everything that is compiled into an empty folder.
fn put(place: &Path) -> Result<(), String> {
    if place.exists() {
        fs::remove_dir_all(place).map_err(|e| format!("{}: {e}", place.display()))?;
    }
    for folder in ["strain", "phones"] {
        fs::create_dir_all(place.join(folder)).map_err(|e| format!("{}: {e}", place.display()))?;
    }
    let bindings = root().join("ffi/bindings/swift");
    for name in ["Backstraight.swift", "Mark.swift", "BackstraightFFI.h", "BackstraightFFI.modulemap"] {
        copy(&bindings.join(name), &place.join(name))?;
    }
    for name in ["UrlCourier.swift", "KeychainKeys.swift"] {
        copy(&root().join("ffi/apple/Sources/Backstraight").join(name), &place.join(name))?;
    }
    for name in ["main.swift", "Strain.swift", "scenario.json"] {
        copy(&root().join("tests/doors").join(name), &place.join(name))?;
    }
    copy(&target().join("debug/backstraight"), &place.join("backstraight"))?;
    let library = bindings::library();
    copy(&library, &place.join(library.file_name().ok_or("a library without a name")?))
}
