//! The board's rows are what a fresh computation from the documents gives, after any history: edits
//! and logs in any order, workers that die, jobs done twice, rebuilds, another season.

use backstraight_cluster::Cluster;
use backstraight_core::base::day::Day;
use backstraight_core::base::id::SquadId;
use backstraight_core::base::key::Key;
use backstraight_core::base::moment::Moment;
use backstraight_core::doc::command::{Command, New};
use backstraight_core::doc::place::Place;
use backstraight_core::exchange::access::Role;
use backstraight_core::model::log::{CheckIn, Entered, Excuse, Trial};
use backstraight_core::model::name::DocName;
use backstraight_core::model::number::{
    Available, BodyMass, Count, Load, Reps, SeasonNo, Share, Text, Thousandths, Value, Verdict,
};
use backstraight_core::model::plan::{Exercise, Member, Prescription, Session, Settings};
use backstraight_core::view::done::Done;
use backstraight_core::view::planned::Plan;
use backstraight_server::app::Clock;
use backstraight_server::grant::AtTheMachine;
use backstraight_server::project;
use backstraight_server::report::board::{Ask, Board, board, read};
use backstraight_server::review::Review;
use backstraight_server::store::job;
use backstraight_server::store::people;
use backstraight_server::store::postgres::Database;
use backstraight_tests::club::ledger::{Deed, Ledger};
use backstraight_tests::club::library::{Keys, library};
use backstraight_tests::club::logs::{Athlete, Day1};
use backstraight_tests::club::people::ATHLETES;
use backstraight_tests::club::plans::{self, Span};
use backstraight_tests::rng::Rng;
use backstraight_tests::stand::{DAY, Handset, MINUTE, START, Stand};

mod closed;
mod older;

fn clock(stand: &Stand) -> Clock {
    let clock = stand.clock.clone();
    Clock::new(move || backstraight_ffi::phone::Clock::now(&clock))
}

fn season(n: i64) -> SeasonNo {
    SeasonNo::new(n).unwrap()
}

/// A club at work, its server without a projector of its own.
struct Story {
    stand: Stand,
    desk: Handset,
    care: Handset,
    athletes: Vec<Athlete>,
    keys: Keys,
    squad: SquadId,
    ledger: Ledger,
    rng: Rng,
    season: SeasonNo,
    /// Kinds of things that happened: a history in which nothing happens proves nothing.
    seen: std::collections::BTreeMap<&'static str, u32>,
}

impl Story {
    fn begin(seed: u64) -> Story {
        Story::over(seed, Database::default())
    }

    fn over(seed: u64, database: Database) -> Story {
        let mut stand = Stand::over(START, database);
        stand.stop();
        stand.projector = false;
        stand.start();
        let coach = stand.person(Role::HeadCoach, "Marta Quillfeather");
        let mut desk = stand.phone(coach, "desk");
        let care = stand.phone(stand.person(Role::Care, "Linnea Ashgrove"), "care");
        let squad = stand.squad();
        let mut athletes = Vec::new();
        for (index, person) in ATHLETES.iter().enumerate().take(2) {
            let person = stand.person(Role::Athlete, person.name);
            let phone = stand.phone(person, &format!("phone-{index}"));
            athletes.push(Athlete { index, phone: phone.phone, clock: phone.clock, season: season(2027) });
        }
        let (write, keys) = library(|| desk.phone.key());
        desk.phone.run(DocName::Library(stand.club), &write).unwrap();
        let mut story = Story {
            stand,
            desk,
            care,
            athletes,
            keys,
            squad,
            ledger: Ledger::default(),
            rng: Rng::new(seed),
            season: season(2027),
            seen: Default::default(),
        };
        story.member(0, "hurdles");
        story.write_plan(0);
        story.write_plan(1);
        story.exchange_all();
        story
    }

    fn now(&self) -> Moment {
        self.stand.now()
    }

    fn today(&self) -> Day {
        Day::of(self.now(), 0).unwrap()
    }

    fn person(&self, who: usize) -> backstraight_core::base::id::PersonId {
        self.athletes[who].phone.identity().person
    }

    fn plan_name(&self, who: usize) -> DocName {
        DocName::Plan(self.person(who), self.season)
    }

    fn note(&mut self, what: &'static str) {
        *self.seen.entry(what).or_default() += 1;
    }

    fn member(&mut self, who: usize, events: &str) {
        let member = Member {
            events: Text::new(events).ok(),
            ..Member::new(self.person(who), Text::new("A").unwrap())
        };
        self.desk.add(DocName::Squad(self.squad), "members", member).unwrap();
    }

    fn write_plan(&mut self, who: usize) {
        let (name, start) = (self.plan_name(who), self.today().week_start().plus(-7));
        let desk = &mut self.desk;
        let span = Span { start, weeks: 10 };
        let mut mint: Vec<Key> = (0..1200).map(|_| desk.phone.key()).collect();
        for command in plans::plan(&ATHLETES[who], span, &self.keys, || mint.pop().unwrap()) {
            desk.phone.run(name, &command).unwrap();
        }
    }

    fn exchange_all(&mut self) {
        for who in 0..self.athletes.len() {
            self.exchange(who);
        }
        self.exchange_desk();
        for who in 0..self.athletes.len() {
            self.exchange(who);
        }
    }

    fn exchange(&mut self, who: usize) {
        let url = self.stand.url();
        let now = self.now();
        let athlete = &mut self.athletes[who];
        athlete.clock.set(now);
        athlete.phone.exchange(&mut backstraight_ffi::transport::Http::new(&url)).unwrap();
    }

    fn exchange_desk(&mut self) {
        let (url, now) = (self.stand.url(), self.now());
        self.desk.clock.set(now);
        self.desk.exchange(&url);
    }

    /// A session of the plan as the desk has it, and the plan.
    fn some_session(&mut self, who: usize) -> Option<(Plan, usize)> {
        let name = self.plan_name(who);
        let plan = Plan::of(self.desk.phone.document(name).unwrap());
        let n = i64::try_from(plan.sessions.len()).unwrap();
        let at = usize::try_from(self.rng.range(0, (n - 1).max(0))).unwrap();
        (n > 0).then_some((plan, at))
    }

    fn step(&mut self) {
        let who = usize::try_from(self.rng.range(0, 1)).unwrap();
        match self.rng.range(0, 21) {
            0..=4 => self.train(who),
            5 if self.rng.once_in(2) => self.unasked(who),
            5 => self.measure(who),
            6 | 7 => self.edit_item(who),
            8 => self.edit_session(who),
            9 => self.withdraw_or_restore(who),
            10 => self.say_a_word(who),
            11 => self.enter_a_set(who),
            12 => self.library(),
            13 => {
                let at = usize::try_from(self.rng.range(0, 2)).unwrap();
                self.member(who, ["hurdles", "sprints", "jumps"][at]);
                self.note("member");
            }
            14 | 15 => self.exchange(who),
            16 => self.exchange_desk(),
            17 => self.stand.clock.set(self.now().plus_ms(DAY)),
            18 if self.rng.once_in(2) => self.allow(who),
            18 | 19 => self.work(),
            20 => self.dying_worker(),
            _ => self.late_worker(),
        }
        self.stand.clock.set(self.now().plus_ms(MINUTE));
    }

    /// Trains a session near today, as planned or another day.
    fn train(&mut self, who: usize) {
        let (now, today) = (self.now(), self.today());
        let shift = i32::try_from(self.rng.range(-2, 2)).unwrap();
        let Ok(plan) = self.athletes[who].plan() else { return };
        let Some(session) = plan.on(today.plus(shift)).next().map(|s| s.key()) else { return };
        let deed = [Deed::All, Deed::Some, Deed::LeftOut][usize::try_from(self.rng.range(0, 2)).unwrap()];
        // Now and then on the last day of the month before: another log speaks of the session.
        let on = if self.rng.once_in(4) {
            let opens = START.plus_ms(-25 * DAY + MINUTE * self.rng.range(0, 300));
            Day1 { day: "2026-10-31".parse().unwrap(), opens }
        } else {
            Day1 { day: today, opens: now }
        };
        let Story { athletes, ledger, rng, .. } = self;
        athletes[who].train(ledger, &session, on, deed, rng).unwrap();
        self.note("train");
    }

    fn unasked(&mut self, who: usize) {
        let (now, today) = (self.now(), self.today());
        let log = DocName::Log(self.person(who), today.month());
        let record = backstraight_core::model::log::SessionDone {
            title: Text::new("stairs").ok(),
            ..backstraight_core::model::log::SessionDone::new(today, now)
        };
        let phone = &mut self.athletes[who].phone;
        let place = Place::of("sessions", &phone.key());
        phone.run(log, &Command::Add(vec![New { place, record: record.into() }])).unwrap();
        self.note("unasked");
    }

    /// A trial of a test, or one that is taken back; and a weighing.
    fn measure(&mut self, who: usize) {
        let (now, today) = (self.now(), self.today());
        let log = DocName::Log(self.person(who), today.month());
        let n = self.rng.range(50, 90);
        let withdraw = self.rng.once_in(3);
        let phone = &mut self.athletes[who].phone;
        let old = phone.document(log).unwrap().records::<Trial>("trials");
        let old = old.live().next().map(|t| t.place.clone()).filter(|_| withdraw);
        let command = match old {
            Some(place) => Command::Withdraw(vec![place]),
            None => {
                let test = self.keys.get("squat").unwrap().clone();
                let trial = Trial { value: Value::new(n * 1000).ok(), ..Trial::new(today, now, test) };
                let weighing = CheckIn { mass: BodyMass::new(n * 100).ok(), ..CheckIn::new(today, now) };
                let (one, two) = (phone.key(), phone.key());
                Command::Add(vec![
                    New { place: Place::of("trials", &one), record: trial.into() },
                    New { place: Place::of("checkins", &two), record: weighing.into() },
                ])
            }
        };
        phone.run(log, &command).unwrap();
        self.note("measure");
    }

    fn edit_item(&mut self, who: usize) {
        let Some((plan, at)) = self.some_session(who) else { return };
        let items: Vec<_> = plan.sessions[at].items().map(|(_, i)| i.clone()).collect();
        let Some(item) = items.first() else { return };
        let to = Prescription { sets: Count::new(self.rng.range(1, 6)).unwrap(), ..item.record.clone() };
        let edit =
            Command::Edit { place: item.place.clone(), from: item.record.clone().into(), to: to.into() };
        let name = self.plan_name(who);
        self.desk.phone.run(name, &edit).ok();
        self.note("edit a prescription");
    }

    fn edit_session(&mut self, who: usize) {
        let Some((plan, at)) = self.some_session(who) else { return };
        let session = &plan.sessions[at].session;
        let to = Session { date: session.record.date.plus(1), ..session.record.clone() };
        let edit = Command::Edit {
            place: session.place.clone(),
            from: session.record.clone().into(),
            to: to.into(),
        };
        let name = self.plan_name(who);
        // The last one of a season cannot move on.
        if self.desk.phone.run(name, &edit).is_ok() {
            self.note("move a session");
        }
    }

    fn withdraw_or_restore(&mut self, who: usize) {
        let name = self.plan_name(who);
        let all = self.desk.phone.document(name).unwrap().records::<Session>("sessions").entries;
        let gone = all.iter().find(|s| !s.live()).map(|s| s.place.clone());
        let command = match gone {
            Some(place) if self.rng.once_in(2) => Command::Restore(vec![place]),
            _ => {
                let n = i64::try_from(all.len()).unwrap();
                let Some(s) = all.get(usize::try_from(self.rng.range(0, n - 1)).unwrap()) else { return };
                if !s.live() {
                    return;
                }
                Command::Withdraw(vec![s.place.clone()])
            }
        };
        self.desk.phone.run(name, &command).unwrap();
        self.note("withdraw or restore");
    }

    fn say_a_word(&mut self, who: usize) {
        let Some((plan, at)) = self.some_session(who) else { return };
        let verdict = if self.rng.once_in(2) { Verdict::Excused } else { Verdict::Missed };
        let key = plan.sessions[at].key();
        let notes = DocName::Notes(self.person(who), self.today().month());
        let (now, by) = (self.now(), self.desk.person());
        self.desk.add(notes, "excuses", Excuse::new(now, by, key, verdict)).unwrap();
        self.note("excuse");
    }

    fn enter_a_set(&mut self, who: usize) {
        let Some((plan, at)) = self.some_session(who) else { return };
        let session = &plan.sessions[at];
        let Some((_, item)) = session.items().next() else { return };
        let set = Entered {
            session: Some(session.key()),
            item: Some(item.key()),
            load: Load::new(6000).ok(),
            reps: Reps::new(3).ok(),
            ..Entered::new(self.now(), self.desk.person(), self.today(), item.record.ex.clone())
        };
        let notes = DocName::Notes(self.person(who), self.today().month());
        self.desk.add(notes, "entered", set).unwrap();
        self.note("enter a set");
    }

    /// Care staff say what may be trained.
    fn allow(&mut self, who: usize) {
        let (athlete, url) = (self.person(who), self.stand.url());
        let level = Available::ALL[usize::try_from(self.rng.range(0, 2)).unwrap()];
        let from = self.today().plus(i32::try_from(self.rng.range(-9, 9)).unwrap());
        let until = self.rng.once_in(2).then(|| from.plus(4));
        self.care.clock.set(self.stand.now());
        self.care.allow(athlete, level, from, until);
        self.care.exchange(&url);
        self.note("availability");
    }

    /// Changes what the library says about judging.
    fn library(&mut self) {
        let name = DocName::Library(self.stand.club);
        let n = self.rng.range(10, 200);
        let doc = self.desk.phone.document(name).unwrap();
        let command = if self.rng.once_in(2) {
            let place = Place::main("settings");
            let from = doc.record::<Settings>(&place).unwrap().unwrap().record;
            let to = Settings {
                load_tolerance: Thousandths::new(n).ok(),
                done_from: Share::new(1000 - n).ok(),
                ..from.clone()
            };
            Command::Edit { place, from: from.into(), to: to.into() }
        } else {
            let all = doc.records::<Exercise>("exercises").entries;
            let squat = self.keys.get("squat").unwrap();
            let e = all.iter().find(|e| e.key() == *squat).unwrap();
            let to = Exercise { weight: Thousandths::new(10 * n).ok(), ..e.record.clone() };
            Command::Edit { place: e.place.clone(), from: e.record.clone().into(), to: to.into() }
        };
        self.desk.phone.run(name, &command).ok();
        self.note("library");
    }

    fn work(&mut self) {
        let store = self.stand.store();
        let threads = usize::try_from(self.rng.range(1, 3)).unwrap();
        project::catch_up(&store, &clock(&self.stand), threads, &|_| {}).unwrap();
        self.note("catch up");
    }

    /// A worker that takes jobs and dies, before or after it read what they need.
    fn dying_worker(&mut self) {
        let (store, now) = (self.stand.store(), self.now());
        let claims = store.write_blocking(move |db| job::claim(db, 9, [7; 8], now)).unwrap();
        if claims.len() < 9 {
            // Another one that looked at the clock just before, and comes just after, gets none of them.
            let before = now.plus_ms(-1);
            let second = store.write_blocking(move |db| job::claim(db, 9, [6; 8], before)).unwrap();
            assert!(second.is_empty(), "{second:?}");
        }
        for claim in &claims {
            store.read_blocking(|db| project::draft(db, claim)).unwrap();
            self.note("died");
        }
        if self.rng.once_in(2) {
            // The whole server with it.
            self.stand.stop();
            self.stand.start();
        }
    }

    /// A worker so slow that its lease ended: somebody else did the job, more was logged, and then it
    /// comes and wants to write what it had read. And one that does the same job twice.
    fn late_worker(&mut self) {
        let (store, now) = (self.stand.store(), self.now());
        let clock = clock(&self.stand);
        let claims = store.write_blocking(move |db| job::claim(db, 9, [8; 8], now)).unwrap();
        let drafts: Vec<_> = claims
            .into_iter()
            .map(|c| (store.read_blocking(|db| project::draft(db, &c)).unwrap(), c))
            .collect();
        let twice = self.rng.once_in(2);
        if !twice {
            self.train(0);
            self.stand.clock.set(now.plus_ms(job::LEASE + 1));
            self.exchange(0);
            project::catch_up(&store, &clock, 2, &|_| {}).unwrap();
        }
        for (draft, claim) in drafts {
            let again = std::sync::Arc::new((draft, claim));
            for n in 0..2 {
                let (again, clock) = (std::sync::Arc::clone(&again), clock.clone());
                let wrote =
                    store.write_blocking(move |db| project::finish(db, &again.1, &again.0, &clock)).unwrap();
                assert_eq!(wrote, twice && n == 0, "only the holder writes, and only once");
                self.note(if wrote { "twice" } else { "too late" });
            }
        }
    }

    /// After everything was done, rows and documents say the same.
    fn check(&mut self, what: &str) {
        // Leases of the dead end.
        self.stand.clock.set(self.now().plus_ms(job::LEASE + 1));
        let store = self.stand.store();
        let caught = project::catch_up(&store, &clock(&self.stand), 2, &|_| {}).unwrap();
        assert_eq!(caught.left, 0, "{what}");
        let today = self.today();
        for (from, to, today) in [
            (today.plus(-90), today.plus(60), today),
            (today.plus(-90), today.plus(60), today.plus(-3)),
            (today.plus(-90), today.plus(60), today.plus(9)),
            // Seasons that are over by then are not opened.
            (today.plus(75), today.plus(150), today.plus(80)),
            (today.plus(140), today.plus(200), today.plus(150)),
        ] {
            assert_eq!(self.rows(from, to, today), self.fresh(from, to, today), "{what}");
        }
        let grant = AtTheMachine.to_review(self.stand.club);
        let review =
            store.read_blocking(|db| Review::gather(db, &grant, today.plus(-90), today, today)).unwrap();
        for athlete in review.athletes() {
            let kept = store.read_blocking(|db| project::marks(db, &grant, athlete.person)).unwrap();
            let records = |done: &Done| {
                let trials: Vec<_> = done.trials.iter().map(|t| (t.key(), t.record.clone())).collect();
                let weighed = done.checkins.iter().filter(|c| c.record.mass.is_some());
                (trials, weighed.map(|c| (c.key(), c.record.clone())).collect::<Vec<_>>())
            };
            assert_eq!(records(&kept), records(athlete.done), "{what}");
        }
    }

    fn rows(&self, from: Day, to: Day, today: Day) -> Board {
        let grant = AtTheMachine.to_review(self.stand.club);
        let ask = Ask::everybody(from, to, today);
        self.stand.store().read_blocking(|db| read(db, &grant, &ask)).unwrap().unwrap()
    }

    fn fresh(&self, from: Day, to: Day, today: Day) -> Board {
        let grant = AtTheMachine.to_review(self.stand.club);
        let review =
            self.stand.store().read_blocking(|db| Review::gather(db, &grant, from, to, today)).unwrap();
        board(&review.rows(), from, to, today)
    }
}

#[test]
fn rows_equal_the_documents_after_any_history() {
    histories(Database::default);
}

#[test]
#[ignore = "needs PostgreSQL: cargo xtask postgres"]
fn rows_equal_the_documents_after_any_history_over_postgres() {
    histories(|| Database::at(Cluster::shared().database().parse().unwrap()));
}

fn histories(database: impl Fn() -> Database) {
    let mut seen = std::collections::BTreeMap::new();
    for seed in 0..4 {
        let mut story = Story::over(seed, database());
        story.check("at the beginning");
        for n in 0..90 {
            story.step();
            if n % 15 == 14 {
                story.exchange_all();
                story.check(&format!("seed {seed}, step {n}"));
            }
        }
        // Rebuilt, they are the same again.
        let (from, to, today) = (story.today().plus(-90), story.today().plus(60), story.today());
        let before = story.rows(from, to, today);
        assert!(before.athletes.iter().any(|a| a.heard > 3), "something was done");
        let store = story.stand.store();
        let caught = project::rebuild(&store, None, &clock(&story.stand), 2, &|_| {}).unwrap();
        assert_eq!((caught.done, caught.left), (4, 0), "library, squad, two athletes");
        assert_eq!(story.rows(from, to, today), before);
        // Another season begins: sessions of both are asked, each in its own plan.
        story.season = season(2028);
        story.write_plan(0);
        story.exchange_all();
        story.check("another season");
        for n in 0..20 {
            if n == 10 {
                story.athletes[0].season = season(2028);
            }
            story.step();
            if n % 10 == 9 {
                story.exchange_all();
                story.check(&format!("seed {seed}, step {n} of the next season"));
            }
        }
        for (what, n) in story.seen {
            *seen.entry(what).or_insert(0) += n;
        }
    }
    for what in [
        "train",
        "unasked",
        "measure",
        "edit a prescription",
        "move a session",
        "withdraw or restore",
        "excuse",
        "enter a set",
        "library",
        "member",
        "catch up",
        "died",
        "twice",
        "too late",
        "availability",
    ] {
        assert!(seen.get(what).is_some_and(|n| *n >= 3), "{what} is missing: {seen:?}");
    }
}

/// Whatever is acknowledged is either in the rows or said not to be.
#[test]
fn what_is_not_in_the_rows_is_said_to_be_pending() {
    let mut story = Story::begin(77);
    story.check("at the beginning");
    let today = story.today();
    story.unasked(0);
    let day = (today.plus(-7), today.plus(20), today);
    let before = story.rows(day.0, day.1, day.2);
    assert_eq!(before.pending, 0);
    story.exchange(0);
    let behind = story.rows(day.0, day.1, day.2);
    assert_eq!(behind.pending, 1);
    // A server that was killed between both finds the work again and does it by itself.
    story.stand.stop();
    story.stand.projector = true;
    story.stand.start();
    let begun = std::time::Instant::now();
    while story.rows(day.0, day.1, day.2).pending > 0 {
        assert!(begun.elapsed().as_secs() < 20, "nobody works");
        std::thread::sleep(std::time::Duration::from_millis(10));
    }
    assert_eq!(story.rows(day.0, day.1, day.2), story.fresh(day.0, day.1, day.2));
}

/// A document that cannot be read holds up its own athlete's rows, says so, and nobody else's.
#[test]
fn a_damaged_document_holds_up_nobody_else() {
    let mut story = Story::begin(78);
    story.check("at the beginning");
    let (today, name) = (story.today(), story.plan_name(0));
    story.withdraw_or_restore(0);
    story.withdraw_or_restore(1);
    story.exchange_desk();
    let db = rusqlite::Connection::open(story.stand.data().join("backstraight.db")).unwrap();
    let sql = "UPDATE chunk SET body = x'00' WHERE doc = (SELECT id FROM doc WHERE name = ?1)";
    assert!(db.execute(sql, [name.to_bytes()]).unwrap() > 0);
    let store = story.stand.store();
    let caught = project::catch_up(&store, &clock(&story.stand), 1, &|_| {}).unwrap();
    assert_eq!(caught.left, 1);
    let rows = story.rows(today.plus(-7), today.plus(7), today);
    assert_eq!(rows.pending, 1);
    assert_eq!(rows.athletes.len(), 2, "what was known of the damaged one is still shown");
    let other = story.person(1);
    let line = store.read_blocking(|db| people::find(db, other)).unwrap();
    assert!(line.is_some());
}
