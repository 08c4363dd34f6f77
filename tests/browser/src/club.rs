//! The invented club with weeks of plans and logs, made once by the demo's program; each story gets a copy of the
//! server's folder. Knows the demo's program by what it prints, and no browser.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::OnceLock;
use std::time::Duration;

use serde_json::Value;

use crate::built::{copy, program};
use crate::must::{found, must};
use crate::process::{Server, end, wait_for};

/// How long the demo may take on a machine that has a lot else to do.
const PATIENCE: Duration = Duration::from_secs(400);

/// A folder of a server in which the club lives, for this run of the stories.
fn made() -> &'static Path {
    static MADE: OnceLock<PathBuf> = OnceLock::new();
    MADE.get_or_init(|| {
        let folder = program("demo").with_file_name("club-of-stories");
        if folder.exists() {
            must(fs::remove_dir_all(&folder), "the club of the run before");
        }
        let mut demo = Command::new(program("demo"));
        demo.arg("--dir").arg(&folder).stdout(Stdio::piped()).stderr(Stdio::inherit()).stdin(Stdio::null());
        let mut child = must(demo.spawn(), "starting the demo");
        let said = found(child.stdout.take(), "what the demo says");
        // Then everything is in place, and the server is lost as a machine is lost.
        wait_for(said, "the demo", PATIENCE, |line| line.contains("Stop it with Ctrl-C").then_some(()));
        end(Some(child));
        folder.join("server")
    })
}

/// Puts the club into a folder for a server.
pub(crate) fn put(data: &Path) {
    copy(made(), data, &|_| true);
}

/// A link by which one browser becomes a device of that person.
pub(crate) fn way_in(server: &Server, name: &str) -> String {
    let clubs = read(&server.command(&["club", "list", "--json"]));
    let club = text(clubs.get(0), "id");
    let all = read(&server.command(&["person", "list", "--club", &club, "--json"]));
    let is = |p: &&Value| p.get("name").and_then(Value::as_str).is_some_and(|n| n.starts_with(name));
    let person = found(all.as_array().and_then(|all| all.iter().find(is)), name);
    let id = text(Some(person), "id");
    text(Some(&read(&server.command(&["invite", &id, "--json", "--url", &server.url()]))), "link")
}

fn read(json: &str) -> Value {
    must(serde_json::from_str(json), json)
}

fn text(of: Option<&Value>, field: &str) -> String {
    found(of.and_then(|v| v.get(field)).and_then(Value::as_str), field).to_owned()
}
