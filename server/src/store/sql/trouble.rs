//! Tests let any statement fail. Not compiled into the program.

use std::cell::Cell;

thread_local! {
    static LEFT: Cell<Option<u32>> = const { Cell::new(None) };
}

/// Lets the statement after `before` others fail on this thread, once; whether it came to that.
pub(in crate::store) fn at<T>(before: u32, work: impl FnOnce() -> T) -> (T, bool) {
    LEFT.set(Some(before));
    let done = work();
    (done, LEFT.take().is_none())
}

/// Called before each statement.
pub(super) fn statement() -> super::Result<()> {
    match LEFT.get() {
        None => Ok(()),
        Some(0) => {
            LEFT.set(None);
            Err(super::odd(0, "this statement fails on purpose"))
        }
        Some(n) => {
            LEFT.set(Some(n - 1));
            Ok(())
        }
    }
}
