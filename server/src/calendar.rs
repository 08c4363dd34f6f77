//! What a calendar feed shows (RFC 5545): planned sessions as whole days, and meets. Names no athlete, no target
//! and nothing that was done: whoever has the link, and the company behind a calendar, reads it.

use std::collections::BTreeMap;

use backstraight_core::base::day::Day;
use backstraight_core::base::id::PersonId;
use backstraight_core::base::moment::Moment;
use backstraight_core::exchange::access::{Right, right};
use backstraight_core::model::name::{DocName, Kind};
use backstraight_core::model::number::SeasonNo;
use backstraight_core::model::plan::{Meet, Member, Session};
use backstraight_core::view::library::Library;
use backstraight_core::view::show;
use icalendar::{Calendar, Component as _, Event, EventLike as _, Property};

use crate::review::{open, open_doc};
use crate::store::calendars::{Feed, Of};
use crate::store::review::plans_over;
use crate::store::{Db, StoreError, document, people};

/// Days before today that are still shown.
const DAYS_BACK: i32 = 35;

/// One entry.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Entry {
    uid: String,
    day: Day,
    days: i32,
    title: String,
    place: Option<String>,
    about: Option<String>,
}

/// The text of a feed; none when whoever made it may not read it any more.
///
/// # Errors
/// When storage fails.
pub fn text(db: &Db, feed: &Feed, now: Moment) -> Result<Option<String>, StoreError> {
    let today = Day::of(now, 0).map_err(|e| StoreError::Damaged(e.to_string()))?;
    let Some(maker) = people::find(db, feed.made_by)? else { return Ok(None) };
    let Some(name) = about(feed.of, today) else { return Ok(None) };
    let Some(subject) = document::subject(db, &name, Some(&maker), today)? else { return Ok(None) };
    if right(&maker, name.kind(), &subject) == Right::None {
        return Ok(None);
    }
    let library = open(db, &DocName::Library(subject.club))?.map(|doc| Library::of(&doc)).unwrap_or_default();
    let from = today.plus(-DAYS_BACK);
    let mut entries = Vec::new();
    let title = match feed.of {
        Of::Athlete(id) => {
            sessions(db, id, from, &library, |entry| entries.push(entry))?;
            "Training"
        }
        Of::Squad(squad) => {
            let Some(doc) = open(db, &DocName::Squad(squad))? else { return Ok(None) };
            let members = doc.records::<Member>("members");
            let mut together: BTreeMap<(Day, String), (Entry, usize)> = BTreeMap::new();
            for member in members.live() {
                sessions(db, member.record.athlete, from, &library, |entry| {
                    let same = together.entry((entry.day, entry.title.clone())).or_insert((entry, 0));
                    same.1 += 1;
                })?;
            }
            entries.extend(together.into_values().map(|(entry, n)| {
                let athletes = if n == 1 { "1 athlete".to_owned() } else { format!("{n} athletes") };
                Entry { about: Some(athletes), ..entry }
            }));
            for meet in doc.records::<Meet>("meets").live().filter(|m| m.record.date >= from) {
                let m = &meet.record;
                entries.push(Entry {
                    uid: meet.key().to_string(),
                    day: m.date,
                    days: m.days.map_or(1, |d| i32::try_from(d.get()).unwrap_or(1)),
                    title: m.name.to_string(),
                    place: m.place.as_ref().map(ToString::to_string),
                    about: m.events.as_ref().map(ToString::to_string),
                });
            }
            "Squad training"
        }
    };
    entries.sort_by(|a, b| (a.day, &a.uid).cmp(&(b.day, &b.uid)));
    Ok(Some(written(title, &entries, now)))
}

/// The document whose readers may have a feed. Rights on plans are the same for every season; none on a day
/// outside the calendar of seasons.
#[must_use]
pub fn about(of: Of, today: Day) -> Option<DocName> {
    Some(match of {
        Of::Athlete(id) => DocName::Plan(id, SeasonNo::new(i64::from(today.month().year())).ok()?),
        Of::Squad(id) => DocName::Squad(id),
    })
}

fn sessions(
    db: &Db,
    athlete: PersonId,
    from: Day,
    library: &Library,
    mut each: impl FnMut(Entry),
) -> Result<(), StoreError> {
    let over = plans_over(db, athlete, from.month())?;
    for doc in document::owned(db, athlete.0.into_bytes())? {
        if doc.name.kind() != Kind::Plan || over.contains(&doc.name) {
            continue;
        }
        let plan = open_doc(db, &doc)?;
        for session in plan.records::<Session>("sessions").live().filter(|s| s.record.date >= from) {
            let s = &session.record;
            each(Entry {
                uid: session.key().to_string(),
                day: s.date,
                days: 1,
                title: s.title.to_string(),
                place: s
                    .venue
                    .as_ref()
                    .and_then(|v| library.venues.get(v))
                    .map(|v| v.record.name.to_string()),
                about: about_it(s),
            });
        }
    }
    Ok(())
}

/// When it starts and how long it takes, where the plan says so.
fn about_it(session: &Session) -> Option<String> {
    let starts = session.starts.map(show::starts);
    let minutes = session.minutes.map(|m| format!("about {} min", m.get()));
    let parts: Vec<String> = starts.into_iter().chain(minutes).collect();
    (!parts.is_empty()).then(|| parts.join(", "))
}

fn written(title: &str, entries: &[Entry], now: Moment) -> String {
    let mut calendar = Calendar::new();
    calendar.name(title);
    // DTSTAMP says when this was made (RFC 5545, 3.8.7.2).
    let stamp = compact(now);
    for entry in entries {
        let mut event = Event::new();
        event.uid(&format!("{}@backstraight", entry.uid));
        event.summary(&entry.title);
        event.append_property(Property::new("DTSTAMP", &stamp).done());
        event.append_property(date("DTSTART", entry.day));
        event.append_property(date("DTEND", entry.day.plus(entry.days)));
        if let Some(place) = &entry.place {
            event.location(place);
        }
        if let Some(about) = &entry.about {
            event.description(about);
        }
        calendar.push(event.done());
    }
    calendar.done().to_string()
}

/// A whole day: `20261125`.
fn date(name: &str, day: Day) -> Property {
    let digits: String = day.to_string().chars().filter(|c| *c != '-').collect();
    Property::new(name, digits).add_parameter("VALUE", "DATE").done()
}

/// A moment in UTC: `20261125T120000Z`.
fn compact(at: Moment) -> String {
    let seconds = at.0.div_euclid(1000);
    let day = Day::of(at, 0).map_or_else(|_| "19700101".to_owned(), |d| d.to_string().replace('-', ""));
    let of_day = seconds.rem_euclid(86_400);
    format!("{day}T{:02}{:02}{:02}Z", of_day / 3600, of_day / 60 % 60, of_day % 60)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Lines are folded at 75 octets and text is escaped (RFC 5545, 3.1 and 3.3.11).
    #[test]
    fn a_feed_is_what_calendars_read() {
        let day: Day = "2026-11-25".parse().unwrap();
        let entry = Entry {
            uid: "abc".to_owned(),
            day,
            days: 2,
            title: "Jumps, hops; and a very long title that goes on beyond seventy-five octets äöü"
                .to_owned(),
            place: Some("Cellar".to_owned()),
            about: None,
        };
        let text = written("Training", &[entry], Moment(1_795_608_000_000));
        assert!(text.starts_with("BEGIN:VCALENDAR\r\n") && text.ends_with("END:VCALENDAR\r\n"), "{text}");
        assert!(text.lines().all(|l| l.trim_end_matches('\r').len() <= 75), "{text}");
        let whole = text.replace("\r\n ", "");
        for line in [
            "VERSION:2.0",
            "UID:abc@backstraight",
            "DTSTAMP:20261125T120000Z",
            "DTSTART;VALUE=DATE:20261125",
            "DTEND;VALUE=DATE:20261127",
            "LOCATION:Cellar",
        ] {
            assert!(whole.lines().any(|l| l.trim_end_matches('\r') == line), "{line} in {whole}");
        }
        assert!(whole.contains("SUMMARY:Jumps\\, hops\\; and a very long"), "{whole}");
        assert_eq!(whole.matches("DTSTAMP").count(), 1);
    }
}
