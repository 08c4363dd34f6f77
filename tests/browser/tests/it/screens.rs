//! Every screen of everybody of the invented club, on a phone and at a desk: pictures to be looked at, and the rules
//! that a machine can hold them to.

use backstraight_browser::{Kind, Seat, Stage};
use serde_json::json;

/// Goes there, waits until nothing is awaited any more, and looks.
fn look(seat: &Seat, path: &str, name: &str, wrong: &mut Vec<String>) {
    seat.go(&format!("/#/{path}"));
    seat.wait_for(
        "the screen is there",
        "return document.querySelector('main')?.innerText.trim().length > 0 && !document.querySelector('.busy, [aria-busy=true]')",
    );
    seat.promise("await new Promise((r) => requestAnimationFrame(() => setTimeout(r, 150)))", Vec::new());
    for dark in [true, false] {
        seat.dark(dark);
        let shade = if dark { "-dark" } else { "" };
        seat.shot(&format!("{name}{shade}"));
        wrong.extend(seat.breaches().0.into_iter().map(|w| format!("{name}{shade}, {:?}: {w}", seat.kind)));
    }
}

/// All screens of one person, on a phone and at a desk. `open` waits for the first one, and tells the parts of an
/// address after `#/` with the name of the picture.
fn screens_of(name: &str, open: impl Fn(&Seat) -> Vec<(String, String)>) {
    let stage = Stage::of_the_club();
    let mut wrong = Vec::new();
    for kind in [Kind::Phone, Kind::Desk] {
        let seat = stage.come_in(kind, name);
        for (path, picture) in open(&seat) {
            look(&seat, &path, &picture, &mut wrong);
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// Screens that are where their name says.
fn named(whose: &str, paths: &[&str]) -> impl Iterator<Item = (String, String)> {
    paths.iter().map(move |path| ((*path).to_owned(), format!("{whose}-{path}")))
}

/// The part of an address after `#/` to which a link with that text leads.
#[track_caller]
fn leads_to(seat: &Seat, text: &str) -> String {
    seat.wait_to_see("link", text);
    let hash = seat.run(
        "return [...document.querySelectorAll('main a')].find((a) => a.innerText.includes(arguments[0])).hash",
        vec![json!(text)],
    );
    hash.as_str().unwrap_or_default().trim_start_matches("#/").to_owned()
}

#[test]
#[ignore = "needs a browser: cargo xtask browser"]
fn screens_of_an_athlete() {
    screens_of("Ines", |seat| {
        let session = leads_to(seat, "Go on");
        let close = session.replace("session", "close");
        let of_session = [(session, "athlete-session".to_owned()), (close, "athlete-close".to_owned())];
        let others = named(
            "athlete",
            &[
                "today", "check-in", "weeks", "tests", "records", "talk", "my-data", "unsent", "settings",
                "help",
            ],
        );
        of_session.into_iter().chain(others).collect()
    });
}

#[test]
#[ignore = "needs a browser: cargo xtask browser"]
fn screens_of_a_coach() {
    screens_of("Marta", |seat| {
        let athlete = leads_to(seat, "Ines Tarrowby");
        let parts = ["overview", "sessions", "load", "trends", "tests", "availability"]
            .map(|part| (format!("{athlete}/{part}"), format!("coach-athlete-{part}")));
        let plan = (athlete.replace("athlete/", "plan/"), "coach-plan".to_owned());
        let others = named(
            "coach",
            &[
                "board",
                "attention",
                "talk",
                "test-day",
                "proposals",
                "records",
                "library",
                "people",
                "reports",
                "unsent",
                "settings",
                "help",
            ],
        );
        parts.into_iter().chain([plan]).chain(others).collect()
    });
}

#[test]
#[ignore = "needs a browser: cargo xtask browser"]
fn screens_of_care_staff() {
    screens_of("Linnea", |seat| {
        let athlete = (leads_to(seat, "Ines Tarrowby"), "care-athlete".to_owned());
        core::iter::once(athlete).chain(named("care", &["people", "unsent", "settings", "help"])).collect()
    });
}
