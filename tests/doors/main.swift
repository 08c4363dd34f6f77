// Tells the story of scenario.json by the Swift doors: story SCENARIO PROGRAM DATA URL WORK
// The table in `call` is all that is special here. With `--strain WORK CYCLES` it tries errors, threads and
// many openings instead.

import Backstraight
import Foundation

/// A key store as a phone has one: apart from the folder, never in a backup.
final class Keys: KeyStore, @unchecked Sendable {
    private var secrets: [String: Data] = [:]
    private let lock = NSLock()
    var fail: Error?
    func keep(name: String, secret: Data) throws {
        if let fail { throw fail }
        lock.lock(); defer { lock.unlock() }
        secrets[name] = secret
    }
    func lookUp(name: String) throws -> Data? {
        if let fail { throw fail }
        lock.lock(); defer { lock.unlock() }
        return secrets[name]
    }
    func forget(name: String) throws {
        lock.lock(); defer { lock.unlock() }
        secrets[name] = nil
    }
}

final class Nobody: Courier, @unchecked Sendable {
    func carry(parcel: Parcel) throws -> Reply { throw CourierError.Offline }
}

final class Phone {
    let folder: URL
    let keys = Keys()
    var install: Install?
    init(_ folder: URL) { self.folder = folder }
    func restart(_ now: Now) throws -> Install {
        install?.shut()
        let with = OpenWith(folder: folder.path, interface: interfaceMarkOfBindings)
        let opened = try Install.open(with: with, keys: keys, now: now)
        install = opened
        return opened
    }
}

typealias Answer = [String: Any]
struct Failed: Error { let why: String }

/// The kind of an error or a value, by its name.
func word(_ value: Any) -> String {
    let all = String(describing: value)
    let last = all.prefix { $0 != "(" }.split(separator: ".").last.map(String.init) ?? all
    return last
}
func low(_ value: Any) -> String { word(value).lowercased() }

struct Args {
    let of: Answer
    func text(_ name: String) -> String { of[name] as? String ?? "" }
    func maybe(_ name: String) -> String? { of[name] as? String }
    func whole(_ name: String) -> UInt32? { (of[name] as? NSNumber)?.uint32Value }
    func long(_ name: String) -> Int64? { (of[name] as? NSNumber)?.int64Value }
    func yes(_ name: String) -> Bool { (of[name] as? NSNumber)?.boolValue ?? false }
}

func receipt(_ r: Receipt) -> Answer { ["id": r.id, "already": r.alreadyThere] }
func who(_ w: Who) -> Answer { ["role": w.role, "name": w.name, "enrolled": w.enrolled, "person": w.person] }
func states(_ all: [SessionLine]) -> String { all.map { low($0.state) }.joined(separator: " ") }
func leftOut(_ name: String) -> LeftOut { name == "kit" ? .kit : name == "life" ? .life : .other }
func numbers(_ a: Args) -> SetNumbers {
    SetNumbers(loadG: a.whole("load_g"), reps: a.whole("reps"), contacts: a.whole("contacts"),
               effortTenths: a.whole("effort_tenths"))
}

final class Story {
    let program: String, data: String, url: String, work: URL
    /// Noon, or half an hour ago before that: its minutes stay within the day and are over, whenever it is told.
    let base: Int64 = {
        let now = Int64(Date().timeIntervalSince1970)
        return now / 86_400 * 86_400_000 + min(max(now % 86_400 - 1_800, 0), 43_200) * 1_000
    }()
    var phones: [String: Phone] = [:]
    var kept: Answer = [:]

    init(_ args: [String]) {
        program = args[1]; data = args[2]; url = args[3]; work = URL(fileURLWithPath: args[4])
    }

    func tell(_ file: String) throws {
        let read = try JSONSerialization.jsonObject(with: Data(contentsOf: URL(fileURLWithPath: file)))
        guard let all = read as? Answer, let steps = all["steps"] as? [Answer] else { throw Failed(why: file) }
        for (n, s) in steps.enumerated() {
            let (answer, error) = try step(s)
            let wanted = filled(s["expect"] ?? Answer()) as? Answer ?? [:]
            let met = wanted.allSatisfy { name, value in same(answer[name], value) }
            if !met || error != (s["error"] as? String ?? "") {
                print("step \(n): \(s)\n  wanted \(wanted) \(s["error"] ?? "")\n  got \(answer) \(error)")
                exit(1)
            }
            for (name, of) in s["keep"] as? [String: String] ?? [:] { kept[name] = answer[of] }
        }
        print("Swift: \(steps.count) steps as expected")
    }

    private func same(_ a: Any?, _ b: Any) -> Bool {
        if let a = a as? String, let b = b as? String { return a == b }
        if let a = a as? Bool, let b = b as? Bool { return a == b }
        guard let a, let b = b as? NSNumber else { return false }
        return "\(a)" == "\(b)"
    }

    /// A value with what was kept and days put in.
    private func filled(_ value: Any) -> Any {
        if let text = value as? String, text.hasPrefix("$") { return kept[String(text.dropFirst())] ?? "" }
        if let text = value as? String, text.hasPrefix("@") {
            let days = Int64(text.dropFirst()) ?? 0
            let form = DateFormatter()
            form.timeZone = TimeZone(identifier: "UTC")
            form.locale = Locale(identifier: "en_US_POSIX")
            form.dateFormat = "yyyy-MM-dd"
            return form.string(from: Date(timeIntervalSince1970: Double(base + days * 86_400_000) / 1000))
        }
        if let all = value as? [Any] { return all.map(filled) }
        if let all = value as? Answer { return all.mapValues(filled) }
        return value
    }

    /// What a step answers, and the error that it ended with.
    private func step(_ s: Answer) throws -> (Answer, String) {
        if let machine = s["machine"], let args = filled(machine) as? [String] {
            let process = Process(), pipe = Pipe()
            process.executableURL = URL(fileURLWithPath: program)
            process.arguments = args + ["--data", data]
            process.standardOutput = pipe
            try process.run()
            let out = pipe.fileHandleForReading.readDataToEndOfFile()
            process.waitUntilExit()
            guard process.terminationStatus == 0 else { throw Failed(why: "\(args)") }
            return (s["keep"] == nil ? [:] : try JSONSerialization.jsonObject(with: out) as? Answer ?? [:], "")
        }
        let on = s["on"] as? String ?? ""
        let phone = phones[on] ?? Phone(work.appendingPathComponent(on))
        phones[on] = phone
        let day = (s["day"] as? NSNumber)?.int64Value ?? 0, minute = (s["minute"] as? NSNumber)?.int64Value ?? 0
        let now = Now(utcMs: base + day * 86_400_000 + minute * 60_000, aheadMin: 0)
        let args = Args(of: filled(s["with"] ?? Answer()) as? Answer ?? [:])
        do {
            return (try call(phone.restart(now), s["do"] as? String ?? "", args, now, phone), "")
        } catch let error as DoorError {
            return ([:], word(error))
        }
    }

    private func call(_ i: Install, _ what: String, _ a: Args, _ now: Now, _ phone: Phone) throws -> Answer {
        let once = a.text("once")
        switch what {
        case "open": return ["found": low(i.opening().found)]
        case "who": return try i.who().map(who) ?? [:]
        case "enrol":
            let invitation = Invitation(server: url, code: a.text("code"))
            return who(try i.enrol(invitation: invitation, deviceName: "test phone", courier: builtInCourier(), now: now))
        case "exchange", "exchange_cut_off":
            let courier: Courier = what == "exchange" ? try builtInCourier() : Nobody()
            let r = try i.exchange(courier: courier, limits: ExchangeLimits(), stop: StopFlag(), progress: nil, now: now)
            return ["complete": r.complete, "waiting": r.waiting, "got": r.received > 0]
        case "exchange_state":
            let s = try i.exchangeState()
            let first = s.refused.first
            return ["refused": s.refused.count, "waits": s.waiting > 0, "id0": first?.id ?? "", "code0": first?.code ?? ""]
        case "today":
            let t = try i.today(now: now)
            var out: Answer = ["day": t.day, "sessions": t.sessions.count, "checked_in": t.checkedIn, "waiting": t.waiting]
            if let first = t.sessions.first { out["session0"] = first.session; out["state0"] = low(first.state) }
            return out
        case "sessions":
            let all = try i.sessions(firstDay: a.text("first"), lastDay: a.text("last"), athlete: nil, now: now)
            return ["count": all.count, "states": states(all)]
        case "session": return try session(i, a, now)
        case "log_set":
            return receipt(try i.logSet(set: LogSet(session: a.maybe("session"), item: a.maybe("item"),
                exercise: a.maybe("exercise"), numbers: numbers(a), once: once), now: now))
        case "correct_set":
            let set = CorrectSet(session: a.text("session"), set: a.text("set"), numbers: numbers(a), once: once)
            return receipt(try i.correctSet(set: set, now: now))
        case "strike_set":
            return receipt(try i.strikeSet(session: a.text("session"), set: a.text("set"), once: once, now: now))
        case "skip_item":
            let skip = SkipItem(session: a.text("session"), item: a.text("item"), why: leftOut(a.text("why")), once: once)
            return receipt(try i.skipItem(skip: skip, now: now))
        case "close_session":
            return receipt(try i.closeSession(close: CloseSession(session: a.text("session"), minutes: a.whole("minutes"),
                effortTenths: a.whole("effort_tenths"), comment: a.maybe("comment"), once: once), now: now))
        case "leave_session_out":
            return receipt(try i.leaveSessionOut(session: a.text("session"), why: leftOut(a.text("why")), comment: nil,
                once: once, now: now))
        case "say":
            return receipt(try i.say(words: a.text("words"), session: nil, athlete: nil, once: once, now: now))
        case "words":
            let all = try i.words(athlete: a.maybe("athlete"), now: now)
            return ["count": all.count, "words0": all.first?.words ?? "", "by0": all.first?.by ?? ""]
        case "check_in":
            let answers = CheckInAnswers(sleep: a.whole("sleep"), mood: a.whole("mood"), massG: a.whole("mass_g"))
            return receipt(try i.checkIn(answers: answers, once: once, now: now))
        case "check_in_of":
            guard let c = try i.checkInOf(day: a.text("day")) else { return ["there": false] }
            return ["there": true, "sleep": c.sleep ?? 0, "mood": c.mood ?? 0, "mass_g": c.massG ?? 0]
        case "report":
            let report = ReportEntry(kind: .pain, area: a.maybe("area"), levelTenths: a.whole("level_tenths"), once: once)
            return receipt(try i.report(report: report, now: now))
        case "report_over": return receipt(try i.reportOver(report: a.text("report"), once: once, now: now))
        case "reports":
            let all = try i.reports(athlete: nil)
            return ["count": all.count, "area0": all.first?.area ?? "", "over0": all.first?.over != nil]
        case "record_trial":
            let trial = TrialEntry(test: a.text("test"), thousandths: a.long("thousandths"), once: once)
            return receipt(try i.recordTrial(trial: trial, now: now))
        case "bests":
            let all = try i.bests(athlete: nil, now: now)
            return ["count": all.count, "name0": all.first?.name ?? "", "thousandths0": all.first?.thousandths ?? 0,
                    "day0": all.first?.day ?? ""]
        case "diagnostics":
            let d = try i.diagnostics(deep: true)
            return ["waits": d.waiting > 0, "sound": d.unsound == nil]
        case "copy_folder":
            i.shut()
            try FileManager.default.copyItem(at: phone.folder, to: work.appendingPathComponent(a.text("to")))
            return [:]
        case "write_copy":
            let file = work.appendingPathComponent("copy.json").path
            return ["written": try i.writeCopy(file: file, stop: StopFlag(), now: now).documents > 0]
        case "test_kinds":
            let all = try i.testKinds()
            guard let one = all.first else { return ["count": 0] }
            return ["count": all.count, "name0": one.name, "unit0": one.unit, "higher0": one.higherIsBetter]
        case "trials":
            let all = try i.trials(test: a.maybe("test"), athlete: nil)
            guard all.count > 1 else { return ["count": all.count] }
            return ["count": all.count, "thousandths0": all[0].thousandths ?? 0, "thousandths1": all[1].thousandths ?? 0]
        case "take_carry_file":
            let t = try i.takeCarryFile(file: work.appendingPathComponent("carry").path)
            return ["taken": t.taken, "known": t.known, "refused": t.refused.count]
        case "set_refused_aside":
            let file = work.appendingPathComponent("refused").path
            return ["changes": try i.setRefusedAside(id: a.text("id"), file: file).changes]
        case "write_carry_file":
            return ["changes": try i.writeCarryFile(file: work.appendingPathComponent("carry").path).changes]
        case "erase":
            try i.erase(unsentToo: a.yes("unsent_too"))
            return [:]
        case "pause_and_resume":
            i.pause()
            var said = ""
            do { _ = try i.today(now: now) } catch { said = word(error) }
            return ["paused": said, "found": low(try i.resume(now: now).found)]
        default: return try ofACoach(i, what, a, now)
        }
    }

    private func ofACoach(_ i: Install, _ what: String, _ a: Args, _ now: Now) throws -> Answer {
        let once = a.text("once"), first = a.text("first"), last = a.text("last")
        switch what {
        case "exercises":
            let all = try i.exercises()
            return ["count": all.count, "name0": all.first?.name ?? ""]
        case "add_exercise":
            let new = NewExercise(name: a.text("name"), pattern: a.text("pattern"), intent: a.text("intent"), once: once)
            return receipt(try i.addExercise(exercise: new, now: now))
        case "add_test":
            return receipt(try i.addTest(test: NewTest(name: a.text("name"), measure: a.text("measure"),
                unit: a.text("unit"), higherIsBetter: a.yes("higher"), once: once), now: now))
        case "add_session":
            let items = (a.of["items"] as? [Answer] ?? []).map(Args.init).map { n in
                NewItem(exercise: n.text("exercise"), sets: n.whole("sets") ?? 0, reps: n.whole("reps"),
                        contacts: n.whole("contacts"), loadG: n.whole("load_g"), restS: n.whole("rest_s"),
                        swaps: n.of["swaps"] as? [String] ?? [])
            }
            let new = NewSession(athlete: a.text("athlete"), day: a.text("day"), title: a.text("title"), items: items, once: once)
            return receipt(try i.addSession(session: new, now: now))
        case "planned":
            let all = try i.planned(firstDay: first, lastDay: last, athlete: a.maybe("athlete"))
            guard let item = all.first?.items.first else { return ["count": all.count] }
            return ["count": all.count, "item0": item.item, "reps0": item.reps ?? 0, "load0": item.loadG ?? 0]
        case "people":
            let all = try i.people()
            return ["count": all.count, "name0": all.first?.name ?? "", "role0": all.first?.role ?? ""]
        case "move_session":
            return receipt(try i.moveSession(athlete: a.text("athlete"), session: a.text("session"), day: a.text("day"),
                once: once, now: now))
        case "withdraw_session":
            return receipt(try i.withdrawSession(athlete: a.text("athlete"), session: a.text("session"), once: once, now: now))
        case "change_item":
            let change = ItemChange(athlete: a.text("athlete"), item: a.text("item"), reps: a.whole("reps"),
                                    restS: a.whole("rest_s"), once: once)
            return receipt(try i.changeItem(change: change, now: now))
        case "met":
            let all = try i.met(athlete: a.maybe("athlete"))
            guard let one = all.first else { return ["count": 0] }
            return ["count": all.count, "id0": one.id, "field0": one.field, "values0": one.values.count,
                    "who0": one.values.first?.who ?? ""]
        case "pick":
            return receipt(try i.pick(athlete: a.text("athlete"), id: a.text("id"), value: a.whole("value") ?? 9,
                once: once, now: now))
        case "board":
            let rows = try i.board(firstDay: first, lastDay: last, now: now)
            guard let row = rows.first else { return ["rows": 0] }
            return ["rows": rows.count, "states": states(row.sessions), "unheard": row.unheard, "met": row.met]
        case "attention":
            let list = try i.attention(now: now)
            var topics: [String] = []
            for reason in list.athletes.flatMap(\.reasons) where !topics.contains(reason.topic) { topics.append(reason.topic) }
            return ["athletes": list.athletes.count, "topics": topics.joined(separator: ", ")]
        case "set_rows":
            let ask = SetAsk(firstDay: first, lastDay: last, athlete: a.maybe("athlete"), most: a.whole("most") ?? 0)
            let page = try i.setRows(ask: ask)
            return ["rows": page.rows.count, "more": page.next != nil]
        default: throw Failed(why: "no such step: \(what)")
        }
    }

    private func session(_ i: Install, _ a: Args, _ now: Now) throws -> Answer {
        let s = try i.session(session: a.text("session"), athlete: nil, now: now)
        let items = s.groups.flatMap(\.items), sets = items.flatMap(\.sets)
        var out: Answer = [
            "title": s.title, "groups": s.groups.count, "begun": s.begun, "closed": s.closed,
            "corrected": sets.reduce(0) { $0 + $1.corrected }, "with_server": sets.filter(\.withServer).count,
        ]
        if let first = items.first {
            out["item0"] = first.item
            out["sets0"] = first.sets.count
            out["doing0"] = first.doing.name
            out["asked0"] = first.asked.name
            out["next_load_g"] = first.next.loadG
            out["next_reps"] = first.next.reps
            out["swap0"] = first.swaps.first?.exercise
            out["first_load_g"] = first.sets.first?.numbers.loadG
        }
        if items.count > 1 { out["item1"] = items[1].item }
        if let left = items.compactMap(\.leftOut).first { out["left_out"] = low(left) }
        return out
    }
}

let args = Array(CommandLine.arguments.dropFirst())
if args.first == "--strain" {
    try Strain(args[1]).run(Int(args[2]) ?? 0)
} else {
    try Story(args).tell(args[0])
}
