//! How the day feels, and reports of pain and illness: the athlete's own words, no diagnosis.

use std::collections::BTreeMap;

use backstraight_core::device::Clock as _;
use backstraight_core::doc::command::{Command, New};
use backstraight_core::doc::place::Place;
use backstraight_core::model::log::{CheckIn, Report};
use backstraight_core::model::name::DocName;
use backstraight_core::model::number::{BodyMass, Complaint, Effort, Name, Rating, Side};
use backstraight_core::science::Caution;
use backstraight_core::view::check_in;

use super::clock::Now;
use super::error::DoorError;
use super::install::Install;
use super::sheet::{Fields, grams, whole};
use super::work::{Deed, Receipt, What};

/// How the day feels: 1 to 7, 7 is best. A question that is left out is no answer.
#[derive(Debug, Clone, PartialEq, Eq, Default, uniffi::Record)]
pub struct CheckInAnswers {
    /// Sleep.
    #[uniffi(default = None)]
    pub sleep: Option<u32>,
    /// Freshness.
    #[uniffi(default = None)]
    pub fresh: Option<u32>,
    /// Muscles: 7 is without soreness.
    #[uniffi(default = None)]
    pub muscles: Option<u32>,
    /// Calm: 7 is without stress.
    #[uniffi(default = None)]
    pub calm: Option<u32>,
    /// Mood.
    #[uniffi(default = None)]
    pub mood: Option<u32>,
    /// Body mass, g; whole tens.
    #[uniffi(default = None)]
    pub mass_g: Option<u32>,
    /// Words.
    #[uniffi(default = None)]
    pub note: Option<String>,
}

/// Pain or illness.
#[derive(Debug, Clone, Copy, PartialEq, Eq, uniffi::Enum)]
pub enum ReportKind {
    /// Pain.
    Pain,
    /// Illness.
    Illness,
}

/// A side of the body.
#[derive(Debug, Clone, Copy, PartialEq, Eq, uniffi::Enum)]
pub enum BodySide {
    /// Left.
    Left,
    /// Right.
    Right,
    /// Both.
    Both,
}

/// A report of pain or illness.
#[derive(Debug, Clone, PartialEq, Eq, uniffi::Record)]
pub struct ReportEntry {
    /// Which.
    pub kind: ReportKind,
    /// Where in the body.
    #[uniffi(default = None)]
    pub area: Option<String>,
    /// Side.
    #[uniffi(default = None)]
    pub side: Option<BodySide>,
    /// How strong, tenths of 0 to 10.
    #[uniffi(default = None)]
    pub level_tenths: Option<u32>,
    /// Words.
    #[uniffi(default = None)]
    pub text: Option<String>,
    /// The deed's name.
    pub once: String,
}

/// A report as it stands.
#[derive(Debug, Clone, PartialEq, Eq, uniffi::Record)]
pub struct ReportLine {
    /// Which.
    pub report: String,
    /// When, ms since 1970 in UTC.
    pub at_ms: i64,
    /// Pain or illness.
    pub kind: ReportKind,
    /// Where in the body.
    pub area: Option<String>,
    /// How strong, tenths of 0 to 10.
    pub level_tenths: Option<u32>,
    /// Words.
    pub text: Option<String>,
    /// The day on which it was over.
    pub over: Option<String>,
}

/// What was answered on a day.
#[derive(Debug, Clone, PartialEq, Eq, uniffi::Record)]
pub struct CheckInLine {
    /// The day.
    pub day: String,
    /// The answers.
    pub answers: CheckInAnswers,
}

#[uniffi::export]
impl Install {
    /// What was answered on some days, by day, the newest answers of each; days without answers are left out. Of
    /// another athlete for a coach. How somebody feels is no measurement: show [`wellbeing_caution`] beside it.
    ///
    /// # Errors
    /// `BadValue`, and what the store says.
    pub fn check_ins(
        &self,
        first_day: String,
        last_day: String,
        athlete: Option<String>,
    ) -> Result<Vec<CheckInLine>, DoorError> {
        let (first, last) = super::today::days(&first_day, &last_day)?;
        self.read(|work| {
            let person = work.person(athlete.as_deref())?;
            let done = work.readings.logged(&mut work.device, person, (first, last))?;
            let of_days = done.checkins.iter().filter(|c| (first..=last).contains(&c.record.date));
            let newest: BTreeMap<_, _> = of_days.map(|c| (c.record.date, answers(&c.record))).collect();
            Ok(newest
                .into_iter()
                .map(|(day, answers)| CheckInLine { day: day.to_string(), answers })
                .collect())
        })
    }

    /// What was answered on a day; none when nothing was.
    ///
    /// # Errors
    /// `BadValue`, and what the store says.
    pub fn check_in_of(&self, day: String) -> Result<Option<CheckInAnswers>, DoorError> {
        let day = super::work::day("day", &day)?;
        self.read(|work| {
            let me = work.device.identity().person;
            let done = work.done(me, day)?;
            let of_day = done.checkins.iter().rev().find(|c| c.record.date == day);
            Ok(of_day.map(|c| answers(&c.record)))
        })
    }

    /// Answers today's questions: the first answers of a day are new, later ones correct them. Show
    /// [`wellbeing_caution`] beside the questions.
    ///
    /// # Errors
    /// `BadValue`, and what the store says.
    pub fn check_in(&self, answers: CheckInAnswers, once: String, now: Now) -> Result<Receipt, DoorError> {
        self.deed(What("check_in"), now, &once, |work| {
            let (me, day) = (work.device.identity().person, work.today()?);
            let mut f = Fields::default();
            let rating = |f: &mut Fields, field: &str, n| f.number(field, n, Rating::new);
            if answers.mass_g.is_some_and(|g| g % 10 != 0) {
                f.wrong("mass_g", "whole-tens", "body mass is kept in whole tens of a gram");
            }
            let new = CheckIn {
                sleep: rating(&mut f, "sleep", answers.sleep),
                fresh: rating(&mut f, "fresh", answers.fresh),
                muscles: rating(&mut f, "muscles", answers.muscles),
                calm: rating(&mut f, "calm", answers.calm),
                mood: rating(&mut f, "mood", answers.mood),
                mass: f.number("mass_g", answers.mass_g.map(|g| g / 10), BodyMass::new),
                note: f.note("note", answers.note.clone()),
                ..CheckIn::new(day, self.clock.now())
            };
            f.check()?;
            let done = work.done(me, day)?;
            let earlier = done.checkins.iter().rev().find(|c| c.record.date == day);
            let own = work.device.key();
            let id = earlier.map_or_else(|| own.to_string(), |e| e.key().to_string());
            // The same answers again change nothing.
            let command = check_in::command(earlier, new, Place::of("checkins", &own));
            Ok(Deed { doc: DocName::Log(me, day.month()), commands: command.into_iter().collect(), id })
        })
    }

    /// Reports pain or illness, in a document of the athlete's own: care staff read it, coaches only where
    /// the athlete agreed.
    ///
    /// # Errors
    /// `BadValue`, and what the store says.
    pub fn report(&self, report: ReportEntry, now: Now) -> Result<Receipt, DoorError> {
        self.deed(What("report"), now, &report.once, |work| {
            let mut f = Fields::default();
            let kind = match report.kind {
                ReportKind::Pain => Complaint::Pain,
                ReportKind::Illness => Complaint::Illness,
            };
            let record = Report {
                area: f.take("area", report.area.clone(), Name::new),
                side: report.side.map(|s| match s {
                    BodySide::Left => Side::Left,
                    BodySide::Right => Side::Right,
                    BodySide::Both => Side::Both,
                }),
                level: f.number("level_tenths", report.level_tenths, Effort::new),
                text: f.note("text", report.text.clone()),
                ..Report::new(self.clock.now(), kind)
            };
            f.check()?;
            let own = work.device.key();
            let add = New { place: Place::of("reports", &own), record: record.into() };
            let doc = DocName::Care(work.device.identity().person);
            Ok(Deed { doc, commands: vec![Command::Add(vec![add])], id: own.to_string() })
        })
    }

    /// Says that what was reported is over, today.
    ///
    /// # Errors
    /// `NotThere`, and what the store says.
    pub fn report_over(&self, report: String, once: String, now: Now) -> Result<Receipt, DoorError> {
        self.deed(What("report_over"), now, &once, |work| {
            let doc = DocName::Care(work.device.identity().person);
            let today = work.today()?;
            let all = work.device.document(doc)?.records::<Report>("reports");
            let entry = all.live().find(|e| e.key().as_str() == report);
            let entry = entry.ok_or_else(|| DoorError::missing("report", &report))?;
            let to = Report { over: Some(today), ..entry.record.clone() };
            let commands = if to == entry.record {
                Vec::new()
            } else {
                let (from, to) = (entry.record.clone().into(), to.into());
                vec![Command::Edit { place: entry.place.clone(), from, to }]
            };
            Ok(Deed { doc, commands, id: report.clone() })
        })
    }

    /// Reports, newest first: the own ones, or those of an athlete for whom that athlete lets read them.
    ///
    /// # Errors
    /// What the store says.
    pub fn reports(&self, athlete: Option<String>) -> Result<Vec<ReportLine>, DoorError> {
        self.read(|work| {
            let doc = DocName::Care(work.person(athlete.as_deref())?);
            let all = work.device.document(doc)?.records::<Report>("reports");
            let line = |r: &Report, key: String| ReportLine {
                report: key,
                at_ms: r.at.0,
                kind: match r.kind {
                    Complaint::Pain => ReportKind::Pain,
                    Complaint::Illness => ReportKind::Illness,
                },
                area: r.area.as_ref().map(ToString::to_string),
                level_tenths: r.level.map(|l| whole(l.get())),
                text: r.text.as_ref().map(ToString::to_string),
                over: r.over.map(|d| d.to_string()),
            };
            let mut lines: Vec<_> = all.live().map(|e| line(&e.record, e.key().to_string())).collect();
            lines.sort_by(|a, b| (b.at_ms, &b.report).cmp(&(a.at_ms, &a.report)));
            Ok(lines)
        })
    }
}

/// What to show beside questions about how somebody feels.
#[uniffi::export]
#[must_use]
pub fn wellbeing_caution() -> String {
    Caution::Wellbeing.text().to_owned()
}

fn answers(c: &CheckIn) -> CheckInAnswers {
    CheckInAnswers {
        sleep: c.sleep.map(|n| whole(n.get())),
        fresh: c.fresh.map(|n| whole(n.get())),
        muscles: c.muscles.map(|n| whole(n.get())),
        calm: c.calm.map(|n| whole(n.get())),
        mood: c.mood.map(|n| whole(n.get())),
        mass_g: c.mass.map(|n| grams(n.get())),
        note: c.note.as_ref().map(ToString::to_string),
    }
}
