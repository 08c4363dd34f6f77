//! Word of what was made durable, for whoever waits for it in this process: streams that nudge
//! devices, the projector, readers of the board. Over SQLite the writer says it after its commit; over
//! PostgreSQL the database hands it to every process, this one too. Knows no SQL and no request.

use std::collections::HashMap;
use std::fmt;
use std::str::FromStr;
use std::sync::{Mutex, PoisonError};

use backstraight_core::base::id::{ClubId, InstallId};
use backstraight_core::model::name::DocName;
use data_encoding::HEXLOWER;
use tokio::sync::broadcast;
use uuid::Uuid;

/// Words that somebody slow may be behind of one club, and of all; then it is told that it missed some.
const BEHIND: usize = 64;
const BEHIND_ALL: usize = 1_024;

/// What is told, in the transaction that does it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Told {
    /// A document of a club has something new, and which install wrote it, if one did.
    Document(ClubId, DocName, Option<InstallId>),
    /// Rows of a club's board are other ones now.
    Rows(ClubId),
    /// The people of a club, or what they may do, are not what they were.
    People(ClubId),
}

/// What somebody hears who has subscribed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Heard {
    /// What was told.
    Told(Told),
    /// Something may have been told that did not arrive: look at everything.
    Missed,
}

impl Told {
    /// Whose it is.
    #[must_use]
    pub const fn club(self) -> ClubId {
        match self {
            Told::Document(club, ..) | Told::Rows(club) | Told::People(club) => club,
        }
    }
}

/// In hexadecimal digits, as it goes from process to process: `rows:<club>`, `people:<club>`,
/// `doc:<club>:<name>` or `doc:<club>:<name>:<install>`.
impl fmt::Display for Told {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Told::Document(club, name, by) => {
                let name = HEXLOWER.encode(&name.to_bytes());
                write!(f, "doc:{}:{name}", club.0.simple())?;
                by.map_or(Ok(()), |install| write!(f, ":{}", HEXLOWER.encode(&install.0)))
            }
            Told::Rows(club) => write!(f, "rows:{}", club.0.simple()),
            Told::People(club) => write!(f, "people:{}", club.0.simple()),
        }
    }
}

/// A word that is none.
#[derive(Debug, thiserror::Error)]
#[error("no word that this program says")]
pub struct NoWord;

impl FromStr for Told {
    type Err = NoWord;

    fn from_str(text: &str) -> Result<Told, NoWord> {
        let club = |text: &str| Uuid::try_parse(text).map(ClubId).map_err(|_| NoWord);
        match text.split_once(':').ok_or(NoWord)? {
            ("rows", rest) => Ok(Told::Rows(club(rest)?)),
            ("people", rest) => Ok(Told::People(club(rest)?)),
            ("doc", rest) => {
                let (of, name) = rest.split_once(':').ok_or(NoWord)?;
                let bytes = |text: &str| HEXLOWER.decode(text.as_bytes()).map_err(|_| NoWord);
                let (name, by) = match name.split_once(':') {
                    Some((name, by)) => (name, Some(bytes(by)?.try_into().map_err(|_| NoWord)?)),
                    None => (name, None),
                };
                let name = DocName::from_bytes(&bytes(name)?).map_err(|_| NoWord)?;
                Ok(Told::Document(club(of)?, name, by.map(InstallId)))
            }
            _ => Err(NoWord),
        }
    }
}

/// Between those who tell and those who have subscribed.
#[derive(Debug)]
pub struct News {
    all: broadcast::Sender<Heard>,
    clubs: Mutex<HashMap<ClubId, broadcast::Sender<Heard>>>,
}

impl Default for News {
    fn default() -> News {
        News { all: broadcast::Sender::new(BEHIND_ALL), clubs: Mutex::default() }
    }
}

impl News {
    /// Hears of everything from now on.
    #[must_use]
    pub fn of_all(&self) -> Subscription {
        Subscription(self.all.subscribe())
    }

    /// Hears of one club from now on. Thousands may: each is woken for its own club only.
    #[must_use]
    pub fn of_club(&self, club: ClubId) -> Subscription {
        let mut clubs = self.clubs.lock().unwrap_or_else(PoisonError::into_inner);
        Subscription(clubs.entry(club).or_insert_with(|| broadcast::Sender::new(BEHIND)).subscribe())
    }

    /// Hands on what is durable.
    pub(super) fn publish(&self, told: Told) {
        let heard = Heard::Told(told);
        // Nobody may be listening.
        drop(self.all.send(heard));
        let mut clubs = self.clubs.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(club) = clubs.get(&told.club())
            && club.send(heard).is_err()
        {
            clubs.remove(&told.club());
        }
    }

    /// Says that words may have been lost.
    pub(super) fn missed(&self) {
        drop(self.all.send(Heard::Missed));
        let mut clubs = self.clubs.lock().unwrap_or_else(PoisonError::into_inner);
        clubs.retain(|_, club| club.send(Heard::Missed).is_ok());
    }
}

/// The ears of one listener.
#[derive(Debug)]
pub struct Subscription(broadcast::Receiver<Heard>);

impl Subscription {
    /// Waits for the next word; none once the store is gone. May be dropped while it waits, and asked
    /// again.
    pub async fn next(&mut self) -> Option<Heard> {
        match self.0.recv().await {
            Ok(heard) => Some(heard),
            Err(broadcast::error::RecvError::Lagged(_)) => Some(Heard::Missed),
            Err(broadcast::error::RecvError::Closed) => None,
        }
    }

    /// A word that is there already.
    pub fn more(&mut self) -> Option<Heard> {
        match self.0.try_recv() {
            Ok(heard) => Some(heard),
            Err(broadcast::error::TryRecvError::Lagged(_)) => Some(Heard::Missed),
            Err(broadcast::error::TryRecvError::Empty | broadcast::error::TryRecvError::Closed) => None,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const CLUB: ClubId = ClubId(Uuid::from_u128(1));
    const OTHER: ClubId = ClubId(Uuid::from_u128(2));

    #[test]
    fn words_come_back_as_they_were() {
        let document = |by| Told::Document(CLUB, DocName::Library(OTHER), by);
        for told in [Told::Rows(CLUB), Told::People(CLUB), document(None), document(Some(InstallId([7; 8])))]
        {
            assert_eq!(told.to_string().parse::<Told>().unwrap(), told);
        }
        for none in ["", "rows", "rows:1", "doc:00000000000000000000000000000001:zz", "doc:a:b:c", "'; DROP"]
        {
            assert!(none.parse::<Told>().is_err(), "{none}");
        }
    }

    #[tokio::test]
    async fn each_hears_of_its_own_club_and_that_something_was_missed() {
        let news = News::default();
        let (mut all, mut club) = (news.of_all(), news.of_club(CLUB));
        news.publish(Told::Rows(OTHER));
        news.publish(Told::Rows(CLUB));
        news.missed();
        assert_eq!(all.next().await, Some(Heard::Told(Told::Rows(OTHER))));
        assert_eq!(club.next().await, Some(Heard::Told(Told::Rows(CLUB))));
        assert_eq!(club.next().await, Some(Heard::Missed));
        for _ in 0..=BEHIND {
            news.publish(Told::Rows(CLUB));
        }
        assert_eq!(club.next().await, Some(Heard::Missed), "it was too slow");
        drop(club);
        news.publish(Told::Rows(CLUB));
        assert!(news.clubs.lock().unwrap().is_empty());
    }
}
