//! A copy of a document on one install: what it writes, what reaches it, in any order. Knows
//! nothing of transport.

use backstraight_core::base::day::Month;
use backstraight_core::base::id::{ActorId, ChangeHash, ClubId, InstallId, PersonId, SquadId};
use backstraight_core::base::key::{Key, KeyMint};
use backstraight_core::base::moment::Moment;
use backstraight_core::doc::admit::Admitted;
use backstraight_core::doc::command::apply::CommandError;
use backstraight_core::doc::command::{Command, Scene};
use backstraight_core::doc::open::Document;
use backstraight_core::model::name::{DocName, Kind};
use backstraight_core::model::number::SeasonNo;
use uuid::Uuid;

/// Noon of 10 November 2026, UTC: when these tests begin.
pub const START: Moment = Moment(1_794_312_000_000);
/// The one invented athlete of these tests.
pub const ATHLETE: PersonId = PersonId(Uuid::from_u128(0x0190_0000_0000_7000_8000_0000_0000_0001));

/// The document of that kind with which these tests work.
#[must_use]
pub fn name(kind: Kind) -> DocName {
    let month = Month::new(2026, 11).unwrap();
    match kind {
        Kind::Library => DocName::Library(ClubId(ATHLETE.0)),
        Kind::Squad => DocName::Squad(SquadId(ATHLETE.0)),
        Kind::Plan => DocName::Plan(ATHLETE, SeasonNo::new(2027).unwrap()),
        Kind::Log => DocName::Log(ATHLETE, month),
        Kind::Notes => DocName::Notes(ATHLETE, month),
        Kind::Care => DocName::Care(ATHLETE),
        Kind::CareNotes => DocName::CareNotes(ATHLETE),
        Kind::Availability => DocName::Availability(ATHLETE),
    }
}

/// One install's copy of a document.
#[derive(Debug)]
pub struct Replica {
    /// The copy.
    pub doc: Document,
    /// Its clock; it may be wrong.
    pub now: Moment,
    mint: KeyMint,
    waiting: Vec<Vec<u8>>,
}

impl Replica {
    /// The first start of install number `n`, with nothing but the fixed starting change.
    #[must_use]
    pub fn new(kind: Kind, n: u8) -> Replica {
        Replica::started(Document::create(name(kind)).unwrap(), n, 0)
    }

    /// Start number `start` of install number `n`, on what is on its disk.
    #[must_use]
    pub fn started(mut doc: Document, n: u8, start: u8) -> Replica {
        doc.write_as(ActorId::of(InstallId([n; 8]), [start; 8]));
        let mint = KeyMint::new([n, start, n, start]);
        Replica { doc, now: START, mint, waiting: Vec::new() }
    }

    /// A new key.
    pub fn key(&mut self) -> Key {
        self.mint.mint()
    }

    /// Does a deed; a second passes.
    ///
    /// # Errors
    /// As the document says.
    pub fn try_do(&mut self, command: &Command) -> Result<ChangeHash, CommandError> {
        self.now = self.now.plus_ms(1000);
        self.doc.apply(command, &Scene { now: self.now, exercises: None })
    }

    /// Does a deed that must go.
    ///
    /// # Panics
    /// When it does not.
    #[track_caller]
    pub fn done(&mut self, command: &Command) -> ChangeHash {
        match self.try_do(command) {
            Ok(hash) => hash,
            Err(e) => panic!("{e}"),
        }
    }

    /// Bytes arrive. What builds on changes that are not here yet waits for them, one by one: the
    /// gate takes a parcel whole or not at all, and only with ancestors first.
    pub fn receive(&mut self, bytes: &[u8]) {
        if !self.take(bytes) {
            self.waiting.extend(chunks(bytes));
        }
        loop {
            let waiting = core::mem::take(&mut self.waiting);
            let before = waiting.len();
            self.waiting = waiting.into_iter().filter(|chunk| !self.take(chunk)).collect();
            if self.waiting.len() == before {
                return;
            }
        }
    }

    /// How many deliveries still wait for what they build on.
    #[must_use]
    pub fn waiting(&self) -> usize {
        self.waiting.len()
    }

    fn take(&mut self, bytes: &[u8]) -> bool {
        match self.doc.admit(bytes, &|_| true) {
            Ok(Admitted::Merged { .. }) => true,
            Ok(Admitted::Need(_)) => false,
            Err(refused) => panic!("the gate refused honest changes: {refused}"),
        }
    }

    /// Sends all that `other` lacks.
    pub fn send(&self, other: &mut Replica) {
        other.receive(&self.doc.changes_since(&other.doc.heads()));
    }
}

/// Both send each other all that the other lacks.
pub fn exchange(a: &mut Replica, b: &mut Replica) {
    a.send(b);
    b.send(a);
}

/// The single changes in a run of change chunks. A chunk is four bytes of magic, four of checksum,
/// one of type, a length in base 128 (least significant first), then that many bytes.
///
/// # Panics
/// When `bytes` are no whole chunks.
#[must_use]
pub fn chunks(bytes: &[u8]) -> Vec<Vec<u8>> {
    let mut out = Vec::new();
    let mut rest = bytes;
    while !rest.is_empty() {
        let (mut len, mut at) = (0usize, 9);
        for shift in (0..).step_by(7) {
            let byte = *rest.get(at).unwrap();
            at += 1;
            len |= usize::from(byte & 0x7f) << shift;
            if byte < 0x80 {
                break;
            }
        }
        let (chunk, more) = rest.split_at(at + len);
        out.push(chunk.to_vec());
        rest = more;
    }
    out
}
