//! The board of the invented club, as it has to read: the demo's story on a fixed day, asked over HTTP
//! and held against files. Identities and keys are drawn, so they are counted instead of compared.
//! `BACKSTRAIGHT_FREEZE=1` writes the files anew; read the difference before you commit it.

use std::collections::BTreeMap;
use std::collections::HashMap;
use std::path::PathBuf;

use backstraight_core::base::moment::Moment;
use backstraight_tests::demo::stage::Stage;
use backstraight_tests::demo::story;
use serde_json::Value;

/// Wednesday 25 November 2026, 14:00 UTC.
const NOW: Moment = Moment(1_795_615_200_000);

/// Gives every identity and key the number of its first appearance.
#[derive(Default)]
struct Counted {
    seen: HashMap<String, usize>,
}

impl Counted {
    fn tidy(&mut self, value: Value) -> Value {
        match value {
            Value::String(text) if drawn(&text) => {
                let next = self.seen.len() + 1;
                Value::String(format!("#{}", self.seen.entry(text).or_insert(next)))
            }
            Value::Array(list) => list.into_iter().map(|v| self.tidy(v)).collect(),
            // By name, whatever order the reader of JSON keeps in this build.
            Value::Object(map) => {
                let by_name: BTreeMap<String, Value> = map.into_iter().collect();
                by_name.into_iter().map(|(k, v)| (k, self.tidy(v))).collect()
            }
            other => other,
        }
    }
}

/// Whether a text is an identity or a key, and nothing else.
fn drawn(text: &str) -> bool {
    // The name of a proposal is made of two keys.
    let key = |part: &str| part.parse::<backstraight_core::base::key::Key>().is_ok();
    uuid::Uuid::parse_str(text).is_ok() || text.split('.').all(key)
}

fn ask(stage: &Stage, path: &str) -> Value {
    let url = format!("{}{path}", stage.url().unwrap());
    let token = &stage.coaches[0].phone.identity().access;
    let mut answer =
        ureq::get(&url).header("authorization", format!("Bearer {token}")).call().expect("an answer");
    serde_json::from_str(&answer.body_mut().read_to_string().unwrap()).unwrap()
}

fn compare(name: &str, got: &Value) {
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join(format!("../fixtures/board/{name}.json"));
    let text = format!("{}\n", serde_json::to_string_pretty(got).unwrap());
    if std::env::var_os("BACKSTRAIGHT_FREEZE").is_some() {
        std::fs::create_dir_all(path.parent().unwrap()).unwrap();
        std::fs::write(&path, &text).unwrap();
    }
    let want = std::fs::read_to_string(&path).unwrap_or_default();
    for (n, (got, want)) in text.lines().zip(want.lines()).enumerate() {
        assert_eq!(got, want, "{name}, line {}", n + 1);
    }
    assert_eq!(text.len(), want.len(), "{name}: one is longer");
}

#[test]
fn the_invented_club_reads_as_it_always_did() {
    let dir = tempfile::tempdir().unwrap();
    let mut stage = Stage::build_at(dir.path(), 0, NOW).unwrap();
    story::tell(&mut stage, 1, &mut |_| {}).unwrap();
    let today = stage.today;
    assert_eq!(today.to_string(), "2026-11-25");
    let days = format!("from={}&to={}&today={today}", today.plus(-13), today.plus(6));
    let ines = stage.athletes[0].phone.identity().person;
    let mut counted = Counted::default();
    for (name, path) in [
        ("board", format!("/v1/board?{days}")),
        ("attention", format!("/v1/attention?today={today}")),
        ("records", format!("/v1/records?until={today}")),
        ("proposals", format!("/v1/proposals?today={today}")),
        ("weeks", format!("/v1/athletes/{ines}/weeks?{days}")),
        ("loads", format!("/v1/athletes/{ines}/loads?{days}")),
        ("forecast", format!("/v1/athletes/{ines}/forecast?today={today}")),
        ("tests", format!("/v1/athletes/{ines}/tests?{days}")),
    ] {
        let got = counted.tidy(ask(&stage, &path));
        compare(name, &got);
    }
    stage.close();
}
