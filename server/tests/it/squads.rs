//! Who is in a squad, written at the machine in a coach's name, beside a server that runs.

use std::path::Path;

use backstraight_core::base::id::{PersonId, SquadId};
use backstraight_core::doc::command::{Command, Scene};
use backstraight_core::doc::place::Place;
use backstraight_core::exchange::wire::Outcome;
use backstraight_core::model::name::DocName;
use backstraight_core::model::number::Name;
use backstraight_core::model::plan::Member;
use serde_json::Value;

use crate::command_line::{Served, json, now, run, text};
use crate::support::{Device, about};

struct Ground<'a> {
    data: &'a Path,
    club: String,
}

impl Ground<'_> {
    fn person(&self, name: &str, role: &str) -> String {
        let made = json(&["person", "add", name, "--club", &self.club, "--role", role], self.data);
        text(&made, "id").to_owned()
    }

    fn squad(&self, name: &str) -> String {
        text(&json(&["squad", "add", name, "--club", &self.club], self.data), "id").to_owned()
    }

    fn device(&self, person: &str, url: &str) -> Device {
        let code = json(&["invite", person], self.data);
        Device::enrol(url, text(&code, "code"), now())
    }

    fn refused(&self, args: &[&str]) -> String {
        let out = run(args, self.data);
        assert!(!out.status.success(), "{args:?}");
        String::from_utf8(out.stderr).unwrap()
    }
}

fn names(list: &Value) -> Vec<&str> {
    list.as_array().unwrap().iter().map(|m| text(m, "name")).collect()
}

#[test]
fn an_athlete_is_put_into_squads_and_taken_out_at_the_machine() {
    let dir = tempfile::tempdir().unwrap();
    let data = dir.path();
    let club = text(&json(&["club", "add", "Cinder Lane"], data), "id").to_owned();
    let ground = Ground { data, club };
    let away = text(&json(&["club", "add", "Harbour Runners"], data), "id").to_owned();
    let away = Ground { data, club: away };
    let (sprints, jumps) = (ground.squad("Sprints"), ground.squad("Jumps"));
    let foreign = away.squad("Throws");
    let mira = ground.person("Mira Aalto", "athlete");
    let coach = ground.person("Ruth Adeyemi", "coach");
    let stranger = away.person("Ines Duarte", "athlete");
    let join = ["squad", "join", &mira, &sprints, "--by", &coach];
    assert!(ground.refused(&join).contains("no phone or desk"), "nobody to write it");
    assert_eq!(names(&json(&["squad", "members", &sprints], data)), Vec::<&str>::new());
    let served = Served::with(data, &[]);
    let mut desk = ground.device(&coach, &served.url);

    assert_eq!(names(&json(&join, data)), ["Mira Aalto"]);
    assert_eq!(names(&json(&join, data)), ["Mira Aalto"], "again changes nothing");
    assert_eq!(names(&json(&["squad", "members", &sprints], data)), ["Mira Aalto"]);
    // The coach's desk has it from the running server, and says more.
    desk.settle();
    let name = DocName::Squad(sprints.parse::<SquadId>().unwrap());
    let entry = |desk: &Device| {
        let all = desk.copies[&name].doc.records::<Member>("members");
        assert!(all.unreadable.is_empty() && all.entries.len() == 1);
        (all.entries[0].key(), all.entries[0].record.clone(), all.live().count())
    };
    let (key, was, _) = entry(&desk);
    assert_eq!((was.athlete, was.name.as_str()), (mira.parse::<PersonId>().unwrap(), "Mira Aalto"));
    let more = Member { events: Some(Name::new("long hurdles").unwrap()), ..was.clone() };
    let edit = Command::Edit { place: Place::of("members", &key), from: was.into(), to: more.into() };
    desk.copy(name).doc.apply(&edit, &Scene { now: now(), exercises: None }).unwrap();
    desk.settle();

    let moved = json(&["squad", "move", &mira, "--from", &sprints, "--to", &jumps, "--by", &coach], data);
    assert_eq!(names(&moved), ["Mira Aalto"]);
    assert_eq!(names(&json(&["squad", "members", &sprints], data)), Vec::<&str>::new());
    desk.settle();
    assert_eq!(entry(&desk).2, 0, "withdrawn, not deleted");
    let other = DocName::Squad(jumps.parse::<SquadId>().unwrap());
    let there = desk.copies[&other].doc.records::<Member>("members");
    assert_eq!(there.entries[0].record.events, Some(Name::new("long hurdles").unwrap()), "comes along");
    assert_eq!(names(&json(&["squad", "leave", &mira, &jumps, "--by", &coach], data)), Vec::<&str>::new());
    assert_eq!(names(&json(&join, data)), ["Mira Aalto"]);
    desk.settle();
    assert_eq!(entry(&desk).2, 1, "brought back, not doubled");

    for (args, words) in [
        (vec!["leave", &mira, &jumps, "--by", &coach], "not in that squad"),
        (vec!["join", &mira, &foreign, "--by", &coach], "no such squad to join"),
        (vec!["move", &mira, "--from", &foreign, "--to", &jumps, "--by", &coach], "no such squad to leave"),
        (vec!["move", &mira, "--from", &jumps, "--to", &jumps, "--by", &coach], "the same"),
        (vec!["join", &stranger, &jumps, "--by", &coach], "no athlete of the coach's club"),
        (vec!["join", &coach, &jumps, "--by", &coach], "no athlete of the coach's club"),
        (vec!["join", &mira, &jumps, "--by", &mira], "--by is a coach"),
        (vec!["join", &mira, "jumps", "--by", &coach], "identity"),
        (vec!["members", &coach], "no squad"),
    ] {
        let said = ground.refused(&[&["squad"], args.as_slice()].concat());
        assert!(said.contains(words), "{args:?}: {said}");
    }
    let lines = json(&["audit", "--club", &ground.club, "--limit", "1"], data);
    assert_eq!(text(&lines[0], "subject"), mira);
    assert!(text(&lines[0], "what").contains(&format!("in the name of {coach}")), "{lines}");
    assert!(lines[0].get("person").is_none(), "nobody who called: it was done at the machine");
    drop(served);
    json(&["check"], data);
}

/// What was written at the machine has a writer whom a server knows: one that lost it takes it from a desk.
#[test]
fn what_was_written_at_the_machine_can_be_sent_again() {
    let dir = tempfile::tempdir().unwrap();
    let data = dir.path();
    let club = text(&json(&["club", "add", "Cinder Lane"], data), "id").to_owned();
    let ground = Ground { data, club };
    let squad = ground.squad("Sprints");
    let (mira, coach) = (ground.person("Mira Aalto", "athlete"), ground.person("Ruth Adeyemi", "coach"));
    let served = Served::with(data, &[]);
    let mut desk = ground.device(&coach, &served.url);
    let backup = dir.path().join("before.backup");
    json(&["backup", "--to", backup.to_str().unwrap()], data);
    json(&["squad", "join", &mira, &squad, "--by", &coach], data);
    desk.settle();
    drop(served);
    let again = tempfile::tempdir().unwrap();
    crate::over::restore(&backup, again.path(), backstraight_server::store::backup::Take::default(), now())
        .unwrap();
    assert_eq!(names(&json(&["squad", "members", &squad], again.path())), Vec::<&str>::new());
    let served = Served::with(again.path(), &[]);
    desk.url.clone_from(&served.url);
    let name = DocName::Squad(squad.parse().unwrap());
    let outcomes: Vec<Outcome> =
        (0..3).filter_map(|_| about(&desk.exchange(), name).map(|d| d.outcome.clone())).collect();
    assert_eq!(outcomes.last(), Some(&Outcome::Accepted), "{outcomes:?}");
    assert_eq!(names(&json(&["squad", "members", &squad], again.path())), ["Mira Aalto"]);
}
