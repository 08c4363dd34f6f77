//! Carry files: changes that were not yet with the server, signed, in a file that another person's
//! device can take there. Makes and reads bytes; knows no disk, no key and nobody's rights.
//!
//! A file is eight bytes of magic, one of version, the SHA-256 of the rest, and a CBOR map (RFC 8949).

use minicbor::bytes::ByteVec;
use minicbor::{Decode, Encode};
use sha2::{Digest as _, Sha256};

use super::signed::{MAX_SIGNATURES, Signature};
use super::wire::{self, MAX_BODY, MAX_DOCS, WireError};
use crate::doc::gate::limits;
use crate::doc::gate::reject::Rejected;
use crate::doc::thin::{self, ThinLimits};
use crate::model::name::DocName;

/// What a carry file begins with. The first byte is no text, the last two notice a careless copy.
pub const MAGIC: [u8; 8] = *b"\x93carry\r\n";
/// The version that this build writes and reads.
pub const VERSION: u8 = 1;
/// Bytes before the CBOR map.
const HEAD: usize = MAGIC.len() + 1 + 32;
/// Most bytes that all changes of one file or request come to when unpacked.
pub const MAX_PLAIN: usize = 4 * limits::UPLOAD_BYTES;

/// Changes of one document with their signatures: the same in a file and in an exchange.
#[derive(Debug, Clone, PartialEq, Eq, Encode, Decode)]
#[cbor(map)]
pub struct Parcel {
    /// The document's name, twenty bytes.
    #[n(0)]
    pub name: ByteVec,
    /// The heads that the document had where the parcel was made.
    #[n(1)]
    pub heads: Vec<ByteVec>,
    /// The changes, packed.
    #[n(2)]
    pub changes: ByteVec,
    /// One signature for each start of an install whose changes they are.
    #[n(3)]
    pub signatures: Vec<Signature>,
}

#[derive(Encode, Decode)]
#[cbor(map)]
struct Body {
    #[n(0)]
    parcels: Vec<Parcel>,
}

/// Why bytes are no carry file that is read here.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum CarryError {
    /// Other bytes.
    #[error("this is no carry file")]
    NotOne,
    /// A newer one.
    #[error("the carry file is of version {0}, this app reads version {VERSION}")]
    Version(u8),
    /// The checksum does not match.
    #[error("the carry file is damaged: have it written again")]
    Checksum,
    /// Not the form that it should have, or over a limit.
    #[error(transparent)]
    Wire(#[from] WireError),
}

impl CarryError {
    /// A stable word.
    #[must_use]
    pub const fn code(&self) -> &'static str {
        match self {
            CarryError::NotOne => "not-a-carry-file",
            CarryError::Version(_) => "carry-version",
            CarryError::Checksum => "carry-checksum",
            CarryError::Wire(WireError::TooLarge { .. }) => "too-large",
            CarryError::Wire(WireError::TooMany { .. }) => "too-many",
            CarryError::Wire(_) => "malformed",
        }
    }
}

impl Parcel {
    /// The document.
    ///
    /// # Errors
    /// When the name names none.
    pub fn document(&self) -> Result<DocName, WireError> {
        wire::name(&self.name)
    }

    /// Checks the form of everything but the changes.
    ///
    /// # Errors
    /// What is wrong.
    pub fn form(&self) -> Result<(), WireError> {
        self.document()?;
        wire::heads(&self.heads)?;
        let got = self.signatures.len();
        if got > MAX_SIGNATURES {
            return Err(WireError::TooMany { what: "signatures", max: MAX_SIGNATURES, got });
        }
        Ok(())
    }

    /// The changes, unpacked. Takes what they come to from `room`, which bounds a whole file.
    ///
    /// # Errors
    /// When they cannot be unpacked or there is no more room.
    pub fn plain(&self, room: &mut usize) -> Result<Vec<u8>, Rejected> {
        let most = limits::UPLOAD_BYTES.min(*room);
        let plain = thin::unpack(&self.changes, ThinLimits { bytes: most, changes: limits::UPLOAD_CHANGES })?;
        *room = room.saturating_sub(plain.len());
        Ok(plain)
    }
}

/// Writes a carry file.
#[must_use]
pub fn write(parcels: Vec<Parcel>) -> Vec<u8> {
    // Writing to a Vec cannot fail; an empty body is refused by every reader.
    let body = minicbor::to_vec(Body { parcels }).unwrap_or_default();
    let mut out = Vec::with_capacity(HEAD + body.len());
    out.extend_from_slice(&MAGIC);
    out.push(VERSION);
    out.extend_from_slice(&Sha256::digest(&body));
    out.extend_from_slice(&body);
    out
}

/// Reads a carry file, with every limit and form checked. The checksum tells damage, not forgery:
/// whose changes these are is told by their signatures alone.
///
/// # Errors
/// What is wrong with it.
pub fn read(bytes: &[u8]) -> Result<Vec<Parcel>, CarryError> {
    let rest = bytes.strip_prefix(&MAGIC).ok_or(CarryError::NotOne)?;
    let (version, rest) = rest.split_first().ok_or(CarryError::NotOne)?;
    if *version != VERSION {
        return Err(CarryError::Version(*version));
    }
    let (sum, body) = rest.split_at_checked(32).ok_or(CarryError::Checksum)?;
    if body.len() > MAX_BODY {
        return Err(WireError::TooLarge { max: MAX_BODY, got: body.len() }.into());
    }
    if Sha256::digest(body).as_slice() != sum {
        return Err(CarryError::Checksum);
    }
    let body: Body = wire::from_bytes(body)?;
    parcels(&body.parcels)?;
    Ok(body.parcels)
}

/// Checks the form of parcels, as they stand in a file or a request.
///
/// # Errors
/// What is wrong, and where.
pub fn parcels(list: &[Parcel]) -> Result<(), WireError> {
    let got = list.len();
    if got > MAX_DOCS {
        return Err(WireError::TooMany { what: "parcels", max: MAX_DOCS, got });
    }
    list.iter().try_for_each(Parcel::form)
}
