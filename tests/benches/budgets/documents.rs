//! Figures of documents by themselves: how large a month and a season are, how long they take to
//! open, to write to and to put on the screen.

use std::path::PathBuf;

use backstraight_core::base::id::{ClubId, InstallId, PersonId};
use backstraight_core::device::shelf::Shelf as _;
use backstraight_core::doc::command::{Command, Scene, WorkOf};
use backstraight_core::doc::open::Document;
use backstraight_core::doc::place::Place;
use backstraight_core::exchange::access::Role;
use backstraight_core::model::log::SessionDone;
use backstraight_core::model::name::DocName;
use backstraight_core::model::number::Load;
use backstraight_core::model::packed::Intensity;
use backstraight_core::model::plan::Prescription;
use backstraight_core::view::done::Done;
use backstraight_core::view::library::Library;
use backstraight_core::view::planned::Plan;
use backstraight_core::view::today::shown;
use backstraight_ffi::identity::Identity;
use backstraight_ffi::phone::Phone;
use backstraight_ffi::store::DocRow;
use backstraight_tests::clock::SetClock;
use uuid::Uuid;

use crate::measure::{Row, cpu, median, thread_ms};
use crate::story::{self, Athlete, Desk, Memory, month, month_log, season};

pub(crate) const PERSON: PersonId = PersonId(Uuid::from_u128(0x0190_0000_0000_7000_8000_0000_0000_0001));
const CLUB: ClubId = ClubId(Uuid::from_u128(0x0190_0000_0000_7000_8000_0000_0000_0002));
const PHONE: InstallId = InstallId([0x5c, 1, 0x7e, 0xa3, 0x10, 0x99, 0x42, 0xd7]);
const DESK: InstallId = InstallId([0xe2, 0x31, 0x04, 0x8b, 0x6f, 0x20, 0xc5, 0x18]);
/// Sessions of a month and sets of a session.
const SESSIONS: i64 = 19;
const SETS: usize = 22;

/// Library and plan of the story, as documents and read.
pub(crate) struct Club {
    pub(crate) library_doc: Document,
    pub(crate) library: Library,
    pub(crate) plan_doc: Document,
    pub(crate) plan: Plan,
}

impl Club {
    /// With a plan of so many weeks.
    pub(crate) fn of(weeks: i32) -> Club {
        let mut memory = Memory::new(DocName::Library(CLUB), DESK, 1);
        let keys = story::write_library(&mut memory, CLUB);
        let library_doc = memory.doc;
        let mut memory = Memory::new(DocName::Plan(PERSON, season()), DESK, 2);
        story::write_plan(&mut memory, PERSON, &keys, weeks);
        let plan_doc = memory.doc;
        Club { library: Library::of(&library_doc), plan: Plan::of(&plan_doc), library_doc, plan_doc }
    }
}

pub(crate) fn figures(club: &Club) -> Vec<Row> {
    let mut rows = month_of_logs(club);
    rows.extend(season_plan(club));
    rows.extend(year(club));
    rows
}

fn month_of_logs(club: &Club) -> Vec<Row> {
    let name = DocName::Log(PERSON, month(2));
    let mut memory = Memory::new(name, PHONE, 1);
    let mut athlete = Athlete::new(&club.plan, &club.library, 1);
    month_log(&mut athlete, &mut memory, SESSIONS, SETS, false);
    let (doc, mut mint) = (memory.doc, memory.mint);
    let saved = doc.save();
    let open = cpu(61, || (), |()| Document::open(name, &saved).unwrap());
    // One more set to the exercise that is open, again and again, each with its bytes.
    let session = doc.records::<SessionDone>("sessions").entries.into_iter().next_back().unwrap().key();
    let work = doc
        .inner_records::<backstraight_core::model::log::Work>(&Place::of("sessions", &session))
        .entries
        .into_iter()
        .next_back()
        .unwrap();
    let target = work.record.shown.clone().unwrap();
    let mut more = doc.clone();
    let mut at = story::in_month(month(2), SESSIONS);
    let add = cpu(
        201,
        || {
            at = at.plus_ms(60_000);
            let set = Box::new(athlete.set(&target, 1, at));
            let (session, work) = (session.clone(), WorkOf::Open(work.key()));
            (Command::LogSet { session, work, key: mint.mint(), set }, at)
        },
        |(command, now)| {
            let before = more.heads();
            more.apply(command, &Scene { now: *now, exercises: None }).unwrap();
            more.changes_since(&before)
        },
    );
    let about = format!("{} changes: {SESSIONS} sessions of {SETS} sets", doc.change_count() - 1);
    vec![
        Row::most("month log, saved", 12_000.0, size(&saved), "B").note(about),
        Row::most("month log, open", 1.5, open, "ms CPU"),
        Row::most("month log, log a set and have its bytes", 0.1, add, "ms CPU"),
    ]
}

fn season_plan(club: &Club) -> Vec<Row> {
    let name = club.plan_doc.name();
    let saved = club.plan_doc.save();
    let open = cpu(31, || (), |()| Document::open(name, &saved).unwrap());
    let items = club.plan_doc.records::<Prescription>("items");
    let item = items.entries.iter().find(|e| matches!(e.record.intensity, Some(Intensity::Load(_)))).unwrap();
    let mut doc = club.plan_doc.clone();
    let (mut was, mut n) = (item.record.clone(), 0);
    let edit = cpu(
        201,
        || {
            n += 1;
            let load = Load::new(5_000 + n % 300).ok().map(Intensity::Load);
            let to = Prescription { intensity: load, ..was.clone() };
            let from = std::mem::replace(&mut was, to.clone());
            let command = Command::Edit { place: item.place.clone(), from: from.into(), to: to.into() };
            (command, story::START.plus_ms(n * 1_000_000))
        },
        |(command, now)| {
            let before = doc.heads();
            doc.apply(command, &Scene { now: *now, exercises: None }).unwrap();
            doc.changes_since(&before)
        },
    );
    let about = format!(
        "{} weeks, {} sessions, {} prescriptions, {} changes",
        story::WEEKS,
        club.plan.sessions.len(),
        items.entries.len(),
        club.plan_doc.change_count() - 1,
    );
    vec![
        Row::most("season plan, saved", 65_000.0, size(&saved), "B").note(about),
        Row::most("season plan, open", 9.0, open, "ms CPU"),
        Row::most("season plan, edit and have the bytes", 0.03, edit, "ms CPU"),
    ]
}

/// A year on a phone, in its own store: logs as it writes them, library and plan as they come down.
fn year(club: &Club) -> Vec<Row> {
    // Nothing is waited for here, so the folder may be in memory.
    let memory = PathBuf::from("/dev/shm");
    let dir = if memory.is_dir() { tempfile::tempdir_in(memory) } else { tempfile::tempdir() }.unwrap();
    let clock = SetClock::at(story::START);
    let identity = Identity {
        install: PHONE,
        person: PERSON,
        club: CLUB,
        role: Role::Athlete,
        name: "Mira Aalto".to_owned(),
        server: String::new(),
        access: String::new(),
        refresh: String::new(),
        access_until: None,
        key: None,
    };
    let mut phone = Phone::enrolled(dir.path(), identity, Box::new(clock.clone())).unwrap();
    for doc in [&club.library_doc, &club.plan_doc] {
        let row = DocRow {
            name: doc.name(),
            cursor: 1,
            heads: doc.heads(),
            server_heads: doc.heads(),
            agreed: true,
            tell_heads: false,
            withdrawn: false,
        };
        phone.shelf_mut().take(&row, &doc.changes_to_send(&[], usize::MAX)).unwrap();
    }
    let mut athlete = Athlete::new(&club.plan, &club.library, 2);
    let mut desk = OnPhone { phone, clock: clock.clone() };
    for n in 0..12 {
        for session in 0..SESSIONS {
            athlete.train(&mut desk, PERSON, story::in_month(month(n), session), SETS, true);
        }
        // As an exchange does at its end.
        desk.phone.tidy().unwrap();
    }
    drop(desk);
    let logs: Vec<DocName> = (0..12).map(|n| DocName::Log(PERSON, month(n))).collect();
    let plan_name = DocName::Plan(PERSON, season());
    let (mut open, mut read, mut today) = (Vec::new(), Vec::new(), Vec::new());
    let mut saved: Vec<(DocName, Vec<u8>)> = Vec::new();
    for _ in 0..9 {
        let begun = thread_ms();
        let mut phone = Phone::open(dir.path(), Box::new(clock.clone())).unwrap().unwrap();
        phone.library().unwrap();
        for name in logs.iter().chain([&plan_name]) {
            phone.document(*name).unwrap();
        }
        open.push(thread_ms() - begun);
        let docs: Vec<Document> = logs.iter().map(|n| phone.document(*n).unwrap().clone()).collect();
        let begun = thread_ms();
        let done = Done::of(&docs);
        read.push(thread_ms() - begun);
        assert_eq!(done.sessions.len(), usize::try_from(12 * SESSIONS).unwrap());
        let day = story::first_day().plus(70);
        let begun = thread_ms();
        let library = phone.library().unwrap();
        let plan = Plan::of_day(phone.document(plan_name).unwrap(), day);
        let screen = shown(&plan, story::on(&plan, day), day, &library, &|_, _| None);
        today.push(thread_ms() - begun);
        assert_eq!(screen.items().count(), 9);
        saved =
            docs.iter().chain([phone.document(plan_name).unwrap()]).map(|d| (d.name(), d.save())).collect();
    }
    let compact = cpu(
        15,
        || (),
        |()| saved.iter().map(|(name, bytes)| Document::open(*name, bytes).unwrap()).collect::<Vec<_>>(),
    );
    vec![
        Row::most("open a year of logs and the season plan", 60.0, median(open), "ms CPU")
            .note("from the phone's own store as it leaves it, library and integrity check included"),
        Row::beside("the same documents, all in their compact form", compact, "ms CPU"),
        Row::beside("read that year of logs into sessions and sets", median(read), "ms CPU"),
        Row::most("today's session on the screen", 5.0, median(today), "ms CPU")
            .note("from the open documents: library and the day's plan read, session resolved"),
    ]
}

struct OnPhone {
    phone: Phone,
    clock: SetClock,
}

impl Desk for OnPhone {
    fn key(&mut self) -> backstraight_core::base::key::Key {
        self.phone.key()
    }

    fn run(&mut self, name: DocName, command: &Command, now: backstraight_core::base::moment::Moment) {
        self.clock.set(now);
        self.phone.run(name, command).unwrap();
    }
}

#[expect(clippy::cast_precision_loss, reason = "sizes are small")]
pub(crate) fn size(bytes: &[u8]) -> f64 {
    bytes.len() as f64
}
