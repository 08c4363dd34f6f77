//! Records of log, notes and care: what was done, seen and felt.

use super::number::*;
use super::packed::*;
use super::spec::record;
use crate::base::day::Day;
use crate::base::id::PersonId;
use crate::base::key::Key;
use crate::base::moment::Moment;

record! {
    /// One set, a hold or a run, as it was done. Written once and in one value: a correction is a
    /// set of its own.
    SetDone = "set", whole {
        required {
            /// When it was logged.
            at: Moment,
        }
        optional {
            /// Load.
            load: Load,
            /// Repetitions.
            reps: Reps,
            /// Time held.
            hold: Duration,
            /// Distance.
            dist: Length,
            /// Ground contacts.
            contacts: Reps,
            /// Time of a run or of the whole set.
            time: Duration,
            /// Effort.
            effort: Effort,
            /// Repetitions in reserve.
            reserve: Reserve,
            /// Bar speed of each repetition.
            speeds: Speeds,
            /// Flight times of hops.
            flights: Times,
            /// Contact times of hops.
            touches: Times,
            /// Split times of a run.
            splits: Times,
            /// Wind.
            wind: Wind,
            /// Side.
            side: Side,
            /// Whether the last repetition failed.
            failed: bool,
            /// The set that this one corrects; the earlier one stays readable.
            amends: Key,
            /// Anything else.
            note: Note,
            /// The set that this says was not done after all, or the correction that it takes back.
            /// Nothing else counts in such a record; itself struck, it counts no more.
            strikes: Key,
        }
    }
}

record! {
    /// One exercise within a session, with what was shown when it was done.
    Work = "exercise done" => "sets": SetDone {
        required {
            /// The exercise that was done.
            ex: Key,
        }
        optional {
            /// The prescription; missing for work that nobody asked.
            item: Key,
            /// What the screen asked.
            shown: Target,
            /// The state of the plan that the screen showed, when another than as the session began.
            plan: PlanMark,
            /// The exercise that was asked, when another was done.
            instead_of: Key,
            /// Why it was left out.
            skipped: Skip,
            /// Anything else.
            note: Note,
        }
    }
}

record! {
    /// A session as the athlete did it.
    SessionDone = "session done" => "work": Work {
        required {
            /// The athlete's day on which it began.
            date: Day,
            /// When it began.
            began: Moment,
        }
        optional {
            /// The season whose plan it follows.
            season: SeasonNo,
            /// The session of that plan; missing for one that nobody asked.
            session: Key,
            /// The state of the plan that was shown.
            plan: PlanMark,
            /// What was asked when it began.
            asked: Asked,
            /// Title, as shown.
            title: Name,
            /// Minutes that local time was ahead of UTC.
            zone: ZoneOffset,
            /// Where.
            venue: Key,
            /// When it was closed.
            ended: Moment,
            /// Minutes that it took, rests included.
            minutes: Minutes,
            /// How hard the whole session was.
            effort: Effort,
            /// Why the whole session was left out.
            skipped: Skip,
            /// Words to the coach.
            comment: Note,
        }
    }
}

record! {
    /// How the athlete feels on a day. A missing answer is no zero.
    CheckIn = "check-in" {
        required {
            /// Day.
            date: Day,
            /// When it was answered.
            at: Moment,
        }
        optional {
            /// Sleep, 7 best.
            sleep: Rating,
            /// Freshness, 7 best.
            fresh: Rating,
            /// Muscles, 7 without soreness.
            muscles: Rating,
            /// Calm, 7 without stress.
            calm: Rating,
            /// Mood, 7 best.
            mood: Rating,
            /// Body mass.
            mass: BodyMass,
            /// Anything else.
            note: Note,
        }
    }
}

record! {
    /// One trial of a test.
    Trial = "trial" {
        required {
            /// Day.
            date: Day,
            /// When it was entered.
            at: Moment,
            /// Which test.
            protocol: Key,
        }
        optional {
            /// The result, thousandths of the protocol's unit.
            value: Value,
            /// Load, for loaded tests.
            load: Load,
            /// Repetitions, for repetition tests.
            reps: Reps,
            /// Flight times.
            flights: Times,
            /// Contact times.
            touches: Times,
            /// Split times.
            splits: Times,
            /// Bar speeds.
            speeds: Speeds,
            /// Body mass on the day.
            mass: BodyMass,
            /// Wind.
            wind: Wind,
            /// Surface, shoes, device: whatever may change the result.
            conditions: Note,
            /// Who took it, when a coach did.
            by: PersonId,
        }
    }
}

record! {
    /// Words from one to the other.
    Comment = "comment" {
        required {
            /// When.
            at: Moment,
            /// By whom.
            by: PersonId,
            /// The words.
            text: Note,
        }
        optional {
            /// The session, planned or done, that it is about.
            session: Key,
            /// The comment that it answers.
            answers: Key,
        }
    }
}

record! {
    /// What a coach saw in a movement.
    Observation = "observation" {
        required {
            /// When.
            at: Moment,
            /// By whom.
            by: PersonId,
            /// The words.
            text: Note,
        }
        optional {
            /// The exercise.
            ex: Key,
            /// The session.
            session: Key,
            /// The drill given.
            drill: Name,
        }
    }
}

record! {
    /// A movement to work on, and when to look at it again.
    Competency = "competency note" {
        required {
            /// When.
            at: Moment,
            /// By whom.
            by: PersonId,
            /// Movement.
            movement: Name,
            /// What to work on.
            work_on: Note,
        }
        optional {
            /// The exercise.
            ex: Key,
            /// The drill given.
            drill: Name,
            /// When to look again.
            look_again: Day,
        }
    }
}

record! {
    /// A set that a coach entered for the athlete.
    Entered = "set entered by a coach" {
        required {
            /// When it was entered.
            at: Moment,
            /// By whom.
            by: PersonId,
            /// The day on which it was done.
            date: Day,
            /// The exercise.
            ex: Key,
        }
        optional {
            /// The session of the plan.
            session: Key,
            /// The prescription.
            item: Key,
            /// Load.
            load: Load,
            /// Repetitions.
            reps: Reps,
            /// Time held.
            hold: Duration,
            /// Distance.
            dist: Length,
            /// Contacts.
            contacts: Reps,
            /// Time of a run.
            time: Duration,
            /// Effort.
            effort: Effort,
            /// Bar speeds.
            speeds: Speeds,
            /// Anything else.
            note: Note,
        }
    }
}

record! {
    /// What a coach says about a session that was not logged.
    Excuse = "coach's word on a session" {
        required {
            /// When.
            at: Moment,
            /// By whom.
            by: PersonId,
            /// The session of the plan.
            session: Key,
            /// What.
            verdict: Verdict,
        }
        optional {
            /// Why.
            note: Note,
        }
    }
}

record! {
    /// A report of pain or illness, in the athlete's own words. No diagnosis.
    Report = "report of pain or illness" {
        required {
            /// When.
            at: Moment,
            /// Which.
            kind: Complaint,
        }
        optional {
            /// Where in the body.
            area: Name,
            /// Side.
            side: Side,
            /// How strong, in tenths of a 0 to 10 rating.
            level: Effort,
            /// The session during which it came.
            session: Key,
            /// The words.
            text: Note,
            /// The day on which it was over.
            over: Day,
        }
    }
}
