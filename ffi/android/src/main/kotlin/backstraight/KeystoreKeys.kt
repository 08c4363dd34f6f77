package backstraight

import android.content.Context
import android.security.keystore.KeyGenParameterSpec
import android.security.keystore.KeyPermanentlyInvalidatedException
import android.security.keystore.KeyProperties
import android.security.keystore.UserNotAuthenticatedException
import android.system.ErrnoException
import android.system.Os
import android.system.OsConstants
import java.io.File
import java.io.IOException
import java.security.GeneralSecurityException
import java.security.KeyStore as PlatformKeys
import javax.crypto.AEADBadTagException
import javax.crypto.Cipher
import javax.crypto.KeyGenerator
import javax.crypto.SecretKey
import javax.crypto.spec.GCMParameterSpec

/**
 * Secrets under a key of the Android Keystore, in files that backups leave out. A folder that is put back on
 * another phone finds neither, and is known as one from elsewhere.
 */
class KeystoreKeys(context: Context, private val name: String = "backstraight") : KeyStore {
    private val home = File(context.noBackupFilesDir, name).also { it.mkdirs() }

    override fun keep(name: String, secret: ByteArray) = guarded {
        val cipher = Cipher.getInstance(FORM)
        try {
            cipher.init(Cipher.ENCRYPT_MODE, present() ?: make())
        } catch (e: KeyPermanentlyInvalidatedException) {
            // What was under it cannot be read any more either.
            keys().deleteEntry(this.name)
            cipher.init(Cipher.ENCRYPT_MODE, make())
        }
        val draft = File(home, "$name.new")
        draft.outputStream().use {
            it.write(cipher.iv)
            it.write(cipher.doFinal(secret))
            it.fd.sync()
        }
        if (!draft.renameTo(File(home, name))) throw IOException("the draft stays")
        flushHome()
    }

    /**
     * None also when the key died, with the phone's lock or by the system's own doing: the secret is gone then. The
     * folder is known as one from elsewhere, can be read, and is enrolled again; as an error it would stay shut for ever.
     */
    override fun lookUp(name: String): ByteArray? = guarded {
        val file = File(home, name)
        if (!file.exists()) return@guarded null
        val bytes = file.readBytes()
        val key = present()
        if (key == null || bytes.size <= IV) return@guarded null
        try {
            val cipher = Cipher.getInstance(FORM)
            cipher.init(Cipher.DECRYPT_MODE, key, GCMParameterSpec(128, bytes, 0, IV))
            cipher.doFinal(bytes, IV, bytes.size - IV)
        } catch (e: KeyPermanentlyInvalidatedException) {
            null
        } catch (e: AEADBadTagException) {
            null
        }
    }

    override fun forget(name: String) = guarded {
        val file = File(home, name)
        if (!file.delete() && file.exists()) throw IOException("the secret stays")
        flushHome()
    }

    private fun keys() = PlatformKeys.getInstance("AndroidKeyStore").also { it.load(null) }

    private fun present(): SecretKey? = keys().getKey(name, null) as SecretKey?

    private fun make(): SecretKey {
        val purposes = KeyProperties.PURPOSE_ENCRYPT or KeyProperties.PURPOSE_DECRYPT
        val spec = KeyGenParameterSpec.Builder(name, purposes)
            .setBlockModes(KeyProperties.BLOCK_MODE_GCM)
            .setEncryptionPaddings(KeyProperties.ENCRYPTION_PADDING_NONE)
            .build()
        return KeyGenerator.getInstance(KeyProperties.KEY_ALGORITHM_AES, "AndroidKeyStore").apply { init(spec) }.generateKey()
    }

    /** Makes durable which files there are. */
    private fun flushHome() {
        val folder = Os.open(home.path, OsConstants.O_RDONLY, 0)
        try {
            Os.fsync(folder)
        } finally {
            Os.close(folder)
        }
    }

    private fun <T> guarded(call: () -> T): T = try {
        call()
    } catch (e: UserNotAuthenticatedException) {
        throw KeyStoreException.Locked()
    } catch (e: GeneralSecurityException) {
        throw KeyStoreException.Failed()
    } catch (e: ErrnoException) {
        throw KeyStoreException.Failed()
    } catch (e: IOException) {
        throw KeyStoreException.Failed()
    }

    private companion object {
        const val FORM = "AES/GCM/NoPadding"
        const val IV = 12
    }
}
