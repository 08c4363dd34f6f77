//! How a day's answers get into the log: the first ones are new, later ones correct them.

use crate::doc::command::{Command, New};
use crate::doc::place::Place;
use crate::doc::read::Entry;
use crate::model::log::CheckIn;

/// The deed for answers of a day of which there may be `earlier` ones; `place` is for new ones. None when
/// nothing changed.
#[must_use]
pub fn command(earlier: Option<&Entry<CheckIn>>, new: CheckIn, place: Place) -> Option<Command> {
    let Some(earlier) = earlier else {
        return Some(Command::Add(vec![New { place, record: new.into() }]));
    };
    // When it was answered first stays.
    let to = CheckIn { at: earlier.record.at, ..new };
    (to != earlier.record).then(|| Command::Edit {
        place: earlier.place.clone(),
        from: earlier.record.clone().into(),
        to: to.into(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::moment::Moment;
    use crate::model::number::Rating;

    #[test]
    fn the_second_answers_of_a_day_correct_the_first() {
        let place = Place::of("checkins", &"aaaaaa-1".parse().unwrap());
        let first =
            CheckIn { mood: Rating::new(4).ok(), ..CheckIn::new("2026-11-25".parse().unwrap(), Moment(1)) };
        assert!(matches!(command(None, first.clone(), place.clone()), Some(Command::Add(_))));
        let entry =
            Entry { place: place.clone(), record: first.clone(), gone: None, unread: vec![], met: vec![] };
        let again = CheckIn { at: Moment(9), ..first.clone() };
        assert_eq!(command(Some(&entry), again, place.clone()), None);
        let other = CheckIn { at: Moment(9), mood: Rating::new(5).ok(), ..first };
        let Some(Command::Edit { to, .. }) = command(Some(&entry), other.clone(), place) else { panic!() };
        assert_eq!(to, CheckIn { at: Moment(1), ..other }.into());
    }
}
