//! The committed inputs of every fuzz target, and those that once broke one, on every run; and that targets, inputs,
//! the crate for cargo-fuzz and the documentation are of one mind.

use std::fs;
use std::path::{Path, PathBuf};

use backstraight_tests::fuzz::{TARGETS, corpus};

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

#[test]
fn committed_inputs_break_nothing_and_some_of_each_target_are_taken() {
    for target in &TARGETS {
        let inputs = corpus::committed(target).unwrap();
        let taken = inputs.iter().filter(|input| (target.run)(input)).count();
        assert!(
            taken * 4 >= inputs.len(),
            "{}: {taken} of {} reach what is behind",
            target.name,
            inputs.len()
        );
    }
}

#[test]
fn every_committed_input_is_one_that_the_command_makes_and_all_are_small() {
    let (mut files, mut bytes) = (0, 0);
    for target in &TARGETS {
        let made: Vec<String> =
            corpus::make(target).into_iter().map(|(name, _)| format!("{name}.bin")).collect();
        let there = corpus::read(&corpus::inputs(target)).unwrap();
        let mut sorted = made.clone();
        sorted.sort();
        let names: Vec<String> = there.iter().map(|(name, _)| name.clone()).collect();
        assert_eq!(names, sorted, "{}: `cargo xtask fuzz --corpus` makes others", target.name);
        for (name, input) in corpus::read(&corpus::crashers(target)).unwrap().iter().chain(&there) {
            assert!(input.len() <= target.most, "{}: {name}", target.name);
            files += 1;
            bytes += input.len();
        }
    }
    assert!(files <= 300 && bytes <= 1 << 20, "{files} files, {bytes} bytes");
}

#[test]
fn the_crate_for_cargo_fuzz_and_the_documentation_name_every_target() {
    let manifest = fs::read_to_string(root().join("fuzz/Cargo.toml")).unwrap();
    let documented = fs::read_to_string(root().join("docs/fuzzing.md")).unwrap();
    for target in &TARGETS {
        let name = target.name;
        assert!(manifest.contains(&format!("name = \"{name}\"")), "{name}");
        assert!(documented.contains(&format!("| `{name}` |")), "{name}");
        let body = fs::read_to_string(root().join(format!("fuzz/fuzz_targets/{name}.rs"))).unwrap();
        assert!(body.contains(&format!("\"{name}\"")), "{name}");
    }
}
