//! A person is erased: no byte of what they wrote is left, nobody's stale phone and no older backup
//! brings it back, and everybody else goes on.

use std::path::Path;

use backstraight_cluster::Cluster;
use backstraight_core::base::id::PersonId;
use backstraight_core::doc::command::Command;
use backstraight_core::doc::place::Place;
use backstraight_core::exchange::access::Role;
use backstraight_core::model::log::Report;
use backstraight_core::model::name::DocName;
use backstraight_core::model::number::Priority;
use backstraight_core::model::number::{Complaint, SeasonNo, Text};
use backstraight_core::model::plan::{Meet, Member, Remark, Session, SquadAbout};
use backstraight_server::erase;
use backstraight_server::folder::Folder;
use backstraight_server::grant::AtTheMachine;
use backstraight_server::store::backup::{self, Take};
use backstraight_tests::stand::{DAY, Handset, Stand, november};
use serde_json::{Value, json};

/// Words that stand nowhere else, one for each place where something of a person may stand.
const NAME: &str = "Zephyrine Quondamfield";
const WORDS: [&str; 7] = [
    "canary-comment-71",
    "canary-note-72",
    "canary-pain-73",
    "canary-plan-74",
    "canary-remark-75",
    "canary-device-76",
    "canary-event-77",
];

fn notes(athlete: PersonId) -> DocName {
    DocName::Notes(athlete, "2026-11".parse().unwrap())
}

fn plan(athlete: PersonId) -> DocName {
    DocName::Plan(athlete, SeasonNo::new(2027).unwrap())
}

fn squads(one: &mut Handset) -> Vec<DocName> {
    let all = one.phone.documents().unwrap();
    all.into_iter().filter(|n| matches!(n, DocName::Squad(_))).collect()
}

fn members(one: &mut Handset, squad: DocName) -> Vec<String> {
    let read = one.phone.document(squad).unwrap().records::<Member>("members");
    let mut names: Vec<String> = read.live().map(|e| e.record.name.to_string()).collect();
    names.sort();
    names
}

struct Club {
    stand: Stand,
    owner: Handset,
    desk: Handset,
    away: Handset,
    phone: Handset,
    other: Handset,
    squad: DocName,
}

/// A club in which somebody's words stand wherever words may stand.
fn club() -> Club {
    let stand = Stand::default();
    let zeph = stand.person(Role::Athlete, NAME);
    let mira = stand.person(Role::Athlete, "Mira Aalto");
    let ruth = stand.person(Role::HeadCoach, "Ruth Adeyemi");
    let jon = stand.person(Role::Coach, "Jon Okafor");
    let squad = DocName::Squad(stand.squad());
    let owner = stand.phone(stand.person(Role::Owner, "Olga Prentiss"), "owner");
    let (mut desk, mut away) = (stand.phone(ruth, "desk"), stand.phone(jon, "away"));
    let (mut phone, mut other) = (stand.phone(zeph, "phone"), stand.phone(mira, "other"));
    let text = |t: &str| Text::new(t).unwrap();
    let about = SquadAbout { name: Text::new("Sprints").ok(), ..SquadAbout::new() };
    let edit =
        Command::Edit { place: Place::main("about"), from: SquadAbout::new().into(), to: about.into() };
    desk.phone.run(squad, &edit).unwrap();
    for (id, name) in [(zeph, NAME), (mira, "Mira Aalto")] {
        let member = Member {
            events: Text::new(if id == zeph { WORDS[6] } else { "hurdles" }).ok(),
            born: "2007-03-04".parse().ok(),
            ..Member::new(id, Text::new(name).unwrap())
        };
        desk.add(squad, "members", member).unwrap();
    }
    desk.add(squad, "remarks", Remark::new(zeph, ruth, stand.now(), text(WORDS[4]))).unwrap();
    desk.add(squad, "remarks", Remark::new(mira, ruth, stand.now(), text("a remark that stays"))).unwrap();
    let (gone, _) = desk
        .add(
            squad,
            "meets",
            Meet::new(Text::new("Indoors").unwrap(), "2027-01-16".parse().unwrap(), Priority::Main),
        )
        .unwrap();
    desk.phone.run(squad, &Command::Withdraw(vec![Place::of("meets", &gone)])).unwrap();
    desk.add(
        plan(zeph),
        "sessions",
        Session::new("2026-11-26".parse().unwrap(), Text::new(WORDS[3]).unwrap()),
    )
    .unwrap();
    desk.say(notes(zeph), WORDS[1]);
    desk.say(notes(mira), "of Mira");
    phone.say(november(zeph), WORDS[0]);
    let report = Report { text: Some(text(WORDS[2])), ..Report::new(stand.now(), Complaint::Pain) };
    phone.add(DocName::Care(zeph), "reports", report).unwrap();
    other.say(november(mira), "of Mira herself");
    for _ in 0..2 {
        for one in [&mut phone, &mut other, &mut desk, &mut away] {
            one.exchange(&stand.url());
        }
    }
    Club { stand, owner, desk, away, phone, other, squad }
}

/// Files of a folder, and of those inside it, in which these words stand.
fn found(folder: &Path, words: &[&str]) -> Vec<String> {
    let mut found = Vec::new();
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            found.extend(self::found(&path, words));
            continue;
        }
        let bytes = std::fs::read(&path).unwrap();
        for word in words.iter().filter(|w| bytes.windows(w.len()).any(|b| b == w.as_bytes())) {
            found.push(format!("{word} in {}", path.display()));
        }
    }
    found
}

/// The same in everything that the server keeps on a disk: its folder, and its database's files.
fn kept(stand: &Stand, words: &[&str]) -> Vec<String> {
    let mut all = found(stand.data(), words);
    if let Some(name) = stand.database_name() {
        all.extend(found(&Cluster::shared().files(&name), words));
    }
    all
}

/// What those who run a database server are told to do after an erasure.
fn clean_up(database: &str) {
    let page = include_str!("../../../docs/postgresql.md");
    let block = page.split("```sql\n").skip(1).find(|rest| rest.starts_with("VACUUM")).unwrap();
    for statement in block.split("```").next().unwrap().split_inclusive(";\n") {
        Cluster::shared().put_sql(database, statement);
    }
}

fn request(club: &Club, who: &Handset, method: &str, path: &str, body: Option<&Value>) -> (u16, Value) {
    let identity = who.phone.identity();
    let bearer = backstraight_server::token::Bearer { person: identity.person, install: identity.install };
    let token = club.stand.running().app.tokens.access(bearer, club.stand.now());
    let agent: ureq::Agent = ureq::Agent::config_builder().http_status_as_error(false).build().into();
    let url = format!("{}{path}", club.stand.url());
    let mut answer = match (method, body) {
        ("get", _) => agent.get(url).header("authorization", &format!("Bearer {token}")).call().unwrap(),
        (_, body) => agent
            .post(url)
            .header("authorization", &format!("Bearer {token}"))
            .header("content-type", "application/json")
            .send(body.unwrap().to_string())
            .unwrap(),
    };
    let text = answer.body_mut().read_to_string().unwrap();
    (answer.status().as_u16(), serde_json::from_str(&text).unwrap_or(Value::Null))
}

#[test]
fn an_erased_person_is_nowhere_and_comes_back_by_nobody() {
    let mut club = club();
    let zeph = club.phone.person();
    let all: Vec<&str> = WORDS.iter().copied().filter(|w| *w != WORDS[5]).chain([NAME]).collect();
    let backup_folder = club.stand.dir.path().join("backups");
    std::fs::create_dir(&backup_folder).unwrap();
    let older = backup_folder.join("older.backup");
    club.stand.backup(&older);
    if let Some(name) = club.stand.database_name() {
        // As it does by itself from time to time: what it samples stands in its statistics.
        Cluster::shared().put_sql(&name, "ANALYZE");
    }
    let before = kept(&club.stand, &all);
    for word in &all {
        assert!(before.iter().any(|f| f.starts_with(word)), "{word} is there before: the search works");
    }

    // Only an owner of the club may, and nothing goes by asking.
    let path = format!("/v1/people/{zeph}/erasure");
    for who in [&club.desk, &club.phone, &club.other] {
        assert_eq!(request(&club, who, "get", &path, None).0, 403);
        assert_eq!(request(&club, who, "post", &path, Some(&json!({ "confirm": "x" }))).0, 403);
    }
    let (status, going) = request(&club, &club.owner, "get", &path, None);
    assert_eq!(status, 200, "{going}");
    assert_eq!(going["documents"].as_array().unwrap().len(), 4, "{going}");
    assert_eq!(going["squads"].as_array().unwrap().len(), 1, "{going}");
    let wrong = request(&club, &club.owner, "post", &path, Some(&json!({ "confirm": "athlete 0000x" })));
    assert_eq!((wrong.0, wrong.1["field"].as_str()), (422, Some("confirm")));
    assert!(!kept(&club.stand, &all).is_empty());

    // One desk is offline, with words about the person and in the squad that it did not send yet.
    club.away.say(notes(zeph), "not sent yet");
    let (status, done) =
        request(&club, &club.owner, "post", &path, Some(&json!({ "confirm": going["pseudonym"] })));
    assert_eq!(status, 200, "{done}");
    assert_eq!((done["documents"].as_u64(), done["squads"].as_u64()), (Some(4), Some(1)), "{done}");
    assert_eq!(done["bytes_gone"], club.stand.database_name().is_none(), "{done}");
    if let Some(name) = club.stand.database_name() {
        assert!(!kept(&club.stand, &all).is_empty(), "which is why it says so");
        clean_up(&name);
    }
    assert_eq!(kept(&club.stand, &all), Vec::<String>::new(), "no byte is left");
    let later = club.stand.dir.path().join("later");
    std::fs::create_dir(&later).unwrap();
    club.stand.backup(&later.join("later.backup"));
    assert_eq!(found(&later, &all), Vec::<String>::new(), "nor in a backup made since");
    assert_eq!(request(&club, &club.owner, "get", &path, None).0, 404, "erased once and for all");

    // The person's own phone is let in no more; what it holds is the person's own.
    assert!(
        club.phone.phone.exchange(&mut backstraight_ffi::transport::Http::new(&club.stand.url())).is_err()
    );
    assert_eq!(club.phone.words(november(zeph)), [WORDS[0]]);

    // Desks forget the documents with every byte, and the squad goes on without the person.
    let url = club.stand.url();
    for desk in [&mut club.desk, &mut club.away] {
        let report = desk.exchange(&url);
        let erased: Vec<DocName> = report.erased.clone();
        for name in [plan(zeph), notes(zeph), november(zeph), club.squad] {
            assert!(erased.contains(&name), "{name}: {erased:?}");
        }
        let report = desk.exchange(&url);
        assert!(report.erased.is_empty() && report.refused.is_empty(), "{report:?}");
        let squads = squads(desk);
        assert!(squads.len() == 1 && squads[0] != club.squad, "{squads:?}");
        assert_eq!(members(desk, squads[0]), ["Mira Aalto"]);
        let remarks = desk.phone.document(squads[0]).unwrap().records::<Remark>("remarks");
        assert_eq!(remarks.entries.len(), 1);
        let about = desk.phone.document(squads[0]).unwrap().record::<SquadAbout>(&Place::main("about"));
        assert_eq!(about.unwrap().unwrap().record.name, Text::new("Sprints").ok());
        let meets = desk.phone.document(squads[0]).unwrap().records::<Meet>("meets");
        assert!(meets.entries.len() == 1 && !meets.entries[0].live(), "withdrawn stays withdrawn");
        assert_eq!(found(&desk.dir, &all), Vec::<String>::new(), "nor in the desk's own files");
    }
    // Both write on in the copy, and in what is of others.
    let squad = squads(&mut club.desk)[0];
    for (n, desk) in [&mut club.desk, &mut club.away].into_iter().enumerate() {
        let meet = Meet::new(
            Text::new(format!("Open {n}")).unwrap(),
            "2027-02-20".parse().unwrap(),
            Priority::Second,
        );
        desk.add(squad, "meets", meet).unwrap();
        let report = desk.exchange(&url);
        assert!(report.refused.is_empty() && report.not_taken.is_empty(), "{report:?}");
    }
    club.desk.exchange(&url);
    assert_eq!(club.desk.heads(squad), club.away.heads(squad));
    club.other.exchange(&url);
    assert_eq!(club.other.words(notes(club.other.person())), ["of Mira"]);
    assert_eq!(club.stand.trouble(), Vec::<String>::new());
    let (status, board) = request(&club, &club.desk, "get", "/v1/board?from=2026-11-20&to=2026-11-30", None);
    assert_eq!(status, 200);
    let shown = board.to_string();
    assert!(all.iter().all(|w| !shown.contains(w)), "{shown}");

    // An older backup, restored: the person is erased from it again, and the copy of the squad is the
    // very same one, so that what desks wrote into it since comes back.
    let heads = club.desk.heads(squad);
    club.stand.restore(&older);
    let data = club.stand.data().to_owned();
    for entry in std::fs::read_dir(&data).unwrap() {
        let path = entry.unwrap().path();
        if path.file_name().unwrap().to_string_lossy().contains(".before-") {
            std::fs::remove_file(path).unwrap();
        }
    }
    assert_eq!(kept(&club.stand, &all), Vec::<String>::new());
    let url = club.stand.url();
    for _ in 0..2 {
        for desk in [&mut club.desk, &mut club.away] {
            let report = desk.exchange(&url);
            assert!(report.refused.is_empty() && report.not_taken.is_empty(), "{report:?}");
        }
    }
    assert_eq!(club.stand.stored()[&squad].1, heads, "the copy goes on as it was");
    assert_eq!(members(&mut club.away, squad), ["Mira Aalto"]);
    assert_eq!(club.stand.trouble(), Vec::<String>::new());
}

#[test]
fn a_lost_folder_restored_from_before_knows_who_was_erased_by_the_list_beside_the_backups() {
    let club = club();
    let zeph = club.phone.person();
    let kept = club.stand.dir.path().join("backups");
    std::fs::create_dir(&kept).unwrap();
    let older = kept.join("older.backup");
    club.stand.backup(&older);
    let (store, now) = (club.stand.store(), club.stand.now());
    let grant = AtTheMachine.to_erase(zeph, club.stand.club);
    erase::person(&store, grant, now).unwrap().unwrap();
    erase::tell_backups(&store, &kept).unwrap();
    let again = erase::person(&store, grant, now).unwrap();
    assert!(again.is_none());
    let new = club.stand.dir.path().join("elsewhere");
    let done =
        backup::restore(&older, &Folder::open(&new).unwrap(), Take::default(), now.plus_ms(DAY)).unwrap();
    assert_eq!(done.erased_again, 1);
    let words: Vec<&str> = WORDS.iter().copied().chain([NAME]).collect();
    assert_eq!(found(&new, &words), Vec::<String>::new());
    // Without the list it would be back: that is what the list is for.
    let alone = club.stand.dir.path().join("alone");
    std::fs::create_dir(&alone).unwrap();
    std::fs::copy(&older, alone.join("older.backup")).unwrap();
    let other = Folder::open(&club.stand.dir.path().join("other-place")).unwrap();
    let done = backup::restore(&alone.join("older.backup"), &other, Take::default(), now).unwrap();
    assert_eq!(done.erased_again, 0);
    assert!(!found(other.root(), &words).is_empty());
}
