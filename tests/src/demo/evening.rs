//! The coach's evening, live: whom to look at, best marks, proposals and rulings, the weeks ahead beside
//! the weeks behind. Gathers what the product shows; `evening_check` holds it against the tally.

use std::collections::BTreeMap;

use backstraight_core::view::attention::Topic;
use backstraight_server::report::attention::{AttentionList, ProposalList, RecordList};
use backstraight_server::report::loads::{ForecastReport, Loads, VolumeReport};
use serde::Serialize;

use super::machine::{Machine, consent, get};
use super::rulings::{self, Ruled};
use super::stage::{Stage, Trouble};
use super::story::cast;
use crate::club::people::ATHLETES;

/// Weeks of load behind, and planned weeks ahead, that are read of everybody.
pub const WEEKS: (i32, usize) = (4, 2);

/// What the product showed in the evening.
#[derive(Debug, Serialize)]
pub struct Evening {
    /// Whom to look at, at the machine.
    pub attention: AttentionList,
    /// The same after Ines opened her care document to the coaches.
    pub opened: AttentionList,
    /// And after she closed it again.
    pub closed: AttentionList,
    /// Best marks as the head coach reads them over HTTP.
    pub records: RecordList,
    /// Best marks as Ines reads them.
    pub own: RecordList,
    /// What the rules proposed before the rulings.
    pub proposals: ProposalList,
    /// The rulings.
    #[serde(skip)]
    pub ruled: Ruled,
    /// Loads of every athlete's last weeks.
    pub loads: Vec<Loads>,
    /// The weeks ahead of every athlete.
    pub ahead: Vec<ForecastReport>,
}

/// The evening, step by step.
///
/// # Errors
/// Whatever goes wrong.
pub fn live(stage: &mut Stage, machine: &Machine, say: &mut dyn FnMut(&str)) -> Result<Evening, Trouble> {
    let token = |stage: &Stage, i: usize| {
        stage.athletes.get(i).map(|a| a.phone.identity().access.clone()).ok_or("no athlete")
    };
    let ines = token(stage, cast::SWAPS)?;
    let desk =
        |stage: &Stage| stage.coaches.first().map(|c| c.phone.identity().access.clone()).ok_or("no coach");
    say("\nThe evening's list of whom to look at, the first of each topic (`backstraight attention`):");
    let attention: AttentionList = machine.read(stage, &["attention"], &[])?;
    digest(&attention, say);
    consent(stage, &ines, true)?;
    let opened: AttentionList = machine.read(stage, &["attention"], &[])?;
    say("Ines agrees that coaches read of her pain; it leads the list:");
    pain(&opened, say);
    consent(stage, &ines, false)?;
    let closed: AttentionList = machine.read(stage, &["attention"], &[])?;
    say("She takes it back, and it is gone from the list.");

    say("Best marks of all seasons as the head coach reads them (`backstraight records`):");
    let best = format!("/v1/records?until={}", stage.today);
    let records: RecordList = get(stage, &desk(stage)?, &best)?;
    let own: RecordList = get(stage, &ines, &best)?;
    for r in records.records.iter().filter(|r| r.season.is_none()) {
        let with = |wind: f64| format!(" ({wind:+.1} m/s)");
        let of = |b: &backstraight_server::report::attention::BestReport| {
            let wind = b.wind_m_s.map_or_else(String::new, with);
            format!("{}{wind}", b.name.as_deref().unwrap_or("not named"))
        };
        let names: Vec<String> = r.best.iter().map(of).collect();
        let aided = if r.wind_aided { ", too much wind" } else { "" };
        let class = format!("{} {}{aided}", r.sex.as_deref().unwrap_or("–"), r.ages);
        let value = r.best.first().map_or(0.0, |b| b.value);
        let test = r.test.split(',').next().unwrap_or("");
        say(&cut(&format!("   {test:<26} {class:<26} {value} {}  {}", r.unit, names.join(", "))));
    }

    let before = rulings::plans(stage)?;
    let proposals: ProposalList = machine.read(stage, &["proposals"], &[])?;
    let when = stage.time().plus_ms(30_000);
    stage.exchange_coach(0, when)?;
    let after = rulings::plans(stage)?;
    let open: usize = proposals.athletes.iter().map(|a| a.open.len()).sum();
    say(&format!("The rules of the plans propose {open} changes (`backstraight proposals`)."));
    say(&rulings::heading());
    let ask = |stage: &Stage| machine.read(stage, &["proposals"], &[]);
    let ruled = rulings::rule(stage, (before, after), ask, say)?;

    let (mut loads, mut ahead) = (Vec::new(), Vec::new());
    let (today, first) = (stage.today, stage.today.week_start());
    let (from, to) = (first.plus(-7 * WEEKS.0), first.plus(-1));
    let token = desk(stage)?;
    for athlete in &stage.athletes {
        let id = athlete.phone.identity().person;
        loads.push(get(
            stage,
            &token,
            &format!("/v1/athletes/{id}/loads?from={from}&to={to}&today={today}"),
        )?);
        ahead.push(get(
            stage,
            &token,
            &format!("/v1/athletes/{id}/forecast?weeks={}&today={today}", WEEKS.1),
        )?);
    }
    weeks(&ahead, say);
    Ok(Evening { attention, opened, closed, records, own, proposals, ruled, loads, ahead })
}

/// At most a hundred columns.
fn cut(text: &str) -> String {
    if text.chars().count() <= 100 {
        text.to_owned()
    } else {
        format!("{}…", text.chars().take(99).collect::<String>())
    }
}

fn digest(list: &AttentionList, say: &mut dyn FnMut(&str)) {
    let mut topics: Vec<(&str, Vec<(&str, &str)>)> = Vec::new();
    for athlete in &list.athletes {
        for reason in &athlete.reasons {
            let entry = (athlete.name.as_str(), reason.words.as_str());
            match topics.iter_mut().find(|(t, _)| *t == reason.topic) {
                Some((_, all)) => all.push(entry),
                None => topics.push((&reason.topic, vec![entry])),
            }
        }
    }
    // In the order of the list, which is that of the reasons of one athlete.
    topics.sort_by_key(|(topic, _)| Topic::ALL.iter().position(|t| t.word() == *topic));
    for (topic, all) in topics {
        let Some((name, words)) = all.first() else { continue };
        let more = if all.len() > 1 { format!(" (+{})", all.len() - 1) } else { String::new() };
        say(&cut(&format!("   {:<21} {name}: {words}", format!("{topic}{more}"))));
    }
    let mut closed: BTreeMap<(&str, &str), usize> = BTreeMap::new();
    for n in list.athletes.iter().flat_map(|a| &a.not_looked) {
        *closed.entry((&n.topic, &n.why)).or_default() += 1;
    }
    for ((topic, why), n) in closed {
        say(&cut(&format!("   {topic:<21} not looked at for {n}: {why}")));
    }
}

fn pain(list: &AttentionList, say: &mut dyn FnMut(&str)) {
    for athlete in &list.athletes {
        for reason in athlete.reasons.iter().filter(|r| r.topic == "pain or illness") {
            say(&cut(&format!("   {:<21} {}: {}", reason.topic, athlete.name, reason.words)));
        }
    }
}

/// Contacts of all classes.
#[must_use]
pub fn contacts(v: &VolumeReport) -> f64 {
    v.contacts_low + v.contacts_medium + v.contacts_high + v.contacts_unclassed
}

/// Two weeks behind and two ahead of the jumper.
fn weeks(ahead: &[ForecastReport], say: &mut dyn FnMut(&str)) {
    let name = ATHLETES.get(cast::TIED).map_or("", |p| p.name);
    let Some(of) = ahead.iter().find(|f| f.name == name) else { return };
    say(&format!("{name}, two weeks as done and two as planned:"));
    let line = |what: &str, start: &str, v: &VolumeReport| {
        let kg: f64 = v.kg.values().sum();
        format!(
            "   {what:<8} week of {start}  {kg:>6.0} kg  {:>3.0} contacts  {:>3.0} m sprinted",
            contacts(v),
            v.sprint_m
        )
    };
    for week in of.last.iter().skip(of.last.len().saturating_sub(2)) {
        say(&line("done", &week.start, &week.volume));
    }
    for week in &of.next {
        say(&line("planned", &week.start, &week.volume));
    }
}
