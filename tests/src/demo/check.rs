//! Every claim of the demo against the independent tally: what the phones called saved, kept in a
//! plain list, and simple arithmetic on it.

use std::collections::{BTreeMap, BTreeSet};

use backstraight_core::base::day::Day;
use backstraight_core::base::key::Key;
use backstraight_core::doc::open::Document;
use backstraight_core::model::log::{SessionDone, SetDone, Work};
use backstraight_core::model::name::{DocName, Kind};
use backstraight_server::report::athlete::AthleteReport;
use backstraight_server::report::board::Board;
use serde::Serialize;

use super::stage::{Stage, Trouble, at};
use super::story::{Told, cast};
use crate::club::ledger::Deed;
use crate::club::people::{ATHLETES, COACHES};

/// One claim and whether it held.
#[derive(Debug, Clone, Serialize)]
pub struct Claim {
    /// In words.
    pub claim: String,
    /// Whether it held.
    pub holds: bool,
    /// What was found, when it did not hold.
    pub found: String,
}

/// The claims.
#[derive(Debug, Default)]
pub struct Claims(pub Vec<Claim>);

impl Claims {
    pub(super) fn say(&mut self, claim: impl Into<String>, holds: bool, found: impl Into<String>) {
        let found = if holds { String::new() } else { found.into() };
        self.0.push(Claim { claim: claim.into(), holds, found });
    }

    /// Whether all held.
    #[must_use]
    pub fn all_hold(&self) -> bool {
        self.0.iter().all(|c| c.holds)
    }
}

/// Every set of a log document: key, load and amount, corrections included.
fn sets(doc: &Document) -> Vec<(Key, SetDone)> {
    let mut all = Vec::new();
    for session in doc.records::<SessionDone>("sessions").entries {
        for work in doc.inner_records::<Work>(&session.place).entries {
            all.extend(
                doc.inner_records::<SetDone>(&work.place).entries.into_iter().map(|s| (s.key(), s.record)),
            );
        }
    }
    all
}

/// Nothing saved is lost, nothing is invented, and everybody has the same: told from the documents
/// of an install that was never part of the story.
///
/// # Errors
/// Whatever goes wrong.
pub fn nothing_lost(stage: &mut Stage, told: &Told, claims: &mut Claims) -> Result<(), Trouble> {
    let person = stage.coaches.first().map(|c| c.phone.identity().person).ok_or("no coach")?;
    let fresh = format!("desk-new-{}", claims.0.len());
    let (mut desk, clock) = stage.install(person, &fresh)?;
    clock.set(stage.time());
    let mut http = backstraight_ffi::transport::Http::new(&stage.url()?);
    let report = desk.exchange(&mut http)?;
    claims.say(
        "a new desk takes everything over, and refuses none of it",
        report.refused.is_empty() && report.not_taken.is_empty(),
        format!("{:?} {:?}", report.refused, report.not_taken),
    );
    let mut found: BTreeMap<Key, SetDone> = BTreeMap::new();
    for name in desk.documents()?.into_iter().filter(|n| n.kind() == Kind::Log) {
        found.extend(sets(desk.document(name)?));
    }
    // What the silent phone logged since is on that phone only, by the story.
    let heard = |day: Day, athlete: usize| athlete != cast::SILENT || day <= told.silent_since;
    let expected: Vec<_> = told.ledger.saved.iter().filter(|s| heard(s.day, s.athlete)).collect();
    let wrong: Vec<&Key> = expected
        .iter()
        .filter(|s| {
            found.get(&s.set).is_none_or(|f| {
                let amount = f
                    .reps
                    .map(|n| n.get())
                    .or(f.contacts.map(|n| n.get()))
                    .or(f.hold.map(|n| n.get()))
                    .or(f.dist.map(|n| n.get()));
                f.load.map(|l| l.get()) != s.load || amount != s.amount || f.amends != s.amends
            })
        })
        .map(|s| &s.set)
        .collect();
    claims.say(
        format!(
            "all {} sets that phones called saved and sent are on the new desk, with their numbers",
            expected.len()
        ),
        wrong.is_empty(),
        format!("{} differ: {wrong:?}", wrong.len()),
    );
    let keys: BTreeSet<&Key> = expected.iter().map(|s| &s.set).collect();
    let extra: Vec<&Key> = found.keys().filter(|k| !keys.contains(k)).collect();
    claims.say("no set is on the desk that nobody logged", extra.is_empty(), format!("{extra:?}"));
    let mut unequal = Vec::new();
    for name in desk.documents()? {
        let heads = desk.document(name)?.heads();
        for coach in &mut stage.coaches {
            if coach.phone.document(name)?.heads() != heads {
                unequal.push(format!("{name} at {}", coach.name));
            }
        }
        for athlete in &mut stage.athletes {
            let own = name.athlete() == Some(athlete.phone.identity().person);
            let reads = own && athlete.index != cast::SILENT;
            // Phones that were not heard since the evening have the plan of this morning.
            let lives = [cast::SWAPS, cast::MOVED].contains(&athlete.index) || name.kind() == Kind::Log;
            if reads && lives && athlete.phone.document(name)?.heads() != heads {
                unequal.push(format!("{name} on the phone"));
            }
        }
    }
    claims.say("every copy of every document is the same", unequal.is_empty(), unequal.join(", "));
    let foreign: Vec<String> =
        desk.documents()?.into_iter().filter(|n| n.kind() == Kind::Care).map(|n| n.to_string()).collect();
    claims.say("no coach holds a care document without consent", foreign.is_empty(), foreign.join(", "));
    let mut spread = Vec::new();
    for athlete in &mut stage.athletes {
        let me = athlete.phone.identity().person;
        spread.extend(
            athlete
                .phone
                .documents()?
                .into_iter()
                .filter(|n| n.kind() != Kind::Library && n.athlete() != Some(me))
                .map(|n| n.to_string()),
        );
    }
    claims.say("no phone holds another athlete's documents", spread.is_empty(), spread.join(", "));
    Ok(())
}

/// The board says what the tally says.
pub fn board(board: &Board, told: &Told, stage: &Stage, claims: &mut Claims) {
    let mut wrong = Vec::new();
    let mut compared = 0;
    for (index, athlete) in stage.athletes.iter().enumerate() {
        let id = athlete.phone.identity().person.to_string();
        let Some(line) = board.athletes.iter().find(|a| a.id == id) else {
            wrong.push(format!("athlete {index} is missing"));
            continue;
        };
        for cell in &line.sessions {
            let outcome = told.ledger.outcomes.iter().find(|o| Some(o.session.to_string()) == cell.session);
            let Ok(date) = cell.date.parse::<Day>() else { continue };
            let silent = index == cast::SILENT && date > told.silent_since;
            let last_of_silent = index == cast::SILENT && date == told.silent_since;
            let want: &[&str] = match outcome.map(|o| o.deed) {
                _ if silent && date < stage.today => &["unheard"],
                _ if silent && date == stage.today => &["due today"],
                Some(Deed::All) => &["done"],
                // Half of the exercises; with rounds that may be more or less than half of the sets.
                Some(Deed::Some) => &["part done"],
                Some(Deed::Other) => &["changed"],
                Some(Deed::LeftOut) => &["missed"],
                // Heard on the day itself says nothing about its evening.
                Some(Deed::Nothing) if last_of_silent => &["unheard"],
                Some(Deed::Nothing) => &["missed"],
                None if date > stage.today => &["coming"],
                None if date == stage.today => &["due today"],
                None => &["unheard", "missed"],
            };
            compared += 1;
            if !want.contains(&cell.state.as_str()) {
                wrong.push(format!(
                    "{} {} {}: {} instead of {want:?}",
                    line.name, cell.date, cell.title, cell.state
                ));
            }
        }
    }
    claims.say(
        format!("the board's {compared} sessions have the states of the tally"),
        wrong.is_empty() && compared > 0,
        wrong.join("; "),
    );
    let silent = ATHLETES.get(cast::SILENT).map_or("", |p| p.name);
    let missed = board.athletes.iter().find(|a| a.name == silent).map(|a| {
        a.sessions.iter().filter(|s| s.date > told.silent_since.to_string() && s.state == "missed").count()
    });
    claims.say(
        "the phone that was not heard has no session called missed since",
        missed == Some(0),
        format!("{missed:?}"),
    );
    let elio = board
        .athletes
        .iter()
        .flat_map(|a| &a.sessions)
        .find(|s| s.session == Some(told.missed_session.to_string()));
    claims.say(
        "the session that a heard phone did not log is called missed",
        elio.is_some_and(|s| s.state == "missed"),
        format!("{elio:?}"),
    );
}

/// The athlete whose session was changed meanwhile.
pub fn ines(report: &AthleteReport, told: &Told, claims: &mut Claims) {
    let session = told.today_session.get(cast::SWAPS).map(ToString::to_string);
    let Some(review) = report.reviews.iter().find(|r| r.cell.session == session) else {
        claims.say("the session of the day is in the report", false, "it is not");
        return;
    };
    let (asked, did) = told.ines_sets;
    #[expect(clippy::cast_precision_loss, reason = "a count of sets")]
    let want = did as f64 / asked as f64;
    let share = review.cell.share.unwrap_or(-1.0);
    claims.say(
        format!("the session counts {did} of {asked} sets, as shown on the phone"),
        (share - want).abs() < 1e-9 && i64::from(review.cell.sets_asked) == asked,
        format!("{share} instead of {want}, {} sets asked", review.cell.sets_asked),
    );
    claims.say("it is marked as an earlier version", review.cell.earlier_version, "it is not");
    claims.say(
        "the swap is marked as allowed",
        review.cell.swapped == 1,
        format!("{} swaps", review.cell.swapped),
    );
    let skipped = review.items.iter().filter(|i| i.how == "left out: no kit").count();
    claims.say("the exercise left out says why", skipped == 1, format!("{skipped}"));
    let sets: Vec<_> = review.items.iter().flat_map(|i| &i.sets).collect();
    let fixed = sets.iter().find(|s| s.set == told.corrected.1.to_string());
    let load = |key: &Key| told.ledger.saved.iter().find(|s| s.set == *key).and_then(|s| s.load);
    #[expect(clippy::cast_precision_loss, reason = "loads are small")]
    let kg = |key: &Key| load(key).map(|l| l as f64 / 100.0);
    claims.say(
        "the corrected set shows the right load, and the wrong one beside it",
        fixed.is_some_and(|s| s.load_kg == kg(&told.corrected.1) && s.corrected_from.len() == 1)
            && !sets.iter().any(|s| s.set == told.corrected.0.to_string())
            && kg(&told.corrected.0) != kg(&told.corrected.1),
        format!("{fixed:?}"),
    );
    let met: Vec<_> = report.met_here.iter().filter(|m| m.field == "dose").collect();
    let words: BTreeSet<(&str, &str)> =
        met.iter().flat_map(|m| &m.choices).map(|c| (c.value.as_str(), c.who.as_str())).collect();
    let want = BTreeSet::from([("3 reps", COACHES[0]), ("4 reps", COACHES[1])]);
    claims.say("two edits met, with who wrote which", met.len() == 1 && words == want, format!("{words:?}"));
    claims.say(
        "fields that only one coach changed kept that change",
        report.met_here.len() == 1,
        format!("{} fields met", report.met_here.len()),
    );
}

/// Both coaches' edits survived on Ines's own phone.
///
/// # Errors
/// Whatever goes wrong.
pub fn both_edits(stage: &mut Stage, told: &Told, claims: &mut Claims) -> Result<(), Trouble> {
    let drop = stage.keys.get("drop-jump").cloned();
    let tomorrow = stage.today.plus(1);
    let athlete = stage.athletes.get_mut(cast::SWAPS).ok_or("no athlete")?;
    let plan = athlete.plan()?;
    let session = told.today_session.get(cast::SWAPS).and_then(|k| plan.session(k)).ok_or("session gone")?;
    let item = session.items().find(|(_, i)| i.key() == told.squat_item).map(|(_, i)| &i.record);
    let rest = item.and_then(|i| i.rest).map(|r| r.get());
    claims.say("her phone shows the rest that one coach set", rest == Some(240), format!("{rest:?}"));
    let heavier = item.and_then(|i| i.intensity.clone()).map(|i| i.to_string());
    let shown = told.ledger.saved.iter().find(|s| s.set == told.corrected.1).and_then(|s| s.load);
    let want = shown.map(|l| format!("load {}", l + 500));
    claims.say(
        "and the load that the other coach set",
        heavier == want,
        format!("{heavier:?} instead of {want:?}"),
    );
    let jumps = session.items().any(|(_, i)| Some(&i.record.ex) == drop.as_ref());
    claims.say("and the exercise that was added", jumps, "it is missing");
    let tobias = stage.athletes.get_mut(cast::MOVED).ok_or("no athlete")?;
    let plan = tobias.plan()?;
    let moved = told.today_session.get(cast::MOVED).and_then(|k| plan.session(k)).ok_or("session gone")?;
    claims.say(
        "the moved session is on the new day, with what was done on the old one",
        moved.session.record.date == tomorrow,
        moved.session.record.date.to_string(),
    );
    Ok(())
}

/// After the pick nothing meets any more, for anybody.
///
/// # Errors
/// Whatever goes wrong.
pub fn picked(stage: &mut Stage, told: &Told, claims: &mut Claims) -> Result<(), Trouble> {
    let season = stage.season()?;
    let ines = stage.athletes.get(cast::SWAPS).map(|a| a.phone.identity().person).ok_or("no athlete")?;
    let mut left = Vec::new();
    let mut values = BTreeSet::new();
    let name = DocName::Plan(ines, season);
    let mut look = |doc: &Document| {
        let plan = backstraight_core::view::planned::Plan::of(doc);
        left.push(plan.met.len());
        let item = plan.sessions.iter().flat_map(|s| s.items()).find(|(_, i)| i.key() == told.squat_item);
        values.insert(item.and_then(|(_, i)| i.record.dose).map(|d| d.to_string()));
    };
    for coach in &mut stage.coaches {
        look(at("document", coach.phone.document(name))?);
    }
    let athlete = stage.athletes.get_mut(cast::SWAPS).ok_or("no athlete")?;
    look(at("document", athlete.phone.document(name))?);
    claims.say(
        "after the head coach picked, nobody sees two edits, and all see the same value",
        left.iter().all(|n| *n == 0) && values == BTreeSet::from([Some("reps 3".to_owned())]),
        format!("{left:?} {values:?}"),
    );
    Ok(())
}

/// The silent phone comes back at last: nothing that it saved is lost.
///
/// # Errors
/// Whatever goes wrong.
pub fn silent_returns(stage: &mut Stage, told: &mut Told, claims: &mut Claims) -> Result<(), Trouble> {
    let when = stage.time().plus_ms(60_000);
    let report = stage.exchange_athlete(cast::SILENT, when)?;
    claims.say(
        "six days of a silent phone go up in one round trip",
        report.rounds == 1 && report.refused.is_empty(),
        format!("{report:?}"),
    );
    for c in 0..stage.coaches.len() {
        stage.exchange_coach(c, when.plus_ms(1000))?;
    }
    told.silent_since = stage.today;
    nothing_lost(stage, told, claims)
}
