//! Both sides of every declared limit, and anything at all as input: never NaN, never a panic.

use backstraight_core::science::registry::{self, run};
use backstraight_core::science::{Formula, Input, Kind, Reason, Value};
use proptest::prelude::*;

/// The worked example as owned pairs, with one input replaced.
fn example_with(formula: &Formula, name: &str, text: String) -> Vec<(String, String)> {
    let mut pairs: Vec<(String, String)> = formula
        .example
        .iter()
        .filter(|(key, _)| *key != name)
        .map(|(key, text)| ((*key).to_owned(), (*text).to_owned()))
        .collect();
    pairs.push((name.to_owned(), text));
    pairs
}

fn outcome(formula: &'static Formula, pairs: &[(String, String)]) -> registry::Outcome {
    let pairs: Vec<(&str, &str)> = pairs.iter().map(|(k, v)| (k.as_str(), v.as_str())).collect();
    run(formula.id, &pairs)
}

fn reason_of(formula: &'static Formula, pairs: &[(String, String)]) -> Option<Reason> {
    outcome(formula, pairs).unwrap_or_else(|error| panic!("{error} {pairs:?}")).result.err()
}

/// The text of the example or the default of an input; something inside its limits otherwise.
fn usual_text(formula: &Formula, input: &Input) -> String {
    let example = formula.example.iter().find(|(key, _)| *key == input.name).map(|(_, t)| *t);
    if let Some(text) = example.or(input.default) {
        return text.to_owned();
    }
    let (low, high) = input.range.unwrap_or((0.0, 1.0));
    let middle = if input.kind == Kind::Whole { high } else { low + (high - low) / 2.0 };
    let one = if input.kind == Kind::Stock { format!("{middle}:1") } else { format!("{middle}") };
    let fewest = input.count.map_or(1, |(fewest, _)| fewest);
    vec![one; fewest].join(",")
}

/// The usual text with its first number replaced.
fn with_number(formula: &Formula, input: &Input, number: f64) -> String {
    let usual = usual_text(formula, input);
    match input.kind {
        Kind::List | Kind::Gaps | Kind::Table | Kind::Stock => {
            let end = usual.find([',', ';', ':', '+']).unwrap_or(usual.len());
            let (_, rest) = usual.split_at(end);
            format!("{number:?}{rest}{}", extra(input, &usual))
        }
        _ => format!("{number:?}"),
    }
}

/// A run (`21x300`) at the front loses its count when replaced; this puts the items back.
fn extra(input: &Input, usual: &str) -> String {
    let front = usual.split([',', '+']).next().unwrap_or("");
    match front.split_once('x') {
        Some((times, item)) if input.kind != Kind::Table => {
            format!(",{}x{item}", times.parse::<usize>().unwrap() - 1)
        }
        _ => String::new(),
    }
}

#[test]
fn both_sides_of_every_number_limit() {
    let mut limits = 0;
    for formula in registry::list() {
        for input in formula.inputs {
            let Some((lowest, highest)) = input.range else {
                continue;
            };
            let beyond = [lowest.next_down(), highest.next_up()];
            for number in beyond {
                let pairs = example_with(formula, input.name, with_number(formula, input, number));
                let got = reason_of(formula, &pairs);
                let want = Reason::OutOfRange { input: input.name, lowest, highest };
                assert_eq!(got, Some(want), "{} {} {number}", formula.id, input.name);
            }
            for number in [lowest, highest] {
                let pairs = example_with(formula, input.name, with_number(formula, input, number));
                let refused = matches!(
                    reason_of(formula, &pairs),
                    Some(Reason::OutOfRange { input: name, .. }) if name == input.name
                );
                assert!(!refused, "{} {} {number}", formula.id, input.name);
                limits += 1;
            }
            for number in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
                let pairs = example_with(formula, input.name, with_number(formula, input, number));
                let want = Reason::NotFinite { input: input.name };
                assert_eq!(reason_of(formula, &pairs), Some(want), "{}", formula.id);
            }
            if input.kind == Kind::Whole {
                let half = lowest + 0.5;
                let pairs = example_with(formula, input.name, with_number(formula, input, half));
                let want = Reason::NotWhole { input: input.name };
                assert_eq!(reason_of(formula, &pairs), Some(want), "{}", formula.id);
            }
        }
    }
    assert!(limits > 300, "only {limits} limits were tried");
}

/// The limits that the sources or the project's rules name, so that a slip in a declaration shows.
#[test]
fn declared_limits_are_the_documented_ones() {
    let documented = [
        ("e1rm.epley", "r", 1.0, 12.0),
        ("e1rm.brzycki", "r", 1.0, 12.0),
        ("e1rm.lander", "r", 1.0, 12.0),
        ("effort.reserve", "effort", 5.0, 10.0),
        ("lvp.bench_general", "v", 0.15, 1.4),
        ("jump.height_from_flight", "t", 0.10, 1.00),
        ("jump.rsi_modified", "ttt", 0.3, 1.5),
        ("jump.eur", "cmj", 0.05, 1.3),
        ("jump.dsi", "ballistic", 200.0, 8000.0),
        ("jump.dsi", "isometric", 200.0, 8000.0),
        ("stiff.dalleau", "tc", 0.10, 0.35),
        ("stiff.dalleau", "tf", 0.03, 1.0),
        ("stiff.morin", "tf", 0.03, 0.40),
        ("load.session", "effort", 0.0, 10.0),
        ("load.session", "minutes", 1.0, 360.0),
        ("load.ewma", "N", 1.0, 365.0),
        ("sprint.fit", "x", 0.5, 100.0),
        ("sprint.time_at", "vmax", 4.0, 13.0),
        ("sprint.time_at", "tau", 0.6, 2.2),
        ("rel_strength.ratio", "m", 25.0, 200.0),
        ("growth.mirwald_boy", "age", 8.0, 16.0),
        ("growth.moore_girl", "age", 8.0, 16.0),
        ("checkin.five_items", "items", 1.0, 5.0),
        ("checkin.four_items", "items", 1.0, 7.0),
        ("checkin.problem", "items", 0.0, 25.0),
    ];
    for (id, name, lowest, highest) in documented {
        let formula = registry::find(id).unwrap();
        let input = formula.inputs.iter().find(|input| input.name == name).unwrap();
        assert_eq!(input.range, Some((lowest, highest)), "{id} {name}");
    }
    let items = [
        ("load.monotony_strain", "days", 7, 7),
        ("load.acwr", "x", 28, 1000),
        ("load.against_own", "baseline", 14, 366),
        ("lvp.ols", "load", 2, 60),
        ("trend.ols", "x", 4, 1500),
        ("trend.theil_sen", "x", 4, 1500),
        ("rel.hopkins", "t1", 3, 1000),
        ("sprint.fit", "x", 3, 60),
        ("checkin.five_items", "items", 5, 5),
        ("checkin.four_items", "items", 4, 4),
    ];
    for (id, name, fewest, most) in items {
        let formula = registry::find(id).unwrap();
        let input = formula.inputs.iter().find(|input| input.name == name).unwrap();
        assert_eq!(input.count, Some((fewest, most)), "{id} {name}");
    }
}

#[test]
fn both_sides_of_every_item_limit() {
    let mut limits = 0;
    for formula in registry::list() {
        for input in formula.inputs {
            let Some((fewest, most)) = input.count else {
                continue;
            };
            let usual = usual_text(formula, input);
            let separator = if input.kind == Kind::Table { ';' } else { ',' };
            let first = usual.split([separator, '+']).next().unwrap();
            let first = first.split_once('x').map_or(first, |(_, item)| item).to_owned();
            let items = |n: usize| vec![first.clone(); n].join(&separator.to_string());
            let wanted = |n: usize| example_with(formula, input.name, items(n));
            // One item fewer than none and more than any text may hold cannot be written.
            if fewest > 1 {
                let want = Reason::TooFew { input: input.name, needed: fewest };
                assert_eq!(reason_of(formula, &wanted(fewest - 1)), Some(want), "{}", formula.id);
            }
            if most < backstraight_core::science::formula::LONGEST_LIST && input.kind != Kind::Table {
                let want = Reason::TooMany { input: input.name, limit: most };
                let got = reason_of(formula, &wanted(most + 1));
                assert_eq!(got, Some(want), "{} {}", formula.id, input.name);
                let refused = matches!(
                    reason_of(formula, &wanted(most)),
                    Some(Reason::TooMany { input: name, .. }) if name == input.name
                );
                assert!(!refused, "{} {}", formula.id, input.name);
            }
            let refused = matches!(
                reason_of(formula, &wanted(fewest)),
                Some(Reason::TooFew { input: name, needed }) if name == input.name && needed == fewest
            );
            assert!(!refused, "{} {}", formula.id, input.name);
            limits += 1;
        }
    }
    assert!(limits > 40, "only {limits} limits were tried");
}

#[test]
fn an_empty_list_is_refused_by_name() {
    for formula in registry::list() {
        for input in formula.inputs {
            if input.count.is_some() && input.kind != Kind::Stock {
                let pairs = example_with(formula, input.name, String::new());
                let refused = matches!(
                    reason_of(formula, &pairs),
                    Some(Reason::TooFew { input: name, .. } | Reason::NotRectangular { input: name })
                        if name == input.name
                );
                assert!(refused, "{} {}", formula.id, input.name);
            }
        }
    }
}

/// Every number there is, with a bias to those that break things.
fn any_number() -> impl Strategy<Value = f64> {
    prop_oneof![
        4 => prop::num::f64::ANY,
        2 => prop::num::f64::SUBNORMAL,
        2 => prop::sample::select(vec![
            f64::NAN, f64::INFINITY, f64::NEG_INFINITY, 0.0, -0.0, f64::MAX, f64::MIN,
            f64::MIN_POSITIVE, f64::EPSILON, 1e15, -1e15, 37.0, 37.92,
        ]),
        4 => -10.0..1000.0,
        2 => (0_i32..40).prop_map(f64::from),
    ]
}

/// A text for an input made from a seed of numbers: sometimes inside its limits, sometimes not.
fn text_from(input: &Input, inside: bool, numbers: &[f64], shares: &[f64]) -> String {
    let fit = |index: usize| -> f64 {
        let any = numbers[index % numbers.len()];
        let share = shares[index % shares.len()];
        match input.range {
            Some((low, high)) if inside => {
                let number = low + (high - low) * share;
                if input.kind == Kind::Whole { number.floor() } else { number }
            }
            _ => any,
        }
    };
    let length = |most: usize| {
        let (fewest, limit) = input.count.unwrap_or((1, 9));
        if inside { fewest + numbers.len() % (limit.min(fewest + most) - fewest + 1) } else { numbers.len() }
    };
    let items = |n: usize, at: usize| (0..n).map(|i| format!("{:?}", fit(at + i))).collect::<Vec<_>>();
    match input.kind {
        Kind::Number | Kind::Whole => format!("{:?}", fit(input.name.len())),
        Kind::List => items(length(30), input.name.len()).join(","),
        Kind::Gaps => {
            let mut items = items(length(30), input.name.len());
            if !inside && !items.is_empty() {
                items[0] = "-".to_owned();
            }
            items.join(",")
        }
        Kind::Table => {
            let columns = 1 + numbers.len() % 4;
            let rows: Vec<String> =
                (0..length(8)).map(|row| items(columns, row * columns).join(",")).collect();
            rows.join(";")
        }
        Kind::Stock => {
            let entries = items(length(6).max(1), 0);
            entries.iter().enumerate().map(|(i, m)| format!("{m}:{}", i % 4)).collect::<Vec<_>>().join(",")
        }
        Kind::Word(words) => words[numbers.len() % words.len()].to_owned(),
        Kind::Flag => if shares[0] < 0.9 { "yes" } else { "no" }.to_owned(),
        Kind::Text => "something".to_owned(),
    }
}

fn assert_finite(id: &str, value: &Value) {
    assert!(value.is_finite(), "{id}: {value:?}");
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    #[test]
    fn nothing_ever_answers_with_nan(
        numbers in prop::collection::vec(any_number(), 1..40),
        shares in prop::collection::vec(0.0..=1.0_f64, 1..40),
        inside in prop::collection::vec(prop::bool::weighted(0.7), 12),
        rising in any::<bool>(),
    ) {
        let mut shares = shares;
        if rising {
            shares.sort_by(f64::total_cmp);
        }
        for formula in registry::list() {
            let pairs: Vec<(String, String)> = formula
                .inputs
                .iter()
                .enumerate()
                .map(|(i, input)| {
                    let text = text_from(input, inside[i % inside.len()], &numbers, &shares);
                    (input.name.to_owned(), text)
                })
                .collect();
            let Ok(answer) = outcome(formula, &pairs) else { continue };
            let json: serde_json::Value = serde_json::from_str(&answer.to_json()).unwrap();
            prop_assert_eq!(&json["id"], formula.id);
            match &answer.result {
                Ok(outputs) => {
                    outputs.iter().for_each(|(_, value)| assert_finite(formula.id, value));
                    answer.inputs.iter().for_each(|given| assert_finite(formula.id, &given.value));
                    prop_assert!(json["reason"].is_null());
                }
                Err(reason) => prop_assert_eq!(&json["reason"], &reason.to_string()),
            }
            prop_assert!(!answer.to_text().contains("NaN"));
        }
    }

    #[test]
    fn any_text_is_answered_or_refused(text in ".{0,40}", pick in any::<prop::sample::Index>()) {
        let formulas: Vec<&Formula> = registry::list().collect();
        let formula = formulas[pick.index(formulas.len())];
        for input in formula.inputs {
            let pairs = example_with(formula, input.name, text.clone());
            let pairs: Vec<(&str, &str)> =
                pairs.iter().map(|(k, v)| (k.as_str(), v.as_str())).collect();
            if let Ok(answer) = run(formula.id, &pairs) {
                serde_json::from_str::<serde_json::Value>(&answer.to_json()).unwrap();
            }
        }
        prop_assert!(run(&text, &[]).is_err() || registry::find(&text).is_some());
    }
}

/// The fuzz above must reach the arithmetic, or it proves nothing.
#[test]
fn values_inside_the_limits_are_mostly_answered() {
    let shares: Vec<f64> = (1..30).map(|i| f64::from(i) / 31.0).collect();
    let numbers: Vec<f64> = (1..30).map(f64::from).collect();
    let mut answered = 0;
    let mut all = 0;
    for formula in registry::list() {
        let pairs: Vec<(String, String)> = formula
            .inputs
            .iter()
            .map(|input| (input.name.to_owned(), text_from(input, true, &numbers, &shares)))
            .collect();
        all += 1;
        let computed = outcome(formula, &pairs).is_ok_and(|answer| answer.result.is_ok());
        answered += usize::from(computed);
    }
    assert!(answered * 2 > all, "{answered} of {all}");
}
