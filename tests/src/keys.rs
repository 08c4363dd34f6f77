//! A key store in memory, as a phone has one: apart from the folder, never in a backup. Knows no phone.

use std::collections::BTreeMap;
use std::sync::{Mutex, PoisonError};

use backstraight_ffi::doors::KeyStore;
use backstraight_ffi::doors::outside::KeyStoreError;

/// The key store.
#[derive(Debug, Default)]
pub struct Keys(Mutex<BTreeMap<String, Vec<u8>>>);

impl KeyStore for Keys {
    fn keep(&self, name: String, secret: Vec<u8>) -> Result<(), KeyStoreError> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner).insert(name, secret);
        Ok(())
    }
    fn look_up(&self, name: String) -> Result<Option<Vec<u8>>, KeyStoreError> {
        Ok(self.0.lock().unwrap_or_else(PoisonError::into_inner).get(&name).cloned())
    }
    fn forget(&self, name: String) -> Result<(), KeyStoreError> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner).remove(&name);
        Ok(())
    }
}
