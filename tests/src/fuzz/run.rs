//! Runs a target on input after input: what each cost, what went wrong, what was new, and of what went wrong the
//! least input that still shows it. Knows no target; clocks, memory and coverage are the program's, handed in.

use std::cell::{Cell, RefCell};
use std::collections::BTreeSet;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Once;
use std::time::{Duration, Instant};

use super::Target;
use super::mutate::Mutator;

/// Processor time that an input may take, of code built for speed. Code that is not optimised takes some twenty times
/// as long.
pub const SLOW: Duration = Duration::from_millis(if cfg!(debug_assertions) { 2_000 } else { 100 });
/// Bytes that an input may have allocated at once.
pub const LARGE: usize = 64 << 20;
/// Inputs that are kept for new coverage.
const MOST_KEPT: usize = 20_000;
/// Findings after which a target is left.
const MOST_FOUND: usize = 20;
/// Tries to make a finding smaller.
const MOST_TRIES: u32 = 4_000;
/// Time for that.
const TRYING: Duration = Duration::from_secs(10);

/// How an input is felt.
pub trait Senses {
    /// Processor time of this thread.
    fn cpu(&mut self) -> Duration;
    /// An input begins: `note` it where it outlives this process.
    fn begin(&mut self, input: &[u8]);
    /// Most bytes allocated at once since it began.
    fn peak(&mut self) -> usize;
    /// How much of the code was reached that no input reached before; 0 where that is not watched.
    fn news(&mut self) -> usize;
    /// Edges of the code that were reached so far.
    fn reached(&self) -> usize;
}

/// What was wrong with an input.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Wrong {
    /// A panic, or a property that does not hold: where, and its words.
    Panic(String, String),
    /// It took so long.
    Slow(Duration),
    /// It allocated so much at once.
    Large(usize),
}

impl Wrong {
    /// What tells one finding from the next.
    #[must_use]
    pub fn place(&self) -> String {
        match self {
            Wrong::Panic(place, _) => place.clone(),
            Wrong::Slow(_) => "slow".to_owned(),
            Wrong::Large(_) => "large".to_owned(),
        }
    }

    /// In words.
    #[must_use]
    pub fn words(&self) -> String {
        match self {
            Wrong::Panic(place, why) => format!("panic at {place}: {why}"),
            Wrong::Slow(took) => format!("took {} ms of the processor", took.as_millis()),
            Wrong::Large(bytes) => format!("had {} MB allocated at once", bytes >> 20),
        }
    }
}

/// A finding.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Found {
    /// The least input that shows it.
    pub input: Vec<u8>,
    /// What is wrong.
    pub wrong: Wrong,
}

/// What was done.
#[derive(Debug, Clone, Default)]
pub struct Tally {
    /// Inputs.
    pub runs: u64,
    /// Time that all of them took.
    pub took: Duration,
    /// The longest that one took.
    pub slowest: Duration,
    /// The most that one had allocated at once.
    pub largest: usize,
    /// Panics of libraries that our code caught, as it should.
    pub caught: u64,
    /// Inputs that were taken rather than refused.
    pub taken: u64,
    /// Edges of the code that were reached; 0 where that is not watched.
    pub reached: usize,
    /// What was found.
    pub found: Vec<Found>,
}

/// When to end.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Until {
    /// After so many inputs.
    Runs(u64),
    /// After so long.
    Time(Duration),
}

thread_local! {
    static PANICS: RefCell<Vec<(String, String)>> = const { RefCell::new(Vec::new()) };
    static WATCHED: Cell<bool> = const { Cell::new(false) };
}

/// Panics on a thread that runs inputs are noted, not printed.
fn watch() {
    static ONCE: Once = Once::new();
    ONCE.call_once(|| {
        let before = std::panic::take_hook();
        std::panic::set_hook(Box::new(move |info| {
            if !WATCHED.get() {
                return before(info);
            }
            let place = info.location().map_or_else(String::new, |l| format!("{}:{}", l.file(), l.line()));
            let words = info.payload().downcast_ref::<String>().cloned();
            let words = words.or_else(|| info.payload().downcast_ref::<&str>().map(|s| (*s).to_owned()));
            let words: String = words.unwrap_or_default().chars().take(300).collect();
            PANICS.with_borrow_mut(|list| list.push((place, words)));
        }));
    });
}

/// Whether a source file is ours rather than a library's or the compiler's.
fn ours(place: &str) -> bool {
    !place.contains(".cargo") && !place.contains("/rustc/") && !place.contains("/library/")
}

/// Runs one input; what was wrong with it, and how many panics of libraries were caught.
pub fn once(target: &Target, input: &[u8], senses: &mut dyn Senses, tally: &mut Tally) -> Option<Wrong> {
    watch();
    senses.begin(input);
    WATCHED.set(true);
    let before = senses.cpu();
    let ended = catch_unwind(AssertUnwindSafe(|| (target.run)(input)));
    let took = senses.cpu().saturating_sub(before);
    WATCHED.set(false);
    let peak = senses.peak();
    let panics = PANICS.with_borrow_mut(core::mem::take);
    tally.runs += 1;
    tally.taken += u64::from(matches!(ended, Ok(true)));
    tally.took += took;
    tally.slowest = tally.slowest.max(took);
    tally.largest = tally.largest.max(peak);
    // A panic of our own code is one too when something above it caught it.
    let blame = if ended.is_err() { panics.last() } else { panics.iter().find(|(place, _)| ours(place)) };
    if let Some((place, words)) = blame {
        return Some(Wrong::Panic(place.clone(), words.clone()));
    }
    tally.caught += panics.len() as u64;
    if took > SLOW {
        return Some(Wrong::Slow(took));
    }
    (peak > LARGE).then_some(Wrong::Large(peak))
}

/// The same; what is slow is run once more, to be sure.
fn sure(target: &Target, input: &[u8], senses: &mut dyn Senses, tally: &mut Tally) -> Option<Wrong> {
    match once(target, input, senses, tally) {
        Some(Wrong::Slow(_)) => once(target, input, senses, tally),
        other => other,
    }
}

/// Runs a target on its corpus and on what comes of it.
pub fn fuzz(
    target: &Target,
    corpus: &[Vec<u8>],
    seed: u64,
    until: Until,
    senses: &mut dyn Senses,
    keep: &mut dyn FnMut(&[u8]),
) -> Tally {
    let begun = Instant::now();
    let mut tally = Tally::default();
    let mut places = BTreeSet::new();
    let mut mutator = Mutator::new(seed);
    let mut pool: Vec<Vec<u8>> = corpus.iter().filter(|i| i.len() <= target.most).cloned().collect();
    let given = pool.len();
    for input in pool.clone() {
        let wrong = sure(target, &input, senses, &mut tally);
        senses.news();
        note(target, input, wrong, senses, &mut tally, &mut places);
    }
    if pool.is_empty() {
        pool.push(Vec::new());
    }
    let mut input = Vec::new();
    while places.len() < MOST_FOUND && !over(until, &tally, begun) {
        // What was found last leads on best.
        let fresh = pool.len() - given.min(pool.len());
        let one = if fresh > 0 && mutator.below(2) == 0 {
            pool.len() - 1 - mutator.below(fresh.div_ceil(4))
        } else {
            mutator.below(pool.len())
        };
        let other = mutator.below(pool.len());
        input.clear();
        input.extend_from_slice(&pool[one]);
        mutator.mutate(&mut input, &pool[other], target.most);
        let wrong = sure(target, &input, senses, &mut tally);
        let news = senses.news();
        if wrong.is_some() {
            note(target, input.clone(), wrong, senses, &mut tally, &mut places);
        } else if news > 0 && pool.len() < MOST_KEPT {
            keep(&input);
            pool.push(input.clone());
        }
    }
    tally.reached = senses.reached();
    tally
}

fn over(until: Until, tally: &Tally, begun: Instant) -> bool {
    match until {
        Until::Runs(most) => tally.runs >= most,
        Until::Time(most) => begun.elapsed() >= most,
    }
}

fn note(
    target: &Target,
    input: Vec<u8>,
    wrong: Option<Wrong>,
    senses: &mut dyn Senses,
    tally: &mut Tally,
    places: &mut BTreeSet<String>,
) {
    let Some(wrong) = wrong else { return };
    if places.insert(wrong.place()) {
        let found = shrink(target, Found { input, wrong }, senses);
        tally.found.push(found);
    }
}

/// The least input that shows the same: pieces are cut out, halves first, then bytes are made zero.
pub fn shrink(target: &Target, mut found: Found, senses: &mut dyn Senses) -> Found {
    let begun = Instant::now();
    let mut aside = Tally::default();
    let mut tries = 0;
    let mut same = |input: &[u8]| {
        tries += 1;
        if tries > MOST_TRIES || begun.elapsed() > TRYING {
            return None;
        }
        sure(target, input, senses, &mut aside)
    };
    let mut size = found.input.len().div_ceil(2);
    while size > 0 {
        let mut at = 0;
        while at < found.input.len() {
            let mut less = found.input.clone();
            less.drain(at..(at + size).min(less.len()));
            match same(&less) {
                Some(wrong) if wrong.place() == found.wrong.place() => found = Found { input: less, wrong },
                _ => at += size,
            }
        }
        size /= 2;
    }
    for at in 0..found.input.len() {
        if found.input[at] == 0 {
            continue;
        }
        let mut less = found.input.clone();
        less[at] = 0;
        if let Some(wrong) = same(&less).filter(|w| w.place() == found.wrong.place()) {
            found = Found { input: less, wrong };
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Feels nothing but what it is told.
    #[derive(Default)]
    struct Told {
        cpu: Duration,
        step: Duration,
        peak: usize,
    }

    impl Senses for Told {
        fn cpu(&mut self) -> Duration {
            self.cpu += self.step;
            self.cpu
        }
        fn begin(&mut self, _: &[u8]) {}
        fn peak(&mut self) -> usize {
            self.peak
        }
        fn news(&mut self) -> usize {
            0
        }
        fn reached(&self) -> usize {
            0
        }
    }

    fn target(run: fn(&[u8]) -> bool) -> Target {
        Target { name: "test", about: "a test", run, most: 64 }
    }

    #[test]
    fn a_panic_is_found_shrunk_and_the_same_again_by_its_seed() {
        let breaks = target(|input| {
            assert!(!input.contains(&0x42) || !input.contains(&0x43), "both");
            true
        });
        let corpus = [b"a quite innocent input \x42".to_vec()];
        let run = || {
            let mut senses = Told::default();
            fuzz(&breaks, &corpus, 5, Until::Runs(200_000), &mut senses, &mut |_| {})
        };
        let tally = run();
        assert_eq!(tally.found.len(), 1);
        let mut least = tally.found[0].input.clone();
        least.sort_unstable();
        assert_eq!(least, [0x42, 0x43]);
        assert!(tally.found[0].wrong.words().contains("both"));
        assert_eq!(run().found, tally.found);
    }

    #[test]
    fn a_panic_that_our_own_code_catches_is_found_too() {
        let caught = target(|_| catch_unwind(|| panic!("inside")).is_ok());
        let wrong = once(&caught, &[], &mut Told::default(), &mut Tally::default());
        assert!(matches!(wrong, Some(Wrong::Panic(_, words)) if words == "inside"));
    }

    #[test]
    fn what_is_slow_or_large_is_found_and_limits_have_two_sides() {
        let quiet = target(|_| true);
        let at = |step, peak| {
            let mut senses = Told { step, peak, ..Told::default() };
            once(&quiet, &[], &mut senses, &mut Tally::default())
        };
        assert_eq!(at(SLOW, LARGE), None);
        let more = SLOW + Duration::from_millis(1);
        assert_eq!(at(more, LARGE), Some(Wrong::Slow(more)));
        assert_eq!(at(SLOW, LARGE + 1), Some(Wrong::Large(LARGE + 1)));
    }
}
