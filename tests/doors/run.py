"""Tells the story of scenario.json by the Python doors: python run.py SCENARIO PROGRAM DATA URL WORK

PYTHONPATH has the bindings with the library beside them. The table at the end is all that is special here.
"""

import datetime
import json
import pathlib
import shutil
import subprocess
import sys
import time

import backstraight as b
from backstraight_mark import INTERFACE_MARK

SCENARIO, PROGRAM, DATA, URL, WORK = sys.argv[1:6]
# Noon, or half an hour ago before that: its minutes stay within the day and are over, whenever it is told.
BEGUN = int(time.time())
BASE_MS = (BEGUN // 86_400 * 86_400 + min(max(BEGUN % 86_400 - 1_800, 0), 43_200)) * 1000


class Keys(b.KeyStore):
    """A key store as a phone has one: apart from the folder, never in a backup."""

    def __init__(self):
        self.secrets = {}

    def keep(self, name, secret):
        self.secrets[name] = secret

    def look_up(self, name):
        return self.secrets.get(name)

    def forget(self, name):
        self.secrets.pop(name, None)


class Nobody(b.Courier):
    def carry(self, parcel):
        raise b.CourierError.Offline()


class Phone:
    def __init__(self, name):
        self.folder = str(pathlib.Path(WORK) / name)
        self.keys = Keys()
        self.install = None

    def restart(self, now):
        if self.install:
            self.install.shut()
        with_ = b.OpenWith(folder=self.folder, interface=INTERFACE_MARK)
        self.install = b.Install.open(with_, self.keys, now)


def word(value):
    return value.name.replace("_", "").lower()


def enum(kind, text):
    return next(v for v in kind if word(v) == text)


def maybe(a, key):
    return a.get(key)


def receipt(r):
    return {"id": r.id, "already": r.already_there}


def numbers(a):
    names = ("load_g", "reps", "contacts", "effort_tenths")
    return b.SetNumbers(**{n: a[n] for n in names if n in a})


def who(w):
    return {"role": w.role, "name": w.name, "enrolled": w.enrolled, "person": w.person}


def states(lines):
    return " ".join(word(line.state) for line in lines)


def enrol(i, a, now, _):
    return who(i.enrol(b.Invitation(server=URL, code=a["code"]), "test phone", b.built_in_courier(), now))


def exchange(i, a, now, _):
    r = i.exchange(b.built_in_courier(), b.ExchangeLimits(), b.StopFlag(), None, now)
    return {"complete": r.complete, "waiting": r.waiting, "got": r.received > 0}


def exchange_cut_off(i, a, now, _):
    i.exchange(Nobody(), b.ExchangeLimits(), b.StopFlag(), None, now)


def exchange_state(i, a, now, _):
    s = i.exchange_state()
    first = {"id0": s.refused[0].id, "code0": s.refused[0].code} if s.refused else {}
    return {"refused": len(s.refused), "waits": s.waiting > 0, **first}


def today(i, a, now, _):
    t = i.today(now)
    first = {"session0": t.sessions[0].session, "state0": word(t.sessions[0].state)} if t.sessions else {}
    return {"day": t.day, "sessions": len(t.sessions), "checked_in": t.checked_in, "waiting": t.waiting, **first}


def sessions(i, a, now, _):
    all_ = i.sessions(a["first"], a["last"], None, now)
    return {"count": len(all_), "states": states(all_)}


def session(i, a, now, _):
    s = i.session(a["session"], None, now)
    items = [item for g in s.groups for item in g.items]
    sets = [line for item in items for line in item.sets]
    out = {
        "title": s.title, "groups": len(s.groups), "begun": s.begun, "closed": s.closed,
        "corrected": sum(line.corrected for line in sets),
        "with_server": sum(1 for line in sets if line.with_server),
        "item0": items[0].item, "sets0": len(items[0].sets), "doing0": items[0].doing.name,
        "asked0": items[0].asked.name, "next_load_g": items[0].next.load_g, "next_reps": items[0].next.reps,
        "left_out": next((word(x.left_out) for x in items if x.left_out is not None), ""),
    }
    if len(items) > 1:
        out["item1"] = items[1].item
    if items[0].swaps:
        out["swap0"] = items[0].swaps[0].exercise
    if items[0].sets:
        out["first_load_g"] = items[0].sets[0].numbers.load_g
    return out


def log_set(i, a, now, _):
    ask = b.LogSet(session=maybe(a, "session"), item=maybe(a, "item"), exercise=maybe(a, "exercise"),
                   numbers=numbers(a), once=a["once"])
    return receipt(i.log_set(ask, now))


def correct_set(i, a, now, _):
    ask = b.CorrectSet(session=a["session"], set=a["set"], numbers=numbers(a), once=a["once"])
    return receipt(i.correct_set(ask, now))


def check_in(i, a, now, _):
    names = ("sleep", "mood", "mass_g")
    answers = b.CheckInAnswers(**{n: a[n] for n in names if n in a})
    return receipt(i.check_in(answers, a["once"], now))


def check_in_of(i, a, now, _):
    c = i.check_in_of(a["day"])
    return {"there": c is not None, **({"sleep": c.sleep, "mood": c.mood, "mass_g": c.mass_g} if c else {})}


def add_session(i, a, now, _):
    items = [b.NewItem(exercise=n["exercise"], sets=n["sets"], reps=n.get("reps"), contacts=n.get("contacts"),
                       load_g=n.get("load_g"), rest_s=n.get("rest_s"), swaps=n.get("swaps", []))
             for n in a["items"]]
    new = b.NewSession(athlete=a["athlete"], day=a["day"], title=a["title"], items=items, once=a["once"])
    return receipt(i.add_session(new, now))


def planned(i, a, now, _):
    all_ = i.planned(a["first"], a["last"], a["athlete"])
    if not all_:
        return {"count": 0}
    item = all_[0].items[0]
    return {"count": len(all_), "item0": item.item, "reps0": item.reps, "load0": item.load_g}


def change_item(i, a, now, _):
    change = b.ItemChange(athlete=a["athlete"], item=a["item"], reps=a.get("reps"), rest_s=a.get("rest_s"),
                          once=a["once"])
    return receipt(i.change_item(change, now))


def met(i, a, now, _):
    all_ = i.met(a["athlete"])
    if not all_:
        return {"count": 0}
    first = all_[0]
    return {"count": len(all_), "id0": first.id, "field0": first.field, "values0": len(first.values),
            "who0": first.values[0].who}


def board(i, a, now, _):
    rows = i.board(a["first"], a["last"], now)
    return {"rows": len(rows), "states": states(rows[0].sessions), "unheard": rows[0].unheard, "met": rows[0].met}


def attention(i, a, now, _):
    list_ = i.attention(now)
    topics = dict.fromkeys(r.topic for line in list_.athletes for r in line.reasons)
    return {"athletes": len(list_.athletes), "topics": ", ".join(topics)}


def set_rows(i, a, now, _):
    page = i.set_rows(b.SetAsk(first_day=a["first"], last_day=a["last"], athlete=a["athlete"], most=a["most"]))
    return {"rows": len(page.rows), "more": page.next is not None}


def bests(i, a, now, _):
    all_ = i.bests(None, now)
    return {"count": len(all_), "name0": all_[0].name, "thousandths0": all_[0].thousandths, "day0": all_[0].day}


def reports(i, a, now, _):
    all_ = i.reports(None)
    return {"count": len(all_), "area0": all_[0].area, "over0": all_[0].over is not None}


def test_kinds(i, a, now, _):
    all_ = i.test_kinds()
    return {"count": len(all_), "name0": all_[0].name, "unit0": all_[0].unit, "higher0": all_[0].higher_is_better}


def trials(i, a, now, _):
    all_ = i.trials(a["test"], None)
    return {"count": len(all_), "thousandths0": all_[0].thousandths, "thousandths1": all_[1].thousandths}


def people(i, a, now, _):
    all_ = i.people()
    return {"count": len(all_), "name0": all_[0].name, "role0": all_[0].role}


def take_carry_file(i, a, now, _):
    t = i.take_carry_file(file("carry"))
    return {"taken": t.taken, "known": t.known, "refused": len(t.refused)}


def words(i, a, now, _):
    all_ = i.words(maybe(a, "athlete"), now)
    return {"count": len(all_), "words0": all_[0].words, "by0": all_[0].by}


def diagnostics(i, a, now, _):
    d = i.diagnostics(True)
    return {"waits": d.waiting > 0, "sound": d.unsound is None}


def copy_folder(i, a, now, phone):
    i.shut()
    shutil.copytree(phone.folder, pathlib.Path(WORK) / a["to"])


def pause_and_resume(i, a, now, _):
    i.pause()
    try:
        i.today(now)
        said = ""
    except b.DoorError as e:
        said = type(e).__name__
    return {"paused": said, "found": word(i.resume(now).found)}


def file(name):
    return str(pathlib.Path(WORK) / name)


TABLE = {
    "open": lambda i, a, now, _: {"found": word(i.opening().found)},
    "who": lambda i, a, now, _: who(i.who()),
    "enrol": enrol, "exchange": exchange, "exchange_cut_off": exchange_cut_off, "exchange_state": exchange_state,
    "today": today, "sessions": sessions, "session": session, "log_set": log_set, "correct_set": correct_set,
    "strike_set": lambda i, a, now, _: receipt(i.strike_set(a["session"], a["set"], a["once"], now)),
    "skip_item": lambda i, a, now, _: receipt(i.skip_item(b.SkipItem(
        session=a["session"], item=a["item"], why=enum(b.LeftOut, a["why"]), once=a["once"]), now)),
    "close_session": lambda i, a, now, _: receipt(i.close_session(b.CloseSession(
        session=a["session"], minutes=a["minutes"], effort_tenths=a["effort_tenths"],
        comment=maybe(a, "comment"), once=a["once"]), now)),
    "leave_session_out": lambda i, a, now, _: receipt(
        i.leave_session_out(a["session"], enum(b.LeftOut, a["why"]), None, a["once"], now)),
    "say": lambda i, a, now, _: receipt(i.say(a["words"], None, None, a["once"], now)),
    "words": words, "check_in": check_in, "check_in_of": check_in_of,
    "report": lambda i, a, now, _: receipt(i.report(b.ReportEntry(
        kind=enum(b.ReportKind, a["kind"]), area=a["area"], level_tenths=a["level_tenths"], once=a["once"]), now)),
    "report_over": lambda i, a, now, _: receipt(i.report_over(a["report"], a["once"], now)),
    "reports": reports,
    "record_trial": lambda i, a, now, _: receipt(i.record_trial(b.TrialEntry(
        test=a["test"], thousandths=maybe(a, "thousandths"), once=a["once"]), now)),
    "bests": bests, "test_kinds": test_kinds, "trials": trials, "people": people, "take_carry_file": take_carry_file,
    "set_refused_aside": lambda i, a, now, _: {"changes": i.set_refused_aside(a["id"], file("refused")).changes},
    "move_session": lambda i, a, now, _: receipt(
        i.move_session(a["athlete"], a["session"], a["day"], a["once"], now)),
    "withdraw_session": lambda i, a, now, _: receipt(i.withdraw_session(a["athlete"], a["session"], a["once"], now)),
    "exercises": lambda i, a, now, _: {"count": len(i.exercises()), "name0": i.exercises()[0].name},
    "add_exercise": lambda i, a, now, _: receipt(i.add_exercise(b.NewExercise(
        name=a["name"], pattern=a["pattern"], intent=a["intent"], once=a["once"]), now)),
    "add_test": lambda i, a, now, _: receipt(i.add_test(b.NewTest(
        name=a["name"], measure=a["measure"], unit=a["unit"], higher_is_better=a["higher"], once=a["once"]), now)),
    "add_session": add_session, "planned": planned, "change_item": change_item, "met": met,
    "pick": lambda i, a, now, _: receipt(i.pick(a["athlete"], a["id"], a["value"], a["once"], now)),
    "board": board, "attention": attention, "set_rows": set_rows, "diagnostics": diagnostics, "copy_folder": copy_folder,
    "write_copy": lambda i, a, now, _: {
        "written": i.write_copy(file("copy.json"), b.StopFlag(), now).documents > 0},
    "write_carry_file": lambda i, a, now, _: {"changes": i.write_carry_file(file("carry")).changes},
    "erase": lambda i, a, now, _: i.erase(a["unsent_too"]),
    "pause_and_resume": pause_and_resume,
}


def filled(value, kept):
    """A value with what was kept and days put in."""
    if isinstance(value, str) and value.startswith("$"):
        return kept[value[1:]]
    if isinstance(value, str) and value.startswith("@"):
        moment = datetime.datetime.fromtimestamp(BASE_MS / 1000, datetime.timezone.utc)
        return (moment + datetime.timedelta(days=int(value[1:]))).date().isoformat()
    if isinstance(value, list):
        return [filled(one, kept) for one in value]
    if isinstance(value, dict):
        return {name: filled(one, kept) for name, one in value.items()}
    return value


def step(s, phones, kept):
    """What a step answers, and the error that it ended with."""
    if "machine" in s:
        args = filled(s["machine"], kept)
        out = subprocess.run([PROGRAM, *args, "--data", DATA], check=True, capture_output=True, text=True).stdout
        return (json.loads(out) if "keep" in s else {}), ""
    phone = phones.setdefault(s["on"], Phone(s["on"]))
    at = BASE_MS + s["day"] * 86_400_000 + s.get("minute", 0) * 60_000
    now = b.Now(utc_ms=at, ahead_min=0)
    try:
        phone.restart(now)
        return TABLE[s["do"]](phone.install, filled(s.get("with", {}), kept), now, phone) or {}, ""
    except b.DoorError as e:
        return {}, type(e).__name__


def main():
    phones, kept = {}, {}
    story = json.loads(pathlib.Path(SCENARIO).read_text())["steps"]
    for n, s in enumerate(story):
        answer, error = step(s, phones, kept)
        wanted = filled(s.get("expect", {}), kept)
        seen = {name: answer.get(name) for name in wanted}
        if error != s.get("error", "") or seen != wanted:
            print(f"step {n}: {json.dumps(s)}\n  wanted {wanted} {s.get('error', '')}\n  got {answer} {error}")
            sys.exit(1)
        kept.update({name: answer[of] for name, of in s.get("keep", {}).items()})
    print(f"Python: {len(story)} steps as expected")


main()
