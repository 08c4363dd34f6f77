//! What a command must satisfy. Ranges of single numbers are in their types; here are the rules
//! between values, records and documents.

use std::collections::BTreeSet;

use super::apply::differing;
use super::{Command, New, Scene, WorkOf};
use crate::base::day::Day;
use crate::base::key::Key;
use crate::base::moment::Moment;
use crate::doc::open::Document;
use crate::doc::place::Place;
use crate::doc::problem::{Code, Problem};
use crate::model::any::{AnyRecord, root};
use crate::model::care::Availability;
use crate::model::log::SetDone;
use crate::model::name::DocName;
use crate::model::number::{Available, Ruling, Spacing};
use crate::model::plan::{PlanAbout, Prescription};
use crate::model::spec::{Record, Scalar};

/// Most records that one deed makes or withdraws: a season's sessions fit.
pub(super) const MAX_RECORDS: usize = 600;

pub(super) fn problems(doc: &Document, command: &Command, scene: &Scene<'_>) -> Vec<Problem> {
    let mut check = Check { doc, scene, found: Vec::new(), new_keys: BTreeSet::new() };
    check.command(command);
    check.found
}

struct Check<'a> {
    doc: &'a Document,
    scene: &'a Scene<'a>,
    found: Vec<Problem>,
    /// Records that the same command makes: (root, key).
    new_keys: BTreeSet<(&'static str, Key)>,
}

impl Check<'_> {
    fn say(&mut self, place: &Place, field: &'static str, code: Code, text: impl Into<String>) {
        self.found.push(Problem { place: place.to_string(), field, code, text: text.into() });
    }

    fn command(&mut self, command: &Command) {
        // The clock of the change decides what is shown first where two edits met.
        if matches!(command, Command::Edit { .. } | Command::Pick { .. } | Command::Undecide { .. }) {
            self.clock(None, "", self.scene.now);
        }
        match command {
            Command::Add(news) => self.add(news),
            Command::Edit { place, from, to } => self.edit(place, from, to),
            Command::Withdraw(places) | Command::Restore(places) => {
                self.amount(places.first(), places.len());
                for place in places {
                    if !self.exists(place) {
                        continue;
                    }
                    if place.spec(self.doc.name().kind()).is_some_and(|s| s.whole) {
                        let text = "a record in one value is not withdrawn but struck, by one of its own";
                        self.say(place, "", Code::Contradiction, text);
                    } else if root(self.doc.name().kind(), place.root).is_some_and(|r| r.single) {
                        self.say(place, "", Code::WrongDocument, "this record cannot be withdrawn");
                    }
                }
                self.clock(places.first(), "gone", self.scene.now);
            }
            Command::Pick { place, field, value } => {
                if self.exists(place) {
                    let spec =
                        place.spec(self.doc.name().kind()).and_then(|s| s.field(field)).map(|(_, f)| f);
                    match (spec, value) {
                        (None, _) => self.say(place, field, Code::NotFound, "there is no such field"),
                        (Some(spec), Some(value)) if !spec.kind.admits(value) => {
                            self.say(place, field, Code::Contradiction, "the value does not fit the field");
                        }
                        _ => {}
                    }
                }
            }
            Command::LogSet { session, work, key, set } => {
                let session = Place::of("sessions", session);
                match work {
                    WorkOf::Open(work) => {
                        let work = session.inner(work);
                        if self.exists(&work) {
                            self.set(&work.inner(key), set);
                        }
                    }
                    WorkOf::New(work_key, work) => {
                        if self.exists(&session) {
                            let place = session.inner(work_key);
                            self.free(&place);
                            self.record(&place, &AnyRecord::Work(work.clone()));
                            self.set(&place.inner(key), set);
                        }
                    }
                }
            }
            Command::Skip { session, key, work } => {
                let session = Place::of("sessions", session);
                if self.exists(&session) {
                    let place = session.inner(key);
                    self.free(&place);
                    self.record(&place, &AnyRecord::Work(work.clone()));
                    if work.skipped.is_none() {
                        self.say(&place, "skipped", Code::Contradiction, "leaving out needs a reason");
                    }
                }
            }
            Command::CorrectSet { session, work, earlier, key, set } => {
                let work = Place::of("sessions", session).inner(work);
                if self.exists(&work.inner(earlier)) {
                    let place = work.inner(key);
                    self.set(&place, set);
                    if set.amends.as_ref() != Some(earlier) {
                        self.say(
                            &place,
                            "amends",
                            Code::Contradiction,
                            "a correction must name the set it corrects",
                        );
                    }
                }
            }
            Command::StrikeSet { session, work, set, key, at } => {
                let work = Place::of("sessions", session).inner(work);
                if self.exists(&work.inner(set)) {
                    let place = work.inner(key);
                    self.free(&place);
                    self.clock(Some(&place), "at", *at);
                }
            }
            Command::Close { session, ended, .. } => {
                let place = Place::of("sessions", session);
                if self.exists(&place) {
                    self.clock(Some(&place), "ended", *ended);
                    if let Ok(Some(entry)) = self.doc.record::<crate::model::log::SessionDone>(&place)
                        && *ended < entry.record.began
                    {
                        self.say(
                            &place,
                            "ended",
                            Code::Contradiction,
                            "a session cannot end before it began",
                        );
                    }
                }
            }
            Command::Decide { item, from, to, key, decision } => {
                self.rewrite(item, from, to);
                let place = Place::of("decisions", key);
                self.free(&place);
                self.record(&place, &AnyRecord::Decision(decision.clone()));
                if decision.item != *item {
                    let text = "a decision must be about the prescription that it changes";
                    self.say(&place, "item", Code::Contradiction, text);
                }
                if decision.ruling == Ruling::Dismissed {
                    let text = "what is dismissed changes no prescription";
                    self.say(&place, "ruling", Code::Contradiction, text);
                }
            }
            Command::Undecide { item, from, to, key } => {
                self.rewrite(item, from, to);
                self.exists(&Place::of("decisions", key));
            }
        }
    }

    /// A change of a prescription that holds only while it is as it was seen.
    fn rewrite(&mut self, item: &Key, from: &Prescription, to: &Prescription) {
        let place = Place::of("items", item);
        self.edit(&place, &from.clone().into(), &to.clone().into());
        let Ok(Some(now)) = self.doc.record::<Prescription>(&place) else { return };
        let (seen, now) = (from.fields(), now.record.fields());
        for (field, _) in differing(&seen, &to.fields()) {
            let of =
                |list: &[(&'static str, Scalar)]| list.iter().find(|f| f.0 == field).map(|f| f.1.clone());
            if of(&seen) != of(&now) {
                self.say(&place, field, Code::Contradiction, "somebody changed this meanwhile");
            }
        }
    }

    fn amount(&mut self, place: Option<&Place>, n: usize) {
        let nowhere = Place { root: "", keys: Vec::new() };
        let place = place.unwrap_or(&nowhere);
        if n == 0 {
            self.say(place, "", Code::NoChange, "nothing to do");
        } else if n > MAX_RECORDS {
            self.say(
                place,
                "",
                Code::TooMuch,
                format!("{n} records at once, over the limit of {MAX_RECORDS}"),
            );
        }
    }

    fn add(&mut self, news: &[New]) {
        self.amount(news.first().map(|n| &n.place), news.len());
        for new in news.iter().take(MAX_RECORDS) {
            if let (true, Some(key)) = (new.place.keys.len() == 1, new.place.keys.first()) {
                if !self.new_keys.insert((new.place.root, key.clone())) {
                    self.say(&new.place, "", Code::KeyTaken, "the key is used twice in one command");
                }
            } else {
                self.say(&new.place, "", Code::WrongDocument, "only a record of a root map can be added so");
            }
        }
        for new in news.iter().take(MAX_RECORDS) {
            self.free(&new.place);
            self.record(&new.place, &new.record);
        }
    }

    fn edit(&mut self, place: &Place, from: &AnyRecord, to: &AnyRecord) {
        if !self.exists(place) {
            return;
        }
        if !core::ptr::eq(from.spec(), to.spec()) {
            self.say(place, "", Code::WrongDocument, "an edit cannot make another kind of record");
        } else if from == to {
            self.say(place, "", Code::NoChange, "nothing differs");
        } else if from.spec().whole {
            let text = format!("a {} is not edited: a correction is one of its own", from.spec().name);
            self.say(place, "", Code::Contradiction, text);
        } else {
            self.record(place, to);
        }
    }

    fn exists(&mut self, place: &Place) -> bool {
        let there = place.exists(&self.doc.auto, self.doc.name().kind());
        if !there {
            self.say(place, "", Code::NotFound, "there is no such record");
        }
        there
    }

    fn free(&mut self, place: &Place) {
        let kind = self.doc.name().kind();
        if place.exists(&self.doc.auto, kind) {
            self.say(place, "", Code::KeyTaken, "the key is in use");
        }
        if root(kind, place.root).is_some_and(|r| r.single) {
            self.say(place, "", Code::WrongDocument, "this map holds one record, made with the document");
        }
    }

    fn clock(&mut self, place: Option<&Place>, field: &'static str, moment: Moment) {
        if !moment.plausible() {
            let nowhere = Place { root: "", keys: Vec::new() };
            let text = format!("the clock says {moment}; set the device's date and save again");
            self.say(place.unwrap_or(&nowhere), field, Code::WrongClock, text);
        }
    }

    fn exercise(&mut self, place: &Place, field: &'static str, key: &Key) {
        if self.scene.exercises.is_some_and(|all| !all.contains(key)) {
            self.say(place, field, Code::UnknownExercise, format!("the library has no exercise {key}"));
        }
    }

    fn month(&mut self, place: &Place, field: &'static str, day: Day) {
        let month = match self.doc.name() {
            DocName::Log(_, month) | DocName::Notes(_, month) => month,
            DocName::Library(_)
            | DocName::Squad(_)
            | DocName::Plan(..)
            | DocName::Care(_)
            | DocName::CareNotes(_)
            | DocName::Availability(_) => return,
        };
        if day.month() != month {
            self.say(
                place,
                field,
                Code::WrongMonth,
                format!("{day} does not belong into the document of {month}"),
            );
        }
    }

    fn season(&mut self, place: &Place, field: &'static str, day: Day) {
        let Ok(Some(about)) = self.doc.record::<PlanAbout>(&Place::main("about")) else { return };
        if about.record.from.is_some_and(|from| day < from) || about.record.to.is_some_and(|to| day > to) {
            let show = |d: Option<Day>| d.map_or_else(|| "…".to_owned(), |d| d.to_string());
            let text = format!(
                "{day} lies outside the season of {} to {}",
                show(about.record.from),
                show(about.record.to)
            );
            self.say(place, field, Code::OutsideSeason, text);
        }
    }

    fn refers(&mut self, place: &Place, field: &'static str, roots: &[&'static str], key: &Key) {
        let kind = self.doc.name().kind();
        let known = roots.iter().any(|r| {
            self.new_keys.contains(&(*r, key.clone())) || Place::of(r, key).exists(&self.doc.auto, kind)
        });
        if !known {
            self.say(place, field, Code::NotFound, format!("there is no record {key} to belong to"));
        }
    }

    fn span(&mut self, place: &Place, from: Day, (field, to): (&'static str, Day)) {
        if to < from {
            self.say(place, field, Code::Contradiction, format!("{to} is before {from}"));
        }
    }

    fn record(&mut self, place: &Place, record: &AnyRecord) {
        let kind = self.doc.name().kind();
        if !place.spec(kind).is_some_and(|s| core::ptr::eq(s, record.spec())) {
            let text = format!("a {} has no place here in a {}", record.spec().name, kind.word());
            self.say(place, "", Code::WrongDocument, text);
            return;
        }
        match record {
            AnyRecord::Session(r) => self.season(place, "date", r.date),
            AnyRecord::Phase(r) => {
                self.span(place, r.from, ("to", r.to));
                self.season(place, "from", r.from);
                self.season(place, "to", r.to);
            }
            AnyRecord::Week(r) => {
                if r.start.week_start() != r.start {
                    self.say(place, "start", Code::Contradiction, format!("{} is no Monday", r.start));
                }
            }
            AnyRecord::Emphasis(r) => self.span(place, r.from, ("to", r.to)),
            AnyRecord::PlanAbout(r) => {
                if let (Some(from), Some(to)) = (r.from, r.to) {
                    self.span(place, from, ("to", to));
                }
            }
            AnyRecord::Group(r) => self.refers(place, "of", &["sessions", "templates"], &r.of),
            AnyRecord::Prescription(r) => self.prescription(place, r),
            AnyRecord::Condition(r) => {
                self.exercise(place, "ex", &r.ex);
                self.exercise(place, "take", &r.take);
            }
            AnyRecord::SessionDone(r) => {
                self.clock(Some(place), "began", r.began);
                self.month(place, "date", r.date);
                if let Ok(day) = Day::of(r.began, 0)
                    && (r.date.since(day)).abs() > 1
                {
                    let text = format!("{} is not the day on which it began ({day} in UTC)", r.date);
                    self.say(place, "date", Code::Contradiction, text);
                }
            }
            AnyRecord::Work(r) => {
                self.exercise(place, "ex", &r.ex);
                if r.instead_of.as_ref() == Some(&r.ex) {
                    self.say(
                        place,
                        "instead_of",
                        Code::Contradiction,
                        "an exercise cannot stand in for itself",
                    );
                }
            }
            AnyRecord::SetDone(r) => self.clock(Some(place), "at", r.at),
            AnyRecord::CheckIn(r) => {
                self.clock(Some(place), "at", r.at);
                self.month(place, "date", r.date);
            }
            AnyRecord::Trial(r) => {
                self.clock(Some(place), "at", r.at);
                self.month(place, "date", r.date);
                if r.flights.as_ref().map(|f| f.0.len()) != r.touches.as_ref().map(|t| t.0.len())
                    && r.flights.is_some()
                    && r.touches.is_some()
                {
                    self.say(
                        place,
                        "touches",
                        Code::Contradiction,
                        "as many contact times as flight times are needed",
                    );
                }
            }
            AnyRecord::Entered(r) => {
                self.clock(Some(place), "at", r.at);
                self.month(place, "date", r.date);
                self.exercise(place, "ex", &r.ex);
            }
            AnyRecord::Comment(r) => self.clock(Some(place), "at", r.at),
            AnyRecord::Observation(r) => self.clock(Some(place), "at", r.at),
            AnyRecord::Competency(r) => self.clock(Some(place), "at", r.at),
            AnyRecord::Excuse(r) => self.clock(Some(place), "at", r.at),
            AnyRecord::Report(r) => self.clock(Some(place), "at", r.at),
            AnyRecord::Remark(r) => self.clock(Some(place), "at", r.at),
            AnyRecord::Assessment(r) => self.clock(Some(place), "at", r.at),
            AnyRecord::Restriction(r) => {
                self.clock(Some(place), "at", r.at);
                self.span(place, r.from, ("until", r.until.unwrap_or(r.from)));
                if let Some(assessment) = &r.assessment {
                    self.refers(place, "assessment", &["assessments"], assessment);
                }
            }
            AnyRecord::Availability(r) => self.availability(place, r),
            AnyRecord::Decision(r) => {
                self.clock(Some(place), "at", r.at);
                self.refers(place, "item", &["items"], &r.item);
                if r.about.item != r.item {
                    let text = "a decision must be about its own prescription";
                    self.say(place, "about", Code::Contradiction, text);
                }
            }
            AnyRecord::Exercise(_)
            | AnyRecord::Cue(_)
            | AnyRecord::Venue(_)
            | AnyRecord::Protocol(_)
            | AnyRecord::Template(_)
            | AnyRecord::Settings(_)
            | AnyRecord::SquadAbout(_)
            | AnyRecord::Member(_)
            | AnyRecord::Meet(_)
            | AnyRecord::SquadSession(_) => {}
        }
    }

    fn prescription(&mut self, place: &Place, r: &Prescription) {
        self.refers(place, "of", &["groups"], &r.of);
        self.exercise(place, "ex", &r.ex);
        for swap in r.swaps.iter().flat_map(|s| &s.0) {
            self.exercise(place, "swaps", swap);
        }
        let gaps = r.gaps.as_ref().map_or(0, |g| g.0.len());
        let hurdles = r.hurdles.and_then(|h| usize::try_from(h.get()).ok());
        let wanted = match (r.spacing, hurdles) {
            (Some(Spacing::Even), _) if gaps > 1 => Some("an even spacing has one gap"),
            (Some(Spacing::CloseFar), _) if gaps != 2 => Some("close and far needs the two gaps"),
            (Some(Spacing::Listed), Some(n)) if gaps + 1 != n => {
                Some("a listed spacing needs one gap fewer than hurdles")
            }
            (None, _) if gaps > 1 => Some("several gaps need a way of spacing"),
            _ => None,
        };
        if let Some(text) = wanted {
            self.say(place, "gaps", Code::Contradiction, text);
        }
        if let Some(waves) = &r.waves
            && i64::try_from(waves.0.len()).unwrap_or(i64::MAX) != r.sets.get()
        {
            let text = format!("{} sets are asked and {} are written out", r.sets.get(), waves.0.len());
            self.say(place, "waves", Code::Contradiction, text);
        }
        if r.band.as_ref().is_some_and(|b| !matches!(b, crate::model::packed::Intensity::SpeedBand(..))) {
            self.say(place, "band", Code::Contradiction, "only a band of bar speed stands here");
        }
    }

    fn availability(&mut self, place: &Place, r: &Availability) {
        self.clock(Some(place), "at", r.at);
        self.span(place, r.from, ("until", r.until.unwrap_or(r.from)));
        match (r.level, &r.avoid) {
            (Available::Modified, None) => {
                let text = "modified training needs words on what to avoid";
                self.say(place, "avoid", Code::Contradiction, text);
            }
            (Available::Full, Some(_)) => {
                let text = "with something to avoid it is modified, not full";
                self.say(place, "avoid", Code::Contradiction, text);
            }
            _ => {}
        }
    }

    fn set(&mut self, place: &Place, set: &SetDone) {
        self.free(place);
        self.record(place, &AnyRecord::SetDone(Box::new(set.clone())));
        if set.strikes.is_some() {
            self.say(place, "strikes", Code::Contradiction, "a set that is logged strikes no other");
        }
        if set.fields().len() == 1 {
            self.say(
                place,
                "",
                Code::NoChange,
                "the set says nothing: no repetitions, time, distance or load",
            );
        }
    }
}
