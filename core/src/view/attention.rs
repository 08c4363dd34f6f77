//! Reasons to look at an athlete now, in a fixed order, each with its numbers. Words describe; no
//! colours, no diagnosis, no forecast of injury. Thresholds are the club's (`view::club`). Common
//! practice, no source.

use core::fmt;

use super::availability;
use super::board::{Athlete, Review, Row, row};
use super::club::{Thresholds, age};
use super::forecast::session_lines;
use super::judge::How;
use super::library::Library;
use super::load;
use super::marks::{Noises, series};
use super::maxima::Maxima;
use super::resolve::{Known, Missing, resolve};
use super::show;
use super::speed;
use super::state::State;
use super::volume::{self, Volume};
use super::why::{Part, Why, float};
use crate::base::day::Day;
use crate::base::key::Key;
use crate::doc::open::Document;
use crate::doc::read::Entry;
use crate::model::log::Report;
use crate::model::number::Available;
use crate::model::packed::Intensity;
use crate::model::plan::Prescription;
use crate::science::Caution;

/// What a reason is about. The order is the order of the list.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Topic {
    /// Pain or illness was reported.
    Pain,
    /// Care staff said what may be trained, work was left out, or a session excused.
    Availability,
    /// No phone was heard for days.
    Unheard,
    /// Effort was far from what was asked.
    Effort,
    /// Bar speed at the same load is down beyond noise.
    Speed,
    /// The last week's load is far above the weeks before.
    Load,
    /// A test changed beyond noise.
    Test,
    /// Two edits met.
    Met,
    /// A junior's contacts are above the guideline.
    JuniorContacts,
    /// A maximum that the plan needs is old or missing.
    Maximum,
    /// The plan ends soon, or there is none.
    PlanEnds,
}

impl Topic {
    /// All topics, in the order of the list.
    pub const ALL: [Topic; 11] = [
        Topic::Pain,
        Topic::Availability,
        Topic::Unheard,
        Topic::Effort,
        Topic::Speed,
        Topic::Load,
        Topic::Test,
        Topic::Met,
        Topic::JuniorContacts,
        Topic::Maximum,
        Topic::PlanEnds,
    ];

    /// Its word.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Topic::Pain => "pain or illness",
            Topic::Availability => "availability",
            Topic::Unheard => "unheard",
            Topic::Effort => "effort",
            Topic::Speed => "bar speed",
            Topic::Load => "load",
            Topic::Test => "test",
            Topic::Met => "two edits met",
            Topic::JuniorContacts => "junior's contacts",
            Topic::Maximum => "maximum",
            Topic::PlanEnds => "plan ends",
        }
    }
}

impl fmt::Display for Topic {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.word())
    }
}

/// A reason to look.
#[derive(Debug, Clone, PartialEq)]
pub struct Reason {
    /// About what.
    pub topic: Topic,
    /// In words.
    pub words: String,
    /// The day that it is about.
    pub on: Option<Day>,
    /// The record that it is about: a session, an exercise, a test.
    pub about: Option<Key>,
    /// Its numbers and the rule.
    pub why: Why,
}

/// The list of one athlete.
#[derive(Debug, Clone, PartialEq)]
pub struct Attention {
    /// Reasons, in order of topic, the newest of a topic first.
    pub reasons: Vec<Reason>,
    /// What could not be looked at, and why: no reason of such a topic is no all-clear.
    pub not_looked: Vec<(Topic, String)>,
}

/// What is looked at.
#[derive(Debug, Clone, Copy)]
pub struct Look<'a> {
    /// The athlete.
    pub athlete: Athlete<'a>,
    /// Date of birth, where it is known.
    pub born: Option<Day>,
    /// Reports of pain and illness; `None` when the reader may not read them.
    pub care: Option<&'a [Entry<Report>]>,
    /// The library.
    pub library: &'a Library,
    /// Noise of the club's tests.
    pub noises: &'a Noises,
    /// The athlete's day now.
    pub today: Day,
}

/// Days after which a report of pain that nobody closed is no news any more.
pub const PAIN_DAYS: i32 = 28;
/// Days ahead for which the plan's maxima and contacts are looked at.
pub const AHEAD_DAYS: i32 = 14;

/// Reads a care document, for readers who may.
#[must_use]
pub fn reports(doc: &Document) -> Vec<Entry<Report>> {
    let read = doc.records::<Report>("reports");
    read.entries.into_iter().filter(Entry::live).collect()
}

struct List<'a> {
    look: &'a Look<'a>,
    limits: Thresholds,
    found: Attention,
}

/// The reasons to look at an athlete today.
#[must_use]
pub fn attention(look: &Look<'_>) -> Attention {
    let limits = Thresholds::of(look.library.settings.as_ref());
    let found = Attention { reasons: Vec::new(), not_looked: Vec::new() };
    let news = look.today.plus(-limits.news_days);
    let row = row(look.athlete, look.library, news, look.today, look.today);
    let mut list = List { look, limits, found };
    list.pain();
    list.said(news);
    list.availability(&row, news);
    list.unheard();
    list.effort(&row);
    list.speed(news);
    list.load(news);
    list.tests(news);
    list.met(&row);
    list.contacts(news);
    list.maxima();
    list.plan_ends();
    let mut found = list.found;
    // Stable: within a topic and day, the order in which they were found.
    found.reasons.sort_by_key(|r| (r.topic, core::cmp::Reverse(r.on)));
    found
}

impl List<'_> {
    fn say(&mut self, topic: Topic, words: String, on: Option<Day>, about: Option<Key>, why: Why) {
        self.found.reasons.push(Reason { topic, words, on, about, why });
    }

    fn not_looked(&mut self, topic: Topic, why: impl Into<String>) {
        self.found.not_looked.push((topic, why.into()));
    }

    fn pain(&mut self) {
        let Some(care) = self.look.care else {
            self.not_looked(Topic::Pain, "reports of pain and illness are not open to this reader");
            return;
        };
        for entry in care {
            let r = &entry.record;
            let Ok(on) = Day::of(r.at, 0) else { continue };
            let days = self.look.today.since(on);
            if r.over.is_some_and(|over| over <= self.look.today) || days > PAIN_DAYS {
                continue;
            }
            let area = r.area.as_ref().map_or_else(String::new, |a| format!(", {a}"));
            let side = r.side.map_or_else(String::new, |s| format!(", {s}"));
            let level = r.level.map(|l| l.as_f64() / 10.0);
            let strong = level.map_or_else(String::new, |l| format!(", {l} of 10"));
            let mut parts = vec![Part::on("days ago", f64::from(days), "d", on)];
            parts.extend(level.map(|l| Part::on("level", l, "of 10", on)));
            let why = Why::ours("attention.pain", "reported and not closed by the athlete", parts);
            let words = format!("{} reported{area}{side}{strong}", r.kind);
            self.say(Topic::Pain, words, Some(on), Some(entry.key()), why.with(Caution::Wellbeing));
        }
    }

    /// What care staff said: as long as it holds and is not full training, and as news.
    fn said(&mut self, news: Day) {
        let today = self.look.today;
        let said = availability::said(&self.look.athlete.done.availability);
        let now = availability::on(&said, today);
        for one in &said {
            let fresh = one.from >= news || Day::of(one.at, 0).is_ok_and(|d| d >= news);
            let holds = now == Some(one) && (one.level != Available::Full || fresh);
            if !holds && one.from <= today {
                continue;
            }
            let days = today.since(one.from);
            let since = if days < 0 { "days until it begins" } else { "days since it began" };
            let mut parts = vec![Part::on(since, f64::from(days.abs()), "d", one.from)];
            parts
                .extend(one.until.map(|until| {
                    Part::on("days to its last day", f64::from(until.since(today)), "d", until)
                }));
            let why = Why::ours("attention.available", "said by care staff", parts);
            let why = why.with(Caution::Availability);
            self.say(Topic::Availability, one.words(), Some(one.from), Some(one.key.clone()), why);
        }
    }

    fn availability(&mut self, row: &Row<'_>, news: Day) {
        for session in &row.sessions {
            if session.state == State::Excused {
                let why = Why::ours("attention.availability", "a coach excused it", Vec::new());
                let words = format!("{} excused", session.title());
                self.say(Topic::Availability, words, Some(session.date), session.key(), why);
            }
        }
        // By the day on which it was said, whatever day the session was planned for.
        for session in &self.look.athlete.done.sessions {
            let record = &session.session.record;
            if record.date < news || record.date > self.look.today {
                continue;
            }
            let title = record.title.as_ref().map_or_else(|| "session".to_owned(), ToString::to_string);
            let of_session = record.skipped.map(|s| (title, s, session.session.key()));
            let of_work = session.works.iter().filter_map(|w| {
                let name = self.look.library.exercise_name(&w.work.record.ex);
                w.work.record.skipped.map(|s| (name, s, w.work.record.ex.clone()))
            });
            let all: Vec<_> = of_session.into_iter().chain(of_work).collect();
            for (what, skip, about) in all {
                let why = Why::ours("attention.availability", "left out with a reason", Vec::new());
                self.say(
                    Topic::Availability,
                    format!("{what} left out: {skip}"),
                    Some(record.date),
                    Some(about),
                    why,
                );
            }
        }
    }

    fn unheard(&mut self) {
        let athlete = &self.look.athlete;
        let today = self.look.today;
        let Some(heard) = athlete.heard_through else {
            if athlete.plans.sessions().any(|s| s.day() < today) {
                let why = Why::ours("attention.unheard", "no phone was ever heard", Vec::new());
                self.say(
                    Topic::Unheard,
                    "no phone of this athlete was ever heard".to_owned(),
                    None,
                    None,
                    why,
                );
            }
            return;
        };
        let days = today.since(heard);
        if days < self.limits.silent_days {
            return;
        }
        let open = athlete.plans.sessions().filter(|s| {
            let date = s.day();
            let key = s.planned.key();
            let logged =
                athlete.done.sessions.iter().any(|d| d.session.record.session.as_ref() == Some(&key));
            heard <= date && date < today && !logged
        });
        let parts = vec![
            Part::on("days since a phone was heard", f64::from(days), "d", heard),
            Part::of("planned sessions of which nothing is known", float(open.count()), ""),
            Part::of("pointed out from", f64::from(self.limits.silent_days), "d"),
        ];
        let why = Why::ours("attention.unheard", "days since a phone was heard", parts);
        self.say(Topic::Unheard, format!("unheard for {days} days; not a miss"), Some(heard), None, why);
    }

    fn effort(&mut self, row: &Row<'_>) {
        let gap = self.limits.effort_gap;
        let mut found: Vec<(String, f64, f64, Day, Option<Key>)> = Vec::new();
        for review in &row.sessions {
            let asked = review.planned.and_then(|p| p.session.record.effort).map(|e| e.as_f64() / 10.0);
            let done = review.logs.iter().find_map(|l| l.session.record.effort).map(|e| e.as_f64() / 10.0);
            if let (Some(asked), Some(done)) = (asked, done) {
                found.push((review.title(), asked, done, review.date, review.key()));
            }
            found.extend(set_efforts(review, self.look.library));
        }
        for (what, asked, done, on, about) in found.into_iter().filter(|f| (f.1 - f.2).abs() >= gap) {
            let parts = vec![
                Part::on("asked", asked, "of 10", on),
                Part::on("done", done, "of 10", on),
                Part::of("pointed out from", gap, "points"),
            ];
            let way = if done > asked { "harder" } else { "easier" };
            let words = format!("{what}: effort {done:.1} where {asked:.1} was asked, {way} than asked");
            let why = Why::ours("attention.effort", "effort done less effort asked", parts);
            self.say(Topic::Effort, words, Some(on), about, why.with(Caution::Load));
        }
    }

    fn speed(&mut self, news: Day) {
        for trend in speed::trends(self.look.athlete.done, self.look.today) {
            let Ok(change) = trend.change else { continue };
            if change.on < news || !change.beyond_noise || change.after >= change.before {
                continue;
            }
            let words = format!(
                "{} at {} kg: {:.2} m/s, before {:.2} m/s, beyond noise",
                self.look.library.exercise_name(&trend.ex),
                trend.load.as_f64() / 100.0,
                change.after,
                change.before
            );
            let why = change.why.with(Caution::Load);
            self.say(Topic::Speed, words, Some(change.on), Some(trend.ex), why);
        }
    }

    fn load(&mut self, news: Day) {
        let (ratios, on) = match load::latest_ratios(&self.look.athlete, self.look.today) {
            Ok((ratios, on)) if on >= news => (ratios, on),
            Ok(_) => {
                self.not_looked(Topic::Load, "the last known day is no news");
                return;
            }
            Err(lack) => {
                self.not_looked(Topic::Load, lack.words());
                return;
            }
        };
        let Some(ratio) = ratios.value.uncoupled.filter(|r| *r >= self.limits.load_jump) else { return };
        let parts = vec![
            Part::on("last seven days over the three weeks before", ratio, "", on),
            Part::of("pointed out from", self.limits.load_jump, ""),
        ];
        let words = format!("the last seven days' load is {ratio:.1} times the three weeks' before");
        self.say(Topic::Load, words, Some(on), None, Why::by(&ratios, parts));
    }

    fn tests(&mut self, news: Day) {
        for test in series(self.look.athlete.done, self.look.library, self.look.noises, self.look.today) {
            let recent = test.days.last().is_some_and(|m| m.day >= news);
            match test.change {
                Ok(change) if recent && change.beyond_noise => {
                    let words = format!(
                        "{}: {} {unit}, before {} {unit}; {}",
                        test.name,
                        show::trim(change.after, 3),
                        show::trim(change.before, 3),
                        change.reading,
                        unit = test.unit
                    );
                    self.say(Topic::Test, words, Some(change.on), Some(test.protocol), change.why);
                }
                Err(lack) if recent && test.days.len() > 1 => {
                    self.not_looked(Topic::Test, format!("{}: {}", test.name, lack.words()));
                }
                _ => {}
            }
        }
    }

    fn met(&mut self, row: &Row<'_>) {
        if row.met == 0 {
            return;
        }
        let athlete = &self.look.athlete;
        let in_plans = athlete.plans.iter().flat_map(|(_, plan)| &plan.met);
        let fields: Vec<&str> = in_plans.chain(&athlete.done.met).map(|m| m.field).take(5).collect();
        let parts = vec![Part::of("fields", float(row.met), "")];
        let why = Why::ours("attention.met", "fields that two people changed apart", parts);
        let count = if row.met == 1 { "one field".to_owned() } else { format!("{} fields", row.met) };
        let words = format!("two edits met in {count}: {}", fields.join(", "));
        self.say(Topic::Met, words, None, None, why);
    }

    fn contacts(&mut self, news: Day) {
        let Some(born) = self.look.born else {
            self.not_looked(Topic::JuniorContacts, "the date of birth is not known");
            return;
        };
        let (today, limit) = (self.look.today, self.limits.junior_contacts);
        let athlete = &self.look.athlete;
        let mut found: Vec<(String, f64, Day, Key, Why)> = Vec::new();
        for session in &athlete.done.sessions {
            let record = &session.session.record;
            if news <= record.date && record.date <= today {
                let volume = Volume::of(&volume::done(session, self.look.library), self.look.library);
                found.push((
                    "done".to_owned(),
                    volume.contacts.total(),
                    record.date,
                    session.session.key(),
                    volume.why_contacts(),
                ));
            }
        }
        let none = Maxima::default();
        for session in athlete.plans.sessions().filter(|s| ahead(s.day(), today)) {
            let date = session.day();
            let known = Known {
                done: athlete.done,
                maxima: &none,
                library: self.look.library,
                venue: None,
                day: date,
            };
            let (lines, _) = session_lines(session.planned, session.plan, &known);
            let volume = Volume::of(&lines, self.look.library);
            found.push((
                "planned".to_owned(),
                volume.contacts.total(),
                date,
                session.planned.key(),
                volume.why_contacts(),
            ));
        }
        for (what, contacts, on, about, why) in found {
            if contacts <= limit || age(born, on) >= super::records::ADULT {
                continue;
            }
            let mut why = Why { formula: "attention.junior_contacts", version: 1, ..why };
            why.parts.push(Part::of("guideline", limit, "contacts"));
            let words = format!(
                "{contacts:.0} contacts {what}; the guideline for juniors is {limit:.0} in a session"
            );
            self.say(Topic::JuniorContacts, words, Some(on), Some(about), why.with(Caution::Contacts));
        }
    }

    fn maxima(&mut self) {
        let (athlete, today) = (&self.look.athlete, self.look.today);
        let maxima = Maxima::of(athlete.done, self.look.library, today);
        let mut said: Vec<Key> = Vec::new();
        for session in athlete.plans.sessions().filter(|s| ahead(s.day(), today)) {
            let date = session.day();
            let known = Known {
                done: athlete.done,
                maxima: &maxima,
                library: self.look.library,
                venue: None,
                day: date,
            };
            for (_, entry) in session.planned.items() {
                let item = &entry.record;
                let ex = session.plan.exercise_on(item, date);
                let waves = item.waves.iter().flat_map(|w| &w.0).filter_map(|w| w.intensity.clone());
                let mut asked = waves.chain(item.intensity.clone());
                let share = asked.find(|i| matches!(i, Intensity::OfMax(..)));
                let Some(intensity) = share else { continue };
                let lift = lift(&intensity, &ex, self.look.library);
                if said.contains(&lift) {
                    continue;
                }
                let found =
                    resolve(&Prescription { intensity: Some(intensity), ..item.clone() }, &ex, &known);
                let Some(missing @ (Missing::OldMaximum { .. } | Missing::NoMaximum)) = found.missing else {
                    continue;
                };
                let mut parts: Vec<Part> =
                    found.maximum.iter().map(|m| Part::on("maximum", m.kg, "kg", m.date)).collect();
                parts.extend(found.age_days.map(|d| Part::on("age", f64::from(d), "d", date)));
                parts.push(Part::of("old after", f64::from(self.limits.max_age_days), "d"));
                let why = Why::ours("attention.maximum", "the plan asks for a share of a maximum", parts);
                let words = format!("{}: {}", self.look.library.exercise_name(&lift), missing.words());
                said.push(lift.clone());
                self.say(Topic::Maximum, words, Some(date), Some(lift), why.with(Caution::MaximalTest));
            }
        }
    }

    fn plan_ends(&mut self) {
        let today = self.look.today;
        let last = self.look.athlete.plans.last_day();
        let Some(last) = last else {
            let why = Why::ours("attention.plan_ends", "no session is planned", Vec::new());
            self.say(Topic::PlanEnds, "no session is planned".to_owned(), None, None, why);
            return;
        };
        let left = last.since(today);
        if left > self.limits.end_days {
            return;
        }
        let parts = vec![
            Part::on("days to the last planned session", f64::from(left), "d", last),
            Part::of("pointed out from", f64::from(self.limits.end_days), "d"),
        ];
        let words = if left < 0 {
            format!("the last planned session was {} days ago", -left)
        } else {
            format!("the last planned session is in {left} days")
        };
        let why = Why::ours("attention.plan_ends", "days to the last planned session", parts);
        self.say(Topic::PlanEnds, words, Some(last), None, why);
    }
}

fn ahead(date: Day, today: Day) -> bool {
    today <= date && date.since(today) < AHEAD_DAYS
}

fn lift(intensity: &Intensity, ex: &Key, library: &Library) -> Key {
    let own = library.exercises.get(ex).and_then(|e| e.record.ref_max.clone());
    match intensity {
        Intensity::OfMax(_, Some(of)) => of.clone(),
        _ => own.unwrap_or_else(|| ex.clone()),
    }
}

/// Efforts of sets against those asked, a mean for each prescription: what, asked, done, day, key.
fn set_efforts(review: &Review<'_>, library: &Library) -> Vec<(String, f64, f64, Day, Option<Key>)> {
    let Some(share) = &review.share else { return Vec::new() };
    let mut out = Vec::new();
    for item in &share.items {
        let asked = match item.target.as_ref().and_then(|t| t.intensity.as_ref()) {
            Some(Intensity::Effort(e)) => e.as_f64() / 10.0,
            Some(Intensity::Reserve(r)) => 10.0 - r.as_f64() / 10.0,
            _ => continue,
        };
        if matches!(item.how, How::Nothing | How::Skipped(_)) {
            continue;
        }
        let works = review.logs.iter().flat_map(|l| &l.works);
        let done: Vec<f64> = works
            .filter(|w| w.work.record.item.as_ref() == Some(&item.item))
            .flat_map(|w| &w.sets)
            .filter_map(|s| {
                let set = &s.set.record;
                let rated = set.effort.map(|e| e.as_f64() / 10.0);
                rated.or_else(|| set.reserve.map(|r| 10.0 - r.as_f64() / 10.0))
            })
            .collect();
        let Some(mean) = crate::science::stats::mean(&done) else { continue };
        let name = item.done.as_ref().map_or_else(|| "exercise".to_owned(), |k| library.exercise_name(k));
        out.push((name, asked, mean, review.date, item.done.clone()));
    }
    out
}
