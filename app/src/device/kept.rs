//! Entries of the browser's storage: one key and one value each, so that a batch is a list of puts and
//! removals in one transaction. Says how a key reads; knows no document's content.

use backstraight_core::base::hex::hex;
use backstraight_core::model::name::DocName;

/// One change of the storage: a value to put, or none to remove.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Write {
    /// Where.
    pub key: String,
    /// What; `None` removes.
    pub value: Option<Vec<u8>>,
}

impl Write {
    /// Puts a value.
    #[must_use]
    pub fn put(key: String, value: Vec<u8>) -> Write {
        Write { key, value: Some(value) }
    }

    /// Removes a value.
    #[must_use]
    pub const fn remove(key: String) -> Write {
        Write { key, value: None }
    }
}

/// What a key stands for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Slot {
    /// What is known of a document besides its bytes.
    Row(DocName),
    /// A document's saved form.
    Saved(DocName),
    /// One chunk of changes beyond it; numbers grow.
    Chunk(DocName, u32),
    /// A refusal that stands.
    Refused(DocName),
    /// A parcel that is carried for others.
    Parcel(u32),
    /// A piece that could not be read, kept as it was.
    Aside(u32),
    /// One of the few facts about the install.
    Fact(String),
}

/// The fact that is the server's epoch.
pub const EPOCH: &str = "epoch";
/// The fact that is the list of people.
pub const PEOPLE: &str = "people";
/// The fact that says who this install is.
pub const IDENTITY: &str = "identity";

fn unhex(text: &str) -> Option<DocName> {
    let bytes: Option<Vec<u8>> =
        (0..text.len()).step_by(2).map(|i| u8::from_str_radix(text.get(i..i + 2)?, 16).ok()).collect();
    DocName::from_bytes(&bytes?).ok()
}

impl Slot {
    /// The key.
    #[must_use]
    pub fn key(&self) -> String {
        match self {
            Slot::Row(name) => format!("row/{}", hex(name.to_bytes().as_slice())),
            Slot::Saved(name) => format!("saved/{}", hex(name.to_bytes().as_slice())),
            Slot::Chunk(name, n) => format!("chunk/{}/{n:08x}", hex(name.to_bytes().as_slice())),
            Slot::Refused(name) => format!("refused/{}", hex(name.to_bytes().as_slice())),
            Slot::Parcel(n) => format!("parcel/{n:08x}"),
            Slot::Aside(n) => format!("aside/{n:08x}"),
            Slot::Fact(what) => format!("fact/{what}"),
        }
    }

    /// The slot of a key; none when it is of another version's making.
    #[must_use]
    pub fn of(key: &str) -> Option<Slot> {
        let (kind, rest) = key.split_once('/')?;
        let number = |text: &str| u32::from_str_radix(text, 16).ok();
        Some(match kind {
            "row" => Slot::Row(unhex(rest)?),
            "saved" => Slot::Saved(unhex(rest)?),
            "chunk" => {
                let (name, n) = rest.split_once('/')?;
                Slot::Chunk(unhex(name)?, number(n)?)
            }
            "refused" => Slot::Refused(unhex(rest)?),
            "parcel" => Slot::Parcel(number(rest)?),
            "aside" => Slot::Aside(number(rest)?),
            "fact" => Slot::Fact(rest.to_owned()),
            _ => return None,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use backstraight_core::base::id::ClubId;

    #[test]
    fn a_slot_survives_its_key_and_chunks_sort_as_they_were_written() {
        let name = DocName::Library(ClubId("018f0000-0000-7000-8000-000000000001".parse().unwrap()));
        let slots = [
            Slot::Row(name),
            Slot::Saved(name),
            Slot::Chunk(name, 9),
            Slot::Chunk(name, 0x10),
            Slot::Refused(name),
            Slot::Parcel(3),
            Slot::Aside(4),
            Slot::Fact(EPOCH.to_owned()),
        ];
        for slot in &slots {
            assert_eq!(Slot::of(&slot.key()).as_ref(), Some(slot));
        }
        assert!(Slot::Chunk(name, 9).key() < Slot::Chunk(name, 0x10).key());
        for odd in ["", "row", "row/zz", "row/0g", "chunk/aa", "later/1"] {
            assert_eq!(Slot::of(odd), None, "{odd}");
        }
    }
}
