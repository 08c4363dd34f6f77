//! The story, step by step.

use backstraight_core::base::day::Day;
use backstraight_core::base::key::Key;
use backstraight_core::base::moment::Moment;
use backstraight_core::doc::command::{Command, New, WorkOf};
use backstraight_core::doc::place::Place;
use backstraight_core::model::log::{Report, SetDone, Work};
use backstraight_core::model::name::DocName;
use backstraight_core::model::number::{Complaint, Effort, Form, Load, Minutes, Reps, Rest, Skip, Text};
use backstraight_core::model::packed::{Dose, Intensity};
use backstraight_core::model::plan::{Group, Meet, Member, Prescription, SquadAbout};
use backstraight_core::model::spec::Field as _;
use backstraight_core::model::{number, order};
use backstraight_core::view::planned::Plan;
use backstraight_core::view::today::Shown;

use super::stage::{DAY, Stage, Trouble, at};
use super::test_day::{TEST_DAYS, test_day};
use crate::club::ledger::{Deed, Ledger, Outcome, Saved};
use crate::club::logs::{Day1, set_near};
use crate::club::people::{ATHLETES, SQUAD};
use crate::club::{library, plans};
use crate::rng::Rng;

/// Who does what in the story.
pub mod cast {
    /// Ines: logs offline with a swap, a skip, a correction and a report of pain.
    pub const SWAPS: usize = 0;
    /// Tobias: logs offline as asked, while his coach moves the session to tomorrow.
    pub const MOVED: usize = 1;
    /// Odile: her phone has not been heard for six days.
    pub const SILENT: usize = 4;
    /// Noor: a mark of hers was a slip and is withdrawn.
    pub const SLIP: usize = 2;
    /// Noor: does all that is asked; the head coach rules on what her plan's rules propose.
    pub const RULED: usize = 2;
    /// Casper: one sprint of his had too much wind behind it.
    pub const WINDY: usize = 3;
    /// Elio: one sprint of his had just as much wind as is allowed.
    pub const BREEZE: usize = 9;
    /// Hanne: jumps as far as Ines.
    pub const TIED: usize = 10;
    /// Rafe: care staff say that he may train, but for some things.
    pub const MODIFIED: usize = 5;
    /// Elio: his phone was heard this morning, and his last session was not done.
    pub const MISSED: usize = 9;
}

/// What the story needs to know at the end.
#[derive(Debug, Clone)]
pub struct Told {
    /// The tally.
    pub ledger: Ledger,
    /// The session of the day, by athlete.
    pub today_session: Vec<Key>,
    /// The squat prescription of Ines's session, on which edits met.
    pub squat_item: Key,
    /// The set that was corrected, and its correction.
    pub corrected: (Key, Key),
    /// The day through which the silent phone was heard.
    pub silent_since: Day,
    /// Sets that Ines's screen asked, and those she did.
    pub ines_sets: (i64, i64),
    /// The last session of Elio, which he did not do.
    pub missed_session: Key,
}

/// Eight weeks, then the live part. `say` prints a step.
///
/// # Errors
/// Whatever goes wrong.
pub fn tell(stage: &mut Stage, seed: u64, say: &mut dyn FnMut(&str)) -> Result<Told, Trouble> {
    let mut rng = Rng::new(seed);
    let mut ledger = Ledger::default();
    say("The coaches write the library, the squad and ten weeks of plans, and send them.");
    write_plans(stage)?;
    say(
        "Eight weeks of training: fourteen phones log in cellars and at the track, and exchange once a week.",
    );
    let silent_since = eight_weeks(stage, &mut ledger, &mut rng)?;
    let missed_session = last_session(stage, cast::MISSED)?;
    say(&format!(
        "   {} sets were called saved; {} round trips carried {} kB up and {} kB down.",
        ledger.saved.len(),
        stage.traffic.round_trips,
        stage.traffic.sent / 1000,
        stage.traffic.received / 1000
    ));
    let mut today_session = Vec::new();
    for i in 0..stage.athletes.len() {
        let today = stage.today;
        let plan = stage.athletes.get_mut(i).ok_or("no athlete")?.plan()?;
        today_session.push(plan.on(today).next().map(|s| s.key()).ok_or("no session today")?);
    }
    super::care::speak(stage, say)?;
    say("This morning every phone exchanges but one, which has not been heard for six days.");
    for i in (0..ATHLETES.len()).filter(|i| *i != cast::SILENT) {
        stage.exchange_athlete(i, stage.now)?;
    }
    say("Two phones go offline. In the cellar Ines opens today's session and logs it:");
    let live = stage.now.plus_ms(600_000);
    let cellar = ines(stage, &mut ledger, &today_session, live, &mut rng, say)?;
    say("Tobias does his session as asked.");
    let session = today_session.get(cast::MOVED).cloned().ok_or("no session")?;
    let on = Day1 { day: stage.today, opens: live };
    let athlete = stage.athletes.get_mut(cast::MOVED).ok_or("no athlete")?;
    athlete.train(&mut ledger, &session, on, Deed::All, &mut rng)?;
    say("At the same time both coaches are at home, and change the same session of Ines:");
    let squat_item = coaches_edit(stage, &today_session, live, say)?;
    say("The coaches' desks exchange, then the phones come back and exchange.");
    let back = live.plus_ms(3 * 3_600_000);
    for round in 0..2 {
        let when = back.plus_ms(round * 60_000);
        for c in 0..stage.coaches.len() {
            stage.exchange_coach(c, when)?;
        }
        for i in [cast::SWAPS, cast::MOVED] {
            stage.exchange_athlete(i, when)?;
        }
    }
    for c in 0..stage.coaches.len() {
        stage.exchange_coach(c, back.plus_ms(180_000))?;
    }
    let Cellar { corrected, sets: ines_sets } = cellar;
    Ok(Told { ledger, today_session, squat_item, corrected, silent_since, ines_sets, missed_session })
}

fn write_plans(stage: &mut Stage) -> Result<(), Trouble> {
    let start = stage.today.plus(-56);
    let season = stage.season()?;
    let (club, squad, begin) = (stage.club, stage.squad, stage.now.plus_ms(-56 * DAY - 3_600_000));
    stage.set_time(begin);
    let people: Vec<_> = stage.athletes.iter().map(|a| a.phone.identity().clone()).collect();
    let head = stage.coaches.first_mut().ok_or("no coach")?;
    head.clock.set(begin);
    let phone = &mut head.phone;
    let mut mint = Vec::new();
    for _ in 0..400 {
        mint.push(phone.key());
    }
    let mut keys = mint.into_iter();
    let (write, by_word) = library::library(|| keys.next().unwrap_or_else(Key::main));
    at("library", phone.run(DocName::Library(club), &write))?;
    let name = |t: &str| Text::new(t).unwrap_or_default();
    let about = SquadAbout { name: Some(name(SQUAD)), ..SquadAbout::new() };
    let edit =
        Command::Edit { place: Place::main("about"), from: SquadAbout::new().into(), to: about.into() };
    at("squad", phone.run(DocName::Squad(squad), &edit))?;
    let mut news = Vec::new();
    for ((person, identity), pos) in ATHLETES.iter().zip(&people).zip(order::spread(ATHLETES.len())) {
        let member = Member {
            events: Some(name(person.event.word())),
            sex: Some(person.sex),
            born: Day::new(person.born, 3, 3).ok(),
            joined: Some(start),
            pos: Some(pos),
            ..Member::new(identity.person, name(person.name))
        };
        news.push(New { place: Place::of("members", &phone.key()), record: member.into() });
    }
    for (title, days, priority) in [
        ("Harbour indoor open", 66, number::Priority::Second),
        ("Northern indoor games", 69, number::Priority::Main),
    ] {
        let meet = Meet::new(name(title), start.plus(days), priority);
        news.push(New { place: Place::of("meets", &phone.key()), record: meet.into() });
    }
    at("members", phone.run(DocName::Squad(squad), &Command::Add(news)))?;
    for (person, identity) in ATHLETES.iter().zip(&people) {
        let mut mint: Vec<Key> = Vec::new();
        for _ in 0..1200 {
            mint.push(phone.key());
        }
        let mut keys = mint.into_iter();
        let span = plans::Span { start, weeks: 10 };
        for command in plans::plan(person, span, &by_word, || keys.next().unwrap_or_else(Key::main)) {
            at("plan", phone.run(DocName::Plan(identity.person, season), &command))?;
        }
    }
    stage.keys = by_word;
    stage.exchange_coach(0, begin)?;
    stage.exchange_coach(1, begin)?;
    for i in 0..stage.athletes.len() {
        stage.exchange_athlete(i, begin)?;
    }
    Ok(())
}

fn last_session(stage: &mut Stage, index: usize) -> Result<Key, Trouble> {
    let today = stage.today;
    let plan = stage.athletes.get_mut(index).ok_or("no athlete")?.plan()?;
    let last = plan.sessions.iter().rev().find(|s| s.session.record.date < today);
    Ok(last.map(|s| s.key()).ok_or("no session yet")?)
}

fn eight_weeks(stage: &mut Stage, ledger: &mut Ledger, rng: &mut Rng) -> Result<Day, Trouble> {
    let today = stage.today;
    let silent_since = today.plus(-6);
    let count = stage.athletes.len();
    for offset in (1..=56).rev() {
        let day = today.plus(-offset);
        let opens = stage.now.plus_ms(-i64::from(offset) * DAY);
        stage.set_time(opens);
        for index in 0..count {
            let diligence = ATHLETES.get(index).map_or(9, |p| p.diligence);
            let athlete = stage.athletes.get_mut(index).ok_or("no athlete")?;
            let plan = athlete.plan()?;
            let sessions: Vec<(Key, bool)> = plan
                .on(day)
                .map(|s| {
                    (
                        s.key(),
                        !plan
                            .sessions
                            .iter()
                            .any(|t| t.session.record.date > day && t.session.record.date < today),
                    )
                })
                .collect();
            for (session, last) in sessions {
                let roll = rng.range(1, 10);
                let deed = if index == cast::MISSED && last {
                    Deed::Nothing
                } else if roll <= diligence {
                    Deed::All
                } else if rng.once_in(2) {
                    Deed::Some
                } else if rng.once_in(2) {
                    Deed::LeftOut
                } else {
                    Deed::Nothing
                };
                if rng.once_in(3) {
                    athlete.check_in(Day1 { day, opens }, rng)?;
                }
                athlete.train(ledger, &session, Day1 { day, opens: opens.plus_ms(60_000) }, deed, rng)?;
            }
        }
        if TEST_DAYS.contains(&offset) {
            test_day(stage, ledger, rng, day, opens.plus_ms(3 * 3_600_000))?;
        }
        // Sunday evenings, by the story's week; the silent phone stops after its last one.
        if offset % 7 == 1 {
            let evening = opens.plus_ms(6 * 3_600_000);
            for index in (0..count).filter(|i| *i != cast::SILENT || day <= silent_since) {
                stage.exchange_athlete(index, evening)?;
            }
        }
        if day == silent_since {
            stage.exchange_athlete(cast::SILENT, opens.plus_ms(6 * 3_600_000))?;
        }
    }
    Ok(silent_since)
}

/// What Ines did in the cellar.
struct Cellar {
    /// The corrected set, and its correction.
    corrected: (Key, Key),
    /// Sets asked and done.
    sets: (i64, i64),
}

/// Ines in the cellar.
fn ines(
    stage: &mut Stage,
    ledger: &mut Ledger,
    sessions: &[Key],
    live: Moment,
    rng: &mut Rng,
    say: &mut dyn FnMut(&str),
) -> Result<Cellar, Trouble> {
    let session = sessions.get(cast::SWAPS).ok_or("no session")?.clone();
    let day = stage.today;
    let word = |stage: &Stage, w: &str| stage.keys.get(w).cloned().ok_or_else(|| format!("no exercise {w}"));
    let (squat, front, lower) =
        (word(stage, "squat")?, word(stage, "front-squat")?, word(stage, "hamstring")?);
    let athlete = stage.athletes.get_mut(cast::SWAPS).ok_or("no athlete")?;
    let (done, items) = athlete.begin(&session, Day1 { day, opens: live })?;
    let log = athlete.log(day);
    let mut now = live;
    let (mut asked, mut did) = (0, 0);
    let mut corrected = None;
    for item in &items {
        asked += item.target.sets.get();
        let work = athlete.phone.key();
        if item.ex == lower {
            let mut record = record_of(item, &item.ex, None);
            record.skipped = Some(Skip::Kit);
            record.note = Text::new("The pads are locked away.").ok();
            let skip = Command::Skip { session: done.clone(), key: work, work: Box::new(record) };
            at("skip", athlete.phone.run(log, &skip))?;
            say("   the hamstring lower is left out: no kit");
            continue;
        }
        let (ex, instead) = if item.ex == squat { (&front, Some(&item.ex)) } else { (&item.ex, None) };
        if instead.is_some() {
            say("   the back squat is swapped for the front squat, as her coach allows");
        }
        let record = record_of(item, ex, instead);
        for nth in 0..item.target.sets.get() {
            now = now.plus_ms(60_000);
            athlete.clock.set(now);
            let set = set_near(&item.target, usize::try_from(nth).unwrap_or(0), None, now, rng);
            let of = if nth == 0 {
                WorkOf::New(work.clone(), Box::new(record.clone()))
            } else {
                WorkOf::Open(work.clone())
            };
            let wrong = instead.is_some() && nth == 1;
            let mut first = set.clone();
            if wrong {
                first.load = set.load.and_then(|l| Load::new(l.get() + 1000).ok());
            }
            let key = athlete.log_set(ledger, day, &done, &session, of, Some(&item.item), ex, first)?;
            did += 1;
            if wrong {
                now = now.plus_ms(5_000);
                athlete.clock.set(now);
                let fixed = athlete.phone.key();
                let right = SetDone { amends: Some(key.clone()), at: now, ..set };
                let entry = Saved {
                    set: fixed.clone(),
                    load: right.load.map(|l| l.get()),
                    amends: Some(key.clone()),
                    ..ledger.saved.last().cloned().ok_or("nothing saved")?
                };
                let correct = Command::CorrectSet {
                    session: done.clone(),
                    work: work.clone(),
                    earlier: key.clone(),
                    key: fixed.clone(),
                    set: Box::new(right),
                };
                at("correction", athlete.phone.run(log, &correct))?;
                ledger.saved.push(entry);
                say(
                    "   the second set was typed 10 kg too heavy and is corrected; both values stay readable",
                );
                corrected = Some((key, fixed));
            }
        }
    }
    let report = Report {
        area: Text::new("left shin").ok(),
        level: Effort::new(30).ok(),
        session: Some(done.clone()),
        text: Text::new("Dull after the jumps on Thursday, gone when warm.").ok(),
        ..Report::new(now, Complaint::Pain)
    };
    let key = athlete.phone.key();
    let care = DocName::Care(athlete.phone.identity().person);
    at(
        "pain",
        athlete
            .phone
            .run(care, &Command::Add(vec![New { place: Place::of("reports", &key), record: report.into() }])),
    )?;
    say("   she notes pain in her care document: care staff may read it, coaches only if she agrees");
    let close = Command::Close {
        session: done,
        ended: now.plus_ms(60_000),
        minutes: Minutes::new(68).ok(),
        effort: Effort::new(70).ok(),
        comment: Text::new("Rack was taken, front squats felt quick.").ok(),
    };
    athlete.clock.set(now.plus_ms(60_000));
    at("close", athlete.phone.run(log, &close))?;
    ledger.outcomes.push(Outcome { athlete: cast::SWAPS, session, day, deed: Deed::Some });
    Ok(Cellar { corrected: corrected.ok_or("nothing was corrected")?, sets: (asked, did) })
}

fn record_of(item: &Shown, ex: &Key, instead: Option<&Key>) -> Work {
    Work {
        item: Some(item.item.clone()),
        shown: Some(item.target.clone()),
        instead_of: instead.cloned(),
        ..Work::new(ex.clone())
    }
}

/// Both coaches change the same session without knowing of each other.
fn coaches_edit(
    stage: &mut Stage,
    sessions: &[Key],
    live: Moment,
    say: &mut dyn FnMut(&str),
) -> Result<Key, Trouble> {
    let season = stage.season()?;
    let squat = stage.keys.get("squat").cloned().ok_or("no squat")?;
    let drop = stage.keys.get("drop-jump").cloned().ok_or("no drop jump")?;
    let person = |stage: &Stage, i: usize| {
        stage.athletes.get(i).map(|a| a.phone.identity().person).ok_or("no athlete")
    };
    let ines = DocName::Plan(person(stage, cast::SWAPS)?, season);
    let tobias = DocName::Plan(person(stage, cast::MOVED)?, season);
    let session = sessions.get(cast::SWAPS).cloned().ok_or("no session")?;
    let moved = sessions.get(cast::MOVED).cloned().ok_or("no session")?;
    let tomorrow = stage.today.plus(1);
    let mut found = None;
    for (i, coach) in stage.coaches.iter_mut().enumerate() {
        coach.clock.set(live.plus_ms(1_800_000 + i64::try_from(i).unwrap_or(0) * 300_000));
        let plan = Plan::of(coach.phone.document(ines)?);
        let planned = plan.session(&session).ok_or("session not on the desk")?;
        let (_, item) = planned.items().find(|(_, it)| it.record.ex == squat).ok_or("no squat asked")?;
        let place = item.place.clone();
        let reps = |n| Reps::new(n).ok().map(|r| Dose::Reps(r, r));
        let mut to: Prescription = item.record.clone();
        if i == 0 {
            to.dose = reps(3);
            to.intensity = match to.intensity {
                Some(Intensity::Load(l)) => Load::new(l.get() + 500).ok().map(Intensity::Load),
                other => other,
            };
            say(&format!("   {}: back squat 3 reps instead of 5, 5 kg more", coach.name));
        } else {
            to.dose = reps(4);
            to.rest = Rest::new(240).ok();
            say(&format!(
                "   {}: back squat 4 reps instead of 5, a minute more rest, and drop jumps added",
                coach.name
            ));
        }
        found = Some(item.key());
        let edit = Command::Edit { place, from: item.record.clone().into(), to: to.into() };
        at("edit", coach.phone.run(ines, &edit))?;
        if i == 0 {
            let plan = Plan::of(coach.phone.document(tobias)?);
            let planned = plan.session(&moved).ok_or("session not on the desk")?;
            let (from, mut to) = (planned.session.record.clone(), planned.session.record.clone());
            to.date = tomorrow;
            let place = planned.session.place.clone();
            at("move", coach.phone.run(tobias, &Command::Edit { place, from: from.into(), to: to.into() }))?;
            say(&format!("   {}: the session of Tobias is moved to tomorrow", coach.name));
        } else {
            let (group, item) = (coach.phone.key(), coach.phone.key());
            let new = Group::new(session.clone(), order::between(Some("z"), None), Form::Single);
            let jumps = Prescription {
                dose: Reps::new(5).ok().map(Dose::Contacts),
                ..Prescription::new(
                    group.clone(),
                    order::between(None, None),
                    drop.clone(),
                    number::Count::new(3)?,
                )
            };
            let news = vec![
                New { place: Place::of("groups", &group), record: new.into() },
                New { place: Place::of("items", &item), record: jumps.into() },
            ];
            at("add", coach.phone.run(ines, &Command::Add(news)))?;
        }
    }
    found.ok_or_else(|| "no edit".into())
}

/// The head coach picks the first of the values that met.
///
/// # Errors
/// Whatever goes wrong.
pub fn pick(stage: &mut Stage, told: &Told) -> Result<(), Trouble> {
    let season = stage.season()?;
    let ines = stage.athletes.get(cast::SWAPS).map(|a| a.phone.identity().person).ok_or("no athlete")?;
    let when = stage.time().plus_ms(60_000);
    let coach = stage.coaches.first_mut().ok_or("no coach")?;
    coach.clock.set(when);
    let three = Reps::new(3)?;
    let command = Command::Pick {
        place: Place::of("items", &told.squat_item),
        field: "dose",
        value: Some(Dose::Reps(three, three).to_scalar()),
    };
    at("pick", coach.phone.run(DocName::Plan(ines, season), &command))?;
    stage.exchange_coach(0, when)?;
    stage.exchange_coach(1, when.plus_ms(1000))?;
    stage.exchange_athlete(cast::SWAPS, when.plus_ms(2000))?;
    Ok(())
}
