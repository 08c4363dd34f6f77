//! In each operation of the store each statement fails in turn: the operation says so, nothing of it stays,
//! and the same once more does all of it.

use std::sync::atomic::AtomicBool;

use backstraight_core::exchange::access::Asker;

use super::*;
use crate::store::members::{self, Change};
use crate::store::sql::{self, trouble};
use crate::store::{erased, guardians, installs, quarantine};

const NEW: PersonId = PersonId(Uuid::from_u128(4));
const GUARDIAN: PersonId = PersonId(Uuid::from_u128(5));

type Operation = Box<dyn Fn(&Db) -> Result<(), StoreError> + Send + Sync>;

fn asker(person: PersonId, role: Role) -> Asker {
    Asker { person, club: CLUB, role }
}

/// Operations in an order in which each does something, by name.
fn operations(phone: &Enrolled, caller: Caller, doc: i64) -> Vec<(&'static str, Operation)> {
    let keep = AtTheMachine.to_keep_accounts();
    let mira = || asker(MIRA, Role::Athlete);
    let day = |text: &str| text.parse().ok();
    let person = |id, role: Role| NewPerson { id, club: CLUB, role, name: "Somebody else".to_owned() };
    let refresh =
        Tokens::new(&Keys { signing: [1; 32], secret: KEY }, [0; 16]).refresh(phone.install, 1, &phone.salt);
    let install = phone.install;
    let mut all: Vec<(&'static str, Operation)> = Vec::new();
    let mut add = |name, operation: Operation| all.push((name, operation));
    add(
        "add a club",
        Box::new(move |db| people::add_club(db, &keep, ClubId(Uuid::from_u128(9)), "Other", NOW)),
    );
    add("add a person", Box::new(move |db| people::add_person(db, &keep, &person(NEW, Role::Coach), NOW)));
    add(
        "add a guardian",
        Box::new(move |db| people::add_person(db, &keep, &person(GUARDIAN, Role::Guardian), NOW)),
    );
    add(
        "a date of birth",
        Box::new(move |db| people::set_born(db, &keep, MIRA, day("2011-02-03"), NOW).map(drop)),
    );
    let guard = AtTheMachine.to_guard(&mira());
    add(
        "answer for somebody",
        Box::new(move |db| guardians::begin(db, &guard, GUARDIAN, "mother", NOW).map(drop)),
    );
    let know = AtTheMachine.to_invite(MIRA, CLUB);
    add("invite", Box::new(move |db| account::invite(db, &know, &KEY, 60_000, NOW).map(drop)));
    add(
        "heard",
        Box::new(move |db| {
            heard::note(db, &caller, heard::Word::Through("2026-11-25", value::epoch(db)?), NOW)
        }),
    );
    add("an old app", Box::new(move |db| heard::note_old_app(db, &caller)));
    add(
        "rotate",
        Box::new(move |db| {
            let claim = RefreshClaim::read(&refresh).unwrap();
            account::rotate(db, &KEY, claim, false, NOW).map(drop)
        }),
    );
    let (first, second) = (piece(2, b"c"), piece(3, b"d"));
    add("append", Box::new(move |db| document::append(db, &first, NOW).map(drop)));
    add(
        "append several",
        Box::new(move |db| document::append_all(db, std::slice::from_ref(&second), NOW).map(drop)),
    );
    let new = Snapshot { doc, upto_n: 4, body: vec![9], delta: vec![8] };
    add("compact", Box::new(move |db| snapshot::swap(db, &new, NOW).map(drop)));
    add(
        "set a document aside",
        Box::new(move |db| quarantine::put(db, doc, "compact", "does not open", NOW)),
    );
    add("let it in again", Box::new(move |db| quarantine::release(db, doc, "compact")));
    add("a job", Box::new(move |db| job::mark(db, MIRA.0.into_bytes(), CLUB, NOW)));
    add("rename", {
        let grant = AtTheMachine.to_keep(&mira());
        let change = Change { name: Some("Mira B".to_owned()), role: None, born: None };
        Box::new(move |db| members::change(db, &grant, &change, NOW).map(drop))
    });
    let squad = backstraight_core::base::id::SquadId(Uuid::from_u128(6));
    add("add a squad", Box::new(move |db| people::add_squad(db, &keep, CLUB, squad, "Sprints", NOW)));
    add("retention", Box::new(move |db| erased::set_retention(db, &keep, CLUB, Some(24), NOW).map(drop)));
    let club = AtTheMachine.to_keep_club(CLUB);
    add("rename the club", Box::new(move |db| members::change_club(db, &club, Some("Lane"), Some(17), NOW)));
    let end = AtTheMachine.to_guard(&mira());
    add("answer no more", Box::new(move |db| guardians::end(db, &end, GUARDIAN, "of age", NOW).map(drop)));
    let one = AtTheMachine.to_installs(&mira());
    add("withdraw an install", Box::new(move |db| installs::withdraw(db, &one, install, NOW).map(drop)));
    let gone = AtTheMachine.to_keep(&asker(NEW, Role::Coach));
    add("withdraw a person", Box::new(move |db| members::withdraw(db, &gone, NOW).map(drop)));
    let back = AtTheMachine.to_keep(&asker(NEW, Role::Coach));
    add("take back", Box::new(move |db| members::restore(db, &back, NOW).map(drop)));
    let erase = AtTheMachine.to_erase(MIRA, CLUB);
    add("erase", Box::new(move |db| erased::erase(db, &erase, "former athlete", &[], NOW).map(drop)));
    all
}

/// Every table with its columns.
fn tables(db: &Db) -> Result<Vec<(String, String)>, StoreError> {
    let mut ask = db.prepare(match db.kind() {
        Kind::Lite => {
            "SELECT t.name, group_concat(c.name) FROM sqlite_schema t JOIN pragma_table_info(t.name) c
             WHERE t.type = 'table' AND t.name NOT LIKE 'sqlite_%' GROUP BY t.name ORDER BY t.name"
        }
        Kind::Postgres => {
            "SELECT table_name::text, string_agg(column_name::text, ',') FROM information_schema.columns
             WHERE table_schema = current_schema() GROUP BY table_name ORDER BY table_name"
        }
    })?;
    Ok(ask.query_map([], |r| Ok((r.get(0)?, r.get(1)?)))?.collect::<Result<_, _>>()?)
}

/// Every row of every table.
fn everything(db: &Db) -> Result<Vec<String>, StoreError> {
    let mut all = Vec::new();
    for (table, columns) in tables(db)? {
        let count = columns.split(',').count();
        let mut ask = db.prepare(&format!("SELECT {columns} FROM {table}"))?;
        let mut lines = ask
            .query_map([], |r| {
                let values = (0..count).map(|n| Ok(format!("{:?}", r.get_ref(n)?)));
                Ok(format!("{table}: {}", values.collect::<Result<Vec<_>, sql::Error>>()?.join(" ")))
            })?
            .collect::<Result<Vec<_>, _>>()?;
        lines.sort();
        all.append(&mut lines);
    }
    Ok(all)
}

pub(super) fn whichever_statement_fails_all_of_it_is_said_and_undone(on: On) {
    let h = house(on);
    let phone = h.enrol(MIRA);
    let caller = h.caller(&phone).unwrap();
    h.append(0, b"a").unwrap();
    h.append(1, b"b").unwrap();
    let doc = h.store.read_blocking(|db| document::find(db, &log())).unwrap().unwrap().id;
    let now = || h.store.read_blocking(everything).unwrap();
    assert!(now().len() > 8);
    let mut failed = 0;
    for (name, operation) in operations(&phone, caller, doc) {
        let (operation, before) = (Arc::new(operation), now());
        for n in 0.. {
            let (operation, hit) = (Arc::clone(&operation), Arc::new(AtomicBool::new(false)));
            let saw = Arc::clone(&hit);
            let done = h.store.write_blocking(move |db| {
                let (done, hit) = trouble::at(n, || operation(db));
                saw.store(hit, Ordering::SeqCst);
                done
            });
            if !hit.load(Ordering::SeqCst) {
                done.unwrap_or_else(|e| panic!("{name}: {e}"));
                break;
            }
            assert!(done.is_err(), "{name}: taken for done without statement {n}");
            assert_eq!(now(), before, "{name}: something stays though statement {n} failed");
            failed += 1;
        }
        assert_ne!(now(), before, "{name} does something");
    }
    assert!(failed > 60, "{failed} statements");
    assert_eq!(h.store.read_blocking(audit::follow).unwrap().trouble, [""; 0]);
}
