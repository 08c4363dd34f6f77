//! Writes the doors of the phone library for other languages, and its surface as text, from a library that was
//! built. A program of its own, so that the other commands of xtask are built without its libraries. Knows
//! nothing of training.

mod surface;

use std::fs;
use std::path::Path;
use std::process::ExitCode;

use uniffi_bindgen::bindings::{GenerateOptions, TargetLanguage, generate};
use uniffi_bindgen::{BindgenLoader, BindgenPaths, GlobalConfig};

/// What stands before the mark in each language.
const SAYS: &str = "The mark of the surface that this was made for: hand it in when a folder is opened.";

fn main() -> ExitCode {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let [library, config, out] = args.as_slice() else {
        eprintln!("bind LIBRARY CONFIG OUT: called by cargo xtask bindings");
        return ExitCode::FAILURE;
    };
    match bind(library, config, Path::new(out)) {
        Ok(()) => ExitCode::SUCCESS,
        Err(why) => {
            eprintln!("{why}");
            ExitCode::FAILURE
        }
    }
}

fn bind(library: &str, config: &str, out: &Path) -> Result<(), String> {
    let surface = surface(library)?;
    let mark = format!("{:016x}", mark(surface.as_bytes()));
    write(&out.join("interface.txt"), &surface)?;
    let languages = [
        ("kotlin", TargetLanguage::Kotlin),
        ("swift", TargetLanguage::Swift),
        ("python", TargetLanguage::Python),
    ];
    for (name, language) in languages {
        let options = GenerateOptions {
            languages: vec![language],
            source: library.to_owned().into(),
            out_dir: out.join(name).display().to_string().into(),
            config_override: Some(config.to_owned().into()),
            ..GenerateOptions::default()
        };
        generate(options).map_err(|e| format!("{name}: {e:#}"))?;
    }
    let kotlin = format!("package backstraight\n\n/** {SAYS} */\nconst val INTERFACE_MARK = \"{mark}\"\n");
    write(&out.join("kotlin/backstraight/mark.kt"), &kotlin)?;
    write(
        &out.join("swift/Mark.swift"),
        &format!("/// {SAYS}\npublic let interfaceMarkOfBindings = \"{mark}\"\n"),
    )?;
    write(
        &out.join("python/backstraight_mark.py"),
        &format!("\"\"\"{SAYS}\"\"\"\n\nINTERFACE_MARK = \"{mark}\"\n"),
    )
}

/// The surface of a library as text.
fn surface(library: &str) -> Result<String, String> {
    let source = GenerateOptions { source: library.to_owned().into(), ..GenerateOptions::default() }.source;
    let loader = BindgenLoader::new(BindgenPaths::default(), GlobalConfig::default());
    let metadata = loader.load_metadata(&source).map_err(|e| format!("{library}: {e:#}"))?;
    let all = loader.load_cis(metadata).map_err(|e| format!("{library}: {e:#}"))?;
    match all.as_slice() {
        [one] => Ok(surface::of(one)),
        _ => Err(format!("{library}: {} surfaces instead of one; was it built with the doors?", all.len())),
    }
}

fn write(file: &Path, text: &str) -> Result<(), String> {
    if let Some(folder) = file.parent() {
        fs::create_dir_all(folder).map_err(|e| format!("{}: {e}", folder.display()))?;
    }
    fs::write(file, text).map_err(|e| format!("{}: {e}", file.display()))
}

/// FNV-1a of 64 bits, as the library computes it.
fn mark(bytes: &[u8]) -> u64 {
    bytes.iter().fold(0xcbf2_9ce4_8422_2325, |hash: u64, byte| {
        (hash ^ u64::from(*byte)).wrapping_mul(0x0100_0000_01b3)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_mark_is_the_published_hash() {
        assert_eq!(mark(b""), 0xcbf2_9ce4_8422_2325);
        assert_eq!(mark(b"foobar"), 0x8594_4171_f739_67e8);
    }
}
