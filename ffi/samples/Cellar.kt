// A companion in a terminal: today's session, logging a set, sending. Read it to see what an app does.
//
//     cellar FOLDER enrol LINK      trade the link of an invitation for an install
//     cellar FOLDER today           what is asked today, and what is done of it
//     cellar FOLDER log N KG REPS   a set of line N of today's session
//     cellar FOLDER close MINUTES EFFORT
//     cellar FOLDER send            exchange with the server
//
// All but `enrol` and `send` work without a signal.

import backstraight.*
import java.io.File
import java.nio.file.Files
import java.nio.file.StandardCopyOption.ATOMIC_MOVE
import java.time.LocalDateTime
import java.time.ZoneId
import java.util.Properties
import java.util.UUID

/** Secrets in a file beside the folder. On a phone this is the system's key store, never a file. */
class FileKeys(private val file: File) : KeyStore {
    private fun all() = Properties().also { if (file.exists()) file.inputStream().use(it::load) }

    /** On disk when it returns, and whole at any instant. */
    private fun write(all: Properties) {
        val draft = File("$file.new")
        draft.outputStream().use { all.store(it, null); it.fd.sync() }
        Files.move(draft.toPath(), file.toPath(), ATOMIC_MOVE)
    }

    override fun keep(name: String, secret: ByteArray) =
        write(all().also { it[name] = secret.joinToString("") { b -> "%02x".format(b) } })
    override fun lookUp(name: String): ByteArray? =
        all().getProperty(name)?.chunked(2)?.map { it.toInt(16).toByte() }?.toByteArray()
    override fun forget(name: String) = write(all().also { it.remove(name) })
}

/** The time and place of this machine. */
fun here(): Now {
    val ahead = ZoneId.systemDefault().rules.getOffset(LocalDateTime.now()).totalSeconds / 60
    return Now(System.currentTimeMillis(), ahead)
}

/** A new name for each thing that a person does: tried again under the same name, it is done once. */
fun once() = UUID.randomUUID().toString()

fun kg(grams: UInt?) = grams?.let { "%.1f kg".format(it.toDouble() / 1000) } ?: ""

fun show(install: Install) {
    val today = install.today(here())
    println("${today.day}  ${install.who()?.name}")
    today.limits?.let { println("!! ${it.words}\n   ${it.caution}") }
    for (line in today.sessions) {
        println("${line.title}: ${line.state.name.lowercase()}, ${line.setsDone} of ${line.setsAsked} sets")
        lines(install, line.session).forEachIndexed { n, item ->
            println("  $n  ${item.doing.name}: ${item.words}")
            item.caution?.let { println("     $it") }
            for (set in item.sets) {
                val where = if (set.withServer) "with the coach" else "saved here"
                println("     ${kg(set.numbers.loadG)} x ${set.numbers.reps ?: ""}  ($where)")
            }
        }
    }
    if (today.sessions.isEmpty()) println("nothing is asked today")
    if (today.waiting > 0u) println("${today.waiting} changes wait to be sent")
}

fun lines(install: Install, session: String) = install.session(session, null, here()).groups.flatMap { it.items }

fun session(install: Install) = install.today(here()).sessions.firstOrNull()?.session ?: error("nothing is asked today")

fun main(args: Array<String>) {
    val home = File(args[0]).also { it.mkdirs() }
    val install = Install.open(OpenWith(File(home, "training").path, INTERFACE_MARK), FileKeys(File(home, "keys")), here())
    if (install.opening().found == Found.FROM_ELSEWHERE) println("This folder is from another phone: ask for a new invitation.")
    try {
        when (args.getOrNull(1)) {
            "enrol" -> {
                val invitation = readInvitation(args[2])
                println("enrolling at ${invitation.server}")
                println("hello, ${install.enrol(invitation, "a terminal", builtInCourier(), here()).name}")
            }
            "today" -> show(install)
            "log" -> {
                val session = session(install)
                val numbers = SetNumbers(loadG = (args[3].toDouble() * 1000).toUInt(), reps = args[4].toUInt())
                val item = lines(install, session)[args[2].toInt()].item
                install.logSet(LogSet(session, item, null, numbers, once()), here())
                println("saved")
            }
            "close" -> {
                val effort = (args[3].toDouble() * 10).toUInt()
                install.closeSession(CloseSession(session(install), args[2].toUInt(), effort, null, once()), here())
                println("saved")
            }
            "send" -> {
                val report = install.exchange(builtInCourier(), ExchangeLimits(), StopFlag(), null, here())
                println("${report.received} changes came, ${report.waiting} wait")
            }
            else -> println("enrol LINK, today, log N KG REPS, close MINUTES EFFORT, send")
        }
    } catch (e: DoorException.BadValue) {
        e.problems.forEach { println(it.detail) }
    } catch (e: DoorException.Offline) {
        println("no signal: everything stays saved here")
    } finally {
        install.shut()
    }
}
