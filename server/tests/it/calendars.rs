//! Calendar feeds: what a link shows, and when it stops to.

use backstraight_core::exchange::access::Role;
use backstraight_core::model::name::DocName;
use backstraight_core::model::number::{SeasonNo, Text};
use backstraight_core::model::plan::Session;
use backstraight_server::grant::AtTheMachine;
use backstraight_server::store::people;
use serde_json::json;

use crate::support::{Server, agent, code_of, get_as, post};

/// Status, type and text of what a calendar reads.
fn read(link: &str) -> (u16, String, String) {
    let mut answer = agent().get(link).call().unwrap();
    let kind =
        answer.headers().get("content-type").and_then(|v| v.to_str().ok()).unwrap_or_default().to_owned();
    (answer.status().as_u16(), kind, answer.body_mut().read_to_string().unwrap())
}

#[test]
fn a_link_shows_the_plan_until_it_is_taken_away() {
    let dir = tempfile::tempdir().unwrap();
    let server = Server::on(dir.path());
    let club = server.club("Cinder Lane");
    let mira = club.person(Role::Athlete, "Mira Aalto");
    let mut coach = club.device(club.person(Role::Coach, "Ruth Adeyemi"));
    let phone = club.device(mira);
    let name = DocName::Plan(mira, SeasonNo::new(2027).unwrap());
    coach.season(name, "2026-10-01", "2027-08-31");
    let session = Session::new("2026-11-27".parse().unwrap(), Text::new("Jumps, hops").unwrap());
    coach.add(name, "sessions", session);
    coach.exchange();

    let path = format!("{}/v1/people/{mira}/calendars", phone.url);
    let (status, made) = post(&path, Some(&phone.access), &json!({}));
    assert_eq!(status, 201, "{made}");
    let secret = made["link"].as_str().unwrap().rsplit_once('/').unwrap().1.to_owned();
    let link = format!("{}/v1/calendar/{secret}", server.url);
    let (status, kind, text) = read(&link);
    assert_eq!((status, kind.as_str()), (200, "text/calendar; charset=utf-8"));
    for line in ["BEGIN:VCALENDAR", "SUMMARY:Jumps\\, hops", "DTSTART;VALUE=DATE:20261127"] {
        assert!(text.lines().any(|l| l.trim_end() == line), "{line} in {text}");
    }
    assert!(!text.contains("Mira"), "{text}");
    // The list has no links, and another's feed is not there.
    let list = get_as(&format!("{}/v1/calendars", phone.url), Some(&phone.access)).1;
    assert_eq!(
        (&list["calendars"][0]["calendar"], &list["calendars"][0]["link"]),
        (&made["calendar"], &json!(null))
    );
    let remove = format!("{}/v1/calendars/{}/remove", phone.url, made["calendar"].as_str().unwrap());
    assert_eq!(code_of(&post(&remove, Some(&coach.access), &json!({}))), (404, "not-found"));
    assert_eq!(read(&format!("{link}x")).0, 404);
    assert_eq!(post(&remove, Some(&phone.access), &json!({})).0, 204);
    assert_eq!(read(&link).0, 404);
}

#[test]
fn a_link_ends_with_the_right_of_whoever_made_it_and_there_are_not_too_many() {
    let dir = tempfile::tempdir().unwrap();
    let server = Server::on(dir.path());
    let club = server.club("Cinder Lane");
    let mira = club.person(Role::Athlete, "Mira Aalto");
    let ruth = club.person(Role::Coach, "Ruth Adeyemi");
    let coach = club.device(ruth);
    let path = format!("{}/v1/people/{mira}/calendars", coach.url);
    let made: Vec<_> = (0..21).map(|_| post(&path, Some(&coach.access), &json!({}))).collect();
    assert!(made[..20].iter().all(|(status, _)| *status == 201));
    assert_eq!(code_of(&made[20]).1, "too-many-things");
    let secret = made[0].1["link"].as_str().unwrap().rsplit_once('/').unwrap().1.to_owned();
    let link = format!("{}/v1/calendar/{secret}", server.url);
    assert_eq!(read(&link).0, 200);
    let (grant, now) = (AtTheMachine.to_keep_accounts(), server.now());
    server.store().write_blocking(move |db| people::set_role(db, &grant, ruth, Role::Care, now)).unwrap();
    assert_eq!(read(&link).0, 404);
}
