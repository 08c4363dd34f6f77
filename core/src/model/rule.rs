//! Rules of progression, in words like the other packed values, and the name of what they propose.
//! Knows no plan: what a rule comes to is `view::proposal`.

use core::fmt;
use core::str::FromStr;

use super::number::{Count, Load, Reps, Share, Speed};
use super::packed::{PackError, Waves, bad, number, packed_field};
use super::spec::{Field, FieldKind, Scalar};
use crate::base::key::Key;

/// An easy week now and then.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Easy {
    /// Every so many weeks, counted from the first week with this exercise and rule.
    pub every: Count,
    /// What is asked then, as a share of the last week that was not easy.
    pub share: Share,
}

/// How a prescription goes on.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Rule {
    /// A week later, so much more on the bar.
    AddLoad {
        /// What is added.
        step: Load,
        /// Easy weeks.
        easy: Option<Easy>,
    },
    /// A week later, a larger share of the maximum.
    AddShare {
        /// What is added, thousandths of the maximum.
        step: Share,
        /// Easy weeks.
        easy: Option<Easy>,
    },
    /// A table: each week its line, and from the last line to the first again.
    Table(Waves),
    /// Repetitions first: up to the most, then more on the bar and the fewest again.
    RepsThenLoad {
        /// Fewest repetitions.
        low: Reps,
        /// Most repetitions.
        high: Reps,
        /// What is added.
        step: Load,
    },
    /// By the day's bar speed: above the band more, below it less.
    BySpeed {
        /// Slow end of the band.
        slow: Speed,
        /// Fast end of the band.
        fast: Speed,
        /// What is added or taken off.
        step: Load,
    },
}

impl fmt::Display for Rule {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let easy = |easy: &Option<Easy>| {
            easy.map_or_else(String::new, |e| format!(" easy {} {}", e.every.get(), e.share.get()))
        };
        match self {
            Rule::AddLoad { step, easy: e } => write!(f, "load {}{}", step.get(), easy(e)),
            Rule::AddShare { step, easy: e } => write!(f, "share {}{}", step.get(), easy(e)),
            Rule::Table(lines) => write!(f, "table {lines}"),
            Rule::RepsThenLoad { low, high, step } => {
                write!(f, "reps {}-{} load {}", low.get(), high.get(), step.get())
            }
            Rule::BySpeed { slow, fast, step } => {
                write!(f, "speed {}-{} load {}", slow.get(), fast.get(), step.get())
            }
        }
    }
}

impl FromStr for Rule {
    type Err = PackError;
    fn from_str(text: &str) -> Result<Rule, PackError> {
        const WHAT: &str = "a rule of progression";
        let wrong = || bad(WHAT, text);
        if let Some(lines) = text.strip_prefix("table ") {
            return Ok(Rule::Table(lines.parse()?));
        }
        let words: Vec<&str> = text.split(' ').collect();
        let easy = |every: &str, share: &str| -> Result<Option<Easy>, PackError> {
            let (every, share) = (number(every, WHAT, Count::new)?, number(share, WHAT, Share::new)?);
            // Every week easy, or an easy week harder than the others, is no easy week.
            if every.get() < 2 || share.get() > 1000 { Err(wrong()) } else { Ok(Some(Easy { every, share })) }
        };
        match words.as_slice() {
            ["load", step] => Ok(Rule::AddLoad { step: number(step, WHAT, Load::new)?, easy: None }),
            ["load", step, "easy", n, share] => {
                Ok(Rule::AddLoad { step: number(step, WHAT, Load::new)?, easy: easy(n, share)? })
            }
            ["share", step] => Ok(Rule::AddShare { step: number(step, WHAT, Share::new)?, easy: None }),
            ["share", step, "easy", n, share] => {
                Ok(Rule::AddShare { step: number(step, WHAT, Share::new)?, easy: easy(n, share)? })
            }
            ["reps", range, "load", step] => {
                let (low, high) = range.split_once('-').ok_or_else(wrong)?;
                let (low, high) = (number(low, WHAT, Reps::new)?, number(high, WHAT, Reps::new)?);
                if low >= high {
                    return Err(wrong());
                }
                Ok(Rule::RepsThenLoad { low, high, step: number(step, WHAT, Load::new)? })
            }
            ["speed", band, "load", step] => {
                let (slow, fast) = band.split_once('-').ok_or_else(wrong)?;
                let (slow, fast) = (number(slow, WHAT, Speed::new)?, number(fast, WHAT, Speed::new)?);
                if slow > fast {
                    return Err(wrong());
                }
                Ok(Rule::BySpeed { slow, fast, step: number(step, WHAT, Load::new)? })
            }
            _ => Err(wrong()),
        }
    }
}
packed_field!(Rule, 1000);

/// The name of a proposal: the prescription that it would change, and the session done on which it
/// rests. The same facts always propose under the same name.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct ProposalId {
    /// The prescription that would change.
    pub item: Key,
    /// The session done.
    pub rests_on: Key,
}

impl fmt::Display for ProposalId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}.{}", self.item, self.rests_on)
    }
}

impl FromStr for ProposalId {
    type Err = PackError;
    fn from_str(text: &str) -> Result<ProposalId, PackError> {
        let wrong = || bad("the name of a proposal", text);
        let (item, rests_on) = text.split_once('.').ok_or_else(wrong)?;
        Ok(ProposalId {
            item: item.parse().map_err(|_| wrong())?,
            rests_on: rests_on.parse().map_err(|_| wrong())?,
        })
    }
}
packed_field!(ProposalId, 33);

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn rules_read_back_and_others_are_refused() {
        for t in [
            "load 250",
            "load 250 easy 4 900",
            "share 25",
            "share 25 easy 3 850",
            "table reps 5@max 750;reps 3@max 825;reps 2@max 900",
            "reps 6-10 load 250",
            "speed 500-650 load 250",
        ] {
            assert_eq!(t.parse::<Rule>().unwrap().to_string(), t);
        }
        for t in [
            "",
            "load",
            "load x",
            "load 250 easy 1 900",
            "load 250 easy 4 1001",
            "load 250 hard 4 900",
            "reps 10-6 load 250",
            "reps 6-6 load 250",
            "speed 650-500 load 250",
            "table 5",
            "share -1",
        ] {
            assert!(t.parse::<Rule>().is_err(), "{t}");
        }
        let id = "aaaaaa-1.bbbbbb-22";
        assert_eq!(id.parse::<ProposalId>().unwrap().to_string(), id);
        assert!("aaaaaa-1".parse::<ProposalId>().is_err() && "a.b".parse::<ProposalId>().is_err());
    }

    proptest! {
        #[test]
        fn any_text_is_read_or_refused_without_panic(t in "\\PC*") {
            let _ = t.parse::<ProposalId>();
            if let Ok(rule) = t.parse::<Rule>() {
                prop_assert_eq!(rule.to_string().parse::<Rule>().unwrap(), rule);
            }
        }
    }
}
