//! The tables of `docs/formats.md`, made from the code: names, meanings and units from its doc
//! comments, limits from the descriptions by which readers, writers and the gate work.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};

use backstraight_core::model::any::roots;
use backstraight_core::model::name::Kind;
use backstraight_core::model::spec::{FieldKind, RecordSpec};
use backstraight_core::model::whole;

/// The line before the made part.
pub const BEGIN: &str = "<!-- made by `cargo xtask formats --write`: begin -->";
/// The line after it.
pub const END: &str = "<!-- made by `cargo xtask formats --write`: end -->";

/// Where the document is.
#[must_use]
pub fn path() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../docs/formats.md")
}

/// `text` with the made part made anew.
///
/// # Panics
/// When the two marks are not there.
#[must_use]
pub fn renewed(text: &str) -> String {
    let (before, rest) = text.split_once(BEGIN).unwrap_or_else(|| panic!("no line {BEGIN}"));
    let (_, after) = rest.split_once(END).unwrap_or_else(|| panic!("no line {END}"));
    format!("{before}{BEGIN}\n\n{}\n{END}{after}", tables())
}

/// A field as the code declares it.
struct Declared {
    ty: String,
    required: bool,
    meaning: String,
}

/// What the code says in comments.
#[derive(Default)]
struct Comments {
    /// Record name, then its meaning.
    records: BTreeMap<String, String>,
    /// (record name, field), then the field.
    fields: BTreeMap<(String, String), Declared>,
    /// Type, then what it is.
    types: BTreeMap<String, String>,
    /// Word type, then its words.
    words: BTreeMap<String, Vec<String>>,
}

/// Tables of all records, then of the types that they use.
fn tables() -> String {
    let comments = read_comments();
    let mut out = String::new();
    let mut used = BTreeMap::new();
    let mut told: Vec<*const RecordSpec> = Vec::new();
    for kind in Kind::ALL {
        let _ = writeln!(out, "### Document: {}\n", kind.word());
        out.push_str("| root map | holds | how many |\n|---|---|---|\n");
        for root in roots(kind) {
            let many = if root.single { "one, with the key `main`" } else { "any number" };
            let _ = writeln!(out, "| `{}` | {} | {many} |", root.name, root.record.name);
        }
        out.push('\n');
        for root in roots(kind) {
            let mut spec = Some(root.record);
            while let Some(one) = spec {
                if !told.iter().any(|t| core::ptr::eq(*t, one)) {
                    told.push(one);
                    record(&mut out, one, &comments, &mut used);
                }
                spec = one.inner.map(|(_, inner)| inner);
            }
        }
    }
    out.push_str("### Types of fields\n\n| type | what it is | stored as |\n|---|---|---|\n");
    for (ty, kind) in used {
        let what = comments.types.get(&ty).cloned().unwrap_or_default();
        let words = comments.words.get(&ty).map(|w| w.join(", "));
        let what = words.map_or(what.clone(), |w| format!("{what} One of: {w}."));
        let _ = writeln!(out, "| `{ty}` | {what} | {} |", stored(kind));
    }
    out
}

fn record(out: &mut String, spec: &RecordSpec, comments: &Comments, used: &mut BTreeMap<String, FieldKind>) {
    let meaning = comments.records.get(spec.name).map_or("", String::as_str);
    let _ = writeln!(out, "**{}**: {meaning}\n", spec.name);
    if spec.whole {
        let _ = writeln!(
            out,
            "In one value, written once: a CBOR map (RFC 8949) of at most {} bytes from the number of a field \
             to its value, numbers ascending, moments in whole seconds since 1970 UTC.\n",
            whole::MOST
        );
    }
    out.push_str("| field | type | needed | meaning |\n|---|---|---|---|\n");
    for (n, field) in (1..).zip(spec.fields) {
        let key = (spec.name.to_owned(), field.name.to_owned());
        let declared = comments.fields.get(&key);
        let declared = declared.unwrap_or_else(|| panic!("the source does not declare {key:?}"));
        used.insert(declared.ty.clone(), field.kind);
        let needed = if declared.required { "yes" } else { "" };
        let number = if spec.whole { format!("{n} ") } else { String::new() };
        let _ = writeln!(
            out,
            "| {number}`{}` | `{}` | {needed} | {} |",
            field.name, declared.ty, declared.meaning
        );
    }
    if let Some((name, inner)) = spec.inner {
        let _ = writeln!(out, "| `{name}` | map | made with the record | records: {} |", inner.name);
    }
    out.push('\n');
}

fn stored(kind: FieldKind) -> String {
    match kind {
        FieldKind::Int { min, max } => format!("whole number, {min} to {max}"),
        FieldKind::Text { max } => format!("text, at most {max} bytes"),
        FieldKind::Bytes { max } => format!("bytes, at most {max}"),
        FieldKind::Bool => "true or false".to_owned(),
        FieldKind::Time => "timestamp, ms since 1970 UTC".to_owned(),
    }
}

/// Reads the declarations in `core/src/model`. They are regular, being arguments of macros.
fn read_comments() -> Comments {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../core/src/model");
    let mut files: Vec<PathBuf> = fs::read_dir(folder).unwrap().map(|e| e.unwrap().path()).collect();
    files.sort();
    let mut comments = Comments::default();
    for file in files.iter().filter(|f| f.extension().is_some_and(|e| e == "rs")) {
        read_file(&fs::read_to_string(file).unwrap(), &mut comments);
    }
    // Types of other modules, and those that are not declared by a macro.
    for (ty, what) in [
        ("Day", "A calendar day of the athlete's own place, `YYYY-MM-DD`."),
        ("Key", "The key of another record."),
        ("Moment", "An instant by the clock of the device that wrote it."),
        ("PersonId", "A person: a UUIDv7 with hyphens."),
        ("bool", "Yes or no."),
        ("Name", "A title or name."),
        ("Note", "A sentence or two."),
        ("Text<24>", "A short text."),
        ("Text<64>", "An order key, where the field is `pos`."),
        ("Text<200>", "A text."),
    ] {
        comments.types.insert(ty.to_owned(), what.to_owned());
    }
    comments
}

fn read_file(text: &str, comments: &mut Comments) {
    let mut doc = String::new();
    let (mut record, mut required) = (None::<String>, false);
    let mut words = None::<String>;
    for line in text.lines().map(str::trim) {
        if let Some(more) = line.strip_prefix("///") {
            doc = format!("{doc} {}", more.trim()).trim().to_owned();
            continue;
        }
        if line.starts_with("#[") {
            continue;
        }
        let meaning = core::mem::take(&mut doc);
        if let Some(name) = record_name(line) {
            comments.records.insert(name.clone(), meaning);
            record = Some(name);
        } else if line.starts_with("required {") {
            required = true;
        } else if line.starts_with("optional {") {
            required = false;
        } else if let Some((field, ty)) = line.trim_end_matches(',').split_once(": ")
            && let Some(record) = record.as_ref().filter(|_| line.ends_with(',') && is_word(field))
        {
            let declared = Declared { ty: ty.to_owned(), required, meaning };
            comments.fields.insert((record.clone(), field.to_owned()), declared);
        } else if let Some(name) = type_name(line) {
            if line.ends_with('{') && !line.starts_with("pub ") {
                words = Some(name.clone());
            }
            comments.types.entry(name).or_insert(meaning);
        } else if let (Some(ty), Some((_, word))) = (&words, line.split_once(" = ")) {
            let word = word.trim_end_matches(',').trim_matches('"');
            comments.words.entry(ty.clone()).or_default().push(format!("`{word}`"));
        } else if line == "}" {
            words = None;
        }
    }
}

/// The name in `SetDone = "set" {` or `Work = "exercise done" => "sets": SetDone {`.
fn record_name(line: &str) -> Option<String> {
    let (ty, rest) = line.split_once(" = \"")?;
    let name = rest.split_once('"')?.0;
    (is_word(ty) && line.ends_with('{')).then(|| name.to_owned())
}

/// The type in `Load, "load", "x 10 g", 0..=100_000;`, `Side, "side" {`, `Keys of Key, ...` and
/// `pub enum Dose {` or `pub struct Target {`.
fn type_name(line: &str) -> Option<String> {
    let plain = line.strip_prefix("pub struct ").or_else(|| line.strip_prefix("pub enum "));
    let name: String = plain.unwrap_or(line).chars().take_while(char::is_ascii_alphanumeric).collect();
    let rest = plain.unwrap_or(line).strip_prefix(name.as_str())?;
    let declared = plain.is_some() || rest.starts_with(", \"") || rest.starts_with(" of ");
    (declared && name.starts_with(|c: char| c.is_ascii_uppercase())).then_some(name)
}

fn is_word(text: &str) -> bool {
    !text.is_empty() && text.chars().all(|c| c.is_ascii_alphanumeric() || c == '_')
}
