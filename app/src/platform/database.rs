//! The browser's database (IndexedDB): one store of keys and values, read whole at the start and
//! written in batches, each one transaction that counts only when the browser says that it is on disk
//! (durability "strict"). Four operations do not need a library, and the browser's own words for a full
//! disk are needed. Browsers cut connections of pages in the background: a cut one is opened again once.

use std::cell::RefCell;

use js_sys::{Array, Function, Object, Promise, Reflect, Uint8Array};
use wasm_bindgen::{JsCast as _, JsValue};
use wasm_bindgen_futures::JsFuture;
use web_sys::{IdbDatabase, IdbOpenDbRequest, IdbRequest, IdbTransaction};

use super::words;
use crate::device::kept::Write;
use crate::error::AppError;

const NAME: &str = "backstraight";
const VERSION: u32 = 1;
const STORE: &str = "kept";

/// The database.
#[derive(Debug)]
pub struct Database {
    open: RefCell<IdbDatabase>,
}

fn refused(error: &JsValue) -> AppError {
    let why = words(error);
    AppError::Storage { full: why.contains("QuotaExceeded"), why }
}

/// Waits for a request.
async fn answered(request: &IdbRequest) -> Result<JsValue, AppError> {
    let done = Promise::new(&mut |resolve, reject| {
        request.set_onsuccess(Some(&resolve));
        request.set_onerror(Some(&reject));
    });
    match JsFuture::from(done).await {
        Ok(_) => request.result().map_err(|e| refused(&e)),
        Err(_) => Err(refused(&request.error().ok().flatten().map_or(JsValue::NULL, JsValue::from))),
    }
}

async fn connect() -> Result<IdbDatabase, AppError> {
    let missing = || AppError::Storage {
        why: "this browser keeps no data for pages (a private window?)".to_owned(),
        full: false,
    };
    let factory = web_sys::window().and_then(|w| w.indexed_db().ok().flatten()).ok_or_else(missing)?;
    let request: IdbOpenDbRequest = factory.open_with_u32(NAME, VERSION).map_err(|e| refused(&e))?;
    let waiting = request.clone();
    let make = wasm_bindgen::closure::Closure::once(move || {
        // A store that cannot be made shows when it is first used.
        if let Some(db) = waiting.result().ok().and_then(|r| r.dyn_into::<IdbDatabase>().ok()) {
            let _ = db.create_object_store(STORE);
        }
    });
    request.set_onupgradeneeded(Some(make.as_ref().unchecked_ref()));
    let db = answered(&request).await?.dyn_into::<IdbDatabase>().map_err(|e| refused(&e))?;
    // A newer page in another tab may have to change the database.
    let closing = db.clone();
    let close = wasm_bindgen::closure::Closure::once_into_js(move || closing.close());
    db.set_onversionchange(Some(close.unchecked_ref()));
    Ok(db)
}

impl Database {
    /// Opens the database, makes it the first time.
    ///
    /// # Errors
    /// When the browser keeps nothing for this page.
    pub async fn open() -> Result<Database, AppError> {
        Ok(Database { open: RefCell::new(connect().await?) })
    }

    /// Begins a transaction. Asked for by name: the bindings do not have the durability yet, and a browser
    /// that does not know it leaves it out of account.
    fn begin(&self, mode: &str) -> Result<IdbTransaction, AppError> {
        let begin = || -> Result<IdbTransaction, JsValue> {
            let options = Object::new();
            Reflect::set(&options, &"durability".into(), &"strict".into())?;
            let db = JsValue::from(self.open.borrow().clone());
            let transaction: Function = Reflect::get(&db, &"transaction".into())?.dyn_into()?;
            transaction.call3(&db, &STORE.into(), &mode.into(), &options)?.dyn_into()
        };
        begin().map_err(|e| refused(&e))
    }

    /// Everything that is kept.
    ///
    /// # Errors
    /// When it cannot be read.
    pub async fn all(&self) -> Result<Vec<(String, Vec<u8>)>, AppError> {
        let store = self.begin("readonly")?.object_store(STORE).map_err(|e| refused(&e))?;
        // Both are asked for in one transaction, so they belong together.
        let keys = store.get_all_keys().map_err(|e| refused(&e))?;
        let values = store.get_all().map_err(|e| refused(&e))?;
        let keys = Array::from(&answered(&keys).await?);
        let values = Array::from(&answered(&values).await?);
        let entry = |(key, value): (JsValue, JsValue)| {
            Some((key.as_string()?, value.dyn_into::<Uint8Array>().ok()?.to_vec()))
        };
        Ok(keys.iter().zip(values.iter()).filter_map(entry).collect())
    }

    /// Carries a batch out, all of it or nothing. When this returns it is on disk.
    ///
    /// # Errors
    /// When the browser refuses; nothing of the batch was kept then.
    pub async fn write(&self, batch: &[Write]) -> Result<(), AppError> {
        match self.write_once(batch).await {
            Err(AppError::Storage { full: false, .. }) => {
                let again = connect().await?;
                self.open.replace(again);
                self.write_once(batch).await
            }
            other => other,
        }
    }

    async fn write_once(&self, batch: &[Write]) -> Result<(), AppError> {
        let transaction = self.begin("readwrite")?;
        let store = transaction.object_store(STORE).map_err(|e| refused(&e))?;
        for write in batch {
            let key = JsValue::from_str(&write.key);
            match &write.value {
                Some(value) => store.put_with_key(&Uint8Array::from(value.as_slice()), &key),
                None => store.delete(&key),
            }
            .map_err(|e| refused(&e))?;
        }
        let done = Promise::new(&mut |resolve, reject| {
            transaction.set_oncomplete(Some(&resolve));
            transaction.set_onabort(Some(&reject));
        });
        match JsFuture::from(done).await {
            Ok(_) => Ok(()),
            Err(_) => Err(refused(&transaction.error().map_or(JsValue::NULL, JsValue::from))),
        }
    }
}
