//! Every kind of record in one type, and which document holds which where.

use super::care::*;
use super::log::*;
use super::name::Kind;
use super::plan::*;
use super::spec::{Record, RecordSpec, RootSpec, Scalar};

macro_rules! any_record {
    ($( $name:ident ),+ $(,)?) => {
        /// A record of any kind.
        #[derive(Debug, Clone, PartialEq, Eq)]
        pub enum AnyRecord { $(
            #[doc = concat!("See [`", stringify!($name), "`].")]
            $name(Box<$name>),
        )+ }

        impl AnyRecord {
            /// Its description.
            #[must_use]
            pub fn spec(&self) -> &'static RecordSpec {
                match self { $( AnyRecord::$name(_) => <$name as Record>::SPEC, )+ }
            }

            /// Its fields that are set.
            #[must_use]
            pub fn fields(&self) -> Vec<(&'static str, Scalar)> {
                match self { $( AnyRecord::$name(r) => r.fields(), )+ }
            }
        }

        $( impl From<$name> for AnyRecord {
            fn from(r: $name) -> AnyRecord {
                AnyRecord::$name(Box::new(r))
            }
        } )+
    };
}

any_record! {
    Exercise, Cue, Venue, Protocol, Template, Settings,
    SquadAbout, Member, Meet, SquadSession, Emphasis, Remark,
    PlanAbout, Phase, Week, Session, Group, Prescription, Condition, Decision,
    SessionDone, Work, SetDone, CheckIn, Trial, Comment,
    Observation, Competency, Entered, Excuse, Report,
    Assessment, Restriction, Availability,
}

const fn many(name: &'static str, record: &'static RecordSpec) -> RootSpec {
    RootSpec { name, record, single: false }
}

const fn one(name: &'static str, record: &'static RecordSpec) -> RootSpec {
    RootSpec { name, record, single: true }
}

static LIBRARY: [RootSpec; 8] = [
    one("settings", Settings::SPEC),
    many("exercises", Exercise::SPEC),
    many("cues", Cue::SPEC),
    many("venues", Venue::SPEC),
    many("protocols", Protocol::SPEC),
    many("templates", Template::SPEC),
    many("groups", Group::SPEC),
    many("items", Prescription::SPEC),
];
static SQUAD: [RootSpec; 6] = [
    one("about", SquadAbout::SPEC),
    many("members", Member::SPEC),
    many("meets", Meet::SPEC),
    many("sessions", SquadSession::SPEC),
    many("emphasis", Emphasis::SPEC),
    many("remarks", Remark::SPEC),
];
static PLAN: [RootSpec; 8] = [
    one("about", PlanAbout::SPEC),
    many("phases", Phase::SPEC),
    many("weeks", Week::SPEC),
    many("sessions", Session::SPEC),
    many("groups", Group::SPEC),
    many("items", Prescription::SPEC),
    many("conditions", Condition::SPEC),
    many("decisions", Decision::SPEC),
];
static LOG: [RootSpec; 4] = [
    many("sessions", SessionDone::SPEC),
    many("checkins", CheckIn::SPEC),
    many("trials", Trial::SPEC),
    many("comments", Comment::SPEC),
];
static NOTES: [RootSpec; 6] = [
    many("observations", Observation::SPEC),
    many("competencies", Competency::SPEC),
    many("trials", Trial::SPEC),
    many("entered", Entered::SPEC),
    many("excuses", Excuse::SPEC),
    many("comments", Comment::SPEC),
];
static CARE: [RootSpec; 1] = [many("reports", Report::SPEC)];
static CARE_NOTES: [RootSpec; 2] =
    [many("assessments", Assessment::SPEC), many("restrictions", Restriction::SPEC)];
static AVAILABILITY: [RootSpec; 1] = [many("availability", Availability::SPEC)];

/// The maps at the root of a kind of document. Only ever added to, and each addition with a fixed
/// starting change of its own.
#[must_use]
pub fn roots(kind: Kind) -> &'static [RootSpec] {
    match kind {
        Kind::Library => &LIBRARY,
        Kind::Squad => &SQUAD,
        Kind::Plan => &PLAN,
        Kind::Log => &LOG,
        Kind::Notes => &NOTES,
        Kind::Care => &CARE,
        Kind::CareNotes => &CARE_NOTES,
        Kind::Availability => &AVAILABILITY,
    }
}

/// The root map of that name.
#[must_use]
pub fn root(kind: Kind, name: &str) -> Option<&'static RootSpec> {
    roots(kind).iter().find(|r| r.name == name)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_record_has_a_field_twice_or_one_named_like_the_mark_of_withdrawal_or_its_inner_map() {
        for kind in Kind::ALL {
            for root in roots(kind) {
                let mut spec = Some(root.record);
                while let Some(s) = spec {
                    let mut names: Vec<_> = s.fields.iter().map(|f| f.name).collect();
                    names.push("gone");
                    names.extend(s.inner.map(|(n, _)| n));
                    let all = names.len();
                    names.sort_unstable();
                    names.dedup();
                    assert_eq!(names.len(), all, "{}", s.name);
                    spec = s.inner.map(|(_, r)| r);
                }
            }
        }
    }
}
