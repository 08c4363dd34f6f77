//! Every screen of everybody of the invented club, on a phone and at a desk: pictures to be looked at, and the rules
//! that a machine can hold them to.

use backstraight_browser::{Kind, Seat, Stage};

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

#[test]
#[ignore = "needs a browser: cargo xtask browser"]
fn screens_of_an_athlete() {
    let stage = Stage::of_the_club();
    let mut wrong = Vec::new();
    for kind in [Kind::Phone, Kind::Desk] {
        let seat = stage.come_in(kind, "Ines");
        seat.wait_to_see("link", "Go on");
        let session =
            seat.run("return document.querySelector('main a[href*=session]').hash.slice(2)", Vec::new());
        let session = session.as_str().unwrap().to_owned();
        let close = session.replace("session", "close");
        for (path, name) in [
            ("today", "today"),
            (session.as_str(), "session"),
            (close.as_str(), "close"),
            ("check-in", "check-in"),
            ("weeks", "weeks"),
            ("tests", "tests"),
            ("records", "records"),
            ("talk", "talk"),
            ("my-data", "my-data"),
            ("unsent", "unsent"),
            ("settings", "settings"),
            ("help", "help"),
        ] {
            look(&seat, path, &format!("athlete-{name}"), &mut wrong);
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
#[ignore = "needs a browser: cargo xtask browser"]
fn screens_of_a_coach() {
    let stage = Stage::of_the_club();
    let mut wrong = Vec::new();
    for kind in [Kind::Phone, Kind::Desk] {
        let seat = stage.come_in(kind, "Marta");
        seat.wait_to_see("link", "Ines Tarrowby");
        let athlete = seat.run(
            "return [...document.querySelectorAll('a')].find((a) => a.innerText.includes('Ines Tarrowby')).hash.split('/')[2]",
            Vec::new(),
        );
        let athlete = athlete.as_str().unwrap().to_owned();
        for part in ["overview", "sessions", "load", "trends", "tests", "availability"] {
            look(&seat, &format!("athlete/{athlete}/{part}"), &format!("coach-athlete-{part}"), &mut wrong);
        }
        look(&seat, &format!("plan/{athlete}"), "coach-plan", &mut wrong);
        for path in [
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
        ] {
            look(&seat, path, &format!("coach-{path}"), &mut wrong);
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
#[ignore = "needs a browser: cargo xtask browser"]
fn screens_of_care_staff() {
    let stage = Stage::of_the_club();
    let mut wrong = Vec::new();
    for kind in [Kind::Phone, Kind::Desk] {
        let seat = stage.come_in(kind, "Linnea");
        seat.wait_to_see("link", "Ines Tarrowby");
        let athlete = seat.run(
            "return [...document.querySelectorAll('a')].find((a) => a.innerText.includes('Ines Tarrowby')).hash.slice(2)",
            Vec::new(),
        );
        look(&seat, athlete.as_str().unwrap(), "care-athlete", &mut wrong);
        for path in ["people", "unsent", "settings", "help"] {
            look(&seat, path, &format!("care-{path}"), &mut wrong);
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}
