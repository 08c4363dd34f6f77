//! Strength at the edges: reserve, bar speed, tables, volume, discs. Worked by hand, beside each test.

use backstraight_core::science::Value;

use crate::help::{ask, close, list, number, printed, reason, value, word};

/// The remarks of an answer that hold a word.
fn remarks(id: &str, text: &str, about: &str) -> usize {
    ask(id, text).notes.iter().filter(|note| note.contains(about)).count()
}

/// The declared rule of `effort.reserve`: 10 - effort, a half step lies between two counts, at 6 and
/// below the rating is a range of 4 to 6 (half steps and the low end are from memory).
#[test]
fn reserve_at_every_half_step() {
    let steps = [
        ("5", 4.0, 6.0),
        ("5.5", 4.0, 6.0),
        ("6", 4.0, 6.0),
        ("6.5", 3.0, 4.0),
        ("7", 3.0, 3.0),
        ("7.5", 2.0, 3.0),
        ("8", 2.0, 2.0),
        ("8.5", 1.0, 2.0),
        ("9", 1.0, 1.0),
        ("9.5", 0.0, 0.0),
        ("10", 0.0, 0.0),
    ];
    for (effort, low, high) in steps {
        let text = format!("effort={effort}");
        assert_eq!(number("effort.reserve", &text, "low"), low, "{effort}");
        assert_eq!(number("effort.reserve", &text, "high"), high, "{effort}");
        let more = usize::from(effort == "9.5");
        assert_eq!(remarks("effort.reserve", &text, "a little more load"), more, "{effort}");
    }
}

/// A single with nothing left is the maximum: no formula may add to it. One repetition done and one
/// left stand for two: 100 (1 + 2/30).
#[test]
fn a_single_with_nothing_left_is_the_maximum() {
    let at = |text: &str, name: &str| number("e1rm.with_reserve", text, name);
    assert_eq!(at("w=100 r=1 effort=10", "epley"), 100.0);
    assert_eq!(at("w=100 r=1 effort=10", "brzycki"), 100.0);
    close(at("w=100 r=1 effort=9", "epley"), 106.666_666_667, 1e-9);
}

/// Five done at 8.5 stand for six or seven: the lowest opinion on six, the highest on seven. Of six the
/// lowest is the cautious linear one, 100 (1 + 0.025 x 6); of seven the highest is the exponential one of
/// 1994, 10000 / (48.8 + 53.8 e^-0.525).
#[test]
fn a_half_step_spans_two_counts() {
    let at = |name: &str| number("e1rm.with_reserve", "w=100 r=5 effort=8.5", name);
    assert_eq!((at("reps_low"), at("reps_high")), (6.0, 7.0));
    close(at("low"), 115.0, 1e-12);
    close(at("high"), 10_000.0 / (48.8 + 53.8 * (-0.525_f64).exp()), 1e-12);
    assert_eq!(number("e1rm.range", "w=100 r=5", "formulas"), 7.0);
    assert_eq!(number("e1rm.range", "w=100 r=1", "formulas"), 1.0);
}

/// Eleven repetitions have no entry in the chart, so the formulas stand alone: the power law,
/// 100 / 11^0.1, and the early hyperbolic print, 101.3 - 2.67123 x 11. At ten the chart's 75 lies between
/// 48.8 + 53.8 e^-0.75 and the 80 of the cautious linear one.
#[test]
fn percents_of_the_maximum_by_hand() {
    let at = |r: u32, name: &str| number("e1rm.percent_range", &format!("r={r}"), name);
    printed(at(11, "high"), 78.679_344, 6);
    printed(at(11, "low"), 71.916_470, 6);
    printed(at(10, "high"), 80.0, 6);
    printed(at(10, "low"), 48.8 + 53.8 * (-0.75_f64).exp(), 6);
    assert_eq!(ask("e1rm.percent_range", "r=11").output("chart"), Some(&Value::Nothing));
}

/// Remarks begin above 10 repetitions in all and below an effort of 7, not at them.
#[test]
fn reserve_says_when_it_is_loose() {
    let loose = |text: &str| remarks("e1rm.with_reserve", text, "loose");
    assert_eq!(loose("w=100 r=8 effort=8"), 0, "8 done and 2 left");
    assert_eq!(loose("w=100 r=9 effort=8"), 1, "9 done and 2 left");
    let far = |text: &str| remarks("e1rm.with_reserve", text, "far from failure");
    assert_eq!(far("w=100 r=5 effort=7"), 0);
    assert_eq!(far("w=100 r=5 effort=6.5"), 1);
    assert_eq!(far("w=100 r=5 effort=8"), 0);
}

/// Speed 2 - load/128 m/s, so every edge is exact in binary: 160 kg at 0.75 m/s is 128 x 1.25.
#[test]
fn a_profile_reaches_as_far_as_it_may_and_no_further() {
    let line = "load=64,128 v=1.5,1.0 reach=0.25";
    assert_eq!(number("lvp.ols", &format!("{line} mvt=0.75"), "one_rm"), 160.0);
    assert!(reason("lvp.ols", &format!("{line} mvt=0.749")).contains("too far beyond"));
    assert_eq!(value("lvp.load_for_speed", &format!("{line} target=0.75")), 160.0);
    assert!(reason("lvp.load_for_speed", &format!("{line} target=0.749")).contains("too far beyond"));
    // A maximum below a load that was lifted is odd; one at that load is not.
    let below = |mvt: &str| remarks("lvp.ols", &format!("{line} mvt={mvt}"), "below a load that was lifted");
    assert_eq!(below("0.75"), 0);
    assert_eq!(below("1.0"), 0);
    assert_eq!(below("1.01"), 1);
}

/// Three from five tenths is as much of a loss as six from ten: a share, not a difference.
#[test]
fn loss_of_speed_is_a_share_of_the_fastest() {
    let slow = "v=0.45,0.50,0.44,0.40,0.30 limit=20";
    close(number("lvp.velocity_loss", slow, "loss"), 40.0, 1e-12);
    assert_eq!(number("lvp.velocity_loss", slow, "stop_after"), 4.0, "0.40 is 20 % below 0.50");
    close(number("lvp.velocity_loss", "v=2.0,1.8", "loss"), 10.0, 1e-12);
}

/// Strictly: two rows at one percent, or two percents with the same repetitions, are no table.
#[test]
fn rows_of_an_own_table_differ() {
    assert!(reason("e1rm.own_table", "percent=60,60,80 reps=20,15,9 at=70").contains("rise"));
    assert!(reason("e1rm.own_table", "percent=60,70,80 reps=15,15,9 at=65").contains("fall"));
    assert_eq!(value("e1rm.own_table", "percent=60,70,80 reps=15,14,9 at=65"), 14.5);
}

/// Sums by hand.
#[test]
fn volume_of_odd_lines() {
    // Push-ups with half the body mass: 2 x 5 x (80 x 0.5 + 0) = 400.
    assert_eq!(number("volume.bodyweight", "sets=2 reps=5 body=80 share=0.5", "total"), 400.0);
    // Two contacts a repetition on each of two legs: 3 x 10 x 2 x 2.
    assert_eq!(value("volume.contacts", "sets=3 reps=10 per_rep=2 sides=2"), 120.0);
    // Nothing done has no average, and is still an answer.
    let none = ask("volume.load", "sets=3 reps=0 load=100");
    assert_eq!(none.output("average"), Some(&Value::Nothing));
    assert_eq!(number("volume.load", "sets=3 reps=0 load=100", "total"), 0.0);
    // Secondary sources: 100 to 120 contacts for the intermediate.
    let guide = "contacts=110 level=intermediate";
    assert_eq!(number("volume.contact_guide", guide, "low"), 100.0);
    assert_eq!(number("volume.contact_guide", guide, "high"), 120.0);
    assert_eq!(word("volume.contact_guide", guide, "reading"), "inside the guide");
}

/// Fewest discs by hand; where counts are equal, the heavier kind and as many of it as fit.
#[test]
fn fewest_discs_win_and_then_the_heavier() {
    let side = |text: &str| list("plates.per_side", text, "value");
    // 25 + 3 x 5 are four discs, 2 x 20 are two.
    assert_eq!(side("per_side=40 stock=25:1,20:2,5:3"), [20.0, 20.0]);
    assert_eq!(side("per_side=30 stock=20:1,10:3"), [20.0, 10.0]);
    // 15 + 5 and 10 + 10 are two discs each.
    assert_eq!(side("per_side=20 stock=15:1,10:2,5:1"), [15.0, 5.0]);
    // 15 + 15 + 5 and 15 + 10 + 10 are three discs each.
    assert_eq!(side("per_side=35 stock=15:2,10:2,5:1"), [15.0, 15.0, 5.0]);
}

/// Every way of choosing from small stocks, counted one by one: none is nearer, none has fewer discs.
#[test]
fn no_choice_of_discs_beats_the_search() {
    let stocks: [&[(u32, u32)]; 4] = [
        &[(25, 1), (20, 1), (15, 2), (10, 1), (5, 1)],
        &[(20, 2), (12, 2), (7, 3), (3, 2)],
        &[(50, 1), (45, 2), (35, 1), (11, 3)],
        &[(9, 3), (8, 3), (7, 3), (2, 2)],
    ];
    for stock in stocks {
        // (side, discs) of each choice, in halves of a kilogram.
        let mut choices = vec![(0_u32, 0_u32)];
        for (mass, pairs) in stock {
            choices = choices
                .iter()
                .flat_map(|(side, discs)| (0..=*pairs).map(move |n| (side + n * mass, discs + n)))
                .collect();
        }
        let text: Vec<String> =
            stock.iter().map(|(mass, pairs)| format!("{}:{pairs}", f64::from(*mass) / 2.0)).collect();
        let heaviest = choices.iter().map(|choice| choice.0).max().unwrap();
        for target in 0..=heaviest + 4 {
            let near = choices.iter().map(|c| (c.0.abs_diff(target), c.0, c.1)).min().unwrap();
            // Bar 20 kg; twice a side in halves of a kilogram is the target above the bar in kg.
            let ask = format!("target={} bar=20 plates={}", 20 + target, text.join(","));
            assert_eq!(number("plates.load", &ask, "side"), f64::from(near.1) / 2.0, "{ask}");
            assert_eq!(list("plates.load", &ask, "per_side").len(), near.2 as usize, "{ask}");
        }
    }
}

/// The remarks of a loaded bar: only when it is not what was asked for.
#[test]
fn a_bar_that_fits_needs_no_remark() {
    let notes = |text: &str| ask("plates.load", text).notes;
    assert!(notes("target=60 bar=20 plates=20:1").is_empty());
    assert!(notes("target=20 bar=20 plates=20:1").is_empty(), "the bare bar was asked for");
    let near = notes("target=61 bar=20 plates=20:1");
    assert_eq!(near.len(), 1);
    assert!(near[0].contains("not loadable exactly"));
    let below = notes("target=19 bar=20 plates=20:1");
    assert_eq!(below.len(), 2);
    assert!(below[0].contains("the bare bar is heavier"));
}

/// What is on the bar against what was asked for, with its sign.
#[test]
fn how_far_off_a_bar_is() {
    let off = |target: &str| number("plates.load", &format!("target={target} bar=20 plates=20:2"), "off");
    assert_eq!(off("99"), 1.0, "100 kg are on the bar");
    assert_eq!(off("63"), -3.0, "60 kg are on the bar");
    assert_eq!(off("60"), 0.0);
}

/// Fifty pairs of a kind are taken, fifty-one are not.
#[test]
fn fifty_pairs_of_a_kind() {
    assert_eq!(list("plates.per_side", "per_side=50 stock=1:50", "value").len(), 50);
    assert_eq!(reason("plates.per_side", "per_side=50 stock=1:51"), "plates is outside 0 to 50");
    assert_eq!(reason("plates.load", "target=30 bar=20 plates=1:51"), "plates is outside 0 to 50");
}
