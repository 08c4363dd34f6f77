//! Where a device keeps its documents: what a phone's database and a page's storage have in common.
//! A call that changes something and returned has either been made durable or is known to the shell
//! as not yet so; core says "saved" to nobody.

use crate::base::id::ChangeHash;
use crate::doc::open::Document;
use crate::exchange::carry::Parcel;
use crate::exchange::wire::{Known, Refusal};
use crate::model::name::DocName;

use super::error::DeviceError;

/// What a shelf knows of a document besides its bytes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DocRow {
    /// Which.
    pub name: DocName,
    /// The cursor last stored.
    pub cursor: u64,
    /// Its heads here.
    pub heads: Vec<ChangeHash>,
    /// The server's heads as last heard under the present epoch: all they cover is acknowledged.
    pub server_heads: Vec<ChangeHash>,
    /// Whether the server was heard of about this document under the present epoch.
    pub agreed: bool,
    /// Whether the server asked to be told the heads.
    pub tell_heads: bool,
    /// Whether the right to read it was withdrawn; kept, no longer exchanged.
    pub withdrawn: bool,
}

/// A refusal that the server gave; the refused changes stay in the document.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RefusedRow {
    /// Which document.
    pub name: DocName,
    /// Why.
    pub refusal: Refusal,
}

/// One parcel that is carried for others.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CarriedRow {
    /// Its number here.
    pub id: i64,
    /// What is carried.
    pub parcel: Parcel,
    /// Why the server did not take it, when it said so. It is kept. What a newer server may take is sent again, once
    /// after each start of the app; else it is not sent again by itself.
    pub refused: Option<Refusal>,
}

/// What of a parcel is shown here: its fresh chunks, and the heads of the document with them.
pub type Fresh<'a> = Option<(&'a [u8], &'a [ChangeHash])>;

/// The shelf. Each call is carried out whole or not at all.
pub trait Shelf {
    /// What went wrong, in the shell's own kinds.
    type Error: From<DeviceError>;

    /// Every document, by name.
    ///
    /// # Errors
    /// When the shelf cannot be read.
    fn docs(&self) -> Result<Vec<DocRow>, Self::Error>;

    /// One document's row.
    ///
    /// # Errors
    /// When the shelf cannot be read.
    fn doc(&self, name: &DocName) -> Result<Option<DocRow>, Self::Error>;

    /// A document's bytes: its saved form (its fixed starting change until there is one), then its
    /// change chunks, in one buffer.
    ///
    /// # Errors
    /// When the shelf cannot be read.
    fn bytes(&self, name: &DocName) -> Result<Option<Vec<u8>>, Self::Error>;

    /// Appends a change that was made here; the document is made when it is not there yet.
    ///
    /// # Errors
    /// When it cannot be stored.
    fn append(&mut self, name: &DocName, chunk: &[u8], heads: &[ChangeHash]) -> Result<(), Self::Error>;

    /// Stores what an exchange brought for a document: changes, cursor and the server's heads, all or
    /// nothing. A refusal of the document ends with it.
    ///
    /// # Errors
    /// When it cannot be stored.
    fn take(&mut self, row: &DocRow, chunks: &[u8]) -> Result<(), Self::Error>;

    /// Puts a document away that may no longer be read; whether it was here and not put away yet. Its
    /// bytes stay, and a refusal of changes of it stands.
    ///
    /// # Errors
    /// When it cannot be stored.
    fn withdraw(&mut self, name: &DocName) -> Result<bool, Self::Error>;

    /// Takes a document out with every byte of it; whether it was here.
    ///
    /// # Errors
    /// When it cannot be stored.
    fn erase(&mut self, name: &DocName) -> Result<bool, Self::Error>;

    /// Makes sure that nothing of what was erased is left in the shelf's own traces.
    ///
    /// # Errors
    /// When it cannot be done.
    fn forget(&mut self) -> Result<(), Self::Error>;

    /// Puts a saved form in place of the chunks that it covers.
    ///
    /// # Errors
    /// When it cannot be stored; the chunks are then still there.
    fn compact(&mut self, name: &DocName, saved: &[u8]) -> Result<(), Self::Error>;

    /// Sets the bytes of a document that cannot be opened aside, within the shelf, and goes on with
    /// the longest run of changes that can; the rest comes back from the server.
    ///
    /// # Errors
    /// When it cannot be stored; everything is then as it was.
    fn rescue(&mut self, name: &DocName) -> Result<Document, Self::Error>;

    /// Sets the bytes of a document aside, within the shelf, and goes on with `saved` and that row. A refusal of the
    /// document ends with it.
    ///
    /// # Errors
    /// When it cannot be stored; everything is then as it was.
    fn set_aside(&mut self, row: &DocRow, saved: &[u8]) -> Result<(), Self::Error>;

    /// How many chunks a document has beyond its saved form.
    ///
    /// # Errors
    /// When the shelf cannot be read.
    fn chunk_count(&self, name: &DocName) -> Result<u64, Self::Error>;

    /// Documents with more than so many bytes beyond their saved form.
    ///
    /// # Errors
    /// When the shelf cannot be read.
    fn looser_than(&self, bytes: i64) -> Result<Vec<DocName>, Self::Error>;

    /// Remembers a refusal, for the person to see.
    ///
    /// # Errors
    /// When it cannot be stored.
    fn note_refusal(&mut self, name: &DocName, refusal: &Refusal) -> Result<(), Self::Error>;

    /// Refusals that stand.
    ///
    /// # Errors
    /// When the shelf cannot be read.
    fn refusals(&self) -> Result<Vec<RefusedRow>, Self::Error>;

    /// The epoch of the server's store, as last heard.
    ///
    /// # Errors
    /// When the shelf cannot be read.
    fn epoch(&self) -> Result<Option<[u8; 16]>, Self::Error>;

    /// A new epoch: every cursor and every acknowledgement is forgotten with it.
    ///
    /// # Errors
    /// When it cannot be stored.
    fn new_epoch(&mut self, epoch: [u8; 16]) -> Result<(), Self::Error>;

    /// The list of people as last heard, and its version.
    ///
    /// # Errors
    /// When the shelf cannot be read.
    fn people(&self) -> Result<(u64, Vec<Known>), Self::Error>;

    /// Stores the list of people.
    ///
    /// # Errors
    /// When it cannot be stored.
    fn set_people(&mut self, version: u64, list: Vec<Known>) -> Result<(), Self::Error>;

    /// Keeps a parcel for the server and puts what is new of it into the document, both or neither.
    /// Whether it was not kept already.
    ///
    /// # Errors
    /// When it cannot be stored.
    fn keep_carried(
        &mut self,
        name: &DocName,
        parcel: &Parcel,
        fresh: Fresh<'_>,
    ) -> Result<bool, Self::Error>;

    /// Everything that is carried, oldest first.
    ///
    /// # Errors
    /// When the shelf cannot be read.
    fn carried(&self) -> Result<Vec<CarriedRow>, Self::Error>;

    /// It need not be carried any more: the server has it, or it was set aside.
    ///
    /// # Errors
    /// When it cannot be stored.
    fn carried_done(&mut self, id: i64) -> Result<(), Self::Error>;

    /// The server did not take it, and why.
    ///
    /// # Errors
    /// When it cannot be stored.
    fn carried_refused(&mut self, id: i64, refusal: &Refusal) -> Result<(), Self::Error>;
}
