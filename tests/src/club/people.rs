//! The people of the invented club.

/// Name of the club.
pub const CLUB: &str = "Harrow Fell Track Club";
/// Name of its squad.
pub const SQUAD: &str = "Speed and power";
/// Its coaches.
pub const COACHES: [&str; 2] = ["Marta Quillfeather", "Jonas Brindlemark"];

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
}

const fn athlete(name: &'static str, event: Event, squat_kg: i64, diligence: i64) -> Person {
    Person { name, event, squat_kg, diligence }
}

/// Its athletes.
pub const ATHLETES: [Person; 14] = [
    athlete("Ines Tarrowby", Event::Hurdles, 105, 10),
    athlete("Tobias Wrenlock", Event::Jumps, 145, 10),
    athlete("Noor Saltmarsh", Event::Sprint, 95, 9),
    athlete("Casper Ilvesson", Event::Sprint, 150, 9),
    athlete("Odile Fennimore", Event::Hurdles, 90, 8),
    athlete("Rafe Underhallow", Event::Hurdles, 140, 9),
    athlete("Suri Beckwith-Lane", Event::Jumps, 85, 9),
    athlete("Mikkel Thornquay", Event::Throws, 185, 9),
    athlete("Pia Garronfield", Event::Throws, 120, 8),
    athlete("Elio Marchwood", Event::Sprint, 135, 7),
    athlete("Hanne Oakrill", Event::Jumps, 100, 9),
    athlete("Dario Pellowick", Event::Hurdles, 130, 8),
    athlete("Yara Stonecroft", Event::Sprint, 88, 9),
    athlete("Bram Holloway-Dunne", Event::Throws, 170, 8),
];
