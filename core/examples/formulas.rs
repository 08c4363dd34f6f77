//! Writes `docs/formulas.md` to standard output. Knows nothing but the registry.
//!
//! `cargo run -p backstraight-core --example formulas > docs/formulas.md`

fn main() {
    print!("{}", backstraight_core::science::registry::to_markdown());
}
