//! "Two edits met here": every field of an athlete's documents that two people changed without
//! knowing of each other, in words that a person can choose between.

use super::library::Library;
use super::show;
use crate::base::id::{ActorId, InstallId};
use crate::base::moment::Moment;
use crate::doc::place::Place;
use crate::doc::read::Met;
use crate::model::spec::Scalar;

/// One value to choose.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Choice {
    /// In words.
    pub words: String,
    /// As stored, for the pick; `None` when that edit cleared the field.
    pub value: Option<Scalar>,
    /// Who wrote it: the name of the person whose install it was, where known.
    pub who: String,
    /// When, by that device's clock.
    pub at: Moment,
    /// The start of the install that wrote it.
    pub by: ActorId,
}

/// One place where edits met.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MetHere {
    /// The record.
    pub place: Place,
    /// The field.
    pub field: &'static str,
    /// The choices, the one shown meanwhile first.
    pub choices: Vec<Choice>,
}

/// Puts places where edits met into words. `who` names the person of an install.
#[must_use]
pub fn in_words(met: &[Met], library: &Library, who: &dyn Fn(InstallId) -> Option<String>) -> Vec<MetHere> {
    met.iter()
        .map(|m| MetHere {
            place: m.place.clone(),
            field: m.field,
            choices: m
                .told
                .iter()
                .map(|t| Choice {
                    words: t
                        .value
                        .as_ref()
                        .map_or_else(|| "nothing".to_owned(), |v| show::scalar(m.field, v, library)),
                    value: t.value.clone(),
                    who: who(t.by.install()).unwrap_or_else(|| format!("install {}", t.by.install())),
                    at: t.at,
                    by: t.by,
                })
                .collect(),
        })
        .collect()
}
