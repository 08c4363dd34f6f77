//! Hurdle layouts by federation, sex and age, touchdown tables and approach marks, as data.
//! A row is what somebody read somewhere: its origin is part of it. Does no arithmetic.

/// One race of one federation.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Layout {
    /// Which federation or place.
    pub federation: &'static str,
    /// Race, as `110H`.
    pub race: &'static str,
    /// `men` or `women`.
    pub sex: &'static str,
    /// Age group.
    pub age: &'static str,
    /// Height of a hurdle, m.
    pub height: f64,
    /// Start to the first hurdle, m.
    pub first: f64,
    /// Between hurdles, m.
    pub between: f64,
    /// Number of hurdles.
    pub hurdles: u32,
    /// Last hurdle to the finish, m.
    pub run_in: f64,
    /// Length of the race, m.
    pub distance: f64,
    /// Where it was read, or that it was not.
    pub origin: &'static str,
}

const WORLD: &str = "world";
const READ: &str = "read on a governing body's page";
const SECOND: &str = "secondary source; check the rule book before a competition";
const MEMORY: &str = "from memory; check the rule book before a competition";

type Spacing = (f64, f64, u32, f64, f64);
const H110: Spacing = (13.72, 9.14, 10, 14.02, 110.0);
const H100: Spacing = (13.0, 8.5, 10, 10.5, 100.0);
const H400: Spacing = (45.0, 35.0, 10, 40.0, 400.0);
const H60M: Spacing = (13.72, 9.14, 5, 9.72, 60.0);
const H60W: Spacing = (13.0, 8.5, 5, 13.0, 60.0);
const H80: Spacing = (12.0, 8.0, 8, 12.0, 80.0);
const H75: Spacing = (11.5, 7.5, 8, 11.0, 75.0);
const H300_7: Spacing = (50.0, 35.0, 7, 40.0, 300.0);
const H300_8: Spacing = (45.0, 35.0, 8, 10.0, 300.0);
const H200_OLD: Spacing = (18.29, 18.29, 10, 17.10, 200.0);
const H200_YOUTH: Spacing = (20.0, 35.0, 5, 40.0, 200.0);

const fn row(
    federation: &'static str,
    race: &'static str,
    sex: &'static str,
    age: &'static str,
    height: f64,
    spacing: Spacing,
    origin: &'static str,
) -> Layout {
    let (first, between, hurdles, run_in, distance) = spacing;
    Layout { federation, race, sex, age, height, first, between, hurdles, run_in, distance, origin }
}

/// Every layout. Heights and spacings change by federation and year: this is data, not law.
pub static LAYOUTS: &[Layout] = &[
    row(WORLD, "110H", "men", "senior", 1.067, H110, READ),
    row(WORLD, "110H", "men", "u20", 0.991, H110, MEMORY),
    row(WORLD, "110H", "men", "u18", 0.914, H110, SECOND),
    row(WORLD, "100H", "women", "senior", 0.838, H100, READ),
    row(WORLD, "100H", "women", "u20", 0.838, H100, READ),
    row(WORLD, "100H", "women", "u18", 0.762, H100, SECOND),
    row(WORLD, "400H", "men", "senior", 0.914, H400, READ),
    row(WORLD, "400H", "women", "senior", 0.762, H400, READ),
    row(WORLD, "400H", "men", "u20", 0.914, H400, MEMORY),
    row(WORLD, "400H", "men", "u18", 0.838, H400, MEMORY),
    row(WORLD, "400H", "women", "u20", 0.762, H400, SECOND),
    row(WORLD, "400H", "women", "u18", 0.762, H400, SECOND),
    row(WORLD, "60H", "men", "senior", 1.067, H60M, MEMORY),
    row(WORLD, "60H", "women", "senior", 0.838, H60W, MEMORY),
    row("ireland_schools", "100H", "men", "inter", 0.914, H100, READ),
    row("ireland_schools", "80H", "men", "junior", 0.838, H80, READ),
    row("ireland_schools", "80H", "women", "inter", 0.762, H80, READ),
    row("ireland_schools", "75H", "men", "minor", 0.762, H75, READ),
    row("ireland_schools", "75H", "women", "junior", 0.762, H75, READ),
    row("ireland_schools", "75H", "women", "minor", 0.686, H75, READ),
    row("ireland_schools", "300H", "women", "inter", 0.762, H300_7, READ),
    row("us_schools", "300H", "men", "senior", 0.914, H300_8, MEMORY),
    row("us_schools", "300H", "women", "senior", 0.762, H300_8, MEMORY),
    row("historic", "200H", "men", "senior", 0.762, H200_OLD, SECOND),
    row("australia_youth", "200H", "men", "u15", 0.762, H200_YOUTH, MEMORY),
    row("australia_youth", "200H", "women", "u15", 0.762, H200_YOUTH, MEMORY),
];

/// Federations that have a row.
pub const FEDERATIONS: &[&str] = &["world", "ireland_schools", "us_schools", "historic", "australia_youth"];
/// Races that have a row.
pub const RACES: &[&str] = &["60H", "75H", "80H", "100H", "110H", "200H", "300H", "400H"];
/// Sexes that races are run in.
pub const SEXES: &[&str] = &["men", "women"];
/// Age groups that have a row.
pub const AGES: &[&str] = &["senior", "u20", "u18", "u15", "inter", "junior", "minor"];

/// A row of a touchdown table: final time and times of the ten touchdowns, s.
pub type Touchdowns = (f64, [f64; 10]);

/// Touchdowns after hurdle 1 to 10 by final time, 110 m hurdles. From a coaching slide set of
/// 2013; resolution 0.1 s.
pub const TOUCHDOWNS_110: [Touchdowns; 7] = [
    (12.8, [2.4, 3.4, 4.3, 5.2, 6.2, 7.2, 8.2, 9.2, 10.3, 11.4]),
    (13.0, [2.4, 3.4, 4.4, 5.4, 6.4, 7.4, 8.4, 9.4, 10.5, 11.6]),
    (13.2, [2.5, 3.5, 4.4, 5.4, 6.4, 7.4, 8.5, 9.6, 10.7, 11.8]),
    (13.6, [2.5, 3.6, 4.6, 5.6, 6.6, 7.7, 8.8, 9.9, 11.0, 12.2]),
    (14.4, [2.6, 3.6, 4.7, 5.8, 6.9, 8.1, 9.3, 10.5, 11.7, 12.9]),
    (14.6, [2.6, 3.7, 4.7, 5.8, 7.0, 8.2, 9.4, 10.6, 11.8, 13.0]),
    (15.5, [2.7, 3.8, 5.0, 6.2, 7.4, 8.6, 9.8, 11.0, 12.3, 13.6]),
];

/// Touchdowns after hurdle 1 to 10 by final time, 100 m hurdles. From a coaching slide set of
/// 2013; resolution 0.1 s.
pub const TOUCHDOWNS_100: [Touchdowns; 5] = [
    (11.8, [2.2, 3.2, 4.1, 5.0, 5.9, 6.9, 7.9, 8.9, 9.9, 10.9]),
    (12.3, [2.3, 3.3, 4.2, 5.1, 6.1, 7.1, 8.1, 9.1, 10.2, 11.3]),
    (12.8, [2.4, 3.4, 4.4, 5.4, 6.4, 7.4, 8.4, 9.5, 10.6, 11.7]),
    (13.2, [2.4, 3.4, 4.4, 5.5, 6.6, 7.7, 8.8, 9.9, 11.0, 12.1]),
    (13.8, [2.5, 3.5, 4.6, 5.7, 6.8, 7.9, 9.1, 10.2, 11.4, 12.6]),
];

/// Marks of the eight approach steps to the first hurdle, m, 100 m hurdles; same slide set.
pub const APPROACH_100: [f64; 8] = [0.60, 1.65, 2.95, 4.40, 5.95, 7.60, 9.35, 11.05];
/// Marks of the eight approach steps to the first hurdle, m, 110 m hurdles; same slide set.
pub const APPROACH_110: [f64; 8] = [0.60, 1.70, 3.05, 4.55, 6.20, 8.00, 9.90, 11.70];
