//! Values in words, SI to the units that people read: kilograms, metres, seconds. Rounded only here.

use super::library::Library;
use crate::model::log::SetDone;
use crate::model::number::{Duration, Length, Load, MinuteOfDay};
use crate::model::packed::{Dose, Intensity, Target};
use crate::model::plan::Prescription;
use crate::model::spec::Scalar;

/// A number without needless zeros.
pub(super) fn trim(value: f64, digits: usize) -> String {
    let text = format!("{value:.digits$}");
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text }
}

/// A time of day: "9:05", "18:30".
#[must_use]
pub fn clock(at: MinuteOfDay) -> String {
    format!("{}:{:02}", at.get() / 60, at.get() % 60)
}

/// "starts at 18:30".
#[must_use]
pub fn starts(at: MinuteOfDay) -> String {
    format!("starts at {}", clock(at))
}

/// "82.5 kg".
#[must_use]
pub fn load(load: Load) -> String {
    format!("{} kg", trim(load.as_f64() / 100.0, 2))
}

/// "1.2 m", or "84 cm" below a metre.
#[must_use]
pub fn length(length: Length) -> String {
    let mm = length.as_f64();
    if mm < 1000.0 { format!("{} cm", trim(mm / 10.0, 1)) } else { format!("{} m", trim(mm / 1000.0, 2)) }
}

/// "30 s", "3.25 s".
#[must_use]
pub fn duration(d: Duration) -> String {
    format!("{} s", trim(d.as_f64() / 1000.0, 2))
}

/// "5 reps", "8 to 10 reps", "6 reps each side".
#[must_use]
pub fn dose(dose: &Dose) -> String {
    match dose {
        Dose::Reps(a, b) if a == b => format!("{} reps", a.get()),
        Dose::Reps(a, b) => format!("{} to {} reps", a.get(), b.get()),
        Dose::RepsPerSide(n) => format!("{} reps each side", n.get()),
        Dose::Hold(t) => format!("hold {}", duration(*t)),
        Dose::HoldPerSide(t) => format!("hold {} each side", duration(*t)),
        Dose::Distance(d) => length(*d),
        Dose::Contacts(n) => format!("{} contacts", n.get()),
        Dose::ToLimit => "as many good reps as there are".to_owned(),
    }
}

/// "82.5 % of max", "effort 8", "0.5 to 0.65 m/s".
#[must_use]
pub fn intensity(intensity: &Intensity, library: &Library) -> String {
    match intensity {
        Intensity::Load(l) => load(*l),
        Intensity::OfMax(s, None) => format!("{} % of max", trim(s.as_f64() / 10.0, 1)),
        Intensity::OfMax(s, Some(k)) => {
            format!("{} % of {} max", trim(s.as_f64() / 10.0, 1), library.exercise_name(k))
        }
        Intensity::OfMass(s) => format!("{} % of body mass", trim(s.as_f64() / 10.0, 1)),
        Intensity::Effort(e) => format!("effort {}", trim(e.as_f64() / 10.0, 1)),
        Intensity::Reserve(r) => format!("{} reps in reserve", trim(r.as_f64() / 10.0, 1)),
        Intensity::SpeedBand(a, b) => {
            format!("{} to {} m/s", trim(a.as_f64() / 1000.0, 2), trim(b.as_f64() / 1000.0, 2))
        }
        Intensity::Within(t) => format!("within {}", duration(*t)),
        Intensity::OfBest(s) => format!("{} % of best speed", trim(s.as_f64() / 10.0, 1)),
    }
}

/// "3 x 5 reps, 82.5 % of max (100 kg), rest 180 s".
#[must_use]
pub fn target(t: &Target, library: &Library) -> String {
    let mut out = match &t.dose {
        Some(d) => format!("{} x {}", t.sets.get(), dose(d)),
        None => format!("{} sets", t.sets.get()),
    };
    match (&t.intensity, t.load) {
        (Some(Intensity::Load(l)), _) => out.push_str(&format!(", {}", load(*l))),
        (None, Some(l)) => out.push_str(&format!(", {}", load(l))),
        (Some(x), Some(l)) => out.push_str(&format!(", {} ({})", intensity(x, library), load(l))),
        (Some(x), None) => out.push_str(&format!(", {}", intensity(x, library))),
        (None, None) => {}
    }
    if let Some(waves) = &t.waves {
        let sets: Vec<String> = waves
            .0
            .iter()
            .map(|w| {
                let parts = w.dose.iter().map(dose).chain(w.intensity.iter().map(|x| intensity(x, library)));
                parts.collect::<Vec<_>>().join(" at ")
            })
            .collect();
        out.push_str(&format!(": {}", sets.join("; ")));
    }
    if !t.how.as_str().is_empty() {
        out.push_str(&format!(", {}", t.how));
    }
    out
}

/// "100 kg x 5, 0.62 0.6 0.55 m/s, effort 8".
#[must_use]
pub fn set(set: &SetDone) -> String {
    let mut parts = Vec::new();
    match (set.load, set.reps) {
        (Some(l), Some(r)) => parts.push(format!("{} x {}", load(l), r.get())),
        (Some(l), None) => parts.push(load(l)),
        (None, Some(r)) => parts.push(format!("{} reps", r.get())),
        (None, None) => {}
    }
    parts.extend(set.dist.map(length));
    parts.extend(set.time.map(|t| format!("in {}", duration(t))));
    parts.extend(set.hold.map(|t| format!("held {}", duration(t))));
    parts.extend(set.contacts.map(|c| format!("{} contacts", c.get())));
    if let Some(speeds) = &set.speeds {
        let list: Vec<String> = speeds.m_s().iter().map(|v| trim(*v, 2)).collect();
        parts.push(format!("{} m/s", list.join(" ")));
    }
    parts.extend(set.effort.map(|e| format!("effort {}", trim(e.as_f64() / 10.0, 1))));
    parts.extend(set.reserve.map(|e| format!("{} in reserve", trim(e.as_f64() / 10.0, 1))));
    if set.failed == Some(true) {
        parts.push("last rep failed".to_owned());
    }
    parts.join(", ")
}

/// The variation of a prescription in a line: pause, tempo, hurdles and their spacing, side, cue.
#[must_use]
pub fn variation(p: &Prescription) -> String {
    let mut parts: Vec<String> = Vec::new();
    if let Some(pause) = p.pause {
        let at = p.pause_at.as_ref().map_or_else(String::new, |a| format!(" {a}"));
        parts.push(format!("pause {}{at}", duration(pause)));
    }
    parts.extend(p.tempo.as_ref().map(|t| format!("tempo {t}")));
    parts.extend(p.range.as_ref().map(ToString::to_string));
    parts.extend(p.stance.as_ref().map(ToString::to_string));
    parts.extend(p.implement.as_ref().map(|i| format!("with {i}")));
    parts.extend(p.side.map(|s| format!("{s} side")));
    if let Some(n) = p.hurdles {
        let height = p.height.map_or_else(String::new, |h| format!(" at {}", length(h)));
        parts.push(format!("{} hurdles{height}", n.get()));
    } else {
        parts.extend(p.height.map(|h| format!("height {}", length(h))));
    }
    if let Some(gaps) = &p.gaps {
        let list: Vec<String> = gaps.0.iter().map(|g| length(*g)).collect();
        let how = p.spacing.map_or_else(String::new, |s| format!("{s}: "));
        parts.push(format!("spacing {how}{}", list.join(", ")));
    }
    if let Some(lateral) = &p.lateral {
        let list: Vec<String> =
            lateral.0.iter().map(|o| format!("{} cm", trim(o.as_f64() / 10.0, 1))).collect();
        parts.push(format!("offset {}", list.join(", ")));
    }
    parts.extend(p.landing.map(|l| format!("landing {l}")));
    parts.extend(p.steps.map(|s| format!("{} steps between", s.get())));
    parts.extend(p.unit_gap.map(|d| format!("hurdles every {}", length(d))));
    parts.extend(p.run_up.map(|d| format!("run-up {}", length(d))));
    parts.extend(p.surface.as_ref().map(|s| format!("on {s}")));
    parts.extend(p.stop_loss.map(|s| format!("stop at {} % speed loss", trim(s.as_f64() / 10.0, 1))));
    parts.extend(p.cue.as_ref().map(|c| format!("“{c}”")));
    parts.join(", ")
}

/// A stored value in words, by the field in which it stands.
#[must_use]
pub fn scalar(field: &str, value: &Scalar, library: &Library) -> String {
    match value {
        Scalar::Text(t) => {
            if let Ok(d) = t.parse::<Dose>() {
                return dose(&d);
            }
            if let Ok(x) = t.parse::<Intensity>() {
                return intensity(&x, library);
            }
            if let Ok(k) = t.parse::<crate::base::key::Key>()
                && library.exercises.contains_key(&k)
            {
                return library.exercise_name(&k);
            }
            t.clone()
        }
        Scalar::Int(n) => {
            let by = |unit: f64, digits, word: &str| {
                #[expect(clippy::cast_precision_loss, reason = "fields hold numbers far below 2^53")]
                let n = *n as f64;
                format!("{}{word}", trim(n / unit, digits))
            };
            match field {
                "load" | "collar" | "mass" => by(100.0, 2, " kg"),
                "rest" | "change" => by(1.0, 0, " s"),
                "pause" | "hold" | "time" => by(1000.0, 2, " s"),
                "height" | "unit_gap" | "run_up" | "dist" => by(1000.0, 2, " m"),
                "effort" | "reserve" | "level" => by(10.0, 1, ""),
                "stop_loss" => by(10.0, 1, " %"),
                "minutes" => by(1.0, 0, " min"),
                _ => n.to_string(),
            }
        }
        Scalar::Bytes(b) => format!("{} bytes", b.len()),
        Scalar::Bool(b) => if *b { "yes" } else { "no" }.to_owned(),
        Scalar::Time(ms) => crate::base::moment::Moment(*ms).to_string(),
    }
}
