//! Which discs go on the bar: exact search over what the venue owns.
//! Works in steps of 10 g; knows no lifter.

use super::computed::{given, outputs};
use super::{Computation, Formula, Input, Reason, Standing};

/// Steps of 10 g, the unit in which loads are stored.
const STEPS_PER_KG: f64 = 100.0;
/// Heaviest side that is searched, kg. With the steps it bounds time and memory.
const HEAVIEST_SIDE: f64 = 400.0;

const STOCK: Input = Input::stock("plates", "kg:pairs that the venue owns", 0.1, 100.0).items(1, 24);
const BAR_MASS: Input = Input::number("bar", "kg", 0.0, 60.0);

/// Discs of the International Weightlifting Federation, kg and colour, as published on the equipment
/// page of an Olympic broadcaster. Older sets differ in the small discs.
pub const COMPETITION_DISCS: [(f64, &str); 10] = [
    (25.0, "red"),
    (20.0, "blue"),
    (15.0, "yellow"),
    (10.0, "green"),
    (5.0, "white"),
    (2.5, "red"),
    (2.0, "blue"),
    (1.5, "yellow"),
    (1.0, "green"),
    (0.5, "white"),
];
/// Competition bars, kg: men's and women's. Same origin.
pub const COMPETITION_BARS: [f64; 2] = [20.0, 15.0];
/// One competition collar, kg; both count in the load. Same origin.
pub const COMPETITION_COLLAR: f64 = 2.5;

/// kg to steps of 10 g.
#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "callers hand in 0 to 1000 kg, checked against the declared limits"
)]
fn steps(kg: f64) -> usize {
    (kg.clamp(0.0, 2000.0) * STEPS_PER_KG).round() as usize
}

/// Steps of 10 g to kg.
fn kg(steps: usize) -> f64 {
    super::stats::count(steps) / STEPS_PER_KG
}

/// Discs in order of mass, lightest first, equal masses joined: (steps, pairs).
fn sorted(stock: &[(f64, u32)]) -> Result<Vec<(usize, u32)>, Reason> {
    let mut discs: Vec<(usize, u32)> = Vec::new();
    for (mass, pairs) in stock {
        if *pairs > 50 {
            return Err(Reason::OutOfRange { input: "plates", lowest: 0.0, highest: 50.0 });
        }
        match discs.iter_mut().find(|(other, _)| *other == steps(*mass)) {
            Some((_, all)) => *all = (*all + pairs).min(50),
            None => discs.push((steps(*mass), *pairs)),
        }
    }
    discs.sort_unstable_by_key(|(mass, _)| *mass);
    Ok(discs)
}

/// For one kind of disc, how many are used to reach each sum; the last row is the whole stock.
type Uses = Vec<Vec<u8>>;

/// Fewest discs that reach each sum up to `limit`: `None` where no set of discs does.
///
/// One pass per kind of disc over every sum (bounded subset sum), so the answer is exact where
/// taking the heaviest disc first is not.
fn reach(discs: &[(usize, u32)], limit: usize) -> (Vec<Option<u32>>, Uses) {
    let mut fewest: Vec<Option<u32>> = vec![None; limit + 1];
    if let Some(empty) = fewest.first_mut() {
        *empty = Some(0);
    }
    let mut uses = Vec::with_capacity(discs.len());
    for (mass, pairs) in discs {
        let mut next = fewest.clone();
        let mut used = vec![0_u8; limit + 1];
        for (sum, start) in fewest.iter().enumerate() {
            let Some(start) = start else { continue };
            for copies in 1..=*pairs {
                let at = sum + mass * usize::try_from(copies).unwrap_or(usize::MAX / 1_000_000);
                let (Some(slot), Some(mark)) = (next.get_mut(at), used.get_mut(at)) else {
                    break;
                };
                let discs = start + copies;
                // On a tie this heavier kind wins, with as many copies as possible: sums are
                // visited from below, so the first to arrive here has the most copies.
                if slot.is_none_or(|old| discs < old || (discs == old && *mark == 0)) {
                    *slot = Some(discs);
                    *mark = u8::try_from(copies).unwrap_or(u8::MAX);
                }
            }
        }
        fewest = next;
        uses.push(used);
    }
    (fewest, uses)
}

/// The discs that make up `sum`, heaviest first, kg.
fn unpack(discs: &[(usize, u32)], uses: &Uses, sum: usize) -> Vec<f64> {
    let mut left = sum;
    let mut plates = Vec::new();
    for ((mass, _), used) in discs.iter().zip(uses).rev() {
        let copies = used.get(left).copied().unwrap_or(0);
        for _ in 0..copies {
            plates.push(kg(*mass));
            left = left.saturating_sub(*mass);
        }
    }
    plates.sort_unstable_by(|a, b| b.total_cmp(a));
    plates
}

/// Discs for one side.
pub static PER_SIDE: Formula = Formula {
    id: "plates.per_side",
    aliases: &["plates.greedy_trap"],
    name: "Discs for one side, exactly",
    rule: "exact search for the fewest discs that sum to the mass",
    source: "arithmetic; subset sum over the venue's stock",
    standing: Standing::Derived,
    domain: "masses in steps of 10 g, up to 400 kg a side and 50 pairs of a kind",
    units: &[("value", "kg, heaviest first")],
    trap: "taking the heaviest disc first misses 30 kg from one 25 and two 15",
    caution: None,
    inputs: &[
        Input::number("per_side", "kg", 0.0, HEAVIEST_SIDE),
        Input::stock("stock", "kg:pairs that the venue owns", 0.1, 100.0).items(1, 24),
    ],
    example: &[("per_side", "30"), ("stock", "25:1,15:2")],
    run: |a| Ok(per_side(a.number("per_side")?, &a.stock("stock")?).into()),
    ..Formula::BLANK
};

/// The discs for `per_side` kg from `stock` (kg, pairs), heaviest first.
///
/// # Errors
/// Inputs outside their limits, or a mass that the stock cannot make.
pub fn per_side(per_side: f64, stock: &[(f64, u32)]) -> Computation<Vec<f64>> {
    PER_SIDE.compute(given!["per_side" => per_side, "stock" => stock], |_| {
        let discs = sorted(stock)?;
        let wanted = steps(per_side);
        let (fewest, uses) = reach(&discs, wanted);
        if fewest.get(wanted).copied().flatten().is_none() {
            return Err(Reason::CannotBeTold { rule: "the stock cannot make this mass exactly" });
        }
        Ok(unpack(&discs, &uses, wanted))
    })
}

outputs! {
    /// A loaded bar.
    LoadedBar {
        /// Discs of one side, heaviest first, kg.
        per_side: Vec<f64>,
        /// Mass of one side's discs, kg.
        side: f64,
        /// Bar, collars and discs of both sides, kg.
        total: f64,
        /// Total - target, kg.
        off: f64,
        /// True if the target is met exactly.
        exact: bool,
    }
}

/// A bar for a target.
pub static LOAD: Formula = Formula {
    id: "plates.load",
    name: "Load a bar as near to a target as the venue's discs allow",
    rule: "per side = (target - bar - 2 collars) / 2; nearest sum by exact search, ties down, then \
           fewest discs",
    source: "bars, collars and discs as in the rules of the International Weightlifting \
             Federation; the search is arithmetic",
    standing: Standing::Derived,
    domain: "masses in steps of 10 g, up to 400 kg a side and 50 pairs of a kind",
    units: &[("per_side", "kg"), ("side", "kg"), ("total", "kg"), ("off", "kg"), ("exact", "")],
    trap: "a 15 kg bar for women, collars that count and old discs in pounds (45 lb = 20.41 kg) \
           change the answer; a target below the bar gives the bare bar",
    caution: None,
    inputs: &[
        Input::number("target", "kg", 0.0, 800.0),
        BAR_MASS.or("20"),
        Input::number("collars", "kg each, one per side", 0.0, 5.0).or("0"),
        STOCK,
    ],
    example: &[
        ("target", "100"),
        ("bar", "20"),
        ("collars", "2.5"),
        ("plates", "25:2,20:2,15:2,10:2,5:2,2.5:2,2:2,1.5:2,1:2,0.5:2"),
    ],
    run: |a| {
        let (target, bar) = (a.number("target")?, a.number("bar")?);
        Ok(load(target, bar, a.number("collars")?, &a.stock("plates")?).into())
    },
    ..Formula::BLANK
};

/// The bar nearest to `target` kg: `bar` kg, `collars` kg each, `plates` (kg, pairs). Ties down.
///
/// # Errors
/// Inputs outside their limits.
pub fn load(target: f64, bar: f64, collars: f64, plates: &[(f64, u32)]) -> Computation<LoadedBar> {
    let given = given!["target" => target, "bar" => bar, "collars" => collars, "plates" => plates];
    LOAD.compute(given, |notes| {
        let discs = sorted(plates)?;
        let heaviest = discs.iter().map(|(mass, _)| *mass).max().unwrap_or(0);
        let bare = steps(bar) + 2 * steps(collars);
        let wanted = steps(target);
        let limit = (wanted.saturating_sub(bare) / 2 + heaviest + 1).min(steps(HEAVIEST_SIDE));
        let (fewest, uses) = reach(&discs, limit);
        let reachable = fewest.iter().enumerate().filter(|(_, discs)| discs.is_some());
        let best = reachable
            .map(|(side, _)| side)
            .min_by_key(|side| ((bare + 2 * side).abs_diff(wanted), *side))
            .unwrap_or(0);
        let total = bare + 2 * best;
        notes.say_if(wanted < bare, "the bare bar is heavier than the target");
        notes.say_if(total != wanted, "not loadable exactly: nearest, ties down");
        Ok(LoadedBar {
            per_side: unpack(&discs, &uses, best),
            side: kg(best),
            total: kg(total),
            off: kg(total) - kg(wanted),
            exact: total == wanted,
        })
    })
}

/// Every formula of this file.
pub static ALL: &[&Formula] = &[&PER_SIDE, &LOAD];
