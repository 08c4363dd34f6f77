//! What the rules of the plans propose, worked out by hand from the ledger; and the head coach's rulings
//! on the proposals of one athlete, step by step.

use std::collections::{BTreeMap, BTreeSet};

use backstraight_core::base::day::Day;
use backstraight_core::base::key::Key;
use backstraight_core::doc::open::Document;
use backstraight_core::model::name::DocName;
use backstraight_core::model::number::{Load, Ruling};
use backstraight_core::model::packed::Intensity;
use backstraight_core::model::plan::{Group, Prescription, Session, Week};
use backstraight_core::view::board::Athlete;
use backstraight_core::view::done::Done;
use backstraight_core::view::library::Library;
use backstraight_core::view::planned::Plan;
use backstraight_core::view::plans::Plans;
use backstraight_core::view::proposal::{self, Hand, Proposal, Proposals};
use backstraight_ffi::phone::Phone;
use backstraight_server::report::attention::ProposalList;

use super::check::Claims;
use super::stage::{Stage, Trouble, at};
use super::story::{Told, cast};
use crate::club::ledger::{Deed, Saved};
use crate::club::people::{ATHLETES, COACHES};

/// Prescriptions of a plan, by key.
type Items = BTreeMap<Key, Prescription>;

/// The plan of one athlete at each step of the head coach's evening.
#[derive(Debug)]
pub struct Ruled {
    /// The plans of all athletes before and after the proposals were asked for.
    pub around: (Vec<Items>, Vec<Items>),
    /// Accepted, edited, dismissed.
    proposals: [Proposal; 3],
    /// What the coach wrote instead, 10 g.
    own: i64,
    /// Before the first ruling, then after each: accepted, edited, dismissed, the edit taken back.
    steps: [Items; 5],
    /// On the other desk and on the athlete's phone in the end.
    elsewhere: Vec<Items>,
    /// What the machine proposes in the end.
    after: ProposalList,
}

/// Load of a prescription, 10 g.
fn load(p: &Prescription) -> Option<i64> {
    match p.intensity {
        Some(Intensity::Load(l)) => Some(l.get()),
        _ => None,
    }
}

#[expect(clippy::cast_precision_loss, reason = "loads are small")]
fn kg(units: i64) -> f64 {
    units as f64 / 100.0
}

fn items(doc: &Document) -> Items {
    doc.records::<Prescription>("items").live().map(|e| (e.key(), e.record.clone())).collect()
}

/// The plans of all athletes as the head coach's desk has them.
///
/// # Errors
/// Whatever goes wrong.
pub fn plans(stage: &mut Stage) -> Result<Vec<Items>, Trouble> {
    let season = stage.season()?;
    let people: Vec<_> = stage.athletes.iter().map(|a| a.phone.identity().person).collect();
    let phone = &mut stage.coaches.first_mut().ok_or("no coach")?.phone;
    people.into_iter().map(|p| Ok(items(phone.document(DocName::Plan(p, season))?))).collect()
}

/// The head coach rules on the proposals of one athlete; `around` are the plans before the list of
/// proposals was asked for.
///
/// # Errors
/// Whatever goes wrong.
pub fn rule(
    stage: &mut Stage,
    around: (Vec<Items>, Vec<Items>),
    ask: impl FnOnce(&Stage) -> Result<ProposalList, Trouble>,
    say: &mut dyn FnMut(&str),
) -> Result<Ruled, Trouble> {
    let (today, season, club) = (stage.today, stage.season()?, stage.club);
    let when = stage.time().plus_ms(60_000);
    let (bench, thrust, squat) = {
        let key = |w: &str| stage.keys.get(w).cloned().ok_or_else(|| format!("no exercise {w}"));
        (key("bench")?, key("hip-thrust")?, key("squat")?)
    };
    let person =
        stage.athletes.get(cast::RULED).map(|a| a.phone.identity().person).ok_or("no athlete to rule on")?;
    let name = DocName::Plan(person, season);
    let coach = stage.coaches.first_mut().ok_or("no coach")?;
    coach.clock.set(when);
    let by = coach.phone.identity().person;
    let found = look(&mut coach.phone, club, name, today)?;
    let of = |ex: &Key| {
        let one = found.open.iter().find(|p| p.from.ex == *ex).cloned();
        one.ok_or("one of three rules proposes nothing")
    };
    let proposals = [of(&squat)?, of(&thrust)?, of(&bench)?];
    let [accepted, edited, dismissed] = &proposals;
    let words = |p: &Prescription| load(p).map_or_else(String::new, |l| format!("{} kg", kg(l)));
    let line = |p: &Proposal| format!("{} instead of {} on {}", words(&p.to), words(&p.from), p.date);
    let own = load(&edited.from).ok_or("no load to edit")? + 250;
    let mut other = edited.from.clone();
    other.intensity = Some(Intensity::Load(Load::new(own)?));
    let phone = &mut coach.phone;
    let run = |phone: &mut Phone, make: &dyn Fn(Hand) -> _| -> Result<Items, Trouble> {
        let command = make(Hand { key: phone.key(), by, at: when, note: None });
        at("ruling", phone.run(name, &command))?;
        Ok(items(phone.document(name)?))
    };
    let before = items(phone.document(name)?);
    let one = run(phone, &|hand| accepted.accept(hand))?;
    say(&format!("   accepted: back squat {}", line(accepted)));
    let two = run(phone, &|hand| edited.edit(other.clone(), hand))?;
    say(&format!("   edited: hip thrust {}; {} it is", line(edited), words(&other)));
    let three = run(phone, &|hand| dismissed.dismiss(hand))?;
    say(&format!("   dismissed: bench press {}", line(dismissed)));
    let plan = Plan::of(phone.document(name)?);
    let decision = plan.decisions.iter().find(|d| d.live() && d.record.ruling == Ruling::Edited);
    let undo = proposal::undo(decision.ok_or("no decision to take back")?, &plan);
    at("undo", phone.run(name, &undo.map_err(|e| format!("{e:?}"))?))?;
    let four = items(phone.document(name)?);
    say("   taken back: the edit of the hip thrust; the plan asks what it asked before");
    stage.exchange_coach(0, when)?;
    stage.exchange_coach(1, when.plus_ms(1000))?;
    stage.exchange_athlete(cast::RULED, when.plus_ms(2000))?;
    let desk = stage.coaches.get_mut(1).ok_or("no second desk")?.phone.document(name).map(items)?;
    let athlete = stage.athletes.get_mut(cast::RULED).ok_or("no athlete")?;
    let elsewhere = vec![desk, athlete.phone.document(name).map(items)?];
    let after = ask(stage)?;
    Ok(Ruled { around, proposals, own, steps: [before, one, two, three, four], elsewhere, after })
}

/// What differs between two states of a plan.
fn changes(before: &Items, after: &Items) -> Vec<(Key, Option<Prescription>, Option<Prescription>)> {
    let keys: BTreeSet<&Key> = before.keys().chain(after.keys()).collect();
    let of = |k: &Key| (k.clone(), before.get(k).cloned(), after.get(k).cloned());
    keys.into_iter().map(of).filter(|(_, b, a)| b != a).collect()
}

/// Whether exactly one prescription changed, in nothing but its load, to `load`.
fn only(before: &Items, after: &Items, item: &Key, wanted: Option<i64>) -> bool {
    match changes(before, after).as_slice() {
        [(key, Some(was), Some(is))] => {
            let rest = Prescription { intensity: was.intensity.clone(), ..is.clone() };
            key == item && rest == *was && load(is) == wanted && wanted.is_some()
        }
        _ => false,
    }
}

/// The list of proposals against the ledger, and the rulings against arithmetic.
///
/// # Errors
/// Whatever goes wrong.
pub fn claims(
    list: &ProposalList,
    ruled: &Ruled,
    told: &Told,
    stage: &mut Stage,
    claims: &mut Claims,
) -> Result<(), Trouble> {
    claims.say(
        "asking what the rules propose changed no plan",
        ruled.around.0 == ruled.around.1 && !ruled.around.0.is_empty(),
        "plans differ",
    );
    let own = by_hand(&ruled.around.0, told, stage)?;
    let found = listed(list, stage);
    claims.say(
        format!("the {} open proposals are the ledger's last loads with the rules, by hand", own.len()),
        found == own && !own.is_empty(),
        format!("{:?} and {:?}", found.difference(&own), own.difference(&found)),
    );
    let [accepted, edited, dismissed] = &ruled.proposals;
    let [before, one, two, three, four] = &ruled.steps;
    let hand = |p: &Proposal| own.iter().find(|(i, k, _)| *i == cast::RULED && *k == p.id.item).map(|o| o.2);
    claims.say(
        "the accepted proposal changed its own load to the one by hand, and nothing else",
        only(before, one, &accepted.id.item, hand(accepted)),
        format!("{:?} instead of {:?}", changes(before, one), hand(accepted)),
    );
    claims.say(
        "the edited one holds what the coach wrote, and nothing else changed",
        only(one, two, &edited.id.item, Some(ruled.own)) && hand(edited) != Some(ruled.own),
        format!("{:?}", changes(one, two)),
    );
    claims.say("the dismissed one changed nothing", two == three, format!("{:?}", changes(two, three)));
    claims.say(
        "the edit taken back left the plan as it was before it",
        three != four && four == one,
        format!("{:?}", changes(one, four)),
    );
    claims.say(
        "the other desk and the athlete's phone have the same plan",
        ruled.elsewhere.len() == 2 && ruled.elsewhere.iter().all(|e| e == four),
        "they differ",
    );
    let open: BTreeSet<Key> =
        listed(&ruled.after, stage).into_iter().filter(|o| o.0 == cast::RULED).map(|o| o.1).collect();
    claims.say(
        "accepted and dismissed proposals do not come again, the one taken back does",
        open == BTreeSet::from([edited.id.item.clone()])
            && ![&accepted.id.item, &dismissed.id.item].iter().any(|k| open.contains(k)),
        format!("{open:?}"),
    );
    Ok(())
}

/// Athlete, prescription and load in 10 g of each open proposal of a list.
fn listed(list: &ProposalList, stage: &Stage) -> BTreeSet<(usize, Key, i64)> {
    let mut out = BTreeSet::new();
    for (index, athlete) in stage.athletes.iter().enumerate() {
        let id = athlete.phone.identity().person.to_string();
        for p in list.athletes.iter().filter(|a| a.id == id).flat_map(|a| &a.open) {
            let item = p.id.split('.').next().and_then(|k| k.parse().ok());
            let kg: Option<f64> =
                p.to.split_once(" kg")
                    .and_then(|(before, _)| before.rsplit([' ', ',']).next())
                    .and_then(|n| n.parse().ok());
            #[expect(clippy::cast_possible_truncation, reason = "loads are small")]
            let units = kg.map_or(-1, |kg| (kg * 100.0).round() as i64);
            out.insert((index, item.unwrap_or_else(Key::main), units));
        }
    }
    out
}

/// A prescription with a rule.
struct Ruling1<'a> {
    key: &'a Key,
    record: &'a Prescription,
    session: Key,
    date: Day,
    sets: usize,
}

/// What the rules come to: the least load of the last sets with the rule in four weeks, and the step
/// when all sets were done and a week has passed; nothing where that is what the plan asks.
fn by_hand(plans: &[Items], told: &Told, stage: &mut Stage) -> Result<BTreeSet<(usize, Key, i64)>, Trouble> {
    let (today, season) = (stage.today, stage.season()?);
    let squat = stage.keys.get("squat").cloned().ok_or("no squat")?;
    let people: Vec<_> = stage.athletes.iter().map(|a| a.phone.identity().person).collect();
    let phone = &mut stage.coaches.first_mut().ok_or("no coach")?.phone;
    let mut out = BTreeSet::new();
    for (index, (person, all)) in people.into_iter().zip(plans).enumerate() {
        let doc = phone.document(DocName::Plan(person, season))?;
        let sessions: BTreeMap<Key, Day> =
            doc.records::<Session>("sessions").live().map(|s| (s.key(), s.record.date)).collect();
        let groups: BTreeMap<Key, Group> =
            doc.records::<Group>("groups").live().map(|g| (g.key(), g.record.clone())).collect();
        let easy: BTreeSet<Day> = doc
            .records::<Week>("weeks")
            .live()
            .filter(|w| w.record.easy == Some(true))
            .map(|w| w.record.start)
            .collect();
        for (rule, step, cycle) in
            [("load 250", 250, false), ("load 500", 500, false), ("load 250 easy 4 900", 250, true)]
        {
            let mut chain: Vec<Ruling1<'_>> = Vec::new();
            for (key, record) in all {
                let named = record.rule.as_ref().is_some_and(|r| r.to_string() == rule);
                let Some(group) = groups.get(&record.of).filter(|_| named) else { continue };
                let Some(date) = sessions.get(&group.of) else { continue };
                let sets = usize::try_from(group.rounds.unwrap_or(record.sets).get())?;
                chain.push(Ruling1 { key, record, session: group.of.clone(), date: *date, sets });
            }
            chain.sort_by_key(|c| c.date);
            let Some(first) = chain.first().map(|c| c.date.week_start()) else { continue };
            let is_easy = |day: Day| {
                let weeks = day.week_start().since(first) / 7;
                cycle && ((weeks + 1) % 4 == 0 || easy.contains(&day.week_start()))
            };
            let heard = |s: &&Saved| index != cast::SILENT || s.day <= told.silent_since;
            let amended: BTreeSet<&Key> =
                told.ledger.saved.iter().filter_map(|s| s.amends.as_ref()).collect();
            let done: Vec<(&Saved, &Ruling1<'_>)> = told
                .ledger
                .saved
                .iter()
                .filter(|s| s.athlete == index && !amended.contains(&s.set))
                .filter(heard)
                .filter(|s| today.since(s.day) <= 28 && !is_easy(s.day))
                .filter_map(|s| Some((s, chain.iter().find(|c| s.item.as_ref() == Some(c.key))?)))
                .collect();
            let Some(last) = done.iter().map(|(s, _)| s.day).max() else { continue };
            let sets: Vec<_> = done.iter().filter(|(s, _)| s.day == last).collect();
            let begun = |key: &Key| {
                let mut all = told.ledger.outcomes.iter();
                all.any(|o| o.session == *key && o.deed != Deed::Nothing)
            };
            let next = chain.iter().find(|c| c.date >= today && c.date > last && !begun(&c.session));
            let (Some(next), Some((_, asked)), Some(least)) =
                (next, sets.first(), sets.iter().filter_map(|(s, _)| s.load).min())
            else {
                continue;
            };
            // In the weeks of meets the plan takes dumbbells instead of the squat.
            let other = next.record.ex == squat && next.date >= today.plus(7);
            if other || sets.iter().any(|(s, _)| s.ex != next.record.ex) {
                continue;
            }
            let on = sets.len() >= asked.sets && next.date.week_start() > last.week_start();
            let units =
                if is_easy(next.date) { least * 9 / 10 / 50 * 50 } else { least + i64::from(on) * step };
            if load(next.record) != Some(units) {
                out.insert((index, next.key.clone(), units));
            }
        }
    }
    Ok(out)
}

fn look(
    phone: &mut Phone,
    club: backstraight_core::base::id::ClubId,
    plan: DocName,
    today: Day,
) -> Result<Proposals, Trouble> {
    let DocName::Plan(person, season) = plan else { return Err("no plan".into()) };
    let library = Library::of(phone.document(DocName::Library(club))?);
    let (this, before) = (today.month(), today.plus(-28).month());
    let mut logs = Vec::new();
    for month in if this == before { vec![this] } else { vec![before, this] } {
        logs.push(phone.document(DocName::Log(person, month))?.clone());
    }
    let done = Done::of(&logs);
    let plans = Plans::one(season, Plan::of(phone.document(plan)?));
    let athlete =
        Athlete { person, name: "", events: "", plans: &plans, done: &done, heard_through: Some(today) };
    Ok(proposal::proposals(athlete, &library, today))
}

/// Who rules, and on whose plan, as the transcript names them.
#[must_use]
pub fn heading() -> String {
    let (coach, athlete) = (COACHES[0], ATHLETES.get(cast::RULED).map_or("", |p| p.name));
    format!("{coach} rules on what {athlete}'s plan proposes; nothing changes by itself:")
}
