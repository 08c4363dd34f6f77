//! Training load, side differences and hops at the edges. Worked by hand, beside each test.

use crate::help::{ask, close, number, reason, value, word};

/// Half steps of effort are part of the scale: 7.5 x 60.
#[test]
fn a_half_step_of_effort_counts() {
    assert_eq!(value("load.session", "effort=7.5 minutes=60"), 450.0);
    assert_eq!(value("load.day", "effort=7.5,2 minutes=60,10"), 470.0);
    assert!(reason("load.day", "effort=7,7.25 minutes=60,10").contains("half steps"));
    assert!(reason("load.day", "effort=7,7 minutes=60").contains("differ in length"));
}

/// Either average may be too low on its own: each refuses, and a floor that is just met does not.
#[test]
fn a_ratio_needs_load_in_both_averages() {
    let little = "too little load";
    // Four weeks of nothing after a hard day: the fading average still remembers, the month does not.
    assert!(reason("load.acwr", "x=900,28x0").contains(little));
    // One hard day at the end: 560/28 = 20 a day in the month, 2/29 x 560 = 38.6 fading.
    assert!(reason("load.acwr", "x=27x0,560 floor=30").contains(little));
    assert!(ask("load.acwr", "x=27x0,560 floor=20").result.is_ok());
    assert!(reason("load.acwr", "x=27x0,560 floor=20.1").contains(little));
    // The same day at the start: still 20 in the month, (2/29)(27/29)^26 560 = 6.02 fading.
    assert!(reason("load.acwr", "x=0,560,26x0 floor=10").contains(little));
    assert!(ask("load.acwr", "x=0,560,26x0 floor=6").result.is_ok());
    // Even days meet a floor of their own height.
    close(number("load.acwr", "x=28x50 floor=50", "ewma_ratio"), 1.0, 1e-12);
}

/// Fourteen times 0.6 has no spread, although its rounded mean leaves a trace of one.
#[test]
fn equal_values_have_no_variation_however_they_round() {
    for same in ["0.6", "0.3", "1.1", "3.3"] {
        let text = format!("baseline=14x{same} x=5");
        assert_eq!(reason("load.against_own", &text), "no variation in baseline", "{same}");
    }
    assert!(ask("load.against_own", "baseline=13x0.6,0.7 x=5").result.is_ok());
}

/// 100 (1 - 3/4) = 25 %: a difference as large as the noise is not beyond it.
#[test]
fn a_side_difference_beyond_noise_is_larger() {
    assert_eq!(number("asym", "a=4 b=3", "pct"), 25.0);
    assert_eq!(word("asym", "a=4 b=3 cv=25", "beyond_noise"), "false");
    assert_eq!(word("asym", "a=4 b=3 cv=24.9", "beyond_noise"), "true");
    assert_eq!(number("asym", "a=3 b=4", "signed"), -25.0);
    assert_eq!(number("asym", "a=4 b=3", "signed"), 25.0);
}

/// Ten hops with ten contacts; nothing is paired with a contact of another hop.
#[test]
fn hops_and_contacts_belong_together() {
    let nine = "rsi=1,1,1,1,1,2,2,2,2,2 tc=9x0.2";
    assert_eq!(reason("jump.ten_five", nine), "rsi and tc differ in length");
    let number_of_hops =
        |text: &str| ask("jump.ten_five", text).notes.iter().filter(|note| note.contains("ten hops")).count();
    assert_eq!(number_of_hops("rsi=10x1.5 tc=10x0.2"), 0);
    assert_eq!(number_of_hops("rsi=9x1.5 tc=9x0.2"), 1);
    assert_eq!(number_of_hops("rsi=11x1.5 tc=11x0.2"), 1);
}
