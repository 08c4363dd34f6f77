//! Who looks after the squad's health: a note for the athlete, and the one fact that coaches see.

use backstraight_core::doc::command::{Command, New};
use backstraight_core::doc::place::Place;
use backstraight_core::model::any::AnyRecord;
use backstraight_core::model::care::{Assessment, Availability};
use backstraight_core::model::name::{DocName, Kind};
use backstraight_core::model::number::{Available, Text};
use backstraight_core::view::availability::{self, Said};
use backstraight_server::report::attention::AttentionList;
use backstraight_server::report::board::Board;

use super::check::Claims;
use super::stage::{Stage, Trouble, at};
use super::story::cast;
use crate::club::people::ATHLETES;

/// For how many days it is said.
const DAYS: i32 = 10;
/// What to avoid.
const AVOID: &str = "hurdles at full height and maximal sprints";
/// What only the athlete and care staff read.
const NOTE: &str = "Agreed to leave fast runs for ten days; look again then.";

/// Before the morning's exchange: a note, and modified training for ten days.
///
/// # Errors
/// Whatever goes wrong.
pub fn speak(stage: &mut Stage, say: &mut dyn FnMut(&str)) -> Result<(), Trouble> {
    let athlete = stage.athletes.get(cast::MODIFIED).ok_or("no athlete")?.phone.identity().person;
    let (today, early) = (stage.today, stage.now.plus_ms(-3_600_000));
    stage.exchange_care(early)?;
    let care = stage.care.as_mut().ok_or("nobody cares")?;
    let by = care.phone.identity().person;
    let mut add = |name: DocName, root: &'static str, record: AnyRecord| {
        let key = care.phone.key();
        let command = Command::Add(vec![New { place: Place::of(root, &key), record }]);
        at("care", care.phone.run(name, &command))
    };
    let note =
        Assessment { look_again: Some(today.plus(DAYS)), ..Assessment::new(early, by, Text::new(NOTE)?) };
    add(DocName::CareNotes(athlete), "assessments", note.into())?;
    let said = Availability {
        until: Some(today.plus(DAYS)),
        avoid: Some(Text::new(AVOID)?),
        ..Availability::new(early, by, today, Available::Modified)
    };
    add(DocName::Availability(athlete), "availability", said.into())?;
    let (who, name) = (care.name, ATHLETES.get(cast::MODIFIED).map_or("", |a| a.name));
    stage.exchange_care(early)?;
    say(&format!(
        "{who}, who looks after the squad's health, sets {name}'s training to modified for ten days:"
    ));
    say("   coaches see what to avoid; her note on it is for him alone");
    Ok(())
}

/// Everybody sees what they should of it, and nothing else.
///
/// # Errors
/// Whatever goes wrong.
pub fn check(
    stage: &mut Stage,
    (board, list): (&Board, &AttentionList),
    claims: &mut Claims,
) -> Result<(), Trouble> {
    let today = stage.today;
    let athlete = stage.athletes.get_mut(cast::MODIFIED).ok_or("no athlete")?;
    let person = athlete.phone.identity().person;
    let name = DocName::Availability(person);
    let read = at("availability", athlete.phone.document(name))?.records::<Availability>("availability");
    let said = availability::said(&read.entries);
    let shown = availability::limits(&said, today).map(Said::words);
    let want = format!("modified training from {today} until {}: avoid {AVOID}", today.plus(DAYS));
    claims.say(
        "Rafe's phone says what to avoid today",
        shown.as_deref() == Some(&*want),
        format!("{shown:?}"),
    );
    let notes = at("notes", athlete.phone.document(DocName::CareNotes(person)))?;
    let notes = notes.records::<Assessment>("assessments");
    let told = notes.live().any(|n| n.record.text.to_string() == NOTE);
    claims.say("and he reads the note of care staff", told, "he does not");
    let lines: Vec<_> = board.athletes.iter().filter(|a| a.availability.is_some()).collect();
    claims.say(
        "the board says so of him and of nobody else",
        lines.len() == 1
            && lines.iter().all(|a| {
                a.id == person.to_string() && a.availability.as_ref().is_some_and(|v| v.words == want)
            }),
        format!("{lines:?}"),
    );
    let mut reasons = list.athletes.iter().flat_map(|a| a.reasons.iter().map(move |r| (&a.id, r)));
    claims.say(
        "the evening's list points it out, with its caution",
        reasons.any(|(id, r)| {
            *id == person.to_string()
                && r.topic == "availability"
                && r.words == want
                && r.why.caution.is_some()
        }),
        format!("{:?}", list.athletes.iter().find(|a| a.id == person.to_string())),
    );
    let mut held = Vec::new();
    for coach in &stage.coaches {
        held.extend(coach.phone.documents()?.into_iter().filter(|n| n.kind() == Kind::CareNotes));
    }
    claims.say("no coach holds a note of care staff", held.is_empty(), format!("{held:?}"));
    Ok(())
}
