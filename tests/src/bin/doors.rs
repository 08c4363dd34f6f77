//! Tells the story of `tests/doors/scenario.json` by the doors themselves, without another language between:
//! `doors SCENARIO PROGRAM DATA URL WORK`. Exit code 1 when an answer is not the expected one.
#![expect(clippy::print_stdout, clippy::print_stderr, reason = "a program that tells what it saw")]

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::{Command, ExitCode};
use std::sync::Arc;

use backstraight_core::base::day::Day;
use backstraight_core::base::moment::Moment;
use backstraight_ffi::doors::check_in::{CheckInAnswers, ReportEntry, ReportKind};
use backstraight_ffi::doors::exchange::{ExchangeLimits, built_in_courier};
use backstraight_ffi::doors::install::{Invitation, OpenWith, Who};
use backstraight_ffi::doors::log::{CloseSession, CorrectSet, LogSet, SkipItem};
use backstraight_ffi::doors::outside::{CourierError, Parcel, Reply};
use backstraight_ffi::doors::plan::{ItemChange, NewExercise, NewItem, NewSession, NewTest};
use backstraight_ffi::doors::sheet::{LeftOut, SetNumbers};
use backstraight_ffi::doors::today::SessionLine;
use backstraight_ffi::doors::trials::TrialEntry;
use backstraight_ffi::doors::{
    Courier, DoorError, Install, KeyStore, Now, Receipt, StopFlag, board::SetAsk, interface_mark,
};
use backstraight_tests::keys::Keys;
use serde_json::{Map, Value, json};

type Told = Box<dyn std::error::Error>;

struct Nobody;

impl Courier for Nobody {
    fn carry(&self, _: Parcel) -> Result<Reply, CourierError> {
        Err(CourierError::Offline)
    }
}

struct Phone {
    folder: PathBuf,
    keys: Arc<Keys>,
    install: Option<Arc<Install>>,
}

struct Story {
    program: String,
    data: String,
    url: String,
    work: PathBuf,
    base: i64,
    phones: BTreeMap<String, Phone>,
    kept: BTreeMap<String, Value>,
}

fn main() -> ExitCode {
    match tell() {
        Ok(true) => ExitCode::SUCCESS,
        Ok(false) => ExitCode::FAILURE,
        Err(why) => {
            eprintln!("{why}");
            ExitCode::FAILURE
        }
    }
}

fn tell() -> Result<bool, Told> {
    let mut args = std::env::args().skip(1);
    let mut next = || args.next().ok_or("doors SCENARIO PROGRAM DATA URL WORK");
    let scenario: Value = serde_json::from_str(&std::fs::read_to_string(next()?)?)?;
    let since = std::time::SystemTime::now().duration_since(std::time::UNIX_EPOCH)?;
    let mut story = Story {
        program: next()?,
        data: next()?,
        url: next()?,
        work: next()?.into(),
        // Noon: its minutes stay within the day, whenever it is told.
        base: i64::try_from(since.as_secs() / 86_400)? * 86_400_000 + 43_200_000,
        phones: BTreeMap::new(),
        kept: BTreeMap::new(),
    };
    let steps = scenario["steps"].as_array().ok_or("no steps")?;
    for (n, step) in steps.iter().enumerate() {
        let (answer, error) = story.step(step)?;
        let wanted = story.filled(&step["expect"])?;
        let met = wanted.as_object().is_none_or(|w| w.iter().all(|(name, value)| answer[name] == *value));
        if !met || error != text(step, "error") {
            println!("step {n}: {step}\n  wanted {wanted} {}\n  got {answer} {error}", step["error"]);
            return Ok(false);
        }
        for (name, of) in step["keep"].as_object().into_iter().flatten() {
            let of = of.as_str().ok_or("keep what?")?;
            story.kept.insert(name.clone(), answer[of].clone());
        }
    }
    println!("Rust: {} steps as expected", steps.len());
    Ok(true)
}

impl Story {
    /// What a step answers, and the error that it ended with.
    fn step(&mut self, step: &Value) -> Result<(Value, String), Told> {
        if let Some(args) = self.filled(&step["machine"])?.as_array() {
            let args = args.iter().filter_map(Value::as_str);
            let output = Command::new(&self.program).args(args).args(["--data", &self.data]).output()?;
            if !output.status.success() {
                return Err(String::from_utf8_lossy(&output.stderr).into());
            }
            let wants = step["keep"].is_object();
            return Ok((
                if wants { serde_json::from_slice(&output.stdout)? } else { json!({}) },
                String::new(),
            ));
        }
        let minutes = step["minute"].as_i64().unwrap_or(0);
        let at = self.base + step["day"].as_i64().ok_or("no day")? * 86_400_000 + minutes * 60_000;
        let now = Now { utc_ms: at, ahead_min: 0 };
        let args = self.filled(&step["with"])?;
        let on = text(step, "on");
        let folder = self.work.join(&on);
        let phone =
            self.phones.entry(on).or_insert_with(|| Phone { folder, keys: Arc::default(), install: None });
        let (url, work) = (self.url.clone(), self.work.clone());
        let answer = restarted(phone, now)
            .and_then(|install| call(&install, &text(step, "do"), &args, now, (&url, &work, &phone.folder)));
        Ok(match answer {
            Ok(value) => (value, String::new()),
            Err(error) => (json!({}), word_of(&error)),
        })
    }

    /// A value with what was kept and days put in.
    fn filled(&self, value: &Value) -> Result<Value, Told> {
        Ok(match value {
            Value::String(text) => match (text.strip_prefix('$'), text.strip_prefix('@')) {
                (Some(name), _) => {
                    self.kept.get(name).cloned().ok_or_else(|| format!("{text} was not kept"))?
                }
                (_, Some(days)) => json!(Day::of(Moment(self.base), 0)?.plus(days.parse()?).to_string()),
                _ => value.clone(),
            },
            Value::Array(all) => Value::Array(all.iter().map(|v| self.filled(v)).collect::<Result<_, _>>()?),
            Value::Object(all) => {
                let one = |(name, v): (&String, &Value)| Ok::<_, Told>((name.clone(), self.filled(v)?));
                Value::Object(all.iter().map(one).collect::<Result<Map<_, _>, _>>()?)
            }
            other => other.clone(),
        })
    }
}

fn restarted(phone: &mut Phone, now: Now) -> Result<Arc<Install>, DoorError> {
    if let Some(install) = phone.install.take() {
        install.shut();
    }
    let folder = phone.folder.display().to_string();
    let with = OpenWith { folder, interface: interface_mark(), most_bytes: None };
    let install = Install::open(with, Arc::clone(&phone.keys) as Arc<dyn KeyStore>, now)?;
    phone.install = Some(Arc::clone(&install));
    Ok(install)
}

/// The kind of an error, by its name.
fn word_of(error: &DoorError) -> String {
    let all = format!("{error:?}");
    all.split([' ', '{']).next().unwrap_or_default().to_owned()
}

fn word(value: &impl core::fmt::Debug) -> String {
    format!("{value:?}").to_lowercase()
}

fn text(of: &Value, field: &str) -> String {
    of[field].as_str().unwrap_or_default().to_owned()
}

fn maybe(of: &Value, field: &str) -> Option<String> {
    of[field].as_str().map(str::to_owned)
}

fn whole(of: &Value, field: &str) -> Option<u32> {
    of[field].as_u64().and_then(|n| u32::try_from(n).ok())
}

fn left_out(name: &str) -> LeftOut {
    match name {
        "kit" => LeftOut::Kit,
        "life" => LeftOut::Life,
        _ => LeftOut::Other,
    }
}

fn receipt(r: &Receipt) -> Value {
    json!({ "id": r.id, "already": r.already_there })
}

fn who(w: &Who) -> Value {
    json!({ "role": w.role, "name": w.name, "enrolled": w.enrolled, "person": w.person })
}

fn states(lines: &[SessionLine]) -> String {
    lines.iter().map(|l| word(&l.state)).collect::<Vec<_>>().join(" ")
}

fn numbers(a: &Value) -> SetNumbers {
    SetNumbers {
        load_g: whole(a, "load_g"),
        reps: whole(a, "reps"),
        contacts: whole(a, "contacts"),
        effort_tenths: whole(a, "effort_tenths"),
        ..SetNumbers::default()
    }
}

/// The table: what each step calls, and what of its answer is compared.
fn call(
    i: &Install,
    what: &str,
    a: &Value,
    now: Now,
    (url, work, folder): (&str, &Path, &Path),
) -> Result<Value, DoorError> {
    let once = || text(a, "once");
    let usual = ExchangeLimits { most_ms: 25_000, most_rounds: 16 };
    let in_work = |name: &str| work.join(name).display().to_string();
    Ok(match what {
        "open" => json!({ "found": word(&i.opening().found) }),
        "who" => i.who()?.map_or_else(|| json!({}), |w| who(&w)),
        "enrol" => {
            let invitation = Invitation { server: url.to_owned(), code: text(a, "code") };
            who(&i.enrol(invitation, "test phone".to_owned(), built_in_courier()?, now)?)
        }
        "exchange" => {
            let r = i.exchange(built_in_courier()?, usual, StopFlag::new(), None, now)?;
            json!({ "complete": r.complete, "waiting": r.waiting, "got": r.received > 0 })
        }
        "exchange_cut_off" => {
            i.exchange(Arc::new(Nobody), usual, StopFlag::new(), None, now)?;
            json!({})
        }
        "exchange_state" => {
            let s = i.exchange_state()?;
            let first = s.refused.first();
            json!({
                "refused": s.refused.len(), "waits": s.waiting > 0,
                "id0": first.map(|r| r.id.clone()), "code0": first.map(|r| r.code.clone()),
            })
        }
        "today" => {
            let t = i.today(now)?;
            let first = t.sessions.first();
            json!({
                "day": t.day, "sessions": t.sessions.len(), "checked_in": t.checked_in, "waiting": t.waiting,
                "session0": first.map(|s| s.session.clone()), "state0": first.map(|s| word(&s.state)),
            })
        }
        "sessions" => {
            let all = i.sessions(text(a, "first"), text(a, "last"), None, now)?;
            json!({ "count": all.len(), "states": states(&all) })
        }
        "session" => session(i, a, now)?,
        "log_set" => {
            let set = LogSet {
                session: maybe(a, "session"),
                item: maybe(a, "item"),
                exercise: maybe(a, "exercise"),
                numbers: numbers(a),
                once: once(),
            };
            receipt(&i.log_set(set, now)?)
        }
        "correct_set" => {
            let (session, set) = (text(a, "session"), text(a, "set"));
            receipt(&i.correct_set(CorrectSet { session, set, numbers: numbers(a), once: once() }, now)?)
        }
        "strike_set" => receipt(&i.strike_set(text(a, "session"), text(a, "set"), once(), now)?),
        "skip_item" => {
            let (session, item) = (text(a, "session"), text(a, "item"));
            let why = left_out(&text(a, "why"));
            receipt(&i.skip_item(SkipItem { session, item, why, note: None, once: once() }, now)?)
        }
        "close_session" => {
            let close = CloseSession {
                session: text(a, "session"),
                minutes: whole(a, "minutes"),
                effort_tenths: whole(a, "effort_tenths"),
                comment: maybe(a, "comment"),
                once: once(),
            };
            receipt(&i.close_session(close, now)?)
        }
        "leave_session_out" => {
            let why = left_out(&text(a, "why"));
            receipt(&i.leave_session_out(text(a, "session"), why, None, once(), now)?)
        }
        "say" => receipt(&i.say(text(a, "words"), None, None, once(), now)?),
        "words" => {
            let all = i.words(maybe(a, "athlete"), now)?;
            let first = all.first();
            json!({
                "count": all.len(), "words0": first.map(|w| w.words.clone()), "by0": first.map(|w| w.by.clone()),
            })
        }
        "check_in" => {
            let (sleep, mood, mass_g) = (whole(a, "sleep"), whole(a, "mood"), whole(a, "mass_g"));
            let answers = CheckInAnswers { sleep, mood, mass_g, ..CheckInAnswers::default() };
            receipt(&i.check_in(answers, once(), now)?)
        }
        "check_in_of" => match i.check_in_of(text(a, "day"))? {
            Some(c) => json!({ "there": true, "sleep": c.sleep, "mood": c.mood, "mass_g": c.mass_g }),
            None => json!({ "there": false }),
        },
        "report" => {
            let report = ReportEntry {
                kind: ReportKind::Pain,
                area: maybe(a, "area"),
                side: None,
                level_tenths: whole(a, "level_tenths"),
                text: None,
                once: once(),
            };
            receipt(&i.report(report, now)?)
        }
        "report_over" => receipt(&i.report_over(text(a, "report"), once(), now)?),
        "reports" => {
            let all = i.reports(None)?;
            let first = all.first();
            json!({
                "count": all.len(), "area0": first.and_then(|r| r.area.clone()),
                "over0": first.is_some_and(|r| r.over.is_some()),
            })
        }
        "record_trial" => {
            let trial = TrialEntry {
                test: text(a, "test"),
                athlete: None,
                day: None,
                thousandths: a["thousandths"].as_i64(),
                load_g: None,
                reps: None,
                wind_mm_s: None,
                conditions: None,
                once: once(),
            };
            receipt(&i.record_trial(trial, now)?)
        }
        "bests" => {
            let all = i.bests(None, now)?;
            let first = all.first();
            json!({
                "count": all.len(), "name0": first.map(|b| b.name.clone()),
                "thousandths0": first.map(|b| b.thousandths), "day0": first.map(|b| b.day.clone()),
            })
        }
        "diagnostics" => {
            let d = i.diagnostics(true)?;
            json!({ "waits": d.waiting > 0, "sound": d.unsound.is_none() })
        }
        "copy_folder" => {
            i.shut();
            copy(folder, &work.join(text(a, "to")))
                .map_err(|e| DoorError::Inner { detail: e.to_string() })?;
            json!({})
        }
        "write_copy" => {
            let written = i.write_copy(in_work("copy.json"), StopFlag::new(), now)?;
            json!({ "written": written.documents > 0 })
        }
        "test_kinds" => {
            let all = i.test_kinds()?;
            let first = all.first();
            json!({
                "count": all.len(), "name0": first.map(|t| t.name.clone()), "unit0": first.map(|t| t.unit.clone()),
                "higher0": first.map(|t| t.higher_is_better),
            })
        }
        "trials" => {
            let all = i.trials(maybe(a, "test"), None)?;
            let thousandths = |n: usize| all.get(n).and_then(|t| t.thousandths);
            json!({ "count": all.len(), "thousandths0": thousandths(0), "thousandths1": thousandths(1) })
        }
        "take_carry_file" => {
            let t = i.take_carry_file(in_work("carry"))?;
            json!({ "taken": t.taken, "known": t.known, "refused": t.refused.len() })
        }
        "set_refused_aside" => {
            json!({ "changes": i.set_refused_aside(text(a, "id"), in_work("refused"))?.changes })
        }
        "write_carry_file" => json!({ "changes": i.write_carry_file(in_work("carry"))?.changes }),
        "erase" => {
            i.erase(a["unsent_too"].as_bool().unwrap_or(false))?;
            json!({})
        }
        "pause_and_resume" => {
            i.pause();
            let said = i.today(now).err().map(|e| word_of(&e));
            json!({ "paused": said, "found": word(&i.resume(now)?.found) })
        }
        coach => of_a_coach(i, coach, a, now)?,
    })
}

/// The coach's part of the table.
fn of_a_coach(i: &Install, what: &str, a: &Value, now: Now) -> Result<Value, DoorError> {
    let once = || text(a, "once");
    let days = || (text(a, "first"), text(a, "last"));
    Ok(match what {
        "exercises" => {
            let all = i.exercises()?;
            json!({ "count": all.len(), "name0": all.first().map(|e| e.name.clone()) })
        }
        "add_exercise" => {
            let (name, pattern, intent) = (text(a, "name"), text(a, "pattern"), text(a, "intent"));
            receipt(&i.add_exercise(NewExercise { name, pattern, intent, caution: None, once: once() }, now)?)
        }
        "add_test" => {
            let test = NewTest {
                name: text(a, "name"),
                measure: text(a, "measure"),
                unit: text(a, "unit"),
                higher_is_better: a["higher"].as_bool().unwrap_or(false),
                once: once(),
            };
            receipt(&i.add_test(test, now)?)
        }
        "add_session" => {
            let swaps = |n: &Value| {
                let all = n["swaps"].as_array().into_iter().flatten();
                all.filter_map(Value::as_str).map(str::to_owned).collect()
            };
            let item = |n: &Value| NewItem {
                exercise: text(n, "exercise"),
                sets: whole(n, "sets").unwrap_or(0),
                reps: whole(n, "reps"),
                contacts: whole(n, "contacts"),
                load_g: whole(n, "load_g"),
                rest_s: whole(n, "rest_s"),
                swaps: swaps(n),
            };
            let session = NewSession {
                athlete: text(a, "athlete"),
                day: text(a, "day"),
                title: text(a, "title"),
                minutes: None,
                items: a["items"].as_array().into_iter().flatten().map(item).collect(),
                once: once(),
            };
            receipt(&i.add_session(session, now)?)
        }
        "planned" => {
            let (first, last) = days();
            let all = i.planned(first, last, maybe(a, "athlete"))?;
            let item = all.first().and_then(|s| s.items.first());
            json!({
                "count": all.len(), "item0": item.map(|i| i.item.clone()),
                "reps0": item.and_then(|i| i.reps), "load0": item.and_then(|i| i.load_g),
            })
        }
        "people" => {
            let all = i.people()?;
            let first = all.first();
            json!({
                "count": all.len(), "name0": first.map(|p| p.name.clone()), "role0": first.map(|p| p.role.clone()),
            })
        }
        "move_session" => {
            let (session, day) = (text(a, "session"), text(a, "day"));
            receipt(&i.move_session(text(a, "athlete"), session, day, once(), now)?)
        }
        "withdraw_session" => {
            receipt(&i.withdraw_session(text(a, "athlete"), text(a, "session"), once(), now)?)
        }
        "change_item" => {
            let change = ItemChange {
                athlete: text(a, "athlete"),
                item: text(a, "item"),
                sets: None,
                reps: whole(a, "reps"),
                load_g: None,
                rest_s: whole(a, "rest_s"),
                once: once(),
            };
            receipt(&i.change_item(change, now)?)
        }
        "met" => {
            let all = i.met(maybe(a, "athlete"))?;
            let first = all.first();
            json!({
                "count": all.len(), "id0": first.map(|m| m.id.clone()), "field0": first.map(|m| m.field.clone()),
                "values0": first.map(|m| m.values.len()),
                "who0": first.and_then(|m| m.values.first()).map(|v| v.who.clone()),
            })
        }
        "pick" => {
            let value = whole(a, "value").unwrap_or(u32::MAX);
            receipt(&i.pick(text(a, "athlete"), text(a, "id"), value, once(), now)?)
        }
        "board" => {
            let (first, last) = days();
            let rows = i.board(first, last, now)?;
            let row = rows.first();
            json!({
                "rows": rows.len(), "states": row.map(|r| states(&r.sessions)),
                "unheard": row.map(|r| r.unheard), "met": row.map(|r| r.met),
            })
        }
        "attention" => {
            let list = i.attention(now)?;
            let mut topics: Vec<&str> = Vec::new();
            for reason in list.athletes.iter().flat_map(|a| &a.reasons) {
                if !topics.contains(&reason.topic.as_str()) {
                    topics.push(&reason.topic);
                }
            }
            json!({ "athletes": list.athletes.len(), "topics": topics.join(", ") })
        }
        "set_rows" => {
            let (first_day, last_day) = days();
            let most = whole(a, "most").unwrap_or(0);
            let athlete = maybe(a, "athlete");
            let page =
                i.set_rows(SetAsk { first_day, last_day, athlete, exercise: None, after: None, most })?;
            json!({ "rows": page.rows.len(), "more": page.next.is_some() })
        }
        other => return Err(DoorError::Inner { detail: format!("no such step: {other}") }),
    })
}

fn session(i: &Install, a: &Value, now: Now) -> Result<Value, DoorError> {
    let s = i.session(text(a, "session"), None, now)?;
    let items: Vec<_> = s.groups.iter().flat_map(|g| &g.items).collect();
    let sets: Vec<_> = items.iter().flat_map(|i| &i.sets).collect();
    let first = items.first();
    Ok(json!({
        "title": s.title, "groups": s.groups.len(), "begun": s.begun, "closed": s.closed,
        "corrected": sets.iter().map(|s| s.corrected).sum::<u32>(),
        "with_server": sets.iter().filter(|s| s.with_server).count(),
        "item0": first.map(|i| i.item.clone()), "item1": items.get(1).map(|i| i.item.clone()),
        "sets0": first.map(|i| i.sets.len()),
        "doing0": first.map(|i| i.doing.name.clone()), "asked0": first.map(|i| i.asked.name.clone()),
        "next_load_g": first.and_then(|i| i.next.load_g), "next_reps": first.and_then(|i| i.next.reps),
        "swap0": first.and_then(|i| i.swaps.first()).map(|s| s.exercise.clone()),
        "first_load_g": first.and_then(|i| i.sets.first()).and_then(|s| s.numbers.load_g),
        "left_out": items.iter().find_map(|i| i.left_out).map(|l| word(&l)),
    }))
}

/// Copies a folder, as a backup of a phone would.
fn copy(from: &Path, to: &Path) -> std::io::Result<()> {
    std::fs::create_dir_all(to)?;
    for entry in std::fs::read_dir(from)? {
        let entry = entry?;
        std::fs::copy(entry.path(), to.join(entry.file_name()))?;
    }
    Ok(())
}
