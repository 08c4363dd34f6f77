//! The people of the invented club.

use backstraight_core::model::number::Sex;

/// Name of the club.
pub const CLUB: &str = "Harrow Fell Track Club";
/// Name of its squad.
pub const SQUAD: &str = "Speed and power";
/// Its coaches.
pub const COACHES: [&str; 2] = ["Marta Quillfeather", "Jonas Brindlemark"];

/// Who looks after the squad's health.
pub const CARE: &str = "Linnea Ashgrove";

/// What an athlete trains for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Event {
    /// Flat sprints.
    Sprint,
    /// Hurdles.
    Hurdles,
    /// Jumps.
    Jumps,
    /// Throws.
    Throws,
}

impl Event {
    /// In words.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Event::Sprint => "sprints",
            Event::Hurdles => "hurdles",
            Event::Jumps => "jumps",
            Event::Throws => "throws",
        }
    }
}

/// An athlete of the invented club.
#[derive(Debug, Clone, Copy)]
pub struct Person {
    /// Name.
    pub name: &'static str,
    /// Event group.
    pub event: Event,
    /// Best back squat, kg.
    pub squat_kg: i64,
    /// How much of the plan the athlete does, in tenths.
    pub diligence: i64,
    /// As the athlete competes.
    pub sex: Sex,
    /// Year of birth; the day is the third of March.
    pub born: i16,
}

const fn athlete(
    name: &'static str,
    event: Event,
    squat_kg: i64,
    diligence: i64,
    (sex, born): (Sex, i16),
) -> Person {
    Person { name, event, squat_kg, diligence, sex, born }
}

/// Its athletes.
pub const ATHLETES: [Person; 14] = [
    athlete("Ines Tarrowby", Event::Hurdles, 105, 10, (Sex::Women, 2003)),
    athlete("Tobias Wrenlock", Event::Jumps, 145, 10, (Sex::Men, 2001)),
    athlete("Noor Saltmarsh", Event::Sprint, 95, 10, (Sex::Women, 2004)),
    athlete("Casper Ilvesson", Event::Sprint, 150, 9, (Sex::Men, 2000)),
    athlete("Odile Fennimore", Event::Hurdles, 90, 8, (Sex::Women, 2010)),
    athlete("Rafe Underhallow", Event::Hurdles, 140, 9, (Sex::Men, 2002)),
    athlete("Suri Beckwith-Lane", Event::Jumps, 85, 9, (Sex::Women, 2011)),
    athlete("Mikkel Thornquay", Event::Throws, 185, 9, (Sex::Men, 1999)),
    athlete("Pia Garronfield", Event::Throws, 120, 8, (Sex::Women, 2002)),
    athlete("Elio Marchwood", Event::Sprint, 135, 7, (Sex::Men, 2003)),
    athlete("Hanne Oakrill", Event::Jumps, 100, 9, (Sex::Women, 2005)),
    athlete("Dario Pellowick", Event::Hurdles, 130, 8, (Sex::Men, 2010)),
    athlete("Yara Stonecroft", Event::Sprint, 88, 9, (Sex::Women, 2001)),
    athlete("Bram Holloway-Dunne", Event::Throws, 170, 8, (Sex::Men, 1998)),
];
