//! Programs of the simulated world that become newer one after the other: some devices write what older programs do not
//! know. An older server leaves out what it cannot read and says so, an older device does not take it; when all are
//! newer, everything must be everywhere. Knows which changes are in the newer format, and nothing of what is in them.

use std::collections::BTreeSet;

use backstraight_core::base::id::ChangeHash;
use backstraight_core::device::identity::Identity;
use backstraight_core::device::shelf::{CarriedRow, Shelf as _};
use backstraight_core::doc::gate::reject::RejectCode;
use backstraight_core::doc::thin::{self, ThinLimits};
use backstraight_core::exchange::carry::MAX_PLAIN;
use backstraight_core::exchange::signed;
use backstraight_core::exchange::wire::{self, Down, Outcome, Refusal, SERVER_DAMAGED, Up};
use backstraight_core::model::name::DocName;
use minicbor::bytes::ByteVec;

use super::planted::Planted;
use super::server::{Answered, NoAnswer, Server};
use super::world::World;
use super::{Chaos, DEVICES, Found};
use crate::rng::Rng;

/// The beginning of a change, which no gate lets through: to an older program, a newer format is that.
const UNREADABLE: [u8; 5] = [0, 0x85, 0x6f, 0x4a, 0x83];

/// Every program: the devices' apps and both servers.
const PROGRAMS: usize = DEVICES + 2;

/// Which programs are newer, and what was written by them that older ones do not know.
#[derive(Debug, Clone, Default)]
pub(super) struct Formats {
    newer: [bool; PROGRAMS],
    written: BTreeSet<ChangeHash>,
}

impl Formats {
    /// Everybody is newer.
    pub(super) fn all_newer(&mut self) {
        self.newer = [true; PROGRAMS];
    }

    /// Whether the app of a device is newer.
    #[must_use]
    pub(super) fn device(&self, d: usize) -> bool {
        self.newer[d]
    }

    /// Whether the first or the second server is newer.
    #[must_use]
    fn server(&self, second: bool) -> bool {
        self.newer[DEVICES + usize::from(second)]
    }

    /// Whether both servers are.
    #[must_use]
    pub(super) fn servers(&self) -> bool {
        self.server(false) && self.server(true)
    }

    /// That change is in the newer format.
    pub(super) fn note(&mut self, change: ChangeHash) {
        self.written.insert(change);
    }

    /// Whether some of these changes are in the newer format.
    #[must_use]
    pub(super) fn unknown(&self, packed: &[u8]) -> bool {
        let plain = thin::unpack(packed, ThinLimits::default());
        let changes = plain.and_then(|plain| signed::changes(&plain)).unwrap_or_default();
        changes.iter().any(|change| self.written.contains(&change.hash))
    }
}

/// Whether a server refused something because it does not know it.
#[must_use]
pub(super) fn is_unknown(refusal: &Refusal) -> bool {
    refusal.code == RejectCode::UnknownField.word()
}

/// A request as an older server reads it, and what of it that does not know.
#[derive(Debug)]
struct AsOlder {
    body: Vec<u8>,
    docs: BTreeSet<Vec<u8>>,
    parcels: BTreeSet<usize>,
}

impl AsOlder {
    /// Reads it.
    #[must_use]
    fn new(body: Vec<u8>, formats: &Formats, planted: Option<Planted>) -> AsOlder {
        let (mut docs, mut parcels) = (BTreeSet::new(), BTreeSet::new());
        let Ok(mut up) = Up::from_bytes(&body) else { return AsOlder { body, docs, parcels } };
        for doc in &mut up.docs {
            if doc.changes.as_ref().is_some_and(|changes| formats.unknown(changes)) {
                let overlooked = planted == Some(Planted::RefusedCountsAsHeard);
                doc.changes = (!overlooked).then(|| UNREADABLE.to_vec().into());
                docs.insert(doc.name.to_vec());
            }
        }
        for (n, parcel) in up.carried.iter_mut().flatten().enumerate() {
            if formats.unknown(&parcel.changes) {
                parcel.changes = ByteVec::from(UNREADABLE.to_vec());
                parcels.insert(n);
            }
        }
        if docs.is_empty() && parcels.is_empty() {
            return AsOlder { body, docs, parcels };
        }
        AsOlder { body: up.to_bytes(), docs, parcels }
    }

    /// Its answer, in which it calls what it does not know by its name.
    #[must_use]
    fn answer(&self, answer: Vec<u8>) -> Vec<u8> {
        if self.docs.is_empty() && self.parcels.is_empty() {
            return answer;
        }
        let Ok(mut down) = Down::from_bytes(&answer) else { return answer };
        let unknown = |outcome: &mut Outcome| {
            *outcome = Outcome::Refused(Refusal {
                code: RejectCode::UnknownField.word().to_owned(),
                change: None,
                text: "a field that this version does not know".to_owned(),
            });
        };
        for doc in &mut down.docs {
            if self.docs.contains(&doc.name.to_vec()) {
                unknown(&mut doc.outcome);
            }
        }
        for (n, outcome) in down.carried.iter_mut().flatten().enumerate() {
            if self.parcels.contains(&n) {
                unknown(outcome);
            }
        }
        down.to_bytes()
    }
}

impl Server {
    /// Answers an exchange, as the program does to which it comes.
    ///
    /// # Errors
    /// When there is no answer.
    pub(super) fn exchange(&mut self, from: &Identity, body: Vec<u8>, formats: &Formats) -> Answered {
        let (app, second) = self.either().ok_or(NoAnswer::Down)?;
        if formats.server(second) {
            return self.answer(&app, from, body);
        }
        let mut older = AsOlder::new(body, formats, self.planted);
        let body = std::mem::take(&mut older.body);
        self.answer(&app, from, body).map(|answer| older.answer(answer))
    }
}

impl World {
    /// Now and then somebody installs what is newer.
    pub(super) fn upgrade(&mut self, rng: &mut Rng) {
        if !self.may(Chaos::Upgrade) || !rng.once_in(8) {
            return;
        }
        let program = rng.below(PROGRAMS);
        if std::mem::replace(&mut self.formats.newer[program], true) {
            return;
        }
        self.tally.upgrades += 1;
        if program < DEVICES {
            self.open(program, rng);
        } else if program == DEVICES {
            self.tally.servers_started += 1;
            self.server.start();
        } else {
            self.server.stop_second();
        }
    }

    /// An answer as the app of a device reads it, and of which documents that does not know what came.
    pub(super) fn as_read_by(&self, d: usize, answer: Vec<u8>) -> (Vec<u8>, BTreeSet<DocName>) {
        let mut names = BTreeSet::new();
        if self.formats.device(d) {
            return (answer, names);
        }
        let Ok(mut down) = Down::from_bytes(&answer) else { return (answer, names) };
        for doc in &mut down.docs {
            if doc.changes.as_ref().is_some_and(|changes| self.formats.unknown(changes)) {
                let skips = self.planted(Planted::UnknownIsSkipped);
                doc.changes = (!skips).then(|| UNREADABLE.to_vec().into());
                names.extend(wire::name(&doc.name));
            }
        }
        if names.is_empty() { (answer, names) } else { (down.to_bytes(), names) }
    }

    /// When all are newer and mended, nobody carries any longer what only an older or a damaged server did not take, unless
    /// what it builds on is lost.
    pub(super) fn nothing_unknown_is_left(&self) -> Result<(), Found> {
        for (d, phone) in self.phones.iter().enumerate() {
            let rows = phone.disk.carried().map_err(|e| Found(format!("device {d}: {e}")))?;
            let passes = |no: &Refusal| is_unknown(no) || no.code == SERVER_DAMAGED;
            let for_now = |row: &CarriedRow| row.refused.as_ref().is_some_and(passes);
            for row in rows.iter().filter(|row| for_now(row)) {
                let mut room = MAX_PLAIN;
                let (Ok(name), Ok(plain)) = (row.parcel.document(), row.parcel.plain(&mut room)) else {
                    continue;
                };
                let changes = signed::changes(&plain).unwrap_or_default();
                let doc = self.server.document(name);
                let own: BTreeSet<ChangeHash> = changes.iter().map(|change| change.hash).collect();
                let has = |hash: &ChangeHash| own.contains(hash) || doc.holds(hash);
                if changes.iter().flat_map(|change| &change.deps).all(has) {
                    return Err(Found(format!(
                        "device {d} still carries {name}, which an older or a damaged server did not take"
                    )));
                }
            }
        }
        Ok(())
    }
}
