//! What was done on a desk, with the way back and forth again. Knows commands, no screen and no store.

use backstraight_core::base::key::Key;
use backstraight_core::base::moment::Moment;
use backstraight_core::doc::command::Command;
use backstraight_core::doc::open::Document;
use backstraight_core::doc::place::Place;
use backstraight_core::model::any::AnyRecord;
use backstraight_core::model::log::Trial;
use backstraight_core::model::name::DocName;
use backstraight_core::model::plan::{
    Condition, Cue, Exercise, Group, Meet, Phase, PlanAbout, Prescription, Protocol, Session, Settings,
    SquadSession, Template, Venue, Week,
};
use backstraight_core::model::spec::{Record, Scalar};

/// Most deeds that are remembered.
const MOST: usize = 200;

/// Commands with their documents, in their order.
pub type Steps = Vec<(DocName, Command)>;

/// Something that a person did at once.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Deed {
    /// In words.
    pub said: String,
    /// What takes it back.
    pub back: Steps,
}

/// Deeds that can be taken back, and those that were.
#[derive(Debug, Clone, Default)]
pub struct Stack {
    done: Vec<Deed>,
    undone: Vec<Deed>,
}

/// The way back of steps; none when one of them has none.
#[must_use]
pub fn way_back(steps: &Steps, fresh: &mut dyn FnMut() -> Key, now: Moment) -> Option<Steps> {
    steps.iter().rev().map(|(doc, command)| Some((*doc, command.inverse(&fresh(), now)?))).collect()
}

impl Stack {
    /// Remembers a deed. What was taken back before cannot be done again after it.
    pub fn push(&mut self, deed: Deed) {
        self.undone.clear();
        self.done.push(deed);
        if self.done.len() > MOST {
            self.done.remove(0);
        }
    }

    /// The deed that would be taken back now.
    #[must_use]
    pub fn last(&self) -> Option<&Deed> {
        self.done.last()
    }

    /// The deed that would be done again now.
    #[must_use]
    pub fn next(&self) -> Option<&Deed> {
        self.undone.last()
    }

    /// The last deed was taken back; `again` does it anew.
    pub fn took_back(&mut self, again: Steps) {
        if let Some(deed) = self.done.pop() {
            self.undone.push(Deed { back: again, ..deed });
        }
    }

    /// The next deed was done anew; `back` takes it back.
    pub fn did_again(&mut self, back: Steps) {
        if let Some(deed) = self.undone.pop() {
            self.done.push(Deed { back, ..deed });
        }
    }
}

/// Whether what an edit would change still reads as it was seen. Somebody else's word is not taken back in
/// passing.
#[must_use]
pub fn still_so(doc: &Document, command: &Command) -> bool {
    let Command::Edit { place, from, to } = command else { return true };
    let (seen, wanted) = (from.fields(), to.fields());
    let Some(now) = fields_now(doc, place, from) else { return false };
    let of = |list: &[(&'static str, Scalar)], field: &str| {
        list.iter().find(|f| f.0 == field).map(|f| f.1.clone())
    };
    let names = seen.iter().chain(&wanted).map(|(name, _)| *name);
    names.filter(|name| of(&seen, name) != of(&wanted, name)).all(|name| of(&now, name) == of(&seen, name))
}

fn fields_now(doc: &Document, place: &Place, like: &AnyRecord) -> Option<Vec<(&'static str, Scalar)>> {
    macro_rules! read {
        ($($kind:ident),*) => {
            match like {
                $( AnyRecord::$kind(_) => doc.record::<$kind>(place).ok()?.map(|e| e.record.fields()), )*
                // No other record is edited on a desk.
                _ => Some(like.fields()),
            }
        };
    }
    read!(
        Session,
        Group,
        Prescription,
        Phase,
        Week,
        Condition,
        PlanAbout,
        Meet,
        Exercise,
        Cue,
        Venue,
        Protocol,
        Settings,
        SquadSession,
        Template,
        Trial
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use backstraight_core::base::id::{ActorId, InstallId, PersonId};
    use backstraight_core::doc::command::{New, Scene};
    use backstraight_core::model::number::{SeasonNo, Text};

    const NOW: Moment = Moment(1_795_600_800_000);

    fn name() -> DocName {
        DocName::Plan(PersonId(uuid::Uuid::from_bytes([7; 16])), SeasonNo::new(2027).unwrap())
    }

    fn key(n: u32) -> Key {
        format!("abcdef-{n}").parse().unwrap()
    }

    fn session(title: &str) -> Session {
        Session::new("2026-11-23".parse().unwrap(), Text::new(title).unwrap())
    }

    fn edit(from: &str, to: &str) -> Command {
        let place = Place::of("sessions", &key(1));
        Command::Edit { place, from: session(from).into(), to: session(to).into() }
    }

    fn run(doc: &mut Document, command: &Command) {
        doc.apply(command, &Scene { now: NOW, exercises: None }).unwrap();
    }

    fn document() -> Document {
        let mut doc = Document::create(name()).unwrap();
        doc.write_as(ActorId::of(InstallId([1; 8]), [2; 8]));
        let place = Place::of("sessions", &key(1));
        run(&mut doc, &Command::Add(vec![New { place, record: session("A").into() }]));
        doc
    }

    #[test]
    fn the_way_back_goes_backwards() {
        let steps = vec![(name(), edit("A", "B")), (name(), edit("B", "C"))];
        let back = way_back(&steps, &mut || key(9), NOW).unwrap();
        assert_eq!(back, vec![(name(), edit("C", "B")), (name(), edit("B", "A"))]);
        assert_eq!(way_back(&back, &mut || key(9), NOW).unwrap(), steps);
        let pick = Command::Pick { place: Place::of("sessions", &key(1)), field: "title", value: None };
        assert_eq!(way_back(&vec![(name(), pick)], &mut || key(9), NOW), None);
    }

    #[test]
    fn back_and_forth() {
        let deed = |said: &str| Deed { said: said.to_owned(), back: vec![(name(), edit("B", "A"))] };
        let mut stack = Stack::default();
        stack.push(deed("first"));
        stack.push(deed("second"));
        stack.took_back(vec![(name(), edit("A", "B"))]);
        assert_eq!(stack.last().map(|d| d.said.as_str()), Some("first"));
        assert_eq!(stack.next().unwrap().back, vec![(name(), edit("A", "B"))]);
        stack.did_again(vec![(name(), edit("B", "A"))]);
        assert_eq!(stack.last(), Some(&deed("second")));
        stack.took_back(Vec::new());
        stack.push(deed("third"));
        assert!(stack.next().is_none());
        for _ in 0..MOST + 5 {
            stack.push(deed("more"));
        }
        assert_eq!(stack.done.len(), MOST);
    }

    #[test]
    fn what_somebody_changed_meanwhile_is_not_taken_back() {
        let mut doc = document();
        run(&mut doc, &edit("A", "B"));
        let back = edit("B", "A");
        assert!(still_so(&doc, &back));
        // Another field does not matter, the same one does.
        let other =
            Session { minutes: backstraight_core::model::number::Minutes::new(60).ok(), ..session("B") };
        let place = Place::of("sessions", &key(1));
        let minutes = Command::Edit { place, from: session("B").into(), to: other.into() };
        run(&mut doc, &minutes);
        assert!(still_so(&doc, &back));
        run(&mut doc, &edit("B", "C"));
        assert!(!still_so(&doc, &back));
    }
}
