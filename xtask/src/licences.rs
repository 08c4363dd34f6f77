//! The licence of every package that is built, against the list of those that we may use. Quick and
//! without a tool of its own; `cargo xtask deny` looks deeper.

use std::collections::BTreeSet;
use std::fmt::Write as _;

use crate::run::{Outcome, cargo, read};
use crate::spdx;

/// Licences that ask for no more than a notice.
const ALLOWED: [&str; 16] = [
    "0BSD",
    "Apache-2.0",
    "Apache-2.0 WITH LLVM-exception",
    "BlueOak-1.0.0",
    "BSD-1-Clause",
    "BSD-2-Clause",
    "BSD-3-Clause",
    "BSL-1.0",
    "CC0-1.0",
    "ISC",
    "MIT",
    "MIT-0",
    "Unicode-3.0",
    "Unlicense",
    "Zlib",
    "CDLA-Permissive-2.0",
];

/// Packages under MPL-2.0, which asks that changes to their own files stay open: we change none.
/// `uniffi*` make the doors for phones, `webpki-root-certs` and `webpki-roots` carry certificates.
const MPL: [&str; 3] = ["uniffi", "webpki-roots", "webpki-root-certs"];

/// Checks every package of every target.
pub(crate) fn part() -> Outcome {
    let tree = cargo(&[
        "tree",
        "--workspace",
        "--locked",
        "--edges",
        "all",
        "--target",
        "all",
        "--prefix",
        "none",
        "--format",
        "{p}\t{l}",
    ]);
    let listed = match read(tree) {
        Ok(listed) => listed,
        Err(why) => return Outcome::Failed(why),
    };
    let packages: BTreeSet<(&str, &str)> = listed.lines().filter_map(package).collect();
    if packages.len() < 20 {
        return Outcome::Failed(format!(
            "only {} packages found: the listing was not understood",
            packages.len()
        ));
    }
    let bad: Vec<_> = packages.iter().filter(|(name, licence)| !acceptable(name, licence)).collect();
    if bad.is_empty() {
        println!("{} packages, all under licences on the list", packages.len());
        return Outcome::Passed;
    }
    let mut text = "licences that are not on the list in xtask/src/licences.rs:".to_owned();
    for (name, licence) in bad {
        let _ = write!(text, "\n  {name}: {}", if licence.is_empty() { "none named" } else { licence });
    }
    Outcome::Failed(text)
}

/// Name and licence in a line such as `serde v1.0.0 (proc-macro)<tab>MIT (*)`.
fn package(line: &str) -> Option<(&str, &str)> {
    let (package, licence) = line.split_once('\t')?;
    let name = package.split(' ').next()?;
    Some((name, licence.trim_end_matches("(*)").trim()))
}

fn acceptable(name: &str, licence: &str) -> bool {
    let mpl = MPL.iter().any(|m| name == *m || (*m == "uniffi" && name.starts_with("uniffi")));
    spdx::met(licence, &|one| ALLOWED.contains(&one) || (mpl && one == "MPL-2.0"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_of_the_listing_are_read() {
        assert_eq!(
            package("serde v1.0.0 (proc-macro)\tMIT OR Apache-2.0 (*)"),
            Some(("serde", "MIT OR Apache-2.0"))
        );
        assert_eq!(
            package("a v1.0.0\t(MIT OR Apache-2.0) AND Unicode-3.0"),
            Some(("a", "(MIT OR Apache-2.0) AND Unicode-3.0"))
        );
        assert_eq!(package("a v1.0.0\t"), Some(("a", "")));
    }

    #[test]
    fn a_weak_copyleft_licence_is_for_named_packages_only() {
        assert!(acceptable("uniffi_core", "MPL-2.0"));
        assert!(!acceptable("another", "MPL-2.0"));
        assert!(!acceptable("another", ""));
        assert!(!acceptable("another", "GPL-3.0-only"));
        assert!(acceptable("another", "GPL-3.0-only OR ISC"));
    }
}
