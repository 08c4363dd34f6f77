//! The one object of the doors: an install on a folder. Opening, enrolling, pausing, listening; the other
//! parts add what it can do.

use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use backstraight_core::device::Device;
use backstraight_core::device::identity::Identity;
use backstraight_core::device::readings::Readings;
use backstraight_core::exchange::proof;

use super::clock::{Now, ToldClock};
use super::error::DoorError;
use super::exchange::{SIGNED_OUT, Way, signed_out};
use super::hold::Hold;
use super::outside::{Area, Courier, KeyStore, Watcher};
use super::vault::{Entry, Mark, Vault, random};
use super::work::{Deed, Desk, Receipt, Watchers, What, Work, area, once};
use crate::request;
use crate::store::Store;

/// Bytes of a page of the store.
const PAGE: u64 = 4096;
/// Facts that the folder keeps.
const MARK: &str = "mark";
const OPENS: &str = "opens";
const WHO: &str = "who";

/// How a folder is opened.
#[derive(Debug, Clone, PartialEq, Eq, uniffi::Record)]
pub struct OpenWith {
    /// The folder, private to the app. It is made when it is not there.
    pub folder: String,
    /// The mark of the surface that the bindings were made for; each language has it as a constant.
    pub interface: String,
    /// Most bytes that the store may take; what the storage has room for when missing.
    #[uniffi(default = None)]
    pub most_bytes: Option<u64>,
}

/// How a folder was found.
#[derive(Debug, Clone, Copy, PartialEq, Eq, uniffi::Enum)]
pub enum Found {
    /// It was never enrolled.
    Blank,
    /// As it was left.
    AsLeft,
    /// Empty, though the key store knows this install: the app was removed and put back. An exchange brings
    /// what the server has.
    Emptied,
    /// It was enrolled on another phone, or the key store was emptied. It can be read; enrol it again, and
    /// what was not sent yet is sent as the new install.
    FromElsewhere,
    /// An older state of it was put back on the same phone. An exchange brings what is lacking.
    OlderState,
}

/// What opening came to.
#[derive(Debug, Clone, PartialEq, Eq, uniffi::Record)]
pub struct Opening {
    /// How the folder was found.
    pub found: Found,
    /// Files that were damaged and set aside, never deleted: what could be read of them is here. Named at each
    /// opening until an exchange was complete.
    pub set_aside: Vec<String>,
}

/// Whose folder this is.
#[derive(Debug, Clone, PartialEq, Eq, uniffi::Record)]
pub struct Who {
    /// The person.
    pub person: String,
    /// The name shown.
    pub name: String,
    /// The role, a stable word: `head coach`, `coach`, `care`, `athlete`, `guardian`, `owner`.
    pub role: String,
    /// The club.
    pub club: String,
    /// Address of the server.
    pub server: String,
    /// The install.
    pub install: String,
    /// Whether this phone is that install and may write.
    pub enrolled: bool,
}

/// Where to enrol.
#[derive(Debug, Clone, PartialEq, Eq, uniffi::Record)]
pub struct Invitation {
    /// Address of the server.
    pub server: String,
    /// The code as it was typed, or the secret of a picture.
    pub code: String,
}

/// Reads the text of an invitation's picture. Asks no server: show the address before you enrol.
///
/// # Errors
/// When it is another picture.
#[uniffi::export]
pub fn read_invitation(text: String) -> Result<Invitation, DoorError> {
    let read = proof::Invitation::read(&text)
        .ok_or_else(|| DoorError::field("text", "no-invitation", "the picture is no invitation"))?;
    Ok(Invitation { server: read.server, code: read.secret })
}

/// An install on a folder. Keep one for as long as the app runs.
#[derive(Debug, uniffi::Object)]
pub struct Install {
    pub(super) folder: PathBuf,
    most_bytes: Option<u64>,
    pub(super) vault: Vault,
    pub(super) clock: ToldClock,
    hold: Mutex<Option<Hold>>,
    desk: Mutex<Desk>,
    opening: Mutex<Opening>,
    pub(super) watchers: Arc<Watchers>,
    exchanging: AtomicBool,
    /// How often it was opened, and how often it was let go of, in this process.
    openings: AtomicU64,
    pauses: AtomicU64,
}

/// Ends a listener.
#[derive(Debug, uniffi::Object)]
pub struct Watch {
    watchers: Arc<Watchers>,
    id: u64,
}

#[uniffi::export]
impl Watch {
    /// No more news, from now on. A listener goes on until this is called or the folder is shut, also when
    /// this object is forgotten.
    pub fn end(&self) {
        self.watchers.remove(self.id);
    }
}

#[uniffi::export]
impl Install {
    /// Opens a folder, not on a thread that draws: it reads files and asks the key store.
    ///
    /// # Errors
    /// `TooOld`, `AlreadyOpen`, `Busy` when another process has it, `PhoneLocked`, `StoreFull`,
    /// `StoreDamaged`, `KeysFailed`.
    #[uniffi::constructor]
    pub fn open(with: OpenWith, keys: Arc<dyn KeyStore>, now: Now) -> Result<Arc<Install>, DoorError> {
        let here = super::interface_mark();
        if with.interface != here {
            let detail = format!("bindings are of {}, the library is of {here}", with.interface);
            return Err(DoorError::TooOld { detail });
        }
        let folder = PathBuf::from(with.folder);
        let install = Install {
            hold: Mutex::new(Some(Hold::take(&folder)?)),
            folder,
            most_bytes: with.most_bytes,
            vault: Vault::new(keys),
            clock: ToldClock::at(now),
            desk: Mutex::new(Desk::Paused),
            opening: Mutex::new(Opening { found: Found::Blank, set_aside: Vec::new() }),
            watchers: Arc::default(),
            exchanging: AtomicBool::new(false),
            openings: AtomicU64::new(0),
            pauses: AtomicU64::new(0),
        };
        let (opening, desk) = install.begin()?;
        *install.opening.lock().unwrap_or_else(PoisonError::into_inner) = opening;
        *install.desk() = desk;
        Ok(Arc::new(install))
    }

    /// How the folder was found at the last opening or resuming.
    #[must_use]
    pub fn opening(&self) -> Opening {
        self.opening.lock().unwrap_or_else(PoisonError::into_inner).clone()
    }

    /// Whose folder this is; none before it was enrolled.
    ///
    /// # Errors
    /// `Paused`.
    pub fn who(&self) -> Result<Option<Who>, DoorError> {
        match &*self.desk() {
            Desk::Shut | Desk::Paused => Err(DoorError::Paused),
            Desk::Blank(_) => Ok(None),
            Desk::Here(work) => Ok(Some(who(work.device.identity(), work.enrolled))),
        }
    }

    /// Trades an invitation for an install, with a key that is made here and kept in the key store. When the
    /// answer gets lost, ask again with the same invitation. A folder that holds somebody's training is
    /// enrolled again for the same person only: one from elsewhere, and one that the server signed out. What was
    /// not sent goes out as the new install then.
    ///
    /// # Errors
    /// `WrongState` (`enrolled`, `another-person`: that person's invitation is spent then, and a coach withdraws
    /// the device that came of it), what the server says (`ServerSaid` with `code-wrong`, `code-used`,
    /// `code-expired` where the invitation is none any more), `Offline`, `Busy` while another one or an exchange
    /// is under way, what the key store says.
    pub fn enrol(
        &self,
        invitation: Invitation,
        device_name: String,
        courier: Arc<dyn Courier>,
        now: Now,
    ) -> Result<Who, DoorError> {
        self.clock.tell(now);
        let _turn = self.turn()?;
        let before = match &*self.desk() {
            Desk::Shut | Desk::Paused => return Err(DoorError::Paused),
            Desk::Here(work) if work.enrolled && signed_out(work.device.shelf())?.is_none() => {
                return Err(DoorError::state("enrolled"));
            }
            Desk::Here(work) => Some(work.device.identity().person),
            Desk::Blank(_) => None,
        };
        let key = self.vault.enrolling(&invitation.code)?;
        let server = invitation.server.trim_end_matches('/').to_owned();
        let way = Way { courier: &*courier, server: &server, stop: None, until: None };
        let said = way.carry(&request::enrolment(&invitation.code, &device_name, &key))?;
        let identity = request::enrolled(&said, &server, key)?;
        if before.is_some_and(|person| person != identity.person) {
            // Its key is that of an install of somebody else now.
            self.vault.enrolled();
            return Err(DoorError::state("another-person"));
        }
        let mark: Mark = random()?;
        // In the key store before the folder says so: killed between the two, the folder takes it over.
        self.vault.write(Entry { identity: identity.clone(), mark, opens: 0 })?;
        let mut desk = self.desk();
        let mut store = match std::mem::replace(&mut *desk, Desk::Paused) {
            Desk::Blank(store) => *store,
            Desk::Here(work) => work.device.into_shelf(),
            other @ (Desk::Shut | Desk::Paused) => {
                *desk = other;
                return Err(DoorError::Paused);
            }
        };
        let noted = note(&mut store, &identity, &mark, 0)
            .and_then(|()| Ok(store.set_facts(&[(SIGNED_OUT, b"".as_slice())])?));
        *desk = self.here(store, identity.clone(), true)?;
        drop(desk);
        noted?;
        self.vault.enrolled();
        self.watchers.tell(vec![Area::Standing], Vec::new());
        Ok(who(&identity, true))
    }

    /// Lets go of all files, for an app that goes to the background: nothing is locked and nothing is written
    /// until it is resumed. It waits for a call that is at the files; every call that needs them says `Paused`
    /// meanwhile, and so does an exchange under way, even when it comes back after the folder was resumed.
    pub fn pause(&self) {
        let mut desk = self.desk();
        self.pauses.fetch_add(1, Ordering::SeqCst);
        if !matches!(&*desk, Desk::Shut) {
            *desk = Desk::Paused;
        }
        self.drop_hold();
    }

    /// Opens the files again.
    ///
    /// # Errors
    /// As `open`; `Paused` when it was shut, or paused again meanwhile.
    pub fn resume(&self, now: Now) -> Result<Opening, DoorError> {
        self.clock.tell(now);
        let before = match &*self.desk() {
            Desk::Shut => return Err(DoorError::Paused),
            Desk::Paused => self.pauses.load(Ordering::SeqCst),
            Desk::Blank(_) | Desk::Here(_) => return Ok(self.opening()),
        };
        let hold = Hold::take(&self.folder)?;
        let (opening, opened) = self.begin()?;
        let mut desk = self.desk();
        if self.pauses.load(Ordering::SeqCst) != before || !matches!(*desk, Desk::Paused) {
            // Files first, then the right to them.
            drop((opened, hold));
            return Err(DoorError::Paused);
        }
        *self.hold.lock().unwrap_or_else(PoisonError::into_inner) = Some(hold);
        *self.opening.lock().unwrap_or_else(PoisonError::into_inner) = opening.clone();
        *desk = opened;
        Ok(opening)
    }

    /// Lets go of everything for good; the folder can be opened again.
    pub fn shut(&self) {
        let mut desk = self.desk();
        self.pauses.fetch_add(1, Ordering::SeqCst);
        *desk = Desk::Shut;
        self.drop_hold();
        drop(desk);
        self.watchers.clear();
    }

    /// The revision: grows with each change that is made or comes in while the folder is open.
    #[must_use]
    pub fn revision(&self) -> u64 {
        self.watchers.revision()
    }

    /// Tells a listener of every change from now on.
    #[must_use]
    pub fn watch(&self, watcher: Arc<dyn Watcher>) -> Arc<Watch> {
        let id = self.watchers.add(watcher);
        Arc::new(Watch { watchers: Arc::clone(&self.watchers), id })
    }
}

impl Install {
    /// The right to exchange or to enrol: one at a time.
    pub(super) fn turn(&self) -> Result<Turn<'_>, DoorError> {
        if self.exchanging.swap(true, Ordering::SeqCst) {
            return Err(DoorError::Busy { detail: "another exchange is under way".to_owned() });
        }
        Ok(Turn(self))
    }

    /// Lets go of the store for good, not of the folder, if nothing waits to be sent or it goes too. Nothing can
    /// be written between the look and the end.
    pub(super) fn let_go(&self, unsent_too: bool) -> Result<(), DoorError> {
        let mut desk = self.desk();
        let waiting = match &mut *desk {
            Desk::Shut | Desk::Paused => return Err(DoorError::Paused),
            // Nothing was ever written there.
            Desk::Blank(_) => 0,
            Desk::Here(work) => work.waiting()?,
        };
        if waiting > 0 && !unsent_too {
            return Err(DoorError::state("unsent"));
        }
        self.pauses.fetch_add(1, Ordering::SeqCst);
        *desk = Desk::Shut;
        Ok(())
    }

    fn drop_hold(&self) {
        self.hold.lock().unwrap_or_else(PoisonError::into_inner).take();
    }

    fn desk(&self) -> MutexGuard<'_, Desk> {
        // Each write is one transaction and a document is in memory only while it is as on disk, so what a
        // panic left behind is whole.
        self.desk.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Opens the store and finds out whose it is. The key store is asked without a lock.
    fn begin(&self) -> Result<(Opening, Desk), DoorError> {
        let mut store = Store::open(&self.folder)?;
        if let Some(most) = self.most_bytes {
            store.limit_pages(u32::try_from(most / PAGE).unwrap_or(u32::MAX).max(1))?;
        }
        let entry = self.vault.read()?;
        let mark: Option<Mark> = store.fact(MARK)?.and_then(|m| m.try_into().ok());
        let opens =
            store.fact(OPENS)?.and_then(|n| Some(u64::from_be_bytes(n.try_into().ok()?))).unwrap_or(0);
        let set_aside = store.set_aside.iter().map(|p| p.display().to_string()).collect();
        let (found, desk) = match (entry, mark) {
            (Some(entry), mark) if mark.is_none_or(|m| m == entry.mark) => {
                let found = match mark {
                    None if entry.opens > 0 => Found::Emptied,
                    // The key store is counted first, so it may be one ahead.
                    Some(_) if entry.opens > opens + 1 => Found::OlderState,
                    _ => Found::AsLeft,
                };
                let opens = entry.opens.max(opens) + 1;
                self.vault.write(Entry { opens, ..entry.clone() })?;
                match note(&mut store, &entry.identity, &entry.mark, opens) {
                    // It can be read all the same; this opening is not counted.
                    Err(DoorError::StoreFull) => self.vault.write(entry.clone())?,
                    other => other?,
                }
                (found, self.here(store, entry.identity, true)?)
            }
            _ => match store.fact(WHO)?.and_then(|who| Identity::from_bytes(&who).ok()) {
                Some(identity) => (Found::FromElsewhere, self.here(store, identity, false)?),
                None => (Found::Blank, Desk::Blank(Box::new(store))),
            },
        };
        Ok((Opening { found, set_aside }, desk))
    }

    fn here(&self, store: Store, identity: Identity, enrolled: bool) -> Result<Desk, DoorError> {
        let device = Device::new(store, identity, Box::new(self.clock.clone()), random()?);
        let opened = self.openings.fetch_add(1, Ordering::SeqCst);
        Ok(Desk::Here(Box::new(Work { device, readings: Readings::default(), enrolled, opened })))
    }

    /// Works with what is here, for reading also where the folder has to be enrolled again.
    pub(super) fn read<T>(&self, f: impl FnOnce(&mut Work) -> Result<T, DoorError>) -> Result<T, DoorError> {
        match &mut *self.desk() {
            Desk::Shut | Desk::Paused => Err(DoorError::Paused),
            Desk::Blank(_) => Err(DoorError::NotEnrolled),
            Desk::Here(work) => f(work),
        }
    }

    /// The same for what only the enrolled install may do.
    pub(super) fn work<T>(&self, f: impl FnOnce(&mut Work) -> Result<T, DoorError>) -> Result<T, DoorError> {
        self.read(|work| if work.enrolled { f(work) } else { Err(DoorError::EnrolAgain) })
    }

    /// The same for what began under an opening and goes on under that one only.
    pub(super) fn work_of<T>(
        &self,
        opened: u64,
        f: impl FnOnce(&mut Work) -> Result<T, DoorError>,
    ) -> Result<T, DoorError> {
        self.work(|work| if work.opened == opened { f(work) } else { Err(DoorError::Paused) })
    }

    /// Does a deed once, and tells of it after it is on disk.
    pub(super) fn deed(
        &self,
        what: What,
        now: Now,
        name: &str,
        f: impl FnOnce(&mut Work) -> Result<Deed, DoorError>,
    ) -> Result<Receipt, DoorError> {
        self.clock.tell(now);
        let done = self.work(|work| {
            let name = once(name)?;
            if let Some(id) = work.done_before(what, name)? {
                return Ok(Err(id));
            }
            let deed = f(work)?;
            if deed.commands.is_empty() {
                return Ok(Err(deed.id));
            }
            work.run(what, &deed, name)?;
            Ok(Ok(deed))
        })?;
        Ok(match done {
            Err(id) => Receipt { id, already_there: true, revision: self.revision() },
            Ok(deed) => {
                let revision = self.watchers.tell(vec![area(deed.doc.kind())], vec![deed.id.clone()]);
                Receipt { id: deed.id, already_there: false, revision }
            }
        })
    }
}

/// Ends the right to exchange with the exchange.
pub(super) struct Turn<'a>(&'a Install);

impl Drop for Turn<'_> {
    fn drop(&mut self) {
        self.0.exchanging.store(false, Ordering::SeqCst);
    }
}

/// Notes in the folder whose it is, without anything secret.
fn note(store: &mut Store, identity: &Identity, mark: &Mark, opens: u64) -> Result<(), DoorError> {
    let known = Identity { access: String::new(), refresh: String::new(), key: None, ..identity.clone() };
    let (known, opens) = (known.to_bytes(), opens.to_be_bytes());
    Ok(store.set_facts(&[(WHO, &known), (MARK, mark), (OPENS, &opens)])?)
}

fn who(identity: &Identity, enrolled: bool) -> Who {
    Who {
        person: identity.person.to_string(),
        name: identity.name.clone(),
        role: identity.role.to_string(),
        club: identity.club.to_string(),
        server: identity.server.clone(),
        install: identity.install.to_string(),
        enrolled,
    }
}

/// A file's path as an app gives it.
pub(super) fn path(field: &str, text: &str) -> Result<PathBuf, DoorError> {
    if text.is_empty() {
        return Err(DoorError::field(field, "missing", "a path of a file"));
    }
    Ok(Path::new(text).to_owned())
}
