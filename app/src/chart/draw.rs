//! Paths and boxes from places. Everything that reaches an attribute of the drawing goes through here, so that
//! no "NaN" or "inf" ever does.

use super::NoChart;

/// A place in the drawing.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spot {
    /// From the left.
    pub x: f64,
    /// From the top.
    pub y: f64,
}

/// A coordinate as text, to a tenth.
///
/// # Errors
/// When it is no finite number.
pub fn place(n: f64) -> Result<String, NoChart> {
    if !n.is_finite() {
        return Err(NoChart::NotFinite);
    }
    let text = format!("{n:.1}");
    let text = text.strip_suffix(".0").unwrap_or(&text);
    Ok(if text == "-0" { "0".to_owned() } else { text.to_owned() })
}

/// A line through spots; where one is missing the line is broken.
///
/// # Errors
/// When a place is no finite number.
pub fn line(spots: &[Option<Spot>]) -> Result<String, NoChart> {
    let mut out = String::new();
    let mut pen_down = false;
    for spot in spots {
        let Some(spot) = spot else {
            pen_down = false;
            continue;
        };
        let sign = if pen_down { 'L' } else { 'M' };
        out.push(sign);
        out.push_str(&place(spot.x)?);
        out.push(' ');
        out.push_str(&place(spot.y)?);
        pen_down = true;
    }
    Ok(out)
}

/// The area between an upper and a lower edge, both from left to right.
///
/// # Errors
/// When a place is no finite number, or an edge has no spot.
pub fn area(upper: &[Spot], lower: &[Spot]) -> Result<String, NoChart> {
    if upper.is_empty() || lower.is_empty() {
        return Err(NoChart::Empty);
    }
    let around: Vec<Option<Spot>> = upper.iter().chain(lower.iter().rev()).copied().map(Some).collect();
    Ok(line(&around)? + "Z")
}

/// An upright box.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Slab {
    /// Left edge.
    pub x: f64,
    /// Upper edge.
    pub y: f64,
    /// Width.
    pub width: f64,
    /// Height.
    pub height: f64,
}

/// Boxes side by side between `from` and `to`, a quarter of each place left free: from each top down to
/// `foot`. A missing one leaves its place empty.
#[must_use]
pub fn slabs(tops: &[Option<f64>], from: f64, to: f64, foot: f64) -> Vec<Option<Slab>> {
    let n = tops.len();
    tops.iter()
        .enumerate()
        .map(|(i, top)| {
            let (left, right) = (lane(i, n, from, to), lane(i + 1, n, from, to));
            let free = (right - left) / 8.0;
            top.map(|y| Slab {
                x: left + free,
                y: y.min(foot),
                width: right - left - 2.0 * free,
                height: (foot - y).abs(),
            })
        })
        .collect()
}

/// Where the place number `i` of `n` begins.
#[must_use]
pub fn lane(i: usize, n: usize, from: f64, to: f64) -> f64 {
    #[expect(clippy::cast_precision_loss, reason = "far fewer than 2^53")]
    let share = if n == 0 { 0.0 } else { i as f64 / n as f64 };
    from + (to - from) * share
}

/// Shapes by which series are told apart, also without colour.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Shape {
    /// A disc.
    #[default]
    Disc,
    /// A square.
    Square,
    /// A triangle on its foot.
    Triangle,
    /// A cross of two strokes.
    Cross,
}

impl Shape {
    /// All of them, in the order in which series get them.
    pub const ALL: [Shape; 4] = [Shape::Disc, Shape::Square, Shape::Triangle, Shape::Cross];

    /// The shape of the series number `i`.
    #[must_use]
    pub fn of(i: usize) -> Shape {
        Shape::ALL.get(i % Shape::ALL.len()).copied().unwrap_or_default()
    }
}

/// The path of a dot of size `r` around a spot.
///
/// # Errors
/// When a place is no finite number.
pub fn dot(shape: Shape, at: Spot, r: f64) -> Result<String, NoChart> {
    let (x, y) = (at.x, at.y);
    let spot = |dx: f64, dy: f64| Some(Spot { x: x + dx * r, y: y + dy * r });
    match shape {
        Shape::Disc => {
            let (left, size) = (place(x - r)?, place(r)?);
            let (mid, twice) = (place(y)?, place(2.0 * r)?);
            Ok(format!("M{left} {mid}a{size} {size} 0 1 0 {twice} 0a{size} {size} 0 1 0 -{twice} 0Z"))
        }
        Shape::Square => {
            Ok(line(&[spot(-0.9, -0.9), spot(0.9, -0.9), spot(0.9, 0.9), spot(-0.9, 0.9)])? + "Z")
        }
        Shape::Triangle => Ok(line(&[spot(0.0, -1.15), spot(1.1, 0.85), spot(-1.1, 0.85)])? + "Z"),
        Shape::Cross => line(&[spot(-0.9, -0.9), spot(0.9, 0.9), None, spot(0.9, -0.9), spot(-0.9, 0.9)]),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn s(x: f64, y: f64) -> Option<Spot> {
        Some(Spot { x, y })
    }

    #[test]
    fn a_gap_breaks_the_line() {
        let path = line(&[s(0.0, 10.0), s(10.04, 5.25), None, s(20.0, -0.01)]);
        assert_eq!(path, Ok("M0 10L10 5.2M20 0".to_owned()));
        assert_eq!(line(&[]), Ok(String::new()));
        assert_eq!(line(&[None, None]), Ok(String::new()));
    }

    #[test]
    fn no_path_holds_what_is_no_number() {
        for bad in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
            assert_eq!(line(&[s(0.0, 0.0), s(1.0, bad)]), Err(NoChart::NotFinite));
            assert_eq!(line(&[s(bad, 0.0)]), Err(NoChart::NotFinite));
            for shape in Shape::ALL {
                assert_eq!(dot(shape, Spot { x: bad, y: 0.0 }, 3.0), Err(NoChart::NotFinite));
                assert_eq!(dot(shape, Spot { x: 0.0, y: bad }, 3.0), Err(NoChart::NotFinite));
            }
            let edge = [Spot { x: 0.0, y: bad }];
            assert_eq!(area(&edge, &edge), Err(NoChart::NotFinite));
        }
    }

    #[test]
    fn an_area_goes_there_and_back() {
        let upper = [Spot { x: 0.0, y: 1.0 }, Spot { x: 10.0, y: 2.0 }];
        let lower = [Spot { x: 0.0, y: 5.0 }, Spot { x: 10.0, y: 6.0 }];
        assert_eq!(area(&upper, &lower), Ok("M0 1L10 2L10 6L0 5Z".to_owned()));
        assert_eq!(area(&[], &lower), Err(NoChart::Empty));
    }

    #[test]
    fn slabs_share_the_width() {
        // Two places of 40, a quarter of each free: 5 on both sides.
        let all = slabs(&[Some(20.0), None], 10.0, 90.0, 100.0);
        assert_eq!(all, [Some(Slab { x: 15.0, y: 20.0, width: 30.0, height: 80.0 }), None]);
        assert!(slabs(&[], 0.0, 1.0, 0.0).is_empty());
        assert_eq!(lane(3, 4, 0.0, 100.0), 75.0);
    }

    #[test]
    fn shapes_differ() {
        let at = Spot { x: 10.0, y: 10.0 };
        let paths: std::collections::BTreeSet<String> =
            Shape::ALL.iter().map(|shape| dot(*shape, at, 4.0).unwrap()).collect();
        assert_eq!(paths.len(), 4);
        assert_eq!(dot(Shape::Disc, at, 4.0).unwrap(), "M6 10a4 4 0 1 0 8 0a4 4 0 1 0 -8 0Z");
        assert_eq!(dot(Shape::Cross, at, 10.0).unwrap(), "M1 1L19 19M19 1L1 19");
        assert_eq!((Shape::of(0), Shape::of(5)), (Shape::Disc, Shape::Square));
    }
}
