//! Ports for the programs of a test. Several stories run at once, so a port is never one that the system hands out
//! by itself: another story's socket would get it between the moment it is found free and the moment it is used, or
//! while a server is stopped.

use std::net::{Ipv4Addr, Ipv6Addr, SocketAddr, TcpListener};
use std::sync::LazyLock;
use std::sync::atomic::{AtomicU32, Ordering};

use crate::must::found;

/// Below what systems hand out (Linux from 32768, others from 49152), above what services use.
const FIRST: u32 = 20_000;
const COUNT: u32 = 12_000;

/// Runs that go on at once begin at different places.
static NEXT: LazyLock<AtomicU32> = LazyLock::new(|| AtomicU32::new(std::process::id().wrapping_mul(97)));

/// A port that nothing listens at and that this run gives to nobody else.
pub(crate) fn free() -> u16 {
    let mut ports = (0..COUNT)
        .map(|_| NEXT.fetch_add(1, Ordering::Relaxed))
        .filter_map(|n| u16::try_from(FIRST + n % COUNT).ok());
    let is_free = |port: &u16| {
        is_free((Ipv4Addr::LOCALHOST, *port).into()) && is_free((Ipv6Addr::LOCALHOST, *port).into())
    };
    found(ports.find(is_free), "a free port")
}

/// A machine without this kind of address has nobody who listens at it.
fn is_free(address: SocketAddr) -> bool {
    TcpListener::bind(address).err().is_none_or(|e| e.kind() != std::io::ErrorKind::AddrInUse)
}
