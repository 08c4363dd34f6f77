//! Charts: plain functions from numbers to places and paths, and small components that draw them. Every chart
//! says itself in a sentence, has a table behind it and never draws what is no number. Knows no document.

pub mod days;
pub mod draw;
pub mod frame;
pub mod scale;
pub mod season;
pub mod small;
pub mod weeks;

pub use days::{Band, DayChart, Point, Series};
pub use season::{Phase, Season, SeasonStrip, When};
pub use small::Spark;
pub use weeks::{Bar, Week, WeekBars};

use crate::words::say;

/// Why there is no picture.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum NoChart {
    /// There are no values.
    #[error("no values")]
    Empty,
    /// A value is NaN or infinite.
    #[error("a value is no finite number")]
    NotFinite,
    /// A value is beyond anything that a chart of ours has to show.
    #[error("a value is beyond 10^12")]
    TooFar,
}

impl NoChart {
    /// In words, where the picture would stand.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            NoChart::Empty => say("chart.empty"),
            NoChart::NotFinite | NoChart::TooFar => say("chart.not-drawable"),
        }
    }
}
