//! Jumps, reactive strength, stiffness, training load, impulse-response.

use crate::help::{ask, close, list, number, printed, reason, value, word};

/// Derived from projectile motion (Bosco, Luhtanen, Komi 1983, from memory), g = 9.80665.
#[test]
fn jump_heights() {
    printed(value("jump.height_from_flight", "t=0.400"), 0.196133, 6);
    printed(value("jump.height_from_flight", "t=0.500"), 0.306458, 6);
    printed(value("jump.height_from_flight", "t=0.600"), 0.441299, 6);
    printed(value("jump.takeoff_from_flight", "t=0.500"), 2.451663, 6);
    printed(value("jump.height_from_flight", "t=0.5 g=9.81"), 0.306563, 6);
    printed(value("jump.height_from_takeoff", "v=2.800950"), 0.400000, 6);
    printed(value("jump.height_from_flight", "t=0.10"), 0.012, 3);
    printed(value("jump.height_from_flight", "t=1.00"), 1.226, 3);
    printed(100.0 * value("jump.frame_error", "t=0.5 fps=240"), 0.513, 3);
    printed(100.0 * value("jump.frame_error", "t=0.5 fps=120"), 1.030, 3);
}

/// Derived: a constant push of 300 N above body weight for 0.3 s gives 300 x 0.3 / m.
#[test]
fn jump_from_force() {
    let text = "force=301x1035.498750 dt=0.001 m=75";
    close(number("jump.from_force", text, "v"), 1.2, 1e-9);
    close(number("jump.from_force", text, "height"), 1.2 * 1.2 / (2.0 * 9.80665), 1e-9);
    assert!(reason("jump.from_force", "force=100x700 dt=0.001 m=75").contains("upwards"));
}

/// Published means: Southey et al. 2024, Kinesiology 56(2); the ratios of the means are derived.
/// Reactive strength after Young 1995, New Studies in Athletics.
#[test]
fn reactive_strength_keeps_its_definitions_apart() {
    printed(number("jump.rsi", "tf=0.5 tc=0.2", "rsi"), 1.532289, 6);
    printed(number("jump.rsi", "tf=0.5 tc=0.2", "ratio"), 2.5, 6);
    printed(number("jump.rsi", "tf=0.444 tc=0.180", "ratio"), 2.467, 3);
    printed(number("jump.rsi", "tf=0.500 tc=0.209", "ratio"), 2.392, 3);
    printed(number("jump.rsi", "tf=0.444 tc=0.180", "rsi"), 1.343, 3);
    printed(number("jump.rsi", "tf=0.500 tc=0.209", "rsi"), 1.466, 3);
    // Published means of ratios are 2.52 and 2.46: a little above the ratios of means.
    assert!(number("jump.rsi", "tf=0.444 tc=0.180", "ratio") < 2.52);
    assert!(number("jump.rsi", "tf=0.500 tc=0.209", "ratio") < 2.46);
    // One millisecond of contact at a height of 0.35 m.
    let flight = (8.0_f64 * 0.35 / 9.80665).sqrt();
    printed(number("jump.rsi", &format!("tf={flight} tc=0.190"), "rsi"), 1.8421, 4);
    printed(number("jump.rsi", &format!("tf={flight} tc=0.191"), "rsi"), 1.8325, 4);
    // Repetition by repetition, then the mean.
    let reps = "tf=0.4,0.6 tc=0.2,0.2";
    close(number("jump.rsi_mean", reps, "ratio"), 2.5, 1e-12);
    close(number("jump.rsi_mean", reps, "rsi"), 9.80665 * (0.16 + 0.36) / 16.0 / 0.2, 1e-12);
}

/// Derived; the test is that of Harper, Hobbs, Moore 2011 as cited in Comyns et al. 2017, the
/// contact limit is common practice.
#[test]
fn repeated_hop_test() {
    let hops = "rsi=1.10,1.35,1.52,1.60,1.71,1.75,1.80,1.78,1.69,1.66";
    printed(value("jump.ten_five", hops), 1.7460, 4);
    let five = "tc=0.3,0.3,0.3,0.3,0.3,0.249,0.249,0.249,0.249,0.249";
    printed(value("jump.ten_five", &format!("{hops} {five}")), 1.736, 4);
    let four = "tc=0.3,0.3,0.3,0.3,0.3,0.25,0.249,0.249,0.249,0.249";
    assert!(reason("jump.ten_five", &format!("{hops} {four}")).contains("not scorable"));
    assert!(reason("jump.ten_five", "rsi=1,1,1,1").contains("not scorable"));
    assert_eq!(value("jump.ten_five", "rsi=1,1,1,1,1,1,1,1,1,1"), 1.0);
}

/// Derived: Ebben & Petushek 2010; McGuigan et al. 2006 (from memory); dynamic strength from
/// PLOS ONE pone.0331519 (bands published) and Comfort et al. 2018, PMC6315417.
#[test]
fn jump_ratios() {
    printed(value("jump.rsi_modified", "h=0.40 ttt=0.75"), 0.533333, 6);
    printed(value("jump.eur", "cmj=0.38 sj=0.34"), 1.117647, 6);
    assert!(ask("jump.eur", "cmj=0.33 sj=0.34").notes[0].contains("dipped"));
    assert!(ask("jump.eur", "cmj=0.34 sj=0.34").notes.is_empty());
    let share = "ballistic=1500 isometric=2300";
    printed(number("jump.dsi", share, "value"), 0.652174, 6);
    assert_eq!(word("jump.dsi", share, "band"), "0.60 to 0.80");
    assert_eq!(word("jump.dsi", "ballistic=590 isometric=1000", "band"), "below 0.60");
    assert_eq!(word("jump.dsi", "ballistic=600 isometric=1000", "band"), "0.60 to 0.80");
    assert_eq!(word("jump.dsi", "ballistic=800 isometric=1000", "band"), "0.60 to 0.80");
    assert_eq!(word("jump.dsi", "ballistic=810 isometric=1000", "band"), "above 0.80");
    assert!(reason("jump.dsi", "ballistic=1510 isometric=1000").contains("0.2 to 1.5"));
    assert!(ask("jump.dsi", "ballistic=1500 isometric=1000").result.is_ok());
    assert!(reason("jump.dsi", "ballistic=790 isometric=4000").contains("0.2 to 1.5"));
    assert!(ask("jump.dsi", "ballistic=800 isometric=4000").result.is_ok());
}

/// From memory, so only the shape is tested: a question back, never a rejection.
#[test]
fn usual_ranges_only_ask() {
    assert_eq!(word("jump.usual", "kind=drop_contact x=0.18", "usual"), "true");
    assert_eq!(word("jump.usual", "kind=drop_contact x=180", "usual"), "false");
}

/// Derived from the sine model of Morin et al. 2005, J Appl Biomech 21:167-180; Dalleau et al. 2004.
#[test]
fn stiffness() {
    let hop = value("stiff.dalleau", "m=75 tc=0.180 tf=0.444");
    printed(hop, 29538.4550, 4);
    printed(hop / 75.0, 393.846, 3);
    let run = "m=70 v=6.67 L=0.954 tc=0.150 tf=0.120";
    let at = |name: &str| number("stiff.morin", run, name);
    printed(at("fmax"), 1940.9355, 4);
    printed(at("dy"), 0.0356303, 7);
    printed(at("kvert"), 54474.3590, 4);
    printed(at("dl"), 0.1773089, 7);
    printed(at("kleg"), 10946.6311, 4);
    assert!((at("kvert") - 21377.668).abs() > 30_000.0, "the sign trap");
    let sprint = "m=75 v=9.0 L=0.954 tc=0.110 tf=0.125";
    printed(number("stiff.morin", sprint, "fmax"), 2468.181, 3);
    printed(number("stiff.morin", sprint, "kvert"), 96740.108, 3);
    printed(number("stiff.morin", sprint, "kleg"), 15051.498, 3);
    close(value("stiff.leg_length", "height=1.80"), 0.954, 1e-12);
    // Half the way of contact against the leg: 12.9 x 0.15 / 2 = 0.9675.
    assert!(reason("stiff.morin", "m=70 v=12.9 L=0.9675 tc=0.15 tf=0.12").contains("leg"));
    assert!(ask("stiff.morin", "m=70 v=12.9 L=0.9676 tc=0.15 tf=0.12").result.is_ok());
}

/// Derived: Foster et al. 2001, J Strength Cond Res 15(1):109-115; Foster 1998, Med Sci Sports
/// Exerc 30:1164-1168. The paper's own weekly table was not at hand.
#[test]
fn session_load_and_monotony() {
    assert_eq!(value("load.session", "effort=7 minutes=75"), 525.0);
    assert_eq!(value("load.day", "effort=7,3 minutes=75,40"), 645.0);
    assert!(reason("load.session", "effort=7.3 minutes=75").contains("half steps"));
    let week = "days=450,300,0,540,240,600,0";
    let at = |more: &str, name: &str| number("load.monotony_strain", &format!("{week} {more}"), name);
    assert_eq!(at("ddof=1", "sum"), 2130.0);
    printed(at("ddof=1", "mean"), 304.285714, 6);
    printed(at("ddof=1", "sd"), 242.752078, 6);
    printed(at("ddof=1", "monotony"), 1.253483, 6);
    printed(at("ddof=1", "strain"), 2669.9198, 4);
    printed(at("ddof=0", "sd"), 224.744753, 6);
    printed(at("ddof=0", "monotony"), 1.353917, 6);
    printed(at("ddof=0", "strain"), 2883.8429, 4);
    assert_eq!(reason("load.monotony_strain", "days=7x300"), "no variation in days");
    assert_eq!(reason("load.monotony_strain", "days=7x0.1"), "no variation in days");
    let unheard = reason("load.monotony_strain", "days=450,300,-,540,240,600,0");
    assert_eq!(unheard, "days has missing days");
}

/// Derived; Williams et al. 2017, Br J Sports Med 51:209-210.
#[test]
fn fading_average() {
    let loads = "x=100,0,200,0,0,400,100";
    let seven = [100.0, 75.0, 106.25, 79.6875, 59.7656, 144.8242, 133.6182];
    let month = [100.0, 93.1034, 100.4756, 93.5463, 87.0948, 108.6745, 108.0762];
    for (n, want) in [(7, seven), (28, month)] {
        for (got, want) in list("load.ewma", &format!("{loads} N={n}"), "value").iter().zip(want) {
            printed(*got, want, 4);
        }
    }
    let from_zero = list("load.ewma", "x=28x300 N=28 seed=zero", "value");
    printed(from_zero[27], 259.433951, 6);
    assert!(ask("load.ewma", "x=27x300 N=28").notes.iter().any(|n| n.contains("warming up")));
    assert!(ask("load.ewma", "x=28x300 N=28").notes.is_empty());
    assert!(reason("load.ewma", "x=300,-,300 N=7").contains("missing days"));
    assert_eq!(list("load.ewma", "x=5,9 N=1", "value"), [5.0, 9.0]);
}

/// Derived; the closed form is 600 - 300 (1 - lambda)^7.
#[test]
fn ratios_describe() {
    let days = "x=21x300+7x600";
    let at = |name: &str| number("load.acwr", days, name);
    printed(at("ewma_acute"), 559.954834, 6);
    printed(at("ewma_acute"), 600.0 - 300.0 * 0.75_f64.powi(7), 6);
    printed(at("ewma_chronic"), 418.079509, 6);
    printed(at("ewma_ratio"), 1.339350, 6);
    printed(at("coupled"), 1.6, 6);
    printed(at("uncoupled"), 2.0, 6);
    assert!(ask("load.acwr", days).notes.iter().any(|n| n.contains("foretells nothing")));
    assert!(reason("load.acwr", "x=27x300").contains("at least 28"));
    assert!(reason("load.acwr", "x=28x0").contains("too little load"));
    assert!(reason("load.acwr", "x=28x50 floor=50.1").contains("too little load"));
    assert!(ask("load.acwr", "x=28x50 floor=49.9").result.is_ok());
    assert!(reason("load.acwr", "x=14x50,-,13x50").contains("missing days"));
    // All load in the last week: the coupled ratio is 4, the other has no denominator.
    close(number("load.acwr", "x=21x0+7x100", "coupled"), 4.0, 1e-12);
    assert_eq!(
        ask("load.acwr", "x=21x0+7x100").output("uncoupled"),
        Some(&backstraight_core::science::Value::Nothing)
    );
}

/// Common practice, no source: at least 14 earlier values, gaps skipped.
#[test]
fn against_own_values() {
    let own = "baseline=7x19,7x21";
    printed(number("load.against_own", &format!("{own} x=22"), "mean"), 20.0, 9);
    let sd = (14.0_f64 / 13.0).sqrt();
    close(number("load.against_own", &format!("{own} x=22"), "z"), 2.0 / sd, 1e-12);
    assert!(reason("load.against_own", "baseline=7x19,6x21,- x=22").contains("at least 14"));
    assert!(reason("load.against_own", "baseline=14x20 x=22").contains("no variation"));
}

/// Derived from Banister et al. 1975 with the constants of Morton et al. 1990 (from memory);
/// the two times after Fitz-Clarke et al. 1991.
#[test]
fn impulse_response() {
    printed(number("load.banister_times", "t1=45", "tn"), 15.595812, 6);
    printed(number("load.banister_times", "t1=45", "tg"), 40.314588, 6);
    let one = |day: u32, name: &str| number("load.banister_single", &format!("dose=100 day={day}"), name);
    printed(one(1, "fit"), 97.802287, 6);
    printed(one(1, "fat"), 93.550699, 6);
    printed(one(1, "net"), -89.299110, 6);
    printed(one(7, "fit"), 85.593952, 6);
    printed(one(7, "fat"), 62.708909, 6);
    printed(one(7, "net"), -39.823865, 6);
    printed(one(15, "net"), -1.922757, 6);
    printed(one(16, "net"), 1.247644, 6);
    printed(one(40, "net"), 27.214539, 6);
    printed(one(41, "net"), 27.207272, 6);
    printed(number("load.banister_series", "w=28x50", "fit"), 1030.773403, 6);
    printed(number("load.banister_series", "w=28x50", "fat"), 613.122064, 6);
    printed(number("load.banister_series", "w=28x50", "net"), -195.470724, 6);
    let step = "fit=100 fat=60 load=50 t1=42 t2=7";
    printed(number("load.banister_step", step, "fit"), 147.647169, 6);
    printed(number("load.banister_step", step, "fat"), 102.012674, 6);
    printed(number("load.banister_step", step, "net"), -56.378179, 6);
    // Busso, Candau, Lacour 1994, Eur J Appl Physiol 69:50-54, a hammer thrower (secondary).
    let hammer = "t1=60 t2=13 k1=0.07 k2=0.27";
    printed(number("load.banister_times", hammer, "tn"), 22.403039, 6);
    printed(number("load.banister_times", hammer, "tg"), 47.784491, 6);
    // Busso 2003, Med Sci Sports Exerc 35:1188-1195; constants from memory.
    let gains = list("load.busso_variable", "w=100,0,100", "k2");
    printed(gains[0], 0.003_500_0, 7);
    printed(gains[1], 0.002_265_92, 8);
    printed(gains[2], 0.004_966_97, 8);
    printed(number("load.busso_variable", "w=100,0,100", "net"), 5.052501, 6);
    assert!(reason("load.banister_times", "t1=15 t2=15").contains("t1 must be above t2"));
    assert!(reason("load.banister_times", "k1=2 k2=2").contains("k2 must be above k1"));
    assert!(reason("load.busso_variable", "w=1 t1=10 t2=10").contains("t1 must be above t2"));
}
