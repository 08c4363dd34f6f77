//! Every screen of everybody of the invented club, on a phone and at a desk: pictures to be looked at, and the rules
//! that a machine can hold them to.

use backstraight_browser::{Kind, Seat, Stage};
use serde_json::json;

/// Goes there, waits until nothing is awaited any more, and looks.
fn look(seat: &Seat, screen: &Screen, wrong: &mut Vec<String>) {
    let name = &screen.picture;
    // By way of another screen: what was open on this one is gone then.
    seat.run("document.querySelector('dialog[open]')?.close()", Vec::new());
    seat.go("/#/help");
    seat.wait_to_see("heading", "The marks");
    seat.go(&format!("/#/{}", screen.path));
    wait_for_answers(seat);
    (screen.then)(seat);
    wait_for_answers(seat);
    for dark in [true, false] {
        seat.dark(dark);
        let shade = if dark { "-dark" } else { "" };
        seat.shot(&format!("{name}{shade}"));
        let found = if dark { seat.too_faint() } else { seat.breaches() };
        wrong.extend(found.0.into_iter().map(|w| format!("{name}{shade}, {:?}: {w}", seat.kind)));
    }
}

/// Waits until nothing is awaited from the server any more, and until what came is drawn.
fn wait_for_answers(seat: &Seat) {
    seat.wait_for(
        "the screen is there",
        "return document.querySelector('main')?.innerText.trim().length > 0 && !document.querySelector('main progress')",
    );
    seat.promise("await new Promise((r) => requestAnimationFrame(() => setTimeout(r, 150)))", Vec::new());
}

/// A screen to look at: the part of its address after `#/`, the name of its picture, and what is done on it first.
struct Screen {
    path: String,
    picture: String,
    then: fn(&Seat),
}

fn screen(path: impl Into<String>, picture: impl Into<String>) -> Screen {
    Screen { path: path.into(), picture: picture.into(), then: |_| () }
}

impl Screen {
    fn then(self, then: fn(&Seat)) -> Screen {
        Screen { then, ..self }
    }
}

/// All screens of one person, on a phone and at a desk. `open` waits for the first one, and tells the others.
fn screens_of(name: &str, open: impl Fn(&Seat) -> Vec<Screen>) {
    let stage = Stage::of_the_club();
    let mut wrong = Vec::new();
    for kind in [Kind::Phone, Kind::Desk] {
        let seat = stage.come_in(kind, name);
        for screen in open(&seat) {
            look(&seat, &screen, &mut wrong);
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// Screens that are where their name says.
fn named(whose: &str, paths: &[&str]) -> impl Iterator<Item = Screen> {
    paths.iter().map(move |path| screen(*path, format!("{whose}-{path}")))
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
        let of_session = [
            screen(&*session, "athlete-session"),
            screen(&*session, "athlete-set").then(|seat| seat.tap("button", "Differently")),
            screen(&*session, "athlete-swap").then(|seat| seat.tap("button", "Swap")),
            screen(&*session, "athlete-leave-out").then(|seat| seat.tap("button", "Leave out")),
            screen(&*session, "athlete-pain").then(|seat| seat.tap("button", "Something hurts")),
            screen(&*session, "athlete-place").then(|seat| seat.tap("button", "Choose a place")),
            screen(&*session, "athlete-rest").then(|seat| {
                seat.run(
                    "[...document.querySelectorAll('article')].find((a) => a.innerText.includes('Hang power clean')) \
                     .querySelector('.button.big').click()",
                    Vec::new(),
                );
                seat.wait_to_see("button", "Stop rest");
            }),
            screen(close, "athlete-close"),
            screen("today", "athlete-menu").then(|seat| seat.tap("button", "More")),
        ];
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
            .map(|part| screen(format!("{athlete}/{part}"), format!("coach-athlete-{part}")));
        let plan = athlete.replace("athlete/", "plan/");
        let acts = [
            screen(&*plan, "coach-plan"),
            screen(&*plan, "coach-plan-editor").then(|seat| {
                seat.wait_for("today", "return document.querySelector('.desk-day.now .desk-open') !== null");
                seat.run("document.querySelector('.desk-day.now .desk-open').click()", Vec::new());
            }),
            screen(&*plan, "coach-plan-season").then(|seat| seat.tap("button", "Season")),
            screen(athlete.replace("athlete/", "talk/"), "coach-talk-one"),
            screen("test-day", "coach-test-day-grid").then(|seat| {
                seat.choose("Test", "Standing long jump");
            }),
            screen("library", "coach-library-open").then(|seat| seat.tap("button", "Back squat (")),
            screen("library", "coach-library-tests").then(|seat| seat.tap("tab", "Tests")),
            screen("people", "coach-people-open").then(|seat| seat.tap("button", "Open Hanne Oakrill")),
            screen("reports", "coach-report-week").then(|seat| seat.choose("Athlete", "Ines Tarrowby")),
            screen("reports", "coach-report-squad").then(|seat| seat.tap("radio", "Week of a squad")),
            screen("reports", "coach-report-wall").then(|seat| seat.tap("radio", "Sheet for the wall")),
            screen("reports", "coach-report-tables").then(|seat| seat.tap("radio", "Tables")),
        ];
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
        parts.into_iter().chain(acts).chain(others).collect()
    });
}

#[test]
#[ignore = "needs a browser: cargo xtask browser"]
fn screens_of_care_staff() {
    screens_of("Linnea", |seat| {
        let athlete = screen(leads_to(seat, "Ines Tarrowby"), "care-athlete");
        core::iter::once(athlete).chain(named("care", &["people", "unsent", "settings", "help"])).collect()
    });
}
