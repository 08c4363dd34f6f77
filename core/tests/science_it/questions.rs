//! How a question is read and an answer is written, at the edges. Knows no arithmetic.

use backstraight_core::science::Reason;
use backstraight_core::science::registry::{Args, AskError, find, run};

use crate::help::ask;

/// Asks for an error in the question itself.
fn badly_put(id: &str, pairs: &[(&str, &str)]) -> AskError {
    run(id, pairs).unwrap_err()
}

/// The place is counted from 1, in lists, tables and stocks alike.
#[test]
fn the_place_of_a_bad_item_counts_from_one() {
    let gap = badly_put("trend.ols", &[("x", "1,2,-,4"), ("y", "1,2,3,4")]);
    assert!(matches!(gap, AskError::NotANumber { input: "x", item: 3, .. }), "{gap}");
    let first = badly_put("trend.ols", &[("x", "-,2,3,4"), ("y", "1,2,3,4")]);
    assert!(matches!(first, AskError::NotANumber { input: "x", item: 1, .. }), "{first}");
    let disc = badly_put("plates.per_side", &[("per_side", "30"), ("stock", "25:1,15:1,ten:1")]);
    assert!(matches!(disc, AskError::NotANumber { input: "stock", item: 3, .. }), "{disc}");
    let disc = badly_put("plates.per_side", &[("per_side", "30"), ("stock", "many:1")]);
    assert!(matches!(disc, AskError::NotANumber { input: "stock", item: 1, .. }), "{disc}");
}

/// Exactly as many items as any list takes are read; one more is refused, however it is written.
#[test]
fn the_longest_list_is_still_read() {
    let force = |text: &str| run("jump.from_force", &[("force", text), ("dt", "0.001"), ("m", "75")]);
    assert!(force("4000x800").unwrap().result.is_ok());
    assert!(matches!(force("4001x800").unwrap_err(), AskError::TooLong { limit: 4000, .. }));
    assert!(matches!(force("4000x800,800").unwrap_err(), AskError::TooLong { limit: 4000, .. }));
    // A count near the end of the machine's numbers after something else was read.
    let huge = force("800,18446744073709551615x800").unwrap_err();
    assert!(matches!(huge, AskError::TooLong { limit: 4000, .. }), "{huge}");
    // A table counts its cells: 2000 rows of two are read (and are too many people), 2001 are not.
    let table = |rows: usize| run("rel.icc", &[("x", vec!["1,2"; rows].join(";").as_str())]);
    assert_eq!(table(2000).unwrap().result, Err(Reason::TooMany { input: "x", limit: 1000 }));
    assert!(matches!(table(2001).unwrap_err(), AskError::TooLong { limit: 4000, .. }));
}

#[test]
fn the_inputs_of_a_question_know_their_formula() {
    let formula = find("hurdles.find").unwrap();
    let pairs = [("race", " 400H "), ("sex", "women")];
    let args = Args::new(formula, &pairs).unwrap();
    assert_eq!(args.id(), "hurdles.find");
    assert_eq!(args.maybe_word("race"), Ok(Some("400H")));
    assert_eq!(args.maybe_word("age"), Ok(Some("senior")), "the default");
    assert_eq!(args.maybe_word("lane"), Ok(None));
    let pairs = [("race", "hop"), ("sex", "women")];
    let unknown = Args::new(formula, &pairs).unwrap().maybe_word("race").unwrap_err();
    assert!(matches!(unknown, AskError::UnknownWord { input: "race", .. }), "{unknown}");
}

#[test]
fn formulas_are_equal_by_id() {
    let (epley, brzycki) = (find("e1rm.epley").unwrap(), find("e1rm.brzycki").unwrap());
    assert_eq!(epley, epley);
    assert_ne!(epley, brzycki);
    assert_eq!(find("rel.icc_wine").unwrap(), find("rel.icc").unwrap(), "an alias is the same formula");
}

/// RFC 8259, section 7: only the quotation mark, the backslash and U+0000 to U+001F must be escaped.
/// A reader of the raw text, not only a parser, must be able to read the rest.
#[test]
fn json_escapes_what_must_be_escaped_and_nothing_else() {
    let pairs =
        [("name", "a b\u{1f}\"\\z"), ("first", "13"), ("between", "8.5"), ("n", "10"), ("run_in", "10.5")];
    let json = run("hurdles.layout", &pairs).unwrap().to_json();
    assert!(json.starts_with(r#"{"id":"hurdles.layout","version":1,"value":100,"unit":"m","#), "{json}");
    assert!(json.contains(r#""name":"a b\u001f\"\\z""#), "{json}");
}

/// Numbers as JSON: shortest text, no minus before zero, no row of zeros for a tiny or a huge one.
#[test]
fn json_writes_numbers_short() {
    let json = ask("rel.change", "before=-0 after=2.5 te=0.0000001").to_json();
    assert!(json.contains(r#""inputs":{"before":0,"after":2.5,"te":1e-7}"#), "{json}");
    let json = ask("rel.change", "before=-3 after=1e9 te=1").to_json();
    assert!(json.contains(r#""inputs":{"before":-3,"after":1000000000,"te":1}"#), "{json}");
}

/// Six significant digits in each decade, as a person would round them.
#[test]
fn text_shows_six_digits() {
    let shown = [
        ("1234567.8", "1234568"),
        ("123456.78", "123457"),
        ("12345.678", "12345.7"),
        ("1234.5678", "1234.57"),
        ("123.45678", "123.457"),
        ("12.345678", "12.3457"),
        ("1.2345678", "1.23457"),
        ("0.12345678", "0.123457"),
        ("0.012345678", "0.0123457"),
        ("100000", "100000"),
        ("12345678", "1.23457e7"),
        ("10000000", "1.00000e7"),
        ("0.0001", "0.0001"),
        ("0.00001", "1.00000e-5"),
        ("-0.00002", "-2.00000e-5"),
        ("0", "0"),
    ];
    for (after, want) in shown {
        let text = ask("rel.change", &format!("before=0 after={after} te=0")).to_text();
        assert!(text.contains(&format!("  change = {want} as given\n")), "{after}: {text}");
    }
}
