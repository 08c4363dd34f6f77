//! Logs that reach the server of the simulated world by way of somebody else: a coach's phone takes a file of what an
//! athlete's device has not sent, and hands it over later. Knows what the carrier was told, and of which day a log that
//! was brought tells; not how signatures are made.

use std::collections::{BTreeMap, BTreeSet};

use backstraight_core::base::day::{Day, Month};
use backstraight_core::base::id::InstallId;
use backstraight_core::base::moment::Moment;
use backstraight_core::device::carry::ParcelError;
use backstraight_core::exchange::carry::{self, Parcel};
use backstraight_core::exchange::signed;
use backstraight_core::exchange::wire::{Down, Outcome, Up};
use backstraight_core::model::name::DocName;

use super::Found;
use super::book::Fact;
use super::disk::DiskError;
use super::world::{Phone, World};
use crate::rng::Rng;

/// Devices that write logs, and those that carry them.
const ATHLETES: usize = 3;
const CARRIERS: [usize; 2] = [3, 4];

/// What a carrier has taken along.
#[derive(Debug)]
pub(super) struct Load {
    pub(super) by: usize,
    parcel: Parcel,
    /// Facts that are in it.
    facts: Vec<usize>,
}

impl World {
    /// A carrier meets an athlete: the file goes over, and sometimes it is damaged on the way.
    pub(super) fn hand_over(&mut self, rng: &mut Rng) -> Result<(), Found> {
        let (from, by) = (rng.below(ATHLETES), CARRIERS[rng.below(CARRIERS.len())]);
        for d in [from, by] {
            if self.phones[d].disk.dead() || self.phones[d].device.is_none() {
                self.open(d, rng);
            }
        }
        let Some(device) = &mut self.phones[from].device else { return Ok(()) };
        let out =
            device.carry_out().map_err(|e| Found(format!("device {from} writes no carry file: {e}")))?;
        let Some(mut out) = out else { return Ok(()) };
        let parcels = carry::read(&out.bytes).map_err(|e| Found(format!("a carry file of {from}: {e}")))?;
        // An older app does not take what it does not know: the file stays where it is.
        if !self.formats.device(by) && parcels.iter().any(|parcel| self.formats.unknown(&parcel.changes)) {
            return Ok(());
        }
        let damaged = rng.once_in(5);
        if damaged {
            let at = rng.below(out.bytes.len());
            out.bytes[at] ^= 1 << rng.range(0, 7);
        }
        let Some(device) = &mut self.phones[by].device else { return Ok(()) };
        let taken = match device.carry_in(&out.bytes) {
            Ok(_) if damaged => return Err(Found(format!("device {by} took a damaged carry file"))),
            Err(DiskError::Device(_)) if damaged => return Ok(()),
            Err(DiskError::Device(e)) => {
                return Err(Found(format!("device {by} did not take an honest carry file: {e}")));
            }
            Err(DiskError::Full | DiskError::Died) => return Ok(()),
            Ok(taken) => taken,
        };
        // A carrier that was not told of an install yet knows no key of it, and leaves the parcel.
        let unknown = |e: &ParcelError| matches!(e.code(), "unknown-install" | "not-theirs");
        if let Some((name, why)) = taken.refused.iter().find(|(_, why)| !unknown(why)) {
            return Err(Found(format!("device {by} refused an honest parcel of {name:?}: {why}")));
        }
        let kept: BTreeSet<DocName> = taken.taken.iter().map(|(name, ..)| *name).collect();
        for parcel in parcels {
            let Ok(name) = parcel.document() else { continue };
            if !kept.contains(&name) {
                continue;
            }
            // A file has one parcel of each document here: nobody writes more than one takes.
            let unsent = |f: &Fact| f.device == from && f.here && !f.server && !f.lost && !f.unsure;
            let facts = self.book.facts.iter().enumerate().filter(|(_, f)| f.name == name && unsent(f));
            let facts: Vec<usize> = facts.map(|(n, _)| n).collect();
            self.tally.carried += facts.len() as u64;
            self.loads.push(Load { by, parcel, facts });
        }
        Ok(())
    }

    /// What a carrier no longer has to carry is with the server: so it was told.
    pub(super) fn handed_in(&mut self, by: usize) -> Result<(), Found> {
        let rotten = self.rotten();
        let disk = &self.phones[by].disk;
        let over = |load: &mut Load| load.by == by && !disk.carries(&load.parcel);
        for load in self.loads.extract_if(.., over) {
            let Ok(name) = load.parcel.document() else { continue };
            // Of what cannot be read at the moment it is looked at when that was mended.
            let doc = (rotten != Some(name)).then(|| self.server.document(name));
            for n in load.facts {
                let fact = &mut self.book.facts[n];
                if doc.as_ref().is_some_and(|doc| !doc.holds(&fact.hash)) {
                    return Err(Found(format!(
                        "device {by} carried what the server does not have: {fact:?}"
                    )));
                }
                (fact.server, fact.lost) = (true, false);
            }
        }
        Ok(())
    }

    /// Of which days athletes were heard by logs that a request brought.
    pub(super) fn heard_by_parcels(&mut self, up: &Up, answer: &[u8]) {
        let Some(parcels) = &up.carried else { return };
        let said = Down::from_bytes(answer).ok().and_then(|down| down.carried).unwrap_or_default();
        for (parcel, _) in parcels.iter().zip(said).filter(|(_, said)| *said == Outcome::Accepted) {
            let Ok(DocName::Log(_, month)) = parcel.document() else { continue };
            for (install, newest) in newest(parcel) {
                let now = self.server.now();
                let of = |p: &&mut Phone| p.identity.install == install && !p.doubted;
                if let Some(phone) = self.phones.iter_mut().find(of) {
                    phone.heard = phone.heard.map(|was| told(was, month, newest, now));
                }
            }
        }
    }
}

/// When each install that wrote in a parcel wrote last, by its own clock.
fn newest(parcel: &Parcel) -> BTreeMap<InstallId, Moment> {
    let mut room = usize::MAX;
    let changes = parcel.plain(&mut room).and_then(|plain| signed::changes(&plain)).unwrap_or_default();
    let mut newest: BTreeMap<InstallId, Moment> = BTreeMap::new();
    for change in &changes {
        let at = newest.entry(change.actor.install()).or_insert(Moment(change.time * 1000));
        *at = Moment(change.time * 1000).max(*at);
    }
    newest
}

/// Through which day an install was heard, once a month's log of it came that was last written at `newest`: through
/// the days of that month that were over everywhere by then, when it was heard up to that month before.
fn told(was: Day, month: Month, newest: Moment, now: Moment) -> Day {
    let over = Day::of(newest, -12 * 60).unwrap_or(was);
    // The first day of the next month: of what comes then, another log tells.
    let last =
        (0..32).map(|n| was.plus(n)).take_while(|day| day.month() <= month).last().map(|day| day.plus(1));
    let known = newest <= now && was.month() >= month;
    match last.filter(|_| known) {
        Some(end) => was.max(over.min(end)),
        None => was,
    }
}
