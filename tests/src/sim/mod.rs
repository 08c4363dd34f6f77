//! A simulator that tries to lose a set: a whole club with its phones, a real server, the way between them and every
//! clock in one thread, moved by a seed, with everything going wrong that can; and at each quiet point a list of what
//! people were told, held against what is there. A seed that finds something finds it again.

mod book;
mod carry;
mod check;
mod deeds;
pub(crate) mod disk;
mod hostile;
mod planted;
mod rot;
mod server;
mod upgrade;
mod world;

use std::collections::BTreeSet;
use std::panic::{AssertUnwindSafe, catch_unwind};

pub use disk::Fault;
pub use planted::Planted;

/// What may go wrong. Each can be left out, to see what a finding needs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, clap::ValueEnum)]
pub enum Chaos {
    /// Requests and answers are lost, doubled and late.
    Network,
    /// Lost or doubled requests arrive at any later time.
    Replay,
    /// Apps are closed at any time.
    Crash,
    /// Disks are full, and apps die at a write.
    Disk,
    /// Phones are set back to a backup of their own.
    PhoneRestore,
    /// The server is started anew.
    ServerRestart,
    /// A write of the server is lost at its disk.
    ServerLoss,
    /// The server is set back to a backup.
    ServerRestore,
    /// Clocks of devices are up to a day off.
    Clock,
    /// A device is shut out.
    Withdraw,
    /// Somebody of the club sends what no app would.
    Hostile,
    /// Bits on disks of devices are not what they were.
    Rot,
    /// Bits in the server's database are not what they were.
    ServerRot,
    /// Apps and servers become newer one after the other.
    Upgrade,
}

impl Chaos {
    /// All of it.
    pub const ALL: [Chaos; 14] = [
        Chaos::Network,
        Chaos::Replay,
        Chaos::Crash,
        Chaos::Disk,
        Chaos::PhoneRestore,
        Chaos::ServerRestart,
        Chaos::ServerLoss,
        Chaos::ServerRestore,
        Chaos::Clock,
        Chaos::Withdraw,
        Chaos::Hostile,
        Chaos::Rot,
        Chaos::ServerRot,
        Chaos::Upgrade,
    ];
}

/// One life of a world.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Plan {
    /// What decides everything.
    pub seed: u64,
    /// How many steps until it is quiet.
    pub steps: u64,
    /// A fault that was put in on purpose.
    pub planted: Option<Planted>,
    /// What does not go wrong.
    pub without: BTreeSet<Chaos>,
    /// One write that goes wrong.
    pub one: Option<One>,
}

/// One write that goes wrong, counted from the beginning.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum One {
    /// Of a device, and how.
    OnDevice(usize, u32, Fault),
    /// Of the server: lost at its disk.
    OnServer(u32),
}

/// What a life was made of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Tally {
    /// Steps.
    pub steps: u64,
    /// What people did.
    pub deeds: u64,
    /// Writes to disks of devices.
    pub writes: u64,
    /// Requests.
    pub requests: u64,
    /// Of these, by somebody who means harm.
    pub hostile: u64,
    /// Facts that somebody else took along.
    pub carried: u64,
    /// Apps that were closed or died.
    pub crashes: u64,
    /// Documents of which a bit rotted on a device's disk.
    pub rotten: u64,
    /// Documents of which a bit rotted in the server's database.
    pub rotten_on_servers: u64,
    /// Phones that were set back.
    pub phones_set_back: u64,
    /// Times that the server was started anew.
    pub servers_started: u64,
    /// Times that the server was set back.
    pub servers_set_back: u64,
    /// Apps and servers that became newer.
    pub upgrades: u64,
    /// Requests and answers of which an older program did not know something.
    pub unknown: u64,
    /// What was acknowledged and held against what is there.
    pub facts: u64,
    /// Whether the one write that was to go wrong was reached.
    pub reached: bool,
    /// Of these, lost with the one phone that had them, as the book expects.
    pub lost_with_a_phone: u64,
}

impl Tally {
    /// What people, devices and the server did: deeds, writes to disks of devices, requests, apps that died or were
    /// closed, phones and servers that were set back, starts of the server. Steps are none, nor is what only prepares
    /// that something goes wrong, nor anything that is done to see whether it did.
    #[must_use]
    pub const fn operations(&self) -> u64 {
        let went_wrong = self.crashes + self.phones_set_back + self.servers_set_back;
        self.deeds + self.writes + self.requests + went_wrong + self.servers_started
    }

    /// Both together.
    #[must_use]
    pub const fn and(self, other: Tally) -> Tally {
        Tally {
            steps: self.steps + other.steps,
            deeds: self.deeds + other.deeds,
            writes: self.writes + other.writes,
            requests: self.requests + other.requests,
            hostile: self.hostile + other.hostile,
            carried: self.carried + other.carried,
            crashes: self.crashes + other.crashes,
            rotten: self.rotten + other.rotten,
            rotten_on_servers: self.rotten_on_servers + other.rotten_on_servers,
            phones_set_back: self.phones_set_back + other.phones_set_back,
            servers_started: self.servers_started + other.servers_started,
            servers_set_back: self.servers_set_back + other.servers_set_back,
            upgrades: self.upgrades + other.upgrades,
            unknown: self.unknown + other.unknown,
            facts: self.facts + other.facts,
            reached: self.reached || other.reached,
            lost_with_a_phone: self.lost_with_a_phone + other.lost_with_a_phone,
        }
    }
}

/// What is wrong.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Found(pub String);

/// Lives a life.
///
/// # Errors
/// What is wrong with it.
pub fn live(plan: &Plan) -> Result<Tally, Found> {
    let lived = catch_unwind(AssertUnwindSafe(|| {
        let mut world = world::World::new(plan.clone());
        (0..plan.steps).try_for_each(|n| world.step(n))?;
        world.quiet()?;
        world.check()?;
        Ok(world.told())
    }));
    lived.unwrap_or_else(|panic| {
        let text = panic.downcast_ref::<String>().cloned();
        let text = text.or_else(|| panic.downcast_ref::<&str>().map(|s| (*s).to_owned()));
        Err(Found(format!("it panicked: {}", text.unwrap_or_default())))
    })
}

/// Devices of a world.
pub const DEVICES: usize = 6;

/// The same life over and over, in which each write of each device and of the server goes wrong as the first, the second,
/// the third and so on, and nothing else does. How many lives that were, and what they were made of.
///
/// # Errors
/// The life in which something was wrong, and what.
pub fn every_write(seed: u64, steps: u64) -> Result<(u64, Tally), (Plan, Found)> {
    let ways = [Fault::Full, Fault::StaysFull, Fault::DiesBefore, Fault::DiesAfter];
    let on_devices = (0..DEVICES).flat_map(|d| ways.map(|way| (Some(d), way)));
    let (mut lives, mut tally) = (0, Tally::default());
    for (device, way) in on_devices.chain([(None, Fault::DiesBefore)]) {
        for nth in 0.. {
            let one = Some(device.map_or(One::OnServer(nth), |d| One::OnDevice(d, nth, way)));
            let plan = Plan { seed, steps, planted: None, without: Chaos::ALL.into(), one };
            let lived = live(&plan).map_err(|found| (plan, found))?;
            lives += 1;
            tally = tally.and(lived);
            if !lived.reached {
                break;
            }
        }
    }
    Ok((lives, tally))
}

/// The same finding with as little as possible: fewer steps, less that goes wrong.
#[must_use]
pub fn shrink(plan: &Plan) -> Plan {
    let mut least = plan.clone();
    let fails = |plan: &Plan| live(plan).is_err();
    let mut step = least.steps / 2;
    while step > 0 {
        let fewer = Plan { steps: least.steps - step, ..least.clone() };
        if fails(&fewer) {
            least = fewer;
            step = step.min(least.steps / 2);
        } else {
            step /= 2;
        }
    }
    for chaos in Chaos::ALL {
        let mut calmer = least.clone();
        if calmer.without.insert(chaos) && fails(&calmer) {
            least = calmer;
        }
    }
    least
}
