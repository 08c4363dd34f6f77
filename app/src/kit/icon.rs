//! Signs of the way around, drawn with the pen of the lanes: lines of one width on a square of 24.

use leptos::prelude::*;

macro_rules! icons {
    ($( $(#[$doc:meta])* $name:ident = $path:literal, )*) => {
        /// What a sign stands for.
        #[derive(Debug, Clone, Copy, PartialEq, Eq)]
        pub enum IconName { $( $(#[$doc])* $name, )* }

        impl IconName {
            /// All of them.
            pub const ALL: &'static [IconName] = &[ $( IconName::$name, )* ];

            const fn path(self) -> &'static str {
                match self { $( IconName::$name => $path, )* }
            }
        }
    };
}

icons! {
    /// The day's session: a loaded bar.
    Today = "M2 12H22M6 6V18M9 8V16M15 8V16M18 6V18",
    /// Weeks: rows of days.
    Weeks = "M3 6H21M3 12H21M3 18H21M8 4V8M15 10V14M11 16V20",
    /// Tests: a jump over a line.
    Tests = "M3 20H21M5 17C7 5 15 5 19 14M19 14L19.5 9.5M19 14L14.8 13",
    /// Records: the top step.
    Records = "M3 20V14H9V9H15V12H21V20M2 20H22M12 3V6",
    /// Talk: two voices.
    Talk = "M3 4H16V12H9L5 16V12H3ZM19 9H21V17H19V20L15 17H11",
    /// What was not sent: an arrow up to a line.
    Unsent = "M12 21V8M7 12.5L12 7.5L17 12.5M4 4H20",
    /// A check-in: a face's line in a lane.
    CheckIn = "M4 12A8 8 0 1 1 20 12A8 8 0 1 1 4 12M9 10V10.01M15 10V10.01M8.5 14.5C10.5 16.5 13.5 16.5 15.5 14.5",
    /// A person's own data: a drawer.
    MyData = "M4 4H20V20H4ZM4 12H20M10 8H14M10 16H14",
    /// The board: athletes by days.
    Board = "M3 4H21V20H3ZM3 9.5H21M3 14.7H21M9 4V20M15 4V20",
    /// Whom to look at first: a raised hand of lines.
    Attention = "M12 3V14M12 19V19.01M4 21H20M5 8L3 7M19 8L21 7",
    /// A test day: a stopwatch.
    TestDay = "M5 14A7 7 0 1 1 19 14A7 7 0 1 1 5 14M12 14L15 11M10 3H14M12 3V7",
    /// The library: cards in a row.
    Library = "M4 5H8V20H4ZM10 5H14V20H10ZM16 6L19.5 5L22 19.5L18.5 20.2Z",
    /// People.
    People = "M9 11A3.5 3.5 0 1 1 9 4A3.5 3.5 0 1 1 9 11M2.5 20C3 12.5 15 12.5 15.5 20M16 4.5C19 5 19 10 16 10.5M18 14C20.5 15 21.5 17 21.5 20",
    /// Proposals: a fork in the lane.
    Proposals = "M12 21V13M12 13C12 8 5 10 5 4M12 13C12 8 19 10 19 4M3 6.5L5 3.5L7 6.5M17 6.5L19 3.5L21 6.5",
    /// Reports: a sheet.
    Reports = "M6 3H15L19 7V21H6ZM15 3V7H19M9 12H16M9 16H16",
    /// Settings: sliders.
    Settings = "M3 7H13M17 7H21M15 4.5V9.5M3 16H7M11 16H21M9 13.5V18.5",
    /// Help.
    Help = "M4 12A8 8 0 1 1 20 12A8 8 0 1 1 4 12M9.5 10C9.5 7 14.5 7 14.5 10C14.5 12 12 12 12 14M12 16.8V16.81",
    /// More ways: three lanes.
    Menu = "M4 6H20M4 12H20M4 18H20",
}

/// A sign. It says nothing by itself: a word stands beside it.
#[component]
pub fn Icon(
    /// Which.
    name: IconName,
) -> impl IntoView {
    view! {
        <svg
            viewBox="0 0 24 24"
            width="24"
            height="24"
            aria-hidden="true"
            fill="none"
            stroke="currentColor"
            stroke-width="1.75"
            stroke-linecap="round"
            stroke-linejoin="round"
        >
            <path d=name.path()></path>
        </svg>
    }
}
