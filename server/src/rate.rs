//! How often something may be done: wrong codes of an address (failures only, so a club behind one
//! address is not shut out by its own members), and requests of an install or an address. Kept in memory,
//! of so many at most. Knows no request.

use std::collections::HashMap;
use std::hash::Hash;
use std::net::{IpAddr, Ipv6Addr};
use std::sync::{Mutex, PoisonError};

use backstraight_core::base::moment::Moment;

/// How long a failure counts, ms.
const WINDOW: i64 = 15 * 60_000;
/// Most addresses that are remembered; beyond it the oldest windows go first.
const MOST: usize = 50_000;
/// One request, in the parts in which buckets count.
const WHOLE: u64 = 1_000;
/// In which a bucket fills, ms.
const MINUTE: u64 = 60_000;

/// Failures by address.
#[derive(Debug)]
pub struct Failures {
    most: u32,
    by: Mutex<HashMap<IpAddr, (Moment, u32)>>,
}

impl Failures {
    /// Allows `most` failures of one address in a quarter of an hour.
    #[must_use]
    pub fn new(most: u32) -> Failures {
        Failures { most, by: Mutex::default() }
    }

    /// Whether the address may try.
    #[must_use]
    pub fn may(&self, address: IpAddr, now: Moment) -> bool {
        let by = self.by.lock().unwrap_or_else(PoisonError::into_inner);
        by.get(&narrow(address)).is_none_or(|(since, n)| now.0 - since.0 >= WINDOW || *n < self.most)
    }

    /// Counts a failure.
    pub fn count(&self, address: IpAddr, now: Moment) {
        let mut by = self.by.lock().unwrap_or_else(PoisonError::into_inner);
        if by.len() >= MOST {
            by.retain(|_, (since, _)| now.0 - since.0 < WINDOW);
        }
        if by.len() >= MOST {
            let middle = now.0 - WINDOW / 2;
            by.retain(|_, (since, _)| since.0 > middle);
        }
        let entry = by.entry(narrow(address)).or_insert((now, 0));
        if now.0 - entry.0.0 >= WINDOW {
            *entry = (now, 0);
        }
        entry.1 = entry.1.saturating_add(1);
    }
}

/// Waiting after wrong sign-ins: by account and by address, longer each time, and never for good. A name
/// that nobody has is treated like one that somebody has.
#[derive(Debug, Default)]
pub struct Backoff {
    by: Mutex<HashMap<Who, (Moment, u32)>>,
}

/// Whose wrong sign-ins are counted.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
enum Who {
    Account(String),
    Address(IpAddr),
}

impl Who {
    /// Wrong tries that cost nothing, and the longest wait in seconds.
    const fn limits(&self) -> (u32, u32) {
        match self {
            // Short: a stranger who guesses makes the owner wait too.
            Who::Account(_) => (5, 60),
            Who::Address(_) => (20, 900),
        }
    }
}

impl Backoff {
    /// How many seconds an account and an address have to wait; 0 when they may try.
    #[must_use]
    pub fn wait(&self, account: &str, address: IpAddr, now: Moment) -> u32 {
        let by = self.by.lock().unwrap_or_else(PoisonError::into_inner);
        let mut longest = 0;
        for who in both(account, address) {
            let Some((last, n)) = by.get(&who) else { continue };
            let (free, most) = who.limits();
            let Some(over) = n.checked_sub(free) else { continue };
            let wait = 1_u32.checked_shl(over).unwrap_or(most).min(most);
            let left = i64::from(wait) * 1000 - (now.0 - last.0);
            longest = longest.max(u32::try_from((left + 999) / 1000).unwrap_or(0));
        }
        longest
    }

    /// Counts a wrong sign-in.
    pub fn wrong(&self, account: &str, address: IpAddr, now: Moment) {
        let mut by = self.by.lock().unwrap_or_else(PoisonError::into_inner);
        if by.len() >= MOST {
            by.retain(|_, (last, _)| now.0 - last.0 < WINDOW);
        }
        if by.len() >= MOST {
            let middle = now.0 - WINDOW / 2;
            by.retain(|_, (last, _)| last.0 > middle);
        }
        for who in both(account, address) {
            let entry = by.entry(who).or_insert((now, 0));
            let n = if now.0 - entry.0.0 >= WINDOW { 0 } else { entry.1 };
            *entry = (now, n.saturating_add(1));
        }
    }

    /// Forgets an account's wrong sign-ins after a right one.
    pub fn right(&self, account: &str) {
        let mut by = self.by.lock().unwrap_or_else(PoisonError::into_inner);
        by.remove(&Who::Account(account.to_owned()));
    }
}

fn both(account: &str, address: IpAddr) -> [Who; 2] {
    [Who::Account(account.to_owned()), Who::Address(narrow(address))]
}

/// Requests by whoever sends them. Each has a bucket of as many as it may send in a minute, which fills
/// again all the time: a pause is made good by as many at once.
#[derive(Debug)]
pub struct Buckets<K> {
    by: Mutex<HashMap<K, Bucket>>,
}

/// What is left in a bucket, in thousandths of a request, and when that was so.
#[derive(Debug, Clone, Copy)]
struct Bucket {
    left: u64,
    at: Moment,
}

impl<K> Default for Buckets<K> {
    fn default() -> Buckets<K> {
        Buckets { by: Mutex::default() }
    }
}

impl<K: Eq + Hash> Buckets<K> {
    /// Takes one request out of the bucket of `key`, which holds `each`.
    ///
    /// # Errors
    /// When it is empty: the seconds after which it is not.
    pub fn take(&self, key: K, each: u32, now: Moment) -> Result<(), u32> {
        let full = u64::from(each) * WHOLE;
        let mut by = self.by.lock().unwrap_or_else(PoisonError::into_inner);
        if by.len() >= MOST && !by.contains_key(&key) {
            make_room(&mut by, now);
        }
        let bucket = by.entry(key).or_insert(Bucket { left: full, at: now });
        // A clock that was set back gives nothing and takes nothing.
        let since = u64::try_from(now.0.saturating_sub(bucket.at.0)).unwrap_or(0).min(MINUTE);
        let left = bucket.left.saturating_add(since * full / MINUTE).min(full);
        // Kept from when it was until a request is taken, so that no part of one is lost by rounding.
        if let Some(rest) = left.checked_sub(WHOLE) {
            *bucket = Bucket { left: rest, at: now };
            return Ok(());
        }
        if now.0 < bucket.at.0 {
            bucket.at = now;
        }
        let wait = (WHOLE - left) * MINUTE / full.max(1);
        Err(u32::try_from(wait.div_ceil(1_000)).unwrap_or(60).clamp(1, 60))
    }
}

/// Forgets whose bucket is full again, and when all are in use those that were used least lately.
fn make_room<K: Eq + Hash>(by: &mut HashMap<K, Bucket>, now: Moment) {
    let minute = i64::try_from(MINUTE).unwrap_or(i64::MAX);
    by.retain(|_, bucket| (0..minute).contains(&now.0.saturating_sub(bucket.at.0)));
    if by.len() >= MOST {
        let mut ages: Vec<i64> = by.values().map(|bucket| bucket.at.0).collect();
        ages.sort_unstable();
        let middle = ages.get(ages.len() / 2).copied().unwrap_or(now.0);
        by.retain(|_, bucket| bucket.at.0 > middle);
    }
}

/// One household or phone has a whole /64 of IPv6 addresses.
#[must_use]
pub fn narrow(address: IpAddr) -> IpAddr {
    match address.to_canonical() {
        IpAddr::V6(v6) => IpAddr::V6(Ipv6Addr::from(u128::from(v6) >> 64 << 64)),
        v4 => v4,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_address_waits_after_its_failures_and_others_do_not() {
        let failures = Failures::new(3);
        let a: IpAddr = "2001:db8::1".parse().unwrap();
        let beside: IpAddr = "2001:db8::2".parse().unwrap();
        let b: IpAddr = "192.0.2.1".parse().unwrap();
        for n in 0..3 {
            assert!(failures.may(a, Moment(n)));
            failures.count(a, Moment(n));
        }
        assert!(!failures.may(a, Moment(10)) && !failures.may(beside, Moment(10)));
        assert!(failures.may(b, Moment(10)));
        assert!(!failures.may(a, Moment(WINDOW - 1)) && failures.may(a, Moment(WINDOW)));
        failures.count(a, Moment(WINDOW));
        assert!(failures.may(a, Moment(WINDOW)));
    }

    #[test]
    fn wrong_sign_ins_make_wait_longer_and_never_for_good() {
        let backoff = Backoff::default();
        let (a, b): (IpAddr, IpAddr) = ("192.0.2.1".parse().unwrap(), "192.0.2.2".parse().unwrap());
        let mut now = Moment(1_000_000);
        for _ in 0..5 {
            assert_eq!(backoff.wait("marta", a, now), 0);
            backoff.wrong("marta", a, now);
        }
        assert_eq!(backoff.wait("marta", b, now), 1, "by account, from anywhere");
        assert_eq!(backoff.wait("jonas", a, now), 0, "the address has tries left");
        let mut longest = 0;
        for _ in 0..20 {
            backoff.wrong("marta", b, now);
            longest = backoff.wait("marta", a, now);
            now = now.plus_ms(i64::from(longest) * 1000);
            assert_eq!(backoff.wait("marta", a, now), 0);
        }
        assert_eq!(longest, 60);
        backoff.wrong("marta", b, now);
        assert!(backoff.wait("somebody else", b, now) > 0, "by address, whoever is tried");
        backoff.right("marta");
        assert_eq!(backoff.wait("marta", a, now), 0, "of the account nothing is left");
    }

    #[test]
    fn a_bucket_is_emptied_at_once_and_fills_by_the_minute() {
        let buckets = Buckets::default();
        for _ in 0..60 {
            assert_eq!(buckets.take('a', 60, Moment(0)), Ok(()));
        }
        assert_eq!(buckets.take('a', 60, Moment(0)), Err(1));
        assert_eq!(buckets.take('b', 60, Moment(0)), Ok(()), "another's is another");
        assert_eq!(buckets.take('a', 60, Moment(999)), Err(1));
        assert_eq!(buckets.take('a', 60, Moment(1_000)), Ok(()));
        assert_eq!(buckets.take('a', 60, Moment(1_000)), Err(1));
        // After long, a minute's worth and no more.
        for _ in 0..60 {
            assert_eq!(buckets.take('a', 60, Moment(9_000_000)), Ok(()));
        }
        assert_eq!(buckets.take('a', 60, Moment(9_000_000)), Err(1));
        // A clock that is set back neither gives nor locks out for longer than it takes to fill.
        assert_eq!(buckets.take('a', 60, Moment(0)), Err(1));
        assert_eq!(buckets.take('a', 60, Moment(1_000)), Ok(()));
        for _ in 0..10 {
            assert!(buckets.take('c', 10, Moment(0)).is_ok());
        }
        assert_eq!(buckets.take('c', 10, Moment(0)), Err(6));
    }

    #[test]
    fn who_asks_often_in_small_steps_gets_all_that_is_due() {
        let buckets = Buckets::default();
        let got = (0..600_000).filter(|ms| buckets.take((), 60, Moment(*ms)).is_ok()).count();
        assert!((655..=660).contains(&got), "{got}");
    }

    #[test]
    fn no_more_than_so_many_are_remembered() {
        let buckets = Buckets::default();
        for n in 0..3 * MOST {
            assert!(buckets.take(n, 10, Moment(i64::try_from(n).unwrap() / 100)).is_ok());
        }
        assert!(buckets.by.lock().unwrap().len() <= MOST);
    }
}
