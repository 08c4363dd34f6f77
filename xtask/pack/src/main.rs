//! Makes of the compiled page the files that a server hands out: glue between program and browser, names with
//! a hash of the content, the list for the worker that keeps them on the device, compressed twins. A program
//! of its own, so that the other commands of xtask are built without its libraries. Knows nothing of training.

mod bundle;
mod fill;
mod order;
mod part;
mod squeeze;

use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::time::Instant;

use wasm_bindgen_cli_support::Bindgen;

use bundle::{Files, Made};
use part::Parted;

/// What it is told.
struct Asked {
    /// What the compiler made.
    compiled: PathBuf,
    /// Styles, icons, scripts and the page itself, as they are written.
    sources: PathBuf,
    /// Where the files go; what was there is taken away.
    out: PathBuf,
    /// Readable and quick to make rather than small.
    dev: bool,
}

fn main() -> ExitCode {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let asked = match args.as_slice() {
        [compiled, sources, out] => Asked::of(compiled, sources, out, false),
        [compiled, sources, out, dev] if dev == "--dev" => Asked::of(compiled, sources, out, true),
        _ => {
            eprintln!("pack COMPILED.wasm SOURCES OUT [--dev]: called by cargo xtask page");
            return ExitCode::FAILURE;
        }
    };
    match pack(&asked) {
        Ok(()) => ExitCode::SUCCESS,
        Err(why) => {
            eprintln!("{why}");
            ExitCode::FAILURE
        }
    }
}

impl Asked {
    fn of(compiled: &str, sources: &str, out: &str, dev: bool) -> Asked {
        Asked { compiled: compiled.into(), sources: sources.into(), out: out.into(), dev }
    }
}

fn pack(asked: &Asked) -> Result<(), String> {
    let begun = Instant::now();
    let compiled =
        std::fs::read(&asked.compiled).map_err(|e| format!("{}: {e}", asked.compiled.display()))?;
    let parted = Parted::of(&compiled, &asked.compiled.with_extension("parts"), asked.dev)?;
    println!("   parts of the page: {:.1} s", begun.elapsed().as_secs_f64());
    let begun = Instant::now();
    let made = bind(parted, &asked.compiled, asked.dev)?;
    println!("   glue between program and browser: {:.1} s", begun.elapsed().as_secs_f64());
    let page = bundle::put_together(&asked.sources, &made)?;
    let begun = Instant::now();
    let written = write(&page.files, &asked.out, asked.dev)?;
    println!("   {} files written: {:.1} s", written.len(), begun.elapsed().as_secs_f64());
    tell(&written, &page.parts, asked.dev);
    Ok(())
}

/// The script between program and browser, and the program as the script wants it.
fn bind(mut parted: Parted, compiled: &Path, dev: bool) -> Result<Made, String> {
    let wrong = |e: &dyn std::fmt::Display| format!("{}: {e}", compiled.display());
    let mut bindgen = Bindgen::new();
    bindgen.input_bytes("app", std::mem::take(&mut parted.program));
    // A part asks for the program's table of functions.
    bindgen.typescript(false).omit_default_module_path(true).keep_lld_exports(true);
    bindgen.remove_name_section(!dev).remove_producers_section(true);
    bindgen.web(true).map_err(|e| wrong(&e))?;
    let mut made = bindgen.generate_output().map_err(|e| wrong(&format!("{e:#}")))?;
    // Scripts that a library brings along would need names and places of their own. The one by which the program loads its parts has its place in the glue.
    let inline = made.snippets().iter().filter(|(_, scripts)| !scripts.is_empty()).map(|(from, _)| from);
    if let Some(brought) = inline.chain(made.local_modules().keys()).next() {
        return Err(wrong(&format!(
            "a library brings a script of its own ({brought}), which has no place yet"
        )));
    }
    let program = made.wasm_mut().emit_wasm();
    let program = if dev { program } else { order::alike(&program)? };
    Ok(Made { glue: made.js().to_owned(), program, parted })
}

/// A file that was written, and its sizes: as it is, by brotli, by gzip.
struct Written {
    name: String,
    sizes: [usize; 3],
}

fn write(files: &Files, out: &Path, dev: bool) -> Result<Vec<Written>, String> {
    let wrong = |path: &Path, e: std::io::Error| format!("{}: {e}", path.display());
    bundle::clear(out).map_err(|e| wrong(out, e))?;
    let mut written = Vec::new();
    for (name, bytes) in files {
        let mut sizes = [bytes.len(); 3];
        let mut twins = vec![(name.clone(), bytes.clone())];
        if !dev && squeeze::is_worth_it(name) {
            let made = [(".br", squeeze::brotli(bytes)), (".gz", squeeze::gzip(bytes))];
            for (i, (ending, twin)) in made.into_iter().enumerate() {
                let twin = twin.map_err(|e| format!("{name}{ending}: {e}"))?;
                if twin.len() < bytes.len() {
                    sizes[i + 1] = twin.len();
                    twins.push((format!("{name}{ending}"), twin));
                }
            }
        }
        for (name, bytes) in twins {
            let path = out.join(&name);
            let folder = path.parent().unwrap_or(out);
            std::fs::create_dir_all(folder).map_err(|e| wrong(folder, e))?;
            std::fs::write(&path, bytes).map_err(|e| wrong(&path, e))?;
        }
        written.push(Written { name: name.clone(), sizes });
    }
    Ok(written)
}

/// Sizes of all files. The page as such is written twice and sent once; an athlete's device loads no part.
fn tell(written: &[Written], parts: &[String], dev: bool) {
    println!("   {:<44} {:>10} {:>10} {:>10}", "file", "bytes", "brotli", "gzip");
    let (mut sum, mut without) = ([0; 3], [0; 3]);
    for file in written {
        let [raw, br, gz] = file.sizes;
        println!("   {:<44} {raw:>10} {br:>10} {gz:>10}", file.name);
        if file.name != bundle::INDEX {
            sum.iter_mut().zip(file.sizes).for_each(|(sum, size)| *sum += size);
            if !parts.contains(&file.name) {
                without.iter_mut().zip(file.sizes).for_each(|(sum, size)| *sum += size);
            }
        }
    }
    let note = if dev { "   (not compressed: --dev)" } else { "" };
    for (whose, sum) in [("an athlete's", without), ("a coach's", sum)] {
        let what = format!("sent to {whose} new device");
        println!("   {what:<44} {:>10} {:>10} {:>10}{note}", sum[0], sum[1], sum[2]);
    }
}
