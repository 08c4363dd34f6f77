//! The review over HTTP: what is documented is what is served, answers have the declared shape,
//! nobody reads what is another's, and nothing is sent twice to somebody who has it.

use std::collections::BTreeSet;

use backstraight_core::base::day::Day;
use backstraight_core::base::key::Key;
use backstraight_core::doc::command::{Command, New};
use backstraight_core::doc::place::Place;
use backstraight_core::exchange::access::Role;
use backstraight_core::model::log::{Report, Trial};
use backstraight_core::model::name::DocName;
use backstraight_core::model::number::{Complaint, Measure, SeasonNo, Text, Value as Thousandth};
use backstraight_core::model::plan::{Member, Protocol};
use backstraight_tests::club::ledger::{Deed, Ledger};
use backstraight_tests::club::library::library;
use backstraight_tests::club::logs::{Athlete, Day1};
use backstraight_tests::club::people::ATHLETES;
use backstraight_tests::club::plans::{self, Span};
use backstraight_tests::rng::Rng;
use backstraight_tests::stand::{DAY, Handset, START, Stand};
use serde_json::{Value, json};

/// A club with a season's plan for three athletes, some of it done, and trials of a test.
pub(crate) struct Club {
    pub(crate) stand: Stand,
    desk: Handset,
    pub(crate) athletes: Vec<Athlete>,
    squad: String,
    pub(crate) today: Day,
}

pub(crate) fn club() -> Club {
    let stand = Stand::at(START.plus_ms(-9 * DAY));
    let coach = stand.person(Role::HeadCoach, "Marta Quillfeather");
    let mut desk = stand.phone(coach, "desk");
    let squad = stand.squad();
    let season = SeasonNo::new(2027).unwrap();
    let start = Day::of(stand.now(), 0).unwrap().week_start();
    let (write, keys) = library(|| desk.phone.key());
    desk.phone.run(DocName::Library(stand.club), &write).unwrap();
    let mut athletes = Vec::new();
    for (index, person) in ATHLETES.iter().enumerate().take(3) {
        let id = stand.person(Role::Athlete, person.name);
        let phone = stand.phone(id, &format!("phone-{index}"));
        athletes.push(Athlete { index, phone: phone.phone, clock: phone.clock, season });
        if index < 2 {
            let born = if index == 0 { "2001-02-03" } else { "2012-02-03" };
            let member = Member {
                events: Text::new(person.event.word()).ok(),
                born: born.parse().ok(),
                ..Member::new(id, Text::new(person.name).unwrap())
            };
            desk.add(DocName::Squad(squad), "members", member).unwrap();
        }
        let mut mint: Vec<Key> = (0..1200).map(|_| desk.phone.key()).collect();
        let span = Span { start, weeks: 10 };
        for command in plans::plan(person, span, &keys, || mint.pop().unwrap()) {
            desk.phone.run(DocName::Plan(id, season), &command).unwrap();
        }
    }
    let mut club = Club { stand, desk, athletes, squad: squad.to_string(), today: start };
    club.desk.exchange(&club.stand.url());
    let protocol = {
        let name = DocName::Library(club.stand.club);
        let all = club.desk.phone.document(name).unwrap().records::<Protocol>("protocols").entries;
        all.iter().find(|p| p.record.measure == Measure::Distance).unwrap().key()
    };
    let mut rng = Rng::new(5);
    let mut ledger = Ledger::default();
    for day in 0..9 {
        let now = START.plus_ms((day - 9) * DAY);
        club.stand.clock.set(now);
        let today = Day::of(now, 0).unwrap();
        club.today = today;
        for who in 0..2 {
            club.exchange(who);
            let athlete = &mut club.athletes[who];
            let planned = athlete.plan().unwrap().on(today).next().map(|s| s.key());
            if let Some(planned) = planned {
                let deed = if rng.once_in(3) { Deed::Some } else { Deed::All };
                athlete
                    .train(&mut ledger, &planned, Day1 { day: today, opens: now }, deed, &mut rng)
                    .unwrap();
            }
            if day % 3 == 0 {
                let trial = Trial {
                    value: Thousandth::new(2_300 + 10 * day).ok(),
                    ..Trial::new(today, now, protocol.clone())
                };
                let place = Place::of("trials", &athlete.phone.key());
                let log = athlete.log(today);
                let add = Command::Add(vec![New { place, record: trial.into() }]);
                athlete.phone.run(log, &add).unwrap();
            }
            club.exchange(who);
        }
    }
    let first = &mut club.athletes[0];
    let (care, key) = (DocName::Care(first.phone.identity().person), first.phone.key());
    let report = Report::new(club.stand.now(), Complaint::Pain);
    let add = Command::Add(vec![New { place: Place::of("reports", &key), record: report.into() }]);
    first.phone.run(care, &add).unwrap();
    club.exchange(0);
    club
}

impl Club {
    fn exchange(&mut self, who: usize) {
        let (url, now) = (self.stand.url(), self.stand.now());
        let athlete = &mut self.athletes[who];
        athlete.clock.set(now);
        athlete.phone.exchange(&mut backstraight_ffi::transport::Http::new(&url)).unwrap();
    }

    fn id(&self, who: usize) -> String {
        self.athletes[who].phone.identity().person.to_string()
    }

    /// An access token that is good now.
    pub(crate) fn token(&self, who: Option<usize>) -> String {
        let identity = match who {
            None => self.desk.phone.identity(),
            Some(who) => self.athletes[who].phone.identity(),
        };
        let bearer =
            backstraight_server::token::Bearer { person: identity.person, install: identity.install };
        self.stand.running().app.tokens.access(bearer, self.stand.now())
    }

    fn get(&self, token: &str, path: &str, tag: Option<&str>) -> (u16, Option<String>, Value) {
        let agent: ureq::Agent = ureq::Agent::config_builder().http_status_as_error(false).build().into();
        let mut request = agent.get(format!("{}{path}", self.stand.url()));
        if !token.is_empty() {
            request = request.header("authorization", &format!("Bearer {token}"));
        }
        if let Some(tag) = tag {
            request = request.header("if-none-match", tag);
        }
        let mut answer = request.call().unwrap();
        let tag = answer.headers().get("etag").map(|v| v.to_str().unwrap().to_owned());
        let body = answer.body_mut().read_to_string().unwrap();
        let value = if body.is_empty() { Value::Null } else { serde_json::from_str(&body).unwrap() };
        (answer.status().as_u16(), tag, value)
    }

    pub(crate) fn ok(&self, token: &str, path: &str) -> Value {
        let (status, _, value) = self.get(token, path, None);
        assert_eq!(status, 200, "{path}: {value}");
        value
    }

    pub(crate) fn problem(&self, token: &str, path: &str) -> (u16, String, String) {
        let (status, _, value) = self.get(token, path, None);
        let text = |name: &str| value.get(name).and_then(Value::as_str).unwrap_or("").to_owned();
        (status, text("code"), text("field"))
    }
}

/// Makes every object of the document closed, so that a field that is not declared is found. What is
/// a part of another object stays open: the whole of it is closed.
fn closed(document: &Value) -> Value {
    let mut components = document["components"].clone();
    let mut parts = BTreeSet::new();
    let schemas = components["schemas"].as_object_mut().unwrap();
    for schema in schemas.values() {
        for part in schema.get("allOf").and_then(Value::as_array).into_iter().flatten() {
            parts.extend(part.get("$ref").and_then(Value::as_str).map(str::to_owned));
        }
    }
    for (name, schema) in schemas.iter_mut() {
        if !parts.contains(&format!("#/components/schemas/{name}")) {
            schema["unevaluatedProperties"] = json!(false);
        }
    }
    components
}

fn routes(document: &Value) -> Vec<(String, String)> {
    let mut all = Vec::new();
    for (path, methods) in document["paths"].as_object().unwrap() {
        for method in methods.as_object().unwrap().keys() {
            all.push((method.clone(), path.clone()));
        }
    }
    all
}

#[test]
fn what_is_documented_is_what_is_served() {
    let club = club();
    let document = club.ok("", "/v1/openapi.json");
    assert_eq!(document["openapi"], "3.1.0");
    let mut found: Vec<String> =
        routes(&document).into_iter().map(|(method, path)| format!("{method} {path}")).collect();
    found.sort_unstable();
    assert_eq!(
        found,
        [
            "get /.well-known/jwks.json",
            "get /healthz",
            "get /readyz",
            "get /v1/athletes/{id}",
            "get /v1/athletes/{id}/forecast",
            "get /v1/athletes/{id}/loads",
            "get /v1/athletes/{id}/sessions/{key}",
            "get /v1/athletes/{id}/tests",
            "get /v1/athletes/{id}/weeks",
            "get /v1/attention",
            "get /v1/audit",
            "get /v1/board",
            "get /v1/calendar/{secret}",
            "get /v1/calendars",
            "get /v1/club",
            "get /v1/me",
            "get /v1/nudge",
            "get /v1/openapi.json",
            "get /v1/passkeys",
            "get /v1/people",
            "get /v1/people/{id}",
            "get /v1/people/{id}/consents",
            "get /v1/people/{id}/erasure",
            "get /v1/people/{id}/export",
            "get /v1/people/{id}/guardians",
            "get /v1/people/{id}/installs",
            "get /v1/proposals",
            "get /v1/records",
            "get /v1/squads",
            "post /v1/calendars/{calendar}/remove",
            "post /v1/club",
            "post /v1/consent",
            "post /v1/enrol",
            "post /v1/exchange",
            "post /v1/invites",
            "post /v1/passkeys",
            "post /v1/passkeys/challenge",
            "post /v1/passkeys/{credential}/remove",
            "post /v1/password",
            "post /v1/people",
            "post /v1/people/{id}",
            "post /v1/people/{id}/calendars",
            "post /v1/people/{id}/consents",
            "post /v1/people/{id}/erasure",
            "post /v1/people/{id}/guardians",
            "post /v1/people/{id}/guardians/{guardian}/end",
            "post /v1/people/{id}/installs/{install}/withdraw",
            "post /v1/people/{id}/leave",
            "post /v1/people/{id}/reset-sign-in",
            "post /v1/people/{id}/restore",
            "post /v1/people/{id}/withdraw",
            "post /v1/set-up",
            "post /v1/sign-in",
            "post /v1/sign-in/challenge",
            "post /v1/squads",
            "post /v1/squads/{id}",
            "post /v1/squads/{id}/calendars",
            "post /v1/squads/{id}/members",
            "post /v1/token",
        ]
    );
    // The router has no other way in than the list from which the document is made.
    let source = include_str!("../../../server/src/routes/mod.rs");
    // But for the pages, which are no data.
    assert!(!source.contains(".nest(") && !source.contains(".merge("));
    assert_eq!(source.matches(".route(").count(), 1);
    assert!(source.contains(".route(path, get(page::answer))"));
    assert_eq!(source.matches(".routes(routes!(").count(), found.len());
    // And each is really served: whoever shows no token is asked for one, not told that there is no such thing.
    let agent: ureq::Agent = ureq::Agent::config_builder().http_status_as_error(false).build().into();
    for (method, path) in routes(&document) {
        let url = format!("{}{}", club.stand.url(), path.replace(['{', '}'], ""));
        let status = if method == "get" {
            agent.get(url).call().unwrap().status().as_u16()
        } else {
            agent.post(url).send("").unwrap().status().as_u16()
        };
        let open = document["paths"][&path][&method].get("security").is_none();
        assert_eq!(status == 401, !open, "{method} {path}: {status}");
        // A feed whose secret is wrong is not told apart from none.
        assert!(status != 404 || path == "/v1/calendar/{secret}", "{method} {path}");
    }
    let (status, code, _) = club.problem("", "/v1/nothing");
    assert_eq!((status, code.as_str()), (404, "not-found"));
}

#[test]
fn answers_have_the_declared_shape() {
    let club = club();
    let document = club.ok("", "/v1/openapi.json");
    let components = closed(&document);
    let days = format!("from={}&to={}&today={}", club.today.plus(-14), club.today.plus(14), club.today);
    let (coach, athlete, id) = (club.token(None), club.token(Some(0)), club.id(0));
    let board = club.ok(&coach, &format!("/v1/board?{days}"));
    let session = board["athletes"][0]["sessions"][0]["session"].as_str().unwrap();
    let today = format!("today={}", club.today);
    let asked = [
        ("/healthz", String::new(), "/healthz".to_owned()),
        ("/readyz", String::new(), "/readyz".to_owned()),
        ("/v1/people/{id}/erasure", String::new(), format!("/v1/people/{id}/erasure")),
        ("/v1/board", days.clone(), "/v1/board".to_owned()),
        ("/v1/athletes/{id}", days.clone(), format!("/v1/athletes/{id}")),
        ("/v1/athletes/{id}/sessions/{key}", days.clone(), format!("/v1/athletes/{id}/sessions/{session}")),
        ("/v1/athletes/{id}/weeks", days.clone(), format!("/v1/athletes/{id}/weeks")),
        ("/v1/athletes/{id}/tests", days.clone(), format!("/v1/athletes/{id}/tests")),
        ("/v1/athletes/{id}/loads", days, format!("/v1/athletes/{id}/loads")),
        ("/v1/athletes/{id}/forecast", today.clone(), format!("/v1/athletes/{id}/forecast")),
        ("/v1/attention", today.clone(), "/v1/attention".to_owned()),
        ("/v1/proposals", today, "/v1/proposals".to_owned()),
        ("/v1/records", format!("until={}", club.today), "/v1/records".to_owned()),
        ("/v1/records", format!("until={}&of=club", club.today), "/v1/records".to_owned()),
        ("/v1/me", String::new(), "/v1/me".to_owned()),
        ("/v1/club", String::new(), "/v1/club".to_owned()),
        ("/v1/people/{id}", String::new(), format!("/v1/people/{id}")),
        ("/v1/people/{id}/guardians", String::new(), format!("/v1/people/{id}/guardians")),
        ("/v1/people/{id}/consents", String::new(), format!("/v1/people/{id}/consents")),
    ];
    // Those that coach and athlete may not both read, or that have another form, are asked in `people.rs`
    // and where they are tested.
    let elsewhere = [
        "/v1/openapi.json",
        "/.well-known/jwks.json",
        "/v1/audit",
        "/v1/calendar/{secret}",
        "/v1/calendars",
        "/v1/nudge",
        "/v1/people",
        "/v1/people/{id}/export",
        "/v1/people/{id}/installs",
        "/v1/passkeys",
        "/v1/squads",
    ];
    let owner = club.stand.person(Role::Owner, "Olga Prentiss");
    let owner = club.stand.phone(owner, "owner").phone.identity().clone();
    let bearer = backstraight_server::token::Bearer { person: owner.person, install: owner.install };
    let owner = club.stand.running().app.tokens.access(bearer, club.stand.now());
    let asked_for: BTreeSet<&str> = asked.iter().map(|a| a.0).chain(elsewhere).collect();
    let known = routes(&document);
    let known: BTreeSet<&str> = known.iter().filter(|(m, _)| m == "get").map(|(_, p)| p.as_str()).collect();
    assert_eq!(asked_for, known, "every route that gives data is asked");
    for (route, query, path) in asked {
        let declared = &document["paths"][route]["get"]["responses"]["200"]["content"]["application/json"];
        let mut schema = declared["schema"].clone();
        schema["components"] = components.clone();
        let validator = jsonschema::validator_for(&schema).unwrap();
        let readers = if route.ends_with("erasure") { vec![&owner] } else { vec![&coach, &athlete] };
        for token in readers {
            let value = club.ok(token, &format!("{path}?{query}"));
            let errors: Vec<String> =
                validator.iter_errors(&value).map(|e| format!("{}: {e}", e.instance_path())).collect();
            assert!(errors.is_empty(), "{path}: {errors:#?}");
            assert!(!validator.is_valid(&json!({ "other": 1 })), "{route} declares nothing");
        }
    }
    let mut schema = json!({ "$ref": "#/components/schemas/Problem" });
    schema["components"] = components;
    let validator = jsonschema::validator_for(&schema).unwrap();
    for path in ["/v1/board?from=x", "/v1/nothing", "/v1/board?from=2026-11-01&limit=0"] {
        let (_, _, value) = club.get(&coach, path, None);
        assert!(validator.is_valid(&value), "{value}");
    }
}

#[test]
fn nothing_is_sent_twice_and_news_are() {
    let mut club = club();
    let coach = club.token(None);
    let path = format!("/v1/board?from={}&to={}&today={}", club.today, club.today.plus(6), club.today);
    let (status, tag, first) = club.get(&coach, &path, None);
    let tag = tag.unwrap();
    assert_eq!(status, 200);
    assert_eq!(first["pending"], 0, "the answer waits for what was acknowledged");
    let (status, again, body) = club.get(&coach, &path, Some(&tag));
    assert_eq!((status, again.as_deref(), body), (304, Some(tag.as_str()), Value::Null));
    assert_eq!(club.get(&coach, &path, Some("\"another\"")).0, 200);
    let other = path.replace(&format!("today={}", club.today), &format!("today={}", club.today.plus(1)));
    assert_eq!(club.get(&coach, &other, Some(&tag)).0, 200, "another day is another answer");
    assert_eq!(club.get(&club.token(Some(0)), &path, Some(&tag)).0, 200, "another reader's answer");
    // Every kind of news makes another answer: a log, the name of a squad member, a phone that is heard.
    let ids = [format!("/v1/athletes/{}/weeks?today={}", club.id(0), club.today), path];
    for step in 0..3 {
        let tags: Vec<String> = ids.iter().map(|p| club.get(&coach, p, None).1.unwrap()).collect();
        match step {
            0 => {
                let today = club.today;
                let log = club.athletes[0].log(today);
                let key = club.athletes[0].phone.key();
                let record = backstraight_core::model::log::SessionDone::new(today, club.stand.now());
                let place = Place::of("sessions", &key);
                let add = Command::Add(vec![New { place, record: record.into() }]);
                club.athletes[0].clock.set(club.stand.now());
                // The clock of the stand stands at the last day on which somebody trained.
                club.athletes[0].phone.run(log, &add).unwrap();
                club.exchange(0);
            }
            1 => {
                let club_id = club.stand.club;
                let cue = backstraight_core::model::plan::Cue::new(Text::new("tall").unwrap());
                club.desk.add(DocName::Library(club_id), "cues", cue).unwrap();
                club.desk.clock.set(club.stand.now());
                let url = club.stand.url();
                club.desk.exchange(&url);
            }
            _ => {
                club.stand.clock.set(club.stand.now().plus_ms(DAY));
                club.exchange(2);
            }
        }
        let coach = club.token(None);
        for (path, tag) in ids.iter().zip(tags) {
            assert_eq!(club.get(&coach, path, Some(&tag)).0, 200, "step {step} {path}");
        }
    }
}

#[test]
fn pages_hold_everybody_once_and_filters_filter() {
    let club = club();
    let coach = club.token(None);
    let days = format!("from={}&to={}&today={}", club.today.plus(-14), club.today.plus(14), club.today);
    let whole = club.ok(&coach, &format!("/v1/board?{days}"));
    let whole = whole["athletes"].as_array().unwrap();
    assert_eq!(whole.len(), 3);
    for route in [
        format!("/v1/board?{days}"),
        format!("/v1/attention?today={}", club.today),
        format!("/v1/proposals?today={}", club.today),
    ] {
        let mut seen = Vec::new();
        let mut after = String::new();
        loop {
            let page = club.ok(&coach, &format!("{route}&limit=2{after}"));
            let athletes = page["athletes"].as_array().unwrap();
            assert!(!athletes.is_empty() && athletes.len() <= 2);
            seen.extend(athletes.iter().map(|a| a["id"].as_str().unwrap().to_owned()));
            let Some(next) = page.get("next").and_then(Value::as_str) else { break };
            after = format!("&after={next}");
        }
        let ids: Vec<&str> = whole.iter().map(|a| a["id"].as_str().unwrap()).collect();
        assert_eq!(seen, ids, "{route}");
    }
    let members = club.ok(&coach, &format!("/v1/board?{days}&squad={}", club.squad));
    assert_eq!(members["athletes"].as_array().unwrap().len(), 2);
    let coming = club.ok(&coach, &format!("/v1/board?{days}&state=coming"));
    let coming = coming["athletes"].as_array().unwrap();
    assert!(!coming.is_empty());
    for (a, all) in coming.iter().zip(whole) {
        let sessions = a["sessions"].as_array().unwrap();
        assert!(!sessions.is_empty() && sessions.iter().all(|s| s["state"] == "coming"));
        assert_eq!((&a["share"], &a["heard"]), (&all["share"], &all["heard"]), "figures are those of all");
    }
    let unheard = club.ok(&coach, &format!("/v1/board?{days}&state=unheard"));
    let unheard: Vec<&str> =
        unheard["athletes"].as_array().unwrap().iter().map(|a| a["id"].as_str().unwrap()).collect();
    assert!(unheard.contains(&club.id(2).as_str()), "the phone that never spoke is unheard, not missed");
    let field = |query: &str| club.problem(&coach, &format!("/v1/board?{query}"));
    let other = club.stand.club.to_string();
    for (query, name) in [
        ("from=2026-02-30", "from"),
        ("to=x", "to"),
        ("from=2026-11-02&to=2026-11-01", "to"),
        ("from=2026-11-02&to=2028-11-01", "to"),
        ("today=", "today"),
        ("state=sad", "state"),
        ("squad=1", "squad"),
        ("limit=0", "limit"),
        ("limit=1001", "limit"),
        ("limit=x", "query"),
        ("colour=red", "query"),
        ("after=1", "after"),
        (&format!("after={other}"), "after"),
    ] {
        assert_eq!(field(query), (422, "field".to_owned(), name.to_owned()), "{query}");
    }
}

#[test]
fn nobody_reads_what_is_anothers() {
    let club = club();
    let (coach, mine, id) = (club.token(None), club.token(Some(0)), club.id(0));
    let today = format!("today={}", club.today);
    let own = club.ok(&mine, &format!("/v1/board?{today}"));
    let own: Vec<&Value> = own["athletes"].as_array().unwrap().iter().map(|a| &a["id"]).collect();
    assert_eq!(own, [&json!(id)]);
    for end in ["", "/weeks", "/tests", "/loads", "/forecast"] {
        assert_eq!(club.get(&mine, &format!("/v1/athletes/{id}{end}?{today}"), None).0, 200, "{end}");
        assert_eq!(club.get(&coach, &format!("/v1/athletes/{id}{end}?{today}"), None).0, 200, "{end}");
        let others = format!("/v1/athletes/{}{end}?{today}", club.id(1));
        assert_eq!(club.problem(&mine, &others).1, "not-found", "{end}");
        let nobody = format!("/v1/athletes/{}{end}?{today}", club.stand.club);
        assert_eq!(club.problem(&coach, &nobody).1, "not-found", "{end}");
        assert_eq!(club.problem("", &others).1, "unauthenticated");
    }
    // Pain that is not open to coaches is no reason that they see; they are told that it was not looked at.
    let pain = |list: &Value| {
        let first =
            list["athletes"].as_array().unwrap().iter().find(|a| a["id"] == json!(id)).unwrap().clone();
        let has =
            |list: &str| first[list].as_array().unwrap().iter().any(|r| r["topic"] == "pain or illness");
        (has("reasons"), has("not_looked"))
    };
    let path = format!("/v1/attention?{today}");
    assert_eq!(pain(&club.ok(&coach, &path)), (false, true));
    assert_eq!(pain(&club.ok(&mine, &path)), (true, false));
    let agent: ureq::Agent = ureq::Agent::config_builder().http_status_as_error(false).build().into();
    let opened = agent
        .post(format!("{}/v1/consent", club.stand.url()))
        .header("authorization", &format!("Bearer {mine}"))
        .header("content-type", "application/json")
        .send(r#"{"care_open_to_coaches":true}"#)
        .unwrap();
    assert_eq!(opened.status().as_u16(), 204);
    assert_eq!(pain(&club.ok(&coach, &path)), (true, false));
    // Marks: the club's for coaches, one's own for an athlete.
    let holders = |token: &str| {
        let list = club.ok(token, &format!("/v1/records?until={}", club.today));
        let records = list["records"].as_array().unwrap().clone();
        assert!(!records.is_empty());
        let best = records.iter().flat_map(|r| r["best"].as_array().unwrap().clone());
        best.map(|b| b["person"].as_str().unwrap_or("unnamed").to_owned()).collect::<BTreeSet<_>>()
    };
    assert_eq!(holders(&mine), BTreeSet::from([id.clone()]));
    assert_eq!(holders(&coach), BTreeSet::from([id.clone(), club.id(1)]));
    let care = club.stand.person(Role::Care, "Ada Fennick");
    let nurse = club.stand.phone(care, "nurse");
    let bearer = backstraight_server::token::Bearer { person: care, install: nurse.phone.identity().install };
    let nurse = club.stand.running().app.tokens.access(bearer, club.stand.now());
    for path in ["/v1/board", "/v1/attention", "/v1/proposals", "/v1/records"] {
        assert_eq!(club.problem(&nurse, path).1, "not-allowed", "{path}");
    }
}

#[test]
fn a_week_fits_on_a_page_of_a_hundred_columns() {
    use backstraight_server::report::week::WeekReport;
    let club = club();
    let (coach, id) = (club.token(None), club.id(0));
    let monday = club.today.week_start();
    let days = |from: Day| format!("from={from}&to={}&today={}", monday.plus(6), club.today);
    let read = |end: &str, from: Day| club.ok(&coach, &format!("/v1/athletes/{id}{end}?{}", days(from)));
    let before = monday.plus(-21);
    let mut report: WeekReport = serde_json::from_value(json!({
        "athlete": read("", monday),
        "weeks": read("/weeks", before),
        "loads": read("/loads", before),
        "tests": read("/tests", monday),
    }))
    .unwrap();
    assert_eq!(report.weeks.weeks.len(), 4);
    let text = report.to_text();
    for said in ["Ines Tarrowby", "week of", "done over", "foretells", "monotony"] {
        assert!(text.contains(said), "{said}: {text}");
    }
    for s in &report.athlete.line.sessions {
        assert!(text.contains(&s.title), "{}", s.title);
    }
    report.athlete.line.name = "x".repeat(120);
    for review in &mut report.athlete.reviews {
        review.cell.title = "a long title of many words ".repeat(4);
        review.comment = Some("felt heavy in the legs and then better ".repeat(20));
    }
    let text = report.to_text();
    assert!(text.lines().all(|l| l.chars().count() <= 100), "{text}");
}
