//! The bytes of the exchange: CBOR maps with small whole-number keys (RFC 8949), so that a newer
//! side may add a key and an older one skips it. Limits are checked before anything is trusted.

use minicbor::bytes::ByteVec;
use minicbor::{Decode, Encode};

use super::carry::{self, Parcel};
use crate::base::id::ChangeHash;
use crate::doc::gate::RejectCode;
use crate::model::name::DocName;

/// The version that this build speaks.
pub const PROTOCOL: u16 = 1;
/// Most bytes of a request or answer after unpacking.
pub const MAX_BODY: usize = 8 << 20;
/// Most documents of one request.
pub const MAX_DOCS: usize = 4_000;
/// Most heads of one document.
pub const MAX_HEADS: usize = 256;

/// What a device sends.
#[derive(Debug, Clone, PartialEq, Eq, Encode, Decode)]
#[cbor(map)]
pub struct Up {
    /// Protocol version.
    #[n(0)]
    pub protocol: u16,
    /// The server's epoch, as the device last heard it.
    #[n(1)]
    pub epoch: Option<ByteVec>,
    /// The device's local calendar day, `YYYY-MM-DD`: through which day it has been heard. Empty when
    /// its clock is outside the calendar.
    #[n(2)]
    pub local_day: String,
    /// The device's clock, ms.
    #[n(3)]
    pub clock: i64,
    /// Documents that the device has.
    #[n(4)]
    pub docs: Vec<UpDoc>,
    /// The version of the list of people that the device has.
    #[n(5)]
    pub people: u64,
    /// Name and version of the app, for diagnostics.
    #[n(6)]
    pub app: String,
    /// What others wrote and gave to this device to take along.
    #[n(7)]
    pub carried: Option<Vec<Parcel>>,
    /// Whether the device holds more changes than this request takes: its day is not heard yet.
    #[n(8)]
    pub left: Option<bool>,
}

/// One document of a request.
#[derive(Debug, Clone, PartialEq, Eq, Encode, Decode)]
#[cbor(map)]
pub struct UpDoc {
    /// Its name, twenty bytes.
    #[n(0)]
    pub name: ByteVec,
    /// The cursor that the device last got for it; 0 for none.
    #[n(1)]
    pub cursor: u64,
    /// The device's heads; may be left out when nothing is sent and the epoch is thought to be right.
    #[n(2)]
    pub heads: Vec<ByteVec>,
    /// Changes that the server has not acknowledged, packed.
    #[n(3)]
    pub changes: Option<ByteVec>,
}

/// What the server answers, after all of it is durable.
#[derive(Debug, Clone, PartialEq, Eq, Encode, Decode)]
#[cbor(map)]
pub struct Down {
    /// Protocol version.
    #[n(0)]
    pub protocol: u16,
    /// The epoch of the server's store: another one after each restore.
    #[n(1)]
    pub epoch: ByteVec,
    /// Documents: those asked about, and newly granted ones.
    #[n(2)]
    pub docs: Vec<DownDoc>,
    /// Documents that the device has and its person may no longer read.
    #[n(3)]
    pub withdrawn: Vec<ByteVec>,
    /// The people of the club whom this person may know, when the device's list is old.
    #[n(4)]
    pub people: Option<People>,
    /// The answer was cut at its limit: ask again.
    #[n(5)]
    pub more: bool,
    /// The server's clock, ms.
    #[n(6)]
    pub clock: i64,
    /// What became of each parcel that was carried, in the order in which they were sent.
    #[n(7)]
    pub carried: Option<Vec<Outcome>>,
    /// Those of the withdrawn documents that were erased for good, on request of the person whom they
    /// are about; missing for none.
    #[n(8)]
    pub erased: Option<Vec<ByteVec>>,
}

/// What became of one document.
#[derive(Debug, Clone, PartialEq, Eq, Encode, Decode)]
#[cbor(map)]
pub struct DownDoc {
    /// Its name.
    #[n(0)]
    pub name: ByteVec,
    /// What became of the changes sent.
    #[n(1)]
    pub outcome: Outcome,
    /// Changes that the device lacks, packed.
    #[n(2)]
    pub changes: Option<ByteVec>,
    /// The cursor to send next time. Only to be kept together with the changes, in one transaction.
    #[n(3)]
    pub cursor: u64,
    /// The server's heads: every change that they cover is acknowledged under this epoch.
    #[n(4)]
    pub heads: Vec<ByteVec>,
}

/// What became of the changes sent for a document.
#[derive(Debug, Clone, PartialEq, Eq, Encode, Decode)]
pub enum Outcome {
    /// They are durable (or none were sent).
    #[n(0)]
    Accepted,
    /// The server lacks what they build on: send from its heads.
    #[n(1)]
    Need,
    /// Refused whole; the device keeps its bytes.
    #[n(2)]
    Refused(#[n(0)] Refusal),
}

/// The code of a refusal that is the server's fault and passes: it cannot read its own copy until that is mended.
pub const SERVER_DAMAGED: &str = "server-damaged";

/// Why the changes of a document were refused.
#[derive(Debug, Clone, PartialEq, Eq, Encode, Decode)]
#[cbor(map)]
pub struct Refusal {
    /// A stable word.
    #[n(0)]
    pub code: String,
    /// The hash of the change at fault, when it is one.
    #[n(1)]
    pub change: Option<ByteVec>,
    /// What and where, for people.
    #[n(2)]
    pub text: String,
}

impl Refusal {
    /// Whether the same bytes may be taken later: by a server that is newer, or whose own copy was mended.
    #[must_use]
    pub fn may_pass_later(&self) -> bool {
        self.code == SERVER_DAMAGED || self.code.parse().is_ok_and(RejectCode::may_pass_later)
    }
}

/// The people of the club whom a device may know.
#[derive(Debug, Clone, PartialEq, Eq, Encode, Decode)]
#[cbor(map)]
pub struct People {
    /// Version of the list.
    #[n(0)]
    pub version: u64,
    /// The list.
    #[n(1)]
    pub list: Vec<Known>,
}

/// One person of that list.
#[derive(Debug, Clone, PartialEq, Eq, Encode, Decode)]
#[cbor(map)]
pub struct Known {
    /// Identity, sixteen bytes.
    #[n(0)]
    pub person: ByteVec,
    /// Shown name.
    #[n(1)]
    pub name: String,
    /// Role, in words.
    #[n(2)]
    pub role: String,
    /// The person's installs, eight bytes each: whose change is whose.
    #[n(3)]
    pub installs: Vec<ByteVec>,
    /// The last local day through which every install in use was heard; coaches only.
    #[n(4)]
    pub heard_day: Option<String>,
    /// When an install was last heard, server clock, ms; coaches only.
    #[n(5)]
    pub heard_at: Option<i64>,
    /// The public keys of the installs, in their order, 32 bytes each; empty for one without a key.
    #[n(6)]
    pub keys: Option<Vec<ByteVec>>,
}

/// Bytes that are no message of the exchange.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum WireError {
    /// Over the limit.
    #[error("message of {got} bytes is over the limit of {max}")]
    TooLarge {
        /// Most bytes.
        max: usize,
        /// Bytes found.
        got: usize,
    },
    /// Not CBOR, or not this message.
    #[error("not a message of the exchange: {0}")]
    Malformed(String),
    /// Another protocol version.
    #[error("protocol version {0} is not spoken here (this side speaks {PROTOCOL})")]
    Version(u16),
    /// Too many of something.
    #[error("{what}: {got} is over the limit of {max}")]
    TooMany {
        /// Of what.
        what: &'static str,
        /// Most.
        max: usize,
        /// Found.
        got: usize,
    },
    /// A field that is not what it should be.
    #[error("{what} is not well formed")]
    Field {
        /// Which.
        what: &'static str,
    },
}

impl Up {
    /// To bytes.
    #[must_use]
    pub fn to_bytes(&self) -> Vec<u8> {
        to_bytes(self)
    }

    /// From bytes, with every limit and form checked.
    ///
    /// # Errors
    /// What is wrong, and where.
    pub fn from_bytes(bytes: &[u8]) -> Result<Up, WireError> {
        let up: Up = from_bytes(bytes)?;
        if up.protocol != PROTOCOL {
            return Err(WireError::Version(up.protocol));
        }
        limit("documents", up.docs.len(), MAX_DOCS)?;
        limit("app name", up.app.len(), 120)?;
        if up.epoch.as_ref().is_some_and(|e| e.len() != 16) {
            return Err(WireError::Field { what: "epoch" });
        }
        for doc in &up.docs {
            name(&doc.name)?;
            heads(&doc.heads)?;
        }
        carry::parcels(up.carried.as_deref().unwrap_or_default())?;
        Ok(up)
    }
}

impl Down {
    /// To bytes.
    #[must_use]
    pub fn to_bytes(&self) -> Vec<u8> {
        to_bytes(self)
    }

    /// From bytes, with every limit and form checked.
    ///
    /// # Errors
    /// What is wrong, and where.
    pub fn from_bytes(bytes: &[u8]) -> Result<Down, WireError> {
        let down: Down = from_bytes(bytes)?;
        if down.protocol != PROTOCOL {
            return Err(WireError::Version(down.protocol));
        }
        if down.epoch.len() != 16 {
            return Err(WireError::Field { what: "epoch" });
        }
        for doc in &down.docs {
            name(&doc.name)?;
            heads(&doc.heads)?;
        }
        down.withdrawn.iter().try_for_each(|n| name(n).map(drop))?;
        down.erased.iter().flatten().try_for_each(|n| name(n).map(drop))?;
        Ok(down)
    }
}

/// The document that twenty bytes name.
///
/// # Errors
/// When they name none.
pub fn name(bytes: &[u8]) -> Result<DocName, WireError> {
    DocName::from_bytes(bytes).map_err(|_| WireError::Field { what: "document name" })
}

/// Heads of a document.
///
/// # Errors
/// When there are too many or one has not 32 bytes.
pub fn heads(list: &[ByteVec]) -> Result<Vec<ChangeHash>, WireError> {
    limit("heads", list.len(), MAX_HEADS)?;
    let read = |h: &ByteVec| {
        <[u8; 32]>::try_from(h.as_slice()).map(ChangeHash).map_err(|_| WireError::Field { what: "head" })
    };
    list.iter().map(read).collect()
}

/// Heads in the form of the wire.
#[must_use]
pub fn heads_out(heads: &[ChangeHash]) -> Vec<ByteVec> {
    heads.iter().map(|h| ByteVec::from(h.0.to_vec())).collect()
}

fn limit(what: &'static str, got: usize, max: usize) -> Result<(), WireError> {
    if got > max { Err(WireError::TooMany { what, max, got }) } else { Ok(()) }
}

fn to_bytes<T: Encode<()>>(value: &T) -> Vec<u8> {
    // Writing to a Vec cannot fail; the empty fallback is refused by every reader.
    minicbor::to_vec(value).unwrap_or_default()
}

pub(super) fn from_bytes<'b, T: Decode<'b, ()>>(bytes: &'b [u8]) -> Result<T, WireError> {
    if bytes.len() > MAX_BODY {
        return Err(WireError::TooLarge { max: MAX_BODY, got: bytes.len() });
    }
    let mut decoder = minicbor::Decoder::new(bytes);
    let value = decoder.decode().map_err(|e| WireError::Malformed(e.to_string()))?;
    if decoder.position() != bytes.len() {
        return Err(WireError::Malformed("bytes after the end".to_owned()));
    }
    Ok(value)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use uuid::Uuid;

    fn sample() -> Up {
        let name = DocName::Care(crate::base::id::PersonId(Uuid::from_u128(5)));
        Up {
            protocol: PROTOCOL,
            epoch: Some(ByteVec::from(vec![7; 16])),
            local_day: "2026-11-25".into(),
            clock: 1_764_000_000_000,
            docs: vec![UpDoc {
                name: ByteVec::from(name.to_bytes().to_vec()),
                cursor: 3,
                heads: vec![ByteVec::from(vec![1; 32])],
                changes: None,
            }],
            people: 2,
            app: "test".into(),
            carried: None,
            left: None,
        }
    }

    #[test]
    fn a_request_reads_back() {
        assert_eq!(Up::from_bytes(&sample().to_bytes()).unwrap(), sample());
    }

    #[test]
    fn every_limit_has_two_sides() {
        let mut up = sample();
        up.docs = vec![up.docs.first().unwrap().clone(); MAX_DOCS];
        assert!(Up::from_bytes(&up.to_bytes()).is_ok());
        up.docs.push(sample().docs.remove(0));
        assert_eq!(
            Up::from_bytes(&up.to_bytes()),
            Err(WireError::TooMany { what: "documents", max: MAX_DOCS, got: MAX_DOCS + 1 })
        );
        let mut up = sample();
        up.docs.first_mut().unwrap().heads = vec![ByteVec::from(vec![1; 32]); MAX_HEADS + 1];
        assert!(matches!(Up::from_bytes(&up.to_bytes()), Err(WireError::TooMany { what: "heads", .. })));
        let mut up = sample();
        up.protocol = 2;
        assert_eq!(Up::from_bytes(&up.to_bytes()), Err(WireError::Version(2)));
        let mut up = sample();
        up.epoch = Some(ByteVec::from(vec![1; 15]));
        assert_eq!(Up::from_bytes(&up.to_bytes()), Err(WireError::Field { what: "epoch" }));
        let mut long = sample().to_bytes();
        long.push(0);
        assert!(matches!(Up::from_bytes(&long), Err(WireError::Malformed(_))));
        assert!(matches!(Up::from_bytes(&vec![0; MAX_BODY + 1]), Err(WireError::TooLarge { .. })));
    }

    fn answer() -> Down {
        let name = sample().docs.remove(0).name;
        let refusal = Refusal { code: "sequence".into(), change: None, text: "7 after 5".into() };
        let doc = |outcome| DownDoc {
            name: name.clone(),
            outcome,
            changes: None,
            cursor: 9,
            heads: heads_out(&[ChangeHash([1; 32]), ChangeHash([2; 32])]),
        };
        Down {
            protocol: PROTOCOL,
            epoch: ByteVec::from(vec![7; 16]),
            docs: vec![doc(Outcome::Accepted), doc(Outcome::Need), doc(Outcome::Refused(refusal))],
            withdrawn: vec![name.clone()],
            people: None,
            more: true,
            clock: 5,
            carried: None,
            erased: Some(vec![name.clone()]),
        }
    }

    #[test]
    fn an_answer_reads_back_and_its_form_is_checked() {
        let read = |down: &Down| Down::from_bytes(&down.to_bytes());
        assert_eq!(read(&answer()), Ok(answer()));
        let heads_of_one = answer().docs.first().map(|doc| heads(&doc.heads));
        assert_eq!(heads_of_one, Some(Ok(vec![ChangeHash([1; 32]), ChangeHash([2; 32])])));
        assert_eq!(read(&Down { protocol: 2, ..answer() }), Err(WireError::Version(2)));
        for bytes in [15, 17] {
            let odd = Down { epoch: ByteVec::from(vec![7; bytes]), ..answer() };
            assert_eq!(read(&odd), Err(WireError::Field { what: "epoch" }));
        }
    }

    #[test]
    fn the_largest_body_is_taken_and_one_byte_more_is_not() {
        let sized = |n: usize| {
            let mut up = sample();
            up.docs.first_mut().unwrap().changes = Some(ByteVec::from(vec![0; n]));
            up.to_bytes()
        };
        let beside = sized(MAX_BODY / 2).len() - MAX_BODY / 2;
        let most = sized(MAX_BODY - beside);
        assert_eq!(most.len(), MAX_BODY);
        assert!(Up::from_bytes(&most).is_ok());
        let more = Up::from_bytes(&sized(MAX_BODY - beside + 1));
        assert_eq!(more, Err(WireError::TooLarge { max: MAX_BODY, got: MAX_BODY + 1 }));
    }

    #[test]
    fn every_cut_is_refused() {
        let bytes = sample().to_bytes();
        for n in 0..bytes.len() {
            assert!(Up::from_bytes(bytes.get(..n).unwrap()).is_err(), "{n}");
        }
    }

    proptest! {
        #[test]
        fn any_bytes_are_read_or_refused(b in proptest::collection::vec(any::<u8>(), 0..300)) {
            let _ = Up::from_bytes(&b);
            let _ = Down::from_bytes(&b);
        }

        #[test]
        fn flipped_bytes_are_read_or_refused(at in 0usize..150, bit in 0u8..8) {
            let mut b = sample().to_bytes();
            let at = at % b.len();
            if let Some(x) = b.get_mut(at) { *x ^= 1 << bit; }
            let _ = Up::from_bytes(&b);
        }
    }
}
