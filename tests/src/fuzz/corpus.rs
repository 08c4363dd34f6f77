//! The inputs from which fuzzing begins: made of the invented club's own doings, written once into `fixtures/fuzz`, and
//! what is there is run. Also where inputs that broke something are kept.

use std::fs;
use std::io;
use std::path::{Path, PathBuf};

use backstraight_core::base::id::InstallId;
use backstraight_core::device::identity::{Identity, InstallKey};
use backstraight_core::doc::chunk;
use backstraight_core::doc::gate::GateIndex;
use backstraight_core::doc::open::Document;
use backstraight_core::doc::thin::pack;
use backstraight_core::exchange::access::Role;
use backstraight_core::exchange::carry::{self, Parcel};
use backstraight_core::exchange::frames::split;
use backstraight_core::exchange::nudge::{ALIVE, Nudge, begin, event};
use backstraight_core::exchange::proof::Invitation;
use backstraight_core::exchange::signed::{self, Signature};
use backstraight_core::exchange::wire::{
    Down, DownDoc, Known, Outcome, PROTOCOL, People, Up, UpDoc, heads_out,
};
use backstraight_core::model::log::SetDone;
use backstraight_core::model::name::Kind;
use backstraight_core::model::spec::{Record as _, Scalar};
use backstraight_core::model::whole;
use backstraight_core::science::registry;
use backstraight_server::exchange::gzip;
use flate2::read::DeflateDecoder;
use minicbor::bytes::ByteVec;

use super::feed::put;
use super::targets::device::key_of;
use super::targets::tokens::{BEARER, CHALLENGE, server};
use super::targets::{commands, formulas, records};
use super::{TARGETS, Target};
use crate::deed::{Deed, command};
use crate::frozen::folder;
use crate::replica::{ATHLETE, Replica, START, chunks, exchange, name};
use crate::rng::Rng;

/// Where the inputs of a target are.
#[must_use]
pub fn inputs(target: &Target) -> PathBuf {
    folder().join("fuzz").join(target.name)
}

/// Where inputs are that once broke it.
#[must_use]
pub fn crashers(target: &Target) -> PathBuf {
    folder().join("crashers").join(target.name)
}

/// The files of a folder with their names, in order of names; none of one that is not there.
///
/// # Errors
/// When one cannot be read.
pub fn read(folder: &Path) -> io::Result<Vec<(String, Vec<u8>)>> {
    let mut all = Vec::new();
    let found = match fs::read_dir(folder) {
        Ok(found) => found,
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(all),
        Err(error) => return Err(error),
    };
    for entry in found {
        let entry = entry?;
        if entry.file_type()?.is_file() {
            all.push((entry.file_name().to_string_lossy().into_owned(), fs::read(entry.path())?));
        }
    }
    all.sort();
    Ok(all)
}

/// Everything committed for a target: its inputs, and those that once broke it.
///
/// # Errors
/// When one cannot be read.
pub fn committed(target: &Target) -> io::Result<Vec<Vec<u8>>> {
    let mut all = read(&inputs(target))?;
    all.extend(read(&crashers(target))?);
    Ok(all.into_iter().map(|(_, bytes)| bytes).collect())
}

/// Writes the inputs anew; how many files and bytes they are.
///
/// # Errors
/// When the disk refuses.
pub fn write() -> io::Result<(usize, usize)> {
    let (mut files, mut bytes) = (0, 0);
    for target in &TARGETS {
        let folder = inputs(target);
        fs::create_dir_all(&folder)?;
        for (old, _) in read(&folder)? {
            fs::remove_file(folder.join(old))?;
        }
        for (name, input) in make(target) {
            files += 1;
            bytes += input.len();
            fs::write(folder.join(format!("{name}.bin")), input)?;
        }
    }
    Ok((files, bytes))
}

/// How much noise is tried for an input that is taken.
const TRIES: u64 = 300;

type Made = Vec<(String, Vec<u8>)>;

/// The inputs of a target.
#[must_use]
pub fn make(target: &Target) -> Made {
    match target.name {
        "gate" => gate(),
        "index" => index(),
        "thin" => thin(),
        "exchange" => wire(),
        "answer" => answers(),
        "carry" => carried(),
        "tokens" => tokens(),
        "text" => texts(),
        "records" => of_records(),
        "formulas" => of_formulas(),
        "commands" => scripts(),
        _ => Vec::new(),
    }
}

fn byte(n: usize) -> u8 {
    u8::try_from(n).unwrap_or(u8::MAX)
}

/// Two devices at work on a document, now and then exchanging.
fn at_work(kind: Kind, seed: u64, deeds: usize) -> Replica {
    let mut rng = Rng::new(seed ^ (kind as u64) << 8);
    let (mut a, mut b) = (Replica::new(kind, 1), Replica::new(kind, 2));
    for n in 0..deeds {
        let device = if rng.below(3) == 0 { &mut b } else { &mut a };
        // Deeds that make something come first, or there is nothing to change.
        let what = if n < 3 { 5 } else { byte(rng.below(8)) };
        let deed = Deed {
            what,
            which: u16::try_from(rng.below(2_000)).unwrap_or(0),
            value: u16::try_from(rng.below(400)).unwrap_or(0),
        };
        if let Some(command) = command(device, deed) {
            let _ = device.try_do(&command);
        }
        if rng.below(4) == 0 {
            exchange(&mut a, &mut b);
        }
    }
    exchange(&mut a, &mut b);
    a
}

/// The changes of two devices at work, each after what it builds on.
#[must_use]
pub fn story(kind: Kind, seed: u64, deeds: usize) -> Vec<Vec<u8>> {
    let all = at_work(kind, seed, deeds).doc.changes_to_send(&[], usize::MAX);
    chunks(&all)
}

/// The document of two devices at work.
#[must_use]
pub fn told(kind: Kind, seed: u64, deeds: usize) -> Document {
    at_work(kind, seed, deeds).doc
}

fn gate() -> Made {
    let mut all = Vec::new();
    for (n, kind) in Kind::ALL.into_iter().enumerate() {
        for (word, seed, deeds) in [("short", 1, 4), ("met", 2, 14)] {
            let story = story(kind, seed, deeds);
            let mut input = vec![byte(n), byte(story.len() / 2)];
            input.extend(story.concat());
            all.push((format!("{}-{word}", kind.word()), input));
        }
    }
    // Some of the frozen attacks, on the log that they attack.
    let hostile = folder().join("hostile");
    let base = fs::read(hostile.join("base-log.bin")).unwrap_or_default();
    let before = byte(chunk::split(&base).map_or(0, |c| c.len()));
    let log = byte(Kind::ALL.iter().position(|k| *k == Kind::Log).unwrap_or(0));
    for (file, attack) in read(&hostile).unwrap_or_default() {
        let word = file.split('.').next().unwrap_or_default();
        if ["pred", "second-map", "unknown-object", "key", "too-many-preds"].contains(&word)
            && attack.len() < 300
        {
            let name = format!("attack-{}", file.trim_end_matches(".bin").replace('.', "-"));
            let input = [&[log, before], base.as_slice(), attack.as_slice()].concat();
            if base.len() < 1_500 && all.len() < 34 {
                all.push((name, input));
            }
        }
    }
    all
}

fn index() -> Made {
    let one = |(n, kind): (usize, Kind)| {
        let changes = story(kind, 4, 8).concat();
        let index = GateIndex::from_changes(kind, &changes).unwrap();
        let mut input = vec![byte(n), 0];
        put(&mut input, &index.whole_delta());
        let from = [&[byte(n), 1], changes.as_slice()].concat();
        [(format!("{}-delta", kind.word()), input), (format!("{}-changes", kind.word()), from)]
    };
    Kind::ALL.into_iter().enumerate().step_by(2).flat_map(one).collect()
}

fn thin() -> Made {
    let mut all = Vec::new();
    for kind in [Kind::Log, Kind::Plan, Kind::Notes] {
        let plain = story(kind, 5, 10).concat();
        let packed = pack(&plain);
        let mut streams = Vec::new();
        io::Read::read_to_end(&mut DeflateDecoder::new(&packed[1..]), &mut streams).unwrap();
        for (word, how, body) in
            [("packed", 0, &packed), ("deflated", 1, &plain), ("streams", 2, &streams), ("plain", 3, &plain)]
        {
            all.push((format!("{}-{word}", kind.word()), [&[how], body.as_slice()].concat()));
        }
    }
    all
}

fn up() -> Up {
    let log = told(Kind::Log, 6, 8);
    let doc = UpDoc {
        name: ByteVec::from(log.name().to_bytes().to_vec()),
        cursor: 3,
        heads: heads_out(&log.heads()),
        changes: Some(ByteVec::from(pack(&log.changes_to_send(&[], 100)))),
    };
    Up {
        protocol: PROTOCOL,
        epoch: Some(ByteVec::from(vec![7; 16])),
        local_day: "2026-11-25".to_owned(),
        clock: START.0,
        docs: vec![doc.clone(), UpDoc { changes: None, ..doc }],
        people: 2,
        app: "fuzz".to_owned(),
        carried: Some(vec![parcel(Kind::Log, 7)]),
        left: Some(true),
    }
}

fn down(kinds: &[Kind], outcome: &Outcome) -> Down {
    let doc = |kind: &Kind| {
        let doc = told(*kind, 8, 8);
        DownDoc {
            name: ByteVec::from(doc.name().to_bytes().to_vec()),
            outcome: outcome.clone(),
            changes: Some(ByteVec::from(pack(&doc.changes_to_send(&[], 100)))),
            cursor: 9,
            heads: heads_out(&doc.heads()),
        }
    };
    let person = Known {
        person: ByteVec::from(ATHLETE.0.as_bytes().to_vec()),
        name: "Ines Tarrowby".to_owned(),
        role: "athlete".to_owned(),
        installs: vec![ByteVec::from(vec![1; 8]), ByteVec::from(vec![2; 8])],
        heard_day: Some("2026-11-24".to_owned()),
        heard_at: Some(START.0),
        keys: Some(vec![
            ByteVec::from(key_of(InstallId([1; 8])).public().to_vec()),
            ByteVec::from(Vec::new()),
        ]),
    };
    Down {
        protocol: PROTOCOL,
        epoch: ByteVec::from(vec![7; 16]),
        docs: kinds.iter().map(doc).collect(),
        withdrawn: vec![ByteVec::from(name(Kind::Notes).to_bytes().to_vec())],
        people: Some(People { version: 3, list: vec![person] }),
        more: false,
        clock: START.0,
        carried: None,
        erased: Some(vec![ByteVec::from(name(Kind::Notes).to_bytes().to_vec())]),
    }
}

fn wire() -> Made {
    let mut all = Vec::new();
    for (file, bytes) in read(&folder().join("wire/v1")).unwrap_or_default() {
        if let Some(word) = file.strip_suffix(".bin").filter(|_| bytes.len() < 4_000) {
            let how = u8::from(word.starts_with("down"));
            all.push((word.to_owned(), [&[how], bytes.as_slice()].concat()));
        }
    }
    let up = up().to_bytes();
    all.push(("up-parcel".to_owned(), [&[0], up.as_slice()].concat()));
    all.push(("up-gzip".to_owned(), [&[2], gzip::pack(&up).as_slice()].concat()));
    let told = Nudge::News(vec![name(Kind::Log), name(Kind::Plan)]);
    let text = format!("{}{}{ALIVE}{}", begin(5000), event("ab.7", &told), event("ab.8", &Nudge::Exchange));
    all.push(("nudges".to_owned(), [&[3, 5], text.as_bytes()].concat()));
    all.push(("nudges-crlf".to_owned(), [&[3, 5], text.replace('\n', "\r\n").as_bytes()].concat()));
    all
}

fn answers() -> Made {
    let refusal = Outcome::Refused(backstraight_core::exchange::wire::Refusal {
        code: "pred".to_owned(),
        change: Some(ByteVec::from(vec![1; 32])),
        text: "words".to_owned(),
    });
    let kinds: [(&str, &[Kind], Outcome); 5] = [
        ("log", &[Kind::Log], Outcome::Accepted),
        ("plan", &[Kind::Library, Kind::Plan], Outcome::Accepted),
        ("notes", &[Kind::Notes], Outcome::Need),
        ("care", &[Kind::Care, Kind::Availability], refusal),
        ("squad", &[Kind::Squad, Kind::CareNotes], Outcome::Accepted),
    ];
    let one = |(word, kinds, outcome): (&str, &[Kind], Outcome)| {
        let bytes = down(kinds, &outcome).to_bytes();
        [("athlete", 0), ("coach", 1), ("mended", 2)]
            .map(|(who, how)| (format!("{word}-{who}"), [&[how], bytes.as_slice()].concat()))
    };
    kinds.into_iter().flat_map(one).collect()
}

/// A parcel of an athlete's log.
fn parcel(kind: Kind, seed: u64) -> Parcel {
    let doc = told(kind, seed, 8);
    let plain = doc.changes_to_send(&[], 100);
    let changes = signed::changes(&plain).unwrap();
    let sign = |n: u8| {
        let install = InstallId([n; 8]);
        let key = key_of(install);
        signed::sign(&doc.name(), &changes, install, &|statement| key.sign(statement))
    };
    Parcel {
        name: ByteVec::from(doc.name().to_bytes().to_vec()),
        heads: heads_out(&doc.heads()),
        changes: ByteVec::from(pack(&plain)),
        signatures: [1, 2].into_iter().flat_map(sign).collect(),
    }
}

fn carried() -> Made {
    let mut all = Vec::new();
    for (word, kind, how) in [("log", Kind::Log, 8), ("log-own", Kind::Log, 0), ("care", Kind::Care, 8)] {
        let file = carry::write(vec![parcel(kind, 9)]);
        all.push((word.to_owned(), [&[how], file.as_slice()].concat()));
        let body = &file[carry::MAGIC.len() + 33..];
        all.push((format!("{word}-sealed"), [&[how | 1], body].concat()));
        all.push((format!("{word}-signed"), [&[how | 5], body].concat()));
    }
    let two = carry::write(vec![parcel(Kind::Log, 10), parcel(Kind::Plan, 10)]);
    all.push(("two".to_owned(), [&[8], two.as_slice()].concat()));
    let mut input = vec![2];
    for frame in split(&two[..400], 100).unwrap() {
        input.push(1);
        put(&mut input, &frame);
    }
    all.push(("frames".to_owned(), input));
    all.push(("in-frames".to_owned(), [&[3, 90], &two[..300]].concat()));
    all
}

fn tokens() -> Made {
    let (kid, _) = server().public_keys(START).remove(0);
    let header = format!(r#"{{"alg":"EdDSA","kid":"{kid}","typ":"at+jwt"}}"#);
    let at = START.seconds();
    let issuer = format!("backstraight/{}", "01".repeat(16));
    let claims = format!(
        r#"{{"iss":"{issuer}","aud":"backstraight/exchange","sub":"{}","did":"{}","jti":"00","iat":{at},"nbf":{at},"exp":{}}}"#,
        BEARER.person,
        BEARER.install,
        at + 900
    );
    let mut signed = vec![1];
    put(&mut signed, header.as_bytes());
    put(&mut signed, claims.as_bytes());
    let salt = [5; 16];
    let refresh = server().refresh(BEARER.install, 3, &salt);
    let invitation =
        Invitation { server: "https://club.example".to_owned(), secret: "AbCdEfGhIjKlMnOpQrSt-_".to_owned() };
    let words = |kind: &str| {
        format!(
            r#"{{"type":"webauthn.{kind}","challenge":"{CHALLENGE}","origin":"https://club.example","crossOrigin":false}}"#
        )
    };
    let mut register = vec![4];
    put(&mut register, words("create").as_bytes());
    register.extend(attestation());
    let key = InstallKey::of([6; 32]);
    let mut sign_in = vec![5];
    put(&mut sign_in, words("get").as_bytes());
    put(&mut sign_in, &data(0x05));
    put(&mut sign_in, &[&[2], key.public().as_slice()].concat());
    sign_in.extend_from_slice(&[1; 64]);
    let identity = Identity {
        install: BEARER.install,
        person: BEARER.person,
        club: backstraight_core::base::id::ClubId(ATHLETE.0),
        role: Role::Athlete,
        name: "Ines Tarrowby".to_owned(),
        server: "https://club.example".to_owned(),
        access: "a.b.c".to_owned(),
        refresh: refresh.clone(),
        access_until: Some(START),
        key: Some(key),
    };
    let signature = Signature {
        actor: ByteVec::from(vec![1; 16]),
        change: ByteVec::from(vec![0; 32]),
        bytes: ByteVec::from(vec![2; 64]),
    };
    let mut signatures = vec![6];
    put(&mut signatures, &minicbor::to_vec([signature]).unwrap_or_default());
    signatures.extend_from_slice(&[1, 9, 1, 0, 2, 0]);
    let named = |name: &str, input: Vec<u8>| (name.to_owned(), input);
    vec![
        named("as-it-is", [&[0], b"eyJhbGciOiJub25lIn0.e30.".as_slice()].concat()),
        named("signed", signed),
        named("refresh", [&[2], salt.as_slice(), refresh.as_bytes()].concat()),
        named("invitation", [&[3], invitation.text().as_bytes()].concat()),
        named("code", [&[3], b"abcd-efgh".as_slice()].concat()),
        named("register", register),
        named("sign-in", sign_in),
        named("signatures", signatures),
        named("identity", [&[7], identity.to_bytes().as_slice()].concat()),
    ]
}

/// What an authenticator says of itself.
fn data(flags: u8) -> Vec<u8> {
    use sha2::Digest as _;
    let mut data = sha2::Sha256::digest(b"club.example").to_vec();
    data.push(flags);
    data.extend_from_slice(&[0, 0, 0, 1]);
    data
}

fn attestation() -> Vec<u8> {
    let mut data = data(0x45);
    data.extend_from_slice(&[0; 16]);
    data.extend_from_slice(&[0, 4, 1, 2, 3, 4]);
    let mut key = minicbor::Encoder::new(Vec::new());
    let public = InstallKey::of([6; 32]).public();
    let made = key.map(4).and_then(|k| k.u8(1)?.u8(1)?.u8(3)?.i8(-8)?.i8(-1)?.u8(6)?.i8(-2)?.bytes(&public));
    assert!(made.is_ok());
    data.extend(key.into_writer());
    let mut out = minicbor::Encoder::new(Vec::new());
    let made = out.map(2).and_then(|o| o.str("fmt")?.str("none")?.str("authData")?.bytes(&data));
    assert!(made.is_ok());
    out.into_writer()
}

fn texts() -> Made {
    let person = ATHLETE.to_string();
    let all: [(&str, u8, &str); 22] = [
        ("day", 0, "2026-11-25"),
        ("month", 0, "2026-11"),
        ("key", 0, "abcdef-12"),
        ("person", 0, &person),
        ("plan", 0, &name(Kind::Plan).to_string()),
        ("log", 0, &name(Kind::Log).to_string()),
        ("reps", 0, "reps 8-10"),
        ("hold", 0, "hold-each 30000"),
        ("of-max", 0, "max 800"),
        ("band", 0, "speed 500-650"),
        ("waves", 0, "reps 5@max 750;reps 3@max 825"),
        ("target", 0, "3 reps 5@load 10000 stop 200"),
        ("rule", 0, "speed 500-650 load 250"),
        ("rule-easy", 0, "load 250 easy 4 900"),
        ("proposal", 0, "aaaaaa-1.bbbbbb-22"),
        ("limits", 1, "json_bytes = 20000\nconnections = 10\n"),
        ("every", 1, "6h"),
        ("database", 1, "postgres://name@localhost/club?sslmode=require"),
        ("table", 2, "=1+1\u{1f}a \"b\", c\r\nd\u{1f}'"),
        ("question", 3, &asked("load.monotony_strain")),
        ("question-lists", 3, &asked("load.ewma")),
        ("far-day", 0, "9999-12-31"),
    ];
    let one = |(word, how, text): &(&str, u8, &str)| {
        let mut input = vec![*how];
        input.extend_from_slice(&START.0.to_le_bytes());
        input.extend_from_slice(text.as_bytes());
        ((*word).to_owned(), input)
    };
    all.iter().map(one).collect()
}

/// The worked example of a formula, as somebody types it.
fn asked(id: &str) -> String {
    let example = registry::find(id).map_or(&[][..], |f| f.example);
    let pairs: Vec<String> = example.iter().map(|(key, text)| format!(" {key}={text}")).collect();
    format!("{id}{}", pairs.concat())
}

fn noise(seed: u64, n: usize) -> Vec<u8> {
    let mut rng = Rng::new(seed);
    (0..n).map(|_| rng.next().to_le_bytes()[0]).collect()
}

/// A first byte and noise that is taken, if some is soon found.
fn taken(run: fn(&[u8]) -> bool, first: u8, n: usize) -> Vec<u8> {
    let input = |seed: u64| [&[first], noise(seed << 8 | u64::from(first), n).as_slice()].concat();
    (0..TRIES).map(input).find(|input| run(input)).unwrap_or_else(|| input(0))
}

fn of_records() -> Made {
    let mut all = Vec::new();
    for which in 0..34_u8 {
        all.push((format!("kind-{which:02}"), taken(records::records, which, 160)));
    }
    // An item whose texts are such texts.
    let mut item = vec![records::PRESCRIPTION];
    for (how, text) in [(2, "aaaaaa-1"), (2, "i"), (2, "bbbbbb-2"), (6, ""), (2, "reps 5"), (2, "max 800")] {
        item.push(how);
        if how == 2 {
            item.push(byte(text.len()));
            item.extend_from_slice(text.as_bytes());
        } else {
            item.extend_from_slice(&4_u64.to_le_bytes());
        }
    }
    all.push(("item".to_owned(), item));
    let set = [("at", Scalar::Time(START.0)), ("load", Scalar::Int(10_000)), ("reps", Scalar::Int(5))];
    let speeds = ("speeds", Scalar::Bytes(vec![0x12, 0x02, 0x76, 0x76]));
    for (word, fields) in [("set", set.to_vec()), ("set-speeds", [&set[..], &[speeds]].concat())] {
        let packed = whole::pack(&fields, SetDone::SPEC);
        all.push((word.to_owned(), [&[0x80], packed.as_slice()].concat()));
    }
    all
}

fn of_formulas() -> Made {
    let mut all: Made = registry::list()
        .enumerate()
        .map(|(n, f)| (f.id.replace(['.', '/'], "-"), taken(formulas::formulas, byte(n), 100)))
        .collect();
    all.push(("distributions".to_owned(), [&[0xff], noise(1, 40).as_slice()].concat()));
    all
}

fn scripts() -> Made {
    let one = |(n, kind): (usize, Kind)| {
        [1_u64, 2].map(|seed| {
            let steps = noise(seed << 8 | n as u64, commands::MOST_STEPS * commands::STEP);
            (format!("{}-{seed}", kind.word()), [&[byte(n)], steps.as_slice()].concat())
        })
    };
    Kind::ALL.into_iter().enumerate().flat_map(one).collect()
}
