//! Everything that is read from text: what reads is written again as the same. And the other way round: text of people
//! in tables and calendars stays what it was.

use std::fmt::{Debug, Display};
use std::str::FromStr;

use backstraight_core::base::csv::{Cell, Csv, decimal, plain};
use backstraight_core::base::day::{Day, Month};
use backstraight_core::base::id::{ActorId, ChangeHash, ClubId, InstallId, PersonId, SquadId};
use backstraight_core::base::key::Key;
use backstraight_core::base::moment::Moment;
use backstraight_core::doc::gate::RejectCode;
use backstraight_core::exchange::access::Role;
use backstraight_core::model::name::DocName;
use backstraight_core::model::number::{Aim, Available, Pattern, Side, Skip};
use backstraight_core::model::packed::{Dose, Intensity, Target, Waves};
use backstraight_core::model::rule::{ProposalId, Rule};
use backstraight_core::science::registry;
use backstraight_server::config::Every;
use backstraight_server::limits::Limits;
use backstraight_server::store::postgres::Url;

use crate::fuzz::feed::Feed;
use crate::table::records;

pub(crate) fn text(input: &[u8]) -> bool {
    let mut feed = Feed::new(input);
    let what = feed.byte();
    let number = feed.long();
    let rest = feed.rest();
    let text = String::from_utf8_lossy(rest);
    days(number);
    match what % 4 {
        0 => values(&text),
        1 => {
            let limits = Limits::parse(&text);
            assert!(limits.as_ref().is_ok_and(|l| l.json_bytes >= 1_024) || limits.is_err());
            limits.is_ok() | text.parse::<Every>().is_ok() | text.parse::<Url>().is_ok()
        }
        2 => tables(&text, number),
        _ => question(&text),
    }
}

fn reads<T: FromStr + Display + PartialEq + Debug>(text: &str) -> bool
where
    T::Err: Debug,
{
    let Ok(value) = text.parse::<T>() else { return false };
    let written = value.to_string();
    assert_eq!(written.parse::<T>().unwrap_or_else(|e| panic!("{written:?}: {e:?}")), value);
    true
}

fn values(text: &str) -> bool {
    let readers: &[fn(&str) -> bool] = &[
        reads::<Day>,
        reads::<Month>,
        reads::<Key>,
        reads::<PersonId>,
        reads::<ClubId>,
        reads::<SquadId>,
        reads::<InstallId>,
        reads::<ActorId>,
        reads::<ChangeHash>,
        reads::<DocName>,
        reads::<Role>,
        reads::<RejectCode>,
        reads::<Dose>,
        reads::<Intensity>,
        reads::<Waves>,
        reads::<Target>,
        reads::<Rule>,
        reads::<ProposalId>,
        reads::<Aim>,
        reads::<Available>,
        reads::<Pattern>,
        reads::<Side>,
        reads::<Skip>,
    ];
    // Every one of them, also when an earlier one took it.
    let taken = readers.iter().filter(|reads| reads(text)).count();
    if let Ok(name) = DocName::from_bytes(text.as_bytes()) {
        assert_eq!(name.to_bytes(), text.as_bytes());
    }
    if let Ok(day) = text.parse::<Day>() {
        assert!(day.week_start() <= day && day.since(day.week_start()) < 7);
    }
    taken > 0
}

/// Any text of people comes back out of a table as it went in, and no cell is a formula.
fn tables(text: &str, number: u64) -> bool {
    let parts: Vec<&str> = text.split('\u{1f}').collect();
    let mut csv = Csv::new(["first"]);
    csv.row(parts.iter().map(|p| Cell::Text((*p).to_owned())));
    let whole = csv.finish();
    let line = whole.strip_prefix("first\r\n").unwrap();
    let [cells] = <[_; 1]>::try_from(records(line)).unwrap();
    assert_eq!(cells.iter().map(|c| plain(c)).collect::<Vec<_>>(), parts);
    assert!(cells.iter().all(|c| !c.starts_with(['=', '+', '-', '@', '\t', '\r'])));
    let places = u32::from(number.to_le_bytes()[7]);
    let written = decimal(number.cast_signed(), places % 24);
    assert!(written.parse::<f64>().is_ok_and(f64::is_finite), "{written}");
    true
}

/// A formula asked in words, as on a command line.
fn question(text: &str) -> bool {
    let mut words = text.split_whitespace();
    let id = words.next().unwrap_or_default();
    let pairs: Vec<(&str, &str)> = words.filter_map(|w| w.split_once('=')).take(40).collect();
    let Ok(answer) = registry::run(id, &pairs) else { return false };
    super::formulas::sound(&answer);
    answer.result.is_ok()
}

/// Days of any moment, and back.
fn days(number: u64) {
    let [a, b, ..] = number.to_le_bytes();
    let offset = i32::from(i16::from_le_bytes([a, b]));
    for moment in [Moment(number.cast_signed()), Moment(number.cast_signed() >> 20)] {
        let _ = moment.to_string();
        if let Ok(day) = Day::of(moment, offset) {
            assert_eq!(day.to_string().parse::<Day>().as_ref(), Ok(&day));
            let _ = (day.plus(i32::MAX), day.plus(i32::MIN), day.month(), day.week_start());
        }
    }
}
