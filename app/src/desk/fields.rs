//! Fields of sessions, groups and prescriptions as text: printed for a field, and read from what was typed into a
//! changed record. Plain functions; an emptied field is none.

use backstraight_core::base::key::Key;
use backstraight_core::model::number::{Landing, Name, Note, Side, Small, Spacing, Text};
use backstraight_core::model::packed::{Dose, Intensity, Keys, Lengths as LengthList, Offsets};
use backstraight_core::model::plan::{Group, Prescription, Session};
use backstraight_core::model::rule::Rule;

use super::written::{self, Names};
use crate::parse::{self, Lengths, Mistake};
use crate::words::{Word, say, word};
use backstraight_core::view::show;

/// What became of a text: the changed record, or what is wrong.
pub type Read<R> = Result<R, String>;

fn option<T>(text: &str, read: impl FnOnce(&str) -> Result<T, Mistake>) -> Read<Option<T>> {
    let text = text.trim();
    if text.is_empty() { Ok(None) } else { read(text).map(Some).map_err(|m| m.words()) }
}

/// A short text that may be left out.
///
/// # Errors
/// When it is too long.
pub fn name<const N: usize>(text: &str) -> Read<Option<Text<N>>> {
    let text = text.trim();
    if text.is_empty() { Ok(None) } else { Text::new(text).map(Some).map_err(|e| e.to_string()) }
}

/// A title, which may not be left out.
///
/// # Errors
/// When it is empty or too long.
pub fn title(text: &str) -> Read<Name> {
    name(text)?.ok_or_else(|| Mistake::Empty.words())
}

/// A small whole number that may be left out.
///
/// # Errors
/// When it is none.
pub fn small(text: &str) -> Read<Option<Small>> {
    option(text, |t| {
        let n = parse::decimal(t, 0)?;
        let outside = |_| Mistake::Outside { least: "0".to_owned(), most: "200".to_owned(), unit: "" };
        Small::new(n).map_err(outside)
    })
}

fn shown<T: ToString>(value: Option<&T>) -> String {
    value.map_or_else(String::new, ToString::to_string)
}

macro_rules! fields {
    ($( $(#[$doc:meta])* $name:ident { $( $(#[$vdoc:meta])* $variant:ident = $label:expr, )+ } )*) => { $(
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq)]
        pub enum $name { $( $(#[$vdoc])* $variant, )+ }

        impl $name {
            /// All of them, in the order of the form.
            pub const ALL: &'static [$name] = &[ $( $name::$variant, )+ ];

            /// Its label.
            #[must_use]
            pub const fn label(self) -> Word {
                match self { $( $name::$variant => $label, )+ }
            }
        }
    )* };
}

fields! {
    /// Fields of a session.
    OfSession {
        /// Title.
        Title = word("field.title"),
        /// Day.
        Day = word("field.day"),
        /// Start.
        Starts = word("field.starts"),
        /// Minutes.
        Minutes = word("field.minutes"),
        /// Effort.
        Effort = word("field.effort"),
        /// Focus.
        Focus = word("field.focus"),
        /// Words.
        Note = word("field.note"),
    }
    /// Fields of a group.
    OfGroup {
        /// Rounds.
        Rounds = word("field.rounds"),
        /// Rest between rounds.
        Rest = word("field.round-rest"),
        /// Rest between exercises.
        Change = word("field.change"),
        /// Words.
        Note = word("field.note"),
    }
    /// Fields of a prescription that are typed.
    OfItem {
        /// Sets.
        Sets = word("field.sets"),
        /// Dose.
        Dose = word("field.dose"),
        /// Intensity.
        Intensity = word("field.intensity"),
        /// Rest.
        Rest = word("field.rest"),
        /// Pause.
        Pause = word("field.pause"),
        /// Where the pause is.
        PauseAt = word("field.pause-at"),
        /// Tempo.
        Tempo = word("field.tempo"),
        /// Range.
        Range = word("field.range"),
        /// Stance or grip.
        Stance = word("field.stance"),
        /// What is held.
        Implement = word("field.implement"),
        /// Hurdles, cones or boxes.
        Hurdles = word("field.hurdles"),
        /// Their height.
        Height = word("field.height"),
        /// Gaps.
        Gaps = word("field.gaps"),
        /// Offsets.
        Lateral = word("field.lateral"),
        /// Contacts of a set.
        Contacts = word("field.contacts"),
        /// Steps between hurdles.
        Steps = word("field.steps"),
        /// Distance between hurdles of a run.
        UnitGap = word("field.unit-gap"),
        /// Run-up.
        RunUp = word("field.run-up"),
        /// Surface.
        Surface = word("field.surface"),
        /// Bar speed beside another intensity.
        Band = word("field.band"),
        /// Where to stop.
        StopLoss = word("field.stop-loss"),
        /// A cue in own words.
        Cue = word("field.cue"),
        /// Rule of progression.
        Rule = word("field.rule"),
        /// Words.
        Note = word("field.note"),
    }
}

/// A session's field as text.
#[must_use]
pub fn print_session(s: &Session, field: OfSession) -> String {
    match field {
        OfSession::Title => s.title.to_string(),
        OfSession::Day => s.date.to_string(),
        OfSession::Starts => s.starts.map_or_else(String::new, show::clock),
        OfSession::Minutes => s.minutes.map_or_else(String::new, |m| m.get().to_string()),
        OfSession::Effort => s.effort.map_or_else(String::new, |e| parse::plain(e.get(), 1)),
        OfSession::Focus => shown(s.focus.as_ref()),
        OfSession::Note => shown(s.note.as_ref()),
    }
}

/// A session with one field as it was typed.
///
/// # Errors
/// What is wrong with it.
pub fn read_session(s: &Session, field: OfSession, text: &str) -> Read<Session> {
    let mut s = s.clone();
    match field {
        OfSession::Title => s.title = title(text)?,
        OfSession::Day => s.date = parse::day(text).map_err(|m| m.words())?,
        OfSession::Starts => s.starts = option(text, parse::minute_of_day)?,
        OfSession::Minutes => s.minutes = option(text, parse::minutes)?,
        OfSession::Effort => s.effort = option(text, parse::effort)?,
        OfSession::Focus => s.focus = name(text)?,
        OfSession::Note => s.note = note(text)?,
    }
    Ok(s)
}

fn note(text: &str) -> Read<Option<Note>> {
    name(text)
}

/// A group's field as text.
#[must_use]
pub fn print_group(g: &Group, field: OfGroup) -> String {
    let rest =
        |r: Option<backstraight_core::model::number::Rest>| r.map_or_else(String::new, parse::rest_text);
    match field {
        OfGroup::Rounds => g.rounds.map_or_else(String::new, |n| n.get().to_string()),
        OfGroup::Rest => rest(g.rest),
        OfGroup::Change => rest(g.change),
        OfGroup::Note => shown(g.note.as_ref()),
    }
}

/// A group with one field as it was typed.
///
/// # Errors
/// What is wrong with it.
pub fn read_group(g: &Group, field: OfGroup, text: &str) -> Read<Group> {
    let mut g = g.clone();
    match field {
        OfGroup::Rounds => g.rounds = option(text, parse::count)?,
        OfGroup::Rest => g.rest = option(text, parse::rest)?,
        OfGroup::Change => g.change = option(text, parse::rest)?,
        OfGroup::Note => g.note = note(text)?,
    }
    Ok(g)
}

/// A prescription's field as text.
#[must_use]
pub fn print_item(p: &Prescription, field: OfItem, names: Names<'_>) -> String {
    let metres = |l| parse::length_text(l, Lengths::Metres);
    match field {
        OfItem::Sets => p.sets.get().to_string(),
        OfItem::Dose => p.dose.as_ref().map(written::print_dose).unwrap_or_default(),
        OfItem::Intensity => hard(p.intensity.as_ref(), names),
        OfItem::Rest => p.rest.map_or_else(String::new, parse::rest_text),
        OfItem::Pause => p.pause.map_or_else(String::new, parse::time_text),
        OfItem::PauseAt => shown(p.pause_at.as_ref()),
        OfItem::Tempo => shown(p.tempo.as_ref()),
        OfItem::Range => shown(p.range.as_ref()),
        OfItem::Stance => shown(p.stance.as_ref()),
        OfItem::Implement => shown(p.implement.as_ref()),
        OfItem::Hurdles => p.hurdles.map_or_else(String::new, |n| n.get().to_string()),
        OfItem::Height => p.height.map_or_else(String::new, |l| parse::length_text(l, Lengths::Centimetres)),
        OfItem::Gaps => print_gaps(p),
        OfItem::Lateral => p.lateral.as_ref().map_or_else(String::new, |o| {
            o.0.iter().map(|v| parse::plain(v.get(), 1)).collect::<Vec<_>>().join(" ")
        }),
        OfItem::Contacts => p.contacts.map_or_else(String::new, |n| n.get().to_string()),
        OfItem::Steps => p.steps.map_or_else(String::new, |n| n.get().to_string()),
        OfItem::UnitGap => p.unit_gap.map_or_else(String::new, metres),
        OfItem::RunUp => p.run_up.map_or_else(String::new, metres),
        OfItem::Surface => shown(p.surface.as_ref()),
        OfItem::Band => hard(p.band.as_ref(), names),
        OfItem::StopLoss => p.stop_loss.map_or_else(String::new, |s| parse::plain(s.get(), 1)),
        OfItem::Cue => shown(p.cue.as_ref()),
        OfItem::Rule => p.rule.as_ref().map_or_else(String::new, print_rule),
        OfItem::Note => shown(p.note.as_ref()),
    }
}

fn hard(value: Option<&Intensity>, names: Names<'_>) -> String {
    value.map_or_else(String::new, |x| written::print_intensity(x, names))
}

/// A prescription with one field as it was typed.
///
/// # Errors
/// What is wrong with it.
pub fn read_item(p: &Prescription, field: OfItem, text: &str, names: Names<'_>) -> Read<Prescription> {
    let mut p = p.clone();
    let metres = |t: &str| parse::length(t, Lengths::Metres);
    let text = text.trim();
    match field {
        OfItem::Sets => p.sets = parse::count(text).map_err(|m| m.words())?,
        OfItem::Dose => p.dose = dose(text)?,
        OfItem::Intensity => p.intensity = intensity(text, names)?,
        OfItem::Rest => p.rest = option(text, parse::rest)?,
        OfItem::Pause => p.pause = option(text, parse::time)?,
        OfItem::PauseAt => p.pause_at = name(text)?,
        OfItem::Tempo => p.tempo = name(text)?,
        OfItem::Range => p.range = name(text)?,
        OfItem::Stance => p.stance = name(text)?,
        OfItem::Implement => p.implement = name(text)?,
        OfItem::Hurdles => p.hurdles = small(text)?,
        OfItem::Height => p.height = option(text, |t| parse::length(t, Lengths::Centimetres))?,
        OfItem::Gaps => read_gaps(&mut p, text)?,
        OfItem::Lateral => p.lateral = offsets(text)?,
        OfItem::Contacts => p.contacts = option(text, parse::reps)?,
        OfItem::Steps => p.steps = small(text)?,
        OfItem::UnitGap => p.unit_gap = option(text, metres)?,
        OfItem::RunUp => p.run_up = option(text, metres)?,
        OfItem::Surface => p.surface = name(text)?,
        OfItem::Band => {
            p.band = match intensity(text, names)? {
                None => None,
                Some(band @ Intensity::SpeedBand(..)) => Some(band),
                Some(_) => return Err(say("field.band.wrong").to_owned()),
            }
        }
        OfItem::StopLoss => p.stop_loss = option(text, parse::share)?,
        OfItem::Cue => p.cue = name(text)?,
        OfItem::Rule => p.rule = rule(text)?,
        OfItem::Note => p.note = note(text)?,
    }
    Ok(p)
}

fn dose(text: &str) -> Read<Option<Dose>> {
    if text.is_empty() { Ok(None) } else { written::read_dose(text).map(Some).map_err(|e| e.words()) }
}

fn intensity(text: &str, names: Names<'_>) -> Read<Option<Intensity>> {
    if text.is_empty() {
        return Ok(None);
    }
    written::read_intensity(text, names).map(Some).map_err(|e| e.words())
}

/// "1.2 m" for even, "1 / 1.4 m" for close and far, "1; 1.2; 1.1 m" for gaps one by one.
fn print_gaps(p: &Prescription) -> String {
    let Some(gaps) = p.gaps.as_ref().filter(|g| !g.0.is_empty()) else { return String::new() };
    let list: Vec<String> = gaps.0.iter().map(|g| parse::length_text(*g, Lengths::Metres)).collect();
    let sign = if p.spacing == Some(Spacing::CloseFar) { " / " } else { "; " };
    format!("{} m", list.join(sign))
}

fn read_gaps(p: &mut Prescription, text: &str) -> Read<()> {
    if text.is_empty() {
        (p.gaps, p.spacing) = (None, None);
        return Ok(());
    }
    let body = text.strip_suffix('m').unwrap_or(text);
    let pair = body.contains('/');
    let read = |t: &str| parse::length(t, Lengths::Metres).map_err(|m| m.words());
    let list: Vec<_> = body.split(['/', ';']).map(read).collect::<Result<_, _>>()?;
    let spacing = match (pair, list.len()) {
        (true, 2) => Spacing::CloseFar,
        (true, _) => return Err(say("field.gaps.hint").to_owned()),
        (false, 1) => Spacing::Even,
        (false, n) if n <= 40 => {
            // As many gaps, one hurdle more.
            p.hurdles = i64::try_from(n + 1).ok().and_then(|n| Small::new(n).ok());
            Spacing::Listed
        }
        (false, _) => return Err(say("field.gaps.hint").to_owned()),
    };
    (p.gaps, p.spacing) = (Some(LengthList(list)), Some(spacing));
    Ok(())
}

fn offsets(text: &str) -> Read<Option<Offsets>> {
    use backstraight_core::model::number::Offset;
    if text.is_empty() {
        return Ok(None);
    }
    let one = |t: &str| {
        let n = parse::decimal(t, 1)?;
        Offset::new(n).map_err(|_| Mistake::Outside {
            least: "-10000".into(),
            most: "10000".into(),
            unit: "cm",
        })
    };
    let all: Vec<Offset> =
        text.split_whitespace().map(one).collect::<Result<_, _>>().map_err(|m| m.words())?;
    if all.len() > 40 { Err(Mistake::Form("-30 30").words()) } else { Ok(Some(Offsets(all))) }
}

/// A rule as it is typed: "+2.5 kg", "+2.5 kg, every 4 weeks 90%", "+2.5%", "6-10 reps then +2.5 kg",
/// "0.5-0.65 m/s then 2.5 kg". A table is not typed; it stays as it is.
#[must_use]
pub fn print_rule(rule: &Rule) -> String {
    let kg = |l: &backstraight_core::model::number::Load| parse::plain(l.get(), 2);
    let easy = |e: &Option<backstraight_core::model::rule::Easy>| {
        e.map_or_else(String::new, |e| {
            format!(", every {} weeks {}%", e.every.get(), parse::plain(e.share.get(), 1))
        })
    };
    match rule {
        Rule::AddLoad { step, easy: e } => format!("+{} kg{}", kg(step), easy(e)),
        Rule::AddShare { step, easy: e } => format!("+{}%{}", parse::plain(step.get(), 1), easy(e)),
        Rule::RepsThenLoad { low, high, step } => {
            format!("{}-{} reps then +{} kg", low.get(), high.get(), kg(step))
        }
        Rule::BySpeed { slow, fast, step } => {
            let ms = |n: i64| parse::plain(n, 3);
            format!("{}-{} m/s then {} kg", ms(slow.get()), ms(fast.get()), kg(step))
        }
        table @ Rule::Table(_) => table.to_string(),
    }
}

fn rule(text: &str) -> Read<Option<Rule>> {
    if text.is_empty() {
        return Ok(None);
    }
    let wrong = || say("field.rule.wrong").to_owned();
    if text.starts_with("table ") {
        return text.parse().map(Some).map_err(|_| wrong());
    }
    let number = |t: &str, places| parse::decimal(t, places).map_err(|_| wrong());
    let (body, easy) = match text.split_once(", every ") {
        None => (text, String::new()),
        Some((body, rest)) => {
            let (n, share) = rest.split_once(" weeks").ok_or_else(wrong)?;
            let share = share.trim().strip_suffix('%').ok_or_else(wrong)?;
            (body, format!(" easy {} {}", number(n, 0)?, number(share, 1)?))
        }
    };
    let kg = |t: &str| -> Read<i64> {
        number(t.trim().trim_start_matches('+').strip_suffix("kg").ok_or_else(wrong)?, 2)
    };
    let packed = match body.split_once("then") {
        Some((range, step)) if easy.is_empty() => {
            let range = range.trim();
            if let Some(reps) = range.strip_suffix("reps") {
                format!("reps {} load {}", reps.trim(), kg(step)?)
            } else {
                let (slow, fast) =
                    range.strip_suffix("m/s").and_then(|r| r.split_once('-')).ok_or_else(wrong)?;
                format!("speed {}-{} load {}", number(slow, 3)?, number(fast, 3)?, kg(step)?)
            }
        }
        Some(_) => return Err(wrong()),
        None => match body.trim().strip_suffix('%') {
            Some(share) => format!("share {}{easy}", number(share.trim_start_matches('+'), 1)?),
            None => format!("load {}{easy}", kg(body)?),
        },
    };
    packed.parse().map(Some).map_err(|_| wrong())
}

/// A list of keys with one more or one less; none when it becomes empty.
#[must_use]
pub fn turned(keys: Option<&Keys>, key: &Key) -> Option<Keys> {
    let mut list = keys.map_or_else(Vec::new, |k| k.0.clone());
    match list.iter().position(|k| k == key) {
        Some(at) => drop(list.remove(at)),
        None => list.push(key.clone()),
    }
    (!list.is_empty()).then_some(Keys(list))
}

/// Word of a side, for a list; the first stands for none.
#[must_use]
pub fn side(text: &str) -> Option<Side> {
    text.parse().ok()
}

/// Word of a landing.
#[must_use]
pub fn landing(text: &str) -> Option<Landing> {
    text.parse().ok()
}

#[cfg(test)]
#[path = "fields_tests.rs"]
mod tests;
