"""Every kind of error on purpose, eight threads at once, a process that is killed while it writes, and a folder
opened and shut many times: python strain.py WORK CYCLES. Needs no server: a courier gives the answers."""

import json
import os
import pathlib
import random
import subprocess
import sys
import threading
import time

import backstraight as b
from backstraight_mark import INTERFACE_MARK

WORK, CYCLES = pathlib.Path(sys.argv[1]), int(sys.argv[2])
# What a process that will be killed is told: from which number on it writes.
FROM = int(sys.argv[3]) if len(sys.argv) > 3 else None
KINDS = [name for name in vars(b.DoorError) if name[0].isupper()]
seen = set()


class Keys(b.KeyStore):
    def __init__(self):
        self.secrets, self.fail = {}, None

    def keep(self, name, secret):
        if self.fail:
            raise self.fail
        self.secrets[name] = secret

    def look_up(self, name):
        if self.fail:
            raise self.fail
        return self.secrets.get(name)

    def forget(self, name):
        self.secrets.pop(name, None)


class Canned(b.Courier):
    """Enrols as the server does; says to everything else what it was told to say."""

    def __init__(self, role="athlete", status=503, body=b"", headers=(), error=None):
        self.role, self.status, self.body, self.headers, self.error = role, status, body, headers, error

    def carry(self, parcel):
        if self.error:
            raise self.error
        if parcel.url.endswith("/v1/enrol"):
            answer = {
                "install": "0404040404040404", "person": "01a21d1b-6510-7a9b-bbc6-bdc0ef526187",
                "club": "01a21d1b-6409-7560-b73b-11275841bcd9", "role": self.role, "name": "Tilde Ravnsborg",
                "access_token": "a", "refresh_token": "r",
            }
            return b.Reply(status=201, headers=[], body=json.dumps(answer).encode())
        headers = [b.Header(name=n, value=v) for n, v in self.headers]
        return b.Reply(status=self.status, headers=headers, body=self.body)


def now():
    return b.Now(utc_ms=int(time.time() * 1000), ahead_min=60)


def open_(name, keys, interface=INTERFACE_MARK, most=None):
    with_ = b.OpenWith(folder=str(WORK / name), interface=interface, most_bytes=most)
    return b.Install.open(with_, keys, now())


def enrolled(name, keys, role="athlete", most=None):
    install = open_(name, keys, most=most)
    install.enrol(b.Invitation(server="http://nowhere.example", code="AAAAAAAA"), "test", Canned(role), now())
    return install


def throws(kind, call):
    try:
        call()
    except b.DoorError as e:
        assert type(e).__name__ == kind, f"{type(e).__name__} instead of {kind}: {e}"
        seen.add(kind)
        return e
    raise AssertionError(f"{kind} was not thrown")


def logs(n, once):
    return b.LogSet(exercise=None, numbers=b.SetNumbers(load_g=50_000, reps=5), once=once, session=None)


def exchange(install, courier, stop=None):
    return install.exchange(courier, b.ExchangeLimits(), stop or b.StopFlag(), None, now())


def say(install, once):
    return install.say("Words to fill the store, and more of them. " * 20, None, None, once, now())


def errors():
    for kind in KINDS:
        try:
            b.rehearse(kind)
            raise AssertionError(f"{kind} was not thrown")
        except b.DoorError as e:
            assert type(e).__name__ == kind
    b.rehearse("nothing of the kind")

    keys = Keys()
    throws("TooOld", lambda: open_("a", keys, interface="0000000000000000"))
    blank = open_("a", keys)
    throws("NotEnrolled", lambda: blank.today(now()))
    throws("AlreadyOpen", lambda: open_("a", keys))
    keys.fail = b.KeyStoreError.Locked()
    throws("PhoneLocked", lambda: blank.enrol(b.Invitation(server="x", code="y"), "d", Canned(), now()))
    keys.fail = ValueError("something odd")
    throws("KeysFailed", lambda: blank.enrol(b.Invitation(server="x", code="y"), "d", Canned(), now()))
    keys.fail = None
    blank.shut()
    throws("Paused", lambda: blank.today(now()))
    throws("BadValue", lambda: b.read_invitation("https://elsewhere.example"))

    held = WORK / "b"
    held.mkdir()
    with subprocess.Popen(["flock", str(held / "in-use"), "cat"], stdin=subprocess.PIPE) as other:
        # It says nothing when it has the lock: ask until it has.
        for _ in range(100):
            try:
                open_("b", Keys()).shut()
            except b.DoorError.Busy:
                seen.add("Busy")
                break
            time.sleep(0.05)
        other.stdin.close()
    assert "Busy" in seen, "another process did not keep the folder"

    keys = Keys()
    phone = enrolled("c", keys)
    throws("WrongState", lambda: phone.write_carry_file(str(WORK / "carry")))
    throws("NotThere", lambda: phone.session("zzzzzz-1", None, now()))
    throws("NotAllowed", lambda: phone.board("2026-01-01", "2026-01-02", now()))
    throws("Offline", lambda: exchange(phone, Canned(error=b.CourierError.TimedOut())))
    throws("Offline", lambda: exchange(phone, Canned(error=ValueError("something odd"))))
    busy = json.dumps({"code": "busy", "title": "too much waits"}).encode()
    said = throws("ServerSaid", lambda: exchange(phone, Canned(body=busy, headers=[("Retry-After", "7")])))
    assert (said.status, said.code, said.retry_after_s) == (503, "busy", 7), said
    clock = json.dumps({"code": "clock", "now": 5}).encode()
    assert throws("WrongClock", lambda: exchange(phone, Canned(status=401, body=clock))).server_ms == 5
    no = json.dumps({"code": "session-expired"}).encode()
    assert throws("SignedOut", lambda: exchange(phone, Canned(status=401, body=no))).code == "session-expired"
    stop = b.StopFlag()
    stop.stop()
    throws("Stopped", lambda: exchange(phone, Canned(), stop))
    phone.shut()
    copied = open_("c", Keys())
    assert copied.opening().found == b.Found.FROM_ELSEWHERE
    throws("EnrolAgain", lambda: say(copied, "o"))
    copied.shut()

    full = enrolled("d", Keys(), most=40 * 4096)
    saved = 0
    while True:
        try:
            say(full, f"f{saved}")
            saved += 1
        except b.DoorError.StoreFull:
            seen.add("StoreFull")
            break
    assert saved > 0 and len(full.words(None, now())) == saved, "what was called saved is there"
    full.shut()

    damaged = enrolled("e", Keys())
    say(damaged, "o")
    damaged.pause()
    (WORK / "e" / "training.sqlite").write_bytes(b"nothing of ours" * 1000)
    opening = damaged.resume(now())
    assert len(opening.set_aside) == 1, "a damaged file is set aside"
    for part in ("training.sqlite", "training.sqlite-wal"):
        file = WORK / "e" / part
        with open(file, "r+b") as out:
            out.write(b"\xff" * file.stat().st_size)
    throws("StoreDamaged", lambda: damaged.diagnostics(True))
    damaged.shut()
    # Nobody can bring about a mistake in the library itself.
    assert set(KINDS) - seen == {"Inner"}, set(KINDS) - seen


class Echo(b.Watcher):
    """Calls back into the object that calls it."""

    def __init__(self, install):
        self.install, self.heard = install, []

    def changed(self, news):
        self.heard.append((news.revision, self.install.revision(), len(self.install.words(None, now()))))


class Thrower(b.Watcher):
    def changed(self, news):
        raise ValueError("a listener that throws")


def listeners():
    phone = enrolled("w", Keys())
    echo = Echo(phone)
    watch, other = phone.watch(echo), phone.watch(Thrower())
    first = say(phone, "a")
    assert not first.already_there and echo.heard == [(first.revision, first.revision, 1)], echo.heard
    again = say(phone, "a")
    assert again.already_there and again.id == first.id and len(echo.heard) == 1
    watch.end()
    other.end()
    say(phone, "b")
    assert len(echo.heard) == 1
    phone.shut()


def threads():
    phone = enrolled("t", Keys())
    failed, ids = [], []

    def work(n):
        try:
            for k in range(25):
                ids.append(say(phone, f"{n}-{k}").id)
                phone.today(now())
                phone.exchange_state()
        except Exception as e:  # whatever it is, it is told
            failed.append(e)

    all_ = [threading.Thread(target=work, args=(n,)) for n in range(8)]
    for one in all_:
        one.start()
    for one in all_:
        one.join()
    assert not failed, failed
    assert len(set(ids)) == 200 and len(phone.words(None, now())) == 200
    phone.shut()


class FileKeys(b.KeyStore):
    """Secrets that outlive a process."""

    def keep(self, name, secret):
        draft = WORK / f"secret-{name}.new"
        draft.write_bytes(secret)
        draft.replace(WORK / f"secret-{name}")

    def look_up(self, name):
        file = WORK / f"secret-{name}"
        return file.read_bytes() if file.exists() else None

    def forget(self, name):
        (WORK / f"secret-{name}").unlink(missing_ok=True)


def write_until_killed(first):
    phone = open_("k", FileKeys())
    for n in range(first, first + 100_000):
        say(phone, str(n))
        # Only now it is called saved.
        print(n, flush=True)


def kills():
    enrolled("k", FileKeys()).shut()
    chance, saved = random.Random(4711), 0
    for _ in range(8):
        args = [sys.executable, "-B", __file__, str(WORK), "0", str(saved)]
        with subprocess.Popen(args, stdout=subprocess.PIPE, text=True) as child:
            told = child.stdout.readline()
            time.sleep(chance.random() * 0.2)
            child.kill()
            last = ([told, *child.stdout.readlines()])[-1]
        saved = int(last) + 1
        phone = open_("k", FileKeys())
        assert phone.opening().found == b.Found.AS_LEFT
        there = len(phone.words(None, now()))
        # The one that it was at may be there without having been called saved.
        assert saved <= there <= saved + 1, (saved, there)
        assert all(say(phone, str(n)).already_there for n in range(saved))
        saved = there
        phone.shut()
    print(f"Python: killed 8 times, {saved} writes, none that was called saved is lost or doubled")


def resident_kb():
    for line in pathlib.Path("/proc/self/status").read_text().splitlines():
        if line.startswith("VmRSS:"):
            return int(line.split()[1])
    return 0


def cycles():
    keys = Keys()
    enrolled("o", keys).shut()
    began, before, files = time.time(), 0, 0
    for n in range(CYCLES):
        install = open_("o", keys)
        install.today(now())
        install.shut()
        if n == CYCLES // 5:
            before, files = resident_kb(), len(os.listdir("/proc/self/fd"))
    grown, more = resident_kb() - before, len(os.listdir("/proc/self/fd")) - files
    print(f"Python: {CYCLES} times opened and shut in {time.time() - began:.1f} s, {grown} kB and {more} files more")
    assert grown < 4_096 and more <= 0


if FROM is not None:
    write_until_killed(FROM)
errors()
listeners()
threads()
kills()
cycles()
print(f"Python: {len(seen)} kinds of errors brought about, {len(KINDS)} rehearsed; eight threads; listeners")
