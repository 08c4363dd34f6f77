// What the doors cost in Kotlin: java BenchKt WORK. A year of logs with 5,000 sets is made first.

import backstraight.*
import java.io.File

private fun <T> best(rounds: Int, call: () -> T): Double {
    var least = Long.MAX_VALUE
    repeat(rounds) {
        val began = System.nanoTime()
        call()
        least = minOf(least, System.nanoTime() - began)
    }
    return least / 1e6
}

private fun us(times: Int, call: () -> Unit): Double = best(9) { repeat(times) { call() } } * 1000 / times

fun main(args: Array<String>) {
    val work = File(args[0]).canonicalFile
    val keys = Keys()
    val day = 86_400_000L
    val today = System.currentTimeMillis()
    val with = OpenWith(File(work, "year").path, INTERFACE_MARK)
    val start = System.nanoTime()
    val coach = Install.open(OpenWith(File(work, "coach").path, INTERFACE_MARK), Keys(), Now(today, 0))
    val loaded = (System.nanoTime() - start) / 1e6
    coach.enrol(Invitation("http://nowhere.example", "AAAAAAAA"), "bench", Canned("coach"), Now(today, 0))
    val squat = coach.addExercise(NewExercise("Back squat", "squat", "strength", once = "x"), Now(today, 0)).id
    coach.shut()

    val began = System.nanoTime()
    var install = Install.open(with, keys, Now(today, 0))
    install.enrol(Invitation("http://nowhere.example", "AAAAAAAA"), "bench", Canned(), Now(today, 0))
    // Without the library at hand an exercise is not known: words instead, and sets by a plan of none.
    var sets = 0
    for (n in 0 until 200) {
        val at = today - (365 - n * 365 / 200) * day
        var session: String? = null
        for (k in 0 until 25) {
            val numbers = SetNumbers(loadG = 80_000u, reps = 5u, effortTenths = 65u,
                speedsMmS = listOf(620u, 610u, 600u, 580u, 570u))
            val now = Now(at + k * 180_000L, 0)
            val done = install.logSet(LogSet(session, null, squat, numbers, "s$n-$k"), now)
            sets++
            if (session == null) {
                val first = java.time.Instant.ofEpochMilli(at).toString().take(10)
                session = install.sessions(first, first, null, now).last().session
            }
            check(!done.alreadyThere)
        }
    }
    println("made: $sets sets in ${(System.nanoTime() - began) / 1_000_000_000} s")
    install.shut()

    val now = Now(today, 0)
    val open = best(7) { Install.open(with, keys, now).let { it.shut(); it.close() } }
    install = Install.open(with, keys, now)
    val cold = best(1) { install.today(now) }
    val first = java.time.Instant.ofEpochMilli(today - 366 * day).toString().take(10)
    val last = java.time.Instant.ofEpochMilli(today).toString().take(10)
    var rows = 0
    val list = best(9) { rows = install.setRows(SetAsk(first, last, most = 5_000u)).rows.size }
    check(rows == sets) { "$rows rows instead of $sets" }
    val figures = listOf(
        "a call that answers a number" to "${us(20_000) { install.revision() }} us",
        "a call that answers a text" to "${us(20_000) { libraryVersion() }} us",
        "the library loaded and a first folder opened" to "$loaded ms",
        "today, a year of logs behind it" to "${best(9) { install.today(now) }} ms",
        "today, the first time" to "$cold ms",
        "open and shut, a year of logs" to "$open ms",
        "a list of $rows sets" to "$list ms",
        "a list of 50 sets" to "${best(9) { install.setRows(SetAsk(first, last, most = 50u)) }} ms",
    )
    figures.forEach { (what, figure) -> println("Kotlin | $what | $figure") }
    install.shut()
}
