// Every kind of error on purpose, eight threads at once, a listener that calls back, and a folder opened and
// shut many times. Needs no server: a courier gives the answers.

import Backstraight
import Foundation

let kinds = [
    "NotEnrolled", "EnrolAgain", "SignedOut", "NotAllowed", "NotThere", "BadValue", "WrongState", "Offline",
    "ServerSaid", "WrongClock", "TooOld", "Stopped", "PhoneLocked", "Busy", "StoreFull", "StoreDamaged",
    "AlreadyOpen", "KeysFailed", "Paused", "Inner",
]

/// Enrols as the server does; says to everything else what it was told to say.
final class Canned: Courier, @unchecked Sendable {
    let status: UInt16, body: String, error: Error?
    init(status: UInt16 = 503, body: String = "", error: Error? = nil) {
        self.status = status; self.body = body; self.error = error
    }
    func carry(parcel: Parcel) throws -> Reply {
        if let error { throw error }
        if parcel.url.hasSuffix("/v1/enrol") {
            let answer = """
                {"install": "0404040404040404", "person": "01a21d1b-6510-7a9b-bbc6-bdc0ef526187",
                "club": "01a21d1b-6409-7560-b73b-11275841bcd9", "role": "athlete", "name": "Tilde Ravnsborg",
                "access_token": "a", "refresh_token": "r"}
                """
            return Reply(status: 201, headers: [], body: Data(answer.utf8))
        }
        return Reply(status: status, headers: [Header(name: "Retry-After", value: "7")], body: Data(body.utf8))
    }
}

final class Echo: Watcher, @unchecked Sendable {
    let install: Install
    var heard: [UInt64] = []
    init(_ install: Install) { self.install = install }
    /// Calls back into the object that calls it.
    func changed(news: News) throws {
        _ = try install.exchangeState()
        heard.append(news.revision)
    }
}

struct Odd: Error {}

final class Thrower: Watcher, @unchecked Sendable {
    func changed(news: News) throws { throw Odd() }
}

final class Strain {
    let work: URL
    var seen: Set<String> = []
    init(_ work: String) { self.work = URL(fileURLWithPath: work) }

    func now() -> Now { Now(utcMs: Int64(Date().timeIntervalSince1970 * 1000), aheadMin: 60) }

    func must(_ holds: Bool, _ what: String) throws { if !holds { throw Failed(why: what) } }

    func throwing(_ kind: String, _ call: () throws -> Void) throws {
        do { try call() } catch let error as DoorError {
            try must(word(error) == kind, "\(error) instead of \(kind)")
            seen.insert(kind)
            return
        }
        throw Failed(why: "\(kind) was not thrown")
    }

    func open(_ name: String, _ keys: Keys, mark: String = interfaceMarkOfBindings, most: UInt64? = nil) throws -> Install {
        let folder = work.appendingPathComponent(name).path
        return try Install.open(with: OpenWith(folder: folder, interface: mark, mostBytes: most), keys: keys, now: now())
    }

    func enrolled(_ name: String, _ keys: Keys, most: UInt64? = nil) throws -> Install {
        let install = try open(name, keys, most: most)
        let invitation = Invitation(server: "http://nowhere.example", code: "AAAAAAAA")
        _ = try install.enrol(invitation: invitation, deviceName: "test", courier: Canned(), now: now())
        return install
    }

    func exchange(_ install: Install, _ courier: Courier, _ stop: StopFlag = StopFlag()) throws {
        _ = try install.exchange(courier: courier, limits: ExchangeLimits(), stop: stop, progress: nil, now: now())
    }

    @discardableResult
    func say(_ install: Install, _ once: String) throws -> Receipt {
        let words = String(repeating: "Words to fill the store, and more of them. ", count: 20)
        return try install.say(words: words, session: nil, athlete: nil, once: once, now: now())
    }

    func run(_ cycles: Int) throws {
        try errors()
        try listeners()
        try threads()
        try openings(cycles)
        print("Swift: \(seen.count) kinds of errors brought about, \(kinds.count) rehearsed; eight threads; listeners")
    }

    func errors() throws {
        for kind in kinds {
            do {
                try rehearse(error: kind)
                throw Failed(why: kind)
            } catch let error as DoorError { try must(word(error) == kind, kind) }
        }
        let keys = Keys(), invitation = Invitation(server: "x", code: "y")
        try throwing("TooOld") { _ = try open("a", keys, mark: "0000000000000000") }
        let blank = try open("a", keys)
        let enrol = { _ = try blank.enrol(invitation: invitation, deviceName: "d", courier: Canned(), now: self.now()) }
        try throwing("NotEnrolled") { _ = try blank.today(now: now()) }
        try throwing("AlreadyOpen") { _ = try open("a", keys) }
        keys.fail = KeyStoreError.Locked
        try throwing("PhoneLocked", enrol)
        keys.fail = Odd()
        try throwing("KeysFailed", enrol)
        keys.fail = nil
        blank.shut()
        try throwing("Paused") { _ = try blank.today(now: now()) }
        try throwing("BadValue") { _ = try readInvitation(text: "https://elsewhere.example") }

        let held = work.appendingPathComponent("b")
        try FileManager.default.createDirectory(at: held, withIntermediateDirectories: true)
        let other = Process(), pipe = Pipe()
        other.executableURL = URL(fileURLWithPath: "/usr/bin/flock")
        other.arguments = [held.appendingPathComponent("in-use").path, "cat"]
        other.standardInput = pipe
        try other.run()
        for _ in 0..<100 where !seen.contains("Busy") {
            do { try open("b", Keys()).shut() } catch DoorError.Busy { seen.insert("Busy") }
            usleep(50_000)
        }
        try pipe.fileHandleForWriting.close()
        other.waitUntilExit()

        let phone = try enrolled("c", Keys())
        try throwing("WrongState") { _ = try phone.writeCarryFile(file: work.appendingPathComponent("f").path) }
        try throwing("NotThere") { _ = try phone.session(session: "zzzzzz-1", athlete: nil, now: now()) }
        try throwing("NotAllowed") { _ = try phone.board(firstDay: "2026-01-01", lastDay: "2026-01-02", now: now()) }
        try throwing("Offline") { try exchange(phone, Canned(error: CourierError.TimedOut)) }
        try throwing("Offline") { try exchange(phone, Canned(error: Odd())) }
        try throwing("ServerSaid") { try exchange(phone, Canned(body: #"{"code": "busy"}"#)) }
        try throwing("WrongClock") { try exchange(phone, Canned(status: 401, body: #"{"code": "clock", "now": 5}"#)) }
        try throwing("SignedOut") { try exchange(phone, Canned(status: 401, body: #"{"code": "session-expired"}"#)) }
        let stop = StopFlag()
        stop.stop()
        try throwing("Stopped") { try exchange(phone, Canned(), stop) }
        phone.shut()
        let copied = try open("c", Keys())
        try must(copied.opening().found == .fromElsewhere, "a copied folder is known as one")
        try throwing("EnrolAgain") { try say(copied, "o") }
        copied.shut()

        let full = try enrolled("d", Keys(), most: 40 * 4096)
        var saved = 0
        try throwing("StoreFull") { while true { try say(full, "f\(saved)"); saved += 1 } }
        try must(saved > 0 && (try full.words(athlete: nil, now: now())).count == saved, "what was saved is there")
        full.shut()

        let damaged = try enrolled("e", Keys())
        try say(damaged, "o")
        for part in ["training.sqlite", "training.sqlite-wal"] {
            let file = try FileHandle(forUpdating: work.appendingPathComponent("e/\(part)"))
            let size = try file.seekToEnd()
            try file.seek(toOffset: 0)
            try file.write(contentsOf: Data(repeating: 255, count: Int(size)))
            try file.close()
        }
        try throwing("StoreDamaged") { _ = try damaged.diagnostics(deep: true) }
        damaged.shut()
        // Nobody can bring about a mistake in the library itself.
        try must(Set(kinds).subtracting(seen) == ["Inner"], "\(Set(kinds).subtracting(seen))")
    }

    func listeners() throws {
        let phone = try enrolled("w", Keys())
        let echo = Echo(phone)
        let watch = phone.watch(watcher: echo), other = phone.watch(watcher: Thrower())
        let first = try say(phone, "a")
        try must(!first.alreadyThere && echo.heard == [first.revision], "the first is heard")
        let again = try say(phone, "a")
        try must(again.alreadyThere && again.id == first.id && echo.heard.count == 1, "the second is not new")
        watch.end()
        other.end()
        try say(phone, "b")
        try must(echo.heard.count == 1, "an ended listener hears nothing")
        phone.shut()
    }

    func threads() throws {
        let phone = try enrolled("t", Keys())
        let lock = NSLock()
        nonisolated(unsafe) var ids: Set<String> = []
        nonisolated(unsafe) var failed: [Error] = []
        DispatchQueue.concurrentPerform(iterations: 8) { n in
            do {
                for k in 0..<25 {
                    let id = try self.say(phone, "\(n)-\(k)").id
                    _ = try phone.today(now: self.now())
                    lock.lock(); ids.insert(id); lock.unlock()
                }
            } catch { lock.lock(); failed.append(error); lock.unlock() }
        }
        try must(failed.isEmpty, "\(failed)")
        let words = try phone.words(athlete: nil, now: now()).count
        try must(ids.count == 200 && words == 200, "\(ids.count) \(words)")
        phone.shut()
    }

    func residentKb() throws -> Int {
        let status = try String(contentsOfFile: "/proc/self/status", encoding: .utf8)
        let line = status.split(separator: "\n").first { $0.hasPrefix("VmRSS:") } ?? ""
        return Int(line.filter(\.isNumber)) ?? 0
    }

    func openings(_ cycles: Int) throws {
        let keys = Keys()
        try enrolled("o", keys).shut()
        let began = Date()
        var before = 0
        for n in 0..<cycles {
            let install = try open("o", keys)
            _ = try install.today(now: now())
            install.shut()
            if n == cycles / 5 { before = try residentKb() }
        }
        let grown = try residentKb() - before
        print("Swift: \(cycles) times opened and shut in \(Date().timeIntervalSince(began)) s, \(grown) kB more")
        try must(grown < 4_096, "memory grew by \(grown) kB")
    }
}
