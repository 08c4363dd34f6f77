// Secrets in the keychain of this device alone: a backup that is put back on another one does not have them.

#if canImport(Security)
import Foundation
import Security

/// A key store for apps; one for each folder.
public final class KeychainKeys: KeyStore, @unchecked Sendable {
    private let service: String

    public init(service: String = "backstraight") { self.service = service }

    private func query(_ name: String) -> [CFString: Any] {
        // On a Mac the older keychain knows nothing of when a secret may be read; this one wants a signed app.
        [
            kSecClass: kSecClassGenericPassword, kSecAttrService: service, kSecAttrAccount: name,
            kSecUseDataProtectionKeychain: true,
        ]
    }

    private func check(_ status: OSStatus) throws {
        switch status {
        case errSecSuccess, errSecItemNotFound: return
        case errSecInteractionNotAllowed: throw KeyStoreError.Locked
        default: throw KeyStoreError.Failed
        }
    }

    public func keep(name: String, secret: Data) throws {
        let new: [CFString: Any] = [
            kSecValueData: secret,
            // Readable in the background once the device was unlocked after its start, and on this device alone.
            kSecAttrAccessible: kSecAttrAccessibleAfterFirstUnlockThisDeviceOnly,
        ]
        let status = SecItemUpdate(query(name) as CFDictionary, new as CFDictionary)
        guard status == errSecItemNotFound else { return try check(status) }
        try check(SecItemAdd(query(name).merging(new) { $1 } as CFDictionary, nil))
    }

    public func lookUp(name: String) throws -> Data? {
        var found: CFTypeRef?
        let wanted = query(name).merging([kSecReturnData: true]) { $1 }
        try check(SecItemCopyMatching(wanted as CFDictionary, &found))
        return found as? Data
    }

    public func forget(name: String) throws { try check(SecItemDelete(query(name) as CFDictionary)) }
}
#endif
