//! The programs in `ffi/samples`, run as their heads say, on the server of the story.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use super::{PYTHON, Server, bindings, kotlin_class, server};
use crate::run::{Outcome, read, root, run, target};

/// The wheel in an environment with nothing else, and the coach's evening with the squad's logs.
pub(super) fn python() -> Outcome {
    let home = target().join("doors/python-wheel");
    wheel(&home).and(|| {
        let python = home.join("env/bin/python");
        on_server("python", "coach", |link, folder| {
            let mut sample = Command::new(&python);
            sample.arg("-B").arg(root().join("ffi/samples/squad.py")).arg(folder).arg(link);
            run(sample).and(|| {
                let table = fs::read_to_string(folder.join("sets.csv")).unwrap_or_default();
                match table.lines().count() {
                    0..=1 => Outcome::Failed("ffi/samples/squad.py: no sets in the table".to_owned()),
                    n => {
                        println!("Python: the sample made a table of {n} lines");
                        Outcome::Passed
                    }
                }
            })
        })
    })
}

fn wheel(home: &Path) -> Outcome {
    if home.exists()
        && let Err(e) = fs::remove_dir_all(home)
    {
        return Outcome::Failed(format!("{}: {e}", home.display()));
    }
    let mut make = Command::new("python3");
    make.arg("-B").arg(root().join("ffi/python/wheel.py")).arg(bindings::library());
    make.arg(env!("CARGO_PKG_VERSION")).arg(home);
    let made = match read(make) {
        Ok(path) => PathBuf::from(path.trim()),
        Err(why) => return Outcome::Failed(why),
    };
    let mut venv = Command::new("python3");
    venv.args(["-m", "venv"]).arg(home.join("env"));
    if let Outcome::Failed(why) = run(venv) {
        println!("{why}");
        return PYTHON;
    }
    let mut pip = Command::new(home.join("env/bin/python"));
    pip.args(["-m", "pip", "install", "--quiet", "--disable-pip-version-check", "--no-index"]).arg(made);
    run(pip)
}

/// The companion in a terminal.
pub(super) fn kotlin() -> Outcome {
    on_server("kotlin", "athlete", |link, folder| {
        let cellar = |words: &[&str]| match kotlin_class("CellarKt") {
            Ok(mut cellar) => {
                cellar.arg(folder).args(words);
                run(cellar)
            }
            Err(why) => Outcome::Failed(why),
        };
        cellar(&["enrol", link]).and(|| cellar(&["send"])).and(|| cellar(&["today"]))
    })
}

/// Starts the server of a story again, for somebody who is new there and has an invitation.
fn on_server(story: &str, role: &str, then: impl FnOnce(&str, &Path) -> Outcome) -> Outcome {
    let work = target().join("doors").join(story);
    let data = work.join("server");
    let start = || {
        let running = Server::start(&data)?;
        let machine = |args: &[&str]| {
            let mut command = Command::new(server());
            command.args(args).arg("--data").arg(&data).arg("--json");
            read(command)
        };
        let club = field(&machine(&["club", "list"])?, "id")?;
        let new = ["person", "add", "Wren Hollowell", "--club", &club, "--role", role];
        let person = field(&machine(&new)?, "id")?;
        let link = field(&machine(&["invite", &person, "--url", &running.url])?, "link")?;
        Ok::<_, String>((running, link))
    };
    match start() {
        Ok((_running, link)) => then(&link, &work.join("sample")),
        Err(why) => Outcome::Failed(why),
    }
}

/// The first text of that name in JSON that our own program printed.
fn field(json: &str, name: &str) -> Result<String, String> {
    let after = json.split_once(&format!("\"{name}\": \"")).map(|(_, after)| after);
    let value = after.and_then(|after| after.split_once('"')).map(|(value, _)| value);
    value.map(str::to_owned).ok_or_else(|| format!("no {name} in {json}"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_field_is_found() {
        assert_eq!(field("[{\n  \"id\": \"ab-1\",\n  \"name\": \"x\"}]", "id"), Ok("ab-1".to_owned()));
        assert!(field("{}", "id").is_err());
    }
}
