//! The registry: errors in the question, JSON, text, documentation, cautions.

use std::collections::HashSet;

use backstraight_core::science::registry::{self, AskError, describe, find, run};
use backstraight_core::science::{Caution, Formula, STANDARD_GRAVITY, jump};
use serde_json::Value as Json;

use crate::help::ask;

const DOCS: &str = include_str!("../../../docs/formulas.md");

#[test]
fn documentation_is_what_the_registry_says() {
    let made = registry::to_markdown();
    let differs = made.lines().zip(DOCS.lines()).find(|(made, kept)| made != kept);
    assert!(
        made == DOCS,
        "docs/formulas.md differs, first at {differs:?}; \
         cargo run -p backstraight-core --example formulas > docs/formulas.md"
    );
}

#[test]
fn every_formula_is_declared_in_full() {
    let mut ids = HashSet::new();
    for formula in registry::list() {
        let Formula { id, name, rule, source, domain, trap, .. } = formula;
        for text in [id, name, rule, source, domain, trap] {
            assert!(!text.trim().is_empty(), "{id}");
            assert!(!text.contains("  "), "{id}: {text}");
        }
        assert!(formula.version >= 1);
        for name in formula.aliases.iter().chain([id]) {
            assert!(ids.insert(*name), "{name} twice");
            assert_eq!(find(name).unwrap().id, *id);
        }
        let mut inputs = HashSet::new();
        assert!(formula.inputs.iter().all(|input| inputs.insert(input.name)), "{id}");
        assert!(formula.inputs.iter().all(|input| !input.unit.is_empty() || input.range.is_some()));
        assert!(!describe(formula).is_empty());
        assert_eq!(formula.consent, inputs.contains("consent"), "{id}");
    }
    assert!(ids.len() > 100, "{}", ids.len());
    assert!(find("nothing").is_none());
}

#[test]
fn every_example_has_an_answer_with_declared_outputs() {
    for formula in registry::list() {
        let answer = run(formula.id, formula.example).unwrap();
        let outputs = answer.result.clone().unwrap_or_else(|r| panic!("{}: {r}", formula.id));
        let got: Vec<&str> = outputs.iter().map(|(name, _)| *name).collect();
        let declared: Vec<&str> = formula.units.iter().map(|(name, _)| *name).collect();
        assert_eq!(got, declared, "{}", formula.id);
        let names: Vec<&str> = answer.inputs.iter().map(|given| given.name).collect();
        let wanted: Vec<&str> = formula.inputs.iter().map(|input| input.name).collect();
        let (mut a, mut b) = (names.clone(), wanted.clone());
        a.sort_unstable();
        b.sort_unstable();
        assert_eq!(a, b, "{}: the provenance names all inputs", formula.id);
    }
}

#[test]
fn json_of_a_value() {
    let answer = ask("e1rm.epley", "w=100 r=5");
    let json: Json = serde_json::from_str(&answer.to_json()).unwrap();
    assert_eq!(json["id"], "e1rm.epley");
    assert_eq!(json["version"], 1);
    assert!((json["value"].as_f64().unwrap() - 116.666_666).abs() < 1e-5);
    assert_eq!(json["unit"], "kg");
    assert_eq!(json["inputs"]["w"], 100);
    assert_eq!(json["inputs"]["r"], 5);
    assert_eq!(json["source"], "Epley 1985, Poundage Chart");
    assert_eq!(json["caution"], Caution::MaximalTest.text());
    assert!(json.get("reason").is_none());
    assert!(json.get("notes").is_none());
}

#[test]
fn json_of_named_values_lists_and_gaps() {
    let json = |id: &str, text: &str| -> Json { serde_json::from_str(&ask(id, text).to_json()).unwrap() };
    let rsi = json("jump.rsi", "tf=0.5 tc=0.2");
    assert_eq!(rsi["values"]["ratio"], 2.5);
    assert_eq!(rsi["unit"]["rsi"], "m/s");
    assert_eq!(rsi["inputs"]["g"], STANDARD_GRAVITY);
    let plates = json("plates.per_side", "per_side=30 stock=25:1,15:2");
    assert_eq!(plates["value"], serde_json::json!([15, 15]));
    assert_eq!(plates["inputs"]["stock"][1], serde_json::json!({"mass": 15, "pairs": 2}));
    let own = json("load.against_own", "baseline=7x19,7x21,- x=22");
    assert_eq!(own["inputs"]["baseline"][14], Json::Null);
    let nothing = json("load.acwr", "x=21x0+7x100");
    assert!(nothing["values"].get("uncoupled").is_none());
    assert!(nothing["notes"][0].as_str().unwrap().contains("foretells nothing"));
    let text = json("hurdles.layout", "name=a\"b\\c\u{1} first=13 between=8.5 n=10 run_in=10.5");
    assert_eq!(text["inputs"]["name"], "a\"b\\c\u{1}");
    let table = json("rel.typical_error", "x=1,2;3,5");
    assert_eq!(table["inputs"]["x"], serde_json::json!([[1, 2], [3, 5]]));
}

#[test]
fn json_of_a_reason() {
    let json: Json = serde_json::from_str(&ask("e1rm.epley", "w=100 r=13").to_json()).unwrap();
    assert_eq!(
        json,
        serde_json::json!({
            "id": "e1rm.epley", "version": 1, "reason": "r is outside 1 to 12"
        })
    );
    let text = ask("e1rm.epley", "w=100 r=13").to_text();
    assert!(text.contains("not computable: r is outside 1 to 12"), "{text}");
    let nan: Json = serde_json::from_str(&ask("e1rm.epley", "w=NaN r=5").to_json()).unwrap();
    assert_eq!(nan["reason"], "w is not a finite number");
}

#[test]
fn text_of_an_answer() {
    let text = ask("asym", "a=25 b=20").to_text();
    for part in ["pct = 20 %", "from a = 25", "source: Bishop", "caution: A difference"] {
        assert!(text.contains(part), "{part} is not in {text}");
    }
    assert!(!text.contains("from cv"), "{text}");
}

/// What the command line shows about a formula, line by line.
#[test]
fn description_of_a_formula() {
    let plain = describe(find("rel.swc_competition").unwrap());
    let want = "rel.swc_competition\n  \
                Smallest worthwhile change in competition (version 1)\n  \
                rule:    0.3 x typical variation of the athlete between competitions\n  \
                source:  from memory, no source read (from memory)\n  \
                domain:  variation as a percent of the result\n  \
                input:   cv: number; %; 0.01 to 50\n  \
                output:  value (%)\n  \
                trap:    needs the variation between races of one athlete, not between athletes\n  \
                example: cv=1.0\n           \
                value = 0.3\n";
    assert_eq!(plain, want);
    let careful = describe(find("growth.moore_girl").unwrap());
    assert!(careful.contains("\n  consent: off until the input consent is yes\n"), "{careful}");
    assert!(careful.contains(&format!("\n  caution: {}\n", Caution::Junior.text())), "{careful}");
}

#[test]
fn questions_that_are_badly_put() {
    let error = |id: &str, pairs: &[(&str, &str)]| run(id, pairs).unwrap_err();
    assert_eq!(error("e1rm.nobody", &[]).to_string(), "no formula is called e1rm.nobody");
    let unknown = error("e1rm.epley", &[("w", "100"), ("r", "5"), ("z", "1")]);
    assert_eq!(unknown.to_string(), "e1rm.epley has no input z; it takes w, r");
    let missing = error("e1rm.epley", &[("w", "100")]);
    assert!(matches!(missing, AskError::MissingInput { input: "r", .. }), "{missing}");
    let twice = error("e1rm.epley", &[("w", "100"), ("r", "5"), ("w", "90")]);
    assert!(matches!(twice, AskError::RepeatedInput { input: "w", .. }), "{twice}");
    let word = error("e1rm.epley", &[("w", "heavy"), ("r", "5")]);
    assert_eq!(word.to_string(), "e1rm.epley: item 1 of w is not a number");
    assert!(!word.to_string().contains("heavy"), "values are not repeated");
    let third = error("load.ewma", &[("x", "1,2,three"), ("N", "7")]);
    assert!(matches!(third, AskError::NotANumber { input: "x", item: 3, .. }), "{third}");
    let run_of = error("load.ewma", &[("x", "2x1+2xb"), ("N", "7")]);
    assert!(matches!(run_of, AskError::NotANumber { input: "x", item: 3, .. }), "{run_of}");
    let cell = error("rel.icc", &[("x", "1,2;3,-")]);
    assert!(matches!(cell, AskError::NotANumber { input: "x", item: 4, .. }), "{cell}");
    let long = error("load.ewma", &[("x", "99999999999x1"), ("N", "7")]);
    assert!(matches!(long, AskError::TooLong { .. } | AskError::NotANumber { .. }), "{long}");
    let huge = error("load.ewma", &[("x", "4001x1"), ("N", "7")]);
    assert!(matches!(huge, AskError::TooLong { limit: 4000, .. }), "{huge}");
    let many = error("load.ewma", &[("x", "18446744073709551615x1,18446744073709551615x1"), ("N", "7")]);
    assert!(matches!(many, AskError::TooLong { .. }), "{many}");
    let stock = error("plates.per_side", &[("per_side", "30"), ("stock", "25")]);
    assert!(matches!(stock, AskError::WrongShape { input: "stock", .. }), "{stock}");
    let pairs = error("plates.per_side", &[("per_side", "30"), ("stock", "25:x")]);
    assert!(matches!(pairs, AskError::WrongShape { .. }), "{pairs}");
    let lift = error("e1rm.range", &[("w", "1"), ("r", "1"), ("lift", "curl")]);
    assert!(matches!(lift, AskError::UnknownWord { input: "lift", .. }), "{lift}");
    let flag = error("growth.moore_girl", &[("age", "12"), ("h", "155"), ("consent", "maybe")]);
    assert!(matches!(flag, AskError::WrongShape { input: "consent", .. }), "{flag}");
    let zero = error("rel_strength.allometric", &[("s", "140"), ("m", "70"), ("b", "2/0")]);
    assert!(matches!(zero, AskError::NotANumber { input: "b", .. }), "{zero}");
}

#[test]
fn cautions_stand_where_a_number_could_steer_a_body() {
    let starts = [
        ("e1rm.", Some(Caution::MaximalTest)),
        ("growth.", Some(Caution::Junior)),
        ("volume.contact", Some(Caution::Contacts)),
        ("checkin.", Some(Caution::Wellbeing)),
        ("asym", Some(Caution::Return)),
        ("jump.rsi", Some(Caution::JumpExposure)),
        ("jump.ten_five", Some(Caution::JumpExposure)),
        ("load.", Some(Caution::Load)),
        ("sprint.fit", Some(Caution::SprintExposure)),
        ("lvp.ols", Some(Caution::MaximalTest)),
    ];
    for (start, caution) in starts {
        let with: Vec<_> = registry::list().filter(|f| f.id.starts_with(start)).collect();
        assert!(!with.is_empty(), "{start}");
        for formula in with {
            assert_eq!(formula.caution, caution, "{}", formula.id);
            let answer = run(formula.id, formula.example).unwrap();
            let json: Json = serde_json::from_str(&answer.to_json()).unwrap();
            assert_eq!(json["caution"], caution.unwrap().text(), "{}", formula.id);
        }
    }
}

#[test]
fn a_typed_value_carries_its_provenance() {
    let height = jump::height_from_flight(0.5, STANDARD_GRAVITY).unwrap();
    assert_eq!(height.id(), "jump.height_from_flight");
    assert_eq!(height.version(), 1);
    assert_eq!(height.caution(), Some(Caution::JumpExposure));
    assert_eq!(height.inputs.len(), 2);
    let refusal = jump::height_from_flight(0.05, STANDARD_GRAVITY).unwrap_err();
    assert_eq!(refusal.to_string(), "jump.height_from_flight: t is outside 0.1 to 1");
}

/// Descriptive words only: no scale that is licensed, no forecast of injury, no colours.
#[test]
fn the_words_are_ours_and_only_describe() {
    let page = DOCS.to_lowercase();
    for word in ["borg", "cr10", "sweet spot", "danger", "red zone", "green", "injury risk"] {
        assert!(!page.contains(word), "{word}");
    }
    for line in page.lines().filter(|line| line.contains("injur")) {
        let harmless = line.contains("does not foretell injury");
        assert!(harmless, "{line}");
    }
}
