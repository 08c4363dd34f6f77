//! Volume: kilograms moved, ground contacts, seconds held. Sums; knows no plan.

use super::computed::{given, outputs};
use super::{Caution, Computation, Formula, Input, Reason, Standing};

const SETS: Input = Input::list("sets", "sets per line", 1.0, 100.0).items(1, 200);
const REPS: Input = Input::list("reps", "repetitions per set", 0.0, 1000.0).items(1, 200);

fn same_length(lists: &[(&'static str, usize)]) -> Result<(), Reason> {
    let mut pairs = lists.iter().zip(lists.iter().skip(1));
    match pairs.find(|(a, b)| a.1 != b.1) {
        Some((a, b)) => Err(Reason::UnequalLengths { left: a.0, right: b.0 }),
        None => Ok(()),
    }
}

fn whole(list: &[f64], input: &'static str) -> Result<(), Reason> {
    if list.iter().all(|v| v.fract() == 0.0) { Ok(()) } else { Err(Reason::NotWhole { input }) }
}

outputs! {
    /// Volume of a piece of training.
    Volume {
        /// Sum of sets x repetitions x load, kg.
        total: f64,
        /// Repetitions.
        reps: f64,
        /// Mean load of a repetition, kg; absent without repetitions.
        average: Option<f64>,
        /// Total over the maximum; absent without one.
        relative: Option<f64>,
    }
}

const VOLUME_UNITS: &[(&str, &str)] =
    &[("total", "kg"), ("reps", "repetitions"), ("average", "kg"), ("relative", "maxima")];

fn sum_up(sets: &[f64], reps: &[f64], load: &[f64], one_rm: Option<f64>) -> Volume {
    let count: f64 = sets.iter().zip(reps).map(|(s, r)| s * r).sum();
    let total: f64 = sets.iter().zip(reps).zip(load).map(|((s, r), w)| s * r * w).sum();
    Volume {
        total,
        reps: count,
        average: (count > 0.0).then(|| total / count),
        relative: one_rm.map(|max| total / max),
    }
}

/// Volume load.
pub static LOAD: Formula = Formula {
    id: "volume.load",
    name: "Kilograms moved",
    rule: "sum of sets x repetitions x load; average = total / repetitions; relative = total / \
           maximum",
    source: "Haff & Triplett; Haff 2010, from memory",
    standing: Standing::CommonPractice,
    domain: "done repetitions; loads per implement and per side as the exercise says",
    units: VOLUME_UNITS,
    trap: "failed repetitions, warm-ups, one dumbbell or two; the maximum in force that day",
    caution: Some(Caution::Load),
    inputs: &[
        SETS,
        REPS,
        Input::list("load", "kg", 0.0, 1000.0).items(1, 200),
        Input::number("one_rm", "kg", 0.1, 1000.0).maybe(),
    ],
    example: &[("sets", "3"), ("reps", "5"), ("load", "100"), ("one_rm", "125")],
    run: |a| {
        let (sets, reps, load) = (a.list("sets")?, a.list("reps")?, a.list("load")?);
        Ok(load_volume(&sets, &reps, &load, a.maybe_number("one_rm")?).into())
    },
    ..Formula::BLANK
};

/// Volume of lines of `sets` x `reps` x `load` (kg), relative to `one_rm` (kg) if given.
///
/// # Errors
/// Inputs outside their limits, unequal lengths or counts that are not whole.
pub fn load_volume(sets: &[f64], reps: &[f64], load: &[f64], one_rm: Option<f64>) -> Computation<Volume> {
    let given = given!["sets" => sets, "reps" => reps, "load" => load, "one_rm" => one_rm];
    LOAD.compute(given, |_| {
        same_length(&[("sets", sets.len()), ("reps", reps.len()), ("load", load.len())])?;
        whole(sets, "sets")?;
        whole(reps, "reps")?;
        Ok(sum_up(sets, reps, load, one_rm))
    })
}

/// Body-weight exercises.
pub static BODYWEIGHT: Formula = Formula {
    id: "volume.bodyweight",
    name: "Kilograms moved in body-weight exercises",
    rule: "sets x repetitions x (body mass x share + extra load)",
    source: "common practice, no source",
    standing: Standing::CommonPractice,
    domain: "share 1 for chin-ups and dips; less for push-ups; extra below zero for bands",
    units: VOLUME_UNITS,
    trap: "counting the extra load alone makes chin-ups vanish",
    caution: Some(Caution::Load),
    inputs: &[
        Input::whole("sets", "", 1.0, 100.0),
        Input::whole("reps", "per set", 0.0, 1000.0),
        Input::number("body", "kg", 20.0, 250.0),
        Input::number("share", "of body mass that is moved", 0.05, 1.0).or("1"),
        Input::number("extra", "kg", -150.0, 300.0).or("0"),
    ],
    example: &[("sets", "3"), ("reps", "6"), ("body", "72"), ("extra", "10")],
    run: |a| {
        let (sets, reps, body) = (a.number("sets")?, a.number("reps")?, a.number("body")?);
        Ok(bodyweight(sets, reps, body, a.number("share")?, a.number("extra")?).into())
    },
    ..Formula::BLANK
};

/// Volume of `sets` x `reps` at `body` (kg) x `share` + `extra` (kg).
///
/// # Errors
/// Inputs outside their limits, or help that outweighs the body's share.
pub fn bodyweight(sets: f64, reps: f64, body: f64, share: f64, extra: f64) -> Computation<Volume> {
    BODYWEIGHT.compute(given![sets, reps, body, share, extra], |_| {
        let moved = body * share + extra;
        if moved < 0.0 {
            return Err(Reason::Contradiction { rule: "the help outweighs the body" });
        }
        Ok(sum_up(&[sets], &[reps], &[moved], None))
    })
}

/// Time under isometric holds.
pub static HOLDS: Formula = Formula {
    id: "volume.holds",
    name: "Seconds held",
    rule: "sum of sets x seconds",
    source: "common practice, no source",
    standing: Standing::CommonPractice,
    domain: "isometric holds; a unit of its own, never kilograms",
    units: &[("value", "s")],
    trap: "not to be added to kilograms; paused repetitions stay repetitions",
    caution: Some(Caution::Load),
    inputs: &[SETS, Input::list("seconds", "s per set", 0.0, 3600.0).items(1, 200)],
    example: &[("sets", "3,2"), ("seconds", "30,45")],
    run: |a| Ok(holds(&a.list("sets")?, &a.list("seconds")?).into()),
    ..Formula::BLANK
};

/// Seconds held over lines of `sets` x `seconds`.
///
/// # Errors
/// Inputs outside their limits, unequal lengths or sets that are not whole.
pub fn holds(sets: &[f64], seconds: &[f64]) -> Computation<f64> {
    HOLDS.compute(given!["sets" => sets, "seconds" => seconds], |_| {
        same_length(&[("sets", sets.len()), ("seconds", seconds.len())])?;
        whole(sets, "sets")?;
        Ok(sets.iter().zip(seconds).map(|(s, t)| s * t).sum())
    })
}

/// Ground contacts.
pub static CONTACTS: Formula = Formula {
    id: "volume.contacts",
    name: "Ground contacts",
    rule: "sum of sets x repetitions x contacts per repetition x sides",
    source: "common practice; a contact is each time a foot, or both feet together, touch",
    standing: Standing::Secondary,
    domain: "contacts per repetition belong to the exercise: a landing on two feet is one",
    units: &[("value", "contacts")],
    trap: "some count a box jump as two; single-leg work counts each leg",
    caution: Some(Caution::Contacts),
    inputs: &[
        SETS,
        REPS,
        Input::list("per_rep", "contacts per repetition", 0.0, 20.0).items(1, 200),
        Input::list("sides", "1, or 2 where each leg does the repetitions", 1.0, 2.0).items(1, 200),
    ],
    example: &[("sets", "4,3"), ("reps", "6,10"), ("per_rep", "1,1"), ("sides", "1,2")],
    run: |a| {
        let (sets, reps) = (a.list("sets")?, a.list("reps")?);
        Ok(contacts(&sets, &reps, &a.list("per_rep")?, &a.list("sides")?).into())
    },
    ..Formula::BLANK
};

/// Contacts over lines of `sets` x `reps` x `per_rep` x `sides`.
///
/// # Errors
/// Inputs outside their limits, unequal lengths or numbers that are not whole.
pub fn contacts(sets: &[f64], reps: &[f64], per_rep: &[f64], sides: &[f64]) -> Computation<f64> {
    let given = given!["sets" => sets, "reps" => reps, "per_rep" => per_rep, "sides" => sides];
    CONTACTS.compute(given, |_| {
        let lengths =
            [("sets", sets.len()), ("reps", reps.len()), ("per_rep", per_rep.len()), ("sides", sides.len())];
        same_length(&lengths)?;
        let lists = [(sets, "sets"), (reps, "reps"), (per_rep, "per_rep"), (sides, "sides")];
        lists.iter().try_for_each(|(list, name)| whole(list, name))?;
        let lines = sets.iter().zip(reps).zip(per_rep).zip(sides);
        Ok(lines.map(|(((s, r), c), side)| s * r * c * side).sum())
    })
}

const LEVELS: &[&str] = &["beginner", "intermediate", "advanced"];

outputs! {
    /// Contacts of a session against a guide.
    ContactGuide {
        /// Lowest of the guide.
        low: f64,
        /// Highest of the guide.
        high: f64,
        /// Where the session lies.
        reading: &'static str,
    }
}

/// Contacts against the guide.
pub static CONTACT_GUIDE: Formula = Formula {
    id: "volume.contact_guide",
    name: "Contacts of a session against a guide",
    rule: "beginner 80 to 100, intermediate 100 to 120, advanced 120 to 140, or the club's own",
    source: "secondary sources that name the National Strength and Conditioning Association",
    standing: Standing::Secondary,
    domain: "healthy adults on a soft, level surface; give low and high for the club's own bands",
    units: &[("low", "contacts"), ("high", "contacts"), ("reading", "")],
    trap: "another list says 60 to 100, 100 to 160, 150 to 200; intensity matters more than the \
           count",
    caution: Some(Caution::Contacts),
    inputs: &[
        Input::whole("contacts", "contacts", 0.0, 2000.0),
        Input::word("level", "experience", LEVELS),
        Input::number("low", "contacts, the club's own", 0.0, 1000.0).maybe(),
        Input::number("high", "contacts, the club's own", 1.0, 1000.0).maybe(),
    ],
    example: &[("contacts", "84"), ("level", "beginner")],
    run: |a| {
        let own = (a.maybe_number("low")?, a.maybe_number("high")?);
        Ok(contact_guide(a.number("contacts")?, a.word("level")?, own).into())
    },
    ..Formula::BLANK
};

/// `contacts` of a session against the guide for `level`, or the club's `own` (low, high).
///
/// # Errors
/// Inputs outside their limits, an unknown level, or bands in the wrong order.
pub fn contact_guide(
    contacts: f64,
    level: &'static str,
    own: (Option<f64>, Option<f64>),
) -> Computation<ContactGuide> {
    let given = given!["contacts" => contacts, "level" => level, "low" => own.0, "high" => own.1];
    CONTACT_GUIDE.compute(given, |_| {
        let (low, high) = match level {
            "beginner" => (80.0, 100.0),
            "intermediate" => (100.0, 120.0),
            _ => (120.0, 140.0),
        };
        let (low, high) = (own.0.unwrap_or(low), own.1.unwrap_or(high));
        if low >= high {
            return Err(Reason::Contradiction { rule: "low must be below high" });
        }
        let reading = match contacts {
            c if c < low => "fewer than the guide",
            c if c <= high => "inside the guide",
            _ => "more than the guide",
        };
        Ok(ContactGuide { low, high, reading })
    })
}

outputs! {
    /// Guide of repetitions in a zone of intensity.
    Zone {
        /// Fewest repetitions per set.
        set_low: f64,
        /// Most repetitions per set.
        set_high: f64,
        /// Fewest repetitions in all.
        total_low: f64,
        /// Most repetitions in all.
        total_high: f64,
        /// Middle of the guide.
        middle: f64,
    }
}

/// Repetitions by zone of intensity.
pub static PRILEPIN: Formula = Formula {
    id: "volume.prilepin",
    name: "Repetitions by zone of intensity, classic weightlifting",
    rule: "below 70 %: 3-6, 18-30, 24; 70-79: 3-6, 12-24, 18; 80-89: 2-4, 10-20, 15; from 90: \
           1-2, 4-10, 7",
    source: "table of Prilepin, as printed on two coaching pages",
    standing: Standing::Secondary,
    domain: "snatch and clean and jerk; a guide, no score",
    units: &[
        ("set_low", "repetitions"),
        ("set_high", "repetitions"),
        ("total_low", "repetitions"),
        ("total_high", "repetitions"),
        ("middle", "repetitions"),
    ],
    trap: "prints differ at the edges; hard steps there mean nothing; not for squats or chin-ups",
    caution: Some(Caution::TechnicalLift),
    inputs: &[Input::number("percent", "% of the maximum", 40.0, 100.0)],
    example: &[("percent", "82")],
    run: |a| Ok(prilepin(a.number("percent")?).into()),
    ..Formula::BLANK
};

/// The guide at `percent` of the maximum.
///
/// # Errors
/// An input outside its limits.
pub fn prilepin(percent: f64) -> Computation<Zone> {
    PRILEPIN.compute(given![percent], |_| {
        let (set_low, set_high, total_low, total_high, middle) = match percent {
            p if p < 70.0 => (3.0, 6.0, 18.0, 30.0, 24.0),
            p if p < 80.0 => (3.0, 6.0, 12.0, 24.0, 18.0),
            p if p < 90.0 => (2.0, 4.0, 10.0, 20.0, 15.0),
            _ => (1.0, 2.0, 4.0, 10.0, 7.0),
        };
        Ok(Zone { set_low, set_high, total_low, total_high, middle })
    })
}

/// Every formula of this file.
pub static ALL: &[&Formula] = &[&LOAD, &BODYWEIGHT, &HOLDS, &CONTACTS, &CONTACT_GUIDE, &PRILEPIN];
