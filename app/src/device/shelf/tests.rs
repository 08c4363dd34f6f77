//! The shelf against a disk that may refuse or be cut off between two batches.

use std::collections::BTreeMap;

use backstraight_core::base::day::Month;
use backstraight_core::base::id::{ClubId, InstallId, PersonId};
use backstraight_core::base::moment::Moment;
use backstraight_core::device::identity::{Identity, InstallKey};
use backstraight_core::device::{Clock, Device};
use backstraight_core::doc::command::{Command, New};
use backstraight_core::doc::place::Place;
use backstraight_core::exchange::access::Role;
use backstraight_core::model::any::AnyRecord;
use backstraight_core::model::log::SessionDone;

use super::*;

struct At(Moment);

impl Clock for At {
    fn now(&self) -> Moment {
        self.0
    }

    fn zone_minutes(&self) -> i32 {
        60
    }
}

const NOW: Moment = Moment(1_795_600_800_000);

fn identity() -> Identity {
    let id = |n: u128| uuid::Uuid::from_u128(n);
    Identity {
        install: InstallId([7; 8]),
        person: PersonId(id(3)),
        club: ClubId(id(1)),
        role: Role::Athlete,
        name: "Mira Ashdown".to_owned(),
        server: "https://club.example".to_owned(),
        access: String::new(),
        refresh: String::new(),
        access_until: None,
        key: Some(InstallKey::of([9; 32])),
    }
}

fn log() -> DocName {
    DocName::Log(PersonId(uuid::Uuid::from_u128(3)), "2026-11".parse::<Month>().unwrap())
}

fn device(disk: &BTreeMap<String, Vec<u8>>, start: u8) -> Device<MemoryShelf> {
    let entries = disk.iter().map(|(k, v)| (k.clone(), v.clone())).collect();
    Device::new(MemoryShelf::of(entries), identity(), Box::new(At(NOW)), [start; 12])
}

fn carry_out(disk: &mut BTreeMap<String, Vec<u8>>, batch: &[Write]) {
    for write in batch {
        match &write.value {
            Some(value) => disk.insert(write.key.clone(), value.clone()),
            None => disk.remove(&write.key),
        };
    }
}

fn begin(device: &mut Device<MemoryShelf>) -> backstraight_core::base::key::Key {
    let key = device.key();
    let day = device.today().unwrap();
    let record = AnyRecord::SessionDone(Box::new(SessionDone::new(day, NOW)));
    let new = New { place: Place::of("sessions", &key), record };
    device.run(log(), &Command::Add(vec![new])).unwrap();
    key
}

fn sessions(device: &mut Device<MemoryShelf>) -> usize {
    use backstraight_core::view::done::Done;
    Done::of([device.document(log()).unwrap()]).sessions.len()
}

#[test]
fn what_was_stored_is_there_after_a_cut_and_what_was_not_is_not() {
    let mut disk = BTreeMap::new();
    let mut first = device(&disk, 1);
    for n in 1..=5 {
        begin(&mut first);
        let batch = first.shelf_mut().take_writes();
        assert!(!batch.is_empty());
        carry_out(&mut disk, &batch);
        assert_eq!(sessions(&mut device(&disk, 2)), n);
    }
    begin(&mut first);
    assert_eq!((sessions(&mut first), sessions(&mut device(&disk, 3))), (6, 5));
    assert_eq!(device(&disk, 4).unsent().unwrap(), [(log(), 5)]);
}

#[test]
fn refused_writes_go_with_the_next_ones_in_their_order() {
    let mut disk = BTreeMap::new();
    let mut page = device(&disk, 1);
    begin(&mut page);
    let refused = page.shelf_mut().take_writes();
    assert!(!page.shelf().has_writes());
    begin(&mut page);
    page.shelf_mut().give_back(refused);
    carry_out(&mut disk, &page.shelf_mut().take_writes());
    assert_eq!(sessions(&mut device(&disk, 2)), 2);
}

#[test]
fn a_compact_form_takes_the_place_of_its_chunks() {
    let mut disk = BTreeMap::new();
    let mut page = device(&disk, 1);
    for _ in 0..120 {
        begin(&mut page);
    }
    page.tidy().unwrap();
    carry_out(&mut disk, &page.shelf_mut().take_writes());
    let kinds = |kind: &str| disk.keys().filter(|k| k.starts_with(kind)).count();
    assert_eq!((kinds("chunk/"), kinds("saved/")), (0, 1));
    assert_eq!(sessions(&mut device(&disk, 2)), 120);
}

#[test]
fn damaged_bytes_are_set_aside_and_the_rest_goes_on() {
    let mut disk = BTreeMap::new();
    let mut page = device(&disk, 1);
    for _ in 0..3 {
        begin(&mut page);
        carry_out(&mut disk, &page.shelf_mut().take_writes());
    }
    let last = disk.keys().rfind(|k| k.starts_with("chunk/")).unwrap().clone();
    disk.get_mut(&last).unwrap()[20] ^= 1;
    let row = disk.keys().find(|k| k.starts_with("row/")).unwrap().clone();
    let mut again = device(&disk, 2);
    assert_eq!(sessions(&mut again), 2);
    carry_out(&mut disk, &again.shelf_mut().take_writes());
    assert!(disk.keys().any(|k| k.starts_with("aside/")), "{:?}", disk.keys());
    assert_eq!(sessions(&mut device(&disk, 3)), 2);
    // A row that cannot be read costs nothing but what is known of the server.
    disk.insert(row, vec![0xff]);
    let mut third = device(&disk, 4);
    assert_eq!(sessions(&mut third), 2);
    assert_eq!(third.shelf().put_by(), again.shelf().put_by() + 1);
}
