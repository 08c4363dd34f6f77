//! A person's full copy, read again and held against the documents.

use std::collections::BTreeMap;
use std::io::Read;
use std::path::Path;

use backstraight_core::base::key::Key;
use backstraight_core::doc::command::{Command, WorkOf};
use backstraight_core::doc::open::Document;
use backstraight_core::doc::place::Place;
use backstraight_core::exchange::access::Role;
use backstraight_core::model::log::*;
use backstraight_core::model::name::DocName;
use backstraight_core::model::number::*;
use backstraight_core::model::plan::{Exercise, Member, Remark};
use backstraight_server::export::{self, Directory, plain};
use backstraight_server::grant::AtTheMachine;
use backstraight_tests::content::content;
use backstraight_tests::stand::{Handset, Stand, november};
use backstraight_tests::table;
use serde_json::{Value, json};

/// What a spreadsheet might take for a formula, with everything that a table may trip over.
const WORDS: [&str; 6] =
    ["=HYPERLINK(\"x\")", "+1, \"quoted\"", "-2\nsecond line", "@cmd", "'=quoted", "plain, with a comma"];

struct Scene {
    stand: Stand,
    phone: Handset,
    desk: Handset,
}

fn scene() -> Scene {
    let stand = Stand::default();
    let mira = stand.person(Role::Athlete, "Mira Aalto");
    let ruth = stand.person(Role::HeadCoach, "Ruth Adeyemi");
    let (mut phone, mut tablet) = (stand.phone(mira, "phone"), stand.phone(mira, "tablet"));
    let mut desk = stand.phone(ruth, "desk");
    let text = |t: &str| Text::new(t).unwrap();
    let squat = Exercise::new(Text::new("Back squat").unwrap(), Pattern::ALL[0], Intent::ALL[0]);
    let (ex, _) = desk.add(DocName::Library(stand.club), "exercises", squat).unwrap();
    let squad = DocName::Squad(stand.squad());
    desk.add(squad, "members", Member::new(mira, Text::new("Mira Aalto").unwrap())).unwrap();
    desk.add(squad, "remarks", Remark::new(mira, ruth, stand.now(), text("for coaches only"))).unwrap();
    desk.say(DocName::Notes(mira, "2026-11".parse().unwrap()), WORDS[5]);
    let log = november(mira);
    let mut session = phone.begin();
    for n in 1..=3 {
        phone.set(&mut session, n).unwrap();
    }
    let (work, set) = (phone.phone.key(), phone.phone.key());
    let full = SetDone {
        load: Load::new(7_550).ok(),
        reps: Reps::new(5).ok(),
        effort: Effort::new(75).ok(),
        speeds: Speeds::new(vec![530, 510, 490]).ok(),
        splits: "1712,2801".parse().ok(),
        wind: Wind::new(-2_100).ok(),
        note: Some(text(WORDS[0])),
        failed: Some(false),
        ..SetDone::new(stand.now())
    };
    let with = WorkOf::New(work.clone(), Box::new(Work::new(ex)));
    let first = Command::LogSet {
        session: session.key.clone(),
        work: with,
        key: set.clone(),
        set: Box::new(full.clone()),
    };
    phone.phone.run(log, &first).unwrap();
    let better = SetDone { load: Load::new(8_000).ok(), amends: Some(set.clone()), ..full };
    let correct = Command::CorrectSet {
        session: session.key.clone(),
        work,
        earlier: set,
        key: phone.phone.key(),
        set: Box::new(better),
    };
    phone.phone.run(log, &correct).unwrap();
    for words in WORDS {
        phone.say(log, words);
    }
    let (gone, _) = phone.add(log, "comments", Comment::new(stand.now(), mira, text("withdrawn"))).unwrap();
    phone.phone.run(log, &Command::Withdraw(vec![Place::of("comments", &gone)])).unwrap();
    let report = Report { level: Effort::new(30).ok(), ..Report::new(stand.now(), Complaint::Pain) };
    phone.add(DocName::Care(mira), "reports", report).unwrap();
    // A check-in that two devices change without knowing of each other.
    let day = phone.phone.today().unwrap();
    let first = CheckIn {
        sleep: Rating::new(4).ok(),
        mass: BodyMass::new(6_215).ok(),
        ..CheckIn::new(day, stand.now())
    };
    let (key, _) = phone.add(log, "checkins", first.clone()).unwrap();
    phone.exchange(&stand.url());
    tablet.exchange(&stand.url());
    for (one, sleep) in [(&mut phone, 6), (&mut tablet, 2)] {
        let to = CheckIn { sleep: Rating::new(sleep).ok(), ..first.clone() };
        let edit =
            Command::Edit { place: Place::of("checkins", &key), from: first.clone().into(), to: to.into() };
        one.phone.run(log, &edit).unwrap();
    }
    for _ in 0..2 {
        for one in [&mut phone, &mut tablet, &mut desk] {
            one.exchange(&stand.url());
        }
    }
    Scene { stand, phone, desk }
}

/// The rows of a table by their columns' names (RFC 4180).
fn rows(text: &str) -> Vec<BTreeMap<String, String>> {
    let mut lines = table::records(text);
    let heading = lines.remove(0);
    for line in &lines {
        assert_eq!(line.len(), heading.len(), "{line:?}");
    }
    lines.into_iter().map(|line| heading.iter().cloned().zip(line).collect()).collect()
}

fn number(row: &BTreeMap<String, String>, column: &str, parts: f64) -> Option<i64> {
    let text = row.get(column).unwrap_or_else(|| panic!("{column} in {row:?}"));
    #[expect(clippy::cast_possible_truncation, reason = "a whole number again")]
    (!text.is_empty()).then(|| (text.parse::<f64>().unwrap() * parts).round() as i64)
}

fn read(folder: &Path, name: &str) -> String {
    std::fs::read_to_string(folder.join(name)).unwrap_or_else(|e| panic!("{name}: {e}"))
}

fn file_name(name: &DocName) -> String {
    match name {
        DocName::Log(_, month) => format!("log-{month}"),
        DocName::Notes(_, month) => format!("notes-{month}"),
        DocName::Care(_) => "care".to_owned(),
        other => panic!("{other}"),
    }
}

#[test]
fn a_full_copy_read_again_is_what_the_documents_say() {
    let mut scene = scene();
    let mira = scene.phone.person();
    let folder = scene.stand.dir.path().join("copy");
    let grant = AtTheMachine.to_export(mira, scene.stand.club, true);
    let mut sink = Directory::create(&folder).unwrap();
    export::write(&scene.stand.store(), &grant, scene.stand.now(), &mut sink).unwrap();

    let names = [november(mira), DocName::Notes(mira, "2026-11".parse().unwrap()), DocName::Care(mira)];
    for name in names {
        let doc = scene.phone.phone.document(name).unwrap().clone();
        let json: Value =
            serde_json::from_str(&read(&folder, &format!("documents/{}.json", file_name(&name)))).unwrap();
        same(&content(&doc), &json["records"], &name.to_string());
        let bytes = std::fs::read(folder.join(format!("documents/{}.document", file_name(&name)))).unwrap();
        assert_eq!(Document::open(name, &bytes).unwrap().heads(), doc.heads());
        let history = json["history"].as_array().unwrap();
        assert_eq!(history.len(), doc.history().unwrap().len());
    }
    let log: Value = serde_json::from_str(&read(&folder, "documents/log-2026-11.json")).unwrap();
    let met = &log["two_edits_met"][0];
    assert_eq!((met["field"].as_str(), met["values"].as_array().unwrap().len()), (Some("sleep"), 2), "{met}");
    assert!(met["values"].as_array().unwrap().iter().all(|v| v["by"] == mira.to_string()));
    let slept: Vec<i64> = log["history"]
        .as_array()
        .unwrap()
        .iter()
        .filter(|w| w["where"].as_str().unwrap().ends_with("/sleep"))
        .map(|w| w["value"].as_i64().unwrap())
        .collect();
    assert!(slept.len() == 3 && [4, 6, 2].iter().all(|n| slept.contains(n)), "earlier values: {slept:?}");

    // Every set of the table is a set of the log, number by number.
    let doc = scene.phone.phone.document(november(mira)).unwrap().clone();
    let mut sets: BTreeMap<Key, SetDone> = doc
        .with_inner("sessions")
        .take::<SetDone>()
        .entries
        .into_iter()
        .map(|e| (e.key(), e.record))
        .collect();
    assert_eq!(sets.len(), 5);
    for row in rows(&read(&folder, "tables/sets.csv")) {
        let set = sets.remove(&row["key"].parse().unwrap()).unwrap();
        assert_eq!(number(&row, "load_kg", 100.0), set.load.map(Load::get));
        assert_eq!(number(&row, "reps", 1.0), set.reps.map(Reps::get));
        assert_eq!(number(&row, "effort_0_to_10", 10.0), set.effort.map(Effort::get));
        assert_eq!(number(&row, "wind_m_per_s", 1000.0), set.wind.map(Wind::get));
        let list = |column: &str| -> Vec<i64> {
            #[expect(clippy::cast_possible_truncation, reason = "a whole number again")]
            let one = |n: &str| (n.parse::<f64>().unwrap() * 1000.0).round() as i64;
            row[column].split(' ').filter(|n| !n.is_empty()).map(one).collect()
        };
        let speeds: Option<Vec<i64>> =
            set.speeds.as_ref().map(|s| s.mm_s().iter().map(|n| i64::from(*n)).collect());
        assert_eq!(list("speeds_m_per_s"), speeds.unwrap_or_default());
        let splits: Option<Vec<i64>> = set.splits.as_ref().map(|t| t.0.iter().map(|d| d.get()).collect());
        assert_eq!(list("splits_s"), splits.unwrap_or_default());
        assert_eq!(plain(&row["note"]), set.note.as_ref().map_or("", |n| n.as_str()));
        assert_eq!(row["amends"], set.amends.map_or(String::new(), |k| k.to_string()));
        assert_eq!(row["at_utc"], set.at.to_string());
    }
    assert!(sets.is_empty(), "every set of the log is in the table");
    let comments = rows(&read(&folder, "tables/comments.csv"));
    let mut found: Vec<&str> = comments.iter().map(|r| plain(&r["text"])).collect();
    found.sort_unstable();
    let mut wanted: Vec<&str> = WORDS.iter().copied().chain([WORDS[5], "withdrawn"]).collect();
    wanted.sort_unstable();
    assert_eq!(found, wanted);
    assert_eq!(comments.iter().filter(|r| !r["withdrawn_utc"].is_empty()).count(), 1);
    for row in comments.iter().chain(&rows(&read(&folder, "tables/sets.csv"))) {
        for (column, cell) in row {
            let formula = cell.starts_with(['=', '+', '-', '@', '\t', '\r']) && cell.parse::<f64>().is_err();
            assert!(!formula, "{column}: {cell}");
        }
    }
    let exercises = rows(&read(&folder, "tables/exercises_done.csv"));
    assert!(exercises.iter().any(|r| r["exercise_name"] == "Back squat"), "{exercises:?}");
    let check_ins = rows(&read(&folder, "tables/check_ins.csv"));
    assert_eq!(
        (check_ins[0]["mass_kg"].as_str(), check_ins[0]["date_local"].as_str()),
        ("62.15", "2026-11-25")
    );
    let reports = rows(&read(&folder, "tables/reports.csv"));
    assert_eq!(reports[0]["level_0_to_10"], "3");
    assert!(read(&folder, "squads.json").contains("for coaches only"));
    assert!(read(&folder, "tables/audit.csv").contains("enrolled"));
    assert_eq!(rows(&read(&folder, "tables/installs.csv")).len(), 2);
    let person: Value = serde_json::from_str(&read(&folder, "person.json")).unwrap();
    assert_eq!(person["name"], "Mira Aalto");
    assert!(person["born"].is_string() && person["consents"] == json!([]), "{person}");
    assert!(read(&folder, "README.txt").contains("Mira Aalto"));

    // Again at the same moment: the same bytes, but for the line that says that a copy was taken.
    let again = scene.stand.dir.path().join("again");
    export::write(&scene.stand.store(), &grant, scene.stand.now(), &mut Directory::create(&again).unwrap())
        .unwrap();
    for name in ["tables/sets.csv", "documents/log-2026-11.json", "person.json", "README.txt"] {
        assert_eq!(read(&folder, name), read(&again, name), "{name}");
    }
    assert!(Directory::create(&folder).is_err(), "nothing is written over");
}

/// Every record and field that readers show is in the copy with the same value.
fn same(read: &Value, copy: &Value, at: &str) {
    match (read, copy) {
        (Value::Object(read), Value::Object(copy)) => {
            for (name, value) in read {
                // Marks that stand elsewhere in the copy, or in another form.
                if name.starts_with('(') || name == "gone" {
                    continue;
                }
                let other = copy.get(name).unwrap_or_else(|| panic!("{at}/{name} is not in the copy"));
                same(value, other, &format!("{at}/{name}"));
            }
        }
        (Value::Number(a), Value::Number(b)) => assert_eq!(a, b, "{at}"),
        (Value::Bool(a), Value::Bool(b)) => assert_eq!(a, b, "{at}"),
        // Texts are the same; moments and bytes have forms for people.
        (Value::String(a), Value::String(b)) if !b.ends_with('Z') => assert_eq!(a, b, "{at}"),
        _ => assert!(!copy.is_null(), "{at}: {read} {copy}"),
    }
}

#[test]
fn everybody_gets_their_own_copy_as_a_zip_and_nobody_anothers() {
    let scene = scene();
    let mira = scene.phone.person();
    let token = |one: &Handset| {
        let identity = one.phone.identity();
        let bearer =
            backstraight_server::token::Bearer { person: identity.person, install: identity.install };
        scene.stand.running().app.tokens.access(bearer, scene.stand.now())
    };
    let get = |token: &str| {
        let agent: ureq::Agent = ureq::Agent::config_builder().http_status_as_error(false).build().into();
        let url = format!("{}/v1/people/{mira}/export", scene.stand.url());
        let mut answer = agent.get(url).header("authorization", &format!("Bearer {token}")).call().unwrap();
        let bytes = answer.body_mut().with_config().limit(64 << 20).read_to_vec().unwrap();
        (answer.status().as_u16(), bytes)
    };
    assert_eq!(get(&token(&scene.desk)).0, 404);
    let (status, bytes) = get(&token(&scene.phone));
    assert_eq!(status, 200);
    let mut archive = zip::ZipArchive::new(std::io::Cursor::new(bytes)).unwrap();
    let names: Vec<String> = archive.file_names().map(|n| n.unwrap().into_owned()).collect();
    assert!(names.iter().all(|n| n.starts_with("backstraight-export/")), "{names:?}");
    let mut text = String::new();
    archive.by_name("backstraight-export/tables/sets.csv").unwrap().read_to_string(&mut text).unwrap();
    assert_eq!(rows(&text).len(), 5);
    let mut squads = String::new();
    archive.by_name("backstraight-export/squads.json").unwrap().read_to_string(&mut squads).unwrap();
    assert!(squads.contains("Mira Aalto") && !squads.contains("for coaches only"));
}
