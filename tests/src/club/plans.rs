//! Season plans of the invented club: four sessions a week, planned back from two meets.

use backstraight_core::base::day::Day;
use backstraight_core::base::key::Key;
use backstraight_core::doc::command::{Command, New};
use backstraight_core::doc::place::Place;
use backstraight_core::model::number::{
    Aim, Count, Duration, Form, Landing, Length, Load, Name, Reps, Rest, Share, Small, Spacing, Speed, Text,
};
use backstraight_core::model::order;
use backstraight_core::model::packed::{Dose, Intensity, Keys as KeyList, Lengths, WaveSet, Waves};
use backstraight_core::model::plan::{Condition, Group, Phase, PlanAbout, Prescription, Session, Week};

use super::library::Keys;
use super::people::{Event, Person};

fn name(text: &str) -> Name {
    Text::new(text).unwrap_or_default()
}

fn reps(n: i64) -> Option<Dose> {
    let n = Reps::new(n).ok()?;
    Some(Dose::Reps(n, n))
}

fn contacts(n: i64) -> Option<Dose> {
    Reps::new(n).ok().map(Dose::Contacts)
}

fn hold(s: i64) -> Option<Dose> {
    Duration::new(s * 1000).ok().map(Dose::Hold)
}

fn metres(m: i64) -> Option<Dose> {
    Length::new(m * 1000).ok().map(Dose::Distance)
}

/// A load in kg, rounded down to 2.5 kg.
fn kg(kg: i64) -> Option<Intensity> {
    Load::new(kg * 100 / 250 * 250).ok().map(Intensity::Load)
}

/// One line of a session: exercise, sets, dose, intensity, rest in s, and what else.
struct Line<'a> {
    ex: &'a str,
    sets: i64,
    dose: Option<Dose>,
    at: Option<Intensity>,
    rest: i64,
    more: fn(Prescription, &Keys) -> Prescription,
}

fn line(ex: &str, sets: i64, dose: Option<Dose>, at: Option<Intensity>, rest: i64) -> Line<'_> {
    Line { ex, sets, dose, at, rest, more: |p, _| p }
}

impl Line<'_> {
    fn with(self, more: fn(Prescription, &Keys) -> Prescription) -> Self {
        Line { more, ..self }
    }
}

struct Draft<'a> {
    news: Vec<New>,
    keys: &'a Keys,
    key: &'a mut dyn FnMut() -> Key,
}

impl Draft<'_> {
    fn session(&mut self, day: Day, title: &str, groups: Vec<(Form, Option<i64>, Vec<Line<'_>>)>) {
        let session = (self.key)();
        let record = Session { focus: Some(name(title)), ..Session::new(day, name(title)) };
        self.news.push(New { place: Place::of("sessions", &session), record: record.into() });
        let spread = order::spread(groups.len());
        for ((form, rounds, lines), pos) in groups.into_iter().zip(spread) {
            let group = (self.key)();
            let record = Group {
                rounds: rounds.and_then(|n| Count::new(n).ok()),
                ..Group::new(session.clone(), pos, form)
            };
            self.news.push(New { place: Place::of("groups", &group), record: record.into() });
            let spread = order::spread(lines.len());
            for (line, pos) in lines.into_iter().zip(spread) {
                let (Some(ex), Ok(sets)) = (self.keys.get(line.ex), Count::new(line.sets)) else { continue };
                let item = Prescription {
                    dose: line.dose,
                    intensity: line.at,
                    rest: Rest::new(line.rest).ok(),
                    ..Prescription::new(group.clone(), pos, ex.clone(), sets)
                };
                let item = (line.more)(item, self.keys);
                self.news.push(New { place: Place::of("items", &(self.key)()), record: item.into() });
            }
        }
    }
}

/// The first day, and how many weeks are planned. Weeks of the story begin on the weekday of that
/// day, so that there is a session today whatever day it is.
#[derive(Debug, Clone, Copy)]
pub struct Span {
    /// First day.
    pub start: Day,
    /// Weeks.
    pub weeks: i32,
}

/// The commands that write one athlete's plan: the season, then one command a week.
pub fn plan(person: &Person, span: Span, keys: &Keys, mut key: impl FnMut() -> Key) -> Vec<Command> {
    let end = span.start.plus(span.weeks * 7 - 1);
    let about = Place::main("about");
    let wanted = PlanAbout {
        title: Some(name("Indoor season")),
        from: Some(span.start),
        to: Some(end),
        ..PlanAbout::new()
    };
    let mut commands = vec![Command::Edit { place: about, from: PlanAbout::new().into(), to: wanted.into() }];
    let mut frame = Vec::new();
    let (specific, meets) = (span.start.plus(28), span.start.plus(63));
    for (title, from, to, aim) in [
        ("Build", span.start, specific.plus(-1), Aim::General),
        ("Sharpen", specific, meets.plus(-1), Aim::Specific),
        ("Indoor meets", meets, end, Aim::Meets),
    ] {
        let phase = Phase::new(name(title), from, to, aim);
        frame.push(New { place: Place::of("phases", &key()), record: phase.into() });
    }
    if let (Some(ex), Some(take)) = (keys.get("squat"), keys.get("step-up")) {
        let condition = Condition {
            note: Text::new("Fresh legs for the meets: dumbbells instead of the bar.").ok(),
            ..Condition::new(Aim::Meets, ex.clone(), take.clone())
        };
        frame.push(New { place: Place::of("conditions", &key()), record: condition.into() });
    }
    commands.push(Command::Add(frame));
    for week in 0..span.weeks {
        let monday = span.start.plus(week * 7);
        let mut draft = Draft { news: Vec::new(), keys, key: &mut key };
        let easy = week % 4 == 3;
        let mark = Week { easy: Some(easy), ..Week::new(monday.week_start()) };
        let place = Place::of("weeks", &(draft.key)());
        draft.news.push(New { place, record: mark.into() });
        week_sessions(&mut draft, person, monday, i64::from(week), easy);
        commands.push(Command::Add(draft.news));
    }
    commands
}

fn week_sessions(draft: &mut Draft<'_>, person: &Person, monday: Day, week: i64, easy: bool) {
    let top = person.squat_kg;
    let share = if easy { 70 } else { 74 + (week % 4) * 3 };
    let squat = kg(top * share / 100);
    let sets = if easy { 3 } else { 4 };
    draft.session(
        monday,
        "Strength, lower body",
        vec![
            (
                Form::Circuit,
                Some(2),
                vec![
                    line("ankle-rock", 2, Reps::new(8).ok().map(Dose::RepsPerSide), None, 0),
                    line("walk-over", 2, Reps::new(6).ok().map(Dose::RepsPerSide), None, 0),
                ],
            ),
            (Form::Single, None, vec![line("clean", sets, reps(3), kg(top * 55 / 100), 150)]),
            (
                Form::Superset,
                None,
                vec![
                    line("squat", sets, reps(5), squat, 180).with(|p, keys| Prescription {
                        swaps: Some(KeyList(
                            ["front-squat", "pause-squat"]
                                .iter()
                                .filter_map(|w| keys.get(w).cloned())
                                .collect(),
                        )),
                        stop_loss: Share::new(200).ok(),
                        rule: "load 250 easy 4 900".parse().ok(),
                        ..p
                    }),
                    line("pull-up", sets, reps(6), None, 90),
                ],
            ),
            (Form::Single, None, vec![line("hamstring", 3, reps(5), None, 120)]),
            (
                Form::Circuit,
                Some(3),
                vec![
                    line("plank", 3, hold(40), None, 20),
                    line("side-plank", 3, Duration::new(25_000).ok().map(Dose::HoldPerSide), None, 20),
                ],
            ),
        ],
    );
    draft.session(monday.plus(1), "Speed", speed(person, week, easy));
    draft.session(
        monday.plus(3),
        "Power and plyometrics",
        vec![
            (
                Form::Contrast,
                None,
                vec![
                    line("pause-squat", 3, reps(3), kg(top * (share - 5) / 100), 120).with(|p, _| {
                        Prescription {
                            pause: Duration::new(2000).ok(),
                            pause_at: Some(name("at the bottom")),
                            ..p
                        }
                    }),
                    line("hurdle-hop", 3, contacts(6), None, 180).with(|p, _| Prescription {
                        hurdles: Small::new(6).ok(),
                        height: Length::new(762).ok(),
                        spacing: Some(Spacing::CloseFar),
                        gaps: "1000,1400".parse::<Lengths>().ok(),
                        landing: Some(Landing::Rebound),
                        ..p
                    }),
                ],
            ),
            (
                Form::Single,
                None,
                vec![
                    line(
                        "single-hop",
                        if easy { 2 } else { 3 },
                        Reps::new(5).ok().map(Dose::RepsPerSide),
                        None,
                        120,
                    )
                    .with(|p, _| Prescription { landing: Some(Landing::Held), ..p }),
                ],
            ),
            (
                Form::Superset,
                None,
                vec![
                    line("bench", 3, reps(5), kg(top * 50 / 100), 120)
                        .with(|p, _| Prescription { rule: "load 250".parse().ok(), ..p }),
                    line("throw-back", 3, reps(5), None, 60),
                ],
            ),
        ],
    );
    draft.session(
        monday.plus(5),
        "Strength, speed of the bar",
        vec![
            (
                Form::Single,
                None,
                vec![line("squat", 5, None, None, 180).with(|p, _| {
                    let step = |n: i64, slow: i64, fast: i64| WaveSet {
                        dose: reps(n),
                        intensity: Speed::new(slow)
                            .ok()
                            .zip(Speed::new(fast).ok())
                            .map(|(a, b)| Intensity::SpeedBand(a, b)),
                    };
                    Prescription {
                        waves: Some(Waves(vec![
                            step(5, 650, 850),
                            step(3, 550, 750),
                            step(2, 450, 650),
                            step(3, 550, 750),
                            step(5, 650, 850),
                        ])),
                        ..p
                    }
                })],
            ),
            (
                Form::Superset,
                None,
                vec![
                    line("hip-thrust", 3, reps(6), kg(top * 80 / 100), 120)
                        .with(|p, _| Prescription { rule: "load 500".parse().ok(), ..p }),
                    line("row", 3, reps(8), kg(top * 35 / 100), 60),
                ],
            ),
            (Form::Single, None, vec![line("leg-raise", 3, Some(Dose::ToLimit), None, 90)]),
        ],
    );
}

fn speed(person: &Person, week: i64, easy: bool) -> Vec<(Form, Option<i64>, Vec<Line<'static>>)> {
    let n = if easy { 3 } else { 4 + week % 3 };
    let warm = (
        Form::Circuit,
        Some(2),
        vec![line("skip", 2, metres(20), None, 0), line("ankle-hop", 2, contacts(10), None, 30)],
    );
    let main = match person.event {
        Event::Sprint => line("run", n, metres(60), Share::new(950).ok().map(Intensity::OfBest), 300),
        Event::Hurdles => line("hurdle-run", n, metres(50), Share::new(950).ok().map(Intensity::OfBest), 360)
            .with(|p, _| Prescription {
                hurdles: Small::new(4).ok(),
                height: Length::new(838).ok(),
                unit_gap: Length::new(8500).ok(),
                steps: Small::new(3).ok(),
                surface: Some(name("track, flat shoes for the first two")),
                ..p
            }),
        Event::Jumps => line("bound", n, contacts(10), None, 240)
            .with(|p, _| Prescription { run_up: Length::new(10_000).ok(), ..p }),
        Event::Throws => line("throw-back", n + 2, reps(4), None, 120),
    };
    vec![warm, (Form::Single, None, vec![main])]
}
