//! Signatures under changes that come by way of somebody else: which install wrote them, provable
//! without the server. Holds no key and draws nothing: whoever has a key signs the statement that is
//! made here. Knows no person's rights and no file.
//!
//! One signature stands for many changes. The name of a change is a hash over its contents, its
//! direct ancestors among them, and every change names its actor's previous one. So the name of an
//! actor's last change fixes all of that actor's changes before it, bit for bit
//! (`docs/adr/0007-one-signature-for-many-changes.md`).

use std::collections::{BTreeMap, BTreeSet};

use ed25519_dalek::{Signature as Raw, VerifyingKey};
use minicbor::bytes::ByteVec;
use minicbor::{Decode, Encode};

use crate::base::id::{ActorId, ChangeHash, InstallId};
use crate::doc::chunk;
use crate::doc::gate::limits;
use crate::doc::gate::reject::Rejected;
use crate::model::name::DocName;

/// What a signed statement begins with, so that no signature of anything else is one of this.
pub const DOMAIN: &[u8] = b"backstraight: the changes of one actor up to this one, version 1\0";
/// Most signatures of one parcel: starts of installs.
pub const MAX_SIGNATURES: usize = 256;

/// A signature, in the form of files and of the exchange.
#[derive(Debug, Clone, PartialEq, Eq, Encode, Decode)]
#[cbor(map)]
pub struct Signature {
    /// The actor, sixteen bytes; the first eight are the install.
    #[n(0)]
    pub actor: ByteVec,
    /// The actor's newest change in the parcel.
    #[n(1)]
    pub change: ByteVec,
    /// The Ed25519 signature of the install, 64 bytes.
    #[n(2)]
    pub bytes: ByteVec,
}

/// Why signed changes are not believed.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum SignedError {
    /// A signature has not the form of one.
    #[error("signature {0} is not well formed")]
    Form(usize),
    /// Too many.
    #[error("{0} signatures are over the limit of {MAX_SIGNATURES}")]
    TooMany(usize),
    /// Two signatures of one actor.
    #[error("actor {0} is signed twice")]
    Doubled(ActorId),
    /// The change that is signed is not here or is another actor's.
    #[error("the change that actor {0} signs is not among its changes here")]
    Elsewhere(ActorId),
    /// Nobody's key is known for that install.
    #[error("no key of install {0} is known here")]
    UnknownInstall(InstallId),
    /// The signature is not that install's.
    #[error("the signature is not that of install {0}")]
    Forged(InstallId),
    /// A change is neither signed nor comes before a signed one of its actor.
    #[error("change {0} is covered by no signature")]
    Unsigned(ChangeHash),
    /// The changes themselves cannot be read.
    #[error(transparent)]
    Changes(#[from] Rejected),
}

impl SignedError {
    /// A stable word.
    #[must_use]
    pub const fn code(&self) -> &'static str {
        match self {
            SignedError::Form(_) => "signature-form",
            SignedError::TooMany(_) => "too-many-signatures",
            SignedError::Doubled(_) => "doubled-signature",
            SignedError::Elsewhere(_) => "signature-elsewhere",
            SignedError::UnknownInstall(_) => "unknown-install",
            SignedError::Forged(_) => "forged-signature",
            SignedError::Unsigned(_) => "unsigned",
            SignedError::Changes(rejected) => rejected.code.word(),
        }
    }

    /// The change at fault, when it is one.
    #[must_use]
    pub const fn change(&self) -> Option<ChangeHash> {
        match self {
            SignedError::Unsigned(hash) => Some(*hash),
            SignedError::Changes(rejected) => rejected.hash,
            _ => None,
        }
    }
}

/// One change of a parcel, as far as signatures and withdrawals look at it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Carried {
    /// Its name.
    pub hash: ChangeHash,
    /// Who made it.
    pub actor: ActorId,
    /// When, by the author's clock, seconds since 1970.
    pub time: i64,
    /// Its direct ancestors.
    pub deps: Vec<ChangeHash>,
    /// Where its chunk is in the parcel.
    pub range: core::ops::Range<usize>,
}

/// What an install signs: the document, the actor and the name of the actor's newest change.
#[must_use]
pub fn statement(name: &DocName, actor: ActorId, change: &ChangeHash) -> Vec<u8> {
    // All parts behind the domain have fixed lengths.
    [DOMAIN, &name.to_bytes(), &actor.0, &change.0].concat()
}

/// Reads the changes of a parcel.
///
/// # Errors
/// When they are more than the gate takes at once, or not plain changes.
pub fn changes(plain: &[u8]) -> Result<Vec<Carried>, Rejected> {
    let mut out = Vec::new();
    let mut start = 0;
    for bytes in chunk::split_up_to(plain, limits::UPLOAD_CHANGES)? {
        let change = chunk::parse(bytes)?;
        let range = start..start + bytes.len();
        start = range.end;
        let chunk::Change { hash, actor, time, deps, .. } = change;
        out.push(Carried { hash, actor, time, deps, range });
    }
    Ok(out)
}

/// Signs the changes of a parcel: one signature for each actor of the install whose key `sign` has.
#[must_use]
pub fn sign(
    name: &DocName,
    changes: &[Carried],
    install: InstallId,
    sign: &dyn Fn(&[u8]) -> [u8; 64],
) -> Vec<Signature> {
    // Changes come with their ancestors first, so the last of an actor is its newest.
    let newest: BTreeMap<ActorId, ChangeHash> =
        changes.iter().filter(|c| c.actor.install() == install).map(|c| (c.actor, c.hash)).collect();
    let one = |(actor, change): (ActorId, ChangeHash)| Signature {
        bytes: ByteVec::from(sign(&statement(name, actor, &change)).to_vec()),
        actor: ByteVec::from(actor.0.to_vec()),
        change: ByteVec::from(change.0.to_vec()),
    };
    newest.into_iter().map(one).collect()
}

/// Checks that every change of a parcel was written by the install that its actor names.
///
/// # Errors
/// The first thing that is wrong; nothing of the parcel may be believed then.
pub fn verify(
    name: &DocName,
    changes: &[Carried],
    signatures: &[Signature],
    key_of: &dyn Fn(InstallId) -> Option<[u8; 32]>,
) -> Result<(), SignedError> {
    if signatures.len() > MAX_SIGNATURES {
        return Err(SignedError::TooMany(signatures.len()));
    }
    let by_name: BTreeMap<ChangeHash, &Carried> = changes.iter().map(|c| (c.hash, c)).collect();
    let mut actors = BTreeSet::new();
    let mut covered = BTreeSet::new();
    for (n, signature) in signatures.iter().enumerate() {
        let (actor, head, bytes) = read(signature).ok_or(SignedError::Form(n))?;
        if !actors.insert(actor) {
            return Err(SignedError::Doubled(actor));
        }
        let mut at = by_name.get(&head).copied().filter(|c| c.actor == actor);
        if at.is_none() {
            return Err(SignedError::Elsewhere(actor));
        }
        let install = actor.install();
        let key = key_of(install).ok_or(SignedError::UnknownInstall(install))?;
        let forged = |_| SignedError::Forged(install);
        let key = VerifyingKey::from_bytes(&key).map_err(forged)?;
        key.verify_strict(&statement(name, actor, &head), &Raw::from_bytes(&bytes)).map_err(forged)?;
        // From each change to its actor's previous one, as far back as the parcel goes.
        while let Some(change) = at.filter(|c| covered.insert(c.hash)) {
            let own = |hash: &ChangeHash| by_name.get(hash).copied().filter(|c| c.actor == actor);
            at = change.deps.iter().find_map(own);
        }
    }
    match changes.iter().find(|c| !covered.contains(&c.hash)) {
        Some(change) => Err(SignedError::Unsigned(change.hash)),
        None => Ok(()),
    }
}

fn read(signature: &Signature) -> Option<(ActorId, ChangeHash, [u8; 64])> {
    let actor = signature.actor.as_slice().try_into().ok()?;
    let change = signature.change.as_slice().try_into().ok()?;
    let bytes = signature.bytes.as_slice().try_into().ok()?;
    Some((ActorId(actor), ChangeHash(change), bytes))
}

/// The installs whose signatures a parcel holds; those that cannot be read are left out.
pub fn signers(signatures: &[Signature]) -> impl Iterator<Item = InstallId> {
    signatures
        .iter()
        .filter_map(|s| <[u8; 16]>::try_from(s.actor.as_slice()).ok())
        .map(|a| ActorId(a).install())
}
