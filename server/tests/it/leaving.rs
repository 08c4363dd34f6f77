//! Leaving with a full copy: it is read back, and nothing is taken away unless it holds.

use std::io::{Cursor, Read as _, Write as _};

use backstraight_core::base::id::PersonId;
use backstraight_core::exchange::access::Role;
use backstraight_core::model::name::DocName;
use serde_json::{Value, json};
use zip::write::{SimpleFileOptions, ZipWriter};

use crate::support::{Device, Server, agent, code_of, get_as, log, post};

const TOP: &str = "backstraight-export/";

fn copy_of(device: &Device) -> Vec<u8> {
    let url = format!("{}/v1/people/{}/export", device.url, device.person);
    let bearer = format!("Bearer {}", device.access);
    let mut answer = agent().get(url).header("authorization", &bearer).call().unwrap();
    assert_eq!(answer.status(), 200);
    answer.body_mut().with_config().limit(64 << 20).read_to_vec().unwrap()
}

fn leave(device: &Device, copy: &[u8]) -> (u16, Value) {
    leave_of(device.person, device, copy)
}

fn leave_of(person: PersonId, device: &Device, copy: &[u8]) -> (u16, Value) {
    let url = format!("{}/v1/people/{person}/leave", device.url);
    let bearer = format!("Bearer {}", device.access);
    let ask = agent().post(url).header("authorization", &bearer).header("content-type", "application/zip");
    let mut answer = ask.send(copy).unwrap();
    let text = answer.body_mut().read_to_string().unwrap();
    (answer.status().as_u16(), serde_json::from_str(&text).unwrap_or(Value::Null))
}

/// The files of a copy.
fn files(copy: &[u8]) -> Vec<(String, Vec<u8>)> {
    let mut archive = zip::ZipArchive::new(Cursor::new(copy)).unwrap();
    (0..archive.len())
        .map(|n| {
            let mut file = archive.by_index(n).unwrap();
            let mut bytes = Vec::new();
            file.read_to_end(&mut bytes).unwrap();
            (file.name().unwrap().to_string(), bytes)
        })
        .collect()
}

/// A zip of files.
fn zipped(files: &[(String, Vec<u8>)]) -> Vec<u8> {
    let mut writer = ZipWriter::new(Cursor::new(Vec::new()));
    for (name, bytes) in files {
        writer.start_file(name.as_str(), SimpleFileOptions::default()).unwrap();
        writer.write_all(bytes).unwrap();
    }
    writer.finish().unwrap().into_inner()
}

/// The copy with one file changed, and its list made to fit.
fn with(copy: &[u8], name: &str, list_too: bool, change: impl Fn(&mut Vec<u8>)) -> Vec<u8> {
    let mut all = files(copy);
    let (_, bytes) = all.iter_mut().find(|(n, _)| n == &format!("{TOP}{name}")).unwrap();
    change(bytes);
    let (size, hash) = (bytes.len(), sha256(bytes));
    if list_too {
        let (_, list) = all.iter_mut().find(|(n, _)| n.ends_with("contents.json")).unwrap();
        let mut told: Value = serde_json::from_slice(list).unwrap();
        let line = told["files"].as_array_mut().unwrap().iter_mut().find(|f| f["file"] == name).unwrap();
        (line["bytes"], line["sha256"]) = (json!(size), json!(hash));
        *list = serde_json::to_vec(&told).unwrap();
    }
    zipped(&all)
}

fn sha256(bytes: &[u8]) -> String {
    use sha2::Digest as _;
    data_encoding::HEXLOWER.encode(&sha2::Sha256::digest(bytes))
}

#[test]
fn an_athlete_leaves_with_a_copy_that_holds_and_with_no_other() {
    let dir = tempfile::tempdir().unwrap();
    let server = Server::with(dir.path(), |c| c.limits.copy_bytes = 1 << 20);
    let club = server.club("Cinder Lane");
    let (mira, tove) =
        (club.person(Role::Athlete, "Mira Aalto"), club.person(Role::Athlete, "Tove Lindqvist"));
    let (mut phone, other) = (club.device(mira), club.device(tove));
    phone.say(log(mira), "done");
    phone.report(DocName::Care(mira));
    phone.exchange();
    let copy = copy_of(&phone);

    // Every kind of copy that is not the whole one.
    let without = |name: &str| {
        let kept: Vec<_> = files(&copy).into_iter().filter(|(n, _)| n != &format!("{TOP}{name}")).collect();
        zipped(&kept)
    };
    let more = {
        let mut all = files(&copy);
        all.push((format!("{TOP}documents/more.json"), b"{}".to_vec()));
        zipped(&all)
    };
    let beside = {
        let mut all = files(&copy);
        all.push(("elsewhere.txt".to_owned(), b"x".to_vec()));
        zipped(&all)
    };
    let bomb = {
        let mut all = files(&copy);
        all.iter_mut().find(|(n, _)| n.ends_with("README.txt")).unwrap().1 = vec![b' '; 64 << 20];
        zipped(&all)
    };
    let flip = |bytes: &mut Vec<u8>| bytes[9] ^= 1;
    for (what, bad) in [
        ("nothing", Vec::new()),
        ("no zip", b"PK and no more".to_vec()),
        ("cut off", copy[..copy.len() - 30].to_vec()),
        ("no list", without("contents.json")),
        ("no readme", without("README.txt")),
        ("no document", without("documents/log-2026-11.document")),
        ("a file more", more),
        ("a file beside", beside),
        ("a byte of a document", with(&copy, "documents/log-2026-11.document", false, flip)),
        ("a byte of a table", with(&copy, "tables/comments.csv", false, flip)),
        ("a list that is none", with(&copy, "contents.json", false, |b| b.truncate(40))),
        ("a bomb", bomb),
        ("somebody else's", copy_of(&other)),
    ] {
        assert_eq!(code_of(&leave(&phone, &bad)), (422, "copy-damaged"), "{what}");
    }
    // A copy that fits its own list, and not the store.
    let forged = with(&copy, "documents/log-2026-11.document", true, flip);
    assert_eq!(code_of(&leave(&phone, &forged)), (409, "copy-old"));
    assert_eq!(code_of(&leave(&phone, &vec![0; (1 << 20) + 1])), (413, "too-large"));
    // Something came after it.
    phone.say(log(mira), "one more");
    phone.exchange();
    assert_eq!(code_of(&leave(&phone, &copy)), (409, "copy-old"));
    let me = format!("{}/v1/me", server.url);
    assert_eq!(get_as(&me, Some(&phone.access)).0, 200, "nothing was taken away");

    let copy = copy_of(&phone);
    assert_eq!(code_of(&leave(&other, &copy)), (422, "copy-damaged"), "not the other one's");
    assert_eq!(leave(&phone, &copy), (204, Value::Null));
    assert_eq!(get_as(&me, Some(&phone.access)).0, 401);
    assert_eq!(get_as(&me, Some(&other.access)).0, 200);
}

#[test]
fn whoever_keeps_the_account_may_hand_the_copy_in_and_nobody_else() {
    let dir = tempfile::tempdir().unwrap();
    let server = Server::on(dir.path());
    let (club, away) = (server.club("Cinder Lane"), server.club("Harbour Runners"));
    let mira = club.person(Role::Athlete, "Mira Aalto");
    let mut phone = club.device(mira);
    phone.say(log(mira), "done");
    phone.exchange();
    let copy = copy_of(&phone);
    let ask = |device: &Device| leave_of(mira, device, &copy);
    let coach = club.device(club.person(Role::Coach, "Ruth Adeyemi"));
    let stranger = away.device(away.person(Role::Owner, "Olaf Brunner"));
    assert_eq!(code_of(&ask(&coach)), (403, "not-allowed"));
    assert_eq!(code_of(&ask(&stranger)), (404, "not-found"));
    let head = club.device(club.person(Role::HeadCoach, "Pavel Novak"));
    assert_eq!(ask(&head).0, 204);
    let said = post(
        &format!("{}/v1/people/{mira}/leave", server.url),
        Some(&phone.access),
        &json!({ "copy": "declined" }),
    );
    assert_eq!(said.0, 401);
}
