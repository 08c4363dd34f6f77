//! The numbers of a prescription as fields of a form, and back. Only numbers change: what kind of dose and intensity
//! it is stays, and is changed on the plan desk.

use backstraight_core::model::packed::{Dose, Intensity};
use backstraight_core::model::plan::Prescription;

use crate::parse::{self, Masses, Mistake};
use crate::words::say;

/// A number of a prescription.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Slot {
    /// Sets.
    Sets,
    /// Repetitions, the least.
    RepsFrom,
    /// Repetitions, the most.
    RepsTo,
    /// Repetitions on each side.
    RepsPerSide,
    /// Ground contacts.
    Contacts,
    /// How long it is held.
    Hold,
    /// A load.
    Load,
    /// A share, in percent.
    Share,
    /// An effort.
    Effort,
    /// Repetitions in reserve.
    Reserve,
    /// The slowest bar speed.
    Slowest,
    /// The fastest bar speed.
    Fastest,
    /// A time to run in.
    Within,
}

impl Slot {
    /// Its label.
    #[must_use]
    pub fn label(self) -> &'static str {
        match self {
            Slot::Sets => say("dose.sets"),
            Slot::RepsFrom => say("dose.reps-from"),
            Slot::RepsTo => say("dose.reps-to"),
            Slot::RepsPerSide => say("dose.reps-side"),
            Slot::Contacts => say("set.contacts"),
            Slot::Hold => say("dose.hold"),
            Slot::Load => say("dose.load"),
            Slot::Share => say("dose.share"),
            Slot::Effort => say("set.effort"),
            Slot::Reserve => say("set.reserve"),
            Slot::Slowest => say("dose.slowest"),
            Slot::Fastest => say("dose.fastest"),
            Slot::Within => say("dose.within"),
        }
    }
}

/// The numbers of a prescription, as they stand in a form.
#[must_use]
pub fn slots(p: &Prescription, masses: Masses) -> Vec<(Slot, String)> {
    let mut out = vec![(Slot::Sets, p.sets.get().to_string())];
    match &p.dose {
        Some(Dose::Reps(a, b)) => {
            out.push((Slot::RepsFrom, a.get().to_string()));
            out.push((Slot::RepsTo, b.get().to_string()));
        }
        Some(Dose::RepsPerSide(n)) => out.push((Slot::RepsPerSide, n.get().to_string())),
        Some(Dose::Contacts(n)) => out.push((Slot::Contacts, n.get().to_string())),
        Some(Dose::Hold(t) | Dose::HoldPerSide(t)) => out.push((Slot::Hold, parse::time_text(*t))),
        Some(Dose::Distance(_) | Dose::ToLimit) | None => {}
    }
    match &p.intensity {
        Some(Intensity::Load(load)) => out.push((Slot::Load, parse::load_text(*load, masses))),
        Some(Intensity::OfMax(s, _) | Intensity::OfMass(s) | Intensity::OfBest(s)) => {
            out.push((Slot::Share, parse::plain(s.get(), 1)));
        }
        Some(Intensity::Effort(e)) => out.push((Slot::Effort, parse::plain(e.get(), 1))),
        Some(Intensity::Reserve(r)) => out.push((Slot::Reserve, parse::plain(r.get(), 1))),
        Some(Intensity::SpeedBand(a, b)) => {
            out.push((Slot::Slowest, parse::plain(a.get(), 3)));
            out.push((Slot::Fastest, parse::plain(b.get(), 3)));
        }
        Some(Intensity::Within(t)) => out.push((Slot::Within, parse::time_text(*t))),
        None => {}
    }
    out
}

/// The prescription with what was typed; the first field that cannot be read, else.
///
/// # Errors
/// The field, and what is wrong with it.
pub fn typed(
    p: &Prescription,
    texts: &[(Slot, String)],
    masses: Masses,
) -> Result<Prescription, (Slot, String)> {
    let mut out = p.clone();
    for (slot, text) in texts {
        put(&mut out, *slot, text, masses).map_err(|m| (*slot, m.words()))?;
    }
    Ok(out)
}

fn put(p: &mut Prescription, slot: Slot, text: &str, masses: Masses) -> Result<(), Mistake> {
    match slot {
        Slot::Sets => p.sets = parse::count(text)?,
        Slot::RepsFrom | Slot::RepsTo => {
            if let Some(Dose::Reps(a, b)) = &mut p.dose {
                let n = parse::reps(text)?;
                *(if slot == Slot::RepsFrom { a } else { b }) = n;
            }
        }
        Slot::RepsPerSide => p.dose = Some(Dose::RepsPerSide(parse::reps(text)?)),
        Slot::Contacts => p.dose = Some(Dose::Contacts(parse::reps(text)?)),
        Slot::Hold => {
            if let Some(Dose::Hold(t) | Dose::HoldPerSide(t)) = &mut p.dose {
                *t = parse::time(text)?;
            }
        }
        Slot::Load => p.intensity = Some(Intensity::Load(parse::load(text, masses)?)),
        Slot::Share => {
            if let Some(Intensity::OfMax(s, _) | Intensity::OfMass(s) | Intensity::OfBest(s)) =
                &mut p.intensity
            {
                *s = parse::share(text)?;
            }
        }
        Slot::Effort => p.intensity = Some(Intensity::Effort(parse::effort(text)?)),
        Slot::Reserve => p.intensity = Some(Intensity::Reserve(parse::reserve(text)?)),
        Slot::Slowest | Slot::Fastest => {
            if let Some(Intensity::SpeedBand(a, b)) = &mut p.intensity {
                let v = parse::speed(text)?;
                *(if slot == Slot::Slowest { a } else { b }) = v;
            }
        }
        Slot::Within => p.intensity = Some(Intensity::Within(parse::time(text)?)),
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use backstraight_core::base::key::Key;
    use backstraight_core::model::number::{Count, Load, Reps, Share, Speed, Text};

    fn one(dose: Option<Dose>, intensity: Option<Intensity>) -> Prescription {
        let key: Key = "abcdef-1".parse().unwrap();
        Prescription {
            dose,
            intensity,
            ..Prescription::new(key.clone(), Text::new("a").unwrap(), key, Count::new(3).unwrap())
        }
    }

    #[test]
    fn numbers_go_out_and_come_back() {
        let reps = |n| Reps::new(n).unwrap();
        let all = [
            one(Some(Dose::Reps(reps(4), reps(6))), Some(Intensity::Load(Load::new(7_750).unwrap()))),
            one(Some(Dose::RepsPerSide(reps(5))), Some(Intensity::OfMax(Share::new(825).unwrap(), None))),
            one(
                Some(Dose::Contacts(reps(12))),
                Some(Intensity::SpeedBand(Speed::new(500).unwrap(), Speed::new(650).unwrap())),
            ),
            one(Some(Dose::ToLimit), None),
        ];
        for p in &all {
            let texts = slots(p, Masses::Kilograms);
            assert_eq!(typed(p, &texts, Masses::Kilograms).as_ref(), Ok(p), "{texts:?}");
        }
    }

    #[test]
    fn what_was_typed_is_taken_and_what_cannot_be_is_named() {
        let p = one(None, Some(Intensity::Load(Load::new(8_000).unwrap())));
        let to = typed(&p, &[(Slot::Load, "77,5".into())], Masses::Kilograms).unwrap();
        assert_eq!(to.intensity, Some(Intensity::Load(Load::new(7_750).unwrap())));
        let wrong = typed(&p, &[(Slot::Sets, "3".into()), (Slot::Load, "heavy".into())], Masses::Kilograms);
        assert_eq!(wrong.map_err(|(slot, _)| slot), Err(Slot::Load));
    }
}
