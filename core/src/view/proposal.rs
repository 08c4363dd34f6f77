//! Proposals: what the rule of a prescription comes to after what was done. A coach accepts, edits
//! or dismisses each; nothing here changes a plan. Common practice, no source: rules are the coach's.

use std::collections::BTreeMap;

use super::board::{Athlete, Review, row};
use super::club::Thresholds;
use super::judge::{How, target_now};
use super::library::Library;
use super::planned::{Plan, PlannedSession};
use super::plans::InPlan;
use super::progress::{Last, Turn, rated, step};
use super::show;
use super::why::{Part, Why, float};
use crate::base::day::Day;
use crate::base::id::PersonId;
use crate::base::key::Key;
use crate::base::moment::Moment;
use crate::doc::command::{Command, New};
use crate::doc::place::Place;
use crate::doc::read::Entry;
use crate::model::any::AnyRecord;
use crate::model::log::SetDone;
use crate::model::number::{Count, Note, Pattern, Ruling, SeasonNo};
use crate::model::packed::Target;
use crate::model::plan::{Decision, Prescription};
use crate::model::rule::{Easy, ProposalId, Rule};
use crate::science::Caution;

/// Days after which a session done proposes nothing any more: after a pause a coach decides anew.
pub const OLD_DAYS: i32 = 28;
/// Effort of a set from which nothing is added.
pub const HARD: f64 = 9.5;

/// Which way a proposal goes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Way {
    /// More than the last time.
    More,
    /// The same again.
    Same,
    /// Less than the last time.
    Less,
    /// Less, because the week is an easy one.
    Easy,
    /// The next line of the table.
    NextLine,
}

/// A change that a rule proposes.
#[derive(Debug, Clone, PartialEq)]
pub struct Proposal {
    /// Its name: the same facts always propose under the same name.
    pub id: ProposalId,
    /// The planned session in which the prescription stands.
    pub session: Key,
    /// The season of the plan in which it stands.
    pub season: SeasonNo,
    /// Its day.
    pub date: Day,
    /// The day of the session done on which it rests.
    pub done_on: Day,
    /// The prescription as it stands.
    pub from: Prescription,
    /// As it would read.
    pub to: Prescription,
    /// Which way.
    pub way: Way,
    /// In words.
    pub words: String,
    /// What went into it, with the caution to show beside it.
    pub why: Why,
}

/// Why a rule proposes nothing.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Quiet {
    /// Nothing with this rule was done within the last four weeks.
    NothingDone,
    /// The plan has no such prescription ahead.
    NoneAhead,
    /// Another exercise was done, which says nothing about this one.
    OtherExercise,
    /// The sets of the prescription differ, and the rule does not say which one it means.
    SetsDiffer,
    /// No load is known from which to go on.
    NoLoad,
    /// No bar speed was logged.
    NoSpeed,
    /// The rule adds a share of a maximum, and the prescription asks for none.
    NoShare,
    /// The plan asks for it already.
    AsPlanned,
    /// A coach decided.
    Decided,
    /// The result is no number that a prescription can hold.
    OutOfRange,
}

impl Quiet {
    /// In words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Quiet::NothingDone => "nothing with this rule was done in the last four weeks",
            Quiet::NoneAhead => "the plan has no such prescription ahead",
            Quiet::OtherExercise => "another exercise was done",
            Quiet::SetsDiffer => "the sets of the prescription differ",
            Quiet::NoLoad => "no load is known from which to go on",
            Quiet::NoSpeed => "no bar speed was logged",
            Quiet::NoShare => "no share of a maximum is asked",
            Quiet::AsPlanned => "the plan asks for it already",
            Quiet::Decided => "a coach decided",
            Quiet::OutOfRange => "the result is out of range",
        }
    }
}

/// What the rules of a plan propose.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Proposals {
    /// Open proposals, by day.
    pub open: Vec<Proposal>,
    /// Exercises whose rule proposes nothing, and why.
    pub quiet: Vec<(Key, Quiet)>,
}

/// Prescriptions of one exercise and rule in one plan, by day.
type Chain<'a> = Vec<(InPlan<'a>, &'a Entry<Prescription>)>;

/// Everything that the rules of the plan propose on `today`.
#[must_use]
pub fn proposals(athlete: Athlete<'_>, library: &Library, today: Day) -> Proposals {
    let newest = athlete.plans.iter().next_back().map(|(season, _)| season);
    let mut chains: BTreeMap<(&Key, String, SeasonNo), Chain<'_>> = BTreeMap::new();
    for session in athlete.plans.sessions() {
        // A season that is over and has a successor asks for nothing more.
        let over = session.plan.last_day().is_some_and(|last| last < today);
        if over && Some(session.season) != newest {
            continue;
        }
        for (_, item) in session.planned.items() {
            if let Some(rule) = &item.record.rule {
                chains
                    .entry((&item.record.ex, rule.to_string(), session.season))
                    .or_default()
                    .push((session, item));
            }
        }
    }
    let mut out = Proposals::default();
    if chains.is_empty() {
        return out;
    }
    // A week more on both sides: sessions are done a day early or late.
    let row = row(athlete, library, today.plus(-OLD_DAYS - 7), today.plus(7), today);
    let context = Context { athlete, library, limits: Thresholds::of(library.settings.as_ref()), today };
    for ((ex, ..), chain) in &chains {
        match context.propose(chain, &row.sessions) {
            Ok(proposal) => out.open.push(proposal),
            Err(quiet) => out.quiet.push(((*ex).clone(), quiet)),
        }
    }
    out.open.sort_by(|a, b| (a.date, &a.id).cmp(&(b.date, &b.id)));
    out
}

struct Context<'a> {
    athlete: Athlete<'a>,
    library: &'a Library,
    limits: Thresholds,
    today: Day,
}

impl Context<'_> {
    fn propose(&self, chain: &Chain<'_>, reviews: &[Review<'_>]) -> Result<Proposal, Quiet> {
        let rule = chain.first().and_then(|(_, i)| i.record.rule.clone()).ok_or(Quiet::NoneAhead)?;
        let easy = match &rule {
            Rule::AddLoad { easy, .. } | Rule::AddShare { easy, .. } => *easy,
            Rule::Table(_) | Rule::RepsThenLoad { .. } | Rule::BySpeed { .. } => None,
        };
        let (begin, _) = chain.first().ok_or(Quiet::NoneAhead)?;
        let (plan, first) = (begin.plan, begin.day().week_start());
        let is_easy = |day: Day| easy.is_some_and(|e| easy_week(e, first, day, plan));
        // An easy week says nothing about how to go on.
        let last = self.last(chain, reviews, &is_easy).ok_or(Quiet::NothingDone)?;
        let begun = |session: &PlannedSession| {
            let key = session.key();
            self.athlete.done.sessions.iter().any(|d| d.session.record.session.as_ref() == Some(&key))
        };
        let (session, item) = chain
            .iter()
            .find(|(s, _)| {
                let date = s.day();
                date >= self.today && date > last.on && !begun(s.planned)
            })
            .ok_or(Quiet::NoneAhead)?;
        let id = ProposalId { item: item.key(), rests_on: last.log.clone() };
        if plan.decisions.iter().any(|d| d.record.about == id) {
            return Err(Quiet::Decided);
        }
        let date = session.day();
        // A phase may put another exercise in its place, on either day.
        let to_do = plan.exercise_on(&item.record, date);
        if last.share.how != How::AsAsked || last.share.done.as_ref() != Some(&to_do) {
            return Err(Quiet::OtherExercise);
        }
        let later = date.week_start() > last.on.week_start();
        let weeks = usize::try_from(date.week_start().since(first) / 7).unwrap_or(0);
        let step = {
            let reached = last.reached(self.limits.done_from);
            let turn = Turn { on: reached && later, reached, easy: easy.filter(|_| is_easy(date)), weeks };
            step(&rule, &last, &item.record, &turn)?
        };
        let from = item.record.clone();
        let to = Prescription {
            intensity: step.intensity.or_else(|| from.intensity.clone()),
            dose: step.dose.or(from.dose),
            ..from.clone()
        };
        if to == from {
            return Err(Quiet::AsPlanned);
        }
        let olympic =
            self.library.exercises.get(&from.ex).is_some_and(|e| e.record.pattern == Pattern::Olympic);
        let caution = if olympic { Caution::TechnicalLift } else { Caution::MaximalTest };
        let mut parts = self.done_parts(&last);
        parts.extend(step.parts);
        Ok(Proposal {
            words: self.words(&from, &to, step.way),
            why: Why::ours("proposal.rule", "the rule of the prescription on what was done", parts)
                .with(caution),
            session: session.planned.key(),
            season: session.season,
            done_on: last.on,
            way: step.way,
            date,
            from,
            to,
            id,
        })
    }

    /// What was done last in the chain, easy weeks apart.
    fn last<'b>(
        &self,
        chain: &Chain<'_>,
        reviews: &'b [Review<'_>],
        is_easy: &dyn Fn(Day) -> bool,
    ) -> Option<Last<'b>> {
        let mut best: Option<(Day, Moment, Last<'b>)> = None;
        for review in reviews {
            let Some(share) = &review.share else { continue };
            for item in share.items.iter().filter(|i| chain.iter().any(|(_, e)| e.key() == i.item)) {
                for log in &review.logs {
                    let record = &log.session.record;
                    let works = log.works.iter().filter(|w| w.work.record.item.as_ref() == Some(&item.item));
                    let sets: Vec<&SetDone> = works.flat_map(|w| &w.sets).map(|s| &s.set.record).collect();
                    let age = self.today.since(record.date);
                    if sets.is_empty() || !(0..=OLD_DAYS).contains(&age) || is_easy(review.date) {
                        continue;
                    }
                    let when = (record.date, record.began);
                    if best.as_ref().is_none_or(|(day, began, _)| (*day, *began) < when) {
                        let last = Last { log: log.session.key(), on: record.date, share: item, sets };
                        best = Some((record.date, record.began, last));
                    }
                }
            }
        }
        best.map(|(.., last)| last)
    }

    fn done_parts(&self, last: &Last<'_>) -> Vec<Part> {
        let mut parts = vec![
            Part::on("share done", last.share.share, "", last.on),
            Part::on("sets done", float(last.share.each.len()), "", last.on),
            Part::on("sets asked", f64::from(last.share.sets), "", last.on),
            Part::of("counts as done from", self.limits.done_from, ""),
        ];
        let hardest = last
            .sets
            .iter()
            .filter_map(|s| rated(s))
            .fold(None, |m: Option<f64>, e| Some(m.map_or(e, |m| m.max(e))));
        parts.extend(hardest.map(|e| Part::on("hardest set", e, "of 10", last.on)));
        parts
    }

    /// The step is from what was done; where the plan asks something else, that is said too.
    fn words(&self, from: &Prescription, to: &Prescription, way: Way) -> String {
        let name = self.library.exercise_name(&to.ex);
        let what = to.intensity.as_ref().map_or_else(String::new, |i| show::intensity(i, self.library));
        let dose = to.dose.as_ref().map_or_else(String::new, |d| format!("{} ", show::dose(d)));
        let way = match way {
            Way::More => "more than the last time",
            Way::Same => "the same again",
            Way::Less => "less than the last time",
            Way::Easy => "an easy week",
            Way::NextLine => "the table's line",
        };
        let planned = from.intensity.as_ref().filter(|i| to.intensity.as_ref() != Some(i));
        let planned = planned
            .map_or_else(String::new, |i| format!("; the plan asks {}", show::intensity(i, self.library)));
        format!("{name}: {dose}{what}, {way}{planned}")
    }
}

fn easy_week(easy: Easy, first: Day, day: Day, plan: &Plan) -> bool {
    let monday = day.week_start();
    let nth = i64::from(monday.since(first) / 7) + 1;
    let said = plan.weeks.iter().any(|w| w.record.start == monday && w.record.easy == Some(true));
    said || nth % easy.every.get() == 0
}

/// Why a proposal that somebody still has on a screen counts no more.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Stale {
    /// The day of its session is past.
    Past,
    /// The prescription or its session was withdrawn.
    Withdrawn,
    /// Somebody changed the prescription meanwhile.
    Changed,
    /// A coach decided on it.
    Decided,
}

/// Who decides, when, under which key.
#[derive(Debug, Clone)]
pub struct Hand {
    /// The new decision's key.
    pub key: Key,
    /// By whom.
    pub by: PersonId,
    /// When.
    pub at: Moment,
    /// Why.
    pub note: Option<Note>,
}

/// Why a proposal that was made elsewhere, from another state of the same plan, is not among those that are open
/// here.
#[must_use]
pub fn gone(id: &ProposalId, session: &Key, plan: &Plan, today: Day) -> Stale {
    if plan.decisions.iter().any(|d| d.record.about == *id) {
        return Stale::Decided;
    }
    match (plan.session(session), plan.item(&id.item)) {
        (Some(s), Some(_)) if s.session.record.date < today => Stale::Past,
        (Some(_), Some(_)) => Stale::Changed,
        _ => Stale::Withdrawn,
    }
}

impl Proposal {
    /// Whether it expired, by the plan as it stands.
    #[must_use]
    pub fn stale(&self, plan: &Plan, today: Day) -> Option<Stale> {
        let item = plan.item(&self.id.item);
        match gone(&self.id, &self.session, plan, today) {
            Stale::Changed if item.is_some_and(|i| i.record == self.from) => None,
            why => Some(why),
        }
    }

    /// Takes it as it is: one change of the plan that edits the prescription and says who decided.
    #[must_use]
    pub fn accept(&self, hand: Hand) -> Command {
        self.decide(self.to.clone(), Ruling::Accepted, hand)
    }

    /// Takes it with other numbers.
    #[must_use]
    pub fn edit(&self, to: Prescription, hand: Hand) -> Command {
        let ruling = if to == self.to { Ruling::Accepted } else { Ruling::Edited };
        self.decide(to, ruling, hand)
    }

    /// Leaves the plan as it is; the proposal does not come again.
    #[must_use]
    pub fn dismiss(&self, hand: Hand) -> Command {
        let record = self.decision(Ruling::Dismissed, &hand);
        let place = Place::of("decisions", &hand.key);
        Command::Add(vec![New { place, record: AnyRecord::Decision(Box::new(record)) }])
    }

    fn decide(&self, to: Prescription, ruling: Ruling, hand: Hand) -> Command {
        let decision = Decision {
            before: Some(target_now(&self.from, self.from.sets)),
            after: Some(target_now(&to, to.sets)),
            ..self.decision(ruling, &hand)
        };
        Command::Decide {
            item: self.id.item.clone(),
            from: Box::new(self.from.clone()),
            to: Box::new(to),
            key: hand.key,
            decision: Box::new(decision),
        }
    }

    fn decision(&self, ruling: Ruling, hand: &Hand) -> Decision {
        Decision {
            note: hand.note.clone(),
            ..Decision::new(self.id.item.clone(), ruling, self.id.clone(), hand.by, hand.at)
        }
    }
}

/// The command that takes a decision back, by the plan as it stands.
///
/// # Errors
/// When the prescription is gone or was changed after the decision: then a coach edits it by hand.
pub fn undo(decision: &Entry<Decision>, plan: &Plan) -> Result<Command, Stale> {
    let record = &decision.record;
    if record.ruling == Ruling::Dismissed {
        return Ok(Command::Withdraw(vec![decision.place.clone()]));
    }
    let now = plan.item(&record.item).ok_or(Stale::Withdrawn)?.record.clone();
    let sets = |t: &Target| -> Count { t.sets };
    match (&record.before, &record.after) {
        (Some(before), Some(after)) if target_now(&now, now.sets) == *after => {
            let to = Prescription {
                sets: sets(before),
                dose: before.dose,
                intensity: before.intensity.clone(),
                rest: before.rest,
                waves: before.waves.clone(),
                ..now.clone()
            };
            Ok(Command::Undecide {
                item: record.item.clone(),
                from: Box::new(now),
                to: Box::new(to),
                key: decision.key(),
            })
        }
        _ => Err(Stale::Changed),
    }
}
