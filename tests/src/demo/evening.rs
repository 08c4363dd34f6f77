//! The coach's evening: whom to look at, best marks, what the rules of the plans propose. Each claim is
//! held against the ledger or counted anew here.

use backstraight_core::model::name::DocName;
use backstraight_core::model::number::{Ruling, Sex};
use backstraight_core::model::packed::Intensity;
use backstraight_core::model::plan::Prescription;
use backstraight_core::view::board::{Athlete, row};
use backstraight_core::view::done::Done;
use backstraight_core::view::forecast::forecast;
use backstraight_core::view::library::Library;
use backstraight_core::view::load;
use backstraight_core::view::planned::Plan;
use backstraight_core::view::proposal::{self, Hand, Proposals};
use backstraight_server::report::attention::{AttentionList, ProposalList, RecordList};

use super::check::Claims;
use super::stage::{Stage, Trouble, at};
use super::story::{Told, cast};
use crate::club::people::ATHLETES;

/// Year from which somebody who is of age on every day of the story was born.
const OF_AGE: i16 = 2006;

/// The list of whom to look at.
pub fn attention(list: &AttentionList, told: &Told, stage: &Stage, claims: &mut Claims) {
    let has = |topic: &str| -> Vec<&str> {
        let of = |a: &&backstraight_server::report::attention::AthleteReasons| {
            a.reasons.iter().any(|r| r.topic == topic)
        };
        list.athletes.iter().filter(of).map(|a| a.name.as_str()).collect()
    };
    let silent = ATHLETES.get(cast::SILENT).map_or("", |p| p.name);
    let days = stage.today.since(told.silent_since);
    let words = list
        .athletes
        .iter()
        .find(|a| a.name == silent)
        .and_then(|a| a.reasons.iter().find(|r| r.topic == "unheard").map(|r| r.words.clone()));
    let words = words.unwrap_or_default();
    claims.say(
        format!("the evening's list names the silent phone alone as unheard, for {days} days"),
        has("unheard") == [silent] && words.contains(&days.to_string()),
        format!("{:?}: {words}", has("unheard")),
    );
    let ines = ATHLETES.get(cast::SWAPS).map_or("", |p| p.name);
    claims.say(
        "the list names the athlete in whose plan two edits met",
        has("two edits met") == [ines],
        format!("{:?}", has("two edits met")),
    );
    let blind = list.athletes.iter().filter(|a| a.not_looked.iter().any(|n| n.topic == "pain or illness"));
    claims.say(
        "no pain is in the list without consent, and the list says that it did not look",
        has("pain or illness").is_empty() && blind.count() == list.athletes.len(),
        format!("{:?}", has("pain or illness")),
    );
}

/// The best marks of seniors over all seasons, by test and class, against the ledger's.
pub fn records(list: &RecordList, told: &Told, claims: &mut Claims) {
    for (test, title, higher) in
        [("long-jump", "Standing long jump", true), ("thirty", "Thirty metres from blocks", false)]
    {
        for sex in [Sex::Women, Sex::Men] {
            let counts = |t: &&crate::club::ledger::Trialled| {
                let person = ATHLETES.get(t.athlete);
                let senior = person.is_some_and(|p| p.sex == sex && p.born < OF_AGE);
                t.test == test && senior && !t.withdrawn && !t.windy
            };
            let all = told.ledger.trials.iter().filter(counts);
            let best = if higher { all.map(|t| t.value).max() } else { all.map(|t| t.value).min() };
            let holders = |value: i64| {
                let with = told.ledger.trials.iter().filter(counts).filter(|t| t.value == value);
                let mut names: Vec<&str> =
                    with.filter_map(|t| ATHLETES.get(t.athlete)).map(|p| p.name).collect();
                names.sort_unstable();
                names.dedup();
                names
            };
            let found = list.records.iter().find(|r| {
                r.test == title
                    && r.sex.as_deref() == Some(sex.word())
                    && r.ages == "senior"
                    && r.season.is_none()
                    && !r.wind_aided
            });
            let mut names: Vec<&str> =
                found.iter().flat_map(|r| &r.best).filter_map(|b| b.name.as_deref()).collect();
            names.sort_unstable();
            #[expect(clippy::cast_precision_loss, reason = "thousandths of metres and seconds")]
            let value = best.map(|v| v as f64 / 1000.0);
            claims.say(
                format!(
                    "the best of seniors ({}) in {title} is the ledger's, with all who share it",
                    sex.word()
                ),
                found.and_then(|r| r.best.first()).map(|b| b.value) == value
                    && best.is_some_and(|b| holders(b) == names),
                format!("{names:?} {:?}", found.map(|r| &r.best)),
            );
        }
    }
    let windy = ATHLETES.get(cast::WINDY).map_or("", |p| p.name);
    let aided: Vec<&str> = list
        .records
        .iter()
        .filter(|r| r.wind_aided)
        .flat_map(|r| &r.best)
        .filter_map(|b| b.name.as_deref())
        .collect();
    claims.say(
        "the sprint with too much wind stands apart",
        !aided.is_empty() && aided.iter().all(|n| *n == windy),
        format!("{aided:?}"),
    );
    let slip = list.records.iter().flat_map(|r| &r.best).any(|b| (b.value - 3.95).abs() < 1e-9);
    claims.say("the withdrawn mark is no record", !slip, "it is");
}

/// The proposals of the machine's list, counted anew: a rule proposes for the next session that has it,
/// where everything that was asked last was done.
pub fn proposals(list: &ProposalList, stage: &mut Stage, claims: &mut Claims) -> Result<(), Trouble> {
    let mut wrong = Vec::new();
    let mut open = 0;
    for athlete in &list.athletes {
        for p in &athlete.open {
            open += 1;
            let kg = |text: &str| -> Option<f64> {
                let (before, _) = text.split_once(" kg")?;
                before.rsplit([' ', ',']).next()?.parse().ok()
            };
            let step = kg(&p.to).zip(kg(&p.from)).map(|(to, from)| to - from);
            if p.exercise != "Back squat"
                || p.date.as_str() < stage.today.to_string().as_str()
                || step.is_none()
            {
                wrong.push(format!("{}: {} → {}", athlete.name, p.from, p.to));
            }
        }
    }
    claims.say(
        "rules propose, for squats that are still to come and for nothing else",
        open > 0 && wrong.is_empty(),
        format!("{open} open; {wrong:?}"),
    );
    rulings(stage, claims)
}

/// Kilograms of past weeks against the ledger, and the coming week against a count over the plan.
///
/// # Errors
/// Whatever goes wrong.
pub fn weeks(told: &Told, stage: &mut Stage, claims: &mut Claims) -> Result<(), Trouble> {
    let (today, season, club) = (stage.today, stage.season()?, stage.club);
    let person = stage.athletes.get(cast::MOVED).map(|a| a.phone.identity().person).ok_or("no athlete")?;
    let phone = &mut stage.coaches.first_mut().ok_or("no coach")?.phone;
    let library = Library::of(phone.document(DocName::Library(club))?);
    let plan = Plan::of(phone.document(DocName::Plan(person, season))?);
    let mut logs = Vec::new();
    let mut months: Vec<_> = (0..=62).map(|n| today.plus(-n).month()).collect();
    months.dedup();
    for month in months {
        logs.push(phone.document(DocName::Log(person, month))?.clone());
    }
    let done = Done::of(&logs);
    let athlete = Athlete {
        person,
        name: "",
        events: "",
        season: Some(season),
        plan: &plan,
        done: &done,
        heard_through: Some(today),
    };
    let (from, to) = (today.week_start().plus(-28), today.week_start().plus(-1));
    let mut wrong = Vec::new();
    for week in load::weeks(&row(athlete, &library, from, to, today), &library, from, to, today) {
        let last = week.monday.plus(6);
        let sets = told.ledger.saved.iter().filter(|s| {
            let amended = told.ledger.saved.iter().any(|l| l.amends.as_ref() == Some(&s.set));
            s.athlete == cast::MOVED && week.monday <= s.day && s.day <= last && !amended
        });
        // Loads are in 10 g.
        let own: i64 = sets.filter_map(|s| Some(s.load? * s.amount?)).sum();
        #[expect(clippy::cast_precision_loss, reason = "some tonnes in 10 g")]
        let own = own as f64 / 100.0;
        if own == 0.0 || (own - week.volume.kg()).abs() > 1e-6 {
            wrong.push(format!("{}: {own} and {}", week.monday, week.volume.kg()));
        }
    }
    claims.say(
        "four weeks' kilograms of an athlete are the ledger's loads times repetitions",
        wrong.is_empty(),
        wrong.join("; "),
    );
    let ahead = forecast(athlete, &library, today, 1);
    let next = ahead.next.first().ok_or("no week ahead")?;
    let (first, last) = (next.monday, next.monday.plus(6));
    let coming = plan.sessions.iter().filter(|s| (first..=last).contains(&s.session.record.date)).count();
    claims.say(
        "the week ahead has as many sessions as the plan, by a count",
        usize::try_from(next.sessions).ok() == Some(coming) && coming > 0,
        format!("{} and {coming} from {first} to {last}", next.sessions),
    );
    Ok(())
}

/// One athlete's proposals on the head coach's desk: dismissed, accepted, undone.
fn rulings(stage: &mut Stage, claims: &mut Claims) -> Result<(), Trouble> {
    let (today, season) = (stage.today, stage.season()?);
    let when = stage.time().plus_ms(120_000);
    let people: Vec<_> = stage.athletes.iter().map(|a| a.phone.identity().person).collect();
    let club = stage.club;
    let coach = stage.coaches.first_mut().ok_or("no coach")?;
    coach.clock.set(when);
    let by = coach.phone.identity().person;
    let mut seen = 0;
    for person in people {
        let name = DocName::Plan(person, season);
        let looked = look(&mut coach.phone, club, name, today)?;
        let Some(first) = looked.open.first().cloned() else { continue };
        seen += 1;
        let mut hand = || Hand { key: coach.phone.key(), by, at: when, note: None };
        let command = if seen == 1 { first.dismiss(hand()) } else { first.accept(hand()) };
        let before = items(coach.phone.document(name)?);
        at("ruling", coach.phone.run(name, &command))?;
        let after = items(coach.phone.document(name)?);
        let again = look(&mut coach.phone, club, name, today)?;
        let repeated = again.open.iter().any(|p| p.id == first.id);
        if seen == 1 {
            claims.say(
                "a dismissed proposal changes nothing and does not come again",
                before == after && !repeated,
                format!("{repeated}"),
            );
            continue;
        }
        let changed: Vec<_> = before.iter().zip(&after).filter(|(b, a)| b != a).collect();
        let load = |p: &Prescription| match p.intensity {
            Some(Intensity::Load(l)) => Some(l.get()),
            _ => None,
        };
        let step = match changed.as_slice() {
            [((key, was), (_, is))] if *key == first.id.item => load(is).zip(load(was)).map(|(i, w)| i - w),
            _ => None,
        };
        let proposed = load(&first.to).zip(load(&first.from)).map(|(to, from)| to - from);
        claims.say(
            "an accepted proposal changes the load of its own prescription, by its step, and nothing else",
            step.is_some() && step == proposed && !repeated,
            format!("{step:?} of {proposed:?}, {} changed", changed.len()),
        );
        let plan = Plan::of(coach.phone.document(name)?);
        let decision = plan.decisions.iter().find(|d| d.live() && d.record.ruling == Ruling::Accepted);
        let undo = proposal::undo(decision.ok_or("no decision")?, &plan).map_err(|e| format!("{e:?}"))?;
        at("undo", coach.phone.run(name, &undo))?;
        let undone = items(coach.phone.document(name)?);
        claims.say("undone, the plan is as it was", undone == before, "it is not");
        break;
    }
    claims.say("two athletes had something proposed", seen == 2, format!("{seen}"));
    stage.exchange_coach(0, when.plus_ms(1000))?;
    stage.exchange_coach(1, when.plus_ms(2000))?;
    Ok(())
}

fn look(
    phone: &mut backstraight_ffi::phone::Phone,
    club: backstraight_core::base::id::ClubId,
    plan: DocName,
    today: backstraight_core::base::day::Day,
) -> Result<Proposals, Trouble> {
    let DocName::Plan(person, season) = plan else { return Err("no plan".into()) };
    let library = Library::of(phone.document(DocName::Library(club))?);
    let (this, before) = (today.month(), today.plus(-28).month());
    let mut logs = Vec::new();
    for month in if this == before { vec![this] } else { vec![before, this] } {
        logs.push(phone.document(DocName::Log(person, month))?.clone());
    }
    let done = Done::of(&logs);
    let plan = Plan::of(phone.document(plan)?);
    let athlete = Athlete {
        person,
        name: "",
        events: "",
        season: Some(season),
        plan: &plan,
        done: &done,
        heard_through: Some(today),
    };
    Ok(proposal::proposals(athlete, &library, today))
}

/// All prescriptions of a plan, by key.
fn items(
    doc: &backstraight_core::doc::open::Document,
) -> Vec<(backstraight_core::base::key::Key, Prescription)> {
    doc.records::<Prescription>("items").entries.into_iter().map(|e| (e.key(), e.record)).collect()
}
