//! The device's side of the exchange, without I/O: from what the store knows to a request, and
//! from an answer to steps that the store carries out. A step is carried out (changes merged by way
//! of the gate, bytes and cursor stored in one transaction) before anything is called received.

use minicbor::bytes::ByteVec;

use super::wire::{self, Down, Known, MAX_BODY, Outcome, PROTOCOL, Refusal, Up, UpDoc, WireError};
use crate::base::day::Day;
use crate::base::id::ChangeHash;
use crate::base::moment::Moment;
use crate::doc::chunk;
use crate::doc::gate::limits;
use crate::doc::thin::{self, ThinLimits};
use crate::model::name::DocName;

/// What the store knows about the server and itself.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Standing {
    /// The server's epoch, as last heard.
    pub epoch: Option<[u8; 16]>,
    /// Version of the list of people.
    pub people: u64,
    /// The device's local day; none when its clock is outside the calendar.
    pub local_day: Option<Day>,
    /// The device's clock.
    pub clock: Moment,
    /// Name and version of the app.
    pub app: String,
}

/// What the store knows about one document.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Card {
    /// Which.
    pub name: DocName,
    /// The cursor last stored with it; 0 for none.
    pub cursor: u64,
    /// Its heads on this device.
    pub heads: Vec<ChangeHash>,
    /// Change chunks that the server has not acknowledged under the present epoch.
    pub unsent: Vec<u8>,
    /// Whether the server asked for heads (or the device is not sure of the server).
    pub tell_heads: bool,
}

/// How many bytes of changes one request carries at most; the rest goes with the next.
pub const MAX_SEND: usize = MAX_BODY / 2;

/// How many changes of one document a request carries at most.
pub const MAX_SEND_CHANGES: usize = limits::UPLOAD_CHANGES;

/// A request, and which documents' changes found no more room in it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Composed {
    /// The request.
    pub up: Up,
    /// Documents whose unsent changes wait for the next request.
    pub left: Vec<DocName>,
}

/// Builds a request. Documents with unsent changes come first, the smallest first, so that a short
/// window sends as many as it can.
#[must_use]
pub fn compose(standing: &Standing, mut cards: Vec<Card>) -> Composed {
    cards.sort_by_key(|c| (c.unsent.is_empty(), c.unsent.len(), c.name));
    let mut room = MAX_SEND;
    let mut left = Vec::new();
    let full = |c: &Card| chunk::split(&c.unsent).is_ok_and(|chunks| chunks.len() >= MAX_SEND_CHANGES);
    let cut = cards.iter().any(full);
    let docs = cards
        .into_iter()
        .map(|card| {
            // The first always goes, however large: the server's limits decide then.
            let fits = card.unsent.len() <= room || room == MAX_SEND;
            let sends = !card.unsent.is_empty() && fits;
            if sends {
                room = room.saturating_sub(card.unsent.len());
            } else if !card.unsent.is_empty() {
                left.push(card.name);
            }
            UpDoc {
                name: ByteVec::from(card.name.to_bytes().to_vec()),
                cursor: card.cursor,
                heads: if card.tell_heads || sends { wire::heads_out(&card.heads) } else { Vec::new() },
                changes: sends.then(|| ByteVec::from(thin::pack(&card.unsent))),
            }
        })
        .collect();
    Composed {
        up: Up {
            protocol: PROTOCOL,
            epoch: standing.epoch.map(|e| ByteVec::from(e.to_vec())),
            local_day: standing.local_day.map(|day| day.to_string()).unwrap_or_default(),
            clock: standing.clock.0,
            docs,
            people: standing.people,
            app: standing.app.clone(),
            carried: None,
            left: (cut || !left.is_empty()).then_some(true),
        },
        left,
    }
}

/// What an answer asks the store to do, in order.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Step {
    /// The server's store was restored or replaced: forget every cursor and every acknowledgement
    /// before the other steps.
    NewEpoch([u8; 16]),
    /// Merge these changes (possibly none) by way of the gate; then store them, the cursor and the
    /// server's heads in one transaction.
    Take {
        /// Which document; made from its starting change when not there yet.
        name: DocName,
        /// Plain change chunks.
        changes: Vec<u8>,
        /// The cursor to store.
        cursor: u64,
        /// What the server has: it acknowledges every change that these cover.
        server_heads: Vec<ChangeHash>,
        /// The server lacks what the sent changes build on: send again from its heads.
        send_again: bool,
    },
    /// The sent changes of a document were refused; keep them.
    Refused {
        /// Which document.
        name: DocName,
        /// Why.
        refusal: Refusal,
    },
    /// The person may no longer read it: put it away, after unsent changes were exported.
    Withdrawn(DocName),
    /// It was erased on request of the person whom it is about: its bytes go here too, whatever was
    /// not sent.
    Erased(DocName),
    /// The list of people is new.
    People {
        /// Its version.
        version: u64,
        /// The list.
        list: Vec<Known>,
    },
}

/// An answer, understood.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Heard {
    /// What to do, in order.
    pub steps: Vec<Step>,
    /// The answer was cut at its limit: ask again.
    pub more: bool,
    /// How far the device's clock is ahead of the server's, ms.
    pub clock_ahead: i64,
}

/// Reads an answer.
///
/// # Errors
/// When it is malformed; nothing may be carried out then.
pub fn read(down: &Down, standing: &Standing) -> Result<Heard, WireError> {
    let epoch =
        <[u8; 16]>::try_from(down.epoch.as_slice()).map_err(|_| WireError::Field { what: "epoch" })?;
    let mut steps = Vec::new();
    if standing.epoch != Some(epoch) {
        steps.push(Step::NewEpoch(epoch));
    }
    for doc in &down.docs {
        let name = wire::name(&doc.name)?;
        let changes = match &doc.changes {
            None => Vec::new(),
            Some(packed) => thin::unpack(packed, ThinLimits { bytes: MAX_BODY, changes: usize::MAX })
                .map_err(|r| WireError::Malformed(r.to_string()))?,
        };
        if let Outcome::Refused(refusal) = &doc.outcome {
            steps.push(Step::Refused { name, refusal: refusal.clone() });
            // A refusal without heads tells nothing about what the server has.
            if doc.heads.is_empty() {
                continue;
            }
        }
        steps.push(Step::Take {
            name,
            changes,
            cursor: doc.cursor,
            server_heads: wire::heads(&doc.heads)?,
            send_again: doc.outcome == Outcome::Need,
        });
    }
    let erased: &[ByteVec] = down.erased.as_deref().unwrap_or_default();
    for gone in down.withdrawn.iter().filter(|n| !erased.contains(n)) {
        steps.push(Step::Withdrawn(wire::name(gone)?));
    }
    for gone in erased {
        steps.push(Step::Erased(wire::name(gone)?));
    }
    if let Some(people) = &down.people {
        steps.push(Step::People { version: people.version, list: people.list.clone() });
    }
    Ok(Heard { steps, more: down.more, clock_ahead: standing.clock.0.saturating_sub(down.clock) })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::id::PersonId;
    use crate::doc::genesis;
    use crate::exchange::wire::{DownDoc, People};
    use crate::model::name::Kind;
    use uuid::Uuid;

    fn name(n: u128) -> DocName {
        DocName::Care(PersonId(Uuid::from_u128(n)))
    }

    fn standing() -> Standing {
        Standing {
            epoch: Some([7; 16]),
            people: 3,
            local_day: Day::new(2026, 11, 25).ok(),
            clock: Moment(5_000),
            app: "test".to_owned(),
        }
    }

    fn card(n: u128, unsent: Vec<u8>) -> Card {
        Card { name: name(n), cursor: 4, heads: vec![ChangeHash([1; 32])], unsent, tell_heads: false }
    }

    /// Documents with whether changes and heads are told, what had no room, and whether more is left.
    type Told = (Vec<(DocName, bool, bool)>, Vec<DocName>, Option<bool>);

    /// Which documents of a request carry changes, which tell heads, and which had no more room.
    fn told(cards: Vec<Card>) -> Told {
        let Composed { up, left } = compose(&standing(), cards);
        let docs = up.docs.iter().map(|doc| {
            let name = wire::name(&doc.name).unwrap();
            (name, doc.changes.is_some(), !doc.heads.is_empty())
        });
        (docs.collect(), left, up.left)
    }

    #[test]
    fn the_smallest_goes_first_and_what_has_no_room_waits() {
        let cards = |large| vec![card(1, Vec::new()), card(2, vec![0; large]), card(3, vec![0; 10])];
        let sent = |second| vec![(name(3), true, true), (name(2), second, second), (name(1), false, false)];
        assert_eq!(told(cards(MAX_SEND - 10)), (sent(true), vec![], None), "they fill the room");
        assert_eq!(told(cards(MAX_SEND - 9)), (sent(false), vec![name(2)], Some(true)));
        // Alone it goes however large it is: what is too large is the server's to say.
        let alone = told(vec![card(2, vec![0; MAX_SEND + 1])]);
        assert_eq!(alone, (vec![(name(2), true, true)], vec![], None));
        // Heads are told where the server asked, sent or not.
        let asked = Card { tell_heads: true, ..card(1, Vec::new()) };
        assert_eq!(told(vec![asked]), (vec![(name(1), false, true)], vec![], None));
        assert_eq!(told(vec![card(1, Vec::new())]), (vec![(name(1), false, false)], vec![], None));
    }

    #[test]
    fn a_document_with_as_many_changes_as_go_at_once_may_have_more() {
        let with = |n: usize| told(vec![card(1, genesis::bytes(Kind::Care).repeat(n))]).2;
        assert_eq!(with(MAX_SEND_CHANGES), Some(true), "the day is not heard yet");
        assert_eq!(with(MAX_SEND_CHANGES - 1), None);
    }

    fn bytes(name: DocName) -> ByteVec {
        ByteVec::from(name.to_bytes().to_vec())
    }

    fn doc(n: u128, outcome: Outcome, heads: &[ChangeHash], changes: Option<&[u8]>) -> DownDoc {
        let changes = changes.map(|plain| ByteVec::from(thin::pack(plain)));
        DownDoc { name: bytes(name(n)), outcome, changes, cursor: 9, heads: wire::heads_out(heads) }
    }

    fn down(docs: Vec<DownDoc>) -> Down {
        Down {
            protocol: PROTOCOL,
            epoch: ByteVec::from(vec![7; 16]),
            docs,
            withdrawn: Vec::new(),
            people: None,
            more: false,
            clock: 4_000,
            carried: None,
            erased: None,
        }
    }

    #[test]
    fn an_answer_becomes_steps_in_order() {
        let heads = [ChangeHash([2; 32])];
        let refusal = Refusal { code: "sequence".into(), change: None, text: String::new() };
        let refused = || Outcome::Refused(refusal.clone());
        let plain = genesis::bytes(Kind::Care);
        let answer = Down {
            withdrawn: vec![bytes(name(6)), bytes(name(7))],
            erased: Some(vec![bytes(name(7))]),
            people: Some(People { version: 8, list: Vec::new() }),
            more: true,
            ..down(vec![
                doc(1, Outcome::Accepted, &heads, Some(plain)),
                doc(2, Outcome::Need, &heads, None),
                doc(3, refused(), &heads, None),
                doc(4, refused(), &[], None),
            ])
        };
        let heard = read(&answer, &standing()).unwrap();
        let take = |n, changes: &[u8], send_again| Step::Take {
            name: name(n),
            changes: changes.to_vec(),
            cursor: 9,
            server_heads: heads.to_vec(),
            send_again,
        };
        let no = |n| Step::Refused { name: name(n), refusal: refusal.clone() };
        let people = Step::People { version: 8, list: Vec::new() };
        assert_eq!(
            heard.steps,
            [
                take(1, plain, false),
                take(2, &[], true),
                no(3),
                take(3, &[], false),
                // A refusal without heads tells nothing about what the server has.
                no(4),
                Step::Withdrawn(name(6)),
                // What was erased is not put away as well.
                Step::Erased(name(7)),
                people,
            ]
        );
        assert_eq!((heard.more, heard.clock_ahead), (true, 1_000));
    }

    #[test]
    fn another_epoch_comes_before_everything_else() {
        let heard = |epoch| read(&down(Vec::new()), &Standing { epoch, ..standing() }).unwrap().steps;
        assert_eq!(heard(Some([7; 16])), Vec::new());
        for before in [None, Some([6; 16])] {
            assert_eq!(heard(before), [Step::NewEpoch([7; 16])]);
        }
        let odd = Down { epoch: ByteVec::from(vec![7; 15]), ..down(Vec::new()) };
        assert_eq!(read(&odd, &standing()), Err(WireError::Field { what: "epoch" }));
    }
}
