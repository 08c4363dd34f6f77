//! The target `text` of `tests/src/fuzz`, run by libFuzzer.
#![no_main]

libfuzzer_sys::fuzz_target!(|input: &[u8]| {
    backstraight_tests::fuzz::run_by_name("text", input);
});
