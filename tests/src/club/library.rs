//! The library of the invented club: exercises, a few cues, two venues, three test protocols.

use std::collections::BTreeMap;

use backstraight_core::base::key::Key;
use backstraight_core::doc::command::{Command, New};
use backstraight_core::doc::place::Place;
use backstraight_core::model::number::{
    Better, Impact, Intent, Load, Measure, Name, Pattern, Sides, Small, Text, Value,
};
use backstraight_core::model::order;
use backstraight_core::model::packed::{Lengths, Loads, Plates};
use backstraight_core::model::plan::{Cue, Exercise, Protocol, Venue};

/// (short word, name, pattern, intent, contacts per rep, impact, exercise whose maximum counts)
type Line = (&'static str, &'static str, Pattern, Intent, i64, Option<Impact>, &'static str);

const EXERCISES: [Line; 30] = [
    ("squat", "Back squat", Pattern::Squat, Intent::Strength, 0, None, ""),
    ("pause-squat", "Back squat with a pause", Pattern::Squat, Intent::Strength, 0, None, "squat"),
    ("front-squat", "Front squat", Pattern::Squat, Intent::Strength, 0, None, ""),
    ("split-squat", "Rear-foot-raised split squat", Pattern::Lunge, Intent::Strength, 0, None, ""),
    ("step-up", "Dumbbell step-up", Pattern::Lunge, Intent::Strength, 0, None, ""),
    ("deadlift", "Romanian deadlift", Pattern::Hinge, Intent::Strength, 0, None, ""),
    ("hip-thrust", "Hip thrust", Pattern::Hinge, Intent::Strength, 0, None, ""),
    ("hamstring", "Hamstring lower from kneeling", Pattern::Hinge, Intent::Strength, 0, None, ""),
    ("bench", "Bench press", Pattern::Push, Intent::Strength, 0, None, ""),
    ("push-press", "Push press", Pattern::Push, Intent::Power, 0, None, ""),
    ("pull-up", "Pull-up", Pattern::Pull, Intent::Strength, 0, None, ""),
    ("row", "Prone row", Pattern::Pull, Intent::Strength, 0, None, ""),
    ("clean", "Hang power clean", Pattern::Olympic, Intent::Power, 0, None, ""),
    ("snatch", "Hang power snatch", Pattern::Olympic, Intent::Power, 0, None, ""),
    ("clean-pull", "Clean pull from mid-thigh", Pattern::Olympic, Intent::Power, 0, None, "clean"),
    ("jump-squat", "Dumbbell jump squat", Pattern::Jump, Intent::Power, 1, Some(Impact::Medium), ""),
    ("hurdle-hop", "Hurdle jumps in a row", Pattern::Jump, Intent::Plyometric, 1, Some(Impact::Medium), ""),
    ("ankle-hop", "Stiff ankle hops", Pattern::Hop, Intent::Plyometric, 1, Some(Impact::Low), ""),
    ("single-hop", "Single-leg hops", Pattern::Hop, Intent::Plyometric, 1, Some(Impact::High), ""),
    ("bound", "Bounds", Pattern::Bound, Intent::Plyometric, 1, Some(Impact::High), ""),
    ("drop-jump", "Drop jump", Pattern::Jump, Intent::Plyometric, 1, Some(Impact::High), ""),
    ("throw-back", "Backward overhead ball throw", Pattern::Throw, Intent::Power, 0, None, ""),
    ("plank", "Front plank", Pattern::Trunk, Intent::Trunk, 0, None, ""),
    ("side-plank", "Side plank", Pattern::Trunk, Intent::Trunk, 0, None, ""),
    ("leg-raise", "Hanging leg raise", Pattern::Trunk, Intent::Trunk, 0, None, ""),
    ("run", "Flat run", Pattern::Sprint, Intent::Speed, 0, None, ""),
    ("hurdle-run", "Run over hurdles", Pattern::Hurdle, Intent::Speed, 0, None, ""),
    ("skip", "High-knee skip", Pattern::Drill, Intent::Prepare, 0, Some(Impact::Low), ""),
    ("walk-over", "Hurdle walk-over", Pattern::Mobility, Intent::Prepare, 0, None, ""),
    ("ankle-rock", "Ankle rocks at the wall", Pattern::Mobility, Intent::Prepare, 0, None, ""),
];

/// (short word, name, what it measures, which way is better, unit, exercise)
pub const TESTS: [(&str, &str, Measure, Better, &str, &str); 3] = [
    ("squat-max", "Back squat, one repetition maximum", Measure::Load, Better::Higher, "kg", "squat"),
    ("long-jump", "Standing long jump", Measure::Distance, Better::Higher, "m", ""),
    ("thirty", "Thirty metres from blocks", Measure::Time, Better::Lower, "s", "run"),
];

/// Keys of the library by short word.
pub type Keys = BTreeMap<&'static str, Key>;

fn name(text: &str) -> Name {
    Text::new(text).unwrap_or_default()
}

fn loads(kg: &[f64]) -> Loads {
    #[expect(clippy::cast_possible_truncation, reason = "small constants")]
    Loads(kg.iter().filter_map(|k| Load::new((k * 100.0) as i64).ok()).collect())
}

/// The command that writes the library, and the keys by short word.
pub fn library(mut key: impl FnMut() -> Key) -> (Command, Keys) {
    let exercises = EXERCISES.iter().map(|line| line.0);
    let keys: Keys = exercises.chain(TESTS.map(|t| t.0)).map(|word| (word, key())).collect();
    let mut news = Vec::new();
    for (line, pos) in EXERCISES.iter().zip(order::spread(EXERCISES.len())) {
        let (word, title, pattern, intent, contacts, impact, max_of) = line;
        let Some(own) = keys.get(word) else { continue };
        let exercise = Exercise {
            pos: Some(pos),
            contacts: (*contacts > 0).then(|| Small::new(*contacts).ok()).flatten(),
            impact: *impact,
            ref_max: keys.get(max_of).cloned(),
            sides: matches!(*word, "single-hop" | "split-squat" | "step-up" | "side-plank").then_some(Sides::Each),
            caution: (*intent == Intent::Plyometric && *impact == Some(Impact::High)).then(|| {
                Text::new(
                    "Only after a full warm-up, on a surface that gives, and not with pain. Juniors: fewer, lower, supervised.",
                )
                .unwrap_or_default()
            }),
            ..Exercise::new(name(title), *pattern, *intent)
        };
        news.push(New { place: Place::of("exercises", own), record: exercise.into() });
    }
    let cues = [
        ("squat", "Chest tall, drive the floor away"),
        ("clean", "Patient to the thigh, then fast"),
        ("hurdle-hop", "Stiff ankles, quick off the floor"),
        ("hurdle-run", "Attack from the toe"),
    ];
    for (word, text) in cues {
        let cue = Cue { ex: keys.get(word).cloned(), ..Cue::new(name(text)) };
        news.push(New { place: Place::of("cues", &key()), record: cue.into() });
    }
    let plates = |text: &str| text.parse::<Plates>().unwrap_or_default();
    let venue = Venue {
        bars: Some(loads(&[20.0, 15.0])),
        plates: Some(plates("2500x4,2000x4,1500x2,1000x4,500x4,250x4,125x2")),
        dumbbells: Some(loads(&[6.0, 8.0, 10.0, 12.0, 14.0, 16.0, 18.0, 20.0, 22.5, 25.0, 27.5, 30.0])),
        surface: Some(name("rubber")),
        ..Venue::new(name("Basement gym"))
    };
    news.push(New { place: Place::of("venues", &key()), record: venue.into() });
    let track = Venue {
        hurdle_heights: Some("686,762,838,914,991,1067".parse::<Lengths>().unwrap_or_default()),
        hurdles: Small::new(40).ok(),
        surface: Some(name("synthetic track")),
        ..Venue::new(name("Fell Road track"))
    };
    news.push(New { place: Place::of("venues", &key()), record: track.into() });
    for (word, title, measure, better, unit, ex) in TESTS {
        let Some(own) = keys.get(word) else { continue };
        // Typical errors that the club knows from earlier seasons, thousandths of the unit.
        let noise = match word {
            "long-jump" => Value::new(50).ok(),
            "thirty" => Value::new(35).ok(),
            _ => None,
        };
        let protocol = Protocol {
            noise,
            unit: Text::new(unit).ok(),
            ex: keys.get(ex).cloned(),
            ..Protocol::new(name(title), measure, better)
        };
        news.push(New { place: Place::of("protocols", own), record: protocol.into() });
    }
    (Command::Add(news), keys)
}
