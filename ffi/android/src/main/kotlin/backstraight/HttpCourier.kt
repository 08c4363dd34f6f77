package backstraight

import java.io.ByteArrayOutputStream
import java.io.IOException
import java.io.InputStream
import java.net.HttpURLConnection
import java.net.SocketTimeoutException
import java.net.URL
import java.security.cert.CertificateException
import java.util.concurrent.ExecutionException
import java.util.concurrent.FutureTask
import java.util.concurrent.TimeUnit
import java.util.concurrent.TimeoutException
import javax.net.ssl.SSLException
import javax.net.ssl.SSLPeerUnverifiedException
import kotlin.concurrent.thread

/**
 * Carries bytes by what every Android and every JVM has. Follows no redirect and caches nothing; the system's
 * proxy and trust hold. The time that a parcel gives is for the whole, whatever part of it is slow.
 */
class HttpCourier : Courier {
    override fun carry(parcel: Parcel): Reply {
        val connection = try {
            URL(parcel.url).openConnection() as HttpURLConnection
        } catch (e: IOException) {
            throw CourierException.Offline()
        }
        // The platform's own limits are for each single read, and a name or a write has none.
        val task = FutureTask { ask(connection, parcel) }
        daemon { task.run() }
        try {
            return task.get(parcel.timeoutMs.toLong(), TimeUnit.MILLISECONDS)
        } catch (e: TimeoutException) {
            // May wait for a lock that the reader has.
            daemon { connection.disconnect() }
            throw CourierException.TimedOut()
        } catch (e: InterruptedException) {
            daemon { connection.disconnect() }
            Thread.currentThread().interrupt()
            throw CourierException.Stopped()
        } catch (e: ExecutionException) {
            throw e.cause as? CourierException ?: CourierException.Failed()
        }
    }

    private fun ask(connection: HttpURLConnection, parcel: Parcel): Reply {
        val until = System.nanoTime() + TimeUnit.MILLISECONDS.toNanos(parcel.timeoutMs.toLong())
        try {
            connection.requestMethod = parcel.method
            connection.instanceFollowRedirects = false
            connection.useCaches = false
            connection.connectTimeout = parcel.timeoutMs.toInt()
            connection.readTimeout = parcel.timeoutMs.toInt()
            parcel.headers.forEach { connection.setRequestProperty(it.name, it.value) }
            connection.doOutput = true
            // Not in streaming mode: a refusal (401) would come without what the server says about it then.
            connection.outputStream.use { it.write(parcel.body) }
            val status = connection.responseCode
            val stream = if (status < 400) connection.inputStream else connection.errorStream
            val body = stream?.use { read(it, until) } ?: ByteArray(0)
            val headers = connection.headerFields.entries
                .filter { it.key != null }
                .map { Header(it.key.lowercase(), it.value.joinToString(", ")) }
            return Reply(status.toUShort(), headers, body)
        } catch (e: SocketTimeoutException) {
            throw CourierException.TimedOut()
        } catch (e: SSLException) {
            // Anything else that breaks off a handshake is a bad signal.
            val untrusted = e is SSLPeerUnverifiedException || generateSequence(e.cause) { it.cause }.any { it is CertificateException }
            throw if (untrusted) CourierException.Untrusted() else CourierException.Offline()
        } catch (e: IOException) {
            throw CourierException.Offline()
        } finally {
            connection.disconnect()
        }
    }

    private fun read(stream: InputStream, until: Long): ByteArray {
        val body = ByteArrayOutputStream()
        val piece = ByteArray(16 * 1024)
        while (true) {
            val n = stream.read(piece)
            if (n < 0) return body.toByteArray()
            if (System.nanoTime() - until > 0) throw SocketTimeoutException()
            if (body.size() + n > MOST_BYTES) throw CourierException.Failed()
            body.write(piece, 0, n)
        }
    }

    private fun daemon(run: () -> Unit) = thread(isDaemon = true, name = "backstraight-courier", block = run)

    private companion object {
        /** More than any answer has. */
        const val MOST_BYTES = 16 * 1024 * 1024
    }
}
