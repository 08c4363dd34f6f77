//! The commands of `docs/operating.md` are run as they stand there.

use std::process::Command;

use crate::command_line::{Served, run};
use crate::support::Server;

#[test]
fn every_command_of_the_page_does_what_it_says() {
    let page = include_str!("../../../docs/operating.md");
    let commands: Vec<&str> =
        page.split("```sh\n").skip(1).map(|rest| rest.split("```").next().unwrap()).collect();
    let curls = |text: &str| text.matches("curl --").count();
    assert!(curls(page) >= 5 && commands.iter().map(|c| curls(c)).sum::<usize>() == curls(page));
    let dir = tempfile::tempdir().unwrap();
    let (data, backups) = (dir.path().join("data"), dir.path().join("backups"));
    std::fs::create_dir(&backups).unwrap();
    let served = Served::with(&data, &["--metrics-listen", "127.0.0.1:0"]);
    let bin = std::path::Path::new(env!("CARGO_BIN_EXE_backstraight")).parent().unwrap();
    let out = Command::new("sh")
        .args(["-euxc", &commands.concat()])
        .env("PATH", format!("{}:{}", bin.display(), std::env::var("PATH").unwrap()))
        .env("DATA", &data)
        .env("BACKUPS", &backups)
        .env("URL", &served.url)
        .env("METRICS", &served.metrics)
        .env("no_proxy", "127.0.0.1")
        .output()
        .unwrap();
    let said = String::from_utf8_lossy(&out.stdout).into_owned() + &String::from_utf8_lossy(&out.stderr);
    assert!(out.status.success(), "{said}");
    for word in ["\"athletes\":", "\"status\":", "backstraight_storage_stopped 0", "Cinder Lane"] {
        assert!(said.contains(word), "{word}: {said}");
    }
    // The limits that it writes are taken.
    let limits = dir.path().join("data-limits.toml");
    let again = Served::with(&dir.path().join("other"), &["--limits", limits.to_str().unwrap()]);
    assert!(again.url.starts_with("http://"));
}

#[test]
fn the_program_asks_a_server_whether_it_is_there() {
    let dir = tempfile::tempdir().unwrap();
    let server = Server::on(&dir.path().join("data"));
    let ask = || {
        let bin = env!("CARGO_BIN_EXE_backstraight");
        Command::new(bin).args(["healthy", "--url", &server.url]).env_clear().status().unwrap().success()
    };
    assert!(ask());
    let nobody = Command::new(env!("CARGO_BIN_EXE_backstraight"))
        .args(["healthy", "--url", "http://127.0.0.1:1"])
        .env_clear()
        .output()
        .unwrap();
    assert!(!nobody.status.success());
    assert!(String::from_utf8_lossy(&nobody.stderr).contains("not healthy"));
    assert!(!run(&["serve", "--listen", "127.0.0.1:0", "--tls-cert", "x"], dir.path()).status.success());
}

/// Figures of the page are those that were measured.
#[test]
fn figures_of_the_page_stand_in_the_benchmarks() {
    let page = include_str!("../../../docs/operating.md");
    let measured = include_str!("../../../docs/benchmarks.md").replace(',', "");
    let table = page.split("| what | measured | so |").nth(1).unwrap().split("\n\n").next().unwrap();
    let mut seen = 0;
    for cell in table.lines().filter_map(|line| line.split('|').nth(2)) {
        for word in cell.replace(',', "").split_whitespace() {
            if word.chars().any(|c| c.is_ascii_digit()) {
                assert!(measured.contains(&format!(" {word} ")), "{word}");
                seen += 1;
            }
        }
    }
    assert!(seen >= 8, "{seen}");
}
