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
}
