//! The evening against the tally: each claim is worked out from the ledger or counted over the records
//! of the plans, never by the code that made the figure.

use std::collections::{BTreeMap, BTreeSet};

use backstraight_core::base::day::Day;
use backstraight_core::base::key::Key;
use backstraight_core::model::name::DocName;
use backstraight_core::model::number::{Better, Pattern, Reps};
use backstraight_core::model::packed::Dose;
use backstraight_core::model::plan::{Exercise, Group, Prescription, Session};
use backstraight_server::report::attention::{AthleteReasons, AttentionList, RecordList};

use super::check::Claims;
use super::evening::{Evening, contacts};
use super::rulings;
use super::stage::{Stage, Trouble};
use super::story::{Told, cast};
use super::test_day::{SHARED, SLIP};
use crate::club::ledger::Trialled;
use crate::club::library::TESTS;
use crate::club::people::ATHLETES;

/// All claims about the evening.
///
/// # Errors
/// Whatever goes wrong.
pub fn evening(
    evening: &Evening,
    told: &Told,
    stage: &mut Stage,
    claims: &mut Claims,
) -> Result<(), Trouble> {
    attention(evening, told, stage, claims);
    records(evening, told, claims);
    rulings::claims(&evening.proposals, &evening.ruled, told, stage, claims)?;
    loads(evening, told, claims)?;
    ahead(evening, stage, claims)
}

fn name(index: usize) -> &'static str {
    ATHLETES.get(index).map_or("", |p| p.name)
}

/// Who is in the list for a topic.
fn with<'a>(list: &'a AttentionList, topic: &str) -> Vec<&'a str> {
    let of = |a: &&AthleteReasons| a.reasons.iter().any(|r| r.topic == topic);
    list.athletes.iter().filter(of).map(|a| a.name.as_str()).collect()
}

/// For how many of a list pain was not looked at.
fn blind(list: &AttentionList) -> usize {
    let of = |a: &&AthleteReasons| a.not_looked.iter().any(|n| n.topic == "pain or illness");
    list.athletes.iter().filter(of).count()
}

fn attention(evening: &Evening, told: &Told, stage: &Stage, claims: &mut Claims) {
    let list = &evening.attention;
    let days = stage.today.since(told.silent_since);
    let unheard: Vec<(&str, &str)> = list
        .athletes
        .iter()
        .flat_map(|a| a.reasons.iter().map(move |r| (a.name.as_str(), r)))
        .filter(|(_, r)| r.topic == "unheard")
        .map(|(name, r)| (name, r.words.as_str()))
        .collect();
    claims.say(
        format!("the evening's list names the silent phone alone as unheard, for {days} days"),
        unheard == [(name(cast::SILENT), format!("unheard for {days} days; not a miss").as_str())],
        format!("{unheard:?}"),
    );
    let met = with(list, "two edits met");
    claims.say(
        "the list names the athlete in whose plan two edits met, and nobody else",
        met == [name(cast::SWAPS)],
        format!("{met:?}"),
    );
    let all = ATHLETES.len();
    claims.say(
        "no pain is in the list without consent, and the list says of all that it did not look",
        with(list, "pain or illness").is_empty() && blind(list) == all && list.athletes.len() == all,
        format!("{:?}, {} not looked at", with(list, "pain or illness"), blind(list)),
    );
    claims.say(
        "with her consent Ines's pain is in the list, and of the others it still did not look",
        with(&evening.opened, "pain or illness") == [name(cast::SWAPS)] && blind(&evening.opened) == all - 1,
        format!("{:?}", with(&evening.opened, "pain or illness")),
    );
    claims.say(
        "after she took it back the list is the one from before",
        evening.closed == evening.attention,
        "it is another",
    );
    let own = changed(told, stage);
    let found: BTreeSet<(String, String)> = list
        .athletes
        .iter()
        .flat_map(|a| a.reasons.iter().map(move |r| (a, r)))
        .filter(|(_, r)| r.topic == "test")
        .map(|(a, r)| (a.name.clone(), r.words.split(':').next().unwrap_or("").to_owned()))
        .collect();
    claims.say(
        format!("the {} tests that changed beyond noise are those of the ledger, by hand", own.len()),
        found == own,
        format!("{found:?} instead of {own:?}"),
    );
}

/// Athlete and title of the tests whose best of the second day differs from the first day's by more
/// than 1.96 × √2 typical errors as the club set them.
fn changed(told: &Told, stage: &Stage) -> BTreeSet<(String, String)> {
    let mut out = BTreeSet::new();
    for (word, title, _, better, ..) in TESTS {
        // mm and ms.
        let noise = match word {
            "long-jump" => 50.0,
            "thirty" => 35.0,
            _ => continue,
        };
        for index in 0..ATHLETES.len() {
            let best = |second: bool| {
                let of = told.ledger.trials.iter().filter(|t| {
                    let late = stage.today.since(t.day) < 30;
                    t.athlete == index && t.test == word && !t.withdrawn && late == second
                });
                if better == Better::Higher { of.map(|t| t.value).max() } else { of.map(|t| t.value).min() }
            };
            let (Some(first), Some(second)) = (best(false), best(true)) else { continue };
            #[expect(clippy::cast_precision_loss, reason = "some metres in mm")]
            let change = (second - first).abs() as f64;
            if change > 1.96 * 2.0_f64.sqrt() * noise {
                out.insert((name(index).to_owned(), title.to_owned()));
            }
        }
    }
    out
}

/// Test, class, ages, season, too much wind.
type Class = (String, String, String, Option<i32>, bool);
/// The mark in thousandths, and who holds it since when.
type Holders = (i64, BTreeSet<(String, String)>);

fn year(day: Day) -> i32 {
    i32::from(day.month().year())
}

/// The best marks by hand, of everybody or of one athlete.
fn best(told: &Told, of: Option<usize>) -> BTreeMap<Class, Holders> {
    let mut out: BTreeMap<Class, (i64, BTreeMap<usize, Day>)> = BTreeMap::new();
    let counts = |t: &&Trialled| !t.withdrawn && of.is_none_or(|i| i == t.athlete);
    for t in told.ledger.trials.iter().filter(counts) {
        let (Some(person), Some(test)) =
            (ATHLETES.get(t.athlete), TESTS.iter().find(|(word, ..)| *word == t.test))
        else {
            continue;
        };
        let ages = match year(t.day) - i32::from(person.born) {
            ..14 => "under 14",
            14..16 => "under 16",
            16..18 => "under 18",
            18..20 => "under 20",
            _ => "senior",
        };
        let season = year(t.day) + i32::from(t.day.month().number() >= 10);
        for season in [None, Some(season)] {
            let class = (test.1.to_owned(), person.sex.word().to_owned(), ages.to_owned(), season, t.windy());
            let slot = out.entry(class).or_insert((t.value, BTreeMap::new()));
            let better = if test.3 == Better::Higher { t.value > slot.0 } else { t.value < slot.0 };
            if better {
                *slot = (t.value, BTreeMap::new());
            }
            if t.value == slot.0 {
                let since = slot.1.entry(t.athlete).or_insert(t.day);
                *since = (*since).min(t.day);
            }
        }
    }
    let named = |(value, who): (i64, BTreeMap<usize, Day>)| {
        (value, who.into_iter().map(|(i, day)| (name(i).to_owned(), day.to_string())).collect())
    };
    out.into_iter().map(|(class, slot)| (class, named(slot))).collect()
}

/// The same of a list that the server gave.
fn shown(list: &RecordList) -> BTreeMap<Class, Holders> {
    let of = |r: &backstraight_server::report::attention::RecordReport| {
        let sex = r.sex.clone().unwrap_or_default();
        let class = (r.test.clone(), sex, r.ages.clone(), r.season.map(i32::from), r.wind_aided);
        #[expect(clippy::cast_possible_truncation, reason = "some metres in mm")]
        let value = r.best.first().map_or(0, |b| (b.value * 1000.0).round() as i64);
        let who = r.best.iter().map(|b| (b.name.clone().unwrap_or_default(), b.day.clone()));
        (class, (value, who.collect()))
    };
    list.records.iter().map(of).collect()
}

fn records(evening: &Evening, told: &Told, claims: &mut Claims) {
    let (own, found) = (best(told, None), shown(&evening.records));
    let wrong: Vec<_> = own.iter().filter(|(class, best)| found.get(*class) != Some(*best)).collect();
    claims.say(
        format!(
            "all {} best marks are the ledger's, with holders and days, and there are no others",
            own.len()
        ),
        found == own && !own.is_empty(),
        format!("{} found; not as by hand: {wrong:?}", found.len()),
    );
    let shared: Vec<&Holders> = found.values().filter(|h| h.0 == SHARED).collect();
    let both = BTreeSet::from([name(cast::SWAPS), name(cast::TIED)]);
    let names = |h: &Holders| h.1.iter().map(|(n, _)| n.clone()).collect::<Vec<_>>();
    claims.say(
        "two athletes who jumped equally far share that mark",
        !shared.is_empty()
            && shared.iter().all(|h| names(h).iter().map(String::as_str).collect::<BTreeSet<_>>() == both),
        format!("{shared:?}"),
    );
    let aided: BTreeSet<String> = found.iter().filter(|(c, _)| c.4).flat_map(|(_, h)| names(h)).collect();
    let just: Vec<i64> = found
        .iter()
        .filter(|(c, h)| !c.4 && names(h).contains(&name(cast::BREEZE).to_owned()))
        .map(|(_, h)| h.0)
        .collect();
    claims.say(
        "the sprint with 2.6 m/s of wind stands apart, the one with 2.0 m/s does not",
        aided == BTreeSet::from([name(cast::WINDY).to_owned()]) && just.contains(&3_900),
        format!("{aided:?} {just:?}"),
    );
    let slip = found.values().chain(shown(&evening.own).values()).any(|h| h.0 == SLIP);
    claims.say("the withdrawn mark is no record", !slip, "it is");
    let mine = shown(&evening.own);
    claims.say(
        "an athlete reads no marks but the own ones",
        mine == best(told, Some(cast::SWAPS)) && !mine.is_empty(),
        format!("{mine:?}"),
    );
    let minors = |i: usize| ATHLETES.get(i).is_some_and(|p| p.born >= 2010);
    let young: BTreeSet<String> =
        (0..ATHLETES.len()).filter(|i| minors(*i)).map(|i| name(i).to_owned()).collect();
    let named: BTreeSet<String> = found.values().flat_map(names).filter(|n| young.contains(n)).collect();
    claims.say(
        "the coach reads best marks of juniors by name, other athletes do not read them",
        !named.is_empty() && mine.values().flat_map(names).all(|n| !young.contains(&n)),
        format!("{named:?}"),
    );
    let noted = evening.records.records.iter().filter(|r| r.test == TESTS[0].1).flat_map(|r| &r.best);
    let noted: Vec<bool> = noted.map(|b| b.by_coach).collect();
    claims.say(
        "maxima that the coach took are marked so",
        !noted.is_empty() && noted.iter().all(|by| *by),
        format!("{noted:?}"),
    );
}

/// Kilograms of everybody's past weeks: loads times repetitions of the ledger's sets.
fn loads(evening: &Evening, told: &Told, claims: &mut Claims) -> Result<(), Trouble> {
    let (mut wrong, mut compared) = (Vec::new(), 0);
    let amended: BTreeSet<&Key> = told.ledger.saved.iter().filter_map(|s| s.amends.as_ref()).collect();
    for (index, loads) in evening.loads.iter().enumerate() {
        for week in &loads.weeks {
            let monday: Day = week.start.parse()?;
            let sunday = monday.plus(6);
            let sets = told.ledger.saved.iter().filter(|s| {
                let heard = index != cast::SILENT || s.day <= told.silent_since;
                s.athlete == index && monday <= s.day && s.day <= sunday && heard && !amended.contains(&s.set)
            });
            // Loads are in 10 g.
            let own: i64 = sets.filter_map(|s| Some(s.load? * s.amount?)).sum();
            #[expect(clippy::cast_precision_loss, reason = "some tonnes in 10 g")]
            let own = own as f64 / 100.0;
            let found: f64 = week.volume.kg.values().sum();
            compared += 1;
            if (own - found).abs() > 1e-6 {
                wrong.push(format!("{} {monday}: {found} instead of {own}", loads.name));
            }
        }
    }
    claims.say(
        format!("the kilograms of {compared} weeks are the ledger's loads times repetitions"),
        wrong.is_empty() && compared == ATHLETES.len() * 4,
        wrong.join("; "),
    );
    Ok(())
}

/// What a planned week asks: sessions, contacts, seconds held, metres sprinted.
#[derive(Debug, Default, Clone, Copy, PartialEq)]
struct Asked {
    sessions: u32,
    contacts: i64,
    hold_ms: i64,
    sprint_mm: i64,
}

/// The weeks ahead, counted over the records of the plans.
fn ahead(evening: &Evening, stage: &mut Stage, claims: &mut Claims) -> Result<(), Trouble> {
    let (season, club) = (stage.season()?, stage.club);
    let people: Vec<_> = stage.athletes.iter().map(|a| a.phone.identity().person).collect();
    let phone = &mut stage.coaches.first_mut().ok_or("no coach")?.phone;
    let exercises: BTreeMap<Key, Exercise> = phone
        .document(DocName::Library(club))?
        .records::<Exercise>("exercises")
        .live()
        .map(|e| (e.key(), e.record.clone()))
        .collect();
    let (mut wrong, mut total, mut compared) = (Vec::new(), Asked::default(), 0);
    for (person, shown) in people.into_iter().zip(&evening.ahead) {
        let doc = phone.document(DocName::Plan(person, season))?;
        let sessions: BTreeMap<Key, Day> =
            doc.records::<Session>("sessions").live().map(|s| (s.key(), s.record.date)).collect();
        let groups: BTreeMap<Key, Group> =
            doc.records::<Group>("groups").live().map(|g| (g.key(), g.record.clone())).collect();
        for week in &shown.next {
            let monday: Day = week.start.parse()?;
            let within = |day: &Day| (monday..=monday.plus(6)).contains(day);
            let mut own = Asked {
                sessions: u32::try_from(sessions.values().filter(|d| within(d)).count())?,
                ..Asked::default()
            };
            for item in doc.records::<Prescription>("items").live() {
                let Some(group) = groups.get(&item.record.of) else { continue };
                let inside = sessions.get(&group.of).is_some_and(within);
                let Some(ex) = exercises.get(&item.record.ex).filter(|_| inside) else { continue };
                let sets = group.rounds.unwrap_or(item.record.sets).get();
                count(&mut own, ex, item.record.dose, sets);
            }
            let v = &week.volume;
            #[expect(clippy::cast_precision_loss, reason = "small counts")]
            let same = week.sessions == own.sessions
                && (contacts(v) - own.contacts as f64).abs() < 1e-6
                && (v.hold_s - own.hold_ms as f64 / 1000.0).abs() < 1e-6
                && (v.sprint_m - own.sprint_mm as f64 / 1000.0).abs() < 1e-6;
            if !same {
                wrong.push(format!("{} {monday}: {own:?}, {} sessions, {v:?}", shown.name, week.sessions));
            }
            compared += 1;
            total.sessions += own.sessions;
            total.contacts += own.contacts;
            total.sprint_mm += own.sprint_mm;
        }
    }
    claims.say(
        format!(
            "{compared} weeks ahead ask {} sessions, {} contacts, {} m of sprints, by a count",
            total.sessions,
            total.contacts,
            total.sprint_mm / 1000
        ),
        wrong.is_empty() && compared == ATHLETES.len() * 2 && total.contacts > 0 && total.sprint_mm > 0,
        wrong.join("; "),
    );
    Ok(())
}

fn count(own: &mut Asked, ex: &Exercise, dose: Option<Dose>, sets: i64) {
    let per_rep = ex.contacts.map_or(0, |c| c.get());
    let sides = if ex.sides.is_some() { 2 } else { 1 };
    let reps = |n: Reps| n.get();
    match dose {
        Some(Dose::Contacts(n)) => own.contacts += n.get() * sets,
        Some(Dose::Reps(_, n)) => own.contacts += reps(n) * sides * per_rep * sets,
        Some(Dose::RepsPerSide(n)) => own.contacts += reps(n) * 2 * per_rep * sets,
        Some(Dose::Hold(t)) => own.hold_ms += t.get() * sides * sets,
        Some(Dose::HoldPerSide(t)) => own.hold_ms += t.get() * 2 * sets,
        Some(Dose::Distance(d)) if matches!(ex.pattern, Pattern::Sprint | Pattern::Hurdle) => {
            own.sprint_mm += d.get() * sets;
        }
        Some(Dose::Distance(_) | Dose::ToLimit) | None => {}
    }
}
