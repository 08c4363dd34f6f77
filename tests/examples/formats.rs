//! Says whether the tables in `docs/formats.md` are what the code says; with `--write`, makes them
//! so. Run by `cargo xtask formats`.

use std::fs;
use std::process::ExitCode;

use backstraight_tests::formats;

fn main() -> ExitCode {
    let path = formats::path();
    let text = match fs::read_to_string(&path) {
        Ok(text) => text,
        Err(e) => {
            eprintln!("{}: {e}", path.display());
            return ExitCode::FAILURE;
        }
    };
    let renewed = formats::renewed(&text);
    if renewed == text {
        println!("docs/formats.md is current");
        return ExitCode::SUCCESS;
    }
    if std::env::args().nth(1).as_deref() != Some("--write") {
        eprintln!("docs/formats.md is not what the code says: cargo xtask formats --write");
        return ExitCode::FAILURE;
    }
    match fs::write(&path, renewed) {
        Ok(()) => ExitCode::SUCCESS,
        Err(e) => {
            eprintln!("{}: {e}", path.display());
            ExitCode::FAILURE
        }
    }
}
