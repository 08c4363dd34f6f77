package backstraight

import android.content.Context
import android.security.keystore.KeyGenParameterSpec
import android.security.keystore.KeyPermanentlyInvalidatedException
import android.security.keystore.KeyProperties
import android.security.keystore.UserNotAuthenticatedException
import java.io.File
import java.io.IOException
import java.security.GeneralSecurityException
import java.security.KeyStore as PlatformKeys
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
        cipher.init(Cipher.ENCRYPT_MODE, key())
        val draft = File(home, "$name.new")
        draft.outputStream().use {
            it.write(cipher.iv)
            it.write(cipher.doFinal(secret))
            it.fd.sync()
        }
        if (!draft.renameTo(File(home, name))) throw IOException("the draft stays")
    }

    override fun lookUp(name: String): ByteArray? = guarded {
        val file = File(home, name)
        if (!file.exists()) return@guarded null
        val bytes = file.readBytes()
        val cipher = Cipher.getInstance(FORM)
        cipher.init(Cipher.DECRYPT_MODE, key(), GCMParameterSpec(128, bytes, 0, IV))
        cipher.doFinal(bytes, IV, bytes.size - IV)
    }

    override fun forget(name: String) {
        File(home, name).delete()
    }

    private fun key(): SecretKey {
        val keys = PlatformKeys.getInstance("AndroidKeyStore").also { it.load(null) }
        (keys.getKey(name, null) as SecretKey?)?.let { return it }
        val purposes = KeyProperties.PURPOSE_ENCRYPT or KeyProperties.PURPOSE_DECRYPT
        val spec = KeyGenParameterSpec.Builder(name, purposes)
            .setBlockModes(KeyProperties.BLOCK_MODE_GCM)
            .setEncryptionPaddings(KeyProperties.ENCRYPTION_PADDING_NONE)
            .build()
        return KeyGenerator.getInstance(KeyProperties.KEY_ALGORITHM_AES, "AndroidKeyStore").apply { init(spec) }.generateKey()
    }

    private fun <T> guarded(call: () -> T): T = try {
        call()
    } catch (e: UserNotAuthenticatedException) {
        throw KeyStoreException.Locked()
    } catch (e: KeyPermanentlyInvalidatedException) {
        throw KeyStoreException.Failed()
    } catch (e: GeneralSecurityException) {
        throw KeyStoreException.Failed()
    } catch (e: IOException) {
        throw KeyStoreException.Failed()
    }

    private companion object {
        const val FORM = "AES/GCM/NoPadding"
        const val IV = 12
    }
}
