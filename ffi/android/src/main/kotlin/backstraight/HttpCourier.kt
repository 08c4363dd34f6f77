package backstraight

import java.io.IOException
import java.net.HttpURLConnection
import java.net.SocketTimeoutException
import java.net.URL
import javax.net.ssl.SSLException

/**
 * Carries bytes by what every Android and every JVM has. Follows no redirect and caches nothing; the system's
 * proxy and trust hold.
 */
class HttpCourier : Courier {
    override fun carry(parcel: Parcel): Reply {
        val connection = try {
            URL(parcel.url).openConnection() as HttpURLConnection
        } catch (e: IOException) {
            throw CourierException.Offline()
        }
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
            val body = stream?.use { it.readBytes() } ?: ByteArray(0)
            val headers = connection.headerFields.entries
                .filter { it.key != null }
                .map { Header(it.key.lowercase(), it.value.joinToString(", ")) }
            return Reply(status.toUShort(), headers, body)
        } catch (e: SocketTimeoutException) {
            throw CourierException.TimedOut()
        } catch (e: SSLException) {
            throw CourierException.Untrusted()
        } catch (e: IOException) {
            throw CourierException.Offline()
        } finally {
            connection.disconnect()
        }
    }
}
