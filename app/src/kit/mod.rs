//! The parts of which screens are built: look and behaviour, no data of their own. A part is told what to show
//! and tells what was done by a callback or a signal; it knows no document, no store and no rule of training.
//! Words come from [`crate::words`], looks from the style sheets by classes, never from attributes.

pub mod button;
pub mod choice;
pub mod combo;
pub mod dates;
pub mod dialog;
pub mod field;
pub mod frame;
pub mod icon;
pub mod keys;
#[cfg(test)]
mod look;
pub mod mark;
pub mod number;
pub mod plates;
pub mod rest;
pub mod screen;
pub mod standing;
pub mod table;
pub mod tabs;
pub mod toast;
pub mod why;

pub use button::{Button, ButtonLink, Kind};
pub use choice::{Check, Chip, ChoiceRow, ToggleChip};
pub use combo::{Combo, Offer};
pub use dialog::Dialog;
pub use field::{DateField, TextField};
pub use frame::Frame;
pub use icon::{Icon, IconName};
pub use keys::KeysHelp;
pub use mark::{Mark, MarksKey};
pub use number::{LoadField, NumberField};
pub use plates::Plates;
pub use rest::RestTimer;
pub use standing::{CautionBox, EmptyState, ErrorBox, Kept, Progress, SaveMark, Trouble};
pub use table::{Column, DataTable};
pub use tabs::Tabs;
pub use toast::{Toaster, Toasts};
pub use why::{WhyButton, WhyParts};

use std::sync::atomic::{AtomicU32, Ordering};

/// A new id for an element, by which labels, hints and errors are tied to it.
#[must_use]
pub fn fresh_id(what: &str) -> String {
    static NEXT: AtomicU32 = AtomicU32::new(0);
    format!("{what}-{}", NEXT.fetch_add(1, Ordering::Relaxed))
}
