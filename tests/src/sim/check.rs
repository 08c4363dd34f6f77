//! What must hold when everything has healed and everybody has exchanged: each promise, held against the book.

use std::collections::BTreeMap;

use backstraight_core::base::day::Day;
use backstraight_core::base::id::ChangeHash;
use backstraight_core::device::shelf::Shelf as _;
use backstraight_core::model::name::DocName;

use super::book::may_have;
use super::server::Server;
use super::world::World;
use super::{Found, Tally};
use crate::stand::START;

impl World {
    /// Holds everything against the book.
    pub(super) fn check(&mut self) -> Result<(), Found> {
        let stored: BTreeMap<DocName, Vec<ChangeHash>> = self.server.heads().into_iter().collect();
        self.on_the_server(&stored)?;
        for d in 0..self.phones.len() {
            self.on_a_device(d, &stored)?;
        }
        self.nothing_unknown_is_left()?;
        self.on_the_board(true)
    }

    /// What it was made of.
    pub(super) fn told(&self) -> Tally {
        let count =
            |of: &dyn Fn(&super::book::Fact) -> bool| self.book.facts.iter().filter(|f| of(f)).count() as u64;
        Tally {
            writes: self.phones.iter().map(|p| p.disk.writes()).sum(),
            facts: count(&|_| true),
            lost_with_a_phone: count(&|f| f.lost),
            ..self.tally
        }
    }

    fn names(&self) -> Vec<DocName> {
        let mut names: Vec<DocName> = self.book.facts.iter().map(|f| f.name).collect();
        names.sort_unstable();
        names.dedup();
        names
    }

    /// Everything that was acknowledged is there and reads as it was; what a device that was shut out did not send
    /// is on that device.
    fn on_the_server(&self, stored: &BTreeMap<DocName, Vec<ChangeHash>>) -> Result<(), Found> {
        for name in self.names() {
            let doc = self.server.document(name);
            if stored.get(&name).is_some_and(|heads| *heads != doc.heads()) {
                return Err(Found(format!("{name}: the server's bytes and its row tell of other heads")));
            }
            let open = |d: usize| !self.phones[d].withdrawn;
            if let Some(why) = self.book.wrong(&doc, |f| f.server || open(f.device)) {
                return Err(Found(format!("on the server: {why}")));
            }
        }
        Ok(())
    }

    /// Every device has what the server has of all that it may read, and nothing else.
    fn on_a_device(&mut self, d: usize, stored: &BTreeMap<DocName, Vec<ChangeHash>>) -> Result<(), Found> {
        let (role, person, withdrawn) =
            (self.phones[d].identity.role, self.phones[d].identity.person, self.phones[d].withdrawn);
        let rows = self.phones[d].disk.docs().map_err(|e| Found(e.to_string()))?;
        if let Some(row) = rows.iter().find(|row| !may_have(role, person, &row.name)) {
            return Err(Found(format!("device {d} of a {} has {}", role.word(), row.name)));
        }
        let there = stored.keys().filter(|name| may_have(role, person, name)).copied();
        let mut names: Vec<DocName> = there.chain(rows.iter().map(|row| row.name)).collect();
        names.sort_unstable();
        names.dedup();
        let shut_out: Vec<bool> = self.phones.iter().map(|p| p.withdrawn).collect();
        for name in names {
            // What its writer can send no more, to a server that was set back, may still be on the device of a reader.
            // So may what the stranger wrote, who never sends anything again.
            let survives = name.athlete() == Some(Server::stranger().person)
                || self.book.facts.iter().any(|f| {
                    f.name == name
                        && (f.lost || f.unsure || shut_out.get(f.device) == Some(&true) && !f.server)
                });
            let Some(device) = &mut self.phones[d].device else { return Err(Found("no device".to_owned())) };
            let doc = device.document(name).map_err(|e| Found(format!("device {d}: {name}: {e}")))?;
            let own = self.book.wrong(doc, |f| f.device == d && f.here);
            if let Some(why) = own {
                return Err(Found(format!("on device {d}: {why}")));
            }
            let same = stored.get(&name).is_none_or(|heads| {
                *heads == doc.heads() || survives && heads.iter().all(|head| doc.holds(head))
            });
            if !withdrawn && !same {
                let (here, there) = (doc.heads(), stored.get(&name));
                let row = self.phones[d].disk.doc(&name).map_err(|e| Found(e.to_string()))?;
                return Err(Found(format!(
                    "device {d} and the server have other heads of {name}: {here:?} and {there:?}; {row:?}; {:?}",
                    self.book.facts.iter().filter(|f| f.name == name).collect::<Vec<_>>()
                )));
            }
        }
        Ok(())
    }

    /// A coach's device judges by what it has: of each session that was done on a day that counts as heard there, it has
    /// the beginning, so that it does not read as missed.
    pub(super) fn heard_with_it(&mut self, d: usize) -> Result<(), Found> {
        if !self.phones[d].identity.role.coaches() {
            return Ok(());
        }
        let (_, people) = self.phones[d].disk.people().map_err(|e| Found(e.to_string()))?;
        for athlete in self.athletes.clone() {
            let known = people.iter().find(|known| known.person.as_slice() == athlete.0.as_bytes());
            let heard = known.and_then(|known| known.heard_day.as_ref()?.parse::<Day>().ok());
            let Some(heard) = heard else { continue };
            for (name, hash, day) in self.book.begun_on(athlete) {
                let Some(device) = &mut self.phones[d].device else { return Ok(()) };
                let Ok(doc) = device.document(name) else { return Ok(()) };
                if day < heard && !doc.holds(&hash) {
                    return Err(Found(format!(
                        "to device {d} the athlete was heard through {heard}, and of the session of {day} that was done \
                         it has nothing: {name}"
                    )));
                }
            }
        }
        Ok(())
    }

    /// The board is what follows from the documents, held against one made anew when `whole`; a session that somebody
    /// began, whether or not the server has heard of it, or of whose day not every device was heard, is never missed;
    /// another one is. While something is rotten it need not be up to date, but must not say so either.
    pub(super) fn on_the_board(&self, whole: bool) -> Result<(), Found> {
        let today = Day::of(self.server.now(), 0).map_err(|e| Found(e.to_string()))?;
        let days = (today.plus(-200), today.plus(60));
        let kept = self.server.board(days, false);
        if whole && self.rotten.is_none() {
            let anew = self.server.board(days, true);
            if kept.to_text() != anew.to_text() {
                return Err(Found(format!(
                    "the board is\n{}\nand made anew\n{}",
                    kept.to_text(),
                    anew.to_text()
                )));
            }
        }
        for athlete in &self.athletes {
            let own = || self.phones.iter().filter(|p| p.identity.person == *athlete);
            // Of what day it is, a device with a wrong clock tells nothing that could be held against it.
            if own().any(|p| p.was_wrong) {
                continue;
            }
            let line = kept.athletes.iter().find(|line| line.id == athlete.to_string());
            let line = line.ok_or_else(|| Found("an athlete is not on the board".to_owned()))?;
            let (silent, begun) = self.book.planned(*athlete, |d| !self.phones[d].withdrawn);
            let states: BTreeMap<&str, &str> = line
                .sessions
                .iter()
                .filter_map(|cell| Some((cell.session.as_deref()?, cell.state.as_str())))
                .collect();
            let state = |key: &str| states.get(key).copied().unwrap_or("not on the board");
            // Heard through the day of the device that was heard of least: another may hold what was done.
            // All were enrolled on the first day.
            let ever = own().filter_map(|p| p.heard).max();
            let first = Day::of(START, 0).map_err(|e| Found(e.to_string()))?;
            let in_use = own().filter(|p| !p.withdrawn).map(|p| p.heard.unwrap_or(first)).min();
            let heard = ever.and_then(|ever| in_use.or(Some(ever)));
            for (key, day) in &silent {
                let missed = state(key.as_str()) == "missed";
                let due = *day < today && heard.is_some_and(|heard| heard > *day);
                if missed != due && (missed || self.rotten.is_none()) {
                    return Err(Found(format!(
                        "session {key} of {day} reads {:?}, and the athlete was heard through {heard:?}",
                        state(key.as_str())
                    )));
                }
            }
            for key in &begun {
                if state(key.as_str()) == "missed" {
                    return Err(Found(format!(
                        "session {key} was begun and reads {:?}: {:?}",
                        state(key.as_str()),
                        self.book.of(key)
                    )));
                }
            }
        }
        Ok(())
    }
}
