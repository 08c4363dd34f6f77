// Tells the story of scenario.json by the Kotlin doors: java RunKt SCENARIO PROGRAM DATA URL WORK
// The table in `call` is all that is special here.

import backstraight.*
import java.io.File
import java.time.LocalDate
import java.time.Instant
import java.time.ZoneOffset
import kotlin.system.exitProcess

/** A key store as a phone has one: apart from the folder, never in a backup. */
class Keys : KeyStore {
    private val secrets = mutableMapOf<String, ByteArray>()
    override fun keep(name: String, secret: ByteArray) { synchronized(secrets) { secrets[name] = secret } }
    override fun lookUp(name: String): ByteArray? = synchronized(secrets) { secrets[name] }
    override fun forget(name: String) { synchronized(secrets) { secrets.remove(name) } }
}

class Nobody : Courier {
    override fun carry(parcel: Parcel): Reply = throw CourierException.Offline()
}

class Phone(val folder: File) {
    val keys = Keys()
    var install: Install? = null
    fun restart(now: Now): Install {
        install?.let { it.shut(); it.close() }
        return Install.open(OpenWith(folder.path, INTERFACE_MARK), keys, now).also { install = it }
    }
}

typealias Answer = Map<String, Any?>

class Args(private val of: Map<String, Any?>) {
    fun text(name: String) = of[name] as String
    fun maybe(name: String) = of[name] as String?
    fun whole(name: String): UInt? = (of[name] as Long?)?.toUInt()
    fun long(name: String) = of[name] as Long?
    fun yes(name: String) = of[name] == true
    @Suppress("UNCHECKED_CAST")
    fun list(name: String) = (of[name] as List<Any?>? ?: listOf<Any?>())
    @Suppress("UNCHECKED_CAST")
    fun each(name: String) = list(name).map { Args(it as Map<String, Any?>) }
}

fun word(value: Enum<*>) = value.name.replace("_", "").lowercase()
fun leftOut(name: String) = LeftOut.entries.first { word(it) == name }
fun receipt(r: Receipt): Answer = mapOf("id" to r.id, "already" to r.alreadyThere)
fun who(w: Who): Answer = mapOf("role" to w.role, "name" to w.name, "enrolled" to w.enrolled, "person" to w.person)
fun states(all: List<SessionLine>) = all.joinToString(" ") { word(it.state) }
fun numbers(a: Args) = SetNumbers(
    loadG = a.whole("load_g"), reps = a.whole("reps"), contacts = a.whole("contacts"),
    effortTenths = a.whole("effort_tenths"),
)

class Story(args: Array<String>) {
    private val scenario = File(args[0])
    private val program = args[1]
    private val data = args[2]
    private val url = args[3]
    private val work = File(args[4])
    /** Noon, or half an hour ago before that: its minutes stay within the day and are over, whenever it is told. */
    private val base = System.currentTimeMillis().let {
        it / 86_400_000 * 86_400_000 + (it % 86_400_000 - 1_800_000).coerceIn(0, 43_200_000)
    }
    private val phones = mutableMapOf<String, Phone>()
    private val kept = mutableMapOf<String, Any?>()

    @Suppress("UNCHECKED_CAST")
    fun tell() {
        val story = (Json(scenario.readText()).read() as Map<String, Any?>)["steps"] as List<Map<String, Any?>>
        story.forEachIndexed { n, s ->
            val (answer, error) = step(s)
            val wanted = filled(s["expect"] ?: mapOf<String, Any?>()) as Map<String, Any?>
            val met = wanted.all { (name, value) -> same(answer[name], value) }
            if (!met || error != (s["error"] ?: "")) {
                println("step $n: $s\n  wanted $wanted ${s["error"] ?: ""}\n  got $answer $error")
                exitProcess(1)
            }
            (s["keep"] as Map<String, String>?)?.forEach { (name, of) -> kept[name] = answer[of] }
        }
        println("Kotlin: ${story.size} steps as expected")
    }

    private fun same(a: Any?, b: Any?): Boolean {
        fun plain(v: Any?) = if (v is Int || v is UInt || v is Long || v is ULong) v.toString().toLong() else v
        return plain(a) == plain(b)
    }

    /** A value with what was kept and days put in. */
    private fun filled(value: Any?): Any? = when {
        value is String && value.startsWith("$") -> kept.getValue(value.drop(1))
        value is String && value.startsWith("@") ->
            LocalDate.ofInstant(Instant.ofEpochMilli(base), ZoneOffset.UTC).plusDays(value.drop(1).toLong()).toString()
        value is List<*> -> value.map { filled(it) }
        value is Map<*, *> -> value.mapValues { filled(it.value) }
        else -> value
    }

    /** What a step answers, and the error that it ended with. */
    @Suppress("UNCHECKED_CAST")
    private fun step(s: Map<String, Any?>): Pair<Answer, String> {
        s["machine"]?.let { machine ->
            val args = filled(machine) as List<String>
            val process = ProcessBuilder(listOf(program) + args + listOf("--data", data)).redirectErrorStream(true).start()
            val out = process.inputStream.readBytes().decodeToString()
            check(process.waitFor() == 0) { "$args: $out" }
            return Pair(if ("keep" in s) Json(out).read() as Answer else mapOf(), "")
        }
        val on = s["on"] as String
        val phone = phones.getOrPut(on) { Phone(File(work, on)) }
        val at = base + (s["day"] as Long) * 86_400_000 + (s["minute"] as Long? ?: 0) * 60_000
        val now = Now(at, 0)
        return try {
            Pair(call(phone.restart(now), s["do"] as String, Args(filled(s["with"] ?: mapOf<String, Any?>()) as Map<String, Any?>), now, phone), "")
        } catch (e: DoorException) {
            Pair(mapOf(), e::class.simpleName!!)
        }
    }

    private fun call(i: Install, what: String, a: Args, now: Now, phone: Phone): Answer = when (what) {
        "open" -> mapOf("found" to word(i.opening().found))
        "who" -> who(i.who()!!)
        "enrol" -> who(i.enrol(Invitation(url, a.text("code")), "test phone", HttpCourier(), now))
        "exchange" -> i.exchange(HttpCourier(), ExchangeLimits(), StopFlag(), null, now).let {
            mapOf("complete" to it.complete, "waiting" to it.waiting, "got" to (it.received > 0u))
        }
        "exchange_cut_off" -> { i.exchange(Nobody(), ExchangeLimits(), StopFlag(), null, now); mapOf() }
        "exchange_state" -> i.exchangeState().let {
            val first = it.refused.firstOrNull()
            mapOf("refused" to it.refused.size, "waits" to (it.waiting > 0u), "id0" to first?.id, "code0" to first?.code)
        }
        "today" -> i.today(now).let {
            val first = it.sessions.firstOrNull()
            mapOf("day" to it.day, "sessions" to it.sessions.size, "checked_in" to it.checkedIn, "waiting" to it.waiting,
                "session0" to first?.session, "state0" to first?.let { s -> word(s.state) })
        }
        "sessions" -> i.sessions(a.text("first"), a.text("last"), null, now).let {
            mapOf("count" to it.size, "states" to states(it))
        }
        "session" -> session(i, a, now)
        "log_set" -> receipt(i.logSet(LogSet(a.maybe("session"), a.maybe("item"), a.maybe("exercise"), numbers(a), a.text("once")), now))
        "correct_set" -> receipt(i.correctSet(CorrectSet(a.text("session"), a.text("set"), numbers(a), a.text("once")), now))
        "strike_set" -> receipt(i.strikeSet(a.text("session"), a.text("set"), a.text("once"), now))
        "skip_item" -> receipt(i.skipItem(SkipItem(a.text("session"), a.text("item"), leftOut(a.text("why")), once = a.text("once")), now))
        "close_session" -> receipt(i.closeSession(CloseSession(a.text("session"), a.whole("minutes"), a.whole("effort_tenths"), a.maybe("comment"), a.text("once")), now))
        "leave_session_out" -> receipt(i.leaveSessionOut(a.text("session"), leftOut(a.text("why")), null, a.text("once"), now))
        "say" -> receipt(i.say(a.text("words"), null, null, a.text("once"), now))
        "words" -> i.words(a.maybe("athlete"), now).let {
            mapOf("count" to it.size, "words0" to it.first().words, "by0" to it.first().by)
        }
        "check_in" -> receipt(i.checkIn(CheckInAnswers(sleep = a.whole("sleep"), mood = a.whole("mood"), massG = a.whole("mass_g")), a.text("once"), now))
        "check_in_of" -> i.checkInOf(a.text("day")).let {
            mapOf("there" to (it != null), "sleep" to it?.sleep, "mood" to it?.mood, "mass_g" to it?.massG)
        }
        "report" -> receipt(i.report(ReportEntry(ReportKind.PAIN, a.maybe("area"), levelTenths = a.whole("level_tenths"), once = a.text("once")), now))
        "report_over" -> receipt(i.reportOver(a.text("report"), a.text("once"), now))
        "reports" -> i.reports(null).let { mapOf("count" to it.size, "area0" to it.first().area, "over0" to (it.first().over != null)) }
        "record_trial" -> receipt(i.recordTrial(TrialEntry(test = a.text("test"), thousandths = a.long("thousandths"), once = a.text("once")), now))
        "bests" -> i.bests(null, now).let {
            mapOf("count" to it.size, "name0" to it.first().name, "thousandths0" to it.first().thousandths, "day0" to it.first().day)
        }
        "diagnostics" -> i.diagnostics(true).let { mapOf("waits" to (it.waiting > 0u), "sound" to (it.unsound == null)) }
        "copy_folder" -> { i.shut(); phone.folder.copyRecursively(File(work, a.text("to"))); mapOf() }
        "write_copy" -> mapOf("written" to (i.writeCopy(File(work, "copy.json").path, StopFlag(), now).documents > 0u))
        "test_kinds" -> i.testKinds().let {
            val first = it.first()
            mapOf("count" to it.size, "name0" to first.name, "unit0" to first.unit, "higher0" to first.higherIsBetter)
        }
        "trials" -> i.trials(a.text("test"), null).let {
            mapOf("count" to it.size, "thousandths0" to it[0].thousandths, "thousandths1" to it[1].thousandths)
        }
        "take_carry_file" -> i.takeCarryFile(File(work, "carry").path).let {
            mapOf("taken" to it.taken, "known" to it.known, "refused" to it.refused.size)
        }
        "set_refused_aside" -> mapOf("changes" to i.setRefusedAside(a.text("id"), File(work, "refused").path).changes)
        "write_carry_file" -> mapOf("changes" to i.writeCarryFile(File(work, "carry").path).changes)
        "erase" -> { i.erase(a.yes("unsent_too")); mapOf() }
        "pause_and_resume" -> {
            i.pause()
            val said = try { i.today(now); "" } catch (e: DoorException) { e::class.simpleName }
            mapOf("paused" to said, "found" to word(i.resume(now).found))
        }
        else -> ofACoach(i, what, a, now)
    }

    private fun ofACoach(i: Install, what: String, a: Args, now: Now): Answer = when (what) {
        "exercises" -> i.exercises().let { mapOf("count" to it.size, "name0" to it.first().name) }
        "add_exercise" -> receipt(i.addExercise(NewExercise(a.text("name"), a.text("pattern"), a.text("intent"), once = a.text("once")), now))
        "add_test" -> receipt(i.addTest(NewTest(a.text("name"), a.text("measure"), a.text("unit"), a.yes("higher"), a.text("once")), now))
        "add_session" -> {
            val items = a.each("items").map { n ->
                NewItem(n.text("exercise"), n.whole("sets")!!, n.whole("reps"), n.whole("contacts"), n.whole("load_g"),
                    n.whole("rest_s"), n.list("swaps").map { it as String })
            }
            receipt(i.addSession(NewSession(a.text("athlete"), a.text("day"), a.text("title"), null, items, a.text("once")), now))
        }
        "planned" -> i.planned(a.text("first"), a.text("last"), a.maybe("athlete")).let {
            val item = it.firstOrNull()?.items?.firstOrNull()
            mapOf("count" to it.size, "item0" to item?.item, "reps0" to item?.reps, "load0" to item?.loadG)
        }
        "people" -> i.people().let { mapOf("count" to it.size, "name0" to it.first().name, "role0" to it.first().role) }
        "move_session" -> receipt(i.moveSession(a.text("athlete"), a.text("session"), a.text("day"), a.text("once"), now))
        "withdraw_session" -> receipt(i.withdrawSession(a.text("athlete"), a.text("session"), a.text("once"), now))
        "change_item" -> receipt(i.changeItem(ItemChange(a.text("athlete"), a.text("item"), reps = a.whole("reps"), restS = a.whole("rest_s"), once = a.text("once")), now))
        "met" -> i.met(a.maybe("athlete")).let {
            val first = it.firstOrNull()
            mapOf("count" to it.size, "id0" to first?.id, "field0" to first?.field, "values0" to first?.values?.size,
                "who0" to first?.values?.first()?.who)
        }
        "pick" -> receipt(i.pick(a.text("athlete"), a.text("id"), a.whole("value")!!, a.text("once"), now))
        "board" -> i.board(a.text("first"), a.text("last"), now).let {
            mapOf("rows" to it.size, "states" to states(it.first().sessions), "unheard" to it.first().unheard, "met" to it.first().met)
        }
        "attention" -> i.attention(now).let {
            mapOf("athletes" to it.athletes.size,
                "topics" to it.athletes.flatMap { a -> a.reasons }.map { r -> r.topic }.distinct().joinToString())
        }
        "set_rows" -> i.setRows(SetAsk(a.text("first"), a.text("last"), a.maybe("athlete"), most = a.whole("most")!!)).let {
            mapOf("rows" to it.rows.size, "more" to (it.next != null))
        }
        else -> error("no such step: $what")
    }

    private fun session(i: Install, a: Args, now: Now): Answer {
        val s = i.session(a.text("session"), null, now)
        val items = s.groups.flatMap { it.items }
        val sets = items.flatMap { it.sets }
        val first = items.first()
        return mapOf(
            "title" to s.title, "groups" to s.groups.size, "begun" to s.begun, "closed" to s.closed,
            "corrected" to sets.sumOf { it.corrected }, "with_server" to sets.count { it.withServer },
            "item0" to first.item, "item1" to items.getOrNull(1)?.item, "sets0" to first.sets.size,
            "doing0" to first.doing.name, "asked0" to first.asked.name,
            "next_load_g" to first.next.loadG, "next_reps" to first.next.reps,
            "swap0" to first.swaps.firstOrNull()?.exercise, "first_load_g" to first.sets.firstOrNull()?.numbers?.loadG,
            "left_out" to items.firstNotNullOfOrNull { it.leftOut }?.let { word(it) },
        )
    }
}

/** As much of JSON as the story and the program's answers need. */
class Json(private val text: String) {
    private var at = 0

    fun read(): Any? {
        blank()
        return when (val c = text[at]) {
            '{' -> all('}') { val name = read() as String; blank(); at++; name to read() }.toMap()
            '[' -> all(']') { read() }
            '"' -> string()
            't', 'f', 'n' -> mapOf('t' to true, 'f' to false, 'n' to null)[c].also { at += if (c == 'f') 5 else 4 }
            else -> Regex("-?[0-9]+").matchAt(text, at)!!.value.also { at += it.length }.toLong()
        }
    }

    private fun <T> all(end: Char, one: () -> T): List<T> {
        val out = mutableListOf<T>()
        at++
        blank()
        while (text[at] != end) {
            out.add(one())
            blank()
            if (text[at] == ',') at++
            blank()
        }
        at++
        return out
    }

    private fun string(): String {
        val out = StringBuilder()
        at++
        while (text[at] != '"') {
            if (text[at] == '\\') at++
            out.append(text[at++])
        }
        at++
        return out.toString()
    }

    private fun blank() {
        while (at < text.length && text[at].isWhitespace()) at++
    }
}

fun main(args: Array<String>) {
    Story(args).tell()
}
