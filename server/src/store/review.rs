//! Rows that a review needs: people with their installs and when they were heard, names of documents.

use std::collections::BTreeSet;

use super::sql::Db;
use backstraight_core::base::day::{Day, Month};
use backstraight_core::base::id::{InstallId, PersonId, SquadId};
use backstraight_core::base::moment::Moment;
use backstraight_core::exchange::access::Role;
use backstraight_core::model::name::DocName;

use super::fault::StoreError;
use super::value;
use crate::grant::MayReview;

/// A person of the club.
#[derive(Debug, Clone)]
pub struct Person {
    /// Who.
    pub id: PersonId,
    /// Shown name.
    pub name: String,
    /// Role.
    pub role: Role,
    /// Whether the person is no member any more.
    pub withdrawn: bool,
    /// All installs, withdrawn ones too: what they wrote is still shown with a name.
    pub installs: Vec<InstallId>,
    /// The last local day through which everything that the person may have logged was heard: the day of the install
    /// in use that was heard of longest ago.
    pub heard_through: Option<Day>,
    /// The same for whoever goes by rows: none while rows cannot be made of what arrived, which may hold any session.
    pub rows_through: Option<Day>,
    /// Date of birth, where the account has it.
    pub born: Option<Day>,
    /// What stands in the way of hearing from the person.
    pub silence: Option<Silence>,
}

/// Why somebody may not be heard, as far as a server can tell. A phone without a signal is none.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Silence {
    /// No install was ever enrolled.
    NoPhone,
    /// Every install was withdrawn or has lost its session.
    Withdrawn,
    /// The phone's calendar is days off: what it sends arrives, but it says nothing about a day.
    WrongClock,
    /// Its app speaks another version of the exchange: what it logs stays on it until it is renewed.
    OldApp,
    /// Another device of the same person was not heard for days.
    Another,
    /// The server cannot read something of theirs: what arrived since is in no row.
    Unread,
}

/// Of a person `p`: whether the rows that follow from their documents could not be made.
pub(super) const UNREAD: &str = "EXISTS (SELECT 1 FROM job j WHERE j.owner = p.id
                 AND (j.tries > 1 OR j.tries = 1 AND j.lease_by IS NULL))";

impl Silence {
    /// In words for a coach.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Silence::NoPhone => "no phone yet: send an invite",
            Silence::Withdrawn => {
                "the phone was withdrawn or signed out: what it logs stays on it until a new invite"
            }
            Silence::WrongClock => {
                "the phone's date is wrong: what it logs arrives, but no day counts as heard until it is set right"
            }
            Silence::OldApp => {
                "the phone's app speaks another version than this server: what it logs stays on it until both fit"
            }
            Silence::Unread => {
                "the server cannot read something of theirs, so that nothing counts as missed: whoever runs it finds it \
                 with a check"
            }
            Silence::Another => {
                "another device of theirs was not heard for days and may hold what was done: withdraw it if it is no \
                 longer used"
            }
        }
    }
}

/// How an install was heard.
pub(super) struct Heard {
    /// The day on which it was enrolled.
    pub(super) since: Option<Day>,
    /// The last day through which it was.
    pub(super) day: Option<Day>,
    /// When it said anything at all last, ms since 1970.
    pub(super) at: Option<i64>,
    /// Whether it is withdrawn.
    pub(super) ended: bool,
}

/// What is known of an install.
struct Install {
    heard: Heard,
    clock_wrong: bool,
    old_app: bool,
}

fn silence(installs: &[Install]) -> Option<Silence> {
    if installs.is_empty() {
        return Some(Silence::NoPhone);
    }
    // The install that was heard last speaks for the person.
    let Some(last) = installs.iter().filter(|i| !i.heard.ended).max_by_key(|i| i.heard.at) else {
        return Some(Silence::Withdrawn);
    };
    match last {
        Install { old_app: true, .. } => Some(Silence::OldApp),
        Install { clock_wrong: true, .. } => Some(Silence::WrongClock),
        Install { heard: Heard { day: Some(last), .. }, .. } => {
            heard_through(installs.iter().map(|i| &i.heard))
                .is_some_and(|through| last.since(through) > USUAL)
                .then_some(Silence::Another)
        }
        Install { heard: Heard { day: None, .. }, .. } => None,
    }
}

/// Days by which devices of one person are apart as a matter of course.
const USUAL: i32 = 2;

/// After so many days without a word, while another one was heard, an install is no longer in use.
const FORGOTTEN: i32 = 28;

/// Through which day a person was heard, if ever. A session may have been logged on any device in use: it counts as
/// missed only when all of them were heard after its day. One that was not heard yet holds nothing from before it was
/// enrolled.
pub(super) fn heard_through<'a>(installs: impl Iterator<Item = &'a Heard> + Clone) -> Option<Day> {
    let ever = installs.clone().filter_map(|i| i.day).max()?;
    // With the last word of each: one that spoke since may yet have to say what was lost of the days before.
    let days = || {
        let in_use = installs.clone().filter(|i| !i.ended);
        in_use.filter_map(|i| {
            let day = i.day.or(i.since)?;
            let spoke = i.at.and_then(|at| Day::of(Moment(at), 0).ok());
            Some((day, spoke.map_or(day, |spoke| spoke.max(day))))
        })
    };
    let Some(newest) = days().map(|(_, spoke)| spoke).max() else { return Some(ever) };
    days().filter(|(_, spoke)| newest.since(*spoke) <= FORGOTTEN).map(|(day, _)| day).min()
}

/// The people of the club under review.
///
/// # Errors
/// When storage fails.
pub fn people(db: &Db, grant: &MayReview) -> Result<Vec<Person>, StoreError> {
    let mut ask = db.prepare_cached(&format!(
        "SELECT p.id, p.name, p.role, p.withdrawn_at IS NOT NULL, i.id, i.heard_day,
                i.withdrawn_at IS NOT NULL OR i.refresh_killed_at IS NOT NULL, i.heard_at, i.clock_wrong, i.old_app,
                p.born, i.created_at, {UNREAD}
         FROM person p LEFT JOIN install i ON i.person = p.id WHERE p.club = ?1 ORDER BY p.id, i.id",
    ))?;
    let mut rows = ask.query([grant.club().0.as_bytes()])?;
    let mut list: Vec<Person> = Vec::new();
    let mut installs: Vec<Vec<Install>> = Vec::new();
    while let Some(r) = rows.next()? {
        let id = value::person(r, 0)?;
        if list.last().is_none_or(|p| p.id != id) {
            list.push(Person {
                id,
                name: r.get(1)?,
                role: value::role(r, 2)?,
                withdrawn: r.get(3)?,
                installs: Vec::new(),
                heard_through: None,
                rows_through: None,
                born: value::day(r, 10)?,
                silence: r.get::<_, bool>(12)?.then_some(Silence::Unread),
            });
            installs.push(Vec::new());
        }
        let Some(person) = list.last_mut() else { continue };
        if r.get::<_, Option<Vec<u8>>>(4)?.is_none() {
            continue;
        }
        person.installs.push(value::install(r, 4)?);
        let heard: Option<String> = r.get(5)?;
        if let Some(installs) = installs.last_mut() {
            let since = Day::of(Moment(r.get(11)?), 0).ok();
            let day = heard.and_then(|d| d.parse().ok());
            installs.push(Install {
                heard: Heard { since, day, at: r.get(7)?, ended: r.get(6)? },
                clock_wrong: r.get(8)?,
                old_app: r.get(9)?,
            });
        }
    }
    for (person, installs) in list.iter_mut().zip(&installs) {
        person.heard_through = heard_through(installs.iter().map(|i| &i.heard));
        if person.silence.is_none() {
            person.silence = silence(installs);
            person.rows_through = person.heard_through;
        }
    }
    Ok(list)
}

/// The squads of the club under review.
///
/// # Errors
/// When storage fails.
pub fn squads(db: &Db, grant: &MayReview) -> Result<Vec<SquadId>, StoreError> {
    let mut ask = db.prepare_cached("SELECT id FROM squad WHERE club = ?1 ORDER BY id")?;
    let rows = ask.query_map([grant.club().0.as_bytes()], |r| value::squad(r, 0))?;
    Ok(rows.collect::<Result<_, _>>()?)
}

/// Names of the documents about one athlete.
///
/// # Errors
/// When storage fails.
pub fn documents(db: &Db, athlete: PersonId) -> Result<Vec<DocName>, StoreError> {
    let mut ask = db.prepare_cached("SELECT name FROM doc WHERE owner = ?1 ORDER BY name")?;
    let rows = ask.query_map([athlete.0.as_bytes()], |r| value::bytes::<20>(r, 0))?;
    let mut names = Vec::new();
    for raw in rows {
        let name = DocName::from_bytes(&raw?);
        names.push(name.map_err(|e| StoreError::Damaged(e.to_string()))?);
    }
    Ok(names)
}

/// An athlete's plans of which the board's rows say that their last session was before the month `least`, as far as
/// the rows follow from all of the plan.
///
/// # Errors
/// When storage fails.
pub fn plans_over(db: &Db, athlete: PersonId, least: Month) -> Result<BTreeSet<DocName>, StoreError> {
    let mut ask = db.prepare_cached(
        "SELECT d.name FROM doc d JOIN board_doc b ON b.doc = d.id
         WHERE d.owner = ?1 AND d.kind = 'plan' AND b.n = d.max_n AND b.month <> '' AND b.month < ?2",
    )?;
    let rows = ask.query_map((athlete.0.as_bytes(), least.to_string()), |r| value::bytes::<20>(r, 0))?;
    rows.map(|raw| DocName::from_bytes(&raw?).map_err(|e| StoreError::Damaged(e.to_string()))).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn install(heard: Option<&str>, ended: bool) -> Install {
        let heard_day = heard.map(|d| d.parse().unwrap());
        let since = "2026-11-15".parse().ok();
        let heard = Heard { since, day: heard_day, at: heard_day.map(|_| 1), ended };
        Install { heard, clock_wrong: false, old_app: false }
    }

    fn through(all: &[Install]) -> Option<String> {
        heard_through(all.iter().map(|i| &i.heard)).map(|d| d.to_string())
    }

    #[test]
    fn everybody_is_waited_for_who_may_hold_a_session() {
        let phone = || install(Some("2026-11-20"), false);
        for (others, heard, silence) in [
            (vec![], Some("2026-11-20"), None),
            // Enrolled and not heard yet.
            (vec![install(None, false)], Some("2026-11-15"), Some(Silence::Another)),
            (vec![install(None, true)], Some("2026-11-20"), None),
            (vec![install(Some("2026-11-18"), false)], Some("2026-11-18"), None),
            (vec![install(Some("2026-11-17"), false)], Some("2026-11-17"), Some(Silence::Another)),
            (vec![install(Some("2026-10-23"), false)], Some("2026-10-23"), Some(Silence::Another)),
            // Four weeks: in a drawer. Withdrawn: nobody waits for it.
            (vec![install(Some("2026-10-22"), false)], Some("2026-11-20"), None),
            (vec![install(Some("2026-11-10"), true)], Some("2026-11-20"), None),
        ] {
            let mut all = others;
            all.push(phone());
            all.last_mut().unwrap().heard.at = Some(2);
            assert_eq!((through(&all).as_deref(), self::silence(&all)), (heard, silence));
        }
        // It spoke since: of the days before, something was lost that it may have to say again.
        let mut lately = install(Some("2026-10-22"), false);
        let day = i64::from("2026-11-19".parse::<Day>().unwrap().since(Day::new(1970, 1, 1).unwrap()));
        lately.heard.at = Some(day * 86_400_000);
        assert_eq!(through(&[lately, phone()]).as_deref(), Some("2026-10-22"));
        let ended = [install(Some("2026-11-10"), true), install(Some("2026-11-12"), true)];
        assert_eq!(through(&ended).as_deref(), Some("2026-11-12"));
        assert_eq!(through(&[]), None);
        assert_eq!(through(&[install(None, false), install(None, true)]), None);
    }
}
