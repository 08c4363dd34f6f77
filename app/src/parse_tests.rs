//! Tests of what people type, with values worked out by hand.

use super::*;

fn kg(text: &str) -> Typed<i64> {
    load(text, Masses::Kilograms).map(Load::get)
}

fn lb(text: &str) -> Typed<i64> {
    load(text, Masses::Pounds).map(Load::get)
}

#[test]
fn both_decimal_signs_are_taken() {
    assert_eq!(kg("102.5"), Ok(10_250));
    assert_eq!(kg("102,5"), Ok(10_250));
    assert_eq!(kg(" 102,50 kg "), Ok(10_250));
    assert_eq!(kg("0"), Ok(0));
    assert_eq!(kg(",5"), Ok(50));
    assert_eq!(kg("5."), Ok(500));
    assert_eq!(kg("1000"), Ok(100_000));
}

#[test]
fn what_is_no_load_is_named() {
    assert_eq!(kg(""), Err(Mistake::Empty));
    assert_eq!(kg("  "), Err(Mistake::Empty));
    for text in [".", "ten", "1.2.3", "1,000.5", "1e3", "--5", "5 5", "٥", "99999999999999999999"] {
        assert_eq!(kg(text), Err(Mistake::NotANumber), "{text}");
    }
    assert_eq!(kg("1.005"), Err(Mistake::TooFine(2)));
    let limits = Mistake::Outside { least: "0".to_owned(), most: "1000".to_owned(), unit: "kg" };
    assert_eq!(kg("1000.01"), Err(limits.clone()));
    assert_eq!(kg("-1"), Err(limits));
}

#[test]
fn pounds_are_kept_in_ten_grams_and_come_back_as_typed() {
    // 45 lb = 20.4116... kg, 2.5 lb = 1.1339... kg, 225 lb = 102.0582... kg.
    assert_eq!(lb("45"), Ok(2_041));
    assert_eq!(lb("2.5 lb"), Ok(113));
    assert_eq!(lb("225 lbs"), Ok(10_206));
    for twentieths in 0..=20_000_i64 {
        let typed = plain(twentieths * 5, 2);
        let kept = load(&typed, Masses::Pounds).unwrap();
        assert_eq!(load_text(kept, Masses::Pounds), typed);
    }
    // 20 kg = 44.0924... lb.
    assert_eq!(load_text(Load::new(2_000).unwrap(), Masses::Pounds), "44.1");
    assert_eq!(body_mass("180", Masses::Pounds).map(BodyMass::get), Ok(8_165));
    assert!(body_mass("9.99", Masses::Kilograms).is_err());
    assert_eq!(body_mass_text(BodyMass::new(7_250).unwrap(), Masses::Kilograms), "72.5");
}

#[test]
fn whole_numbers_stay_whole() {
    assert_eq!(reps("5").map(Reps::get), Ok(5));
    assert_eq!(reps("5.0").map(Reps::get), Ok(5));
    assert_eq!(reps("5.5"), Err(Mistake::TooFine(0)));
    assert!(reps("301").is_err() && reps("300").is_ok() && reps("-1").is_err());
    assert!(count("0").is_err() && count("60").is_ok());
    assert!(rating("8").is_err() && rating("7").is_ok());
}

#[test]
fn effort_goes_in_halves() {
    let tenths = |t: &str| effort(t).map(Effort::get);
    assert_eq!(tenths("7"), Ok(70));
    assert_eq!(tenths("7.5"), Ok(75));
    assert_eq!(tenths("7,5"), Ok(75));
    assert_eq!(tenths("7½"), Ok(75));
    assert_eq!(tenths("½"), Ok(5));
    assert_eq!(tenths("10"), Ok(100));
    for text in ["7.3", "7.25"] {
        assert_eq!(tenths(text), Err(Mistake::NotHalf), "{text}");
    }
    assert!(tenths("10.5").is_err());
    assert_eq!(reserve("2").map(Reserve::get), Ok(20));
}

#[test]
fn times_read_and_print() {
    let ms = |t: &str| time(t).map(Duration::get);
    assert_eq!(ms("10,84"), Ok(10_840));
    assert_eq!(ms("10.84 s"), Ok(10_840));
    assert_eq!(ms("1:23.45"), Ok(83_450));
    assert_eq!(ms("1:02:03"), Ok(3_723_000));
    assert_eq!(ms("90:00"), Ok(5_400_000));
    assert_eq!(ms("83.456"), Ok(83_456));
    for text in ["1:3", "1:60", "1:-5", "1:2:3:4", ":30", "1::30", "1:75:00", "-1:30"] {
        assert!(matches!(ms(text), Err(Mistake::Form(_))), "{text}: {:?}", ms(text));
    }
    assert_eq!(ms("1:23.4567"), Err(Mistake::TooFine(3)));
    assert!(ms("25:00:00").is_err() && ms("24:00:00").is_ok());
    for text in ["0.5", "10.84", "1:23.45", "1:03", "1:00:00", "12:34:56.789", "59.999"] {
        let read = time(text).unwrap();
        assert_eq!(time(&time_text(read)).unwrap(), read, "{text}");
    }
    assert_eq!(time_text(Duration::new(3_723_000).unwrap()), "1:02:03");
    assert_eq!(time_text(Duration::new(83_450).unwrap()), "1:23.45");
    assert_eq!(time_text(Duration::new(63_005).unwrap()), "1:03.005");
}

#[test]
fn rests_and_minutes() {
    let s = |t: &str| rest(t).map(Rest::get);
    assert_eq!(s("90"), Ok(90));
    assert_eq!(s("1:30"), Ok(90));
    assert_eq!(s("2 min"), Ok(120));
    assert_eq!(s("2,5 min"), Ok(150));
    assert_eq!(s("90.5"), Err(Mistake::TooFine(0)));
    assert!(s("2:00:01").is_err() && s("2:00:00").is_ok());
    assert_eq!(rest_text(Rest::new(45).unwrap()), "45");
    assert_eq!(rest_text(Rest::new(185).unwrap()), "3:05");
    let min = |t: &str| minutes(t).map(Minutes::get);
    assert_eq!(min("75"), Ok(75));
    assert_eq!(min("75 min"), Ok(75));
    assert_eq!(min("1:15"), Ok(75));
    assert!(min("1:5").is_err() && min("1:60").is_err() && min("13:00").is_err() && min("721").is_err());
}

#[test]
fn lengths_know_their_unit() {
    let mm = |t: &str, f| length(t, f).map(Length::get);
    assert_eq!(mm("7,42", Lengths::Metres), Ok(7_420));
    assert_eq!(mm("84", Lengths::Centimetres), Ok(840));
    assert_eq!(mm("84 cm", Lengths::Metres), Ok(840));
    assert_eq!(mm("1.067 m", Lengths::Centimetres), Ok(1_067));
    assert_eq!(mm("84.55", Lengths::Centimetres), Err(Mistake::TooFine(1)));
    assert!(mm("-1", Lengths::Metres).is_err());
    assert_eq!(length_text(Length::new(914).unwrap(), Lengths::Centimetres), "91.4");
}

#[test]
fn speeds_and_wind() {
    assert_eq!(speed("9,8 m/s").map(Speed::get), Ok(9_800));
    for (text, mm_s) in [("+1.3", 1_300), ("-0.8", -800), ("\u{2212}0,8 m/s", -800), ("0", 0)] {
        assert_eq!(wind(text).map(Wind::get), Ok(mm_s), "{text}");
    }
    assert_eq!(value("-2.125").map(Value::get), Ok(-2_125));
    assert_eq!(share("82,5 %").map(Share::get), Ok(825));
    assert!(share("300.1").is_err());
}

#[test]
fn a_set_of_bar_speeds() {
    let list = |t: &str| speeds(t).map(|s| s.mm_s().to_vec());
    for text in [
        "0.52 0.50 0.48",
        "0,52 0,50 0,48",
        "0.52, 0.50, 0.48",
        "0.52;0.50;0.48 m/s",
        "0.52,0.50,0.48",
        ".52 / .5 / .48",
    ] {
        assert_eq!(list(text), Ok(vec![520, 500, 480]), "{text}");
    }
    assert_eq!(list("0,52"), Ok(vec![520]));
    assert!(matches!(list("0,52,0,50"), Err(Mistake::Form(_))));
    assert_eq!(list(""), Err(Mistake::Empty));
    assert!(matches!(list(",;"), Err(Mistake::Form(_))));
    assert!(matches!(list("52"), Err(Mistake::Outside { .. })));
    assert!(matches!(list("-0.5"), Err(Mistake::Outside { .. })));
    assert_eq!(list("fast"), Err(Mistake::NotANumber));
    let many = "0.5 ".repeat(Speeds::MAX_REPS);
    assert!(list(&many).is_ok() && list(&format!("{many} 0.5")).is_err());
    assert_eq!(speeds_text(&Speeds::new(vec![520, 500]).unwrap()), "0.52 0.5");
}

#[test]
fn days_and_times_of_day() {
    assert_eq!(day("2026-11-23").map(|d| d.to_string()), Ok("2026-11-23".to_owned()));
    assert!(matches!(day("23.11.2026"), Err(Mistake::Form(_))));
    assert_eq!(day(""), Err(Mistake::Empty));
    let min = |t: &str| minute_of_day(t).map(MinuteOfDay::get);
    assert_eq!(min("18:30"), Ok(1_110));
    assert_eq!(min("7:05"), Ok(425));
    for text in ["24:00", "7", "7:5", "-1:30", "12:60", "1:+5"] {
        assert!(matches!(min(text), Err(Mistake::Form(_))), "{text}");
    }
}

#[test]
fn no_text_whatever_panics() {
    let odd =
        ["½½", "١٢", "\u{2212}", "+", "1:", ":", "::", "m", "cm", "min", "%", "m/s", "é1", "1é", "\u{0}"];
    for text in odd {
        let all = [
            kg(text).is_err(),
            lb(text).is_err(),
            effort(text).is_err(),
            time(text).is_err(),
            rest(text).is_err(),
            minutes(text).is_err(),
            length(text, Lengths::Metres).is_err(),
            wind(text).is_err(),
            share(text).is_err(),
            speeds(text).is_err(),
            day(text).is_err(),
            minute_of_day(text).is_err(),
        ];
        assert!(all.iter().all(|bad| *bad), "{text:?}: {all:?}");
    }
}

#[test]
fn each_mistake_says_what_to_do() {
    let all = [
        Mistake::Empty,
        Mistake::NotANumber,
        Mistake::TooFine(0),
        Mistake::TooFine(2),
        Mistake::Outside { least: "0".to_owned(), most: "10".to_owned(), unit: "kg" },
        Mistake::NotHalf,
        Mistake::Form("1:30"),
    ];
    let texts: std::collections::BTreeSet<String> = all.iter().map(Mistake::words).collect();
    assert_eq!(texts.len(), all.len());
    assert!(texts.iter().all(|t| !t.contains('{')), "{texts:?}");
}
