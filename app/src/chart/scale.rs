//! From values to places: scales, round ticks in steps of 1, 2 and 5, ticks on days. Plain arithmetic.

use backstraight_core::base::day::Day;

use super::NoChart;

/// Farthest value that is drawn.
const FAR: f64 = 1e12;

/// A straight line from values to places.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Scale {
    least: f64,
    most: f64,
    from: f64,
    to: f64,
}

impl Scale {
    /// From `least` at `from` to `most` at `to`. A single value stands in the middle.
    ///
    /// # Errors
    /// When a number is not finite or too far away.
    pub fn new(least: f64, most: f64, from: f64, to: f64) -> Result<Scale, NoChart> {
        for n in [least, most, from, to] {
            drawable(n)?;
        }
        Ok(Scale { least, most, from, to })
    }

    /// The place of a value; values beyond the ends stay at the ends.
    ///
    /// # Errors
    /// When the value is not finite or too far away.
    pub fn at(&self, value: f64) -> Result<f64, NoChart> {
        drawable(value)?;
        let range = self.most - self.least;
        let share = if range > 0.0 { ((value - self.least) / range).clamp(0.0, 1.0) } else { 0.5 };
        Ok(self.from + share * (self.to - self.from))
    }
}

/// A number that may be drawn.
fn drawable(n: f64) -> Result<f64, NoChart> {
    if !n.is_finite() {
        Err(NoChart::NotFinite)
    } else if n.abs() > FAR {
        Err(NoChart::TooFar)
    } else {
        Ok(n)
    }
}

/// Least and most of some values.
///
/// # Errors
/// When there are none, or one is not finite.
pub fn range(values: impl IntoIterator<Item = f64>) -> Result<(f64, f64), NoChart> {
    let mut found: Option<(f64, f64)> = None;
    for value in values {
        let value = drawable(value)?;
        found = Some(found.map_or((value, value), |(a, b)| (a.min(value), b.max(value))));
    }
    found.ok_or(NoChart::Empty)
}

/// Round values along an axis.
#[derive(Debug, Clone, PartialEq)]
pub struct Ticks {
    /// The values, from the least to the most.
    pub at: Vec<f64>,
    /// Places after the decimal sign that tell them apart.
    pub decimals: usize,
}

impl Ticks {
    /// A tick's value as text.
    #[must_use]
    pub fn text(&self, value: f64) -> String {
        number(value, self.decimals)
    }

    /// Both ends.
    #[must_use]
    pub fn ends(&self) -> (f64, f64) {
        (self.at.first().copied().unwrap_or(0.0), self.at.last().copied().unwrap_or(1.0))
    }
}

/// A number with a true minus sign, and none before zero.
#[must_use]
pub fn number(value: f64, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    match text.strip_prefix('-') {
        Some(rest) if rest.bytes().all(|b| matches!(b, b'0' | b'.')) => rest.to_owned(),
        Some(rest) => format!("\u{2212}{rest}"),
        None => text,
    }
}

/// Round ticks that hold `least` and `most` between them, about `about` of them, in steps of 1, 2 or 5 times
/// a power of ten.
///
/// # Errors
/// When an end is not finite or too far away.
pub fn ticks(least: f64, most: f64, about: u8) -> Result<Ticks, NoChart> {
    let (mut low, mut high) = (drawable(least.min(most))?, drawable(least.max(most))?);
    // f64::min passes over NaN, so both are looked at.
    drawable(least)?;
    drawable(most)?;
    let size = low.abs().max(high.abs());
    if high - low <= size * 1e-9 {
        let room = if size > 0.0 { size * 0.05 } else { 1.0 };
        (low, high) = (low - room, high + room);
    }
    let raw = (high - low) / f64::from(about.max(1));
    let power = raw.log10().floor();
    let mut step = 10.0 * 10_f64.powf(power);
    for nice in [5.0, 2.0, 1.0] {
        // A hair of tolerance, so that 0.3 / 3 takes a step of 0.1.
        if nice * 10_f64.powf(power) >= raw * (1.0 - 1e-9) {
            step = nice * 10_f64.powf(power);
        }
    }
    let (first, last) = ((low / step + 1e-9).floor(), (high / step - 1e-9).ceil());
    let mut at = Vec::new();
    let mut i = first;
    while i <= last && at.len() < 64 {
        at.push(i * step);
        i += 1.0;
    }
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "between 0 and 12 after clamping"
    )]
    let decimals = (-(step.log10() + 1e-9).floor()).clamp(0.0, 12.0) as usize;
    Ok(Ticks { at, decimals })
}

/// Days along an axis from `first` to `last`, at most `most` of them: each day, each second one, or Mondays
/// one, two, four, eight and so on weeks apart.
#[must_use]
pub fn day_ticks(first: Day, last: Day, most: u8) -> Vec<Day> {
    let span = last.since(first);
    if span < 0 {
        return Vec::new();
    }
    let most = i32::from(most.max(1));
    let step = [1, 2, 7, 14, 28, 56, 112, 224, 448].into_iter().find(|s| span / s < most).unwrap_or(896);
    let mut day = if step < 7 { first } else { first.plus(6).week_start() };
    let mut all = Vec::new();
    while last.since(day) >= 0 && all.len() < 64 {
        all.push(day);
        day = day.plus(step);
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(least: f64, most: f64, about: u8) -> Vec<String> {
        let t = ticks(least, most, about).unwrap();
        t.at.iter().map(|v| t.text(*v)).collect()
    }

    #[test]
    fn a_scale_goes_both_ways_and_stops_at_its_ends() {
        let up = Scale::new(0.0, 10.0, 0.0, 100.0).unwrap();
        assert_eq!(up.at(2.5), Ok(25.0));
        assert_eq!(up.at(-1.0), Ok(0.0));
        assert_eq!(up.at(11.0), Ok(100.0));
        // Screens count downwards.
        let down = Scale::new(60.0, 80.0, 180.0, 20.0).unwrap();
        assert_eq!(down.at(60.0), Ok(180.0));
        assert_eq!(down.at(75.0), Ok(60.0));
        assert_eq!(Scale::new(5.0, 5.0, 0.0, 100.0).unwrap().at(5.0), Ok(50.0));
    }

    #[test]
    fn what_is_no_number_gets_no_place() {
        let s = Scale::new(0.0, 1.0, 0.0, 1.0).unwrap();
        for bad in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
            assert_eq!(s.at(bad), Err(NoChart::NotFinite));
            assert_eq!(Scale::new(bad, 1.0, 0.0, 1.0), Err(NoChart::NotFinite));
            assert_eq!(Scale::new(0.0, 1.0, 0.0, bad), Err(NoChart::NotFinite));
            assert_eq!(ticks(bad, 1.0, 5), Err(NoChart::NotFinite));
            assert_eq!(ticks(1.0, bad, 5), Err(NoChart::NotFinite));
            assert_eq!(range([1.0, bad]), Err(NoChart::NotFinite));
        }
        assert_eq!(s.at(1e13), Err(NoChart::TooFar));
        assert_eq!(ticks(0.0, f64::MAX, 5), Err(NoChart::TooFar));
        assert_eq!(range([]), Err(NoChart::Empty));
        assert_eq!(range([3.0, -1.0, 2.0]), Ok((-1.0, 3.0)));
    }

    #[test]
    fn ticks_are_round() {
        assert_eq!(at(0.0, 10.0, 5), ["0", "2", "4", "6", "8", "10"]);
        assert_eq!(at(0.0, 0.3, 3), ["0.0", "0.1", "0.2", "0.3"]);
        // 3.3 / 4 = 0.825: steps of 1.
        assert_eq!(at(70.1, 73.4, 4), ["70", "71", "72", "73", "74"]);
        assert_eq!(at(0.48, 0.61, 4), ["0.45", "0.50", "0.55", "0.60", "0.65"]);
        assert_eq!(at(-3.0, 4.0, 4), ["\u{2212}4", "\u{2212}2", "0", "2", "4"]);
        assert_eq!(at(0.0, 12_300.0, 4), ["0", "5000", "10000", "15000"]);
        assert_eq!(at(10.0, 0.0, 5), ["0", "2", "4", "6", "8", "10"]);
    }

    #[test]
    fn one_value_gets_room_on_both_sides() {
        assert_eq!(at(0.0, 0.0, 2), ["\u{2212}1", "0", "1"]);
        let t = ticks(100.0, 100.0, 4).unwrap();
        assert!(t.ends().0 < 100.0 && t.ends().1 > 100.0, "{t:?}");
    }

    #[test]
    fn ticks_always_hold_the_values_and_are_few() {
        for low in [-1e12, -5432.1, -0.001, 0.0, 1e-9, 0.37, 99.9, 1e11] {
            for range in [0.0, 1e-12, 1e-3, 0.7, 13.0, 9999.0, 1e10] {
                for about in [1, 2, 4, 7] {
                    let Ok(t) = ticks(low, low + range, about) else { panic!("{low} {range}") };
                    let (a, b) = t.ends();
                    let hair = (b - a) * 1e-6;
                    assert!(a <= low + hair && b >= low + range - hair, "{low} {range} {about}: {t:?}");
                    assert!(
                        (2..=usize::from(about) + 3).contains(&t.at.len()),
                        "{low} {range} {about}: {t:?}"
                    );
                }
            }
        }
    }

    #[test]
    fn nothing_is_minus_nothing() {
        assert_eq!(number(-0.0, 1), "0.0");
        assert_eq!(number(-0.04, 1), "0.0");
        assert_eq!(number(-0.06, 1), "\u{2212}0.1");
    }

    #[test]
    fn days_become_mondays_when_there_are_many() {
        let day = |t: &str| t.parse::<Day>().unwrap();
        let text = |v: Vec<Day>| v.iter().map(ToString::to_string).collect::<Vec<_>>();
        let (wed, sat) = (day("2026-11-18"), day("2026-11-21"));
        assert_eq!(text(day_ticks(wed, sat, 4)), ["2026-11-18", "2026-11-19", "2026-11-20", "2026-11-21"]);
        assert_eq!(text(day_ticks(wed, sat, 2)), ["2026-11-18", "2026-11-20"]);
        // Five weeks from a Wednesday, four ticks at most: every second Monday.
        assert_eq!(text(day_ticks(wed, wed.plus(35), 4)), ["2026-11-23", "2026-12-07", "2026-12-21"]);
        assert_eq!(text(day_ticks(wed, wed, 4)), ["2026-11-18"]);
        assert!(day_ticks(sat, wed, 4).is_empty());
    }
}
