//! A set as it is typed: which fields it has, and from text to a set and back. Says what is wrong field by
//! field; knows no screen.

use backstraight_core::model::log::SetDone;
use backstraight_core::model::number::Note;
use backstraight_core::model::packed::Dose;
use backstraight_core::view::judge::SetAsked;

use crate::parse::{self, Lengths, Masses};

/// One of the fields of a set.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Field {
    /// Load.
    Load,
    /// Repetitions.
    Reps,
    /// Ground contacts.
    Contacts,
    /// Time held.
    Hold,
    /// Distance.
    Dist,
    /// Time of a run.
    Time,
    /// Bar speed of each repetition.
    Speeds,
    /// Effort.
    Effort,
    /// Repetitions in reserve.
    Reserve,
    /// Words.
    Note,
}

impl Field {
    /// All of them, in the order of a form.
    pub const ALL: [Field; 10] = [
        Field::Load,
        Field::Reps,
        Field::Contacts,
        Field::Hold,
        Field::Dist,
        Field::Time,
        Field::Speeds,
        Field::Effort,
        Field::Reserve,
        Field::Note,
    ];
}

/// The fields that make sense for a set that is asked so; the others are behind "more".
#[must_use]
pub fn first_fields(asked: &SetAsked, set: &SetDone) -> Vec<Field> {
    let mut fields = Vec::new();
    let mut add = |field, wanted: bool| {
        if wanted {
            fields.push(field);
        }
    };
    let runs = matches!(asked.dose, Some(Dose::Distance(_))) || set.dist.is_some();
    let holds = matches!(asked.dose, Some(Dose::Hold(_) | Dose::HoldPerSide(_))) || set.hold.is_some();
    let hops = matches!(asked.dose, Some(Dose::Contacts(_))) || set.contacts.is_some();
    let loaded = asked.load.is_some() || set.load.is_some() || asked.intensity.is_some();
    add(Field::Load, loaded && !runs);
    add(Field::Reps, !runs && !holds && !hops);
    add(Field::Contacts, hops);
    add(Field::Hold, holds);
    add(Field::Dist, runs);
    add(Field::Time, runs);
    add(Field::Speeds, loaded && !runs && !holds && !hops);
    add(Field::Effort, true);
    fields
}

/// A set as text.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Draft {
    texts: [String; 10],
}

const fn place(field: Field) -> usize {
    field as usize
}

impl Draft {
    /// From a set.
    #[must_use]
    pub fn of(set: &SetDone, masses: Masses) -> Draft {
        let mut draft = Draft::default();
        let number = |n: i64| n.to_string();
        let tenths = |n: i64| parse::plain(n, 1);
        draft.put(Field::Load, set.load.map(|l| parse::load_text(l, masses)));
        draft.put(Field::Reps, set.reps.map(|n| number(n.get())));
        draft.put(Field::Contacts, set.contacts.map(|n| number(n.get())));
        draft.put(Field::Hold, set.hold.map(parse::time_text));
        draft.put(Field::Dist, set.dist.map(|d| parse::length_text(d, Lengths::Metres)));
        draft.put(Field::Time, set.time.map(parse::time_text));
        draft.put(Field::Speeds, set.speeds.as_ref().map(parse::speeds_text));
        draft.put(Field::Effort, set.effort.map(|n| tenths(n.get())));
        draft.put(Field::Reserve, set.reserve.map(|n| tenths(n.get())));
        draft.put(Field::Note, set.note.as_ref().map(ToString::to_string));
        draft
    }

    fn put(&mut self, field: Field, text: Option<String>) {
        if let Some(slot) = self.texts.get_mut(place(field)) {
            *slot = text.unwrap_or_default();
        }
    }

    /// The text of a field.
    #[must_use]
    pub fn text(&self, field: Field) -> &str {
        self.texts.get(place(field)).map_or("", String::as_str)
    }

    /// Sets the text of a field.
    pub fn set(&mut self, field: Field, text: &str) {
        self.put(field, Some(text.to_owned()));
    }

    /// The set: what is typed on top of `base`, whose other fields stay.
    ///
    /// # Errors
    /// Each field that cannot be read, with why.
    pub fn read(&self, base: &SetDone, masses: Masses) -> Result<SetDone, Vec<(Field, String)>> {
        let mut wrong = Vec::new();
        let mut set = base.clone();
        macro_rules! field {
            ($slot:ident, $field:expr, $read:expr) => {
                match parse::optional(self.text($field), $read) {
                    Ok(value) => set.$slot = value,
                    Err(why) => wrong.push(($field, why)),
                }
            };
        }
        field!(load, Field::Load, |t| parse::load(t, masses));
        field!(reps, Field::Reps, parse::reps);
        field!(contacts, Field::Contacts, parse::reps);
        field!(hold, Field::Hold, parse::time);
        field!(dist, Field::Dist, |t| parse::length(t, Lengths::Metres));
        field!(time, Field::Time, parse::time);
        field!(speeds, Field::Speeds, parse::speeds);
        field!(effort, Field::Effort, parse::effort);
        field!(reserve, Field::Reserve, parse::reserve);
        match note(self.text(Field::Note)) {
            Ok(note) => set.note = note,
            Err(why) => wrong.push((Field::Note, why)),
        }
        if wrong.is_empty() { Ok(set) } else { Err(wrong) }
    }
}

/// Words that may be left out.
///
/// # Errors
/// When there are too many.
pub fn note(text: &str) -> Result<Option<Note>, String> {
    let text = text.trim();
    if text.is_empty() {
        return Ok(None);
    }
    Note::new(text).map(Some).map_err(|e| e.to_string())
}

#[cfg(test)]
mod tests {
    use super::*;
    use backstraight_core::base::moment::Moment;
    use backstraight_core::model::number::{Effort, Length, Load, Reps};

    const NOW: Moment = Moment(1_795_600_800_000);

    fn asked(dose: Option<Dose>, load: Option<i64>) -> SetAsked {
        SetAsked { dose, intensity: None, load: load.and_then(|l| Load::new(l).ok()) }
    }

    #[test]
    fn a_set_survives_its_form() {
        let mut set = SetDone::new(NOW);
        set.load = Load::new(8_250).ok();
        set.reps = Reps::new(5).ok();
        set.effort = Effort::new(75).ok();
        let draft = Draft::of(&set, Masses::Kilograms);
        assert_eq!((draft.text(Field::Load), draft.text(Field::Reps)), ("82.5", "5"));
        assert_eq!(draft.read(&SetDone::new(NOW), Masses::Kilograms), Ok(set));
    }

    #[test]
    fn every_wrong_field_is_told_and_an_emptied_one_is_none() {
        let mut set = SetDone::new(NOW);
        set.reps = Reps::new(5).ok();
        let mut draft = Draft::of(&set, Masses::Kilograms);
        draft.set(Field::Reps, "");
        assert_eq!(draft.read(&set, Masses::Kilograms).unwrap().reps, None);
        draft.set(Field::Load, "a lot");
        draft.set(Field::Effort, "11");
        let wrong = draft.read(&set, Masses::Kilograms).unwrap_err();
        assert_eq!(wrong.iter().map(|(f, _)| *f).collect::<Vec<_>>(), [Field::Load, Field::Effort]);
    }

    #[test]
    fn a_form_begins_with_what_the_set_is_about() {
        let blank = SetDone::new(NOW);
        let reps = Dose::Reps(Reps::new(5).unwrap(), Reps::new(5).unwrap());
        assert_eq!(
            first_fields(&asked(Some(reps), Some(8_000)), &blank),
            [Field::Load, Field::Reps, Field::Speeds, Field::Effort]
        );
        let run = Dose::Distance(Length::new(60_000).unwrap());
        assert_eq!(first_fields(&asked(Some(run), None), &blank), [Field::Dist, Field::Time, Field::Effort]);
        let hops = Dose::Contacts(Reps::new(40).unwrap());
        assert_eq!(first_fields(&asked(Some(hops), None), &blank), [Field::Contacts, Field::Effort]);
    }
}
