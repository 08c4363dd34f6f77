//! How the day feels: five answers, body mass, words; once a day, and to be corrected on that day. A question
//! that is left out is a missing answer, never a zero.

use backstraight_core::base::day::Day;
use backstraight_core::base::moment::Moment;
use backstraight_core::doc::place::Place;
use backstraight_core::doc::read::Entry;
use backstraight_core::model::log::CheckIn;
use backstraight_core::model::name::DocName;
use backstraight_core::model::number::Rating;
use backstraight_core::science::Caution;
use backstraight_core::view::check_in::command;
use leptos::prelude::*;
use leptos::task::spawn_local;

use super::draft::note;
use super::scene::{Own, Standing};
use crate::hub::{Hub, use_hub};
use crate::kit::number::MassesSetting;
use crate::kit::{Button, CautionBox, ChoiceRow, Kind, NumberField, SaveMark, TextField, Toaster, dates};
use crate::parse::{self, Masses};
use crate::screens::{head, unreadable};
use crate::words::{say, say_with};

/// The answers as they stand in the form, in the order of the questions.
pub type Answers = [Option<i64>; 5];

/// The answers of a record.
#[must_use]
pub fn answers(record: &CheckIn) -> Answers {
    [record.sleep, record.fresh, record.muscles, record.calm, record.mood].map(|r| r.map(Rating::get))
}

/// What was typed, as a record; what is wrong with body mass and words, else.
///
/// # Errors
/// In words: of the body mass, of the words.
pub fn record(
    date: Day,
    at: Moment,
    given: Answers,
    mass: &str,
    words: &str,
    masses: Masses,
) -> Result<CheckIn, (Option<String>, Option<String>)> {
    let weighed = parse::optional(mass, |text| parse::body_mass(text, masses));
    let (Ok(mass), Ok(note)) = (&weighed, &note(words)) else {
        return Err((weighed.err(), note(words).err()));
    };
    let [sleep, fresh, muscles, calm, mood] = given.map(|n| n.and_then(|n| Rating::new(n).ok()));
    Ok(CheckIn {
        sleep,
        fresh,
        muscles,
        calm,
        mood,
        mass: *mass,
        note: note.clone(),
        ..CheckIn::new(date, at)
    })
}

/// Today's check-in.
#[component]
pub fn CheckInScreen() -> impl IntoView {
    let hub = use_hub();
    match untrack(|| Own::read(hub)) {
        Ok(own) => {
            head(say("way.check-in"), dates::full(own.day));
            form(hub, &own).into_any()
        }
        Err(error) => {
            head(say("way.check-in"), "");
            unreadable(error)
        }
    }
}

fn of_today(hub: Hub, day: Day) -> Option<Entry<CheckIn>> {
    let own = Own::read(hub).ok()?;
    own.done.checkins.iter().rev().find(|c| c.record.date == day).cloned()
}

fn form(hub: Hub, own: &Own) -> impl IntoView + use<> {
    let day = own.day;
    let doc = DocName::Log(hub.me().person, day.month());
    let masses = expect_context::<MassesSetting>().0;
    let before = untrack(|| of_today(hub, day)).map(|e| e.record);
    let given = before.as_ref().map(answers).unwrap_or_default().map(RwSignal::new);
    let mass = before.as_ref().and_then(|r| r.mass);
    let mass =
        RwSignal::new(mass.map(|m| parse::body_mass_text(m, masses.get_untracked())).unwrap_or_default());
    let words = before.as_ref().and_then(|r| r.note.as_ref()).map(ToString::to_string);
    let words = RwSignal::new(words.unwrap_or_default());
    let wrong = RwSignal::new((None::<String>, None::<String>));
    let toaster = Toaster::here();
    let save = move || {
        let new = record(
            day,
            hub.now(),
            given.map(|g| g.get_untracked()),
            &mass.get_untracked(),
            &words.get_untracked(),
            masses.get_untracked(),
        );
        let new = match new {
            Ok(new) => new,
            Err(why) => return wrong.set(why),
        };
        wrong.set((None, None));
        let earlier = untrack(|| of_today(hub, day));
        let Some(command) = command(earlier.as_ref(), new, Place::of("checkins", &hub.key())) else {
            toaster.say(say("check-in.same"));
            return;
        };
        spawn_local(async move {
            match hub.run(doc, &command).await {
                Ok(_) => toaster.say(say("check-in.saved")),
                Err(error) => toaster.say(error.to_string()),
            }
        });
    };
    let [sleep, fresh, muscles, calm, mood] = given;
    let questions = [
        (say("check-in.sleep"), say("check-in.sleep.ends"), sleep),
        (say("check-in.fresh"), say("check-in.fresh.ends"), fresh),
        (say("check-in.muscles"), say("check-in.muscles.ends"), muscles),
        (say("check-in.calm"), say("check-in.calm.ends"), calm),
        (say("check-in.mood"), say("check-in.mood.ends"), mood),
    ];
    let rows = questions.map(|(label, ends, value)| {
        let options: Vec<(i64, String)> = (1..=7).map(|n| (n, n.to_string())).collect();
        view! { <ChoiceRow label=label options=options value=value hint=ends /> }
    });
    let unit = Signal::derive(move || match masses.get() {
        Masses::Kilograms => say("check-in.kg").to_owned(),
        Masses::Pounds => say("check-in.lb").to_owned(),
    });
    let kept = move || {
        let entry = of_today(hub, day)?;
        let kept = Standing::of(hub, doc).record(&entry.key());
        Some(view! { <SaveMark kept=Signal::stored(kept) /> })
    };
    view! {
        <div class="stack">
        <CautionBox caution=Caution::Wellbeing />
        <form class="stack" on:submit=move |event| { event.prevent_default(); save(); }>
            {rows.into_iter().collect_view()}
            <NumberField label=say("check-in.mass") value=mass unit=unit
                error=Signal::derive(move || wrong.with(|w| w.0.clone())) />
            <TextField label=say("check-in.note") value=words lines=true most=500
                error=Signal::derive(move || wrong.with(|w| w.1.clone())) />
            <Button label=say("check-in.save").to_owned() kind=Kind::Main big=true full=true submit=true
                on_press=|| () />
        </form>
        {kept}
        <p class="soft">{say_with("check-in.once", &[("day", &dates::named(day))])}</p>
        </div>
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day() -> Day {
        "2026-11-25".parse().unwrap()
    }

    #[test]
    fn a_question_left_out_is_no_answer() {
        let given = [Some(7), None, Some(1), None, None];
        let new = record(day(), Moment(1), given, "", "  ", Masses::Kilograms).unwrap();
        assert_eq!(answers(&new), given);
        assert_eq!((new.mass, new.note), (None, None));
        let (mass, words) = record(day(), Moment(1), given, "heavy", "", Masses::Kilograms).unwrap_err();
        assert!(mass.is_some() && words.is_none());
    }
}
