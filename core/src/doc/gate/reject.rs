//! Why bytes were refused: a small closed list of words that also travel over the wire.
//! Names fields, numbers and limits; never a value that a person wrote.

use core::fmt;

use crate::base::id::ChangeHash;

macro_rules! codes {
    ($( $(#[$doc:meta])* $name:ident = $word:literal, $text:literal; )*) => {
        /// The kind of a refusal. The words are part of the exchange and never change.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub enum RejectCode { $( $(#[$doc])* $name, )* }

        impl RejectCode {
            /// All codes.
            pub const ALL: &'static [RejectCode] = &[ $( RejectCode::$name, )* ];

            /// Its word on the wire and in logs.
            #[must_use]
            pub const fn word(self) -> &'static str {
                match self { $( RejectCode::$name => $word, )* }
            }

            /// What it means, for messages.
            #[must_use]
            pub const fn text(self) -> &'static str {
                match self { $( RejectCode::$name => $text, )* }
            }
        }
    };
}

codes! {
    /// The bytes end too early.
    Truncated = "truncated", "the bytes end too early";
    /// No change chunk: other magic, a whole document, a deflated chunk, a bundle.
    NotAChange = "not-a-change", "only plain change chunks are taken";
    /// The checksum does not match the contents.
    Checksum = "checksum", "the checksum does not match";
    /// Not in the one form in which the document library would write it.
    Encoding = "encoding", "not in canonical form";
    /// Bytes after the contents.
    ExtraBytes = "extra-bytes", "bytes after the contents";
    /// A column that maps and values do not need.
    UnknownColumn = "unknown-column", "a column that is not taken";
    /// More bytes than allowed.
    TooLarge = "too-large", "too many bytes";
    /// More changes than allowed in one upload.
    TooManyChanges = "too-many-changes", "too many changes";
    /// More operations than allowed.
    TooManyOps = "too-many-ops", "too many operations";
    /// More predecessors than allowed.
    TooManyPreds = "too-many-preds", "too many predecessors";
    /// More direct ancestors than allowed.
    TooManyDeps = "too-many-deps", "too many direct ancestors";
    /// More actors than allowed.
    TooManyActors = "too-many-actors", "too many actors";
    /// An actor that is not sixteen bytes.
    ActorLength = "actor-length", "an actor has sixteen bytes";
    /// The message is too long.
    Message = "message", "the message is too long";
    /// The time of the change is beyond reason.
    Time = "time", "the time of the change is out of range";
    /// The change would need operation numbers beyond the limit.
    OpNumber = "op-number", "operation numbers are out of range";
    /// An action other than making a map and setting a value.
    Action = "action", "this action is not taken here";
    /// A type of value that is not taken there.
    ValueType = "value-type", "a value of a type that is not taken here";
    /// A value outside its range or over its length.
    ValueRange = "value-range", "a value outside its range";
    /// The actor belongs to an install that may not write this document, or to the starting change.
    ForgedActor = "forged-actor", "the actor may not write this document";
    /// The sequence number is not the next one of its actor.
    Sequence = "sequence", "not the next number of its actor";
    /// The direct ancestors are missing, doubled or leave out the actor's previous change.
    Deps = "deps", "wrong direct ancestors";
    /// The first operation number is not one above its ancestors'.
    StartOp = "start-op", "the first operation number does not follow its ancestors";
    /// An operation in an object that the author cannot know.
    UnknownObject = "unknown-object", "an object that is not there";
    /// A write at the root of the document.
    RootWrite = "root-write", "nothing may be written at the root";
    /// A key that is no record key, or one that is reserved.
    Key = "key", "not a record key";
    /// A second map at one key would hide the first.
    SecondMap = "second-map", "a map exists at this key";
    /// A field that this version does not know; a newer one may.
    UnknownField = "unknown-field", "a field that this version does not know, keep the bytes for a newer one";
    /// The predecessors are not what the author saw.
    Pred = "pred", "the predecessors are not what the author saw";
    /// Too much history to look through.
    TooMuchHistory = "too-much-history", "too much history to look through";
    /// The document or index is not the one against which the upload was checked.
    Stale = "stale", "checked against another state of the document";
    /// The document library failed on the bytes; the document must be dropped.
    Engine = "engine", "the document library failed on it";
    /// After the merge the document does not give back what came in; it must be dropped.
    Unfaithful = "unfaithful", "the merged document does not give the changes back";
    /// A stored part of the index cannot be read.
    IndexDamaged = "index-damaged", "a stored part of the index cannot be read";
    /// The thin form cannot be unpacked.
    Thin = "thin", "the thin form cannot be unpacked";
}

/// A refusal: the whole upload was left out, and the sender keeps its bytes.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{}{}{}", .code.text(), place(.at, ": "), which(.change))]
pub struct Rejected {
    /// Its kind.
    pub code: RejectCode,
    /// Which change of the upload, counted from 0.
    pub change: Option<usize>,
    /// The name of that change, once it could be computed.
    pub hash: Option<ChangeHash>,
    /// Where and by how much, without any value.
    pub at: String,
}

fn place(at: &str, before: &'static str) -> String {
    if at.is_empty() { String::new() } else { format!("{before}{at}") }
}

fn which(change: &Option<usize>) -> String {
    change.map_or_else(String::new, |n| format!(" (change {n} of the upload)"))
}

impl Rejected {
    /// A refusal that is not yet tied to a change.
    #[must_use]
    pub fn new(code: RejectCode, at: impl Into<String>) -> Rejected {
        Rejected { code, change: None, hash: None, at: at.into() }
    }

    /// The same, tied to a change.
    #[must_use]
    pub fn in_change(self, change: usize, hash: Option<ChangeHash>) -> Rejected {
        Rejected { change: self.change.or(Some(change)), hash: self.hash.or(hash), ..self }
    }
}

impl Rejected {
    pub(crate) fn in_hash(self, hash: ChangeHash) -> Rejected {
        Rejected { hash: self.hash.or(Some(hash)), ..self }
    }
}

impl fmt::Display for RejectCode {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.word())
    }
}

impl core::str::FromStr for RejectCode {
    type Err = UnknownCode;
    fn from_str(text: &str) -> Result<RejectCode, UnknownCode> {
        RejectCode::ALL.iter().copied().find(|c| c.word() == text).ok_or(UnknownCode)
    }
}

/// A word that is no refusal of this version.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("not a code of refusal")]
pub struct UnknownCode;

impl RejectCode {
    /// Whether a newer version may take what was rejected: it may know more fields and more values of them.
    #[must_use]
    pub const fn may_pass_later(self) -> bool {
        matches!(self, RejectCode::UnknownField | RejectCode::ValueType | RejectCode::ValueRange)
    }
}

pub(crate) fn over(code: RejectCode, got: impl fmt::Display, max: impl fmt::Display) -> Rejected {
    Rejected::new(code, format!("{got} over the limit of {max}"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_are_distinct_and_read_back() {
        for code in RejectCode::ALL {
            assert_eq!(code.word().parse(), Ok(*code));
            assert!(code.word().bytes().all(|b| b.is_ascii_lowercase() || b == b'-'));
        }
        let mut words: Vec<_> = RejectCode::ALL.iter().map(|c| c.word()).collect();
        words.sort_unstable();
        words.dedup();
        assert_eq!(words.len(), RejectCode::ALL.len());
        assert!("other".parse::<RejectCode>().is_err());
    }

    #[test]
    fn only_what_a_newer_version_may_know_passes_later() {
        let later: Vec<_> =
            RejectCode::ALL.iter().filter(|code| code.may_pass_later()).map(|c| c.word()).collect();
        assert_eq!(later, ["value-type", "value-range", "unknown-field"]);
    }

    #[test]
    fn the_message_names_the_thing_and_the_place() {
        let r = over(RejectCode::TooManyOps, 5_000, 4_096).in_change(3, None);
        assert_eq!(
            r.to_string(),
            "too many operations: 5000 over the limit of 4096 (change 3 of the upload)"
        );
        assert_eq!(Rejected::new(RejectCode::Thin, "").to_string(), "the thin form cannot be unpacked");
    }
}
