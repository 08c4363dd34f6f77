//! The two test days of the story: everybody jumps and sprints, and the head coach takes a maximum of
//! the throwers. Every trial that a device called saved is entered in the ledger.

use backstraight_core::base::day::Day;
use backstraight_core::base::moment::Moment;
use backstraight_core::doc::command::{Command, New};
use backstraight_core::doc::place::Place;
use backstraight_core::model::log::Trial;
use backstraight_core::model::name::DocName;
use backstraight_core::model::number::{Load, Sex};

use super::stage::{Stage, Trouble, at};
use super::story::cast;
use crate::club::ledger::{Ledger, Trialled};
use crate::club::people::{ATHLETES, Event};
use crate::rng::Rng;

/// How many days ago tests were taken: in the first and in the eighth week.
pub const TEST_DAYS: [i32; 2] = [52, 7];
/// The jump that two athletes share, mm: better than any other woman's.
pub const SHARED: i64 = 2_480;
/// The slip of the pen that is withdrawn, mm.
pub const SLIP: i64 = 3_950;

/// Everybody jumps twice and sprints once. One mark is a slip and withdrawn, one has too much wind
/// behind it, one has just as much as is allowed, and two athletes share the best jump.
///
/// # Errors
/// Whatever goes wrong.
pub fn test_day(
    stage: &mut Stage,
    ledger: &mut Ledger,
    rng: &mut Rng,
    day: Day,
    now: Moment,
) -> Result<(), Trouble> {
    let key = |word: &str| stage.keys.get(word).cloned().ok_or_else(|| format!("no test {word}"));
    let (jump, sprint) = (key("long-jump")?, key("thirty")?);
    let second = ledger.trials.iter().any(|t| t.day != day);
    for (i, person) in ATHLETES.iter().enumerate() {
        let athlete = stage.athletes.get_mut(i).ok_or("no athlete")?;
        let woman = person.sex == Sex::Women;
        let of = |test, value| Trialled {
            athlete: i,
            day,
            test,
            value,
            wind: None,
            withdrawn: false,
            by_coach: false,
        };
        let base = if woman { 2_300 } else { 2_750 };
        let mut jumps = vec![base + rng.range(-90, 90), base + rng.range(-90, 90)];
        if second && matches!(i, cast::SWAPS | cast::TIED) {
            jumps.push(SHARED);
        }
        for value in jumps {
            athlete.trial(ledger, &jump, of("long-jump", value), now)?;
        }
        if second && i == cast::SLIP {
            let slip = Trialled { withdrawn: true, ..of("long-jump", SLIP) };
            athlete.trial(ledger, &jump, slip, now)?;
        }
        let time = if woman { 4_350 } else { 4_050 } + rng.range(-60, 90);
        let breeze = Some(rng.range(-8, 16) * 100);
        athlete.trial(ledger, &sprint, Trialled { wind: breeze, ..of("thirty", time) }, now)?;
        let wind = match i {
            cast::WINDY => Some((2_600, 3_700)),
            cast::BREEZE => Some((2_000, 3_900)),
            _ => None,
        };
        if let Some((wind, time)) = wind.filter(|_| second) {
            let trial = Trialled { wind: Some(wind), ..of("thirty", time) };
            athlete.trial(ledger, &sprint, trial, now)?;
        }
    }
    maxima(stage, ledger, rng, day, now)
}

/// The head coach notes what the throwers squat once.
fn maxima(
    stage: &mut Stage,
    ledger: &mut Ledger,
    rng: &mut Rng,
    day: Day,
    now: Moment,
) -> Result<(), Trouble> {
    let protocol = stage.keys.get("squat-max").cloned().ok_or("no test of the squat")?;
    let people: Vec<_> = stage.athletes.iter().map(|a| a.phone.identity().person).collect();
    let coach = stage.coaches.first_mut().ok_or("no coach")?;
    coach.clock.set(now);
    let by = coach.phone.identity().person;
    for (i, (person, id)) in ATHLETES.iter().zip(people).enumerate() {
        if !matches!(person.event, Event::Throws) {
            continue;
        }
        // In steps of 2.5 kg.
        let grams = (person.squat_kg * 4 / 10 + rng.range(-1, 2)) * 2_500;
        let record = Trial {
            load: Load::new(grams / 10).ok(),
            by: Some(by),
            ..Trial::new(day, now, protocol.clone())
        };
        let place = Place::of("trials", &coach.phone.key());
        let add = Command::Add(vec![New { place, record: record.into() }]);
        at("maximum", coach.phone.run(DocName::Notes(id, day.month()), &add))?;
        ledger.trials.push(Trialled {
            athlete: i,
            day,
            test: "squat-max",
            value: grams,
            wind: None,
            withdrawn: false,
            by_coach: true,
        });
    }
    Ok(())
}
