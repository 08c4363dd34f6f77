//! The install behind the page: core's device on a shelf in memory whose writes go to the browser's
//! storage in whole batches. Knows no screen and no browser.

pub mod kept;
pub mod shelf;
