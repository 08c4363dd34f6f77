//! The one list of cautions, in our own words. Knows nothing of formulas.
//!
//! A caution stands wherever a number could steer a body. It is carried in the answer and its
//! JSON, and it always defers to people who are allowed to judge.

/// Which caution goes with a formula.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Caution {
    /// Heavy or maximal lifting.
    MaximalTest,
    /// Technical lifts at speed.
    TechnicalLift,
    /// Growing athletes.
    Junior,
    /// Ground contacts and landings.
    Contacts,
    /// Jump and hop tests.
    JumpExposure,
    /// Maximal sprinting and hurdling.
    SprintExposure,
    /// Load and its ratios.
    Load,
    /// Side differences and coming back from injury.
    Return,
    /// Answers about health and well-being.
    Wellbeing,
    /// What care staff said that an athlete may train.
    Availability,
}

impl Caution {
    /// Every caution, for lists and tests.
    pub const ALL: [Self; 10] = [
        Self::MaximalTest,
        Self::TechnicalLift,
        Self::Junior,
        Self::Contacts,
        Self::JumpExposure,
        Self::SprintExposure,
        Self::Load,
        Self::Return,
        Self::Wellbeing,
        Self::Availability,
    ];

    /// Stable short code for machines.
    #[must_use]
    pub fn code(self) -> &'static str {
        match self {
            Self::MaximalTest => "maximal_test",
            Self::TechnicalLift => "technical_lift",
            Self::Junior => "junior",
            Self::Contacts => "contacts",
            Self::JumpExposure => "jump_exposure",
            Self::SprintExposure => "sprint_exposure",
            Self::Load => "load",
            Self::Return => "return",
            Self::Wellbeing => "wellbeing",
            Self::Availability => "availability",
        }
    }

    /// One or two sentences for a person.
    #[must_use]
    pub fn text(self) -> &'static str {
        match self {
            Self::MaximalTest => {
                "An estimate is not permission to lift it. Heavy attempts need a prepared athlete, \
                 spotters or safety bars, and a coach who decides on the day; follow local rules."
            }
            Self::TechnicalLift => {
                "Estimates do not hold for lifts that are decided by technique. Let the coach \
                 judge the lift itself, and follow local rules."
            }
            Self::Junior => {
                "A rough estimate about a growing body, off by a year or more in either direction. \
                 It never replaces the judgement of a doctor or physiotherapist, and local rules \
                 for minors come first."
            }
            Self::Contacts => {
                "Counts say nothing about surface, height or landing quality. Build up slowly, \
                 less for juniors and newcomers, and let the coach and local rules decide."
            }
            Self::JumpExposure => {
                "Maximal jumps load tendons and joints. Only warmed up, on a safe surface and \
                 without pain; whoever has pain stops and sees a licensed professional."
            }
            Self::SprintExposure => {
                "Maximal sprinting and hurdling need a full warm-up and a gradual build-up. \
                 Pain ends the session; the coach and local rules decide."
            }
            Self::Load => {
                "This describes what was done. It does not foretell injury or readiness; talk with \
                 the athlete before changing anything."
            }
            Self::Return => {
                "A difference between sides is a description, not a finding. Whether somebody may \
                 train or compete again is for licensed professionals to say."
            }
            Self::Wellbeing => {
                "Answers are for a conversation, not a diagnosis. With pain, illness or worry turn \
                 to a licensed professional; follow local rules for minors."
            }
            Self::Availability => {
                "Said by care staff for training; it names no reason and does not replace clinical \
                 judgement. When anything changes, stop and ask a licensed professional."
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn codes_are_distinct_and_texts_defer_to_people() {
        let mut codes: Vec<_> = Caution::ALL.iter().map(|c| c.code()).collect();
        codes.sort_unstable();
        codes.dedup();
        assert_eq!(codes.len(), Caution::ALL.len());
        for caution in Caution::ALL {
            let text = caution.text();
            assert!(
                ["coach", "licensed", "local rules", "talk with"].iter().any(|w| text.contains(w)),
                "{text}"
            );
        }
    }
}
