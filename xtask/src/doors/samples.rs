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
        on_server("python", Guest::New("coach"), |link, folder| {
            let mut sample = Command::new(&python);
            sample.arg("-B").arg(root().join("ffi/samples/squad.py")).arg(folder).arg(link);
            run(sample).and(|| {
                let made = |name: &str| fs::read_to_string(folder.join(name)).unwrap_or_default();
                let (table, picture) = (made("sets.csv"), made("weeks.svg"));
                let (lines, points) = (table.lines().count(), picture.matches("<circle").count());
                if lines < 2 || points < 2 || !picture.contains("Tilde Ravnsborg") {
                    return Outcome::Failed(format!("ffi/samples/squad.py: {lines} lines, {points} points"));
                }
                println!("Python: the sample made a table of {lines} lines and a picture of {points} points");
                Outcome::Passed
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

/// The companion in a terminal, by the athlete of the story, who has a session today.
pub(super) fn kotlin() -> Outcome {
    on_server("kotlin", Guest::Again("Tilde Ravnsborg"), |link, folder| {
        let cellar = |words: &[&str]| {
            let mut cellar = kotlin_class("CellarKt")?;
            // The day of the story.
            cellar.env("TZ", "UTC").arg(folder).args(words);
            read(cellar)
        };
        let said = |words: &[&str], wanted: &str| {
            let told = cellar(words)?;
            print!("{told}");
            if told.contains(wanted) { Ok(()) } else { Err(format!("{words:?}: no {wanted:?}")) }
        };
        let all = || {
            said(&["enrol", link], "hello, Tilde Ravnsborg")?;
            said(&["send"], "changes came, 0 wait")?;
            said(&["log", "0", "60", "5"], "saved")?;
            said(&["today"], "60.0 kg x 5  (saved here)")?;
            said(&["close", "30", "6.5"], "saved")?;
            said(&["send"], "0 wait")?;
            said(&["today"], "60.0 kg x 5  (with the coach)")
        };
        match all() {
            Ok(()) => Outcome::Passed,
            Err(why) => Outcome::Failed(format!("ffi/samples/Cellar.kt: {why}")),
        }
    })
}

/// Who runs a sample.
#[derive(Clone, Copy)]
enum Guest {
    /// Somebody of that role who is new there.
    New(&'static str),
    /// Somebody of that name whom the story knows.
    Again(&'static str),
}

/// Starts the server of a story again, for somebody with an invitation.
fn on_server(story: &str, guest: Guest, then: impl FnOnce(&str, &Path) -> Outcome) -> Outcome {
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
        let person = match guest {
            Guest::New(role) => {
                field(&machine(&["person", "add", "Wren Hollowell", "--club", &club, "--role", role])?, "id")?
            }
            Guest::Again(name) => {
                let all = machine(&["person", "list", "--club", &club])?;
                let one = all.split('{').find(|one| one.contains(&format!("\"{name}\"")));
                field(one.unwrap_or_default(), "id")?
            }
        };
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
