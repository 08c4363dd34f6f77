//! Every formula on any numbers: NaN, infinite, denormal, huge, at and beside each limit. It answers with numbers that
//! are some, or with a reason, and says so in every form.

use std::fmt::Write as _;

use backstraight_core::science::answer::Answer;
use backstraight_core::science::formula::{Formula, Input, Kind};
use backstraight_core::science::{registry, stats};

use crate::fuzz::feed::Feed;

/// Numbers at which arithmetic errs.
const NUMBERS: [f64; 24] = [
    f64::NAN,
    f64::INFINITY,
    f64::NEG_INFINITY,
    0.0,
    -0.0,
    5e-324,
    -5e-324,
    f64::MIN_POSITIVE,
    f64::MAX,
    f64::MIN,
    f64::EPSILON,
    1e-300,
    1e300,
    1e154,
    -1e154,
    1e-9,
    0.1,
    0.5,
    1.0,
    -1.0,
    2.0,
    3.0,
    100.0,
    9_007_199_254_740_993.0,
];

pub(crate) fn formulas(input: &[u8]) -> bool {
    let mut feed = Feed::new(input);
    let which = usize::from(feed.byte());
    let all: Vec<&Formula> = registry::list().collect();
    if which == 0xff {
        return distributions(feed);
    }
    let formula = all[which % all.len()];
    let texts: Vec<(&str, String)> =
        formula.inputs.iter().filter_map(|i| Some((i.name, given(&mut feed, i)?))).collect();
    let pairs: Vec<(&str, &str)> = texts.iter().map(|(name, text)| (*name, text.as_str())).collect();
    let Ok(answer) = registry::run(formula.id, &pairs) else { return false };
    sound(&answer);
    answer.result.is_ok()
}

/// Every number of an answer is one, and every way to say it works.
pub(crate) fn sound(answer: &Answer) {
    for (name, value) in answer.result.iter().flatten() {
        assert!(value.is_finite(), "{}: {name} is no number", answer.formula.id);
    }
    let json = answer.to_json();
    if let Err(error) = serde_json::from_str::<serde_json::Value>(&json) {
        panic!("{}: {error} in {json}", answer.formula.id);
    }
    let _ = (answer.to_text(), answer.summary());
}

/// What is given for an input, as text; none to leave it out.
fn given(feed: &mut Feed<'_>, input: &Input) -> Option<String> {
    let how = feed.byte();
    if how == 0 {
        return None;
    }
    Some(match input.kind {
        Kind::Number => written(number(feed, input)),
        Kind::Whole => written(number(feed, input).round()),
        Kind::List | Kind::Gaps => list(feed, input, how),
        Kind::Table => {
            let rows = 1 + usize::from(feed.byte() % 12);
            let mut wide = how % 16;
            let mut out = String::new();
            for n in 0..rows {
                if n > 0 {
                    out.push(';');
                }
                // Now and then a row of another length.
                if how >= 0xf0 {
                    wide = feed.byte() % 16;
                }
                let cells: Vec<String> = (0..wide).map(|_| written(number(feed, input))).collect();
                out.push_str(&cells.join(","));
            }
            out
        }
        Kind::Stock => {
            let entry = |feed: &mut Feed<'_>| format!("{}:{}", written(number(feed, input)), feed.byte());
            (0..=how % 24).map(|_| entry(feed)).collect::<Vec<_>>().join(",")
        }
        Kind::Word(words) => {
            words.get(usize::from(how - 1)).map_or_else(|| words[0].to_owned(), |w| (*w).to_owned())
        }
        Kind::Flag => if how.is_multiple_of(2) { "yes" } else { "no" }.to_owned(),
        Kind::Text => {
            let n = usize::from(feed.byte() % 32);
            String::from_utf8_lossy(feed.take(n)).into_owned()
        }
    })
}

/// A list, of single numbers or of runs, which make it long.
fn list(feed: &mut Feed<'_>, input: &Input, how: u8) -> String {
    let mut out = String::new();
    for n in 0..how % 64 {
        if n > 0 {
            out.push(',');
        }
        if how >= 0xc0 {
            let _ = write!(out, "{}x", feed.short() % 1_500);
        }
        let gap = input.kind == Kind::Gaps && feed.byte().is_multiple_of(5);
        out.push_str(&if gap { "-".to_owned() } else { written(number(feed, input)) });
    }
    out
}

/// A number: within the limits, at them, beside them, or any.
fn number(feed: &mut Feed<'_>, input: &Input) -> f64 {
    let (low, high) = input.range.unwrap_or((0.0, 100.0));
    match feed.byte() {
        0 => low,
        1 => high,
        2 => low.next_down(),
        3 => high.next_up(),
        4 => low.next_up(),
        5 => high.next_down(),
        n @ 6..=29 => NUMBERS[usize::from(n - 6)],
        30..=35 => f64::from_bits(feed.long()),
        36..=80 => f64::from(feed.byte()),
        // Small steps near the lower end, where the trade's numbers are.
        81..=140 => low + f64::from(feed.short()) / 1_000.0,
        _ => low + (high - low) * (f64::from(feed.short()) / f64::from(u16::MAX)),
    }
}

/// Exactly, in a form that reads back as the same number.
fn written(number: f64) -> String {
    format!("{number:e}")
}

/// What the formulas rest on.
fn distributions(mut feed: Feed<'_>) -> bool {
    let any = Input::number("any", "", -1e6, 1e6);
    let mut next = || number(&mut feed, &any);
    let (a, b, c) = (next(), next(), next());
    let all = [
        ("t quantile", stats::t_quantile(a, b)),
        ("normal quantile", stats::normal_quantile(a)),
        ("t tail", stats::t_tail(a, b)),
        ("f tail", stats::f_tail(a, b, c)),
        ("mean", stats::mean(&[a, b, c])),
        ("median", stats::median(&[a, b, c])),
    ];
    // These take numbers that a formula has let through; none of them may give up on others.
    let finite = [a, b, c].iter().all(|n| n.is_finite() && n.abs() <= 1e6);
    for (name, value) in all {
        assert!(!finite || value.is_none_or(f64::is_finite), "{name} of {a:e}, {b:e}, {c:e}");
    }
    all.iter().any(|(_, value)| value.is_some())
}
