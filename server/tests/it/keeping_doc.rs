//! The commands of `docs/keeping.md` are run as they stand there.

use std::process::Command;

use crate::command_line::{Served, json, now, text};
use crate::support::{Device, log};

#[test]
fn every_command_of_the_page_does_what_it_says() {
    let page = include_str!("../../../docs/keeping.md");
    let commands: Vec<&str> =
        page.split("```sh\n").skip(1).map(|rest| rest.split("```").next().unwrap()).collect();
    assert!(commands.len() >= 8, "{commands:?}");
    let dir = tempfile::tempdir().unwrap();
    let (data, backups) = (dir.path().join("data"), dir.path().join("backups"));
    std::fs::create_dir(&backups).unwrap();
    let club = json(&["club", "add", "Cinder Lane"], &data);
    let club = text(&club, "id").to_owned();
    let athlete = json(&["person", "add", "Mira Aalto", "--club", &club, "--role", "athlete"], &data);
    let athlete = text(&athlete, "id").to_owned();
    // The server runs meanwhile, and somebody has written something.
    let served = Served::with(&data, &[]);
    let code = json(&["invite", &athlete], &data);
    let mut phone = Device::enrol(&served.url, text(&code, "code"), now());
    phone.say(log(phone.person), "a word");
    phone.settle();
    let noted = json(&["audit", "--club", &club, "--limit", "1"], &data);
    let bin = std::path::Path::new(env!("CARGO_BIN_EXE_backstraight")).parent().unwrap();
    let out = Command::new("sh")
        .args(["-euxc", &commands.concat()])
        .env("PATH", format!("{}:{}", bin.display(), std::env::var("PATH").unwrap()))
        .env("DATA", &data)
        .env("BACKUPS", &backups)
        .env("ATHLETE", &athlete)
        .env("CLUB", &club)
        .env("LINK", text(&noted[0], "link"))
        .output()
        .unwrap();
    let said = String::from_utf8_lossy(&out.stdout).into_owned() + &String::from_utf8_lossy(&out.stderr);
    assert!(out.status.success(), "{said}");
    for word in ["sha256", "erased again", "nothing was erased yet", "documents erased", "left alone"] {
        assert!(said.contains(word), "{word}: {said}");
    }
    assert!(dir.path().join("data-copy/README.txt").exists());
    assert!(dir.path().join("data-restored/backstraight.db").exists());
}
