//! A prescription in one line, as coaches write it: "3x5 @ 82.5%, rest 3:00". Read and printed; what was printed
//! reads back. Knows no screen; names of exercises are handed in.
//!
//! Sets and dose: `3x5`, `3x8-10`, `3x6 each`, `3x30 s`, `3x20 s each`, `4x60 m`, `3x10 contacts`, `3x limit`,
//! `3 sets`. How hard, after `@`: `80 kg`, `82.5%`, `75% of Back squat`, `50% body`, `95% best`, `effort 8`,
//! `2 left`, `0.5-0.65 m/s`, `within 7.2 s`. Sets that differ: `5 @ 75%; 3 @ 82.5%; 2x1 @ 90%`. Then, after
//! commas: `rest 3:00`, `pause 2 s`, `tempo 3-1-1`, `bar 0.5-0.65 m/s`, `stop 20%`.

use backstraight_core::base::key::Key;
use backstraight_core::model::number::{Count, Duration, Rest, Share, Text};
use backstraight_core::model::packed::{Dose, Intensity, WaveSet, Waves};
use backstraight_core::model::plan::Prescription;

use crate::parse::{self, Lengths, Masses, Mistake};
use crate::words::{say, say_with};

/// Most sets that are written out one by one.
const MOST_WAVES: usize = 20;

/// What a line holds of a prescription.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Line {
    /// Sets.
    pub sets: Count,
    /// How much each asks.
    pub dose: Option<Dose>,
    /// How hard.
    pub intensity: Option<Intensity>,
    /// Sets that differ.
    pub waves: Option<Waves>,
    /// Rest.
    pub rest: Option<Rest>,
    /// Length of a pause.
    pub pause: Option<Duration>,
    /// Tempo.
    pub tempo: Option<Text<24>>,
    /// Bar speed beside another intensity.
    pub band: Option<Intensity>,
    /// Where to stop.
    pub stop_loss: Option<Share>,
}

/// Names of exercises, both ways, and the unit of loads.
#[derive(Clone, Copy)]
pub struct Names<'a> {
    /// The exercise of a name.
    pub key: &'a dyn Fn(&str) -> Option<Key>,
    /// The name of an exercise.
    pub name: &'a dyn Fn(&Key) -> String,
    /// The unit.
    pub masses: Masses,
}

impl core::fmt::Debug for Names<'_> {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.debug_struct("Names").field("masses", &self.masses).finish_non_exhaustive()
    }
}

/// Which part is not understood, and why.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Unread {
    /// The part, as it was typed.
    pub part: String,
    /// Why.
    pub why: Why,
}

/// Why a part is not understood.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Why {
    /// No form that is known.
    Form,
    /// A number without its unit.
    Unit,
    /// No exercise of that name.
    Exercise,
    /// More sets written out than there may be.
    TooMany,
    /// The number itself.
    Number(Mistake),
}

impl Unread {
    fn of(part: &str, why: Why) -> Unread {
        Unread { part: part.trim().to_owned(), why }
    }

    /// What to do, for the line under a field.
    #[must_use]
    pub fn words(&self) -> String {
        let part = [("part", self.part.as_str())];
        match &self.why {
            Why::Form => say_with("written.form", &part),
            Why::Unit => say_with("written.unit", &part),
            Why::Exercise => say_with("written.exercise", &part),
            Why::TooMany => say("written.too-many").to_owned(),
            Why::Number(mistake) => {
                say_with("written.number", &[("part", self.part.as_str()), ("why", &mistake.words())])
            }
        }
    }
}

type Got<T> = Result<T, Unread>;

fn number<T>(part: &str, got: Result<T, Mistake>) -> Got<T> {
    got.map_err(|m| Unread::of(part, if m == Mistake::NotANumber { Why::Form } else { Why::Number(m) }))
}

impl Line {
    /// What a prescription says in a line.
    #[must_use]
    pub fn of(p: &Prescription) -> Line {
        Line {
            sets: p.sets,
            dose: p.dose,
            intensity: p.intensity.clone(),
            waves: p.waves.clone(),
            rest: p.rest,
            pause: p.pause,
            tempo: p.tempo.clone(),
            band: p.band.clone(),
            stop_loss: p.stop_loss,
        }
    }

    /// The prescription with what the line says; everything else stays.
    #[must_use]
    pub fn put(self, p: &Prescription) -> Prescription {
        let Line { sets, dose, intensity, waves, rest, pause, tempo, band, stop_loss } = self;
        Prescription { sets, dose, intensity, waves, rest, pause, tempo, band, stop_loss, ..p.clone() }
    }

    /// Reads a line.
    ///
    /// # Errors
    /// The first part that is not understood.
    pub fn read(text: &str, names: Names<'_>) -> Got<Line> {
        let text = text.replace('×', "x").replace(['–', '—'], "-");
        let mut parts = pieces(&text).into_iter();
        let main = parts.next().unwrap_or_default();
        let mut line = read_main(&main, names)?;
        for part in parts {
            line.extra(&part)?;
        }
        Ok(line)
    }

    fn extra(&mut self, part: &str) -> Got<()> {
        let trimmed = part.trim();
        let (word, rest) = trimmed.split_once(' ').unwrap_or((trimmed, ""));
        let rest = rest.trim();
        match word.to_lowercase().as_str() {
            "rest" => self.rest = Some(number(part, parse::rest(rest))?),
            "pause" => self.pause = Some(number(part, parse::time(rest))?),
            "tempo" if is_tempo(rest) => {
                self.tempo = Some(Text::new(rest).map_err(|_| Unread::of(part, Why::Form))?);
            }
            "bar" => match speeds(rest) {
                Some(band) => self.band = Some(band?),
                None => return Err(Unread::of(part, Why::Form)),
            },
            "stop" => self.stop_loss = Some(number(part, parse::share(rest))?),
            _ => return Err(Unread::of(part, Why::Form)),
        }
        Ok(())
    }

    /// The line as it is written.
    #[must_use]
    pub fn print(&self, names: Names<'_>) -> String {
        let mut out = match (&self.waves, &self.dose) {
            (Some(waves), _) if !waves.0.is_empty() => print_waves(waves, names),
            (_, Some(dose)) => format!("{}x{}", self.sets.get(), print_dose(dose)),
            (_, None) => format!("{} sets", self.sets.get()),
        };
        let written_out = self.waves.as_ref().is_some_and(|w| !w.0.is_empty());
        if let Some(hard) = self.intensity.as_ref().filter(|_| !written_out) {
            out.push_str(" @ ");
            out.push_str(&print_intensity(hard, names));
        }
        if let Some(rest) = self.rest {
            out.push_str(", rest ");
            out.push_str(&rest_words(rest));
        }
        if let Some(pause) = self.pause {
            out.push_str(&format!(", pause {} s", parse::time_text(pause)));
        }
        if let Some(tempo) = &self.tempo {
            out.push_str(&format!(", tempo {tempo}"));
        }
        if let Some(band) = &self.band {
            out.push_str(", bar ");
            out.push_str(&print_intensity(band, names));
        }
        if let Some(stop) = self.stop_loss {
            out.push_str(&format!(", stop {}%", parse::plain(stop.get(), 1)));
        }
        out
    }
}

fn rest_words(rest: Rest) -> String {
    if rest.get() < 60 { format!("{} s", rest.get()) } else { parse::rest_text(rest) }
}

/// Parts between commas. A comma between digits is a decimal sign, and one in the name of an exercise is not
/// followed by a word that begins a part.
fn pieces(text: &str) -> Vec<String> {
    const BEGIN: [&str; 5] = ["rest", "pause", "tempo", "bar", "stop"];
    let mut out = vec![String::new()];
    let mut rest = text;
    while let Some(at) = rest.find(',') {
        let (before, after) = rest.split_at(at);
        let after = after.get(1..).unwrap_or("");
        let word = after.split_whitespace().next().unwrap_or("").to_lowercase();
        if let Some(last) = out.last_mut() {
            last.push_str(before);
        }
        if BEGIN.contains(&word.as_str()) {
            out.push(String::new());
        } else if let Some(last) = out.last_mut() {
            last.push(',');
        }
        rest = after;
    }
    if let Some(last) = out.last_mut() {
        last.push_str(rest);
    }
    out
}

fn is_tempo(text: &str) -> bool {
    let fits = |p: &str| !p.is_empty() && p.len() <= 2 && p.bytes().all(|b| b.is_ascii_digit() || b == b'x');
    let parts: Vec<&str> = text.split('-').collect();
    (3..=4).contains(&parts.len()) && parts.iter().all(|p| fits(p))
}

fn read_main(main: &str, names: Names<'_>) -> Got<Line> {
    let mut waves = Vec::new();
    let mut only = None;
    let parts: Vec<&str> = main.split(';').map(str::trim).filter(|p| !p.is_empty()).collect();
    let written_out = main.contains(';');
    for part in &parts {
        let (left, hard) = match part.split_once('@') {
            Some((left, hard)) => (left.trim(), Some(read_intensity(hard, names)?)),
            None => (*part, None),
        };
        let (sets, dose) = read_sets(left)?;
        if written_out {
            let times = usize::try_from(sets.map_or(1, Count::get)).unwrap_or(1);
            if waves.len() + times > MOST_WAVES {
                return Err(Unread::of(main, Why::TooMany));
            }
            waves.extend(std::iter::repeat_n(WaveSet { dose, intensity: hard }, times));
        } else {
            only = Some((sets, dose, hard));
        }
    }
    let blank = |sets| Line {
        sets,
        dose: None,
        intensity: None,
        waves: None,
        rest: None,
        pause: None,
        tempo: None,
        band: None,
        stop_loss: None,
    };
    if let Some((sets, dose, intensity)) = only {
        let sets = sets.ok_or_else(|| Unread::of(main, Why::Form))?;
        return Ok(Line { dose, intensity, ..blank(sets) });
    }
    let n = i64::try_from(waves.len()).ok().and_then(|n| Count::new(n).ok());
    match n {
        Some(sets) => Ok(Line { waves: Some(Waves(waves)), ..blank(sets) }),
        None => Err(Unread::of(
            main,
            if main.trim().is_empty() { Why::Number(Mistake::Empty) } else { Why::Form },
        )),
    }
}

/// "3x5", "3 sets", "5" of a wave, "" of a wave.
fn read_sets(text: &str) -> Got<(Option<Count>, Option<Dose>)> {
    if let Some(n) = text.strip_suffix("sets").or_else(|| text.strip_suffix("set")) {
        return Ok((Some(number(text, parse::count(n.trim()))?), None));
    }
    let lower = text.to_lowercase();
    let split = lower.split_once('x').filter(|(n, _)| {
        let n = n.trim();
        !n.is_empty() && n.bytes().all(|b| b.is_ascii_digit())
    });
    match split {
        Some((n, dose)) => {
            let sets = number(text, parse::count(n.trim()))?;
            let dose = dose.trim();
            Ok((Some(sets), if dose.is_empty() { None } else { Some(read_dose(dose)?) }))
        }
        None if lower.trim().is_empty() => Ok((None, None)),
        None => Ok((None, Some(read_dose(lower.trim())?))),
    }
}

/// "5", "8-10", "6 each", "30 s", "20 s each", "60 m", "10 contacts", "limit".
///
/// # Errors
/// When it is none of them.
pub fn read_dose(text: &str) -> Got<Dose> {
    let text = text.trim();
    if text == "limit" {
        return Ok(Dose::ToLimit);
    }
    let each = ["each side", "each", "/side"].iter().find_map(|w| text.strip_suffix(w)).map(str::trim);
    let body = each.unwrap_or(text);
    let body = ["reps", "rep"].iter().find_map(|w| body.strip_suffix(w)).map_or(body, str::trim);
    let held = ["min", "s"].iter().find_map(|u| body.strip_suffix(u).map(|n| (n.trim(), *u)));
    if let Some(n) = body.strip_suffix("contacts").or_else(|| body.strip_suffix("contact")) {
        return match each {
            None => Ok(Dose::Contacts(number(text, parse::reps(n.trim()))?)),
            Some(_) => Err(Unread::of(text, Why::Form)),
        };
    }
    if let Some((n, unit)) = held {
        let time = if unit == "min" {
            let tenths = number(text, parse::decimal(n, 1))?;
            let outside = || Unread::of(text, Why::Form);
            Duration::new(tenths.checked_mul(6_000).ok_or_else(outside)?).map_err(|_| outside())?
        } else {
            number(text, parse::time(n))?
        };
        return Ok(if each.is_some() { Dose::HoldPerSide(time) } else { Dose::Hold(time) });
    }
    if body.ends_with('m') {
        return match each {
            None => Ok(Dose::Distance(number(text, parse::length(body, Lengths::Metres))?)),
            Some(_) => Err(Unread::of(text, Why::Form)),
        };
    }
    match (body.split_once('-'), each) {
        (None, Some(_)) => Ok(Dose::RepsPerSide(number(text, parse::reps(body))?)),
        (None, None) => {
            let n = number(text, parse::reps(body))?;
            Ok(Dose::Reps(n, n))
        }
        (Some((a, b)), None) => {
            let (a, b) = (number(text, parse::reps(a))?, number(text, parse::reps(b))?);
            if a <= b { Ok(Dose::Reps(a, b)) } else { Err(Unread::of(text, Why::Form)) }
        }
        (Some(_), Some(_)) => Err(Unread::of(text, Why::Form)),
    }
}

/// A dose as it is written.
#[must_use]
pub fn print_dose(dose: &Dose) -> String {
    match dose {
        Dose::Reps(a, b) if a == b => a.get().to_string(),
        Dose::Reps(a, b) => format!("{}-{}", a.get(), b.get()),
        Dose::RepsPerSide(n) => format!("{} each", n.get()),
        Dose::Hold(t) => format!("{} s", parse::time_text(*t)),
        Dose::HoldPerSide(t) => format!("{} s each", parse::time_text(*t)),
        Dose::Distance(d) => format!("{} m", parse::length_text(*d, Lengths::Metres)),
        Dose::Contacts(n) => format!("{} contacts", n.get()),
        Dose::ToLimit => "limit".to_owned(),
    }
}

/// A band of bar speed; none when the text is not in m/s.
fn speeds(text: &str) -> Option<Got<Intensity>> {
    let body = text.trim().strip_suffix("m/s")?;
    Some(match body.split_once('-') {
        None => number(text, parse::speed(body)).map(|v| Intensity::SpeedBand(v, v)),
        Some((a, b)) => number(text, parse::speed(a)).and_then(|a| {
            let b = number(text, parse::speed(b))?;
            if a <= b { Ok(Intensity::SpeedBand(a, b)) } else { Err(Unread::of(text, Why::Form)) }
        }),
    })
}

/// "80 kg", "82.5%", "75% of Back squat", "50% body", "95% best", "effort 8", "2 left", "0.5-0.65 m/s",
/// "within 7.2 s".
///
/// # Errors
/// When it is none of them.
pub fn read_intensity(text: &str, names: Names<'_>) -> Got<Intensity> {
    let text = text.trim();
    let lower = text.to_lowercase();
    if let Some(band) = speeds(&lower) {
        return band;
    }
    if let Some((share, of)) = text.split_once('%') {
        let share = number(text, parse::share(share))?;
        let of = of.trim();
        let of = of.strip_prefix("of ").unwrap_or(of).trim();
        return match of.to_lowercase().as_str() {
            "" | "max" => Ok(Intensity::OfMax(share, None)),
            "body" | "body mass" => Ok(Intensity::OfMass(share)),
            "best" | "best speed" => Ok(Intensity::OfBest(share)),
            _ => match (names.key)(of) {
                Some(key) => Ok(Intensity::OfMax(share, Some(key))),
                None => Err(Unread::of(of, Why::Exercise)),
            },
        };
    }
    if let Some(n) = lower.strip_prefix("effort") {
        return Ok(Intensity::Effort(number(text, parse::effort(n))?));
    }
    if let Some(n) = lower.strip_suffix("left").or_else(|| lower.strip_suffix("in reserve")) {
        return Ok(Intensity::Reserve(number(text, parse::reserve(n))?));
    }
    if let Some(t) = lower.strip_prefix("within") {
        return Ok(Intensity::Within(number(text, parse::time(t))?));
    }
    if lower.ends_with("kg") {
        return Ok(Intensity::Load(number(text, parse::load(&lower, Masses::Kilograms))?));
    }
    if lower.ends_with("lb") || lower.ends_with("lbs") {
        return Ok(Intensity::Load(number(text, parse::load(&lower, Masses::Pounds))?));
    }
    let bare = parse::decimal(&lower, 3).is_ok();
    Err(Unread::of(text, if bare { Why::Unit } else { Why::Form }))
}

/// An intensity as it is written.
#[must_use]
pub fn print_intensity(hard: &Intensity, names: Names<'_>) -> String {
    let percent = |s: &Share| parse::plain(s.get(), 1);
    match hard {
        Intensity::Load(l) => format!("{} {}", parse::load_text(*l, names.masses), names.masses.unit()),
        Intensity::OfMax(s, None) => format!("{}%", percent(s)),
        Intensity::OfMax(s, Some(k)) => format!("{}% of {}", percent(s), (names.name)(k)),
        Intensity::OfMass(s) => format!("{}% body", percent(s)),
        Intensity::Effort(e) => format!("effort {}", parse::plain(e.get(), 1)),
        Intensity::Reserve(r) => format!("{} left", parse::plain(r.get(), 1)),
        Intensity::SpeedBand(a, b) if a == b => format!("{} m/s", parse::plain(a.get(), 3)),
        Intensity::SpeedBand(a, b) => {
            format!("{}-{} m/s", parse::plain(a.get(), 3), parse::plain(b.get(), 3))
        }
        Intensity::Within(t) => format!("within {} s", parse::time_text(*t)),
        Intensity::OfBest(s) => format!("{}% best", percent(s)),
    }
}

/// Equal neighbours together. Sets that are written out are known by a semicolon, so one alone ends with it.
fn print_waves(waves: &Waves, names: Names<'_>) -> String {
    let mut runs: Vec<(usize, &WaveSet)> = Vec::new();
    for set in &waves.0 {
        match runs.last_mut() {
            Some((n, last)) if *last == set => *n += 1,
            _ => runs.push((1, set)),
        }
    }
    let mut parts: Vec<String> = Vec::new();
    let single = runs.len() == 1;
    for (n, set) in runs {
        let dose = set.dose.as_ref().map(print_dose).unwrap_or_default();
        let hard = set.intensity.as_ref().map(|x| format!("@ {}", print_intensity(x, names)));
        let one = [dose, hard.unwrap_or_default()].join(" ").trim().to_owned();
        if single {
            parts.extend(std::iter::repeat_n(one, n));
        } else {
            parts.push(if n == 1 { one } else { format!("{n}x{one}") });
        }
    }
    if parts.len() == 1 { parts.concat() + ";" } else { parts.join("; ") }
}

#[cfg(test)]
#[path = "written_tests.rs"]
mod tests;
