//! Who is in a squad. That stands in the squads' documents, which coaches write: what a coach's device would
//! write for it is made here, and goes through the same gate as an upload. Knows no route and no command.

use backstraight_core::base::day::Day;
use backstraight_core::base::id::{ActorId, PersonId, SquadId};
use backstraight_core::base::key::KeyMint;
use backstraight_core::base::moment::Moment;
use backstraight_core::doc::command::{Command, New, Scene};
use backstraight_core::doc::open::Document;
use backstraight_core::doc::place::Place;
use backstraight_core::model::name::DocName;
use backstraight_core::model::number::Name;
use backstraight_core::model::plan::Member;

use crate::exchange::at_once::Edit;
use crate::grant::{self, Access, Caller, MayWrite};
use crate::review::open;
use crate::secret;
use crate::store::{Db, StoreError, document};

/// An athlete joins a squad, leaves one, or both.
#[derive(Debug, Clone)]
pub struct Move {
    /// The squad that the athlete joins.
    pub to: Option<SquadId>,
    /// The squad that the athlete leaves.
    pub from: Option<SquadId>,
    /// The athlete.
    pub athlete: PersonId,
    /// What the athlete is called where nothing was said yet.
    pub name: Name,
}

/// What stands in the way of a move.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Unknown {
    /// The writer has no such squad to join.
    To,
    /// The writer has no such squad to leave.
    From,
    /// The athlete is not in the squad that is to be left.
    NotIn,
}

impl Move {
    /// The edits for it in the name of `by`; none when everything is so already. What the squad that is left
    /// says about the athlete comes along: event group, date of birth, class.
    ///
    /// # Errors
    /// When storage fails.
    pub fn edits(&self, db: &Db, by: &Caller, now: Moment) -> Result<Result<Vec<Edit>, Unknown>, StoreError> {
        let actor = ActorId::of(by.install, secret::random());
        let before = match self.from {
            None => None,
            Some(from) => match squad(db, by, from, now)? {
                Some(found) => Some(found),
                None => return Ok(Err(Unknown::From)),
            },
        };
        let after = match self.to {
            None => None,
            Some(to) => match squad(db, by, to, now)? {
                Some(found) => Some(found),
                None => return Ok(Err(Unknown::To)),
            },
        };
        let (mut edits, mut known) = (Vec::new(), None);
        if let Some((mut from, grant)) = before {
            let entries = from.records::<Member>("members");
            let entry = entries.live().find(|e| e.record.athlete == self.athlete);
            let Some(entry) = entry else { return Ok(Err(Unknown::NotIn)) };
            known = Some(entry.record.clone());
            let leave = Command::Withdraw(vec![Place::of("members", &entry.key())]);
            edits.extend(applied(&mut from, grant, actor, &leave, now)?);
        }
        if let Some((mut to, grant)) = after
            && let Some(join) = self.join(&to, known)
        {
            edits.extend(applied(&mut to, grant, actor, &join, now)?);
        }
        Ok(Ok(edits))
    }

    /// What makes a member of the athlete; nothing when that is so.
    fn join(&self, to: &Document, known: Option<Member>) -> Option<Command> {
        let entries = to.records::<Member>("members");
        if entries.live().any(|e| e.record.athlete == self.athlete) {
            return None;
        }
        // Who was in it before comes back: one person is one record.
        if let Some(entry) = entries.entries.iter().find(|e| e.record.athlete == self.athlete) {
            return Some(Command::Restore(vec![Place::of("members", &entry.key())]));
        }
        let record = known.unwrap_or_else(|| Member::new(self.athlete, self.name.clone()));
        let place = Place::of("members", &KeyMint::new(secret::random()).mint());
        Some(Command::Add(vec![New { place, record: record.into() }]))
    }
}

/// The document of a squad that the writer may write; none when there is no such squad for the writer.
fn squad(db: &Db, by: &Caller, id: SquadId, now: Moment) -> Result<Option<(Document, MayWrite)>, StoreError> {
    let name = DocName::Squad(id);
    let damaged = |e: &dyn std::fmt::Display| StoreError::Damaged(format!("a squad: {e}"));
    let today = Day::of(now, 0).map_err(|e| damaged(&e))?;
    let Some(subject) = document::subject(db, &name, Some(&by.asker), today)? else { return Ok(None) };
    let Access::Write(_, grant) = grant::on_document(by, name, &subject) else { return Ok(None) };
    let doc = match open(db, &name)? {
        Some(doc) => doc,
        None => Document::create(name).map_err(|e| damaged(&e))?,
    };
    Ok(Some((doc, grant)))
}

/// What a command changes; none when it changes nothing.
fn applied(
    doc: &mut Document,
    grant: MayWrite,
    actor: ActorId,
    command: &Command,
    now: Moment,
) -> Result<Option<Edit>, StoreError> {
    let heads = doc.heads();
    doc.write_as(actor);
    let scene = Scene { now, exercises: None };
    doc.apply(command, &scene).map_err(|e| StoreError::Damaged(format!("a squad cannot be edited: {e}")))?;
    let plain = doc.changes_since(&heads);
    Ok((!plain.is_empty()).then_some(Edit { grant, plain }))
}
