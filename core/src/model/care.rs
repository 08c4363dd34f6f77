//! Records of care staff: what they found and advise, and the one fact of it that coaches see. No
//! field asks for a diagnosis. Knows no formula and no rule of training.

use super::number::*;
use super::spec::record;
use crate::base::day::Day;
use crate::base::id::PersonId;
use crate::base::key::Key;
use crate::base::moment::Moment;

record! {
    /// What care staff saw and agreed with the athlete, in words for the athlete. No diagnosis.
    Assessment = "assessment" {
        required {
            /// When.
            at: Moment,
            /// By whom.
            by: PersonId,
            /// The words.
            text: Note,
        }
        optional {
            /// The athlete's report that it is about.
            report: Key,
            /// Where in the body.
            area: Name,
            /// Side.
            side: Side,
            /// When to look again.
            look_again: Day,
        }
    }
}

record! {
    /// What the athlete should leave for some days, as agreed between care staff and athlete.
    Restriction = "restriction" {
        required {
            /// When it was said.
            at: Moment,
            /// By whom.
            by: PersonId,
            /// First day.
            from: Day,
            /// What to leave, in words.
            avoid: Note,
        }
        optional {
            /// Last day; without it, until somebody says otherwise.
            until: Day,
            /// What to do in its place.
            instead: Note,
            /// The assessment from which it follows.
            assessment: Key,
        }
    }
}

record! {
    /// What an athlete may train on some days. Of those that hold for a day the one said last counts.
    Availability = "availability" {
        required {
            /// When it was said.
            at: Moment,
            /// By whom.
            by: PersonId,
            /// First day.
            from: Day,
            /// How much.
            level: Available,
        }
        optional {
            /// Last day; without it, until somebody says otherwise.
            until: Day,
            /// What to avoid; needed where training is modified. Words about training, not about health.
            avoid: Text<200>,
            /// What to do in its place.
            instead: Text<200>,
        }
    }
}
