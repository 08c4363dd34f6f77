//! How often an address may be wrong. Counts failures only, so a club behind one address is not
//! shut out by its own members. Knows no request.

use std::collections::HashMap;
use std::net::{IpAddr, Ipv6Addr};
use std::sync::{Mutex, PoisonError};

use backstraight_core::base::moment::Moment;

/// How long a failure counts, ms.
const WINDOW: i64 = 15 * 60_000;
/// Most addresses that are remembered; beyond it the oldest windows go first.
const MOST: usize = 50_000;

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

/// One household or phone has a whole /64 of IPv6 addresses.
fn narrow(address: IpAddr) -> IpAddr {
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
}
