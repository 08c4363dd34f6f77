//! The invented work that is measured: a library, a season plan of forty weeks, and logs written
//! from what a screen shows of that plan, each deed one command. Knows nothing of clocks or budgets.

use backstraight_core::base::day::{Day, Month};
use backstraight_core::base::id::{ActorId, ChangeHash, ClubId, InstallId, PersonId};
use backstraight_core::base::key::{Key, KeyMint};
use backstraight_core::base::moment::Moment;
use backstraight_core::doc::command::{Command, New, Scene, WorkOf};
use backstraight_core::doc::open::Document;
use backstraight_core::doc::place::Place;
use backstraight_core::model::log::SetDone;
use backstraight_core::model::name::DocName;
use backstraight_core::model::number::{
    Aim, Count, Effort, Form, Landing, Length, Load, Minutes, Reps, Rest, SeasonNo, Share, Small, Spacing,
    Speeds, Text,
};
use backstraight_core::model::order;
use backstraight_core::model::packed::{Dose, Intensity, Lengths, Target};
use backstraight_core::model::plan::{Group, Phase, PlanAbout, Prescription, Session};
use backstraight_core::view::library::Library;
use backstraight_core::view::planned::{Plan, PlannedSession};
use backstraight_core::view::today::shown;
use backstraight_tests::club::library::{Keys, library};
use backstraight_tests::rng::Rng;

/// Noon of Monday 28 September 2026 in UTC: the season begins.
pub(crate) const START: Moment = Moment(1_790_596_800_000);
/// Weeks of the season.
pub(crate) const WEEKS: i32 = 40;
/// A day in ms.
pub(crate) const DAY: i64 = 86_400_000;

/// A session of the plan: form of the group, then its exercises with their sets, which make 22.
type Line = (Form, &'static [(&'static str, i64)]);
const SESSIONS: [(&str, [Line; 4]); 5] = [
    (
        "Strength, lower body",
        [
            (Form::Single, &[("clean", 3)]),
            (Form::Contrast, &[("squat", 3), ("hurdle-hop", 3)]),
            (Form::Superset, &[("deadlift", 3), ("pull-up", 2), ("bench", 2)]),
            (Form::Superset, &[("split-squat", 2), ("row", 2), ("hip-thrust", 2)]),
        ],
    ),
    (
        "Power",
        [
            (Form::Single, &[("snatch", 3)]),
            (Form::Contrast, &[("front-squat", 3), ("drop-jump", 3)]),
            (Form::Superset, &[("clean-pull", 3), ("push-press", 2), ("row", 2)]),
            (Form::Superset, &[("step-up", 2), ("pull-up", 2), ("hip-thrust", 2)]),
        ],
    ),
    (
        "Strength, upper body",
        [
            (Form::Single, &[("push-press", 3)]),
            (Form::Contrast, &[("bench", 3), ("throw-back", 3)]),
            (Form::Superset, &[("row", 3), ("pull-up", 2), ("deadlift", 2)]),
            (Form::Superset, &[("split-squat", 2), ("clean", 2), ("hip-thrust", 2)]),
        ],
    ),
    (
        "Speed of the bar",
        [
            (Form::Single, &[("jump-squat", 3)]),
            (Form::Contrast, &[("pause-squat", 3), ("single-hop", 3)]),
            (Form::Superset, &[("clean", 3), ("bench", 2), ("row", 2)]),
            (Form::Superset, &[("hip-thrust", 2), ("step-up", 2), ("front-squat", 2)]),
        ],
    ),
    (
        "Strength, whole body",
        [
            (Form::Single, &[("clean", 3)]),
            (Form::Contrast, &[("squat", 3), ("bound", 3)]),
            (Form::Superset, &[("bench", 3), ("deadlift", 2), ("row", 2)]),
            (Form::Superset, &[("push-press", 2), ("split-squat", 2), ("snatch", 2)]),
        ],
    ),
];

/// Exercises that are counted in contacts and carry no load.
const JUMPS: [&str; 5] = ["hurdle-hop", "drop-jump", "throw-back", "single-hop", "bound"];

/// The season of the story.
pub(crate) fn season() -> SeasonNo {
    SeasonNo::new(2027).unwrap()
}

/// The first day of the season.
pub(crate) fn first_day() -> Day {
    Day::of(START, 0).unwrap()
}

/// A month by its number from the season's first.
pub(crate) fn month(n: u16) -> Month {
    let n = 8 + n;
    Month::new(2026 + n / 12, u8::try_from(n % 12 + 1).unwrap()).unwrap()
}

/// Where deeds go: a document in memory, or a phone.
pub(crate) trait Desk {
    fn key(&mut self) -> Key;
    fn run(&mut self, name: DocName, command: &Command, now: Moment);
}

/// A document in memory, written by one install.
pub(crate) struct Memory {
    pub(crate) doc: Document,
    pub(crate) mint: KeyMint,
}

impl Memory {
    pub(crate) fn new(name: DocName, install: InstallId, start: u8) -> Memory {
        let mut doc = Document::create(name).unwrap();
        doc.write_as(ActorId::of(install, [start; 8]));
        let [a, b, ..] = install.0;
        Memory { doc, mint: KeyMint::new([a, b, start, name.to_bytes()[19]]) }
    }
}

impl Desk for Memory {
    fn key(&mut self) -> Key {
        self.mint.mint()
    }

    fn run(&mut self, name: DocName, command: &Command, now: Moment) {
        assert_eq!(name, self.doc.name());
        self.doc.apply(command, &Scene { now, exercises: None }).unwrap();
    }
}

/// Writes the library.
pub(crate) fn write_library(desk: &mut impl Desk, club: ClubId) -> Keys {
    let (command, keys) = library(|| desk.key());
    desk.run(DocName::Library(club), &command, START);
    keys
}

/// Writes the season plan: its frame, then each session with its groups and prescriptions as one
/// command.
pub(crate) fn write_plan(desk: &mut impl Desk, athlete: PersonId, keys: &Keys, weeks: i32) {
    let name = DocName::Plan(athlete, season());
    let (from, to) = (first_day(), first_day().plus(weeks * 7 - 1));
    let about =
        PlanAbout { title: Text::new("Season").ok(), from: Some(from), to: Some(to), ..PlanAbout::new() };
    let edit = Command::Edit { place: Place::main("about"), from: PlanAbout::new().into(), to: about.into() };
    desk.run(name, &edit, START);
    let frame = [("Build", 0, Aim::General), ("Sharpen", 2, Aim::Specific), ("Meets", 4, Aim::Meets)];
    let phases = frame.map(|(title, fifth, aim)| {
        let start = |fifth: i32| from.plus(weeks * fifth / 5 * 7);
        let last = if aim == Aim::Meets { to } else { start(fifth + 2).plus(-1) };
        let phase = Phase::new(Text::new(title).unwrap(), start(fifth), last, aim);
        New { place: Place::of("phases", &desk.key()), record: phase.into() }
    });
    desk.run(name, &Command::Add(phases.to_vec()), START);
    let mut rng = Rng::new(40);
    for week in 0..weeks {
        for (n, on) in (0_i32..).zip([0, 1, 3, 4, 5]) {
            let add = planned(desk, keys, from.plus(week * 7 + on), week, n, &mut rng);
            let minutes = i64::from(week * 5 + n);
            desk.run(name, &Command::Add(add), START.plus_ms(minutes * 60_000));
        }
    }
}

fn planned(desk: &mut impl Desk, keys: &Keys, day: Day, week: i32, n: i32, rng: &mut Rng) -> Vec<New> {
    let (title, groups) = &SESSIONS[usize::try_from(n).unwrap()];
    let session = desk.key();
    let record = Session { minutes: Minutes::new(75).ok(), ..Session::new(day, Text::new(*title).unwrap()) };
    let mut news = vec![New { place: Place::of("sessions", &session), record: record.into() }];
    for ((form, lines), pos) in groups.iter().zip(order::spread(groups.len())) {
        let group = desk.key();
        let record = Group::new(session.clone(), pos, *form);
        news.push(New { place: Place::of("groups", &group), record: record.into() });
        for ((word, sets), pos) in lines.iter().zip(order::spread(lines.len())) {
            let sets = Count::new(*sets).unwrap();
            let item = Prescription::new(group.clone(), pos, keys[word].clone(), sets);
            let item = ask(item, word, week, rng);
            news.push(New { place: Place::of("items", &desk.key()), record: item.into() });
        }
    }
    news
}

/// What is asked: a load that grows by the week, or contacts with their hurdles.
fn ask(item: Prescription, word: &str, week: i32, rng: &mut Rng) -> Prescription {
    let rest = Rest::new(60 * rng.range(1, 3)).ok();
    if JUMPS.contains(&word) {
        let hops = word == "hurdle-hop";
        return Prescription {
            dose: Reps::new(rng.range(4, 6)).ok().map(Dose::Contacts),
            hurdles: if hops { Small::new(5).ok() } else { None },
            height: if hops { Length::new(762).ok() } else { None },
            spacing: hops.then_some(Spacing::CloseFar),
            gaps: if hops { "1000,1400".parse::<Lengths>().ok() } else { None },
            landing: Some(Landing::Rebound),
            rest,
            ..item
        };
    }
    let reps = Reps::new(rng.range(3, 6)).unwrap();
    let load = Load::new(4_000 + 250 * (i64::from(week % 16) / 2 + rng.range(0, 20))).unwrap();
    Prescription {
        dose: Some(Dose::Reps(reps, reps)),
        intensity: Some(Intensity::Load(load)),
        stop_loss: if word == "squat" { Share::new(200).ok() } else { None },
        rest,
        ..item
    }
}

/// An athlete who opens the planned sessions one after the other and logs set by set.
pub(crate) struct Athlete<'a> {
    pub(crate) plan: &'a Plan,
    pub(crate) library: &'a Library,
    pub(crate) rng: Rng,
    next: usize,
    /// Sessions of the plan that are done in turn.
    turn: usize,
}

impl<'a> Athlete<'a> {
    pub(crate) fn new(plan: &'a Plan, library: &'a Library, seed: u64) -> Athlete<'a> {
        Athlete { plan, library, rng: Rng::new(seed), next: 0, turn: plan.sessions.len() }
    }

    /// Leaves the plan's last session for later.
    pub(crate) fn keep_the_last(&mut self) {
        self.turn = self.plan.sessions.len() - 1;
    }

    /// Does the plan's last session next.
    pub(crate) fn now_the_last(&mut self) {
        (self.next, self.turn) = (self.plan.sessions.len() - 1, self.plan.sessions.len());
    }

    /// Does the next planned session, whatever its day, on `began`: opened as one change, then one
    /// change a set, at most `sets` of them; closed when `close` says so.
    pub(crate) fn train(
        &mut self,
        desk: &mut impl Desk,
        athlete: PersonId,
        began: Moment,
        sets: usize,
        close: bool,
    ) {
        let planned = &self.plan.sessions[self.next % self.turn];
        self.next += 1;
        let day = Day::of(began, 0).unwrap();
        let name = DocName::Log(athlete, day.month());
        let screen = shown(self.plan, planned, planned.session.record.date, self.library, &|_, _| None);
        let session = desk.key();
        let record = screen.begin(season(), day, began);
        let place = Place::of("sessions", &session);
        desk.run(name, &Command::Add(vec![New { place, record: record.clone().into() }]), began);
        let (mut at, mut left) = (began, sets);
        for item in screen.items() {
            let mut work = None;
            for nth in 0..item.target.sets.get().min(i64::try_from(left).unwrap()) {
                at = at.plus_ms(90_000 + self.rng.range(0, 180_000));
                left -= 1;
                let of = match work.clone() {
                    Some(key) => WorkOf::Open(key),
                    None => {
                        let begun = item.work(None, &record);
                        WorkOf::New(work.insert(desk.key()).clone(), Box::new(begun))
                    }
                };
                let (key, set) = (desk.key(), Box::new(self.set(&item.target, nth, at)));
                desk.run(name, &Command::LogSet { session: session.clone(), work: of, key, set }, at);
            }
        }
        assert_eq!(left, 0, "the session asks fewer sets");
        if close {
            let ended = at.plus_ms(300_000);
            let close = Command::Close {
                session,
                ended,
                minutes: Minutes::new((ended.0 - began.0) / 60_000).ok(),
                effort: Effort::new(self.rng.range(50, 90)).ok(),
                comment: None,
            };
            desk.run(name, &close, ended);
        }
    }

    /// A set near its target. Every loaded set has the bar's speed in each repetition: a start that
    /// goes with the load, a fall from one to the next, and noise as a device has it.
    pub(crate) fn set(&mut self, target: &Target, nth: i64, at: Moment) -> SetDone {
        let mut set = SetDone::new(at);
        set.effort = Effort::new(60 + 5 * (nth + self.rng.range(0, 4))).ok();
        let Some(load) = target.load else {
            set.contacts = match target.dose {
                Some(Dose::Contacts(n)) => Some(n),
                _ => Reps::new(5).ok(),
            };
            return set;
        };
        let reps = match target.dose {
            Some(Dose::Reps(_, n)) => n.get() - i64::from(self.rng.once_in(8)),
            _ => 5,
        };
        set.reps = Reps::new(reps).ok();
        set.load = Load::new(load.get() + 250 * self.rng.range(-1, 1)).ok();
        let first = 1_250 - load.get() / 15 + self.rng.range(-60, 60);
        let fall = self.rng.range(8, 30);
        let speeds = (0..reps).map(|r| first - fall * r + self.rng.range(-15, 15));
        set.speeds = Speeds::new(speeds.map(|v| u16::try_from(v).unwrap()).collect()).ok();
        set
    }
}

/// A month of training in memory: `sessions` sessions of `sets` sets, begun a day and more apart.
pub(crate) fn month_log(
    athlete: &mut Athlete<'_>,
    memory: &mut Memory,
    sessions: i64,
    sets: usize,
    close: bool,
) {
    let DocName::Log(person, month) = memory.doc.name() else { return };
    for n in 0..sessions {
        let began = in_month(month, n);
        athlete.train(memory, person, began, sets, close);
    }
}

/// When the n-th session of a month begins: on one of its first 28 days, later the same day the
/// second time round.
pub(crate) fn in_month(month: Month, n: i64) -> Moment {
    let first: Day = format!("{month}-01").parse().unwrap();
    let days = i64::from(first.since(first_day())) + n % 28;
    // From noon of the first day to seven in the morning, then to two in the afternoon.
    START.plus_ms(days * DAY + (n / 28 * 7 - 5) * 3_600_000)
}

/// Heads, as a person reads them.
pub(crate) fn same(a: &[ChangeHash], b: &[ChangeHash]) -> bool {
    a == b && !a.is_empty()
}

/// The planned session of a day of the season.
pub(crate) fn on(plan: &Plan, day: Day) -> &PlannedSession {
    plan.on(day).next().unwrap()
}
