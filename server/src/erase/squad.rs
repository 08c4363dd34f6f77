//! A squad's document names its athletes, and a document never forgets. So a squad that names
//! somebody who is erased goes on as a fresh copy, without history and without that person, under
//! another identity; the old document is erased like any other.

use backstraight_core::base::id::{ActorId, InstallId, PersonId, SquadId};
use backstraight_core::base::moment::Moment;
use backstraight_core::doc::command::{Command, New, Scene};
use backstraight_core::doc::gate::{self, GateIndex, Verdict};
use backstraight_core::doc::open::Document;
use backstraight_core::doc::place::Place;
use backstraight_core::doc::read::Read;
use backstraight_core::model::any::AnyRecord;
use backstraight_core::model::name::{DocName, Kind};
use backstraight_core::model::plan::{Emphasis, Meet, Member, Remark, SquadAbout, SquadSession};
use backstraight_core::model::spec::Record;

use crate::secret;
use crate::store::document::Doc;
use crate::store::erased::Beginning;
use crate::store::{Db, StoreError};

/// Records of one change: far below what a gate takes at once.
const AT_ONCE: usize = 40;

/// A squad's document and the copy that goes on in its place.
#[derive(Debug, Clone)]
pub struct Rewritten {
    /// The document as it was when it was copied.
    pub old: Doc,
    /// How the copy begins.
    pub new: Beginning,
}

/// Whether a person's identity or name stands anywhere in a document, its history included.
pub(super) fn mentions(db: &Db, doc: &Doc, person: PersonId, name: &str) -> Result<bool, StoreError> {
    let changes = match super::open(db, doc) {
        Ok(whole) => whole.changes_since(&[]),
        // Whatever can be read of one that does not open.
        Err(StoreError::Damaged(_)) => crate::store::document::whole(db, doc.id, &[])?,
        Err(error) => return Err(error),
    };
    let holds = |text: &str| {
        let text = text.as_bytes();
        !text.is_empty() && changes.windows(text.len()).any(|w| w == text)
    };
    Ok(holds(&person.to_string()) || holds(name))
}

/// The copy of a squad's document without a person.
pub(super) fn fresh_copy(db: &Db, old: &Doc, person: PersonId, now: Moment) -> Result<Rewritten, StoreError> {
    let whole = super::open(db, old)?;
    let squad = SquadId::new(now, secret::random());
    let name = DocName::Squad(squad);
    let fail = |e: &dyn std::fmt::Display| StoreError::Damaged(format!("copy of {}: {e}", old.name));
    let mut copy = Document::create(name).map_err(|e| fail(&e))?;
    let start = copy.heads();
    copy.write_as(ActorId::of(InstallId(secret::random()), secret::random()));
    let mut kept = Kept::default();
    kept.take(whole.records::<Member>("members"), |m| m.athlete != person);
    kept.take(whole.records::<Meet>("meets"), |_| true);
    kept.take(whole.records::<SquadSession>("sessions"), |_| true);
    kept.take(whole.records::<Emphasis>("emphasis"), |_| true);
    kept.take(whole.records::<Remark>("remarks"), |r| r.about != person);
    let scene = Scene { now, exercises: None };
    // The one record that every squad's document begins with.
    let place = Place::main("about");
    let about = |doc: &Document| doc.record::<SquadAbout>(&place).ok().flatten().map(|e| e.record);
    if let (Some(from), Some(to)) = (about(&copy), about(&whole))
        && from != to
    {
        let edit = Command::Edit { place: place.clone(), from: from.into(), to: to.into() };
        copy.apply(&edit, &scene).map_err(|e| fail(&format!("{e:?}")))?;
    }
    for some in kept.records.chunks(AT_ONCE) {
        copy.apply(&Command::Add(some.to_vec()), &scene).map_err(|e| fail(&format!("{e:?}")))?;
    }
    for some in kept.gone.chunks(AT_ONCE) {
        copy.apply(&Command::Withdraw(some.to_vec()), &scene).map_err(|e| fail(&format!("{e:?}")))?;
    }
    let new = beginning(name, copy.changes_since(&start))?;
    Ok(Rewritten { old: old.clone(), new })
}

/// Changes with which a document begins, checked like any others.
pub fn beginning(name: DocName, body: Vec<u8>) -> Result<Beginning, StoreError> {
    let fail = |e: &dyn std::fmt::Display| StoreError::Damaged(format!("beginning of {name}: {e}"));
    let mut index = GateIndex::new(Kind::Squad).map_err(|e| fail(&e))?;
    if body.is_empty() {
        return Ok(Beginning { name, body, changes: 0, delta: Vec::new(), heads: index.heads() });
    }
    match index.check(&body, &|_| true).map_err(|e| fail(&e))? {
        Verdict::Need { .. } => Err(fail(&"ancestors are missing")),
        Verdict::Accept(accepted) => {
            let changes = accepted.fresh().len() as u64;
            let delta = gate::delta_bytes(&accepted);
            index.admit(&accepted).map_err(|e| fail(&e))?;
            Ok(Beginning { name, body, changes, delta, heads: index.heads() })
        }
    }
}

#[derive(Default)]
struct Kept {
    records: Vec<New>,
    gone: Vec<Place>,
}

impl Kept {
    fn take<R: Record + Into<AnyRecord>>(&mut self, read: Read<R>, stays: impl Fn(&R) -> bool) {
        for entry in read.entries.into_iter().filter(|e| stays(&e.record)) {
            if entry.gone.is_some() {
                self.gone.push(entry.place.clone());
            }
            self.records.push(New { place: entry.place, record: entry.record.into() });
        }
    }
}
