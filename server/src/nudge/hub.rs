//! Who is told what, in bounded memory: each club has a short list of what happened last, and streams
//! remember only up to where they have read. A slow reader is behind and then reads all at once, so
//! nothing waits for it. Knows no rights and no request.

use std::collections::{BTreeSet, HashMap, VecDeque};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use backstraight_core::base::id::{ClubId, InstallId};
use backstraight_core::exchange::nudge::MAX_NAMED;
use backstraight_core::model::name::DocName;
use data_encoding::HEXLOWER;
use tokio::sync::watch;

use crate::secret;

/// Most entries that are kept of a club.
const MOST_ENTRIES: usize = 256;
/// Most clubs of which entries are kept.
const MOST_CLUBS: usize = 4_096;

#[derive(Debug, Clone, Copy)]
struct Entry {
    n: u64,
    name: DocName,
    by: Option<InstallId>,
}

#[derive(Debug)]
struct Club {
    entries: VecDeque<Entry>,
    /// Everything after this number is among the entries.
    floor: u64,
    wake: watch::Sender<u64>,
}

#[derive(Debug, Default)]
struct Inner {
    /// The number of the last entry of any club.
    last: u64,
    clubs: HashMap<ClubId, Club>,
    streams: usize,
    by_install: HashMap<InstallId, u32>,
    closed: bool,
}

/// What happened lately, and who listens.
#[derive(Debug)]
pub struct Hub {
    /// Drawn at each start: numbers of another start mean nothing here.
    run: String,
    inner: Arc<Mutex<Inner>>,
}

impl Default for Hub {
    fn default() -> Hub {
        Hub { run: HEXLOWER.encode(&secret::random::<6>()), inner: Arc::default() }
    }
}

/// A place among the open streams; free again when it is dropped.
#[derive(Debug)]
pub struct Place {
    install: InstallId,
    inner: Arc<Mutex<Inner>>,
}

impl Drop for Place {
    fn drop(&mut self) {
        let mut inner = lock(&self.inner);
        inner.streams = inner.streams.saturating_sub(1);
        if let Some(open) = inner.by_install.get_mut(&self.install) {
            *open -= 1;
            if *open == 0 {
                inner.by_install.remove(&self.install);
            }
        }
    }
}

/// Why there is no place.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Full {
    /// This install has its streams.
    Install,
    /// The server has its streams, or is stopping.
    Server,
}

/// Up to where a stream has read, and what wakes it.
#[derive(Debug)]
pub struct Listening {
    club: ClubId,
    after: u64,
    wake: watch::Receiver<u64>,
}

/// What a stream has not read yet cannot be named.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Missed;

fn lock(inner: &Mutex<Inner>) -> MutexGuard<'_, Inner> {
    inner.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Inner {
    fn club(&mut self, id: ClubId) -> &mut Club {
        if !self.clubs.contains_key(&id) && self.clubs.len() >= MOST_CLUBS {
            self.clubs.retain(|_, club| club.wake.receiver_count() > 0);
        }
        let floor = self.last;
        self.clubs.entry(id).or_insert_with(|| Club {
            entries: VecDeque::new(),
            floor,
            wake: watch::Sender::new(floor),
        })
    }
}

impl Hub {
    /// Says that documents of a club have news, and whose install wrote them: it knows already.
    pub fn tell(&self, club: ClubId, by: Option<InstallId>, names: impl IntoIterator<Item = DocName>) {
        let mut inner = lock(&self.inner);
        let mut n = inner.last;
        let club = inner.club(club);
        for name in names {
            n += 1;
            // A document that has news again is named once, by the later number.
            club.entries.retain(|e| e.name != name || e.by != by);
            club.entries.push_back(Entry { n, name, by });
            if club.entries.len() > MOST_ENTRIES
                && let Some(gone) = club.entries.pop_front()
            {
                club.floor = gone.n;
            }
        }
        club.wake.send_replace(n);
        inner.last = n;
    }

    /// Says that news may have gone past, of any club: every stream reads that it missed something.
    pub fn missed(&self) {
        let mut inner = lock(&self.inner);
        inner.last += 1;
        let last = inner.last;
        inner.clubs.values_mut().for_each(|club| {
            club.entries.clear();
            club.floor = last;
            club.wake.send_replace(last);
        });
    }

    /// Wakes the streams of a club, so that they look up their rights again.
    pub fn rights_changed(&self, club: ClubId) {
        if let Some(club) = lock(&self.inner).clubs.get(&club) {
            club.wake.send_modify(|_| ());
        }
    }

    /// Takes a place for a stream.
    ///
    /// # Errors
    /// When there is none.
    pub fn place(&self, install: InstallId, each: u32, all: u32) -> Result<Place, Full> {
        let mut inner = lock(&self.inner);
        if inner.closed || inner.streams >= usize::try_from(all).unwrap_or(usize::MAX) {
            return Err(Full::Server);
        }
        let open = inner.by_install.entry(install).or_default();
        if *open >= each {
            return Err(Full::Install);
        }
        *open += 1;
        inner.streams += 1;
        Ok(Place { install, inner: Arc::clone(&self.inner) })
    }

    /// How many streams are open.
    #[must_use]
    pub fn streams(&self) -> usize {
        lock(&self.inner).streams
    }

    /// Listens to a club, from a position that was told before. Whether what came after that position
    /// is still known; if not, it listens from now.
    #[must_use]
    pub fn listen(&self, club: ClubId, position: Option<&str>) -> (Listening, bool) {
        let told = position.and_then(|p| {
            let (run, n) = p.split_once('.')?;
            (run == self.run).then(|| n.parse::<u64>().ok())?
        });
        let mut inner = lock(&self.inner);
        let last = inner.last;
        let here = inner.club(club);
        let known = told.filter(|n| here.floor <= *n && *n <= last);
        let wake = here.wake.subscribe();
        (Listening { club, after: known.unwrap_or(last), wake }, known.is_some())
    }

    /// The position of a stream, as it is told.
    #[must_use]
    pub fn position(&self, listening: &Listening) -> String {
        format!("{}.{}", self.run, listening.after)
    }

    /// What a stream has not read yet, each document once, without what its own install wrote. Afterwards
    /// it counts as read.
    ///
    /// # Errors
    /// When it is too far behind, or too much is new to be named.
    pub fn read(&self, listening: &mut Listening, own: InstallId) -> Result<BTreeSet<DocName>, Missed> {
        let inner = lock(&self.inner);
        let after = std::mem::replace(&mut listening.after, inner.last);
        let Some(club) = inner.clubs.get(&listening.club) else { return Ok(BTreeSet::new()) };
        if after < club.floor {
            return Err(Missed);
        }
        let news = club.entries.iter().rev().take_while(|e| e.n > after).filter(|e| e.by != Some(own));
        let names: BTreeSet<DocName> = news.map(|e| e.name).collect();
        if names.len() > MAX_NAMED { Err(Missed) } else { Ok(names) }
    }

    /// Ends every stream and takes no new one.
    pub fn close(&self) {
        let mut inner = lock(&self.inner);
        inner.closed = true;
        inner.clubs.clear();
    }
}

impl Listening {
    /// Waits for something to read. `false`: the server stops.
    pub async fn woken(&mut self) -> bool {
        self.wake.changed().await.is_ok()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use backstraight_core::base::id::PersonId;
    use uuid::Uuid;

    const CLUB: ClubId = ClubId(Uuid::from_u128(1));
    const OTHER: ClubId = ClubId(Uuid::from_u128(2));
    const ME: InstallId = InstallId([1; 8]);

    fn doc(n: u128) -> DocName {
        DocName::Care(PersonId(Uuid::from_u128(n)))
    }

    fn read(hub: &Hub, listening: &mut Listening) -> Result<Vec<DocName>, Missed> {
        hub.read(listening, ME).map(|names| names.into_iter().collect())
    }

    #[test]
    fn a_stream_reads_what_came_since_each_document_once_and_not_its_own() {
        let hub = Hub::default();
        hub.tell(CLUB, None, [doc(1)]);
        let (mut one, known) = hub.listen(CLUB, None);
        assert!(!known);
        hub.tell(CLUB, None, [doc(2), doc(3)]);
        hub.tell(CLUB, None, [doc(2)]);
        hub.tell(CLUB, Some(ME), [doc(4)]);
        hub.tell(OTHER, None, [doc(5)]);
        assert_eq!(read(&hub, &mut one), Ok(vec![doc(2), doc(3)]));
        assert_eq!(read(&hub, &mut one), Ok(vec![]));
        hub.tell(CLUB, Some(InstallId([2; 8])), [doc(4)]);
        assert_eq!(read(&hub, &mut one), Ok(vec![doc(4)]));
    }

    #[test]
    fn a_position_goes_on_where_it_was_and_an_unknown_one_is_told() {
        let hub = Hub::default();
        let (mut one, _) = hub.listen(CLUB, None);
        hub.tell(CLUB, None, [doc(1)]);
        let position = hub.position(&one);
        assert_eq!(read(&hub, &mut one), Ok(vec![doc(1)]));
        let (mut again, known) = hub.listen(CLUB, Some(&position));
        assert!(known);
        assert_eq!(read(&hub, &mut again), Ok(vec![doc(1)]));
        for wrong in ["", "x", "ab.1", ".", &format!("{position}9"), &Hub::default().position(&one)] {
            assert!(!hub.listen(CLUB, Some(wrong)).1, "{wrong}");
        }
        // Behind by more than is kept.
        for n in 0..2 * MOST_ENTRIES as u128 {
            hub.tell(CLUB, None, [doc(n)]);
        }
        assert!(!hub.listen(CLUB, Some(&position)).1);
        assert_eq!(read(&hub, &mut again), Err(Missed));
        assert_eq!(read(&hub, &mut again), Ok(vec![]));
    }

    #[test]
    fn what_went_past_is_told_to_everybody() {
        let hub = Hub::default();
        let (mut one, _) = hub.listen(CLUB, None);
        let (mut two, _) = hub.listen(OTHER, None);
        hub.tell(CLUB, None, [doc(1)]);
        let position = hub.position(&one);
        hub.missed();
        assert_eq!(read(&hub, &mut one), Err(Missed));
        assert_eq!(read(&hub, &mut two), Err(Missed));
        assert!(!hub.listen(CLUB, Some(&position)).1);
        hub.tell(CLUB, None, [doc(2)]);
        assert_eq!(read(&hub, &mut one), Ok(vec![doc(2)]));
    }

    #[test]
    fn memory_is_bounded_whatever_happens() {
        let hub = Hub::default();
        let (mut slow, _) = hub.listen(CLUB, None);
        for n in 0..10_000u128 {
            hub.tell(CLUB, None, [doc(n)]);
            hub.tell(ClubId(Uuid::from_u128(10 + n)), None, [doc(n)]);
        }
        let inner = lock(&hub.inner);
        assert!(inner.clubs.values().all(|c| c.entries.len() <= MOST_ENTRIES));
        assert!(inner.clubs.len() <= MOST_CLUBS + 1, "{}", inner.clubs.len());
        drop(inner);
        // Its club is kept, because somebody listens.
        assert_eq!(read(&hub, &mut slow), Err(Missed));
    }

    #[test]
    fn places_have_limits_and_come_free() {
        let hub = Hub::default();
        let first = hub.place(ME, 2, 3).unwrap();
        let _second = hub.place(ME, 2, 3).unwrap();
        assert_eq!(hub.place(ME, 2, 3).err(), Some(Full::Install));
        let _third = hub.place(InstallId([2; 8]), 2, 3).unwrap();
        assert_eq!(hub.place(InstallId([3; 8]), 2, 3).err(), Some(Full::Server));
        drop(first);
        assert!(hub.place(ME, 2, 3).is_ok());
        hub.close();
        assert_eq!(hub.place(InstallId([4; 8]), 2, 3).err(), Some(Full::Server));
    }
}
