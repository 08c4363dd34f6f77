//! One story told by several languages, by way of the doors of the phone library, to a real server. Knows how
//! each language is compiled and run, and which tools that takes; the story is `tests/doors/scenario.json`.

use std::fs;
use std::io::{BufRead as _, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};

use crate::bindings;
use crate::parts::program;
use crate::run::{Outcome, has, root, run, target};
use crate::tools::{NODE, is_current};

pub(crate) mod bench;
mod samples;
mod swift;

const PYTHON: Outcome = Outcome::Missing { tool: "python3", bring: "apt-get install python3" };
const JAVA: Outcome =
    Outcome::Missing { tool: "Java with JNA", bring: "apt-get install default-jre-headless libjna-java" };
/// Stands for another process that has the folder.
const FLOCK: Outcome = Outcome::Missing { tool: "flock", bring: "apt-get install util-linux" };
const JNA: &str = "/usr/share/java/jna.jar";
/// How often a folder is opened and shut: so often in one language, less in the others.
const CYCLES: &str = "10000";
const FEWER_CYCLES: &str = "2000";

/// `cargo xtask doors [LANGUAGE]`.
pub(crate) fn part(args: &[String]) -> Outcome {
    match args {
        [] => rust().and(python).and(kotlin),
        [one] => match one.as_str() {
            "rust" => rust(),
            "python" => python(),
            "kotlin" => kotlin(),
            "swift" => swift::part(),
            _ => unknown(),
        },
        _ => unknown(),
    }
}

fn unknown() -> Outcome {
    Outcome::Failed("cargo xtask doors [rust | python | kotlin | swift]".to_owned())
}

/// The story, by the Rust facade itself.
pub(crate) fn rust() -> Outcome {
    let runner = |_: &Path| Ok(Command::new(target().join("debug/doors")));
    bindings::build().and(|| told("rust", runner))
}

/// The story and the strain, by Python.
pub(crate) fn python() -> Outcome {
    if !has("python3") {
        return PYTHON;
    }
    if !has("flock") {
        return FLOCK;
    }
    let runner = |script: &'static str| {
        move |work: &Path| {
            let mut runner = Command::new("python3");
            runner.arg("-B").arg(root().join("tests/doors").join(script));
            runner.env("PYTHONPATH", python_home(work)?);
            Ok(runner)
        }
    };
    bindings::build()
        .and(|| told("python", runner("run.py")))
        .and(|| strained("python", FEWER_CYCLES, runner("strain.py")))
        .and(samples::python)
}

/// The story and the strain, by Kotlin.
pub(crate) fn kotlin() -> Outcome {
    if !has("java") || !Path::new(JNA).is_file() {
        return JAVA;
    }
    if !has("npm") {
        return NODE;
    }
    if !has("flock") {
        return FLOCK;
    }
    let runner = |class: &'static str| move |_: &Path| kotlin_class(class);
    bindings::build()
        .and(kotlin_compiler)
        .and(compile_kotlin)
        .and(|| told("kotlin", runner("RunKt")))
        .and(|| strained("kotlin", CYCLES, runner("StrainKt")))
        .and(samples::kotlin)
}

/// A compiled program of the story's.
fn kotlin_class(class: &str) -> Result<Command, String> {
    let mut java = Command::new("java");
    // Little memory, so that what is not let go of is seen.
    java.args(["-Xmx32m", "-XX:+UseSerialGC"]);
    java.arg(format!("-Djna.library.path={}", library_folder()?.display()));
    java.arg("-cp").arg(class_path()?).arg(class);
    Ok(java)
}

fn class_path() -> Result<String, String> {
    let story = kotlin_home().join("story.jar");
    let stdlib = compiler().join("lib/kotlin-stdlib.jar");
    Ok(format!("{}:{}:{JNA}:{}", story.display(), bindings_jar()?.display(), stdlib.display()))
}

fn compiler() -> PathBuf {
    root().join("tests/doors/node_modules/kotlin-compiler")
}

fn kotlin_home() -> PathBuf {
    target().join("doors/kotlin-compiled")
}

fn kotlin_compiler() -> Outcome {
    let folder = root().join("tests/doors");
    if is_current(&folder.join("package-lock.json"), &folder.join("node_modules/.package-lock.json")) {
        return Outcome::Passed;
    }
    let mut npm = program("npm");
    npm.current_dir(&folder).args(["ci", "--no-audit", "--no-fund", "--ignore-scripts"]);
    run(npm)
}

/// What the bindings are compiled to: named by what they are made from, for they take most of the time.
fn bindings_jar() -> Result<PathBuf, String> {
    let mut of = 0xcbf2_9ce4_8422_2325_u64;
    for file in bindings_of_kotlin() {
        let text = fs::read(&file).map_err(|e| format!("{}: {e}", file.display()))?;
        of = text.iter().fold(of, |of, byte| (of ^ u64::from(*byte)).wrapping_mul(0x0100_0000_01b3));
    }
    Ok(kotlin_home().join(format!("bindings-{of:016x}.jar")))
}

fn bindings_of_kotlin() -> [PathBuf; 2] {
    let folder = root().join("ffi/bindings/kotlin/backstraight");
    ["backstraight.kt", "mark.kt"].map(|name| folder.join(name))
}

fn compile_kotlin() -> Outcome {
    if let Err(e) = fs::create_dir_all(kotlin_home()) {
        return Outcome::Failed(format!("{}: {e}", kotlin_home().display()));
    }
    let jar = match bindings_jar() {
        Ok(jar) => jar,
        Err(why) => return Outcome::Failed(why),
    };
    let kotlinc = |classes: &str| {
        let mut kotlinc = Command::new("java");
        kotlinc.arg("-cp").arg(compiler().join("lib/kotlin-compiler.jar"));
        kotlinc.args([
            "org.jetbrains.kotlin.cli.jvm.K2JVMCompiler",
            "-no-reflect",
            "-no-stdlib",
            "-nowarn",
            "-cp",
        ]);
        kotlinc.arg(format!("{classes}{JNA}:{}", compiler().join("lib/kotlin-stdlib.jar").display()));
        kotlinc
    };
    let made = if jar.is_file() {
        Outcome::Passed
    } else {
        // Made under another name, so that one that was cut off is not taken for whole.
        let draft = kotlin_home().join("draft.jar");
        let mut bindings = kotlinc("");
        bindings.arg("-d").arg(&draft).args(bindings_of_kotlin());
        run(bindings).and(|| match fs::rename(&draft, &jar) {
            Ok(()) => Outcome::Passed,
            Err(e) => Outcome::Failed(format!("{}: {e}", jar.display())),
        })
    };
    made.and(|| {
        let mut story = kotlinc(&format!("{}:", jar.display()));
        story.arg("-d").arg(kotlin_home().join("story.jar"));
        story.args(["Run.kt", "Strain.kt", "Bench.kt"].map(|name| root().join("tests/doors").join(name)));
        story.arg(root().join("ffi/samples/Cellar.kt"));
        story.arg(root().join("ffi/android/src/main/kotlin/backstraight/HttpCourier.kt"));
        run(story)
    })
}

fn library_folder() -> Result<PathBuf, String> {
    bindings::library().parent().map(Path::to_owned).ok_or_else(|| "a library without a folder".to_owned())
}

/// The bindings with the library beside them, as an app has them.
fn python_home(work: &Path) -> Result<PathBuf, String> {
    let home = work.join("python");
    fs::create_dir_all(&home).map_err(|e| format!("{}: {e}", home.display()))?;
    let bindings = root().join("ffi/bindings/python");
    for name in ["backstraight.py", "backstraight_mark.py"] {
        copy(&bindings.join(name), &home.join(name))?;
    }
    let library = bindings::library();
    let name = library.file_name().ok_or("a library without a name")?;
    copy(&library, &home.join(name))?;
    Ok(home)
}

fn copy(from: &Path, to: &Path) -> Result<(), String> {
    fs::copy(from, to).map(|_| ()).map_err(|e| format!("{} to {}: {e}", from.display(), to.display()))
}

/// Has a runner bring about errors, and open and shut a folder many times: in memory where there is a folder
/// in memory, for a disk takes its time.
fn strained(language: &str, cycles: &str, runner: impl FnOnce(&Path) -> Result<Command, String>) -> Outcome {
    let work = target().join("doors").join(language);
    let memory = Path::new("/dev/shm").join(format!("backstraight-doors-{}", std::process::id()));
    let folder = if fs::create_dir(&memory).is_ok() { memory } else { work.join("strain") };
    let outcome = match fs::create_dir_all(&folder).map_err(|e| e.to_string()).and_then(|()| runner(&work)) {
        Ok(mut runner) => {
            runner.arg(&folder).arg(cycles);
            run(runner)
        }
        Err(why) => Outcome::Failed(why),
    };
    // What is left there takes memory and nothing else.
    let _ = fs::remove_dir_all(&folder);
    outcome
}

/// Starts a server on a folder of its own and has a runner tell the story to it.
fn told(language: &str, runner: impl FnOnce(&Path) -> Result<Command, String>) -> Outcome {
    let work = target().join("doors").join(language);
    let seen = [root().join("tests/doors/scenario.json"), server(), work.join("server"), work.join("phones")];
    match prepare(&work).and_then(|()| runner(&work)) {
        Ok(runner) => tell(runner, &work.join("server"), &seen),
        Err(why) => Outcome::Failed(why),
    }
}

/// Starts a server on a folder and has a runner tell the story: it is handed the story, the server's program,
/// that folder and one for phones as it sees them.
fn tell(mut runner: Command, data: &Path, [story, program, data_seen, phones]: &[PathBuf; 4]) -> Outcome {
    match Server::start(data) {
        Ok(server) => {
            runner.arg(story).arg(program).arg(data_seen).arg(&server.url).arg(phones);
            run(runner)
        }
        Err(why) => Outcome::Failed(why),
    }
}

/// An empty folder for one telling.
fn prepare(work: &Path) -> Result<(), String> {
    if work.exists() {
        fs::remove_dir_all(work).map_err(|e| format!("{}: {e}", work.display()))?;
    }
    fs::create_dir_all(work.join("phones")).map_err(|e| format!("{}: {e}", work.display()))
}

fn server() -> PathBuf {
    target().join("debug/backstraight")
}

/// A server of its own, ended with this.
struct Server {
    child: Child,
    url: String,
}

impl Server {
    fn start(data: &Path) -> Result<Server, String> {
        let mut command = Command::new(server());
        command.arg("serve").arg("--data").arg(data).args(["--listen", "127.0.0.1:0", "--log", "info"]);
        command.stdout(Stdio::null()).stderr(Stdio::piped());
        let mut child = command.spawn().map_err(|e| format!("{}: {e}", server().display()))?;
        let log = child.stderr.take().ok_or("a server without a log")?;
        let mut lines = BufReader::new(log).lines();
        let mut before = String::new();
        for line in lines.by_ref().map_while(Result::ok) {
            if let Some(address) = address(&line) {
                let url = format!("http://{address}");
                // Read on, so that it is never held up.
                std::thread::spawn(move || lines.for_each(drop));
                return Ok(Server { child, url });
            }
            before.push_str(&line);
            before.push('\n');
        }
        // It has ended; what it said is told.
        let _ = child.wait();
        Err(format!("the server did not start:\n{before}"))
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        // It may have ended by itself.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// The address in the line with which a server says that it is there.
fn address(line: &str) -> Option<&str> {
    let at = line.find("127.0.0.1:").filter(|_| line.contains("\"serving\""))?;
    let rest = line.get(at..)?;
    let end = rest.find(|c: char| !c.is_ascii_digit() && c != '.' && c != ':').unwrap_or(rest.len());
    rest.get(..end)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_address_is_read_from_the_log() {
        let line = r#"{"level":"INFO","message":"serving","address":"127.0.0.1:43210"}"#;
        assert_eq!(address(line), Some("127.0.0.1:43210"));
        assert_eq!(address(r#"{"message":"other","address":"127.0.0.1:43210"}"#), None);
    }
}
