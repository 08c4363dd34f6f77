//! Every part of the kit on one screen, for people who work on it: to be looked at in each light, on a phone and at
//! a desk. Only in builds with the feature `gallery`; everything shown here is invented.

use backstraight_core::base::day::Day;
use backstraight_core::base::moment::Moment;
use backstraight_core::model::number::Aim;
use backstraight_core::science::Caution;
use backstraight_core::view::resolve::OnTheBar;
use backstraight_core::view::state::State;
use backstraight_core::view::why::{Part, Why};
use leptos::prelude::*;

use crate::chart::{
    Band, Bar, DayChart, Phase, Point, Season, SeasonStrip, Series, Spark, Week, WeekBars, When,
};
use crate::kit::{
    Button, ButtonLink, CautionBox, Check, Chip, ChoiceRow, Column, Combo, DataTable, DateField, Dialog,
    EmptyState, ErrorBox, Frame, Icon, IconName, Kept, KeysHelp, Kind, LoadField, Mark, MarksKey,
    NumberField, Plates, Progress, RestTimer, SaveMark, Tabs, TextField, Toaster, Toasts, ToggleChip,
    Trouble, WhyButton, WhyParts,
};
use crate::kit::{combo::Offer, number::MassesSetting, number::Steps, rest::Rest};
use crate::parse::Masses;
use crate::route::{Home, Route};

/// A Monday of an invented season.
fn monday() -> Day {
    Day::new(2026, 11, 2).expect("a day of the calendar")
}

fn points(values: &[(i32, f64)]) -> Vec<Point> {
    values
        .iter()
        .map(|(n, value)| Point { on: monday().plus(*n), value: *value, note: String::new() })
        .collect()
}

/// All parts, in the frame of a coach.
#[component]
pub fn Gallery() -> impl IntoView {
    provide_context(MassesSetting(RwSignal::new(Masses::Kilograms)));
    let toaster = Toaster::provide();
    let home = if window().location().search().is_ok_and(|s| s.contains("athlete")) {
        Home::Athlete
    } else {
        Home::Coach
    };
    let title = Signal::stored(String::from("Every part"));
    let under = Signal::stored(String::from("Wed 25 Nov · Hall under the stand"));
    view! {
        <Frame
            home=home
            route=Signal::stored(home.start())
            title=title
            under=under
            unsent=Signal::stored(3_u32)
            wide=Signal::stored(true)
        >
            <div class="stack wide">
                <Marks />
                <Buttons toaster=toaster />
                <Fields />
                <States />
                <Things />
                <Charts />
                <Icons />
            </div>
        </Frame>
        <Toasts toaster=toaster />
    }
}

#[component]
fn Marks() -> impl IntoView {
    let shares = [0.1, 0.45, 0.88];
    view! {
        <section class="stack">
            <h2>"Marks"</h2>
            <MarksKey />
            <div class="row">
                {shares.map(|s| view! { <Mark state=State::Part share=s with_word=true /> }).into_iter().collect_view()}
                <Mark state=State::Changed share=0.7 with_word=true />
            </div>
            <DataTable
                caption="A board, four days"
                columns=vec![
                    Column::words("Athlete"),
                    Column::words("Mon"),
                    Column::words("Wed"),
                    Column::words("Thu"),
                    Column::figures("Heard share"),
                ]
                rows=vec![
                    board_row("Ines Tarrowby", [State::Done, State::Part, State::Due], "88 %"),
                    board_row("Odile Fennimore", [State::Missed, State::Unheard, State::Due], "50 %"),
                    board_row("Rafe Underhallow", [State::Changed, State::Excused, State::Coming], "96 %"),
                ]
            />
        </section>
    }
}

fn board_row(name: &str, states: [State; 3], share: &str) -> Vec<AnyView> {
    let mut row = vec![view! { <a href="#/board">{name.to_owned()}</a> }.into_any()];
    row.extend(states.map(|state| view! { <Mark state=state share=0.6 with_word=true /> }.into_any()));
    row.push(share.to_owned().into_any());
    row
}

#[component]
fn Buttons(toaster: Toaster) -> impl IntoView {
    let sheet = RwSignal::new(false);
    let keys = RwSignal::new(false);
    let undone = Callback::new(move |()| toaster.say("Put back"));
    view! {
        <section class="stack">
            <h2>"Buttons"</h2>
            <div class="row">
                <Button label="Log set".to_owned() kind=Kind::Main big=true on_press=move || toaster.with_undo("Logged: 100 kg, 5 reps", undone) />
                <Button label="Swap".to_owned() big=true on_press=move || toaster.say("Swapped for front squat") />
                <Button label="Leave out".to_owned() kind=Kind::Grave on_press=|| () />
                <Button label="Not now".to_owned() disabled=Signal::stored(true) on_press=|| () />
                <Button label="More".to_owned() kind=Kind::Quiet on_press=move || sheet.set(true) />
                <Button label="Keys".to_owned() on_press=move || keys.set(true) />
                <ButtonLink label="Open plan".to_owned() href="#/board".to_owned() />
            </div>
            <Dialog title=Signal::stored("Why leave it out?".to_owned()) open=sheet on_close=move || sheet.set(false) sheet=true>
                <div class="stack">
                    <p>"Your coach reads the reason beside the exercise."</p>
                    <Button label="No kit here".to_owned() full=true big=true on_press=move || sheet.set(false) />
                    <Button label="Pain".to_owned() full=true big=true on_press=move || sheet.set(false) />
                </div>
            </Dialog>
            <KeysHelp
                open=keys
                keys=vec![
                    ("Ctrl+Z".to_owned(), "Undo the last change".to_owned()),
                    ("Ctrl+D".to_owned(), "Copy the session to another day".to_owned()),
                    ("?".to_owned(), "This list".to_owned()),
                ]
            />
        </section>
    }
}

#[component]
fn Fields() -> impl IntoView {
    let load = RwSignal::new("102,5".to_owned());
    let reps = RwSignal::new("5".to_owned());
    let wind = RwSignal::new("-0.8".to_owned());
    let name = RwSignal::new("Hanne Oakrill".to_owned());
    let note = RwSignal::new(String::new());
    let bad = RwSignal::new("ten".to_owned());
    let error = Signal::derive(move || {
        bad.with(|t| crate::parse::load(t, Masses::Kilograms).err().map(|e| e.words()))
    });
    let effort = RwSignal::new(Some(8));
    let choices = (5..=10).map(|n| (n, n.to_string())).collect();
    let offers: Vec<Offer> =
        ["Back squat", "Front squat", "Split squat, rear foot up", "Squat jump", "Hurdle hops"]
            .map(|t| Offer { key: t.to_owned(), text: t.to_owned(), detail: "library".to_owned() })
            .to_vec();
    let picked = RwSignal::new(String::new());
    let day = RwSignal::new(Some(monday()));
    view! {
        <section class="stack">
            <h2>"Fields"</h2>
            <LoadField label="Load" value=load big=true hint="asked: 102.5 kg" />
            <NumberField label="Repetitions" value=reps steps=Steps::whole(1, 0, 300) whole=true big=true />
            <NumberField label="Wind" value=wind unit="m/s".to_owned() signed=true />
            <NumberField label="Load" value=bad unit="kg".to_owned() error=error />
            <TextField label="Name" value=name />
            <TextField label="Comment" value=note lines=true hint="Your coaches read it." />
            <DateField label="Day" value=day />
            <ChoiceRow label="Effort" options=choices value=effort hint="How hard was the last set?" big=true />
            <Check label="Coaches may read what I write about pain" value=RwSignal::new(true) />
            <div class="row">
                <Chip text="sprint" />
                <Chip text="chosen" strong=true />
                <Chip text="two edits met" brick=true />
                <ToggleChip label="Only unheard" value=RwSignal::new(true) />
                <ToggleChip label="Juniors" value=RwSignal::new(false) />
            </div>
            <Combo label="Exercise" offers=offers text=picked on_pick=move |_key: String| () hint="From the club's library" />
        </section>
    }
}

#[component]
fn States() -> impl IntoView {
    let trouble = Trouble {
        what: "The server could not be reached".to_owned(),
        todo: "Your sets are saved on this phone and go out by themselves. Go on training.".to_owned(),
    };
    let tab = RwSignal::new(1_u8);
    let tabs = vec![(0, "Overview".to_owned()), (1, "Sessions".to_owned()), (2, "Load".to_owned())];
    view! {
        <section class="stack">
            <h2>"How things stand"</h2>
            <div class="row">
                {[Kept::Saving, Kept::Here, Kept::There, Kept::Not]
                    .map(|k| view! { <SaveMark kept=Signal::stored(k) /> })
                    .into_iter()
                    .collect_view()}
            </div>
            <EmptyState
                title="No session today"
                text="When your coach sends a session for today it stands here, also without a signal."
                action=("See the week".to_owned(), "#/weeks".to_owned())
            />
            <ErrorBox trouble=trouble again=Callback::new(|()| ()) />
            <Progress label=Signal::stored("Fetching eight weeks".to_owned()) done=Signal::stored(Some((5, 8))) />
            <Progress label=Signal::stored("Reading the library".to_owned()) done=Signal::stored(None) />
            <CautionBox caution=Caution::MaximalTest text="Spotter on both sides from 120 kg." />
            <Tabs label="Athlete" tabs=tabs value=tab>
                {move || format!("Panel {}", tab.get())}
            </Tabs>
        </section>
    }
}

#[component]
fn Things() -> impl IntoView {
    let now = Callback::new(|()| {
        #[expect(clippy::cast_possible_truncation, reason = "milliseconds since 1970")]
        let ms = js_sys::Date::now() as i64;
        Moment(ms)
    });
    let rest = RwSignal::new(Some(Rest::of(95, now.run(()))));
    let why = Why::ours(
        "load.session",
        "session effort times minutes",
        vec![Part::of("effort", 7.5, ""), Part::on("minutes", 62.0, "min", monday())],
    );
    view! {
        <section class="stack">
            <h2>"Things"</h2>
            <RestTimer rest=rest now=now keep_awake=|_on: bool| () />
            <Plates bar=OnTheBar { bar_kg: Some(20.0), per_side_kg: vec![25.0, 10.0, 2.5, 1.25], total_kg: 97.5 } />
            <Plates bar=OnTheBar { bar_kg: Some(20.0), per_side_kg: vec![], total_kg: 20.0 } />
            <p>
                "Load of the day 465 "
                <WhyButton of="load of the day" why=WhyParts::from(&why) />
            </p>
            <p>
                "Bar speed " <Spark values=vec![0.61, 0.6, 0.63, 0.58, 0.66] said="Bar speed of five sessions, last 0.66" />
            </p>
        </section>
    }
}

#[component]
fn Charts() -> impl IntoView {
    let jumps = Series {
        name: "Jump height".to_owned(),
        points: points(&[(0, 38.1), (3, 38.9), (7, 37.8), (10, 39.4), (31, 40.2), (35, 41.6), (38, 41.1)]),
        joined: true,
        break_after: Some(14),
    };
    let band = Band { name: "noise of the test".to_owned(), edges: vec![(monday(), 37.2, 39.4)] };
    let sides = ["Left", "Right", "Both"].iter().enumerate().map(|(i, name)| {
        let up = f64::from(u8::try_from(i).unwrap_or(0)) * 0.11;
        Series {
            name: (*name).to_owned(),
            points: points(&[(0, 1.61 + up), (8, 1.7 + up), (17, 1.66 + up), (30, 1.82 + up)]),
            joined: i == 2,
            break_after: None,
        }
    });
    let sides: Vec<Series> = sides.collect();
    let loads =
        [(2_100.0, 2_000.0), (2_650.0, 2_500.0), (0.0, 2_700.0), (1_400.0, 1_300.0), (2_300.0, 2_600.0)];
    let weeks = (0..9_i32)
        .map(|n| {
            let (bar, line) =
                usize::try_from(n % 5).ok().and_then(|i| loads.get(i)).copied().unwrap_or_default();
            Week {
                monday: monday().plus(7 * n),
                bar: if n > 6 {
                    Bar::ToCome
                } else if bar > 0.0 {
                    Bar::Known(bar)
                } else {
                    Bar::NotKnown
                },
                line: Some(line),
                now: n == 6,
                note: String::new(),
            }
        })
        .collect();
    let phase = |title: &str, from: i32, to: i32, aim| Phase {
        title: title.to_owned(),
        from: monday().plus(from),
        to: monday().plus(to),
        aim,
    };
    let season = Season {
        first: monday(),
        last: monday().plus(195),
        phases: vec![
            phase("General", 0, 55, Aim::General),
            phase("Specific", 56, 111, Aim::Specific),
            phase("Meets", 112, 160, Aim::Meets),
            phase("Taper", 161, 178, Aim::Taper),
            phase("Break", 179, 195, Aim::Transition),
        ],
        days: vec![
            (monday().plus(20), "Hop test".to_owned(), When::Test),
            (monday().plus(75), "Hall evening".to_owned(), When::Meet),
            (monday().plus(120), "County".to_owned(), When::Meet),
            (monday().plus(176), "Indoor final".to_owned(), When::MainMeet),
        ],
        today: Some(monday().plus(23)),
        shown: Some(monday().plus(28)),
    };
    view! {
        <section class="stack wide">
            <h2>"Charts"</h2>
            <DayChart title="Jump with hands on hips" unit="cm" series=vec![jumps] band=band />
            <DayChart title="Hop distance" unit="m" series=sides />
            <WeekBars title="Load by week" bar="Done" line="Planned" unit="points" weeks=weeks />
            <SeasonStrip title="Indoor season" season=season />
            <DayChart title="Nothing yet" series=Vec::new() />
        </section>
    }
}

#[component]
fn Icons() -> impl IntoView {
    let all = IconName::ALL.iter().map(|name| view! { <Icon name=*name /> }).collect_view();
    let state = Route::parse("#/gallery").map_or("no such screen", |_| "a screen of its own");
    view! {
        <section class="stack">
            <h2>"Signs"</h2>
            <div class="row">{all}</div>
            <p class="soft">{state}</p>
        </section>
    }
}
