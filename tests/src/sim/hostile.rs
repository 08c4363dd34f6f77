//! A client of the simulated world that means harm: an athlete of the club with an install of their own, who sends what
//! no app would send. Whatever it is, nothing of anybody else's may change, nothing may be told that the sender may not
//! read, and the server goes on. Knows the wire and the rights, not how either is checked.

use std::collections::{BTreeMap, BTreeSet};

use backstraight_core::base::day::Day;
use backstraight_core::base::id::{ActorId, ChangeHash, InstallId};
use backstraight_core::base::key::KeyMint;
use backstraight_core::base::moment::Moment;
use backstraight_core::doc::command::{Command, New, Scene};
use backstraight_core::doc::open::Document;
use backstraight_core::doc::place::Place;
use backstraight_core::doc::thin;
use backstraight_core::exchange::carry::Parcel;
use backstraight_core::exchange::signed;
use backstraight_core::exchange::wire::{self, Down, Outcome, Up, UpDoc};
use backstraight_core::model::any::AnyRecord;
use backstraight_core::model::log::{Report, SessionDone};
use backstraight_core::model::name::DocName;
use backstraight_core::model::number::{Complaint, Text};
use backstraight_core::model::plan::Session;
use backstraight_server::problem::Problem;
use minicbor::bytes::ByteVec;

use super::Found;
use super::book::may_have;
use super::deeds::exercise_called;
use super::server::{NoAnswer, Server};
use super::world::World;
use crate::rng::Rng;

impl World {
    /// Something hostile reaches the server.
    pub(super) fn harm(&mut self, rng: &mut Rng) -> Result<(), Found> {
        if !self.server.runs() || self.server.about_to_lose() {
            return Ok(());
        }
        let before: BTreeMap<DocName, Vec<ChangeHash>> = self.server.heads().into_iter().collect();
        let choice = rng.range(0, 5);
        let (what, body) = match choice {
            0 => ("what another sent", self.overheard.clone()),
            1 => ("what another sent, under names of their own", self.renamed().map(|up| up.to_bytes())),
            2 => ("changes of what others write", self.forged(&before, rng, false)),
            3 => ("changes in another's name", self.forged(&before, rng, true)),
            4 => ("damaged bytes", self.damaged(rng)),
            _ => ("a question for everything", Some(self.everything(&before, rng).to_bytes())),
        };
        let Some(body) = body else { return Ok(()) };
        self.tally.requests += 1;
        self.tally.hostile += 1;
        let sender = Server::stranger();
        // What its writers signed may be handed in by anybody, also by somebody who overheard it. Of what an install wrote
        // that was withdrawn some may be taken, and the parcel refused all the same.
        let signed = Up::from_bytes(&body).ok().filter(|up| choice < 2 && up.carried.is_some());
        let parcels = signed.iter().flat_map(|up| up.carried.iter().flatten());
        let brought: BTreeSet<DocName> = parcels.filter_map(|parcel| parcel.document().ok()).collect();
        match self.server.exchange(sender, body, &self.formats) {
            Ok(answer) => {
                told_only_own(&answer).map_err(|why| Found(format!("{what} of a stranger: {why}")))?;
                if let Some(up) = &signed {
                    self.heard_by_parcels(up, &answer);
                }
            }
            Err(NoAnswer::Said(Problem::Internal)) => {
                return Err(Found(format!("{what} of a stranger made the server stumble")));
            }
            Err(_) => {}
        }
        if !self.server.runs() {
            return Err(Found(format!("{what} of a stranger stopped the server")));
        }
        let own = |name: &DocName| name.athlete() == Some(sender.person) || brought.contains(name);
        let others = |heads: BTreeMap<DocName, Vec<ChangeHash>>| -> BTreeMap<_, _> {
            heads.into_iter().filter(|(name, _)| !own(name)).collect()
        };
        let (after, before) = (others(self.server.heads().into_iter().collect()), others(before));
        if let Some((name, heads)) = after.iter().find(|(name, heads)| before.get(name) != Some(heads)) {
            let was = before.get(name);
            return Err(Found(format!("{what} of a stranger changed {name} from {was:?} to {heads:?}")));
        }
        if after.len() != before.len() {
            return Err(Found(format!("{what} of a stranger removed a document")));
        }
        Ok(())
    }

    /// The last request that was heard on its way, with every document of an athlete named as the stranger's.
    fn renamed(&self) -> Option<Up> {
        let mut up = Up::from_bytes(self.overheard.as_ref()?).ok()?;
        for doc in &mut up.docs {
            let own = wire::name(&doc.name).ok().map(|name| own_name(&name));
            if let Some(own) = own {
                doc.name = ByteVec::from(own.to_bytes().to_vec());
            }
        }
        Some(up)
    }

    /// A sound change of a document that somebody else writes: in the stranger's own name, or in that of an install
    /// that may.
    fn forged(
        &self,
        stored: &BTreeMap<DocName, Vec<ChangeHash>>,
        rng: &mut Rng,
        in_anothers_name: bool,
    ) -> Option<Vec<u8>> {
        let name = *stored.keys().nth(rng.below(stored.len()))?;
        let stranger = Server::stranger();
        let by = if in_anothers_name {
            self.phones[rng.below(self.phones.len())].identity.install
        } else {
            stranger.install
        };
        let changes = self.change(name, by, rng)?;
        // A document of their own takes the changes of others as little as others' documents take theirs.
        let under = if in_anothers_name && rng.once_in(3) { own_name(&name) } else { name };
        let (raw, packed) = (ByteVec::from(under.to_bytes().to_vec()), ByteVec::from(thin::pack(&changes)));
        if rng.once_in(3) {
            // As if it had been given to them to take along: they have no other key than their own.
            let key = stranger.key.clone()?;
            let own = signed::changes(&changes).ok()?;
            let signatures = signed::sign(&under, &own, by, &|statement| key.sign(statement));
            let parcel = Parcel { name: raw, heads: Vec::new(), changes: packed, signatures };
            return Some(Up { carried: Some(vec![parcel]), ..self.request_of(Vec::new()) }.to_bytes());
        }
        let doc = UpDoc { name: raw, cursor: 0, heads: Vec::new(), changes: Some(packed) };
        Some(self.request_of(vec![doc]).to_bytes())
    }

    /// A request that an app of the stranger might have sent, with bytes that are not what they were.
    fn damaged(&self, rng: &mut Rng) -> Option<Vec<u8>> {
        let stranger = Server::stranger();
        let month = Day::of(self.server.now(), 0).ok()?.month();
        let name = DocName::Log(stranger.person, month);
        let changes = self.change(name, stranger.install, rng)?;
        let doc = UpDoc {
            name: ByteVec::from(name.to_bytes().to_vec()),
            cursor: 0,
            heads: Vec::new(),
            changes: Some(ByteVec::from(thin::pack(&changes))),
        };
        let mut bytes = self.request_of(vec![doc]).to_bytes();
        for _ in 0..rng.range(1, 4) {
            let at = rng.below(bytes.len());
            match rng.range(0, 3) {
                0 => bytes.truncate(at),
                1 => {
                    let again = bytes.get(at..(at + 40).min(bytes.len())).unwrap_or_default().to_vec();
                    bytes.splice(at..at, again);
                }
                _ => bytes.iter_mut().skip(at).take(1).for_each(|b| *b ^= 1 << rng.range(0, 7)),
            }
        }
        Some(bytes)
    }

    /// Asks for every document there is, as if it were known of already.
    fn everything(&self, stored: &BTreeMap<DocName, Vec<ChangeHash>>, rng: &mut Rng) -> Up {
        let docs = stored.iter().map(|(name, heads)| UpDoc {
            name: ByteVec::from(name.to_bytes().to_vec()),
            cursor: if rng.once_in(2) { 0 } else { rng.next() >> rng.range(0, 60) },
            heads: if rng.once_in(2) { Vec::new() } else { wire::heads_out(heads) },
            changes: None,
        });
        let docs = docs.collect();
        self.request_of(docs)
    }

    fn request_of(&self, docs: Vec<UpDoc>) -> Up {
        Up {
            protocol: wire::PROTOCOL,
            epoch: Some(ByteVec::from(self.server.epoch().to_vec())),
            local_day: Day::of(self.server.now(), 0).map(|day| day.to_string()).unwrap_or_default(),
            clock: self.server.now().0,
            docs,
            people: 0,
            app: "a stranger's".to_owned(),
            carried: None,
            left: None,
        }
    }

    /// One more record in a document as the server has it, written by an install.
    fn change(&self, name: DocName, by: InstallId, rng: &mut Rng) -> Option<Vec<u8>> {
        if self.rotten() == Some(name) {
            return None;
        }
        let mut doc: Document = self.server.document(name);
        let before = doc.heads();
        doc.write_as(ActorId::of(by, rng.next().to_be_bytes()));
        let [a, b, c, d, ..] = rng.next().to_be_bytes();
        let key = KeyMint::new([a, b, c, d]).mint();
        let now = self.server.now();
        let (root, record): (&'static str, AnyRecord) = record(&name, Day::of(now, 0).ok()?, now)?;
        let command = Command::Add(vec![New { place: Place::of(root, &key), record }]);
        doc.apply(&command, &Scene { now, exercises: None }).ok()?;
        Some(doc.changes_since(&before))
    }
}

/// A record that such a document takes, and where it stands.
fn record(name: &DocName, today: Day, now: Moment) -> Option<(&'static str, AnyRecord)> {
    Some(match name {
        DocName::Log(..) => ("sessions", SessionDone::new(today, now).into()),
        DocName::Plan(..) => ("sessions", Session::new(today, Text::new("not to be").ok()?).into()),
        DocName::Care(_) => (
            "reports",
            Report { text: Text::new("not to be").ok(), ..Report::new(now, Complaint::Pain) }.into(),
        ),
        DocName::Library(_) => ("exercises", exercise_called("not to be").into()),
        _ => return None,
    })
}

/// The stranger's document of the same kind; the same where there is none.
fn own_name(name: &DocName) -> DocName {
    let person = Server::stranger().person;
    match name {
        DocName::Plan(_, season) => DocName::Plan(person, *season),
        DocName::Log(_, month) => DocName::Log(person, *month),
        DocName::Notes(_, month) => DocName::Notes(person, *month),
        DocName::Care(_) => DocName::Care(person),
        DocName::CareNotes(_) => DocName::CareNotes(person),
        DocName::Availability(_) => DocName::Availability(person),
        DocName::Library(_) | DocName::Squad(_) => *name,
    }
}

/// What is wrong with an answer to the stranger: it tells of what they may not read, or says that it took what they may
/// not write.
fn told_only_own(answer: &[u8]) -> Result<(), String> {
    let sender = Server::stranger();
    let down = Down::from_bytes(answer).map_err(|e| format!("the answer cannot be read: {e}"))?;
    for doc in &down.docs {
        let name = wire::name(&doc.name).map_err(|e| e.to_string())?;
        let readable = may_have(sender.role, sender.person, &name);
        if !readable && (doc.changes.is_some() || !doc.heads.is_empty() || doc.outcome == Outcome::Accepted) {
            return Err(format!("the answer tells of {name}"));
        }
    }
    Ok(())
}
