//! Fuzz targets: one plain function of bytes for each door by which bytes come in from outside, and what runs them.
//! The same functions are run by `cargo xtask fuzz`, by a test over the committed inputs and by cargo-fuzz
//! (`docs/fuzzing.md`).

pub mod corpus;
pub mod feed;
pub mod mutate;
pub mod run;
mod targets;

/// A target.
#[derive(Debug, Clone, Copy)]
pub struct Target {
    /// Its name.
    pub name: &'static str,
    /// What it holds.
    pub about: &'static str,
    /// Takes an input; whether it was taken as something of ours, rather than refused. A panic says that something does
    /// not hold.
    pub run: fn(&[u8]) -> bool,
    /// Most bytes of an input that are tried.
    pub most: usize,
}

/// Every target.
pub const TARGETS: [Target; 11] = [
    Target {
        name: "gate",
        about: "changes with lengths, checksums and links repaired: the gate, the merge, every reader",
        run: targets::gate::gate,
        most: 16 << 10,
    },
    Target {
        name: "index",
        about: "stored deltas of the gate's index",
        run: targets::gate::index,
        most: 8 << 10,
    },
    Target {
        name: "thin",
        about: "the small form of changes, deflated anew, and back",
        run: targets::wire::thin,
        most: 16 << 10,
    },
    Target {
        name: "exchange",
        about: "requests and answers, bodies in gzip, the stream of nudges",
        run: targets::wire::exchange,
        most: 16 << 10,
    },
    Target {
        name: "answer",
        about: "a phone that hears any answer",
        run: targets::device::answer,
        most: 16 << 10,
    },
    Target {
        name: "carry",
        about: "carry files with checksum and signatures repaired, frames, a phone that takes them in",
        run: targets::device::carry,
        most: 16 << 10,
    },
    Target {
        name: "tokens",
        about: "access and refresh tokens, invitations, codes, passkeys, signatures, identities",
        run: targets::tokens::tokens,
        most: 4 << 10,
    },
    Target {
        name: "text",
        about: "days, keys, names, doses, rules, limits and addresses written as text; cells of tables",
        run: targets::text::text,
        most: 2 << 10,
    },
    Target {
        name: "records",
        about: "records of every kind from stored values, sets in one value, and how they are shown",
        run: targets::records::records,
        most: 4 << 10,
    },
    Target {
        name: "formulas",
        about: "every formula on any numbers",
        run: targets::formulas::formulas,
        most: 2 << 10,
    },
    Target {
        name: "commands",
        about: "deeds on three copies of a document that exchange in any order",
        run: targets::commands::commands,
        most: 512,
    },
];

/// The target of that name.
#[must_use]
pub fn find(name: &str) -> Option<&'static Target> {
    TARGETS.iter().find(|t| t.name == name)
}

/// Runs the target of that name: for fuzzers that bring their own way of calling.
///
/// # Panics
/// When there is none, or something does not hold.
pub fn run_by_name(name: &str, input: &[u8]) -> bool {
    let target = find(name).unwrap_or_else(|| panic!("there is no target {name}"));
    (target.run)(input)
}
