//! The athlete's home: one hand, a cellar, no signal. Screens show what core put together and turn taps into
//! commands; no rule of training is here.

pub mod check_in;
pub mod close;
pub mod copy;
pub mod draft;
pub mod mine;
pub mod records;
pub mod scene;
pub mod session;
pub mod set_form;
pub mod sheets;
pub mod talk;
pub mod today;
pub mod trial_draft;
pub mod trial_form;
pub mod trials;
pub mod unsent;
pub mod weeks;
