//! Writes frozen messages and documents that are not there yet into `fixtures/`, for a new version
//! of a format. What is there is never written again.
#![expect(clippy::print_stdout, reason = "a program that says what it wrote")]

use backstraight_tests::frozen;

fn main() {
    for path in frozen::write_missing(&frozen::folder()) {
        println!("{}", path.display());
    }
}
