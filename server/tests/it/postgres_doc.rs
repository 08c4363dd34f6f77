//! The commands of `docs/postgresql.md` are run as they stand there.

use std::path::Path;
use std::process::Command;

use backstraight_cluster::Cluster;
use serde_json::Value;

use crate::command_line::{Served, now};
use crate::support::{Device, log};

/// What a person has who does what the page says: a database server, its programs, a name there.
struct Desk<'a> {
    cluster: &'a Cluster,
    dir: &'a Path,
}

impl Desk<'_> {
    /// The address of a database, for the user who owns it and may nothing else.
    fn address(&self, database: &str) -> String {
        format!("host={} user=club dbname={database}", self.cluster.folder().display())
    }

    fn run(&self, blocks: &[&str]) -> String {
        let program = Path::new(env!("CARGO_BIN_EXE_backstraight")).parent().unwrap();
        let path = [self.dir.join("bin"), program.to_owned(), self.cluster.programs().to_owned()];
        let path = path.map(|p| p.display().to_string()).join(":");
        let out = Command::new("sh")
            .args(["-euxc", &blocks.concat()])
            .env("PATH", format!("{path}:{}", std::env::var("PATH").unwrap()))
            .env("PGHOST", self.cluster.folder())
            .env("PGUSER", "backstraight")
            .env("DATA", self.dir.join("data"))
            .env("BACKUPS", self.dir.join("backups"))
            .env("BACKSTRAIGHT_DATABASE", self.address("club"))
            .env("AGAIN", self.address("club_again"))
            .env("OTHER", self.address("club_other"))
            .output()
            .unwrap();
        let said = String::from_utf8_lossy(&out.stdout).into_owned() + &String::from_utf8_lossy(&out.stderr);
        assert!(out.status.success(), "{said}");
        said
    }

    fn command(&self, args: &[&str], data: &str, database: &str) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_backstraight"));
        command.args(args).arg("--data").arg(self.dir.join(data)).env_clear();
        command.env("BACKSTRAIGHT_DATABASE", self.address(database));
        command
    }

    fn id(&self, args: &[&str]) -> String {
        let out = self.command(args, "data", "club").arg("--json").output().unwrap();
        let said: Value = serde_json::from_slice(&out.stdout).unwrap();
        said.get("id").or(said.get("code")).and_then(Value::as_str).unwrap().to_owned()
    }

    fn serve(&self, data: &str, database: &str) -> Served {
        Served::of(&mut self.command(&["serve", "--listen", "127.0.0.1:0"], data, database)).unwrap()
    }
}

fn blocks<'a>(page: &'a str, language: &str) -> Vec<&'a str> {
    let begin = format!("```{language}\n");
    page.split(begin.as_str()).skip(1).map(|rest| rest.split("```").next().unwrap()).collect()
}

#[test]
#[ignore = "needs PostgreSQL: cargo xtask postgres"]
fn every_command_of_the_page_about_postgresql_does_what_it_says() {
    let page = include_str!("../../../docs/postgresql.md");
    let [make, backup, restore, dump, bring_back] = blocks(page, "sh")[..] else {
        panic!("the page has other blocks than this test knows");
    };
    let [clean] = blocks(page, "sql")[..] else { panic!("the page has more SQL than this test knows") };
    let dir = tempfile::tempdir().unwrap();
    for folder in ["bin", "backups"] {
        std::fs::create_dir(dir.path().join(folder)).unwrap();
    }
    // The owner of the database server, without a change of user.
    let sudo = dir.path().join("bin/sudo");
    std::fs::write(&sudo, "#!/bin/sh\nshift 2\nexec \"$@\"\n").unwrap();
    assert!(Command::new("chmod").arg("+x").arg(&sudo).status().unwrap().success());
    let cluster = Cluster::start();
    cluster.put_sql("postgres", "CREATE ROLE club LOGIN");
    let desk = Desk { cluster: &cluster, dir: dir.path() };

    desk.run(&[make]);
    let club = desk.id(&["club", "add", "Cinder Lane"]);
    let athlete = desk.id(&["person", "add", "Mira Aalto", "--club", &club, "--role", "athlete"]);
    let served = desk.serve("data", "club");
    let mut phone = Device::enrol(&served.url, &desk.id(&["invite", &athlete]), now());
    let name = log(phone.person);
    phone.say(name, "before");
    phone.settle();
    let said = desk.run(&[backup, dump]);
    assert!(said.contains("sha256") && said.contains("trouble"), "{said}");
    phone.say(name, "acknowledged since");
    phone.settle();
    let (heads, mut epochs) = (phone.heads(name), vec![phone.epoch.clone()]);
    drop(served);

    // Both ways back: devices notice, send what was lost, and nobody enrols again.
    desk.run(&[restore, bring_back]);
    let mut serving = Vec::new();
    for (data, database) in [("data-again", "club_again"), ("data-other", "club_other")] {
        let served = desk.serve(data, database);
        phone.url.clone_from(&served.url);
        phone.settle();
        assert!(!epochs.contains(&phone.epoch), "{database}: another epoch");
        epochs.push(phone.epoch.clone());
        let code = {
            let mut invite = desk.command(&["invite", &athlete, "--json"], data, database);
            let made: Value = serde_json::from_slice(&invite.output().unwrap().stdout).unwrap();
            made.get("code").and_then(Value::as_str).unwrap().to_owned()
        };
        let mut tablet = Device::enrol(&served.url, &code, now());
        tablet.settle();
        assert_eq!(tablet.words(name), ["acknowledged since", "before"], "{database}");
        assert_eq!(tablet.heads(name), heads, "{database}");
        serving.push(served);
    }
    // What is to be run after an erasure is run beside a server, by the owner of the database.
    let psql = |line: &str| format!("psql \"$AGAIN\" --set ON_ERROR_STOP=1 --command '{line}'\n");
    let statements: Vec<String> = clean.lines().map(psql).collect();
    assert_eq!(statements.len(), 2, "{clean}");
    desk.run(&statements.iter().map(String::as_str).collect::<Vec<_>>());
    phone.url.clone_from(&serving[0].url);
    phone.say(name, "afterwards");
    phone.settle();
    drop(serving);
    let checked = desk.command(&["check", "--json"], "data-again", "club_again").output().unwrap();
    let checked: Value = serde_json::from_slice(&checked.stdout).unwrap();
    assert_eq!(
        (checked["documents"].as_u64(), checked["trouble"].as_array().map(Vec::len)),
        (Some(1), Some(0))
    );
}
