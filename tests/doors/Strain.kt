// Every kind of error on purpose, eight threads at once, and a folder opened and shut many times:
// java StrainKt WORK CYCLES. Needs no server: a courier gives the answers.

import backstraight.*
import java.io.File
import java.io.IOException
import java.io.RandomAccessFile
import java.net.InetAddress
import java.net.ServerSocket
import java.net.Socket
import java.util.Collections
import kotlin.concurrent.thread

private val KINDS = DoorException::class.java.declaredClasses
    .filter { DoorException::class.java.isAssignableFrom(it) }.map { it.simpleName }.toSet()
private val seen = mutableSetOf<String>()

private class Failing : KeyStore {
    val secrets = mutableMapOf<String, ByteArray>()
    var fail: Exception? = null
    override fun keep(name: String, secret: ByteArray) { fail?.let { throw it }; secrets[name] = secret }
    override fun lookUp(name: String): ByteArray? { fail?.let { throw it }; return secrets[name] }
    override fun forget(name: String) { secrets.remove(name) }
}

/** Enrols as the server does; says to everything else what it was told to say. */
class Canned(
    val role: String = "athlete", val status: Int = 503, val body: String = "",
    val headers: List<Header> = listOf(), val error: Exception? = null,
) : Courier {
    override fun carry(parcel: Parcel): Reply {
        error?.let { throw it }
        if (parcel.url.endsWith("/v1/enrol")) {
            val answer = """{"install": "0404040404040404", "person": "01a21d1b-6510-7a9b-bbc6-bdc0ef526187",
                "club": "01a21d1b-6409-7560-b73b-11275841bcd9", "role": "$role", "name": "Tilde Ravnsborg",
                "access_token": "a", "refresh_token": "r"}"""
            return Reply(201u, listOf(), answer.encodeToByteArray())
        }
        return Reply(status.toUShort(), headers, body.encodeToByteArray())
    }
}

private fun now() = Now(System.currentTimeMillis(), 60)

private fun <T> throws(kind: String, call: () -> T): DoorException {
    try {
        call()
    } catch (e: DoorException) {
        check(e::class.simpleName == kind) { "${e::class.simpleName} instead of $kind: $e" }
        seen.add(kind)
        return e
    }
    error("$kind was not thrown")
}

private class Strain(val work: File) {
    fun open(name: String, keys: KeyStore, mark: String = INTERFACE_MARK, most: ULong? = null) =
        Install.open(OpenWith(File(work, name).path, mark, most), keys, now())

    fun enrolled(name: String, keys: KeyStore, most: ULong? = null) = open(name, keys, most = most).also {
        it.enrol(Invitation("http://nowhere.example", "AAAAAAAA"), "test", Canned(), now())
    }

    fun exchange(install: Install, courier: Courier, stop: StopFlag = StopFlag()) =
        install.exchange(courier, ExchangeLimits(), stop, null, now())

    fun say(install: Install, once: String) =
        install.say("Words to fill the store, and more of them. ".repeat(20), null, null, once, now())

    fun errors() {
        for (kind in KINDS) {
            val thrown = try { rehearse(kind); null } catch (e: DoorException) { e }
            check(thrown != null && thrown::class.simpleName == kind) { "$kind: $thrown" }
        }
        rehearse("nothing of the kind")

        val keys = Failing()
        throws("TooOld") { open("a", keys, mark = "0000000000000000") }
        val blank = open("a", keys)
        throws("NotEnrolled") { blank.today(now()) }
        throws("AlreadyOpen") { open("a", keys) }
        keys.fail = KeyStoreException.Locked()
        throws("PhoneLocked") { blank.enrol(Invitation("x", "y"), "d", Canned(), now()) }
        keys.fail = IllegalArgumentException("something odd")
        throws("KeysFailed") { blank.enrol(Invitation("x", "y"), "d", Canned(), now()) }
        keys.fail = null
        blank.shut()
        throws("Paused") { blank.today(now()) }
        throws("BadValue") { readInvitation("https://elsewhere.example") }

        val held = File(work, "b").also { it.mkdir() }
        val other = ProcessBuilder("flock", File(held, "in-use").path, "cat").start()
        for (n in 1..100) {
            try {
                open("b", Failing()).shut()
            } catch (e: DoorException.Busy) {
                seen.add("Busy")
                break
            }
            Thread.sleep(50)
        }
        other.outputStream.close()
        other.waitFor()

        val phone = enrolled("c", Failing())
        throws("WrongState") { phone.writeCarryFile(File(work, "carry").path) }
        throws("NotThere") { phone.session("zzzzzz-1", null, now()) }
        throws("NotAllowed") { phone.board("2026-01-01", "2026-01-02", now()) }
        throws("Offline") { exchange(phone, Canned(error = CourierException.TimedOut())) }
        throws("Offline") { exchange(phone, Canned(error = IllegalStateException("something odd"))) }
        val busy = """{"code": "busy", "title": "too much waits"}"""
        val said = throws("ServerSaid") { exchange(phone, Canned(body = busy, headers = listOf(Header("Retry-After", "7")))) }
        check(said is DoorException.ServerSaid && said.code == "busy" && said.retryAfterS == 7u) { "$said" }
        val apart = throws("WrongClock") { exchange(phone, Canned(status = 401, body = """{"code": "clock", "now": 5}""")) }
        check(apart is DoorException.WrongClock && apart.serverMs == 5L)
        throws("SignedOut") { exchange(phone, Canned(status = 401, body = """{"code": "session-expired"}""")) }
        val stop = StopFlag().also { it.stop() }
        throws("Stopped") { exchange(phone, Canned(), stop) }
        phone.shut()
        val copied = open("c", Failing())
        check(copied.opening().found == Found.FROM_ELSEWHERE)
        throws("EnrolAgain") { say(copied, "o") }
        copied.shut()

        val full = enrolled("d", Failing(), most = 40uL * 4096uL)
        var saved = 0
        throws("StoreFull") { while (true) { say(full, "f$saved"); saved++ } }
        check(saved > 0 && full.words(null, now()).size == saved) { "what was called saved is there" }
        full.shut()

        val damaged = enrolled("e", Failing())
        say(damaged, "o")
        for (part in listOf("training.sqlite", "training.sqlite-wal")) {
            RandomAccessFile(File(work, "e/$part"), "rw").use { it.write(ByteArray(it.length().toInt()) { -1 }) }
        }
        throws("StoreDamaged") { damaged.diagnostics(true) }
        damaged.shut()
        // Nobody can bring about a mistake in the library itself.
        check(KINDS - seen == setOf("Inner")) { "${KINDS - seen}" }
    }

    fun listeners() {
        val phone = enrolled("w", Failing())
        val heard = mutableListOf<Triple<ULong, ULong, Int>>()
        val watch = phone.watch(object : Watcher {
            // Calls back into the object that calls it.
            override fun changed(news: News) {
                heard.add(Triple(news.revision, phone.revision(), phone.words(null, now()).size))
            }
        })
        val other = phone.watch(object : Watcher {
            override fun changed(news: News) = throw IllegalStateException("a listener that throws")
        })
        val first = say(phone, "a")
        check(!first.alreadyThere && heard == listOf(Triple(first.revision, first.revision, 1))) { "$heard" }
        check(say(phone, "a").let { it.alreadyThere && it.id == first.id } && heard.size == 1)
        watch.end()
        other.end()
        say(phone, "b")
        check(heard.size == 1)
        phone.shut()
    }

    fun threads() {
        val phone = enrolled("t", Failing())
        val ids = Collections.synchronizedSet(mutableSetOf<String>())
        val failed = Collections.synchronizedList(mutableListOf<Throwable>())
        (1..8).map { n ->
            thread {
                try {
                    repeat(25) {
                        ids.add(say(phone, "$n-$it").id)
                        phone.today(now())
                        phone.exchangeState()
                    }
                } catch (e: Throwable) {
                    failed.add(e)
                }
            }
        }.forEach { it.join() }
        check(failed.isEmpty()) { "$failed" }
        check(ids.size == 200 && phone.words(null, now()).size == 200)
        phone.shut()
    }

    /** A server that does the same with each connection once a request came. */
    private fun server(answer: (Socket) -> Unit): String {
        val listening = ServerSocket(0, 50, InetAddress.getLoopbackAddress())
        thread(isDaemon = true) {
            while (true) {
                val socket = listening.accept()
                thread(isDaemon = true) {
                    try {
                        socket.use {
                            var request = ""
                            while (!request.endsWith("asked")) request += it.getInputStream().read().toChar()
                            answer(it)
                        }
                    } catch (e: IOException) { }
                }
            }
        }
        return "http://127.0.0.1:${listening.localPort}/v1/exchange"
    }

    private fun carried(url: String, timeoutMs: Int): String = try {
        "${HttpCourier().carry(Parcel("POST", url, listOf(), "asked".encodeToByteArray(), timeoutMs.toUInt())).status}"
    } catch (e: CourierException) {
        e::class.simpleName!!
    }

    fun courier() {
        fun dripping(head: String) = server { socket ->
            val out = socket.getOutputStream()
            out.write(head.encodeToByteArray())
            while (true) { out.write('x'.code); out.flush(); Thread.sleep(50) }
        }
        for (head in listOf("HTTP/1.1 200 OK\r\ncontent-length: 100000\r\n\r\n", "HTTP/1.1 200 OK\r\nx: ")) {
            val began = System.nanoTime()
            check(carried(dripping(head), 600) == "TimedOut") { head }
            val took = (System.nanoTime() - began) / 1_000_000
            check(took < 5_000) { "$took ms for an answer that drips: $head" }
        }
        val endless = server { socket ->
            socket.getOutputStream().write("HTTP/1.1 200 OK\r\nconnection: close\r\n\r\n".encodeToByteArray())
            while (true) socket.getOutputStream().write(ByteArray(65_536))
        }
        check(carried(endless, 60_000) == "Failed") { "an answer without end" }
        val elsewhere = server { it.getOutputStream().write("HTTP/1.1 307 Elsewhere\r\nlocation: $endless\r\ncontent-length: 0\r\n\r\n".encodeToByteArray()) }
        check(carried(elsewhere, 5_000) == "307") { "no redirect is followed" }
        check(carried("http://127.0.0.1:1/", 5_000) == "Offline")
    }

    private fun residentKb() = File("/proc/self/status").readLines()
        .first { it.startsWith("VmRSS:") }.filter { it.isDigit() }.toLong()

    private fun files() = File("/proc/self/fd").list()!!.count { File("/proc/self/fd/$it").canonicalPath.startsWith(work.path) }

    fun cycles(count: Int) {
        val keys = Failing()
        enrolled("o", keys).shut()
        val began = System.currentTimeMillis()
        // The machine under Kotlin takes its time to find its size: the last quarter is compared with the one before.
        val sizes = mutableListOf<Long>()
        for (n in 1..count) {
            open("o", keys).use { it.today(now()); it.shut() }
            if (n % (count / 4) == 0) { System.gc(); sizes.add(residentKb()) }
        }
        val (_, half, most, all) = sizes
        println("Kotlin: $count times opened and shut in ${(System.currentTimeMillis() - began) / 1000.0} s, " +
            "${most - half} and ${all - most} kB and ${files()} files more in the last two quarters")
        check(all - most < 4_096 && files() == 0)
    }
}

fun main(args: Array<String>) {
    val strain = Strain(File(args[0]).canonicalFile)
    strain.errors()
    strain.listeners()
    strain.threads()
    strain.courier()
    strain.cycles(args[1].toInt())
    println("Kotlin: ${seen.size} kinds of errors brought about, ${KINDS.size} rehearsed; eight threads; listeners")
}
