//! The table of rights in `docs/access.md`, cell by cell, over HTTP against a real server. The page is the
//! verdict: what it does not say fails here, and so does a kind of document or a route that is not in it.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;

use backstraight_core::base::id::{ClubId, PersonId, SquadId};
use backstraight_core::exchange::access::Role;
use backstraight_core::exchange::wire::Outcome;
use backstraight_core::model::name::{DocName, Kind};
use backstraight_core::model::number::SeasonNo;
use backstraight_server::erase;
use backstraight_server::grant::AtTheMachine;
use backstraight_server::store::people;
use serde_json::{Value, json};

use crate::authenticator::Authenticator;
use crate::support::{
    Club, Device, Server, about, agent, changes, code_of, get_as, log, notes, post, refusal,
};

const PAGE: &str = include_str!("../../../docs/access.md");
const HOST: &str = "club.example";

/// A table of the page by its first column's heading: what a row is about, then its cells by column.
fn table(heading: &str) -> Vec<(Vec<String>, BTreeMap<String, String>)> {
    let cells = |line: &str| -> Vec<String> {
        line.trim().trim_matches('|').split('|').map(|c| c.trim().trim_matches('`').to_owned()).collect()
    };
    let mut lines = PAGE.lines().skip_while(|l| !l.starts_with(&format!("| {heading} | whose |")));
    let names = cells(lines.next().unwrap_or_else(|| panic!("no table of {heading}")));
    lines
        .skip(1)
        .take_while(|l| l.starts_with('|'))
        .map(|line| {
            let row = cells(line);
            assert_eq!(row.len(), names.len(), "{line}");
            let by_name = names.iter().cloned().zip(row.iter().cloned()).skip(2).collect();
            (row[..2].to_vec(), by_name)
        })
        .collect()
}

/// What differs between the page and what was seen, as the page should have it.
fn compare(
    written: &[(Vec<String>, BTreeMap<String, String>)],
    seen: &BTreeMap<(String, String, String), String>,
) {
    let mut wrong = String::new();
    let mut asked = BTreeSet::new();
    for (what, cells) in written {
        for (column, verdict) in cells {
            let cell = (what[0].clone(), what[1].clone(), column.clone());
            match seen.get(&cell) {
                Some(found) if found == verdict => {}
                Some(found) => {
                    let _ = writeln!(wrong, "{cell:?}: the page says {verdict}, the server does {found}");
                }
                None => {
                    let _ = writeln!(wrong, "{cell:?}: nobody tried it");
                }
            }
            asked.insert(cell);
        }
    }
    for (cell, found) in seen {
        if !asked.contains(cell) {
            let _ = writeln!(wrong, "{cell:?}: not in the page; the server does {found}");
        }
    }
    assert!(wrong.is_empty(), "\n{wrong}");
}

struct World<'a> {
    server: &'a Server,
    home: Club<'a>,
    away: Club<'a>,
    head: Device,
    away_head: Device,
    care: Device,
    away_care: Device,
}

impl<'a> World<'a> {
    fn new(server: &'a Server) -> World<'a> {
        let (home, away) = (server.club("Cinder Lane"), server.club("Harbour Runners"));
        let head = home.device(home.person(Role::HeadCoach, "Pavel Novak"));
        let away_head = away.device(away.person(Role::HeadCoach, "Hugo Maas"));
        let care = home.device(home.person(Role::Care, "Lina Berg"));
        let away_care = away.device(away.person(Role::Care, "Otto Lund"));
        World { server, home, away, head, away_head, care, away_care }
    }

    fn role(&self, person: PersonId, role: Role) {
        let (grant, now) = (AtTheMachine.to_keep_accounts(), self.server.now());
        let done =
            self.server.store().write_blocking(move |db| people::set_role(db, &grant, person, role, now));
        assert!(done.unwrap());
    }

    /// An athlete with a phone.
    fn fresh(&self, home: bool) -> (PersonId, Device) {
        let club = if home { &self.home } else { &self.away };
        let id = club.person(Role::Athlete, "Mira Aalto");
        (id, club.device(id))
    }

    /// An athlete who has written in everything that is theirs, as has a coach.
    fn athlete(&mut self, home: bool) -> (PersonId, Device) {
        let (id, mut phone) = self.fresh(home);
        phone.say(log(id), "mine");
        phone.report(DocName::Care(id));
        phone.exchange();
        let head = if home { &mut self.head } else { &mut self.away_head };
        head.season(plan(id), "2026-10-01", "2027-08-31");
        head.say(notes(id), "ours");
        head.exchange();
        let care = if home { &mut self.care } else { &mut self.away_care };
        care.assess(DocName::CareNotes(id));
        care.forbid(DocName::Availability(id));
        care.exchange();
        (id, phone)
    }

    /// Lets `guardian` answer for an athlete, who is then a minor.
    fn ward(&self, athlete: PersonId, guardian: PersonId) {
        self.home.born(athlete, Some("2011-05-01"));
        let url = format!("{}/v1/people/{athlete}/guardians", self.server.url);
        let body = json!({ "guardian": guardian.to_string(), "reason": "mother" });
        assert_eq!(post(&url, Some(&self.head.access), &body).0, 204);
    }
}

fn plan(id: PersonId) -> DocName {
    DocName::Plan(id, SeasonNo::new(2027).unwrap())
}

/// What somebody may do with a document: `write` (list, read and write), `read` (list and read), or `–`.
fn document(world: &World<'_>, person: PersonId, name: DocName) -> &'static str {
    let device = || world.home.device(person);
    // Listed without being asked for.
    let listed = changes_of(&device().exchange(), name);
    // Read by name.
    let mut reader = device();
    reader.copy(name);
    let down = reader.send(&reader.up());
    let read = changes_of(&down, name);
    if !read {
        let gone: Vec<Vec<u8>> = down.withdrawn.iter().map(|n| n.to_vec()).collect();
        assert_eq!(gone, [name.to_bytes().to_vec()], "{name}");
        assert!(about(&down, name).is_none(), "{name}: not even that it exists");
    }
    // Written.
    let mut writer = device();
    write(&mut writer, name);
    let down = writer.send(&writer.up());
    let written = about(&down, name).is_some_and(|d| d.outcome == Outcome::Accepted);
    if !written {
        assert_eq!(refusal(&down, name), "not-yours", "{name}");
    }
    match (listed, read, written) {
        (true, true, true) => "write",
        (true, true, false) => "read",
        (false, false, false) => "–",
        other => panic!("{name}: {other:?}"),
    }
}

fn changes_of(down: &backstraight_core::exchange::wire::Down, name: DocName) -> bool {
    about(down, name).is_some() && changes(down, name) > 0
}

fn write(device: &mut Device, name: DocName) {
    match name.kind() {
        Kind::Library => device.cue(name),
        Kind::Squad => device.remark(name),
        Kind::Plan => device.season(name, "2026-10-01", "2027-08-31"),
        Kind::Log | Kind::Notes => drop(device.say(name, "x")),
        Kind::Care => device.report(name),
        Kind::CareNotes => device.assess(name),
        Kind::Availability => device.forbid(name),
    }
}

fn of_club(world: &World<'_>, kind: Kind) -> [(&'static str, DocName); 2] {
    let squad = |home: bool| {
        let grant = AtTheMachine.to_list(if home { world.home.id } else { world.away.id });
        let rows = world.server.store().read_blocking(|db| people::squads(db, grant.club())).unwrap();
        rows[0].id.parse::<SquadId>().unwrap()
    };
    let name = |home: bool, club: ClubId| match kind {
        Kind::Squad => DocName::Squad(squad(home)),
        _ => DocName::Library(club),
    };
    [("own club's", name(true, world.home.id)), ("another club's", name(false, world.away.id))]
}

fn of_person(kind: Kind, id: PersonId) -> DocName {
    match kind {
        Kind::Plan => plan(id),
        Kind::Log => log(id),
        Kind::Notes => notes(id),
        Kind::CareNotes => DocName::CareNotes(id),
        Kind::Availability => DocName::Availability(id),
        _ => DocName::Care(id),
    }
}

#[test]
fn every_cell_of_the_documents_holds() {
    let dir = tempfile::tempdir().unwrap();
    let server = Server::on(dir.path());
    let mut world = World::new(&server);
    let squads = [world.home.squad("Sprints"), world.away.squad("Throws")];
    world.head.remark(DocName::Squad(squads[0]));
    world.head.cue(DocName::Library(world.home.id));
    world.head.exchange();
    world.away_head.remark(DocName::Squad(squads[1]));
    world.away_head.cue(DocName::Library(world.away.id));
    world.away_head.exchange();
    let mut seen = BTreeMap::new();
    for role in Role::ALL {
        // Each was an athlete once: so there are documents about everybody.
        let (person, _) = world.athlete(true);
        world.role(person, role);
        let (ward, _) = world.athlete(true);
        if role == Role::Guardian {
            world.ward(ward, person);
        } else {
            world.home.born(ward, Some("2011-05-01"));
        }
        let ((other, _), (stranger, _)) = (world.athlete(true), world.athlete(false));
        let (open, phone) = world.athlete(true);
        let agreed = post(
            &format!("{}/v1/consent", server.url),
            Some(&phone.access),
            &json!({ "care_open_to_coaches": true }),
        );
        assert_eq!(agreed.0, 204);
        for kind in Kind::ALL {
            let mut cells: Vec<(&str, DocName)> = if matches!(kind, Kind::Library | Kind::Squad) {
                of_club(&world, kind).to_vec()
            } else {
                vec![
                    ("own", of_person(kind, person)),
                    ("a ward's", of_person(kind, ward)),
                    ("another's", of_person(kind, other)),
                    ("another club's", of_person(kind, stranger)),
                ]
            };
            if kind == Kind::Care {
                cells.push(("another's, open to coaches", of_person(kind, open)));
            }
            for (whose, name) in cells {
                let verdict = document(&world, person, name).to_owned();
                seen.insert((kind.word().to_owned(), whose.to_owned(), role.word().to_owned()), verdict);
            }
        }
    }
    let written = table("document");
    let kinds: BTreeSet<&str> = written.iter().map(|(what, _)| what[0].as_str()).collect();
    assert_eq!(kinds, Kind::ALL.iter().map(|k| k.word()).collect(), "every kind of document is in the page");
    compare(&written, &seen);
}

/// One try of a route.
struct Try {
    path: String,
    body: Option<Value>,
}

/// What a route takes for a target, freshly made so that it can be carried out.
fn attempt(world: &World<'_>, caller: &Device, route: &str, target: &mut (PersonId, Device)) -> Try {
    let id = target.0;
    let (method, path) = route.split_once(' ').unwrap();
    let mut path = path.to_owned();
    let squad = |home: bool| {
        let club = if home { world.home.id } else { world.away.id };
        world.server.store().read_blocking(|db| people::squads(db, club)).unwrap()[0].id.clone()
    };
    let body = match route {
        "GET /v1/athletes/{id}/sessions/{key}" => {
            let key = target.1.session(log(id));
            target.1.exchange();
            path = path.replace("{key}", &key);
            Value::Null
        }
        "POST /v1/consent" => json!({ "care_open_to_coaches": false }),
        "POST /v1/invites" => json!({ "person": id.to_string() }),
        "POST /v1/club" => json!({ "name": "Cinder Lane" }),
        "POST /v1/squads" => json!({ "name": "Sprints" }),
        "POST /v1/squads/{id}" => {
            path = path.replace("{id}", &squad(world_is_home(world, id)));
            json!({ "name": "Sprints" })
        }
        "POST /v1/squads/{id}/calendars" => {
            path = path.replace("{id}", &squad(world_is_home(world, id)));
            json!({})
        }
        "POST /v1/calendars/{calendar}/remove" => {
            let own = format!("{}/v1/people/{}/calendars", caller.url, caller.person);
            let made = post(&own, Some(&caller.access), &json!({})).1;
            path = path.replace("{calendar}", made["calendar"].as_str().unwrap_or("none"));
            json!({})
        }
        "POST /v1/squads/{id}/members" => {
            path = path.replace("{id}", &squad(world_is_home(world, id)));
            json!({ "athlete": world.fresh(true).0.to_string() })
        }
        "POST /v1/people" => json!({ "name": "Ines Duarte", "role": "athlete" }),
        "POST /v1/people/{id}" => json!({ "name": "Mira Berg" }),
        "POST /v1/people/{id}/leave" => json!({ "copy": "declined" }),
        "POST /v1/people/{id}/erasure" => {
            json!({ "confirm": erase::pseudonym(role_of(world, id).word(), id) })
        }
        "POST /v1/people/{id}/guardians" => {
            let guardian = world.home.person(Role::Guardian, "Tove Aalto");
            world.home.born(id, Some("2011-05-01"));
            json!({ "guardian": guardian.to_string(), "reason": "mother" })
        }
        "POST /v1/people/{id}/guardians/{guardian}/end" => {
            // A guardian ends the own one; of the others it is somebody's.
            let guardian = if running(world, id, caller.person) {
                caller.person
            } else {
                let guardian = world.home.person(Role::Guardian, "Tove Aalto");
                if world_is_home(world, id) && role_of(world, id) == Role::Athlete {
                    world.ward(id, guardian);
                }
                guardian
            };
            path = path.replace("{guardian}", &guardian.to_string());
            json!({ "reason": "moved away" })
        }
        "POST /v1/people/{id}/consents" => json!({ "what": "name to others", "agrees": false }),
        "POST /v1/people/{id}/installs/{install}/withdraw" => {
            let install = if id == caller.person { world.home.device(id).install } else { target.1.install };
            path = path.replace("{install}", &install.to_string());
            json!({})
        }
        "POST /v1/password" => {
            let name = format!("name{}", caller.install);
            json!({ "name": name, "password": "hop 34 barley kettle" })
        }
        "POST /v1/passkeys" => Authenticator::es256(HOST).register(&challenge(caller)),
        "POST /v1/passkeys/{credential}/remove" => {
            let key = Authenticator::es256(HOST);
            let body = key.register(&challenge(caller));
            post(&format!("{}/v1/passkeys", caller.url), Some(&caller.access), &body);
            path = path.replace("{credential}", &key.credential());
            json!({})
        }
        _ => json!({}),
    };
    Try { path: path.replace("{id}", &id.to_string()), body: (method == "POST").then_some(body) }
}

fn challenge(caller: &Device) -> String {
    let made = post(&format!("{}/v1/passkeys/challenge", caller.url), Some(&caller.access), &json!({})).1;
    made["challenge"].as_str().unwrap_or("none").to_owned()
}

fn role_of(world: &World<'_>, id: PersonId) -> Role {
    world.server.store().read_blocking(|db| people::find(db, id)).unwrap().unwrap().role
}

fn world_is_home(world: &World<'_>, id: PersonId) -> bool {
    let found = world.server.store().read_blocking(|db| people::find(db, id)).unwrap();
    found.unwrap().club == world.home.id
}

fn running(world: &World<'_>, athlete: PersonId, guardian: PersonId) -> bool {
    let today = "2026-11-25".parse().unwrap();
    let guards = backstraight_server::store::guardians::watches;
    world.server.store().read_blocking(|db| guards(db, guardian, athlete, today)).unwrap()
}

fn carry_out(url: &str, access: Option<&str>, try_: &Try) -> String {
    let url = format!("{url}{}", try_.path);
    let answer = match &try_.body {
        Some(body) => post(&url, access, body),
        // A stream has no end to wait for, and a full copy is no text.
        None if try_.path == "/v1/nudge" || try_.path.ends_with("/export") => begun(&url, access),
        None => get_as(&url, access),
    };
    match code_of(&answer) {
        (200..=299, _) => "yes".to_owned(),
        (403, "not-allowed") => "no".to_owned(),
        (404, "not-found") => "hidden".to_owned(),
        (401, "unauthenticated") => "sign in".to_owned(),
        (status, code) => format!("{status} {code}"),
    }
}

/// The status of a stream, and its body where it is none.
fn begun(url: &str, access: Option<&str>) -> (u16, Value) {
    let mut request = agent().get(url);
    if let Some(access) = access {
        request = request.header("authorization", &format!("Bearer {access}"));
    }
    let mut answer = request.call().unwrap();
    let status = answer.status().as_u16();
    // A copy is read to its end: the server makes one at a time.
    let whole = !(status == 200 && url.ends_with("/nudge"));
    let bytes = if whole { answer.body_mut().read_to_vec().unwrap() } else { Vec::new() };
    let body = String::from_utf8_lossy(&bytes);
    (status, serde_json::from_str(&body).unwrap_or(Value::Null))
}

/// Routes that are about a person.
const ABOUT: [&str; 5] = ["own", "a ward's", "another's", "another club's", "–"];

#[test]
fn every_cell_of_the_routes_holds() {
    let dir = tempfile::tempdir().unwrap();
    let server = Server::with(dir.path(), |c| c.public_url = Some(format!("https://{HOST}")));
    let world = World::new(&server);
    world.home.squad("Sprints");
    world.away.squad("Throws");
    let written = table("route");
    let mut seen = BTreeMap::new();
    for (what, cells) in &written {
        let (route, whose) = (what[0].as_str(), what[1].as_str());
        assert!(ABOUT.contains(&whose), "{what:?}");
        for column in cells.keys() {
            let found = match column.parse::<Role>() {
                Ok(role) => {
                    let (person, mut device) = world.fresh(true);
                    world.role(person, role);
                    let mut target = match whose {
                        "own" => (person, world.home.device(person)),
                        "another club's" => world.fresh(false),
                        _ => world.fresh(true),
                    };
                    if whose == "a ward's" {
                        if role == Role::Guardian {
                            world.ward(target.0, person);
                        } else {
                            world.home.born(target.0, Some("2011-05-01"));
                        }
                    }
                    if route == "POST /v1/exchange" {
                        device.exchange();
                        "yes".to_owned()
                    } else {
                        let try_ = attempt(&world, &device, route, &mut target);
                        carry_out(&server.url, Some(&device.access), &try_)
                    }
                }
                // A withdrawn install and one without a token are told the same.
                Err(_) => {
                    let mut target = world.fresh(true);
                    let device = world.home.device(world.head.person);
                    let try_ = attempt(&world, &device, route, &mut target);
                    let url = format!(
                        "{}/v1/people/{}/installs/{}/withdraw",
                        server.url, world.head.person, device.install
                    );
                    assert_eq!(post(&url, Some(&world.head.access), &json!({})).0, 204);
                    let both = [None, Some(device.access.as_str())].map(|a| carry_out(&server.url, a, &try_));
                    assert_eq!(both[0], both[1], "{what:?}");
                    both[0].clone()
                }
            };
            seen.insert((what[0].clone(), what[1].clone(), column.clone()), found);
        }
    }
    compare(&written, &seen);
    // Every route that asks for a token is in the table, the others in the list beside it.
    let document = serde_json::to_value(backstraight_server::routes::document()).unwrap();
    let (mut guarded, mut open) = (BTreeSet::new(), BTreeSet::new());
    for (path, methods) in document["paths"].as_object().unwrap() {
        for (method, route) in methods.as_object().unwrap() {
            let name = format!("{} {path}", method.to_uppercase());
            if route.get("security").is_some() {
                guarded.insert(name)
            } else {
                open.insert(name)
            };
        }
    }
    let in_table: BTreeSet<String> = written.iter().map(|(what, _)| what[0].clone()).collect();
    assert_eq!(in_table, guarded, "every guarded route is in the page");
    let listed: BTreeSet<String> = PAGE
        .lines()
        .filter_map(|l| l.strip_prefix("- `")?.split_once('`'))
        .map(|(route, _)| route.to_owned())
        .filter(|r| r.starts_with("GET ") || r.starts_with("POST "))
        .collect();
    assert_eq!(listed, open, "every open route is in the list of the page");
    // A route about a person is tried about everybody.
    for route in &in_table {
        let tried: BTreeSet<&str> =
            written.iter().filter(|(what, _)| what[0] == *route).map(|(what, _)| what[1].as_str()).collect();
        let person =
            route.contains("/people/{id}") || route.contains("/athletes/{id}") || route.ends_with("/invites");
        let want: BTreeSet<&str> = match (person, route.contains("/squads/{id}")) {
            (true, _) => ABOUT[..4].iter().copied().collect(),
            (false, true) => BTreeSet::from(["own", "another club's"]),
            (false, false) => BTreeSet::from(["–"]),
        };
        assert_eq!(tried, want, "{route}");
    }
}
