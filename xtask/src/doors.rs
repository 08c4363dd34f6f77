//! One story told by several languages, by way of the doors of the phone library, to a real server. Knows how
//! each language is compiled and run, and which tools that takes; the story is `tests/doors/scenario.json`.

use std::fs;
use std::io::{BufRead as _, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};

use crate::bindings;
use crate::run::{Outcome, has, root, run, target};

const PYTHON: Outcome = Outcome::Missing { tool: "python3", bring: "apt-get install python3" };

/// `cargo xtask doors [LANGUAGE]`.
pub(crate) fn part(args: &[String]) -> Outcome {
    match args {
        [] => rust().and(python),
        [one] if one == "rust" => rust(),
        [one] if one == "python" => python(),
        _ => Outcome::Failed("cargo xtask doors [rust | python | kotlin | swift]".to_owned()),
    }
}

/// The story, by the Rust facade itself.
pub(crate) fn rust() -> Outcome {
    told("rust", |_| {
        let mut runner = Command::new(target().join("debug/doors"));
        runner.current_dir(root());
        Ok(runner)
    })
}

/// The story, by Python.
pub(crate) fn python() -> Outcome {
    if !has("python3") {
        return PYTHON;
    }
    told("python", |work| {
        let mut runner = Command::new("python3");
        runner.arg("-B").arg(root().join("tests/doors/run.py")).env("PYTHONPATH", python_home(work)?);
        Ok(runner)
    })
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

/// Starts a server on a folder of its own and has a runner tell the story to it.
fn told(language: &str, runner: impl FnOnce(&Path) -> Result<Command, String>) -> Outcome {
    bindings::build().and(|| {
        let work = target().join("doors").join(language);
        match prepare(&work).and_then(|()| runner(&work)) {
            Ok(runner) => match Server::start(&work.join("server")) {
                Ok(server) => tell(runner, &server, &work.join("phones")),
                Err(why) => Outcome::Failed(why),
            },
            Err(why) => Outcome::Failed(why),
        }
    })
}

fn tell(mut runner: Command, server: &Server, work: &Path) -> Outcome {
    runner.arg(root().join("tests/doors/scenario.json")).arg(program()).arg(&server.data);
    runner.arg(&server.url).arg(work);
    run(runner)
}

/// An empty folder for one telling.
fn prepare(work: &Path) -> Result<(), String> {
    if work.exists() {
        fs::remove_dir_all(work).map_err(|e| format!("{}: {e}", work.display()))?;
    }
    fs::create_dir_all(work.join("phones")).map_err(|e| format!("{}: {e}", work.display()))
}

fn program() -> PathBuf {
    target().join("debug/backstraight")
}

/// A server of its own, ended with this.
struct Server {
    child: Child,
    data: PathBuf,
    url: String,
}

impl Server {
    fn start(data: &Path) -> Result<Server, String> {
        let mut command = Command::new(program());
        command.arg("serve").arg("--data").arg(data).args(["--listen", "127.0.0.1:0", "--log", "info"]);
        command.stdout(Stdio::null()).stderr(Stdio::piped());
        let mut child = command.spawn().map_err(|e| format!("{}: {e}", program().display()))?;
        let log = child.stderr.take().ok_or("a server without a log")?;
        let mut lines = BufReader::new(log).lines();
        let mut before = String::new();
        for line in lines.by_ref().map_while(Result::ok) {
            if let Some(address) = address(&line) {
                let url = format!("http://{address}");
                // Read on, so that it is never held up.
                std::thread::spawn(move || lines.for_each(drop));
                return Ok(Server { child, data: data.to_owned(), url });
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
